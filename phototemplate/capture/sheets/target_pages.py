"""The pages with targets on them: sheets, wall strips, bar ends, calibration boards.

Every page function takes the target's number, the paper and the print scale (which it only states) and returns a
``Page`` drawn at nominal size.
"""

from __future__ import annotations

from phototemplate.capture import constants, design
from phototemplate.capture.sheets.constants import CAP_HEIGHT, PRINTER_MARGIN_MM
from phototemplate.capture.sheets.drawing import Item, Page, Point, Polygon, Stroke, Text, arrow, paragraph, shifted
from phototemplate.capture.sheets.page_parts import (
    PRINT_RULES,
    checkerboard,
    cut_line,
    footer,
    mark_letters,
    paper_size,
    print_note,
    rulers,
    upright_rulers,
)

Scale = tuple[float, float]


def sheet_page(number: int, paper: str, scale: Scale) -> Page:
    """A target sheet with its contact edge. Landscape."""
    target_id = f"S{number:02d}"
    width, height = paper_size(paper, landscape=True)
    design.paper_box(target_id, paper)
    origin = (width / 2, height - constants.SHEET_TRIM_MM - constants.SHEET_CONTACT_Y_MM)
    form = design.pattern(target_id)
    half_x, half_y = form.size_mm[0] / 2, form.size_mm[1] / 2
    cut_y = height - constants.SHEET_TRIM_MM
    marks = design.tape_marks(target_id)
    points = design.target(target_id).points_mm
    across = float(points[marks["C"], 0] - points[marks["A"], 0])
    upward = float(points[marks["D"], 1] - points[marks["E"], 1])

    items: list[Item] = [cut_line((PRINTER_MARGIN_MM, cut_y), (width - PRINTER_MARGIN_MM, cut_y))]
    to_cut = "Only if this sheet is to touch a wall: cut along this line."
    items.append(Text((width / 2, cut_y + 1.6), to_cut, 3.0, align="centre"))
    items.append(Text((width / 2, cut_y - 3.4), "CONTACT EDGE: push this edge against the wall", 2.8, True, align="centre"))
    for side in (-1, 1):
        x = width / 2 + side * 46
        items += [Polygon(((x, cut_y - 0.8), (x - 1.3, cut_y - 3.2), (x + 1.3, cut_y - 3.2)))]

    items += shifted([checkerboard(target_id), *mark_letters(target_id, 7.0)], *origin)

    left = width / 2 - half_x
    band_top = origin[1] - half_y - 6
    number_size = 29.0
    right = width - 12
    items.append(Text((right, band_top - CAP_HEIGHT * number_size), target_id, number_size, True, "right"))
    rows = [
        "*" + PRINT_RULES[0],
        " ".join(PRINT_RULES[1:3]),
        PRINT_RULES[3],
        f"Caliper check: crossing A to C {across:.1f} mm, D to E {upward:.1f} mm. "
        f"Contact edge {constants.SHEET_CONTACT_Y_MM:.1f} mm above B.",
        print_note(scale),
    ]
    texts, _ = paragraph(left, band_top + 0.6, right - 60 - left, rows, size=2.9)
    items += texts
    items += rulers(left, PRINTER_MARGIN_MM + 6.0, 200, 8)
    items += upright_rulers(left - 15.5, origin[1] - half_y, 140, 11)
    items.append(footer((width, height), f"target sheet {target_id}, {paper}"))
    return Page(f"Target sheet {target_id}", paper, (width, height), tuple(items), {target_id: origin})


