"""Small pictures for the guide pages: parallel projection of boxes, sheets, strips and cameras, all drawn here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from phototemplate.capture.sheets.constants import ACCENT, BLACK, FRONT, LINE, PALE, RAY, SIDE, TOP, WHITE
from phototemplate.capture.sheets.drawing import Ink, Item, Point, Polygon, Stroke, Text, arrow, circle, grey

Point3 = tuple[float, float, float]



@dataclass(frozen=True)
class ParallelProjection:
    """Parallel projection of scene coordinates (x right, y away, z up) onto the page."""

    at: Point
    """Where the scene's origin lies on the page"""
    scale: float
    """mm on the page for one unit of the scene"""
    yaw_deg: float = 30.0
    pitch_deg: float = 32.0

    def point(self, p: Point3) -> Point:
        """Scene -> page."""
        yaw, pitch = math.radians(self.yaw_deg), math.radians(self.pitch_deg)
        across = p[0] * math.cos(yaw) - p[1] * math.sin(yaw)
        away = p[0] * math.sin(yaw) + p[1] * math.cos(yaw)
        up = away * math.sin(pitch) + p[2] * math.cos(pitch)
        return self.at[0] + self.scale * across, self.at[1] + self.scale * up

    def face(self, points: Sequence[Point3], ink: Ink, width: float = 0.18) -> list[Item]:
        """A filled face with a thin outline (none where ``width`` is 0)."""
        flat = tuple(self.point(p) for p in points)
        items: list[Item] = [Polygon(flat, ink)]
        if width:
            items.append(Stroke((*flat, flat[0]), width, LINE))
        return items

    def box(self, low: Point3, high: Point3, top: Ink = TOP, front: Ink = FRONT, side: Ink = SIDE) -> list[Item]:
        """A box; with a positive yaw its left side is seen, with a negative one its right side."""
        (x0, y0, z0), (x1, y1, z1) = low, high
        x = x0 if self.yaw_deg > 0 else x1
        items = self.face([(x, y0, z0), (x, y1, z0), (x, y1, z1), (x, y0, z1)], side)
        items += self.face([(x0, y0, z0), (x1, y0, z0), (x1, y0, z1), (x0, y0, z1)], front)
        items += self.face([(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)], top)
        return items

    def sheet(self, centre: Point3, width: float, turn_deg: float = 0.0) -> list[Item]:
        """A target sheet that lies flat, ``width`` wide."""
        height = 0.7 * width
        turn = math.radians(turn_deg)
        cos, sin = math.cos(turn), math.sin(turn)

        def at(x: float, y: float) -> Point3:
            return centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos, centre[2]

        items = self.face(_corners(at, -width / 2, -height / 2, width / 2, height / 2), WHITE)
        side = 0.125 * width
        for row in range(4):
            for column in range(6):
                if (row + column) % 2 == 0:
                    x, y = (column - 3) * side, (1 - row) * side + 0.03 * width
                    items += self.face(_corners(at, x, y, x + side, y + side), grey(0.1), 0.0)
        return items

    def strip(self, path: Sequence[tuple[float, float]], bottom: float, height: float) -> list[Item]:
        """A wall strip on edge along a path (x, y): two rows of squares, one pair for each stretch of the path."""
        items: list[Item] = []
        for k, ((xa, ya), (xb, yb)) in enumerate(pairwise(path)):
            low, middle, high = bottom, bottom + height / 2, bottom + height
            items += self.face([(xa, ya, low), (xb, yb, low), (xb, yb, high), (xa, ya, high)], WHITE, 0.0)
            z0, z1 = (middle, high - 0.06 * height) if k % 2 == 0 else (low + 0.06 * height, middle)
            items += self.face([(xa, ya, z0), (xb, yb, z0), (xb, yb, z1), (xa, ya, z1)], grey(0.1), 0.0)
        ends = [self.point((x, y, bottom)) for x, y in path], [self.point((x, y, bottom + height)) for x, y in path]
        items.append(Stroke((*ends[0], *reversed(ends[1]), ends[0][0]), 0.15, LINE))
        return items

    def dimension(self, start: Point3, end: Point3, text: str, size: float = 3.0, below: float = 0.0) -> list[Item]:
        """A dimension between two scene points; ``below`` moves the text down the page."""
        a, b = self.point(start), self.point(end)
        middle = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
        items = arrow(middle, a, 0.35, ACCENT, 2.0) + arrow(middle, b, 0.35, ACCENT, 2.0)
        items.append(Text((middle[0], middle[1] - below), text, size, True, "centre", ACCENT))
        return items


def _corners(at: object, x0: float, y0: float, x1: float, y1: float) -> list[Point3]:
    assert callable(at)
    return [at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1)]


def camera_wedge(at: Point, heading_deg: float, reach: float, spread_deg: float = 52.0) -> list[Item]:
    """What a camera sees, from above: a pale wedge between two rays."""
    heading = math.radians(heading_deg)
    half = math.radians(spread_deg / 2)
    rim = [heading - half + k * half / 6 for k in range(13)]
    ends = [(at[0] + reach * math.cos(a), at[1] + reach * math.sin(a)) for a in rim]
    return [Polygon((at, *ends), PALE), Stroke((ends[0], at, ends[-1]), 0.15, RAY, (0.9, 0.7))]


def camera_body(at: Point, heading_deg: float, size: float = 3.0) -> list[Item]:
    """A phone held across, with its lens towards ``heading_deg``."""
    heading = math.radians(heading_deg)
    ux, uy = math.cos(heading), math.sin(heading)
    half, thick = size / 2, size / 5
    body = tuple(
        (at[0] + a * ux - b * uy, at[1] + a * uy + b * ux)
        for a, b in ((-thick, -half), (thick, -half), (thick, half), (-thick, half))
    )
    return [Polygon(body, ACCENT), circle((at[0] + thick * 1.5 * ux, at[1] + thick * 1.5 * uy), size / 7, ACCENT, 16)]


def badge(at: Point, number: int, radius: float = 3.1) -> list[Item]:
    """A number in a disc."""
    return [
        circle(at, radius, ACCENT),
        Text((at[0], at[1] - 0.36 * 1.35 * radius), str(number), 1.35 * radius, True, "centre", WHITE),
    ]


def yes(at: Point, size: float = 4.0) -> Item:
    """A tick."""
    x, y = at
    points = ((x - 0.5 * size, y), (x - 0.12 * size, y - 0.4 * size), (x + 0.5 * size, y + 0.45 * size))
    return Stroke(points, 0.8, BLACK)


def no(at: Point, size: float = 3.4) -> list[Item]:
    """A cross."""
    x, y = at
    half = size / 2
    return [
        Stroke(((x - half, y - half), (x + half, y + half)), 0.8, ACCENT),
        Stroke(((x - half, y + half), (x + half, y - half)), 0.8, ACCENT),
    ]
