"""A maker's cut-out file: what is read and what is refused. Files are written here with ezdxf."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.document import Drawing as Document

from phototemplate.errors import InputError
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.maker_dxf import read_cutout_dxf
from phototemplate.template.pieces import build_template
from phototemplate.template.spec import TemplateSpec
from tests.template.samples import rectangle

B = math.tan(math.pi / 8)


def rounded(w: float, d: float, r: float, x: float = 0.0, y: float = 0.0) -> list[tuple[float, float, float]]:
    return [(x + r, y, 0), (x + w - r, y, B), (x + w, y + r, 0), (x + w, y + d - r, B), (x + w - r, y + d, 0),
            (x + r, y + d, B), (x, y + d - r, 0), (x, y + r, B)]


def save(tmp_path: Path, draw: Callable[[Any], object], units: int = 4, version: str = "R2010") -> Path:
    doc: Document = ezdxf.new(version)
    doc.header["$INSUNITS"] = units
    draw(doc.modelspace())
    path = tmp_path / "bowl.dxf"
    doc.saveas(path)
    return path


def area(vertices: np.ndarray) -> float:
    return float(shapely.Polygon(flatten_polyline(vertices, True, 1e-4)).area)


@pytest.mark.parametrize(("units", "k"), [(4, 1.0), (1, 25.4), (5, 10.0)])
def test_units_are_taken_from_the_file(tmp_path: Path, units: int, k: float) -> None:
    path = save(tmp_path, lambda m: m.add_lwpolyline(rounded(700 / k, 400 / k, 30 / k, 55, -7), format="xyb", close=True),
                units)
    shape = read_cutout_dxf(path)
    assert shape.box == pytest.approx((-350.0, 0.0, 350.0, 400.0), abs=1e-6)
    assert area(shape.vertices) == pytest.approx(700 * 400 - (4 - math.pi) * 900, abs=0.1)


def test_loose_lines_and_arcs_are_chained_whatever_their_order(tmp_path: Path) -> None:
    def draw(m: Any) -> None:
        m.add_line((700, 30), (700, 370))
        m.add_line((30, 0), (670, 0))
        m.add_arc((670, 30), 30, 270, 360)
        m.add_arc((30, 370), 30, 90, 180)
        m.add_line((30, 400), (670, 400))
        m.add_arc((670, 370), 30, 0, 90)
        m.add_line((0, 370), (0, 30))
        m.add_arc((30, 30), 30, 180, 270)
        m.add_text("cut along this line")

    shape = read_cutout_dxf(save(tmp_path, draw, version="R12"), unit="mm")
    assert area(shape.vertices) == pytest.approx(700 * 400 - (4 - math.pi) * 900, abs=0.1)
    assert np.count_nonzero(shape.vertices[:, 2]) == 4, "arcs stay arcs"


def test_holes_within_the_shape_are_left_alone(tmp_path: Path) -> None:
    def draw(m: Any) -> None:
        m.add_lwpolyline(rounded(700, 400, 30), format="xyb", close=True)
        m.add_circle((350, 200), 45)

    assert area(read_cutout_dxf(save(tmp_path, draw)).vertices) == pytest.approx(700 * 400 - (4 - math.pi) * 900, abs=0.1)


@pytest.mark.parametrize(("draw", "units", "unit", "says"), [
    (lambda m: m.add_lwpolyline([(0, 0), (700, 0), (700, 400), (0, 400)]), 4, None, r"gap of 400\.00 mm"),
    (lambda m: (m.add_lwpolyline([(0, 0), (700, 0), (700, 400)]), m.add_line((700.3, 400), (0, 0))), 4, None,
     r"gap of 0\.30 mm"),
    (lambda m: m.add_lwpolyline(rounded(700, 400, 30), format="xyb", close=True), 0, None, "states no unit"),
    (lambda m: m.add_lwpolyline(rounded(700, 400, 30), format="xyb", close=True), 1, "mm", "another unit"),
    (lambda m: m.add_lwpolyline(rounded(27.5, 16, 1), format="xyb", close=True), 4, None, "drawn in inch"),
    (lambda m: m.add_lwpolyline(rounded(700, 400, 30), format="xyb", close=True), 1, None, "drawn in mm"),
    (lambda m: m.add_text("nothing"), 4, None, "no lines or arcs"),
    (lambda m: (m.add_circle((0, 0), 100), m.add_circle((900, 0), 120)), 4, None, "2 separate shapes"),
    (lambda m: m.add_lwpolyline([(0, 0), (700, 400), (700, 0), (0, 400)], close=True), 4, None, "crosses itself"),
    (lambda m: m.add_lwpolyline(rounded(700, 400, 30), format="xyb", close=True), 7, None, "no cut-out is drawn in"),
])
def test_what_is_refused(tmp_path: Path, draw: Callable[[Any], object], units: int, unit: str | None, says: str) -> None:
    path = save(tmp_path, draw, units)
    with pytest.raises(InputError, match=says) as caught:
        read_cutout_dxf(path, unit)
    assert "bowl.dxf" in str(caught.value)


def test_missing_and_broken_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file"):
        read_cutout_dxf(tmp_path / "none.dxf")
    (tmp_path / "x.dxf").write_text("hello")
    with pytest.raises(InputError, match="cannot be read"):
        read_cutout_dxf(tmp_path / "x.dxf")


def test_a_layer_can_be_chosen_and_the_cutout_lands_in_the_piece(tmp_path: Path) -> None:
    def draw(m: Any) -> None:
        m.add_lwpolyline(rounded(700, 400, 30, 100, 50), format="xyb", close=True, dxfattribs={"layer": "Cut"})
        m.add_lwpolyline(rounded(760, 460, 30, 2000, 0), format="xyb", close=True, dxfattribs={"layer": "Rim"})

    save(tmp_path, draw)
    spec = TemplateSpec.model_validate({"pieces": [{"id": "top", "loop": "run", "cutouts": [
        {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 900}, "setback": 70, "file": "bowl.dxf",
         "file_layer": "CUT"}]}]})
    (piece,) = build_template(rectangle(2000.0, 600.0), spec, folder=tmp_path).pieces
    (cutout,) = piece.cutouts
    xy = np.array(cutout.vertices)[:, :2]
    front = min(y for _, y, _ in piece.vertices)
    assert xy[:, 1].min() == pytest.approx(front + 70.0, abs=1e-6)
    assert (xy[:, 0].min() + xy[:, 0].max()) / 2 == pytest.approx(900.0, abs=1e-6)
    assert cutout.source == "bowl.dxf"


def test_blocks_doubled_lines_other_layers_and_text_are_read_as_makers_draw(tmp_path: Path) -> None:
    """700 x 400 mm in a block that is drawn twice, with centre lines, a rim of another layer and a text beside it."""
    def draw(m: Any) -> None:
        doc = m.doc
        block = doc.blocks.new("BOWL")
        corners = [(0, 0), (700, 0), (700, 400), (0, 400)]
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
            block.add_line(a, b, {"layer": "CUT"})
            block.add_line(b, a, {"layer": "CUT"})
        m.add_blockref("BOWL", (120, 40))
        m.add_blockref("BOWL", (120, 40))
        m.add_line((470, -50), (470, 500), {"layer": "CENTRE"})
        m.add_lwpolyline([(3000, 0), (3760, 0), (3760, 460), (3000, 460)], close=True, dxfattribs={"layer": "RIM"})
        m.add_text("cut here", dxfattribs={"layer": "CUT"})

    path = save(tmp_path, draw, 4)
    with pytest.raises(InputError, match=r"several layers, CUT \(700 x 400 mm\), RIM \(760 x 460 mm\)"):
        read_cutout_dxf(path)
    shape = read_cutout_dxf(path, layer="cut")
    assert shape.box == pytest.approx((-350.0, 0.0, 350.0, 400.0))
    assert len(shape.vertices) == 4


def test_splines_and_ellipses_are_followed(tmp_path: Path) -> None:
    """An ellipse of semi-axes 300 and 200 mm: area pi a b, and no chord farther than 0.05 mm."""
    path = save(tmp_path, lambda m: m.add_ellipse((0, 0), (300, 0), 200 / 300), 4)
    shape = read_cutout_dxf(path)
    polygon = shapely.Polygon(shape.vertices[:, :2])
    assert polygon.area == pytest.approx(math.pi * 300 * 200, abs=0.05 * polygon.length)
    assert shape.box == pytest.approx((-300.0, 0.0, 300.0, 400.0), abs=0.1)
