"""What to write back to a customer whose photos do not suffice: which photo, from where, with what in it.

As text for a messenger, and as a picture page for people who would rather look. What is missing is told by the photos and the
clicks so far; nothing is asked for that is there already.
"""

from __future__ import annotations

import io
import textwrap
from dataclasses import dataclass
from pathlib import Path

from phototemplate.atomic import write_bytes_atomic, write_text_atomic
from phototemplate.output.constants import PT_PER_MM
from phototemplate.output.paper import BOLD, PLAIN, PaperMapping, draw_items, new_canvas, paper_size, text_at
from phototemplate.studies.constants import MARGIN_MM
from phototemplate.studies.customer import constants as c
from phototemplate.studies.estimate_file import EstimateFile
from phototemplate.template.drawing import Circle, Drawing, Item, Line, Polyline, Text


@dataclass(frozen=True)
class Wanted:
    """What has to be asked for."""

    thing: bool
    """A sheet or card, or a length: nothing tells the scale"""
    views: tuple[str, ...]
    """Photos, of left, middle, right"""
    corners: tuple[tuple[str, int], ...] = ()
    """(corner, in how many photos it is) of those that are in less than two"""
    question: str = ""
    """A tape length that would narrow the range"""

    @property
    def nothing(self) -> bool:
        """Nothing is missing."""
        return not (self.thing or self.views or self.question)


def wanted(file: EstimateFile, photos: int, question: str = "", trouble: str = "") -> Wanted:
    """What is missing: ``photos`` that can be read, ``question`` and ``trouble`` as the fit gives them."""
    thing = not any(p.known for p in file.photos) and not file.lengths
    shown = {n: sum(n in p.points for p in file.photos) for run in file.runs for n in run.corners}
    poor = tuple((n, k) for n, k in shown.items() if k < c.SHOWN_OFTEN)
    if thing or trouble or photos < c.LEAST_PHOTOS or not file.runs:
        views = c.VIEWS if thing or trouble or photos == 0 else c.VIEWS[photos:] or c.VIEWS[1:2]
    else:
        views = c.VIEWS[1:] if poor else ()
    return Wanted(thing, views, poor, question)


def message_text(need: Wanted, paper: str, customer: str = "", shop: str = "") -> str:
    """The message as one sends it."""
    hello = f"Hello {customer},\n\n" if customer else "Hello,\n\n"
    end = f"\n\nThank you,\n{shop}" if shop else "\n\nThank you"
    if need.nothing:
        return f"{hello}thank you, your photos show all that is needed.{end}"
    parts = []
    if need.views:
        parts.append(_ASK[len(need.views) > 1].format(n=_NUMBERS[len(need.views)]))
        parts += [f"{k + 1}. {line}" for k, line in enumerate(photo_lines(need, paper))]
        parts.append(" ".join(_HOW))
    if need.question:
        parts.append(need.question)
    return hello + "\n\n".join(parts) + end


def photo_lines(need: Wanted, paper: str) -> list[str]:
    """One line for every photo."""
    sheet = _SHEET.format(paper=paper) if need.thing else _SHEET_STAYS
    return [f"{_FROM[view]} {sheet if k == 0 else _SAME}" for k, view in enumerate(need.views)]


_NUMBERS = {0: "no", 1: "one", 2: "two", 3: "three"}
_ASK = {
    False: "to give you a price I need {n} more photo of the counter:",
    True: "to give you a price I need {n} photos of the counter:",
}
_FROM = {
    "left": "From the left: stand about 5 ft (1.5 m) in front of the left end and look along the counter to the right.",
    "middle": "From the middle: stand about 6 ft (1.8 m) in front of it, so that both ends are in the picture.",
    "right": "From the right: stand about 5 ft (1.5 m) in front of the right end and look along the counter to the left.",
}
_SHEET = (
    "Before the first photo lay an empty sheet of {paper} paper flat on the counter, about in the middle and a hand's breadth "
    "behind the front edge; a payment card (number covered) does it too. It stays where it is until the last photo."
)
_SHEET_STAYS = "Lay the same sheet or card where it lay before, flat on the counter."
_SAME = "The sheet has to be in the picture."
_HOW = (
    "Please hold the phone at chin height and tilt it down a little.",
    "All corners of the counter that can be seen from there should be in the picture, also those at the wall.",
    "No zoom, no wide lens, no panorama, and please send the photos as files (documents) if your messenger can.",
    "Nothing has to be moved or taken apart, and please do not climb on anything.",
)


