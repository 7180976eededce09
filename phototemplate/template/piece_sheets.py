"""One sheet a piece: the piece at the largest scale that fills it, with its sides, corners, cut-outs and holes in tables."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from phototemplate.model import Array
from phototemplate.template.boundary import polygon_of_vertices
from phototemplate.template.constants import CODE_MM, NO_OFFSET_MM, SHORT_MM, SQUARELY, TABLE_SHARE
from phototemplate.template.drawing import Circle, Dimension, Drawing, Item, Line, Polyline, Text
from phototemplate.template.labels import without_overlaps
from phototemplate.template.lengths import LengthWords
from phototemplate.template.paper_sheets import (
    Block,
    Box,
    DrawingAt,
    Page,
    Rows,
    SheetStyle,
    flowed,
    heading,
    paragraph,
    table_blocks,
    to_scale,
)
from phototemplate.template.piece_types import Cutout, Hole, Piece, Size, Splash, Template
from phototemplate.template.rules import TEAM, team_for
from phototemplate.template.schedule import finish_words, length_words, named, offset_words
from phototemplate.template.shop_drawing import (
    centre_line_items,
    depths_shown,
    dimension,
    finished_runs,
    said,
    splash_items,
    upright_words,
)
from phototemplate.template.square_code import code_text, piece_code, square_code


def letter(k: int) -> str:
    """A, B, ... Z, AA, AB, ... of the sides of a piece."""
    return ("" if k < 26 else chr(ord("A") + k // 26 - 1)) + chr(ord("A") + k % 26)


def piece_pages(template: Template, style: SheetStyle, words: LengthWords) -> list[Page]:
    """A sheet for every top and every upright piece; tables that do not fit go on to a sheet of their own."""
    pages: list[Page] = []
    room = style.room
    for part in template.parts:
        table_room = Box(room.x1 - TABLE_SHARE * room.width, room.y0, room.x1, room.y1)
        plan_room = Box(room.x0, room.y0, table_room.x0 - 4.0, room.y1)
        if isinstance(part, Piece):
            draw, blocks = _top_drawing(part, template, words), _top_blocks(part, template, words, table_room.width)
        else:
            draw, blocks = _upright_drawing(part, words), _upright_blocks(part, words, table_room.width)
        items, scale = to_scale(draw, plan_room, style.unit)
        tables = flowed([_code_block(template, part, style, table_room.width), *blocks], table_room)
        name = f"Piece {part.piece_id}"
        pages.append(Page(name, (*items, *tables[0]), scale))
        pages += [Page(f"{name}, continued", tuple(more)) for more in tables[1:]]
    return pages


def _code_block(template: Template, part: Piece | Splash, style: SheetStyle, room: float) -> Block:
    """The piece's square code at the right of the column, its code in letters beside it."""
    code = piece_code(template, part, style.title.revision)
    items = square_code(code_text(style.title.job, part, code), (room - CODE_MM, 0.0), CODE_MM)
    at = (room - CODE_MM - 2.0, -CODE_MM / 2.0)
    return Block((*items, Text("SHEET-TEXT", at, code, 3.0, align="right", valign="middle")), CODE_MM + 1.0, True)


# --------------------------------------------------------------------------------------------------- tops


