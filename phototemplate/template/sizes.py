"""Finished dimensions of a part, each with its uncertainty and budget."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.model import Array
from phototemplate.template.boundary import Boundary, Span, span_points
from phototemplate.template.boundary_cuts import crossings
from phototemplate.template.constants import BEHIND_MM, SQUARELY
from phototemplate.template.curves import LineCurve
from phototemplate.template.cutouts import PlacedCutout
from phototemplate.template.gradients import Dual, Vec, dual
from phototemplate.template.piece_types import Size
from phototemplate.template.places import Frame, OpeningPlace
from phototemplate.template.quantities import EdgePlace, State, chain_end, place_on_edge


def point2(p: Vec | Array) -> tuple[float, float]:
    """Plain coordinates."""
    xy = p.xy if isinstance(p, Vec) else p
    return float(xy[0]), float(xy[1])


def size(state: State, name: str, a: Vec, b: Vec, group: str, value: Dual | None = None, decided: bool = False) -> Size:
    """A dimension between two points (or another value shown between them)."""
    length = abs(value) if value is not None else (b - a).norm()
    quantity = state.quantity(dual(length.value) if decided else length)
    return Size(name, quantity, point2(a), point2(b), group, decided)


def edge_sizes(state: State, part: Boundary) -> list[Size]:
    """Length of every edge between its corners."""
    return [size(state, s.name, s.start, s.end, "edge", s.length()) for s in part if s.finish != "corner"]


def overall_sizes(state: State, part: Boundary) -> list[Size]:
    """Extent of a part along x and along y of the plan."""
    out = []
    for axis, name in ((0, "overall length"), (1, "overall depth")):
        u = np.eye(2)[axis]
        low, high = _extreme(part, -u), _extreme(part, u)
        value = (high.x - low.x) if axis == 0 else (high.y - low.y)
        out.append(size(state, name, low, high, "overall", value))
    return out


def _extreme(part: Boundary, direction: Array) -> Vec:
    """The farthest place of a boundary in a direction; within a bent span it moves with the span's normal."""
    best: tuple[float, Span, Array, int, int] | None = None
    for span in part:
        points = span_points(span)
        far = points @ direction
        k = int(np.argmax(far))
        if best is None or far[k] > best[0] + 1e-9:
            best = (float(far[k]), span, points[k], k, len(points))
    assert best is not None
    _, span, xy, k, n = best
    if k == 0:
        return span.start
    if k == n - 1:
        return span.end
    return chain_end(span.curve, xy)


def depth_sizes(state: State, part: Boundary) -> list[Size]:
    """Depth from every finished straight front to what lies across, in the middle and near both ends."""
    out: list[Size] = []
    for span in part:
        front = span.name in state.segments and state.segments[span.name].kind in ("front", "other")
        if not front or span.finish != "finished" or not isinstance(span.curve, LineCurve):
            continue
        for share, word in ((0.02, "start"), (0.5, "middle"), (0.98, "end")):
            at = span.start + (span.end - span.start) * share
            ray = LineCurve(at, span.curve.direction.left())
            across = [c for c in crossings(part, ray) if c.position > 1.0]
            if across and _squarely(part[across[0].span], ray, across[0].point.xy):
                out.append(size(state, f"depth of {span.name}, {word}", at, across[0].point, "depth"))
    return out


def _squarely(span: Span, ray: LineCurve, xy: Array) -> bool:
    """Whether a ray meets an edge (not a corner's arc) at more than 45 degrees, so that a depth means something."""
    return span.finish != "corner" and abs(float(span.curve.side_at(xy)[1] @ ray.direction.xy)) > SQUARELY


def diagonal_sizes(state: State, part: Boundary) -> list[Size]:
    """Both diagonals of a four-cornered part, by which it can be checked with a tape."""
    corners = [s.start for s in part if s.finish != "corner"]
    if len(corners) != 4:
        return []
    return [size(state, f"diagonal {k + 1}", corners[k], corners[k + 2], "diagonal") for k in (0, 1)]


