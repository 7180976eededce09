"""Normal equations, free points eliminated, and the covariances that follow from them.

With N the shared block, V the point blocks and W their coupling, the reduced information is ``S = N - W V^-1 W^T``
(Brown 1958; Triggs, McLauchlan, Hartley, Fitzgibbon, "Bundle adjustment - a modern synthesis", 2000, section 6).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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


@dataclass(frozen=True, eq=False)
class Normal:
    """Normal equations: shared block, point blocks, coupling. Two are the same where they are one."""

    information: Array
    """(K, K) of the sightings, before elimination"""
    gradient: Array
    """(K,)"""
    coupling: Array
    """(K, 3M)"""
    point_information: Array
    """(M, 3, 3)"""
    point_gradient: Array
    """(M, 3)"""
    conditions: Sequence[Condition]
    parts: dict[str, Array]
    """Information per group of conditions"""


def normal_equations(problem: Problem, points: Array, linear: Linear, conditions: Sequence[Condition], weight: Array) -> Normal:
    """Sum up ``J^T W J`` and ``J^T W r`` with one robust weight per sighting (N,)."""
    k, m = problem.size, len(problem.schur_points)
    info, grad = np.zeros((k, k)), np.zeros(k)
    coupling = np.zeros((k, 3 * m))
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
            place = 3 * problem.schur_index[s.point[rows]][:, None] + np.arange(3)
            block = j.reshape(-1, 2, len(local)).transpose(0, 2, 1) @ jp
            coupling[np.ix_(columns, place.ravel())] += block.transpose(1, 0, 2).reshape(len(columns), -1)
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
    parts: dict[str, Array] = {}
    for condition in conditions:
        r, j = condition.whitened()
        part = parts.setdefault(condition.group, np.zeros((k, k)))
        part[np.ix_(condition.columns, condition.columns)] += j.T @ j
        grad[condition.columns] += j.T @ r
    return Normal(info, grad, coupling, point_info, point_grad, conditions, parts)


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
    """Reduced information and gradient of the free shared parameters, all groups of observations together."""
    full = normal.information[np.ix_(free, free)]
    for part in normal.parts.values():
        full += part[np.ix_(free, free)]
    gradient = normal.gradient[free]
    if len(inverse):
        coupling = normal.coupling[free]
        half = (coupling.reshape(len(free), -1, 3).transpose(1, 0, 2) @ np.linalg.cholesky(inverse)).transpose(1, 0, 2)
        flat = np.ascontiguousarray(half.reshape(len(free), -1))
        # W V^-1 W^T by its lower triangle: half the work of a full product.
        triangle = scipy.linalg.blas.dsyrk(1.0, flat.T, trans=1, lower=1)
        full -= triangle + np.tril(triangle, -1).T
        gradient = gradient - coupling @ np.einsum("mij,mj->mi", inverse, normal.point_gradient).ravel()
    return full, gradient


@dataclass(frozen=True)
class Covariance:
    """What the normal equations say about uncertainty; unit weight as given by the sightings' covariances."""

    shared: Array
    """(K, K), zero rows for fixed parameters"""
    sightings_information: Array
    """(K, K) reduced information of the sightings alone"""
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
    gain = np.einsum("kmi,mij->kmj", normal.coupling.reshape(k, -1, 3), inverse)
    scale = 1.0 / np.sqrt(np.maximum(np.diag(block), 1e-300))
    try:
        chol = np.linalg.cholesky(block * scale[:, None] * scale)
        root = scipy.linalg.solve_triangular(chol, np.diag(scale), lower=True, check_finite=False)
    except np.linalg.LinAlgError:
        raise MeasureError(SINGULAR) from None
    shared = np.zeros((k, k))
    shared[np.ix_(free, free)] = root.T @ root
    m = len(inverse)
    flat = gain.reshape(k, -1)
    point_shared = (shared @ flat).reshape(k, m, 3)
    point_cov = inverse + np.einsum("kmi,kmj->mij", gain, point_shared)
    sightings = normal.information - flat @ normal.coupling.T
    return Covariance(shared, sightings, gain, inverse, point_shared, point_cov)


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