def message_drawing(need: Wanted) -> Drawing:
    """A counter from above with the sheet, and where to stand; a sketch, to no scale."""
    wide, deep, h = 2400.0, 620.0, 70.0
    items: list[Item] = [
        Polyline("FOUND-LINE", ((0, 0, 0), (wide, 0, 0), (wide, deep, 0), (0, deep, 0)), True, "counter"),
        Line("FOUND-NAMES", (-200.0, deep), (wide + 200.0, deep)),
        Text("FOUND-NAMES", (wide / 2, deep + 1.2 * h), "wall", h, align="centre", valign="middle"),
        Text("FOUND-NAMES", (0.2 * wide, 0.7 * deep), "counter", h, align="centre", valign="middle"),
    ]
    x, y = 0.5 * wide, 0.45 * deep
    sheet = [(x + a * 150.0, y + b * 105.0, 0.0) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    items.append(Polyline("STONE-CUTOUT", tuple(sheet), True))
    items.append(Text("STONE-CUTOUT", (x + 220.0, y), "sheet or card", 0.8 * h, valign="middle"))
    stand = {"left": (0.05 * wide, -1300.0), "middle": (0.5 * wide, -1600.0), "right": (0.95 * wide, -1300.0)}
    for k, view in enumerate(need.views):
        eye = stand[view]
        for to in ((0.0, 0.0), (wide, 0.0), (x, y)):
            begin, stop = ((eye[0] + s * (to[0] - eye[0]), eye[1] + s * (to[1] - eye[1])) for s in (0.13, 0.3))
            items.append(Line("FOUND-SIZES", begin, stop))
        items.append(Circle("FOUND-SIZES", eye, 1.3 * h))
        items.append(Text("FOUND-SIZES", eye, str(k + 1), 1.2 * h, align="centre", valign="middle"))
    return Drawing("where to stand", tuple(items))


def write_message(need: Wanted, folder: Path, paper: str, customer: str = "", shop: str = "") -> dict[str, Path]:
    """Text file and picture page (A4 or Letter). Raises ``OutputError``; earlier files stay."""
    text = message_text(need, paper, customer, shop)
    folder.mkdir(parents=True, exist_ok=True)
    plain, page = folder / "message.txt", folder / "message.pdf"
    write_text_atomic(plain, text + "\n")
    width, height = paper_size(paper)
    stream = io.BytesIO()
    canvas = new_canvas(stream, "photos for a price")
    canvas.setPageSize((width * PT_PER_MM, height * PT_PER_MM))
    y = height - MARGIN_MM - 6.0
    text_at(canvas, MARGIN_MM, y, shop or "Photos for a price", 16, BOLD)
    y -= 10.0
    lines = [*photo_lines(need, paper), *(_HOW if need.views else ()), *([need.question] if need.question else [])] or [text]
    for k, sentence in enumerate(lines):
        mark, font = (f"{k + 1}. ", BOLD) if k < len(need.views) else ("- ", PLAIN)
        for i, line in enumerate(textwrap.wrap(sentence, c.PAGE_LETTERS)):
            first = i == 0
            text_at(canvas, MARGIN_MM + (0.0 if first else 5.0), y, mark * first + line, 11, font if first else PLAIN)
            y -= 5.6
        y -= 1.6
    if need.views:
        drawing = message_drawing(need)
        x0, y0, x1, y1 = drawing.bounds()
        scale = max((x1 - x0) / (width - 2 * MARGIN_MM), (y1 - y0) / (y - MARGIN_MM - 6.0))
        left = (width - (x1 - x0) / scale) / 2.0
        draw_items(canvas, drawing.items, PaperMapping((x0, y0), (left, y - 4.0 - (y1 - y0) / scale), scale))
    canvas.showPage()
    canvas.save()
    write_bytes_atomic(page, stream.getvalue())
    return {"message": plain, "message-page": page}
