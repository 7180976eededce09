"""Sizes from clicked corners in few photos: one plane, things of known size, tape lengths, right angles.

What a remote estimator has: perhaps one photo, no calibration, no sheets. All clicked points lie on the plane of the cabinet
tops. Unknown are the points, the poses of the photos, the lens (principal distance from EXIF, a little distortion) and where
things of known size lie. Everything is one least-squares problem in which whatever is known enters as an observation with its
uncertainty, so nothing is assumed silently; the covariance is the inverse of the normal matrix (pseudo-inverse: the frame in
the plane is free, and no size depends on it). Imaging model: pinhole with radial distortion (Brown), as in ``numerics.lens``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from types import MappingProxyType

import numpy as np
from scipy import stats
from scipy.optimize import least_squares

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, Camera, Influences, Outline, Segment
from phototemplate.settings import OutlineSettings
from phototemplate.studies.clicked_problem import ClickedLoop, ClickedPhoto, ClickedProblem, KnownThing, TapeLength
from phototemplate.studies.clicked_start import in_one_order, rolls, start
from phototemplate.studies.constants import (
    CONTRADICTION,
    DOF_ASSUMED,
    FITS_ALREADY,
    FOCAL_GUESS_U,
    FOCAL_STARTS,
    LEAST_EDGE_MM,
    LEAST_EITHER,
    STARTS_TRIED,
    TILTS_DEG,
)
from phototemplate.template.outline import LoopEdges, build_outline

WAY_ROUND = "which way round known things lie"
"""Cause of an uncertainty"""


@dataclass(frozen=True)
class ClickedPlan:
    """Points of the plane with their covariance."""

    names: tuple[str, ...]
    xy_mm: Array
    """(n, 2)"""
    influences: Influences
    """Their coordinates x, y, x, y ..., by cause"""
    chi2: float
    redundancy: int
    largest: tuple[tuple[str, float], ...]
    """Observations that fit worst: what, normalized residual"""
    problem: ClickedProblem
    """What was solved, and where: for whoever asks where things lie in the photos"""
    solution: Array


def fit_clicked(
    photos: Sequence[ClickedPhoto],
    lengths: Sequence[TapeLength] = (),
    loops: Sequence[ClickedLoop] = (),
    profiles: Mapping[str, Camera] = MappingProxyType({}),
    near: ClickedPlan | None = None,
) -> ClickedPlan:
    """Solve for all points. ``profiles``: camera_id -> its calibrated lens, where one is known. ``near``: what the clicks gave
    before one of them was moved, where the search begins.

    Raises ``InputError`` for names that were not clicked, ``MeasureError`` where nothing fixes the scale or the photos, sizes
    and lengths contradict each other.
    """
    photos = [replace(p, known=tuple(_anticlockwise(t) for t in p.known)) for p in photos if p.points or p.known]
    photos = in_one_order(photos)
    _check(photos, lengths, loops)
    again = None if near is None else _from_there(near, photos, lengths, loops, profiles)
    if again is not None:
        return again
    things = tuple(dict.fromkeys(k.name for p in reversed(photos) for k in p.known))
    make = [partial(ClickedProblem, photos, lengths, loops, t, profiles) for t in product((False, True), repeat=len(things))]
    first = make[0]()
    guess = any(optics.u_focal >= FOCAL_GUESS_U for optics in first.lenses.values())
    lenses = [first.lens_of_lines(f) for f in (FOCAL_STARTS if guess else FOCAL_STARTS[:1])]
    ways = [_Way(m, lenses) for m in make]
    for count in STARTS_TRIED:
        if not any(way.fits for way in ways):
            for way in ways:
                way.follow(count)
    found = [(way.cost, _solved(way.problem, way.x)) for way in ways if way.x is not None]
    if not found:
        raise MeasureError("The clicked points do not give a picture of one plane; check that they lie on the cabinet tops.")
    found.sort(key=lambda item: item[0])
    return _checked(mixture(found, WAY_ROUND))


class _Way:
    """The search with the known things lying one way."""

    def __init__(self, make: Callable[[], ClickedProblem], lenses: Sequence[Array]) -> None:
        self.problem = make()
        self.cost, self.x = math.inf, None  # type: float, Array | None
        """Half the sum of squares, and the unknowns; None as long as nothing converged"""
        starts: list[tuple[float, ClickedProblem, Array]] = []
        ways = [(t, r, False) for t, r in product(TILTS_DEG, rolls(self.problem.photos))]
        if self.problem.things:
            ways.insert(0, (TILTS_DEG[1], 0.0, True))
        for (tilt, roll, by_things), optics in product(ways, lenses):
            problem = make()
            begin = start(problem, math.radians(tilt), math.radians(roll), optics, by_things)
            if begin is not None:
                starts.append((float(np.sum(np.log1p(problem.residuals(begin) ** 2))), problem, begin))
        self.starts = sorted(starts, key=lambda item: item[0])

    @property
    def fits(self) -> bool:
        """Whether what was found leaves no more than noise."""
        if self.x is None:
            return False
        redundancy = len(self.problem.residuals(self.x)) - self.problem.size
        return bool(2.0 * self.cost < stats.chi2.ppf(FITS_ALREADY, max(redundancy, 1)))

    def follow(self, count: int) -> None:
        """Follow the most promising starts to their end, until one fits."""
        for _, problem, begin in self.starts[:count]:
            if self.fits:
                break
            f, jac = problem.residuals, problem.jacobian
            try:
                robust = least_squares(f, begin, jac, loss="soft_l1", f_scale=3.0, x_scale="jac", max_nfev=25)
                fine = least_squares(f, robust.x, jac, x_scale="jac", max_nfev=60)
            except np.linalg.LinAlgError:  # the search went where a sheet is seen edge on
                continue
            if fine.success and fine.cost < self.cost:  # what has not converged is no solution
                self.cost, self.problem, self.x = float(fine.cost), problem, fine.x
        self.starts = self.starts[count:]


def mixture(found: Sequence[tuple[float, ClickedPlan]], cause: str) -> ClickedPlan:
    """The first of several plans, each with half its chi-squared less the logarithm of its prior; what the others would change
    is a cause of its own: the mixture's second moment about the first, with weights by the likelihood."""
    plan = found[0][1]
    costs = np.array([cost for cost, _ in found])
    weights = np.exp(costs.min() - costs)
    weights /= weights.sum()
    more = np.zeros_like(plan.influences.cov)
    for w, (_, other) in zip(weights[1:], found[1:], strict=True):
        source, target = (p.xy_mm - p.xy_mm.mean(axis=0) for p in (other, plan))
        u, _, vt = np.linalg.svd(source.T @ target)
        turn = u @ np.diag([1.0, np.sign(np.linalg.det(u @ vt))]) @ vt
        moved = (source @ turn - target).ravel()
        spin = np.kron(np.eye(len(source)), turn.T)
        more += w * (np.outer(moved, moved) + spin @ other.influences.cov @ spin.T - plan.influences.cov)
    if np.trace(more) <= LEAST_EITHER * np.trace(plan.influences.cov):
        return plan
    own = plan.influences
    parts = {**own.parts, cause: own.parts.get(cause, np.zeros_like(more)) + more}
    return replace(plan, influences=Influences(own.names, own.cov + more, parts))


