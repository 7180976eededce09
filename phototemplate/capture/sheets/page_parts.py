"""Parts that pages share: the checkerboard of a target, the check ruler, cut lines, the four things every page says."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import cv2
import numpy as np

from phototemplate.capture import constants, design
from phototemplate.capture.sheets.constants import BLACK, CUT_WIDTH_MM, PRINTER_MARGIN_MM, TICK_WIDTH_MM, WHITE
from phototemplate.capture.sheets.drawing import Blocks, Box, Item, Polygon, Stroke, Text, grey
from phototemplate.errors import InputError
from phototemplate.units import INCH_MM

PRINT_RULES = (
    "Print at 100 % (actual size, no fit to page).",
    "Check the printed rulers against a steel rule.",
    "Stick the print on something flat and stiff.",
    "Note the total thickness: __________",
)
"""What every page says."""


def paper_size(paper: str, landscape: bool) -> tuple[float, float]:
    """Width and height of a paper in mm.

    Raises:
        InputError: unknown paper.
    """
    if paper not in constants.PAPERS_MM:
        known = ", ".join(constants.PAPERS_MM)
        raise InputError(f"There is no paper size {paper!r}: choose one of {known}.")
    short, long = constants.PAPERS_MM[paper]
    return (long, short) if landscape else (short, long)


@cache
def marker_bits(marker_id: int) -> tuple[tuple[int, ...], ...]:
    """Modules of a marker with its black border, row by row from the top; 1 is black."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, design.DICTIONARY))
    picture = cv2.aruco.generateImageMarker(dictionary, marker_id, constants.MARKER_MODULES, borderBits=1)
    return tuple(tuple(int(value < 128) for value in row) for row in np.asarray(picture))


def checkerboard(target_id: str) -> Blocks:
    """Black squares and markers of a target, in its frame, as one shape."""
    pattern = design.pattern(target_id)
    half = pattern.square_mm / 2
    boxes: list[Box] = [
        (float(x - half), float(y - half), float(x + half), float(y + half)) for x, y in pattern.square_centres(black=True)
    ]
    side = pattern.module_mm
    for printed in design.markers(target_id):
        x0, y0 = (float(v) for v in printed.corners_mm[0, :2])
        for row, bits in enumerate(marker_bits(printed.marker_id)):
            top, bottom = y0 - row * side, y0 - (row + 1) * side
            for start, end in _runs(bits):
                boxes.append((x0 + start * side, bottom, x0 + end * side, top))
    return Blocks(tuple(boxes))


def _runs(bits: Sequence[int]) -> list[tuple[int, int]]:
    """Stretches of ones as (start, end)."""
    edges = np.flatnonzero(np.diff(np.array([0, *bits, 0])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def mark_letters(target_id: str, size: float) -> list[Item]:
    """Names of the tape marks, white in the black square above each mark, with a tip that points at it.

    They stay farther from the saddle than the white rim around the markers, so they do not disturb its refinement.
    """
    pattern = design.pattern(target_id)
    points = design.target(target_id).points_mm
    items: list[Item] = []
    for name, index in design.tape_marks(target_id).items():
        row, column = divmod(index, pattern.columns - 1)
        to_side = -1.0 if (row + column) % 2 == 0 else 1.0  # the upper left square of an even saddle is black
        x, y = (float(v) for v in points[index, :2])
        near, far = pattern.rim_mm + 1.0, pattern.rim_mm + 4.0
        tip = ((x + to_side * near, y + near), (x + to_side * far, y + near), (x + to_side * near, y + far))
        items.append(Polygon(tip, WHITE))
        items.append(Text((x + to_side * (far + 0.55 * size), y + far), name, size, True, "centre", WHITE))
    return items


def rulers(left: float, y: float, millimetres: int, inches: int) -> list[Item]:
    """A horizontal check ruler with its zero at ``left``: millimetres above ``y``, inches in sixteenths below."""
    half = TICK_WIDTH_MM / 2
    ticks: list[Box] = [(left, y - half, left + max(millimetres, inches * INCH_MM), y + half)]
    items: list[Item] = []
    for k in range(millimetres + 1):
        length = 4.2 if k % 10 == 0 else 3.0 if k % 5 == 0 else 2.0
        ticks.append((left + k - half, y + half, left + k + half, y + length))
        if k % 10 == 0:
            last = k == millimetres
            label = f"{k} mm" if last else str(k)
            items.append(Text((left + k + 0.5, y + 2.5), label, 2.5, last))
    for k in range(16 * inches + 1):
        length = next(size for part, size in ((16, 4.2), (8, 3.4), (4, 2.8), (2, 2.2), (1, 1.5)) if k % part == 0)
        x = left + k * INCH_MM / 16
        ticks.append((x - half, y - length, x + half, y - half))
        if k % 16 == 0:
            last = k == 16 * inches
            items.append(Text((x + 0.5, y - 4.2), f"{k // 16} in" if last else str(k // 16), 2.5, last))
    return [Blocks(tuple(ticks)), *items]


def upright_rulers(x: float, bottom: float, millimetres: int, half_inches: int) -> list[Item]:
    """A vertical check ruler with its zero at ``bottom``: millimetres to the right of ``x``, inches to the left."""
    top = bottom + max(millimetres, half_inches * INCH_MM / 2)
    half = TICK_WIDTH_MM / 2
    ticks: list[Box] = [(x - half, bottom, x + half, top)]
    items: list[Item] = []
    for k in range(millimetres + 1):
        length = 4.2 if k % 10 == 0 else 3.0 if k % 5 == 0 else 2.0
        ticks.append((x + half, bottom + k - half, x + length, bottom + k + half))
        if k % 10 == 0 and k < millimetres:
            items.append(Text((x + 4.6, bottom + k - 0.9), str(k), 2.5))
    for k in range(8 * half_inches + 1):
        length = next(size for part, size in ((16, 4.2), (8, 3.4), (4, 2.8), (2, 2.2), (1, 1.5)) if k % part == 0)
        y = bottom + k * INCH_MM / 16
        ticks.append((x - length, y - half, x - half, y + half))
        if k % 16 == 0:
            items.append(Text((x - 4.6, y - 0.9), str(k // 16), 2.5, align="right"))
    whole, rest = divmod(half_inches, 2)
    label = f"{whole} 1/2 in" if rest else f"{whole} in"
    items.append(Text((x - 0.8, top + 0.9), label, 2.5, True, "right"))
    items.append(Text((x + 0.8, top + 0.9), f"{millimetres} mm", 2.5, True))
    return [Blocks(tuple(ticks)), *items]


def cut_line(start: tuple[float, float], end: tuple[float, float]) -> Stroke:
    """A line to cut along; the cut runs along its middle."""
    return Stroke((start, end), CUT_WIDTH_MM, BLACK)


def print_note(scale: tuple[float, float]) -> str:
    """States the measured print scale that the page allows for."""
    if scale == (1.0, 1.0):
        return "Drawn for a printer that prints true: print scale 1.0000."
    if scale[0] == scale[1]:
        return f"Drawn for a measured print scale of {scale[0]:.4f}."
    return f"Drawn for a measured print scale of {scale[0]:.4f} across and {scale[1]:.4f} up."


def footer(size_mm: tuple[float, float], text: str) -> Text:
    """Small grey line at the lower right."""
    return Text((size_mm[0] - PRINTER_MARGIN_MM - 1, PRINTER_MARGIN_MM + 0.8), text, 2.2, align="right", ink=grey(0.35))
