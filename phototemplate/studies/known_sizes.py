"""Things of known size that lie about, and their corners in a photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates

from phototemplate.edges.tracing.step_position import fit_steps, to_grey, to_light
from phototemplate.errors import InputError
from phototemplate.model import Array, GrayImage
from phototemplate.studies.constants import (
    CLEAR_STEP,
    HALO_U_PX,
    LEAST_CROSSING,
    LEAST_GOOD,
    LEAST_REACH_PX,
    LEAST_SIDE_PX,
    LEAST_SPREAD_PX,
    MAD_TO_SD,
    MOST_MOVED,
    MOST_SPREAD,
    NOISE_GREY,
    PAPER_BENDS_MM,
    REACH_OF_PICTURE,
    REACH_OF_SIDE,
    REACH_PX,
    SIDE_WINDOW_PX,
    SPREADS,
    STRAIGHT_PART,
    UNREFINED_U_SHARE,
)
from phototemplate.units import INCH_MM


@dataclass(frozen=True)
class KnownSize:
    """A rectangle of known size lying on the cabinets."""

    name: str
    long_mm: float
    short_mm: float
    u_mm: float
    """Standard uncertainty of both sides"""
    source: str
    thick_mm: float = 0.0
    bends_mm: float = PAPER_BENDS_MM
    """Standard uncertainty of each corner's height over what it lies on"""


KNOWN_SIZES: dict[str, KnownSize] = {
    k.name.lower(): k
    for k in (
        KnownSize("A4", 297.0, 210.0, 1.0, "ISO 216: 210 x 297 mm, +-2 mm over 150 mm"),
        KnownSize("A3", 420.0, 297.0, 1.0, "ISO 216"),
        KnownSize("A5", 210.0, 148.0, 1.0, "ISO 216"),
        KnownSize("Letter", 11 * INCH_MM, 8.5 * INCH_MM, 0.8, "ANSI/ASME Y14.1 size A: 8.5 x 11 in"),
        KnownSize("card", 85.60, 53.98, 0.1, "ISO/IEC 7810, ID-1: 85.60 x 53.98 x 0.76 mm", 0.76, 0.0),
    )
}
"""Add new things here, nowhere else."""


def known_size(name: str) -> KnownSize:
    """By name. Raises ``InputError`` naming those there are."""
    key = name.strip().lower()
    if key not in KNOWN_SIZES:
        names = ", ".join(k.name for k in KNOWN_SIZES.values())
        raise InputError(f"The size of {name!r} is not known here; use {names}, or give size = [long, short].")
    return KNOWN_SIZES[key]


def refine_corners(gray: GrayImage, corners_px: Array, reach_px: float = 0.0) -> tuple[Array, Array]:
    """Corners (4, 2) of a clicked quadrilateral moved onto its sides, and their standard uncertainty (4,) in px.

    Along the inner part of every side (:data:`STRAIGHT_PART`, which leaves out the rounded corners of a card) the step
    across is found to subpixels in light (``edges.tracing.step_position``: the middle between the grey values of a bright
    sheet and dark wood would make the sheet larger by a fifth of a pixel on every side, a card 60 px long by 4 % in area),
    a line is fitted with outliers left out, and neighbouring lines are intersected. A side on which no line is found keeps
    the clicks, with their uncertainty.
    """
    side = float(np.linalg.norm(np.roll(corners_px, -1, axis=0) - corners_px, axis=1).min())
    reach = reach_px or min(max(REACH_OF_SIDE * side, LEAST_REACH_PX), REACH_OF_PICTURE * max(gray.shape) + REACH_PX)
    margin = int(4.0 * reach) + 4
    low = np.maximum(np.floor(corners_px.min(axis=0)).astype(int) - margin, 0)
    high = np.ceil(corners_px.max(axis=0)).astype(int) + margin
    # values between pixels are means of light, as the blur is
    light = to_light(gray[low[1] : high[1], low[0] : high[0]].astype(float))
    first, _ = _intersected(light, corners_px - low, reach)
    corners, u = _intersected(light, first, reach)  # once more: a click may have been too far off for one of its two sides
    return corners + low, np.where(np.isfinite(u), u, UNREFINED_U_SHARE * max(gray.shape))


