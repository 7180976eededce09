"""DXF: read back by GDAL and ezdxf, with areas and bulges from closed formulas.

Header values: $INSUNITS 0 unitless, 1 inch, 4 mm; $MEASUREMENT 0 imperial, 1 metric (Autodesk's DXF reference). Bulge =
tan(included angle / 4), negative clockwise (the same). 1 in = 25.4 mm exactly (international yard and pound agreement).
"""

from __future__ import annotations

import io
import math
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf.document import Drawing as DxfDocument

from phototemplate.edges.shapes.evaluate import point_at
from phototemplate.errors import OutputError
from phototemplate.output import dxf
from phototemplate.output.dxf import APP_ID, DxfVersion, Unit, dxf_bytes, write_dxf
from phototemplate.output.text import cp1252
from phototemplate.template.drawing import (
    LAYERS,
    Arc,
    Circle,
    Dimension,
    Drawing,
    Line,
    Polyline,
    Text,
    flatten_polyline,
)
from phototemplate.template.outline_drawing import OutlineStyle, outline_drawing
from tests.output.samples import outline

QUARTER = math.tan(math.pi / 8)
ROUNDED = Polyline(
    "STONE-SHAPE",
    ((0, 0, 0), (1000, 0, 0), (1000, 550, QUARTER), (950, 600, 0), (0, 600, 0)),
    True,
    "piece-1",
    data=(("edge", "front"), ("U_mm", 0.42)),
)
ROUNDED_AREA = 1000 * 600 - (1 - math.pi / 4) * 50**2
DRAWING = Drawing(
    'Slab "A", 1 1/16" ±½ ⅛',
    (
        ROUNDED,
        Circle("STONE-HOLE", (500, 300), 17.5),
        Arc("STONE-SEAM", (0, 0), 100, -math.pi / 2, math.pi / 2),
        Line("STONE-UNDERNEATH", (0, 0), (100, 50)),
        Text("STONE-NAMES", (500, 320), "piece 1", 20, 0.3, "centre", "middle"),
        Dimension("STONE-SIZES", (0, 0), (1000, 0), (0, -100), text="<> ±0.8"),
        Dimension("STONE-SIZES", (1000, 600), (0, 0), (1300, 200), "linear", math.pi / 2),
    ),
    ("U is the expanded uncertainty, k = 2.",),
)
CASES = [(v, u) for v in ("R2010", "R12") for u in ("mm", "in")]
FACTOR = {"mm": 1.0, "in": 1 / 25.4}


@pytest.fixture(params=CASES, ids=lambda c: "-".join(c))
def case(request: pytest.FixtureRequest) -> tuple[DxfVersion, Unit]:
    return request.param


def _read(path: Path) -> DxfDocument:
    return ezdxf.readfile(path)


def _gdal(path: Path, layer: str) -> list[Any]:
    _, _, geometry, fields = pyogrio.raw.read(str(path), columns=["Layer"])
    return [g for g, name in zip(shapely.from_wkb(geometry), fields[0], strict=True) if name == layer]


def test_gdal_reads_the_same_bounds_and_area(case: tuple[DxfVersion, Unit], tmp_path: Path) -> None:
    version, unit = case
    path = write_dxf(DRAWING, tmp_path / "a.dxf", version=version, unit=unit)
    f = FACTOR[unit]
    (ring,) = _gdal(path, "STONE-SHAPE")
    assert ring.is_ring
    assert ring.bounds == pytest.approx((0, 0, 1000 * f, 600 * f), abs=1e-9)
    # GDAL replaces arcs by chords of about 4 degrees: the rounded corner's area comes out short by under 2 mm2
    assert 0 <= ROUNDED_AREA * f * f - shapely.Polygon(ring).area < 2.0 * f * f
    (circle,) = _gdal(path, "STONE-HOLE")
    assert shapely.Polygon(circle).area == pytest.approx(math.pi * 17.5**2 * f * f, rel=2e-3)
    (arc,) = _gdal(path, "STONE-SEAM")
    assert arc.bounds == pytest.approx((0, -100 * f, 100 * f, 100 * f), abs=0.1 * f)


