"""On which level of the tops an edge is measured."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from phototemplate.edges import levels
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.result import Found
from phototemplate.model import EdgeHint, PlanePoints, Segment
from phototemplate.network.workplane import fit_work_plane
from phototemplate.settings import EdgeSettings
from phototemplate.template.chains import LoopEdges
from phototemplate.template.level import across_levels, flatness_checks, shim_list
from tests.network.synthetic import kitchen

UP_MM = 150.0


@pytest.fixture(scope="module")
def scene() -> Scene:
    k = kitchen(4, low={"C": -UP_MM})
    plane = fit_work_plane(k.truth, k.cabinets, 0.3)
    return Scene(lambda _: np.zeros((4, 4), np.uint8), k.truth, plane, EdgeSettings())


def _points(scene: Scene) -> PlanePoints:
    """An edge at the height of the plane it was looked for in."""
    flat, jac = np.zeros((3, 2)), np.zeros((3, 2, scene.plane.influences.size))
    return PlanePoints("e", "trace", flat, np.zeros(3), np.zeros((3, 2, 2)), jac, np.ones(3), np.ones(3))


def _measured(
    scene: Scene, monkeypatch: pytest.MonkeyPatch, by_level: dict[str, float], hint: EdgeHint | None = None
) -> tuple[Found, list[str]]:
    """What comes of an edge that the photos show on levels with these probabilities, and where it was looked for."""
    scenes = levels.scenes_by_level(scene)
    looked: list[str] = []

    class Source:
        NAME = "trace"

        @staticmethod
        def measure(there: Scene, hint: EdgeHint) -> Found:
            name = next(n for n, s in scenes.items() if s is there)
            looked.append(name)
            return Found(_points(there) if name in by_level else None, probability=by_level.get(name, 0.0))

    monkeypatch.setitem(levels.BY_NAME, "trace", Source)
    raised = [h.xy_mm for h in scene.plane.heights if h.level == "raised"]
    main = min((h.xy_mm for h in scene.plane.heights if h.level == "main"), key=lambda xy: np.linalg.norm(xy - raised[0]))
    hint = hint or EdgeHint("e", "front", anchor="work", path=np.array([main, raised[0]]))
    return levels.measure_on_levels(scene, scenes, hint), looked


def test_an_edge_lies_where_the_photos_show_one(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    found, looked = _measured(scene, monkeypatch, {"main": 0.5, "raised": 0.999})
    assert found.points is not None
    assert (found.points.level, sorted(looked)) == ("raised", ["main", "raised"])
    assert found.points.height_mm == pytest.approx(UP_MM, abs=0.7)  # over the work plane, whatever it was looked for in


def test_an_edge_on_either_of_two_levels_is_not_measured(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    found, _ = _measured(scene, monkeypatch, {"main": 0.9, "raised": 0.99})
    assert found.points is None
    assert [(f.code, f.facts["level"], f.facts["other"]) for f in found.findings] == [("edge-level-unclear", "raised", "main")]


def test_a_level_that_is_said_is_taken_and_one_that_is_not_there_refused(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = np.array([[0.0, 0.0], [300.0, 0.0]])
    said: Callable[[str], EdgeHint] = lambda name: EdgeHint("e", "front", anchor="work", path=path, level=name)  # noqa: E731
    found, looked = _measured(scene, monkeypatch, {"main": 0.6, "raised": 0.999}, said("main"))
    assert found.points is not None
    assert (found.points.level, looked) == ("main", ["main"])
    found, looked = _measured(scene, monkeypatch, {"main": 0.6}, said("balcony"))
    assert [f.code for f in found.findings] == ["edge-level-unknown"]
    assert (found.points, looked) == (None, [])


def test_a_sheet_on_a_level_says_that_its_edges_lie_there(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = scene.plane.levels[1].sheets[0]
    hint = EdgeHint("e", "front", anchor="sheet", anchor_id=sheet, path=np.array([[-200.0, 300.0], [200.0, 300.0]]))
    found, looked = _measured(scene, monkeypatch, {"main": 0.999, "raised": 0.6}, hint)
    assert looked == ["raised"]
    assert found.points is not None


def test_shims_and_flatness_compare_places_of_one_level(scene: Scene) -> None:
    heights = scene.plane.heights
    assert max(s.shim_mm for s in shim_list(heights, np.eye(3))) < 2.0
    assert all(float(str(c.facts["step_mm"])) < 2.0 for c in flatness_checks(heights))


def test_a_run_over_two_levels_is_named() -> None:
    def edge(name: str, kind: str, level: str) -> Segment:
        flat = np.zeros(2)
        return Segment(name, kind, "line", np.zeros((2, 2)), flat, flat, np.eye(2), np.zeros((2, 0)), flat, np.zeros((0, 2)),  # type: ignore[arg-type]
                       (0.0, 0.0, 0.0), level=level)

    edges = [edge("front", "front", "main"), edge("bar", "front", "raised"), edge("side", "panel", "raised")]
    found = across_levels([LoopEdges("one", ("front", "side")), LoopEdges("two", ("front", "bar"))], edges)
    assert [(f.where, f.facts["levels"]) for f in found] == [("two", ("main", "raised"))]
