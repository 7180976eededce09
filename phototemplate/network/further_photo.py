"""What one more photo would tell of a network, known before anybody takes it: only its place has to be assumed.

A photo's sightings have a normal matrix over what is in the network, its own pose and what its own exposure will do to the
camera (:mod:`~phototemplate.network.photo_camera`). Pose and exposure are eliminated, the exposure with the standard deviations
that the camera's other photos showed; what remains is the photo's information on the network
(:mod:`phototemplate.numerics.information`). So a photo of a phone that moves its lens is worth less than one from a tripod, and
one that shows more sheets is worth more, since these fix the exposure too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array, BoolArray, Camera, Influences, IntArray, Network, PhotoPose
from phototemplate.model.network import EXPOSURE
from phototemplate.network import photo_camera
from phototemplate.network.adjustment.parameters import POSE, index_of, lens_names
from phototemplate.network.constants import (
    FREE_POSE,
    HELD_EXPOSURE,
    LEAST_SIGHTING_PX,
    PLACED_BY_BODIES,
    PLACED_BY_POINTS,
    READ_COSINE,
    READ_MARGIN_PX,
    READ_MM,
)
from phototemplate.network.projection import body_points, sensor_of
from phototemplate.numerics import lens
from phototemplate.numerics.constants import N_COMMON
from phototemplate.numerics.information import eliminated
from phototemplate.numerics.rigid import skew, transform

_OWN = len(POSE) + len(EXPOSURE)
"""Unknowns of the photo's own"""


def looking(camera_id: str, eye_mm: Array, aim_mm: Array, up: Array, roll_rad: float = 0.0) -> PhotoPose | None:
    """Pose of a photo from one place of the world towards another, ``up`` upwards in the picture at roll 0; a positive roll
    turns the camera clockwise. None where it would look along ``up``."""
    z = np.asarray(aim_mm, dtype=np.float64) - eye_mm
    z /= np.linalg.norm(z)
    x = np.cross(z, up)
    if np.linalg.norm(x) < 1e-6:
        return None
    x /= np.linalg.norm(x)
    c, s = math.cos(roll_rad), math.sin(roll_rad)
    rotation = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) @ np.array([x, np.cross(z, x), z])
    return PhotoPose("new", camera_id, rotation, -rotation @ eye_mm)


def derivatives(
    camera: Camera, rotation: Array, translation: Array, xyz: Array, exposure: Array | None = None
) -> tuple[Array, Array, Array, Array]:
    """Pixels (N, 2) of points (N, 3) under a pose, and their derivatives by the point (N, 2, 3), by the lens (N, 2, p) and by
    the photo's own pose and exposure (N, 2, 6 + 9). ``exposure`` (9,): what it does to the camera; left out: nothing."""
    turned = xyz @ rotation.T
    none = np.zeros(len(EXPOSURE)) if exposure is None else exposure
    seen = photo_camera.project(camera.model, camera.params, none, sensor_of(camera), turned + translation)
    own = np.concatenate([-seen.d_xyz @ skew(turned), seen.d_xyz, seen.d_exposure], axis=2)
    return seen.uv_px, seen.d_xyz @ rotation, seen.d_lens, own


def exposure_information(camera: Camera) -> Array:
    """(9,) information on a further photo's exposure, from how much those of the camera's other photos differ."""
    focus, centre, turn, shift = camera.exposure_sd
    sd = np.array([focus, *[centre] * 2, *[turn] * 3, *[shift] * 3])
    return np.asarray(np.maximum(sd, HELD_EXPOSURE) ** -2.0)


def in_picture(camera: Camera, rotation: Array, translation: Array, xyz: Array) -> BoolArray:
    """(N,) whether points lie before the camera, where its lens model holds, and inside the picture."""
    cam = transform((rotation, translation), xyz)
    model = lens.LENS_MODELS[camera.model]
    front = (cam[:, 2] > 1.0) & (lens.off_axis(camera.model, cam) < model.limit(camera.params[N_COMMON:]))
    uv = lens.project(camera.model, camera.params, np.where(front[:, None], cam, [0.0, 0.0, 1.0]))[0]
    inside = np.all((uv > READ_MARGIN_PX) & (uv < np.array(camera.size_px) - 1.0 - READ_MARGIN_PX), axis=1)
    return np.asarray(front & inside)


def sighting_sd(network: Network, camera_id: str | None = None) -> float:
    """Standard deviation of one image coordinate in px, from the residuals of the sightings used (of one camera)."""
    own = {p for p, photo in network.photos.items() if camera_id in (None, photo.camera_id)}
    used = [r.residual_px[r.weight > 0].ravel() for r in network.residuals if r.photo_id in own]
    residuals = np.concatenate(used) if used else np.zeros(0)
    return max(float(np.sqrt(np.mean(residuals**2))), LEAST_SIGHTING_PX) if residuals.size else 0.1


@dataclass(frozen=True)
class Shown:
    """What a photo would show of the targets; n points."""

    target_ids: tuple[str, ...]
    point_ids: IntArray
    uv_px: Array
    """(n, 2)"""
    cosine: Array
    """(n,) between the view and the target's normal"""