def test_bulges_are_exact(case: tuple[DxfVersion, Unit], tmp_path: Path) -> None:
    version, unit = case
    doc = _read(write_dxf(DRAWING, tmp_path / "a.dxf", version=version, unit=unit))
    found: Any = doc.modelspace().query('*[layer=="STONE-SHAPE"]')
    (entity,) = found
    assert entity.dxftype() == ("POLYLINE" if version == "R12" else "LWPOLYLINE")
    points = (
        [(*v.dxf.location.vec2, v.dxf.bulge) for v in entity.vertices] if version == "R12" else entity.get_points("xyb")
    )
    assert entity.is_closed
    area = 0.0
    for (x0, y0, bulge), (x1, y1, _) in zip(points, [*points[1:], points[0]], strict=True):
        area += (x0 * y1 - x1 * y0) / 2
        if bulge:
            angle = 4 * math.atan(bulge)
            radius = math.hypot(x1 - x0, y1 - y0) * (1 + bulge**2) / (4 * abs(bulge))
            assert radius == pytest.approx(50 * FACTOR[unit], rel=1e-9)
            area += radius**2 / 2 * (angle - math.sin(angle))
    assert area == pytest.approx(ROUNDED_AREA * FACTOR[unit] ** 2, rel=1e-9)


def test_unit_in_header_and_in_a_text(case: tuple[DxfVersion, Unit], tmp_path: Path) -> None:
    version, unit = case
    doc = _read(write_dxf(DRAWING, tmp_path / "a.dxf", version=version, unit=unit))
    assert doc.header["$INSUNITS"] == {"mm": 4, "in": 1}[unit]
    assert doc.header["$MEASUREMENT"] == {"mm": 1, "in": 0}[unit]
    texts = [t.dxf.text for t in doc.modelspace().query("TEXT")]
    assert any({"mm": "millimetres", "in": "inches"}[unit] in t and "Scale 1:1" in t for t in texts)
    assert DRAWING.title.replace("⅛", "1/8" if version == "R12" else "⅛") in texts
    assert doc.dxfversion == {"R12": "AC1009", "R2010": "AC1024"}[version]


def test_dimensions_are_real_and_upright(case: tuple[DxfVersion, Unit], tmp_path: Path) -> None:
    version, unit = case
    doc = _read(write_dxf(DRAWING, tmp_path / "a.dxf", version=version, unit=unit))
    a, b = doc.modelspace().query("DIMENSION")
    assert a.get_measurement() == pytest.approx(1000 * FACTOR[unit])  # type: ignore[attr-defined]
    assert b.get_measurement() == pytest.approx(600 * FACTOR[unit])  # type: ignore[attr-defined]
    assert a.dxf.text == "<> ±0.8"
    shown = {e.dxf.text for d in (a, b) for e in d.virtual_entities() if e.dxftype() in ("TEXT", "MTEXT")}  # type: ignore[attr-defined]
    assert shown == ({"1000.0 ±0.8", "600.0"} if unit == "mm" else {"39.370 ±0.8", "23.622"})


@pytest.mark.parametrize("angle", np.arange(0, 360, 15))
def test_dimension_text_never_stands_on_its_head(angle: float) -> None:
    end = (1000 * math.cos(math.radians(angle)), 1000 * math.sin(math.radians(angle)))
    item = Dimension(
        "STONE-SIZES", (0, 0), end, (-100 * math.sin(math.radians(angle)), 100 * math.cos(math.radians(angle)))
    )
    doc = ezdxf.new("R2010")
    writer = dxf._Writer(doc, "R2010", 1.0)
    writer.tables(())
    writer.add(item)
    (dimension,) = doc.modelspace()
    (text,) = [e for e in dimension.virtual_entities() if e.dxftype() == "MTEXT"]  # type: ignore[attr-defined]
    rotation = (text.get_rotation() + 180) % 360 - 180
    assert -90 < rotation <= 96
    line = max((e for e in dimension.virtual_entities() if e.dxftype() == "LINE"),  # type: ignore[attr-defined]
               key=lambda e: (e.dxf.end - e.dxf.start).magnitude)  # fmt: skip
    x, y = np.array(line.dxf.start.vec2) - np.array(item.base)
    on_line = end[0] * y - end[1] * x
    assert on_line == pytest.approx(0.0, abs=1e-6), "the dimension line runs through the base"


