"""Projection, body points and the work plane on a hand-made network with known answers."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from phototemplate.model import BodyPose, Network, PhotoPose, TypeB
from phototemplate.network import projection, workplane
from phototemplate.numerics import lens, rigid
from phototemplate.numerics.constants import N_COMMON
from phototemplate.settings import WorkPlaneSettings
from tests.network.synthetic import hand_made_network, kitchen


@pytest.fixture(scope="module")
def network() -> Network:
    return kitchen(3, curl={"S02": (2e-4, -1e-4, 1e-4)}).truth


def _perturbed(pose: rigid.Pose, delta: np.ndarray) -> rigid.Pose:
    """Pose after the perturbation (w, d) (6,)."""
    return rigid.exp_rotation(delta[:3]) @ pose[0], pose[1] + delta[3:]


def _moved(network: Network, pose: rigid.Pose) -> Network:
    """The same network after a motion of the world frame."""
    bodies = {
        t: BodyPose(t, *rigid.compose(pose, (b.rotation, b.translation_mm)), b.scale_xy, b.curl_per_mm)
        for t, b in network.bodies.items()
    }
    back = rigid.invert(pose)
    photos = [
        PhotoPose(p.photo_id, p.camera_id, *rigid.compose((p.rotation, p.translation_mm), back), p.focus)
        for p in network.photos.values()
    ]
    return hand_made_network(list(network.cameras.values()), photos, bodies, network.targets)


def test_project_agrees_with_opencv(network: Network) -> None:
    photo = network.photos["IMG_0001"]
    camera = network.cameras[photo.camera_id]
    xyz = network.bodies["S02"].translation_mm + np.random.default_rng(0).normal(0, 50, (5, 3))
    params = camera.params.copy()
    params[0] *= 1 + photo.focus
    f, aspect, cx, cy = params[: N_COMMON]
    matrix, dist = np.array([[f, 0, cx], [0, f * (1 + aspect), cy], [0, 0, 1]]), params[N_COMMON :]
    theirs, _ = cv2.projectPoints(xyz, cv2.Rodrigues(photo.rotation)[0], photo.translation_mm, matrix, dist)
    assert np.allclose(projection.project(network, "IMG_0001", xyz).uv_px, theirs[:, 0], atol=1e-6)


def test_rays_hit_their_points(network: Network) -> None:
    xyz = network.bodies["S02"].translation_mm + np.random.default_rng(0).normal(0, 50, (5, 3))
    eye, directions = projection.rays(network, "IMG_0001", projection.project(network, "IMG_0001", xyz).uv_px)
    assert np.allclose(np.cross(xyz - eye, directions), 0, atol=1e-6)


def test_points_behind_the_camera_have_no_pixel(network: Network) -> None:
    photo = network.photos["IMG_0001"]
    behind = photo.rotation.T @ (np.array([0, 0, -500.0]) - photo.translation_mm)
    assert np.isnan(projection.project(network, "IMG_0001", behind).uv_px).all()


def test_jacobians_of_project_and_body_points_against_differences(network: Network) -> None:
    """Every influence is stepped in the network itself."""
    local = network.targets["S02"].points_mm
    xyz = projection.body_points(network, "S02", local).xyz_mm

    def perturbed(name: str, h: float) -> Network:
        kind, owner, part = name.split(":")
        cameras, photos, bodies = dict(network.cameras), dict(network.photos), dict(network.bodies)
        if kind == "lens":
            c = cameras[owner]
            params = c.params.copy()
            params[lens.LENS_MODELS[c.model].names.index(part)] += h
            cameras[owner] = type(c)(c.camera_id, c.model, c.size_px, params, c.cov)
        elif kind == "photo":
            p = photos[owner]
            step = h * np.array([part == n for n in ("wx", "wy", "wz", "tx", "ty", "tz")], dtype=float)
            pose = _perturbed((p.rotation, p.translation_mm), step)
            photos[owner] = PhotoPose(p.photo_id, p.camera_id, *pose, p.focus + h * (part == "focus"))
        else:
            b = bodies[owner]
            step = h * np.array([part == n for n in ("wx", "wy", "wz", "tx", "ty", "tz")], dtype=float)
            pose = _perturbed((b.rotation, b.translation_mm), step)
            scale = (b.scale_xy[0] + h * (part == "sx"), b.scale_xy[1] + h * (part == "sy"))
            bodies[owner] = BodyPose(b.target_id, *pose, scale, b.curl_per_mm)
        return hand_made_network(list(cameras.values()), list(photos.values()), bodies, network.targets)

    seen = projection.project(network, "IMG_0001", xyz)
    for k, column in enumerate(seen.columns):
        h = 1e-6
        up, down = (
            projection.project(perturbed(network.influences.names[column], s * h), "IMG_0001", xyz).uv_px for s in (1, -1)
        )
        assert np.allclose(seen.d_influences[:, :, k], (up - down) / (2 * h), rtol=1e-4, atol=1e-4)
    placed = projection.body_points(network, "S02", local)
    assert len(placed.columns) == 8
    for k, column in enumerate(placed.columns):
        up, down = (
            projection.body_points(perturbed(network.influences.names[column], s * 1e-6), "S02", local).xyz_mm for s in (1, -1)
        )
        assert np.allclose(placed.d_influences[:, :, k], (up - down) / 2e-6, atol=1e-5)


def test_work_frame_lies_on_the_tops() -> None:
    k = kitchen(4)
    plane = workplane.fit_work_plane(k.truth, k.cabinets, 0.3)
    z = np.array([0.0, 0.0, 1.0])
    assert plane.rotation[2] @ z > 1 - 1e-6
    assert max(abs(h.height_mm) for h in plane.heights) < 0.7
    assert not [f for f in plane.findings if f.code not in ("plane-few-sheets", "plane-narrow")]


def test_low_cabinet_is_found_and_does_not_pull_the_plane() -> None:
    even, low = kitchen(4), kitchen(4, low={"C": 6.0})
    plane = workplane.fit_work_plane(low.truth, low.cabinets, 0.3)
    reference = workplane.fit_work_plane(even.truth, {c: m for c, m in even.cabinets.items() if c != "C"}, 0.3)
    assert [(f.code, f.where) for f in plane.findings] == [("cabinet-low", "C")]
    heights = {c: np.mean([h.height_mm for h in plane.heights if h.group == c]) for c in "AC"}
    assert heights["C"] == pytest.approx(-6.0, abs=0.5)
    # A plain least-squares plane would tilt by millimetres; this one stays with the other three cabinets.
    assert abs(heights["A"]) < 0.3
    assert reference.rotation[2] @ plane.rotation[2] > 1 - 1e-6
    seven = workplane.fit_work_plane(kitchen(4, low={"A": -6.0}).truth, even.cabinets, 0.3)
    assert [(f.code, f.where) for f in seven.findings] == [("cabinet-high", "A")]


def test_motion_of_the_world_changes_nothing_in_the_work_frame(network: Network) -> None:
    pose = (rigid.exp_rotation(np.array([0.3, -0.5, 1.1])), np.array([500.0, -300.0, 900.0]))
    plane = workplane.fit_work_plane(network, {}, 0.3)
    other_network = _moved(network, pose)
    other = workplane.fit_work_plane(other_network, {}, 0.3)
    here = projection.body_points(network, "S05", network.targets["S05"].points_mm).xyz_mm
    there = projection.body_points(other_network, "S05", network.targets["S05"].points_mm).xyz_mm
    assert np.allclose(workplane.to_work(plane, here)[0], workplane.to_work(other, there)[0], atol=1e-6)


def test_work_frame_jacobian_cancels_the_datum_exactly(network: Network) -> None:
    """Influences that together move the whole world rigidly leave work coordinates alone."""
    plane = workplane.fit_work_plane(network, {}, 0.3)
    xyz = projection.body_points(network, "S07", network.targets["S07"].points_mm)
    jac = np.zeros((len(xyz.xyz_mm), 3, network.influences.size))
    jac[:, :, xyz.columns] = xyz.d_influences
    _, by_influence = workplane.to_work(plane, xyz.xyz_mm, jac)
    for axis in range(6):
        move = np.zeros(6)
        move[axis] = 1.0
        direction = np.zeros(network.influences.size)
        for t, b in network.bodies.items():
            step = np.concatenate([move[:3], np.cross(move[:3], b.translation_mm) + move[3:]])
            for c, value in zip(("wx", "wy", "wz", "tx", "ty", "tz"), step, strict=True):
                direction[network.influences.names.index(f"body:{t}:{c}")] = value
        assert np.allclose(by_influence @ direction, 0, atol=1e-8)


def test_work_frame_jacobian_against_differences(network: Network) -> None:
    settings = WorkPlaneSettings(even_mm=50, ignore_mm=100)  # all weights 1: the Jacobian is for fixed weights
    plane = workplane.fit_work_plane(network, {}, 0.3, settings=settings)
    for name, column in (("tz", 5), ("ty", 4), ("wx", 0)):
        for body in ("S01", "S13"):
            h = 1e-3 if column > 2 else 1e-5
            poses = []
            for s in (1, -1):
                b = network.bodies[body]
                step = np.zeros(6)
                step[column] = s * h
                bodies = dict(network.bodies)
                bodies[body] = BodyPose(body, *_perturbed((b.rotation, b.translation_mm), step), b.scale_xy, b.curl_per_mm)
                changed = hand_made_network(
                    list(network.cameras.values()), list(network.photos.values()), bodies, network.targets
                )
                p = workplane.fit_work_plane(changed, {}, 0.3, settings=settings)
                # The x axis of the frame is a convention; bring the changed frame onto the old one by the same sheets.
                poses.append((p, changed))
            local = np.zeros((1, 3))
            z_up, z_down = (workplane.to_work(p, projection.body_points(n, "S08", local).xyz_mm)[0][0, 2] for p, n in poses)
            own = projection.body_points(network, "S08", local)
            jac = np.zeros((1, 3, network.influences.size))
            jac[:, :, own.columns] = own.d_influences
            wanted = workplane.to_work(plane, own.xyz_mm, jac)[1][0, 2]
            got = wanted[network.influences.names.index(f"body:{body}:{name}")]
            assert got == pytest.approx((z_up - z_down) / (2 * h), rel=1e-3, abs=2e-4 if column > 2 else 2e-2)


def test_thickness_is_removed_and_its_uncertainty_appended(network: Network) -> None:
    type_b = [
        TypeB("thickness:sheet", "paper thickness", 0.1),
        TypeB("thickness:S03", "paper thickness", 0.2),
        TypeB("gap:back", "contact gap", 0.3),
    ]
    thin = workplane.fit_work_plane(network, {}, 0.0, type_b)
    thick = workplane.fit_work_plane(network, {}, 3.0, type_b)
    k = network.influences.size
    assert thin.influences.names[k:] == ("thickness:sheet", "thickness:S03", "gap:back")
    assert np.allclose(sum(thin.influences.parts.values()), thin.influences.cov)
    assert np.sqrt(thin.influences.cov[k + 2, k + 2]) == pytest.approx(0.3)
    centre = network.bodies["S05"].translation_mm
    lowered = workplane.to_work(thin, centre)[0][0, 2], workplane.to_work(thick, centre)[0][0, 2]
    assert lowered[1] - lowered[0] == pytest.approx(3.0, abs=1e-3)
    # All sheets thicker: everything rises by as much; a gap does nothing to the plane.
    jac = workplane.to_work(thin, centre)[1][0]
    assert np.allclose(jac[:, k], [0, 0, 1], atol=1e-9)
    assert np.allclose(jac[:, k + 2], 0)


def test_few_sheets_are_said() -> None:
    k = kitchen(4)
    for keep, code in ((["S03"], "plane-few-sheets"), (["S01", "S08"], "plane-few-sheets")):
        bodies = {t: k.truth.bodies[t] for t in keep}
        net = hand_made_network(list(k.truth.cameras.values()), list(k.truth.photos.values()), bodies, k.targets)
        plane = workplane.fit_work_plane(net, {}, 0.3)
        assert [f.code for f in plane.findings] == [code]
        assert abs(np.linalg.det(plane.rotation) - 1) < 1e-9


def test_tops_on_two_levels_are_told_apart_and_measured_in_one_frame() -> None:
    """A bar 150 mm above a run neither pulls the plane nor is called high, and the plane moved to it keeps x and y."""
    even, raised = kitchen(4), kitchen(4, low={"C": -150.0})
    plane = workplane.fit_work_plane(raised.truth, raised.cabinets, 0.3)
    reference = workplane.fit_work_plane(even.truth, {c: m for c, m in even.cabinets.items() if c != "C"}, 0.3)
    assert [one.name for one in plane.levels] == ["main", "raised"]
    assert set(plane.levels[1].sheets) == set(raised.cabinets["C"])
    assert plane.levels[1].height_mm == pytest.approx(150.0, abs=0.7)
    assert [(f.code, f.where) for f in plane.findings] == [("level-found", "raised")]
    assert reference.rotation[2] @ plane.rotation[2] > 1 - 1e-6
    bar = workplane.on_level(plane, "raised")
    assert max(abs(h.height_mm) for h in bar.heights) < 0.7
    assert {h.name for h in bar.heights} == set(raised.cabinets["C"])
    place = raised.truth.bodies[raised.cabinets["C"][0]].translation_mm
    (xyz,), jac = workplane.to_work(plane, place)
    (moved,), same = workplane.to_work(bar, place)
    np.testing.assert_allclose(moved, xyz - [0, 0, plane.levels[1].height_mm], atol=1e-9)
    np.testing.assert_array_equal(jac, same)
    named = workplane.fit_work_plane(raised.truth, raised.cabinets, 0.3, named={"C": "bar"})
    assert [one.name for one in named.levels] == ["main", "bar"]


def test_no_plane_is_laid_through_tops_of_two_levels() -> None:
    """Three sheets in a line 140 mm above four others: a plane through five of the seven exists, but no sheet lies in it."""
    seen = kitchen(4).truth
    places = [*((x, -190.0, 0.0) for x in (200, 1300)), *((x, -430.0, 0.0) for x in (300, 1200)),
              *((x, 150.0, 140.0) for x in (200, 700, 1200))]  # fmt: skip
    first = next(iter(seen.bodies.values()))
    bodies = {
        f"S{k:02d}": BodyPose(f"S{k:02d}", np.eye(3), np.array(p), first.scale_xy) for k, p in enumerate(places, 1)
    }
    targets = {t: replace(seen.targets[first.target_id], target_id=t) for t in bodies}
    net = hand_made_network(list(seen.cameras.values()), list(seen.photos.values()), bodies, targets)
    plane = workplane.fit_work_plane(net, {}, 0.0)
    assert plane.rotation[2, 2] > 1 - 1e-9
    assert [len(one.sheets) for one in plane.levels] == [4, 3]
    assert plane.levels[1].height_mm == pytest.approx(140.0, abs=1e-6)
