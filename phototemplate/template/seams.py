"""Where a seam could go: at inside corners, and where a piece is longer than the slab."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import ops

from phototemplate.model import Array
from phototemplate.template.boundary import Unfit, polygon_of, polygon_of_vertices
from phototemplate.template.boundary_cuts import chord_of
from phototemplate.template.constants import SEAM_END_MM, SEAM_STEP_MM
from phototemplate.template.curves import LineCurve
from phototemplate.template.gradients import vec
from phototemplate.template.intersections import meet_at
from phototemplate.template.piece_types import Piece, SeamProposal, Template
from phototemplate.template.quantities import State
from phototemplate.template.spec import MaterialSpec


def fits_slab(polygon: shapely.Polygon, material: MaterialSpec) -> bool:
    """Whether a shape fits the usable slab in some direction (smallest rectangle around it)."""
    long, short = extent_mm(polygon)
    slab_long, slab_short = usable_slab_mm(material)
    return long <= slab_long and short <= slab_short


def usable_slab_mm(material: MaterialSpec) -> tuple[float, float]:
    """Length and width of the slab without its trim."""
    sides = (material.slab_length - 2 * material.slab_trim, material.slab_width - 2 * material.slab_trim)
    return max(sides), min(sides)


def extent_mm(polygon: shapely.Polygon) -> tuple[float, float]:
    """Length and width of the smallest rectangle around a shape."""
    box = shapely.minimum_rotated_rectangle(polygon)
    points = shapely.get_coordinates(box)
    sides = np.hypot(*np.diff(points, axis=0).T)[:2]
    return float(sides.max()), float(sides.min())


def keep_clear(template: Template, piece: Piece) -> list[tuple[shapely.Polygon, str]]:
    """Places no seam may cross: dishwashers, and cut-outs with the shop's distance around them."""
    out = [(shapely.Polygon(box), name) for name, kind, box in template.appliances if kind == "dishwasher"]
    for cutout in piece.cutouts:
        around = polygon_of_vertices(cutout.vertices).buffer(template.spec.shop.cutout_to_seam)
        out.append((around, cutout.cutout_id))
    return out


def propose_seams(state: State, template: Template) -> tuple[SeamProposal, ...]:
    """Proposals for every piece that exceeds the slab or turns an inside corner."""
    out: list[SeamProposal] = []
    for piece in template.pieces:
        taken = keep_clear(template, piece)
        polygon = polygon_of(piece.boundary, 0.1)
        corners = [c for c in piece.corners if c.inside and c.name.count("/") == 1]
        plain = [c for c in corners if _finished(piece, c.name)]
        too_large = not fits_slab(polygon, template.spec.shop.material)
        for corner in plain:
            found = _corner_proposal(template, piece, corner.name, polygon, taken, too_large)
            if found is not None:
                out.append(found)
        if too_large and not plain:
            out += _run_proposals(state, template, piece, polygon, taken)
    return tuple(out)


def _finished(piece: Piece, name: str) -> bool:
    """Whether both edges of a corner are finished ones (not the sides of an opening)."""
    finishes = {e.edge_id: e.finish for e in piece.edges}
    return all(finishes.get(n) == "finished" for n in name.split("/"))


def _corner_proposal(
    template: Template, piece: Piece, name: str, polygon: shapely.Polygon,
    taken: Sequence[tuple[shapely.Polygon, str]], too_large: bool,
) -> SeamProposal | None:
    """The better of the two square seams at an inside corner: parts that fit the slab, nothing in the way, short."""
    before, after = name.split("/")
    edges = {e.edge_id: e for e in piece.edges}
    corner = next(np.array(c.at) for c in piece.corners if c.name == name)
    best: tuple[tuple[bool, bool, float], LineCurve, float, str] | None = None
    for towards in (after, before):
        a, b = np.array(edges[towards].start), np.array(edges[towards].end)
        d = (b - a) / np.hypot(*(b - a))
        line = LineCurve(vec(corner), vec(np.array([-d[1], d[0]])))
        length = _inside_length(polygon, corner, line)
        chord = shapely.LineString([corner, corner + length * line.direction.xy])
        blocked = any(chord.intersects(area) for area, _ in taken)
        fits = all(fits_slab(p, template.spec.shop.material) for p in _halves(polygon, chord))
        rank = (blocked, not fits, length)
        if best is None or rank < best[0]:
            best = (rank, line, length, towards)
    assert best is not None
    (blocked, _, _), line, length, towards = best
    if blocked:
        return None
    end = corner + length * line.direction.xy
    words = f'corner = "{name}", towards = "{towards}"'
    return SeamProposal(piece.piece_id, name, too_large, _pair(corner), _pair(end), words)


