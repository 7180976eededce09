"""What must hold for every outline and every wish: a valid piece, or an error that says what to do."""

from __future__ import annotations

import itertools
import math
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from phototemplate.errors import InputError
from phototemplate.model import Outline
from phototemplate.output.dxf import dxf_bytes, write_dxf
from phototemplate.template.boundary import FitError, polygon_of, polygon_of_vertices
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.cutting import cutting_drawing_of_all
from phototemplate.template.drawing import Dimension, Text
from phototemplate.template.labels import label_box, strokes
from phototemplate.template.lengths import LengthWords
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.rules import density_kg_m3
from phototemplate.template.schedule import corner_schedule
from phototemplate.template.shop_drawing import Style, template_drawing
from phototemplate.template.spec import TemplateSpec
from tests.template import read_back
from tests.template.samples import random_outline

CHORD_MM = 0.02
GDAL_CHORD_MM = 0.05
"""mm along a contour. Chords of both programs"""
PRINTED = ("lengths, mm", "areas, m2", "weights, kg", "radii and clips, mm", "angles, deg")
"""What is recomputed from the DXF, with its unit"""


@dataclass(frozen=True)
class Outcome:
    """What became of one random wish."""

    kind: str
    """``cut``, ``error``"""
    message: str = ""
    nearest: bool = False
    """An error that says what would work"""
    area_error_mm2: float = 0.0
    """Largest difference between analytic and chorded area, beyond what the chords explain"""
    shortest_mm: float = math.inf
    """Shortest side of a piece that is no rounded corner"""
    off_rule: float = 0.0
    """Largest angle in rad between an aligned side and what its rule says"""
    label_overlaps: int = 0
    """Pairs of labels of the full drawing whose boxes meet, and lines through labels"""
    recomputed_mm: float = 0.0
    """Largest difference between a printed length and the distance between its ends as cut"""
    printed: Mapping[str, tuple[int, float]] = field(default_factory=dict)
    """Kind of number (:data:`PRINTED`) -> how many are printed, and the largest difference of one from what the DXF alone
    gives, beyond the digits printed"""
    readers_apart: int = 0
    """Cutting files that GDAL or LibreCAD read otherwise than ezdxf"""
    offset_error_mm2: float = 0.0
    """Symmetric difference between our uniform offset and shapely's, per mm of outline"""


