"""Is this wall what the template takes it for? One wall against a straight piece, a right angle, an earlier job or a DXF.

The answer is the gap that the piece would leave: a piece that touches the wall where it stands out most (its edge straight,
square to another wall, or as drawn), the largest gap behind it and where, and how much would have to be scribed off to close
it. Every figure follows from the heights of the wall and their joint covariance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, BoolArray, HeightPoint, Measurement, Outline
from phototemplate.numerics.decision import Decision, Guard, decide
from phototemplate.numerics.uncertainty import effective_dof
from phototemplate.studies.budget import cause_dof, noise_dof
from phototemplate.studies.comparison import Comparison, compare_drawing, compare_square, compare_straight
from phototemplate.studies.constants import GAP_BUDGET_SHARE, STRAIGHT_SHARE, USUAL_GAP_MM
from phototemplate.studies.fit_reference import Freedom
from phototemplate.studies.piece_contact import Touching, lay_piece, spread_alone
from phototemplate.studies.references import Reference
from phototemplate.studies.verdict import judge_quantity
from phototemplate.studies.wall_figures import Figure, Kind, line_rows, row_u, wall_figures
from phototemplate.studies.wall_line import End, WallLine, choose_wall, wall_line
from phototemplate.template.gradients import Dual
from phototemplate.template.quantities import OWN_NOISE


@dataclass(frozen=True)
class WallCheck:
    """What was found about one wall; n places along it."""

    job: str
    wall: WallLine
    against: str
    """What it was compared with, in words"""
    kind: Kind
    piece_mm: Array
    """(n,) height of the touching piece's edge"""
    deviation_mm: Array
    """(n,) how far the wall stands into the room from the reference (best line, square line, drawing)"""
    deviation_u_mm: Array
    gap_mm: Array
    """(n,) behind the touching piece"""
    gap_u_mm: Array
    """(n,) of the gap at that place, the piece touching where it touches now"""
    within: BoolArray
    """(n,) the stretch that was judged"""
    largest_gap: Figure
    largest_at_mm: tuple[float, ...]
    """Distances from the corner"""
    touches_at_mm: tuple[float, ...]
    figures: tuple[Figure, ...]
    """Bow, swelling, angle ..."""
    limit_mm: float
    decision: Decision
    remedy: str
    """What would settle it, where the verdict is ``cannot tell``; with what it would bring"""
    budget: tuple[tuple[str, float], ...]
    """Cause and its standard uncertainty of the largest gap, largest first"""
    fit_rms_mm: float | None = None
    """Of a drawing or an earlier job"""
    findings: tuple[str, ...] = ()

    @property
    def scribe_mm(self) -> Array:
        """(n,) what has to come off the touching piece for it to follow the wall, the gap closed everywhere."""
        out: Array = np.where(self.within, np.maximum(float(self.gap_mm[self.within].max()) - self.gap_mm, 0.0), np.nan)
        return out


def check_wall(
    outline: Outline,
    edge_id: str | None = None,
    *,
    job: str = "",
    heights: Sequence[HeightPoint] = (),
    square_to: str | None = None,
    reference: Reference | None = None,
    freedom: Freedom = "turn",
    limit_mm: float = USUAL_GAP_MM,
    stretch_mm: tuple[float, float] | None = None,
    corner: End | None = None,
    guard: Guard = "U",
    measurement: Measurement | None = None,
) -> WallCheck:
    """Compare one wall with a straight piece, with a right angle to the edge ``square_to``, or with ``reference``.

    ``stretch_mm`` limits the judgement to distances from the corner. ``measurement`` lets remedies be predicted.

    Raises ``InputError`` for names and values that cannot be used, ``MeasureError`` where the comparison does not fit or the
    wall was fitted as a straight line.
    """
    if not limit_mm > 0:
        raise InputError(f"The allowed gap must be larger than nothing, not {limit_mm:g} mm.")
    wall = wall_line(outline, choose_wall(outline, edge_id), heights, corner)
    if wall.state.segments[wall.edge_id].shape == "line":
        raise MeasureError(
            f"{wall.edge_id} was fitted as a straight line, which cannot show how straight it is; give it shape = \"profile\" "
            "in job.toml, and strips or at least two contact sheets along it."
        )
    compared = _compare(wall, outline, square_to, reference, freedom)
    within = _within(wall, stretch_mm) & compared.covered
    x = wall.distance_mm
    laid = lay_piece(compared, x, within)
    level, level_rows = _levelled(compared.kind, x, compared.height_mm, within)
    meaning = f"behind {compared.against} that touches the wall"
    largest = Figure("largest gap", laid.largest_mm, laid.largest_u_mm, "mm", meaning)
    budget = _budget(compared, laid, x, within)
    decision = decide(largest.value, largest.u, upper=limit_mm, guard=guard, dof=_dof(measurement, wall, budget))
    if measurement is not None and measurement.network.quality.withheld:
        decision = replace(decision, verdict="cannot tell")
    judged = compared.cov_mm2[np.ix_(within, within)]
    return WallCheck(
        job=job,
        wall=wall,
        against=compared.against,
        kind=compared.kind,
        piece_mm=laid.piece_mm - compared.height_mm + level,
        deviation_mm=level,
        deviation_u_mm=row_u(level_rows, compared.cov_mm2),
        gap_mm=laid.gap_mm,
        gap_u_mm=laid.gap_u_mm,
        within=within,
        largest_gap=largest,
        largest_at_mm=tuple(float(x[within][k]) for k in laid.largest_at),
        touches_at_mm=tuple(float(x[within][k]) for k in laid.touches),
        figures=wall_figures(wall.corner, compared.kind, x[within], compared.height_mm[within], judged, square_to),
        limit_mm=limit_mm,
        decision=decision,
        remedy=_remedy(measurement, wall, laid.weights @ compared.rows, largest.value, limit_mm, guard, decision),
        budget=budget,
        fit_rms_mm=None if compared.fitted is None else compared.fitted.rms_mm,
        findings=tuple(_notes(wall, compared, within)),
    )


