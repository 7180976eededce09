"""Sightings as functions of the unknowns: residuals and their analytic Jacobian.

Local columns of a sighting are those of :class:`~phototemplate.network.adjustment.parameters.Layout`. Rotations are perturbed
from the left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array
from phototemplate.network import photo_camera
from phototemplate.network.adjustment.problem import Problem, State


@dataclass(frozen=True)
class Linear:
    """Sightings linearised at a state, whitened by their own covariance (not by robust weights)."""

    residual: Array
    """(N, 2) measured minus computed, px"""
    white: Array
    """(N, 2)"""
    jac: Array
    """(N, 2, C) whitened, by the local columns"""
    depth: Array
    """(N,) mm"""


def world_points(problem: Problem, state: State) -> tuple[Array, Array]:
    """World position (N, 3) of every sighting's point, and for bodies the turned local point R y (N, 3)."""
    s = problem.sightings
    turned, world = np.zeros((len(s), 3)), np.empty((len(s), 3))
    on_body = s.body >= 0
    b = s.body[on_body]
    y = bent(s.local[on_body], state.body_scale[b], state.body_curl[b])
    turned[on_body] = np.einsum("nij,nj->ni", state.body_rotation[b], y)
    world[on_body] = turned[on_body] + state.body_translation[b]
    world[~on_body] = state.points[s.point[~on_body]]
    return world, turned


def bent(local: Array, scale: Array, curl: Array) -> Array:
    """Print scale and curl applied to points (N, 3) with one scale (N, 2) and curl (N, 3) each."""
    x, y = local[:, 0], local[:, 1]
    z = local[:, 2] + 0.5 * curl[:, 0] * x * x + curl[:, 1] * x * y + 0.5 * curl[:, 2] * y * y
    return np.stack([scale[:, 0] * x, scale[:, 1] * y, z], axis=1)


def linearise(problem: Problem, state: State, jacobian: bool = True) -> Linear:
    """Residuals of all sightings and, if asked, their Jacobian."""
    s, layout = problem.sightings, problem.layout
    n = len(s)
    world, turned = world_points(problem, state)
    r = state.photo_rotation[s.photo]
    rotated = np.einsum("nij,nj->ni", r, world)
    cam = rotated + state.photo_translation[s.photo]
    uv = np.empty((n, 2))
    jac = np.zeros((n, 2, layout.width if jacobian else 0))
    d_cam = np.empty((n, 2, 3))
    camera = problem.photo_camera[s.photo]
    for c, model in enumerate(problem.camera_models):
        rows = camera == c if len(problem.camera_models) > 1 else np.ones(n, dtype=bool)
        seen = photo_camera.project(
            model, state.lenses[c], state.exposure[s.photo[rows]], problem.sensors[c], cam[rows], s.uv[rows]
        )
        uv[rows], d_cam[rows] = seen.uv_px, seen.d_xyz
        if jacobian:
            jac[rows, :, : seen.d_lens.shape[2]] = seen.d_lens
            jac[rows, :, layout.exposure] = seen.d_exposure
    residual = s.uv - uv
    white = np.einsum("nij,nj->ni", s.root, residual)
    if not jacobian:
        return Linear(residual, white, jac, cam[:, 2])
    pose = layout.pose.start
    jac[:, :, pose : pose + 3] = np.cross(rotated[:, None, :], d_cam)
    jac[:, :, pose + 3 : pose + 6] = d_cam
    d_world = d_cam @ r
    on_body = s.body >= 0
    jac[~on_body, :, layout.point] = d_world[~on_body]
    b, local, d = s.body[on_body], s.local[on_body], d_world[on_body]
    if len(b):
        x, y = local[:, 0, None], local[:, 1, None]
        along = d @ state.body_rotation[b]  # derivative by the target's own axes
        own = [np.cross(turned[on_body][:, None, :], d), d]
        own += [(along[:, :, 0] * x)[:, :, None], (along[:, :, 1] * y)[:, :, None]]
        own += [(along[:, :, 2] * term)[:, :, None] for term in (0.5 * x * x, x * y, 0.5 * y * y)]
        jac[on_body, :, layout.body.start :] = np.concatenate(own, axis=2)
    return Linear(residual, white, s.root @ jac, cam[:, 2])
