"""The guide in pictures that begins every set: six panels with short captions."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from phototemplate.capture.sheets.constants import (
    ACCENT,
    BLACK,
    FOOT_MM,
    FRONT,
    GAP_MM,
    HEAD_MM,
    LINE,
    PANEL_WIDTH_MM,
    PICTURE_MM,
    PLAN_SHEETS,
    RAY,
    TOP,
    WALL,
    WHITE,
)
from phototemplate.capture.sheets.drawing import (
    Align,
    Blocks,
    Box,
    Item,
    Page,
    Polygon,
    Stroke,
    Text,
    arrow,
    box_outline,
    grey,
    paragraph,
    shifted,
)
from phototemplate.capture.sheets.page_parts import PRINT_RULES, paper_size, print_note, rulers
from phototemplate.capture.sheets.sketch import ParallelProjection, badge, camera_body, camera_wedge, no, yes

Scale = tuple[float, float]


@dataclass(frozen=True)
class Panel:
    """One step: a picture drawn in a field of ``PICTURE_MM`` and what it means."""

    title: str
    picture: Callable[[], list[Item]]
    caption: str


def guide_page(number: int, paper: str, scale: Scale) -> Page:
    """One page that shows how to print, lay, butt, tape, measure and photograph. Portrait; there is only page 1."""
    del number
    return panel_page("How to photograph a kitchen for a countertop template", GUIDE_PANELS, "guide", paper, scale)


def panel_page(title: str, panels: Sequence[Panel], name: str, paper: str, scale: Scale) -> Page:
    """A page of six panels in two columns, as one reads, with the check ruler below. Portrait."""
    width, height = paper_size(paper, landscape=False)
    left = (width - 2 * PANEL_WIDTH_MM - GAP_MM) / 2
    rows = (len(panels) + 1) // 2
    row_height = (height - HEAD_MM - FOOT_MM) / rows
    items: list[Item] = [Text((left, height - 11.5), title, 6.0, True)]
    for k, panel in enumerate(panels):
        row, column = divmod(k, 2)
        corner = (left + column * (PANEL_WIDTH_MM + GAP_MM), height - HEAD_MM - (row + 1) * row_height)
        items += shifted(_panel(panel, k + 1, row_height - GAP_MM), *corner)
    rules = [" ".join(PRINT_RULES[:2]), " ".join(PRINT_RULES[2:])]
    items += paragraph(left, FOOT_MM - 2.0, 118, rules, size=2.7)[0]
    items += paragraph(left + 124, FOOT_MM - 2.0, 72, [print_note(scale)], size=2.7)[0]
    items += rulers(left, 10.2, 180, 7)
    items.append(Text((width - left, height - 11.5), f"{name}, {paper}", 2.2, align="right", ink=grey(0.35)))
    return Page(name.capitalize(), paper, (width, height), tuple(items), {})


def _panel(panel: Panel, number: int, height: float) -> list[Item]:
    items: list[Item] = [box_outline((0.0, 0.0, PANEL_WIDTH_MM, height), 0.2, grey(0.6))]
    head = height - 5.0
    items += badge((5.0, head), number)
    items.append(Text((10.0, head - 1.4), panel.title, 4.0, True))
    size = 2.75
    caption, last = paragraph(2.5, 0.0, PANEL_WIDTH_MM - 5.0, [panel.caption], size, 1.3)
    lift = 2.6 - last
    items += shifted(caption, 0.0, lift)
    slack = head - 4.0 - lift - PICTURE_MM[1]
    items += shifted(panel.picture(), 2.0, lift + 1.0 + max(slack - 1.0, 0.0) / 2)
    return items


def picture_print() -> list[Item]:
    """A printed sheet with a steel rule on its ruler, and a print glued to a board with its thickness marked."""
    items: list[Item] = []
    x0, y0, width, height = 2.0, 8.0, 50.0, 38.0
    items += [Polygon(((x0, y0), (x0 + width, y0), (x0 + width, y0 + height), (x0, y0 + height)), WHITE)]
    items.append(box_outline((x0, y0, x0 + width, y0 + height), 0.25, LINE))
    side = 5.8
    squares: list[Box] = []
    for row in range(4):
        for column in range(6):
            if (row + column) % 2 == 0:
                x, y = x0 + 8.0 + column * side, y0 + height - 5.0 - (row + 1) * side
                squares.append((x, y, x + side, y + side))
            else:
                x, y = x0 + 8.0 + column * side + 0.8, y0 + height - 5.0 - (row + 1) * side + 0.8
                squares.append((x, y, x + side - 1.6, y + side - 1.6))
    items.append(Blocks(tuple(squares), grey(0.1)))
    ruler = y0 + 5.0
    ticks: list[Box] = [(x0 + 6 + 1.8 * k - 0.1, ruler, x0 + 6 + 1.8 * k + 0.1, ruler + 1.6) for k in range(21)]
    items.append(Blocks(((x0 + 6, ruler - 0.1, x0 + 42, ruler + 0.1), *ticks)))
    steel: Box = (x0 - 1.0, ruler - 6.5, x0 + 49.0, ruler - 0.2)
    items += [Blocks((steel,), (0.83, 0.86, 0.89)), box_outline(steel, 0.25, LINE)]
    marks: list[Box] = [
        (x0 + 6 + 1.8 * k - 0.1, ruler - (2.6 if k % 5 == 0 else 1.8), x0 + 6 + 1.8 * k + 0.1, ruler - 0.2) for k in range(21)
    ]
    items.append(Blocks(tuple(marks)))
    items.append(Text((x0 + 24, ruler - 5.6), "steel rule", 2.4, align="centre"))
    for k in (0, 20):
        x = x0 + 6 + 1.8 * k
        items.append(Stroke(((x, ruler - 2.8), (x, ruler + 2.6)), 0.35, ACCENT))
    items.append(yes((x0 + 46.0, ruler + 3.0), 4.0))
    view = ParallelProjection((73.5, 14.0), 0.95, 24.0, 34.0)
    items += view.box((-14, 0, 0), (16, 22, 4.0), TOP, FRONT)
    items += view.sheet((1, 11, 4.0), 29.0)
    a, b = view.point((16, 0, 0)), view.point((16, 0, 4.0))
    for y in (a[1], b[1]):
        items.append(Stroke(((a[0] + 0.6, y), (a[0] + 5.0, y)), 0.2, ACCENT))
    items += arrow((a[0] + 3.6, b[1] + 5.0), (a[0] + 3.6, b[1]), 0.35, ACCENT, 1.8)
    items += arrow((a[0] + 3.6, a[1] - 5.0), (a[0] + 3.6, a[1]), 0.35, ACCENT, 1.8)
    items.append(Text((a[0] + 2.4, a[1] - 4.8), "thickness", 2.8, True, "right", ACCENT))
    return items


def _kitchen_plan(x: float, y: float, scale: float) -> tuple[list[Item], Callable[[float, float], tuple[float, float]]]:
    """An L of cabinets with a gap for the range, seen from above; returns it and scene mm -> page."""

    def at(sx: float, sy: float) -> tuple[float, float]:
        return x + scale * sx, y + scale * sy

    def area(x0: float, y0: float, x1: float, y1: float) -> Box:
        return (*at(x0, y0), *at(x1, y1))

    items: list[Item] = [
        Blocks((area(-120, 2200, 3000, 2320), area(-120, 0, 0, 2200)), WALL),
        Stroke((at(0, 0), at(0, 2200), at(3000, 2200)), 0.5, BLACK),
    ]
    for box in (area(0, 0, 600, 1600), area(0, 1600, 1300, 2200), area(2060, 1600, 3000, 2200)):
        items += [Blocks((box,), TOP), box_outline(box, 0.2, LINE)]
    items.append(box_outline(area(1300, 1580, 2060, 2200), 0.2, LINE, (0.8, 0.8)))
    items.append(Text(at(1680, 1850), "range", 2.4, align="centre", ink=LINE))
    return items, at


def flat_sheet(centre: tuple[float, float], width: float, upright: bool = False) -> list[Item]:
    half, tall = width / 2, 0.35 * width
    if upright:
        half, tall = tall, half
    x, y = centre
    box = (x - half, y - tall, x + half, y + tall)
    items: list[Item] = [Blocks((box,), WHITE), box_outline(box, 0.2, BLACK)]
    for row in range(2):
        for column in range(3):
            if (row + column) % 2 == 0:
                columns, rows = (2, 3) if upright else (3, 2)
                c, r = (row, column) if upright else (column, row)
                w, h = 1.6 * half / columns, 1.6 * tall / rows
                x0, y0 = x - 0.8 * half + c * w, y - 0.8 * tall + r * h
                items.append(Blocks(((x0, y0, x0 + w, y0 + h),), grey(0.1)))
    return items




def picture_lay() -> list[Item]:
    """Plan of an L with sheets near ends, corner and gap, about 600 mm apart."""
    items, at = _kitchen_plan(8.0, 1.5, 0.0202)
    for x, y, upright in PLAN_SHEETS:
        items += flat_sheet(at(x, y), 5.6, upright)
    a, b = at(430, 640), at(170, 1130)
    x = at(600, 0)[0] + 3.0
    for y in (a[1], b[1]):
        items.append(Stroke(((x - 2.4, y), (x + 1.2, y)), 0.2, ACCENT))
    middle = (a[1] + b[1]) / 2
    items += arrow((x, middle), (x, a[1]), 0.35, ACCENT, 1.8) + arrow((x, middle), (x, b[1]), 0.35, ACCENT, 1.8)
    items.append(Text((x + 2.4, middle - 1.0), "about 60 cm (2 ft)", 2.8, True, ink=ACCENT))
    notes = ((2060, 1290, "one on either side", "of every gap"), (2060, 560, "one near every end", "and every corner"))
    for sx, sy, first, second in notes:
        px, py = at(sx, sy)
        items += [Text((px, py), first, 2.8, True, ink=ACCENT), Text((px, py - 3.6), second, 2.8, True, ink=ACCENT)]
    for target in ((1200, 1900), (2180, 1650)):
        items += arrow((at(2060, 1290)[0] - 1.0, at(0, 1390)[1]), at(*target), 0.3, ACCENT, 1.6)
    return items


def picture_contact() -> list[Item]:
    """A sheet pushed against the wall, and what counts as touching, in section."""
    items: list[Item] = []
    view = ParallelProjection((18.0, 11.5), 0.029, 16.0, 36.0)
    items += view.face([(-450, 620, 0), (1150, 620, 0), (1150, 620, 620), (-450, 620, 620)], WALL)
    items += view.box((-450, 0, -300), (1150, 620, 0))
    items += view.sheet((350, 620 - 180, 12), 520.0)
    items += arrow(view.point((350, -110, 20)), view.point((350, 230, 20)), 1.0, ACCENT, 3.4)
    for k, (gap, word) in enumerate(((0.0, "touches"), (2.6, "gap"))):
        x, y = 67.0, 30.0 - 23.0 * k
        items.append(Blocks(((x + 15.0, y - 3.0, x + 18.5, y + 13.0),), WALL))
        items.append(Stroke(((x + 15.0, y - 3.0), (x + 15.0, y + 13.0)), 0.35, BLACK))
        items.append(Blocks(((x - 4.0, y - 3.0, x + 12.5, y),), FRONT))
        items.append(Stroke(((x - 4.0, y), (x + 12.5, y)), 0.3, LINE))
        items.append(Blocks(((x - 1.0, y + 0.3, x + 15.0 - gap, y + 2.6),), TOP))
        items.append(box_outline((x - 1.0, y + 0.3, x + 15.0 - gap, y + 2.6), 0.2, LINE))
        items.append(Stroke(((x - 1.0, y + 2.8), (x + 15.0 - gap, y + 2.8)), 0.6, BLACK))
        items.append(Text((x + 17.6, y + 2.0), "wall", 2.4, turned=True))
        items.append(Text((x + 5.5, y + 5.2), word, 2.8, True, "centre", ACCENT if k else BLACK))
        items += [yes((x + 5.5, y + 10.8), 4.0)] if k == 0 else no((x + 5.5, y + 10.4))
    return items


def _bow(x: float) -> float:
    """A wall that bows towards the room."""
    return 600 - 60 * math.sin(math.pi * (x + 200) / 2400) + 16 * math.sin(math.pi * (x + 200) / 620)


def picture_strips() -> list[Item]:
    """Strips in a row along a bowed wall, lower edge on the cabinet tops."""
    items: list[Item] = []
    view = ParallelProjection((12.5, 9.5), 0.0335, 10.0, 36.0)
    path = [(float(x), _bow(x)) for x in range(-200, 2201, 100)]
    wall = [(x, y, 0.0) for x, y in path] + [(x, y, 420.0) for x, y in reversed(path)]
    items += view.face([(-200, 0, 0), (2200, 0, 0), *((x, y, 0) for x, y in reversed(path))], TOP)
    items += view.face([(-200, 0, -230), (2200, 0, -230), (2200, 0, 0), (-200, 0, 0)], FRONT)
    items += view.face(wall, WALL)
    start = -160.0
    for _ in range(4):
        piece = [(start + 80.0 * k, _bow(start + 80.0 * k) - 6) for k in range(8)]
        items += view.strip(piece, 4.0, 150.0)
        start += 590.0
    items += view.sheet((210, 215, 2), 330.0, 8)
    items += view.sheet((1620, 200, 2), 330.0, -6)
    for x, name in ((120.0, "W01a"), (710.0, "W01b"), (1300.0, "W02a"), (1890.0, "W02b")):
        px, py = view.point((x, _bow(x), 155))
        items.append(Text((px, py + 2.2), name, 2.7, True, "centre", ACCENT))
    foot = view.point((905, _bow(905) - 6, 0))
    items += arrow((foot[0] - 0.3, foot[1] - 3.8), (foot[0], foot[1] - 0.4), 0.5, ACCENT, 2.2)
    for k, line in enumerate(("lower edge on", "the cabinet tops")):
        items.append(Text((foot[0] - 0.5, foot[1] - 6.2 - 3.1 * k), line, 2.8, True, "centre", ACCENT))
    return items


ALIGN_OUT: tuple[Align, Align] = ("right", "left")


def picture_bar() -> list[Item]:
    """A bar with a printed end at either side and the length between the crosses."""
    items: list[Item] = []
    view = ParallelProjection((6.5, 13.0), 1.04, 5.0, 42.0)
    items += view.box((0, 0, 0), (78, 7, 3.0), (0.83, 0.86, 0.89), (0.66, 0.69, 0.73), (0.60, 0.63, 0.66))
    crosses = []
    for x in (9.0, 69.0):
        z = 3.2
        items += view.face([(x - 7, -3.5, z), (x + 7, -3.5, z), (x + 7, 10.5, z), (x - 7, 10.5, z)], WHITE)
        for dx, dy in ((-5.6, 0.0), (0.0, -5.6)):
            x0, y0 = x + dx, 3.5 + dy
            corners = [(x0, y0, z), (x0 + 5.6, y0, z), (x0 + 5.6, y0 + 5.6, z), (x0, y0 + 5.6, z)]
            items += view.face(corners, grey(0.1), 0.0)
        crosses.append((x, 3.5, z))
    for cross, name, align, side in zip(crosses, ("B01", "B02"), ALIGN_OUT, (-1.2, 1.2), strict=True):
        x, y = view.point(cross)
        items.append(Stroke(((x, y), (x, y + 14.0)), 0.25, ACCENT))
        items.append(Text((x + side, y + 10.6), name, 3.0, True, align))
    a, b = ((view.point(c)[0], view.point(c)[1] + 11.5) for c in crosses)
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    example = "cross to cross, e.g. 1000.0 mm at 20 °C"
    items += arrow(middle, a, 0.4, ACCENT, 2.4) + arrow(middle, b, 0.4, ACCENT, 2.4)
    items.append(Text((middle[0], middle[1] + 4.0), example, 3.0, True, "centre", ACCENT))
    return items


def picture_photos() -> list[Item]:
    """Where to stand, in plan, and how high to hold the camera, from the side."""
    items, at = _kitchen_plan(4.0, 7.0, 0.0178)
    stands: tuple[tuple[float, float, float], ...] = (
        (620, -220, 118),
        (1250, 130, 165),
        (1330, 560, 180),
        (1200, 960, 140),
        (1530, 800, 112),
        (1950, 900, 82),
        (2400, 800, 98),
        (2850, 860, 82),
    )
    for x, y, heading in stands:
        items += camera_wedge(at(x, y), heading, 14.0)
    for x, y, upright in PLAN_SHEETS:
        items += flat_sheet(at(x, y), 4.4, upright)
    for x, y, heading in stands:
        items += camera_body(at(x, y), heading)
    left, floor = 63.0, 6.0
    items.append(Stroke(((left, floor), (left + 29.0, floor)), 0.4, BLACK))
    box: Box = (left + 17.0, floor, left + 27.0, floor + 15.3)
    items += [Blocks((box,), TOP), box_outline(box, 0.2, LINE)]
    items += [
        Blocks(((left + 27.0, floor, left + 29.5, floor + 40.0),), WALL),
        Stroke(((left + 27.0, floor), (left + 27.0, floor + 40.0)), 0.4),
    ]
    items.append(Stroke(((left + 19.0, floor + 15.7), (left + 24.0, floor + 15.7)), 0.8, BLACK))
    for cx, cy, word in ((4.0, 24.5, "chest"), (9.0, 35.0, "arm up")):
        heading = math.degrees(math.atan2(15.3 - cy, 21.5 - cx))
        reach = (left + 21.5, floor + 15.8)
        items.append(Stroke(((left + cx, floor + cy), reach), 0.15, RAY, (0.9, 0.6)))
        items += camera_body((left + cx, floor + cy), heading, 3.6)
        items.append(Text((left + cx - 1.0, floor + cy + 3.2), word, 2.6, True, "centre", ACCENT))
    return items


GUIDE_PANELS: tuple[Panel, ...] = (
    Panel(
        "Print, check, mount",
        picture_print,
        "Print at 100 %. Hold a steel rule to the printed ruler. If its last mark does not come out where it should, print "
        "again with the measured ratio as print scale. Glue each sheet to a flat, stiff board; "
        "note board and paper together.",
    ),
    Panel(
        "Lay out the sheets",
        picture_lay,
        "One about every 60 cm (2 ft): 8 to 12 for one run, 13 to 20 for an L or U, at least three on each separate "
        "run, some near the wall and some near the front. Tape them down. Nothing may move until the last photo.",
    ),
    Panel(
        "Push contact edges home",
        picture_contact,
        "Where an end panel or a wall is to be met: cut a sheet along its line, board included, with a straightedge. "
        "Push the cut edge against the wall over its whole length. Any gap goes straight into the template.",
    ),
    Panel(
        "Tape strips along the walls",
        picture_strips,
        "Along every wall the top will meet, from corner to corner: lower edge on the cabinet tops, paper tight "
        "against the wall so that it bends with it. Start in the corners: mud builds up there.",
    ),
    Panel(
        "Make and measure a scale bar",
        picture_bar,
        "Stick two bar ends on any straight, stiff bar. Measure from cross to cross with a steel rule or a good tape, "
        "twice, to 0.5 mm. Note length and temperature. "
        "Lay it on the cabinets; two bars check each other.",
    ),
    Panel(
        "Photograph",
        picture_photos,
        "10 to 14 photos, step by step along the front, at chest height and with the arm up, from 1 to 2 m; three "
        "sheets or more in each, some near its corners. Upright for two. Main lens, no zoom, flash or editing. "
        "Do not climb on cabinets.",
    ),
)
