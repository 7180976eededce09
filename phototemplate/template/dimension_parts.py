"""A dimension taken apart into lines and a text, for the formats that have no dimensions of their own."""

from __future__ import annotations

import math
from dataclasses import dataclass

from phototemplate.template.constants import DIMENSION_GAP, UPRIGHT_RAD
from phototemplate.template.drawing import Dimension, Point


@dataclass(frozen=True)
class DimensionParts:
    """Lines and text of a drawn dimension, in mm of the drawing."""

    lines: tuple[tuple[Point, Point], ...]
    text_at: Point
    """Middle of the dimension line; the text stands on its upper side"""
    angle_rad: float


def take_apart(item: Dimension, height_mm: float) -> DimensionParts:
    """Extension lines, dimension line and oblique strokes, for a text of so high capitals."""
    a, b = item.feet()
    lines: list[tuple[Point, Point]] = []
    for point, foot in ((item.start, a), (item.end, b)):
        length = math.dist(point, foot)
        if length > 1e-9:
            ux, uy = (foot[0] - point[0]) / length, (foot[1] - point[1]) / length
            gap = min(DIMENSION_GAP[0] * height_mm, DIMENSION_GAP[1] * length)
            lines.append(((point[0] + gap * ux, point[1] + gap * uy),
                          (foot[0] + 0.5 * height_mm * ux, foot[1] + 0.5 * height_mm * uy)))  # fmt: skip
    angle = upright(item.direction_rad)
    c, s = math.cos(angle), math.sin(angle)
    over = 0.4 * height_mm
    if (b[0] - a[0]) * c + (b[1] - a[1]) * s < 0:
        a, b = b, a
    lines.append(((a[0] - over * c, a[1] - over * s), (b[0] + over * c, b[1] + over * s)))
    tick = 0.45 * height_mm
    t = angle + math.pi / 4
    lines += [((p[0] - tick * math.cos(t), p[1] - tick * math.sin(t)), (p[0] + tick * math.cos(t), p[1] + tick * math.sin(t)))
              for p in (a, b)]  # fmt: skip
    return DimensionParts(tuple(lines), ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), angle)


def upright(angle_rad: float) -> float:
    """The same direction such that a text along it is read from below or from the right."""
    lowest = -math.pi / 2 + UPRIGHT_RAD
    return (angle_rad - lowest) % math.pi + lowest
