"""The drawing of outline and pieces: primitives, layers, sheets of paper, schedules, simplification."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
import shapely.affinity
from reportlab.pdfbase.pdfmetrics import stringWidth

from phototemplate.model import HeightPoint, Outline
from phototemplate.output.dxf import write_dxf
from phototemplate.output.text import cp1252
from phototemplate.template.constants import PAPERS_MM
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import (
    LAYERS,
    Arc,
    Dimension,
    Drawing,
    Item,
    Line,
    Polyline,
    Text,
    arc_of_bulge,
    flatten_polyline,
    item_points,
)
from phototemplate.template.lengths import JobUnit, LengthWords
from phototemplate.template.outline_drawing import outline_drawing
from phototemplate.template.paper_sheets import PaperSheet, SheetStyle, TitleBlock
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.schedule import CSV_COLUMNS, SIZE_COLUMNS, edge_rows_csv, size_rows_csv
from phototemplate.template.shop_drawing import template_drawing
from phototemplate.template.shop_sheet import shop_sheets
from phototemplate.template.simplify import simplified
from phototemplate.template.spec import TemplateSpec
from tests.template.everything import EVERYTHING
from tests.template.samples import l_kitchen
from tests.template.test_pieces import full_spec


def test_bulge_geometry() -> None:
    """DXF reference: bulge = tan(included/4); with chord c: r = c (1 + b^2) / (4 |b|), sagitta = |b| c / 2."""
    (cx, cy), radius, start, sweep = arc_of_bulge((0.0, 0.0), (100.0, 0.0), math.tan(math.pi / 8))
    assert radius == pytest.approx(100.0 / math.sqrt(2))
    assert sweep == pytest.approx(math.pi / 2)
    assert (cx, cy) == pytest.approx((50.0, 50.0)), "anticlockwise: centre on the left, arc bulges to the right"
    points = flatten_polyline(np.array([[0, 0, 0.5], [100, 0, 0]]), False, 1e-4)
    assert points[:, 1].min() == pytest.approx(-0.5 * 100 / 2, abs=1e-3)
    del start
    # GDAL's reading of the same worked example: 1000 x 600 with one corner of 50 mm, exact area 599463.50
    b = math.tan(math.pi / 8)
    ring = np.array([[0, 0, 0], [1000, 0, 0], [1000, 550, b], [950, 600, 0], [0, 600, 0]])
    assert shapely.Polygon(flatten_polyline(ring, True, 1e-5)).area == pytest.approx(599_463.50, abs=0.01)


def test_dimension_measures_along_its_direction() -> None:
    aligned = Dimension("STONE-SIZES", (0, 0), (300, 400), (0, 100))
    assert aligned.value_mm == pytest.approx(500.0)
    level = Dimension("STONE-SIZES", (0, 0), (300, 400), (0, 100), "linear", 0.0)
    assert level.value_mm == pytest.approx(300.0)
    assert level.feet() == ((0.0, 100.0), (300.0, 100.0))
    assert Dimension("STONE-SIZES", (0, 0), (25.4, 0), (0, 9), text="<> ±0.2").printed() == "25.4 ±0.2"


def test_moving_keeps_real_values_in_dimensions() -> None:
    drawing = Drawing("x", (Dimension("STONE-SIZES", (0, 0), (1000, 0), (0, 50)), Arc("STONE-SHAPE", (0, 0), 10, 0, 1)))
    small = drawing.moved(5.0, 5.0, scale=0.1)
    dimension, arc = small.items
    assert isinstance(dimension, Dimension)
    assert isinstance(arc, Arc)
    assert dimension.printed() == "1000.0"
    assert dimension.value_mm == pytest.approx(100.0)
    assert arc.radius_mm == pytest.approx(1.0)


def test_layers_are_named_for_every_format() -> None:
    with pytest.raises(AssertionError):
        Line("SOMETHING", (0, 0), (1, 1))
    assert all(name == layer.name and len(name) <= 31 for name, layer in LAYERS.items())
    cut = {"STONE-SHAPE", "STONE-CUTOUT", "STONE-HOLE", "CUT-OUTSIDE", "CUT-INSIDE"}
    assert {layer.name for layer in LAYERS.values() if layer.cut} == cut


def test_outline_drawing_carries_uncertainty_on_every_edge() -> None:
    outline = l_kitchen()
    drawing = outline_drawing(outline)
    edges = {i.name: dict(i.data) for i in drawing.on("FOUND-EDGES") if isinstance(i, Polyline)}
    for report in outline.edges:
        if report.edge_id in outline.loops[0].edge_ids:
            data = edges[report.edge_id]
            assert data["length_U_mm"] == pytest.approx(report.length_U_mm)
            assert data["offset_U_middle_mm"] == pytest.approx(report.offset_U_mm[1])
    (loop,) = drawing.on("FOUND-LINE")
    assert isinstance(loop, Polyline)
    assert loop.closed
    assert {type(i) for i in drawing.items} <= set(get_args(Item))
    texts = [i.text for i in drawing.on("FOUND-TABLE") if isinstance(i, Text)]
    assert all(r.edge_id in texts for r in outline.edges)


def test_pieces_through_dxf_and_gdal(tmp_path: Path) -> None:
    """Written, audited by ezdxf, read by GDAL: every piece closed, with the same area."""
    outline = l_kitchen()
    template = build_template(outline, full_spec())
    drawing = template_drawing(template, outline)
    for version in ("R2010", "R12"):
        path = tmp_path / f"pieces-{version}.dxf"
        write_dxf(drawing, path, version=version)
        audit = ezdxf.readfile(path).audit()
        assert not audit.errors
        meta, _, shapes, fields = pyogrio.raw.read(path)
        layer = fields[list(meta["fields"]).index("Layer")]
        rings = [shapely.from_wkb(g) for g, name in zip(shapes, layer, strict=True) if name == "STONE-SHAPE"]
        assert all(r.is_ring for r in rings)
        found = sorted(shapely.Polygon(r).area for r in rings)
        holes = {c.cutout_id: 600 * 400 - (4 - math.pi) * 20**2 for p in template.pieces for c in p.cutouts}
        wanted = sorted([p.area.value + sum(holes[c.cutout_id] for c in p.cutouts) for p in template.pieces]
                        + [s.area_mm2 for s in template.splashes])
        # GDAL chords arcs at about 4 degrees; profiles lie within 0.1 mm of the curve
        assert found == pytest.approx(wanted, rel=2e-4)


def test_drawing_is_the_same_every_time() -> None:
    outline = l_kitchen()
    assert template_drawing(build_template(outline, full_spec()), outline) == template_drawing(
        build_template(outline, full_spec()), outline)


def sheets(template: Template, outline: Outline, paper: str = "A3", unit: JobUnit = "mm") -> tuple[PaperSheet, ...]:
    width, height = PAPERS_MM[paper]
    style = SheetStyle(TitleBlock("Sample kitchen", date="2026-01-01"), (height, width), unit)
    return shop_sheets(template, outline, style, LengthWords.of(template.spec.shop, unit))


@pytest.mark.parametrize("paper", list(PAPERS_MM))
def test_shop_sheets_fit_their_paper_and_say_everything(paper: str) -> None:
    outline = l_kitchen()
    heights = [HeightPoint(n, np.array([x, 200.0]), h, 0.3, n) for n, x, h in (("A", 100.0, 0.0), ("B", 900.0, -2.0))]
    template = build_template(outline, full_spec(), heights).whole()
    height, width = PAPERS_MM[paper]
    texts: list[str] = []
    made = sheets(template, outline, paper)
    assert made[0].scale is not None
    for sheet in made:
        assert (sheet.width_mm, sheet.height_mm) == (width, height)
        for item in sheet.drawing.items:
            points = item_points(item)
            assert points.min() > 4.0
            assert points[:, 0].max() < width - 4.0
            assert points[:, 1].max() < height - 4.0
            if isinstance(item, Text):
                texts.append(item.text)
    page = " ".join(texts)
    for word in ("Sample kitchen", "Sign", "Silica", "seam", "back/left", "diagonal 1", "sink to the left", "look",
                 f"1:{made[0].scale}", "raise by", "common practice", "Agreed", "Piece top-1", "Carry upright"):
        assert word in page, word
    assert "Customer" not in page, "what is empty is left out"


def boxes(sheet: PaperSheet) -> list[tuple[str, shapely.Polygon]]:
    """Every text of a sheet with the box it takes in Helvetica, by the metrics of the font itself."""
    out = []
    for item in sheet.drawing.items:
        if not isinstance(item, Text | Dimension):
            continue
        text = item.text if isinstance(item, Text) else item.printed()
        width = stringWidth(cp1252(text), "Helvetica", item.height_mm / 0.718)
        if isinstance(item, Text):
            angle, at = item.rotation_rad, item.position
            x0 = {"left": 0.0, "centre": -width / 2, "right": -width}[item.align]
            y0 = {"bottom": 0.0, "middle": -item.height_mm / 2, "top": -item.height_mm}[item.valign]
        else:
            parts = take_apart(item, item.height_mm)
            angle, at, x0, y0 = parts.angle_rad, parts.text_at, -width / 2, 0.45 * item.height_mm
        box = shapely.affinity.rotate(shapely.box(x0, y0, x0 + width, y0 + item.height_mm), angle, (0, 0), use_radians=True)
        out.append((text, shapely.affinity.translate(box, *at)))
        assert item.height_mm >= 2.5 - 1e-9, f"{text} is {item.height_mm} mm high"
    return out


def drawn_lines(items: Sequence[Item]) -> list[shapely.LineString]:
    """Every line that is drawn, dimensions taken apart."""
    out = []
    for item in items:
        if isinstance(item, Dimension):
            out += [shapely.LineString(line) for line in take_apart(item, item.height_mm).lines]
        elif not isinstance(item, Text) and not getattr(item, "filled", False):
            points = item_points(item)
            closed = [points[:1]] if getattr(item, "closed", False) else []
            out.append(shapely.LineString(np.vstack([points, *closed])))
    return out


@pytest.mark.parametrize("wish", ["full", "everything"])
@pytest.mark.parametrize(("paper", "unit"), [("A4", "mm"), ("A3", "mm"), ("Letter", "in"), ("Tabloid", "in")])
def test_no_label_covers_another_and_no_line_runs_through_one(paper: str, unit: JobUnit, wish: str) -> None:
    """ISO 3098-1: no lettering under 2.5 mm. Boxes by Adobe's font metrics, measured apart from the program's own."""
    outline = l_kitchen()
    template = build_template(outline, full_spec() if wish == "full" else TemplateSpec.model_validate(EVERYTHING)).whole()
    for sheet in sheets(template, outline, paper, unit):
        found = boxes(sheet)
        lines = drawn_lines(sheet.drawing.items)
        for k, (text, box) in enumerate(found):
            for other, second in found[k + 1 :]:
                assert box.intersection(second).area < 1e-6, f"{text!r} covers {other!r} on {sheet.drawing.title}"
            through = [line for line in lines if line.intersection(box).length > 1e-6]
            assert not through, f"a line runs through {text!r} on {sheet.drawing.title}: {through[0].wkt[:80]}"


@pytest.mark.parametrize(("paper", "unit"), [("A3", "mm"), ("Tabloid", "in")])
def test_every_size_that_is_cut_stands_on_the_sheet_of_its_piece(paper: str, unit: JobUnit) -> None:
    """Sides and the places and sizes of cut-outs, in full or at least in the job's unit."""
    outline = l_kitchen()
    template = build_template(outline, TemplateSpec.model_validate(EVERYTHING)).whole()
    words = LengthWords.of(template.spec.shop, unit)
    made = sheets(template, outline, paper, unit)
    for k, piece in enumerate(template.pieces):
        shown = {i.printed().partition(" (")[0] for i in made[k + 1].drawing.items if isinstance(i, Dimension)}
        wanted = [words.quantity(e.length) for e in piece.edges if e.length.value > 60.0]
        wanted += [words.quantity(s.quantity, s.decided) for s in piece.sizes if s.group == "cut-out"]
        assert {text.partition(" (")[0] for text in wanted} <= shown, piece.piece_id


