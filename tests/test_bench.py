"""Every benchmark that the project promises is there, and its parts judge what they are given (none is run as a whole here)."""

from __future__ import annotations

import importlib
import inspect
import json
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from demo_images.render.kitchen import demo_scene
from demo_images.render.truth import truth
from phototemplate.capture import design
from phototemplate.model import EdgeTrace, Sightings
from tests.bench import BenchResult, __main__, _rendered, _sfm, _source, house, image_level, rivals
from tests.bench._truth import saddle_errors, saddle_ratios

PROMISED = {
    "accuracy", "app", "calibration", "coverage", "estimate", "house", "image_level", "network", "proposals", "real_lines",
    "rivals", "which_line",
    "speed", "template", "wall",
}  # fmt: skip


def test_every_promised_benchmark_is_there() -> None:
    missing = PROMISED - set(__main__._names())
    assert not missing, f"python -m tests.bench has no {', '.join(sorted(missing))}"


@pytest.mark.parametrize("name", __main__._names())
def test_benchmark_has_run_and_returns_a_result(name: str) -> None:
    module = importlib.import_module(f"tests.bench.{name}")
    signature = inspect.signature(module.run)
    assert list(signature.parameters) == ["quick"]
    assert signature.return_annotation in ("BenchResult", BenchResult)
    assert module.__doc__


