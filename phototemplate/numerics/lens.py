"""Lens models with analytic Jacobians, and the registry they live in.

A model maps camera-frame points (x right, y down, z forward, mm) to pixels (0, 0 = centre of the first pixel). All
models share the first four parameters: ``f`` (principal distance along x in px), ``aspect`` (fy = f (1 + aspect)),
``cx``, ``cy``; the rest is distortion with the meaning and order of OpenCV, so that ``cv2.projectPoints`` and
``cv2.fisheye.projectPoints`` give the same pixels.

To add a model: write a class with :class:`LensModel`'s members, list it in :data:`LENS_MODELS`; the contract test
(projection against differences, round trip) picks it up.

Equations: Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971) 855-866; Kannala, Brandt,
IEEE PAMI 28 (2006) 1335-1340 for the fish-eye, both in OpenCV's parametrisation.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from phototemplate.model import Array
from phototemplate.numerics.constants import LEAST_SLOPE, LONGEST_STEP, LOOSE_FISHEYE, LOOSE_PERSPECTIVE, N_COMMON


class LensModel(Protocol):
    """What a lens model offers. ``params`` is (p,) or (N, p), one row per point."""

    name: str
    names: tuple[str, ...]

    def distort(self, dist: Array, ab: Array, z: Array) -> tuple[Array, Array, Array]:
        """Ideal to distorted image position in units of the principal distance.

        ``dist`` (N, q), ``ab`` (N, 3) camera-frame points, ``z`` (N,) depth. Returns distorted (N, 2),
        its derivative by the camera-frame point (N, 2, 3) and by ``dist`` (N, 2, q).
        """
        ...

    def loose_sigmas(self) -> Array:
        """(q,) standard uncertainties of the distortion parameters where nothing is known of the lens."""
        ...

    def limit(self, dist: Array) -> float:
        """Tangent (perspective) or angle in rad (fish-eye) off the axis where the model folds back; inf if none."""
        ...


class _Perspective:
    """Common part of Brown and rational: radial factor times (x/z, y/z), plus decentring."""

    name: str
    names: tuple[str, ...]
    _n_denominator = 0

    def _radial(self, dist: Array, r2: Array) -> tuple[Array, Array, Array, Array]:
        """Factor, its derivative by r2, and numerator and denominator."""
        r4 = r2 * r2
        num = 1.0 + dist[:, 0] * r2 + dist[:, 1] * r4 + dist[:, 4] * r4 * r2
        dnum = dist[:, 0] + 2.0 * dist[:, 1] * r2 + 3.0 * dist[:, 4] * r4
        if not self._n_denominator:
            return num, dnum, num, np.ones_like(num)
        den = 1.0 + dist[:, 5] * r2 + dist[:, 6] * r4 + dist[:, 7] * r4 * r2
        dden = dist[:, 5] + 2.0 * dist[:, 6] * r2 + 3.0 * dist[:, 7] * r4
        factor = num / den
        return factor, (dnum - factor * dden) / den, num, den

    def distort(self, dist: Array, ab: Array, z: Array) -> tuple[Array, Array, Array]:
        iz = 1.0 / z
        x, y = ab[:, 0] * iz, ab[:, 1] * iz
        x2, y2, xy = x * x, y * y, x * y
        r2 = x2 + y2
        p1, p2 = dist[:, 2], dist[:, 3]
        factor, slope, _, den = self._radial(dist, r2)
        uv = np.stack(
            [x * factor + 2 * p1 * xy + p2 * (r2 + 2 * x2), y * factor + p1 * (r2 + 2 * y2) + 2 * p2 * xy], axis=1
        )
        d_xx = factor + 2 * slope * x2 + 2 * p1 * y + 6 * p2 * x
        d_xy = 2 * slope * xy + 2 * p1 * x + 2 * p2 * y
        d_yy = factor + 2 * slope * y2 + 6 * p1 * y + 2 * p2 * x
        d_xyz = np.empty((len(x), 2, 3))
        d_xyz[:, 0, 0], d_xyz[:, 0, 1] = d_xx * iz, d_xy * iz
        d_xyz[:, 1, 0], d_xyz[:, 1, 1] = d_xy * iz, d_yy * iz
        d_xyz[:, 0, 2] = -(d_xx * x + d_xy * y) * iz
        d_xyz[:, 1, 2] = -(d_xy * x + d_yy * y) * iz
        d_dist = np.empty((len(x), 2, 5 + self._n_denominator))
        r4 = r2 * r2
        for column, power in ((0, r2), (1, r4), (4, r4 * r2)):
            d_dist[:, 0, column], d_dist[:, 1, column] = x * power / den, y * power / den
        d_dist[:, 0, 2], d_dist[:, 1, 2] = 2 * xy, r2 + 2 * y2
        d_dist[:, 0, 3], d_dist[:, 1, 3] = r2 + 2 * x2, 2 * xy
        for column, power in zip(range(5, 5 + self._n_denominator), (r2, r4, r4 * r2), strict=False):
            d_dist[:, 0, column], d_dist[:, 1, column] = -x * factor * power / den, -y * factor * power / den
        return uv, d_xyz, d_dist

    def limit(self, dist: Array) -> float:
        """Smallest radius x/z at which the distorted radius stops growing."""
        r = np.linspace(0.0, 4.0, 801)
        rows = np.broadcast_to(np.asarray(dist, dtype=np.float64), (len(r), len(dist)))
        factor, slope, _, den = self._radial(rows, r * r)
        falling = np.nonzero((factor + 2 * slope * r * r <= 0) | (den <= 0))[0]
        return float(r[falling[0]]) if len(falling) else np.inf


class Brown(_Perspective):
    """Pinhole with Brown's radial and decentring distortion, OpenCV's first five coefficients."""

    name = "brown"
    names: tuple[str, ...] = ("f", "aspect", "cx", "cy", "k1", "k2", "p1", "p2", "k3")

    def loose_sigmas(self) -> Array:
        return np.array([LOOSE_PERSPECTIVE[name] for name in self.names[N_COMMON:]])


class Rational(_Perspective):
    """Pinhole with OpenCV's rational radial factor (eight coefficients), for wide lenses."""

    name = "rational"
    names: tuple[str, ...] = ("f", "aspect", "cx", "cy", "k1", "k2", "p1", "p2", "k3", "k4", "k5", "k6")
    _n_denominator = 3

    def loose_sigmas(self) -> Array:
        return np.array([LOOSE_PERSPECTIVE[name] for name in self.names[N_COMMON:]])


