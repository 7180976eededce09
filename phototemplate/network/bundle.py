"""The least-squares engine: linearise, form reduced normal equations, step, and give covariances.

Unknowns are the shared parameters (lenses, photos, bodies, print scales; a few hundred) and free points. Free points are
eliminated by the Schur complement: with N the shared block, V the point blocks and W their coupling, the reduced
information is ``S = N - W V^-1 W^T`` (Brown 1958; Triggs, McLauchlan, Hartley, Fitzgibbon, "Bundle adjustment - a modern
synthesis", 2000, section 6). All Jacobians are analytic, rotations are updated by left perturbations.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import scipy.linalg

from phototemplate.errors import MeasureError
from phototemplate.model import Array, IntArray
from phototemplate.network import layout
from phototemplate.network.observations import Condition
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation


@dataclass
class State:
    """Current values of everything that is adjusted."""

    lenses: list[Array]
    """per camera (p,)"""
    photo_rotation: Array
    """(P, 3, 3) cam_from_world"""
    photo_translation: Array
    """(P, 3)"""
    focus: Array
    """(P,)"""
    body_rotation: Array
    """(B, 3, 3) world_from_target"""
    body_translation: Array
    """(B, 3)"""
    body_scale: Array
    """(B, 2)"""
    body_curl: Array
    """(B, 3)"""
    print_scale: Array
    """(Q, 2) common print scale per batch"""
    plane: Array
    """(3,) height and slopes of the common plane of the sheets (single photo only)"""
    points: Array
    """(M, 3) world, free points"""

    def copy(self) -> State:
        """A copy that can be changed."""
        return State(
            [p.copy() for p in self.lenses],
            *(
                a.copy()
                for a in (
                    self.photo_rotation,
                    self.photo_translation,
                    self.focus,
                    self.body_rotation,
                    self.body_translation,
                    self.body_scale,
                    self.body_curl,
                    self.print_scale,
                    self.plane,
                    self.points,
                )
            ),
        )


@dataclass(frozen=True)
class PointPrior:
    """Free points expected at places known beforehand, each coordinate for itself."""

    mean: Array
    """(M, 3) world"""
    sigma: Array
    """(3,) standard deviations along the world's axes, mm"""

    def whitened(self, points: Array) -> Array:
        """(M, 3) distance of points from where they are expected, in standard deviations."""
        return np.asarray((self.mean - points) / self.sigma)


