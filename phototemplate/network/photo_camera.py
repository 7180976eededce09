"""The camera of one photo: the lens, and what this exposure did to it. Every stage projects through this one function.

A phone is no metric camera. Focusing changes the principal distance (breathing); the stabiliser moves lens or sensor for every
photo, so that the image lies elsewhere on the sensor (SAE 2024-01-2474 for iPhones 7 to 14 Pro, whose stabiliser cannot be
turned off; DIME-Net, arXiv 2303.11307, for the intrinsics of three phones under stabilisation); and the rows are read one after
the other while the hand turns and moves (rolling shutter; C. Geyer, M. Meingast, S. Sastry, Geometric models of rolling-shutter
cameras, OMNIVIS 2005; J. Hedborg, P.-E. Forssen, M. Felsberg, E. Ringaby, Rolling shutter bundle adjustment, CVPR 2012).

With X the point in the camera's frame at the middle of the readout, tau the row (-1/2 for the first, 1/2 for the last), w and s
turn and shift during the readout, f the principal distance, e the focus and d the shift of the image, the point is projected
from

    X(tau) = X + tau (w x X + s)

by the lens with principal distance f (1 + e). The image then moves by d, either as a whole, the distortion with it (the sensor
moves under the lens, or the lens over the sensor), or before it is distorted (the part of the lens that distorts stands still).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array
from phototemplate.model.network import EXPOSURE
from phototemplate.network.constants import FAR_OUT
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import skew

FOCUS, CENTRE, TURN, SHIFT = slice(0, 1), slice(1, 3), slice(3, 6), slice(6, 9)
"""Places in an exposure, see ``model.network.EXPOSURE``"""


@dataclass(frozen=True)
class Sensor:
    """How a picture was read."""

    size_px: tuple[float, float]
    distortion_moves: bool = True
    """The distortion moves with the image when the stabiliser shifts it"""

    @property
    def axis(self) -> int:
        """Image axis along which the rows follow each other: 1 down the stored picture, 0 across it.

        Sensors have their rows along the longer side, and cameras store the picture as read and note how to turn it (Exif
        Orientation, CIPA DC-008); a picture that is higher than wide has been turned by software, and its rows with it.
        """
        return 1 if self.size_px[0] >= self.size_px[1] else 0

    def row(self, uv_px: Array) -> Array:
        """(N,) when each position was read: -1/2 at the picture's first row, 1/2 at its last."""
        extent = self.size_px[self.axis]
        return np.asarray((uv_px[:, self.axis] + 0.5) / extent - 0.5)


@dataclass(frozen=True)
class Seen:
    """Points seen by a photo's camera."""

    uv_px: Array
    """(N, 2)"""
    d_xyz: Array
    """(N, 2, 3) by the point in the camera's frame"""
    d_lens: Array
    """(N, 2, p)"""
    d_exposure: Array
    """(N, 2, 9)"""


def project(model: str, params: Array, exposure: Array, sensor: Sensor, xyz_cam: Array, near_px: Array | None = None) -> Seen:
    """Pixels of points (N, 3) in the camera's frame, with Jacobians.

    ``params`` (p,) of the lens, ``exposure`` (9,) or (N, 9). ``near_px`` (N, 2) says about where the points are seen, which
    saves one of two projections where rows were read one after the other (the answer is the same to second order in the
    motion)."""
    xyz = np.atleast_2d(np.asarray(xyz_cam, dtype=np.float64))
    e = np.broadcast_to(np.asarray(exposure, dtype=np.float64), (len(xyz), len(EXPOSURE)))
    if not np.any(e[:, TURN.start :]):
        still = _at_once(model, params, e, sensor, xyz)
        tau = sensor.row(still.uv_px)
        still.d_exposure[:, :, TURN] = tau[:, None, None] * (still.d_xyz @ -skew(xyz))
        still.d_exposure[:, :, SHIFT] = tau[:, None, None] * still.d_xyz
        return still
    if near_px is None:
        near_px = _at_once(model, params, e, sensor, xyz).uv_px
    tau = np.clip(sensor.row(near_px), -FAR_OUT, FAR_OUT)  # far outside the picture the model of the readout means nothing
    motion = np.cross(e[:, TURN], xyz) + e[:, SHIFT]
    at = _at_once(model, params, e, sensor, xyz + tau[:, None] * motion)
    # The row depends on the position and the position on the row: implicit function.
    along = np.einsum("nij,nj->ni", at.d_xyz, motion) / sensor.size_px[sensor.axis]
    slope = along / (1.0 - along[:, sensor.axis])[:, None]
    late = sensor.row(at.uv_px) - tau
    uv = at.uv_px + slope * late[:, None] * sensor.size_px[sensor.axis]
    tau = tau + late / (1.0 - along[:, sensor.axis])
    at.d_exposure[:, :, TURN] = tau[:, None, None] * (at.d_xyz @ -skew(xyz))
    at.d_exposure[:, :, SHIFT] = tau[:, None, None] * at.d_xyz
    turned = np.eye(3) + tau[:, None, None] * skew(e[:, TURN])

    def follow(jac: Array) -> Array:
        return np.asarray(jac + slope[:, :, None] * jac[:, sensor.axis, None, :])

    return Seen(uv, follow(at.d_xyz @ turned), follow(at.d_lens), follow(at.d_exposure))


