"""The second, narrow look along a chosen line: bands, steps, sub-pixel positions, and what does not belong to the line."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.line_map.joint_steps import one_per_station, sign_reach
from phototemplate.edges.line_map.space_lines import SpaceLine
from phototemplate.edges.scene import Scene
from phototemplate.edges.tracing.constants import (
    FIRST_BIWEIGHT,
    FIRST_BLUR_PX,
    GATE_MM_PER_PX,
    LEAST_CONTRAST,
    LEAST_MISS_MM,
    LEAST_NEIGHBOUR,
    SMOOTH_EVERY_MM,
    STRAY_MM,
    STRAY_SIGMAS,
)
from phototemplate.edges.tracing.grey_profiles import Band, Steps, find_steps, sample_band
from phototemplate.edges.tracing.hint_path import Path, Stations
from phototemplate.edges.tracing.space_intersection import Intersection, unit_position
from phototemplate.edges.tracing.step_position import StepFit, fit_steps
from phototemplate.model import Array, BoolArray, ShapeKind
from phototemplate.settings import EdgeSettings


@dataclass(frozen=True)
class Reading:
    """Narrow band along the chosen line in one photo, and the steps in it."""

    band: Band
    steps: Steps


def rebased(stations: Stations, line: SpaceLine, shape: ShapeKind, settings: EdgeSettings) -> Stations:
    """Stations along the chosen line itself, so that profiles cross it at a right angle."""
    points = stations.shifted(line.offset_mm)
    if shape == "line":
        points = points[[0, -1]]
    elif shape == "profile":
        points = points[np.unique(np.linspace(0, len(points) - 1, max(4, len(points) // 20)).round().astype(int))]
    return Path.through(points, shape).stations(settings.station_mm)


def along_new(stations: Stations, values: Array, fine: Stations) -> Array:
    """Values given at the old stations, by position along the new ones."""
    part = (stations.along_mm - stations.along_mm[0]) / max(float(np.ptp(stations.along_mm)), 1e-9)
    return np.asarray(np.interp(fine.along_mm, fine.along_mm[0] + part * float(np.ptp(fine.along_mm)), values))


def read(scene: Scene, fine: Stations, height_mm: Array, line: SpaceLine) -> list[Reading]:
    """Narrow bands along the line in the photos that show it."""
    photos = []
    for photo_id in line.showing or tuple(line.photo_support):
        band = sample_band(scene, photo_id, fine, height_mm, 2.0, 10.0, scene.settings.rows_per_station)
        if band is not None:
            photos.append(Reading(band, find_steps(band, FIRST_BLUR_PX, 0.6 * scene.settings.least_strength)))
    return photos


def locate(
    scene: Scene, fine: Stations, photos: list[Reading], predicted: list[Array], gate_px: float, blur: dict[str, float]
) -> tuple[list[Band], list[StepFit], list[BoolArray]]:
    """Sub-pixel positions of the steps nearest to where each photo should show the edge (N,) along ``across``.

    ``blur`` remembers each photo's blur from round to round.
    """
    bands, fits, opened = [], [], []
    reach = sign_reach(fine)
    for photo, expected in zip(photos, predicted, strict=True):
        band, steps = photo.band, photo.steps
        miss = steps.position_px - expected[steps.station]
        within = np.abs(miss) < np.maximum(gate_px, GATE_MM_PER_PX * gate_px * band.scale_px_per_mm[steps.station])
        near = one_per_station(reach, 0, steps.station, miss, steps.strength, steps.surprise, within)
        rows = steps.station[near]
        if len(rows) < 3:
            continue
        start, sign = np.zeros(len(fine)), np.zeros(len(fine))
        start[rows], sign[rows] = steps.position_px[near], np.sign(steps.strength[near])
        known, window = blur.get(band.photo_id), scene.settings.window_px
        fit = fit_steps(band.grey[rows], band.step_px, start[rows], band.noise, window, known, _beside_px(steps)[near])
        blur[band.photo_id] = fit.blur_px
        fit = fit.spread_to(rows, len(fine))
        have = fit.good & (np.sign(fit.contrast) == sign) & (sign != 0)
        if have.sum() < 3:
            continue
        have &= np.abs(fit.contrast) > LEAST_CONTRAST * float(np.median(np.abs(fit.contrast[have])))
        bands.append(band)
        fits.append(fit)
        opened.append(have)
    return bands, fits, opened


def _beside_px(steps: Steps) -> Array:
    """(M, 2) places of the nearest step before and behind each one at its station that is not much weaker, nan for none."""
    out = np.full((len(steps.station), 2), np.nan)
    size = np.abs(steps.strength)
    for lag in (2, 1):  # the nearer one is written last
        for side, here, there in ((0, slice(lag, None), slice(None, -lag)), (1, slice(None, -lag), slice(lag, None))):
            counts = (steps.station[here] == steps.station[there]) & (size[there] > LEAST_NEIGHBOUR * size[here])
            out[here, side] = np.where(counts, steps.position_px[there], out[here, side])
    return out


def smoothed(fine: Stations, solved: Intersection) -> Array:
    """(N,) solved offsets, smoothed along the edge, for a first guess of the next round."""
    have = np.isfinite(solved.offset_mm)
    if have.sum() < 8:
        return np.zeros(len(fine))
    x = unit_position(fine.along_mm)
    degree = min(8, 1 + int(np.ptp(fine.along_mm) / SMOOTH_EVERY_MM))
    return np.asarray(robust_polynomial(x[have], solved.offset_mm[have], degree)(x))


def robust_polynomial(x: Array, y: Array, degree: int) -> np.polynomial.Legendre:
    """Legendre polynomial through most of the points (biweight), for a first guess only."""
    weight = np.ones(len(x))
    for _ in range(6):
        curve = np.polynomial.Legendre.fit(x, y, degree, domain=[-1, 1], w=np.sqrt(weight) + 1e-6)
        miss = np.abs(y - curve(x))
        weight = np.clip(1 - (miss / (FIRST_BIWEIGHT * (float(np.median(miss)) + LEAST_MISS_MM))) ** 2, 0.0, None) ** 2
    return curve


def without_strays(solved: Intersection, fine: Stations) -> tuple[Intersection, Stations]:
    """Without the stations that no photo shows, and those far from the run of the others (on something in front)."""
    keep = np.isfinite(solved.offset_mm)
    miss = np.where(keep, np.abs(solved.offset_mm - smoothed(fine, solved)), 0.0)
    if keep.sum() >= 8:
        keep &= miss < max(STRAY_MM, STRAY_SIGMAS * MAD_TO_SD * float(np.median(miss[keep])))
    shorter = replace(
        solved,
        offset_mm=solved.offset_mm[keep],
        height_mm=solved.height_mm[keep],
        height_u_mm=solved.height_u_mm[keep],
        noise_mm=solved.noise_mm[keep],
        common_mm=solved.common_mm[keep],
        shared_jac=solved.shared_jac[keep],
        weight=solved.weight[:, keep],
        residual_px=solved.residual_px[:, keep],
    )
    return shorter, Stations(fine.along_mm[keep], fine.xy_mm[keep], fine.tangent[keep])