def strip_page(number: int, paper: str, scale: Scale) -> Page:
    """Two pieces of a wall strip, one above the other. Landscape."""
    width, height = paper_size(paper, landscape=True)
    piece_width, piece_height = constants.STRIP_SIZE_MM
    left = (width - piece_width) / 2
    top = height - 16.0
    items: list[Item] = [
        Text((left, height - 9.4), f"Wall strip W{number:02d}", 5.0, True),
        Text(
            (left + 46, height - 9.4),
            "Cut out both pieces and tape them to the wall, one after the other,",
            3.2,
        ),
        Text((left + 46, height - 13.6), "lower edge resting on the cabinet tops.", 3.2),
    ]
    placements: dict[str, Point] = {}
    for k, piece in enumerate(design.STRIP_PIECES):
        target_id = f"W{number:02d}{piece}"
        origin = (width / 2, top - (k + 0.5) * piece_height)
        placements[target_id] = origin
        items += shifted(_strip_piece(target_id), *origin)
        bottom = top - (k + 1) * piece_height
        items.append(cut_line((left - 0.5, bottom), (left + piece_width + 0.5, bottom)))
    bottom = top - len(design.STRIP_PIECES) * piece_height
    items.append(cut_line((left - 0.5, top), (left + piece_width + 0.5, top)))
    for x in (left, left + piece_width):
        items.append(cut_line((x, top + 0.5), (x, bottom - 0.5)))

    rows = ["*" + PRINT_RULES[0], PRINT_RULES[1], PRINT_RULES[3], print_note(scale)]
    texts, _ = paragraph(left, bottom - 4.0, 96, rows, size=3.0)
    items += texts
    rows = [
        "Stick it flat on the bare wall, tight all along, so that the paper bends with the wall. No board behind it, no folds.",
        f"The crossings are {design.target(target_id).height_axis_mm:.1f} mm above the lower edge and "
        f"{design.pattern(target_id).square_mm:.1f} mm apart.",
    ]
    texts, _ = paragraph(left + 104, bottom - 4.0, piece_width - 104, rows, size=3.0)
    items += texts
    items += rulers(left, PRINTER_MARGIN_MM + 6.0, 200, 8)
    items.append(footer((width, height), f"wall strip W{number:02d}, {paper}"))
    return Page(f"Wall strip W{number:02d}", paper, (width, height), tuple(items), placements)


def _strip_piece(target_id: str) -> list[Item]:
    """What is printed on one piece, in its frame: checkerboard, number at the left end, which edge is down."""
    half_width, half_height = constants.STRIP_SIZE_MM[0] / 2, constants.STRIP_SIZE_MM[1] / 2
    half_x = design.pattern(target_id).size_mm[0] / 2
    x = -(half_width + half_x) / 2
    items: list[Item] = [checkerboard(target_id), *mark_letters(target_id, 5.0)]
    for k, part in enumerate((target_id[0], target_id[1:3], target_id[3])):
        items.append(Text((x, 14.0 - 14.0 * k), part, 10.5, True, "centre"))
    items += arrow((-x, -16.0), (-x, -half_height + 1.5), 1.2, head=5.0)
    items.append(Text((-x + 1.0, -13.0), "this edge down", 3.0, turned=True))
    return items


def bar_page(number: int, paper: str, scale: Scale) -> Page:
    """Four bar ends, for two bars. Portrait."""
    width, height = paper_size(paper, landscape=False)
    x0, y0, x1, y1 = constants.BAR_END_BOX_MM
    box_width, box_height = x1 - x0, y1 - y0
    ids = [f"B{4 * (number - 1) + k:02d}" for k in range(1, 5)]
    left = (width - 2 * box_width) / 2
    top = height - 52.0
    items: list[Item] = [Text((left, height - 11.5), f"Scale bar ends {ids[0]} to {ids[3]}", 5.4, True)]
    rows = [
        f"{ids[0]} and {ids[1]} make one bar, {ids[2]} and {ids[3]} a second one. Any straight, stiff bar of 1 to 2 m "
        "(3 to 6 ft) will do.",
        "Cut out, stick one end flat near each end of the bar, number the same way up. Then measure with a steel "
        "rule or a good tape from the cross in the middle of one to the cross in the middle of the other, note the "
        "temperature, and write it down:",
    ]
    texts, _ = paragraph(left, height - 14.5, 2 * box_width, rows, size=3.2, gap=1.2)
    items += texts
    for k in (0, 1):
        x = left + k * box_width
        items.append(
            Text((x, height - 42.5), f"{ids[2 * k]} to {ids[2 * k + 1]}:  ____________  at  ______ °C / °F", 3.4, True)
        )
    placements: dict[str, Point] = {}
    for k, target_id in enumerate(ids):
        row, column = divmod(k, 2)
        origin = (left + column * box_width - x0, top - row * box_height - y1)
        placements[target_id] = origin
        items += shifted(_bar_end(target_id), *origin)
    for k in range(3):
        y = top - k * box_height
        items.append(cut_line((left - 2, y), (left + 2 * box_width + 2, y)))
        x = left + k * box_width
        items.append(cut_line((x, top + 2), (x, top - 2 * box_height - 2)))
    bottom = top - 2 * box_height
    rows = ["*" + PRINT_RULES[0], PRINT_RULES[1]]
    texts, _ = paragraph(left, bottom - 5.0, 74, rows, size=3.0)
    items += texts
    rows = [" ".join(PRINT_RULES[2:]), print_note(scale)]
    texts, _ = paragraph(left + 82, bottom - 5.0, 2 * box_width - 82, rows, size=3.0)
    items += texts
    items += rulers(PRINTER_MARGIN_MM + 6, PRINTER_MARGIN_MM + 9.0, 180, 7)
    items.append(footer((width, height), f"bar ends {ids[0]}-{ids[3]}, {paper}"))
    return Page(f"Scale bar ends {ids[0]} to {ids[3]}", paper, (width, height), tuple(items), placements)


