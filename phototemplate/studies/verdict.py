"""Does the template meet the tolerance? Per edge: meets, fails or cannot tell, and what would settle it.

An edge that is followed as measured deviates from the measurement by nothing, so it meets the tolerance where its expanded
uncertainty is within it (ISO 14253-1: the tolerance shrunk by the guard on both sides). A dimension or gap with a nominal
or limiting value is compared with its limits. A wrong "meets" ruins a slab, so nothing is rounded in its favour, and where two
lines may be the edge no U says which: nobody can tell until one is chosen. Where the photos contradict each other too much for
any U to be stated (``Network.quality``), nobody can tell anything. """

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes.evaluate import between, point_at, slope_at, weights
from phototemplate.errors import Finding
from phototemplate.model import Array, Measurement
from phototemplate.numerics.constants import GUARD_FACTORS
from phototemplate.numerics.decision import Guard, decide, guard_factor, largest_u_for_proof
from phototemplate.output.assessment import Judged, Remedy
from phototemplate.studies import remedies as rem
from phototemplate.studies.budget import contributions, dof_and_coverage
from phototemplate.studies.constants import EDGE_TOLERANCE_MM, HELPFUL, JUDGED_PLACES, MOST_SEARCHED, SITE_TAPE_U_MM, TAKES_PART
from phototemplate.template.gradients import Dual, vec
from phototemplate.template.quantities import EdgePlace, State, place_on_edge, seen_stretch

OPEN_QUESTIONS = ("edge-ambiguous", "edge-door-unclear", "edge-double-line", "edge-wavering")
"""The finding that only a person can answer"""


def judge_edges(
    m: Measurement,
    tolerance_mm: float = EDGE_TOLERANCE_MM,
    guard: Guard = "U",
    tape_u_mm: float = SITE_TAPE_U_MM,
    remedies: bool = True,
) -> tuple[Judged, ...]:
    """One judgement per edge of the outline, at its worst place, normal to the edge; without ``remedies`` in a moment."""
    state = State(m.outline)
    worst = [worst_place(state, edge_id) for edge_id in m.outline.state_slices]
    asked = [_Asked(w.edge_id, w.edge_id, w.where, 0.0, w.gradient, w.xy) for w in worst]
    return _judge_all(m, state, asked, tolerance_mm, guard, tape_u_mm, remedies)


@dataclass(frozen=True)
class WorstPlace:
    """Where an edge is least certain."""

    edge_id: str
    where: str
    """In words"""
    xy: Array
    """(2,) plan frame"""
    gradient: Array
    """(S,) of the position normal to the edge, over the state of the outline"""


def worst_place(state: State, edge_id: str) -> WorstPlace:
    """The least certain place of an edge between its corners, found along the edge and not at its ends alone."""
    segment = state.segments[edge_id]
    start, end = state.stretch(edge_id)
    s = between(segment, start.xy, end.xy, JUDGED_PLACES[segment.shape])
    rows = weights(segment, s) / np.sqrt(1.0 + slope_at(segment, s)[:, None] ** 2)
    where = state.outline.state_slices[edge_id]
    u2 = np.einsum("ni,ij,nj->n", rows, state.cov[where, where], rows)
    k = int(np.argmax(u2))
    gradient = np.zeros(state.size)
    gradient[where] = rows[k]
    names = ("start", "first quarter", "middle", "third quarter", "end")
    return WorstPlace(edge_id, names[round(4 * k / (s.size - 1))], point_at(segment, s[k])[0], gradient)


def judge_quantities(
    m: Measurement,
    values: Sequence[tuple[str, Array, float]],
    tolerance_mm: float = EDGE_TOLERANCE_MM,
    guard: Guard = "U",
    tape_u_mm: float = SITE_TAPE_U_MM,
) -> tuple[Judged, ...]:
    """Judge many quantities at once: (name, gradient (S,) over the outline's state, deviation from nominal in mm)."""
    state = State(m.outline)
    asked = []
    for name, gradient, deviation in values:
        edge = max(m.outline.state_slices, key=lambda e: float(np.abs(gradient[m.outline.state_slices[e]]).max(initial=0.0)))
        asked.append(_Asked(name, edge, "", deviation, gradient, place_on_edge(state, EdgePlace(edge, 0.5)).xy))
    return _judge_all(m, state, asked, tolerance_mm, guard, tape_u_mm)


def judge_quantity(
    m: Measurement,
    name: str,
    value: Dual,
    nominal_mm: float,
    tolerance_mm: float = EDGE_TOLERANCE_MM,
    guard: Guard = "U",
    tape_u_mm: float = SITE_TAPE_U_MM,
    near_edge: str = "",
) -> Judged:
    """Judge any quantity over the outline's state (``template.quantities``) against ``nominal +- tolerance``."""
    state = State(m.outline)
    edge = near_edge or next(iter(m.outline.state_slices))
    at = place_on_edge(state, EdgePlace(edge, 0.5)).xy
    asked = _Asked(name, edge, "", value.value - nominal_mm, value.gradient(state.size), at)
    return _judge_all(m, state, [asked], tolerance_mm, guard, tape_u_mm)[0]


