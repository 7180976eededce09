"""Lowers a page to a grey picture: what a perfect printer at 100 % would put on the paper.

Boxes (squares, marker bits, ruler ticks) are painted with their exact area coverage, so an edge lies where the geometry
says to a small fraction of a pixel at any resolution.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from reportlab.pdfbase.pdfmetrics import stringWidth

from phototemplate.capture.sheets.constants import RASTER_SHIFT
from phototemplate.capture.sheets.drawing import Blocks, Box, Ink, Item, Polygon, Stroke, Text
from phototemplate.model import Array, GrayImage

_Canvas = NDArray[np.float32]


@dataclass(frozen=True)
class RasterFrame:
    """Where a raster lies: pixel (0, 0) is the centre of the first pixel, rows run downwards."""

    image_from_target: Array
    """(2, 3) affine map: ``uv_px = M @ [x_mm, y_mm, 1]``"""
    size_mm: tuple[float, float]
    """Width and height of the whole picture (pixels / px_per_mm); the paper, rounded up to whole pixels"""
    box_mm: Box
    """Left, bottom, right, top of the whole picture in the target frame"""
    px_per_mm: float


def paint(items: Iterable[Item], box: Box, px_per_mm: float) -> GrayImage:
    """Paints the part of a page inside ``box`` (left, bottom, right, top in mm); (rows, columns) uint8, paper 255.

    The upper left corner of the box is the upper left corner of the picture; its size is rounded up to whole pixels.
    """
    left, bottom, right, top = box
    columns = int(np.ceil(round((right - left) * px_per_mm, 6)))
    rows = int(np.ceil(round((top - bottom) * px_per_mm, 6)))
    canvas: _Canvas = np.full((rows, columns), 255.0, dtype=np.float32)
    for item in items:
        if isinstance(item, Blocks):
            boxes = [(b[0] - left, top - b[3], b[2] - left, top - b[1]) for b in item.boxes]
            _paint_boxes(canvas, np.array(boxes, dtype=np.float64) * px_per_mm, _level(item.ink))
        elif isinstance(item, Text):
            _paint_text(canvas, item, left, top, px_per_mm)
        else:
            points = [((x - left) * px_per_mm, (top - y) * px_per_mm) for x, y in item.points]
            _paint_lines(canvas, item, points, px_per_mm)
    return np.clip(np.rint(canvas), 0, 255).astype(np.uint8)


def _level(ink: Ink) -> float:
    red, green, blue = ink
    return 255.0 * (0.299 * red + 0.587 * green + 0.114 * blue)


def _blend(canvas: _Canvas, row: int, column: int, cover: _Canvas, level: float) -> None:
    """Paints ``level`` through a coverage mask whose first pixel is (row, column); the mask may hang over."""
    r0, c0 = max(row, 0), max(column, 0)
    r1, c1 = min(row + cover.shape[0], canvas.shape[0]), min(column + cover.shape[1], canvas.shape[1])
    if r0 >= r1 or c0 >= c1:
        return
    part = canvas[r0:r1, c0:c1]
    part += (level - part) * cover[r0 - row : r1 - row, c0 - column : c1 - column]


def _span(start: float, end: float) -> tuple[int, _Canvas]:
    """First pixel and share of each pixel between two positions."""
    first = int(np.floor(start))
    edges = np.arange(first, int(np.ceil(end)) + 1)
    share = np.minimum(edges[1:], end) - np.maximum(edges[:-1], start)
    return first, np.clip(share, 0.0, 1.0).astype(np.float32)


def _paint_boxes(canvas: _Canvas, boxes: Array, level: float) -> None:
    """Boxes of one shape share pixels along their common edges: their coverage adds up before it is painted."""
    boxes = np.clip(boxes, -1.0, np.array([canvas.shape[1] + 1, canvas.shape[0] + 1] * 2, dtype=np.float64))
    boxes = boxes[(boxes[:, 2] > boxes[:, 0]) & (boxes[:, 3] > boxes[:, 1])]
    if not len(boxes):
        return
    column, row = np.floor(boxes[:, :2].min(axis=0)).astype(int)
    last_column, last_row = np.ceil(boxes[:, 2:].max(axis=0)).astype(int)
    cover: _Canvas = np.zeros((last_row - row, last_column - column), dtype=np.float32)
    for x0, y0, x1, y1 in boxes:
        c, across = _span(x0, x1)
        r, down = _span(y0, y1)
        cover[r - row : r - row + len(down), c - column : c - column + len(across)] += down[:, None] * across[None, :]
    np.minimum(cover, 1.0, out=cover)
    _blend(canvas, int(row), int(column), cover, level)


def _paint_lines(canvas: _Canvas, item: Polygon | Stroke, points: list[tuple[float, float]], scale: float) -> None:
    level = _level(item.ink)
    if isinstance(item, Polygon):
        _paint_polygon(canvas, np.array(points), level)
        return
    half = item.width * scale / 2
    for start, end in pairwise(points):
        for (xa, ya), (xb, yb) in _dashes(np.array(start), np.array(end), item.dash, scale):
            if xa == xb or ya == yb:
                box = [min(xa, xb) - half, min(ya, yb) - half, max(xa, xb) + half, max(ya, yb) + half]
                if item.dash is not None:  # dashes have butt ends, corners of outlines are filled
                    box = [box[0] + half, box[1], box[2] - half, box[3]] if ya == yb else box
                    box = [box[0], box[1] + half, box[2], box[3] - half] if xa == xb else box
                _paint_boxes(canvas, np.array([box]), level)
            else:
                along = np.array([xb - xa, yb - ya]) / np.hypot(xb - xa, yb - ya)
                side = half * np.array([-along[1], along[0]])
                a, b = np.array([xa, ya]), np.array([xb, yb])
                _paint_polygon(canvas, np.array([a + side, b + side, b - side, a - side]), level)


def _dashes(start: Array, end: Array, dash: tuple[float, float] | None, scale: float) -> list[tuple[Array, Array]]:
    if dash is None:
        return [(start, end)]
    length = float(np.hypot(*(end - start)))
    step = sum(dash) * scale
    unit = (end - start) / length
    marks = np.arange(0.0, length, step)
    return [(start + unit * s, start + unit * min(s + dash[0] * scale, length)) for s in marks]


def _paint_polygon(canvas: _Canvas, points: Array, level: float) -> None:
    low = np.floor(points.min(axis=0)).astype(int) - 1
    high = np.ceil(points.max(axis=0)).astype(int) + 2
    mask = np.zeros((high[1] - low[1], high[0] - low[0]), dtype=np.uint8)
    corners = np.rint((points - low - 0.5) * 2**RASTER_SHIFT).astype(np.int32)
    cv2.fillPoly(mask, [corners], 255, lineType=cv2.LINE_AA, shift=RASTER_SHIFT)
    _blend(canvas, int(low[1]), int(low[0]), mask.astype(np.float32) / np.float32(255), level)


def _paint_text(canvas: _Canvas, item: Text, left: float, top: float, scale: float) -> None:
    """Letters of Pillow's own font, each stretched to the width that Helvetica has in the PDF."""
    if not item.text.strip():
        return
    pad = int(0.3 * item.size * scale) + 2
    baseline = int(item.size * scale) + pad
    cover: _Canvas = np.zeros((int(1.4 * item.size * scale) + 2 * pad, int(item.width * scale) + 3 * pad), np.float32)
    finer = max(1, min(8, round(60 / (item.size * scale))))  # small letters are drawn larger, then averaged
    font = ImageFont.load_default(size=item.size * scale * finer)
    weight = round(0.02 * item.size * scale * finer) if item.bold else 0
    position = float(pad)
    for letter in item.text:
        advance = float(stringWidth(letter, item.font, item.size)) * scale
        natural = max(float(font.getlength(letter)), 1.0) / finer
        width, height = int(natural) + 2 * pad, cover.shape[0]
        mask = Image.new("L", (width * finer, height * finer), 0)
        pen = ImageDraw.Draw(mask)
        pen.text((pad * finer, baseline * finer), letter, 255, font, anchor="ls", stroke_width=weight)
        stretch = advance / natural
        mask = mask.resize((max(round(width * stretch), 1), height), Image.Resampling.BOX)
        start = max(round(position - pad * stretch), 0)
        glyph = np.asarray(mask, dtype=np.float32)[:, : cover.shape[1] - start] / np.float32(255)
        part = cover[:, start : start + glyph.shape[1]]
        np.maximum(part, glyph, out=part)
        position += advance
    x, y = (item.at[0] - left) * scale, (top - item.at[1]) * scale
    before = {"left": 0.0, "centre": 0.5, "right": 1.0}[item.align] * item.width * scale + pad
    if item.turned:
        turned = np.ascontiguousarray(np.rot90(cover))
        _blend(canvas, round(y + before) - turned.shape[0], round(x) - baseline, turned, _level(item.ink))
    else:
        _blend(canvas, round(y) - baseline, round(x - before), cover, _level(item.ink))