def _pair(xy: Array) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])


def _inside_length(polygon: shapely.Polygon, start: Array, line: LineCurve) -> float:
    """How far a ray from a corner runs through the stone."""
    ray = shapely.LineString([start + 0.5 * line.direction.xy, start + 5000.0 * line.direction.xy])
    inside = ray.intersection(polygon)
    parts = list(inside.geoms) if hasattr(inside, "geoms") else [inside]
    first = min(parts, key=lambda g: float(g.distance(shapely.Point(ray.coords[0]))))
    return float(first.length) + 0.5


def _halves(polygon: shapely.Polygon, chord: shapely.LineString) -> list[shapely.Polygon]:
    a, b = shapely.get_coordinates(chord)
    d = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    cut = shapely.LineString([a - 0.01 * d, b + 0.01 * d])
    return [g for g in ops.split(polygon, cut).geoms if isinstance(g, shapely.Polygon)]


def _run_proposals(
    state: State, template: Template, piece: Piece, polygon: shapely.Polygon,
    taken: Sequence[tuple[shapely.Polygon, str]],
) -> list[SeamProposal]:
    """Seams square to the longest finished edge at even distances, moved clear of what is in the way."""
    fronts = [e for e in piece.edges if e.finish == "finished" and e.edge_id in state.segments]
    if not fronts:
        return []
    front = max(fronts, key=lambda e: e.length.value)
    material = template.spec.shop.material
    start, end = np.array(front.start), np.array(front.end)
    length = float(np.hypot(*(end - start)))
    d = (end - start) / length
    inward = np.array([-d[1], d[0]])
    count = max(math.ceil(extent_mm(polygon)[0] / usable_slab_mm(material)[0]) - 1, 1)
    out = []
    for k in range(1, count + 1):
        wanted = length * k / (count + 1)
        at = _clear_place(polygon, start, d, inward, wanted, length, taken)
        if at is None:
            continue
        place = start + at * d
        try:
            line = LineCurve(vec(place), vec(inward))
            entry, leave = chord_of(piece.boundary, line, place + 2.0 * inward)
        except Unfit:
            continue
        words = _words(state, piece, front.edge_id, place, d)
        out.append(SeamProposal(piece.piece_id, None, True, _pair(entry.point.xy), _pair(leave.point.xy), words))
    return out


def _clear_place(
    polygon: shapely.Polygon, start: Array, d: Array, inward: Array, wanted: float, length: float,
    taken: Sequence[tuple[shapely.Polygon, str]],
) -> float | None:
    """The place nearest to the wanted one whose seam meets nothing that has to stay clear."""
    for step in np.arange(0.0, length / 2.0, SEAM_STEP_MM):
        for at in (wanted - step, wanted + step):
            if not SEAM_END_MM < at < length - SEAM_END_MM:
                continue
            place = start + at * d
            chord = shapely.LineString([place, place + 3000.0 * inward]).intersection(polygon)
            if not any(chord.intersects(area) for area, _ in taken):
                return float(at)
    return None


def _words(state: State, piece: Piece, run: str, place: Array, d: Array) -> str:
    """How the place is said in the job file: a distance from a measured edge beside the run."""
    ids = [e.edge_id for e in piece.edges]
    k = ids.index(run)
    for name in (ids[k - 1], ids[(k + 1) % len(ids)]):
        if name in state.segments:
            cross = meet_at(state.curve(name), state.curve(run), place)
            if cross is not None:
                along = abs(float((place - cross) @ d))
                return f'run = "{run}", along = {{ edge = "{name}", distance = {along:.0f} }}'
    return f'run = "{run}"'
