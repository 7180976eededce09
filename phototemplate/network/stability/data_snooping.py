"""Which sightings are wrong, and how large is the noise of the others? Data snooping after Baarda (1968), variances."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.numerics.least_squares import huber_square


def wrong_by(run: Adjustment) -> tuple[Array, float]:
    """(N,) drop in chi-squared at its photo's noise that each sighting's being wrong would bring, and what chance exceeds.

    The squared residual in units of its own covariance. With weight w (robust weights included) and f what the adjustment
    follows of a sighting (``J C J^T``), that is ``1 + (1 - 2 w) f - w (1 - w) f^2``: ``1 - f`` of one that takes part in full,
    ``1 + f`` of one that does not. So a sighting which the adjustment follows closely is still seen."""
    problem, linear = run.problem, run.solved.linear
    f = bundle.fitted_cov(problem, linear, bundle.covariance(problem, run.solved.normal))
    w = run.solved.weight[:, None, None]
    q = np.eye(2) + (1.0 - 2.0 * w) * f - w * (1.0 - w) * (f @ f)
    value, vector = np.linalg.eigh(0.5 * (q + q.transpose(0, 2, 1)))
    # Where nothing checks a sighting (value near 0) its residual is 0 as well: do not divide noise by nothing.
    along = np.einsum("nji,nj->ni", vector, linear.white)
    square = np.where(value > constants.CHECKED, along**2 / np.maximum(value, constants.CHECKED), 0.0).sum(axis=1)
    # Same tail probability for the pair as for one normal value at the limit.
    limit = -2.0 * np.log(2.0 * stats.norm.sf(run.settings.reject))
    return square / run.noise_by_photo()[problem.sightings.photo] ** 2, float(limit)


def wrong_sightings(run: Adjustment) -> list[tuple[int, float]]:
    """The sighting of each target in each photo that is most likely wrong, and the drop in the robust sum of squares by its
    being so: what other explanations gain is reckoned with the same weights."""
    square, limit = wrong_by(run)
    square = np.where(run.used, square, 0.0)
    gain = huber_square(np.sqrt(square), run.settings.huber)
    worst = [rows.start + int(np.argmax(square[rows])) for rows, _, _ in run.problem.groups if rows.stop > rows.start]
    return [(i, float(gain[i])) for i in worst if square[i] > limit]


def snoop(run: Adjustment) -> Adjustment:
    """Reject sightings whose normalized residual is too large: whole views where a target that lies elsewhere explains more for
    its parameters than one wrong sighting that spoils the others, else the worst of each view."""
    square, limit = wrong_by(run)
    used = run.used
    out = np.zeros(len(used), dtype=bool)
    for rows, _, key in run.problem.groups:
        mine = np.nonzero(used[rows])[0]
        if not len(mine):
            continue
        s = square[rows][mine]
        lies_elsewhere = s.sum() / constants.MOVED_PARAMETERS > s.max() / constants.WRONG_PARAMETERS
        if key >= 0 and len(mine) >= 3 and lies_elsewhere and np.median(np.sqrt(s)) > run.settings.target_reject:
            out[rows] = used[rows]
            continue
        out[rows.start + mine[s >= max(limit, constants.REJECTED_TOGETHER * s.max())]] = True
    return run.rejecting(out) if out.any() else run


def readmit(run: Adjustment) -> Adjustment:
    """Take back rejected sightings that fit the clean network after all (not those of moved sheets)."""
    out, s = run.base == 0, run.problem.sightings
    if not out.any():
        return run
    square, limit = wrong_by(run)
    back, moved = out & (square < limit), set(run.moved)
    for body, photo in sorted(run.moved):
        view = (s.body == body) & (s.photo == photo)
        # Left out early as moved, but in the clean network it lies where the others say.
        if view.any() and np.median(square[view]) < constants.FITS_AFTER_ALL:
            moved.discard((body, photo))
        else:
            back &= ~view
    return replace(run, base=np.where(back, 1.0, run.base), moved=frozenset(moved)) if back.any() else run


def estimate_variance(run: Adjustment) -> Adjustment:
    """Variance factor of the sightings from their residuals and redundancy, overall and for photos that stand out.

    ``up``: applied only where the residuals are significantly larger than stated (1 % level); ``always``: also smaller.
    Known lengths and priors keep their own uncertainties. Sets ``sigma0`` (against the stated covariances); where
    ``factor`` stays the same nothing that was adjusted changes.
    """
    problem, settings = run.problem, run.settings
    photo = problem.sightings.photo
    linear = run.solved.linear
    cov = bundle.covariance(problem, run.solved.normal)
    fitted = bundle.fitted_cov(problem, linear, cov)
    used = run.used
    square = np.where(used, np.sum(linear.white**2, axis=1), 0.0) * run.factor[photo]
    free = np.where(used, 2.0 - np.trace(fitted, axis1=1, axis2=2), 0.0)
    n = len(problem.photo_ids)
    squares, frees = np.bincount(photo, square, n), np.bincount(photo, free, n)
    redundancy = float(frees.sum())
    if redundancy < constants.LEAST_REDUNDANCY:
        return replace(run, redundancy=redundancy, sigma0=1.0)
    overall = float(squares.sum() / frees.sum())
    run = replace(run, redundancy=redundancy, sigma0=float(np.sqrt(overall)))
    if settings.variance == "never":
        return run
    significant = overall > _limit(redundancy)
    common = overall if settings.variance == "always" or significant else 1.0
    factor = np.full(n, common)
    median = float(np.median((squares / np.maximum(frees, 1e-9))[frees > 3])) if np.any(frees > 3) else common
    level = max(median, 1.0) if settings.variance == "up" else median
    for p in range(n):
        if frees[p] > constants.LEAST_REDUNDANCY_OF_PHOTO:
            own = squares[p] / frees[p]
            if own > constants.NOISY_PHOTO * level and own > level * _limit(frees[p], n):
                factor[p] = max(own, common)
    calm = factor == common
    if not calm.all() and calm.any() and frees[calm].sum() > constants.LEAST_REDUNDANCY:
        rest = float(squares[calm].sum() / frees[calm].sum())
        factor[calm] = rest if settings.variance == "always" or rest > _limit(frees[calm].sum()) else 1.0
    if not np.any(np.abs(np.log(factor / run.factor)) > constants.FACTOR_SETTLED):
        return run
    weighted = problem.weighted(run.unit_root / np.sqrt(factor)[photo][:, None, None])
    return replace(run, factor=factor, problem=weighted)


def _limit(redundancy: float, tests: int = 1) -> float:
    """Variance factor that chance exceeds at the level of the test (of ``tests`` together, Bonferroni)."""
    return float(stats.chi2.ppf(1 - constants.VARIANCE_LEVEL / tests, redundancy) / redundancy)
