"""The measured outline as a drawing: edges, names, dimensions, bands and table of their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from phototemplate.edges.shapes.evaluate import normal_at, offset_u, point_at, to_chord
from phototemplate.model import Array, EdgeReport, Outline, OutlineLoop, Segment
from phototemplate.template.constants import BAND_PLACES, FREE_END_MM
from phototemplate.template.curves import ArcCurve
from phototemplate.template.drawing import Circle, Data, Dimension, Drawing, Item, Polyline, Text, item_bounds, table
from phototemplate.template.intersections import AnyCurve
from phototemplate.template.quantities import State
from phototemplate.units import format_length

Vertices = list[tuple[float, float, float]]


def outline_drawing(
    outline: Outline,
    title: str = "",
    chord_tolerance_mm: float = 0.05,
    text_height_mm: float = 25.0,
    band_scale: float = 50.0,
    points: bool = True,
    sizes: bool = True,
    edge_table: bool = True,
    denominator: int = 16,
) -> Drawing:
    """Lower an outline (plan frame, mm) to a drawing.

    Loops become closed polylines with true bulges on FOUND-LINE (open chains on FOUND-OPEN); every edge lies once more
    by itself on FOUND-EDGES with its uncertainty as data; profiles are polylines within ``chord_tolerance_mm``. The
    band shows U (k = 2) about each edge, ``band_scale`` times enlarged (0: no band).
    """
    state = State(outline)
    reports = {r.edge_id: r for r in outline.edges}
    h = text_height_mm
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
        if points:
            items += [Circle("FOUND-POINTS", (float(x), float(y)), 0.08 * h) for x, y in segment.points_mm]
        if report is not None and band_scale > 0:
            items += _band(segment, start, end, outline.influences.cov, band_scale)
        items += _labels(curve, start, end, segment.edge_id, report, h, sizes, denominator)
    for loop in outline.loops:
        items += [
            Text("FOUND-NAMES", (float(x) + 0.4 * h, float(y) + 0.4 * h), f"{loop.loop_id} {i}", 0.6 * h)
            for i, (x, y) in enumerate(loop.corners_mm)
        ]
    if edge_table and outline.edges:
        low = min((item_bounds(item)[1] for item in items), default=0.0)
        items += table(edge_rows(outline.edges), (0.0, low - 3.0 * h), h, "FOUND-TABLE", "FOUND-TABLE")
    notes = [
        "Dimensions and table: mm, inches in brackets.",
        "Frame: x to the right along the longest run as seen from the room, y away from the room.",
        "U is the expanded uncertainty, k = 2 (about 95 %).",
        f"Profiles are drawn within {chord_tolerance_mm:g} mm of their curve.",
    ]
    if band_scale > 0:
        notes.append(f"The dotted band shows U enlarged {band_scale:g} times.")
    if outline.unscaled:
        notes.insert(0, "NOT TO SCALE: no known length was given, only the shape is true.")
    return Drawing(title or "Outline as measured", tuple(items), tuple(notes), chord_tolerance_mm)


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
        ("length_mm", report.length_mm), ("length_U_mm", report.length_U_mm),
        ("angle_deg", math.degrees(report.angle_rad)), ("angle_U_deg", math.degrees(report.angle_U_rad)),
        ("offset_U_start_mm", start), ("offset_U_middle_mm", middle), ("offset_U_end_mm", end), ("k", 2.0),
        *((f"u_mm: {cause}", u) for cause, u in report.budget[:6]),
    )


def _band(segment: Segment, start: Array, end: Array, influences_cov: Array, scale: float) -> list[Item]:
    """Two lines at plus and minus U, followed along the edge: a wall is known badly where no strip was seen."""
    ends, _ = to_chord(segment, np.array([start, end]))
    s = np.linspace(ends[0], ends[1], BAND_PLACES)
    points, normals = point_at(segment, s), normal_at(segment, s)
    big_u = 2.0 * offset_u(segment, s, influences_cov)
    items: list[Item] = []
    for sign in (-1.0, 1.0):
        side = points + sign * scale * big_u[:, None] * normals
        items.append(Polyline("FOUND-BAND", tuple((float(x), float(y), 0.0) for x, y in side), name=segment.edge_id))
    return items


def _labels(
    curve: AnyCurve, start: Array, end: Array, edge_id: str, report: EdgeReport | None, h: float, sizes: bool,
    denominator: int,
) -> list[Item]:
    """Name on the inside, dimension on the outside."""
    along = end - start
    length = float(np.hypot(*along))
    if length < 1e-9:
        return []
    left = np.array([-along[1], along[0]]) / length
    middle = (start + end) / 2.0
    rotation = math.atan2(along[1], along[0])
    if not -math.pi / 2 - 1e-6 < rotation <= math.pi / 2 + 1e-6:
        rotation += math.pi
    at = middle + 1.6 * h * left
    items: list[Item] = [
        Text("FOUND-NAMES", (float(at[0]), float(at[1])), edge_id, h, rotation, "centre", "middle")
    ]
    if sizes and report is not None and report.length_U_mm > FREE_END_MM:
        base = middle - 5.0 * h * left
        # mm with U and inches, whatever the unit of the file: a text in mm under a line measured in inches would mislead
        text = f"{length:.1f} ±{report.length_U_mm:.1f} ({format_length(length, 'fraction', denominator)})"
        if isinstance(curve, ArcCurve):
            text = f"{length:.1f} R {curve.radius.value:.0f} ({format_length(length, 'fraction', denominator)})"
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
            f"{r.length_U_mm:.2f}" if r.length_U_mm > FREE_END_MM else "as seen",
            f"{math.degrees(r.angle_rad):.3f}", f"{math.degrees(r.angle_U_rad):.3f}",
            *(f"{u:.2f}" for u in r.offset_U_mm), cause,
        ))
    return rows
