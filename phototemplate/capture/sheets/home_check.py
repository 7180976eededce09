"""One page: how to check printer, phone and program at home on a straight edge, in ten minutes."""

from __future__ import annotations

from phototemplate.capture.sheets.constants import ACCENT, BLACK, FRONT, LINE, TOP
from phototemplate.capture.sheets.customer import picture_measure
from phototemplate.capture.sheets.drawing import Box, Item, Page, Stroke, Text, arrow, box_outline, grey
from phototemplate.capture.sheets.guide import Panel, Scale, panel_page, picture_photos, picture_print
from phototemplate.capture.sheets.sketch import ParallelProjection, no, yes

LEVEL = (0.86, 0.87, 0.55)
"""rgb. The straight edge. Convention: layout."""


def home_check_page(number: int, paper: str, scale: Scale) -> Page:
    """The check in six pictures. Portrait; there is only page 1."""
    del number
    return panel_page("Check yourself: ten minutes with a straight edge", HOME_CHECK_PANELS, "home check", paper, scale)


def picture_edge() -> list[Item]:
    """A straight edge on its side on a table, strips taped to its face just above the table."""
    view = ParallelProjection((10.0, 8.0), 0.92, 8.0, 34.0)
    items = view.box((0, 0, -4), (84, 44, 0), TOP, FRONT)
    items += view.box((4, 30, 0), (80, 35, 9), LEVEL, (0.76, 0.77, 0.45), (0.66, 0.67, 0.38))
    items += view.strip([(6.0 + 6.0 * k, 29.8) for k in range(13)], 0.6, 5.4)
    a = view.point((42, 29.8, 6.0))
    items += arrow((a[0] + 14.0, a[1] + 17.0), (a[0], a[1]), 0.4, ACCENT, 2.2)
    items.append(Text((a[0] + 15.0, a[1] + 16.4), "strips on its face", 2.8, True, ink=ACCENT))
    return items


def picture_table() -> list[Item]:
    """The table from above: the straight edge along one side, sheets all over, two of them far apart."""
    table: Box = (4.0, 4.0, 89.0, 46.0)
    view = ParallelProjection((0.0, 0.0), 1.0, 0.0, 90.0)
    items = view.face([(table[0], table[1], 0), (table[2], table[1], 0), (table[2], table[3], 0), (table[0], table[3], 0)], TOP)
    items += view.face([(8, 38, 0), (85, 38, 0), (85, 42, 0), (8, 42, 0)], LEVEL)
    items.append(Stroke(((8.0, 37.6), (85.0, 37.6)), 0.6, BLACK))
    for x, y, turn in ((14.0, 13, 4), (36, 30, -6), (47, 10, 3), (62, 30, 8), (79, 14, -3), (17, 30, -8)):
        items += view.sheet((x, y, 0), 13.0, turn)
    for x in (14.0, 79.0):
        items += arrow((46.5, 18.4), (x + (7.5 if x < 40 else -7.5), 14.0), 0.3, ACCENT, 1.8)
    items.append(Text((46.5, 19.2), "tape from B to B", 2.8, True, "centre", ACCENT))
    items.append(box_outline(table, 0.2, LINE))
    return items


def picture_answer() -> list[Item]:
    """What the command answers, and what it does not prove."""
    items: list[Item] = [box_outline((3.0, 22.0, 90.0, 47.0), 0.25, LINE)]
    rows = (
        ("straight edge", "0.2 mm off, U 0.6"), ("tape S01:B-S04:B", "0.4 mm off, U 1.2"),
        ("two halves of the photos", "agree"),
    )  # fmt: skip
    for k, (what, found) in enumerate(rows):
        y = 41.0 - 6.5 * k
        items += [Text((6.0, y), what, 2.8), Text((50.0, y), found, 2.8, True), yes((85.0, y + 1.0), 3.2)]
    items.append(Text((6.0, 15.5), "an example; yours has your own numbers", 2.3, ink=grey(0.35)))
    items += [Text((12.0, 8.5), "not proved: traced edges, long walls, the tape itself", 2.8, True), *no((6.5, 9.4), 3.0)]
    return items


HOME_CHECK_PANELS: tuple[Panel, ...] = (
    Panel(
        "Print", picture_print,
        "Six sheets and two wall strips at 100 %, the same paper as for a job. Check the ruler; note the thickness of paper "
        "and backing.",
    ),
    Panel(
        "Tape strips to a straight edge", picture_edge,
        "A builder's level or a steel rule of 1 m (3 ft) or more, on its side on a table. Strips flat on its face, "
        "the lower edge just above the table. Sight along it: it has to be straight, to 0.5 mm if its maker says no more.",
    ),
    Panel(
        "Lay the sheets", picture_table,
        "All over the table in front of the straight edge, one near each end, taped down. Nothing moves from here on.",
    ),
    Panel(
        "Measure twice", picture_measure,
        "With a steel tape from the cross at B to the cross at B of two far sheets, and of two others: one length gives the "
        "scale, the other checks it.",
    ),
    Panel(
        "Take 12 photos", picture_photos,
        "From all round, as for a job, all strips seen in half of them, two photos with the phone upright. With 12, each half "
        "can stand alone.",
    ),
    Panel(
        "Let it judge", picture_answer,
        'phototemplate new CHECK PHOTOS... and the two lengths in job.toml, then phototemplate check-yourself CHECK. It says '
        "what was reached, what that proves, and what not.",
    ),
)  # fmt: skip
