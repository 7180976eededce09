"""Which sightings are wrong, and how large is the noise of the others? Data snooping after Baarda (1968), variances."""

from __future__ import annotations

import numpy as np
from scipy import stats

from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.progress_state import Run


def snoop(run: Run) -> bool:
    """Reject sightings whose normalized residual is too large; whole views first, then the worst of each view.

    Uses the full covariance of the residuals, so that a sighting which the adjustment follows closely is still seen.
    """
    problem, settings = run.problem, run.settings
    linear = run.solved.linear
    cov = bundle.covariance(problem, run.solved.normal)
    fitted = bundle.fitted_cov(problem, linear, cov)
    used = run.base > 0
    noise = run.noise_by_photo()
    sign = np.where(used, -1.0, 1.0)[:, None, None]
    q = np.eye(2) + sign * fitted
    q = 0.5 * (q + q.transpose(0, 2, 1))
    value, vector = np.linalg.eigh(q)
    # Where nothing checks a sighting (value near 0) its residual is 0 as well: do not divide noise by nothing.
    along = np.einsum("nji,nj->ni", vector, linear.white)
    square = np.where(value > 0.02, along**2 / np.maximum(value, 0.02), 0.0).sum(axis=1) / noise[problem.photo] ** 2
    # Same tail probability for the pair as for one normal value at the limit.
    limit = -2.0 * np.log(2.0 * stats.norm.sf(settings.reject))
    changed = False
    for rows, _, key in problem.groups:
        mine = np.nonzero(used[rows])[0]
        if not len(mine):
            continue
        s = square[rows][mine]
        if key >= 0 and len(mine) >= 3 and np.median(np.sqrt(s)) > settings.target_reject:
            run.base[rows] = 0.0
            changed = True
            continue
        worst = s >= max(limit, 0.3 * s.max())
        if worst.any():
            run.base[rows.start + mine[worst]] = 0.0
            changed = True
    return changed


def readmit(run: Run) -> bool:
    """Take back rejected sightings that fit the clean network after all (not those of moved sheets)."""
    problem, linear = run.problem, run.solved.linear
    out = run.base == 0
    if not out.any():
        return False
    cov = bundle.covariance(problem, run.solved.normal)
    q = np.eye(2) + bundle.fitted_cov(problem, linear, cov)
    square = np.einsum("ni,nij,nj->n", linear.white, np.linalg.inv(q), linear.white)
    square = square / run.noise_by_photo()[problem.photo] ** 2
    limit = -2.0 * np.log(2.0 * stats.norm.sf(run.settings.reject))
    back = out & (square < limit)
    for body, photo in sorted(run.moved):
        view = (problem.body == body) & (problem.photo == photo)
        # Left out early as moved, but in the clean network it lies where the others say.
        if view.any() and np.median(square[view]) < 6.0:
            run.moved.discard((body, photo))
        else:
            back &= ~view
    run.base[back] = 1.0
    return bool(back.any())


def estimate_variance(run: Run) -> bool:
    """Variance factor of the sightings from their residuals and redundancy, overall and for photos that stand out.

    ``up``: applied only where the residuals are significantly larger than stated (1 % level); ``always``: also smaller.
    Known lengths and priors keep their own uncertainties. Sets ``sigma0`` (against the stated covariances).
    """
    problem, settings = run.problem, run.settings
    if not len(run.factor):
        run.factor = np.ones(len(problem.photo_ids))
    linear = run.solved.linear
    cov = bundle.covariance(problem, run.solved.normal)
    fitted = bundle.fitted_cov(problem, linear, cov)
    used = run.base > 0
    square = np.where(used, np.sum(linear.white**2, axis=1), 0.0) * run.factor[problem.photo]
    free = np.where(used, 2.0 - np.trace(fitted, axis1=1, axis2=2), 0.0)
    n = len(problem.photo_ids)
    squares, frees = np.bincount(problem.photo, square, n), np.bincount(problem.photo, free, n)
    run.redundancy = float(frees.sum())
    if run.redundancy < 3:
        run.sigma0 = 1.0
        return False
    overall = float(squares.sum() / frees.sum())
    run.sigma0 = float(np.sqrt(overall))
    if settings.variance == "never":
        return False
    significant = overall > stats.chi2.ppf(0.99, run.redundancy) / run.redundancy
    common = overall if settings.variance == "always" or significant else 1.0
    factor = np.full(n, common)
    median = float(np.median((squares / np.maximum(frees, 1e-9))[frees > 3])) if np.any(frees > 3) else common
    level = max(median, 1.0) if settings.variance == "up" else median
    for p in range(n):
        if frees[p] > 8:
            own = squares[p] / frees[p]
            if own > 1.3 * level and own > level * stats.chi2.ppf(1 - 0.01 / n, frees[p]) / frees[p]:
                factor[p] = max(own, common)
    calm = factor == common
    if not calm.all() and calm.any() and frees[calm].sum() > 3:
        rest = float(squares[calm].sum() / frees[calm].sum())
        bound = stats.chi2.ppf(0.99, frees[calm].sum()) / frees[calm].sum()
        factor[calm] = rest if settings.variance == "always" or rest > bound else 1.0
    changed = bool(np.any(np.abs(np.log(factor / run.factor)) > 0.02))
    if changed:
        run.factor = factor
        problem.root = run.unit_root / np.sqrt(factor)[problem.photo][:, None, None]
    return changed
