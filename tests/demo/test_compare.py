"""The comparison with the truth, on an invented measurement with known errors."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from shapely import LineString, Point

from phototemplate.demo import DemoComparison, align, compare, copy_demo, write_comparison
from phototemplate.errors import InputError, MeasureError
from phototemplate.model import BodyPose, HeightPoint, Influences, Measurement, Network, Segment, ShapeKind, WorkPlane
from phototemplate.settings import OutlineSettings
from phototemplate.template.outline import LoopEdges, build_outline

LENGTH, DEPTH, BOW = 2000.0, 600.0, 6.0
OFFSETS = {"front": 0.31, "end-left": -0.12, "end-right": 0.07, "wall": 0.2}
"""How far each measured edge lies to its own left (running anticlockwise), mm"""
U_NOISE, U_SHARED = 0.1, 0.15
SHEETS = {"S01": (200, -150), "S02": (700, -450), "S03": (1200, -180), "S04": (1800, -400), "S05": (400, -500)}
WORK_FROM_TRUTH = Rotation.from_euler("z", 0.7)
SHIFT = np.array([412.0, -88.0, 0.0])


def true_edges() -> dict[str, np.ndarray]:
    x = np.linspace(LENGTH, 0, 41)
    wall = np.column_stack([x, -BOW * 4 * x / LENGTH * (1 - x / LENGTH), 0 * x + 20])
    return {
        "wall": wall,
        "end-left": np.array([[0, 0, 0], [0, -DEPTH, 0.0]]),
        "front": np.array([[0, -DEPTH, 0], [LENGTH, -DEPTH, 0.0]]),
        "end-right": np.array([[LENGTH, -DEPTH, 0], [LENGTH, 0, 0.0]]),
    }


def truth() -> dict[str, Any]:
    order = ["wall", "end-left", "front", "end-right"]
    kinds = {"wall": "wall", "front": "front"}
    return {
        "edges": [
            {"id": k, "kind": kinds.get(k, "end"), "shape": "profile" if k == "wall" else "line", "points_mm": v.tolist()}
            for k, v in true_edges().items()
        ],
        "loops": {"run": order},
        "corners": {"run": [[LENGTH, 0.0], [0.0, 0.0], [0.0, -DEPTH], [LENGTH, -DEPTH]]},
        "sheets": [{"id": k, "center_mm": [x, y, 1.5], "thickness_mm": 1.5, "on": "cabinet"} for k, (x, y) in SHEETS.items()],
    }


def segment(edge_id: str, line: np.ndarray, shape: ShapeKind) -> Segment:
    """Exactly the true edge in the work frame, moved to its left."""
    work = (WORK_FROM_TRUTH.apply(line) + SHIFT)[:, :2]
    chord = work[[0, -1]]
    t = (chord[1] - chord[0]) / np.linalg.norm(chord[1] - chord[0])
    n = np.array([-t[1], t[0]])
    knots = (work - chord[0]) @ t
    offsets = (work - chord[0]) @ n + OFFSETS[edge_id]
    m = len(knots)
    return Segment(
        edge_id, "wall" if shape == "profile" else "front", shape, chord, knots, offsets,
        U_NOISE**2 * np.eye(m), np.full((m, 1), U_SHARED), np.zeros(m), work, (0.0, 0.0, 0.0),
    )  # fmt: skip


def measurement(sheets: dict[str, tuple[float, float]] | None = None) -> Measurement:
    sheets = SHEETS if sheets is None else sheets
    influences = Influences(("lens",), np.eye(1), {"lens": np.eye(1)})
    segments = [segment(k, v, "profile" if k == "wall" else "line") for k, v in true_edges().items()]
    outline = build_outline(
        segments, [LoopEdges("run", ("wall", "end-left", "front", "end-right"))], influences, OutlineSettings()
    )
    world_from_work = Rotation.from_rotvec([0.3, -0.8, 0.2])
    t_world = np.array([10.0, 20.0, -30.0])
    bodies = {}
    for k, (x, y) in sheets.items():
        work = WORK_FROM_TRUTH.apply([x, y, 1.5]) + SHIFT
        bodies[k] = BodyPose(k, np.eye(3), world_from_work.apply(work) + t_world)
    network = Network({}, {}, bodies, (), {}, influences, (), (), True, 1.0, 10.0)
    back = world_from_work.inv()
    heights = tuple(HeightPoint(k, np.zeros(2), 0.25 if k == "S03" else 0.0, 0.2, "cabinet") for k in sheets)
    plane = WorkPlane(back.as_matrix(), -back.apply(t_world), np.zeros((6, 1)), influences, heights)
    return Measurement("invented", (), {}, network, plane, (), outline, ())


def test_alignment_recovers_the_frames() -> None:
    found = align(measurement(), truth())
    assert found.rms_mm < 1e-9
    assert found.sheets == tuple(sorted(SHEETS))
    on_top = found([[0.0, 0.0, 0.0], [LENGTH, -DEPTH, 0.0]])
    np.testing.assert_allclose(on_top[:, 2], 0, atol=1e-9)


def test_too_few_sheets_are_refused() -> None:
    with pytest.raises(MeasureError, match="Only 2 sheets"):
        align(measurement({k: SHEETS[k] for k in ("S01", "S02")}), truth())


@pytest.mark.parametrize("edge_id", ["front", "end-left", "end-right"])
def test_straight_edge_error_and_u(edge_id: str) -> None:
    rows, _ = compare(measurement(), truth())
    row = next(r for r in rows if r["edge"] == edge_id)
    assert row["error_mm"] == pytest.approx(OFFSETS[edge_id], abs=1e-4)
    # the offset of a line between two knots with equal independent noise plus a common part: largest at the ends
    t = row["at_mm"] / row["length_mm"]
    expected = 2 * np.sqrt(U_NOISE**2 * (t**2 + (1 - t) ** 2) + U_SHARED**2)
    assert row["U_mm"] == pytest.approx(expected, abs=1e-3)
    assert row["inside"] == (abs(row["error_mm"]) <= row["U_mm"])


def test_wall_row_holds_the_95th_percentile() -> None:
    rows, _ = compare(measurement(), truth())
    row = next(r for r in rows if r["edge"] == "wall")
    assert row["error_mm"] == pytest.approx(OFFSETS["wall"], abs=5e-3)  # 4 um: the true line is a polygon
    assert row["samples"] >= LENGTH / 10
    assert row["samples_inside"] == row["samples"]


def test_edge_error_agrees_with_shapely() -> None:
    """The front moved aside, measured as the distance of GEOS (shapely) from the true line in the plan."""
    m, t = measurement(), truth()
    alignment = align(m, t)
    line = LineString(alignment(true_edges()["front"])[:, :2])
    outline = m.outline
    front = next(s for s in outline.segments if s.edge_id == "front")
    d = (front.chord_mm[1] - front.chord_mm[0]) / np.linalg.norm(front.chord_mm[1] - front.chord_mm[0])
    normal = np.array([-d[1], d[0]])
    middle = (front.chord_mm[0] + front.chord_mm[1]) / 2 + normal * front.offsets_mm.mean()
    assert line.distance(Point(*middle)) == pytest.approx(abs(OFFSETS["front"]), abs=1e-6)


def test_distances_between_corners() -> None:
    rows, _ = compare(measurement(), truth())
    found = {r["edge"]: r for r in rows if r["kind"] == "distance"}
    assert len(found) == 6
    front = next(r for name, r in found.items() if name.count("front") == 2)
    # both ends run anticlockwise with the inside on the left: each moved left shortens the front
    assert front["error_mm"] == pytest.approx(-(OFFSETS["end-left"] + OFFSETS["end-right"]), abs=1e-4)
    assert front["length_mm"] == pytest.approx(LENGTH)


def test_heights() -> None:
    rows, _ = compare(measurement(), truth())
    heights = {r["edge"]: r for r in rows if r["kind"] == "height"}
    assert heights.keys() == SHEETS.keys()
    assert heights["S03"]["error_mm"] == pytest.approx(0.25)
    assert heights["S01"]["error_mm"] == pytest.approx(0.0, abs=1e-6)
    assert heights["S01"]["U_mm"] == pytest.approx(0.4)


def test_written_files_can_be_read_back(tmp_path: Path) -> None:
    m, t = measurement(), truth()
    rows, alignment = compare(m, t)
    files = write_comparison(DemoComparison(tuple(rows), m, {}, None, alignment), tmp_path / "results")
    data = json.loads(files["comparison"].read_text())
    assert "scale was not fitted" in data["note"]
    table = list(csv.DictReader(files["comparison table"].open()))
    assert [r["edge"] for r in table] == [r["edge"] for r in data["comparison"]]


def test_missing_demo_photos_say_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="source checkout"):
        copy_demo(tmp_path / "nothing", tmp_path / "out")
