"""One page of plain instructions for a customer who prints the sheets and takes the photos at home."""

from __future__ import annotations

from phototemplate.capture.sheets.constants import ACCENT, ALIGN_IN_MM, BLACK, FRONT, LINE, TOP, WALL, WHITE
from phototemplate.capture.sheets.drawing import Align, Blocks, Box, Item, Page, Stroke, Text, arrow, box_outline, grey
from phototemplate.capture.sheets.guide import (
    Panel,
    flat_sheet,
    panel_page,
    picture_lay,
    picture_photos,
    picture_print,
)
from phototemplate.capture.sheets.sketch import ParallelProjection, no, yes

Scale = tuple[float, float]


def customer_page(number: int, paper: str, scale: Scale) -> Page:
    """Plain instructions for photographing a kitchen at home. Portrait; there is only page 1."""
    del number
    return panel_page("Photos of your kitchen for a countertop estimate", CUSTOMER_PANELS, "customer page", paper, scale)


def picture_clear() -> list[Item]:
    """A cabinet run crowded with things, and the same run cleared."""
    items: list[Item] = []
    for k in (0, 1):
        view = ParallelProjection((4.0 + 47.0 * k, 14.0), 0.9, 10.0, 30.0)
        items += view.face([(0, 18, 0), (40, 18, 0), (40, 18, 22), (0, 18, 22)], WALL)
        items += view.box((0, 0, -12), (40, 18, 0), TOP, FRONT)
        if k == 0:
            items += view.box((5, 9, 0), (13, 14, 8), grey(0.75), grey(0.6), grey(0.5))
            items += view.box((16, 11, 0), (20, 15, 13), grey(0.7), grey(0.5), grey(0.45))
            items += view.box((24, 6, 0), (35, 13, 5), grey(0.8), grey(0.65), grey(0.55))
            items += no((22.0, 43.0), 4.0)
        else:
            items += view.sheet((10, 9, 0.2), 11.0, 5)
            items += view.sheet((31, 8, 0.2), 11.0, -4)
            items.append(yes((70.0, 43.0), 4.5))
    return items




def picture_measure() -> list[Item]:
    """A tape held from letter B of one sheet to letter B of another."""
    items: list[Item] = []
    y = 20.0
    cabinet: Box = (2.0, y - 12.0, 91.0, y + 15.0)
    items += [Blocks((cabinet,), TOP), box_outline(cabinet, 0.2, LINE)]
    items.append(Blocks(((2.0, y + 15.0, 91.0, y + 18.0),), WALL))
    for x in (16.0, 76.0):
        paper: Box = (x - 11.5, y - 6.0, x + 11.5, y + 10.0)
        items += [Blocks((paper,), WHITE), box_outline(paper, 0.2, LINE)]
        squares: list[Box] = [
            (x + 4.8 * c, y + 2.0 + 4.8 * r, x + 4.8 * (c + 1), y + 2.0 + 4.8 * (r + 1))
            for r in (-1, 0)
            for c in (-2, -1, 0, 1)
            if (r + c) % 2
        ]
        items.append(Blocks(tuple(squares), grey(0.1)))
    tape: Box = (14.5, y - 1.6, 79.0, y + 2.0)
    items += [Blocks((tape,), (0.98, 0.87, 0.45)), box_outline(tape, 0.2, LINE)]
    ticks: list[Box] = [
        (16.0 + 1.5 * k - 0.1, y + 2.0 - (1.8 if k % 5 else 2.8), 16.0 + 1.5 * k + 0.1, y + 2.0) for k in range(41)
    ]
    items.append(Blocks(tuple(ticks)))
    for x in (16.0, 76.0):
        items += arrow((x, y + 23.0), (x, y + 2.2), 0.5, ACCENT, 2.4)
        align: Align = "right" if x > 40 else "left"
        side = -ALIGN_IN_MM if x > 40 else ALIGN_IN_MM
        items.append(Text((x + side, y + 20.5), "cross at letter B", 2.7, True, align, ACCENT))
    items.append(Text((46.0, y - 10.2), "S01 to S04:  ________ mm or in", 3.2, True, "centre", BLACK))
    return items


def picture_send() -> list[Item]:
    """Photos as files, sent in full size."""
    items: list[Item] = []
    for k in range(3):
        box: Box = (8.0 + 3.0 * k, 10.0 + 3.5 * k, 36.0 + 3.0 * k, 31.0 + 3.5 * k)
        items += [Blocks((box,), WHITE), box_outline(box, 0.25, LINE)]
    x, y = 14.0, 17.0
    counter: Box = (x + 3.0, y + 2.0, x + 25.0, y + 9.0)
    items += [Blocks((counter,), TOP), box_outline(counter, 0.2, LINE)]
    items += [Blocks(((x + 3.0, y + 9.0, x + 25.0, y + 17.0),), WALL)]
    for sx in (8.0, 19.0):
        items += flat_sheet((x + sx, y + 5.5), 6.0)
    items += arrow((46.0, 24.0), (58.0, 24.0), 1.0, ACCENT, 4.0)
    items.append(Text((61.0, 31.0), "original size", 3.2, True, ink=BLACK))
    items.append(yes((88.0, 32.0), 4.0))
    items.append(Text((61.0, 23.0), "shrunk by a chat app", 2.6, ink=BLACK))
    items += no((90.0, 23.9), 3.0)
    items.append(Text((61.0, 15.0), "filters, cropping", 2.6, ink=BLACK))
    items += no((90.0, 15.9), 3.0)
    items.append(Stroke(((59.5, 11.0), (59.5, 36.0)), 0.2, grey(0.7)))
    return items


CUSTOMER_PANELS: tuple[Panel, ...] = (
    Panel(
        "Print the sheets",
        picture_print,
        "Print at 100 % (actual size). Hold a ruler to the printed one and write down what 200 mm (8 in) really "
        "measures. Plain paper will do; glued to flat cardboard is better.",
    ),
    Panel(
        "Clear the counter",
        picture_clear,
        "Clear everything off, also if the old top is still on. Switch off cooktop and range and let them cool: no "
        "paper near anything hot. Do not move or disconnect appliances.",
    ),
    Panel(
        "Lay the sheets",
        picture_lay,
        "Flat, one about every 60 cm (2 ft), one near every end and corner and on both sides of every gap. Tape the "
        "corners down. Every sheet has its own number: use each one once.",
    ),
    Panel(
        "Measure one length",
        picture_measure,
        "With a steel tape, from the cross at B on one sheet to the cross at B on a far one, straight and tight. Write "
        "down both numbers and the length. A second pair is a good check.",
    ),
    Panel(
        "Take 10 to 14 photos",
        picture_photos,
        "Walk along, a step for each photo, from chest height and with the arm up, 1 to 2 m (3 to 6 ft) away, three "
        "sheets or more in each. Main lens, no zoom, no flash. Phone upright for two. Stay on the floor: do not climb.",
    ),
    Panel(
        "Send the originals",
        picture_send,
        "As files in original size, all of them, with the length you measured. Leave the sheets where they are until "
        "you hear that the photos are good.",
    ),
)
