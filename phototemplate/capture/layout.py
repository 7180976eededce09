"""What detection needs to know of printed checkerboards: which marker lies where, and where the saddle points are.

A :class:`Layout` is made of the project's own targets (:func:`printed_layout`) or of any ChArUco board
(:func:`charuco_layout`), so one search serves sheets, strips and foreign calibration boards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np

from phototemplate.capture import design
from phototemplate.capture.markers import MarkerCodes, codes_of, dictionary
from phototemplate.model import Array, IntArray


@dataclass(frozen=True)
class Board:
    """One printed checkerboard, in its own frame (x right, y up, mm), P saddle points and m markers."""

    target_id: str
    saddles_mm: Array
    """(P, 2)"""
    sign: Array
    """(P,) +1 where the squares at upper left and lower right of the saddle are black, else -1"""
    marker_ids: IntArray
    """(m,)"""
    corners_mm: Array
    """(m, 4, 2) marker corners: top left, top right, bottom right, bottom left as printed"""
    square_mm: float
    rim_mm: float
    """White between a marker and the edge of its square"""
    rigid: bool = True
    """False: strips bend, so a marker says nothing about saddles far from it"""
    ends_mm: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """(0 or 2, 2) ends of a strip's line of points, numbered after the saddle points"""

    @property
    def centres_mm(self) -> Array:
        """(m, 2) marker centres"""
        centres: Array = self.corners_mm.mean(axis=1)
        return centres


@dataclass(frozen=True)
class Layout:
    """The boards to look for and the dictionary that names them."""

    codes: MarkerCodes
    boards: Mapping[str, Board]
    index: Mapping[int, tuple[str, int]]
    """Marker id -> (target id, index into the board's markers)"""

    @classmethod
    def of(cls, codes: MarkerCodes, boards: Sequence[Board]) -> Layout:
        index = {int(m): (b.target_id, k) for b in boards for k, m in enumerate(b.marker_ids)}
        return cls(codes.only(index), {b.target_id: b for b in boards}, index)


def board(
    target_id: str,
    saddles_mm: Array,
    marker_ids: Sequence[int],
    corners_mm: Array,
    square_mm: float,
    rigid: bool = True,
) -> Board:
    """A :class:`Board` with colours and rim derived from where the markers (in white squares) lie."""
    saddles, corners = np.asarray(saddles_mm, float)[:, :2], np.asarray(corners_mm, float)[..., :2]
    centres = corners.mean(axis=1)
    apart = saddles[:, None] - centres[None]
    nearest = np.argmin(np.abs(apart).sum(axis=2), axis=1)
    towards = -apart[np.arange(len(saddles)), nearest]
    side = float(np.linalg.norm(corners[0, 1] - corners[0, 0]))
    return Board(
        target_id=target_id,
        saddles_mm=saddles,
        sign=np.where(towards.prod(axis=1) > 0, 1.0, -1.0),
        marker_ids=np.asarray(marker_ids, np.int64),
        corners_mm=corners,
        square_mm=square_mm,
        rim_mm=(square_mm - side) / 2,
        rigid=rigid,
    )


@cache
def printed_layout() -> Layout:
    """All targets of ``capture.design``."""
    boards = []
    for target_id, target in design.catalog().items():
        printed = design.markers(target_id)
        form = design.pattern(target_id)
        one = board(
            target_id,
            form.saddles(),
            [p.marker_id for p in printed],
            np.array([p.corners_mm for p in printed]),
            form.square_mm,
            rigid=target.kind != "strip",
        )
        boards.append(replace(one, ends_mm=form.end_corners()[:, :2]) if target.kind == "strip" else one)
    return Layout.of(codes_of(dictionary(design.DICTIONARY)), boards)


def charuco_layout(charuco: Any, target_id: str = "board") -> Layout:
    """Layout of a ``cv2.aruco.CharucoBoard``. OpenCV's board frame has y down; here y is up, so y changes sign."""
    flip = np.array([1.0, -1.0])
    corners = np.array([np.asarray(c)[:, :2] for c in charuco.getObjPoints()]) * flip
    saddles = np.asarray(charuco.getChessboardCorners())[:, :2] * flip
    ids = [int(i) for i in np.ravel(charuco.getIds())]
    return Layout.of(
        codes_of(charuco.getDictionary()), [board(target_id, saddles, ids, corners, float(charuco.getSquareLength()))]
    )