def cutout_sizes(state: State, part: Boundary, cutout: PlacedCutout) -> list[Size]:
    """Where a cut-out lies: to the front, to the wall behind it, and to the part's ends on both sides."""
    if cutout.frame is None:
        return []
    frame, (xmin, ymin, xmax, ymax) = cutout.frame, cutout.box
    xm, ym = (xmin + xmax) / 2.0, (ymin + ymax) / 2.0
    name = cutout.cutout_id
    front, back = frame.at(xm, ymin), frame.at(xm, ymax)
    left, right = frame.at(xmin, ym), frame.at(xmax, ym)
    out = [
        size(state, f"{name} width", left, right, "cut-out", decided=True),
        size(state, f"{name} depth", front, back, "cut-out", decided=True),
        size(state, f"{name} to front", frame.at(xm, 0.0), front, "cut-out", decided=True),
    ]
    rays = (
        ("to what lies behind", back, frame.inward), ("to the left", left, -frame.across),
        ("to the right", right, frame.across),
    )
    for word, at, direction in rays:
        found = [c for c in crossings(part, LineCurve(at, direction)) if c.position > BEHIND_MM]
        if found:
            across = part[found[0].span].name
            out.append(size(state, f"{name} {word} ({across})", at, found[0].point, "cut-out"))
    return out


def opening_sizes(state: State, opening: OpeningPlace) -> list[Size]:
    """Width of an opening, and the room it leaves to the panels it is centred between, at the front and behind."""
    spec, frame = opening.spec, opening.frame
    half = opening.clear_mm / 2.0
    left, right = frame.at(-half, 0.0), frame.at(half, 0.0)
    out = [size(state, f"{spec.id} width", left, right, "opening", decided=True)]
    if spec.along.between is None:
        return out
    for edge_id, corner, across in (
        (spec.along.between[0], left, frame.across), (spec.along.between[1], right, frame.across)
    ):
        curve = state.curve(edge_id)
        ends = sorted(state.stretch(edge_id), key=lambda p: float(frame.inward.xy @ (p.xy - frame.origin.xy)))
        out += _room(state, spec.id, edge_id, corner, across, curve, ends, frame)
    a, b = (place_on_edge(state, EdgePlace(e, 0.5)) for e in spec.along.between)
    between = abs(state.curve(spec.along.between[1]).side(a))
    out.append(size(state, f"between {spec.along.between[0]} and {spec.along.between[1]}", a, b, "opening", between))
    return out


def _room(
    state: State, name: str, edge_id: str, corner: Vec, across: Vec, curve: object, ends: Sequence[Vec], frame: Frame
) -> list[Size]:
    """Room between a side of an opening and a panel, positive where the stone's edge lies beyond the panel's face.

    Positive: the stone stops on the panel and covers it; negative: it sticks out into the gap between the panels.
    """
    side = 1.0 if float(across.xy @ (corner.xy - frame.origin.xy)) > 0 else -1.0
    out = []
    for p, word in ((ends[0], "front"), (ends[-1], "back")):
        room = across.dot(corner - p) * side
        quantity = state.quantity(room)
        out.append(Size(f"{name} beyond {edge_id}, {word}", quantity, point2(p), point2(p + across * (room * side)), "gap"))
    del curve
    return out


def place_u(state: State, span: Span) -> float:
    """U (k = 2) of a finished edge normal to itself, the largest of both ends and the middle."""
    if isinstance(span.curve, LineCurve):
        places = [span.start.xy, (span.start.xy + span.end.xy) / 2.0, span.end.xy]
    else:
        a, b = span.curve.position(span.start.xy), span.curve.position(span.end.xy)
        places = [span.curve.point(a + k * (b - a)) for k in (0.0, 0.5, 1.0)]
    return 2.0 * max(state.u_of((chain_end(span.curve, p) - _still(p)).dot(_normal(span, p))) for p in places)


def _still(xy: Array) -> Vec:
    return Vec(Dual(float(xy[0])), Dual(float(xy[1])))


def _normal(span: Span, xy: Array) -> Vec:
    n = span.curve.side_at(xy)[1]
    return Vec(Dual(float(n[0])), Dual(float(n[1])))
