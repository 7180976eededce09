"""The command and the files it leaves: pictures in, profile and page out; the shipped profile; words for what is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from demo_images.render.phone import Phone
from phototemplate.calibration import board_spec
from phototemplate.camera_profiles import CameraProfile, read_profile, shipped_folder
from phototemplate.cli import app
from phototemplate.errors import InputError, MeasureError
from tests.capture.scene import Laid, Shot, take


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five pictures of board K01, 960 x 720, by a lens known exactly."""
    folder = tmp_path_factory.mktemp("board")
    eyes = ((0.0, -60.0, 400.0), (260.0, -200.0, 330.0), (-240.0, -230.0, 330.0), (60.0, 300.0, 300.0), (20.0, -330.0, 280.0))
    for i, eye in enumerate(eyes):
        shot = Shot(eye_mm=eye, look_mm=(10.0 * i - 20, 0.0, 0.0), size_px=(960, 720), focal_px=800.0, supersample=2, seed=i)
        cv2.imwrite(str(folder / f"IMG_{i}.png"), take([Laid("K01", 0.0, 0.0)], shot).gray)
    return folder


def test_pictures_in_profile_and_page_out(pictures: Path, tmp_path: Path) -> None:
    (pictures / "broken.jpg").write_bytes(b"\xff\xd8\xff no picture")
    out = tmp_path / "lens.json"
    ran = CliRunner().invoke(app, ["calibrate", str(pictures), "--lens", "brown", "--out", str(out), "--json"])
    assert ran.exit_code == 0, ran.output
    said = json.loads(ran.output)["cameras"][0]
    profile = read_profile(out)
    assert (profile.width_px, profile.photos, profile.board) == (960, 5, "K01")
    u = np.sqrt(np.diag(profile.covariance))
    true = {"f": 800.0, "cx": 479.5 + 8.3, "cy": 359.5 - 5.1, "k1": 0.08, "p1": 5e-4, "p2": -3e-4}
    for name, value in true.items():
        i = list(profile.parameters).index(name)
        assert abs(profile.parameters[name] - value) < 4 * u[i] + 1e-9, name
    assert {f["code"] for f in said["findings"]} >= {"photo-damaged", "calibration-corners"}
    page = out.with_suffix(".html").read_text(encoding="utf-8")
    assert "Where the board was seen" in page
    assert "corner of the picture" in page
    assert "<script" not in page


def test_what_is_wrong_is_said_in_a_sentence(pictures: Path, tmp_path: Path) -> None:
    def run(*words: str) -> BaseException | None:
        return CliRunner().invoke(app, ["calibrate", *words, "--out", str(tmp_path)]).exception

    assert isinstance(run(str(pictures / "IMG_0.png"), str(pictures / "IMG_1.png")), MeasureError)
    nothing = tmp_path / "empty.png"
    cv2.imwrite(str(nothing), np.full((300, 400), 128, np.uint8))
    assert "--charuco or --chessboard" in str(run(str(nothing)))
    assert "There is no photo" in str(run(str(tmp_path / "missing.jpg")))
    assert "no parameter k9" in str(run(str(pictures), "--hold", "k9"))
    assert "no lens model" in str(run(str(pictures), "--lens", "pinhole"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("10x7", "9x6", 24.0, 17.0, "DICT_5X5_100"), "either a ChArUco board or a chessboard"),
        (("ten", None, 24.0, 17.0, "DICT_5X5_100"), "COLUMNSxROWS"),
        (("10x7", None, None, 17.0, "DICT_5X5_100"), "--square"),
        (("10x7", None, 24.0, 30.0, "DICT_5X5_100"), "--marker"),
        (("10x7", None, 24.0, 17.0, "DICT_9X9"), "--dictionary"),
        ((None, "2x6", 24.0, None, None), "too small"),
        ((None, None, 24.0, None, None), "its kind"),
    ],
)
def test_boards_described_wrongly(words: tuple[str | None, ...], says: str) -> None:
    with pytest.raises(InputError, match=says):
        board_spec(*words)  # type: ignore[arg-type]


def test_shipped_profile_and_schema() -> None:
    """Shipped is what the calibration found; the renderer's lens lies within its U (k = 2, room for nine parameters)."""
    folder = shipped_folder()
    assert json.loads((folder / "profile.schema.json").read_text()) == json.loads(json.dumps(CameraProfile.model_json_schema()))
    profile = read_profile(next(folder.glob("norvik-*.json")))
    phone = Phone()
    assert (profile.make, profile.model, profile.focal_mm) == ("Norvik", "Norvik P4", phone.focal_mm)
    true = {"aspect": phone.aspect, "cx": 2015.5 + phone.center_px[0], "cy": 1511.5 + phone.center_px[1]}
    true |= dict(zip(("k1", "k2", "p1", "p2", "k3"), phone.dist, strict=True))
    assert profile.distance_mm is not None
    true["f"] = phone.f_px * (1 + phone.focal_mm / profile.distance_mm)
    u = dict(zip(profile.parameters, np.sqrt(np.diag(profile.covariance)), strict=True))
    assert all(abs(profile.parameters[n] - v) < 3 * u[n] for n, v in true.items())
