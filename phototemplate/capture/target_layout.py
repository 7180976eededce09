"""What detection needs to know of printed checkerboards: which marker lies where, and where the saddle points are.

A :class:`Layout` is made of the project's own targets (:func:`printed_layout`) or of any ChArUco board
(:func:`charuco_layout`), so one search serves sheets, strips and foreign calibration boards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from phototemplate.capture import design
from phototemplate.capture.constants import SAME_CENTRE, WHITE_SQUARES
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
    def black_mm(self) -> Array:
        """(n, 2) centres of the black squares: two of the four squares about every saddle point."""
        across = self.square_mm / 2 * np.array([[-1.0, 1.0], [1.0, -1.0]])
        upright = self.square_mm / 2 * np.array([[1.0, 1.0], [-1.0, -1.0]])
        beside = np.where((self.sign > 0)[:, None, None], across, upright)
        centres = np.round((self.saddles_mm[:, None] + beside).reshape(-1, 2), 6)
        return np.unique(centres, axis=0)

    @property
    def centres_mm(self) -> Array:
        """(m, 2) marker centres"""
        centres: Array = self.corners_mm.mean(axis=1)
        return centres


@dataclass(frozen=True)
class CornerNames:
    """All corners of a layout's boards, each in the turns in which it may be seen; n of them."""

    target_ids: tuple[str, ...]
    board: IntArray
    """(n,) index into ``target_ids``"""
    saddle: IntArray
    """(n,)"""
    turn: IntArray
    """(n,) quarter turns, anticlockwise, from the frame of the corner to the board"""
    markers: IntArray
    """(n, 2) indices into the board's markers, in the order of ``WHITE_SQUARES``"""
    codes: IntArray
    """(n, 2) indices into the layout's codes"""
    pictures: NDArray[np.float32]
    """(4, codes, bits) white modules of every code as seen in the frame of the corner, in the four turns"""
    marker: float
    """Side of a marker in squares"""


@dataclass(frozen=True, eq=False)
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

    def modules(self, board: Board) -> Array:
        """(m, k, k) of a board's markers with their borders as one reads: 1 white, 0 black."""
        size = self.codes.size
        place = {int(marker): k for k, marker in enumerate(self.codes.ids)}
        bits = _bits(self.codes)[[place[int(marker)] for marker in board.marker_ids]]
        return np.pad(bits.astype(np.float64).reshape(-1, size, size), ((0, 0), (1, 1), (1, 1)))

    @cached_property
    def corners(self) -> CornerNames:
        """All saddle points of the boards with a marker in both white squares."""
        return _corner_names(self)


def _bits(codes: MarkerCodes) -> NDArray[np.float32]:
    """(n, size, size) white modules of the codes as one reads."""
    shifts = np.arange(codes.size**2 - 1, -1, -1, dtype=np.uint64)
    white = (codes.words[0][:, None] >> shifts) & np.uint64(1)
    return np.asarray(white, np.float32).reshape(-1, codes.size, codes.size)


def rotation(turn: int) -> Array:
    """(2, 2) of quarter turns anticlockwise."""
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turn % 4]
    return np.array([[c, -s], [s, c]], float)


def _corner_names(layout: Layout) -> CornerNames:
    """Table of all corners with a marker in both white squares."""
    bits = _bits(layout.codes)
    place = {int(marker): k for k, marker in enumerate(layout.codes.ids)}
    ids = tuple(sorted(layout.boards))
    rows: list[tuple[int, ...]] = []
    share = []
    for number, target_id in enumerate(ids):
        board = layout.boards[target_id]
        share.append(1.0 - 2.0 * board.rim_mm / board.square_mm)
        for saddle, (xy, sign) in enumerate(zip(board.saddles_mm, board.sign, strict=True)):
            for turn in (0, 2) if sign < 0 else (1, 3):
                beside = []
                for square in WHITE_SQUARES:
                    away = np.linalg.norm(board.centres_mm - xy - board.square_mm * rotation(turn) @ square, axis=1)
                    if away.min(initial=np.inf) < SAME_CENTRE * board.square_mm:
                        beside.append(int(away.argmin()))
                if len(beside) == 2:
                    rows.append((number, saddle, turn, *beside, *(place[int(board.marker_ids[m])] for m in beside)))
    table = np.array(rows, np.int64).reshape(-1, 7)
    pictures = np.stack([np.rot90(bits, -turn, axes=(1, 2)) for turn in range(4)]).reshape(4, len(bits), -1)
    return CornerNames(
        ids, table[:, 0], table[:, 1], table[:, 2], table[:, 3:5], table[:, 5:7], pictures, float(np.median(share))
    )


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
