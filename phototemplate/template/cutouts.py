"""Cut-outs, drilled holes, posts and pipes: their shape, their place, and what they take from a part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely import affinity

from phototemplate.errors import InputError
from phototemplate.model import Array
from phototemplate.template.boundary import Boundary, FitError, Span, largest_working, polygon_of, span_line
from phototemplate.template.boundary_cuts import crossings, walk
from phototemplate.template.constants import FLAT_BULGE, SMALLEST_RADIUS_MM, TANGENT_COSINE, TOUCH_MM
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.drawing import arc_of_bulge, flatten_polyline
from phototemplate.template.edge_lines import loop_runs
from phototemplate.template.gradients import Vec, dual
from phototemplate.template.intersections import AnyCurve, meet
from phototemplate.template.maker_dxf import CutoutShape, read_cutout_dxf
from phototemplate.template.places import Frame, edge_named, frame_at, front_point
from phototemplate.template.quantities import State
from phototemplate.template.shaping import Base
from phototemplate.template.spec import CutoutSpec, PostSpec


@dataclass(frozen=True)
class PlacedHole:
    """A round hole."""

    name: str
    centre: Vec
    diameter_mm: float


@dataclass(frozen=True)
class PlacedCutout:
    """A cut-out in the plan: spans running clockwise, so that the stone lies on their left."""

    cutout_id: str
    kind: str
    source: str
    spans: Boundary
    centre: Vec
    frame: Frame | None
    """Origin on the finished front; None for a measured post"""
    run: str = ""
    box: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """In the frame: xmin, ymin, xmax, ymax"""
    holes: tuple[PlacedHole, ...] = ()
    reveal_mm: float | None = None
    bowl: tuple[tuple[float, float, float], ...] = ()
    """Plan frame, anticlockwise"""

    def polygon(self) -> shapely.Polygon:
        """Chorded polygon, to check containment."""
        return polygon_of(self.spans)


def rectangle_shape(width: float, depth: float, radius: float, whose: str) -> CutoutShape:
    """A rectangle with rounded corners about the middle of its front.

    Raises:
        FitError: the radius is larger than half a side.
    """
    largest = min(width, depth) / 2.0
    if radius > largest + 1e-9:
        raise FitError(f"{whose}: the corner radius of {radius:.1f} mm is larger than fits a cut-out of {width:.1f} x "
                       f"{depth:.1f} mm; {largest:.1f} mm would work.", whose, radius, largest)
    w = width / 2.0
    if radius <= 0.0:
        rows = [(-w, 0.0, 0.0), (w, 0.0, 0.0), (w, depth, 0.0), (-w, depth, 0.0)]
    else:
        r, bulge = radius, math.tan(math.pi / 8)
        rows = [
            (-w + r, 0.0, 0.0), (w - r, 0.0, bulge), (w, r, 0.0), (w, depth - r, bulge),
            (w - r, depth, 0.0), (-w + r, depth, bulge), (-w, depth - r, 0.0), (-w, r, bulge),
        ]
    vertices = np.array(rows)
    # a radius of half a side leaves no straight length there
    keep = np.hypot(*(np.roll(vertices[:, :2], -1, axis=0) - vertices[:, :2]).T) > 1e-9
    return CutoutShape(vertices[keep], "by size")


def circle_shape(diameter: float) -> CutoutShape:
    """A circle about the middle of its front."""
    r = diameter / 2.0
    return CutoutShape(np.array([[-r, r, 1.0], [r, r, 1.0]]), "by size")


def spans_of(vertices: Array, frame: Frame, name: str) -> Boundary:
    """Spans of a shape given anticlockwise in a frame, run clockwise."""
    points = [frame.at(float(x), float(y)) for x, y in vertices[:, :2]]
    out: list[Span] = []
    n = len(points)
    for k in range(n - 1, -1, -1):
        # span from vertex k+1 back to vertex k
        start, end = points[(k + 1) % n], points[k]
        bulge = -float(vertices[k, 2])
        curve: AnyCurve
        if abs(bulge) < 1e-12:
            curve = LineCurve(start, (end - start).unit())
        else:
            a, b = vertices[(k + 1) % n, :2], vertices[k, :2]
            (cx, cy), radius, _, _ = arc_of_bulge((a[0], a[1]), (b[0], b[1]), bulge)
            centre = frame.at(cx, cy)
            d = start.xy - centre.xy
            curve = ArcCurve(centre, dual(radius), math.copysign(1.0, bulge), math.atan2(d[1], d[0]))
        out.append(Span(curve, start, end, name, "cut-out"))
    return tuple(out)


def place_cutout(state: State, base: Base, spec: CutoutSpec, folder: Path | None) -> PlacedCutout:
    """Set out a cut-out and the holes that belong to it.

    Raises:
        InputError: a name that does not exist, a maker's file that cannot be used.
    """
    whose = f"Cut-out {spec.id!r} of piece {base.spec.id!r}"
    if spec.file is not None:
        path = Path(spec.file) if folder is None else folder / spec.file
        shape = read_cutout_dxf(path, spec.file_unit, spec.file_layer)
    else:
        assert spec.width is not None
        assert spec.depth is not None
        shape = rectangle_shape(spec.width, spec.depth, spec.radius, whose)
    frame = finished_frame(state, base, spec.run, frame_at(state, spec.run, spec.along, spec.square_to, whose), whose)
    bowl: Array | None = None
    if spec.reveal is not None:
        bowl = shape.vertices.copy()
        shape = CutoutShape(offset_vertices(shape.vertices, spec.reveal, whose), shape.source)
    xmin, ymin, xmax, ymax = shape.box
    local = shape.vertices.copy()
    local[:, 1] += spec.setback - ymin
    box = (xmin, spec.setback, xmax, spec.setback + ymax - ymin)
    holes = tuple(
        PlacedHole(f"{spec.id} hole {k + 1}", frame.at(h.across, box[3] + h.behind), h.diameter)
        for k, h in enumerate(spec.holes)
    )
    centre = frame.at((xmin + xmax) / 2.0, (box[1] + box[3]) / 2.0)
    rim = []
    for x, y, bulge in bowl if bowl is not None else ():
        at = frame.at(float(x), float(y) + spec.setback - ymin).xy
        rim.append((float(at[0]), float(at[1]), float(bulge)))
    return PlacedCutout(spec.id, spec.kind, shape.source, spans_of(local, frame, spec.id), centre, frame, spec.run, box,
                        holes, spec.reveal, tuple(rim))


def offset_vertices(vertices: Array, outwards_mm: float, whose: str) -> Array:
    """A closed anticlockwise shape of lines and arcs set off by a distance: arcs keep their centre, corners stay sharp.

    Raises:
        FitError: an inner arc or side that the offset closes (with the nearest offset that works), an arc that meets its
            neighbour at an angle.
    """
    n = len(vertices)
    arcs = [arc_of_bulge((a[0], a[1]), (b[0], b[1]), a[2]) if abs(a[2]) > FLAT_BULGE else None
            for a, b in zip(vertices, np.roll(vertices, -1, axis=0), strict=True)]

    def normal(k: int, at: Array) -> Array:
        """Outward normal of span k at one of its ends."""
        arc = arcs[k]
        if arc is None:
            d = vertices[(k + 1) % n, :2] - vertices[k, :2]
            out: Array = np.array([d[1], -d[0]]) / np.hypot(*d)
            return out
        away: Array = (at - np.array(arc[0])) / arc[1]
        return away if vertices[k, 2] > 0 else -away

    closing = (a[1] for a, v in zip(arcs, vertices, strict=True) if a is not None and v[2] * outwards_mm < 0)
    least = min(closing, default=math.inf)
    if least <= abs(outwards_mm) + TOUCH_MM:
        nearest = math.copysign(max(least - SMALLEST_RADIUS_MM, 0.0), outwards_mm)
        raise FitError(f"{whose}: a reveal of {outwards_mm:.1f} mm closes a corner of radius {least:.1f} mm; {nearest:.1f} mm "
                       "would work.", whose, outwards_mm, nearest)
    moved = vertices.copy()
    for k in range(n):
        at = vertices[k, :2]
        a, b = normal(k - 1, at), normal(k, at)
        if float(a @ b) < TANGENT_COSINE and (arcs[k - 1] is not None or arcs[k] is not None):
            raise FitError(f"{whose} has an arc that meets its neighbour at an angle, which has no reveal; let the `file` show "
                           "the cut-out itself and leave `reveal` out.", whose, outwards_mm)
        moved[k, :2] = at + outwards_mm * (a + b) / (1.0 + float(a @ b))
    before, after = (shapely.Polygon(flatten_polyline(v, True, TOUCH_MM)) for v in (vertices, moved))
    if not after.is_valid or not after.exterior.is_ccw or (after.area - before.area) * outwards_mm < 0:
        raise FitError(f"{whose}: a reveal of {outwards_mm:.1f} mm leaves nothing of one of its sides; make it smaller.", whose,
                       outwards_mm)
    return moved


def finished_frame(state: State, base: Base, run: str, frame: Frame, whose: str) -> Frame:
    """The frame with its origin brought to the finished front."""
    front = base.front(run, whose)
    return Frame(front_point(LineCurve(frame.origin, frame.inward), front, whose), frame.across, frame.inward)


def place_post(state: State, base: Base, spec: PostSpec) -> PlacedCutout:
    """Set out a post, its clearance included.

    Raises:
        InputError: a name that does not exist, an open loop.
    """
    whose = f"Post {spec.id!r} of piece {base.spec.id!r}"
    if spec.loop is not None:
        return _measured_post(state, spec, whose)
    assert spec.run is not None
    assert spec.along is not None
    assert spec.setback is not None
    edge_named(state, spec.run, whose)
    frame = finished_frame(state, base, spec.run, frame_at(state, spec.run, spec.along, None, whose), whose)
    if spec.diameter is not None:
        shape = circle_shape(spec.diameter + 2 * spec.clearance)
    else:
        assert spec.width is not None
        assert spec.depth is not None
        shape = rectangle_shape(spec.width + 2 * spec.clearance, spec.depth + 2 * spec.clearance, 0.0, whose)
    xmin, ymin, xmax, ymax = shape.box
    local = shape.vertices.copy()
    local[:, 1] += spec.setback - (ymin + ymax) / 2.0
    box = (xmin, spec.setback - (ymax - ymin) / 2.0, xmax, spec.setback + (ymax - ymin) / 2.0)
    return PlacedCutout(spec.id, "post", "by size", spans_of(local, frame, spec.id), frame.at(0.0, spec.setback), frame,
                        spec.run, box)


def _measured_post(state: State, spec: PostSpec, whose: str) -> PlacedCutout:
    assert spec.loop is not None
    loop = state.loop(spec.loop)
    if not loop.closed:
        raise InputError(f"{whose} is measured as loop {spec.loop!r}, which is open; trace the side that is missing.")
    runs = loop_runs(state, loop)
    widened = [run.curve.offset(-spec.clearance) for run in runs]
    points: list[Vec] = []
    for i, run in enumerate(runs):
        place = meet(widened[i - 1], widened[i], run.start.xy, 500.0)
        if place is None:
            raise InputError(f"{whose}: its sides do not meet after a clearance of {spec.clearance:.1f} mm.")
        points.append(place)
    n = len(points)
    spans = tuple(
        Span(widened[k].reversed(), points[(k + 1) % n], points[k], spec.id, "cut-out") for k in range(n - 1, -1, -1)
    )
    centre = points[0]
    for p in points[1:]:
        centre = centre + p
    return PlacedCutout(spec.id, "post", f"loop {spec.loop}", spans, centre * (1.0 / n), None)


# --------------------------------------------------------------------------------------------- taking away


def assign(
    parts: Sequence[Boundary], cutout: PlacedCutout, piece_id: str, spec: CutoutSpec | PostSpec
) -> tuple[list[Boundary], list[int], bool]:
    """Take a cut-out from the parts it lies in.

    Returns the parts, the indices of those it lies in, and whether it crosses a seam (then it is cut out of the parts'
    outer lines; otherwise it stays a closed hole).

    Raises:
        FitError: it reaches outside the piece, with the nearest value that works.
    """
    polygon = cutout.polygon()
    polygons = [polygon_of(p) for p in parts]
    for k, part in enumerate(polygons):
        if part.buffer(-TOUCH_MM).contains(polygon):
            return list(parts), [k], False
    out = list(parts)
    touched: list[int] = []
    for k, part in enumerate(polygons):
        if not part.intersects(polygon) or part.intersection(polygon).area < 1.0:
            continue
        changed = _subtract_at_seam(out[k], cutout)
        if changed is None:
            raise _outside_error(polygons, cutout, piece_id, spec)
        out[k] = changed
        touched.append(k)
    if len(touched) < 2:
        raise _outside_error(polygons, cutout, piece_id, spec)
    return out, touched, True


def _subtract_at_seam(part: Boundary, cutout: PlacedCutout) -> Boundary | None:
    """The part without the cut-out, which may cross its seams only; None where it crosses anything else."""
    polygon = cutout.polygon()
    hit = [k for k, span in enumerate(part)
           if span_line(span).intersection(polygon).length > TOUCH_MM]
    if len(hit) != 1 or part[hit[0]].finish != "seam" or not isinstance(part[hit[0]].curve, LineCurve):
        return None
    seam = part[hit[0]]
    line = seam.curve
    assert isinstance(line, LineCurve)
    found = crossings(cutout.spans, line)
    if len(found) != 2:
        return None
    first, last = found  # in running order of the seam: into the hole, out of it
    around = walk(cutout.spans, first, last)
    before, after = replace(seam, end=first.point), replace(seam, start=last.point)
    return (*part[: hit[0]], before, *around, after, *part[hit[0] + 1 :])


def _outside_error(
    polygons: Sequence[shapely.Polygon], cutout: PlacedCutout, piece_id: str, spec: CutoutSpec | PostSpec
) -> FitError:
    """Which of setback, place and size is wrong, and what would work."""
    whole = shapely.union_all([p.buffer(2.0) for p in polygons]).buffer(-2.0 - TOUCH_MM)
    polygon = cutout.polygon()
    word = "Post" if isinstance(spec, PostSpec) else "Cut-out"
    text = f"{word} {spec.id!r} does not lie within piece {piece_id!r}"
    if cutout.frame is None or spec.setback is None:
        return FitError(f"{text}; check the loop it was measured as.", spec.id)
    across, inward = cutout.frame.across.xy, cutout.frame.inward.xy

    def moved(a: float, b: float) -> bool:
        shift = a * across + b * inward
        return bool(whole.contains(affinity.translate(polygon, float(shift[0]), float(shift[1]))))

    step = 0.5
    best: tuple[float, float] | None = None
    for d in np.arange(-600.0, 600.0 + step, 5.0):
        if moved(0.0, float(d)) and (best is None or abs(d) < abs(best[1])):
            best = (0.0, float(d))
    if best is not None and spec.setback + best[1] > 0:
        start = best[1]
        nearest = largest_working(lambda d: moved(0.0, d), start, 0.0)
        assert nearest is not None
        value = spec.setback + nearest
        return FitError(f"{text}: its setback is {spec.setback:.1f} mm; {value:.1f} mm would work.", spec.id, spec.setback,
                        value)
    for d in np.arange(-1500.0, 1500.0 + step, 10.0):
        if moved(float(d), 0.0) and (best is None or abs(d) < abs(best[0])):
            best = (float(d), 0.0)
    if best is not None and best[0] != 0.0:
        nearest = largest_working(lambda d: moved(d, 0.0), best[0], 0.0)
        assert nearest is not None
        return FitError(f"{text}: it would have to move by {abs(nearest):.1f} mm to the "
                        f"{'right' if nearest > 0 else 'left'} along {cutout.run!r}.", spec.id, 0.0, nearest)
    xmin, ymin, xmax, ymax = cutout.box

    def scaled(size: float) -> bool:
        k = size / (xmax - xmin)
        return bool(whole.contains(affinity.scale(polygon, k, k, origin=tuple(cutout.centre.xy))))

    size = largest_working(scaled, 5.0, xmax - xmin)
    if size is not None:
        return FitError(f"{text}: it is {xmax - xmin:.1f} x {ymax - ymin:.1f} mm large; a width of {size:.1f} mm at the same "
                        "proportions would work.", spec.id, xmax - xmin, size)
    return FitError(f"{text}, and no other place or size on that run works; check its run.", spec.id)