def random_wish(rng: np.random.Generator, edges: tuple[str, ...], kinds: dict[str, str], lengths: dict[str, float]) -> Any:
    """Overhangs, radii, clips, openings, cut-outs and seams of sensible and of foolish size."""
    foolish = rng.random() < 0.35
    top = 400.0 if foolish else 60.0
    piece: dict[str, Any] = {"id": "top", "loop": "loop", "edges": {}, "corners": {}}
    for e in edges:
        if rng.random() < 0.6:
            key = "clearance" if kinds[e] == "wall" else "overhang"
            piece["edges"][e] = {key: float(rng.uniform(0.0 if key == "clearance" else -20.0, top))}
        if kinds[e] == "wall" and rng.random() < 0.25:
            piece["edges"].setdefault(e, {})["shape"] = "straight"
    for a, b in zip(edges, edges[1:] + edges[:1], strict=True):
        if rng.random() < 0.35:
            if rng.random() < 0.7:
                piece["corners"][f"{a}/{b}"] = {"kind": "rounded", "radius": float(rng.uniform(1.0, top * 2))}
            else:
                piece["corners"][f"{a}/{b}"] = {"kind": "clipped", "clip": float(rng.uniform(1.0, top * 2))}
    fronts = [e for e in edges if kinds[e] == "front"]
    spec: dict[str, Any] = {"pieces": [piece]}

    def along(run: str) -> dict[str, Any]:
        beside = edges[edges.index(run) - 1]
        return {"edge": beside, "distance": float(rng.uniform(-200.0 if foolish else 300.0, lengths[run] - 200.0))}

    if fronts and rng.random() < 0.5:
        run = str(rng.choice(fronts))
        opening: dict[str, Any] = {"id": "range", "run": run, "width": float(rng.uniform(200.0, 770.0)), "along": along(run)}
        if rng.random() < 0.5:
            opening["depth"] = float(rng.uniform(50.0, 620.0))
        spec["openings"] = [opening]
    if fronts and rng.random() < 0.4:
        run = str(rng.choice(fronts))
        piece["cutouts"] = [{"id": "sink", "run": run, "along": along(run), "setback": float(rng.uniform(40.0, 150.0)),
                             "width": float(rng.uniform(200.0, 800.0)), "depth": float(rng.uniform(150.0, 450.0)),
                             "radius": float(rng.uniform(0.0, 60.0))}]
    if piece.get("cutouts") and rng.random() < 0.5:
        piece["cutouts"][0]["holes"] = [{"across": float(rng.uniform(-200.0, 200.0)), "behind": float(rng.uniform(40.0, 90.0))}
                                        for _ in range(int(rng.integers(1, 4)))]
    draw = rng.random()
    inside = [f"{a}/{b}" for a, b in itertools.pairwise(edges) if kinds[a] == kinds[b] == "front"]
    if fronts and draw < 0.3:
        run = str(rng.choice(fronts))
        piece["seams"] = [{"id": "j", "run": run, "along": along(run)}]
    elif inside and draw < 0.7:
        corner = str(rng.choice(inside))
        towards = ["mitre", *corner.split("/")][int(rng.integers(3))]
        piece["seams"] = [{"id": "j", "corner": corner, "towards": towards}]
    for e in edges:
        if rng.random() < 0.15:
            _align(rng, piece, e, edges)
    if rng.random() < 0.4:
        piece["splashes"] = [{"id": f"s-{e}", "edge": e, "kind": "splash" if kinds[e] == "wall" else "waterfall",
                              "height": 101.6 if kinds[e] == "wall" else 900.0} for e in edges if rng.random() < 0.5]
    _trade(rng, spec, piece, fronts, kinds, along)
    return spec


def _trade(
    rng: np.random.Generator, spec: dict[str, Any], piece: dict[str, Any], fronts: list[str], kinds: dict[str, str], along: Any
) -> None:
    """Built-up edges, profiles, reveals, centre lines, dishwashers and drawn pieces."""
    for e in fronts:
        if rng.random() < 0.1:
            up = {"kind": "mitred", "height": float(rng.uniform(25.0, 120.0))}
            up = up if rng.random() < 0.6 else {"kind": "stacked", "height": 60.0}
            piece["edges"].setdefault(e, {})["build_up"] = up
        if rng.random() < 0.3:
            piece["edges"].setdefault(e, {})["profile"] = str(rng.choice(["ogee", "full bullnose", "square"]))
    for cutout in piece.get("cutouts", []):
        if rng.random() < 0.4:
            cutout["reveal"] = float(rng.uniform(-min(8.0, cutout["radius"]), 8.0))
    for s in piece.get("splashes", []):
        if s["kind"] == "waterfall" and rng.random() < 0.5:
            s["joint"] = "mitred"
    if fronts and rng.random() < 0.3:
        run = str(rng.choice(fronts))
        spec["centre_lines"] = [{"id": "base", "run": run, "along": along(run)}]
        spec["appliances"] = [{"id": "dw", "run": run, "along": {"centre": "base"}}]
    if rng.random() < 0.2:
        spec["drawn"] = [{"id": "isle", "width": float(rng.uniform(200.0, 2500.0)), "depth": float(rng.uniform(200.0, 1200.0))}]
        spec["pieces"].append({"id": "isle top", "loop": "isle", "corners": {
            "isle front/isle right": {"kind": "rounded", "radius": float(rng.uniform(5.0, 90.0))}}})
    del kinds


def _align(rng: np.random.Generator, piece: dict[str, Any], edge: str, edges: tuple[str, ...]) -> None:
    """Wish for an edge to be parallel or square to a neighbour, as the corner between them asks for it."""
    k = edges.index(edge)
    to = edges[k - 1] if rng.random() < 0.5 else edges[(k + 2) % len(edges)]
    how = "square" if to == edges[k - 1] else "parallel"
    wish = piece["edges"].setdefault(edge, {})
    wish.pop("shape", None)
    wish["align"] = {"to": to, "how": how}


