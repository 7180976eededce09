"""The geometry of every printed target, as plain numbers: what lies where on the paper, and which marker names it.

All targets are checkerboards. The corners where four squares meet are *saddle points*: they are what is measured,
because a saddle is found to 0.04-0.1 px where the corner of a marker is found to 0.15-0.5 px. Every white square
carries one marker of OpenCV's dictionary ``DICT_5X5_1000`` that names the target and the square. No marker id occurs
twice in the whole set.

======== ============== ================== ======== ======= ===========================================================
ids      what           squares (mm)       marker   saddles marker ids
======== ============== ================== ======== ======= ===========================================================
S01-S60  target sheet   6 x 4 of 36        26       15      0-719, 12 each; the cut top edge is the *contact edge*
W01-W12  wall strip     7 x 2 of 34        25       6       720-887; pieces ``W01a`` and ``W01b`` of 268 x 77 mm, 7 each
B01-B08  bar end        2 x 2 of 34        25       1       888-903, 2 each
K01      calibration    10 x 7 of 24       17       54      904-938; A4 and Letter
K02      calibration    10 x 7 of 34       25       54      939-973; A3 and Tabloid
======== ============== ================== ======== ======= ===========================================================

Why these numbers. A marker wants 30 px in the photo, which at 2.5 m and 12 megapixels is 25 mm. The window in which a
saddle is refined must not reach the next marker (0.4 px of error otherwise), so the white rim between a marker and its
square (``Pattern.rim_mm``, the largest half width of such a window) is at least an eighth of the square. Geometry is
the same on A4 and on US Letter, so nobody has to say later on which paper a sheet was printed. The outermost saddles A
and C of a sheet's middle row are 144 mm apart, within the jaws of a common 150 mm caliper.

Target frame: x right, y up when the number is readable, z out of the paper, origin at the centre of the checkerboard;
nominal (100 %) print. Squares, markers and saddle points are counted as one reads: left to right, then downwards; the
first square (top left) is black. Marker corners in OpenCV's order: top left, top right, bottom right, bottom left.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal

import numpy as np

from phototemplate.capture.constants import (
    BAR_END_BOX_MM,
    BAR_END_COUNT,
    BAR_END_GRID,
    BOARD_TOP_MM,
    LARGE_BOARD_GRID,
    MARKER_MODULES,
    PAPERS_MM,
    SHEET_CONTACT_Y_MM,
    SHEET_COUNT,
    SHEET_GRID,
    SHEET_TRIM_MM,
    SMALL_BOARD_GRID,
    STRIP_COUNT,
    STRIP_GRID,
    STRIP_SIZE_MM,
)
from phototemplate.errors import InputError
from phototemplate.model import Array, Target

DICTIONARY = "DICT_5X5_1000"
"""Name of the marker dictionary in ``cv2.aruco``."""

STRIP_PIECES = ("a", "b")



Kind = Literal["sheet", "strip", "bar_end", "board"]


@dataclass(frozen=True)
class Pattern:
    """A checkerboard with markers in its white squares."""

    kind: Kind
    columns: int
    rows: int
    square_mm: float
    marker_mm: float
    first_marker: int
    """Id of the first marker; the others follow as one reads."""

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the checkerboard."""
        return self.columns * self.square_mm, self.rows * self.square_mm

    @property
    def rim_mm(self) -> float:
        """White rim around a marker: a square window of this half width about a saddle sees no marker."""
        return (self.square_mm - self.marker_mm) / 2

    @property
    def marker_count(self) -> int:
        return self.columns * self.rows // 2

    @property
    def module_mm(self) -> float:
        """Side of one module (bit) of a marker."""
        return self.marker_mm / MARKER_MODULES

    def square_centres(self, black: bool) -> Array:
        """(n, 2) centres in mm of the black or the white squares, as one reads; marker k sits in white square k."""
        row, column = np.divmod(np.arange(self.columns * self.rows), self.columns)
        wanted = (row + column) % 2 == (0 if black else 1)
        x = (column - (self.columns - 1) / 2) * self.square_mm
        y = ((self.rows - 1) / 2 - row) * self.square_mm
        centres: Array = np.stack([x, y], axis=1)[wanted]
        return centres

    def saddles(self) -> Array:
        """(n, 3) inner corners in mm, as one reads."""
        row, column = np.divmod(np.arange((self.columns - 1) * (self.rows - 1)), self.columns - 1)
        x = (column - (self.columns - 2) / 2) * self.square_mm
        y = ((self.rows - 2) / 2 - row) * self.square_mm
        return np.stack([x, y, np.zeros_like(x)], axis=1)


    def end_corners(self) -> Array:
        """(2, 3) left and right end of the middle line of a strip: corners of its outermost black squares, in mm."""
        x = self.columns * self.square_mm / 2
        return np.array([[-x, 0.0, 0.0], [x, 0.0, 0.0]])


