"""Where in the picture a lens was seen, what its uncertainty amounts to there, and what one more photo of a board brings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, Camera, IntArray
from phototemplate.network.calibration.board_model import Fit
from phototemplate.network.calibration.constants import (
    CELLS,
    GAIN_WORTH,
    GOOD_ENOUGH_PX,
    LEAST_AIM_FORWARD,
    MOST_OF_PICTURE,
    PIXEL_CENTRE,
    PLACES,
    SIDES,
)
from phototemplate.network.further_photo import derivatives, exposure_information, in_picture
from phototemplate.numerics import lens
from phototemplate.numerics.information import eliminated, with_information
from phototemplate.numerics.rigid import skew


def grid_of(size_px: tuple[int, int]) -> tuple[int, int]:
    """Rows and columns of the grid over a picture."""
    return CELLS if size_px[0] >= size_px[1] else (CELLS[1], CELLS[0])


def cells_of(uv_px: Array, size_px: tuple[int, int]) -> tuple[IntArray, IntArray]:
    """Row and column of the cell of each position (N, 2)."""
    rows, columns = grid_of(size_px)
    column = np.clip((uv_px[:, 0] + PIXEL_CENTRE) / size_px[0] * columns, 0, columns - 1).astype(np.int64)
    row = np.clip((uv_px[:, 1] + PIXEL_CENTRE) / size_px[1] * rows, 0, rows - 1).astype(np.int64)
    return row, column


def counts_of(uv_px: Array, size_px: tuple[int, int]) -> Array:
    """(rows, columns) number of positions in each cell of the picture."""
    out = np.zeros(grid_of(size_px))
    np.add.at(out, cells_of(uv_px, size_px), 1.0)
    return out


def pattern_px(uv_px: Array, residual_px: Array, size_px: tuple[int, int]) -> float:
    """Root mean square, per coordinate, of the residuals' mean in each cell, less what chance alone gives."""
    row, column = cells_of(uv_px, size_px)
    cell = row * grid_of(size_px)[1] + column
    excess = []
    for c in np.unique(cell):
        mine = residual_px[cell == c]
        if len(mine) >= 8:
            excess.append(np.mean(mine.mean(axis=0) ** 2 - mine.var(axis=0, ddof=1) / len(mine)))
    return float(np.sqrt(max(np.mean(excess), 0.0))) if excess else 0.0


def lens_u_px(camera: Camera, cov: Array | None = None, columns: int = 12) -> Array:
    """(rows, columns) standard uncertainty, in px along its worse direction, of where the lens sends a fixed ray."""
    w, h = camera.size_px
    rows = max(round(columns * h / w), 3)
    u, v = np.meshgrid((np.arange(columns) + 0.5) * w / columns - 0.5, (np.arange(rows) + 0.5) * h / rows - 0.5)
    rays = lens.unproject(camera.model, camera.params, np.column_stack([u.ravel(), v.ravel()]))
    _, _, d_params = lens.project(camera.model, camera.params, rays)
    both = d_params @ (camera.cov if cov is None else cov) @ d_params.transpose(0, 2, 1)
    return np.asarray(np.sqrt(np.maximum(np.linalg.eigvalsh(both)[:, -1], 0.0)).reshape(rows, columns))


@dataclass(frozen=True)
class Advice:
    """One more photo of the board."""

    what: Finding
    u_before_px: float
    """Standard uncertainty of the lens, root mean square over the picture"""
    u_after_px: float
    u_f_after_px: float

    @property
    def gain(self) -> float:
        """Share by which the uncertainty drops."""
        return 1.0 - self.u_after_px / self.u_before_px


def advise(one: Fit, camera: Camera, how_many: int = 3) -> tuple[Advice, ...]:
    """The photos that would help most, best first; empty where none is worth taking."""
    before = float(np.sqrt(np.mean(lens_u_px(camera) ** 2)))
    if before < GOOD_ENOUGH_PX * max(camera.size_px) / 1000:
        return ()
    points = max(one.board_points().values(), key=len)
    points = points[np.isfinite(points).all(axis=1)]
    root = one.problem.sightings.root[one.used]
    sigma = float(np.median(1 / np.sqrt(np.abs(np.linalg.det(root)))))
    out = []
    for axis_name, axis in (("square", None), *SIDES.items()):
        for turn in (0.0, 90.0):
            for place_name, place in PLACES.items():
                for share in (0.45, 0.8):
                    pose = _pose(points, camera, axis, turn, place, share)
                    after = _cov_after(camera, points, pose, sigma)
                    u = float(np.sqrt(np.mean(lens_u_px(camera, after, 8) ** 2)))
                    what = _photo(camera, axis_name, turn, place_name, share)
                    out.append(Advice(what, before, u, float(np.sqrt(after[0, 0]))))
    # ``before`` is taken on the finer grid; compare like with like.
    coarse = float(np.sqrt(np.mean(lens_u_px(camera, None, 8) ** 2)))
    out = [Advice(a.what, coarse, a.u_after_px, a.u_f_after_px) for a in out]
    out.sort(key=lambda a: a.u_after_px)
    return tuple(a for a in out[:how_many] if a.gain >= GAIN_WORTH)


def _photo(camera: Camera, axis: str, turn: float, place: str, share: float) -> Finding:
    return Finding(
        "do-board-photo", camera.camera_id, tilt_word=f"tilt-{axis}", place_word=place,
        size_word="fills-most" if share > MOST_OF_PICTURE else "fills-half", turn_word="camera-turned" if turn else None,
    )  # fmt: skip


def _pose(
    points: Array, camera: Camera, axis: tuple[float, float] | None, turn_deg: float, place: tuple[float, float], share: float
) -> tuple[Array, Array]:
    """cam_from_board of an imagined photo."""
    t = np.radians(turn_deg)
    rotation = np.array([[np.cos(t), -np.sin(t), 0], [np.sin(t), np.cos(t), 0], [0, 0, 1.0]]) @ np.diag([1.0, -1.0, -1.0])
    if axis is not None:
        a = np.radians(40.0)
        k = skew(np.array([*axis, 0.0]))
        rotation = (np.eye(3) + np.sin(a) * k + (1 - np.cos(a)) * k @ k) @ rotation
    w, h = camera.size_px
    extent = np.ptp(points[:, :2], axis=0)
    if turn_deg:
        extent = extent[::-1]
    depth = float(camera.params[0]) * max(extent[0] / w, extent[1] / h) / share
    aim = np.array([(w - 1) / 2, (h - 1) / 2]) * (1 + np.array(place) * (1 - 0.9 * share))
    ray = lens.unproject(camera.model, camera.params, aim[None])[0]
    return rotation, ray / max(ray[2], LEAST_AIM_FORWARD) * depth - rotation @ points.mean(axis=0)


def _cov_after(camera: Camera, points: Array, pose: tuple[Array, Array], sigma_px: float) -> Array:
    """(p, p) covariance of the lens after one more photo with this pose."""
    seen = in_picture(camera, *pose, points)
    if seen.sum() < 8:
        return camera.cov
    _, _, d_lens, d_own = derivatives(camera, *pose, points[seen])
    design = np.concatenate([d_lens, d_own], axis=2).reshape(-1, d_lens.shape[2] + d_own.shape[2]) / sigma_px
    # nothing is known of the pose
    prior = np.append(np.zeros(6), exposure_information(camera))
    return with_information(camera.cov, eliminated(design.T @ design, prior))
