"""From the network to pixels and to points in the world, with the Jacobians by the influences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array, BodyPose, Camera, IntArray, Network
from phototemplate.network import photo_camera
from phototemplate.network.adjustment import parameters
from phototemplate.network.photo_camera import Sensor
from phototemplate.numerics import lens
from phototemplate.numerics.constants import N_COMMON
from phototemplate.numerics.rigid import skew


@dataclass(frozen=True)
class Projection:
    """World points seen by one photo."""

    uv_px: Array
    """(N, 2); NaN behind the camera and beyond the radius where the lens model folds back"""
    d_xyz: Array
    """(N, 2, 3) px/mm by the world point"""
    columns: IntArray
    """(k,) influences the pixels depend on: lens, pose and exposure of the photo"""
    d_influences: Array
    """(N, 2, k)"""
    depth_mm: Array
    """(N,) distance along the optical axis"""


@dataclass(frozen=True)
class BodyPoints:
    """Points of one rigid target in the world."""

    xyz_mm: Array
    """(N, 3) world"""
    columns: IntArray
    """(k,) influences of the body"""
    d_influences: Array
    """(N, 3, k)"""


def project(network: Network, photo_id: str, xyz_mm: Array) -> Projection:
    """Pixels of world points (N, 3) in one photo, with Jacobians by the points and by the influences."""
    photo = network.photos[photo_id]
    camera = network.cameras[photo.camera_id]
    model = lens.LENS_MODELS[camera.model]
    xyz = np.atleast_2d(np.asarray(xyz_mm, dtype=np.float64))
    turned = xyz @ photo.rotation.T
    cam = turned + photo.translation_mm
    seen = photo_camera.project(camera.model, camera.params, photo.exposure, sensor_of(camera), cam)
    uv = seen.uv_px
    outside = (cam[:, 2] <= 0) | (lens.off_axis(camera.model, cam) >= model.limit(camera.params[N_COMMON:]))
    uv[outside] = np.nan
    full = np.concatenate([seen.d_lens, -seen.d_xyz @ skew(turned), seen.d_xyz, seen.d_exposure], axis=2)
    names = parameters.lens_names(camera.camera_id, model.names) + parameters.pose_names(photo_id)
    use, columns = parameters.present(network.influences.names, names + parameters.exposure_names(photo_id))
    return Projection(uv, seen.d_xyz @ photo.rotation, columns, full[:, :, use], cam[:, 2])


def sensor_of(camera: Camera) -> Sensor:
    """How this camera's pictures are read."""
    return Sensor(camera.size_px, camera.distortion_moves)


def bend(body: BodyPose, xyz_local: Array) -> Array:
    """Points in the target's frame after print scale and curl, before its pose; (N, 3) -> (N, 3)."""
    x, y = xyz_local[:, 0], xyz_local[:, 1]
    cxx, cxy, cyy = body.curl_per_mm
    z = xyz_local[:, 2] + 0.5 * cxx * x * x + cxy * x * y + 0.5 * cyy * y * y
    return np.stack([body.scale_xy[0] * x, body.scale_xy[1] * y, z], axis=1)


def body_points(network: Network, target_id: str, xyz_local: Array) -> BodyPoints:
    """World positions of points given in a rigid target's frame (N, 3) at nominal print scale."""
    body = network.bodies[target_id]
    local = np.atleast_2d(np.asarray(xyz_local, dtype=np.float64))
    turned = bend(body, local) @ body.rotation.T
    x, y = local[:, 0], local[:, 1]
    full = np.zeros((len(local), 3, 11))
    full[:, :, :3] = -skew(turned)
    full[:, :, 3:6] = np.eye(3)
    full[:, :, 6] = x[:, None] * body.rotation[:, 0]
    full[:, :, 7] = y[:, None] * body.rotation[:, 1]
    for k, term in enumerate((0.5 * x * x, x * y, 0.5 * y * y)):
        full[:, :, 8 + k] = term[:, None] * body.rotation[:, 2]
    names = parameters.body_names(target_id) + parameters.curl_names(target_id)
    use, columns = parameters.present(network.influences.names, names)
    return BodyPoints(turned + body.translation_mm, columns, full[:, :, use])


def rays(network: Network, photo_id: str, uv_px: Array) -> tuple[Array, Array]:
    """Eyes (N, 3) and unit directions (N, 3) in the world of pixels (N, 2) of one photo.

    The eyes differ from row to row where the camera moved during the readout.
    """
    photo = network.photos[photo_id]
    camera = network.cameras[photo.camera_id]
    eyes, ways = photo_camera.unproject(camera.model, camera.params, photo.exposure, sensor_of(camera), uv_px)
    return (eyes - photo.translation_mm) @ photo.rotation, ways @ photo.rotation