class FishEye:
    """Equidistant projection with an odd polynomial in the angle off the axis (OpenCV's fisheye module)."""

    name: str = "fisheye"
    names: tuple[str, ...] = ("f", "aspect", "cx", "cy", "k1", "k2", "k3", "k4")

    def distort(self, dist: Array, ab: Array, z: Array) -> tuple[Array, Array, Array]:
        a, b = ab[:, 0], ab[:, 1]
        r2 = a * a + b * b
        r = np.sqrt(r2)
        small = r < 1e-9 * np.abs(z)
        rs = np.where(small, 1.0, r)
        theta = np.arctan2(r, z)
        t2 = theta * theta
        poly = 1 + t2 * (dist[:, 0] + t2 * (dist[:, 1] + t2 * (dist[:, 2] + t2 * dist[:, 3])))
        slope = 1 + t2 * (3 * dist[:, 0] + t2 * (5 * dist[:, 1] + t2 * (7 * dist[:, 2] + t2 * 9 * dist[:, 3])))
        theta_d = theta * poly
        q = np.where(small, 1.0 / z, theta_d / rs)  # distorted radius over r
        uv = np.stack([a * q, b * q], axis=1)
        norm2 = r2 + z * z
        # d theta = (z dr - r dz) / (r^2 + z^2)
        dq_dr = np.where(small, 0.0, (slope * z / norm2 - q) / rs)
        dq_dz = np.where(small, -1.0 / (z * z), -slope / norm2)
        ca, cb = np.where(small, 0.0, a / rs), np.where(small, 0.0, b / rs)
        d_xyz = np.empty((len(a), 2, 3))
        d_xyz[:, 0, 0], d_xyz[:, 0, 1], d_xyz[:, 0, 2] = q + a * dq_dr * ca, a * dq_dr * cb, a * dq_dz
        d_xyz[:, 1, 0], d_xyz[:, 1, 1], d_xyz[:, 1, 2] = b * dq_dr * ca, q + b * dq_dr * cb, b * dq_dz
        d_dist = np.empty((len(a), 2, 4))
        for column in range(4):
            power = np.where(small, 0.0, theta * t2 ** (column + 1) / rs)
            d_dist[:, 0, column], d_dist[:, 1, column] = a * power, b * power
        return uv, d_xyz, d_dist

    def loose_sigmas(self) -> Array:
        return np.full(len(self.names) - N_COMMON, LOOSE_FISHEYE)

    def limit(self, dist: Array) -> float:
        """Smallest angle off the axis at which the distorted radius stops growing, in rad."""
        t2 = np.linspace(0.0, np.pi, 801) ** 2
        k = np.asarray(dist, dtype=np.float64)
        slope = 1 + t2 * (3 * k[0] + t2 * (5 * k[1] + t2 * (7 * k[2] + t2 * 9 * k[3])))
        falling = np.nonzero(slope <= 0)[0]
        return float(np.sqrt(t2[falling[0]])) if len(falling) else np.inf


