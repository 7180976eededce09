"""Does the template meet the tolerance? Per edge: meets, fails or cannot tell, and what would settle it.

An edge that is followed as measured deviates from the measurement by nothing, so it meets the tolerance where its expanded
uncertainty is within it (ISO 14253-1: the tolerance shrunk by the guard on both sides). A dimension or gap with a nominal
or limiting value is compared with its limits. A wrong "meets" ruins a slab, so nothing is rounded in its favour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, Measurement
from phototemplate.numerics.decision import GUARD_FACTORS, Guard, Verdict, decide, largest_u_for_proof
from phototemplate.studies import remedies as rem
from phototemplate.studies.remedies import Remedy
from phototemplate.template.gradients import Dual, vec
from phototemplate.template.quantities import EdgePlace, State, place_on_edge, seen_stretch

TOLERANCE_MM = 25.4 / 16.0
"""1/16 in, the tolerance fabricators state for finished edges; the user may state another"""
TAPE_U_MM = 0.7
"""Standard uncertainty of a careful tape reading (common practice: read to 1 mm or 1/32 in)"""
SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Places along an edge that are judged"""


@dataclass(frozen=True)
class Judgement:
    """Verdict on one edge or dimension."""

    name: str
    where: str
    """Which place of it is the worst; empty for a dimension"""
    verdict: Verdict
    deviation_mm: float
    """What is compared with the limits: 0 for an edge that is followed as measured"""
    U_mm: float
    tolerance_mm: float
    probability: float
    """That the true value lies within the limits"""
    remedies: tuple[Remedy, ...] = ()

    @property
    def sentence(self) -> str:
        """The verdict in one sentence, with the remedy and what it would bring."""
        at = f" at the {self.where}" if self.where else ""
        text = f"{self.name}: U {self.U_mm:.2f} mm{at} against {self.tolerance_mm:.2f} mm: {self.verdict}."
        for remedy in self.remedies[:1]:
            text += f" {remedy.text} That would bring U to {remedy.predicted_U_mm:.2f} mm."
        return text


def judge_edges(
    m: Measurement, tolerance_mm: float = TOLERANCE_MM, guard: Guard = "U", tape_u_mm: float = TAPE_U_MM
) -> tuple[Judgement, ...]:
    """One judgement per edge of the outline, at its worst place, normal to the edge."""
    state = State(m.outline)
    out = []
    for edge_id in m.outline.state_slices:
        worst: tuple[float, float, Array] | None = None
        for share in SHARES:
            gradient = _across(state, edge_id, share)
            u = math.sqrt(max(float(gradient @ state.cov @ gradient), 0.0))
            if worst is None or u > worst[0]:
                worst = (u, share, gradient)
        assert worst is not None
        u, share, gradient = worst
        name = {0.0: "start", 1.0: "end", 0.5: "middle"}.get(share, "quarter" if share < 0.5 else "third quarter")
        out.append(_judge(m, state, edge_id, edge_id, name, 0.0, gradient, tolerance_mm, guard, tape_u_mm, share))
    return tuple(out)


def judge_quantity(
    m: Measurement,
    name: str,
    value: Dual,
    nominal_mm: float,
    tolerance_mm: float = TOLERANCE_MM,
    guard: Guard = "U",
    tape_u_mm: float = TAPE_U_MM,
    near_edge: str = "",
) -> Judgement:
    """Judge any quantity over the outline's state (``template.quantities``) against ``nominal +- tolerance``."""
    state = State(m.outline)
    gradient = value.gradient(state.size)
    edge = near_edge or next(iter(m.outline.state_slices))
    return _judge(m, state, name, edge, "", value.value - nominal_mm, gradient, tolerance_mm, guard, tape_u_mm, 0.5)


def findings(judgements: Sequence[Judgement]) -> tuple[Finding, ...]:
    """``tolerance`` findings for the report: all that is not proven to meet."""
    out = []
    for j in judgements:
        if j.verdict != "meets":
            at = f" at the {j.where}" if j.where else ""
            head = f"{j.name}: {j.verdict} within {j.tolerance_mm:.2f} mm (U {j.U_mm:.2f} mm{at})"
            text = j.remedies[0].text + f" That would bring U to {j.remedies[0].predicted_U_mm:.2f} mm." if j.remedies else ""
            out.append(Finding("tolerance", j.name, head, text))
    return tuple(out)


def _judge(
    m: Measurement, state: State, name: str, edge_id: str, where: str, deviation: float, gradient: Array, tolerance: float,
    guard: Guard, tape_u_mm: float, share: float,
) -> Judgement:  # fmt: skip
    u = math.sqrt(max(float(gradient @ state.cov @ gradient), 0.0))
    decision = decide(deviation, u, -tolerance, tolerance, guard)
    found: tuple[Remedy, ...] = ()
    if decision.verdict == "cannot tell":
        wanted = 2.0 * largest_u_for_proof(deviation, -tolerance, tolerance, guard)
        found = _remedies(m, state, edge_id, gradient, share, wanted, 2.0 * u, tape_u_mm)
    return Judgement(name, where, decision.verdict, deviation, 2.0 * u, tolerance, decision.probability, found)


def _remedies(
    m: Measurement, state: State, edge_id: str, gradient: Array, share: float, wanted: float, now: float, tape_u_mm: float
) -> tuple[Remedy, ...]:
    outline = m.outline
    noise = float(gradient @ outline.noise_cov_mm2 @ gradient)
    at = place_on_edge(state, EdgePlace(edge_id, share)).xy
    plan = outline.plan_from_work
    work = plan[:2, :2].T @ (at - plan[:2, 2])
    target = rem.Target(edge_id, gradient @ outline.shared_jac, noise, work)
    tried = [rem.best_photo(m, target), rem.best_length(m, target, tape_u_mm)]
    segment = state.segments[edge_id]
    first, last = seen_stretch(segment, state.curve(edge_id))
    nearest = first if np.linalg.norm(first - at) < np.linalg.norm(last - at) else last
    seen = _side_gradient(state, edge_id, nearest)
    tried.append(rem.measure_edge_again(m, target, segment, float(seen @ outline.noise_cov_mm2 @ seen)))
    options = [r for r in tried if r is not None] + rem.type_b_readings(m.work_plane.influences, target)
    return rem.cheapest(options, wanted, now)


def _across(state: State, edge_id: str, share: float) -> Array:
    """(S,) gradient of the position normal to an edge at a share of its trimmed stretch."""
    return _side_gradient(state, edge_id, place_on_edge(state, EdgePlace(edge_id, share)).xy)


def _side_gradient(state: State, edge_id: str, xy: Array) -> Array:
    return state.curve(edge_id).side(vec(xy)).gradient(state.size)


def guard_text(guard: Guard) -> str:
    """The rule in words, for the report."""
    factor = GUARD_FACTORS[guard]
    if guard == "U":
        return "Proven only where the value lies inside the tolerance by U (k = 2), after ISO 14253-1."
    return f"Proven only where the value lies inside the tolerance by {factor} u (95 % one-sided), after ISO 14253-1:2017."
