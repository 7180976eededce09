"""Printed pages: the PDF is rasterised by an independent renderer (PDFium) and measured."""

from __future__ import annotations

import errno
import os
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from phototemplate.capture import constants, design
from phototemplate.capture.sheets import PRINT_KINDS, parse_numbers, raster, write_sheets
from phototemplate.capture.sheets.constants import PRINTER_MARGIN_MM
from phototemplate.capture.sheets.drawing import Blocks, Box, Item, Page, Stroke, Text
from phototemplate.capture.sheets.raster import RasterFrame, paint
from phototemplate.capture.sheets.target_pages import page_of
from phototemplate.errors import InputError, OutputError

Gray = NDArray[np.uint8]
DPI = 300
PX_PER_MM = DPI / 25.4
TRUE = (1.0, 1.0)


def rendered(path: Path, page: int, dpi: float = DPI) -> Gray:
    """A page of a PDF as grey picture."""
    document = pypdfium2.PdfDocument(path)
    picture = np.asarray(document[page].render(scale=dpi / 72, grayscale=True).to_numpy())
    document.close()
    return np.ascontiguousarray(picture.reshape(picture.shape[:2]))


def page_size_mm(path: Path, page: int) -> tuple[float, float]:
    """Width and height that the PDF states."""
    document = pypdfium2.PdfDocument(path)
    width, height = document[page].get_size()
    document.close()
    return width * 25.4 / 72, height * 25.4 / 72


def found_markers(picture: Gray, places: bool = True) -> dict[int, NDArray[np.float64]]:
    """Every marker in a picture by id; an id seen twice fails. One threshold will do where no exact ``places`` are asked."""
    parameters = cv2.aruco.DetectorParameters()
    if places:
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    else:
        parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 23
    parameters.minMarkerPerimeterRate = 0.1
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, design.DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(picture)
    if ids is None:
        return {}
    names = [int(i) for i in np.ravel(ids)]
    assert len(names) == len(set(names))
    return {name: np.asarray(c, dtype=np.float64).reshape(4, 2) for name, c in zip(names, corners, strict=True)}


def saddles_mm(picture: Gray, expected_px: NDArray[np.float64], half_window: int) -> NDArray[np.float64]:
    """Saddle points refined by OpenCV in a slightly blurred picture, px."""
    blurred = cv2.GaussianBlur(picture, (0, 0), 1.5)
    start = expected_px.astype(np.float32).reshape(-1, 1, 2)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    window = (half_window, half_window)
    return cv2.cornerSubPix(blurred, start, window, (-1, -1), criteria).reshape(-1, 2).astype(np.float64)