def _bar_end(target_id: str) -> list[Item]:
    """Checkerboard, number below, and hairlines at the sides that continue the axes of the cross."""
    x0, _, x1, y1 = constants.BAR_END_BOX_MM
    half = design.pattern(target_id).size_mm[0] / 2
    items: list[Item] = [checkerboard(target_id)]
    items.append(Text((0.0, -half - 3.5 - CAP_HEIGHT * 15.0), target_id, 15.0, True, "centre"))
    gap = 1.5
    for start, end in (((x0, 0.0), (-half - gap, 0.0)), ((half + gap, 0.0), (x1, 0.0)), ((0.0, half + gap), (0.0, y1))):
        items.append(Stroke((start, end), 0.15))
    return items


def board_page(number: int, paper: str, scale: Scale) -> Page:
    """A calibration board. Landscape."""
    target_id = f"K{number:02d}"
    form = design.pattern(target_id)
    width, height = paper_size(paper, landscape=True)
    design.paper_box(target_id, paper)
    half_x, half_y = form.size_mm[0] / 2, form.size_mm[1] / 2
    origin = (width / 2, height - constants.BOARD_TOP_MM - half_y)
    left = width / 2 - half_x
    items: list[Item] = [
        Text((left, height - 8.6), f"Calibration board {target_id}", 3.4, True),
        Text(
            (left + 46, height - 8.6),
            "Photograph it 12 to 20 times, filling the picture, from all sides, tilted up to 45°, some with the camera turned.",
            2.7,
        ),
        *shifted([checkerboard(target_id)], *origin),
    ]
    band_top = origin[1] - half_y - 2.6
    right = left + 2 * half_x
    items.append(Text((right, band_top - CAP_HEIGHT * 12), target_id, 12.0, True, "right"))
    across = float(form.square_mm * (form.columns - 2))
    upward = float(form.square_mm * (form.rows - 2))
    rows = [
        f"*{PRINT_RULES[0]} {PRINT_RULES[1]}",
        " ".join(PRINT_RULES[2:]),
        f"Outermost inner crossings: {across:.1f} mm across, {upward:.1f} mm up. {print_note(scale)}",
    ]
    texts, _ = paragraph(left, band_top + 0.4, right - 27 - left, rows, size=2.5, spacing=1.3)
    items += texts
    items += rulers(left, PRINTER_MARGIN_MM + 5.2, 200, 8)
    items.append(footer((width, height), f"calibration board {target_id}, {paper}"))
    return Page(f"Calibration board {target_id}", paper, (width, height), tuple(items), {target_id: origin})


def page_of(target_id: str, paper: str) -> Page:
    """The page on which a target is printed, at nominal size.

    Raises:
        InputError: no such target, or one that is not printed on that paper.
    """
    design.paper_box(target_id, paper)
    number = int(target_id[1:3])
    scale = (1.0, 1.0)
    if target_id[0] == "S":
        return sheet_page(number, paper, scale)
    if target_id[0] == "W":
        return strip_page(number, paper, scale)
    if target_id[0] == "B":
        return bar_page((number + 3) // 4, paper, scale)
    return board_page(number, paper, scale)
