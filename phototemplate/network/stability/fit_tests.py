"""Is the adjustment to be believed? Whether it converged, and whether residuals are like the stated noise.

One table of tests (:data:`TESTS`): statistic, level, and from which size on U is enlarged or withheld. Every statistic is a
variance ratio that is 1 where the model holds: the sum of squared residuals over its expectation, for all sightings, or for
those of one photo, target, part or direction of the picture. Residuals that go together (all of a target in a photo, all in one
part of the picture) are tested by the square of their sum, whose covariance is that of the adjusted residuals, ``Q = 1 - J C
J^T``: what is left of a wrong model is smooth, and hides in a test of single residuals.

What follows is the Birge ratio (R. T. Birge, Phys. Rev. 40 (1932) 207-227): the covariance of the sightings is multiplied by
the largest ratio that chance does not explain, residuals that go together counted as such (K.-Y. Liang, S. L. Zeger, Biometrika
73 (1986) 13-22). Where the ratio is too large for a matter of noise, the model is not that of these photos, and U is withheld.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from phototemplate.model import Array, BoolArray, IntArray
from phototemplate.model.network import FitQuality, FitTest
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.adjustment.bundle import Covariance

Ratios = Mapping[str, tuple[float, float]]
"""Where -> variance ratio and its redundancy"""


@dataclass(frozen=True)
class _Test:
    """One row of the table."""

    name: str
    statistic: Callable[[_Residuals], Ratios]
    tolerable: float
    """Variance ratio up to which nothing is done, however significant: noise is stated no better"""
    hopeless: float
    """Variance ratio from which U is withheld"""
    enlarges: bool = True
    """Whether U is enlarged by it; single photos and targets have weights of their own"""


@dataclass(frozen=True)
class _Residuals:
    """Residuals of an adjustment with what is known of their covariance."""

    run: Adjustment
    cov: Covariance
    left: Array
    """(N, 2, 2) covariance of each sighting's residual where everything fits, ``1 - J C J^T``"""
    used: BoolArray
    labels: Mapping[str, IntArray]
    """What sightings are grouped by"""

    @classmethod
    def of(cls, run: Adjustment) -> _Residuals:
        problem, linear = run.problem, run.solved.linear
        cov, s = bundle.covariance(problem, run.solved.normal), problem.sightings
        camera = problem.photo_camera[s.photo]
        size = np.array([sensor.size_px for sensor in problem.sensors])[camera]
        cell = np.clip((s.uv / size * [4, 3]).astype(np.int64), 0, [3, 2])
        names = [problem.point_ids[m][0] if m >= 0 else "" for m in s.point]
        strips = {t: len(problem.body_ids) + i for i, t in enumerate(dict.fromkeys(n for n in names if n))}
        target = np.array([strips[n] if n else b for n, b in zip(names, s.body, strict=True)], dtype=np.int64)
        labels = {
            "photo": s.photo,
            "target": target,
            "view": s.photo * (target.max(initial=0) + 1) + target,
            "region": camera * 12 + cell[:, 1] * 4 + cell[:, 0],
        }
        return cls(run, cov, np.eye(2) - bundle.fitted_cov(problem, linear, cov), run.used, labels)

    @property
    def white(self) -> Array:
        """(N, 2) residuals by the covariance as weighted now."""
        return self.run.solved.linear.white

    def squares(self, label: str | None) -> Ratios:
        """Sum of squares over redundancy, by label; all together without."""
        q = np.trace(self.left, axis1=1, axis2=2)
        square = np.sum(self.white**2, axis=1)
        group = np.zeros(len(q), dtype=np.int64) if label is None else self.labels[label]
        free, sums = (np.bincount(group[self.used], v[self.used]) for v in (q, square))
        some = np.nonzero(free > constants.LEAST_REDUNDANCY_OF_PHOTO)[0]
        return {str(g): (float(sums[g] / free[g]), float(free[g])) for g in some}

    def sums(self, label: str) -> Ratios:
        """Squares of the groups' sums over their expectation, all groups together."""
        found, group = np.unique(self.labels[label][self.used], return_inverse=True)
        n = np.bincount(group, minlength=len(found))
        white = np.stack([np.bincount(group, w, len(found)) for w in self.white[self.used].T], axis=1)
        everyone = np.full(len(self.used), -1)
        everyone[self.used] = group
        jac, own = self._summed(everyone, len(found))
        total, count = 0.0, 0
        for g in range(len(found)):
            columns = np.flatnonzero(jac[g].any(axis=0))
            j = jac[g][:, columns]
            value, vector = np.linalg.eigh(n[g] * np.eye(2) - j @ self.cov.shared[np.ix_(columns, columns)] @ j.T - own[g])
            checked = value > constants.CHECKED * n[g]
            along = vector.T @ white[g]
            total += float(np.sum(along[checked] ** 2 / value[checked]))
            count += int(checked.sum())
        return {"": (total / count, float(count))} if count else {}

    def _summed(self, group: IntArray, count: int) -> tuple[Array, Array]:
        """Sums over each group of its used sightings: (G, 2, K) derivatives by the shared parameters, free points following,
        and (G, 2, 2) what the noise of free points is in the adjusted sightings."""
        problem, linear, s = self.run.problem, self.run.solved.linear, self.run.problem.sightings
        jac, own = np.zeros((count, 2, problem.size)), np.zeros((count, 2, 2))
        for rows, photo, key in problem.groups:
            columns, local = problem.group_columns(photo, key)
            mine = rows.start + np.flatnonzero(self.used[rows])
            for g in np.unique(group[mine]):
                these = mine[group[mine] == g]
                j = linear.jac[these]
                jac[g][:, columns] += j[:, :, local].sum(axis=0)
                if key == -1:
                    by_point, index = j[:, :, problem.layout.point], problem.schur_index[s.point[these]]
                    jac[g] -= np.tensordot(by_point, self.cov.gain[:, index], axes=([0, 2], [1, 2]))
                    own[g] += (by_point @ self.cov.point_noise[index] @ by_point.transpose(0, 2, 1)).sum(axis=0)
        return jac, own

    def directions(self) -> Ratios:
        """Variance along the picture's rows and across them, over what both have together."""
        q = np.diagonal(self.left, axis1=1, axis2=2)
        square, free = (self.white[self.used] ** 2).sum(axis=0), q[self.used].sum(axis=0)
        if free.min() < constants.LEAST_REDUNDANCY_OF_PHOTO:
            return {}
        both = square.sum() / free.sum()
        return {w: (float(s / f / both), float(f)) for w, s, f in zip(("across", "down"), square, free, strict=True)}