def _at_once(model: str, params: Array, e: Array, sensor: Sensor, xyz: Array) -> Seen:
    """All rows read at once; the derivatives by turn and shift are left at zero."""
    f, stretch = float(params[0]), 1.0 + e[:, 0]
    own = np.tile(params, (len(xyz), 1))
    own[:, 0] *= stretch
    if sensor.distortion_moves:
        own[:, 2:4] += e[:, CENTRE]
        uv, d_xyz, d_lens = lens.project(model, own, xyz)
        d_centre = np.broadcast_to(np.eye(2), (len(xyz), 2, 2))
        by_f = d_lens[:, :, 0] * stretch[:, None]
    else:
        slant = e[:, CENTRE] / f
        uv, d_xyz, d_lens = lens.project(model, own, xyz + _along_axis(slant, xyz[:, 2]))
        d_centre = d_xyz[:, :, :2] * (xyz[:, 2] / f)[:, None, None]
        by_f = d_lens[:, :, 0] * stretch[:, None] - np.einsum("nij,nj->ni", d_centre, slant)
        d_xyz[:, :, 2] += np.einsum("nij,nj->ni", d_xyz[:, :, :2], slant)
    d_exposure = np.concatenate([d_lens[:, :, :1] * f, d_centre, np.zeros((len(xyz), 2, len(EXPOSURE) - 3))], axis=2)
    d_lens[:, :, 0] = by_f
    return Seen(uv, d_xyz, d_lens, d_exposure)


def _along_axis(slant: Array, depth: Array) -> Array:
    return np.column_stack([slant * depth[:, None], np.zeros(len(depth))])


def unproject(model: str, params: Array, exposure: Array, sensor: Sensor, uv_px: Array) -> tuple[Array, Array]:
    """Eyes (N, 3) and unit directions (N, 3) of pixels (N, 2), in the camera's frame at the middle of the readout."""
    uv = np.atleast_2d(np.asarray(uv_px, dtype=np.float64))
    e = np.asarray(exposure, dtype=np.float64)
    stretched = params.copy()
    stretched[0] *= 1.0 + e[0]
    if sensor.distortion_moves:
        stretched[2:4] += e[CENTRE]
    ways = lens.unproject(model, stretched, uv)
    if not sensor.distortion_moves:
        ways = ways - _along_axis(np.broadcast_to(e[CENTRE] / params[0], (len(uv), 2)), ways[:, 2])
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    if not np.any(e[TURN.start :]):
        return np.zeros((len(uv), 3)), ways
    tau = sensor.row(uv)[:, None]
    back = np.linalg.inv(np.eye(3) + tau[:, :, None] * skew(e[TURN]))
    ways = np.einsum("nij,nj->ni", back, ways)
    eyes = np.einsum("nij,nj->ni", back, -tau * e[SHIFT])
    return eyes, ways / np.linalg.norm(ways, axis=1, keepdims=True)
