"""Rigid motions against SciPy's rotations and against differences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from phototemplate.numerics import rigid


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def _pose(rng: np.random.Generator) -> rigid.Pose:
    return rigid.exp_rotation(rng.normal(size=3)), rng.normal(size=3) * 100


def _numeric(function, pose: rigid.Pose, h: float = 1e-6) -> np.ndarray:
    columns = []
    for k in range(6):
        step = np.zeros(6)
        step[k] = h
        columns.append(
            rigid.difference(function(rigid.perturb(pose, step)), function(rigid.perturb(pose, -step))) / (2 * h)
        )
    return np.array(columns).T


@pytest.mark.parametrize("size", [0.0, 1e-9, 1e-4, 1.0, 3.0, np.pi - 1e-7])
def test_exp_and_log_agree_with_scipy(rng: np.random.Generator, size: float) -> None:
    for _ in range(20):
        axis = rng.normal(size=3)
        w = size * axis / np.linalg.norm(axis)
        r = rigid.exp_rotation(w)
        assert np.allclose(r, Rotation.from_rotvec(w).as_matrix(), atol=1e-13)
        assert np.allclose(rigid.log_rotation(r), Rotation.from_matrix(r).as_rotvec(), atol=1e-8)


def test_exp_takes_stacks(rng: np.random.Generator) -> None:
    w = rng.normal(size=(4, 5, 3))
    assert np.allclose(rigid.exp_rotation(w)[2, 3], rigid.exp_rotation(w[2, 3]))


def test_compose_and_invert_jacobians(rng: np.random.Generator) -> None:
    a, b = _pose(rng), _pose(rng)
    by_a, by_b = rigid.compose_jacobians(a, b)
    assert np.allclose(by_a, _numeric(lambda p: rigid.compose(p, b), a), atol=1e-5)
    assert np.allclose(by_b, _numeric(lambda p: rigid.compose(a, p), b), atol=1e-5)
    assert np.allclose(rigid.invert_jacobian(a), _numeric(rigid.invert, a), atol=1e-5)
    there_and_back = rigid.compose(a, rigid.invert(a))
    assert np.allclose(there_and_back[0], np.eye(3))
    assert np.allclose(there_and_back[1], 0, atol=1e-10)


def test_transform_jacobian(rng: np.random.Generator) -> None:
    pose, xyz = _pose(rng), rng.normal(size=(7, 3))
    jac = rigid.transform_jacobian(pose, xyz)
    for k in range(6):
        step = np.zeros(6)
        step[k] = 1e-6
        up, down = rigid.transform(rigid.perturb(pose, step), xyz), rigid.transform(rigid.perturb(pose, -step), xyz)
        assert np.allclose(jac[:, :, k], (up - down) / 2e-6, atol=1e-6)


def test_fit_similarity_recovers_and_agrees_with_scipy(rng: np.random.Generator) -> None:
    pose, source = _pose(rng), rng.normal(size=(9, 3))
    fitted, scale = rigid.fit_similarity(source, 1.7 * source @ pose[0].T + pose[1])
    assert scale == pytest.approx(1.7)
    assert np.allclose(fitted[0], pose[0])
    assert np.allclose(fitted[1], pose[1])
    noisy = rigid.transform(pose, source) + rng.normal(size=source.shape)
    ours = rigid.fit_rigid(source, noisy)
    theirs, _ = Rotation.align_vectors(noisy - noisy.mean(0), source - source.mean(0))
    assert np.allclose(ours[0], theirs.as_matrix(), atol=1e-9)
