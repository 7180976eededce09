"""What is believed of a wall after points of it were seen.

Given the densities of all intervals and the sizes of all steps, the wall is a Gaussian random function and its mean linear in
the points. None of these is known, and which of them are large is often in doubt: a jump of half a millimetre between two
points may be a joint, or noise and a strip that stands off. So the result is the mean over many of them, drawn by Gibbs
sampling from their joint distribution given the points (A. E. Gelfand, A. F. M. Smith, J. Am. Statist. Assoc. 85 (1990) 398;
with heavy-tailed state noise B. P. Carlin, N. G. Polson, D. S. Stoffer, J. Am. Statist. Assoc. 87 (1992) 493): in turn the
common densities, the wall and its steps, the densities of the intervals, the size of a step. The common densities are drawn by
their restricted likelihood, the wall integrated out (a Metropolis step from grid point to grid point), or they would follow the
wall, and the wall them, for ever. Means and covariances are averaged, not the drawn walls (Rao-Blackwell). The covariance
therefore holds noise *and* smoothing bias (D. Nychka, J. Am. Statist. Assoc. 83 (1988) 1134): it widens in gaps, beyond the
last point, and where the points leave open whether the wall breaks.

The draws begin from one fixed seed, so that the same points always give the same curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import linalg

from phototemplate.edges.shapes.constants import BREAK_DOF, DRAWS, SETTLING_DRAWS, STEPS_LOG10
from phototemplate.edges.shapes.wall_prior import Pair, WallPrior, squares
from phototemplate.model import Array


@dataclass(frozen=True)
class Posterior:
    """Of the offsets at M knots, after N points were seen."""

    offsets: Array
    """(M,)"""
    gain: Array
    """(M, N) by the points' offsets"""
    unseen_cov: Array
    """(M, M) smoothing bias, and how little is known of densities and steps"""


@dataclass(frozen=True)
class _Drawn:
    """One draw of all that is not the wall itself."""

    pair: Pair
    """Common density and its ratio at the corners"""
    sharpness: Array
    """(M - 1,) by which the density of each interval is smaller than the common one"""
    scale_mm: float
    """Size of a usual step"""
    steps_mm: Array
    """(J,) standard deviation of the step in each gap"""


