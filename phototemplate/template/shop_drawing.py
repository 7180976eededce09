"""A template as a drawing in real mm: what the shop cuts, on layers of its own, with real dimensions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
import shapely.ops
from shapely.geometry.base import BaseGeometry

from phototemplate.model import Array, Outline
from phototemplate.template.boundary import polygon_of_vertices
from phototemplate.template.constants import (
    EDGE_NAME,
    EDGE_NAME_ROOM,
    LABEL_GRID,
    NO_GAP_MM,
    NO_OFFSET_MM,
    OPENING_NAME_MM,
    PARALLEL,
    PIECE_FACTS,
    PIECE_NAME,
    SHORT_MM,
    SMALLEST_SPAN_MM,
)
from phototemplate.template.dimension_parts import upright
from phototemplate.template.drawing import (
    Circle,
    Dimension,
    Drawing,
    Item,
    Line,
    Point,
    Polyline,
    Text,
    item_bounds,
    text_width_mm,
)
from phototemplate.template.labels import without_overlaps
from phototemplate.template.lengths import LengthWords
from phototemplate.template.outline_drawing import U_NOTE, loop_vertices
from phototemplate.template.piece_types import Cutout, Piece, PieceEdge, Size, Splash, Template
from phototemplate.template.quantities import State
from phototemplate.template.schedule import finish_words, length_words, named, offset_words
from phototemplate.template.simplify import simplified


@dataclass(frozen=True)
class Style:
    """How a template is drawn."""

    words: LengthWords = field(default_factory=LengthWords)
    text_height_mm: float = 25.0
    title: str = "Template"
    sizes: bool = True
    """With dimensions"""
    found: bool = True
    """With the measured outline"""
    splashes: bool = True
    """With the upright pieces, laid flat below the plan"""
    simplify_mm: float = 0.0
    """Vertices of wall curves are thinned: none left out lies farther than this from the line drawn"""


def template_drawing(template: Template, outline: Outline, style: Style = Style()) -> Drawing:
    """Lower a template to a drawing in the plan frame, upright pieces laid flat below it.

    Every piece is one closed polyline with true arcs on STONE-SHAPE, its cut-outs and holes are closed on layers of their
    own. No label covers another; one that finds no place is left out.
    """
    h, words = style.text_height_mm, style.words
    shop = template.spec.shop
    state = State(outline)
    items: list[Item] = []
    if style.found:
        items += [
            Polyline("FOUND-LINE" if loop.closed else "FOUND-OPEN",
                     tuple(loop_vertices(state, loop, shop.profile_tolerance)), loop.closed, loop.loop_id)
            for loop in outline.loops
        ]
    items += _beneath(template, h)
    for piece in template.pieces:
        items += _piece(piece, template, style)
    for seam in template.seams:
        items.append(Line("STONE-SEAM", seam.start, seam.end, data=(
            ("seam", seam.seam_id), ("joint_mm", seam.joint_mm), ("between", " ".join(seam.pieces)))))
        items.append(_label(seam.start, seam.end, f"{seam.seam_id}, joint {words.short(seam.joint_mm)}", 0.7 * h))
    items += centre_line_items(template, 0.7 * h)
    for p in template.proposals:
        items.append(Line("STONE-UNDERNEATH", p.start, p.end, data=(("proposed seam", p.words),)))
        items.append(_label(p.start, p.end, "seam proposed", 0.6 * h))
    if style.sizes:
        for s in template.opening_sizes:
            if s.group == "opening" and s.decided:
                items.append(dimension(s, words, h, -2.0 * h))
    if style.splashes:
        items += _splashes(template, items, style)
    shown, _ = without_overlaps(items)
    notes = [
        words.note,
        "Frame: x to the right along the longest run as seen from the room, y away from the room.",
        U_NOTE,
        f"Measured curves are drawn within {shop.profile_tolerance + style.simplify_mm:g} mm; arcs are true arcs; no segment "
        f"is shorter than {SMALLEST_SPAN_MM:g} mm.",
        f"Material: {shop.material.name}, {words.length(shop.material.thickness)}.",
    ]
    if outline.unscaled:
        notes.insert(0, "NOT TO SCALE: no known length was given, only the shape is true. Do not cut from this file.")
    return Drawing(style.title, shown, tuple(notes), shop.profile_tolerance + style.simplify_mm)


# --------------------------------------------------------------------------------------------------- parts


def _piece(piece: Piece, template: Template, style: Style) -> list[Item]:
    h, words, sizes = style.text_height_mm, style.words, style.sizes
    items: list[Item] = [Polyline(
        "STONE-SHAPE", simplified(piece.vertices, style.simplify_mm), True, piece.piece_id,
        data=(("piece", piece.piece_id), ("area_mm2", piece.area.value), ("area_U_mm2", piece.area.U),
              ("weight_kg", piece.weight_kg), ("k", 2.0)),
    )]
    items += finished_runs(piece, template.spec.shop.profile_tolerance)
    for cutout in piece.cutouts:
        if not cutout.across_seam:
            items.append(Polyline("STONE-CUTOUT", cutout.vertices, True, cutout.cutout_id,
                                  data=(("cut-out", cutout.cutout_id), ("kind", cutout.kind), ("source", cutout.source))))
        if cutout.bowl:
            items.append(Polyline("STONE-UNDERNEATH", cutout.bowl, True, f"{cutout.cutout_id} bowl",
                                  data=(("reveal_mm", cutout.reveal_mm or 0.0),)))
        x, y = cutout.centre
        items.append(Text("STONE-NAMES", (x - 0.6 * h, y + 1.2 * h), named(cutout.kind, cutout.cutout_id), 0.7 * h,
                          align="right", names=(x, y)))
    items += [Circle("STONE-HOLE", hole.centre, hole.diameter_mm / 2.0, data=(("hole", hole.name),)) for hole in piece.holes]
    inner = _inner_sizes(piece, words) if sizes else []
    facts = (words.area(piece.area.value), words.weight(piece.weight_kg))
    width = max(text_width_mm(piece.piece_id, PIECE_NAME * h), *(text_width_mm(fact, PIECE_FACTS * h) for fact in facts))
    x, y = (float(v) for v in label_place(piece, (width + h, 4.5 * h), [(s.start, s.end) for s, _ in inner], h))
    items.append(Text("STONE-NAMES", (x, y + 0.9 * h), piece.piece_id, PIECE_NAME * h, align="centre", names=(x, y)))
    items += [Text("STONE-NAMES", (x, y - (0.5 + 1.3 * k) * h), fact, PIECE_FACTS * h, align="centre", names=(x, y))
              for k, fact in enumerate(facts)]
    outer = _outer_sides(piece, template)
    for edge in piece.edges:
        items += _edge_labels(edge, piece, template, style, edge.edge_id in outer)
    for corner in piece.corners:
        if corner.kind != "sharp":
            word = "R" if corner.kind == "rounded" else "clip"
            x, y = corner.at
            items.append(Text("STONE-NAMES", (x + 0.5 * h, y - 1.2 * h), f"{word} {words.short(corner.size_mm)}", 0.7 * h,
                              names=(x, y)))
    items += [dimension(s, words, height * h, 0.0) for s, height in inner]
    return items


def _inner_sizes(piece: Piece, words: LengthWords) -> list[tuple[Size, float]]:
    """Dimensions written across the stone, with the height of their text in units of the drawing's: depths, and the places of
    the cut-outs."""
    places = [s for s in piece.sizes if s.group == "cut-out" and not s.name.endswith(("width", "depth"))]
    return [*((s, 0.8) for s in depths_shown(piece, words)), *((s, 0.6) for s in places)]


def depths_shown(piece: Piece, words: LengthWords) -> list[Size]:
    """Depths to a wall, in the middle, where no cut-out is in the way; none that a side says in the same words."""
    out: list[Size] = []
    if any(e.finish in ("wall", "panel") for e in piece.edges):
        for s in piece.sizes:
            through = any(_polygon(c).intersects(shapely.LineString([s.start, s.end])) for c in piece.cutouts)
            if s.group == "depth" and s.name.endswith("middle") and not through and not said(piece, s, out, words):
                out.append(s)
    return out


def said(piece: Piece, size: Size, shown: Sequence[Size], words: LengthWords) -> bool:
    """Whether a side, or a size that is shown, says a size in the same words and the same direction."""
    others = [(length_words(e, words), np.subtract(e.end, e.start)) for e in piece.edges]
    others += [(words.quantity(s.quantity), np.subtract(s.end, s.start)) for s in shown]
    x, y = np.subtract(size.end, size.start)
    return any(text == words.quantity(size.quantity) and abs(float(way[0] * y - way[1] * x))
               < PARALLEL * float(np.hypot(*way) * np.hypot(x, y)) for text, way in others)


def centre_line_items(template: Template, h: float, only: Piece | None = None) -> list[Item]:
    """Centre lines of cabinets with their names, all or those that cross a piece."""
    out: list[Item] = []
    for name, start, end in template.centres:
        if only is None or polygon_of_vertices(only.vertices, 1.0).intersects(shapely.LineString([start, end])):
            (x, y), (dx, dy) = start, (start[0] - end[0], start[1] - end[1])
            level, reach = abs(dx) > abs(dy), 0.5 * h / math.hypot(dx, dy)
            out += [Line("STONE-CENTRES", a, b, data=(("centre line", name),)) for a, b in _outside(template, start, end)]
            out += [Text("STONE-NAMES", (x + reach * dx, y + reach * dy), f"centre of {name}", h,
                         align=("left" if dx > 0 else "right") if level else "centre",
                         valign="middle" if level else "bottom" if dy > 0 else "top", names=start)]
    return out


def _outside(template: Template, start: Point, end: Point) -> list[tuple[Point, Point]]:
    """What of a line lies outside of every cut-out, where there is no stone to mark."""
    cut = [_polygon(c) for p in template.pieces for c in p.cutouts]
    left = shapely.LineString([start, end]).difference(shapely.union_all(cut))
    return [(part.coords[0], part.coords[-1]) for part in shapely.get_parts(left) if part.length > NO_GAP_MM]


def finished_runs(piece: Piece, tolerance_mm: float) -> list[Item]:
    """Finished edges as open polylines, corner arcs between two finished edges included."""
    n = len(piece.boundary)
    finishes = [s.finish for s in piece.boundary]

    def shown(k: int) -> bool:
        if finishes[k] == "corner":
            return finishes[k - 1] == "finished" and finishes[(k + 1) % n] == "finished"
        return finishes[k] == "finished"

    flags = [shown(k) for k in range(n)]
    first = next((k for k in range(n) if flags[k] and not flags[k - 1]), 0 if all(flags) else None)
    if first is None:
        return []
    items: list[Item] = []
    run: list[tuple[float, float, float]] = []
    names: list[str] = []
    for step in range(n + 1):
        k = (first + step) % n
        if step < n and flags[k]:
            run += piece.boundary[k].vertices(tolerance_mm)
            names.append(piece.boundary[k].name)
        elif run:
            end = piece.boundary[k - 1].end.xy
            items.append(Polyline("STONE-FINISHED", (*run, (float(end[0]), float(end[1]), 0.0)), name=piece.piece_id,
                                  data=(("piece", piece.piece_id), ("edges", " ".join(n for n in names if "/" not in n)))))
            run, names = [], []
    return items


def _outer_sides(piece: Piece, template: Template) -> set[str]:
    """Edges with free room outside for a dimension: not seams, not sides of openings."""
    taken = {f"{o.spec.id} {side}" for o in template.openings for side in ("left", "right", "back")}
    return {e.edge_id for e in piece.edges if e.finish != "seam" and e.edge_id not in taken}


def _edge_labels(edge: PieceEdge, piece: Piece, template: Template, style: Style, outside: bool) -> list[Item]:
    h, words = style.text_height_mm, style.words
    start, end = np.array(edge.start), np.array(edge.end)
    length = float(np.hypot(*(end - start)))
    if length < SHORT_MM:
        return []
    left = np.array([-(end - start)[1], (end - start)[0]]) / length
    middle = (start + end) / 2.0
    items: list[Item] = []
    at = start + 0.25 * (end - start) + (max(edge.outward_mm, 0.0) + 0.8 * h) * left
    offset = "" if abs(edge.outward_mm) < NO_OFFSET_MM else f", {offset_words(edge, words)}"
    text = f"{edge.edge_id}: {finish_words(edge, words)}{offset}"
    if text_width_mm(text, EDGE_NAME * h) < EDGE_NAME_ROOM * length and edge.finish != "seam":
        items.append(Text("STONE-NAMES", (float(at[0]), float(at[1])), text, EDGE_NAME * h,
                          upright(math.atan2(*(end - start)[::-1])), "centre", "middle"))
    # a joint is dimensioned once, on the first of its two pieces
    second = any(edge.edge_id == seam.seam_id and piece.piece_id == seam.pieces[1] for seam in template.seams)
    if style.sizes and not second:
        base = middle + (-3.2 if outside else 2.6) * h * left
        q = edge.length
        items.append(Dimension(
            "STONE-SIZES", edge.start, edge.end, (float(base[0]), float(base[1])),
            text=length_words(edge, words), height_mm=0.8 * h,
            data=(("piece", piece.piece_id), ("edge", edge.edge_id), ("length_mm", q.value), ("length_U_mm", q.U), ("k", 2.0)),
        ))
    return items


def dimension(s: Size, words: LengthWords, h: float, offset: float) -> Dimension:
    """A size as a dimension with texts of height ``h``, ``offset`` to the left of its direction."""
    a, b = np.array(s.start), np.array(s.end)
    d = b - a
    n = float(np.hypot(*d)) or 1.0
    left = np.array([-d[1], d[0]]) / n
    base = (a + b) / 2.0 + offset * left
    return Dimension("STONE-SIZES", s.start, s.end, (float(base[0]), float(base[1])),
                     text=words.quantity(s.quantity, s.decided), height_mm=h,
                     data=(("dimension", s.name), ("value_mm", s.quantity.value), ("U_mm", s.quantity.U), ("k", 2.0)))


def _label(start: Point, end: Point, text: str, h: float) -> Text:
    a, b = np.array(start), np.array(end)
    d = b - a
    n = float(np.hypot(*d)) or 1.0
    at = (a + b) / 2.0 + np.array([-d[1], d[0]]) / n * h
    return Text("STONE-NAMES", (float(at[0]), float(at[1])), text, h, upright(math.atan2(*d[::-1])), "centre", "middle")


def label_place(piece: Piece, size: tuple[float, float], lines: Sequence[tuple[Point, Point]], h: float) -> Array:
    """Middle of a box of ``size`` (width, height) within the stone, clear of cut-outs and of dimension lines with their texts;
    where the box fits nowhere, the place furthest from all of them."""
    free = _free_stone(piece, lines, h)
    found = roomiest(free, size, h)
    if found is not None:
        return found
    room_left = free if not free.is_empty else polygon_of_vertices(piece.vertices, 1.0)
    return np.asarray(shapely.get_coordinates(shapely.ops.polylabel(_largest(room_left), 20.0))[0])


def _free_stone(piece: Piece, lines: Sequence[tuple[Point, Point]], h: float) -> BaseGeometry:
    """The stone without its rim, along which the edges' names stand, cut-outs and lines."""
    taken = [_polygon(c).buffer(h) for c in piece.cutouts] + [shapely.LineString(line).buffer(1.3 * h) for line in lines]
    return shapely.difference(polygon_of_vertices(piece.vertices, 1.0).buffer(-1.5 * h), shapely.union_all(taken))