def tick_positions(profile: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centres of dark runs along a line of pixels."""
    ink = np.clip(255 - profile, 0, None)
    ink[ink < 40] = 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (ink > 0).astype(int), [0]])))
    return np.array([np.average(np.arange(a, b), weights=ink[a:b]) for a, b in edges.reshape(-1, 2)])


@pytest.fixture(scope="module", params=["A4", "Letter"])
def full_set(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    path = tmp_path_factory.mktemp("sheets") / "set.pdf"
    write_sheets(path, ["set", "customer"], request.param)
    return path, request.param


def page_titled(path: Path, title: str) -> int:
    document = pypdfium2.PdfDocument(path)
    titles = [bookmark.get_title() for bookmark in document.get_toc()]
    document.close()
    return titles.index(title)


# ------------------------------------------------------------------------------------------- geometry


@pytest.mark.parametrize(
    ("title", "target_ids"),
    [
        ("Target sheet S07", ("S07",)),
        ("Wall strip W03", ("W03a", "W03b")),
        ("Scale bar ends B01 to B04", ("B01", "B02", "B03", "B04")),
        ("Calibration board K01", ("K01",)),
    ],
)
def test_printed_geometry_is_the_design_to_a_tenth_of_a_millimetre(
    full_set: tuple[Path, str], title: str, target_ids: tuple[str, ...]
) -> None:
    path, paper = full_set
    picture = rendered(path, page_titled(path, title))
    markers = found_markers(picture)
    expected = [marker.marker_id for target_id in target_ids for marker in design.markers(target_id)]
    assert sorted(markers) == sorted(expected)
    for target_id in target_ids:
        page = page_of(target_id, paper)
        # PDFium stretches a page to whole pixels; pixel 0 is the centre of the first one
        scale = np.array([picture.shape[1] / page.size_mm[0], picture.shape[0] / page.size_mm[1]])
        origin = np.array([page.placements[target_id][0], page.size_mm[1] - page.placements[target_id][1]])

        def to_px(
            points: NDArray[np.float64], origin: NDArray[np.float64] = origin, scale: NDArray[np.float64] = scale
        ) -> NDArray[np.float64]:
            return (points[..., :2] * [1, -1] + origin) * scale - 0.5

        points = design.pattern(target_id).saddles()
        half = int(design.pattern(target_id).rim_mm * PX_PER_MM) - 6
        error_mm = (saddles_mm(picture, to_px(points) + 3.0, half) - to_px(points)) / PX_PER_MM
        assert np.abs(error_mm).max() < 0.1
        assert np.abs(error_mm - error_mm.mean(axis=0)).max() < 0.02
        for marker in design.markers(target_id):
            assert np.abs(markers[marker.marker_id] - to_px(marker.corners_mm)).max() / PX_PER_MM < 0.1


def test_every_page_has_the_size_of_its_paper(full_set: tuple[Path, str]) -> None:
    path, paper = full_set
    document = pypdfium2.PdfDocument(path)
    for page in document:
        assert sorted(side * 25.4 / 72 for side in page.get_size()) == pytest.approx(constants.PAPERS_MM[paper], abs=0.01)
    document.close()


def test_contact_edge_is_printed_where_the_design_says(full_set: tuple[Path, str]) -> None:
    path, paper = full_set
    picture = rendered(path, page_titled(path, "Target sheet S07")).astype(np.float64)
    page = page_of("S07", paper)
    origin_row = (page.size_mm[1] - page.placements["S07"][1]) * PX_PER_MM - 0.5
    column = int(8.0 * PX_PER_MM)
    rows = tick_positions(picture[: int(20 * PX_PER_MM), column - 4 : column + 4].mean(axis=1))
    assert len(rows) == 1
    edge = design.target("S07").contact_edge_mm
    assert edge is not None
    assert (origin_row - rows[0]) / PX_PER_MM == pytest.approx(edge[0, 1], abs=0.05)


@pytest.mark.parametrize("title", ["Guide", "Target sheet S07", "Wall strip W03", "Calibration board K01", "Customer page"])
@pytest.mark.parametrize("scale", [(1.0, 1.0), (0.997, 1.004)])
def test_check_ruler_has_the_stated_length(title: str, scale: tuple[float, float], tmp_path: Path) -> None:
    """Also with a measured print scale: a printer that shrinks by it then gives true millimetres and inches."""
    what = {"Guide": "guide", "Customer page": "customer", "T": "sheets", "W": "strips", "C": "board"}
    kind = what.get(title) or what[title[0]]
    path = tmp_path / "page.pdf"
    write_sheets(path, kind, "A4", scale, None if kind in ("guide", "customer", "board") else [int(title[-1])], guide=False)
    picture = rendered(path, 0).astype(np.float64)
    height = picture.shape[0]
    millimetres, inches = (180, 7) if kind in ("guide", "customer") else (200, 8)
    px_per_mm = picture.shape[1] / page_size_mm(path, 0)[0] / scale[0]
    # the base line of the ruler: the longest dark row near the foot of the page
    foot = picture[int(height - 22 * PX_PER_MM) :]
    base = int(height - 22 * PX_PER_MM) + int(np.argmin(foot.mean(axis=1)))
    upper = tick_positions(picture[int(base - 1.6 * PX_PER_MM) : int(base - 1.0 * PX_PER_MM)].mean(axis=0))
    assert len(upper) == millimetres + 1
    np.testing.assert_allclose((upper - upper[0]) / px_per_mm, np.arange(millimetres + 1), atol=0.05)
    lower = tick_positions(picture[int(base + 0.8 * PX_PER_MM) : int(base + 1.2 * PX_PER_MM)].mean(axis=0))
    assert len(lower) == 16 * inches + 1
    np.testing.assert_allclose((lower - lower[0]) / px_per_mm, 25.4 / 16 * np.arange(16 * inches + 1), atol=0.05)


def test_upright_ruler_and_print_scale_up_the_page(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    write_sheets(path, "sheets", "A4", (1.0, 0.99), [5], guide=False)
    picture = rendered(path, 0).astype(np.float64)
    page = page_of("S05", "A4")
    form = design.pattern("S05")
    x = page.placements["S05"][0] - form.size_mm[0] / 2 - 15.5
    columns = slice(int((x + 1.0) * PX_PER_MM), int((x + 1.6) * PX_PER_MM))
    ticks = tick_positions(picture[int(22.6 * PX_PER_MM) : int(168 * PX_PER_MM), columns].mean(axis=1))
    assert len(ticks) == 141
    px_per_mm = picture.shape[0] / page_size_mm(path, 0)[1]
    assert (ticks[-1] - ticks[0]) / px_per_mm == pytest.approx(140 / 0.99, abs=0.05)


def test_every_id_of_the_whole_set_is_found_in_the_pdf(tmp_path: Path) -> None:
    """All 60 sheets, 12 strips, 8 bar ends and both boards, by OpenCV's detector at 72 dpi."""
    seen: list[int] = []
    for what, paper, numbers in (
        ("sheets", "Letter", "1-60"),
        ("strips", "A4", "1-12"),
        ("bars", "Letter", "1-2"),
        ("board", "A4", None),
        ("board", "A3", None),
    ):
        path = tmp_path / f"{what}-{paper}.pdf"
        written = write_sheets(path, what, paper, numbers=numbers, guide=False)
        for page, title in enumerate(written.pages):
            ids = sorted(found_markers(rendered(path, page, 72), places=False))
            assert ids, title
            seen += ids
    assert sorted(seen) == sorted(m.marker_id for t in design.catalog() for m in design.markers(t))


# ------------------------------------------------------------------------------------------- what pages say


def test_every_page_says_what_to_do_and_begins_with_the_guide(full_set: tuple[Path, str]) -> None:
    path, _ = full_set
    document = pypdfium2.PdfDocument(path)
    assert document.get_toc().__next__().get_title() == "Guide"
    for page in document:
        text = " ".join(page.get_textpage().get_text_range().lower().split())
        for word in ("print at 100 %", "ruler", "flat", "note the total thickness", "print scale 1.0000"):
            assert word in text, text
    document.close()


def test_print_scale_is_stated_on_every_page(tmp_path: Path) -> None:
    path = tmp_path / "scaled.pdf"
    write_sheets(path, ["set", "customer"], "Letter", 0.997)
    document = pypdfium2.PdfDocument(path)
    for page in document:
        assert "print scale of 0.9970" in " ".join(page.get_textpage().get_text_range().split())
    document.close()


@pytest.mark.parametrize("scale", [1.0, 0.97])
def test_nothing_is_printed_within_the_printer_margins(full_set: tuple[Path, str], scale: float, tmp_path: Path) -> None:
    """After a printer has shrunk a page that was enlarged for it, the margin is still free."""
    path, paper = full_set
    if scale != 1.0:
        path = tmp_path / "scaled.pdf"
        write_sheets(path, ["set", "customer"], paper, scale)
    document = pypdfium2.PdfDocument(path)
    count = len(document)
    document.close()
    for page in range(count):
        picture = rendered(path, page, 100)
        rows, columns = np.nonzero(picture < 200)
        height, width = picture.shape
        offsets = [columns.min() - width / 2, columns.max() - width / 2, rows.min() - height / 2, rows.max() - height / 2]
        left, right, top, bottom = (scale * offset * 25.4 / 100 for offset in offsets)
        assert min(left + width * 12.7 / 100, width * 12.7 / 100 - right) > PRINTER_MARGIN_MM - 0.4
        assert min(top + height * 12.7 / 100, height * 12.7 / 100 - bottom) > PRINTER_MARGIN_MM - 0.4


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return min(a[2], b[2]) > max(a[0], b[0]) + 0.05 and min(a[3], b[3]) > max(a[1], b[1]) + 0.05


def all_pages(paper: str) -> list[Page]:
    pages = []
    for kind in PRINT_KINDS:
        if paper in kind.papers:
            pages += [kind.page(number, paper, (0.9971, 1.0023)) for number in kind.numbers(paper)[-1:]]
    return pages


@pytest.mark.parametrize("paper", list(constants.PAPERS_MM))
def test_no_text_overlaps_other_text_or_a_checkerboard(paper: str) -> None:
    pages = all_pages(paper)
    assert pages
    for page in pages:
        texts = [item for item in page.items if isinstance(item, Text)]
        for a, b in combinations(texts, 2):
            assert not overlap(a.box, b.box), (page.title, a.text, b.text)
        for target_id, (x, y) in page.placements.items():
            half_x, half_y = (side / 2 for side in design.pattern(target_id).size_mm)
            board = (x - half_x, y - half_y, x + half_x, y + half_y)
            outside = [text for text in texts if text.ink == (0.0, 0.0, 0.0)]
            assert not [text.text for text in outside if overlap(text.box, board)]


def test_fonts_are_referred_to_and_readers_are_asked_not_to_scale(full_set: tuple[Path, str]) -> None:
    """ISO 32000-1: the standard 14 fonts need no font file; ViewerPreferences/PrintScaling None asks for 100 %."""
    data = full_set[0].read_bytes()
    assert b"/FontFile" not in data
    assert b"/BaseFont /Helvetica" in data
    assert b"/PrintScaling /None" in data


def test_the_same_pages_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_sheets(tmp_path / name, "set")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


# ------------------------------------------------------------------------------------------- raster


def _to_px(frame: RasterFrame, points_mm: np.ndarray) -> np.ndarray:
    """(n, 2) pixels of points of the target frame."""
    matrix = frame.image_from_target
    return points_mm[:, :2] @ matrix[:, :2].T + matrix[:, 2]


@pytest.mark.parametrize("target_id", ["S07", "W03b", "B02", "K01", "K02"])
def test_raster_shows_the_target_where_its_frame_says(target_id: str) -> None:
    picture, frame = raster(target_id, 7.3)  # a scale at which no edge falls between two pixels
    markers = found_markers(picture)
    assert sorted(markers) == [marker.marker_id for marker in design.markers(target_id)]
    points = _to_px(frame, design.pattern(target_id).saddles())
    half = int(design.pattern(target_id).rim_mm * 7.3) - 5
    assert np.abs(saddles_mm(picture, points + 1.0, half) - points).max() < 0.03
    left, bottom, right, top = design.paper_box(target_id, design.papers(target_id)[0])
    assert frame.box_mm[0] == left
    assert frame.box_mm[3] == top
    assert 0 <= frame.box_mm[2] - right < 1 / 7.3
    assert 0 <= bottom - frame.box_mm[1] < 1 / 7.3
    np.testing.assert_allclose(frame.size_mm, np.array(picture.shape)[::-1] / 7.3)


@pytest.mark.parametrize("target_id", ["S12", "W03a", "B02", "K01"])
def test_nothing_but_four_squares_lies_within_the_rim_of_a_saddle(target_id: str) -> None:
    picture, frame = raster(target_id, 10.0)
    form = design.pattern(target_id)
    reach = int(form.rim_mm * 10) - 1
    for k, (u, v) in enumerate(_to_px(frame, design.pattern(target_id).saddles())):
        row, column = divmod(k, form.columns - 1)
        v0, u0 = round(v + 0.5), round(u + 0.5)
        window = picture[v0 - reach : v0 + reach, u0 - reach : u0 + reach]
        ideal = np.full_like(window, 255)
        even = (row + column) % 2 == 0
        ideal[:reach, :reach] = ideal[reach:, reach:] = 0 if even else 255
        ideal[:reach, reach:] = ideal[reach:, :reach] = 255 if even else 0
        np.testing.assert_array_equal(window, ideal)


@pytest.mark.parametrize("target_id", ["S07", "W03a", "B02", "K01"])
def test_raster_and_pdf_agree(target_id: str, tmp_path: Path) -> None:
    """The whole page from both lowerings, equal but for the shapes of letters. Letter paper is whole pixels at 200 dpi."""
    page = page_of(target_id, "Letter")
    kind, number = {"S": "sheets", "W": "strips", "B": "bars", "K": "board"}[target_id[0]], int(target_id[1:3])
    path = tmp_path / "page.pdf"
    write_sheets(path, kind, "Letter", numbers=[1] if kind == "bars" else [number], guide=False)
    printed = rendered(path, 0, 200).astype(np.float64)
    painted = paint(page.items, (0.0, 0.0, *page.size_mm), 200 / 25.4).astype(np.float64)
    assert printed.shape == painted.shape
    difference = np.abs(printed - painted)
    for item in page.items:
        if isinstance(item, Text):
            x0, y0, x1, y1 = (v * 200 / 25.4 for v in item.box)
            window = slice(int(len(difference) - y1), int(len(difference) - y0) + 1), slice(int(x0), int(x1) + 1)
            difference[window] = 0
            ink = [(255 - picture[window]).mean() for picture in (printed, painted)]
            assert ink[1] == pytest.approx(ink[0], rel=0.3, abs=4), item.text
    assert (difference > 60).mean() < 1e-3  # PDFium draws lines thinner than a pixel a little wider


def test_boxes_of_one_shape_leave_no_seam() -> None:
    """Two boxes that share a pixel cover it with the sum of their areas."""
    picture = paint([Blocks(((0.0, 0.0, 1.25, 2.0), (1.25, 0.0, 3.0, 2.0)))], (0.0, 0.0, 3.0, 2.0), 1.0)
    np.testing.assert_array_equal(picture, 0)
    picture = paint([Blocks(((0.5, 0.0, 1.25, 1.0),))], (0.0, 0.0, 2.0, 1.0), 1.0)
    np.testing.assert_array_equal(picture, [[128, 191]])


# ------------------------------------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"paper": "A5"}, "choose one of A4, Letter"),
        ({"print_scale": 97}, "0.97"),
        ({"print_scale": 99.7}, "0.997"),
        ({"print_scale": 0.9}, "print at 100 %"),
        ({"print_scale": 0.0}, "near 1"),
        ({"print_scale": float("nan")}, "near 1"),
        ({"print_scale": (0.99, 1.2)}, "too far from 1"),
        ({"what": "sheets", "numbers": [61]}, "1 to 60"),
        ({"what": "sheets", "numbers": "0"}, "1 to 60"),
        ({"what": "strips", "numbers": "12-13"}, "1 to 12"),
        ({"what": "sheets", "numbers": "twelve"}, "1-12,15"),
        ({"what": "sheets", "numbers": "9-3"}, "3-9"),
        ({"what": "sheets", "numbers": []}, "1 to 60"),
        ({"what": "posters"}, "choose set or some of"),
        ({"what": []}, "choose set or some of"),
        ({"what": "sheets", "paper": "A3"}, "A4 or Letter"),
        ({"what": ["sheets", "strips"], "numbers": "1"}, "one kind of page"),
    ],
)
def test_wrong_values_are_refused_in_one_sentence(arguments: dict[str, object], says: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        write_sheets(tmp_path / "x.pdf", **arguments)  # type: ignore[arg-type]
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "sheets.pdf"
    path.write_bytes(b"old")

    def full(fd: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="the disk is full"):
        write_sheets(path, "guide")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["sheets.pdf"]
    with pytest.raises(OutputError, match="create the folder or choose another one"):
        write_sheets(tmp_path / "missing" / "x.pdf", "guide")


def test_numbers_are_read() -> None:
    assert parse_numbers("1-3, 7,S05-S06,2") == (1, 2, 3, 5, 6, 7)


def extent(item: Item) -> Box:
    """Box around an item."""
    if isinstance(item, Text):
        return item.box
    if isinstance(item, Blocks):
        xs = [x for box in item.boxes for x in (box[0], box[2])]
        ys = [y for box in item.boxes for y in (box[1], box[3])]
        pad = 0.0
    else:
        xs = [x for x, _ in item.points]
        ys = [y for _, y in item.points]
        pad = item.width / 2 if isinstance(item, Stroke) else 0.0
    return min(xs) - pad, min(ys) - pad, max(xs) + pad, max(ys) + pad


def test_extents_cover_every_item_of_every_page() -> None:
    for paper in constants.PAPERS_MM:
        for page in all_pages(paper):
            for item in page.items:
                x0, y0, x1, y1 = extent(item)
                assert x0 >= PRINTER_MARGIN_MM - 0.2, (page.title, item)
                assert y0 >= PRINTER_MARGIN_MM - 0.2, (page.title, item)
                assert x1 <= page.size_mm[0] - PRINTER_MARGIN_MM + 0.2, (page.title, item)
                assert y1 <= page.size_mm[1] - PRINTER_MARGIN_MM + 0.2, (page.title, item)


def test_raster_refuses_nonsense() -> None:
    with pytest.raises(InputError, match="above zero"):
        raster("S01", 0.0)
    with pytest.raises(InputError, match="no target sheet S61"):
        raster("S61")
    with pytest.raises(InputError, match="A3 or Tabloid"):
        raster("K02", paper="A4")
