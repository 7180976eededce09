"""The two ends of a wall strip's row of points: corners of its outermost black squares.

A wall swells towards its corner, and the last saddle point of a strip lies a whole square further from the paper's end than
the checkerboard does. The corner of the last black square, on the same line as the saddle points, is seen less sharply than
a saddle point, but where a wall is only seen this far it is worth more than any of them.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.special import erf

from phototemplate.capture import constants
from phototemplate.capture.target_layout import Board
from phototemplate.model import Array, GrayImage, IntArray


def find_strip_ends(
    gray: GrayImage, board: Board, points: IntArray, uv_px: Array, members: IntArray, corners_px: Array
) -> tuple[IntArray, Array, Array]:
    """End corners of one strip piece.

    Args:
        gray: picture.
        board: the strip; its ``ends_mm`` follow its saddle points in number.
        points, uv_px: (n,) and (n, 2) saddle points found.
        members, corners_px: (m,) markers seen and their (m, 4, 2) corners.

    Returns:
        point ids (k,), places (k, 2) and covariances (k, 2, 2), k at most 2.
    """
    nothing = np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2))
    if not len(board.ends_mm) or not len(points):
        return nothing
    reach = constants.END_REACH * board.square_mm
    known, marks = board.saddles_mm[points], board.corners_mm[members]
    ids: list[int] = []
    found: list[Array] = []
    u: list[float] = []
    for k, end in enumerate(board.ends_mm):
        near = np.linalg.norm(known - end, axis=1) < constants.END_NEIGHBOURS[0] * board.square_mm
        beside = np.linalg.norm(marks.mean(axis=1) - end, axis=1) < constants.END_NEIGHBOURS[1] * board.square_mm
        if not (np.linalg.norm(known - end, axis=1) < reach).any() or not beside.any():
            continue
        xy = np.concatenate([known[near], marks[beside].reshape(-1, 2)])
        uv = np.concatenate([uv_px[near], corners_px[beside].reshape(-1, 2)])
        homography, _ = cv2.findHomography(xy, uv)
        if homography is None:
            continue
        corner = _refined(gray, np.asarray(homography, float), end, board.rim_mm)
        if corner is not None:
            ids.append(len(board.saddles_mm) + k)
            found.append(corner[0])
            u.append(constants.END_U_PX * max(1.0, constants.NARROW_RIM_PX / corner[1]) ** 2)
    if not ids:
        return nothing
    return np.array(ids, np.int64), np.array(found), np.array(u)[:, None, None] ** 2 * np.eye(2)


def _refined(gray: GrayImage, homography: Array, end_mm: Array, rim_mm: float) -> tuple[Array, float] | None:
    """Corner fitted where the homography expects it, and the narrower width of the rim there in px; None where the picture does
    not show one."""
    x, y = float(end_mm[0]), float(end_mm[1])
    inward = -np.sign(x)
    start = _place(homography, x, y)
    step = 0.1 * rim_mm
    # columns: px per mm inwards (along the strip) and up
    jac = np.stack([_place(homography, x + inward * step, y) - start, _place(homography, x, y + step) - start], axis=1) / step
    reach_px = constants.END_REACH_OF_RIM * rim_mm * np.linalg.norm(jac, axis=0)
    radius = int(np.ceil(min(reach_px.max(), constants.END_MAX_RADIUS_PX)))
    base = np.round(start).astype(int)
    height, width = gray.shape
    if reach_px.min() < constants.END_LEAST_RIM_PX or not (
        radius <= base[0] < width - radius and radius <= base[1] < height - radius
    ):
        return None
    steps = np.arange(-radius, radius + 1)
    dx, dy = (g.ravel().astype(float) for g in np.meshgrid(steps, steps))
    level = gray[base[1] - radius : base[1] + radius + 1, base[0] - radius : base[0] + radius + 1].ravel().astype(float)
    off = start - base
    mm = np.linalg.inv(jac) @ np.stack([dx - off[0], dy - off[1]])
    inside = (np.abs(mm) < constants.END_REACH_OF_RIM * rim_mm).all(axis=0) & (mm[0] > -constants.OUTWARD_MM)
    if inside.sum() < 20:
        return None
    params = _fit(dx[inside], dy[inside], constants.LIGHT_LEVELS[level[inside].astype(int)], off, jac)
    if params is None or np.linalg.norm(params[:2] - off) > max(
        constants.END_SHIFT[0], constants.END_SHIFT[1] * reach_px.min()
    ):
        return None
    across = rim_mm / np.linalg.norm(np.linalg.inv(jac), axis=1)
    return base + params[:2], float(across.min())


def _fit(dx: Array, dy: Array, level: Array, off: Array, jac: Array, iterations: int = 12) -> Array | None:
    """``I = b - a (1 + erf z1)(1 + erf z2) / 4`` with ``z = n . (x - c) / (sqrt 2 s)``: a dark quadrant blurred by a Gaussian.

    Parameters cx, cy, angle of either edge's normal, blur s, b, a; Gauss-Newton. None where it does not fit.
    """
    normals = np.linalg.inv(jac)  # rows: directions across the vertical and the horizontal edge, into the dark square
    theta = np.arctan2(normals[:, 1], normals[:, 0])
    white = float(np.percentile(level, 80))
    p = np.array([off[0], off[1], theta[0], theta[1], 0.9, white, max(white - float(level.min()), 1.0)])
    limits = np.array([*constants.END_STEPS, np.inf, np.inf])
    rms = np.inf
    for _ in range(iterations):
        ex, ey = dx - p[0], dy - p[1]
        c1, d1, c2, d2, s = np.cos(p[2]), np.sin(p[2]), np.cos(p[3]), np.sin(p[3]), p[4]
        z1, z2 = (c1 * ex + d1 * ey) / s, (c2 * ex + d2 * ey) / s
        e1, e2 = 1.0 + erf(z1 * constants.SQRT_HALF), 1.0 + erf(z2 * constants.SQRT_HALF)
        g1 = -p[6] * 0.25 * e2 * constants.SLOPE_OF_ERF * np.exp(-0.5 * z1 * z1) / s
        g2 = -p[6] * 0.25 * e1 * constants.SLOPE_OF_ERF * np.exp(-0.5 * z2 * z2) / s
        dark = 0.25 * e1 * e2
        residual = level - (p[5] - p[6] * dark)
        rms = float(np.sqrt(np.mean(residual**2)))
        design = np.stack(
            [
                -(g1 * c1 + g2 * c2),
                -(g1 * d1 + g2 * d2),
                g1 * (c1 * ey - d1 * ex),
                g2 * (c2 * ey - d2 * ex),
                -(g1 * z1 + g2 * z2),
                np.ones_like(dx),
                -dark,
            ],
            axis=1,
        )
        normal = design.T @ design
        normal[np.diag_indices(7)] *= 1.0 + 1e-4
        normal[np.diag_indices(7)] += 1e-9
        step = np.clip(np.linalg.solve(normal, design.T @ residual), -limits, limits)
        p = p + step
        p[4] = np.clip(p[4], *constants.END_BLUR_PX)
        if np.abs(step[:2]).max() < constants.END_SETTLED_PX:
            break
    turned = np.abs((p[2:4] - theta + np.pi) % (2 * np.pi) - np.pi).max()
    return (
        p
        if p[6] > constants.END_MIN_CONTRAST and rms < constants.END_RESIDUAL * p[6] and turned < constants.END_TURN_RAD
        else None
    )


def _place(homography: Array, x: float, y: float) -> Array:
    p = homography @ np.array([x, y, 1.0])
    return np.asarray(p[:2] / p[2])