def roomiest(free: BaseGeometry, size: tuple[float, float], h: float) -> Array | None:
    """Middle of a box of ``size`` (width, height) at the roomiest place of a grid; None where it fits nowhere."""
    if free.is_empty:
        return None
    x0, y0, x1, y1 = free.bounds
    step = max(h, (x1 - x0) / LABEL_GRID, (y1 - y0) / LABEL_GRID)
    x, y = (g.ravel() for g in np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step)))
    shapely.prepare(free)
    boxes = shapely.box(x - size[0] / 2, y - size[1] / 2, x + size[0] / 2, y + size[1] / 2)
    fits = shapely.contains_properly(free, boxes)
    if not fits.any():
        return None
    room = shapely.distance(boxes[fits], free.boundary)
    k = np.flatnonzero(fits)[int(np.argmax(room))]
    return np.array([x[k], y[k]])


def name_within(piece: Piece, lines: Sequence[tuple[Point, Point]], h: float, heights: Sequence[float]) -> Text:
    """A piece's name within it, upright or turned, as large as it fits; else where most room is."""
    free = _free_stone(piece, lines, 0.5 * h)
    for height in (k * h for k in heights):
        width = text_width_mm(piece.piece_id, height)
        for turn, size in ((0.0, (width, height)), (math.pi / 2.0, (height, width))):
            found = roomiest(free, size, 0.5 * h)
            if found is not None:
                at = (float(found[0]), float(found[1]))
                return Text("STONE-NAMES", at, piece.piece_id, height, turn, "centre", "middle", at)
    x, y = label_place(piece, (width, height), lines, h)
    return Text("STONE-NAMES", (float(x), float(y)), piece.piece_id, height, 0.0, "centre", "middle", (float(x), float(y)))


