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
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.line_map.constants import (
    HIDDEN_ALIKE,
    HIDDEN_BLURS,
    HIDDEN_CLEAR,
    HIDDEN_FURTHEST_MM,
    HIDDEN_GREY_U,
    HIDDEN_HALO_PX,
    HIDDEN_HEIGHTS_MM,
    HIDDEN_LEVEL_MM,
    HIDDEN_MODEL,
    HIDDEN_MOST,
    HIDDEN_NEAREST_BLURS,
    HIDDEN_NEAREST_MM,
    HIDDEN_PEAK,
    HIDDEN_PEAK_MM,
    HIDDEN_ROWS_SHARE,
    HIDDEN_SHARE,
    HIDDEN_SHIFTS_MM,
    HIDDEN_STEP_MM,
    HIDDEN_WEAKEST,
    HIDDEN_WINDOW_BLURS,
    HIDDEN_WINDOW_MM,
)
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.step_position import StepFit, to_grey, to_light, tone_slope
from phototemplate.errors import Finding
from phototemplate.model import Array, IntArray


@dataclass(frozen=True)
class HiddenLine:
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
    enough = np.isfinite(value).sum(axis=0) >= max(5, HIDDEN_ROWS_SHARE * len(rows))
    value = np.where(enough, value, 0.0)
    middle = _median(value)
    # of a median, with stations that share what they see with the next two
    spread = MAD_TO_SD * _median(np.abs(value - middle)) * 1.25 * np.sqrt(3.0 / len(rows))
    return np.where(enough, middle, np.nan), spread


def _median(value: Array) -> Array:
    """(X,) medians of the columns (N, X), nan left out; ``numpy.nanmedian`` is slow where few have any."""
    out: Array = np.median(value, axis=0)
    part = np.isnan(out)
    if part.any():
        out[part] = np.nanmedian(value[:, part], axis=0)
    return out


def gains(light: Array, u: Array, across_mm: Array, blur_mm: float, halo_mm: float, distances_mm: Array) -> Array:
    """(D,) by how much chi-squared falls with a second step at each distance, nan where not seen.

    Every distance has a window of its own on the profile, a weight of zero outside of it. What the phone's sharpening makes
    of a single step is no second one: its overshoot, with a free amount, is part of both models.
    """
    gain: Array = np.full(len(distances_mm), np.nan)
    inside = across_mm > -HIDDEN_WINDOW_BLURS * blur_mm - HIDDEN_WINDOW_MM
    inside = inside & (across_mm < distances_mm[:, None] + HIDDEN_WINDOW_BLURS * blur_mm)
    missing = ~np.isfinite(light)
    asked = (distances_mm >= HIDDEN_NEAREST_BLURS * blur_mm) & (inside.sum(axis=1) >= 6) & ~(inside & missing).any(axis=1)
    if not asked.any():
        return gain
    inside, apart, y = inside[asked], distances_mm[asked], np.where(missing, 0.0, light)
    span = np.where(inside, y, -np.inf).max(axis=1) - np.where(inside, y, np.inf).min(axis=1)
    bell = np.exp(-0.5 * (across_mm / (1.5 * blur_mm)) ** 2)
    own = np.where(missing, 1.0, u) ** 2 + (HIDDEN_GREY_U / tone_slope(y)) ** 2
    weight = inside / (own + (HIDDEN_MODEL * span[:, None] * bell) ** 2)
    widths = blur_mm * HIDDEN_BLURS
    first = ndtr((across_mm - HIDDEN_SHIFTS_MM[:, None]) / widths[:, None, None])  # (W, K, X)
    far = np.abs(across_mm) > HIDDEN_WINDOW_BLURS * blur_mm
    sides = [side & far & ~missing for side in (across_mm < 0, across_mm > 0)]
    ends = [float(np.median(y[side] if side.any() else y)) for side in sides]
    halo = _overshoot(ends[0] + (ends[1] - ends[0]) * first, halo_mm / float(across_mm[1] - across_mm[0]))
    second = ndtr((across_mm - apart[:, None, None]) / widths[:, None])  # (D, W, X)
    shape = (len(apart), *first.shape)
    columns = [np.broadcast_to(c, shape) for c in (np.ones(1), first, halo, second[:, :, None])]
    design = np.stack(columns, axis=-1).reshape(len(apart), -1, len(across_mm), 4)
    heavy = weight[:, None, :, None] * design
    left, right = np.swapaxes(design, -1, -2) @ heavy, np.einsum("dsxi,x->dsi", heavy, y)
    left += 1e-9 * weight.sum(axis=1)[:, None, None, None] * np.eye(4)  # a second step outside the window has no answer
    one = _explained(left[..., :3, :3], right[..., :3])[0].max(axis=1)
    explained, answer = _explained(left, right)
    best, row = np.argmax(explained, axis=1), np.arange(len(explained))
    strong = np.abs(answer[row, best, 3]) > HIDDEN_WEAKEST * np.abs(answer[row, best, 1])
    gain[asked] = np.where(strong, np.maximum(0.0, explained[row, best] - one), 0.0)
    return gain