def test_layers_are_ours_and_described(tmp_path: Path) -> None:
    doc = _read(write_dxf(DRAWING, tmp_path / "a.dxf"))
    used = {e.dxf.layer for e in doc.modelspace()}
    assert used <= set(LAYERS)
    for name in used:
        assert doc.layers.get(name).description == LAYERS[name].meaning
    assert doc.layers.get("STONE-SEAM").dxf.linetype == "PT-CHAIN"


def test_values_travel_as_xdata(case: tuple[DxfVersion, Unit], tmp_path: Path) -> None:
    version, unit = case
    long_text = "wall " * 100
    item = Polyline("FOUND-EDGES", ((0, 0, 0), (1, 0, 0)), data=(("edge", "w"), ("U_mm", 0.25), ("note", long_text)))
    doc = _read(write_dxf(Drawing("t", (ROUNDED, item)), tmp_path / "a.dxf", version=version, unit=unit))
    assert APP_ID in doc.appids
    first, second = (e for e in doc.modelspace() if e.has_xdata(APP_ID))
    tags = [(t.code, t.value) for t in first.get_xdata(APP_ID)]
    assert tags == [(1000, "name"), (1000, "piece-1"), (1000, "edge"), (1000, "front"), (1000, "U_mm"), (1040, 0.42)]
    pairs = list(zip(*[iter(second.get_xdata(APP_ID))] * 2, strict=True))
    assert "".join(v.value for n, v in pairs if n.value == "note") == long_text
    assert max(len(v.value) for _, v in pairs if v.code == 1000) <= 255


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_outline_as_measured(version: DxfVersion, tmp_path: Path) -> None:
    drawing = outline_drawing(outline(), "Sample kitchen")
    areas = {}
    for unit in ("mm", "in"):
        path = write_dxf(drawing, tmp_path / f"{unit}.dxf", version=version, unit=unit)
        rings = _gdal(path, "FOUND-LINE")
        assert all(r.is_ring for r in rings)
        areas[unit] = [shapely.Polygon(r).area for r in rings]
        doc = _read(path)
        edges = {dict(zip(*[iter(t.value for t in e.get_xdata(APP_ID))] * 2, strict=True))["edge"]
                 for e in doc.modelspace() if e.dxf.layer == "FOUND-EDGES"}  # fmt: skip
        assert edges == {s.edge_id for s in outline().segments}
        texts = [t.dxf.text for t in doc.modelspace().query("TEXT") if t.dxf.layer == "FOUND-TABLE"]
        assert edges <= set(texts), "every edge stands in the table beside the drawing"
    exact = [shapely.Polygon(flatten_polyline(p.array, True, 1e-4)).area for p in drawing.on("FOUND-LINE")]  # type: ignore[union-attr]
    # only end-2 is an arc; its sagitta over GDAL's 4 degree chords is below 0.4 mm over 440 mm
    assert areas["mm"] == pytest.approx(exact, abs=150)
    assert areas["in"] == pytest.approx([a / 25.4**2 for a in areas["mm"]], rel=1e-9)


def test_profile_stays_within_the_stated_chord_tolerance() -> None:
    drawing = outline_drawing(outline(), style=OutlineStyle(chord_tolerance_mm=0.02))
    assert drawing.chord_tolerance_mm == 0.02
    (run,) = [p for p in drawing.on("FOUND-EDGES") if p.name == "wall-1"]  # type: ignore[union-attr]
    wall = next(s for s in outline().segments if s.edge_id == "wall-1")
    line = shapely.LineString(run.array[:, :2])  # type: ignore[union-attr]
    low, high = sorted(run.array[[0, -1], 0])  # type: ignore[union-attr]
    dense = point_at(wall, np.linspace(wall.knots_mm[0], wall.knots_mm[-1], 4000))
    inside = dense[(dense[:, 0] > low) & (dense[:, 0] < high)]
    assert len(inside) > 1000
    assert shapely.distance(line, shapely.points(inside)).max() <= 0.02 + 1e-9


