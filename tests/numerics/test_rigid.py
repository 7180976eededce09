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


@pytest.mark.parametrize("size", [0.0, 1e-9, 1e-4, 1.0, 3.0, np.pi - 1e-7])
def test_exp_agrees_with_scipy(rng: np.random.Generator, size: float) -> None:
    for _ in range(20):
        axis = rng.normal(size=3)
        w = size * axis / np.linalg.norm(axis)
        r = rigid.exp_rotation(w)
        assert np.allclose(r, Rotation.from_rotvec(w).as_matrix(), atol=1e-13)


def test_exp_takes_stacks(rng: np.random.Generator) -> None:
    w = rng.normal(size=(4, 5, 3))
    assert np.allclose(rigid.exp_rotation(w)[2, 3], rigid.exp_rotation(w[2, 3]))


def test_there_and_back(rng: np.random.Generator) -> None:
    a, b = _pose(rng), _pose(rng)
    there_and_back = rigid.compose(a, rigid.invert(a))
    assert np.allclose(there_and_back[0], np.eye(3))
    assert np.allclose(there_and_back[1], 0, atol=1e-10)
    xyz = rng.normal(size=(7, 3))
    assert np.allclose(rigid.transform(rigid.compose(a, b), xyz), rigid.transform(a, rigid.transform(b, xyz)))


def test_best_fit_agrees_with_scipy(rng: np.random.Generator) -> None:
    """scipy's ``Rotation.align_vectors`` (Kabsch) solves the same problem for centred vectors."""
    a = rng.normal(0, 1000, (9, 3))
    b = Rotation.from_rotvec([0.4, 0.2, -1.0]).apply(a) + np.array([5.0, 6.0, 7.0]) + rng.normal(0, 1, (9, 3))
    rotation, shift = rigid.fit_rigid(a, b)
    reference, _ = Rotation.align_vectors(b - b.mean(0), a - a.mean(0))
    np.testing.assert_allclose(rotation, reference.as_matrix(), atol=1e-9)
    np.testing.assert_allclose(shift, b.mean(0) - reference.apply(a.mean(0)), atol=1e-6)


def test_best_fit_leaves_the_scale_alone(rng: np.random.Generator) -> None:
    a = rng.normal(0, 1000, (6, 3))
    rotation, _ = rigid.fit_rigid(a, 1.01 * a)
    np.testing.assert_allclose(rotation, np.eye(3), atol=1e-12)