@dataclass
class Problem:
    """What is adjusted and from which sightings; the values are in a :class:`State`."""

    camera_ids: list[str]
    camera_models: list[str]
    photo_ids: list[str]
    photo_camera: IntArray
    """(P,)"""
    body_ids: list[str]
    body_batch: IntArray
    """(B,) batch of the print scale"""
    batches: list[str]
    point_ids: list[tuple[str, int]]
    # sightings, sorted by photo, then body, then point
    photo: IntArray
    body: IntArray
    """(N,) or -1 for free points"""
    point: IntArray
    """(N,) or -1 for points of bodies"""
    local: Array
    """(N, 3) in the body's frame"""
    uv: Array
    """(N, 2)"""
    root: Array
    """(N, 2, 2) with root^T root = cov^-1"""
    conditions: Callable[[State], Sequence[Condition]] = lambda state: ()
    curl: frozenset[int] = frozenset()
    """Bodies whose curl is adjusted"""
    shared_points: tuple[int, ...] = ()
    """Free points that are kept among the shared parameters because a known length ends there"""
    plane: bool = False
    """The common plane of the sheets is adjusted"""
    fixed: frozenset[str] = frozenset()
    """Names of shared parameters held at their values (the datum)"""
    point_prior: PointPrior | None = None
    """Where the free points are expected; not for those that a known length ends at"""
    names: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.arrange()

    def arrange(self) -> None:
        """(Re)number the columns; call after changing ``curl``, ``shared_points``, ``plane`` or ``fixed``."""
        names: list[str] = []

        def take(new: Sequence[str]) -> IntArray:
            names.extend(new)
            return np.arange(len(names) - len(new), len(names), dtype=np.int64)

        self.lens_columns = [
            take(layout.lens_names(c, lens.LENS_MODELS[m].names))
            for c, m in zip(self.camera_ids, self.camera_models, strict=True)
        ]
        self.photo_columns = np.array([take(layout.photo_names(p)) for p in self.photo_ids]).reshape(-1, 7)
        self.body_columns = np.full((len(self.body_ids), 11), -1, dtype=np.int64)
        for b, t in enumerate(self.body_ids):
            columns = take(layout.body_names(t, b in self.curl))
            self.body_columns[b, : len(columns)] = columns
        self.print_columns = np.array([take(layout.print_names(b)) for b in self.batches]).reshape(-1, 2)
        self.plane_columns = take([f"plane:{c}" for c in layout.PLANE]) if self.plane else np.zeros(0, dtype=np.int64)
        self.point_columns = np.full((len(self.point_ids), 3), -1, dtype=np.int64)
        for m in self.shared_points:
            self.point_columns[m] = take(layout.point_names(*self.point_ids[m]))
        self.names = tuple(names)
        self.free = np.array([n not in self.fixed for n in names], dtype=bool)
        # Free points proper are numbered 0.. in the order of point_ids; shared ones have -1.
        self.schur_index = np.full(len(self.point_ids), -1, dtype=np.int64)
        proper = [m for m in range(len(self.point_ids)) if self.point_columns[m, 0] < 0]
        self.schur_index[proper] = np.arange(len(proper))
        self.schur_points = np.array(proper, dtype=np.int64)
        self._group()

    def _group(self) -> None:
        """Runs of sightings that depend on the same columns."""
        key = np.where(self.body >= 0, self.body, -1)
        shared = (self.point >= 0) & (self.schur_index[self.point] < 0) if len(self.point_ids) else self.point >= 0
        key = np.where(shared, -2 - self.point, key)
        change = np.nonzero((np.diff(self.photo) != 0) | (np.diff(key) != 0))[0] + 1
        starts = np.concatenate([[0], change, [len(self.photo)]]) if len(self.photo) else np.array([0])
        self.groups: list[tuple[slice, int, int]] = [
            (slice(int(a), int(b)), int(self.photo[a]), int(key[a])) for a, b in pairwise(starts)
        ]
        self._columns: dict[tuple[int, int], tuple[IntArray, IntArray]] = {
            (p, k): self._group_columns(p, k) for _, p, k in self.groups
        }

    @property
    def size(self) -> int:
        """Number of shared parameters, fixed ones included."""
        return len(self.names)

    def group_columns(self, photo: int, key: int) -> tuple[IntArray, IntArray]:
        """Columns a group of sightings depends on, and which of the local Jacobian's columns they are."""
        return self._columns[photo, key]

    def _group_columns(self, photo: int, key: int) -> tuple[IntArray, IntArray]:
        lenses = self.lens_columns[self.photo_camera[photo]]
        columns = [lenses, self.photo_columns[photo]]
        wide = self.lens_width
        local = [np.arange(len(lenses)), wide + np.arange(7)]
        if key >= 0:
            own = self.body_columns[key]
            columns.append(own[own >= 0])
            local.append(wide + 7 + np.nonzero(own >= 0)[0])
        elif key <= -2:
            columns.append(self.point_columns[-2 - key])
            local.append(wide + 7 + np.arange(3))
        return np.concatenate(columns), np.concatenate(local)

    @property
    def lens_width(self) -> int:
        """Columns the widest lens model takes."""
        return max(len(c) for c in self.lens_columns)


@dataclass
class Linear:
    """Sightings linearised at a state, whitened by their own covariance (not by robust weights)."""

    residual: Array
    """(N, 2) measured minus computed, px"""
    white: Array
    """(N, 2)"""
    jac: Array
    """(N, 2, C) whitened: lens, photo (7), then body (11) or point (3)"""
    depth: Array
    """(N,) mm"""