def _polygon(cutout: Cutout) -> shapely.Polygon:
    return polygon_of_vertices(cutout.vertices, 1.0)


def _largest(shape: shapely.Geometry) -> shapely.Polygon:
    parts = [g for g in shapely.get_parts(shape) if isinstance(g, shapely.Polygon)]
    return max(parts, key=lambda g: g.area)


def _beneath(template: Template, h: float) -> list[Item]:
    """Appliances and openings below or beside the stone."""
    items: list[Item] = []
    for name, kind, box in template.appliances:
        items.append(Polyline("STONE-UNDERNEATH", tuple((float(x), float(y), 0.0) for x, y in box), True, name))
        x, y = box.mean(axis=0)
        items.append(Text("STONE-UNDERNEATH", (float(x), float(y)), named(kind, name), 0.7 * h, align="centre",
                          valign="middle", names=(float(x), float(y))))
    for opening in template.openings:
        a, b = opening.frame.at(0.0, 0.0).xy, opening.frame.at(0.0, 2.0 * OPENING_NAME_MM).xy
        items.append(Line("STONE-UNDERNEATH", (float(a[0]), float(a[1])), (float(b[0]), float(b[1])),
                          data=(("opening", opening.spec.id), ("width_mm", opening.clear_mm))))
        items.append(_label((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), f"{opening.spec.id}, middle", 0.7 * h))
    return items


