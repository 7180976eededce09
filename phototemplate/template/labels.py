"""Texts and dimensions moved so that none covers another and no line runs through one; what finds no place is left out and
stands in the tables alone.

Dimensions are placed first, since their lines bind the texts; each label goes to the nearest of the places beside the one it
was meant for, a dimension's text also along or beyond its line. A text that names a place and ends up away from it is led back
to it by a line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
import shapely.ops

from phototemplate.model import Array
from phototemplate.template.constants import LABEL_ROOM, LABEL_STEPS, LEADER_FROM, TEXT_BESIDE_COST, TEXT_OVER_LINE
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import Dimension, Item, Line, Text, item_points, text_width_mm

Label = Text | Dimension


def label_box(item: Label) -> Array:
    """(4, 2) corners of the box that a text, or the text of a dimension, takes, in mm of the drawing."""
    if isinstance(item, Text):
        return item_points(item)
    parts = take_apart(item, item.height_mm)
    width = text_width_mm(item.printed(), item.height_mm)
    low, high = (k * item.height_mm for k in TEXT_OVER_LINE)
    box = np.array([[-width / 2, low], [width / 2, low], [width / 2, high], [-width / 2, high]])
    c, s = math.cos(parts.angle_rad), math.sin(parts.angle_rad)
    out: Array = box @ np.array([[c, s], [-s, c]]) + np.array(parts.text_at)
    return out


def strokes(item: Item) -> list[shapely.LineString]:
    """Lines that an item draws."""
    if isinstance(item, Text):
        return []
    if isinstance(item, Dimension):
        return [shapely.LineString(line) for line in take_apart(item, item.height_mm).lines]
    points = item_points(item)
    if getattr(item, "closed", False) and len(points):
        points = np.vstack([points, points[:1]])
    return [shapely.LineString(points)] if len(points) > 1 else []


def without_overlaps(items: Iterable[Item], fixed: Sequence[str] = ()) -> tuple[tuple[Item, ...], tuple[Label, ...]]:
    """The items with their labels moved apart, and the labels that found no place.

    Labels on layers that begin with one of ``fixed`` stay where they are.
    """
    items = list(items)
    stays = [not isinstance(i, Text | Dimension) or bool(fixed and i.layer.startswith(tuple(fixed))) for i in items]
    paper = _Paper([i for i, stay in zip(items, stays, strict=True) if stay])
    placed: dict[int, Label] = {}
    lost: list[Label] = []
    for k in sorted((k for k, stay in enumerate(stays) if not stay), key=lambda k: _ease(items[k])):
        item = items[k]
        assert isinstance(item, Text | Dimension)
        found = paper.placed(item)
        if found is None:
            lost.append(item)
        else:
            placed[k] = found
    shown = [placed.get(k, item) for k, item in enumerate(items) if stays[k] or k in placed]
    return (*shown, *paper.leaders), tuple(lost)


def _ease(item: Item) -> tuple[int, float]:
    """Dimensions before texts: overall ones, then those beside what they measure, then those across it, the tightest first."""
    if not isinstance(item, Dimension):
        return 3, 0.0
    if item.kind == "linear":
        return 0, 0.0
    aside = math.dist(item.start, item.feet()[0]) > item.height_mm
    return (1, 0.0) if aside else (2, item.value_mm - text_width_mm(item.printed(), item.height_mm))


class _Paper:
    """What is taken by lines and labels."""

    def __init__(self, fixed: Sequence[Item]) -> None:
        self.lines = [line for item in fixed for line in strokes(item)]
        self.tree = shapely.STRtree(self.lines)
        cut = [shapely.Polygon(line.coords) for i in fixed if i.layer == "STONE-CUTOUT" for line in strokes(i)]
        self.holes = shapely.union_all(cut)
        """Cut-outs, in which a number from outside would be read as theirs"""
        self.boxes = [_polygon(i) for i in fixed if isinstance(i, Text | Dimension)]
        self.later: list[shapely.LineString] = []
        """Lines of placed dimensions and leaders"""
        self.leaders: list[Line] = []

    def placed(self, item: Label) -> Label | None:
        """The label at the nearest free place, which is taken from now on."""
        wait: Label | None = None
        for candidate in _candidates(item):
            box = _polygon(candidate)
            if not self._free(box) or self._along_another(candidate):
                continue
            own, tight = strokes(candidate), shapely.Polygon(label_box(candidate))
            if self._covered(own) or any(tight.intersects(line) for line in own):
                continue
            if _is_beyond(candidate) and box.intersects(self.holes):
                wait = wait or candidate
                continue
            leader = _leader(candidate, tight)
            if self._covered(leader):
                continue
            return self._taken(candidate, leader)
        return None if wait is None else self._taken(wait, [])

    def _taken(self, label: Label, leader: Sequence[shapely.LineString]) -> Label:
        """The label as it is drawn; its room is taken from now on."""
        self.boxes.append(_polygon(label))
        self.later += [*strokes(label), *leader]
        self.leaders += [_as_line(label.layer, line) for line in leader]
        return replace(label, names=None) if isinstance(label, Text) else label

    def _free(self, box: shapely.Polygon) -> bool:
        return not (any(box.intersects(other) for other in self.boxes) or len(self.tree.query(box, predicate="intersects"))
                    or any(box.intersects(line) for line in self.later))

    def _along_another(self, item: Label) -> bool:
        """Whether a dimension line lies on another line."""
        if not isinstance(item, Dimension):
            return False
        a, b = item.feet()
        line = shapely.LineString([a, b])
        near = [self.lines[k] for k in self.tree.query(line, predicate="intersects")]
        return any(line.intersection(other).length > item.height_mm for other in near)

    def _covered(self, lines: Sequence[shapely.LineString]) -> bool:
        return any(line.intersects(box) for line in lines for box in self.boxes)


def _leader(item: Label, box: shapely.Polygon) -> list[shapely.LineString]:
    """The line from a text back to the place that it names; none where it stands beside it."""
    if isinstance(item, Dimension) or item.names is None:
        return []
    place = shapely.Point(item.names)
    if box.distance(place) < LEADER_FROM * item.height_mm:
        return []
    near = shapely.ops.nearest_points(box.buffer(LABEL_ROOM * item.height_mm), place)[0]
    return [shapely.LineString([near, place])]


def _as_line(layer: str, line: shapely.LineString) -> Line:
    (x0, y0), (x1, y1) = line.coords
    return Line(layer, (x0, y0), (x1, y1))


def _candidates(item: Label) -> Iterator[Label]:
    """The label where it was meant to be, then further and further away; a dimension's text between its ends, if need be in the
    job's own unit alone, rather than beyond an end."""
    if isinstance(item, Dimension):
        short = [replace(item, text=item.text.partition(" (")[0])] if " (" in item.text else []
        for beyond in (False, True):
            for words in (item, *short):
                yield from _beside(words, beyond)
        return
    h = item.height_mm
    width = text_width_mm(item.text, h)
    c, s = math.cos(item.rotation_rad), math.sin(item.rotation_rad)
    shifts = [(a * 0.35 * width, b * 0.65 * h) for a in range(-LABEL_STEPS, LABEL_STEPS + 1)
              for b in range(-3 * LABEL_STEPS, 3 * LABEL_STEPS + 1)]
    for a, b in sorted(shifts, key=lambda p: math.hypot(*p)):
        yield replace(item, position=(item.position[0] + a * c - b * s, item.position[1] + a * s + b * c))


