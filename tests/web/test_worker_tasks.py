"""The worker's answers: tiles, the view of a measurement, distances."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from phototemplate.edges.sources.hints import hint_path, path_on_nearest_sheet
from phototemplate.errors import InputError, MeasureError
from phototemplate.job import JobFile
from phototemplate.model import EdgeHint
from phototemplate.progress import quiet
from phototemplate.studies.assessment import judge_quickly
from phototemplate.template.quantities import CornerPlace, State
from phototemplate.template.quantities import distance as plain_distance
from phototemplate.web.constants import TILE
from phototemplate.web.refusals import Refused
from phototemplate.web.worker_tasks.distance import distance
from phototemplate.web.worker_tasks.photo_places import anchor_path, photos_showing, scene_of
from phototemplate.web.worker_tasks.registry import PLACES, WorkerMemory, error_of, task
from phototemplate.web.worker_tasks.result_view import judge_all, move, plain_json, verdicts_of, view_of, work_from_plan
from phototemplate.web.worker_tasks.tiles import cut, levels_of
from tests.output.samples import measurement


@pytest.fixture(scope="module")
def memory() -> WorkerMemory:
    memory = WorkerMemory()
    memory.measurement = measurement()
    return memory


# -------------------------------------------------------------------------------------------------- tiles


@pytest.mark.parametrize("size", [(1, 1), (512, 512), (513, 512), (1300, 700), (2049, 1025)])
def test_tiles_put_together_are_the_picture(tmp_path: Path, size: tuple[int, int]) -> None:
    w, h = size
    y, x = np.mgrid[0:h, 0:w]
    picture = np.stack([x * 255 // max(w - 1, 1), y * 255 // max(h - 1, 1), np.full_like(x, 90)], axis=2).astype(np.uint8)
    cut(picture, tmp_path / "set", quality=98)
    assert (tmp_path / "set" / "done").exists()
    last = levels_of(size) - 1
    assert (tmp_path / "set" / f"{last}_0_0.jpg").exists()
    assert not (tmp_path / "set" / f"{last + 1}_0_0.jpg").exists()
    for level in range(last + 1):
        columns, rows = -(-w // (TILE << level)), -(-h // (TILE << level))
        whole = np.vstack([
            np.hstack([cv2.imread(str(tmp_path / "set" / f"{level}_{c}_{r}.jpg"))[..., ::-1] for c in range(columns)])
            for r in range(rows)
        ])  # fmt: skip
        # a pixel of a level covers 2^level pixels: centre at 2^level (i + 1/2) - 1/2 of the full picture
        step = 1 << level
        assert whole.shape[1] == -(-w // step) or abs(whole.shape[1] - w / step) <= 1
        i = np.arange(whole.shape[1] - 1)
        wanted = (step * (i + 0.5) - 0.5) * 255 / max(w - 1, 1)
        assert np.abs(whole[whole.shape[0] // 2, :-1, 0] - wanted).max(initial=0) < 6


def test_tiles_are_there_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []

    def broken(*args: Any, **_: Any) -> Any:
        calls.append(args)
        if len(calls) > 3:
            raise KeyboardInterrupt
        return True, np.zeros(10, np.uint8)

    monkeypatch.setattr("phototemplate.web.worker_tasks.tiles.cv2.imencode", broken)
    with pytest.raises(KeyboardInterrupt):
        cut(np.zeros((1500, 1500, 3), np.uint8), tmp_path / "set")
    assert list(tmp_path.iterdir()) == []


# --------------------------------------------------------------------------------------------------- view


def test_view_says_what_the_measurement_says(memory: WorkerMemory, tmp_path: Path) -> None:
    m = memory.measured()
    job = SimpleNamespace(file=JobFile(), revision="r", name="sample", folder=tmp_path)
    view = json.loads(json.dumps(plain_json(view_of(job, m)), allow_nan=False))  # type: ignore[arg-type]
    back = work_from_plan(m)
    assert {e["id"] for e in view["edges"]} == {s.edge_id for s in m.outline.segments}
    for loop, shown in zip(m.outline.loops, view["loops"], strict=True):
        there = move(back, loop.corners_mm)
        for xy, cov, corner in zip(there, loop.corner_cov_mm2, shown["corners"], strict=True):
            assert corner["xy"] == pytest.approx(xy, abs=1e-4)
            # area of the error ellipse at k = 2 does not depend on the frame
            assert corner["r"][0] * corner["r"][1] == pytest.approx(4 * np.sqrt(np.linalg.det(cov)), rel=1e-3)
    for report in m.outline.edges:
        shown = next(e for e in view["edges"] if e["id"] == report.edge_id)
        assert shown["length"] == pytest.approx(report.length_mm, abs=1e-4)
        ends = np.array([shown["xy"][0], shown["xy"][-1]])
        if report.shape == "line" and shown["loop"]:
            assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(report.length_mm, abs=0.01)


def test_places_are_found_in_the_photos_and_back(memory: WorkerMemory) -> None:
    m = memory.measured()
    sheet = next(t for t, b in m.network.bodies.items() if m.network.targets[t].kind == "sheet")
    centre = m.work_plane.rotation @ m.network.bodies[sheet].translation_mm + m.work_plane.translation_mm
    seen = photos_showing(memory, quiet, list(centre[:2]))
    assert seen
    for one in seen:
        step = np.array([0.7, -0.4])
        moved = next(s for s in photos_showing(memory, quiet, list(centre[:2] + step), most=99) if s["photo"] == one["photo"])
        assert np.array(moved["uv"]) - one["uv"] == pytest.approx(np.array(one["jac"]) @ step, abs=0.02)
    answer = anchor_path(memory, quiet, [list(centre[:2]), [centre[0] + 30.0, centre[1]]])
    assert answer["sheet"] == sheet
    assert np.hypot(*answer["path"][0]) < 0.5
    assert np.hypot(*np.subtract(answer["path"][1], answer["path"][0])) == pytest.approx(30.0, abs=0.1)


def test_a_path_on_a_sheet_printed_too_large_comes_back(memory: WorkerMemory) -> None:
    """600 mm on the plane, anchored to a sheet printed at a scale of 1.005, is 600 mm when the hint is read again."""
    m = memory.measured()
    sheet = next(t for t, b in m.network.bodies.items() if m.network.targets[t].kind == "sheet")
    large = replace(m.network.bodies[sheet], scale_xy=(1.005, 1.005))
    network = replace(m.network, bodies={sheet: large})
    centre = (m.work_plane.rotation @ large.translation_mm + m.work_plane.translation_mm)[:2]
    path = np.array([centre, centre + np.array([600.0, 0.0])])
    name, local = path_on_nearest_sheet(network, m.work_plane, path)
    assert name == sheet
    assert np.hypot(*(local[1] - local[0])) == pytest.approx(600.0 / 1.005, abs=0.05)
    hint = EdgeHint("front", "front", anchor="sheet", anchor_id=sheet, path=local)
    back = hint_path(scene_of(replace(m, network=network)), hint)
    assert back is not None
    assert back == pytest.approx(path, abs=0.02)


# ----------------------------------------------------------------------------------------------- distance


def test_corner_to_corner_is_the_quantity_of_the_template_stage(memory: WorkerMemory) -> None:
    m = memory.measured()
    state = State(m.outline)
    for loop in m.outline.loops:
        for k in range(1, len(loop.corners_mm)):
            wanted = plain_distance(state, CornerPlace(loop.loop_id, 0), CornerPlace(loop.loop_id, k))
            found = distance(memory, quiet, {"loop": loop.loop_id, "corner": 0}, {"loop": loop.loop_id, "corner": k})
            assert found["value"] == pytest.approx(wanted.value, abs=1e-9)
            assert found["U"] == pytest.approx(2 * wanted.u, rel=1e-9)


def test_edge_to_edge_is_square_to_the_second(memory: WorkerMemory) -> None:
    m = memory.measured()
    a, b = (s for s in m.outline.segments if s.shape == "line" and s.kind == "front"), m.outline.segments
    first = next(a)
    second = next(s for s in b if s.edge_id != first.edge_id and s.shape == "line")
    back = work_from_plan(m)
    start, end = move(back, second.chord_mm)
    p = move(back, first.points_mm[:1])[0]
    answer = distance(memory, quiet, {"edge": first.edge_id, "xy": list(p)}, {"edge": second.edge_id, "xy": list(start)})
    ends = np.array(answer["ends"])
    assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(answer["value"], abs=1e-6)
    t = (end - start) / np.hypot(*(end - start))
    assert abs((ends[1] - ends[0]) @ t) < 0.02 * max(answer["value"], 1.0)
    assert answer["U"] > 0


def test_a_place_has_no_distance_to_itself(memory: WorkerMemory) -> None:
    corner: Any = {"loop": memory.measured().outline.loops[0].loop_id, "corner": 0}
    with pytest.raises(Refused) as refused:
        distance(memory, quiet, corner, corner)
    assert str(refused.value) == "same-place"


def test_places_pointed_at_are_never_surer_than_pointing_allows(memory: WorkerMemory) -> None:
    m = memory.measured()
    centres = [h.xy_mm for h in m.work_plane.heights]
    a, b = centres[0], max(centres, key=lambda c: float(np.hypot(*(c - centres[0]))))
    fine = distance(memory, quiet, {"xy": list(a)}, {"xy": list(b)}, mm_per_px=0.05)
    coarse = distance(memory, quiet, {"xy": list(a)}, {"xy": list(b)}, mm_per_px=3.0)
    assert fine["value"] == pytest.approx(float(np.hypot(*(b - a))), abs=1e-6)
    assert coarse["U"] > fine["U"] > 0
    # two places, each pointed at to 3 mm (one screen pixel) in both directions: U = 2 sqrt(2) 3 mm at least
    assert coarse["U"] >= 2 * np.sqrt(2) * 3.0
    total = np.sqrt(sum(u**2 for _, u in coarse["budget"]))
    assert 2 * total == pytest.approx(coarse["U"], rel=0.02)


def test_pointed_at_sensitivities_by_moving_the_camera(memory: WorkerMemory) -> None:
    """d xy by an influence: shift a photo in the network, intersect its ray with the plane again."""
    from dataclasses import replace

    from phototemplate.web.worker_tasks.distance import _pointed_at
    from phototemplate.web.worker_tasks.photo_places import scene_of

    m = memory.measured()
    xy = list(m.work_plane.heights[0].xy_mm)
    seen = photos_showing(memory, quiet, xy, most=1)[0]
    photo = seen["photo"]
    jac, _ = _pointed_at(m, seen, xy, 1.0)
    names = m.outline.influences.names
    uv = scene_of(m).see(photo, np.array([[*xy, 0.0]])).uv_px
    checked = 0
    for k, axis in enumerate("xyz"):
        column = next((i for i, n in enumerate(names) if n.startswith(f"photo:{photo}:") and n.endswith(f"t{axis}")), None)
        if column is None:
            continue
        h = 0.01
        pose = m.network.photos[photo]
        moved = replace(pose, translation_mm=pose.translation_mm + h * np.eye(3)[k])
        network = replace(m.network, photos={**m.network.photos, photo: moved})
        there = scene_of(replace(m, network=network)).unproject(photo, uv)[0]
        by_frame = m.work_plane.shared_jac[:, column]
        if np.abs(by_frame).max() > 0:  # the work frame follows the sheets, not a photo
            continue
        assert (there - xy) / h == pytest.approx(jac[:, column], abs=2e-3)
        checked += 1
    assert checked or not [n for n in names if n.startswith(f"photo:{photo}:")]


@pytest.mark.parametrize(
    "bad",
    [
        {"xy": [0]},
        {"xy": [float("nan"), 0]},
        {"loop": "nowhere", "corner": 0},
        {"edge": "nowhere", "xy": [0, 0]},
        {"xy": [1e9, 1e9]},
    ],
)
def test_places_that_do_not_exist(memory: WorkerMemory, bad: Any) -> None:
    with pytest.raises(InputError):
        distance(memory, quiet, bad, {"loop": memory.measured().outline.loops[0].loop_id, "corner": 0})


# --------------------------------------------------------------------------------------------------- memory


def test_every_task_is_there() -> None:
    for name in PLACES:
        assert callable(task(name))


def test_errors_keep_their_sentences() -> None:
    assert error_of(MeasureError("no")) == ("measure", "no", {})
    assert error_of(InputError("what")) == ("input", "what", {})
    assert error_of(Refused("gone", 409, name="front")) == ("refused", "gone", {"name": "front"})
    assert error_of(MemoryError())[:2] == ("refused", "no-memory")
    assert error_of(KeyError("x"))[:2] == ("refused", "bug")
    with pytest.raises(Refused):
        WorkerMemory().measured()


def test_judged_once_and_used_for_the_files(memory: WorkerMemory) -> None:
    """Page and report say the same of an edge; a newer measurement is not taken for judged."""
    memory.job, memory.template = SimpleNamespace(file=JobFile(format=1)), None  # type: ignore[assignment]
    out = judge_all(memory, quiet)
    m = memory.measured()
    judgements = memory.judgements_of(m)
    assert judgements is not None
    assert memory.judgements_of(replace(m)) is None
    assert out["verdicts"].keys() == {e.edge_id for e in m.outline.edges} == judgements.edges.keys()
    quick = verdicts_of(m, memory.job.file.tolerance, judge_quickly(m, memory.job.file.tolerance), "in")
    assert {k: v["state"] for k, v in quick.items()} == {k: v["state"] for k, v in out["verdicts"].items()}
    assert json.dumps(out)
