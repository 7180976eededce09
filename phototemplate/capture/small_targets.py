"""A second look for targets too small for the contour search: from the corners between four squares instead of markers.

Pictures that went through a messenger are 1600 px wide, and a target at the far end of a kitchen then has modules of one or
two pixels. Corners the first look left unmeasured get a frame each (``capture.corner_lattice``) and a name
(``capture.soft_decoding``); what comes out are the markers beside them, for the same measurement as all others. Large
pictures, in which anything of use is large enough for the first look, are not looked at again.
"""

from __future__ import annotations

import numpy as np

from phototemplate.capture import constants
from phototemplate.capture.corner_lattice import CornerFrames, find_frames
from phototemplate.capture.markers import MarkerSightings
from phototemplate.capture.soft_decoding import Readings, read_corners
from phototemplate.capture.target_layout import Layout, rotation
from phototemplate.model import Array, BoolArray, GrayImage


def look_again(gray: GrayImage, layout: Layout, known_px: Array, contrast: float, blur_px: float) -> MarkerSightings:
    """Markers beside corners that are not measured yet.

    Args:
        gray: picture.
        layout: boards to look for.
        known_px: (n, 2) corners that are measured.
        contrast: half the step from black to white of paper in this picture, in grey levels.
        blur_px: standard deviation of its blur.

    Returns:
        Markers with their corners in printed order; errors are 0 and quads -1, for they come from no candidate.
    """
    names = layout.corners
    if max(gray.shape) >= constants.SMALL_SIDE_PX or not len(names.board):
        return _markers([], [])
    frames = find_frames(gray, known_px, contrast, blur_px, (1.0 - names.marker) / 2)
    readings = read_corners(gray, frames, names, layout.codes.size, blur_px)
    ids: list[int] = []
    corners: list[Array] = []
    for k in np.flatnonzero(_believed(layout, frames, readings)):
        name = readings.name[k]
        board = layout.boards[names.target_ids[names.board[name]]]
        px_from_mm = _px_from_mm(layout, frames, readings, int(k))
        for m in names.markers[name]:
            ids.append(int(board.marker_ids[m]))
            corners.append(frames.uv_px[k] + (board.corners_mm[m] - board.saddles_mm[names.saddle[name]]) @ px_from_mm.T)
    return _markers(ids, corners)


def _px_from_mm(layout: Layout, frames: CornerFrames, readings: Readings, k: int) -> Array:
    names, name = layout.corners, readings.name[k]
    board = layout.boards[names.target_ids[names.board[name]]]
    turned: Array = frames.px_from_square[k] @ rotation(int(names.turn[name])).T / board.square_mm
    return turned


def _believed(layout: Layout, frames: CornerFrames, readings: Readings) -> BoolArray:
    """(N,) which names are beyond doubt: by themselves, or by two corners of one target that lie as on the board."""
    names = layout.corners
    sound = (readings.explained > constants.LEAST_EXPLAINED) & (readings.doubt < constants.MOST_DOUBT)
    out: BoolArray = sound & (readings.margin > constants.CLEAR_MARGIN) & (frames.likeness > constants.CLEAR_LIKENESS)
    backed = np.flatnonzero(sound & (readings.margin > constants.BACKED_MARGIN))
    board, saddle = names.board[readings.name], names.saddle[readings.name]
    for target in np.unique(board[backed]):
        members = backed[board[backed] == target]
        at = layout.boards[names.target_ids[target]].saddles_mm[saddle[members]]
        for i, k in enumerate(members):
            there = frames.uv_px[k] + (at - at[i]) @ _px_from_mm(layout, frames, readings, int(k)).T
            away = np.linalg.norm(there - frames.uv_px[members], axis=1)
            apart = np.linalg.norm(there - frames.uv_px[k], axis=1)
            out[k] |= bool(
                np.any((away < constants.BACKED_PX + constants.BACKED_SHARE * apart) & (saddle[members] != saddle[k]))
            )
    return out


def _markers(ids: list[int], corners: list[Array]) -> MarkerSightings:
    n = len(ids)
    return MarkerSightings(
        np.array(ids, np.int64), np.array(corners).reshape(n, 4, 2), np.zeros(n, np.int64), np.full(n, -1, np.int64)
    )
