"""The least-squares engine, and the one name under which its parts are used.

* :mod:`~phototemplate.network.adjustment.unknowns`: what is adjusted (:class:`Problem`, :class:`State`);
* :mod:`~phototemplate.network.adjustment.collinearity`: sightings as functions of it, all Jacobians analytic;
* :mod:`~phototemplate.network.adjustment.normal_equations`: reduced normal equations and covariances;
* here: the step, the robust cost and the Levenberg-Marquardt loop. Rotations are updated by left perturbations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.linalg

from phototemplate.model import Array
from phototemplate.network.adjustment.collinearity import Linear, bent, linearise, world_points
from phototemplate.network.adjustment.normal_equations import (
    Covariance,
    Normal,
    covariance,
    fitted_cov,
    normal_equations,
    point_inverse,
    reduced,
)
from phototemplate.network.adjustment.unknowns import PointPrior, Problem, State
from phototemplate.numerics.rigid import exp_rotation

__all__ = [
    "Covariance",
    "Linear",
    "Normal",
    "PointPrior",
    "Problem",
    "Solution",
    "State",
    "bent",
    "cost",
    "covariance",
    "fitted_cov",
    "huber_weight",
    "linearise",
    "normal_equations",
    "solve",
    "update",
    "world_points",
]


def update(problem: Problem, state: State, step: Array, point_step: Array) -> State:
    """The state after a step of the shared parameters (K,) and of the free points (M, 3)."""
    new = state.copy()
    for c, columns in enumerate(problem.lens_columns):
        new.lenses[c] = state.lenses[c] + step[columns]
    photo = step[problem.photo_columns]
    new.photo_rotation = _turned(photo[:, :3], state.photo_rotation)
    new.photo_translation = state.photo_translation + photo[:, 3:6]
    new.focus = state.focus + photo[:, 6]
    if len(problem.body_ids):
        body = np.where(problem.body_columns >= 0, step[problem.body_columns], 0.0)
        new.body_rotation = _turned(body[:, :3], state.body_rotation)
        new.body_translation = state.body_translation + body[:, 3:6]
        new.body_scale = state.body_scale + body[:, 6:8]
        new.body_curl = state.body_curl + body[:, 8:11]
        new.print_scale = state.print_scale + step[problem.print_columns]
    if problem.plane:
        new.plane = state.plane + step[problem.plane_columns]
    new.points[problem.schur_points] += point_step
    for m in problem.shared_points:
        new.points[m] += step[problem.point_columns[m]]
    return new


def _turned(w: Array, rotation: Array) -> Array:
    out = exp_rotation(w) @ rotation
    u, _, vt = np.linalg.svd(out)  # keeps rotations orthonormal over many steps
    return np.asarray(u @ vt)


def huber_weight(norm: Array, limit: float) -> Array:
    """Weight of a sighting with normalized residual ``norm``: 1 up to ``limit``, then limit / norm."""
    return np.where(norm <= limit, 1.0, limit / np.maximum(norm, 1e-300))


def cost(problem: Problem, state: State, base: Array, huber: float | None) -> float:
    """Half the (robust) sum of squares; inf where a used point lies behind its camera."""
    linear = linearise(problem, state, jacobian=False)
    if np.any((linear.depth <= 0) & (base > 0)):
        return float("inf")
    square = np.sum(linear.white**2, axis=1)
    if huber is not None:
        norm = np.sqrt(square)
        square = np.where(norm <= huber, square, 2 * huber * norm - huber * huber)
    total = float(base @ square)
    if problem.point_prior is not None:
        total += float(np.sum(problem.point_prior.whitened(state.points)[problem.schur_points] ** 2))
    for condition in problem.conditions(state):
        r, _ = condition.whitened()
        total += float(r @ r)
    return 0.5 * total


@dataclass
class Solution:
    """Where a least-squares run ended."""

    state: State
    linear: Linear
    weight: Array
    """(N,) base weight times robust weight"""
    normal: Normal
    iterations: int
    converged: bool
    cost: float


def solve(
    problem: Problem,
    state: State,
    base: Array,
    *,
    huber: float | None = None,
    iterations: int = 40,
    damping: float = 0.0,
    tolerance: float = 1e-6,
    progress: Callable[[int, float], None] | None = None,
) -> Solution:
    """Levenberg-Marquardt with analytic normal equations.

    ``base`` (N,) switches sightings off (0) or weights them. With ``huber`` the robust cost of that limit is minimised
    (iteratively reweighted). Stops when the expected drop of half the sum of squares is below ``tolerance``: parameters
    are then within sqrt(2 tolerance) of their own standard deviations. Raises :class:`MeasureError` where the normal
    equations are singular beyond repair.
    """
    now = cost(problem, state, base, huber)
    lam = damping
    done, count = False, 0
    free = np.nonzero(problem.free)[0]
    for count in range(1, iterations + 1):
        linear = linearise(problem, state)
        weight = base
        if huber is not None:
            weight = base * huber_weight(np.sqrt(np.sum(linear.white**2, axis=1)), huber)
        normal = normal_equations(problem, state.points, linear, problem.conditions(state), weight)
        accepted = False
        for _ in range(12):
            inverse = point_inverse(normal, lam)
            s, g = reduced(normal, inverse, free)
            scale = 1.0 / np.sqrt(np.maximum(np.diag(s), 1e-300))
            try:
                factor = scipy.linalg.cho_factor(
                    s * scale[:, None] * scale + max(lam, 1e-14) * np.eye(len(s)), lower=True, check_finite=False
                )
            except np.linalg.LinAlgError:
                lam = max(10 * lam, 1e-6)
                continue
            step = np.zeros(problem.size)
            step[free] = scale * scipy.linalg.cho_solve(factor, g * scale, check_finite=False)
            back = normal.point_gradient - (normal.coupling.T @ step).reshape(-1, 3)
            point_step = np.einsum("mij,mj->mi", inverse, back)
            expected = 0.5 * float(step[free] @ g)
            trial = update(problem, state, step, point_step)
            new = cost(problem, trial, base, huber)
            if np.isfinite(new) and new <= now + 1e-9 * (1 + abs(now)):
                accepted = True
                break
            if expected < tolerance:
                break
            lam = max(10 * lam, 1e-6)
        if not accepted:
            done = expected < tolerance if np.isfinite(now) else False
            break
        drop = now - new
        state, now = trial, new
        lam = 0.0 if lam < 1e-7 else lam / 10
        if progress:
            progress(count, now)
        if expected < tolerance or (huber is not None and drop < 1e-4 * (1 + 1e-4 * now) and expected < 1e-2):
            done = True
            break
    linear = linearise(problem, state)
    weight = base
    if huber is not None:
        weight = base * huber_weight(np.sqrt(np.sum(linear.white**2, axis=1)), huber)
    normal = normal_equations(problem, state.points, linear, problem.conditions(state), weight)
    return Solution(state, linear, weight, normal, count, done, now)
