"""What is believed of a wall before points of it were seen: a random function over knots.

The second derivative of the offset is white noise (a smoothing spline seen as a random function, G. Wahba, J. R. Statist. Soc.
B 40 (1978) 364) whose spectral density is larger at the corners, where joint compound swells, than in between. No density is
preferred beforehand: how smooth the wall is follows from the points (:mod:`phototemplate.edges.shapes.wall_posterior`).

Walls are smooth nearly everywhere and break here and there: a board's edge, a trowel's ridge. So the noise is heavy in its
tails: every interval between knots has a density of its own, gamma distributed about the common one, which makes its second
derivative Cauchy distributed (M. West, Biometrika 74 (1987) 646).

Tiles, panels and planks end, and what comes next stands a little further in or out. So between any two places that were seen
the wall may also step, anywhere between the two; the heights of the steps are Cauchy distributed as well, about a size that
follows from the points. A step of that kind takes nothing off the smoothness on either side.

A wall is often seen only up to some distance from its corner, just where mud swells. So knots reach beyond what was seen
(:data:`BEYOND`), and from the end zone outward the second derivative may also walk away (:data:`SWELL`), whatever the
densities: a wall that was straight as far as it was seen says little about its corner. That is a bend which lasts, not white
noise, and so grows slowly next to the last point and fast after a decimetre. Where the neighbouring edges tell where the
corner is, the end zone is that of the corner; otherwise the corner may be right behind the last point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes.constants import DENSITIES_LOG10, PLACE_MM, RATIOS_LOG10, SWELL, SWELL_OVER_MM
from phototemplate.model import Array, BoolArray
from phototemplate.numerics.natural_spline import spline_weights

Pair = tuple[int, int]
"""Place of a common density and of its ratio at the corners among :data:`DENSITIES_LOG10` and :data:`RATIOS_LOG10`"""
Reach = tuple[float | None, float | None]
"""Distance of the corners beyond the first and the last point seen; None where not known"""


@dataclass(frozen=True)
class WallPrior:
    """Of the offsets at M knots, before anything was seen; D densities, R ratios, T steps of swelling, J gaps of places."""

    second: Array
    """(M - 2, M) second derivatives at the inner knots from the offsets"""
    steps_mm: Array
    """(M - 1,) lengths of the intervals"""
    exponent: Array
    """(D, R, M - 1) log10 of the density in each interval"""
    swelling: Array
    """(M - 2, T) what one standard deviation of each of T steps of swelling adds to the second derivatives"""
    seen: BoolArray
    """(M - 1,) bool, intervals between the first and the last point seen"""
    ramps: Array
    """(M, J) share of the places where the wall may step in each gap that lie before a knot: what a step of 1 mm lifts it by
    on average, as it is equally likely everywhere in the gap"""

    @property
    def grid(self) -> tuple[int, int]:
        """D and R"""
        return self.exponent.shape[0], self.exponent.shape[1]

    def weight(self, pair: Pair, sharpness: Array) -> Array:
        """(M - 2, M - 2) precision of the second derivatives without swelling and steps; ``sharpness`` (M - 1,) divides the
        density of each interval. The integral of the squared second derivative over an interval, linear between knots and zero
        at the outermost, is exact."""
        h = self.per_square(pair, sharpness)
        return np.asarray(np.diag(h[:-1] + h[1:]) + np.diag(0.5 * h[1:-1], 1) + np.diag(0.5 * h[1:-1], -1))

    def per_square(self, pair: Pair, sharpness: Array) -> Array:
        """(M - 1,) precision that each interval gives for every unit of its :func:`squares`."""
        return np.asarray(10.0 ** -self.exponent[pair] * sharpness * self.steps_mm / 3.0)


def squares(second: Array) -> Array:
    """(M - 1,) three times the mean square over each interval of what is linear between ``second`` (M - 2,) at the inner knots
    and zero at the outermost."""
    ends = np.concatenate([[0.0], second, [0.0]])
    return np.asarray(ends[:-1] ** 2 + ends[1:] ** 2 + ends[:-1] * ends[1:])


def wall_prior(knots: Array, seen_mm: Array, length_mm: float, reach: Reach, end_zone_mm: float) -> WallPrior:
    """The prior over knots (M,) of a wall seen over ``length_mm`` at places ``seen_mm`` (N,) along it."""
    middle = 0.5 * (knots[1:] + knots[:-1])
    inside = np.maximum(np.minimum(*_from_corner(middle, length_mm, reach)), 0.0)
    near = np.exp(-((inside / end_zone_mm) ** 2))
    log_density, log_ratio = np.array(DENSITIES_LOG10)[:, None, None], np.array(RATIOS_LOG10)[:, None]
    places = np.sort(seen_mm)
    places = places[np.concatenate([[True], np.diff(places) > PLACE_MM])]
    return WallPrior(
        spline_weights(knots, knots, 2)[1:-1],
        np.diff(knots),
        log_density + log_ratio * near,
        _swelling(knots, length_mm, reach),
        (middle > 0.0) & (middle < length_mm),
        np.clip((knots[:, None] - places[:-1]) / np.diff(places), 0.0, 1.0),
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
