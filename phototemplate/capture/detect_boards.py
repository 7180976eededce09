"""Plain chessboards for calibration. (A ChArUco board is a layout like any other: ``layout.charuco_layout``.)

Saddle points are fitted as in ``capture.saddle``. ``findChessboardCornersSB`` alone is biased (f 0.17 % short on
640 x 480 pictures), so its corners are only the start.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from phototemplate.capture.saddle import SaddleFits, fit_saddles
from phototemplate.capture.target_points import looks_like_saddle
from phototemplate.errors import InputError
from phototemplate.model import Array, GrayImage, IntArray
from phototemplate.settings import DetectionSettings


@dataclass(frozen=True)
class BoardPoints:
    """Saddle points of one board in one photo, N of them; N = 0 where none was found."""

    point_ids: IntArray
    """(N,) as one reads: left to right, then downwards"""
    uv_px: Array
    """(N, 2)"""
    cov_px2: Array
    """(N, 2, 2)"""

    def __len__(self) -> int:
        return len(self.point_ids)


def detect_chessboard(gray: GrayImage, columns: int, rows: int, settings: DetectionSettings | None = None) -> BoardPoints:
    """Inner corners of a plain chessboard, ``columns`` x ``rows`` of them.

    Ids count as one reads, the picture turned so that the board is not mirrored. Where one of the two numbers is odd and
    the other even the colours tell the board's two ends apart: point 0 then has a black square at its upper left.
    Corners that are covered or blurred away are left out. Works on the whole board only: where a row is outside
    the picture nothing is found.

    Raises:
        InputError: fewer than 3 columns or rows.
    """
    if columns < 3 or rows < 3:
        raise InputError(f"A chessboard of {columns} x {rows} inner corners is too small; use at least 3 x 3.")
    settings = settings or DetectionSettings()
    rough = _rough_corners(gray, columns, rows)
    if rough is None:
        return BoardPoints(np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    grid = rough.reshape(rows, columns, 2)
    right = np.asarray(np.gradient(grid, axis=1), float)
    down = np.asarray(np.gradient(grid, axis=0), float)
    if np.sum(right[..., 0] * down[..., 1] - right[..., 1] * down[..., 0]) < 0:
        grid, right, down = grid[:, ::-1], -right[:, ::-1], down[:, ::-1]
    uv = grid.reshape(-1, 2)
    jac = np.stack([right, -down], axis=-1).reshape(-1, 2, 2)
    row, column = np.divmod(np.arange(columns * rows), columns)
    sign = np.where((row + column) % 2 == 0, 1.0, -1.0)
    turned = _black_upper_left(gray, uv, jac) * sign
    if np.sum(turned) < 0:
        sign = -sign
    fits, good = _fit(gray, uv, jac, sign, settings)
    order = np.flatnonzero(good)
    ids = order
    if sign[0] < 0 and (columns + rows) % 2:  # half a turn puts black at the upper left of point 0
        order = order[::-1]
        ids = columns * rows - 1 - order
    return BoardPoints(ids, fits.uv_px[order], fits.cov_px2[order])


def _black_upper_left(gray: GrayImage, uv: Array, jac: Array) -> Array:
    """(N,) 1 where the squares at upper left and lower right are darker than the others, -1 where lighter."""
    height, width = gray.shape
    level = []
    for x, y in ((-1, 1), (1, -1), (1, 1), (-1, -1)):
        at = np.round(uv + jac @ (0.3 * np.array([x, y]))).astype(int)
        level.append(gray[np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)].astype(float))
    return np.asarray(np.sign(level[2] + level[3] - level[0] - level[1]))


def chessboard_points(columns: int, rows: int, square_mm: float) -> Array:
    """(columns * rows, 3) inner corners in mm: x right, y up, origin in the middle, counted as one reads."""
    row, column = np.divmod(np.arange(columns * rows), columns)
    x, y = (column - (columns - 1) / 2) * square_mm, ((rows - 1) / 2 - row) * square_mm
    return np.stack([x, y, np.zeros_like(x)], axis=1)


def _rough_corners(gray: GrayImage, columns: int, rows: int) -> Array | None:
    """Places to start from; the quick way first, then those that find boards which it misses."""
    size = (columns, rows)
    found, corners = cv2.findChessboardCornersSB(gray, size)
    if not found:
        found, corners = cv2.findChessboardCornersSB(gray, size, flags=cv2.CALIB_CB_EXHAUSTIVE)
    if not found:
        found, corners = cv2.findChessboardCorners(
            gray, size, flags=cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE
        )
    return np.asarray(corners, float).reshape(-1, 2) if found else None


def _fit(gray: GrayImage, uv: Array, jac: Array, sign: Array, settings: DetectionSettings) -> tuple[SaddleFits, Any]:
    """Unit of length is the square: no marker within half of it.

    Fitted twice, the second time with the windows where the first found the corners: what a sharpened picture has besides
    the model pulls a corner that is not in the middle of its window (up to 0.1 px where the start was 0.5 px off).
    """
    half = np.full(len(uv), 0.5)
    arm = np.full(len(uv), settings.arm_of_square)
    first = fit_saddles(gray, uv, jac, sign, half, arm, settings.max_arm_px)
    near = looks_like_saddle(first, uv, jac, half, settings)
    fits = fit_saddles(gray, np.where(near[:, None], first.uv_px, uv), jac, sign, half, arm, settings.max_arm_px)
    return fits, near & looks_like_saddle(fits, uv, jac, half, settings)
