"""An adjustment under way: problem, priors, state, which sightings count, what was found so far.

An :class:`Adjustment` never changes. Solving, testing and weighing give a new one, and the same one where there was nothing to
do: ``after is not before`` says that something changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, BoolArray, IntArray, Target
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.bundle import Problem, Solution, State
from phototemplate.network.adjustment.parameters import POSE
from phototemplate.network.adjustment.pseudo_observations import Priors
from phototemplate.settings import AdjustmentSettings


@dataclass(frozen=True)
class Adjustment:
    """An adjustment under way."""

    problem: Problem
    priors: Priors
    state: State
    base: Array
    """(N,) 1 used, 0 rejected"""
    settings: AdjustmentSettings
    targets: Mapping[str, Target]
    unit_root: Array
    """(N, 2, 2) the sightings' ``root`` as their own covariances give it"""
    factor: Array
    """(P,) variance factor per photo applied to the sightings"""
    solution: Solution | None = None
    sigma0: float = 1.0
    redundancy: float = 0.0
    findings: tuple[Finding, ...] = ()
    moved: frozenset[tuple[int, int]] = frozenset()
    """(body, photo) views left out because the sheet lay elsewhere"""
    loose: Mapping[tuple[str, int], float] = field(default_factory=dict)
    """(strip, photo) views left out because the strip had come loose, and how far it lay off at most, mm"""
    smeared: frozenset[int] = frozenset()
    """Photos whose sightings were weighted along and across their smear"""
    lost_lengths: frozenset[str] = frozenset()
    """Known lengths an end of which has too few sightings left"""
    lost_photos: tuple[str, ...] = ()
    """Photos all of whose sightings were rejected"""

    @property
    def solved(self) -> Solution:
        """The last solution."""
        assert self.solution is not None
        return self.solution

    @property
    def used(self) -> BoolArray:
        """(N,) whether each sighting takes part"""
        return np.asarray(self.base > 0)

    @property
    def moved_views(self) -> frozenset[tuple[str, str]]:
        """(target, photo) of the views left out because the target lay elsewhere"""
        return frozenset((self.problem.body_ids[b], self.problem.photo_ids[p]) for b, p in self.moved)

    def half_size_mm(self, body: int) -> float:
        """How far a body's outermost point lies from its own axes."""
        return float(np.abs(self.targets[self.problem.body_ids[body]].points_mm).max())

    def noise(self) -> float:
        """Robust standard deviation of unit weight of the used sightings, at least 1."""
        return _spread(self.solved.linear.white[self.used])

    def noise_by_photo(self) -> Array:
        """(P,) the same per photo, at least that of all: a blurred photo must not look like moved sheets."""
        common = self.noise()
        white, photo, used = self.solved.linear.white, self.problem.sightings.photo, self.used
        own = [white[used & (photo == p)] for p in range(len(self.problem.photo_ids))]
        return np.array([max(_spread(w), common) if len(w) >= constants.LEAST_FOR_NOISE else common for w in own])

    def rejecting(self, rows: BoolArray | IntArray | slice) -> Adjustment:
        """Without some sightings."""
        base = self.base.copy()
        base[rows] = 0.0
        return replace(self, base=base)

    def releasing_curl(self, bodies: set[int]) -> Adjustment:
        """With the curl of some bodies among what is adjusted."""
        return replace(self, problem=replace(self.problem, curl=self.problem.curl | frozenset(bodies)))

    def saying(self, code: str, where: str, /, **facts: Any) -> Adjustment:
        """With one more finding."""
        return replace(self, findings=(*self.findings, Finding(code, where, **facts)))