@dataclass(frozen=True)
class PrintedMarker:
    """One marker of a target."""

    marker_id: int
    corners_mm: Array
    """(4, 3) in the target frame: top left, top right, bottom right, bottom left."""


_SHEET = Pattern("sheet", *SHEET_GRID)
_STRIP = Pattern("strip", *STRIP_GRID)
_BAR_END = Pattern("bar_end", *BAR_END_GRID)
_BOARD_SMALL = Pattern("board", *SMALL_BOARD_GRID)
_BOARD_LARGE = Pattern("board", *LARGE_BOARD_GRID)
_BOARDS: Mapping[str, tuple[Pattern, tuple[str, ...]]] = MappingProxyType(
    {"K01": (_BOARD_SMALL, ("A4", "Letter")), "K02": (_BOARD_LARGE, ("A3", "Tabloid"))}
)


_ID_FORM = re.compile(r"([SWBK])(\d{2})([a-z]?)")


def _numbered(pattern: Pattern, index: int) -> Pattern:
    first = pattern.first_marker + index * pattern.marker_count
    return Pattern(pattern.kind, pattern.columns, pattern.rows, pattern.square_mm, pattern.marker_mm, first)


def sheet_ids() -> tuple[str, ...]:
    """``S01`` to ``S60``."""
    return tuple(f"S{n:02d}" for n in range(1, SHEET_COUNT + 1))


def strip_ids() -> tuple[str, ...]:
    """``W01a``, ``W01b``, ``W02a`` ... ``W12b``: the pieces, in the order in which they go along a wall."""
    return tuple(f"W{n:02d}{piece}" for n in range(1, STRIP_COUNT + 1) for piece in STRIP_PIECES)


def bar_end_ids() -> tuple[str, ...]:
    """``B01`` to ``B08``: two for each bar."""
    return tuple(f"B{n:02d}" for n in range(1, BAR_END_COUNT + 1))


def board_ids() -> tuple[str, ...]:
    """``K01`` (A4 and Letter) and ``K02`` (A3 and Tabloid)."""
    return tuple(_BOARDS)


@cache
def pattern(target_id: str) -> Pattern:
    """The checkerboard of a target.

    Raises:
        InputError: no such target.
    """
    match = _ID_FORM.fullmatch(target_id)
    letter, number, piece = (match[1], int(match[2]), match[3]) if match else ("", 0, "")
    if letter == "S" and not piece:
        if 1 <= number <= SHEET_COUNT:
            return _numbered(_SHEET, number - 1)
        raise InputError(f"There is no target sheet {target_id}: sheets are numbered S01 to S{SHEET_COUNT:02d}.")
    if letter == "W":
        if 1 <= number <= STRIP_COUNT and piece in STRIP_PIECES:
            return _numbered(_STRIP, (number - 1) * len(STRIP_PIECES) + STRIP_PIECES.index(piece))
        raise InputError(
            f"There is no wall strip piece {target_id}: pieces are called W01a, W01b and so on to "
            f"W{STRIP_COUNT:02d}{STRIP_PIECES[-1]}."
        )
    if letter == "B" and not piece:
        if 1 <= number <= BAR_END_COUNT:
            return _numbered(_BAR_END, number - 1)
        raise InputError(f"There is no bar end {target_id}: bar ends are numbered B01 to B{BAR_END_COUNT:02d}.")
    if target_id in _BOARDS:
        return _BOARDS[target_id][0]
    raise InputError(
        f"There is no printed target {target_id!r}: use S01-S{SHEET_COUNT:02d} (sheets), W01a-W{STRIP_COUNT:02d}"
        f"{STRIP_PIECES[-1]} (wall strip pieces), B01-B{BAR_END_COUNT:02d} (bar ends) or {', '.join(_BOARDS)} "
        "(calibration boards)."
    )