def _splashes(template: Template, items: Sequence[Item], style: Style) -> list[Item]:
    """Splashes laid flat below everything else, one under the other, with the plan of their foot."""
    if not template.splashes:
        return []
    h = style.text_height_mm
    boxes = [item_bounds(i) for i in items] or [(0.0, 0.0, 0.0, 0.0)]
    x0, y = min(b[0] for b in boxes), min(b[1] for b in boxes)
    out: list[Item] = []
    for s in template.splashes:
        y -= s.height_mm + 7.0 * h
        out.append(Text("STONE-NAMES", (x0, y - 1.2 * h), f"{s.piece_id}: {upright_words(s, style.words)}", 0.7 * h))
        out += splash_items(s, (x0, y), style.words, 0.8 * h)
        y -= 4.0 * h
    return out


def splash_items(s: Splash, origin: Point, words: LengthWords, h: float) -> list[Item]:
    """An upright piece laid flat with its lower left corner at a place, its dimensions with texts of height ``h``."""
    x0, y0 = origin

    def moved(vertices: Sequence[tuple[float, float, float]]) -> tuple[tuple[float, float, float], ...]:
        return tuple((x + x0, y + y0, b) for x, y, b in vertices)

    n, top = s.length.value, y0 + s.height_mm
    items: list[Item] = [Polyline("STONE-SHAPE", moved(s.vertices), True, s.piece_id, data=(
        ("piece", s.piece_id), ("kind", s.kind), ("length_mm", n), ("length_U_mm", s.length.U), ("k", 2.0)))]
    items += [Polyline("STONE-CUTOUT", moved(c.vertices), True, c.cutout_id, data=(("cut-out", c.cutout_id),))
              for c in s.cutouts]
    items.append(Dimension("STONE-SIZES", (x0, top), (x0 + n, top), (x0 + n / 2, top + 2.0 * h), height_mm=h,
                           text=words.quantity(s.length)))
    items.append(Dimension("STONE-SIZES", (x0 + n, y0), (x0 + n, top), (x0 + n + 3.0 * h, y0 + s.height_mm / 2),
                           text=words.length(s.height_mm), height_mm=h))
    if s.joint == "mitred":
        items.append(Text("STONE-NAMES", (x0 + n / 2, top - 0.4 * h), "mitred 45°", h, 0.0, "centre", "top"))
        for at, made, turn in ((x0 + 0.4 * h, s.ends[0], 1.0), (x0 + n - 0.4 * h, s.ends[1], -1.0)):
            if made == "mitred":
                items.append(Text("STONE-NAMES", (at, y0 + s.height_mm / 2), "45°", h, align="left" if turn > 0 else "right",
                                  valign="middle"))
    if s.follows_wall:
        items.append(Polyline("SPLASH-FOOT", moved(_foot_flat(s, -5.6 * h)), True, f"{s.piece_id} foot"))
    return items


