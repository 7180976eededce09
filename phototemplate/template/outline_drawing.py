"""The measured outline as a drawing: edges, names, dimensions, bands and table of their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from phototemplate.edges.shapes.evaluate import between, normal_at, offset_u, point_at
from phototemplate.model import Array, EdgeReport, Outline, OutlineLoop, Segment
from phototemplate.template.constants import BAND_PLACES
from phototemplate.template.curves import ArcCurve
from phototemplate.template.dimension_parts import upright
from phototemplate.template.drawing import Circle, Data, Dimension, Drawing, Item, Polyline, Text, item_bounds, table
from phototemplate.template.intersections import AnyCurve
from phototemplate.template.labels import without_overlaps
from phototemplate.template.lengths import LengthWords
from phototemplate.template.quantities import State
from phototemplate.units import format_U

Vertices = list[tuple[float, float, float]]


U_NOTE = ("± is the expanded uncertainty U (k = 2); the report says how often that covers. Dimensions without it are decided, "
          "not measured.")
"""What every drawing says of its uncertainties"""


@dataclass(frozen=True)
class OutlineStyle:
    """How a measured outline is drawn."""

    words: LengthWords = field(default_factory=LengthWords)
    text_height_mm: float = 25.0
    chord_tolerance_mm: float = 0.05
    """Wall curves are polylines that lie this near"""
    band_scale: float = 50.0
    """The band shows U (k = 2) about each edge, enlarged by this; 0: no band"""
    points: bool = True
    """With the measured points"""
    sizes: bool = True
    """With dimensions"""
    edge_table: bool = True
    """With the table of edges below"""


def outline_drawing(outline: Outline, title: str = "Outline as measured", style: OutlineStyle = OutlineStyle()) -> Drawing:
    """Lower an outline (plan frame, mm) to a drawing.

    Loops become closed polylines with true bulges on FOUND-LINE (open chains on FOUND-OPEN); every edge lies once more
    by itself on FOUND-EDGES with its uncertainty as data. No label covers another; one that finds no place is left out.
    """
    state = State(outline)
    reports = {r.edge_id: r for r in outline.edges}
    h, chord_tolerance_mm, band_scale = style.text_height_mm, style.chord_tolerance_mm, style.band_scale
    items: list[Item] = []
    looped: set[str] = set()
    for loop in outline.loops:
        looped.update(loop.edge_ids)
        items.append(_loop_item(state, loop, chord_tolerance_mm))
    for segment in outline.segments:
        curve = state.curve(segment.edge_id)
        start, end = (p.xy for p in state.stretch(segment.edge_id))
        run = edge_vertices(curve, start, end, chord_tolerance_mm)
        report = reports.get(segment.edge_id)
        layer = "FOUND-EDGES" if segment.edge_id in looped else "STONE-UNDERNEATH"
        items.append(Polyline(layer, tuple(run), name=segment.edge_id, data=_edge_data(report)))
        if style.points:
            items += [Circle("FOUND-POINTS", (float(x), float(y)), 0.08 * h) for x, y in segment.points_mm]
        if report is not None and band_scale > 0 and math.isfinite(report.offset_U_mm[1]):
            items += _band(segment, start, end, outline.influences.cov, band_scale)
        items += _labels(curve, (start, end), segment.edge_id, report, style)
    for loop in outline.loops:
        items += [
            Text("FOUND-NAMES", (float(x) + 0.4 * h, float(y) + 0.4 * h), f"{loop.loop_id} {i}", 0.6 * h)
            for i, (x, y) in enumerate(loop.corners_mm)
        ]
    if style.edge_table and outline.edges:
        low = min((item_bounds(item)[1] for item in items), default=0.0)
        items += table(edge_rows(outline.edges), (0.0, low - 3.0 * h), h, "FOUND-TABLE", "FOUND-TABLE")
    notes = [
        f"{style.words.note} The table is in mm and degrees.",
        "Frame: x to the right along the longest run as seen from the room, y away from the room.",
        U_NOTE,
        f"Curves of walls are drawn within {chord_tolerance_mm:g} mm.",
    ]
    if any(item.layer == "FOUND-BAND" for item in items):
        notes.append(f"The dotted band shows U enlarged {band_scale:g} times.")
    if outline.unscaled:
        notes.insert(0, "NOT TO SCALE: no known length was given, only the shape is true.")
    shown, _ = without_overlaps(items, ("FOUND-TABLE",))
    return Drawing(title, shown, tuple(notes), chord_tolerance_mm)


def edge_vertices(curve: AnyCurve, start: Array, end: Array, tolerance_mm: float) -> Vertices:
    """Vertices of one edge from start to end, both included."""
    return [*curve.vertices(start, end, tolerance_mm), (float(end[0]), float(end[1]), 0.0)]


def loop_vertices(state: State, loop: OutlineLoop, tolerance_mm: float) -> Vertices:
    """Vertices (x, y, bulge) of a loop; a closed one repeats no vertex."""
    out: Vertices = []
    n = len(loop.edge_ids)
    for i, edge_id in enumerate(loop.edge_ids):
        j = (i + 1) % n if loop.closed else i + 1
        out += state.curve(edge_id).vertices(loop.corners_mm[i], loop.corners_mm[j], tolerance_mm)
    if not loop.closed:
        out.append((float(loop.corners_mm[-1][0]), float(loop.corners_mm[-1][1]), 0.0))
    return out


def _loop_item(state: State, loop: OutlineLoop, tolerance_mm: float) -> Polyline:
    data: Data = (("loop", loop.loop_id), ("edges", " ".join(loop.edge_ids)))
    layer = "FOUND-LINE" if loop.closed else "FOUND-OPEN"
    return Polyline(layer, tuple(loop_vertices(state, loop, tolerance_mm)), loop.closed, loop.loop_id, data=data)


def _edge_data(report: EdgeReport | None) -> Data:
    if report is None:
        return ()
    start, middle, end = report.offset_U_mm
    return (
        ("edge", report.edge_id), ("kind", report.kind), ("shape", report.shape), ("source", report.source),
        *((("level", report.level), ("height_mm", report.height_mm[0])) if report.level else ()),
        ("length_mm", report.length_mm),
        ("length_U_mm", report.length_U_mm),
        ("angle_deg", math.degrees(report.angle_rad)), ("angle_U_deg", math.degrees(report.angle_U_rad)),
        ("offset_U_start_mm", start), ("offset_U_middle_mm", middle), ("offset_U_end_mm", end), ("k", 2.0),
        *((f"u_mm: {cause}", u) for cause, u in report.budget[:6]),
    )


def _band(segment: Segment, start: Array, end: Array, influences_cov: Array, scale: float) -> list[Item]:
    """Two lines at plus and minus U, followed along the edge: a wall is known badly where no strip was seen."""
    s = between(segment, start, end, BAND_PLACES)
    points, normals = point_at(segment, s), normal_at(segment, s)
    big_u = 2.0 * offset_u(segment, s, influences_cov)
    items: list[Item] = []
    for sign in (-1.0, 1.0):
        side = points + sign * scale * big_u[:, None] * normals
        items.append(Polyline("FOUND-BAND", tuple((float(x), float(y), 0.0) for x, y in side), name=segment.edge_id))
    return items


def _labels(
    curve: AnyCurve, ends: tuple[Array, Array], edge_id: str, report: EdgeReport | None, style: OutlineStyle
) -> list[Item]:
    """Name on the inside, dimension on the outside."""
    (start, end), h = ends, style.text_height_mm
    if isinstance(curve, ArcCurve) and curve.closed:
        x, y = (float(v) for v in curve.centre.xy)
        radius = style.words.short(curve.radius.value)
        lines = [edge_id, f"R {radius}"] if style.sizes else [edge_id]
        return [Text("FOUND-NAMES", (x, y - 1.6 * h * k), text, h, 0.0, "centre", "middle") for k, text in enumerate(lines)]
    along = end - start
    length = float(np.hypot(*along))
    if length < 1e-9:
        return []
    left = np.array([-along[1], along[0]]) / length
    middle = (start + end) / 2.0
    rotation = upright(math.atan2(along[1], along[0]))
    at = middle + 1.6 * h * left
    name = edge_id
    if report is not None and report.level:
        up = report.height_mm[0]
        name = f"{edge_id} ({report.level}: {style.words.short(abs(up))} {'above' if up > 0 else 'below'} the work plane)"
    items: list[Item] = [Text("FOUND-NAMES", (float(at[0]), float(at[1])), name, h, rotation, "centre", "middle")]
    if style.sizes and report is not None and not math.isnan(report.length_U_mm):
        base = middle - 5.0 * h * left
        text = style.words.length(length, report.length_U_mm)
        if isinstance(curve, ArcCurve):
            text = f"R {style.words.short(curve.radius.value)}, chord {style.words.length(length)}"
        items.append(Dimension("FOUND-SIZES", (float(start[0]), float(start[1])), (float(end[0]), float(end[1])),
                               (float(base[0]), float(base[1])), text=text, height_mm=h))
    return items


def edge_rows(reports: Sequence[EdgeReport]) -> list[tuple[str, ...]]:
    """Readable table of the edges, header first; U at k = 2."""
    rows: list[tuple[str, ...]] = [
        ("edge", "kind", "shape", "source", "length mm", "U", "angle deg", "U", "offset U: start", "middle", "end",
         "largest cause")
    ]
    for r in reports:
        cause = f"{r.budget[0][0]} (u {r.budget[0][1]:.2f})" if r.budget else ""
        rows.append((
            r.edge_id, r.kind, r.shape, r.source, f"{r.length_mm:.1f}",
            "as seen" if math.isnan(r.length_U_mm) else format_U(r.length_U_mm),
            f"{math.degrees(r.angle_rad):.3f}", format_U(math.degrees(r.angle_U_rad), 3),
            *(format_U(u) for u in r.offset_U_mm), cause,
        ))
    return rows