def _intersected(light: Array, corners_px: Array, reach: float) -> tuple[Array, Array]:
    """Corners and their uncertainty, infinite where two lines were not found."""
    lines = [side_line(light, corners_px[k], corners_px[(k + 1) % 4], reach) for k in range(4)]
    out, u = corners_px.copy(), np.full(4, np.inf)
    for k in range(4):
        before, after = lines[k - 1], lines[k]
        if before is None or after is None:
            continue
        normals = np.array([before[0], after[0]])
        if abs(float(np.linalg.det(normals))) < LEAST_CROSSING:
            continue
        at = np.linalg.solve(normals, np.array([before[1], after[1]]))
        if np.linalg.norm(at - corners_px[k]) < MOST_MOVED * reach:
            out[k], u[k] = at, max(before[2], after[2])
    return out, u


def side_line(light: Array, a: Array, b: Array, reach: float) -> tuple[Array, float, float] | None:
    """Line along a step near the stretch from a to b in a picture in light: normal (2,), its offset, and the uncertainty at its
    ends; None where there is no clear step within ``reach`` px."""
    along = b - a
    length = float(np.linalg.norm(along))
    if length < LEAST_SIDE_PX:
        return None
    t = along / length
    n = np.array([-t[1], t[0]])
    s = np.linspace(*STRAIGHT_PART, int(np.clip(length / 2, 12, 200)))
    d = np.arange(-reach, reach + 0.25, 0.5)
    places = a + s[:, None, None] * along + d[None, :, None] * n
    if places.min() < 1 or (places[..., 0].max() > light.shape[1] - 2) or (places[..., 1].max() > light.shape[0] - 2):
        return None
    values = to_grey(map_coordinates(light, [places[..., 1], places[..., 0]], order=1))
    slope = np.gradient(gaussian_filter1d(values, 1.6, axis=1), axis=1)
    # one side of the sheet is brighter all along: take the sign most rows agree on
    signed = slope * np.sign(np.sum(slope[np.arange(len(s)), np.argmax(np.abs(slope), axis=1)]) or 1.0)
    k = np.clip(np.argmax(signed, axis=1), 1, len(d) - 2)
    rows = np.arange(len(s))
    y1 = signed[rows, k]
    step = fit_steps(values, d, d[k], NOISE_GREY, SIDE_WINDOW_PX)
    o = step.position_px
    good = (y1 > max(CLEAR_STEP * float(np.median(y1)), 1.0)) & step.good
    for _ in range(8):
        if np.count_nonzero(good) < 8:
            return None
        slope_fit, at = np.polyfit(s[good], o[good], 1)
        rest = o - at - slope_fit * s
        spread = max(MAD_TO_SD * float(np.median(np.abs(rest[good]))), LEAST_SPREAD_PX)
        good = (y1 > 1.0) & step.good & (np.abs(rest) < SPREADS * spread)
    if np.count_nonzero(good) < LEAST_GOOD * len(s) or spread > MOST_SPREAD * reach:
        return None
    p, q = a + at * n, b + (at + slope_fit) * n
    direction = (q - p) / np.linalg.norm(q - p)
    normal = np.array([-direction[1], direction[0]])
    # a step that is two pixels wide says something new every fourth pixel; twice as uncertain at the ends as in the middle.
    # What light and sharpening do to the whole side in one photo does not average at all; the half of it that all sides of a
    # thing share is left to ``HALO_U_PX``.
    new = float(np.mean(good)) * (STRAIGHT_PART[1] - STRAIGHT_PART[0]) * length / 4.0
    u = np.hypot(2.0 * spread / np.sqrt(max(new, 1.0)), HALO_U_PX)
    return normal, float(normal @ p), float(u)
