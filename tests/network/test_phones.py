"""Phones that shift the image, breathe and read out in rows: the model of an exposure, and the adjustment that estimates it.

The pictures' side is simulated by ``tests.network.phones``, which shares no code with the package's camera.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phototemplate.model import Network
from phototemplate.network import photo_camera
from phototemplate.network.photo_camera import Sensor
from tests.network.phones import JUDGED_ON, Exposure, Phone
from tests.network.synthetic import Kitchen, kitchen
from tests.network.test_adjust import bar_of, errors_and_cov, normalized_square, run

PARAMS = np.array([3012.0, 4e-4, 2021.0, 1503.0, 0.085, -0.19, 0.0006, -0.0004, 0.1])
BLAMES = {"sheet-moved", "sheet-print-scale", "sheet-curled", "target-elsewhere", "photo-not-oriented"}


@pytest.mark.parametrize("lens_group", [False, True])
def test_one_exposure_against_opencv_and_exact_rotations(lens_group: bool) -> None:
    """Turns are taken to first order: 0.1 degrees over the rows leave less than a hundredth of a pixel."""
    rng = np.random.default_rng(1)
    xyz = rng.uniform([-700, -500, 900], [700, 500, 2200], (200, 3))
    shot = Exposure(0.004, np.array([18.0, -23.0]), lens_group, np.array([1.2e-3, -9e-4, 6e-4]), np.array([0.2, -0.3, 0.1]))
    theirs = shot.project(PARAMS, np.eye(3), np.zeros(3), 3024, xyz)
    # The package's turn and shift are of the scene in the camera's frame: the shift is the way backwards.
    exposure = np.concatenate([[shot.focus], shot.shift_px, shot.turn_rad, -shot.way_mm])
    sensor = Sensor((4032, 3024), distortion_moves=not lens_group)
    if lens_group:  # the shift counts in units of the focused principal distance there, of the lens's own here
        exposure[1:3] /= 1 + shot.focus
    ours = photo_camera.project("brown", PARAMS, exposure, sensor, xyz)
    assert ours.uv_px == pytest.approx(theirs, abs=0.01)
    again = photo_camera.project("brown", PARAMS, exposure, sensor, xyz, theirs + rng.normal(0, 1, theirs.shape))
    assert again.uv_px == pytest.approx(ours.uv_px, abs=1e-4)
    eyes, ways = photo_camera.unproject("brown", PARAMS, exposure, sensor, ours.uv_px)
    assert np.abs(np.cross(xyz - eyes, ways)).max() < 0.005  # mm


def test_rows_of_a_picture_that_software_turned_run_across() -> None:
    assert Sensor((4032, 3024)).axis == 1
    assert Sensor((3024, 4032)).axis == 0
    assert Sensor((4032, 3024)).row(np.array([[0.0, -0.5], [0.0, 1511.5], [0.0, 3023.5]])) == pytest.approx([-0.5, 0.0, 0.5])


def _adjusted(phone: Phone, seed: int) -> tuple[Kitchen, Network]:
    k = kitchen(seed, phones=(phone,), n_photos=9, strips=2)
    return k, run(k, bar_of(k))


@pytest.mark.parametrize("name", ["sensor 25 px", "lens 25 px", "readout 0.1", "both 25 px, 0.1"])
def test_a_moving_camera_costs_no_truth(name: str) -> None:
    phone = JUDGED_ON[name]
    k, network = _adjusted(phone, 701)
    square, n = normalized_square(*errors_and_cov(network, k))
    assert 0.6 < square / n < 1.3
    assert network.sigma0 == pytest.approx(1.0, abs=0.05)
    assert not {f.code for f in network.findings} & BLAMES
    camera = network.cameras["phone0"]
    _, shift, turn, _ = camera.exposure_sd
    if phone.shift_px:
        assert shift == pytest.approx(phone.shift_px, rel=0.4)
        assert camera.distortion_moves is not phone.lens_group
    if phone.turn_deg:  # over one plane, pose, shift and focus have more freedom than a photo has to tell: the turn is weak
        assert 1e-4 < turn < 3e-3


def test_a_camera_that_stands_still_is_found_to() -> None:
    k, network = _adjusted(JUDGED_ON["ideal, fixed focus"], 702)
    focus, shift, turn, _ = network.cameras["phone0"].exposure_sd
    assert focus < 3e-4
    assert shift < 0.3  # px
    assert turn < 2e-4
    square, n = normalized_square(*errors_and_cov(network, k))
    assert 0.6 < square / n < 1.3


def test_one_phone_moves_its_lens_and_the_other_does_not() -> None:
    k = kitchen(703, phones=(JUDGED_ON["sensor 25 px"], JUDGED_ON["ideal, fixed focus"]), n_photos=12, strips=2)
    network = run(k, bar_of(k))
    square, n = normalized_square(*errors_and_cov(network, k))
    assert 0.6 < square / n < 1.3
    assert network.cameras["phone0"].exposure_sd[1] == pytest.approx(25.0, rel=0.4)
    assert network.cameras["phone1"].exposure_sd[1] < 2.0


@pytest.mark.parametrize("move", [(2.0, 1.0, 0.0), (0.0, 8.0, 0.05)])
def test_a_sheet_that_moved_under_a_moving_camera_is_found(move: tuple[float, float, float]) -> None:
    k = kitchen(35, phones=(JUDGED_ON["both 10 px, 0.05"],), moved={"S03": move}, n_photos=8, strips=2)
    network = run(k, bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code in BLAMES] == [("sheet-moved", "S03")]
    square, n = normalized_square(*errors_and_cov(network, k, leave_out=("S03",)))
    assert square / n < 1.3


@pytest.mark.parametrize("name", ["ideal, fixed focus", "sensor 5 px"])
def test_pictures_that_software_turned_by_half_a_turn(name: str) -> None:
    """A messenger applies the Exif turn and drops it: every third picture has its axis on the other side of the middle."""
    k = kitchen(614, phones=(JUDGED_ON[name],), n_photos=9, strips=2)
    last = np.array([4031.0, 3023.0])
    turned = {p for i, p in enumerate(k.sightings) if i % 3 == 1}
    seen = {p: replace(s, uv_px=last - s.uv_px) if p in turned else s for p, s in k.sightings.items()}
    silent = tuple(replace(p, make="") for p in k.photos)  # messengers drop the rest of the Exif data, too
    network = run(replace(k, sightings=seen, photos=silent), bar_of(k))
    assert {p for p, photo in network.photos.items() if photo.camera_id.endswith("turned")} == turned
    one, other = network.cameras["phone0"].params, network.cameras["phone0 turned"].params
    assert one[2:4] + other[2:4] == pytest.approx(last, abs=0.1)
    assert one[[6, 7]] == pytest.approx(-other[[6, 7]], abs=1e-5)
    square, n = normalized_square(*errors_and_cov(network, k))
    assert 0.6 < square / n < 1.3