def _from_there(
    near: ClickedPlan,
    photos: Sequence[ClickedPhoto],
    lengths: Sequence[TapeLength],
    loops: Sequence[ClickedLoop],
    profiles: Mapping[str, Camera],
) -> ClickedPlan | None:
    """Solved from an earlier solution of the same unknowns; None where they are others, or where it does not fit there."""
    before = near.problem
    problem = ClickedProblem(photos, lengths, loops, [before.turned.get(n, False) for n in before.thing_names], profiles)
    unknowns = (problem.names, problem.thing_names, [p.meta.photo_id for p in problem.photos], problem.size)
    if WAY_ROUND in near.influences.parts or unknowns != (
        before.names, before.thing_names, [p.meta.photo_id for p in before.photos], before.size
    ):  # fmt: skip
        return None
    problem.rolls = dict(before.rolls)
    fine = least_squares(problem.residuals, near.solution, problem.jacobian, x_scale="jac", max_nfev=40)
    if not fine.success:
        return None
    plan = _solved(problem, fine.x)
    return None if _contradicts(plan) else plan


def _anticlockwise(thing: KnownThing) -> KnownThing:
    """Corners anticlockwise as seen from above; the picture's y runs down."""
    x, y = thing.corners_px.T
    if float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) < 0:
        return thing
    return replace(thing, corners_px=thing.corners_px[::-1], u_px=thing.u_px[::-1])


def _check(photos: Sequence[ClickedPhoto], lengths: Sequence[TapeLength], loops: Sequence[ClickedLoop]) -> None:
    names = {n for p in photos for n in p.points}
    for asked, whose in [(n, f"Length {x.start}-{x.end}") for x in lengths for n in (x.start, x.end)] + [
        (n, f"Run {x.loop_id!r}") for x in loops for n in x.corners
    ]:
        if asked not in names:
            raise InputError(
                f"{whose} names the point {asked!r}, which was not clicked in any photo; click it or correct the name."
            )
    if not any(p.known for p in photos) and not lengths:
        raise MeasureError(
            "Nothing fixes the scale: no sheet, no thing of known size and no length was given. Ask for one tape length along "
            "the longest run, or a photo with an A4 or Letter sheet or a payment card lying on the cabinets."
        )
    linked = set(photos[0].points) | {k.name for k in photos[0].known}
    rest = list(photos[1:])
    while rest:
        for p in rest:
            own = set(p.points) | {k.name for k in p.known}
            common = [n for n in p.points if n in linked]
            if len(common) >= 3 or any(k.name in linked for k in p.known):
                linked |= own
                rest.remove(p)
                break
        else:
            raise MeasureError(
                f"Photo {rest[0].meta.photo_id} shares fewer than three points and no known thing with the others, so it "
                "cannot be joined to them; click common corners in both, or check that both show the same kitchen."
            )