def _is_beyond(item: Label) -> bool:
    """Whether the text of a dimension stands beyond an end of its line."""
    return isinstance(item, Dimension) and abs(item.text_along_mm) > item.value_mm / 2.0


def _beside(item: Dimension, beyond: bool) -> Iterator[Dimension]:
    """Dimension lines in rows to both sides, the text in the middle or off the middle, or ``beyond`` an end."""
    h, length = item.height_mm, item.value_mm
    c, s = math.cos(item.direction_rad), math.sin(item.direction_rad)
    middle = ((item.start[0] + item.end[0]) / 2, (item.start[1] + item.end[1]) / 2)
    aside = -(item.base[0] - middle[0]) * s + (item.base[1] - middle[1]) * c
    away = -1.0 if aside < 0 else 1.0
    width = text_width_mm(item.printed(), h)
    spare, outside = length - width, (length + width) / 2.0 + h
    slides = (0, 1, -1, 2, -2, 3, -3) if spare > h else (0,) if spare > 0.0 else ()
    within = [(TEXT_BESIDE_COST * abs(k) / 3.0, k * spare / 6.0 * 0.95) for k in slides]
    along = [(0.0, outside), (0.0, -outside)] if beyond else within
    # what was meant to stand outside is moved further out only
    ways = (1.0,) if abs(aside) > h else (1.0, -1.0)
    rows = [(k if sign > 0 else k + 0.5, sign * away * k * 1.2 * h) for k in range(2 * LABEL_STEPS) for sign in ways]
    for _, step, shift in sorted((cost + more, step, shift) for cost, step in rows for more, shift in along):
        yield replace(item, base=(item.base[0] - step * s, item.base[1] + step * c), text_along_mm=shift)


def _polygon(item: Label) -> shapely.Polygon:
    return shapely.Polygon(label_box(item)).buffer(LABEL_ROOM * item.height_mm, join_style="mitre")