def try_one(seed: int) -> Outcome:
    """Build one random template and hold every property; AssertionError where one fails."""
    rng = np.random.default_rng(seed)
    outline, _ = random_outline(rng)
    loop = outline.loops[0]
    assert loop.closed, outline.findings
    kinds = {s.edge_id: s.kind for s in outline.segments}
    lengths = {r.edge_id: r.length_mm for r in outline.edges}
    edges = loop.edge_ids
    wish = random_wish(rng, edges, kinds, lengths)  # type: ignore[arg-type]
    try:
        template = build_template(outline, TemplateSpec.model_validate(wish)).whole()
    except InputError as caught:
        error = caught
    else:
        return _held(outline, template, edges, rng)
    text = str(error)
    assert text.endswith("."), text
    assert "'" in text, "an error names what is wrong"
    return Outcome("error", text, nearest=isinstance(error, FitError) and error.nearest_mm is not None)


def _held(outline: Outline, template: Template, edges: tuple[str, ...], rng: np.random.Generator) -> Outcome:
    worst = 0.0
    polygons = []
    for piece in template.pieces:
        polygon = polygon_of(piece.boundary, CHORD_MM)
        assert polygon.is_valid, shapely.is_valid_reason(polygon)
        assert polygon.exterior.is_ccw
        assert polygon.area > 0
        drawn = polygon_of_vertices(piece.vertices, CHORD_MM)
        assert drawn.is_valid, shapely.is_valid_reason(drawn)
        for span, after in zip(piece.boundary, (*piece.boundary[1:], piece.boundary[0]), strict=True):
            assert math.dist(span.end.xy, after.start.xy) < 1e-6, "the boundary is closed"
        net = polygon
        for cutout in piece.cutouts:
            hole = polygon_of_vertices(cutout.vertices, CHORD_MM)
            if not cutout.across_seam:
                assert polygon.contains(hole)
                net = net.difference(hole)
        for drilled in piece.holes:
            net = net.difference(shapely.Point(drilled.centre).buffer(drilled.diameter_mm / 2.0, 256))
        slack = CHORD_MM * (polygon.length + sum(polygon_of_vertices(c.vertices).length for c in piece.cutouts))
        worst = max(worst, abs(net.area - piece.area.value) - slack)
        assert (piece.area.u > 0) == (piece.source_id == "top")
        polygons.append(polygon)
    for i, a in enumerate(polygons):
        for b in polygons[i + 1 :]:
            assert a.intersection(b).area < 1e-3, "pieces do not overlap"
    spans = [s for p in template.pieces for s in p.boundary if s.finish not in ("corner", "cut-out")]
    assert template_whole(template)
    return Outcome(
        "cut", area_error_mm2=worst, shortest_mm=min(s.advance() for s in spans), off_rule=_off_rule(template),
        label_overlaps=_label_overlaps(template, outline), recomputed_mm=_recomputed(template),
        offset_error_mm2=_uniform_offset_error(outline, edges, rng), **_read_back(template, outline, rng),
    )


