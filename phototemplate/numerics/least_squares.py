"""Least squares: one kernel for every fit of the project. It says whether it converged, and callers have to ask.

:func:`minimise` is the loop (Gauss-Newton with the damping of K. Levenberg, Quart. Appl. Math. 2 (1944) 164-168, and D. W.
Marquardt, SIAM J. Appl. Math. 11 (1963) 431-441) over problems that solve their own normal equations, such as a bundle
adjustment. :func:`fit` is the same for a function with a dense Jacobian, solved by orthogonal decomposition with scaled columns
(never by the normal equations), and gives the covariance.

It stops when the expected drop of half the sum of squares falls below ``tolerance``: the parameters are then within
``sqrt(2 tolerance)`` of their own standard deviations of the minimum.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg

from phototemplate.model import Array
from phototemplate.numerics import constants as k

S = TypeVar("S")
T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)


class Linearised(Protocol[T_co]):
    """A problem linearised at a state."""

    def step(self, damping: float) -> tuple[T_co, float]:
        """The step to the minimum and the drop of the cost expected of it.

        ``damping`` is added to the diagonal, relative to it. Raises ``numpy.linalg.LinAlgError`` where there is no solution.
        """
        ...


@dataclass(frozen=True)
class Minimum(Generic[S]):
    """Where a search ended."""

    state: S
    cost: float
    """Half the (robust) sum of squares"""
    iterations: int
    converged: bool
    """Nothing more than the tolerance was to be gained. Where this is False the state is no solution."""


def minimise(
    start: S,
    cost: Callable[[S], float],
    linearise: Callable[[S], Linearised[T]],
    move: Callable[[S, T], S],
    *,
    iterations: int = 40,
    tolerance: float = 1e-6,
    damping: float = 0.0,
    robust: bool = False,
) -> Minimum[S]:
    """Minimise ``cost`` from ``start``.

    ``cost`` gives half the sum of squares (inf where a state is impossible), ``linearise`` the problem at a state, ``move``
    the state after a step. ``robust``: weights follow the residuals, so that the expected drop never quite ends; the search
    then also ends with a small drop. Raises ``numpy.linalg.LinAlgError`` where no damping makes the first step possible.
    """
    state, now, lam = start, cost(start), damping
    count = 0
    for count in range(1, iterations + 1):
        at = linearise(state)
        trial: S | None = None
        new, expected = math.inf, math.inf
        for _ in range(k.DAMPING_TRIES):
            try:
                step, expected = at.step(lam)
            except np.linalg.LinAlgError:
                lam = max(k.DAMPING_FACTOR * lam, k.LEAST_DAMPING)
                continue
            moved = move(state, step)
            new = cost(moved)
            if math.isfinite(new) and new <= now + k.COST_ROUNDING * (1 + abs(now)):
                trial = moved
                break
            if expected < tolerance:
                break
            lam = max(k.DAMPING_FACTOR * lam, k.LEAST_DAMPING)
        if trial is None:
            if math.isinf(expected):
                raise np.linalg.LinAlgError("the normal equations are singular")
            return Minimum(state, now, count, expected < tolerance and math.isfinite(now))
        drop = now - new
        state, now = trial, new
        lam = 0.0 if lam < k.NO_DAMPING else lam / k.DAMPING_FACTOR
        settled = robust and drop < k.ROBUST_DROP * (1 + k.ROBUST_DROP * now) and expected < k.ROBUST_EXPECTED
        if expected < tolerance or settled:
            return Minimum(state, now, count, True)
    return Minimum(state, now, count, False)


def huber_weight(norm: Array, limit: float) -> Array:
    """Weight of an observation with normalized residual ``norm``: 1 up to ``limit``, then limit / norm (Huber 1964)."""
    return np.where(norm <= limit, 1.0, limit / np.maximum(norm, 1e-300))


def huber_square(norm: Array, limit: float) -> Array:
    """Huber's loss in place of the square of ``norm``: linear beyond ``limit``."""
    return np.where(norm <= limit, norm * norm, 2 * limit * norm - limit * limit)