def test_json_output_names_rows_targets_and_misses(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    result = BenchResult("title", [{"a": 1.0}])
    result.target("met", "<= 1", 0.5, True)
    result.target("missed", "<= 1", 1.5, False)
    monkeypatch.setattr("tests.bench.network.run", lambda quick: result)
    monkeypatch.setattr(sys, "argv", ["bench", "network", "--json"])
    assert __main__.main() == 0
    data = json.loads(capsys.readouterr().out)
    assert data["rows"] == [{"a": 1.0}]
    assert [t["name"] for t in data["misses"]] == ["missed"]


# ------------------------------------------------------------------------------- parts of the benchmarks


def test_intersection_finds_points_and_drops_a_wrong_sighting() -> None:
    rng = np.random.default_rng(1)
    targets = ("S01", "S02")
    world = np.vstack([design.target("S01").points_mm, design.target("S02").points_mm + np.array([300.0, 40.0, 5.0])])
    ids = np.concatenate([np.arange(15), np.arange(15)])
    poses, rays, sightings = {}, {}, {}
    for i in range(4):
        turn = cv2.Rodrigues(np.array([0.3 * i - 0.4, 0.2 * i - 0.3, 0.1 * i]))[0]
        pose = np.column_stack([turn, [-100.0, 50.0, 1500.0]])
        cam = world @ pose[:, :3].T + pose[:, 3]
        rays[f"P{i}"], poses[f"P{i}"] = cam[:, :2] / cam[:, 2:], pose
        sightings[f"P{i}"] = Sightings(f"P{i}", (targets[0],) * 15 + (targets[1],) * 15, ids, cam[:, :2], np.zeros((30, 2, 2)))
    exact, errors = _sfm.intersect(poses, rays, sightings)
    assert np.abs(errors).max() < 1e-12
    np.testing.assert_allclose(_sfm.centre("S02", exact["S02"]), [300, 40, 5], atol=1e-6)
    rays["P1"] = rays["P1"] + rng.normal(0, 1e-5, (30, 2))
    rays["P2"][3] += 0.05
    found, _ = _sfm.intersect(poses, rays, sightings)
    np.testing.assert_allclose(found["S01"][3], world[3], atol=0.2)


def test_centres_of_strips_and_of_sheets_seen_in_part() -> None:
    printed = design.target("S01").points_mm
    assert _sfm.centre("W01a", dict(enumerate(design.target("W01a").points_mm))) is None
    assert _sfm.centre("S01", {0: printed[0], 1: printed[1], 2: printed[2]}) is None
    in_a_row = [i for i, p in enumerate(printed) if p[1] == printed[0][1]]
    assert _sfm.centre("S01", {i: printed[i] for i in in_a_row}) is None, "a row of points has no plane"
    np.testing.assert_allclose(_sfm.centre("B01", {0: np.array([1.0, 2.0, 3.0])}), [1, 2, 3])


def test_naive_way_is_exact_without_lens_thickness_and_print_scale() -> None:
    """A homography maps a plane exactly; what the benchmark finds beyond that is the naive way's own error."""
    matrix = np.array([[3000.0, 0, 2000], [0, 3000, 1500], [0, 0, 1]])
    turn, shift = np.array([2.4, 0.2, -0.1]), np.array([0.0, 0.0, 1500.0])

    def see(points: np.ndarray, dist: np.ndarray) -> np.ndarray:
        return np.asarray(cv2.projectPoints(points, turn, shift, matrix, dist)[0][:, 0])

    printed = design.target("S01").points_mm
    edge = np.column_stack([np.linspace(-300, 300, 40), np.full(40, -200.0), np.zeros(40)])
    sheet = {"center_mm": [0, 0, 0], "world_from_target": np.eye(3)}
    for dist, low, high in ((np.zeros(5), 0.0, 2e-3), (np.array([0.08, -0.19, 0, 0, 0.1]), 0.3, 20.0)):
        trace = EdgeTrace("P", "e", see(edge, dist), np.zeros((40, 2, 2)), edge[:, 0])
        error = rivals._mapped_error(trace, see(printed, dist), printed[:, :2], edge[[0, -1]], sheet)
        assert low <= error <= high


def test_errors_of_distances_see_scale_and_rigid_motion_does_not_matter() -> None:
    rng = np.random.default_rng(2)
    places = rng.uniform(0, 2000, (6, 3))
    known = {"sheets": [{"id": f"S0{i}", "center_mm": p} for i, p in enumerate(places)]}
    turn = cv2.Rodrigues(np.array([0.2, -0.4, 1.0]))[0]
    moved = {f"S0{i}": p @ turn.T + [10, 20, 30] for i, p in enumerate(places)}
    assert rivals._accuracy(moved, known, 1.0)["centre worst mm"] < 1e-9
    lengths = [np.linalg.norm(a - b) for a in places for b in places]
    longest = max(x for x in lengths if x <= rivals.LONGEST_MM)
    assert rivals._accuracy(moved, known, 1.001)["distance worst mm"] == pytest.approx(1e-3 * longest, rel=1e-6)


def test_true_pixels_of_a_scene_are_those_of_its_cameras(tmp_path: Path) -> None:
    scene = demo_scene(None)
    data = json.loads(json.dumps(truth(scene)))
    cam = scene.cameras[0]
    from demo_images.render.prints import print_points

    sheet = next(s for s in scene.sheets if s.id == "S01")
    uv = cam.project(print_points(sheet, scene))
    cov = np.tile(2e-4 * np.eye(2), (15, 1, 1))
    shifted = uv + np.array([0.01, 0.0])
    shifted[4] += 5.0
    errors, covs = saddle_errors({cam.id: Sightings(cam.id, ("S01",) * 15, np.arange(15), shifted, cov)}, data)
    np.testing.assert_allclose(np.delete(errors, 4, 0), np.tile([0.01, 0.0], (14, 1)), atol=2e-3)
    stated, bound, wrong = saddle_ratios(errors, covs)
    assert stated == pytest.approx(0.5, rel=0.1), "0.01 px in one axis of two, stated 0.0141 px"
    assert bound == pytest.approx(0.5 * np.sqrt(1.5 * 2), rel=0.1), "without the factor of 1.5 and the floor of 0.01 px"
    assert wrong == pytest.approx(1 / 15)


def test_nothing_is_rendered_where_that_is_switched_off(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PHOTOTEMPLATE_BENCH_CACHE", str(tmp_path))
    monkeypatch.setenv("PHOTOTEMPLATE_BENCH_RENDER", "0")
    assert _rendered.random_kitchen(1) is None
    result = image_level.run(True)
    assert {t["name"] for t in result.misses} >= {"jobs done", "sheet height: within U"}


def test_report_counts_wrong_edges_and_refusals() -> None:
    z = {name: [0.1, -1.9, 2.1] for name in image_level.CLASSES}
    edge = {"error_mm": 0.1, "U_mm": 0.3, "photos": 3, "candidates_mm": [], "right": True, "offered": False, "said": []}
    wrong = edge | {"error_mm": 3.0, "right": False}
    job = {"job": "k", "z": z, "edges": {"a": edge, "b": wrong}, "asked": ["a", "b", "c"], "photos": 3, "saddles": (1, 1.2, 0)}
    result = image_level._report([job, {"job": "r", "refused": "MeasureError: no"}], 2, 1.0)
    by_name = {t["name"]: t for t in result.targets}
    assert by_name["right edge chosen (traced edges asked for)"]["found"] == "1 of 3"
    assert by_name["wrong edges without a word"]["found"] == 1
    assert not by_name["jobs refused"]["met"]
    assert by_name["corner: within U"]["found"] == "66.7%"
    assert not by_name["corner: within U"]["met"]
    assert by_name["saddles: rms over Cramer-Rao bound of the pictures"]["met"]


def test_house_sees_what_is_out_of_order(tmp_path: Path) -> None:
    files = {
        "phototemplate/__init__.py": "from phototemplate.room.work import public\n__all__ = ['public']\n",
        "phototemplate/settings.py": "class S:\n    u_mm: float = 1.0\n    'How far. Derived: by hand.'\n    idle: int = 3\n",
        "phototemplate/errors.py": "FINDINGS = {'so-so': ('note', 'it is only so so'), 'bad-one': ('note', 'it is bad')}\n",
        "phototemplate/room/constants.py": "A = 2.5\n'mm. Its size. Source: a table.'\nB = 3\n'The number of things.'\n",
        "phototemplate/room/work.py": (
            "from phototemplate.room.constants import A\nC = 0.7\n"
            "def public(x, s):\n    return A * s.u_mm if x > 0.25 else helper(x)\n"
            "def helper(x):\n    return x > 0.0 and Finding('so-so', 'x', f'{x} is no more than so so')\n"
            "def tested():\n    return below()\ndef below():\n    return 1\ndef idle():\n    return tested()\n"
            "def long(a, b, c, d, e, f, g):\n    'Says.'\n    a += 1\n    b += a\n" + "    c = a\n" * 60
        ),
        "tests/test_work.py": "from phototemplate.room import work\nassert work.tested() and work.long\n",
    }  # fmt: skip
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    found = house.places(tmp_path)
    work = "phototemplate/room/work.py"
    assert found["no origin"] == [
        "phototemplate/room/constants.py:3 B: no origin", f"{work}:2 C: no home",
        "phototemplate/settings.py:4 idle: no docstring",
    ]  # fmt: skip
    assert found["deciding floats"] == [f"{work}:4 0.25"]
    assert found["only tests use"] == [f"{work}:7 tested", f"{work}:13 long"]
    assert found["nobody uses"] == [
        "phototemplate/errors.py:1 FINDINGS", "phototemplate/room/constants.py:3 B", f"{work}:2 C", f"{work}:9 below",
        f"{work}:11 idle", "phototemplate/settings.py:1 S",
    ]  # fmt: skip
    assert found["worded twice"] == [f"phototemplate/errors.py:1 so-so: also {work}:6"]
    assert found["settings unread"] == ["phototemplate/settings.py:4 S.idle"]
    assert found["functions > 60"] == [f"{work}:13 long: 63 lines"]
    assert found["> 6 parameters"] == [f"{work}:13 long: 7 parameters"]
    room = next(r for r in house.compare(tmp_path) if r["room"] == "room/")
    assert (room["lines"], room["code"], room["constants"]) == (80, 77, 3)


def test_house_sees_copies_under_other_names() -> None:
    line = "    {0} = solve({1}, np.array([{2}.width, {2}.part%d, 2.5]), key=lambda v: v[0] + {1}[1])\n"
    body = "def f(a, b):\n" + "".join(line % k for k in range(7))
    first, second = (body.format(*names) for names in (("p", "a", "b"), ("q", "b", "a")))
    other = first.replace("solve", "fit")
    modules = [_source.Module(Path(f"phototemplate/{n}.py"), t) for n, t in (("x", first), ("y", second), ("z", other))]
    assert _source.duplicated(modules) == ["phototemplate/x.py:1 and phototemplate/y.py:1: 8 lines"]
