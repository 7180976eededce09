"""Where each lens starts, and how well that is known: from a profile, from EXIF, or from the sheets themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, Camera, PhotoMeta
from phototemplate.network.constants import (
    FOCAL_FINE,
    FOCAL_GRID,
    FOCAL_TELLS,
    FULL_FRAME_DIAGONAL_MM,
    LEAST_FOCAL_ERROR_PX,
    MOST_FOCAL_VIEWS,
    WORST_FOCAL_ERROR,
)
from phototemplate.numerics import lens
from phototemplate.settings import AdjustmentSettings


@dataclass(frozen=True)
class LensStart:
    """Start value and prior of one camera."""

    camera_id: str
    model: str
    size_px: tuple[int, int]
    params: Array
    cov: Array
    source: str
    exposure_sd: tuple[float, ...] = (np.nan,) * 4
    """What a profile found its exposures to do (``Camera.exposure_sd``); nan where nothing is known of them"""
    distortion_moves: bool = True


def focal_from_exif(meta: PhotoMeta) -> float | None:
    """Principal distance in px from the 35 mm equivalent, by the picture's diagonal (CIPA DCG-001); None if unsaid."""
    if not meta.focal35_mm or meta.focal35_mm <= 0:
        return None
    return float(meta.focal35_mm * np.hypot(*meta.size_px) / FULL_FRAME_DIAGONAL_MM)


def planar_poses(local: Array, xy: Array) -> list[tuple[Array, Array, float]]:
    """Poses cam_from_target of a flat target, best first: rotation, translation and rms error.

    ``local`` (n, 3) with z = 0, ``xy`` (n, 2) ideal image positions in units of the principal distance. Two poses fit a
    small flat target almost equally well (Collins, Bartoli, IJCV 109 (2014) 252-286); both are returned.
    """
    try:
        _, rvecs, tvecs, _ = cv2.solvePnPGeneric(local[:, None], xy[:, None], np.eye(3), np.zeros(4), flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return []
    out: list[tuple[Array, Array, float]] = []
    for r, t in zip(rvecs, tvecs, strict=True):
        rotation = np.asarray(cv2.Rodrigues(r)[0], dtype=np.float64)
        translation = np.asarray(t, dtype=np.float64).ravel()
        cam = local @ rotation.T + translation
        if np.all(np.isfinite(cam)) and np.all(cam[:, 2] > 0) and rotation[:, 2] @ translation < 0:
            error = np.sqrt(np.mean(np.sum((cam[:, :2] / cam[:, 2:] - xy) ** 2, axis=1)))
            out.append((rotation, translation, float(error)))
    return sorted(out, key=lambda pose: pose[2])


def focal_from_sheets(views: Sequence[tuple[Array, Array]], size_px: tuple[int, int]) -> tuple[float, float] | None:
    """Principal distance in px and its relative standard uncertainty from pictures of flat targets.

    ``views`` are pairs of local (n, 3) and pixel (n, 2) positions. The equal scale and right angle of a sheet's axes
    (its vanishing points) fit one principal distance only: the one with the smallest reprojection error over all views
    is taken, the curvature of the error there gives the uncertainty. None where the views say nothing.
    """
    if not views:
        return None
    centre, side = (np.array(size_px) - 1) / 2.0, max(size_px)
    size = [float(np.ptp(uv, axis=0).max()) for _, uv in views]
    chosen = [views[i] for i in np.argsort(size)[::-1][:MOST_FOCAL_VIEWS]]
    counts = np.array([len(uv) for _, uv in chosen])
    n = int(counts.sum())

    def errors(rel: float) -> list[float]:
        """Reprojection error per view in px."""
        out = []
        for local, uv in chosen:
            poses = planar_poses(local, (uv - centre) / (rel * side))
            out.append(poses[0][2] * rel * side if poses else 50.0)
        return out

    def chi(table: Array) -> Array:
        """Each view counts robustly: a wrong one must not decide."""
        floor = max(float(np.median(table.min(axis=0))), LEAST_FOCAL_ERROR_PX)
        return np.asarray((np.minimum(table / floor, WORST_FOCAL_ERROR) ** 2 * counts).sum(axis=1))

    best = int(np.argmin(chi(np.array([errors(rel) for rel in FOCAL_GRID]))))
    fine = FOCAL_GRID[best] * FOCAL_FINE
    value = chi(np.array([errors(rel) for rel in fine]))
    best = int(np.argmin(value))
    if best in (0, len(fine) - 1):
        return None
    x, y = np.log(fine[best - 1 : best + 2]), value[best - 1 : best + 2]
    a, b, _ = np.polyfit(x - x[1], y, 2)
    if a <= 0:
        return None
    shift = float(np.clip(-b / (2 * a), x[0] - x[1], x[2] - x[1]))
    # Unmodelled distortion makes neighbouring points err alike: count views, not points.
    u = float(np.sqrt(n / len(chosen) / a) * np.sqrt(max(value[best] / n, 1.0)))
    return float(np.exp(x[1] + shift) * side), float(np.hypot(u, 0.03))


def start_lenses(
    photos: Sequence[PhotoMeta],
    views: Mapping[str, Sequence[tuple[Array, Array]]],
    profiles: Mapping[str, Camera],
    settings: AdjustmentSettings,
) -> tuple[list[LensStart], list[Finding]]:
    """A start for every camera of ``photos``; ``views`` are the flat targets seen by each camera."""
    starts, findings = [], []
    for camera_id in dict.fromkeys(p.camera_id for p in photos):
        own = [p for p in photos if p.camera_id == camera_id]
        size = own[0].size_px
        profile = profiles.get(camera_id)
        if profile is not None:
            known = tuple(sd or np.nan for sd in profile.exposure_sd)
            starts.append(
                LensStart(
                    camera_id, profile.model, size, profile.params.copy(), profile.cov.copy(), "profile", known,
                    profile.distortion_moves,
                )
            )  # fmt: skip
            continue
        model = settings.lens_model
        stated = [f for f in map(focal_from_exif, own) if f]
        seen = focal_from_sheets(views.get(camera_id, ()), size)
        f, u, source = max(size) * 0.85, settings.u_focal_guess, "default"
        if stated:
            f, u, source = float(np.median(stated)), settings.u_focal, "exif"
            if seen and seen[1] < FOCAL_TELLS and abs(np.log(seen[0] / f)) > 4 * np.hypot(seen[1], u):
                findings.append(
                    Finding(
                        "focal-contradicts",
                        camera_id,
                        stated_px=f,
                        seen_px=seen[0],
                    )
                )
                f, u, source = seen[0], settings.u_focal_guess, "vanishing"
        elif seen:
            f, u, source = seen[0], settings.u_focal_guess, "vanishing"
        params = lens.start_params(model, f, size)
        cov = lens.loose_cov(model, f, size, u, settings.u_centre, settings.u_aspect)
        starts.append(LensStart(camera_id, model, size, params, cov, source))
    return starts, findings