def _read_back(template: Template, outline: Outline, rng: np.random.Generator) -> dict[str, Any]:
    """Printed numbers recomputed from the DXF, and the cutting file read by others (LibreCAD: one in thirty, it is slow)."""
    unit, factor = (("mm", 1.0), ("in", 25.4))[int(rng.integers(2))]
    words = LengthWords(unit)  # type: ignore[arg-type]
    doc = read_back.document(dxf_bytes(template_drawing(template, outline, Style(words)), unit=unit))  # type: ignore[arg-type]
    angles = {(row[0], row[1]): float(row[2].partition("°")[0]) for row in corner_schedule(template, words)[1:]}
    found = (
        read_back.lengths_off_mm(doc, factor, words.denominator), read_back.areas_off_m2(doc, factor),
        read_back.weights_off_kg(doc, factor, density_kg_m3(template.spec.shop.material)),
        read_back.corners_off_mm(doc, factor, words.denominator), read_back.angles_off_deg(doc, factor, angles),
    )
    with tempfile.TemporaryDirectory() as folder:
        path = write_dxf(cutting_drawing_of_all(template), Path(folder) / "cut.dxf", unit=unit, bare=True)  # type: ignore[arg-type]
        wanted = read_back.by_ezdxf(path, factor)
        wrong = read_back.apart(wanted, read_back.by_gdal(path, factor), GDAL_CHORD_MM)
        if rng.random() < 1 / 30:
            wrong |= read_back.apart(wanted, read_back.by_librecad(path, factor), read_back.PRINTED_DOT_MM)
    printed = {kind: (len(offs), max(offs, default=0.0)) for kind, offs in zip(PRINTED, found, strict=True)}
    return {"printed": printed, "readers_apart": int(wrong)}


def template_whole(template: Template) -> bool:
    """No splash shorter than it is high, and no piece that is not built."""
    return not template.refused and all(s.length.value > 25.0 for s in template.splashes)


def _off_rule(template: Template) -> float:
    """Between two sides of the same uncut piece, one of which is printed as parallel or square to the other."""
    worst = 0.0
    for piece in template.pieces:
        heading = {e.edge_id: math.atan2(e.end[1] - e.start[1], e.end[0] - e.start[0]) for e in piece.edges}
        straight = {s.name for s in piece.boundary if isinstance(s.curve, LineCurve)}
        for e in piece.edges:
            how, _, rest = e.rule.partition(" to ")
            to = rest.split(",")[0]
            if how in ("parallel", "square") and {to, e.edge_id} <= straight and "end to end" not in rest:
                turn = heading[e.edge_id] - heading[to] - (math.pi / 2 if how == "square" else 0.0)
                worst = max(worst, abs((turn + math.pi / 2) % math.pi - math.pi / 2))
    return worst


def _label_overlaps(template: Template, outline: Outline) -> int:
    """By the boxes of the labels, a hair smaller than they are placed with; a line through a label counts as one."""
    items = template_drawing(template, outline).items
    found = [shapely.Polygon(label_box(i)) for i in items if isinstance(i, Text | Dimension)]
    tree = shapely.STRtree(found)
    pairs = tree.query(found, predicate="intersects").T
    over = sum(1 for a, b in pairs if a < b and found[a].intersection(found[b]).area > 1e-6)
    lines = [line for i in items for line in strokes(i)]
    through = tree.query(lines, predicate="intersects").T
    return over + sum(1 for a, b in through if found[b].intersection(lines[a]).length > 1e-6)


def _recomputed(template: Template) -> float:
    """Printed edge lengths against the distance between their ends (arcs left out)."""
    return max((abs(e.length.value - math.dist(e.start, e.end)) for p in template.pieces for e in p.edges
                if not any(s.name == e.edge_id and isinstance(s.curve, ArcCurve) for s in p.boundary)), default=0.0)


def _uniform_offset_error(outline: Any, edges: tuple[str, ...], rng: np.random.Generator) -> float:
    """Our offset with mitred corners against shapely's, as a mean distance in mm along the outline."""
    corners = {f"{a}/{b}": {"kind": "sharp"} for a, b in zip(edges, edges[1:] + edges[:1], strict=True)}

    def piece(offset: float) -> shapely.Polygon:
        spec = {"pieces": [{"id": "o", "loop": "loop", "edges": {e: {"overhang": offset} for e in edges}, "corners": corners}]}
        (one,) = build_template(outline, TemplateSpec.model_validate(spec)).pieces
        return polygon_of(one.boundary, CHORD_MM / 4)

    offset = float(rng.uniform(-30.0, 45.0))
    ours = piece(offset)
    theirs = piece(0.0).buffer(offset, join_style="mitre", mitre_limit=50.0)
    # rings that agree but for rounding: without a grid, GEOS has returned both of them whole as their difference
    return float(ours.symmetric_difference(theirs, grid_size=1e-6).area / ours.length)
