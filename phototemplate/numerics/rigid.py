"""Rigid motions: rotations, poses, their composition and Jacobians, and best-fit alignments.

A pose is ``(rotation (3, 3), translation (3,))`` and maps ``y = R @ x + t``. A pose perturbation is ``(w, d)``, six
numbers, rotation first: ``R = exp([w]x) R0``, ``t = t0 + d``. All Jacobians here refer to these six numbers.

Equations: Sola, Deray, Atchuthan, "A micro Lie theory for state estimation in robotics" (2018), sections on SO(3);
best-fit similarity after Umeyama, IEEE PAMI 13 (1991) 376-380.
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


def log_rotation(rotation: Array) -> Array:
    """Rotation vector in rad of one rotation matrix (3, 3); the inverse of :func:`exp_rotation` up to pi."""
    r = np.asarray(rotation, dtype=np.float64)
    # By way of the unit quaternion, which stays accurate near 0 and near pi (Shepperd 1978).
    q = np.array(
        [1 + np.trace(r), 1 + 2 * r[0, 0] - np.trace(r), 1 + 2 * r[1, 1] - np.trace(r), 1 + 2 * r[2, 2] - np.trace(r)]
    )
    i = int(np.argmax(q))
    if i == 0:
        v = np.array([r[2, 1] - r[1, 2], r[0, 2] - r[2, 0], r[1, 0] - r[0, 1]])
        quat = np.array([q[0], *v])
    else:
        a, b, c = i - 1, i % 3, (i + 1) % 3
        quat = np.empty(4)
        quat[0] = r[c, b] - r[b, c]
        quat[1 + a] = q[i]
        quat[1 + b] = r[b, a] + r[a, b]
        quat[1 + c] = r[c, a] + r[a, c]
    quat /= np.linalg.norm(quat)
    if quat[0] < 0:
        quat = -quat
    n = float(np.linalg.norm(quat[1:]))
    if n < 1e-12:
        return np.asarray(2.0 * quat[1:])
    return np.asarray(2.0 * np.arctan2(n, quat[0]) / n * quat[1:])


def nearest_rotation(matrix: Array) -> Array:
    """The rotation closest to a 3x3 matrix (Frobenius norm), by its singular value decomposition."""
    u, _, vt = np.linalg.svd(matrix)
    return np.asarray(u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))]) @ vt)


def transform(pose: Pose, xyz: Array) -> Array:
    """Apply a pose to points (..., 3)."""
    return np.asarray(xyz @ pose[0].T + pose[1])


def transform_jacobian(pose: Pose, xyz: Array) -> Array:
    """(..., 3, 6) derivative of ``R x + t`` by the pose perturbation; by x it is R."""
    turned = np.asarray(xyz) @ pose[0].T
    out = np.zeros((*turned.shape, 6))
    out[..., :3] = -skew(turned)
    out[..., 3:] = np.eye(3)
    return out


def perturb(pose: Pose, delta: Array) -> Pose:
    """Pose after the perturbation ``delta = (w, d)`` (6,)."""
    return nearest_rotation(exp_rotation(delta[:3]) @ pose[0]), pose[1] + delta[3:]


def difference(pose: Pose, reference: Pose) -> Array:
    """Perturbation (6,) that leads from ``reference`` to ``pose``."""
    return np.concatenate([log_rotation(pose[0] @ reference[0].T), pose[1] - reference[1]])


def compose(a_from_b: Pose, b_from_c: Pose) -> Pose:
    """``a_from_c``"""
    return a_from_b[0] @ b_from_c[0], a_from_b[0] @ b_from_c[1] + a_from_b[1]


def compose_jacobians(a_from_b: Pose, b_from_c: Pose) -> tuple[Array, Array]:
    """(6, 6) derivatives of :func:`compose` by the perturbation of its first and of its second argument."""
    by_a, by_b = np.eye(6), np.zeros((6, 6))
    by_a[3:, :3] = -skew(a_from_b[0] @ b_from_c[1])
    by_b[:3, :3] = by_b[3:, 3:] = a_from_b[0]
    return by_a, by_b


def invert(pose: Pose) -> Pose:
    """``b_from_a`` of ``a_from_b``"""
    return pose[0].T, -(pose[0].T @ pose[1])


def invert_jacobian(pose: Pose) -> Array:
    """(6, 6) derivative of :func:`invert` by the perturbation of its argument."""
    out = np.zeros((6, 6))
    out[:3, :3] = out[3:, 3:] = -pose[0].T
    out[3:, :3] = -pose[0].T @ skew(pose[1])
    return out


def fit_rigid(source: Array, target: Array, weights: Array | None = None) -> Pose:
    """Pose (target_from_source) that brings points (N, 3) onto points (N, 3) with least squared distances."""
    pose, _ = fit_similarity(source, target, weights, scale=False)
    return pose


def fit_similarity(
    source: Array, target: Array, weights: Array | None = None, scale: bool = True
) -> tuple[Pose, float]:
    """Pose and scale s with ``target = s R source + t`` in the sense of (weighted) least squares (Umeyama 1991)."""
    w = np.ones(len(source)) if weights is None else np.asarray(weights, dtype=np.float64)
    w = w / w.sum()
    ms, mt = w @ source, w @ target
    s0, t0 = source - ms, target - mt
    u, d, vt = np.linalg.svd((t0 * w[:, None]).T @ s0)
    sign = np.array([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = u @ np.diag(sign) @ vt
    factor = float(d @ sign / (w @ np.sum(s0 * s0, axis=1))) if scale else 1.0
    return (np.asarray(rotation), np.asarray(mt - factor * rotation @ ms)), factor
