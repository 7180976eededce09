"""The few primitives a printed page is made of. Both the PDF and the raster are lowered from the same list of them.

Page coordinates: mm, x right, y up, origin at the lower left corner of the paper. Ink: (red, green, blue), 0 to 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from reportlab.pdfbase.pdfmetrics import stringWidth

from phototemplate.capture.sheets.constants import BLACK

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""
Ink = tuple[float, float, float]
Align = Literal["left", "centre", "right"]



def grey(level: float) -> Ink:
    """0 black to 1 white."""
    return (level, level, level)


@dataclass(frozen=True)
class Blocks:
    """Filled boxes that do not overlap, painted as one shape (no hairlines where two of them touch)."""

    boxes: tuple[Box, ...]
    ink: Ink = BLACK


@dataclass(frozen=True)
class Polygon:
    """A filled polygon."""

    points: tuple[Point, ...]
    ink: Ink = BLACK


@dataclass(frozen=True)
class Stroke:
    """A line through two or more points."""

    points: tuple[Point, ...]
    width: float = 0.2
    ink: Ink = BLACK
    dash: tuple[float, float] | None = None
    """Lengths of mark and gap"""


@dataclass(frozen=True)
class Text:
    """One line of Helvetica. ``size`` is the font size in mm; a capital is 0.72 of it high."""

    at: Point
    """Left end, middle or right end of the baseline"""
    text: str
    size: float
    bold: bool = False
    align: Align = "left"
    ink: Ink = BLACK
    turned: bool = False
    """Turned by +90 deg: reads upwards"""

    @property
    def font(self) -> str:
        return "Helvetica-Bold" if self.bold else "Helvetica"

    @property
    def width(self) -> float:
        """Length of the line in mm."""
        return float(stringWidth(self.text, self.font, self.size))

    @property
    def box(self) -> Box:
        """Box around the letters, with room for descenders where there are any."""
        before = {"left": 0.0, "centre": 0.5, "right": 1.0}[self.align] * self.width
        x, y = self.at
        below = (0.21 if set(self.text) & set("gjpqy,;()_/") else 0.02) * self.size
        above = 0.74 * self.size
        if self.turned:
            return x - above, y - before, x + below, y - before + self.width
        return x - before, y - below, x - before + self.width, y + above


Item = Blocks | Polygon | Stroke | Text


@dataclass(frozen=True)
class Page:
    """One printed page."""

    title: str
    paper: str
    size_mm: tuple[float, float]
    items: tuple[Item, ...]
    placements: Mapping[str, Point]
    """Where the origin of each target lies on the page"""


def shifted(items: Iterable[Item], dx: float, dy: float) -> list[Item]:
    """The same items, moved."""
    moved: list[Item] = []
    for item in items:
        if isinstance(item, Blocks):
            boxes = tuple((x0 + dx, y0 + dy, x1 + dx, y1 + dy) for x0, y0, x1, y1 in item.boxes)
            moved.append(replace(item, boxes=boxes))
        elif isinstance(item, Text):
            moved.append(replace(item, at=(item.at[0] + dx, item.at[1] + dy)))
        else:
            moved.append(replace(item, points=tuple((x + dx, y + dy) for x, y in item.points)))
    return moved


def box_outline(box: Box, width: float = 0.2, ink: Ink = BLACK, dash: tuple[float, float] | None = None) -> Stroke:
    """The outline of a box."""
    x0, y0, x1, y1 = box
    return Stroke(((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)), width, ink, dash)


def circle(centre: Point, radius: float, ink: Ink = BLACK, corners: int = 40) -> Polygon:
    """A filled disc."""
    turn = [2 * math.pi * k / corners for k in range(corners)]
    return Polygon(tuple((centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in turn), ink)


def arrow(start: Point, end: Point, width: float = 0.4, ink: Ink = BLACK, head: float = 2.2) -> list[Item]:
    """A straight arrow."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy)
    ux, uy = dx / length, dy / length
    foot = (end[0] - head * ux, end[1] - head * uy)
    half = 0.36 * head
    tip = Polygon((end, (foot[0] - half * uy, foot[1] + half * ux), (foot[0] + half * uy, foot[1] - half * ux)), ink)
    return [Stroke((start, (foot[0] + 0.2 * head * ux, foot[1] + 0.2 * head * uy)), width, ink), tip]


def wrap(text: str, size: float, width: float, bold: bool = False) -> list[str]:
    """Breaks a text into lines no longer than ``width`` mm."""
    font = "Helvetica-Bold" if bold else "Helvetica"
    lines: list[str] = []
    for word in text.split():
        if lines and stringWidth(f"{lines[-1]} {word}", font, size) <= width:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines


def paragraph(
    left: float,
    top: float,
    width: float,
    texts: Sequence[str],
    size: float = 3.2,
    spacing: float = 1.38,
    gap: float = 0.0,
) -> tuple[list[Item], float]:
    """Paragraphs below ``top``; returns the items and the height of the last baseline.

    A paragraph that starts with ``*`` is bold. ``gap`` is extra space between paragraphs in mm.
    """
    items: list[Item] = []
    y = top - 0.74 * size
    first = True
    for text in texts:
        bold = text.startswith("*")
        if not first:
            y -= gap
        for line in wrap(text.lstrip("*"), size, width, bold):
            if not first:
                y -= spacing * size
            items.append(Text((left, y), line, size, bold))
            first = False
    return items, y
