"""Geometry of the printed targets."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from phototemplate.capture import constants, design
from phototemplate.errors import InputError

ONE_OF_EACH = ("S01", "S60", "W01a", "W12b", "B01", "B08", "K01", "K02")


def test_every_marker_id_is_unique_over_the_whole_set() -> None:
    ids = [marker.marker_id for target_id in design.catalog() for marker in design.markers(target_id)]
    assert len(ids) == len(set(ids)) == len({m.marker_id for t in design.catalog() for m in design.markers(t)})
    assert min(ids) >= 0
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, design.DICTIONARY))
    assert max(ids) < len(dictionary.bytesList)
    kinds = [target.kind for target in design.catalog().values()]
    assert kinds.count("sheet") >= 60
    assert kinds.count("strip") >= 12
    assert kinds.count("bar_end") >= 2
    assert kinds.count("board") >= 1


@pytest.mark.parametrize("target_id", ONE_OF_EACH)
def test_geometry_is_that_of_opencvs_board_of_the_same_squares(target_id: str) -> None:
    """Reference: OpenCV's CharucoBoard (y down, origin at the upper left corner of the board)."""
    form = design.pattern(target_id)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, design.DICTIONARY))
    board = cv2.aruco.CharucoBoard((form.columns, form.rows), form.square_mm, form.marker_mm, dictionary)
    width, height = form.size_mm
    flip, shift = np.array([1.0, -1.0, 1.0]), np.array([width / 2, height / 2, 0.0])
    points = design.target(target_id).points_mm * flip + shift
    inner = board.getChessboardCorners()
    np.testing.assert_allclose(points[: len(inner)], inner, atol=1e-4)
    if form.kind == "strip":  # two more: the ends of the middle line
        np.testing.assert_allclose(points[len(inner) :, :2], [[0, height / 2], [width, height / 2]], atol=1e-9)
    else:
        assert len(points) == len(inner)
    corners = np.array([marker.corners_mm for marker in design.markers(target_id)]) * flip + shift
    np.testing.assert_allclose(corners, np.array(board.getObjPoints()), atol=1e-4)


@pytest.mark.parametrize("target_id", ONE_OF_EACH)
def test_refinement_window_is_at_least_a_quarter_of_a_square_wide(target_id: str) -> None:
    form = design.pattern(target_id)
    assert 2 * form.rim_mm >= form.square_mm / 4
    saddles = design.target(target_id).points_mm[:, None, :2]
    corners = np.concatenate([marker.corners_mm for marker in design.markers(target_id)])[None, :, :2]
    assert np.abs(saddles - corners).max(axis=2).min() == pytest.approx(form.rim_mm)


def test_markers_of_sheets_and_strips_are_large_enough() -> None:
    """30 px for 12 megapixels (4000 px for 65 degrees, about 3100 px principal distance) at 2.5 m want 25 mm."""
    for target_id in ("S01", "W01a", "B01"):
        assert design.pattern(target_id).marker_mm * 3100 / 2500 >= 30


def test_sheet_has_one_contact_edge_on_the_far_side_of_its_number() -> None:
    sheet = design.target("S07")
    assert sheet.contact_edge_mm is not None
    (xa, ya), (xb, yb) = sheet.contact_edge_mm
    assert ya == yb == constants.SHEET_CONTACT_Y_MM
    assert xa < xb
    assert ya >= design.pattern("S07").size_mm[1] / 2 + 8
    for paper in ("A4", "Letter"):
        left, _, right, top = design.paper_box("S07", paper)
        assert top == ya
        assert left <= xa
        assert xb <= right
    for target_id in ("W01a", "B01", "K01"):
        assert design.target(target_id).contact_edge_mm is None


def test_tape_marks_are_measurable_saddle_points() -> None:
    points, marks = design.target("S03").points_mm, design.tape_marks("S03")
    np.testing.assert_array_equal(points[marks["B"]], 0.0)
    # common practice: a 150 mm caliper, the usual size, must span the longest check distance
    assert points[marks["C"], 0] - points[marks["A"], 0] == pytest.approx(144.0)
    assert points[marks["D"], 1] - points[marks["E"], 1] == pytest.approx(72.0)
    np.testing.assert_array_equal(design.target("B02").points_mm, [[0.0, 0.0, 0.0]])
    assert design.tape_marks("B02") == {"B": 0}


def test_strip_points_lie_in_one_row_at_the_stated_height() -> None:
    strip = design.target("W05b")
    assert not strip.rigid
    _, bottom, _, _ = design.paper_box("W05b")
    np.testing.assert_allclose(strip.points_mm[:, 1] - bottom, strip.height_axis_mm)
    assert strip.size_mm == constants.STRIP_SIZE_MM


def test_paper_sizes_are_the_published_ones() -> None:
    """ISO 216: A4 210 x 297, A3 297 x 420; ANSI/ASME Y14.1 sizes A and B: 8.5 x 11 in and 11 x 17 in."""
    assert constants.PAPERS_MM["A4"] == (210.0, 297.0)
    assert constants.PAPERS_MM["A3"] == (297.0, 420.0)
    assert constants.PAPERS_MM["Letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert constants.PAPERS_MM["Tabloid"] == pytest.approx((11 * 25.4, 17 * 25.4))


def test_targets_cannot_be_written_into() -> None:
    with pytest.raises(ValueError, match="read-only"):
        design.target("S01").points_mm[0, 0] = 1.0
    with pytest.raises(TypeError):
        design.catalog()["S01"] = design.target("S02")  # type: ignore[index]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("S61", "S01 to S60"),
        ("S00", "S01 to S60"),
        ("W03", "W01a"),
        ("W13a", "W12b"),
        ("W01c", "W12b"),
        ("B09", "B01 to B08"),
        ("K03", "K01, K02"),
        ("M12", "S01-S60"),
        ("s01", "S01-S60"),
        ("", "S01-S60"),
    ],
)
def test_unknown_targets_are_refused_in_one_sentence(wrong: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        design.target(wrong)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_wrong_paper_for_a_target_is_refused() -> None:
    with pytest.raises(InputError, match="choose A3 or Tabloid"):
        design.paper_box("K02", "A4")
