"""An adjustment under way: the problem, its state, which sightings count, what was found so far."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, IntArray, Target
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.bundle import Problem, Solution, State
from phototemplate.network.adjustment.parameter_names import POSE
from phototemplate.network.adjustment.pseudo_observations import Priors
from phototemplate.settings import AdjustmentSettings


@dataclass
class Run:
    """An adjustment under way."""

    problem: Problem
    priors: Priors
    state: State
    base: Array
    """(N,) 1 used, 0 rejected"""
    settings: AdjustmentSettings
    targets: dict[str, Target]
    unit_root: Array
    """(N, 2, 2) the problem's ``root`` as the sightings' own covariances give it"""
    factor: Array = field(default_factory=lambda: np.ones(0))
    """(P,) variance factor per photo applied to the sightings"""
    solution: Solution | None = None
    sigma0: float = 1.0
    redundancy: float = 0.0
    findings: list[Finding] = field(default_factory=list)
    iterations: int = 0
    moved: set[tuple[int, int]] = field(default_factory=set)
    """(body, photo) views left out because the sheet lay elsewhere"""
    held: frozenset[str] = frozenset()
    """Parameters fixed by the settings"""
    lost_photos: list[str] = field(default_factory=list)
    """Photos all of whose sightings were rejected"""

    def half_size_mm(self, body: int) -> float:
        """How far a body's outermost point lies from its own axes."""
        return float(np.abs(self.targets[self.problem.body_ids[body]].points_mm).max())

    def prune(self) -> None:
        """Take out what has too few sightings left to be determined: points, bodies, photos."""
        problem = self.problem
        while True:
            used = self.base > 0
            photos = np.bincount(problem.photo[used], minlength=len(problem.photo_ids))
            on_body = used & (problem.body >= 0)
            bodies = np.bincount(problem.body[on_body], minlength=len(problem.body_ids))
            # Few points left, all on one line: the turn about it is free.
            for b in np.nonzero((bodies > 0) & (bodies < 24))[0]:
                local = problem.local[on_body & (problem.body == b)]
                spread = np.linalg.svd(local - local.mean(axis=0), compute_uv=False)
                if len(spread) < 2 or spread[1] < 0.02 * spread[0] + 1e-9:
                    bodies[b] = 0
            on_point = used & (problem.point >= 0)
            points = np.bincount(problem.point[on_point], minlength=len(problem.point_ids))
            weak = photos[problem.photo] < 4
            weak |= (problem.body >= 0) & (bodies[np.maximum(problem.body, 0)] < 3) if len(bodies) else False
            weak |= (problem.point >= 0) & (points[np.maximum(problem.point, 0)] < 2) if len(points) else False
            if not np.any(weak & used):
                break
            self.base[weak] = 0.0
        lost = [f"photo:{problem.photo_ids[i]}:" for i in np.nonzero(photos == 0)[0]]
        lost += [f"body:{problem.body_ids[b]}:" for b in np.nonzero(bodies == 0)[0]]
        lost += ["point:{}:{}:".format(*problem.point_ids[m]) for m in problem.shared_points if not points[m]]
        extra = frozenset(n for n in problem.names if lost and n.startswith(tuple(lost)))
        self.lost_photos = [problem.photo_ids[i] for i in np.nonzero(photos == 0)[0]]
        fixed = self.held | self._datum(bodies, photos) | extra
        if fixed != problem.fixed:
            problem.fixed = fixed
            problem.arrange()

    def _datum(self, bodies: IntArray, photos: IntArray) -> frozenset[str]:
        """Names of the six parameters held as datum: the sheet seen best, without bodies a photo.

        ``bodies`` and ``photos`` are the numbers of used sightings. The choice is kept while its body is in use.
        """
        problem, datum = self.problem, self.priors.datum_body
        if datum < 0 or not bodies[datum]:
            kinds = np.array([1000 if self.targets[t].kind == "sheet" else 1 for t in problem.body_ids])
            datum = int(np.argmax(bodies * kinds)) if len(bodies) and bodies.any() else -1
            self.priors.datum_body = datum
        owner = f"body:{problem.body_ids[datum]}" if datum >= 0 else f"photo:{problem.photo_ids[int(np.argmax(photos))]}"
        return frozenset(f"{owner}:{c}" for c in POSE)

    def solve(self, huber: float | None = None, tolerance: float = 1e-3, damping: float = 0.0) -> Solution:
        """Least squares from the current state."""
        self.prune()
        self.solution = bundle.solve(
            self.problem,
            self.state,
            self.base,
            huber=huber,
            iterations=self.settings.max_iterations,
            damping=damping,
            tolerance=tolerance,
        )
        self.state = self.solution.state
        self.iterations += self.solution.iterations
        return self.solution

    @property
    def solved(self) -> Solution:
        """The last solution."""
        assert self.solution is not None
        return self.solution

    def noise(self) -> float:
        """Robust standard deviation of unit weight of the used sightings, at least 1."""
        return _spread(self.solved.linear.white[self.base > 0])

    def noise_by_photo(self) -> Array:
        """(P,) the same per photo, at least that of all: a blurred photo must not look like moved sheets."""
        common = self.noise()
        white, photo = self.solved.linear.white, self.problem.photo
        used = self.base > 0
        own = [white[used & (photo == p)] for p in range(len(self.problem.photo_ids))]
        return np.array([max(_spread(w), common) if len(w) >= 20 else common for w in own])

    def add(self, code: str, where: str, message: str = "", remedy: str = "", /, **facts: Any) -> None:
        """One more finding."""
        self.findings.append(Finding(code, where, message, remedy, **facts))


def _spread(white: Array) -> float:
    # The median length of a standard normal pair is sqrt(2 ln 2).
    return max(float(np.median(np.linalg.norm(white, axis=1))) / np.sqrt(2 * np.log(2)), 1.0) if len(white) else 1.0