def _top_drawing(piece: Piece, template: Template, words: LengthWords) -> DrawingAt:
    def draw(h: float) -> Drawing:
        items: list[Item] = [Polyline("STONE-SHAPE", piece.vertices, True, piece.piece_id)]
        items += finished_runs(piece, template.spec.shop.profile_tolerance)
        for cutout in piece.cutouts:
            if not cutout.across_seam:
                items.append(Polyline("STONE-CUTOUT", cutout.vertices, True, cutout.cutout_id))
            if cutout.bowl:
                items.append(Polyline("STONE-UNDERNEATH", cutout.bowl, True, f"{cutout.cutout_id} bowl"))
            items += _centre_lines(cutout, h)
        items += centre_line_items(template, h, piece)
        items += [Circle("STONE-HOLE", hole.centre, hole.diameter_mm / 2.0) for hole in piece.holes]
        labels = [*_side_labels(piece, words, h), *_size_labels(piece, words, h), *_corner_labels(piece, words, h)]
        labels += [Text("STONE-NAMES", _beside(hole, h), _short(hole, piece), h, names=hole.centre) for hole in piece.holes]
        labels += [Text("STONE-NAMES", (c.centre[0] + 0.5 * h, c.centre[1] + 0.5 * h), c.cutout_id, h, names=c.centre)
                   for c in piece.cutouts]
        shown, _ = without_overlaps([*items, *labels])
        return Drawing(piece.piece_id, shown)

    return draw


def _centre_lines(cutout: Cutout, h: float) -> list[Item]:
    """Centre lines along and across a cut-out: a cross in its middle and strokes across its rim, room for numbers between."""
    polygon = polygon_of_vertices(cutout.vertices, 0.5)
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    centre, out = np.array(cutout.centre), []
    for side in (box[1] - box[0], box[2] - box[1]):
        half = float(np.hypot(*side)) / 2.0
        along = side / max(2.0 * half, 1e-9)
        for a, b in ((-half - 2.0 * h, h - half), (-min(h, half), min(h, half)), (half - h, half + 2.0 * h)):
            (ax, ay), (bx, by) = centre + a * along, centre + b * along
            out.append(Line("STONE-CENTRES", (float(ax), float(ay)), (float(bx), float(by))))
    return list(out)


def _short(hole: Hole, piece: Piece) -> str:
    """A hole's name without that of its cut-out, where no other hole is called so."""
    owners = [f"{c.cutout_id} " for c in piece.cutouts]
    short = [next((h.name.removeprefix(o) for o in owners if h.name.startswith(o)), h.name) for h in piece.holes]
    mine = short[piece.holes.index(hole)]
    return mine if short.count(mine) == 1 else hole.name


def _beside(hole: Hole, h: float) -> tuple[float, float]:
    return hole.centre[0] + hole.diameter_mm / 2.0 + 0.5 * h, hole.centre[1] + 0.5 * h


def _side_labels(piece: Piece, words: LengthWords, h: float) -> list[Item]:
    """A letter inside every side, its length outside."""
    out: list[Item] = []
    for k, edge in enumerate(piece.edges):
        start, end = np.array(edge.start), np.array(edge.end)
        d = end - start
        length = float(np.hypot(*d)) or 1.0
        left = np.array([-d[1], d[0]]) / length
        inside = start + 0.5 * d + 1.4 * h * left
        out.append(Text("STONE-NAMES", (float(inside[0]), float(inside[1])), letter(k), 1.4 * h, 0.0, "centre", "middle"))
        if length >= SHORT_MM:
            base = start + 0.5 * d - 3.0 * h * left
            out.append(Dimension("STONE-SIZES", edge.start, edge.end, (float(base[0]), float(base[1])),
                                 text=length_words(edge, words), height_mm=h))
    return out


def _size_labels(piece: Piece, words: LengthWords, h: float) -> list[Item]:
    """Depth to a wall in the middle, the place of the cut-outs and their size, and the overall size of what is no rectangle;
    nothing that a side, or a dimension along it, says in the same words."""
    depths = depths_shown(piece, words)
    out: list[Item] = [dimension(s, words, h, 0.0) for s in (*depths, *(s for s in piece.sizes if s.group == "cut-out"))]
    if len(piece.edges) != 4:
        out += [_overall(piece, s, words, h) for s in piece.sizes if s.group == "overall" and not said(piece, s, depths, words)]
    return out