def _compare(
    wall: WallLine, outline: Outline, square_to: str | None, reference: Reference | None, freedom: Freedom
) -> Comparison:
    if square_to is not None and reference is not None:
        raise InputError("A wall is compared with one thing at a time; give a right angle or a drawing, not both.")
    if square_to is not None:
        return compare_square(wall, outline, square_to)
    if reference is not None:
        return compare_drawing(wall, reference, freedom)
    return compare_straight(wall)


def _within(wall: WallLine, stretch: tuple[float, float] | None) -> BoolArray:
    if stretch is None:
        return np.ones(wall.distance_mm.size, dtype=bool)
    low, high = min(stretch), max(stretch)
    inside: BoolArray = (wall.distance_mm >= low - 1e-9) & (wall.distance_mm <= high + 1e-9)
    if np.count_nonzero(inside) < 5:
        where = f"Between {low:.0f} and {high:.0f} mm" if math.isfinite(high) else f"Beyond {low:.0f} mm"
        raise InputError(
            f"{where} from the corner hardly anything of {wall.edge_id} was measured; it reaches "
            f"from 0 to {wall.distance_mm[-1]:.0f} mm."
        )
    return inside


def _levelled(kind: Kind, x: Array, height: Array, within: BoolArray) -> tuple[Array, Array]:
    """Heights (n,) as they are shown, and their derivative (n, n): from the line of best fit of the judged stretch, from the
    mean where the direction counts, as they are where a drawing says where zero is."""
    rows = np.eye(x.size)
    judged = np.flatnonzero(within)
    if kind == "straight":
        rows[:, judged] -= line_rows(x[within], x)
    elif kind == "square":
        rows[:, judged] -= 1.0 / judged.size
    return rows @ height, rows


def _budget(compared: Comparison, laid: Touching, x: Array, within: BoolArray) -> tuple[tuple[str, float], ...]:
    """Causes of the largest gap's uncertainty, largest first; what is below 2 % of it is left out."""
    w = laid.weights[None]
    found = {cause: float(row_u(w, part)[0]) for cause, part in compared.parts.items()}
    if sum(u * u for u in found.values()) < STRAIGHT_SHARE * laid.largest_u_mm**2:
        found = {cause: spread_alone(compared, x, within, part) for cause, part in compared.parts.items()}
    items = sorted(found.items(), key=lambda item: -item[1])
    return tuple((cause, u) for cause, u in items if u > GAP_BUDGET_SHARE * max(laid.largest_u_mm, 1e-9))


def _dof(m: Measurement | None, wall: WallLine, budget: Sequence[tuple[str, float]]) -> float:
    """Effective degrees of freedom of the largest gap; those of noise are of the points along the wall."""
    if m is None:
        return math.inf
    own = noise_dof(wall.state.segments[wall.edge_id])
    return effective_dof(
        [u for _, u in budget], [own if cause.startswith(OWN_NOISE) else cause_dof(m, cause) for cause, _ in budget]
    )


def _notes(wall: WallLine, compared: Comparison, within: BoolArray) -> list[str]:
    notes = []
    if not wall.corner_known:
        notes.append(
            f"No corner was measured; distances count from the {wall.corner} end of what was seen, as seen from the room."
        )
    fitted = compared.fitted
    if fitted is not None and fitted.side_assumed:
        notes.append(
            "The drawing does not say on which side of its line the room is; it was taken to lie below the line, or to its "
            "right. Draw the counter's corners too, or mirror the line, if that is not so."
        )
    if fitted is not None and fitted.rivals:
        which = ("longest", "second longest")[fitted.run] if fitted.run < 2 else f"{fitted.run + 1}th longest"
        notes.append(
            f"{fitted.rivals + 1} lines of the drawing are long enough for this wall; compared with the {which}. Name the "
            "layer of the wall if that is not the one."
        )
    if not np.all(wall.seen[within]):
        unseen = float(np.diff(wall.distance_mm).mean()) * int(np.count_nonzero(~wall.seen[within]))
        if wall.by_sheets:
            notes.append(
                f"Between the sheets the wall was not seen: about {unseen:.0f} mm of the judged stretch. U there is what walls "
                "usually wander between two places; tape a strip along the wall, or butt more sheets against it, to see it."
            )
        else:
            text = f"About {unseen:.0f} mm of the judged stretch were not seen; there the wall is run on, with a larger U."
            seen = within & wall.seen
            if np.count_nonzero(seen) >= 5:
                laid = lay_piece(compared, wall.distance_mm, seen)
                alone = f"{laid.largest_mm:.1f} mm, U {2 * laid.largest_u_mm:.1f} mm"
                text += f" Behind what was seen alone the largest gap is {alone}."
            notes.append(text)
    return notes


def _remedy(
    m: Measurement | None, wall: WallLine, gradient: Array, value: float, limit: float, guard: Guard, decision: Decision
) -> str:
    """What would settle the question, with what it would bring where that can be predicted."""
    if decision.verdict != "cannot tell":
        return ""
    ask = f"The gap is too close to {limit:.1f} mm for its U."
    if m is not None and not m.outline.unscaled:
        judged = judge_quantity(
            m, f"largest gap at {wall.edge_id}", Dual(value, gradient), 0.0, limit, guard, near_edge=wall.edge_id
        )
        if judged.remedies:
            return f"{ask} {judged.remedy_text()}"
    return f"{ask} Hold a straightedge against the wall and measure the gap with feeler gauges, or scribe on site."
