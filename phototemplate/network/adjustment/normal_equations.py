"""Normal equations, free points eliminated, and the covariances that follow from them.

With N the shared block, V the point blocks and W their coupling, the reduced information is ``S = N - W V^-1 W^T``
(Brown 1958; Triggs, McLauchlan, Hartley, Fitzgibbon, "Bundle adjustment - a modern synthesis", 2000, section 6). W is kept and
multiplied block by block: a point is coupled only with the photos that see its target.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from weakref import WeakKeyDictionary

import numpy as np
import scipy.linalg

from phototemplate.errors import MeasureError
from phototemplate.model import Array, IntArray
from phototemplate.network.adjustment.collinearity import Linear
from phototemplate.network.adjustment.known_lengths import Condition
from phototemplate.network.adjustment.problem import Problem

SINGULAR = (
    "The photos do not fix all positions (the equations are singular); add photos from other places that show several "
    "sheets at once."
)


@dataclass(frozen=True)
class Coupling:
    """What couples the free points of one target with the shared parameters; the other rows are zero."""

    columns: IntArray
    """(c,) of the shared parameters"""
    points: IntArray
    """(m,) numbers of the points among those eliminated"""
    block: Array
    """(c, m, 3)"""

    def times(self, factors: Array) -> Array:
        """(c, 3m) the block times a matrix (3, 3) of each of all points (M, 3, 3)."""
        product = self.block.transpose(1, 0, 2) @ factors[self.points]
        return np.ascontiguousarray(product.transpose(1, 0, 2)).reshape(len(self.columns), -1)


@dataclass(frozen=True, eq=False)
class Normal:
    """Normal equations: shared block, point blocks, coupling. Two are the same where they are one."""

    information: Array
    """(K, K) of the sightings and all conditions, before elimination"""
    gradient: Array
    """(K,)"""
    coupling: Sequence[Coupling]
    """Every free point is in one"""
    point_information: Array
    """(M, 3, 3)"""
    point_gradient: Array
    """(M, 3)"""
    conditions: Sequence[Condition]


def normal_equations(problem: Problem, points: Array, linear: Linear, conditions: Sequence[Condition], weight: Array) -> Normal:
    """Sum up ``J^T W J`` and ``J^T W r`` with one robust weight per sighting (N,)."""
    k, m = problem.size, len(problem.schur_points)
    info, grad = np.zeros((k, k)), np.zeros(k)
    coupling = np.zeros((k, m, 3))
    root = np.sqrt(weight)
    jac, white = linear.jac, linear.white
    if np.any(weight != 1.0):
        jac, white = jac * root[:, None, None], white * root[:, None]
    s, point = problem.sightings, problem.layout.point
    for rows, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        j = jac[rows][:, :, local].reshape(-1, len(local))
        info[np.ix_(columns, columns)] += j.T @ j
        grad[columns] += j.T @ white[rows].ravel()
        if key == -1:
            jp = jac[rows, :, point]
            block = j.reshape(-1, 2, len(local)).transpose(0, 2, 1) @ jp
            coupling[columns[:, None], problem.schur_index[s.point[rows]]] += block.transpose(1, 0, 2)
    point_info, point_grad = np.zeros((m, 3, 3)), np.zeros((m, 3))
    if m:
        free = np.nonzero((s.body < 0) & (problem.schur_index[s.point] >= 0))[0]
        own = problem.schur_index[s.point[free]]
        jp, w = jac[free, :, point], white[free]
        outer, g = np.einsum("nri,nrj->nij", jp, jp), np.einsum("nri,nr->ni", jp, w)
        for a in range(3):
            point_grad[:, a] = np.bincount(own, g[:, a], m)
            for b in range(3):
                point_info[:, a, b] = np.bincount(own, outer[:, a, b], m)
    if m and problem.point_prior is not None:
        prior = problem.point_prior
        off = prior.whitened(points)[problem.schur_points]
        point_info += np.diag(1.0 / prior.sigma**2)
        point_grad += off / prior.sigma
    for condition in conditions:
        condition.add_to(info, grad)
    blocks = [Coupling(columns, own, coupling[columns[:, None], own]) for columns, own in problem.point_blocks]
    return Normal(info, grad, blocks, point_info, point_grad, conditions)


def point_inverse(normal: Normal, damping: float) -> Array:
    """V^-1 (M, 3, 3) of the (damped) point blocks."""
    v = normal.point_information
    if not len(v):
        return np.zeros((0, 3, 3))
    trace = np.einsum("mii->m", v)
    # A point whose sightings were all rejected must not stop the others; it stays where it is.
    lift = np.where(trace > 0, (damping + 1e-14) * trace / 3, 1.0)
    return np.asarray(np.linalg.inv(v + lift[:, None, None] * np.eye(3)))


def reduced(normal: Normal, inverse: Array, free: IntArray) -> tuple[Array, Array]:
    """Reduced information and gradient of the free shared parameters, all observations together."""
    full, gradient = _within(normal.information, free), normal.gradient[free]
    if len(inverse):
        place = np.full(len(normal.gradient), -1, dtype=np.int64)
        place[free] = np.arange(len(free))
        root = np.asarray(np.linalg.cholesky(inverse), dtype=np.float64)
        moved = np.einsum("mij,mj->mi", inverse, normal.point_gradient)
        for one in normal.coupling:
            own = place[one.columns]
            adjusted = own >= 0
            own = own[adjusted]
            # W V^-1 W^T by its lower triangle: half the work of a full product.
            triangle = scipy.linalg.blas.dsyrk(1.0, one.times(root)[adjusted].T, trans=1, lower=1)
            full[own[:, None], own] -= triangle + np.tril(triangle, -1).T
            gradient[own] -= np.tensordot(one.block[adjusted], moved[one.points], axes=2)
    return full, gradient


def _within(matrix: Array, free: IntArray) -> Array:
    """Rows and columns of a matrix, whole runs of columns at a time: few are left out of many."""
    rows, out = matrix[free], np.empty((len(free), len(free)))
    starts = np.append(0, np.flatnonzero(np.diff(free) != 1) + 1)
    for a, b in pairwise([*starts.tolist(), len(free)]):
        if b > a:
            out[:, a:b] = rows[:, free[a] : free[a] + b - a]
    return out


@dataclass(frozen=True)
class Covariance:
    """What the normal equations say about uncertainty; unit weight as given by the sightings' covariances."""

    shared: Array
    """(K, K), zero rows for fixed parameters"""
    gain: Array
    """(K, M, 3) ``W V^-1``: minus its transpose is how free points follow the shared parameters"""
    point_noise: Array
    """(M, 3, 3) V^-1"""
    point_shared: Array
    """(K, M, 3) ``C W V^-1`` : minus it is the covariance of shared parameters with the free points"""
    point_cov: Array
    """(M, 3, 3)"""


