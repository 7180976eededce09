"""PDFs are rasterised and measured; SVG arcs after the SVG specification; CSV read back.

SVG 1.1 (second edition), appendix F.6.5: centre of an elliptical arc from end points, radius and flags.
"""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest

from phototemplate.errors import InputError
from phototemplate.output.constants import OVERLAP_MM
from phototemplate.output.csv import EDGE_COLUMNS, write_edges_csv, write_rows_csv
from phototemplate.output.full_size import Tiling, pages_with, region_named, tile, write_full_size_pdf
from phototemplate.output.paper import paper_size
from phototemplate.output.pdf import edge_schedule, sheets_pdf
from phototemplate.output.svg import svg_text
from phototemplate.template.constants import PAPERS_MM
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import Dimension, Drawing, Line, Polyline, Text, arc_of_bulge
from phototemplate.template.lengths import JobUnit, LengthWords
from phototemplate.template.outline_drawing import OutlineStyle, outline_drawing
from phototemplate.template.paper_sheets import Rows, SheetStyle, TitleBlock, scale_words
from phototemplate.template.shop_sheet import outline_sheets
from tests.output.samples import outline
from tests.output.test_dxf import DRAWING

DPI = 300
PX_MM = DPI / 25.4


def _raster(source: Path | bytes, page: int = 0) -> np.ndarray:
    """Grey picture of a page, row 0 at the top."""
    pdf = pypdfium2.PdfDocument(source)
    return np.asarray(pdf[page].render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze()


def _text(source: Path | bytes) -> list[str]:
    pdf = pypdfium2.PdfDocument(source)
    return [page.get_textpage().get_text_bounded() for page in pdf]


def _dark_columns(rows: np.ndarray) -> list[float]:
    """Centres in px of runs of columns that are dark over the whole height."""
    dark = (255.0 - rows).min(axis=0)
    out, i = [], 0
    while i < len(dark):
        if dark[i] > 60:
            j = i
            while j < len(dark) and dark[j] > 30:
                j += 1
            weight = dark[i:j]
            out.append(float(np.sum(weight * np.arange(i, j)) / np.sum(weight)))
            i = j
        i += 1
    return out


BARS = Drawing("bars", tuple(Line("FOUND-LINE", (x, 0.0), (x, 900.0)) for x in (0.0, 700.0, 1000.0)))


def _sheets(paper: str = "A4", unit: JobUnit = "mm", rows: Rows = (("edge",),), unscaled: bool = False) -> bytes:
    width, height = PAPERS_MM[paper]
    style = SheetStyle(TitleBlock("Job", date="2026-03-14", tolerance="1/16 in (1.6 mm)"), (height, width), unit, unscaled)
    return sheets_pdf(outline_sheets(lambda h: BARS, rows, ("S01: moved.",), style), "bars")


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_shop_drawing_is_to_scale(unit: JobUnit) -> None:
    data = _sheets(unit=unit)
    found = re.search(r"1:(\d+)", _text(data)[0])
    assert found
    scale = int(found[1])
    assert scale in ((10, 15, 20) if unit == "mm" else (8, 12, 16))
    picture = _raster(data)
    middle = int(picture.shape[0] * 0.4)
    columns = _dark_columns(picture[middle : middle + 40, 150:-150])
    assert len(columns) == 3
    distances = np.diff(columns) / PX_MM * scale
    assert distances == pytest.approx([700, 300], abs=0.1 * scale)


def test_shop_drawing_says_what_it_must() -> None:
    o = outline()
    words = LengthWords("in")
    style = SheetStyle(TitleBlock("Sample kitchen", date="2026-03-14", tolerance="1/16 in (1.6 mm)"), (431.8, 279.4), "in")

    def draw(h: float) -> Drawing:
        return outline_drawing(o, "Outline", OutlineStyle(words, h, edge_table=False))

    made = outline_sheets(draw, edge_schedule(o.edges, 25.4 / 16, words), ("S01: moved.",), style)
    front, *rest = _text(sheets_pdf(made, "x"))
    back = " ".join(" ".join(rest).split())
    for text in ("Sample kitchen", "Sign", "2026-03-14", '34 3/4" (881.9 ±1.0 mm)', "1/16 in"):
        assert text in front, text
    for edge in o.edges:
        assert edge.edge_id in back
    for text in ("Edges", "Silica dust", "Local codes", "cannot tell", "S01: moved.", "k = 2"):
        assert text in back, text
    assert "NOT SCALED" not in front
    bare = _text(_sheets(unscaled=True))
    assert all("NOT SCALED" in page for page in bare)


def test_long_schedule_runs_over_pages() -> None:
    rows = [("edge", "what"), *((f"edge-{i}", "word " * 40) for i in range(120))]
    texts = _text(_sheets(rows=rows))
    assert len(texts) > 3
    assert all(sum(re.search(rf"edge-{i}\b", t) is not None for t in texts) == 1 for i in range(120))


def test_same_bytes_again() -> None:
    assert _sheets() == _sheets()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_full_size_is_full_size(paper: str, tmp_path: Path) -> None:
    drawing = Drawing("two", (Line("FOUND-LINE", (0, 0), (0, 120)), Line("FOUND-LINE", (150, 0), (150, 120))))
    path = write_full_size_pdf(drawing, tmp_path / "a.pdf", paper=paper)
    picture = _raster(path)
    rows = slice(picture.shape[0] - int(75 * PX_MM), picture.shape[0] - int(60 * PX_MM))
    columns = _dark_columns(picture[rows])
    assert np.diff(columns) / PX_MM == pytest.approx([150.0], abs=0.1)
    # the check rulers at the foot: ends are the tallest strokes
    foot = picture[-int(8.0 * PX_MM) : -int(7.4 * PX_MM)]
    ends = _dark_columns(foot)
    assert (ends[1] - ends[0]) / PX_MM == pytest.approx(100.0, abs=0.1)
    assert (ends[3] - ends[2]) / PX_MM / 25.4 == pytest.approx(round((ends[3] - ends[2]) / PX_MM / 25.4), abs=0.004)


def test_tiles_agree_with_each_other(tmp_path: Path) -> None:
    """A line that two pages share lies at the same place of the drawing on both, and so do their marks."""
    x_true = 257.0
    items = (Line("FOUND-LINE", (0, 0), (600, 0)), Line("FOUND-LINE", (x_true, 0), (x_true, 150)))
    tiling = tile(items, "A4")
    pages = pages_with(tiling, items)
    shared = [(c, r) for c, r in pages if r == 0 and 0 < x_true - tiling.corner(c, r)[0] < tiling.shown_mm[0]]
    assert len(shared) == 2
    path = write_full_size_pdf(Drawing("t", items), tmp_path / "a.pdf")
    places = []
    for column, row in shared:
        picture = _raster(path, 1 + pages.index((column, row)))  # page 0 is the overview
        h = picture.shape[0]
        rows = slice(h - int(110 * PX_MM), h - int(90 * PX_MM))
        (px,) = _dark_columns(picture[rows])
        places.append((px + 0.5) / PX_MM - 10.0 + tiling.corner(column, row)[0])
    assert places == pytest.approx([x_true, x_true], abs=0.1)
    (c0, r0), (c1, _) = shared
    assert c1 == c0 + 1
    mark = tiling.mark(c1, r0)
    for column in (c0, c1):
        x, y = tiling.corner(column, r0)
        assert x < mark[0] < x + tiling.shown_mm[0]
        assert y < mark[1] < y + tiling.shown_mm[1]


def test_tiles_cover_everything_and_skip_the_empty() -> None:
    drawing = outline_drawing(outline(), style=OutlineStyle(text_height_mm=8.0))
    items = [i for i in drawing.items if i.layer == "FOUND-LINE"]
    tiling = tile(items, "A4")
    pages = pages_with(tiling, items)
    assert 0 < len(pages) < tiling.columns * tiling.rows
    far = tiling.corner(tiling.columns - 1, tiling.rows - 1)
    assert far[0] + tiling.shown_mm[0] >= tiling.region[2]
    assert far[1] + tiling.shown_mm[1] >= tiling.region[3]
    for item in items:
        assert isinstance(item, Polyline)
        for x, y, _ in item.vertices:
            assert any(tiling.window(*p).buffer(1e-6).contains_properly(_point(x, y)) for p in pages)
    assert tiling.step_mm[0] == tiling.shown_mm[0] - OVERLAP_MM
    assert [Tiling.name(c, 0) for c in (0, 25, 26, 27)] == ["A1", "Z1", "AA1", "AB1"]


def _point(x: float, y: float):
    import shapely

    return shapely.Point(x, y)


def test_roll_and_corner(tmp_path: Path) -> None:
    drawing = outline_drawing(outline(), style=OutlineStyle(text_height_mm=8.0))
    roll = write_full_size_pdf(drawing, tmp_path / "roll.pdf", paper="24 in roll")
    widths = {round(min(p.get_size()) * 25.4 / 72, 1) for p in list(pypdfium2.PdfDocument(roll))[1:]}
    assert widths == {609.6}
    near = region_named("front-1/front-2", outline(), None, 120.0)
    corner = write_full_size_pdf(drawing, tmp_path / "corner.pdf", paper="A4", region=near)
    assert len(pypdfium2.PdfDocument(corner)) <= 5
    edge = write_full_size_pdf(drawing, tmp_path / "edge.pdf", paper="A4", region=region_named("front-1", outline(), None))
    whole = write_full_size_pdf(drawing, tmp_path / "all.pdf", paper="A4")
    assert len(pypdfium2.PdfDocument(edge)) < 0.5 * len(pypdfium2.PdfDocument(whole))
    with pytest.raises(InputError, match="Nothing is drawn in the region"):
        write_full_size_pdf(drawing, tmp_path / "x.pdf", region=(9000.0, 0.0, 9001.0, 1.0))
    with pytest.raises(InputError, match=r"no corner, edge or piece 'nowhere' to print; choose from .*front-1"):
        region_named("nowhere", outline(), None)
    with pytest.raises(InputError, match="needs a known length"):
        write_full_size_pdf(drawing, tmp_path / "x.pdf", unscaled=True)
    with pytest.raises(InputError, match="larger paper or a roll"):
        tile([Line("FOUND-LINE", (0, 1000.0 * k), (90_000, 1000.0 * k)) for k in range(20)], "A4")


def test_papers() -> None:
    """ISO 216: A4 210 x 297, A3 297 x 420; Letter 8 1/2 x 11 in, Tabloid 11 x 17 in."""
    assert paper_size("a4") == (210.0, 297.0)
    assert paper_size("A3") == (297.0, 420.0)
    assert paper_size("letter") == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert paper_size("Tabloid") == pytest.approx((11 * 25.4, 17 * 25.4))
    assert paper_size("610 roll") == (610.0, math.inf)
    with pytest.raises(InputError, match="or a roll such as"):
        paper_size("foolscap")
    assert scale_words(24, "in") == "1:24 (1/2\" = 1')"
    assert scale_words(20, "mm") == "1:20"


@pytest.mark.parametrize("angle", range(0, 360, 30))
def test_dimension_parts(angle: int) -> None:
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    item = Dimension("STONE-SIZES", (0, 0), (500 * c, 500 * s), (100 * s, -100 * c))
    parts = take_apart(item, 20.0)
    longest = max(parts.lines, key=lambda ab: math.dist(*ab))
    assert math.dist(*longest) == pytest.approx(500 + 2 * 8)
    assert parts.text_at == pytest.approx((250 * c + 100 * s, 250 * s - 100 * c), abs=1e-9)
    assert -math.radians(86) < parts.angle_rad < math.radians(96)


def _arc_middle(start: np.ndarray, end: np.ndarray, r: float, large: int, sweep: int) -> np.ndarray:
    """Middle of a circular arc after SVG's F.6.5 (no rotation, equal radii)."""
    half = (start - end) / 2
    root = math.sqrt(max(r * r - half @ half, 0.0) / (half @ half)) * (-1 if large == sweep else 1)
    centre = root * np.array([half[1], -half[0]]) + (start + end) / 2
    a0, a1 = (math.atan2(*(p - centre)[::-1]) for p in (start, end))
    turn = (a1 - a0) % (2 * math.pi) if sweep else -((a0 - a1) % (2 * math.pi))
    return centre + r * np.array([math.cos(a0 + turn / 2), math.sin(a0 + turn / 2)])


@pytest.mark.parametrize("bulge", [0.2, -0.2, 0.41421356, -0.9, 1.6, -2.0])
def test_svg_arcs_go_the_right_way(bulge: float) -> None:
    start, end = (10.0, 20.0), (110.0, 50.0)
    text = svg_text(Drawing("t", (Polyline("FOUND-LINE", ((*start, bulge), (*end, 0.0))),)))
    m = re.search(r'd="M([-\d.]+) ([-\d.]+)A([\d.]+) [\d.]+ 0 ([01]) ([01]) ([-\d.]+) ([-\d.]+)"', text)
    assert m
    x0, y0, r, large, sweep, x1, y1 = map(float, m.groups())
    middle = _arc_middle(np.array([x0, y0]), np.array([x1, y1]), r, int(large), int(sweep))
    centre, radius, a0, turn = arc_of_bulge(start, end, bulge)
    expected = (centre[0] + radius * math.cos(a0 + turn / 2), -(centre[1] + radius * math.sin(a0 + turn / 2)))
    assert middle == pytest.approx(expected, abs=2e-3)


def test_svg_is_well_formed_and_true_to_size() -> None:
    drawing = DRAWING.with_items([Text("STONE-NAMES", (0, 0), "<&\"'>", 10.0)])
    root = ElementTree.fromstring(svg_text(drawing))
    x0, _, x1, _ = drawing.bounds()
    width = float(root.attrib["viewBox"].split()[2])
    assert root.attrib["width"] == f"{width:.2f}mm"
    assert width == pytest.approx(x1 - x0 + 80.0, abs=0.01)
    groups = [g.attrib["id"] for g in root.iter("{http://www.w3.org/2000/svg}g") if "id" in g.attrib]
    assert groups == [layer.name for layer in drawing.layers]
    assert "<&\"'>" in [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]
    bare = ElementTree.fromstring(svg_text(drawing, unscaled=True))
    assert "width" not in bare.attrib


def test_csv_of_edges(tmp_path: Path) -> None:
    path = write_edges_csv(outline(), tmp_path / "edges.csv")
    with path.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert tuple(rows[0]) == EDGE_COLUMNS
    for row, edge in zip(rows, outline().edges, strict=True):
        assert row["edge"] == edge.edge_id
        assert float(row["length_in"]) * 25.4 == pytest.approx(edge.length_mm, abs=2e-3)
        assert float(row["offset_U_end_mm"]) == pytest.approx(edge.offset_U_mm[2], abs=1e-3)
    assert rows[8]["findings"] == "edge-single-view"
    assert path.read_bytes().endswith(b"\r\n")


def test_csv_cells_are_no_formulas(tmp_path: Path) -> None:
    path = write_rows_csv(tmp_path / "a.csv", ("a", "b"), [("=1+1", "-3.5"), ("@x", 'say "hi", twice')])
    with path.open(newline="", encoding="utf-8") as stream:
        assert list(csv.reader(stream))[1:] == [["'=1+1", "-3.5"], ["'@x", 'say "hi", twice']]
