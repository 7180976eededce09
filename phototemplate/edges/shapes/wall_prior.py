"""What is believed of a wall before and after points of it were seen: a random function over knots.

The second derivative of the offset is white noise (a smoothing spline seen as a random function, G. Wahba, J. R. Statist. Soc.
B 40 (1978) 364) whose spectral density is larger at the corners, where joint compound swells, than in between. The two
densities are not fixed but integrated over, weighted by their restricted likelihood and a wide prior centred on what walls do,
so few points do not pretend to know how smooth the wall is between them. The covariance therefore holds noise *and* smoothing
bias (D. Nychka, J. Am. Statist. Assoc. 83 (1988) 1134): it widens in gaps and beyond the last point.

Walls are smooth nearly everywhere and break here and there: a board's edge, a tile, a trowel's ridge. So the noise is heavy in
its tails: every interval between knots has a density of its own, gamma distributed about the common one, which makes its
second derivative Student's t (M. West, Biometrika 74 (1987) 646). These densities are found together with the curve
(variational Bayes: the expected square of the second derivative in an interval, its uncertainty included, says how far the
interval departs). A step between two points takes the penalty off there and nowhere else, so that the curve follows the points
on both sides.

A wall is often seen only up to some distance from its corner, just where mud swells. So knots reach beyond what was seen
(:data:`BEYOND`), and from the end zone outward the second derivative may also walk away (:data:`SWELL`), whatever the
densities: a wall that was straight as far as it was seen says little about its corner. That is a bend which lasts, not white
noise, and so grows slowly next to the last point and fast after a decimetre. Where the neighbouring edges tell where the
corner is, the end zone is that of the corner; otherwise the corner may be right behind the last point.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.shapes.constants import (
    ABOUT_LOG10,
    BREAK_DOF,
    BREAK_ROUNDS,
    CENTER_LOG10,
    CENTER_RATIO_LOG10,
    DENSITIES_LOG10,
    LOG_SHARE,
    RATIOS_LOG10,
    SWELL,
    SWELL_OVER_MM,
    WIDTH_LOG10,
)
from phototemplate.model import Array, BoolArray
from phototemplate.numerics.natural_spline import spline_weights

Reach = tuple[float | None, float | None]
"""Distance of the corners beyond the first and the last point seen; None where not known"""


@dataclass(frozen=True)
class WallPrior:
    """Of the offsets at M knots, before anything was seen; G pairs of densities."""

    second: Array
    """(M - 2, M) second derivatives at the inner knots from the offsets"""
    steps_mm: Array
    """(M - 1,) lengths of the intervals"""
    exponent: Array
    """(G, M - 1) log10 of the density in each interval"""
    log_prior: Array
    """(G,)"""
    log_pair: Array
    """(G, 2) log10 of the density and of its ratio at the corners"""
    swelling: Array
    """(M - 2, T) what one standard deviation of each of T steps of swelling adds to the second derivatives"""
    seen: BoolArray
    """(M - 1,) bool, intervals between the first and the last point seen"""

    def about(self, log_pair: Array) -> WallPrior:
        """The same with the pairs of densities near one of them."""
        near = np.all(np.abs(self.log_pair - log_pair) < ABOUT_LOG10, axis=1)
        return replace(self, exponent=self.exponent[near], log_prior=self.log_prior[near], log_pair=self.log_pair[near])

    def penalty(self, ease: Array) -> tuple[Array, Array]:
        """Penalties (G, M, M) on the offsets and log determinants (G,) of their inverse priors; ``ease`` (M - 1,) multiplies
        the density of each interval.

        The integral of the squared second derivative over an interval, linear between knots and zero at the outermost, is
        exact. The swelling is independent of it: its covariance S S^T is added to the inverse of the weight (matrix inversion
        lemma).
        """
        h = 10.0**-self.exponent / ease * self.steps_mm / 3.0
        m = len(self.second)
        weight = np.zeros((len(h), m, m))
        inner = np.arange(m)
        weight[:, inner, inner] = h[:, :-1] + h[:, 1:]
        weight[:, inner[:-1], inner[1:]] = weight[:, inner[1:], inner[:-1]] = 0.5 * h[:, 1:-1]
        ws = weight @ self.swelling
        core = np.eye(self.swelling.shape[1]) + self.swelling.T @ ws
        log_det = np.linalg.slogdet(weight)[1] - np.linalg.slogdet(core)[1]
        weight = weight - ws @ np.linalg.solve(core, ws.transpose(0, 2, 1))
        return self.second.T @ weight @ self.second, log_det

    def departure(self, square: Array, exponent: Array) -> Array:
        """(g, M - 1) integral of the squared second derivative over each interval in units of its density, from second moments
        (g, M - 2, M - 2) of the second derivatives."""
        m = square.shape[1]
        own = np.zeros((len(square), m + 2))
        own[:, 1:-1] = np.einsum("gii->gi", square)
        cross = np.zeros((len(square), m + 1))
        cross[:, 1:-1] = np.einsum("gii->gi", square[:, :-1, 1:])
        return np.asarray(10.0**-exponent * self.steps_mm / 3.0 * (own[:, :-1] + own[:, 1:] + cross))


def wall_prior(knots: Array, length_mm: float, reach: Reach, end_zone_mm: float) -> WallPrior:
    """The prior over knots (M,) of a wall seen over ``length_mm``."""
    middle = 0.5 * (knots[1:] + knots[:-1])
    inside = np.maximum(np.minimum(*_from_corner(middle, length_mm, reach)), 0.0)
    near = np.exp(-((inside / end_zone_mm) ** 2))
    log_density, log_ratio = (g.ravel() for g in np.meshgrid(DENSITIES_LOG10, RATIOS_LOG10, indexing="ij"))
    log_prior = -0.5 * ((log_density - CENTER_LOG10) / WIDTH_LOG10) ** 2
    log_prior -= 0.5 * ((log_ratio - CENTER_RATIO_LOG10) / WIDTH_LOG10) ** 2
    return WallPrior(
        spline_weights(knots, knots, 2)[1:-1],
        np.diff(knots),
        log_density[:, None] + log_ratio[:, None] * near,
        log_prior,
        np.column_stack([log_density, log_ratio]),
        _swelling(knots, length_mm, reach),
        (middle > 0.0) & (middle < length_mm),
    )


def _from_corner(s: Array, length_mm: float, reach: Reach) -> tuple[Array, Array]:
    """Distance of places along the chord from the corner at its start and at its end, negative beyond it."""
    return s + (reach[0] or 0.0), length_mm + (reach[1] or 0.0) - s


def _swelling(knots: Array, length_mm: float, reach: Reach) -> Array:
    """A random walk of the second derivative at either end that starts at zero where the end zone begins: one independent step
    at each knot."""
    steps: list[Array] = []
    at_start, at_end = _from_corner(knots[1:-1], length_mm, reach)
    for into in (SWELL_OVER_MM - at_start[::-1], SWELL_OVER_MM - at_end):
        first = int(np.searchsorted(into, 0.0, side="right"))  # ``into`` ascends: how far into the end zone
        walked = np.diff(np.maximum(into, 0.0), prepend=0.0)
        reached = np.tri(into.size)[:, first:] * np.sqrt(walked[first:] / SWELL_OVER_MM)
        steps.append(reached if steps else reached[::-1])
    return np.asarray(SWELL * np.hstack(steps))


@dataclass(frozen=True)
class Posterior:
    """Of the offsets at M knots, after N points were seen."""

    offsets: Array
    """(M,)"""
    gain: Array
    """(M, N) by the points' offsets"""
    unseen_cov: Array
    """(M, M) smoothing bias, and how little is known of the densities"""
    ease: Array
    """(M - 1,) by how much the density of each interval exceeds the common one: large where the wall breaks"""


