"""A layout on a slab as files: drawing, cutting lines in the slab's frame, pictures of slab and pieces, data."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from PIL import Image

from phototemplate.atomic import write_bytes_atomic, write_text_atomic
from phototemplate.model import Array
from phototemplate.network.rectify import TopView
from phototemplate.output.dxf import Unit, write_dxf
from phototemplate.output.pdf import write_sheets_pdf
from phototemplate.studies.constants import TURN_SAID_DEG
from phototemplate.studies.slab import MeasuredSlab
from phototemplate.studies.slab_layout import Layout, groups_of
from phototemplate.template.boundary import polygon_of_vertices
from phototemplate.template.constants import PAPERS_MM
from phototemplate.template.drawing import Drawing, Item, Polyline, Text
from phototemplate.template.labels import without_overlaps
from phototemplate.template.lengths import LengthWords
from phototemplate.template.paper_sheets import (
    Box,
    Page,
    Rows,
    SheetStyle,
    TitleBlock,
    flowed,
    heading,
    paragraph,
    sheets_of,
    table_blocks,
    to_scale,
)


def write_slab(
    layout: Layout, slab: MeasuredSlab, view: TopView, pieces: Mapping[str, Any], kerf_mm: float, unit: Unit, folder: Path
) -> dict[str, Path]:
    """Write every file of a layout into a folder; what it is -> path. Raises ``OutputError`` where one cannot be written."""
    words = LengthWords(unit)
    name = f"{pieces['job']}: slab"
    out = {"layout": write_dxf(slab_drawing(layout, 25.0), folder / "slab.dxf", unit=unit),
           "cut": write_dxf(_cutting(layout), folder / "slab-cut.dxf", unit=unit, bare=True),
           "remnant": write_dxf(Drawing("remnants", _remnants(layout)), folder / "slab-remnants.dxf", unit=unit, bare=True)}
    short, long = PAPERS_MM["Tabloid" if unit == "in" else "A3"]
    style = SheetStyle(TitleBlock(name), (long, short), unit)
    out["drawing"] = write_sheets_pdf(sheets_of(_pages(layout, slab, words, style), style), folder / "slab.pdf", name)
    plan = _Canvas(view, slab)
    out["picture"] = _jpeg(plan.slab(layout), folder / "slab.jpg")
    for part in layout.laid:
        stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in part.name)
        source = next(p for p in (*pieces["pieces"], *pieces["upright"]) if p["id"] == part.name)
        out[f"piece {part.name}"] = _png(plan.piece(part.move, source), folder / f"slab-{stem}.png")
    out["as installed"] = _jpeg(plan.installed(layout, pieces), folder / "slab-installed.jpg")
    data = {
        "format": "phototemplate-slab", "unit": "mm", "k": 2, "kerf_mm": kerf_mm, "sheets": list(slab.sheets),
        "scale_U_share": 2.0 * slab.scale_u, "outline": _ring(layout.slab), "usable": _ring(layout.usable),
        "faults": [{"name": n, "outline": _ring(s)} for n, s in layout.faults],
        "pieces": [{"id": p.name, "slab_from_piece": p.move[:2].tolist(), "outline": _ring(p.outline), "with": list(p.with_)}
                   for p in layout.laid],
        "not_laid": list(layout.left_over), "pattern_does_not_run_on": [list(g) for g in layout.parted],
        "remnants": [{"outline": _ring(r), "area_mm2": r.area} for r in layout.remnants],
    }
    path = folder / "slab.json"
    write_text_atomic(path, json.dumps(data, indent=1, allow_nan=False) + "\n")
    return {**out, "data": path}


def _ring(shape: Any) -> list[list[float]]:
    return [[round(float(x), 3), round(float(y), 3)] for x, y in shapely.get_coordinates(shape.exterior)[:-1]]


def _line(layer: str, shape: Any, name: str = "") -> list[Item]:
    rings = [shapely.get_coordinates(ring)[:-1] for ring in (shape.exterior, *shape.interiors)]
    return [Polyline(layer, tuple((float(x), float(y), 0.0) for x, y in ring), True, name) for ring in rings]


def _remnants(layout: Layout) -> tuple[Item, ...]:
    return tuple(i for k, r in enumerate(layout.remnants) for i in _line("SLAB-REMNANT", r, f"remnant {k + 1}"))


def slab_drawing(layout: Layout, height_mm: float) -> Drawing:
    """The slab with its faults, pieces and remnants, slab frame."""
    h = height_mm
    items: list[Item] = [*_line("SLAB-PLACES", layout.slab, "slab")]
    labels: list[Item] = []
    for name, shape in layout.faults:
        items += _line("SLAB-FAULTS", shape, name)
        x, y = shape.centroid.coords[0]
        labels.append(Text("SLAB-FAULTS", (x, y), name, h, 0.0, "centre", "middle"))
    for p in layout.laid:
        items += _line("STONE-SHAPE", p.outline, p.name)
        items += [i for hole in p.holes for i in _line("STONE-CUTOUT", hole)]
        x, y = p.outline.representative_point().coords[0]
        angle = math.degrees(math.atan2(p.move[1, 0], p.move[0, 0]))
        turned = f", turned {angle:.0f}°" if abs(angle) > TURN_SAID_DEG else ""
        labels.append(Text("STONE-NAMES", (x, y), f"{p.name}{turned}", h, 0.0, "centre", "middle"))
    items += _remnants(layout)
    for k, r in enumerate(layout.remnants):
        x, y = r.representative_point().coords[0]
        labels.append(Text("SLAB-REMNANT", (x, y), f"remnant {k + 1}", h, 0.0, "centre", "middle"))
    shown, _ = without_overlaps([*items, *labels])
    return Drawing("slab", shown)


def _cutting(layout: Layout) -> Drawing:
    items: list[Item] = []
    for p in layout.laid:
        items += _line("CUT-OUTSIDE", shapely.geometry.polygon.orient(p.outline), p.name)
        items += [i for hole in p.holes for i in _line("CUT-INSIDE", shapely.geometry.polygon.orient(hole, -1.0))]
    return Drawing("slab, pieces as laid", tuple(items), ("origin at the lower left corner of the slab's box",))


def _pages(layout: Layout, slab: MeasuredSlab, words: LengthWords, style: SheetStyle) -> list[Page]:
    room = style.room
    beside = Box(room.x1 - 0.36 * room.width, room.y0, room.x1, room.y1)
    items, scale = to_scale(lambda h: slab_drawing(layout, h), Box(room.x0, room.y0, beside.x0 - 4.0, room.y1), style.unit)
    x0, y0, x1, y1 = layout.slab.bounds
    rows: Rows = [("piece", "left", "up", "turned"), *(
        (p.name, words.short(p.outline.bounds[0]), words.short(p.outline.bounds[1]),
         f"{math.degrees(math.atan2(p.move[1, 0], p.move[0, 0])):.0f}°") for p in layout.laid)]
    blocks = [heading("Slab"), paragraph(
        f"{words.length(x1 - x0, slab.length_U(x1 - x0))} by {words.length(y1 - y0, slab.length_U(y1 - y0))}, "
        f"scale from {len(slab.sheets)} sheets; what is usable within its margin is dimensioned from the lower left corner.",
        beside.width), heading("Pieces"), *table_blocks(rows, beside.width)]
    if layout.left_over:
        blocks.append(paragraph(f"Not laid, no room: {', '.join(layout.left_over)}.", beside.width, "SHEET-CAUTION"))
    for names in layout.parted:
        blocks.append(paragraph(f"The pattern does not run on between {', '.join(names)}: they do not fit side by side.",
                                beside.width, "SHEET-CAUTION"))
    left: Rows = [("remnant", "box", "area"), *(
        (str(k + 1), f"{words.short(r.bounds[2] - r.bounds[0])} x {words.short(r.bounds[3] - r.bounds[1])}", words.area(r.area))
        for k, r in enumerate(layout.remnants))]
    if layout.remnants:
        blocks += [heading("Remnants, kerf and faults taken off"), *table_blocks(left, beside.width)]
    blocks.append(paragraph("Slabs kill when they tip: clamp or rack them, keep out of their fall, two people and lifting "
                            "gear. Cut wet or with extraction; silica dust destroys lungs.", beside.width, "SHEET-CAUTION"))
    pages = flowed(blocks, beside)
    return [Page("Slab layout", (*items, *pages[0]), scale), *(Page("Slab layout, continued", tuple(p)) for p in pages[1:])]


class _Canvas:
    """Pictures cut out of the rectified view."""

    def __init__(self, view: TopView, slab: MeasuredSlab) -> None:
        self.view, self.slab_ = view, slab
        x0, y1 = view.origin_mm
        s = view.px_per_mm
        self.px_from_work = np.array([[s, 0.0, -s * x0], [0.0, -s, s * y1], [0.0, 0.0, 1.0]])

    def _taken(self, target_from_slab: Array, size: tuple[int, int]) -> Array:
        """(rows, columns, 3) picture whose pixels come from the slab through ``target_from_slab`` (px)."""
        source = self.px_from_work @ self.slab_.work_from_slab @ np.linalg.inv(target_from_slab)
        return np.asarray(cv2.warpAffine(self.view.rgb, source[:2], size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP))

    def _target(self, bounds: tuple[float, float, float, float]) -> tuple[Array, tuple[int, int]]:
        """px from mm of a box, top row first, and the size of the picture."""
        x0, y0, x1, y1 = bounds
        s = self.view.px_per_mm
        return np.array([[s, 0.0, -s * x0], [0.0, -s, s * y1], [0.0, 0.0, 1.0]]), (
            max(math.ceil(s * (x1 - x0)), 1), max(math.ceil(s * (y1 - y0)), 1))

    def slab(self, layout: Layout) -> Array:
        """The slab with the outlines of all pieces drawn on it."""
        target, size = self._target(layout.slab.bounds)
        picture = self._taken(target, size).copy()
        lines = [(layout.slab, (255, 255, 255)), *((s, (220, 0, 0)) for _, s in layout.faults),
                 *((p.outline, (0, 90, 200)) for p in layout.laid), *((h, (170, 0, 90)) for p in layout.laid for h in p.holes)]
        for shape, colour in lines:
            cv2.polylines(picture, [_px(target, shape)], True, colour, 3, cv2.LINE_AA)
        for p in layout.laid:
            x, y = (target @ np.array([*p.outline.representative_point().coords[0], 1.0]))[:2]
            cv2.putText(picture, p.name, (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (0, 90, 200), 2, cv2.LINE_AA)
        return picture

    def piece(self, slab_from_piece: Array, source: Mapping[str, Any]) -> Array:
        """(rows, columns, 4) one piece as it will look, upright as in the plan, clear outside it and in its cut-outs."""
        outline = polygon_of_vertices([tuple(v) for v in source["outline"]])
        target, size = self._target(outline.bounds)
        rgb = self._taken(target @ np.linalg.inv(slab_from_piece), size)
        return np.dstack([rgb, _mask(target, source, size)])

    def installed(self, layout: Layout, pieces: Mapping[str, Any]) -> Any:
        """All tops at their places in the plan, panels that take the pattern on turned down flat beside their edge."""
        sources = {p["id"]: p for p in (*pieces["pieces"], *pieces["upright"])}
        places: dict[str, Array] = {}
        for group in groups_of(pieces, 0.0, True):
            top = next((p for p in group if "edges" in sources[p.name]), None)
            for part in group if top is not None else ():
                back = np.eye(3) if top is None else np.linalg.inv(top.move)
                places[part.name] = back @ part.move
        shown = [p for p in layout.laid if p.name in places]
        if not shown:
            return np.full((10, 10, 3), 255, np.uint8)
        corners = np.vstack([
            (np.column_stack([np.array(sources[p.name]["outline"])[:, :2], np.ones(len(sources[p.name]["outline"]))])
             @ places[p.name].T)[:, :2] for p in shown])
        low, high = corners.min(axis=0) - 50.0, corners.max(axis=0) + 50.0
        target, size = self._target((low[0], low[1], high[0], high[1]))
        out = np.full((size[1], size[0], 3), 255, np.uint8)
        for p in shown:
            move = target @ places[p.name]
            seen = _mask(move, sources[p.name], size) > 0
            out[seen] = self._taken(move @ np.linalg.inv(p.move), size)[seen]
        return out


def _px(target: Array, shape: Any) -> Any:
    points = shapely.get_coordinates(shape.exterior)
    return np.asarray(np.round((np.column_stack([points, np.ones(len(points))]) @ target.T)[:, :2]), np.int32)


def _mask(target: Array, source: Mapping[str, Any], size: tuple[int, int]) -> Any:
    """(rows, columns) 255 within a piece and outside its cut-outs and holes."""
    mask = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [_px(target, polygon_of_vertices([tuple(v) for v in source["outline"]]))], 255)
    holes = [polygon_of_vertices([tuple(v) for v in c["outline"]]) for c in source["cutouts"] if not c["across_seam"]]
    holes += [shapely.Point(h["centre"]).buffer(h["diameter_mm"] / 2.0) for h in source.get("holes", [])]
    for hole in holes:
        cv2.fillPoly(mask, [_px(target, hole)], 0)
    return mask


def _png(picture: Array, path: Path) -> Path:
    return _saved(picture, path, "PNG")


def _jpeg(picture: Array, path: Path) -> Path:
    return _saved(picture, path, "JPEG")


def _saved(picture: Array, path: Path, kind: str) -> Path:
    stream = io.BytesIO()
    Image.fromarray(np.asarray(picture, np.uint8)).save(stream, kind)
    write_bytes_atomic(path, stream.getvalue())
    return path
