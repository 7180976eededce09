"""Does a second, weaker line run just outside the chosen one, too near to have an extremum of the gradient of its own?

A tape, a shadow or a ply that ends two or three mm behind the edge makes a strong step there; the true edge beside it is no
more than a shoulder of that step in a picture of 1 px/mm, and no line to choose. It is found by what one step leaves over: the
profile of each photo, averaged along the chosen line in mm across it, is fitted with one blurred step and with two (edge spread
functions in light, with the blur of the photo), both positions free together. The gain of the second step is counted over all
(offset, height) at which it may run: a line on the face below or on a door appears at another place in every photo and meets at
its own height; only a line at the level of the chosen one is a doubt about the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from phototemplate.edges.profiles import Band
from phototemplate.edges.subpixel import StepFit, to_light, tone_slope
from phototemplate.errors import Finding
from phototemplate.model import Array, IntArray

NEAREST_MM, FURTHEST_MM, STEP_MM = 1.75, 4.5, 0.25
"""Distances looked at. Nearer there is the rounding of the edge itself; further steps have an extremum of their own"""
PEAK_MM, PEAK = 1.25, 0.6
"""The gain has its peak at a step: at least this share of the most that it reaches within so much. A gain that goes on growing
outwards comes from something else further out"""
NEAREST_BLURS = 1.5
"""Steps nearer than this many sigma of the blur are not told apart"""
SHIFTS_MM = np.arange(-0.75, 0.76, 0.25)
"""Where the chosen step may lie when the other one is taken off it"""
BLURS = np.array([0.7, 0.85, 1.0])
"""The blur of one step fitted to two is too large: shares of it that are tried, with one step and with two"""
HEIGHTS_MM = np.arange(-14.0, 8.1, 0.5)
LEVEL_MM = 0.75
"""A second line within this of the height of the chosen one is at its level"""
MODEL = 0.03
"""Edge spread functions of real lenses and roundings depart from the model by this share of a step, near the step"""
GREY_U = 0.7
"""Standard uncertainty of a mean grey value: rounding, compression, what the tone curve is not"""
CLEAR, MOST = 9.0, 40.0
"""Gain (chi-squared, 2 degrees of freedom) from which a photo shows a second step, and the most that one photo counts for"""
ALIKE = 0.85
"""A level line must explain this share of what the best line at any height explains"""
SHARE = 0.7
"""Of the photos in which the place is open that show the second line"""
WEAKEST = 0.03
"""A second step of less than this share of the first is no line"""


@dataclass(frozen=True)
class Neighbour:
    """A second line outside the chosen one."""

    apart_mm: float
    """How far, towards the room"""
    photos: int
    """How many show it"""


def mean_profile(band: Band, place_px: Array, rows: IntArray, across_mm: Array) -> tuple[Array, Array]:
    """Median light of the stations ``rows`` at ``across_mm`` (X,) from the line at ``place_px`` (N,), and its uncertainty."""
    at = (place_px[rows, None] + across_mm * band.scale_px_per_mm[rows, None] - band.step_px[0])
    cell = np.clip(np.floor(at).astype(np.int64), 0, len(band.step_px) - 2)
    part = at - cell
    outside = (at < 0) | (at > len(band.step_px) - 1)
    row = rows[:, None]
    value = to_light((1 - part) * band.grey[row, cell] + part * band.grey[row, cell + 1])
    value = np.where(outside | band.covered[row, cell] | band.covered[row, cell + 1], np.nan, value)
    enough = np.isfinite(value).sum(axis=0) >= max(5, 0.4 * len(rows))
    value = np.where(enough, value, 0.0)
    middle = np.nanmedian(value, axis=0)
    # of a median, with stations that share what they see with the next two
    spread = 1.4826 * np.nanmedian(np.abs(value - middle), axis=0) * 1.25 * np.sqrt(3.0 / len(rows))
    return np.where(enough, middle, np.nan), spread


def gains(light: Array, u: Array, across_mm: Array, blur_mm: float, distances_mm: Array) -> Array:
    """(D,) by how much chi-squared falls with a second step at each distance, nan where not seen."""
    gain: Array = np.full(len(distances_mm), np.nan)
    for k, apart in enumerate(distances_mm.tolist()):
        if apart < NEAREST_BLURS * blur_mm:
            continue
        inside = (across_mm > -2.5 * blur_mm - 0.3) & (across_mm < apart + 2.5 * blur_mm)
        if not np.isfinite(light[inside]).all() or inside.sum() < 6:
            continue
        x, y = across_mm[inside], light[inside]
        widths, shifts = (m.ravel()[:, None] for m in np.meshgrid(blur_mm * BLURS, SHIFTS_MM))
        one = np.stack([np.ones((len(shifts), len(x))), ndtr((x - shifts) / widths)], axis=2)
        second = ndtr((x - apart) / widths)[..., None]
        bell = np.exp(-0.5 * (x / (1.5 * blur_mm)) ** 2)
        weight = 1.0 / (u[inside] ** 2 + (GREY_U / tone_slope(y)) ** 2 + (MODEL * float(np.ptp(y)) * bell) ** 2)
        first, _ = _best(one, y, weight)
        both, answer = _best(np.concatenate([one, second], axis=2), y, weight)
        best = int(np.argmin(both))
        strong = abs(answer[best, 2]) > WEAKEST * abs(answer[best, 1])
        gain[k] = max(0.0, float(first.min() - both[best])) if strong else 0.0
    return gain


def _best(design: Array, y: Array, weight: Array) -> tuple[Array, Array]:
    """Weighted sums of squares (S,) and answers (S, m) of the least squares problems ``design`` (S, X, m)."""
    left = (design * weight[:, None]).transpose(0, 2, 1) @ design
    left += 1e-9 * float(weight.sum()) * np.eye(design.shape[2])  # a second step outside the window has no answer
    answer = np.linalg.solve(left, np.einsum("sxi,x->si", design, weight * y)[..., None])[..., 0]
    residual = y - np.einsum("sxi,si->sx", design, answer)
    return np.asarray((weight * residual**2).sum(axis=1)), answer


def find_neighbour(
    bands: Sequence[Band], fits: Sequence[StepFit], weight: Array, place_px: Sequence[Array], outward: float
) -> Neighbour | None:
    """The line outside the chosen one, at its level, that photos agree on; None where one step explains what they show.

    ``weight`` (P, N): stations with a weight of zero do not count; ``place_px`` (P of (N,)): the line in each band.
    """
    distances = np.arange(0.0, 2.5 * FURTHEST_MM, STEP_MM)
    across = np.arange(-4.0, distances[-1] + 4.0, STEP_MM)
    seen, leans = [], []
    for band, fit, used, place in zip(bands, fits, weight, place_px, strict=True):
        rows = np.flatnonzero(used > 0).astype(np.int64)
        if len(rows) < 8:
            continue
        blur = float(np.hypot(fit.blur_px, 0.3) / np.median(band.scale_px_per_mm[rows]))
        light, u = mean_profile(band, place, rows, outward * across)
        seen.append(gains(light, u, across, blur, distances))
        leans.append(outward * float(np.median(band.lean[rows])))
    if len(seen) < 2:
        return None
    apart = np.arange(NEAREST_MM, FURTHEST_MM + 1e-9, STEP_MM)
    votes = np.zeros((len(apart), len(HEIGHTS_MM)))
    for gain, lean in zip(seen, leans, strict=True):
        votes += np.minimum(_at(gain, apart[:, None] - lean * HEIGHTS_MM), MOST)
    # where: every photo counts alike, however clear it is, at the height of the chosen line
    most = [max(float(np.nanmax(gain[distances >= NEAREST_MM], initial=0.0)), CLEAR) for gain in seen]
    best = int(np.argmax(sum(_at(gain, apart) / top for gain, top in zip(seen, most, strict=True))))
    apart_mm = float(apart[best])
    own = float(votes[best, np.abs(HEIGHTS_MM) <= LEVEL_MM].max())
    shown = [_peaks(gain, apart_mm) for gain in seen]
    open_ = [bool(np.isfinite(gain[distances >= NEAREST_MM]).any()) for gain in seen]
    if sum(shown) < max(2, SHARE * sum(open_)) or own < ALIKE * float(votes.max()):
        return None
    return Neighbour(apart_mm, sum(shown))


def _peaks(gain: Array, distance_mm: float) -> bool:
    """Whether a photo shows a second step at this distance."""
    near = np.arange(-PEAK_MM, PEAK_MM + 1e-9, STEP_MM)
    there = _at(gain, distance_mm + near)
    here = float(there[len(near) // 2])
    return here >= CLEAR and here >= PEAK * float(there.max())


def _at(gain: Array, distance_mm: Array) -> Array:
    """The gain at distances between those looked at; 0 where nothing was seen."""
    cell = np.round(distance_mm / STEP_MM).astype(np.int64)
    value = np.nan_to_num(gain)[np.clip(cell, 0, len(gain) - 1)]
    return np.where((cell >= 0) & (cell < len(gain)), value, 0.0)


def neighbour_finding(edge_id: str, neighbour: Neighbour | None) -> tuple[Finding, ...]:
    """``edge-ambiguous`` where there is one."""
    if neighbour is None:
        return ()
    return (
        Finding(
            "edge-ambiguous", edge_id,
            f"Two edges run {neighbour.apart_mm:.1f} mm apart near {edge_id}; the one taken is the stronger, inner one, and "
            "the outer one is too near to it to be traced alone.",
            "Look at it from near; if the outer one is the edge, take off what lies behind it (tape, a hard shadow) or "
            "photograph it from half the distance.",
        ),
    )


def unresolved_u_mm(apart_mm: Sequence[float], bands: Sequence[Band], fits: Sequence[StepFit]) -> float:
    """Standard uncertainty of an edge whose step runs into that of a line ``apart_mm`` away.

    Steps nearer than two sigma of the blur pull at each other, and the blur found is that of both: the edge is somewhere within
    half the distance, a rectangular distribution (JCGM 100:2008, 4.3.7).
    """
    if not len(apart_mm) or not len(bands):
        return 0.0
    blur_mm = float(np.median([f.blur_px / np.median(b.scale_px_per_mm) for b, f in zip(bands, fits, strict=True)]))
    near = [abs(a) for a in apart_mm if abs(a) < 2.0 * blur_mm]
    return max(near) / 2.0 / 3.0**0.5 if near else 0.0
