"""Phones of the renderer: what moves from photo to photo, and that truth files state it exactly."""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np
import pytest

from demo_images.render.camera import Camera
from demo_images.render.develop import develop, neighbourhood
from demo_images.render.phone import HARSH, IDEAL, PHONES, PLAIN, Phone, random_phone
from demo_images.render.scene import Scene
from demo_images.render.truth import truth
from tests.bench._truth import project


def photos(phone: Phone, count: int = 400) -> list[Camera]:
    return [phone.photo(i, [0.0, -1200, 1000], [0.0, 0, 0], 0.0, np.random.default_rng([3, i])) for i in range(count)]


def scatter(values: list[list[float]]) -> np.ndarray:
    return np.asarray(np.array(values).std(axis=0))


def test_ideal_phone_has_one_lens_centre_and_no_readout() -> None:
    for cam in photos(IDEAL, 20):
        assert (cam.cx, cam.cy) == (2015.5 + IDEAL.center_px[0], 1511.5 + IDEAL.center_px[1])
        assert not any([*cam.decentre_px, *cam.rs_deg, *cam.rs_shift_mm])


@pytest.mark.parametrize("name", ["sensor5", "sensor22", "lens10", "lens25"])
def test_stabiliser_moves_as_far_as_stated(name: str) -> None:
    """400 draws of a standard deviation lie within 15 % of it (four times its standard error, 1 / sqrt(2 n))."""
    phone = PHONES[name]
    cams = photos(phone)
    centre, group = scatter([[c.cx, c.cy] for c in cams]), scatter([c.decentre_px for c in cams])
    moved, still = (centre, group) if phone.stabiliser == "sensor" else (group, centre)
    np.testing.assert_allclose(moved, phone.shift_px, rtol=0.15)
    np.testing.assert_allclose(still, 0.0, atol=1e-9)


@pytest.mark.parametrize("name", ["usual", "readout020", "readout100"])
def test_readout_turns_by_its_rms(name: str) -> None:
    phone = PHONES[name]
    turns = np.array([c.rs_deg for c in photos(phone)])
    assert np.sqrt((turns**2).sum(axis=1).mean()) == pytest.approx(phone.readout_deg, rel=0.1)


def test_usual_phone_is_stabilised_and_reads_out_in_rows() -> None:
    phone = Phone()
    assert phone == PHONES["usual"]
    assert 5 <= phone.shift_px <= 25
    assert 0.02 <= phone.readout_deg <= 0.1
    assert phone.processing not in (PLAIN, HARSH)


def test_random_phones_cover_the_spread() -> None:
    drawn = [random_phone(np.random.default_rng([9, i])) for i in range(200)]
    still = [p for p in drawn if p.stabiliser == "none"]
    assert 20 <= len(still) <= 60
    assert all(p.shift_px == 0 for p in still)
    shifts = [p.shift_px for p in drawn if p.stabiliser != "none"]
    assert min(shifts) >= 5
    assert max(shifts) <= 25
    assert {p.stabiliser for p in drawn} == {"none", "sensor", "lens"}


def moving() -> Camera:
    return Camera(
        "c", [150, -900, 700], [250, 50, 0], roll_deg=5, dist=[0.085, -0.19, 6e-4, -4e-4, 0.1], cx=2030.0, cy=1490.0,
        decentre_px=[14.0, -9.0], rs_deg=[0.06, -0.05, 0.04], rs_shift_mm=[0.3, -0.2, 0.15],
    )  # fmt: skip


def test_truth_file_says_where_a_moving_phone_shows_a_point() -> None:
    """Two projections that share no code: the renderer's, and the benchmarks' from the entries of the truth file."""
    points = np.random.default_rng(2).uniform([-500, -300, -50], [900, 400, 50], (60, 3))
    (entry,) = truth(Scene("s", cameras=[moving()]))["cameras"]
    uv = moving().project(points)
    np.testing.assert_allclose(project(entry, points), uv, atol=1e-6)
    still = dataclasses.replace(moving(), rs_deg=[0.0] * 3, rs_shift_mm=[0.0] * 3)
    assert 1.0 < np.abs(still.project(points) - uv).max() < 10.0


def test_moved_lens_group_leaves_the_centre_of_distortion() -> None:
    """A point on the optical axis of the lens shows no distortion at (cx, cy), moved group or not; the picture shifts."""
    cam = moving()
    axis = np.array([*(-np.array(cam.decentre_px) / (cam.fx, cam.fy)), 1.0]) * 1000  # seen at the distortion's centre
    still = dataclasses.replace(cam, rs_deg=[0.0] * 3, rs_shift_mm=[0.0] * 3)
    r, t = still.pose()
    np.testing.assert_allclose(still.project((axis - t) @ r), [[cam.cx, cam.cy]], atol=1e-6)


def test_moving_camera_scaled_sees_the_same() -> None:
    points = np.random.default_rng(1).uniform(-400, 400, (20, 3))
    full, half = moving().project(points), moving().scaled(0.5).project(points)
    np.testing.assert_allclose(half, (full + 0.5) / 2 - 0.5, atol=0.02)


def test_rays_of_a_moving_phone_agree_with_opencv() -> None:
    pytest.importorskip("mitsuba", reason="needs the extra 'render'")
    from demo_images.render.rays import ray_round_trip_px

    assert ray_round_trip_px(moving(), 64) < 0.01


def test_neighbourhood_is_a_wide_blur() -> None:
    """Computed on a coarse grid, it is OpenCV's Gaussian blur of the full picture to 1 % of full scale."""
    rng = np.random.default_rng(4)
    noise = rng.random((48, 64)).astype(np.float32)
    luma = np.asarray(cv2.resize(noise, (2048, 1536), interpolation=cv2.INTER_LINEAR), np.float32)
    direct = cv2.GaussianBlur(luma, (0, 0), 2048 / 40)
    assert np.abs(neighbourhood(luma) - direct)[100:-100, 100:-100].max() < 0.01


def test_processing_keeps_grey_and_adds_halos() -> None:
    """A step from dark to light: flat far from the step, overshooting beside it, the more so the harsher the phone."""
    radiance = np.full((96, 512, 3), 0.1, np.float32)
    radiance[:, 256:] = 0.4
    quiet = {"full_well": 0.0, "vignette": 0.0, "cx": 255.5, "cy": 47.5, "width": 512, "height": 96}
    overshoot = []
    for processing in (PLAIN, HARSH):
        cam = Camera("c", [0, -1, 1], [0, 0, 0], **quiet, **(vars(processing) | {"tone": 0.0}))  # type: ignore[arg-type]
        row = develop(radiance, cam, white=0.8)[48, :, 1].astype(float)
        assert np.ptp(row[330:480]) <= 1
        overshoot.append(row[257:275].max() - row[400])
    assert overshoot[1] > overshoot[0] > 0