def _overall(piece: Piece, s: Size, words: LengthWords, h: float) -> Dimension:
    """Overall length below the piece, overall depth on its left."""
    points = np.array(piece.vertices)[:, :2]
    low, high = points.min(axis=0) - 7.0 * h, points.max(axis=0)
    along = s.name == "overall length"
    base = (float(high[0]) / 2.0, float(low[1])) if along else (float(low[0]), float(high[1]) / 2.0)
    return Dimension("STONE-SIZES", s.start, s.end, base, "linear", 0.0 if along else math.pi / 2.0,
                     words.quantity(s.quantity), h)


def _corner_labels(piece: Piece, words: LengthWords, h: float) -> list[Item]:
    out: list[Item] = []
    for c in piece.corners:
        if c.kind != "sharp":
            word = "R" if c.kind == "rounded" else "clip"
            out.append(Text("STONE-NAMES", (c.at[0] + 0.4 * h, c.at[1] + 0.4 * h), f"{word} {words.short(c.size_mm)}", h,
                            names=c.at))
    return out


def _top_blocks(piece: Piece, template: Template, words: LengthWords, room: float) -> list[Block]:
    material = template.spec.shop.material
    facts = (f"Top, {material.name}, {words.short(material.thickness)} thick, {words.area(piece.area.value)}, "
             f"{words.weight(piece.weight_kg)}. Finished face up; every size is of the finished face.")
    blocks = [Block((Text("STONE-NAMES", (0.0, -6.0), piece.piece_id, 5.0),), 9.0, True), paragraph(facts, room)]
    blocks += [paragraph(carry_words(piece.weight_kg), room, "SHEET-CAUTION")]
    blocks += [heading("Sides"), *table_blocks(_side_rows(piece, words), room)]
    corners = [(c.name, f"{math.degrees(c.angle.value):.2f}°", f"{c.kind} {words.short(c.size_mm)}" if c.size_mm else c.kind)
               for c in piece.corners]
    blocks += [heading("Corners"), *table_blocks([("between", "inside angle", "made"), *_lettered(piece, corners)], room)]
    cut = _cut_rows(piece, words)
    if len(cut) > 1:
        blocks += [heading("Cut-outs and holes"), *table_blocks(cut, room)]
    return blocks


def _side_rows(piece: Piece, words: LengthWords) -> Rows:
    rows = [("", "side", "edge finish", "offset", "length")]
    rows += [(letter(k), e.edge_id, finish_words(e, words), offset_words(e, words), length_words(e, words))
             for k, e in enumerate(piece.edges)]
    return rows


