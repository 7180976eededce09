"""Everything the studies say of one measurement, collected for the writers."""

from __future__ import annotations

from dataclasses import replace

from phototemplate.errors import Finding
from phototemplate.model import Measurement
from phototemplate.output.assessment import Judged, Judgements, LengthInterval, Noticed
from phototemplate.studies import monte_carlo, reliability, verdict
from phototemplate.studies.budget import ASSUMED, edge_budget
from phototemplate.studies.constants import EDGE_TOLERANCE_MM
from phototemplate.template.piece_types import Size, Template
from phototemplate.template.quantities import State
from phototemplate.template.schedule import all_sizes

SIZE_GROUPS = ("edge", "overall", "depth", "diagonal", "cut-out", "opening", "gap")


def judge(m: Measurement, template: Template | None = None, tolerance_mm: float = EDGE_TOLERANCE_MM) -> Judgements:
    """Verdicts, budgets, reliability and Monte Carlo intervals of a measurement, and of its pieces' finished dimensions.

    Without a known length nothing can be said in mm, and where the adjustment is withheld nothing at all: then nothing is.
    """
    rule = verdict.guard_text("U")
    if m.outline.unscaled or m.network.quality.withheld or not m.outline.segments:
        return Judgements(tolerance_mm, rule)
    state = State(m.outline)
    edges = verdict.judge_edges(m, tolerance_mm)
    sizes, judged = _sizes(m, template, tolerance_mm)
    checks = monte_carlo.check_lengths(m.outline)
    names = [loop.loop_id for loop in m.outline.loops if loop.closed and len(loop.edge_ids) >= 3 for _ in loop.edge_ids]
    return Judgements(
        tolerance_mm=tolerance_mm,
        rule=rule,
        edges={j.name: j for j in edges},
        sizes=tuple(
            replace(j, where=piece, value_mm=s.quantity.value) for j, (piece, s) in zip(judged, sizes, strict=True)
        ),
        budgets={e: edge_budget(m, state, verdict.worst_place(state, e)) for e in m.outline.state_slices},
        noticed=(
            *(_noticed(r, "length") for r in reliability.of_lengths(m)),
            *(_noticed(r, "sheet") for r in reliability.of_sheets(m)),
        ),
        intervals=tuple(
            LengthInterval(c.edge_id, loop, c.value_mm, c.U_mm, *c.monte_carlo.symmetric, c.monte_carlo.shortest, c.agrees)
            for c, loop in zip(checks, names, strict=True)
        ),
        findings=_findings(edges, checks),
        assumed=ASSUMED,
    )


def judge_quickly(m: Measurement, tolerance_mm: float = EDGE_TOLERANCE_MM) -> dict[str, Judged]:
    """Verdicts on the edges alone, without the search for remedies: for a page on which edges are still being moved."""
    if m.outline.unscaled or m.network.quality.withheld or not m.outline.segments:
        return {}
    return {j.name: j for j in verdict.judge_edges(m, tolerance_mm, remedies=False)}


def _findings(edges: tuple[Judged, ...], checks: tuple[monte_carlo.IntervalCheck, ...]) -> tuple[Finding, ...]:
    return (*verdict.findings(edges), *monte_carlo.findings(checks))


def _sizes(
    m: Measurement, template: Template | None, tolerance_mm: float
) -> tuple[list[tuple[str, Size]], tuple[Judged, ...]]:
    """Measured dimensions of the pieces with their verdicts."""
    if template is None:
        return [], ()
    chosen: list[tuple[str, Size]] = []
    for piece, size in all_sizes(template):
        if size.group in SIZE_GROUPS and not size.decided and size.quantity.unit == "mm" and size.quantity.gradient.size:
            chosen.append((piece, size))
    values = [(s.name, s.quantity.gradient, 0.0) for _, s in chosen]
    return chosen, verdict.judge_quantities(m, values, tolerance_mm)


def _noticed(r: reliability.Reliability, kind: str) -> Noticed:
    return Noticed(
        r.name, "length" if kind == "length" else "sheet", r.detectable_mm, r.effect_mm, r.effect_on, r.sentence
    )