def _contradicts(plan: ClickedPlan) -> bool:
    return plan.redundancy > 0 and plan.chi2 > CONTRADICTION[0] * plan.redundancy + CONTRADICTION[1]


def _checked(plan: ClickedPlan) -> ClickedPlan:
    what, times = plan.largest[0]
    if _contradicts(plan):
        raise MeasureError(
            f"The clicks, sizes and lengths contradict each other (worst: {what}, {times:.0f} times its "
            "uncertainty); check that clicks with the same name are the same corner, that sizes and lengths are right, "
            "that things of known size lie level with the clicked corners, and that all photos show one kitchen."
        )
    return plan


def _solved(problem: ClickedProblem, x: Array) -> ClickedPlan:
    groups = problem.groups(x)
    rows, r = problem.jacobian(x), problem.residuals(x)
    # everything in the unit of its own spread, so that the pseudo-inverse can tell the free frame from what is only weak
    scale = np.sqrt(np.maximum(np.sum(rows**2, axis=0), 1e-12))
    information = (rows / scale).T @ (rows / scale)
    values, vectors = np.linalg.eigh(information)
    keep = values > 1e-9 * values.max()
    cov_scaled = (vectors[:, keep] / values[keep]) @ vectors[:, keep].T
    chi2 = float(r @ r)
    redundancy = r.size - int(np.count_nonzero(keep))
    worst = sorted(((c, float(np.abs(g).max(initial=0.0))) for c, g, _ in groups), key=lambda item: -item[1])
    inflate = max(1.0, (DOF_ASSUMED + chi2) / (DOF_ASSUMED + redundancy))
    use = slice(problem.points_at, problem.things_at)
    parts: dict[str, Array] = {}
    at = 0
    for cause, g, _ in groups:
        own = (rows[at : at + g.size] / scale).T @ (rows[at : at + g.size] / scale)
        at += g.size
        part = cov_scaled @ own @ cov_scaled / np.outer(scale, scale)
        parts[cause] = parts.get(cause, np.zeros((use.stop - use.start,) * 2)) + inflate * 1e6 * part[use, use]
    cov = sum(parts.values(), np.zeros((use.stop - use.start,) * 2))
    names = tuple(f"point:{n}:{axis}" for n in problem.names for axis in "xy")
    return ClickedPlan(
        problem.names, 1000.0 * problem.points(x), Influences(names, cov, parts), chi2, redundancy, tuple(worst[:3]), problem, x
    )


def clicked_outline(plan: ClickedPlan, loops: Sequence[ClickedLoop]) -> Outline:
    """The loops as an outline whose covariance is that of the points."""
    where = {n: k for k, n in enumerate(plan.names)}
    k_size = plan.influences.size
    segments: dict[str, Segment] = {}
    specs = []
    for loop in loops:
        n = len(loop.corners)
        for i, (edge_id, kind) in enumerate(loop.edges):
            if edge_id in segments:
                raise InputError(f"Two edges are called {edge_id!r}; give every edge its own name.")
            ends = [where[loop.corners[i]], where[loop.corners[(i + 1) % n]]]
            chord = plan.xy_mm[ends]
            t = chord[1] - chord[0]
            length = float(np.hypot(*t))
            if length < LEAST_EDGE_MM:
                raise InputError(f"Edge {edge_id!r} is only {length:.0f} mm long; check its corners.")
            normal = np.array([-t[1], t[0]]) / length
            jac = np.zeros((2, k_size))
            for row, end in enumerate(ends):
                jac[row, 2 * end : 2 * end + 2] = normal
            segments[edge_id] = Segment(
                edge_id, kind, "line", chord, np.array([0.0, length]), np.zeros(2), np.zeros((2, 2)), jac,  # type: ignore[arg-type]
                np.zeros(2), chord, (0.0, 0.0, 0.0), "clicked", 1,
            )  # fmt: skip
        specs.append(LoopEdges(loop.loop_id, tuple(e for e, _ in loop.edges)))
    return build_outline(list(segments.values()), specs, plan.influences, OutlineSettings())