def solve(run: Adjustment, huber: float | None = None, tolerance: float = 1e-3, damping: float = 0.0) -> Adjustment:
    """Least squares from the current state, without what has too few sightings left to be determined.

    A run that does not converge goes on, damped; ``solved.converged`` says whether it ever did.
    """
    run = _pruned(run)
    for attempt in range(constants.ATTEMPTS):
        solution = bundle.solve(
            run.problem,
            run.priors,
            run.state,
            run.base,
            huber=huber,
            iterations=run.settings.max_iterations,
            damping=damping if attempt == 0 else constants.DAMPED_AGAIN,
            tolerance=tolerance,
        )
        run = replace(run, state=solution.state, solution=solution)
        if solution.converged:
            return run
    return run


def _pruned(run: Adjustment) -> Adjustment:
    """Without points, bodies and photos that too few sightings are left of; with a datum."""
    problem, base = run.problem, run.base.copy()
    s = problem.sightings
    while True:
        used = base > 0
        photos = np.bincount(s.photo[used], minlength=len(problem.photo_ids))
        on_body = used & (s.body >= 0)
        bodies = np.bincount(s.body[on_body], minlength=len(problem.body_ids))
        # Few points left, all on one line: the turn about it is free.
        for b in np.nonzero((bodies > 0) & (bodies < constants.MAYBE_ON_A_LINE))[0]:
            local = s.local[on_body & (s.body == b)]
            spread = np.linalg.svd(local - local.mean(axis=0), compute_uv=False)
            if len(spread) < 2 or spread[1] < constants.ON_A_LINE * spread[0] + 1e-9:
                bodies[b] = 0
        on_point = used & (s.point >= 0)
        points = np.bincount(s.point[on_point], minlength=len(problem.point_ids))
        weak = photos[s.photo] < constants.LEAST_OF_PHOTO
        weak |= (s.body >= 0) & (bodies[np.maximum(s.body, 0)] < constants.LEAST_OF_BODY) if len(bodies) else False
        weak |= (s.point >= 0) & (points[np.maximum(s.point, 0)] < constants.LEAST_OF_POINT) if len(points) else False
        if not np.any(weak & used):
            break
        base[weak] = 0.0
    lost = [f"photo:{problem.photo_ids[i]}:" for i in np.nonzero(photos == 0)[0]]
    lost += [f"body:{problem.body_ids[b]}:" for b in np.nonzero(bodies == 0)[0]]
    lost += ["point:{}:{}:".format(*problem.point_ids[m]) for m in problem.shared_points if not points[m]]
    gone = frozenset(n for n in problem.names if lost and n.startswith(tuple(lost)))
    # A known length that ends at something nobody sees any more would hold it where it happens to be.
    lost_ends = frozenset(
        length.name
        for length in run.priors.lengths
        for place in (length.start, length.end)
        if (place.body >= 0 and not bodies[place.body]) or any(not points[m] for m in place.points)
    )
    datum = _datum_body(run, bodies)
    owner = f"body:{problem.body_ids[datum]}" if datum >= 0 else f"photo:{problem.photo_ids[int(np.argmax(photos))]}"
    fixed = frozenset(f"{owner}:{c}" for c in POSE) | gone
    return replace(
        run,
        base=base,
        problem=bundle.held(problem, fixed),
        priors=replace(run.priors, datum_body=datum, unused=run.priors.unused | lost_ends),
        lost_lengths=lost_ends,
        lost_photos=tuple(problem.photo_ids[i] for i in np.nonzero(photos == 0)[0]),
    )


def _datum_body(run: Adjustment, bodies: IntArray) -> int:
    """The body whose pose is held as datum: the sheet seen best, -1 without bodies. Kept while its body is in use."""
    datum = run.priors.datum_body
    if datum >= 0 and bodies[datum]:
        return datum
    kinds = np.array([constants.SHEET_AS_DATUM if run.targets[t].kind == "sheet" else 1 for t in run.problem.body_ids])
    return int(np.argmax(bodies * kinds)) if len(bodies) and bodies.any() else -1


def _spread(white: Array) -> float:
    # The median length of a standard normal pair is sqrt(2 ln 2).
    return max(float(np.median(np.linalg.norm(white, axis=1))) / np.sqrt(2 * np.log(2)), 1.0) if len(white) else 1.0
