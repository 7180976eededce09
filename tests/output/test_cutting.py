"""Files that are cut: closed outlines alone, read by ezdxf and GDAL; pieces.json recomputed from them.

Areas and distances by shapely; DXF group codes as Autodesk's reference has them ($INSUNITS 1 inch, 4 mm).
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf import path as dxf_path
from ezdxf.entities import LWPolyline
from ezdxf.entities import Polyline as DxfPolyline

from phototemplate.output import Material, write_formats
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.spec import TemplateSpec
from tests.output.samples import measurement
from tests.template.samples import l_kitchen
from tests.template.test_pieces import full_spec


def kitchen() -> Template:
    """An L in three pieces with sink, drilled holes, range, seam and splashes with a socket."""
    spec = full_spec().model_dump()
    spec["pieces"][0]["cutouts"][0]["holes"] = [{"diameter": 35}, {"diameter": 35, "across": 150}]
    spec["pieces"][0]["splashes"][0]["receptacles"] = [{"distance": 400, "height": 50, "high": 60}]
    return build_template(l_kitchen(), TemplateSpec.model_validate(spec)).whole()


def written(folder: Path, template: Template, version: str, unit: str) -> dict[str, Path]:
    material = Material(measurement(), unit=unit, dxf_version=version, template=template)  # type: ignore[arg-type]
    return write_formats(material, folder, ["cut", "pieces"])


def contours(path: Path, factor: float) -> list[tuple[str, np.ndarray]]:
    """(layer, (n, 2) mm) of every entity; arcs chorded by ezdxf."""
    out = []
    for entity in ezdxf.readfile(path).modelspace():
        assert isinstance(entity, LWPolyline | DxfPolyline)
        assert entity.closed if isinstance(entity, LWPolyline) else entity.is_closed
        points = np.array([(v.x, v.y) for v in dxf_path.make_path(entity).flattening(0.001 / factor)]) * factor
        out.append((entity.dxf.layer, points))
    return out


def signed(points: np.ndarray) -> float:
    x, y = points.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


@pytest.mark.parametrize(("version", "unit"), [("R2010", "mm"), ("R2010", "in"), ("R12", "mm"), ("R12", "in")])
def test_one_clean_file_a_piece_and_one_for_all(version: str, unit: str, tmp_path: Path) -> None:
    template = kitchen()
    files = written(tmp_path, template, version, unit)
    factor = 25.4 if unit == "in" else 1.0
    names = {f"cut-{p.piece_id}.dxf" for p in template.parts}
    assert {p.name for p in tmp_path.glob("*.dxf")} == names | {"cut-all.dxf"}
    data = json.loads(files["pieces"].read_text(encoding="utf-8"))
    whole = contours(files["cut"], factor)
    alone: list[tuple[str, np.ndarray]] = []
    for part in [*data["pieces"], *data["upright"]]:
        path = tmp_path / f"cut-{part['id']}.dxf"
        found = contours(path, factor)
        alone += found
        (outside,) = (p for layer, p in found if layer == "CUT-OUTSIDE")
        inside = [p for layer, p in found if layer == "CUT-INSIDE"]
        assert len(found) == 1 + len(inside)
        assert signed(outside) > 0, "outside runs anticlockwise"
        assert all(signed(p) < 0 for p in inside), "inside runs clockwise"
        shape = shapely.Polygon(outside, inside)
        assert shape.is_valid
        area = part["area_mm2"]["value"] if isinstance(part["area_mm2"], dict) else part["area_mm2"]
        # wall curves are cut within 0.1 mm of their curve
        assert shape.area == pytest.approx(area, abs=0.1 * shape.length)
        assert outside.min(axis=0) == pytest.approx([0.0, 0.0], abs=2e-3)
        assert part["smallest_segment_mm"] >= 0.5
        doc = ezdxf.readfile(path)
        assert not doc.audit().errors
        text = path.read_text(encoding=doc.output_encoding)
        assert text.startswith("999\n")
        assert f"unit {unit}" in text.splitlines()[1]
        assert f"smallest segment {part['smallest_segment_mm']:.3f} mm" in text.splitlines()[1]
        header = re.search(r"\$INSUNITS\s+70\s+(\d+)", text)
        assert header
        assert int(header[1]) == (1 if unit == "in" else 4)
        low, high = (np.array(doc.header[v])[:2] * factor for v in ("$EXTMIN", "$EXTMAX"))
        assert [*low, *high] == pytest.approx(shape.bounds, abs=0.6)
        assert doc.header["$DIMTXT"] * doc.header["$DIMSCALE"] * factor == pytest.approx(25.0)
    assert sorted(abs(signed(p)) for _, p in whole) == pytest.approx(sorted(abs(signed(p)) for _, p in alone), rel=1e-9)
    outsides = [shapely.Polygon(p) for layer, p in whole if layer == "CUT-OUTSIDE"]
    assert all(a.distance(b) > 50 for k, a in enumerate(outsides) for b in outsides[k + 1 :])


def test_gdal_reads_the_same_areas(tmp_path: Path) -> None:
    template = kitchen()
    for version in ("R2010", "R12"):
        files = written(tmp_path, template, version, "mm")
        _, _, shapes, fields = pyogrio.raw.read(str(files["cut"]), columns=["Layer"])
        rings = [shapely.from_wkb(g) for g, name in zip(shapes, fields[0], strict=True) if name == "CUT-OUTSIDE"]
        assert all(r.is_ring for r in rings)
        wanted = [shapely.Polygon(p).area for layer, p in contours(files["cut"], 1.0) if layer == "CUT-OUTSIDE"]
        # GDAL chords arcs at about 4 degrees
        assert sorted(shapely.Polygon(r).area for r in rings) == pytest.approx(sorted(wanted), rel=2e-4)


def test_pieces_json_can_be_recomputed(tmp_path: Path) -> None:
    """Every edge length, corner angle and hole from the outline's own vertices and the drawn contours."""
    data: dict[str, Any] = json.loads(written(tmp_path, kitchen(), "R2010", "mm")["pieces"].read_text(encoding="utf-8"))
    assert (data["format"], data["unit"], data["k"]) == ("phototemplate-pieces", "mm", 2)
    for part in data["pieces"]:
        for edge in part["edges"]:
            assert edge["length"]["value"] == pytest.approx(math.dist(edge["start"], edge["end"]), abs=1e-6)
            assert edge["place_U_mm"] >= 0
        ends = {e["id"]: (np.array(e["start"]), np.array(e["end"])) for e in part["edges"]}
        for corner in part["corners"]:
            before, after = (ends[n] for n in corner["between"])
            u, v = before[0] - before[1], after[1] - after[0]
            angle = math.degrees(math.atan2(v[0] * u[1] - v[1] * u[0], float(u @ v))) % 360.0
            assert corner["inside_angle_deg"] == pytest.approx(angle, abs=1.0), "to the chord of a bent wall"
    holes = [h for p in data["pieces"] for h in p["holes"]]
    assert math.dist(holes[0]["centre"], holes[1]["centre"]) == pytest.approx(150.0)
    sizes = {s["name"]: s for p in data["pieces"] for s in p["sizes"]}
    assert sizes["sink width"] == {**sizes["sink width"], "value": pytest.approx(600.0), "U": 0.0, "decided": True}
    assert sizes["overall length"]["U"] > 0
