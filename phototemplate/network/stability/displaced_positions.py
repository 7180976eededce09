"""Where a target lay in the photos that were left out because it had moved.

The photos in use fix one place of the target. From each photo left out its turn and shift within its own plane are found
again, the cameras held; photos that agree are put together, so that every place it ever lay in is stated once, with the
uncertainty that sightings, cameras and the target's first place leave.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.model import Array
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.progress_state import Run
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation

_TURN_SD = 1.0
"""Weak expectation of a turn in rad, for photos that show one point only"""
_AGREE = 16.27
"""0.1 % point of chi-squared with 3 degrees of freedom: places that differ by less are one"""
_SAME_MM = 0.5
"""So are places that differ by less than anybody would care"""
_ITERATIONS = 12


@dataclass(frozen=True)
class Place:
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


def places_of(run: Run, body: int, photos: list[int], shared_cov: Array) -> list[Place]:
    """The places of a body in ``photos`` (indices), none of which takes part in the adjustment any more."""
    places = [fit_place(run, body, (p,)) for p in photos]
    lost = [p for p in places if not np.isfinite(p.slide).all()]
    places = [p for p in places if np.isfinite(p.slide).all()]
    size = run.half_size_mm(body)
    while len(places) > 1:
        pairs = [(_apart(a, b, shared_cov, size), i, j) for i, a in enumerate(places) for j, b in enumerate(places[:i])]
        (distance, i, j) = min(pairs)
        if distance > _AGREE:
            break
        joined = fit_place(run, body, tuple(sorted((*places[i].photos, *places[j].photos))), places[j].slide)
        places = [p for k, p in enumerate(places) if k not in (i, j)] + [joined]
    if lost:
        places.append(replace(lost[0], photos=tuple(p for place in lost for p in place.photos)))
    return sorted(places, key=lambda place: place.photos)


def _apart(a: Place, b: Place, shared_cov: Array, size: float) -> float:
    """Squared distance of two places in units of its covariance; 0 where nobody would see it."""
    d, jac = a.slide - b.slide, a.shared_jac - b.shared_jac
    if np.hypot(*d[1:]) + abs(d[0]) * size < _SAME_MM:
        return 0.0
    return float(d @ np.linalg.solve(a.noise_cov + b.noise_cov + jac @ shared_cov @ jac.T, d))


def fit_place(run: Run, body: int, photos: tuple[int, ...], start: Array | None = None, used: bool = False) -> Place:
    """Robust least squares of one turn and shift for all sightings of a body in some photos, cameras held.

    ``used``: only for the sightings that take part in the adjustment.
    """
    problem = run.problem
    rows = np.isin(problem.photo, photos) & (problem.body == body)
    if used:
        rows &= run.base > 0
    own = replace(
        problem, photo=problem.photo[rows], body=problem.body[rows], point=problem.point[rows], local=problem.local[rows],
        uv=problem.uv[rows], root=problem.root[rows],
    )  # fmt: skip
    slide = _start(run, own, body) if start is None else start
    unknown = Place(
        photos, np.full(3, np.inf), np.full((3, 3), np.inf), np.zeros((3, problem.size)), np.full(rows.sum(), np.inf)
    )
    if slide is None:
        return unknown
    x, y, z = run.state.body_rotation[body].T
    pull = np.array([1 / _TURN_SD**2, 0.0, 0.0])
    noise = run.noise_by_photo()[own.photo]
    for _ in range(_ITERATIONS):
        state = run.state.copy()
        state.body_rotation[body] = exp_rotation(slide[0] * z) @ state.body_rotation[body]
        state.body_translation[body] += slide[1] * x + slide[2] * y
        linear = bundle.linearise(own, state)
        if np.any(linear.depth <= 0):
            return unknown
        left = np.linalg.norm(linear.white, axis=1) / noise
        root = np.sqrt(bundle.huber_weight(left, 3.0)) / noise
        jac = linear.jac * root[:, None, None]
        j = slide_jacobian(run, body, jac)
        white = (linear.white * root[:, None]).ravel()
        inverse = np.asarray(np.linalg.inv(j.T @ j + np.diag(pull)), dtype=np.float64)
        step = inverse @ (j.T @ white - pull * slide)
        slide = slide + step
        if abs(step[0]) * 100 + np.hypot(*step[1:]) < 1e-4:
            break
    gain = inverse @ j.T
    shared = np.zeros((3, problem.size))
    for view, photo, key in own.groups:
        columns, local = problem.group_columns(photo, key)
        two = slice(2 * view.start, 2 * view.stop)
        shared[:, columns] -= gain[:, two] @ jac[view][:, :, local].reshape(-1, len(local))
    # A sheet that was also lifted or bent fits no place in its plane: then the place is only that well known.
    misfit = max(float(white @ white) / max(2 * len(own.photo) - 3, 1), 1.0)
    return Place(photos, slide, misfit * inverse, shared, left)


def slide_jacobian(run: Run, body: int, jac: Array) -> Array:
    """(2n, 3) derivative by a body's turn about its own z and shift along its x and y, of rows (n, 2, c) of the adjustment."""
    wide = run.problem.lens_width
    x, y, z = run.state.body_rotation[body].T
    turn = jac[:, :, wide + 7 : wide + 10] @ z
    shift = jac[:, :, wide + 10 : wide + 13] @ np.column_stack([x, y])
    return np.concatenate([turn[:, :, None], shift], axis=2).reshape(-1, 3)


def _start(run: Run, own: bundle.Problem, body: int) -> Array | None:
    """Turn and shift (3,) that bring the printed points onto where the rays meet the body's plane; None if they do not."""
    rotation, origin = run.state.body_rotation[body], run.state.body_translation[body]
    seen, printed = [], []
    for view, photo, _ in own.groups:
        camera = own.photo_camera[photo]
        params = run.state.lenses[camera].copy()
        params[0] *= 1 + run.state.focus[photo]
        turn, shift = run.state.photo_rotation[photo], run.state.photo_translation[photo]
        eye = rotation.T @ (-turn.T @ shift - origin)
        ray = lens.unproject(own.camera_models[camera], params, own.uv[view]) @ turn @ rotation
        towards = eye[2] * ray[:, 2] < -1e-6 * abs(eye[2])
        if towards.any():
            ray = ray[towards]
            seen.append(eye[:2] - (eye[2] / ray[:, 2])[:, None] * ray[:, :2])
            printed.append(own.local[view][towards, :2] * run.state.body_scale[body])
    if not seen:
        return None
    a, b = np.concatenate(printed), np.concatenate(seen)
    p, q = a - a.mean(axis=0), b - b.mean(axis=0)
    angle = np.arctan2(np.sum(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]), np.sum(p * q)) if len(a) > 1 else 0.0
    c, s = np.cos(angle), np.sin(angle)
    moved = b.mean(axis=0) - np.array([[c, -s], [s, c]]) @ a.mean(axis=0)
    return np.array([angle, *moved])