def test_what_is_named_like_its_kind_is_named_once() -> None:
    outline = l_kitchen()
    wish = {"pieces": [{"id": "top", "loop": "kitchen", "seams": [{"id": "seam", "corner": "front-short/front-long",
                                                                   "towards": "front-long"}]}]}
    made = sheets(build_template(outline, TemplateSpec.model_validate(wish)).whole(), outline)
    texts = {i.text for i in made[0].drawing.items if isinstance(i, Text)}
    assert "seam" in texts
    assert not any("seam seam" in t for t in texts)


def test_the_jobs_unit_stands_first() -> None:
    """87 1/2 in are 2222.5 mm; every number has its unit."""
    inches, metric = LengthWords("in"), LengthWords("mm")
    assert inches.length(2222.5, 0.34) == '87 1/2" (2222.5 ±0.3 mm)'
    assert metric.length(2222.5, 0.34) == '2222.5 ±0.3 mm (87 1/2")'
    assert inches.weight(45.359237) == "100 lb (45 kg)"
    assert LengthWords("in", "feet").length(762.0) == "2' 6\" (762.0 mm)"
    outline = l_kitchen()
    template = build_template(outline, full_spec()).whole()
    made = sheets(template, outline, "Tabloid", "in")
    shown = [i.printed() for s in made for i in s.drawing.items if isinstance(i, Dimension)]
    assert shown
    assert all(re.match(r"[\d /]+\"( \([\d.]+( ±[\d.]+)? mm\))?$", text) for text in shown), shown