class FurtherPhotos:
    """What one more photo would add, with everything that does not depend on where it is taken worked out once.

    The sum over the points of a sheet touches that sheet's columns only, which is what makes a candidate cheap.
    """

    def __init__(self, network: Network, influences: Influences | None = None, camera_id: str | None = None) -> None:
        """``influences``: the network's, which others may follow; ``camera_id``: that of the first photo."""
        self.network, self.influences = network, network.influences if influences is None else influences
        self.camera = network.cameras[camera_id or next(iter(network.photos.values())).camera_id]
        self.sigma_px = sighting_sd(network, camera_id)
        k, free = self.influences.size, network.points
        self._bodies = [body_points(network, t, network.targets[t].points_mm) for t in network.bodies]
        sizes = [len(p.xyz_mm) for p in self._bodies] + [len(free)]
        stops = np.cumsum(sizes)
        self._slices = [slice(int(stop) - n, int(stop)) for n, stop in zip(sizes, stops, strict=True)]
        """Per body its rows of ``_xyz``; the points of no body come last"""
        self._body = np.repeat(np.arange(len(sizes)), sizes)
        self._xyz = np.vstack([*(p.xyz_mm for p in self._bodies), np.array([p.xyz_mm for p in free]).reshape(-1, 3)])
        facing = [np.tile(b.rotation[:, 2], (n, 1)) for b, n in zip(network.bodies.values(), sizes, strict=False)]
        self._facing = np.vstack([*facing, np.zeros((len(free), 3))])
        self._on_body = np.where(self._body < len(self._bodies), 1.0, -np.inf)  # other points are seen from everywhere
        self._free_noise = np.array([p.noise_cov_mm2 for p in free]).reshape(-1, 3, 3)
        self._free_jac = np.zeros((len(free), 3, k))
        if free:
            self._free_jac[:, :, : network.influences.size] = [p.shared_jac for p in free]
        index = index_of(self.influences.names)
        columns = [index.get(n) for n in lens_names(self.camera.camera_id, lens.LENS_MODELS[self.camera.model].names)]
        self._lens_used = [i for i, c in enumerate(columns) if c is not None]
        self.lens_columns = np.array([c for c in columns if c is not None], dtype=np.int64)
        self._own_columns = np.arange(k, k + _OWN)
        self._prior = np.append(FREE_POSE**-2.0, exposure_information(self.camera))

    def seen(self, pose: PhotoPose) -> BoolArray:
        """(N,) which target points, then points of no body, the photo would show."""
        view = -pose.rotation.T @ pose.translation_mm - self._xyz
        far = np.linalg.norm(view, axis=1)
        ok = (far < READ_MM) & (np.sum(view * self._facing, axis=1) > READ_COSINE * far * self._on_body)
        ok[ok] = in_picture(self.camera, pose.rotation, pose.translation_mm, self._xyz[ok])
        return np.asarray(ok)

    def shown(self, pose: PhotoPose) -> Shown:
        """Points of targets that the photo would show, with their pixels."""
        index = np.flatnonzero(self.seen(pose) & (self._body < len(self._bodies)))
        eye = -pose.rotation.T @ pose.translation_mm
        view = eye - self._xyz[index]
        uv = derivatives(self.camera, pose.rotation, pose.translation_mm, self._xyz[index], pose.exposure)[0]
        cosine = np.sum(view * self._facing[index], axis=1) / np.maximum(np.linalg.norm(view, axis=1), 1e-9)
        names, body = list(self.network.bodies), self._body[index]
        first = np.array([s.start for s in self._slices])
        return Shown(tuple(names[b] for b in body), (index - first[body]).astype(np.int64), uv, cosine)

    def information(self, pose: PhotoPose) -> Array | None:
        """(K, K) information of the photo on the influences; None where it would not see two sheets (the only one, where there
        is one)."""
        k = self.influences.size
        ok = self.seen(pose)
        counts = np.bincount(self._body[ok], minlength=len(self._bodies) + 1)[: len(self._bodies)]
        seen = np.flatnonzero(counts >= PLACED_BY_POINTS)
        if len(seen) < min(PLACED_BY_BODIES, max(len(self._bodies), 1)):
            return None
        _, d_xyz, d_lens, d_own = derivatives(self.camera, pose.rotation, pose.translation_mm, self._xyz)
        rows = np.concatenate([d_lens[:, :, self._lens_used], d_own], axis=2)
        beside = np.concatenate([self.lens_columns, self._own_columns])
        normal = np.zeros((k + _OWN, k + _OWN))
        for i in seen:
            here, p = self._slices[i], self._bodies[i]
            use = ok[here]
            own = np.einsum("nij,njk->nik", d_xyz[here][use], p.d_influences[use])
            design = np.concatenate([own, rows[here][use]], axis=2)
            design = design.reshape(-1, design.shape[2]) / self.sigma_px
            columns = np.concatenate([p.columns, beside])
            normal[np.ix_(columns, columns)] += design.T @ design
        here = self._slices[-1]
        use = ok[here]
        if use.any():
            d, jac, noise = d_xyz[here][use], self._free_jac[use], self._free_noise[use]
            design = np.zeros((len(d), 2, k + _OWN))
            design[:, :, :k] = np.einsum("nij,njk->nik", d, jac)
            design[:, :, beside] += rows[here][use]
            spread = self.sigma_px**2 * np.eye(2) + np.einsum("nij,njk,nlk->nil", d, noise, d)
            white = np.linalg.solve(np.linalg.cholesky(spread), design).reshape(-1, k + _OWN)
            normal += white.T @ white
        return eliminated(normal, self._prior)