_INVERTED: WeakKeyDictionary[Normal, tuple[IntArray, Covariance]] = WeakKeyDictionary()


def covariance(problem: Problem, normal: Normal) -> Covariance:
    """Invert the reduced normal equations. Raises :class:`MeasureError` where they are singular.

    Every test of one solution asks for it: it is remembered for as long as those normal equations are.
    """
    free = np.nonzero(problem.free)[0]
    known = _INVERTED.get(normal)
    if known is None or not np.array_equal(known[0], free):
        known = _INVERTED[normal] = free, _inverted(problem.size, normal, free)
    return known[1]


def _inverted(k: int, normal: Normal, free: IntArray) -> Covariance:
    inverse = point_inverse(normal, 0.0)
    block, _ = reduced(normal, inverse, free)
    scale = 1.0 / np.sqrt(np.maximum(np.diag(block), 1e-300))
    try:
        chol = np.linalg.cholesky(block * scale[:, None] * scale)
    except np.linalg.LinAlgError:
        raise MeasureError(SINGULAR) from None
    triangle, _ = scipy.linalg.lapack.dpotri(chol, lower=1, overwrite_c=1)
    triangle = np.tril(triangle) * scale[:, None] * scale
    shared = np.zeros((k, k))
    shared[np.ix_(free, free)] = triangle + np.tril(triangle, -1).T
    m = len(inverse)
    gain, point_shared, point_cov = np.zeros((k, m, 3)), np.zeros((k, m, 3)), inverse.copy()
    for one in normal.coupling:
        flat = one.times(inverse)
        own, all_rows = flat.reshape(one.block.shape), shared[:, one.columns] @ flat
        gain[one.columns[:, None], one.points] = own
        point_shared[:, one.points] = all_rows.reshape(k, -1, 3)
        point_cov[one.points] += np.einsum("kmi,kmj->mij", own, point_shared[one.columns[:, None], one.points])
    return Covariance(shared, gain, inverse, point_shared, point_cov)


def fitted_cov(problem: Problem, linear: Linear, cov: Covariance) -> Array:
    """(N, 2, 2) covariance of the adjusted sightings in units of their own (whitened): ``J C J^T``."""
    out = np.empty((len(problem.sightings), 2, 2))
    point = problem.layout.point
    for rows, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        j = linear.jac[rows][:, :, local]
        c = cov.shared[np.ix_(columns, columns)]
        block = np.einsum("nri,ij,nsj->nrs", j, c, j, optimize=True)
        if key == -1:
            jp = linear.jac[rows, :, point]
            s = problem.schur_index[problem.sightings.point[rows]]
            cross = -cov.point_shared[columns][:, s]  # (c, n, 3)
            mixed = np.einsum("nri,inj,nsj->nrs", j, cross, jp, optimize=True)
            block = block + mixed + mixed.transpose(0, 2, 1) + jp @ cov.point_cov[s] @ jp.transpose(0, 2, 1)
        out[rows] = block
    return out