def test_unscaled_says_so(tmp_path: Path) -> None:
    doc = _read(write_dxf(DRAWING, tmp_path / "a.dxf", unscaled=True, warnings=("Only one photo was used.",)))
    assert doc.header["$INSUNITS"] == 0
    (said,) = [t.dxf.text for t in doc.modelspace().query("TEXT") if t.dxf.layer == "NOT-SCALED"]
    assert said.startswith("NOT SCALED")
    cautions = [t.dxf.text for t in doc.modelspace().query("TEXT") if t.dxf.layer == "SHEET-CAUTION"]
    assert "Only one photo was used." in cautions
    assert not any("1 mm" in t.dxf.text for t in doc.modelspace().query("TEXT"))


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_same_bytes_apart_from_dates(version: DxfVersion) -> None:
    """In one process, and in two whose sets have other orders."""
    stamp = re.compile(rb"(\d{4}-\d\d-\d\dT[0-9:.+]+)|(\$TD\w+\r?\n\s*40\r?\n[^\n]+)")
    script = (
        "import sys; from tests.output.test_dxf import DRAWING, dxf_bytes;"
        f"sys.stdout.buffer.write(dxf_bytes(DRAWING, version={version!r}))"
    )
    root = Path(__file__).parents[2]
    made = [
        subprocess.run(
            [sys.executable, "-c", script], cwd=root, env={**os.environ, "PYTHONHASHSEED": seed}, check=True,
            capture_output=True,
        ).stdout
        for seed in ("1", "2")
    ]  # fmt: skip
    files = [stamp.sub(b"", data) for data in (*made, *(dxf_bytes(DRAWING, version=version) for _ in range(2)))]
    assert len(files[0]) > 1000
    assert all(f == files[0] for f in files)


def test_faulty_file_is_never_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.dxf"
    path.write_text("old")
    whole = dxf._finished_text
    monkeypatch.setattr(dxf, "_finished_text", lambda *a: whole(*a).replace("LWPOLYLINE", "NONSENSE"))
    with pytest.raises(OutputError, match="failed its check"):
        write_dxf(DRAWING, path)
    assert path.read_text() == "old"


def test_text_for_r12() -> None:
    assert cp1252("1⅛ in ± ½, 20 °C – “A” −3″") == '1 1/8 in ± ½, 20 °C – “A” -3"'


def contrast(rgb: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    """WCAG 2.1, relative luminance and contrast ratio."""
    def luminance(c: tuple[int, int, int]) -> float:
        r, g, b = (v / 3294.6 if v <= 10 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in c)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    a, b = sorted((luminance(rgb), luminance(other)))
    return (b + 0.05) / (a + 0.05)


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_every_layer_stands_out_on_a_black_and_on_a_white_screen(version: DxfVersion) -> None:
    """3 : 1, the least that WCAG 2.1 (1.4.11) allows for lines; colour 7 is shown in black or white by every CAD program."""
    assert contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)  # the published grey at 4.5 : 1
    everything = Drawing("all", tuple(Line(name, (0, 0), (1, 1)) for name in LAYERS), ())
    doc = ezdxf.read(io.StringIO(dxf_bytes(everything, unit="mm", version=version).decode("utf-8")))
    for name in LAYERS:
        layer = doc.layers.get(name)
        if layer.color == 7:
            continue
        shown = [ezdxf.colors.aci2rgb(layer.color), *([layer.rgb] if layer.rgb else [])]
        for rgb in shown:
            assert min(contrast(rgb, (0, 0, 0)), contrast(rgb, (255, 255, 255))) >= 3.0, (name, rgb)
