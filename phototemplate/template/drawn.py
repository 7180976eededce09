"""Shapes without photos: by numbers, or from a DXF. They join the outline as edges that are exact by decision (U = 0)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast

import numpy as np
import shapely

from phototemplate.errors import InputError
from phototemplate.model import Array, EdgeKind, Influences, Outline, OutlineLoop, Segment, ShapeKind
from phototemplate.template.constants import DRAWN_MM, DRAWN_SPACING_MM, SMALLEST_SPAN_MM
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.maker_dxf import read_cutout_dxf
from phototemplate.template.spec import DrawnSpec

DRAWN = "drawn"
"""``Segment.source`` of an edge that nobody measured"""


def no_outline() -> Outline:
    """The outline of a job without photos."""
    none = np.zeros((0, 0))
    return Outline((), (), {}, none, none, Influences((), none, {}), np.eye(3))


def with_drawn(outline: Outline, shapes: Sequence[DrawnSpec], folder: Path | None) -> Outline:
    """The outline with the drawn shapes to the right of it, one beside the other; their states stand at the end of its own.

    Raises:
        InputError: a name that is taken, a number of names that is not that of the sides, a shape that crosses itself, a file
            that cannot be read.
    """
    taken = {s.edge_id for s in outline.segments} | {loop.loop_id for loop in outline.loops}
    points = [loop.corners_mm for loop in outline.loops if len(loop.corners_mm)]
    x = float(np.vstack(points)[:, 0].max()) + DRAWN_SPACING_MM if points else 0.0
    segments, loops = list(outline.segments), list(outline.loops)
    for shape in shapes:
        vertices = _vertices(shape, folder)
        names = shape.edges or _names(shape, len(vertices))
        kinds: Sequence[EdgeKind] = shape.kinds or ["front"] * len(vertices)
        if not len(names) == len(kinds) == len(vertices):
            raise InputError(f"Drawn shape {shape.id!r} has {len(vertices)} sides; give as many `edges` and `kinds`, or none.")
        for name in (shape.id, *names):
            if name in taken or "/" in name:
                raise InputError(f"Drawn shape {shape.id!r}: the name {name!r} is taken or has a slash; choose another.")
            taken.add(name)
        flat = flatten_polyline(vertices, True, DRAWN_MM)
        if not shapely.Polygon(flat).is_valid:
            raise InputError(f"Drawn shape {shape.id!r} crosses itself; give its corners in turn.")
        vertices[:, :2] += np.array([x, 0.0]) - flat.min(axis=0)
        x += float(np.ptp(flat[:, 0])) + DRAWN_SPACING_MM
        for k, (name, kind) in enumerate(zip(names, kinds, strict=True)):
            segments.append(_segment(name, kind, vertices[k], vertices[(k + 1) % len(vertices)], outline.influences.size))
        n = len(vertices)
        loops.append(OutlineLoop(shape.id, tuple(names), vertices[:, :2].copy(), np.zeros((n, 2, 2)), True))
    slices, at = {}, 0
    for segment in segments:
        slices[segment.edge_id] = slice(at, at + len(segment.offsets_mm))
        at += len(segment.offsets_mm)
    own = len(outline.noise_cov_mm2)
    noise, jac = np.zeros((at, at)), np.zeros((at, outline.influences.size))
    noise[:own, :own], jac[:own] = outline.noise_cov_mm2, outline.shared_jac
    return replace(outline, segments=tuple(segments), loops=tuple(loops), state_slices=slices, noise_cov_mm2=noise,
                   shared_jac=jac)


def _vertices(shape: DrawnSpec, folder: Path | None) -> Array:
    """(n, 3) x, y, bulge, anticlockwise."""
    if shape.file is not None:
        path = Path(shape.file) if folder is None else folder / shape.file
        return read_cutout_dxf(path, shape.file_unit, shape.file_layer, (SMALLEST_SPAN_MM, np.inf)).vertices.copy()
    if shape.corners is not None:
        xy = np.array(shape.corners, float)
    else:
        w, d = shape.width, shape.depth
        xy = np.array([[0.0, 0.0], [w, 0.0], [w, d], [0.0, d]], float)
    if shapely.Polygon(xy).is_valid and not shapely.Polygon(xy).exterior.is_ccw:
        raise InputError(f"Drawn shape {shape.id!r} runs clockwise; give its corners anticlockwise, from the front's left on.")
    return np.column_stack([xy, np.zeros(len(xy))])


def _names(shape: DrawnSpec, n: int) -> list[str]:
    if shape.width is not None:
        return [f"{shape.id} {side}" for side in ("front", "right", "back", "left")]
    return [f"{shape.id} {k + 1}" for k in range(n)]


def _segment(name: str, kind: EdgeKind, start: Array, end: Array, influences: int) -> Segment:
    """A line, or an arc as a base bent about its middle: of a bulge b over a chord c the sagitta is b c / 2, to the right of
    the chord, the turn 4 atan b, and the length that turn times the radius."""
    chord = end[:2] - start[:2]
    c = float(np.hypot(*chord))
    along, bulge = chord / c, float(start[2])
    if not bulge:
        base, length, bend, shape = np.array([start[:2], end[:2]]), c, 0.0, "line"
    else:
        turn = 4.0 * math.atan(bulge)
        length = c * turn / (2.0 * math.sin(turn / 2.0))
        middle = (start[:2] + end[:2]) / 2.0 + 0.5 * bulge * c * np.array([along[1], -along[0]])
        base, bend, shape = np.array([middle - 0.5 * length * along, middle + 0.5 * length * along]), turn / length, "arc"
    knots = np.array([0.0, length / 2.0, length]) if bulge else np.array([0.0, length])
    n = len(knots)
    return Segment(name, kind, cast(ShapeKind, shape), base, knots, np.zeros(n), np.zeros((n, n)), np.zeros((n, influences)),
                   np.zeros(0), np.zeros((0, 2)), (0.0, 0.0, 0.0), DRAWN, bend_per_mm=bend)