def test_paper_keeps_real_sizes_to_scale() -> None:
    outline = l_kitchen()
    template = build_template(outline, full_spec()).whole()
    real = {p.piece_id: p for p in template.pieces}
    seen = set()
    for sheet in sheets(template, outline):
        for shape in sheet.drawing.on("STONE-SHAPE"):
            assert isinstance(shape, Polyline)
            if shape.name in real and sheet.scale is not None:
                on_paper = shapely.Polygon(flatten_polyline(shape.array, True, 1e-3)).area * sheet.scale**2
                outer = shapely.Polygon(flatten_polyline(np.array(real[shape.name].vertices), True, 0.01)).area
                assert on_paper == pytest.approx(outer, rel=1e-5)
                seen.add((shape.name, sheet.drawing.title))
    assert len(seen) == 2 * len(real), "once on the overview, once on its own sheet"


def test_csv_rows() -> None:
    template = build_template(l_kitchen(), full_spec())
    rows = edge_rows_csv(template)
    assert tuple(rows[0]) == CSV_COLUMNS
    assert len(rows) == sum(len(p.edges) for p in template.pieces)
    left = next(r for r in rows if r["edge"] == "left")
    assert left["rule"] == "straight"
    assert float(left["largest_gap_mm"]) > 1.0
    assert float(left["length_U_mm"]) > 0
    sizes = size_rows_csv(template)
    assert tuple(sizes[0]) == SIZE_COLUMNS
    assert next(r for r in sizes if r["dimension"] == "range width")["value_mm"] == "762.00"
    assert next(r for r in sizes if r["dimension"] == "range width")["decided"] == "yes"


@pytest.mark.parametrize("tolerance", [0.05, 0.3, 1.0])
def test_simplification_stays_within_its_tolerance(tolerance: float) -> None:
    template = build_template(l_kitchen(), TemplateSpec.model_validate(
        {"pieces": [{"id": "top", "loop": "kitchen"}], "shop": {"profile_tolerance": 0.01}}))
    (piece,) = template.pieces
    thin = simplified(piece.vertices, tolerance)
    assert len(thin) < len(piece.vertices)
    assert sum(1 for v in thin if v[2]) == sum(1 for v in piece.vertices if v[2]), "arcs stay arcs"
    a = shapely.LinearRing(flatten_polyline(np.array(piece.vertices), True, 1e-3))
    b = shapely.LinearRing(flatten_polyline(np.array(thin), True, 1e-3))
    assert shapely.hausdorff_distance(a, b, densify=0.01) <= tolerance * 1.001