_MODELS: tuple[LensModel, ...] = (Brown(), Rational(), FishEye())
LENS_MODELS: dict[str, LensModel] = {m.name: m for m in _MODELS}
"""Every lens model by name."""


def project(model: str, params: Array, xyz_cam: Array) -> tuple[Array, Array, Array]:
    """Pixels of camera-frame points.

    ``params`` (p,) or (N, p), ``xyz_cam`` (N, 3) mm with z > 0 for the perspective models. Returns ``uv`` (N, 2) px,
    ``d_xyz`` (N, 2, 3) px/mm and ``d_params`` (N, 2, p). Points at or behind the camera give whatever the equation
    gives: check the depth (``network.projection`` does).
    """
    lens = LENS_MODELS[model]
    xyz = np.atleast_2d(np.asarray(xyz_cam, dtype=np.float64))
    p = np.broadcast_to(np.asarray(params, dtype=np.float64), (len(xyz), len(lens.names)))
    z = np.where(np.abs(xyz[:, 2]) < 1e-9, 1e-9, xyz[:, 2])
    xy, d_xyz, d_dist = lens.distort(p[:, N_COMMON:], xyz, z)
    f, fy = p[:, 0], p[:, 0] * (1.0 + p[:, 1])
    uv = np.stack([f * xy[:, 0] + p[:, 2], fy * xy[:, 1] + p[:, 3]], axis=1)
    focal = np.stack([f, fy], axis=1)[:, :, None]
    d_params = np.zeros((len(xyz), 2, p.shape[1]))
    d_params[:, 0, 0] = xy[:, 0]
    d_params[:, 1, 0] = (1.0 + p[:, 1]) * xy[:, 1]
    d_params[:, 1, 1] = f * xy[:, 1]
    d_params[:, 0, 2] = d_params[:, 1, 3] = 1.0
    d_params[:, :, N_COMMON:] = focal * d_dist
    return uv, focal * d_xyz, d_params