@cache
def target(target_id: str) -> Target:
    """Geometry of a printed target (its arrays are read-only).

    A strip piece bends and a bar end has a single point, so neither has a pose of its own: ``rigid`` is False for both.
    The points of a strip piece are its saddle points and, as the last two, the ends of their line.

    Raises:
        InputError: no such target.
    """
    form = pattern(target_id)
    points = _frozen(form.saddles())
    if form.kind == "sheet":
        left, bottom, right, top = paper_box(target_id, "Letter")
        bottom = paper_box(target_id, "A4")[1]
        return Target(
            target_id,
            "sheet",
            points,
            size_mm=(right - left, top - bottom),
            contact_edge_mm=_frozen(np.array([[left, top], [right, top]])),
        )
    left, bottom, right, top = paper_box(target_id, papers(target_id)[0])
    size = (right - left, top - bottom)
    if form.kind == "strip":
        points = _frozen(np.vstack([points, form.end_corners()]))
        return Target(target_id, "strip", points, rigid=False, size_mm=size, height_axis_mm=-bottom)
    return Target(target_id, form.kind, points, rigid=form.kind != "bar_end", size_mm=size)


@cache
def catalog() -> Mapping[str, Target]:
    """Every printed target by its id."""
    ids = sheet_ids() + strip_ids() + bar_end_ids() + board_ids()
    return MappingProxyType({target_id: target(target_id) for target_id in ids})


@cache
def markers(target_id: str) -> tuple[PrintedMarker, ...]:
    """The markers of a target, as one reads.

    Raises:
        InputError: no such target.
    """
    form = pattern(target_id)
    half = form.marker_mm / 2
    corners = half * np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]], dtype=np.float64)
    return tuple(
        PrintedMarker(form.first_marker + k, _frozen(corners + np.array([x, y, 0.0])))
        for k, (x, y) in enumerate(form.square_centres(black=False))
    )


@cache
def tape_marks(target_id: str) -> Mapping[str, int]:
    """Names of the saddle points a tape or caliper is held to -> index of the point.

    Sheets: ``A``, ``B``, ``C`` are left, centre and right of the middle row (A-C nominally 144 mm), ``D`` and ``E``
    above and below the centre (72 mm apart). Strip pieces: ``1`` to ``6`` from the left. Bar ends: ``B``, the centre.

    Raises:
        InputError: no such target.
    """
    kind = pattern(target_id).kind
    if kind == "sheet":
        return MappingProxyType({"A": 5, "B": 7, "C": 9, "D": 2, "E": 12})
    if kind == "strip":
        return MappingProxyType({str(k + 1): k for k in range(_STRIP.columns - 1)})
    if kind == "bar_end":
        return MappingProxyType({"B": 0})
    return MappingProxyType({})


def papers(target_id: str) -> tuple[str, ...]:
    """Papers on which a target can be printed.

    Raises:
        InputError: no such target.
    """
    pattern(target_id)
    return _BOARDS[target_id][1] if target_id in _BOARDS else ("A4", "Letter")


def paper_box(target_id: str, paper: str = "A4") -> tuple[float, float, float, float]:
    """Left, bottom, right and top in mm, in the target frame, of the paper that is left after cutting.

    Only target sheets and boards depend on the paper (a sheet keeps its other three edges as they are).
    ``Target.size_mm`` of a sheet is the part that is common to A4 and Letter.

    Raises:
        InputError: no such target, or one that is not printed on that paper.
    """
    form = pattern(target_id)
    if paper not in papers(target_id):
        raise InputError(
            f"{target_id} cannot be printed on {paper!r}: choose {' or '.join(papers(target_id))} for this target."
        )
    short, long = PAPERS_MM[paper]
    if form.kind == "sheet":
        return -long / 2, SHEET_CONTACT_Y_MM - (short - SHEET_TRIM_MM), long / 2, SHEET_CONTACT_Y_MM
    if form.kind == "strip":
        width, height = STRIP_SIZE_MM
        return -width / 2, -height / 2, width / 2, height / 2
    if form.kind == "bar_end":
        return BAR_END_BOX_MM
    top = form.size_mm[1] / 2 + BOARD_TOP_MM
    return -long / 2, top - short, long / 2, top


def _frozen(values: Array) -> Array:
    """Targets are shared by everybody: nobody may write into them."""
    values.setflags(write=False)
    return values
