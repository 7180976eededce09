"""Where does the surface of the cabinet tops end? The photos themselves tell: on a surface they agree, beyond it they do not.

Every photo is rectified to the height of the tops, along and across a line. What lies at that height comes to the same place
in all of them, with the same light but for each photo's exposure; what lies higher or lower, or is a face or a floor seen past
the edge, comes to a different place, or is something else, in each. So the variance of log light *between* photos is small on
the surface and large beyond its end (the test behind space carving: K. N. Kutulakos, S. M. Seitz, A theory of shape by space
carving, Int. J. Computer Vision 38 (2000) 199-218). It needs no line to be seen and is blind to joints, plies, tape and shadow,
all of which lie on the surface.

What is compared is the logarithm of that variance over the one expected of a surface: a floor for noise, stray light, which
counts for much where it is dark, and what a small error of place makes of the light's own gradient. How well photos agree on a
surface differs from kitchen to kitchen more than along one line, and so does how much they part beyond it. So the place of the
change is found, not a level passed: every pattern (the surface ends here, begins here, goes on, is nowhere) has its two levels
as unknowns with wide priors, which are integrated out (linear Gaussian model; a change point after A. F. M. Smith, A Bayesian
approach to inference about a change-point in a sequence of random variables, Biometrika 62 (1975) 407-416).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges import constants as c
from phototemplate.edges.line_map.constants import (
    ACROSS_MM,
    AGREED,
    BLURRED,
    BLURRED_MM,
    END_SHARE,
    HERE_MM,
    PARTED,
    PLACES_MM,
    PROFILE_U,
    SAMPLES_PER_LOOK,
    TURNED_SHARE,
)
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.step_position import to_light
from phototemplate.model import Array, BoolArray


@dataclass(frozen=True)
class SurfaceTest:
    """What the photos' disagreement beside one line says; zeros where fewer than two photos can be compared."""

    ends: float
    """Log of how much more probable the profile is with an end of the surface at the line than with one anywhere or none"""
    begins: float
    """The same of a surface that begins there: the inner edge of a rail, at an opening"""
    goes_on: float
    """The same of no end near the line"""
    light_ratio: float
    """Log of the light inside over that beyond, mean over photos; nan where not seen"""
    profile: Array
    """(W,) log of variance over that expected on a surface, along ``ACROSS_MM``: median over the stretches; nan: not seen"""
    photos: int


def surface_test(bands: Sequence[Band], offset_mm: Array, height_mm: Array, base_mm: Array, outward: float) -> SurfaceTest:
    """Compare the photos on both sides of a line.

    ``offset_mm`` and ``height_mm`` (N,) are the line's, to the left of the stations and over the work plane; the bands were
    sampled at heights ``base_mm`` (N,). ``outward`` is +1 where the room lies to the left.
    """
    light = light_across(usable(bands), offset_mm, height_mm, base_mm, outward * ACROSS_MM)
    if len(light) < 2:
        return SurfaceTest(0.0, 0.0, 0.0, float("nan"), np.full(len(ACROSS_MM), np.nan), len(light))
    disagreement, change = disagreement_of(light)
    profile = _median(disagreement, 0)
    return SurfaceTest(*change_point(profile), change, profile, len(light))


def change_point(profile: Array) -> tuple[float, float, float]:
    """Log ratios of the probability of a profile (W,) if the surface ends at the line, begins there, or goes on, to that of
    the profile with an end anywhere or none."""
    seen = np.isfinite(profile)
    if not seen.any():
        return 0.0, 0.0, 0.0
    x, d = ACROSS_MM[seen], profile[seen]
    ends, begins = _log_evidence(d, x, PLACES_MM), _log_evidence(d, -x, -PLACES_MM)
    whole = _log_evidence(d, x, np.array([1e3, -1e3]))
    share = 0.5 * (1.0 - END_SHARE - TURNED_SHARE)
    of_ends, of_begins = (np.log(part / len(PLACES_MM)) for part in (END_SHARE, TURNED_SHARE))
    anything = np.logaddexp.reduce(np.r_[ends + of_ends, begins + of_begins, whole + np.log(share)])
    here = np.abs(PLACES_MM) <= HERE_MM
    on = np.logaddexp.reduce(np.r_[ends[~here] + of_ends, whole[0] + np.log(share)])

    def at_line(values: Array) -> float:
        return float(np.logaddexp.reduce(values[here]) - np.log(here.sum()) - anything)

    return at_line(ends), at_line(begins), float(on - anything - np.log(END_SHARE * (~here).mean() + share))


def _log_evidence(d: Array, x: Array, places_mm: Array) -> Array:
    """(K,) log probability of disagreements d (W,) at x (W,) with a surface that ends at each place, its two levels
    integrated out (Gaussian linear model with conjugate priors). Where the end's own blur reaches, anything is possible."""
    from_end = x - places_mm[:, None]
    blurred = (from_end >= BLURRED_MM[0]) & (from_end <= BLURRED_MM[1])
    beyond, clear = ~blurred & (from_end > 0), ~blurred
    away = np.where(clear, d - AGREED[0] - PARTED[0] * beyond, 0.0)
    look = 1.0 / (PROFILE_U**2 * SAMPLES_PER_LOOK)  # weight of a sample: neighbours are not independent
    a = 1.0 / AGREED[1] ** 2 + look * clear.sum(axis=1)
    b = look * beyond.sum(axis=1)
    e = 1.0 / PARTED[1] ** 2 + b
    p, q = look * away.sum(axis=1), look * (away * beyond).sum(axis=1)
    size = a * e - b * b
    fit = look * (away**2).sum(axis=1) - (p * p * e - 2.0 * p * q * b + q * q * a) / size
    spoilt = np.where(blurred, ((d - BLURRED[0]) / BLURRED[1]) ** 2 + 2.0 * np.log(BLURRED[1] / PROFILE_U), 0.0)
    return np.asarray(-0.5 * (fit + np.log(size * (AGREED[1] * PARTED[1]) ** 2) + spoilt.sum(axis=1) / SAMPLES_PER_LOOK))