def _lettered(piece: Piece, rows: Sequence[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    """Corners named by the letters of their sides."""
    letters = {e.edge_id: letter(k) for k, e in enumerate(piece.edges)}
    return [("/".join(letters.get(n, n) for n in name.split("/")), angle, made) for name, angle, made in rows]


def _cut_rows(piece: Piece, words: LengthWords) -> Rows:
    rows = [("what", "size", "place of its centre")]
    for c in piece.cutouts:
        rows.append((named(c.kind, c.cutout_id), cutout_words(piece, c, words), place_words(piece, c.centre, words)))
        if c.reveal_mm is not None:
            rows.append(("", reveal_words(c.reveal_mm, words), ""))
    rows += [(h.name, f"hole of {words.short(h.diameter_mm)}", place_words(piece, h.centre, words)) for h in piece.holes]
    return rows


def cutout_words(piece: Piece, cutout: Cutout, words: LengthWords) -> str:
    """Width by depth of a cut-out, or where its shape comes from."""
    names = (f"{cutout.cutout_id} width", f"{cutout.cutout_id} depth")
    return " x ".join(words.short(s.quantity.value) for s in piece.sizes if s.name in names) or cutout.source


def reveal_words(reveal_mm: float, words: LengthWords) -> str:
    """Whether the rim of the bowl shows."""
    if abs(reveal_mm) < NO_OFFSET_MM:
        return "zero reveal: flush with the bowl"
    side = "positive: the rim shows" if reveal_mm > 0 else "negative: the stone reaches over the bowl"
    return f"reveal {words.short(abs(reveal_mm))}, {side}"


def place_words(piece: Piece, xy: tuple[float, float], words: LengthWords) -> str:
    """A place by its distances from the two nearest straight sides that are not parallel and lie across from it."""
    found: list[tuple[bool, float, str, Array]] = []
    for k, e in enumerate(piece.edges):
        a, b = np.array(e.start), np.array(e.end)
        length = float(np.hypot(*(b - a)))
        if length < SHORT_MM:
            continue
        n = np.array([-(b - a)[1], (b - a)[0]]) / length
        beside = not 0.0 <= float((np.array(xy) - a) @ (b - a)) <= length**2  # measured to the side's prolongation
        found.append((beside, float((np.array(xy) - a) @ n), letter(k), n))
    found = sorted((f for f in found if f[1] > 0), key=lambda f: f[:2])
    for k, second in enumerate(found[1:], 1):
        if abs(float(found[0][3] @ second[3])) < SQUARELY:
            return " and ".join(f"{words.length(d)} from {name}" for _, d, name, _ in (found[0], found[k]))
    return ""


def carry_words(weight_kg: float) -> str:
    """The caution about carrying that stands on the piece's own sheet."""
    people = team_for(weight_kg)
    who = "lifting gear" if people > TEAM else f"{people} people at least, or lifting gear" if people > 1 else "one person"
    return f"Carry upright: {who}. Cut, grind and drill wet or with extraction; silica dust destroys lungs."


# ------------------------------------------------------------------------------------------- upright pieces


def _upright_drawing(part: Splash, words: LengthWords) -> DrawingAt:
    def draw(h: float) -> Drawing:
        items = splash_items(part, (0.0, 0.0), words, h)
        for c in part.cutouts:
            items += [*_centre_lines(c, h), *_socket_sizes(part, c, words, h)]
        shown, _ = without_overlaps(items)
        return Drawing(part.piece_id, shown)

    return draw


def _socket_sizes(part: Splash, c: Cutout, words: LengthWords, h: float) -> list[Item]:
    """A cut-out of an upright piece: its centre from the left end and from the foot, and how large it is."""
    (x, y), (x1, y1) = c.centre, np.array(c.vertices)[:, :2].max(axis=0)
    return [
        Dimension("STONE-SIZES", (0.0, 0.0), (x, 0.0), (x / 2.0, -3.0 * h), text=words.length(x), height_mm=h),
        Dimension("STONE-SIZES", (x, 0.0), (x, y), (x - 2.0 * (x1 - x), y / 2.0), "linear", math.pi / 2.0, words.length(y), h),
        Text("STONE-NAMES", (float(x1) + h, float(y1) - h), _by(c, words), h, names=(float(x1), float(y1))),
    ]


def _by(c: Cutout, words: LengthWords) -> str:
    """Width by height of an upright rectangle."""
    return " x ".join(words.short(float(v)) for v in np.ptp(np.array(c.vertices)[:, :2], axis=0))


def _upright_blocks(part: Splash, words: LengthWords, room: float) -> list[Block]:
    facts = f"On {part.edge_id}: {upright_words(part, words)}, {words.area(part.area_mm2)}."
    rows = [("what", "size"), ("length", words.quantity(part.length)), ("height", words.length(part.height_mm))]
    rows += [(c.cutout_id.removeprefix(part.piece_id).strip(), f"{_by(c, words)}, centre {words.length(c.centre[0])} from the "
              f"left, {words.length(c.centre[1])} up") for c in part.cutouts]
    return [Block((Text("STONE-NAMES", (0.0, -6.0), part.piece_id, 5.0),), 9.0, True), paragraph(facts, room),
            paragraph(carry_words(part.weight_kg), room, "SHEET-CAUTION"), *table_blocks(rows, room)]