def _overshoot(light: Array, sigma: float) -> Array:
    """What sharpening by unit amount adds to profiles of light (..., X): unsharp masking of grey values, ``sigma`` samples."""
    grey = to_grey(light)
    return np.asarray((grey - gaussian_filter1d(grey, sigma, axis=-1, mode="nearest")) / tone_slope(light))


def _explained(left: Array, right: Array) -> tuple[Array, Array]:
    """What each of the problems explains of the weighted sum of squares (D, S), and its answer (D, S, m)."""
    answer = np.asarray(np.linalg.solve(left, right[..., None])[..., 0], dtype=np.float64)
    return np.asarray(np.sum(right * answer, axis=-1), dtype=np.float64), answer


def find_hidden_line(
    bands: Sequence[Band], fits: Sequence[StepFit], weight: Array, place_px: Sequence[Array], outward: float
) -> HiddenLine | None:
    """The line outside the chosen one, at its level, that photos agree on; None where one step explains what they show.

    ``weight`` (P, N): stations with a weight of zero do not count; ``place_px`` (P of (N,)): the line in each band.
    """
    distances = np.arange(0.0, 2.5 * HIDDEN_FURTHEST_MM, HIDDEN_STEP_MM)
    across = np.arange(-4.0, distances[-1] + 4.0, HIDDEN_STEP_MM)
    seen, leans = [], []
    for band, fit, used, place in zip(bands, fits, weight, place_px, strict=True):
        rows = np.flatnonzero(used > 0).astype(np.int64)
        if len(rows) < 8:
            continue
        blur = float(np.hypot(fit.blur_px, 0.3) / np.median(band.scale_px_per_mm[rows]))
        light, u = mean_profile(band, place, rows, outward * across)
        halo = HIDDEN_HALO_PX / float(np.median(band.scale_px_per_mm[rows]))
        seen.append(gains(light, u, across, blur, halo, distances))
        leans.append(outward * float(np.median(band.lean[rows])))
    if len(seen) < 2:
        return None
    apart = np.arange(HIDDEN_NEAREST_MM, HIDDEN_FURTHEST_MM + 1e-9, HIDDEN_STEP_MM)
    votes = np.zeros((len(apart), len(HIDDEN_HEIGHTS_MM)))
    for gain, lean in zip(seen, leans, strict=True):
        votes += np.minimum(_at(gain, apart[:, None] - lean * HIDDEN_HEIGHTS_MM), HIDDEN_MOST)
    # where: every photo counts alike, however clear it is, at the height of the chosen line
    most = [max(float(np.nanmax(gain[distances >= HIDDEN_NEAREST_MM], initial=0.0)), HIDDEN_CLEAR) for gain in seen]
    best = int(np.argmax(sum(_at(gain, apart) / top for gain, top in zip(seen, most, strict=True))))
    apart_mm = float(apart[best])
    own = float(votes[best, np.abs(HIDDEN_HEIGHTS_MM) <= HIDDEN_LEVEL_MM].max())
    shown = [_peaks(gain, apart_mm) for gain in seen]
    open_ = [bool(np.isfinite(gain[distances >= HIDDEN_NEAREST_MM]).any()) for gain in seen]
    if sum(shown) < max(2, HIDDEN_SHARE * sum(open_)) or own < HIDDEN_ALIKE * float(votes.max()):
        return None
    return HiddenLine(apart_mm, sum(shown))


def _peaks(gain: Array, distance_mm: float) -> bool:
    """Whether a photo shows a second step at this distance."""
    near = np.arange(-HIDDEN_PEAK_MM, HIDDEN_PEAK_MM + 1e-9, HIDDEN_STEP_MM)
    there = _at(gain, distance_mm + near)
    here = float(there[len(near) // 2])
    return here >= HIDDEN_CLEAR and here >= HIDDEN_PEAK * float(there.max())


def _at(gain: Array, distance_mm: Array) -> Array:
    """The gain at distances between those looked at; 0 where nothing was seen."""
    cell = np.round(distance_mm / HIDDEN_STEP_MM).astype(np.int64)
    value = np.nan_to_num(gain)[np.clip(cell, 0, len(gain) - 1)]
    return np.where((cell >= 0) & (cell < len(gain)), value, 0.0)


def hidden_line_finding(edge_id: str, hidden: HiddenLine | None) -> tuple[Finding, ...]:
    """``edge-double-line`` where there is one."""
    if hidden is None:
        return ()
    return (Finding("edge-double-line", edge_id, apart_mm=hidden.apart_mm),)
