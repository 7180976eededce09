"""Texts and dimensions moved so that none covers another; what finds no place is left out and stands in the tables alone.

Labels are placed one after the other, in the order of the drawing, each at the nearest of a few places beside the one it was
meant for: first where its box meets neither another label nor a line of the drawing, else where it meets no label.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from phototemplate.model import Array
from phototemplate.template.constants import LABEL_ROOM, LABEL_STEPS
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import Dimension, Item, Text, item_points, text_width_mm

Label = Text | Dimension


def label_box(item: Label) -> Array:
    """(4, 2) corners of the box that a text, or the text of a dimension, takes, in mm of the drawing."""
    if isinstance(item, Text):
        return item_points(item)
    parts = take_apart(item, item.height_mm)
    width = text_width_mm(item.printed(), item.height_mm)
    low, high = 0.4 * item.height_mm, 1.5 * item.height_mm
    box = np.array([[-width / 2, low], [width / 2, low], [width / 2, high], [-width / 2, high]])
    c, s = math.cos(parts.angle_rad), math.sin(parts.angle_rad)
    out: Array = box @ np.array([[c, s], [-s, c]]) + np.array(parts.text_at)
    return out


def without_overlaps(items: Iterable[Item], fixed: Sequence[str] = ()) -> tuple[tuple[Item, ...], tuple[Label, ...]]:
    """The items with their labels moved apart, and the labels that found no place.

    Labels on layers that begin with one of ``fixed`` stay where they are.
    """
    items = list(items)
    lines = [shapely.LineString(points) for item in items if not isinstance(item, Text)
             for points in _strokes(item) if len(points) > 1]
    tree = shapely.STRtree(lines)
    taken = [_polygon(i) for i in items if isinstance(i, Text) and i.layer.startswith(tuple(fixed)) and fixed]
    out: list[Item] = []
    lost: list[Label] = []
    for item in items:
        if not isinstance(item, Text | Dimension) or (fixed and item.layer.startswith(tuple(fixed))):
            out.append(item)
            continue
        found = _placed(item, taken, tree, lines)
        if found is None:
            lost.append(item)
            continue
        taken.append(_polygon(found))
        out.append(found)
    return tuple(out), tuple(lost)


def _placed(
    item: Label, taken: Sequence[shapely.Polygon], tree: shapely.STRtree, lines: Sequence[shapely.LineString]
) -> Label | None:
    second: Label | None = None
    for candidate in _candidates(item):
        box = _polygon(candidate)
        if any(box.intersects(other) for other in taken):
            continue
        own = _own_lines(candidate)
        crossed = [lines[k] for k in tree.query(box, predicate="intersects")]
        if not any(not any(line.equals(o) for o in own) for line in crossed):
            return candidate
        second = second or candidate
    return second


def _own_lines(item: Label) -> list[shapely.LineString]:
    return [shapely.LineString(p) for p in _strokes(item)] if isinstance(item, Dimension) else []


def _candidates(item: Label) -> Iterator[Label]:
    """The label where it was meant to be, then further and further away."""
    h = item.height_mm
    if isinstance(item, Dimension):
        c, s = math.cos(item.direction_rad), math.sin(item.direction_rad)
        middle = ((item.start[0] + item.end[0]) / 2, (item.start[1] + item.end[1]) / 2)
        aside = -(item.base[0] - middle[0]) * s + (item.base[1] - middle[1]) * c
        away = -1.0 if aside < 0 else 1.0
        for k in range(LABEL_STEPS):
            for sign in (1.0, -1.0) if k else (1.0,):
                step = sign * away * k * 1.2 * h
                yield replace(item, base=(item.base[0] - step * s, item.base[1] + step * c))
        return
    width = text_width_mm(item.text, h)
    c, s = math.cos(item.rotation_rad), math.sin(item.rotation_rad)
    shifts = [(a * 0.35 * width, b * 1.3 * h) for a in range(-4, 5) for b in range(-LABEL_STEPS, LABEL_STEPS + 1)]
    for a, b in sorted(shifts, key=lambda p: math.hypot(*p)):
        yield replace(item, position=(item.position[0] + a * c - b * s, item.position[1] + a * s + b * c))


def _polygon(item: Label) -> shapely.Polygon:
    return shapely.Polygon(label_box(item)).buffer(LABEL_ROOM * item.height_mm, join_style="mitre")


def _strokes(item: Item) -> list[Array]:
    """Lines that an item draws."""
    if isinstance(item, Dimension):
        return [np.array(line) for line in take_apart(item, item.height_mm).lines]
    if isinstance(item, Text):
        return []
    points = item_points(item)
    if getattr(item, "closed", False) and len(points):
        points = np.vstack([points, points[:1]])
    return [points]
