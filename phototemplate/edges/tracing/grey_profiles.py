"""Grey profiles across an edge, taken in original pixels along the normal of the projected path.

Nothing is rectified: at each station the photo is sampled on a few parallel lines perpendicular to the path's
image and the lines are averaged, which keeps the pixels' own noise visible and the blur that of the lens.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import correlate1d, gaussian_filter1d

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.scene import Scene
from phototemplate.edges.tracing.constants import LEAST_NOISE, LEAST_SURPRISE, PARABOLA_REACH_PX, SURPRISE_SPAN, SURPRISE_ZERO
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.model import Array, BoolArray, GrayImage, IntArray


@dataclass(frozen=True)
class Band:
    """Profiles of one path in one photo: N stations, W samples each."""

    photo_id: str
    uv_px: Array
    """(N, 2) the stations in the photo"""
    across: Array
    """(N, 2) unit vectors in the photo, perpendicular to the path's image, towards its left in plan"""
    scale_px_per_mm: Array
    """(N,) how fast the image moves along ``across`` when the edge moves to its left"""
    lean: Array
    """(N,) c in o = d - c z: an edge at offset d and height z appears where one at height 0 and offset o would"""
    step_px: Array
    """(W,) sample positions along ``across``"""
    grey: Array
    """(N, W) mean grey value over the station's stretch"""
    covered: BoolArray
    """(N, W) bool: outside the picture or under a known printed sheet"""
    noise: float
    """Standard deviation of one value of ``grey``"""


def sample_band(
    scene: Scene, photo_id: str, stations: Stations, height_mm: Array, half_mm: float, half_px: float, most_rows: int
) -> Band | None:
    """Profiles of one photo, or None where it does not show the path well enough to be of use.

    ``half_mm`` is the half width of the band in the work plane; ``half_px`` the least half width in the picture;
    at most ``most_rows`` lines are averaged at a station.
    """
    xyz = np.column_stack([stations.xy_mm, height_mm])
    view = scene.see(photo_id, xyz)
    if view.inside.sum() < 3:
        return None
    along = np.einsum("nij,nj->ni", view.d_work[:, :, :2], stations.tangent)
    length = np.linalg.norm(along, axis=1)
    unit = along / np.maximum(length, 1e-9)[:, None]
    across = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    sideways = np.einsum("ni,nij,nj->n", across, view.d_work[:, :, :2], stations.normal)
    across, sideways = across * np.sign(sideways)[:, None], np.abs(sideways)
    upward = np.einsum("ni,ni->n", across, view.d_work[:, :, 2])
    inside = view.inside & (sideways > scene.settings.least_px_per_mm)
    if inside.sum() < 3:
        return None
    scale = np.maximum(sideways, 1e-6)
    half = max(half_px, half_mm * float(np.median(scale[inside])))
    step = np.arange(-np.ceil(half), np.ceil(half) + 1.0)
    stretch = float(np.median(np.diff(stations.along_mm))) if len(stations) > 1 else 1.0
    rows = int(np.clip(np.round(np.median(length[inside]) * stretch), 1, most_rows))
    grey, noise = _sample(scene.gray_of(photo_id), view.uv_px, along * stretch, across, step, rows, inside)
    covered = scene.covered(photo_id, view.uv_px[:, None] + step[:, None] * across[:, None])
    width, height = scene.size_px(photo_id)
    u = view.uv_px[:, None, 0] + step * across[:, 0, None]
    v = view.uv_px[:, None, 1] + step * across[:, 1, None]
    covered |= (u < 1) | (v < 1) | (u > width - 2) | (v > height - 2) | ~inside[:, None]
    return Band(photo_id, view.uv_px, across, scale, -upward / scale, step, grey, covered, noise)