TESTS: tuple[_Test, ...] = (
    _Test("all sightings", lambda r: r.squares(None), constants.FIT_TOLERABLE, constants.FIT_HOPELESS),
    _Test("photo", lambda r: r.squares("photo"), constants.FIT_PART_TOLERABLE, np.inf, enlarges=False),
    _Test("target", lambda r: r.squares("target"), constants.FIT_PART_TOLERABLE, constants.FIT_HOPELESS, enlarges=False),
    _Test("targets in photos", lambda r: r.sums("view"), constants.FIT_SUMS_TOLERABLE, constants.FIT_HOPELESS),
    _Test("parts of the picture", lambda r: r.sums("region"), constants.FIT_SUMS_TOLERABLE, constants.FIT_HOPELESS),
    _Test("directions", lambda r: r.directions(), constants.FIT_PART_TOLERABLE, constants.FIT_HOPELESS, enlarges=False),
)
"""Every test of the residuals"""


def fit_quality(run: Adjustment) -> FitQuality:
    """What the tests say of an adjustment as it is weighted now; ``birge`` counts the weights already changed."""
    residuals = _Residuals.of(run)
    common = float(np.median(run.factor))
    done = []
    for test in TESTS:
        ratios = test.statistic(residuals)
        for where, (ratio, redundancy) in ratios.items():
            chance = float(stats.chi2.ppf(1 - constants.FIT_LEVEL / len(ratios), redundancy) / redundancy)
            total = ratio * common if test.name == "all sightings" else ratio
            exceeded = ratio > max(chance, test.tolerable)
            done.append(FitTest(test.name, _named(run, test.name, where), total, chance, exceeded, total > test.hopeless))
    enlarging = {t.name for t in TESTS if t.enlarges}
    birge = max([1.0, *(t.ratio for t in done if t.exceeded and t.name in enlarging and t.name != "all sightings")])
    total = float(np.sqrt(birge * max(common, 1.0)))
    hopeless = any(t.hopeless for t in done) or total**2 > constants.FIT_HOPELESS
    apart = ray_angle_deg(run)
    # Rays that meet at a flat angle make much of what the model does not explain.
    hopeless |= apart < constants.NARROW_RAYS_DEG and total**2 > constants.FIT_TOLERABLE
    return FitQuality(run.solved.converged, tuple(done), total, apart, hopeless)


def ray_angle_deg(run: Adjustment) -> float:
    """Angle between the directions from which a target is seen, the widest of each target, the median of all; 180 where there
    are no targets that two photos show."""
    problem, state, s = run.problem, run.state, run.problem.sightings
    eyes = -np.einsum("pji,pj->pi", state.photo_rotation, state.photo_translation)
    places = [(s.body == b, at) for b, at in enumerate(state.body_translation)]
    for name in dict.fromkeys(t for t, _ in problem.point_ids):
        own = [m for m, (t, _) in enumerate(problem.point_ids) if t == name]
        places.append((np.isin(s.point, own), state.points[own].mean(axis=0)))
    widest = []
    for rows, at in places:
        photos = np.unique(s.photo[rows & run.used])
        if len(photos) >= 2:
            d = eyes[photos] - at
            d /= np.linalg.norm(d, axis=1, keepdims=True)
            widest.append(float(np.degrees(np.arccos(np.clip((d @ d.T).min(), -1, 1)))))
    return float(np.median(widest)) if widest else 180.0


def enlarged(run: Adjustment) -> tuple[Adjustment, FitQuality]:
    """The adjustment with its sightings' variance enlarged by what their residuals have in common, not yet solved again."""
    quality = fit_quality(run)
    more = quality.birge**2 / max(float(np.median(run.factor)), 1.0)
    if more <= 1.0 + constants.FACTOR_SETTLED or run.settings.variance == "never":
        return run, quality
    factor = run.factor * more
    photo = run.problem.sightings.photo
    problem = run.problem.weighted(run.unit_root / np.sqrt(factor)[photo][:, None, None])
    return replace(run, factor=factor, problem=problem), quality


def _named(run: Adjustment, test: str, where: str) -> str:
    if test == "photo":
        return run.problem.photo_ids[int(where)]
    if test == "target":
        bodies = run.problem.body_ids
        if int(where) < len(bodies):
            return bodies[int(where)]
        return list(dict.fromkeys(t for t, _ in run.problem.point_ids))[int(where) - len(bodies)]
    return "" if where == "0" else where
