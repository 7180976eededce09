"""A paper chessboard that looks the same after half a turn: real photos of a phone (patel-avish/EECE5554, LAB5).

Reference: OpenCV's ``calibrateCameraRO`` on corners whose half turn was resolved photo by photo, all 16 photos: fx 3260.6 +-
10.6, cx 2026 +- 9, p2 -0.0001 (2 sigma).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from phototemplate.calibration import CalibratedCamera, _verdict, board_spec, calibrate_photos
from phototemplate.constants import RESIDUALS_FACTOR
from phototemplate.numerics.lens import LENS_MODELS


@pytest.fixture(scope="module")
def phone(reference_photos: Path) -> CalibratedCamera:
    board = board_spec(None, "8x6", 30.0, None, None)
    return calibrate_photos([reference_photos / "bent_board_phone"], board)[0]


@pytest.mark.slow
def test_bent_board_whose_half_turn_cannot_be_told(phone: CalibratedCamera) -> None:
    done = phone.calibration
    assert done.form.board == "free"
    assert done.rms_px < 0.45
    value = dict(zip(LENS_MODELS[done.camera.model].names, done.camera.params, strict=True))
    U = dict(zip(value, 2 * np.sqrt(np.diag(done.camera.cov)), strict=True))
    assert abs(value["cx"] - 2026.0) < np.hypot(U["cx"], 9.0)
    assert abs(value["p2"] + 0.0001) < U["p2"]
    assert abs(value["f"] - 3260.6) < 1.5 * np.hypot(U["f"], 10.6)


@pytest.mark.slow
def test_residuals_beyond_what_corners_allow_are_not_called_calibrated(phone: CalibratedCamera) -> None:
    """With an exposure of its own for each photo 0.20 px are left where single corners allow 0.06, less than what makes a
    calibration doubtful; ten times as much would."""
    done = phone.calibration
    assert done.rms_px < RESIDUALS_FACTOR * done.corner_px
    assert phone.verdict.code == "calibration-corners"
    assert _verdict(replace(done, rms_px=10 * done.rms_px)).code == "calibration-residuals"