def world_points(problem: Problem, state: State) -> tuple[Array, Array]:
    """World position (N, 3) of every sighting's point, and for bodies the turned local point R y (N, 3)."""
    n = len(problem.photo)
    turned, world = np.zeros((n, 3)), np.empty((n, 3))
    on_body = problem.body >= 0
    b = problem.body[on_body]
    y = bent(problem.local[on_body], state.body_scale[b], state.body_curl[b])
    turned[on_body] = np.einsum("nij,nj->ni", state.body_rotation[b], y)
    world[on_body] = turned[on_body] + state.body_translation[b]
    world[~on_body] = state.points[problem.point[~on_body]]
    return world, turned


def bent(local: Array, scale: Array, curl: Array) -> Array:
    """Print scale and curl applied to points (N, 3) with one scale (N, 2) and curl (N, 3) each."""
    x, y = local[:, 0], local[:, 1]
    z = local[:, 2] + 0.5 * curl[:, 0] * x * x + curl[:, 1] * x * y + 0.5 * curl[:, 2] * y * y
    return np.stack([scale[:, 0] * x, scale[:, 1] * y, z], axis=1)


def linearise(problem: Problem, state: State, jacobian: bool = True) -> Linear:
    """Residuals of all sightings and, if asked, their Jacobian."""
    n = len(problem.photo)
    world, turned = world_points(problem, state)
    r = state.photo_rotation[problem.photo]
    rotated = np.einsum("nij,nj->ni", r, world)
    cam = rotated + state.photo_translation[problem.photo]
    uv = np.empty((n, 2))
    wide = problem.lens_width
    jac = np.zeros((n, 2, wide + 18 if jacobian else 0))
    d_cam = np.empty((n, 2, 3))
    camera = problem.photo_camera[problem.photo]
    for c, model in enumerate(problem.camera_models):
        rows = camera == c if len(problem.camera_models) > 1 else np.ones(n, dtype=bool)
        focus = state.focus[problem.photo[rows]]
        params = np.tile(state.lenses[c], (int(rows.sum()), 1))
        params[:, 0] *= 1.0 + focus
        uv[rows], d_cam[rows], d_params = lens.project(model, params, cam[rows])
        if jacobian:
            jac[rows, :, wide + 6] = d_params[:, :, 0] * state.lenses[c][0]
            d_params[:, :, 0] *= (1.0 + focus)[:, None]
            jac[rows, :, : d_params.shape[2]] = d_params
    residual = problem.uv - uv
    white = np.einsum("nij,nj->ni", problem.root, residual)
    if not jacobian:
        return Linear(residual, white, jac, cam[:, 2])
    jac[:, :, wide : wide + 3] = np.cross(rotated[:, None, :], d_cam)
    jac[:, :, wide + 3 : wide + 6] = d_cam
    d_world = d_cam @ r
    on_body = problem.body >= 0
    jac[~on_body, :, wide + 7 : wide + 10] = d_world[~on_body]
    b, local, d = problem.body[on_body], problem.local[on_body], d_world[on_body]
    if len(b):
        rb = state.body_rotation[b]
        x, y = local[:, 0], local[:, 1]
        own = np.empty((len(b), 2, 11))
        own[:, :, :3] = np.cross(turned[on_body][:, None, :], d)
        own[:, :, 3:6] = d
        along = d @ rb  # derivative by the target's own axes
        own[:, :, 6], own[:, :, 7] = along[:, :, 0] * x[:, None], along[:, :, 1] * y[:, None]
        for k, term in enumerate((0.5 * x * x, x * y, 0.5 * y * y)):
            own[:, :, 8 + k] = along[:, :, 2] * term[:, None]
        jac[on_body, :, wide + 7 :] = own
    return Linear(residual, white, problem.root @ jac, cam[:, 2])


