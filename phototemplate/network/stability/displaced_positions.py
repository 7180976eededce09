"""Where a target lay in the photos that were left out because it had moved.

The photos in use fix one place of the target. From each photo left out its turn and shift within its own plane are found
again, the cameras held; photos that agree are put together, so that every place it ever lay in is stated once, with the
uncertainty that sightings, cameras and the target's first place leave.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants, photo_camera
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.numerics.least_squares import huber_square, huber_weight, minimise
from phototemplate.numerics.rigid import exp_rotation


@dataclass(frozen=True)
class DisplacedPosition:
    """One place of a target, against where the photos in use put it."""

    photos: tuple[int, ...]
    slide: Array
    """(3,) turn in rad about the target's own z, shift in mm along its x and y; inf where no photo can say"""
    noise_cov: Array
    """(3, 3) from the sightings of these photos"""
    shared_jac: Array
    """(3, K) by the adjustment's shared parameters"""
    left: Array
    """(n,) what remains of the sightings, in units of their noise"""

    def shift_mm(self, shared_cov: Array) -> tuple[float, float]:
        """Length of the shift and its standard uncertainty."""
        size = float(np.hypot(*self.slide[1:]))
        if not np.isfinite(size):
            return np.inf, np.inf
        along = np.append(0.0, self.slide[1:] / max(size, 1e-9))
        jac = along @ self.shared_jac
        return size, float(np.sqrt(along @ self.noise_cov @ along + jac @ shared_cov @ jac))


def places_of(run: Adjustment, body: int, photos: list[int], shared_cov: Array) -> list[DisplacedPosition]:
    """The places of a body in ``photos`` (indices), none of which takes part in the adjustment any more."""
    places = [fit_place(run, body, (p,)) for p in photos]
    lost = [p for p in places if not np.isfinite(p.slide).all()]
    places = [p for p in places if np.isfinite(p.slide).all()]
    size = run.half_size_mm(body)
    while len(places) > 1:
        pairs = [(_apart(a, b, shared_cov, size), i, j) for i, a in enumerate(places) for j, b in enumerate(places[:i])]
        (distance, i, j) = min(pairs)
        if distance > constants.AGREE_CHI2:
            break
        joined = fit_place(run, body, tuple(sorted((*places[i].photos, *places[j].photos))), places[j].slide)
        places = [p for k, p in enumerate(places) if k not in (i, j)] + [joined]
    if lost:
        places.append(replace(lost[0], photos=tuple(p for place in lost for p in place.photos)))
    return sorted(places, key=lambda place: place.photos)


def _apart(a: DisplacedPosition, b: DisplacedPosition, shared_cov: Array, size: float) -> float:
    """Squared distance of two places in units of its covariance; 0 where nobody would see it."""
    d, jac = a.slide - b.slide, a.shared_jac - b.shared_jac
    if np.hypot(*d[1:]) + abs(d[0]) * size < constants.SAME_MM:
        return 0.0
    return float(d @ np.linalg.solve(a.noise_cov + b.noise_cov + jac @ shared_cov @ jac.T, d))


def fit_place(
    run: Adjustment, body: int, photos: tuple[int, ...], start: Array | None = None, used: bool = False
) -> DisplacedPosition:
    """Robust least squares of one turn and shift for all sightings of a body in some photos, cameras held.

    ``used``: only for the sightings that take part in the adjustment.
    """
    problem = run.problem
    rows = np.isin(problem.sightings.photo, photos) & (problem.sightings.body == body)
    if used:
        rows &= run.used
    own = replace(problem, sightings=problem.sightings.select(rows))
    slide = _start(run, own, body) if start is None else start
    unknown = DisplacedPosition(
        photos, np.full(3, np.inf), np.full((3, 3), np.inf), np.zeros((3, problem.size)), np.full(rows.sum(), np.inf)
    )
    if slide is None:
        return unknown
    fit = _Slide(run, own, body)
    try:
        found = minimise(
            slide, fit.cost, fit.at, lambda s, step: s + step,
            iterations=constants.PLACE_ITERATIONS, tolerance=constants.PLACE_TOLERANCE, robust=True,
        )  # fmt: skip
    except np.linalg.LinAlgError:
        return unknown
    if not found.converged:
        return unknown
    end = fit.at(found.state)
    inverse = np.asarray(np.linalg.inv(end.information), dtype=np.float64)
    gain = inverse @ end.design.T
    shared = np.zeros((3, problem.size))
    for view, photo, key in own.groups:
        columns, local = problem.group_columns(photo, key)
        two = slice(2 * view.start, 2 * view.stop)
        shared[:, columns] -= gain[:, two] @ end.jac[view][:, :, local].reshape(-1, len(local))
    # A sheet that was also lifted or bent fits no place in its plane: then the place is only that well known.
    misfit = max(float(end.white @ end.white) / max(2 * len(own.sightings) - 3, 1), 1.0)
    return DisplacedPosition(photos, found.state, misfit * inverse, shared, end.left)


