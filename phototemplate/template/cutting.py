"""What a machine cuts: closed outlines and nothing else, one drawing a piece and one for all.

Outer lines run anticlockwise on CUT-OUTSIDE, cut-outs and holes clockwise on CUT-INSIDE; every contour is a closed polyline
with true arcs. Names, sizes, seams and finished edges stand in the full drawing and in ``pieces.json``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.template.constants import CUT_SPACING_MM
from phototemplate.template.drawing import Drawing, Polyline, flatten_polyline
from phototemplate.template.piece_types import Piece, Splash, Template, Vertices


def cutting_drawing(part: Piece | Splash) -> Drawing:
    """The contours of one piece, its lower left corner at (0, 0)."""
    outer = flatten_polyline(np.array(part.vertices), True)
    x, y = outer.min(axis=0)
    drawing = Drawing(part.piece_id, tuple(contours(part))).moved(-float(x), -float(y))
    return Drawing(part.piece_id, drawing.items, (f"smallest segment {smallest_segment_mm(part):.3f} mm",))


def cutting_drawing_of_all(template: Template) -> Drawing:
    """The contours of every piece in a row, with room between them."""
    items: list[Polyline] = []
    at = 0.0
    for part in template.parts:
        one = cutting_drawing(part)
        items += [i for i in one.moved(at, 0.0).items if isinstance(i, Polyline)]
        at += one.bounds()[2] + CUT_SPACING_MM
    smallest = min((smallest_segment_mm(p) for p in template.parts), default=0.0)
    return Drawing("all pieces", tuple(items), (f"smallest segment {smallest:.3f} mm",))


def contours(part: Piece | Splash) -> list[Polyline]:
    """Outer line, then what is cut out of it."""
    out = [Polyline("CUT-OUTSIDE", part.vertices, True, part.piece_id)]
    out += [Polyline("CUT-INSIDE", clockwise(c.vertices), True, c.cutout_id) for c in part.cutouts if not c.across_seam]
    if isinstance(part, Piece):
        for hole in part.holes:
            (x, y), r = hole.centre, hole.diameter_mm / 2.0
            out.append(Polyline("CUT-INSIDE", ((x + r, y, -1.0), (x - r, y, -1.0)), True, hole.name))
    return out


def clockwise(vertices: Vertices) -> Vertices:
    """An anticlockwise closed polyline run the other way; a bulge belongs to the span that begins at its vertex."""
    n = len(vertices)
    return tuple((vertices[n - 1 - k][0], vertices[n - 1 - k][1], -vertices[(2 * n - 2 - k) % n][2]) for k in range(n))


def smallest_segment_mm(part: Piece | Splash) -> float:
    """Shortest distance between neighbouring vertices of any contour."""
    return min(_shortest(c.vertices) for c in contours(part))


def _shortest(vertices: Sequence[tuple[float, float, float]]) -> float:
    v = np.array(vertices)[:, :2]
    return float(np.hypot(*(np.roll(v, -1, axis=0) - v).T).min())
