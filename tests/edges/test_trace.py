"""Tracing edges through exact pictures of boxes (``box_scene``: rays by OpenCV's undistortion)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.errors import Finding
from phototemplate.model import Array, EdgeHint, Network, PlanePoints
from phototemplate.numerics.rigid import exp_rotation
from phototemplate.settings import EdgeSettings
from tests.edges.box_scene import Box, BoxScene, bow, bowed, kitchen

SHARP = EdgeSettings(arris_mm=0.0, arris_u_mm=0.2)
FRONT = EdgeHint("front", "front", anchor="work", path=np.array([[8.0, -5.0], [412.0, 4.0]]))
END = EdgeHint("end", "end", anchor="work", path=np.array([[4.0, 250.0], [-5.0, 30.0]]))


@lru_cache
def flat() -> BoxScene:
    return kitchen()


@lru_cache
def stepped() -> BoxScene:
    return kitchen(low_mm=4.0)


def trace(
    scene: BoxScene, hint: EdgeHint, settings: EdgeSettings = SHARP, network: Network | None = None
) -> tuple[PlanePoints | None, tuple[Finding, ...], Array]:
    network = network or scene.network()
    plane = scene.plane(network, type_b_terms([hint], settings))
    points, _, findings = measure_edges(scene.gray, network, plane, [hint], settings)
    return (points[0] if points else None), findings, plane.influences.cov


def test_front_edge_of_the_face_frame_not_door_nor_joint() -> None:
    points, findings, _ = trace(flat(), FRONT)
    assert points is not None
    assert np.abs(points.xy_mm[:, 1]).max() < 0.35
    assert abs(points.xy_mm[:, 1].mean()) < 0.1
    assert np.abs(points.height_mm).max() < 0.6
    assert points.n_photos.mean() > 2.5
    assert np.ptp(points.xy_mm[:, 0]) > 350
    assert not [f for f in findings if f.severity == "serious"]


def test_the_face_of_the_doors_is_measured_where_it_is_meant_and_named_where_it_is_not() -> None:
    """Doors 19 mm before the face frames and 12 mm below them."""
    box, _, _ = trace(flat(), FRONT)
    assert box is not None
    (face,) = [c for c in box.candidates if c.reading == "face"]
    assert abs(abs(face.offset_mm) - 19.0) < 1.0
    assert abs(face.height_mm + 12.0) < 1.0
    door, findings, _ = trace(flat(), replace(FRONT, line="door"))
    assert door is not None
    assert abs(door.xy_mm[:, 1].mean() + 19.0) < 0.3
    assert abs(door.height_mm.mean() + 12.0) < 0.5
    assert not {f.code for f in findings} & {"edge-door-unclear", "edge-below-plane"}
    # chosen by its place, as jobs did before, it is measured at the same height
    wide = replace(FRONT, search_mm=25.0, choose=-19.0)
    chosen, _, _ = trace(flat(), wide)
    assert chosen is not None
    assert abs(chosen.xy_mm[:, 1].mean() + 19.0) < 0.3
    assert abs(chosen.height_mm.mean() + 12.0) < 0.5


def test_an_end_without_a_door_has_none() -> None:
    points, findings, _ = trace(flat(), replace(END, line="door"))
    assert points is None
    assert [f.facts.get("reason_word") for f in findings] == ["no-such-line"]


def test_end_edge_of_a_ply_panel_is_the_outermost_line() -> None:
    points, _, _ = trace(flat(), END)
    assert points is not None
    assert abs(np.median(points.xy_mm[:, 0])) < 0.15
    # the plies behind it are kept as alternatives, all to the inside
    assert points.candidates
    inward = 1.0 if points.xy_mm[-1, 1] < points.xy_mm[0, 1] else -1.0
    near = [c for c in points.candidates if abs(c.height_mm) < 1.5 and c.support > 0.8]
    assert all(c.offset_mm * inward > 0 for c in near)


@pytest.mark.parametrize("shift", [-8.0, -3.0, 3.0, 8.0])
def test_hint_may_be_off_by_several_mm(shift: float) -> None:
    hint = replace(FRONT, path=np.array([[8.0, shift], [412.0, shift - 2.0]]))
    points, _, _ = trace(flat(), hint)
    assert points is not None
    assert abs(points.xy_mm[:, 1].mean()) < 0.1


def test_direction_of_the_hint_does_not_matter() -> None:
    one, _, _ = trace(flat(), FRONT)
    other, _, _ = trace(flat(), replace(FRONT, path=FRONT.path[::-1]))
    assert one is not None
    assert other is not None
    assert one.xy_mm[:, 1].mean() == pytest.approx(other.xy_mm[:, 1].mean(), abs=0.02)


def test_low_cabinet_makes_a_step_in_height_not_in_plan() -> None:
    points, _, _ = trace(stepped(), FRONT)
    assert points is not None
    left, right = points.xy_mm[:, 0] < 180, points.xy_mm[:, 0] > 200
    assert abs(points.height_mm[left].mean()) < 0.4
    assert abs(points.height_mm[right].mean() + 4.0) < 0.4
    for part in (left, right):
        assert abs(points.xy_mm[part, 1].mean()) < 0.2


def test_bowed_front_is_followed_from_a_straight_hint() -> None:
    points, _, _ = trace(bowed(), replace(FRONT, shape="profile"))
    assert points is not None
    off = points.xy_mm[:, 1] - bow(points.xy_mm[:, 0], 6.0)
    assert abs(off.mean()) < 0.15
    assert np.quantile(np.abs(off), 0.95) < 0.35
    assert np.ptp(points.xy_mm[:, 0]) > 350


def test_choose_takes_the_candidate_the_user_names() -> None:
    inner = replace(FRONT, search_mm=24.0, choose=21.0)  # the joint between face frame and carcass, 19 mm behind
    points, findings, _ = trace(flat(), inner)
    assert points is not None
    assert points.xy_mm[:, 1].mean() == pytest.approx(19.0, abs=0.3)
    assert "edge-ambiguous" not in {f.code for f in findings}


def test_box_in_front_of_the_edge_in_one_photo() -> None:
    scene = kitchen()
    scene.extra = {"P2": [Box((250.0, -40.0, 1.0), (310.0, 40.0, 60.0), 150.0, 100.0, 130.0)]}
    points, _, _ = trace(scene, FRONT)
    assert points is not None
    assert np.abs(points.xy_mm[:, 1]).max() < 0.35


def test_single_view_rests_on_the_expected_height_and_says_so() -> None:
    scene = flat()
    network = scene.network()
    network = replace(network, photos={"P1": network.photos["P1"]})
    points, findings, cov = trace(scene, FRONT, network=network)
    assert points is not None
    assert "edge-single-view" in {f.code for f in findings}
    spread = np.einsum("nk,kl,nl->n", points.shared_jac[:, 1], cov, points.shared_jac[:, 1])
    u = float(np.sqrt(spread.mean()))
    # lean of P1 at the edge: 800/900 horizontally per mm of height; prior of the height from the sheets about 0.5-0.8 mm
    assert 0.3 < u < 1.2
    assert abs(points.xy_mm[:, 1].mean()) < 2 * u


def test_no_edge_where_the_hint_points() -> None:
    points, findings, _ = trace(flat(), replace(FRONT, path=np.array([[60.0, 150.0], [380.0, 150.0]])))
    assert points is None
    assert [(f.code, f.facts["reason_word"]) for f in findings] == [("edge-not-found", "no-step")]


def test_sensitivities_are_the_change_of_the_result() -> None:
    """Move one camera: the traced line follows as ``shared_jac`` says (finite differences of the whole measurement)."""
    scene = flat()
    network = scene.network()
    points, _, _ = trace(scene, FRONT, network=network)
    assert points is not None
    for name, delta in (("photo:P2:wx", 2e-4), ("photo:P3:ty", 0.2), ("photo:P1:tz", 0.2)):
        photo_id, part = name.split(":")[1:]
        pose = network.photos[photo_id]
        turn, move = np.zeros(3), np.zeros(3)
        (turn if part[0] == "w" else move)["xyz".index(part[1])] = delta
        rotation = exp_rotation(turn) @ pose.rotation
        moved = replace(pose, rotation=rotation, translation_mm=pose.translation_mm + move)
        changed, _, _ = trace(scene, FRONT, network=replace(network, photos={**network.photos, photo_id: moved}))
        assert changed is not None
        column = network.influences.names.index(name)
        predicted = points.shared_jac[:, 1, column].mean() * delta
        found = changed.xy_mm[:, 1].mean() - points.xy_mm[:, 1].mean()
        assert found == pytest.approx(predicted, abs=0.15 * abs(predicted) + 0.01)


def test_arris_is_reported_at_the_outermost_line() -> None:
    rounded = EdgeSettings(arris_mm=1.0, arris_u_mm=0.3)
    sharp, _, _ = trace(flat(), FRONT)
    moved, _, cov = trace(flat(), FRONT, rounded)
    assert sharp is not None
    assert moved is not None
    shift = moved.xy_mm[:, 1].mean() - sharp.xy_mm[:, 1].mean()
    assert -0.6 < shift < -0.1  # towards the room
    column = len(flat().network().influences.names) + [t.name for t in type_b_terms([FRONT], rounded)].index("definition:front")
    assert abs(moved.shared_jac[:, 1, column].mean()) * np.sqrt(cov[column, column]) > 0.1


def test_traces_lie_on_the_edge_in_original_pixels() -> None:
    scene = flat()
    network = scene.network()
    plane = scene.plane(network, type_b_terms([FRONT], SHARP))
    _, traces, _ = measure_edges(scene.gray, network, plane, [FRONT], SHARP)
    assert {t.photo_id for t in traces} >= {"P1", "P2", "P3"}
    for one in traces:
        assert len(one.uv_px) == len(one.cov_px2) == len(one.along_mm)
        assert (np.linalg.eigvalsh(one.cov_px2) > 0).all()
