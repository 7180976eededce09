"""The chessboard photographs with a published calibration, from the folder of reference photographs.

25 pictures of 640 x 480, squares of 30 mm, 12 x 13 inner corners: the example of the classic camera-calibration toolbox, its
published result as in the folder's README (their +- is about 3 standard deviations).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from phototemplate.capture.detect_boards import chessboard_points, detect_chessboard
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.model import Camera, Sightings, Target
from phototemplate.network.calibration.board_fit import fit
from phototemplate.network.calibration.board_model import Form, board_photos
from phototemplate.network.calibration.board_start import first_start
from phototemplate.network.orientation.lens_start import planar_poses
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation

Array = NDArray[np.float64]
COLUMNS, ROWS, SQUARE_MM, SIZE = 12, 13, 30.0, (640, 480)
PUBLISHED = {"fx": (657.332, 0.283), "fy": (657.786, 0.287), "cx": (302.801, 0.586), "cy": (242.365, 0.553)}
PUBLISHED_KC = (-0.25351, 0.11957, -0.00029, 0.00004)
PUBLISHED_KC_3SIGMA = (0.0023, 0.0096, 0.0001, 0.0001)
"""Of the same size in every published run of this example; from memory, not from the folder's README"""
TARGETS = {"board": Target("board", "board", chessboard_points(COLUMNS, ROWS, SQUARE_MM))}


def sightings(folder: Path) -> tuple[list[Sightings], list[Sightings]]:
    """Corners of every picture: as fitted here, and as OpenCV's ``cornerSubPix`` (window 5) moves them."""
    own, opencv = [], []
    files = sorted((folder / "chessboard_30mm").glob("*.tif"), key=lambda p: int(p.stem.removeprefix("Image")))
    for path in files:
        meta = read_meta(path)
        gray = read_gray(meta)
        found = detect_chessboard(gray, COLUMNS, ROWS)
        one = Sightings(meta.photo_id, ("board",) * len(found), found.point_ids, found.uv_px, found.cov_px2)
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-4)
        moved = cv2.cornerSubPix(gray, one.uv_px.astype(np.float32).reshape(-1, 1, 2), (5, 5), (-1, -1), stop)
        cov = np.tile(0.1**2 * np.eye(2), (len(one), 1, 1))
        own.append(one)
        opencv.append(replace(one, uv_px=moved.reshape(-1, 2).astype(float), cov_px2=cov))
    return own, opencv


def four(params: Array) -> Array:
    """fx, fy, cx, cy."""
    return np.array([params[0], params[0] * (1 + params[1]), params[2], params[3]])


def alike(photos: list[Sightings]) -> list[Sightings]:
    """The same corners, all weighing alike as in the published run."""
    return [replace(s, cov_px2=np.tile(0.1**2 * np.eye(2), (len(s), 1, 1))) for s in photos]


def with_the_board(photos: list[Sightings]) -> tuple[Array, Array]:
    """fx, fy, cx, cy under the published model and their standard uncertainties with the board's points drawn by lot.

    Covariance robust to clusters (Liang and Zeger, Biometrika 73 (1986) 13-22), one cluster per point of the board: a point
    that does not lie where the flat board has it errs alike in all 25 pictures, which the published uncertainties
    (independent errors in every picture) leave out.
    """
    own = replace(board_photos(alike(photos), TARGETS, SIZE), hold=frozenset({"k3"}))
    found = fit(own, Form("brown", "flat", False), first_start(own, "brown"))
    problem, linear, cov = found.problem, found.solution.linear, found.cov.shared
    ids = np.concatenate([own.views[n].point_ids for n in found.names])
    moves = np.zeros((COLUMNS * ROWS, problem.size))  # of all parameters by all that is left at one point of the board
    for rows, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        pull = np.einsum("nri,nr->ni", linear.jac[rows][:, :, local], linear.white[rows])
        np.add.at(moves, ids[rows], pull @ cov[columns])
    lens_moves = moves[:, problem.columns.lenses[0]]
    f, aspect = found.params[:2]
    by = np.zeros((4, len(found.params)))
    by[0, 0], by[1, 0], by[1, 1], by[2, 2], by[3, 3] = 1.0, 1 + aspect, f, 1.0, 1.0
    return four(found.params), np.sqrt(np.sum((lens_moves @ by.T) ** 2, axis=0))


def window_shift(folder: Path, photos: list[Sightings], half_px: int) -> float:
    """rms distance in px between the given corners and those of ``cornerSubPix`` with windows of 2 ``half_px`` + 1."""
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-4)
    off = []
    for photo in photos:
        gray = read_gray(read_meta(folder / "chessboard_30mm" / f"{photo.photo_id}.tif"))
        start = photo.uv_px.astype(np.float32).reshape(-1, 1, 2)
        off.append(cv2.cornerSubPix(gray, start, (half_px, half_px), (-1, -1), stop).reshape(-1, 2) - photo.uv_px)
    return float(np.sqrt(np.mean(np.concatenate(off) ** 2)))


def far_corner_errors(photos: list[Sightings], camera: Camera | None, points: Array) -> Array:
    """Error in mm of the board's diagonal (488 mm) with the plane taken from a quarter of the board only.

    The quarter holds one end of the diagonal; the other end is where its ray meets that plane. Without a camera the plane is
    a homography, as without any lens model.
    """
    quarter = [r * COLUMNS + c for r in range(7) for c in range(6)]
    first, last = 0, COLUMNS * ROWS - 1
    true = float(np.linalg.norm(points[last] - points[first]))
    out = []
    for photo in photos:
        row = {int(k): i for i, k in enumerate(photo.point_ids)}
        if last not in row or first not in row or any(k not in row for k in quarter):
            continue
        uv = photo.uv_px[[row[k] for k in quarter]]
        ends = photo.uv_px[[row[first], row[last]]]
        if camera is None:
            h, _ = cv2.findHomography(uv, points[quarter, :2])
            q = np.column_stack([ends, np.ones(2)]) @ h.T
            xy = q[:, :2] / q[:, 2:]
            out.append(float(np.linalg.norm(xy[1] - xy[0])) - true)
            continue
        rays = lens.unproject(camera.model, camera.params, uv)
        rotation, translation, _ = planar_poses(points[quarter] * [1, 1, 0], rays[:, :2] / rays[:, 2:])[0]

        def miss(x: Array, r0: Array = rotation, seen: Array = uv) -> Array:
            cam = points[quarter] @ (exp_rotation(x[:3][None])[0] @ r0).T + x[3:]
            return (lens.project(camera.model, camera.params, cam)[0] - seen).ravel()

        x = least_squares(miss, np.append(np.zeros(3), translation), x_scale="jac").x
        rotation, translation = exp_rotation(x[:3][None])[0] @ rotation, x[3:]
        ray = lens.unproject(camera.model, camera.params, ends)
        normal = rotation[:, 2]
        # each end lies at its own height over the board's mean plane
        heights = points[[first, last], 2]
        hit = ray * ((normal @ translation + heights) / (ray @ normal))[:, None]
        out.append(float(np.linalg.norm(hit[1] - hit[0])) - true)
    return np.array(out)
