"""Sightings as functions of the unknowns: residuals and their analytic Jacobian.

Local columns of a sighting: lens (as many as the widest model), photo (turn 3, shift 3, focus), then either body (turn 3,
shift 3, print scale 2, curl 3) or free point (3). Rotations are perturbed from the left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array
from phototemplate.network.adjustment.unknowns import Problem, State
from phototemplate.numerics import lens


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
