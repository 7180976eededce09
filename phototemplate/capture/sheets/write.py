"""Writes the printed targets: as PDF for people, as pictures for the renderer of demo photos."""

from __future__ import annotations

import numpy as np

from phototemplate.capture import design
from phototemplate.capture.sheets.raster import RasterFrame, paint
from phototemplate.capture.sheets.target_pages import page_of
from phototemplate.errors import InputError
from phototemplate.model import GrayImage


def raster(target_id: str, px_per_mm: float = 16.0, paper: str = "A4") -> tuple[GrayImage, RasterFrame]:
    """Picture of one target after cutting, as a perfect printer would print it.

    A sheet is cut along its contact edge only, so its first row is the contact edge; strip pieces and bar ends are cut
    out all around; boards are the whole paper. Everything printed on that piece of paper is in the picture.

    Args:
        target_id: e.g. ``"S07"``, ``"W03a"``, ``"B01"``, ``"K01"``.
        px_per_mm: resolution.
        paper: paper on which the target is printed.

    Returns:
        (rows, columns) picture, white 255, and where it lies in the target's frame.

    Raises:
        InputError: no such target, a paper it is not printed on, or a resolution that is not above zero.
    """
    if not px_per_mm > 0:
        raise InputError(f"The resolution of a picture must be above zero pixels per mm, not {px_per_mm}.")
    left, bottom, right, top = design.paper_box(target_id, paper)
    page = page_of(target_id, paper)
    x, y = page.placements[target_id]
    image = paint(page.items, (left + x, bottom + y, right + x, top + y), px_per_mm)
    rows, columns = image.shape
    size = (columns / px_per_mm, rows / px_per_mm)
    matrix = np.array([[px_per_mm, 0.0, -left * px_per_mm - 0.5], [0.0, -px_per_mm, top * px_per_mm - 0.5]])
    return image, RasterFrame(matrix, size, (left, top - size[1], left + size[0], top), px_per_mm)