def findings(judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """``tolerance`` findings for the report: all that is not proven to meet."""
    return tuple(j.finding for j in judged if j.verdict != "meets")


@dataclass(frozen=True)
class _Asked:
    """One question: a quantity against its limits."""

    name: str
    edge_id: str
    """The edge it hangs on most"""
    where: str
    deviation: float
    gradient: Array
    xy: Array
    """(2,) where a further photo would look, plan frame"""


def _judge_all(
    m: Measurement,
    state: State,
    asked: Sequence[_Asked],
    tolerance: float,
    guard: Guard,
    tape_u_mm: float,
    remedies: bool = True,
) -> tuple[Judged, ...]:
    u = [math.sqrt(max(float(a.gradient @ state.cov @ a.gradient), 0.0)) for a in asked]
    dof = [dof_and_coverage(contributions(m, state, a.gradient))[0] for a in asked]
    made = [
        decide(a.deviation, one, -tolerance, tolerance, guard, free) for a, one, free in zip(asked, u, dof, strict=True)
    ]
    doubted = [_doubted(m, state, a) for a in asked]
    open_ = sorted((i for i, d in enumerate(made) if d.verdict == "cannot tell"), key=lambda i: u[i])
    found: dict[int, tuple[Remedy, ...]] = {}
    if open_ and remedies:
        photos = rem.PhotoPlaces(m) if m.network.photos else None
        for n, i in enumerate(open_):
            wanted = 2.0 * largest_u_for_proof(asked[i].deviation, -tolerance, tolerance, guard, dof[i])
            found[i] = _remedies(m, state, asked[i], wanted, 2.0 * u[i], tape_u_mm, photos if n < MOST_SEARCHED else None)
    out = []
    for i, (a, d) in enumerate(zip(asked, made, strict=True)):
        verdict, remedies_ = d.verdict, found.get(i, ())
        if m.network.quality.withheld:
            verdict, remedies_ = "cannot tell", ()
        elif verdict == "meets" and doubted[i]:
            verdict, remedies_ = "cannot tell", (_choose(doubted[i], 2.0 * u[i]), *remedies_)
        big_u = guard_factor("U", dof[i]) * u[i]
        out.append(Judged(a.name, a.where, verdict, a.deviation, big_u, tolerance, d.probability, remedies_))
    return tuple(out)


def _doubted(m: Measurement, state: State, asked: _Asked) -> tuple[str, ...]:
    """Edges on which the quantity hangs and of which it is not known which of two lines they are."""
    named = {f.where for f in m.findings if f.code in OPEN_QUESTIONS}
    slices = state.outline.state_slices
    return tuple(e for e, where in slices.items() if e in named and np.abs(asked.gradient[where]).sum() > TAKES_PART)


def _choose(edges: tuple[str, ...], U_mm: float) -> Remedy:
    return Remedy(Finding("do-choose", " and ".join(edges)), U_mm)


def _remedies(
    m: Measurement, state: State, asked: _Asked, wanted: float, now: float, tape_u_mm: float, photos: rem.PhotoPlaces | None
) -> tuple[Remedy, ...]:
    outline, edge_id, gradient, at = m.outline, asked.edge_id, asked.gradient, asked.xy
    noise = float(gradient @ outline.noise_cov_mm2 @ gradient)
    plan = outline.plan_from_work
    work = plan[:2, :2].T @ (at - plan[:2, 2])
    target = rem.Target(edge_id, gradient @ outline.shared_jac, noise, work)
    tried = [rem.best_length(m, target, tape_u_mm)]
    if photos is not None and rem.least_with_photos(m, target) < max(wanted, HELPFUL * now):
        tried.append(rem.best_photo(m, target, photos))
    for edge in _heaviest(m, gradient):
        where = outline.state_slices[edge]
        segment, own = state.segments[edge], gradient[where]
        scale = max(abs(float(own.sum())), float(np.linalg.norm(own)))
        own_noise = float(own @ outline.noise_cov_mm2[where, where] @ own)
        place = at if edge == edge_id else place_on_edge(state, EdgePlace(edge, 0.5)).xy
        first, last = seen_stretch(segment, state.curve(edge))
        nearest = first if np.linalg.norm(first - place) < np.linalg.norm(last - place) else last
        seen = _side_gradient(state, edge, nearest)
        seen_noise = scale**2 * float(seen @ outline.noise_cov_mm2 @ seen)
        tried.append(rem.contact_instead(m, target, segment, own_noise, scale))
        tried.append(rem.measure_edge_again(m, target, segment, seen_noise, own_noise))
    options = [r for r in tried if r is not None] + rem.type_b_readings(m.work_plane.influences, target)
    return rem.cheapest(options, wanted, now)


def _heaviest(m: Measurement, gradient: Array, count: int = 2) -> list[str]:
    """The edges that bring most of a quantity's variance by themselves: their noise, and the terms that are theirs alone."""
    outline = m.outline
    extra = m.network.influences.size
    variance: dict[str, float] = {}
    for edge, where in outline.state_slices.items():
        own = gradient[where]
        shared = (own @ outline.shared_jac[where])[extra:]
        variance[edge] = float(own @ outline.noise_cov_mm2[where, where] @ own)
        variance[edge] += float(shared @ outline.influences.cov[extra:, extra:] @ shared)
    most = sorted((e for e in variance if variance[e] > 0.0), key=lambda e: -variance[e])
    return most[:count]


def _side_gradient(state: State, edge_id: str, xy: Array) -> Array:
    return state.curve(edge_id).side(vec(xy)).gradient(state.size)


def guard_text(guard: Guard) -> str:
    """The rule in words, for the report."""
    factor = GUARD_FACTORS[guard]
    if guard == "U":
        how = "95.45 %: k = 2, more with few degrees of freedom"
        return f"Proven only where the value lies inside the tolerance by U ({how}), after ISO 14253-1."
    return f"Proven only where the value lies inside the tolerance by {factor} u (95 % one-sided), after ISO 14253-1:2017."