def upright_words(s: Splash, words: LengthWords) -> str:
    """An upright piece in words: what it is, how thick and heavy, and how its foot meets the wall."""
    text = f"{s.kind}, {words.short(s.thickness_mm)} thick, {words.weight(s.weight_kg)}"
    if s.joint == "mitred":
        ends = [f"{side} end" for side, made in zip(("left", "right"), s.ends, strict=True) if made == "mitred"]
        text += f", upper edge{''.join(f', {end}' for end in ends)} mitred 45° to {s.top_id}; the line is the outer arris"
    elif s.joint == "flat":
        text += f", glued flat beneath {s.edge_id} of {s.top_id}, face flush"
    if s.grain_runs_on:
        text += f", pattern runs on from {s.top_id} over the joint"
    if s.foot_extra_mm <= NO_GAP_MM:
        return text
    if s.follows_wall:
        return f"{text}, foot scribed to the wall, {words.short(s.foot_extra_mm)} deep"
    return f"{text}, straight, largest gap behind it {words.short(s.foot_extra_mm)}"


def _foot_flat(s: Splash, y: float) -> list[tuple[float, float, float]]:
    """The foot turned so that its straight front lies along x, room below."""
    points = np.array(s.foot)[:, :2]
    b, a = points[-2], points[-1]  # front, from the end of the edge back to its start
    d = (b - a) / np.hypot(*(b - a))
    # walls run right to left along the piece: turned by half a turn they read as seen from the room
    rotation = np.array([[-d[0], -d[1]], [d[1], -d[0]]])
    flat = (points - b) @ rotation.T
    return [(float(x), float(v) + y, 0.0) for x, v in flat]