@dataclass
class Normal:
    """Normal equations: shared block, point blocks, coupling."""

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
    wide = problem.lens_width
    for rows, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        j = jac[rows][:, :, local].reshape(-1, len(local))
        info[np.ix_(columns, columns)] += j.T @ j
        grad[columns] += j.T @ white[rows].ravel()
        if key == -1:
            jp = jac[rows, :, wide + 7 : wide + 10]
            place = 3 * problem.schur_index[problem.point[rows]][:, None] + np.arange(3)
            block = j.reshape(-1, 2, len(local)).transpose(0, 2, 1) @ jp
            coupling[np.ix_(columns, place.ravel())] += block.transpose(1, 0, 2).reshape(len(columns), -1)
    point_info, point_grad = np.zeros((m, 3, 3)), np.zeros((m, 3))
    if m:
        free = np.nonzero((problem.body < 0) & (problem.schur_index[problem.point] >= 0))[0]
        s = problem.schur_index[problem.point[free]]
        jp, w = jac[free, :, wide + 7 : wide + 10], white[free]
        outer, g = np.einsum("nri,nrj->nij", jp, jp), np.einsum("nri,nr->ni", jp, w)
        for a in range(3):
            point_grad[:, a] = np.bincount(s, g[:, a], m)
            for b in range(3):
                point_info[:, a, b] = np.bincount(s, outer[:, a, b], m)
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


def _point_inverse(normal: Normal, damping: float) -> Array:
    """V^-1 (M, 3, 3) of the (damped) point blocks."""
    v = normal.point_information
    if not len(v):
        return np.zeros((0, 3, 3))
    trace = np.einsum("mii->m", v)
    # A point whose sightings were all rejected must not stop the others; it stays where it is.
    lift = np.where(trace > 0, (damping + 1e-14) * trace / 3, 1.0)
    return np.asarray(np.linalg.inv(v + lift[:, None, None] * np.eye(3)))


def _reduced(normal: Normal, inverse: Array, free: IntArray) -> tuple[Array, Array]:
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
            inverse = _point_inverse(normal, lam)
            s, g = _reduced(normal, inverse, free)
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


@dataclass
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
    rank_defect: int


def covariance(problem: Problem, normal: Normal) -> Covariance:
    """Invert the reduced normal equations. Raises :class:`MeasureError` where they are singular."""
    k = problem.size
    free = np.nonzero(problem.free)[0]
    inverse = _point_inverse(normal, 0.0)
    block, _ = _reduced(normal, inverse, free)
    gain = np.einsum("kmi,mij->kmj", normal.coupling.reshape(k, -1, 3), inverse)
    scale = 1.0 / np.sqrt(np.maximum(np.diag(block), 1e-300))
    try:
        chol = np.linalg.cholesky(block * scale[:, None] * scale)
        root = scipy.linalg.solve_triangular(chol, np.diag(scale), lower=True, check_finite=False)
    except np.linalg.LinAlgError:
        raise MeasureError(
            "The photos do not fix all positions (the equations are singular); add photos from other places that show "
            "several sheets at once."
        ) from None
    shared = np.zeros((k, k))
    shared[np.ix_(free, free)] = root.T @ root
    m = len(inverse)
    flat = gain.reshape(k, -1)
    point_shared = (shared @ flat).reshape(k, m, 3)
    point_cov = inverse + np.einsum("kmi,kmj->mij", gain, point_shared)
    sightings = normal.information - flat @ normal.coupling.T
    return Covariance(shared, sightings, gain, inverse, point_shared, point_cov, 0)


def fitted_cov(problem: Problem, linear: Linear, cov: Covariance) -> Array:
    """(N, 2, 2) covariance of the adjusted sightings in units of their own (whitened): ``J C J^T``."""
    out = np.empty((len(problem.photo), 2, 2))
    wide = problem.lens_width
    for rows, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        j = linear.jac[rows][:, :, local]
        c = cov.shared[np.ix_(columns, columns)]
        block = np.einsum("nri,ij,nsj->nrs", j, c, j, optimize=True)
        if key == -1:
            jp = linear.jac[rows, :, wide + 7 : wide + 10]
            s = problem.schur_index[problem.point[rows]]
            cross = -cov.point_shared[columns][:, s]  # (c, n, 3)
            mixed = np.einsum("nri,inj,nsj->nrs", j, cross, jp, optimize=True)
            block = block + mixed + mixed.transpose(0, 2, 1) + jp @ cov.point_cov[s] @ jp.transpose(0, 2, 1)
        out[rows] = block
    return out
