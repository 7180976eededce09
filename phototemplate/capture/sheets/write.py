"""Writes the printed targets: as PDF for people, as pictures for the renderer of demo photos."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phototemplate.capture import design
from phototemplate.capture.sheets.constants import PRINT_SCALE_RANGE
from phototemplate.capture.sheets.drawing import Page
from phototemplate.capture.sheets.kinds import FULL_SET, PRINT_KINDS, PrintKind
from phototemplate.capture.sheets.page_parts import paper_size
from phototemplate.capture.sheets.pdf import write_pdf
from phototemplate.capture.sheets.raster import RasterFrame, paint
from phototemplate.capture.sheets.target_pages import page_of
from phototemplate.errors import InputError
from phototemplate.model import GrayImage


@dataclass(frozen=True)
class WrittenSheets:
    """What was written."""

    path: Path
    pages: tuple[str, ...]
    """Titles, in order"""
    target_ids: tuple[str, ...]
    """Every target on the pages"""
    paper: str
    print_scale: tuple[float, float]


def write_sheets(
    path: Path | str,
    what: str | Sequence[str] = "set",
    paper: str = "A4",
    print_scale: float | tuple[float, float] = 1.0,
    numbers: str | Sequence[int] | None = None,
    guide: bool = True,
) -> WrittenSheets:
    """Writes printable targets as a vector PDF at exact scale.

    Args:
        path: PDF file to write; it appears whole or not at all.
        what: names of ``PRINT_KINDS``, or ``"set"``: guide, target sheets, wall strips, bar ends, calibration board.
        paper: name in ``constants.PAPERS_MM``.
        print_scale: what the printer makes of 1 mm, as measured on a check ruler: 0.997 where 200 mm came out as
            199.4 mm; or (across, up), as seen with the page in its reading position. The pages are drawn larger by the
            inverse, and say so.
        numbers: which numbers, e.g. ``"1-12,15"`` or ``[1, 2, 5]``; only for a single kind. None: the usual ones.
        guide: begin with the guide page, where that exists for the paper.

    Returns:
        What was written.

    Raises:
        InputError: unknown kind, paper or number, or a print scale that cannot be one.
        OutputError: the file cannot be written.
    """
    path = Path(path)
    scale = _checked_scale(print_scale)
    paper_size(paper, landscape=False)
    kinds = _chosen_kinds(what, paper)
    wanted = _kind_numbers(kinds, numbers, paper)
    if guide and kinds[0].name != "guide" and paper in PRINT_KINDS[0].papers:
        kinds, wanted = (PRINT_KINDS[0], *kinds), ((1,), *wanted)
    pages: list[Page] = [kind.page(k, paper, scale) for kind, group in zip(kinds, wanted, strict=True) for k in group]
    write_pdf(path, pages, "Photo template targets", scale)
    target_ids = tuple(target_id for page in pages for target_id in page.placements)
    return WrittenSheets(path, tuple(page.title for page in pages), target_ids, paper, scale)


def parse_numbers(text: str) -> tuple[int, ...]:
    """Reads ``"1-12,15"`` (letters in front allowed: ``"S01-S12"``) as sorted numbers without repetition.

    Raises:
        InputError: the text is not a list of numbers.
    """
    found: set[int] = set()
    for part in text.replace(" ", "").split(","):
        match = re.fullmatch(r"[A-Za-z]?(\d{1,4})(?:-[A-Za-z]?(\d{1,4}))?", part)
        if not match:
            raise InputError(f"{text!r} is not a list of numbers: write it like 1-12,15.")
        start, end = int(match[1]), int(match[2] or match[1])
        if end < start:
            raise InputError(f"{part!r} runs backwards: write {end}-{start}.")
        found.update(range(start, end + 1))
    return tuple(sorted(found))


def raster(target_id: str, px_per_mm: float = 16.0, paper: str | None = None) -> tuple[GrayImage, RasterFrame]:
    """Picture of one target after cutting, as a perfect printer would print it.

    A sheet is cut along its contact edge only, so its first row is the contact edge; strip pieces and bar ends are cut
    out all around; boards are the whole paper. Everything printed on that piece of paper is in the picture.

    Args:
        target_id: e.g. ``"S07"``, ``"W03a"``, ``"B01"``, ``"K01"``.
        px_per_mm: resolution.
        paper: paper on which the target is printed; None: A4, or the first paper of a large board.

    Returns:
        (rows, columns) picture, white 255, and where it lies in the target's frame.

    Raises:
        InputError: no such target, a paper it is not printed on, or a resolution that is not above zero.
    """
    if not (math.isfinite(px_per_mm) and px_per_mm > 0):
        raise InputError(f"The resolution of a picture must be above zero pixels per mm, not {px_per_mm}.")
    paper = paper or design.papers(target_id)[0]
    left, bottom, right, top = design.paper_box(target_id, paper)
    page = page_of(target_id, paper)
    x, y = page.placements[target_id]
    image = paint(page.items, (left + x, bottom + y, right + x, top + y), px_per_mm)
    rows, columns = image.shape
    size = (columns / px_per_mm, rows / px_per_mm)
    matrix = np.array([[px_per_mm, 0.0, -left * px_per_mm - 0.5], [0.0, -px_per_mm, top * px_per_mm - 0.5]])
    return image, RasterFrame(matrix, size, (left, top - size[1], left + size[0], top), px_per_mm)


def _checked_scale(print_scale: float | tuple[float, float]) -> tuple[float, float]:
    values = print_scale if isinstance(print_scale, tuple) else (print_scale, print_scale)
    if len(values) != 2:
        raise InputError("A print scale is one number, or two: across and up.")
    low, high = PRINT_SCALE_RANGE
    for value in values:
        if not math.isfinite(value) or value <= 0:
            raise InputError(f"The print scale must be a number near 1, not {value}.")
        if 100 * low <= value <= 100 * high:
            raise InputError(
                f"The print scale {value:g} looks like per cent: give the measured length divided by the drawn one, "
                f"that is {value / 100:g}."
            )
        if not low <= value <= high:
            raise InputError(
                f"The print scale {value:g} is too far from 1 (allowed are {low} to {high}): print at 100 %, without "
                "fit to page, and measure the ruler again."
            )
    return float(values[0]), float(values[1])


def _chosen_kinds(what: str | Sequence[str], paper: str) -> tuple[PrintKind, ...]:
    names = [what] if isinstance(what, str) else list(what)
    known = {kind.name: kind for kind in PRINT_KINDS}
    if not names:
        raise InputError(f"Nothing to print was chosen: choose set or some of {', '.join(known)}.")
    if "set" in names:
        names = [*FULL_SET, *(name for name in names if name != "set" and name not in FULL_SET)]
    for name in names:
        if name not in known:
            raise InputError(f"There is nothing called {name!r} to print: choose set or some of {', '.join(known)}.")
        if paper not in known[name].papers:
            allowed = " or ".join(known[name].papers)
            raise InputError(f"A {known[name].noun} cannot be printed on {paper}: choose {allowed}.")
    return tuple(kind for kind in PRINT_KINDS if kind.name in names)


def _kind_numbers(kinds: tuple[PrintKind, ...], numbers: str | Sequence[int] | None, paper: str) -> tuple[tuple[int, ...], ...]:
    if numbers is None:
        return tuple(kind.usual(paper) for kind in kinds)
    if len(kinds) != 1:
        raise InputError("Numbers can be chosen for one kind of page at a time: name sheets, strips, bars or board.")
    chosen = parse_numbers(numbers) if isinstance(numbers, str) else tuple(numbers)
    possible = kinds[0].numbers(paper)
    if not chosen:
        raise InputError(f"No number was given: choose from {possible[0]} to {possible[-1]}.")
    for number in chosen:
        if number not in possible:
            span = f"{possible[0]}" if len(possible) == 1 else f"{possible[0]} to {possible[-1]}"
            raise InputError(f"There is no {kinds[0].noun} {number} for {paper}: choose from {span}.")
    return (chosen,)
