"""One contract for every lens model, and the same pixels as OpenCV and COLMAP."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from phototemplate.numerics import lens
from phototemplate.numerics.constants import N_COMMON

SIZE = (4032, 3024)
DISTORTION = {
    "brown": [0.085, -0.19, 0.0006, -0.0004, 0.1],
    "rational": [0.4, 0.05, 0.0006, -0.0004, 0.01, 0.35, 0.08, 0.02],
    "fisheye": [0.02, -0.01, 0.004, -0.001],
}


def _params(model: str) -> np.ndarray:
    params = lens.start_params(model, 3012.4, SIZE)
    params[1:4] = 2e-4, 2026.3, 1503.1
    params[4 : 4 + len(DISTORTION[model])] = DISTORTION[model]
    return params


def _points(n: int = 60) -> np.ndarray:
    rng = np.random.default_rng(3)
    z = rng.uniform(600, 2500, n)
    points = np.stack([rng.uniform(-0.6, 0.6, n) * z, rng.uniform(-0.45, 0.45, n) * z, z], axis=1)
    points[0] = 0.0, 0.0, 1000.0  # on the axis, where angle formulas divide zero by zero
    return points


def test_every_registered_model_is_tested() -> None:
    assert set(DISTORTION) <= set(lens.LENS_MODELS)
    assert {n for n, m in lens.LENS_MODELS.items() if type(m).__module__.startswith("phototemplate")} == set(DISTORTION)


@pytest.mark.parametrize("model", list(DISTORTION))
def test_jacobians_against_differences(model: str) -> None:
    params, xyz = _params(model), _points()
    _, d_xyz, d_params = lens.project(model, params, xyz)
    for k in range(3):
        step = np.zeros(3)
        step[k] = 1e-3
        numeric = (lens.project(model, params, xyz + step)[0] - lens.project(model, params, xyz - step)[0]) / 2e-3
        assert np.allclose(d_xyz[:, :, k], numeric, rtol=1e-6, atol=1e-6)
    for k in range(len(params)):
        step = np.zeros(len(params))
        step[k] = 1e-5 * max(1.0, abs(params[k]))
        numeric = (lens.project(model, params + step, xyz)[0] - lens.project(model, params - step, xyz)[0]) / (
            2 * step[k]
        )
        assert np.allclose(d_params[:, :, k], numeric, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("model", list(DISTORTION))
def test_unproject_inverts_project(model: str) -> None:
    params, xyz = _params(model), _points()
    rays = lens.unproject(model, params, lens.project(model, params, xyz)[0])
    assert np.allclose(rays, xyz / np.linalg.norm(xyz, axis=1, keepdims=True), atol=1e-11)


@pytest.mark.parametrize("model", list(DISTORTION))
def test_params_per_point(model: str) -> None:
    params, xyz = _params(model), _points()
    rows = np.tile(params, (len(xyz), 1))
    rows[:, 0] *= np.linspace(0.99, 1.01, len(xyz))
    together = lens.project(model, rows, xyz)[0]
    assert np.allclose(together[7], lens.project(model, rows[7], xyz[7:8])[0][0])


def _opencv_arrays(params: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Camera matrix and distortion as OpenCV takes them."""
    f, aspect, cx, cy = params[: N_COMMON]
    return np.array([[f, 0.0, cx], [0.0, f * (1.0 + aspect), cy], [0.0, 0.0, 1.0]]), params[N_COMMON :]


@pytest.mark.parametrize("model", ["brown", "rational"])
def test_same_pixels_as_opencv(model: str) -> None:
    params, xyz = _params(model), _points()
    matrix, dist = _opencv_arrays(params)
    theirs, jac = cv2.projectPoints(xyz, np.zeros(3), np.zeros(3), matrix, dist)
    uv, d_xyz, d_params = lens.project(model, params, xyz)
    assert np.allclose(uv, theirs.reshape(-1, 2), atol=1e-8)
    # OpenCV's columns: rotation 3, translation 3, fx fy, cx cy, distortion
    assert np.allclose(d_xyz.reshape(-1, 3), jac[:, 3:6], atol=1e-8)
    assert np.allclose(d_params[:, :, 4:].reshape(len(jac), -1), jac[:, 10:], rtol=1e-7, atol=1e-6)


def test_same_pixels_as_opencv_fisheye() -> None:
    params, xyz = _params("fisheye"), _points()
    matrix, dist = _opencv_arrays(params)
    theirs, _ = cv2.fisheye.projectPoints(xyz[:, None], np.zeros(3), np.zeros(3), matrix, dist)
    assert np.allclose(lens.project("fisheye", params, xyz)[0], theirs.reshape(-1, 2), atol=1e-8)


@pytest.mark.parametrize(
    ("model", "colmap", "order"),
    [
        ("brown", "FULL_OPENCV", [4, 5, 6, 7, 8, None, None, None]),
        ("rational", "FULL_OPENCV", [4, 5, 6, 7, 8, 9, 10, 11]),
        ("fisheye", "OPENCV_FISHEYE", [4, 5, 6, 7]),
    ],
)
def test_same_pixels_as_colmap(model: str, colmap: str, order: list[int | None]) -> None:
    pycolmap = pytest.importorskip("pycolmap")
    params, xyz = _params(model), _points()
    values = [params[0], params[0] * (1 + params[1]), params[2], params[3]]
    values += [0.0 if k is None else params[k] for k in order]
    camera = pycolmap.Camera(model=colmap, width=SIZE[0], height=SIZE[1], params=values)
    theirs = np.asarray(camera.img_from_cam(xyz))
    assert np.allclose(lens.project(model, params, xyz)[0], theirs, atol=1e-7)


def test_limit_marks_the_fold() -> None:
    """k1 = -0.25 alone: the distorted radius r - 0.25 r^3 stops growing at r = sqrt(4/3) (by hand)."""
    limit = lens.LENS_MODELS["brown"].limit(np.array([-0.25, 0, 0, 0, 0]))
    assert limit == pytest.approx(np.sqrt(4 / 3), abs=0.006)
    assert lens.LENS_MODELS["brown"].limit(np.zeros(5)) == np.inf