def _sample(
    gray: GrayImage, uv: Array, along: Array, across: Array, step: Array, rows: int, inside: BoolArray
) -> tuple[Array, float]:
    """Mean profiles (N, W) over ``rows`` lines per station, and the noise of one of their values.

    The noise comes from the differences of neighbouring lines, whose mean content is the same.
    """
    fraction = (np.arange(rows) + 0.5) / rows - 0.5
    height, width = gray.shape
    origin = np.where(inside[:, None], uv, np.array([width / 2, height / 2]))
    line = origin[:, None] + fraction[:, None] * np.where(inside[:, None], along, 0.0)[:, None]
    # positions are linear in line and step, so their extremes are at the ends of both
    ends = line[:, [0, -1], None] + step[[0, -1], None] * across[:, None, None]
    low = np.clip(np.floor(ends.min(axis=(0, 1, 2))) - 4, 0, [width - 1, height - 1]).astype(int)
    high = np.clip(np.ceil(ends.max(axis=(0, 1, 2))) + 5, 1, [width, height]).astype(int)
    part = gray[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    line = (line - low).reshape(-1, 2)
    across = np.repeat(across, rows, axis=0)
    x, y = ((line[:, k, None] + step * across[:, k, None]).astype(np.float32) for k in (0, 1))
    values = np.asarray(cv2.remap(part, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))
    values = values.reshape(len(uv), rows, len(step))
    if rows > 1:
        spread = np.diff(values[inside], axis=1)
        noise = MAD_TO_SD * float(np.median(np.abs(spread))) / np.sqrt(2 * rows)
    else:
        wiggle = correlate1d(values[inside][:, 0], np.array([1.0, -2.0, 1.0]), axis=1)
        noise = MAD_TO_SD * float(np.median(np.abs(wiggle))) / np.sqrt(6)
    return values.mean(axis=1, dtype=np.float64), max(noise, LEAST_NOISE / np.sqrt(rows))


@dataclass(frozen=True)
class Steps:
    """Grey steps found in a band, M of them: first guesses, to about half a pixel."""

    station: IntArray
    """(M,)"""
    position_px: Array
    """(M,) along ``across``"""
    strength: Array
    """(M,) signed gradient, brighter to the left is positive, in units of its own noise"""
    surprise: Array
    """(M,) how little chance would explain a step this strong this near to a given place, 0-1"""

    def part(self, take: BoolArray) -> Steps:
        """Those of ``take`` (M,)."""
        return Steps(self.station[take], self.position_px[take], self.strength[take], self.surprise[take])


def find_steps(band: Band, blur_px: float, least: float) -> Steps:
    """Extrema of the smoothed gradient along each profile, with a parabola through the three nearest samples.

    The filter is the derivative of a Gaussian of ``blur_px``; ``least`` is the smallest strength in units of noise
    (Canny 1986, A computational approach to edge detection).
    """
    gradient = gaussian_filter1d(band.grey, blur_px, axis=1, order=1)
    # noise gain of the filter: sqrt(sum of squared taps) = 1 / sqrt(4 sqrt(pi) sigma^3)
    strength = gradient / (band.noise / np.sqrt(4 * np.sqrt(np.pi) * blur_px**3))
    size = np.abs(strength)
    middle = size[:, 1:-1]
    peak = (middle >= size[:, :-2]) & (middle > size[:, 2:]) & (middle > least) & ~band.covered[:, 1:-1]
    peak &= ~(band.covered[:, :-2] | band.covered[:, 2:])
    station, column = np.nonzero(peak)
    column = column + 1
    left, here, right = size[station, column - 1], size[station, column], size[station, column + 1]
    bend = left - 2 * here + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.minimum(bend, -1e-12), 0.0)
    value = strength[station, column]
    place = band.step_px[column] + np.clip(shift, -PARABOLA_REACH_PX, PARABOLA_REACH_PX)
    return Steps(station, place, value, _surprise(value, band))


def _surprise(strength: Array, band: Band) -> Array:
    """-log of the chance that a step at least this strong lies within a pixel of a given place, scaled to 0-1.

    The chance comes from the band itself: steps this strong or stronger per open pixel (Desolneux, Moisan & Morel 2000,
    Meaningful alignments: what is no surprise is no evidence).
    """
    order = np.argsort(-np.abs(strength))
    rank = np.empty(len(strength))
    rank[order] = np.arange(1, len(strength) + 1)
    density = rank / max(float((~band.covered).sum()), 1.0)
    chance = -np.expm1(-2.0 * density)
    return np.asarray(np.clip((-np.log(chance) - SURPRISE_ZERO) / SURPRISE_SPAN, LEAST_SURPRISE, 1.0))
