"""Labels to stick on the pieces: name, code, size and weight, with a square code, many on a sheet."""

from __future__ import annotations

import numpy as np

from phototemplate.template.constants import LABEL_COLUMNS, LABEL_MM, SHEET_MARGIN_MM, SHEET_TEXT_MM
from phototemplate.template.drawing import Drawing, Item, Polyline, Text
from phototemplate.template.lengths import LengthWords
from phototemplate.template.paper_sheets import PaperSheet, TitleBlock, cut_to, wrapped
from phototemplate.template.piece_sheets import carry_words
from phototemplate.template.piece_types import Piece, Splash, Template
from phototemplate.template.square_code import code_text, piece_code, square_code


def label_sheets(template: Template, title: TitleBlock, words: LengthWords, size_mm: tuple[float, float]) -> list[PaperSheet]:
    """A label for every piece, in reading order, on upright sheets."""
    width = (size_mm[0] - 2 * SHEET_MARGIN_MM) / LABEL_COLUMNS
    rows = int((size_mm[1] - 2 * SHEET_MARGIN_MM) / LABEL_MM)
    each = LABEL_COLUMNS * rows
    out = []
    for first in range(0, len(template.parts), each):
        items: list[Item] = []
        for k, part in enumerate(template.parts[first : first + each]):
            x = SHEET_MARGIN_MM + (k % LABEL_COLUMNS) * width
            y = size_mm[1] - SHEET_MARGIN_MM - (k // LABEL_COLUMNS) * LABEL_MM
            items += _label(template, part, title, words, (x, y), width)
        out.append(PaperSheet(Drawing(f"{title.job}: labels", tuple(items)), *size_mm, None))
    return out


def _label(
    template: Template, part: Piece | Splash, title: TitleBlock, words: LengthWords, corner: tuple[float, float], width: float
) -> list[Item]:
    x, y = corner
    h = LABEL_MM
    frame = ((x, y, 0.0), (x + width, y, 0.0), (x + width, y - h, 0.0), (x, y - h, 0.0))
    code = piece_code(template, part, title.revision)
    side = h - 16.0
    room = width - side - 6.0
    low, high = (np.array(part.vertices)[:, :2].min(axis=0), np.array(part.vertices)[:, :2].max(axis=0))
    size = " x ".join(words.short(float(d)) for d in high - low)
    kind = "top" if isinstance(part, Piece) else part.kind
    thickness = template.spec.shop.material.thickness if isinstance(part, Piece) else part.thickness_mm
    texts = [(code, 3.5), (f"{kind}, {size}", SHEET_TEXT_MM),
             (f"{template.spec.shop.material.name} {words.short(thickness)}", SHEET_TEXT_MM),
             (words.weight(part.weight_kg), SHEET_TEXT_MM)]
    texts += [(text, SHEET_TEXT_MM) for text in (title.job, title.customer, title.date) if text]
    items: list[Item] = [Polyline("SHEET-FRAME", frame, True)]
    items.append(Text("SHEET-TEXT", (x + 3.0, y - 8.0), cut_to(part.piece_id, 5.0, width - 6.0), 5.0))
    line = y - 14.0
    for text, height in texts:
        for part_of in wrapped(text, height, room):
            items.append(Text("SHEET-TEXT", (x + 3.0, line), cut_to(part_of, height, room), height))
            line -= 1.6 * height
    for text in wrapped(carry_words(part.weight_kg).partition(". ")[0] + ".", SHEET_TEXT_MM, room)[:2]:
        items.append(Text("SHEET-CAUTION", (x + 3.0, line), text, SHEET_TEXT_MM))
        line -= 1.6 * SHEET_TEXT_MM
    return items + square_code(code_text(title.job, part, code), (x + width - side - 2.0, y - 12.0), side)
