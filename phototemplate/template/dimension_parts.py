"""A dimension taken apart into lines and a text, for the formats that have no dimensions of their own."""

from __future__ import annotations

import math
from dataclasses import dataclass

from phototemplate.template.constants import DIMENSION_GAP, UPRIGHT_RAD
from phototemplate.template.drawing import Dimension, Point, text_width_mm


@dataclass(frozen=True)
class DimensionParts:
    """Lines and text of a drawn dimension, in mm of the drawing."""

    lines: tuple[tuple[Point, Point], ...]
    text_at: Point
    """On the dimension line, below the middle of the text, which stands on its upper side"""
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
    same_way = math.cos(item.direction_rad - angle)  # +-1: the text may run against the dimension's own direction
    shift = math.copysign(1.0, same_way) * item.text_along_mm
    if (b[0] - a[0]) * c + (b[1] - a[1]) * s < 0:
        a, b = b, a
    at = ((a[0] + b[0]) / 2 + shift * c, (a[1] + b[1]) / 2 + shift * s)
    # the line runs on under a text beyond its end
    reach = max(abs(shift) + text_width_mm(item.printed(), height_mm) / 2.0 - math.dist(a, b) / 2.0, over)
    low, high = (over, reach) if shift > 0 else (reach, over) if shift < 0 else (over, over)
    lines.append(((a[0] - low * c, a[1] - low * s), (b[0] + high * c, b[1] + high * s)))
    tick = 0.45 * height_mm
    t = angle + math.pi / 4
    lines += [((p[0] - tick * math.cos(t), p[1] - tick * math.sin(t)), (p[0] + tick * math.cos(t), p[1] + tick * math.sin(t)))
              for p in (a, b)]  # fmt: skip
    return DimensionParts(tuple(lines), at, angle)


def upright(angle_rad: float) -> float:
    """The same direction such that a text along it is read from below or from the right."""
    lowest = -math.pi / 2 + UPRIGHT_RAD
    return (angle_rad - lowest) % math.pi + lowest
