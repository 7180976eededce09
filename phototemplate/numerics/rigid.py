"""Rigid motions: rotations, poses, their composition, and the best fit of one set of points to another.

A pose is ``(rotation (3, 3), translation (3,))`` and maps ``y = R @ x + t``. A pose perturbation is ``(w, d)``, six
numbers, rotation first: ``R = exp([w]x) R0``, ``t = t0 + d``.

Equations: Sola, Deray, Atchuthan, "A micro Lie theory for state estimation in robotics" (2018), sections on SO(3).
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from phototemplate.model import Array

Pose: TypeAlias = tuple[Array, Array]
"""``(rotation (3, 3), translation (3,))``"""


def skew(v: Array) -> Array:
    """Cross product matrices ``[v]x`` with ``[v]x @ u = v x u``; ``(..., 3) -> (..., 3, 3)``."""
    v = np.asarray(v, dtype=np.float64)
    out = np.zeros((*v.shape, 3))
    out[..., 0, 1], out[..., 0, 2] = -v[..., 2], v[..., 1]
    out[..., 1, 0], out[..., 1, 2] = v[..., 2], -v[..., 0]
    out[..., 2, 0], out[..., 2, 1] = -v[..., 1], v[..., 0]
    return out


def exp_rotation(w: Array) -> Array:
    """Rotation matrices of rotation vectors in rad (Rodrigues); ``(..., 3) -> (..., 3, 3)``."""
    w = np.asarray(w, dtype=np.float64)
    angle2 = np.sum(w * w, axis=-1)[..., None, None]
    angle = np.sqrt(angle2)
    small = angle < 1e-6
    safe = np.where(small, 1.0, angle)
    a = np.where(small, 1.0 - angle2 / 6.0, np.sin(safe) / safe)
    b = np.where(small, 0.5 - angle2 / 24.0, (1.0 - np.cos(safe)) / safe**2)
    k = skew(w)
    return np.asarray(np.eye(3) + a * k + b * (k @ k))


def transform(pose: Pose, xyz: Array) -> Array:
    """Apply a pose to points (..., 3)."""
    return np.asarray(xyz @ pose[0].T + pose[1])


def compose(a_from_b: Pose, b_from_c: Pose) -> Pose:
    """``a_from_c``"""
    return a_from_b[0] @ b_from_c[0], a_from_b[0] @ b_from_c[1] + a_from_b[1]


def invert(pose: Pose) -> Pose:
    """``b_from_a`` of ``a_from_b``"""
    return pose[0].T, -(pose[0].T @ pose[1])


def fit_rigid(source: Array, target: Array) -> Pose:
    """Pose (target_from_source) that brings points (N, d) onto points (N, d) with least squared distances, without scale.

    K. S. Arun, T. S. Huang, S. D. Blostein, Least-squares fitting of two 3-D point sets, IEEE PAMI 9 (1987) 698-700.
    """
    a, b = source.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((source - a).T @ (target - b))
    flip = np.eye(len(a))
    flip[-1, -1] = np.sign(np.linalg.det(vt.T @ u.T))
    rotation: Array = vt.T @ flip @ u.T
    return rotation, b - rotation @ a