def posterior(prior: WallPrior, x: Array, y: Array, back: Array) -> Posterior:
    """Mean, gain and bias at the knots from the whitened design ``x`` (N, M) and offsets ``y`` (N, 1); ``back`` (M, N) is
    ``X^T V^-1``.

    With V the covariance of the points, W their weights and P the penalty, the offsets are ``Q^-1 W^T V^-1 o`` with
    ``Q = W^T V^-1 W + P``. The part of a random function with precision P that this leaves out is ``-Q^-1 P``, so the smoothing
    bias has covariance ``Q^-1 P Q^-1``; straight lines have no penalty and no bias.
    """
    normal, right, square = x.T @ x, (x.T @ y)[:, 0], float(np.sum(y**2))
    ease, swelling = np.ones(len(prior.steps_mm)), prior.swelling @ prior.swelling.T
    near = prior
    for rounds in range(BREAK_ROUNDS + 1):
        penalty, log_det = near.penalty(ease)
        q = normal + penalty
        mean = np.linalg.solve(q, np.broadcast_to(right[:, None], (*q.shape[:2], 1)))[:, :, 0]
        likelihood = log_det - np.linalg.slogdet(q)[1] - (square - mean @ right)
        score = 0.5 * likelihood + near.log_prior
        keep = score > np.max(score) - LOG_SHARE
        share = np.exp(score[keep] - np.max(score))
        share = share / np.sum(share)
        mean, inverse = mean[keep], np.linalg.inv(q[keep])
        if rounds < BREAK_ROUNDS:
            second = mean @ prior.second.T
            moments = second[:, :, None] * second[:, None, :] + prior.second @ inverse @ prior.second.T
            moments -= swelling  # which has a spread of its own
            departure = np.maximum(near.departure(moments, near.exponent[keep]), 0.0)
            # beyond the last point nothing shows a break: a swelling seen before it must not make the unseen wall a broken one
            ease = np.where(prior.seen, (BREAK_DOF + share @ departure) / (BREAK_DOF + 1.0), 1.0)
            near = prior.about(near.log_pair[int(np.argmax(score))])
    offsets = share @ mean
    bias = np.tensordot(share, inverse @ penalty[keep] @ inverse, axes=1)
    departure = mean - offsets
    between = (departure * share[:, None]).T @ departure
    return Posterior(offsets, np.tensordot(share, inverse, axes=1) @ back, bias + between, ease)
