"""Where a board calibration starts: a principal distance and a pose of every board, without user input."""

from __future__ import annotations

import numpy as np

from phototemplate.errors import MeasureError
from phototemplate.model import Array
from phototemplate.network.calibration.board_model import BoardPhotos, Start
from phototemplate.network.calibration.constants import FOCAL_GRID, LEAST_FORWARD
from phototemplate.network.orientation.lens_start import planar_poses
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import Pose, transform


def first_start(photos: BoardPhotos, model: str, f_px: float | None = None) -> Start:
    """Principal distance with the smallest reprojection error of single boards, and each board's pose under it.

    ``f_px`` is tried along with the grid. Raises :class:`MeasureError` where no board gives a pose.
    """
    side = max(photos.size_px)
    tries = [*(FOCAL_GRID * side), *([f_px] if f_px else [])]
    best: tuple[float, Start] | None = None
    for f in tries:
        params = lens.start_params(model, float(f), photos.size_px)
        poses, errors = _poses(photos, model, params)
        if len(poses) < len(photos.views) / 2:
            continue
        # Robust: a photo that fits nowhere must not decide.
        score = float(np.mean(np.minimum(errors, 3 * np.median(errors))))
        if best is None or score < best[0]:
            best = score, Start(params, poses)
    if best is None:
        raise MeasureError(
            "No photo shows the board well enough to start from; fill at least a quarter of the picture with it."
        )
    return best[1]


def _poses(photos: BoardPhotos, model: str, params: Array) -> tuple[dict[str, Pose], Array]:
    poses: dict[str, Pose] = {}
    errors = []
    for name, v in photos.views.items():
        rays = lens.unproject(model, params, v.uv)
        if np.any(rays[:, 2] < LEAST_FORWARD):
            continue
        found = planar_poses(v.local, rays[:, :2] / rays[:, 2:])
        if not found:
            continue
        rotation, translation, _ = found[0]
        uv = lens.project(model, params, transform((rotation, translation), v.local))[0]
        poses[name] = rotation, translation
        errors.append(float(np.sqrt(np.mean(np.sum((uv - v.uv) ** 2, axis=1)))))
    return poses, np.array(errors)