def off_axis(model: str, xyz_cam: Array) -> Array:
    """(N,) the quantity :meth:`LensModel.limit` bounds: tangent (perspective) or angle (fish-eye) off the axis."""
    xyz = np.atleast_2d(xyz_cam)
    r = np.hypot(xyz[:, 0], xyz[:, 1])
    if isinstance(LENS_MODELS[model], FishEye):
        return np.asarray(np.arctan2(r, xyz[:, 2]))
    with np.errstate(divide="ignore"):
        return np.where(xyz[:, 2] > 0, r / np.maximum(xyz[:, 2], 1e-12), np.inf)


def unproject(model: str, params: Array, uv_px: Array) -> Array:
    """Unit rays (N, 3) in the camera frame of pixels (N, 2); Newton on :func:`project`, exact to about 1e-12."""
    uv = np.atleast_2d(np.asarray(uv_px, dtype=np.float64))
    lens = LENS_MODELS[model]
    p = np.broadcast_to(np.asarray(params, dtype=np.float64), (len(uv), len(lens.names)))
    x = (uv[:, 0] - p[:, 2]) / p[:, 0]
    y = (uv[:, 1] - p[:, 3]) / (p[:, 0] * (1.0 + p[:, 1]))
    if isinstance(lens, FishEye):
        theta_d = np.hypot(x, y)
        theta = theta_d.copy()
        for _ in range(30):
            t2 = theta * theta
            k = p[:, N_COMMON:]
            value = theta * (1 + t2 * (k[:, 0] + t2 * (k[:, 1] + t2 * (k[:, 2] + t2 * k[:, 3])))) - theta_d
            slope = 1 + t2 * (3 * k[:, 0] + t2 * (5 * k[:, 1] + t2 * (7 * k[:, 2] + t2 * 9 * k[:, 3])))
            step = value / np.where(np.abs(slope) < LEAST_SLOPE, LEAST_SLOPE, slope)
            theta = theta - step
            if np.all(np.abs(step) < 1e-14):
                break
        small = theta_d < 1e-12
        s = np.where(small, 1.0, np.sin(theta) / np.where(small, 1.0, theta_d))
        return np.stack([x * s, y * s, np.cos(theta)], axis=1)
    rays = np.stack([x, y, np.ones_like(x)], axis=1)
    target = rays[:, :2].copy()
    for _ in range(50):
        got, jac, _ = lens.distort(p[:, N_COMMON:], rays, rays[:, 2])
        a, b, c, d = jac[:, 0, 0], jac[:, 0, 1], jac[:, 1, 0], jac[:, 1, 1]
        det = a * d - b * c
        det = np.where(np.abs(det) < LEAST_SLOPE, LEAST_SLOPE, det)
        e = target - got
        step = np.stack([(d * e[:, 0] - b * e[:, 1]) / det, (a * e[:, 1] - c * e[:, 0]) / det], axis=1)
        # Newton may leap over the fold of a strongly distorted corner: never further than a third of the radius.
        cap = LONGEST_STEP * (1.0 + np.linalg.norm(rays[:, :2], axis=1, keepdims=True))
        step *= np.minimum(1.0, cap / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-300))
        rays[:, :2] += step
        if np.all(np.abs(step) < 1e-13):
            break
    return np.asarray(rays / np.linalg.norm(rays, axis=1, keepdims=True))


def start_params(model: str, f_px: float, size_px: tuple[int, int]) -> Array:
    """Parameters (p,) of an undistorted lens with its axis in the middle of the picture."""
    params = np.zeros(len(LENS_MODELS[model].names))
    params[:N_COMMON] = f_px, 0.0, (size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0
    return params


def loose_cov(
    model: str, f_px: float, size_px: tuple[int, int], rel_f: float, rel_centre: float, u_aspect: float
) -> Array:
    """(p, p) honest covariance of :func:`start_params`; ``rel_centre`` is a share of the longer side."""
    side = max(size_px)
    sigma = np.concatenate(
        [[rel_f * f_px, u_aspect, rel_centre * side, rel_centre * side], LENS_MODELS[model].loose_sigmas()]
    )
    return np.diag(sigma**2)
