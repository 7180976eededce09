"""The shop drawing on paper: an overview with what was agreed, a sheet for every piece, then schedules, checks and cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.model import Outline
from phototemplate.template.constants import NAME_HEIGHTS, OPENING_NAME_MM, PICTURE_ROOM, ROW, SHEET_TEXT_MM
from phototemplate.template.drawing import Circle, Drawing, Item, Line, Polyline, Text
from phototemplate.template.labels import without_overlaps
from phototemplate.template.lengths import LengthWords
from phototemplate.template.outline_drawing import U_NOTE
from phototemplate.template.paper_sheets import (
    Block,
    Box,
    DrawingAt,
    Page,
    PaperSheet,
    Picture,
    Rows,
    SheetStyle,
    caution_blocks,
    flowed,
    heading,
    paragraph,
    sheets_of,
    table_blocks,
    to_scale,
    wrapped,
)
from phototemplate.template.piece_sheets import cutout_words, piece_pages, reveal_words
from phototemplate.template.piece_types import Template
from phototemplate.template.schedule import (
    check_schedule,
    corner_schedule,
    edge_schedule,
    named,
    piece_schedule,
    shim_schedule,
    size_schedule,
)
from phototemplate.template.shop_drawing import centre_line_items, finished_runs, name_within


def shop_sheets(
    template: Template, outline: Outline, style: SheetStyle, words: LengthWords, warnings: Sequence[str] = (),
    changed: Rows = (),
) -> tuple[PaperSheet, ...]:
    """Every sheet of a template; ``warnings`` stand on the first, ``changed`` on the second: a table, header first, of what
    differs from the state last handed out."""
    pages = [_overview(template, outline, style, words, warnings), *piece_pages(template, style, words)]
    pages += _photo_pages(template, style)
    if changed:
        blocks = [heading("Changed since last handed out"), *table_blocks(changed, style.room.width)]
        pages[1:1] = _table_pages("Changes", blocks, style)
    pages += _table_pages("Schedules", _schedules(template, words, style.room.width), style)
    return sheets_of(pages, style)


def outline_sheets(draw: DrawingAt, schedule: Rows, warnings: Sequence[str], style: SheetStyle) -> tuple[PaperSheet, ...]:
    """The measured outline to scale, then its schedule, what was noticed, and the cautions."""
    items, scale = to_scale(draw, style.room, style.unit)
    room = style.room.width
    blocks: list[Block] = [heading("Edges"), *table_blocks(schedule, room), Block((), 4.0), heading("Notes")]
    blocks += [paragraph(text, room, "SHEET-CAUTION") for text in warnings]
    blocks += [paragraph(text, room) for text in draw(1.0).notes]
    shown = tuple(i for i in items if not i.layer.startswith("SHEET-"))
    pages = [Page("Outline as measured", shown, scale)]
    pages += _table_pages("Edges", [*blocks, *caution_blocks(room)], style)
    return sheets_of(pages, style)


def _overview(
    template: Template, outline: Outline, style: SheetStyle, words: LengthWords, warnings: Sequence[str]
) -> Page:
    """The whole plan with the names of pieces, seams and openings, and what was agreed beside it."""
    room = style.room
    beside = Box(room.x1 - 0.4 * room.width, room.y0, room.x1, room.y1)

    def draw(h: float) -> Drawing:
        return _plan(template, outline, h)

    items, scale = to_scale(draw, Box(room.x0, room.y0, beside.x0 - 4.0, room.y1), style.unit)
    rows = agreed_rows(template, words)
    settle = [heading("To be settled before anything is cut")] if warnings else []
    blocks: list[Block] = [*settle, *(paragraph(text, beside.width, "SHEET-CAUTION") for text in warnings)]
    blocks += [heading("Agreed"), *table_blocks(rows, beside.width), Block((), 4.0), paragraph(words.note, beside.width),
              paragraph(U_NOTE, beside.width)]
    agreed: list[Item] = flowed(blocks, beside)[0]
    return Page("Overview", (*items, *agreed), scale)


def _photo_pages(template: Template, style: SheetStyle) -> list[Page]:
    """Photos of the site with their numbers, places and notes."""
    across, down = PICTURE_ROOM
    room = style.room
    w, h = room.width / across, room.height / down
    pages = []
    for first in range(0, len(template.site_photos), across * down):
        items: list[Item] = []
        pictures = []
        for k, photo in enumerate(template.site_photos[first : first + across * down]):
            x, y = room.x0 + (k % across) * w, room.y1 - (k // across) * h
            said = f"{first + k + 1}: {photo.place}{', ' if photo.note else ''}{photo.note}"
            lines = wrapped(said, SHEET_TEXT_MM, w - 4.0)[:3]
            items += [Text("SHEET-TEXT", (x, y - h + 3.0 + ROW * SHEET_TEXT_MM * (len(lines) - 1 - j)), line, SHEET_TEXT_MM)
                      for j, line in enumerate(lines)]
            pictures.append(Picture(photo.path, Box(x, y - h + 5.0 + ROW * SHEET_TEXT_MM * 3, x + w - 4.0, y)))
        pages.append(Page("Site photos", tuple(items), None, tuple(pictures)))
    return pages


def _plan(template: Template, outline: Outline, h: float) -> Drawing:
    """Pieces, seams, openings and appliances with their names, nothing else."""
    items: list[Item] = []
    labels: list[Item] = []
    beneath = [(a, b) for _, a, b in template.centres]
    beneath += [((float(p[0]), float(p[1])), (float(q[0]), float(q[1])))
                for _, _, box in template.appliances for p, q in zip(box, np.roll(box, -1, axis=0), strict=True)]
    for piece in template.pieces:
        items += [Polyline("STONE-SHAPE", piece.vertices, True, piece.piece_id),
                  *finished_runs(piece, template.spec.shop.profile_tolerance)]
        items += [Polyline("STONE-CUTOUT", c.vertices, True, c.cutout_id) for c in piece.cutouts if not c.across_seam]
        items += [Circle("STONE-HOLE", hole.centre, hole.diameter_mm / 2.0) for hole in piece.holes]
        labels.append(name_within(piece, beneath, h, NAME_HEIGHTS))
        labels += [Text("STONE-NAMES", c.centre, c.cutout_id, h, 0.0, "centre", "middle", c.centre) for c in piece.cutouts]
    for seam in template.seams:
        items.append(Line("STONE-SEAM", seam.start, seam.end))
        labels.append(Text("STONE-NAMES", (seam.end[0] + 0.5 * h, seam.end[1] + 0.5 * h), named("seam", seam.seam_id), h,
                           names=seam.end))
    items += centre_line_items(template, h)
    for name, _, box in template.appliances:
        items.append(Polyline("STONE-UNDERNEATH", tuple((float(x), float(y), 0.0) for x, y in box), True, name))
        x, y = box.mean(axis=0)
        at = (float(x), float(y))
        labels.append(Text("STONE-UNDERNEATH", at, name, h, 0.0, "centre", "middle", at))
    for k, photo in enumerate(template.site_photos):
        items.append(Circle("SHEET-TEXT", photo.at, 0.4 * h))
        labels.append(Text("SHEET-TEXT", (photo.at[0] + h, photo.at[1] + h), f"photo {k + 1}", h, names=photo.at))
    for opening in template.openings:
        x, y = opening.frame.at(0.0, OPENING_NAME_MM).xy
        labels.append(Text("STONE-UNDERNEATH", (float(x), float(y)), opening.spec.id, h, 0.0, "centre", "middle"))
    shown, _ = without_overlaps([*items, *labels])
    return Drawing("Overview", shown)


def agreed_rows(template: Template, words: LengthWords) -> list[tuple[str, str]]:
    """What somebody signs for: material, overhangs, corners, seams, openings, cut-outs and appliances."""
    material = template.spec.shop.material
    rows = [("what", "agreed"), ("material", f"{material.name}, {words.short(material.thickness)}")]
    profiles: dict[str, list[str]] = {}
    for p in template.pieces:
        for e in p.edges:
            if e.profile:
                made = ("mitred, " if e.mitred_to else "") + e.profile
                made += f", {words.short(e.face_mm)} high" if e.face_mm else ""
                profiles.setdefault(made, []).append(e.edge_id)
    rows += [(f"edge {made}", ", ".join(dict.fromkeys(names))) for made, names in profiles.items()]
    overhangs: dict[str, list[str]] = {}
    for p in template.pieces:
        for e in p.edges:
            if e.outward_mm > 0:
                overhangs.setdefault(words.short(e.outward_mm), []).append(e.edge_id)
    rows += [(f"overhang {size}", ", ".join(dict.fromkeys(names))) for size, names in overhangs.items()]
    corners: dict[str, list[str]] = {}
    for p in template.pieces:
        for c in p.corners:
            if c.kind != "sharp":
                corners.setdefault(f"{'radius' if c.kind == 'rounded' else 'clip'} {words.short(c.size_mm)}", []).append(c.name)
    rows += [(size, ", ".join(dict.fromkeys(names))) for size, names in corners.items()]
    rows += [(named("seam", s.seam_id), f"between {' and '.join(s.pieces)}, joint {words.short(s.joint_mm)}")
             for s in template.seams]
    rows += [(named("opening", o.spec.id), f"{words.length(o.clear_mm)} between the stones") for o in template.openings]
    for p in template.pieces:
        for cut in p.cutouts:
            rows.append((named(cut.kind, cut.cutout_id), cutout_words(p, cut, words)))
            if cut.reveal_mm is not None:
                rows.append(("", reveal_words(cut.reveal_mm, words)))
    rows += [(named(kind, name), "under the stone") for name, kind, _ in template.appliances]
    return list(dict.fromkeys(rows))


def _table_pages(name: str, blocks: Sequence[Block], style: SheetStyle) -> list[Page]:
    return [Page(name, tuple(items)) for items in flowed(blocks, style.room)]


def _schedules(template: Template, words: LengthWords, room: float) -> list[Block]:
    parts: list[tuple[str, Rows]] = [
        ("Pieces", piece_schedule(template, words)),
        ("Edges, as the piece runs anticlockwise", edge_schedule(template, words)),
        ("Corners", corner_schedule(template, words)),
        ("Overall, depths and diagonals", size_schedule(template, words, ("overall", "depth", "diagonal"))),
        ("Cut-outs and openings", size_schedule(template, words, ("cut-out", "opening", "gap"))),
        ("Shims, against the highest place", shim_schedule(template)),
        ("Checks; usual limits warn, they do not replace an engineer, the code or the maker's sheet",
         check_schedule(template, words)),
    ]
    blocks: list[Block] = []
    for text, rows in parts:
        if len(rows) > 1:
            blocks += [heading(text), *table_blocks(rows, room), Block((), 4.0)]
    return [*blocks, *caution_blocks(room)]
