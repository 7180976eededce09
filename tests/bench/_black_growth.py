"""By how much black is wider than it was drawn in each photo of a board, and whether ink can be the reason.

Corners of a chessboard lie where black meets black across white: neither ink nor a camera moves them. The sides between them
move into the white by what ink spreads, which is the same in millimetres in every photo of one print, and by what a wrong tone
curve makes of a blurred step, which follows blur and exposure in pixels. The tone curve that fits the steps' own shape best is
found beside it, without a look at where they lie.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.special import ndtr

from phototemplate.model import Array, GrayImage, IntArray, Sightings

EXPONENTS = (1.0, 1.4, 1.8, 2.2, 2.6)
"""Tone curves: grey is the share of light to the power of one over this; sRGB is about 2.2"""
REACH_PX, STEP_PX, WINDOW_PX, LEAST_SIDE_PX = 6.0, 0.25, 3.5, 18.0
"""How far across a side is looked, at what distance, the window's width; shorter sides have no room between their corners"""
ALONG = np.linspace(0.3, 0.7, 9)


@dataclass(frozen=True)
class Growth:
    """Of one photo."""

    photo_id: str
    mm_per_px: float
    by_px: Array
    """(E,) by how much black reaches into white at a side, for each of :data:`EXPONENTS`"""
    misfit: Array
    """(E,) rms of what the model of a blurred step leaves, of the step"""


def black_growth(
    photos: Iterable[tuple[Sightings, GrayImage]], squares: Sequence[IntArray], n_points: int, square_mm: float
) -> list[Growth]:
    """One row a photo that shows enough sides; ``squares``: the points at the corners of each, in order round it."""
    sides = sorted({(min(a, b), max(a, b)) for own in squares for a, b in zip(own, np.roll(own, -1), strict=True)})
    out = []
    for seen, grey in photos:
        uv = np.full((n_points, 2), np.nan)
        uv[seen.point_ids] = seen.uv_px
        ends = uv[np.array(sides)]
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        ends, length = ends[length > LEAST_SIDE_PX], length[length > LEAST_SIDE_PX]  # nan where a corner was not seen
        if len(ends) < 10:
            continue
        profile = _dark_to_bright(_across(ends, grey)).mean(axis=0) / 255.0
        fits = [_step(profile**e) for e in EXPONENTS]
        at, misfit = (np.array(column) for column in zip(*fits, strict=True))
        out.append(Growth(seen.photo_id, square_mm / float(np.median(length)), at, misfit))
    return out


def _across(ends: Array, grey: GrayImage) -> Array:
    """(N, W) mean grey across each side (N, 2, 2), at the distances of :func:`_distances` from the chord of its corners."""
    run = ends[:, 1] - ends[:, 0]
    normal = np.stack([-run[:, 1], run[:, 0]], axis=1) / np.linalg.norm(run, axis=1)[:, None]
    on = ends[:, None, 0] + ALONG[:, None] * run[:, None]
    at = (on[:, :, None] + _distances()[:, None] * normal[:, None, None]).astype(np.float32)
    flat = at.reshape(-1, at.shape[2], 2)
    read = cv2.remap(grey.astype(np.float32), flat[..., 0], flat[..., 1], cv2.INTER_CUBIC)
    return np.asarray(read.reshape(at.shape[:3]).mean(axis=1), float)


def _distances() -> Array:
    return np.arange(-REACH_PX, REACH_PX + 0.5 * STEP_PX, STEP_PX)


def _dark_to_bright(profiles: Array) -> Array:
    third = profiles.shape[1] // 3
    falls = profiles[:, -third:].mean(axis=1) < profiles[:, :third].mean(axis=1)
    return np.where(falls[:, None], profiles[:, ::-1], profiles)


def _step(light: Array) -> tuple[float, float]:
    """Place of a blurred step and what its model leaves, of its height."""
    x = _distances()
    height = float(light[-1] - light[0])
    window = np.exp(-0.25 * (x / WINDOW_PX) ** 2)

    def rest(p: Array) -> Array:
        return np.asarray((p[0] + p[1] * ndtr((x - p[2]) / p[3]) - light) / height * window)

    found = least_squares(rest, [light[0], height, 0.0, 0.9], bounds=([-1, -1, -3, 0.1], [2, 2, 3, 4]))
    return float(found.x[2]), float(np.sqrt(np.mean(found.fun**2)))


def growth_rows(case: str, found: Sequence[Growth]) -> tuple[list[dict[str, object]], float]:
    """A row for each tone curve, and the spread among photos (mm) of the growth under that of sRGB, as the tracer takes it:
    none of that is ink."""
    scale = np.array([g.mm_per_px for g in found])
    by_mm, misfit = np.array([g.by_px for g in found]) * scale[:, None], np.array([g.misfit for g in found])
    rows = [
        {
            "case": f"{case}, black at a side, tone curve 1/{e:g}", "photos": len(found),
            "mean mm": round(float(by_mm[:, k].mean()), 4), "sd among photos mm": round(float(by_mm[:, k].std()), 4),
            "least mm": round(float(by_mm[:, k].min()), 3),
            "largest mm": round(float(by_mm[:, k].max()), 3), "step misfit %": round(100 * float(misfit[:, k].mean()), 3),
        }
        for k, e in enumerate(EXPONENTS)
    ]  # fmt: skip
    return rows, float(by_mm[:, EXPONENTS.index(2.2)].std())