def usable(bands: Sequence[Band]) -> list[Band]:
    """The photos that look steeply and finely enough for a small error of height or place not to matter."""
    scale = np.array([float(np.median(b.scale_px_per_mm)) for b in bands])
    lean = np.array([float(np.median(b.lean)) for b in bands])
    good = (np.abs(lean) < c.STEEP_LEAN) & (scale > c.FINE_SHARE * np.median(scale)) if len(bands) else scale > 0
    return [b for b, g in zip(bands, good, strict=True) if g] if good.sum() >= 2 else list(bands)


def light_across(bands: Sequence[Band], offset_mm: Array, height_mm: Array, base_mm: Array, across_mm: Array) -> Array:
    """(P, M, W) log light at distances ``across_mm`` (W,) left of a line, mean over stretches of it; nan where covered."""
    out = []
    for band in bands:
        place = (offset_mm - band.lean * (height_mm - base_mm))[:, None] + across_mm
        column = place * band.scale_px_per_mm[:, None] - band.step_px[0]
        left = np.clip(np.floor(column).astype(np.int64), 0, len(band.step_px) - 2)
        row = np.arange(len(left))[:, None]
        part = column - left
        grey = (1.0 - part) * band.grey[row, left] + part * band.grey[row, left + 1]
        hidden = (part < 0) | (part > 1) | band.covered[row, left] | band.covered[row, left + 1]
        out.append(np.where(hidden, np.nan, np.log(np.maximum(to_light(grey), c.DARKEST))))
    light = np.array(out).reshape(-1, len(offset_mm), len(across_mm))
    pooled = max(1, min(c.STRETCH_STATIONS, light.shape[1]))
    count = light.shape[1] // pooled
    return _mean(light[:, : count * pooled].reshape(len(light), count, pooled, -1), 2)


def disagreement_of(light: Array) -> tuple[Array, float]:
    """(M, W) log of the variance between photos over that of a surface, and the log ratio of light across the line."""
    inside, beyond = _zone(*c.INSIDE_MM), _zone(*c.BEYOND_MM)
    even = light - _mean(light[:, :, inside], 2)[:, :, None]  # each photo has its own exposure
    mean, dark = _mean(even, 0), np.exp(-_mean(light, 0))
    own = _median(dark[:, inside], 1)[:, None]  # of the light by which exposures are made even
    expected = _expected(mean, dark) + c.STRAY_LIGHT**2 * own**2
    return np.log(np.maximum(_variance(even), 1e-9) / expected), -float(_median(mean[:, beyond].ravel(), 0))


def _zone(low_mm: float, high_mm: float) -> BoolArray:
    return np.asarray((low_mm <= ACROSS_MM) & (high_mm >= ACROSS_MM))


def _mean(values: Array, axis: int) -> Array:
    """Mean of what is not nan; nan where there is nothing."""
    seen = np.isfinite(values)
    count = seen.sum(axis=axis)
    return np.where(count > 0, np.where(seen, values, 0.0).sum(axis=axis) / np.maximum(count, 1), np.nan)


def _variance(values: Array) -> Array:
    """Variance over the photos (first axis) of what is not nan, with its degrees of freedom; nan below two."""
    seen = np.isfinite(values)
    count = seen.sum(axis=0)
    away = np.where(seen, values - _mean(values, 0), 0.0)
    return np.where(count >= 2, (away**2).sum(axis=0) / np.maximum(count - 1, 1), np.nan)


def _median(values: Array, axis: int) -> Array:
    """Median of what is not nan; nan where there is nothing."""
    count = np.isfinite(values).sum(axis=axis, keepdims=True)
    ordered = np.sort(values, axis=axis)  # nan last
    low, high = np.maximum(count - 1, 0) // 2, np.maximum(count, 1) // 2
    middle = 0.5 * (np.take_along_axis(ordered, low, axis) + np.take_along_axis(ordered, np.minimum(high, low + 1), axis))
    return np.asarray(np.where(count > 0, middle, np.nan)).squeeze(axis=axis)


def _expected(mean: Array, dark: Array) -> Array:
    """(M, W) variance of log light between photos of one surface; ``mean`` its log light, ``dark`` one over its light."""
    slope = np.zeros_like(mean)
    for shift in (1, 2):
        change = np.abs(mean[:, shift:] - mean[:, :-shift])
        slope[:, shift:] = np.fmax(slope[:, shift:], change)
        slope[:, :-shift] = np.fmax(slope[:, :-shift], change)
    return np.asarray(c.SURFACE_NOISE**2 + (c.SURFACE_SLOPE * slope) ** 2 + c.STRAY_LIGHT**2 * dark**2)