@dataclass(frozen=True)
class Fit:
    """Solution of a dense problem ``observed = f(x) + e``."""

    x: Array
    """(p,)"""
    cov: Array
    """(p, p) at unit weight: observations whitened beforehand have it to the full; multiply by ``s**2`` where their
    variance is estimated from the residuals"""
    residuals: Array
    """(n,) observed minus fitted, whitened as given"""
    cost: float
    dof: int
    iterations: int
    converged: bool

    @property
    def s(self) -> float:
        """Residual standard deviation (of unit weight); NaN without redundancy."""
        return math.sqrt(float(self.residuals @ self.residuals) / self.dof) if self.dof > 0 else math.nan

    @property
    def u(self) -> Array:
        """(p,) standard uncertainties, the observations' variance estimated from their residuals."""
        return np.asarray(self.s * np.sqrt(np.diag(self.cov)))


@dataclass(frozen=True)
class _Dense:
    """Residuals and Jacobian at a state, solved by QR."""

    residual: Array
    jac: Array

    def decomposed(self, damping: float) -> tuple[Array, Array, Array, Array]:
        """Lengths of the Jacobian's columns (p,), the Jacobian with columns of length one and damping below it, its Q and R."""
        scale = np.linalg.norm(self.jac, axis=0)
        if not np.all(np.isfinite(scale)) or not np.all(scale > 0):
            raise np.linalg.LinAlgError("a parameter has no influence")
        rows = self.jac / scale
        if damping > 0:
            rows = np.vstack([rows, math.sqrt(damping) * np.eye(len(scale))])
        q, r = np.linalg.qr(rows)
        if np.abs(np.diag(r)).min() < max(rows.shape) * np.finfo(float).eps:  # the rounding of the decomposition
            raise np.linalg.LinAlgError("the parameters cannot be told apart")
        return scale, rows, q, r

    def step(self, damping: float) -> tuple[Array, float]:
        scale, rows, q, r = self.decomposed(damping)
        right = np.concatenate([self.residual, np.zeros(len(q) - len(self.residual))])
        along = q.T @ right
        step = linalg.solve_triangular(r, along)
        # one step of refinement recovers the digits that the first solution loses on ill-conditioned data
        step = step + linalg.solve_triangular(r, q.T @ (right - rows @ step))
        return step / scale, 0.5 * float(along @ along)


def fit(
    function: Callable[[Array], tuple[Array, Array]],
    start: ArrayLike,
    *,
    huber: float | None = None,
    iterations: int = 50,
    tolerance: float = 1e-10,
    damping: float = 0.0,
) -> Fit:
    """Least squares of ``function``, which gives whitened residuals ``observed - f(x)`` (n,) and the Jacobian of f (n, p).

    With ``huber`` the robust cost of that limit is minimised by reweighting. Raises ``numpy.linalg.LinAlgError`` where the
    observations do not determine the parameters. Look at ``converged`` before using ``x``.
    """

    def weighted(x: Array) -> _Dense:
        residual, jac = function(x)
        if huber is None:
            return _Dense(residual, jac)
        root = np.sqrt(huber_weight(np.abs(residual), huber))
        return _Dense(residual * root, jac * root[:, None])

    def cost(x: Array) -> float:
        residual, _ = function(x)
        return 0.5 * float(residual @ residual if huber is None else huber_square(np.abs(residual), huber).sum())

    found = minimise(
        np.asarray(start, dtype=np.float64), cost, weighted, lambda x, step: x + step,
        iterations=iterations, tolerance=tolerance, damping=damping, robust=huber is not None,
    )  # fmt: skip
    at = weighted(found.state)
    scale, _, _, r = at.decomposed(0.0)
    inverse = linalg.solve_triangular(r, np.eye(len(scale))) / scale[:, None]
    residual, _ = function(found.state)
    return Fit(
        found.state, inverse @ inverse.T, residual, found.cost, len(residual) - len(scale), found.iterations, found.converged
    )
