"""Bundle adjustment: least squares of sightings, known lengths and priors together, and the one name for its parts.

* :mod:`~phototemplate.network.adjustment.problem`: what is adjusted (:class:`Problem`, :class:`State`);
* :mod:`~phototemplate.network.adjustment.collinearity`: sightings as functions of it, all Jacobians analytic;
* :mod:`~phototemplate.network.adjustment.pseudo_observations`: known lengths and priors (:class:`Priors`);
* :mod:`~phototemplate.network.adjustment.normal_equations`: reduced normal equations and covariances;
* here: the step, the robust cost and the solution. Rotations are updated by left perturbations.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg

from phototemplate.errors import MeasureError
from phototemplate.model import Array, IntArray
from phototemplate.network.adjustment.collinearity import Linear, bent, linearise, world_points
from phototemplate.network.adjustment.normal_equations import (
    SINGULAR,
    Covariance,
    Normal,
    covariance,
    fitted_cov,
    normal_equations,
    point_inverse,
    reduced,
)
from phototemplate.network.adjustment.problem import PointPrior, Problem, SightingTable, State
from phototemplate.network.adjustment.pseudo_observations import Conditions
from phototemplate.numerics import constants
from phototemplate.numerics.least_squares import huber_square, huber_weight, minimise
from phototemplate.numerics.rigid import exp_rotation

__all__ = [
    "Conditions",
    "Covariance",
    "Linear",
    "Normal",
    "PointPrior",
    "Problem",
    "SightingTable",
    "Solution",
    "State",
    "bent",
    "cost",
    "covariance",
    "fitted_cov",
    "linearise",
    "normal_equations",
    "solve",
    "update",
    "world_points",
]


def update(problem: Problem, state: State, step: Array, point_step: Array) -> State:
    """The state after a step of the shared parameters (K,) and of the free points (M, 3)."""
    columns = problem.columns

    def part(block: IntArray) -> Array:
        return np.where(block >= 0, step[block], 0.0) if len(step) else np.zeros(block.shape)

    pose, body = part(columns.pose), part(columns.body)
    points = state.points.copy()
    points[problem.schur_points] += point_step
    return State(
        tuple(params + part(own) for params, own in zip(state.lenses, columns.lenses, strict=True)),
        _turned(pose[:, :3], state.photo_rotation),
        state.photo_translation + pose[:, 3:],
        state.exposure + part(columns.exposure),
        _turned(body[:, :3], state.body_rotation),
        state.body_translation + body[:, 3:],
        state.body_scale + part(columns.scale),
        state.body_curl + part(columns.curl),
        state.print_scale + part(columns.prints),
        state.plane + part(columns.plane) if problem.plane else state.plane,
        points + part(columns.point),
    )


def _turned(w: Array, rotation: Array) -> Array:
    if not len(w):
        return rotation
    out = exp_rotation(w) @ rotation
    u, _, vt = np.linalg.svd(out)  # keeps rotations orthonormal over many steps
    return np.asarray(u @ vt)


def cost(problem: Problem, priors: Conditions, state: State, base: Array, huber: float | None = None) -> float:
    """Half the (robust) sum of squares; inf where a used point lies behind its camera."""
    linear = linearise(problem, state, jacobian=False)
    if np.any((linear.depth <= 0) & (base > 0)):
        return float("inf")
    square = np.sum(linear.white**2, axis=1)
    if huber is not None:
        square = huber_square(np.sqrt(square), huber)
    total = float(base @ square)
    if problem.point_prior is not None:
        total += float(np.sum(problem.point_prior.whitened(state.points)[problem.schur_points] ** 2))
    for condition in priors(problem, state):
        r, _ = condition.whitened()
        total += float(r @ r)
    return 0.5 * total


@dataclass(frozen=True)
class Solution:
    """Where a least-squares run ended."""

    state: State
    linear: Linear
    weight: Array
    """(N,) base weight times robust weight"""
    normal: Normal
    iterations: int
    converged: bool
    """Where this is False the state is no solution and its covariance that of another place"""
    cost: float


@dataclass(frozen=True)
class _Linearised:
    """The problem at a state, ready to give steps; each step is that of the shared parameters and of the free points."""

    problem: Problem
    state: State
    linear: Linear
    weight: Array
    normal: Normal

    def step(self, damping: float) -> tuple[tuple[Array, Array], float]:
        free = np.nonzero(self.problem.free)[0]
        inverse = point_inverse(self.normal, damping)
        s, g = reduced(self.normal, inverse, free)
        scale = 1.0 / np.sqrt(np.maximum(np.diag(s), 1e-300))
        s *= scale[:, None]
        s *= scale
        s[np.diag_indices(len(s))] += max(damping, constants.EVEN_DIAGONAL)
        factor = scipy.linalg.cho_factor(s.T, lower=True, overwrite_a=True, check_finite=False)
        step = np.zeros(self.problem.size)
        step[free] = scale * scipy.linalg.cho_solve(factor, g * scale, check_finite=False)
        back = self.normal.point_gradient.copy()
        for one in self.normal.coupling:
            back[one.points] -= np.tensordot(step[one.columns], one.block, axes=1)
        return (step, np.einsum("mij,mj->mi", inverse, back)), 0.5 * float(step[free] @ g)


def solve(
    problem: Problem,
    priors: Conditions,
    state: State,
    base: Array,
    *,
    huber: float | None = None,
    iterations: int = 40,
    damping: float = 0.0,
    tolerance: float = 1e-6,
) -> Solution:
    """Least squares from ``state`` (:func:`phototemplate.numerics.least_squares.minimise`).

    ``base`` (N,) switches sightings off (0) or weights them. With ``huber`` the robust cost of that limit is minimised
    (iteratively reweighted). Stops when the expected drop of half the sum of squares is below ``tolerance``: parameters
    are then within sqrt(2 tolerance) of their own standard deviations. Raises :class:`MeasureError` where the normal
    equations are singular beyond repair; whether it converged stands in the solution.
    """

    def at(state: State) -> _Linearised:
        linear = linearise(problem, state)
        weight = base
        if huber is not None:
            weight = base * huber_weight(np.sqrt(np.sum(linear.white**2, axis=1)), huber)
        normal = normal_equations(problem, state.points, linear, priors(problem, state), weight)
        return _Linearised(problem, state, linear, weight, normal)

    try:
        found = minimise(
            state,
            lambda s: cost(problem, priors, s, base, huber),
            at,
            lambda s, step: update(problem, s, *step),
            iterations=iterations,
            tolerance=tolerance,
            damping=damping,
            robust=huber is not None,
        )
    except np.linalg.LinAlgError:
        raise MeasureError(SINGULAR) from None
    end = at(found.state)
    return Solution(found.state, end.linear, end.weight, end.normal, found.iterations, found.converged, found.cost)


def held(problem: Problem, names: frozenset[str]) -> Problem:
    """The problem with these shared parameters held at their values, and no others."""
    return problem if names == problem.fixed else replace(problem, fixed=names)