@dataclass(frozen=True)
class _Slide:
    """Sightings of one body as functions of its turn and shift, cameras held."""

    run: Adjustment
    own: bundle.Problem
    body: int

    def linear(self, slide: Array, jacobian: bool = True) -> bundle.Linear:
        state, body = self.run.state, self.body
        rotation, translation = state.body_rotation.copy(), state.body_translation.copy()
        x, y, z = rotation[body].T
        rotation[body] = exp_rotation(slide[0] * z) @ rotation[body]
        translation[body] = translation[body] + slide[1] * x + slide[2] * y
        return bundle.linearise(self.own, replace(state, body_rotation=rotation, body_translation=translation), jacobian)

    @property
    def noise(self) -> Array:
        """(n,) of each sighting's photo"""
        return self.run.noise_by_photo()[self.own.sightings.photo]

    def cost(self, slide: Array) -> float:
        linear = self.linear(slide, jacobian=False)
        if np.any(linear.depth <= 0):
            return float("inf")
        norm = np.linalg.norm(linear.white, axis=1) / self.noise
        return 0.5 * float(huber_square(norm, constants.PLACE_HUBER).sum() + (slide[0] / constants.TURN_SD_RAD) ** 2)

    def at(self, slide: Array) -> _SlideSystem:
        linear, noise = self.linear(slide), self.noise
        left = np.linalg.norm(linear.white, axis=1) / noise
        root = np.sqrt(huber_weight(left, constants.PLACE_HUBER)) / noise
        jac = linear.jac * root[:, None, None]
        pull = np.array([1 / constants.TURN_SD_RAD**2, 0.0, 0.0])
        return _SlideSystem(
            jac, slide_jacobian(self.run, self.body, jac), (linear.white * root[:, None]).ravel(), left, pull, slide
        )


@dataclass(frozen=True)
class _SlideSystem:
    jac: Array
    """(n, 2, C) of the adjustment, weighted"""
    design: Array
    """(2n, 3)"""
    white: Array
    """(2n,)"""
    left: Array
    """(n,)"""
    pull: Array
    slide: Array

    @property
    def information(self) -> Array:
        return np.asarray(self.design.T @ self.design + np.diag(self.pull))

    def step(self, damping: float) -> tuple[Array, float]:
        right = self.design.T @ self.white - self.pull * self.slide
        step = np.asarray(np.linalg.solve(self.information + damping * np.diag(np.diag(self.information)), right))
        return step, 0.5 * float(step @ right)


def slide_jacobian(run: Adjustment, body: int, jac: Array) -> Array:
    """(2n, 3) derivative by a body's turn about its own z and shift along its x and y, of rows (n, 2, c) of the adjustment."""
    pose = jac[:, :, run.problem.layout.body]
    x, y, z = run.state.body_rotation[body].T
    turn, shift = pose[:, :, :3] @ z, pose[:, :, 3:] @ np.column_stack([x, y])
    return np.concatenate([turn[:, :, None], shift], axis=2).reshape(-1, 3)


def _start(run: Adjustment, own: bundle.Problem, body: int) -> Array | None:
    """Turn and shift (3,) that bring the printed points onto where the rays meet the body's plane; None if they do not."""
    rotation, origin = run.state.body_rotation[body], run.state.body_translation[body]
    seen, printed = [], []
    for view, photo, _ in own.groups:
        camera = own.photo_camera[photo]
        turn, shift = run.state.photo_rotation[photo], run.state.photo_translation[photo]
        eyes, ways = photo_camera.unproject(
            own.camera_models[camera], run.state.lenses[camera], run.state.exposure[photo], own.sensors[camera],
            own.sightings.uv[view],
        )  # fmt: skip
        eye = ((eyes - shift) @ turn - origin) @ rotation
        ray = ways @ turn @ rotation
        towards = eye[:, 2] * ray[:, 2] < -1e-6 * np.abs(eye[:, 2])
        if towards.any():
            eye, ray = eye[towards], ray[towards]
            seen.append(eye[:, :2] - (eye[:, 2] / ray[:, 2])[:, None] * ray[:, :2])
            printed.append(own.sightings.local[view][towards, :2] * run.state.body_scale[body])
    if not seen:
        return None
    a, b = np.concatenate(printed), np.concatenate(seen)
    p, q = a - a.mean(axis=0), b - b.mean(axis=0)
    angle = np.arctan2(np.sum(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]), np.sum(p * q)) if len(a) > 1 else 0.0
    c, s = np.cos(angle), np.sin(angle)
    moved = b.mean(axis=0) - np.array([[c, -s], [s, c]]) @ a.mean(axis=0)
    return np.array([angle, *moved])
