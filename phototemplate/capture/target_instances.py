"""Markers of one target that belong together in a picture, and what is measured of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from phototemplate.capture import constants
from phototemplate.capture.markers import MarkerSightings, square_to_quads
from phototemplate.capture.saddle import SaddleFits
from phototemplate.capture.target_layout import Board, Layout
from phototemplate.model import Array, IntArray


@dataclass(frozen=True)
class Copy:
    """Markers of one target that belong together in the picture."""

    board: Board
    members: IntArray
    """(m,) indices into the board's markers"""
    corners_px: Array
    """(m, 4, 2)"""
    quads: IntArray
    errors: IntArray
    """(m,) wrong modules of each marker"""


@dataclass(frozen=True)
class Seen:
    """Saddle points found of one copy of a target."""

    board: Board
    quads: IntArray
    points: IntArray
    fits: SaddleFits
    faultless: bool
    """A marker was read without a wrong module, or several were read"""
    ends: tuple[IntArray, Array, Array] = (np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    """Ends of a strip: point ids, places, covariances"""

    @property
    def trusted(self) -> bool:
        """Surely there, and not a false reading of something else."""
        return self.faultless and len(self.points) >= min(2, len(self.board.saddles_mm))


def group(markers: MarkerSightings, layout: Layout) -> list[Copy]:
    """Markers by target; where they cannot be one sheet, the largest consistent part first and the others apart, last."""
    by_target: dict[str, list[int]] = {}
    for k, marker in enumerate(markers.ids):
        by_target.setdefault(layout.index[int(marker)][0], []).append(k)
    main: list[Copy] = []
    others: list[Copy] = []
    for target_id, members in by_target.items():
        board = layout.boards[target_id]
        which = np.array([layout.index[int(markers.ids[k])][1] for k in members])
        parts = _consistent_parts(board, which, markers.corners_px[members])
        parts.sort(key=lambda part: (-len(part), int(markers.errors[np.array(members)[part]].min())))
        for rank, part in enumerate(parts):
            chosen = np.array(members)[part]
            copy = Copy(board, which[part], markers.corners_px[chosen], markers.quad[chosen], markers.errors[chosen])
            (main if rank == 0 else others).append(copy)
    return [*main, *others]


def _consistent_parts(board: Board, which: IntArray, corners: Array) -> list[IntArray]:
    """Split markers of one target into sets that can lie on one sheet.

    Two markers agree where each one's own homography puts the other roughly where it was seen. The tolerance is wide
    (half of their distance and one marker side), for one small marker extrapolates badly; a second copy is elsewhere
    altogether, turned, or shows the same marker again.
    """
    n = len(which)
    if n == 1:
        return [np.array([0])]
    centres_px = corners.mean(axis=1)
    centres_mm = board.centres_mm
    side = np.sqrt(np.abs(_areas(corners)))
    homographies = marker_homographies(board, which, corners)
    mapped = homographies @ np.stack([*centres_mm[which].T, np.ones(n)])
    error = np.linalg.norm(mapped[:, :2] / mapped[:, 2:] - centres_px.T, axis=1)
    apart = np.linalg.norm(centres_px[:, None] - centres_px[None], axis=2)
    agree = error < constants.AGREEMENT * apart + constants.AGREEMENT * (side[:, None] + side)
    agree &= (which[:, None] != which) | np.eye(n, dtype=bool)
    agree &= agree.T
    # neighbours decide: far markers of a bent strip need not agree with each other
    part = np.arange(n)
    names = [{int(marker)} for marker in which]
    for i, j in np.argwhere(np.triu(agree, 1)):
        a, b = int(part[i]), int(part[j])
        if a != b and not names[a] & names[b]:
            part[part == b] = a
            names[a] |= names[b]
    return [np.flatnonzero(part == p) for p in np.unique(part)]


def marker_homographies(board: Board, which: IntArray, corners_px: Array) -> Array:
    """(n, 3, 3) px from mm, one for each marker."""
    square = board.corners_mm[which]
    origin, right, down = square[:, 0], square[:, 1] - square[:, 0], square[:, 3] - square[:, 0]
    mm_from_unit = np.zeros((len(which), 3, 3))
    mm_from_unit[:, :2] = np.stack([right, down, origin], axis=2)
    mm_from_unit[:, 2, 2] = 1.0
    return np.asarray(square_to_quads(corners_px) @ np.linalg.inv(mm_from_unit))


def _areas(corners: Array) -> Array:
    x, y = corners[..., 0], corners[..., 1]
    area: Array = 0.5 * np.sum(x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1), axis=1)
    return area


def map_points(h: Any, xy: Array) -> Array:
    p = np.column_stack([xy, np.ones(len(xy))]) @ np.asarray(h, float).T
    return np.asarray(p[:, :2] / p[:, 2:])


def map_with_jacobian(homography: Any, xy: Array) -> tuple[Array, Array]:
    """Positions (n, 2) and derivatives (n, 2, 2) of a homography."""
    h = np.asarray(homography, float)
    p = np.column_stack([xy, np.ones(len(xy))]) @ h.T
    uv = p[:, :2] / p[:, 2:]
    jac = (h[None, :2, :2] - uv[:, :, None] * h[None, 2:, :2]) / p[:, 2, None, None]
    return uv, jac