def posterior(prior: WallPrior, x: Array, y: Array, back: Array, draws: int = DRAWS) -> Posterior:
    """Mean, gain and bias at the knots from the whitened design ``x`` (N, M) and offsets ``y`` (N, 1); ``back`` (M, N) is
    ``X^T V^-1``.

    With V the covariance of the points, W their weights and P the penalty, the offsets are ``Q^-1 W^T V^-1 o`` with
    ``Q = W^T V^-1 W + P``. The part of a random function with precision P that this leaves out is ``-Q^-1 P``, so the smoothing
    bias has covariance ``Q^-1 P Q^-1``; straight lines have no penalty and no bias. A step between two places is equally likely
    everywhere between them: a knot at the share t of the gap has the variance b^2 t (1 - t) for a step of b.
    """
    normal, right = x.T @ x, (x.T @ y)[:, 0]
    m, gaps = normal.shape[0], prior.ramps.shape[1]
    rng, ramps_bend = np.random.default_rng(0), prior.second @ prior.ramps
    scale = 10.0 ** STEPS_LOG10[len(STEPS_LOG10) // 2]
    drawn = _Drawn((prior.grid[0] // 2, prior.grid[1] // 2), np.ones(m - 1), scale, np.full(gaps, scale))
    means, inverse, bias, stepped = np.empty((draws, m)), np.zeros((m, m)), np.zeros((m, m)), np.zeros(gaps)
    for k in range(-SETTLING_DRAWS, draws):
        bends = np.hstack([prior.swelling, ramps_bend * drawn.steps_mm])
        given = wall_given(prior, drawn.pair, drawn.sharpness, bends, normal, right)
        pair = (drawn.pair[0] + int(rng.integers(-1, 2)), drawn.pair[1] + int(rng.integers(-1, 2)))
        chance = np.log(rng.random())
        if 0 <= pair[0] < prior.grid[0] and 0 <= pair[1] < prior.grid[1] and pair != drawn.pair:
            other = wall_given(prior, pair, drawn.sharpness, bends, normal, right)
            if chance < other.log_evidence - given.log_evidence:
                given, drawn = other, replace(drawn, pair=pair)
        wall = given.mean + linalg.solve_triangular(given.lower, rng.standard_normal((m,)), lower=True, trans="T")
        second = prior.second @ wall
        parts = linalg.cho_solve((given.core, True), given.pulled.T @ second)
        parts += linalg.solve_triangular(given.core, rng.standard_normal((len(given.core),)), lower=True, trans="T")
        steps = drawn.steps_mm * parts[parts.size - gaps :]
        drawn = _sized(prior, drawn, second - bends @ parts, steps, rng)
        if k >= 0:
            cov = linalg.cho_solve((given.lower, True), np.eye(m))
            means[k] = given.mean
            inverse += cov / draws
            bias += cov @ given.penalty @ cov / draws
            stepped += steps**2 / draws
    offsets = means.mean(axis=0)
    departure = means - offsets
    where = np.sqrt(stepped * prior.ramps * (1.0 - prior.ramps))
    return Posterior(offsets, inverse @ back, bias + departure.T @ departure / draws + where @ where.T)


@dataclass(frozen=True)
class Given:
    """The wall given densities and sizes."""

    mean: Array
    """(M,)"""
    lower: Array
    """(M, M) lower Cholesky factor of its precision"""
    penalty: Array
    """(M, M) precision before anything was seen"""
    core: Array
    """(B, B) lower Cholesky factor of the precision of swelling and steps, in their standard deviations, given the wall"""
    pulled: Array
    """(M - 2, B) weight times what they bend"""
    log_evidence: float
    """Restricted likelihood, constants dropped"""


def wall_given(prior: WallPrior, pair: Pair, sharpness: Array, bends: Array, normal: Array, right: Array) -> Given:
    """``bends`` (M - 2, B): second derivatives by a standard deviation of swelling and steps, which are independent of the
    white noise (matrix inversion lemma)."""
    weight = prior.weight(pair, sharpness)
    pulled = weight @ bends
    core = linalg.cholesky(np.eye(bends.shape[1]) + bends.T @ pulled, lower=True)
    half = linalg.solve_triangular(core, pulled.T, lower=True)
    penalty = prior.second.T @ (weight - half.T @ half) @ prior.second
    lower = linalg.cholesky(normal + penalty, lower=True)
    mean = linalg.cho_solve((lower, True), right)
    log_det = 0.5 * np.linalg.slogdet(weight)[1] - np.sum(np.log(np.diag(core))) - np.sum(np.log(np.diag(lower)))
    return Given(mean, lower, penalty, core, pulled, float(log_det + 0.5 * mean @ right))


def _sized(prior: WallPrior, last: _Drawn, second: Array, steps: Array, rng: np.random.Generator) -> _Drawn:
    """The same pair with sizes drawn given the second derivatives (M - 2,) that are neither swelling nor step, and the steps
    (J,).

    Given its value, the precision of a Cauchy variable is gamma distributed with the shape (1 + BREAK_DOF) / 2 = 1, which is
    an exponential distribution.
    """
    departure = prior.per_square(last.pair, np.ones_like(last.sharpness)) * squares(second)
    sharpness = np.where(prior.seen, _exponential(rng, departure), 1.0)
    sizes = 10.0 ** np.array(STEPS_LOG10)[:, None]
    total = np.cumsum(np.exp(_relative(-np.sum(np.log(sizes) + np.log1p((steps / sizes) ** 2), axis=1))))
    scale = float(sizes[np.searchsorted(total, rng.random() * total[-1], side="right"), 0])
    return _Drawn(last.pair, sharpness, scale, scale / np.sqrt(_exponential(rng, (steps / scale) ** 2)))


def _exponential(rng: np.random.Generator, square: Array) -> Array:
    """Precisions given squares in units of the common one."""
    return np.asarray(-2.0 * np.log1p(-rng.random(square.size)) / (BREAK_DOF + square))


def _relative(log_weight: Array) -> Array:
    return np.asarray(log_weight - log_weight.max())
