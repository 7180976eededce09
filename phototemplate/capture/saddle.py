"""Sub-pixel position, covariance and blur of checkerboard corners (saddle points), by least squares.

Model. Near a corner the picture of four squares is, with ``z_k = n_k . (x - c) / s_k`` the distance from edge k in units
of its blur and ``P = erf(z_1 / sqrt 2) erf(z_2 / sqrt 2)``,

    I(x) = b_0 + b_x dx + b_y dy + a P + q (P^2 - 1)

(a corner blurred by a Gaussian; ``b_x, b_y`` a slope of the light; ``q`` the first even term of a tone curve). The
centre c, two edge directions, two blurs and five linear terms are fitted together (Levenberg-Marquardt). The window is
a cross that follows the four edges. It reaches further than a square window may, since an edge between a black and a
white square has a marker's white rim beside it all along, and it holds little but edge pixels, which carry what there
is to know.

Why that stays accurate on phone pictures: the derivative of I by c is odd under reflection in c, while the effects of
a tone curve, of sharpening with its halos, and of straight motion blur are even there. What the model leaves out raises
the residuals and does not move the centre. A lopsided blur (coma, a jerk of the hand) is not even and moves it. What the blur
has in common over the picture moves the whole picture, or stretches it evenly, as its pose and the lens do; how far a corner's
own blur may move it goes to its covariance.

Covariance: the heteroscedastic form ``H^-1 (sum_i r_i^2 g_i g_i^T) H^-1`` with ``H = sum g g^T`` (White 1980; HC1),
because the noise of a phone picture is larger on edges than on flat paper, multiplied by a factor for the correlation
of neighbouring pixels that demosaicing, denoising and JPEG make (``SADDLE_CORRELATION``, measured on rendered photos),
plus ``FLOOR_PX``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from phototemplate.capture import constants
from phototemplate.model import Array, GrayImage

Single = NDArray[np.float32]
"""Pixels are fitted in single precision: half the time, and rounding is a thousandth of the noise."""


@dataclass(frozen=True)
class SaddleFits:
    """Fits of N saddle points."""

    uv_px: Array
    """(N, 2)"""
    cov_px2: Array
    """(N, 2, 2)"""
    blur_px: Array
    """(N, 2) standard deviation of the blur across either edge, pixel aperture included"""
    normals: Array
    """(N, 2, 2) unit normals of the two edges"""
    amplitude: Array
    """(N,) half the step from black to white in grey levels; positive where the colours are as predicted"""
    rms: Array
    """(N,) rms residual in grey levels"""
    third: Array
    """(N, 2) third moment of the blur across either edge, in sixths of its cubed standard deviation"""
    third_u: Array
    """(N, 2) standard uncertainty of it"""
    lopsided: Array
    """(N,) largest rms residual of one of the four squares over that of all"""
    turned_rad: Array
    """(N,) largest turn of an edge against its predicted direction"""
    valid: NDArray[np.bool_]
    """(N,) the window lies inside the picture and the fit is determined"""

    def take(self, index: NDArray[np.int64] | NDArray[np.bool_]) -> SaddleFits:
        """The fits of some points."""
        return SaddleFits(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    def put(self, index: NDArray[np.int64], fits: SaddleFits) -> None:
        """Overwrite the fits of some points."""
        for f in fields(self):
            getattr(self, f.name)[index] = getattr(fits, f.name)


def fit_saddles(
    gray: GrayImage,
    uv_px: Array,
    px_from_mm: Array,
    sign: Array,
    rim_mm: Array,
    arm_mm: Array,
    max_arm_px: float = 24.0,
) -> SaddleFits:
    """Fit saddle points in their predicted places.

    Args:
        gray: picture, (h, w) uint8.
        uv_px: (N, 2) predicted places, good to about 2 px.
        px_from_mm: (N, 2, 2) how the target's x (right) and y (up) run in the picture there: columns are px per mm.
        sign: (N,) +1 where the squares at upper left and lower right are black.
        rim_mm: (N,) white between an edge and the nearest marker.
        arm_mm: (N,) length of the window along each edge.
        max_arm_px: the same limit in pixels.
    """
    n = len(uv_px)
    job = _Job(
        gray,
        np.asarray(uv_px, float).reshape(n, 2),
        np.asarray(px_from_mm, float).reshape(n, 2, 2),
        np.asarray(sign, float),
        np.asarray(rim_mm, float),
        np.asarray(arm_mm, float),
        max_arm_px,
    )
    fits = _fit_all(job, np.full(n, constants.SHARP_PX))
    # a blurred picture needs a narrower cross, or the markers are smeared into it
    blur = np.nan_to_num(fits.blur_px.max(axis=1), nan=constants.SHARP_PX)
    blurred = np.flatnonzero(fits.valid & (blur > constants.BLURRED_RATIO * constants.SHARP_PX))
    if len(blurred):
        again = _fit_all(job.take(blurred), np.minimum(blur[blurred], constants.MAX_BLUR_PX / 2))
        fits.put(blurred, again)
    return replace(fits, cov_px2=fits.cov_px2 + _asymmetry(fits))


@dataclass(frozen=True)
class _Job:
    """The arguments of ``fit_saddles``."""

    gray: GrayImage
    uv: Array
    jac: Array
    sign: Array
    rim: Array
    arm: Array
    max_arm_px: float

    def take(self, index: NDArray[np.int64]) -> _Job:
        per_point = (self.uv, self.jac, self.sign, self.rim, self.arm)
        uv, jac, sign, rim, arm = (a[index] for a in per_point)
        return _Job(self.gray, uv, jac, sign, rim, arm, self.max_arm_px)


def _fit_all(job: _Job, blur_px: Array) -> SaddleFits:
    """One fit of every point, with windows made for a blur."""
    n = len(job.uv)
    parts: list[tuple[NDArray[np.int64], SaddleFits]] = []
    arm_px = np.minimum(np.linalg.norm(job.jac, axis=1).max(axis=1) * job.arm, job.max_arm_px) if n else np.zeros(0)
    usable = (
        np.isfinite(job.uv).all(axis=1)
        & (np.abs(np.linalg.det(job.jac)) > constants.LEAST_AREA)
        & (arm_px > constants.LEAST_ARM_PX)
    )
    radius = np.ceil(np.where(usable, arm_px, constants.REACH_PX)).astype(np.int64)
    buckets = np.searchsorted([6, 9, 12, 16, 20], radius)  # windows of similar size are fitted together
    for bucket in np.unique(buckets):
        index = np.flatnonzero((buckets == bucket) & usable)
        for chunk in np.array_split(index, max(1, len(index) // 64)):
            if len(chunk):
                part = job.take(chunk)
                window = _Windows.cut(part, int(radius[chunk].max()), blur_px[chunk])
                parts.append((chunk, _fit(window, part, blur_px[chunk])))
    return _gather(job.uv, parts)


@dataclass(frozen=True)
class _Windows:
    """Pixels of n cross-shaped windows, padded to m each."""

    base: NDArray[np.int64]
    """(n, 2) whole pixel from which dx, dy count"""
    dx: Single
    dy: Single
    """(n, m)"""
    level: Single
    """(n, m) grey values"""
    weight: Single
    """(n, m) 1, or 0 for padding"""
    inside: NDArray[np.bool_]
    """(n,)"""

    @classmethod
    def cut(cls, job: _Job, radius: int, blur_px: Array) -> _Windows:
        gray, uv, rim, arm = job.gray, job.uv, job.rim, job.arm
        height, width = gray.shape
        base = np.round(uv).astype(np.int64)
        steps = np.arange(-radius, radius + 1, dtype=np.float32)
        gx, gy = (g.ravel() for g in np.meshgrid(steps, steps))
        off = (uv - base).astype(np.float32)
        ex, ey = gx - off[:, :1], gy - off[:, 1:]
        inverse = np.linalg.inv(job.jac).astype(np.float32)
        scale = 1.0 / np.linalg.norm(inverse, axis=2)  # px per mm across the edges x = 0 and y = 0
        # the marker starts at the rim; keep its blur out, but never give up more than half of the rim
        clear, wanted = (
            constants.CLEAR * blur_px[:, None],
            np.maximum(constants.REACH_PX, constants.REACH_OF_BLUR * blur_px[:, None]),
        )
        reach = np.minimum(np.maximum(rim[:, None] - clear / scale, constants.RIM_KEPT * rim[:, None]), wanted / scale)
        mx = np.abs(inverse[:, :1, 0] * ex + inverse[:, :1, 1] * ey)
        my = np.abs(inverse[:, 1:, 0] * ex + inverse[:, 1:, 1] * ey)
        cross = ((mx < reach[:, :1]) | (my < reach[:, 1:])) & (mx < arm[:, None]) & (my < arm[:, None])
        cross &= ex * ex + ey * ey < radius * radius
        x, y = base[:, :1] + gx.astype(np.int64), base[:, 1:] + gy.astype(np.int64)
        outside = (x < 0) | (x >= width) | (y < 0) | (y >= height)
        inside = ~(outside & cross).any(axis=1)
        count = cross.sum(axis=1)
        m = max(int(count.max()), 1)
        pick = np.argsort(~cross, axis=1, kind="stable")[:, :m]
        rows = np.arange(len(uv))[:, None]
        level = gray[np.clip(y, 0, height - 1)[rows, pick], np.clip(x, 0, width - 1)[rows, pick]].astype(np.float32)
        weight = cross[rows, pick].astype(np.float32)
        return cls(base, gx[pick], gy[pick], level, weight, inside & (count >= constants.MIN_SAMPLES))


def _fit(window: _Windows, job: _Job, blur_px: Array) -> SaddleFits:
    sign = job.sign
    n = len(sign)
    theta = _edge_normals(job.jac)
    weight, level = window.weight, window.level
    count = np.maximum(weight.sum(axis=1), 1.0)
    mean = (level * weight).sum(axis=1) / count
    spread = np.sqrt(((level - mean[:, None]) ** 2 * weight).sum(axis=1) / count)
    params = np.zeros((n, constants.SADDLE_UNKNOWNS), np.float32)
    params[:, 0:2] = 0.0
    params[:, 2:4] = theta
    params[:, 4:6] = np.maximum(blur_px, constants.START_BLUR_PX)[:, None]
    params[:, 6] = mean
    params[:, 9] = sign * np.maximum(spread, 1.0)
    params, gradients, residual, settled = _minimise(window, params)
    fits = _finish(window, params, gradients, residual, theta, job)
    return replace(fits, valid=fits.valid & settled)


def _edge_normals(jac: Array) -> Array:
    """Angles (n, 2) of the unit normals of edges x = 0 and y = 0, turned towards +x and +y."""
    out = []
    for along, across in ((jac[:, :, 1], jac[:, :, 0]), (jac[:, :, 0], jac[:, :, 1])):
        normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
        normal *= np.sign(np.einsum("ni,ni->n", normal, across))[:, None]
        out.append(np.arctan2(normal[:, 1], normal[:, 0]))
    return np.stack(out, axis=1)


def _minimise(window: _Windows, params: Single, iterations: int = 15) -> tuple[Single, Single, Single, NDArray[np.bool_]]:
    """Levenberg-Marquardt for all windows at once; a window leaves when it has converged."""
    n = len(params)
    value, jac = _model(params, window.dx, window.dy)
    residual = (window.level - value) * window.weight
    cost = np.einsum("nm,nm->n", residual, residual)
    damping = np.full(n, 1e-3, np.float32)
    active = np.arange(n)
    settled = np.zeros(n, bool)
    limits = np.array([*constants.SADDLE_STEPS, *[np.inf] * 5], np.float32)
    diagonal = np.arange(constants.SADDLE_UNKNOWNS)
    for _ in range(iterations):
        j, r = jac[active], residual[active]
        normal = (j * window.weight[active, None]) @ j.transpose(0, 2, 1)
        gradient = (j @ r[:, :, None])[:, :, 0]
        damped = normal.astype(float)
        damped[:, diagonal, diagonal] *= 1.0 + damping[active, None]
        damped[:, diagonal, diagonal] += 1e-6
        step = np.clip(np.linalg.solve(damped, gradient[:, :, None].astype(float))[:, :, 0], -limits, limits)
        trial = (params[active] + step).astype(np.float32)
        trial[:, 4:6] = np.clip(trial[:, 4:6], constants.MIN_BLUR_PX, constants.MAX_BLUR_PX)
        value, jac_trial = _model(trial, window.dx[active], window.dy[active])
        residual_trial = (window.level[active] - value) * window.weight[active]
        cost_trial = np.einsum("nm,nm->n", residual_trial, residual_trial)
        better = cost_trial <= cost[active]
        hit = active[better]
        params[hit], jac[hit], residual[hit] = trial[better], jac_trial[better], residual_trial[better]
        small = np.abs(step[:, :2]).max(axis=1) < constants.SETTLED_PX[0]
        settled[active] = np.abs(step[:, :2]).max(axis=1) < constants.SETTLED_PX[1]
        cost[hit] = cost_trial[better]
        damping[active] *= np.where(better, *constants.DAMPING[:2])
        active = active[~((better & small) | (damping[active] > constants.DAMPING[2]))]
        if not len(active):
            break
    return params, jac, residual, settled


def _model(params: Single, dx: Single, dy: Single) -> tuple[Single, Single]:
    """Grey values (n, m) and derivatives (n, 11, m) by cx, cy, two angles, two blurs, b0, bx, by, a, q."""
    cx, cy, t1, t2, s1, s2, b0, bx, by, a, q = (params[:, k : k + 1] for k in range(constants.SADDLE_UNKNOWNS))
    ex, ey = dx - cx, dy - cy
    c1, d1, c2, d2 = np.cos(t1), np.sin(t1), np.cos(t2), np.sin(t2)
    z1, z2 = (c1 * ex + d1 * ey) / s1, (c2 * ex + d2 * ey) / s2
    half = np.float32(np.sqrt(0.5))
    e1, e2 = erf(z1 * half), erf(z2 * half)
    peak = np.float32(np.sqrt(2.0 / np.pi))
    p = e1 * e2
    slope = a + 2 * q * p
    g1 = slope * e2 * (peak * np.exp(-0.5 * z1 * z1) / s1)
    g2 = slope * e1 * (peak * np.exp(-0.5 * z2 * z2) / s2)
    even = p * p - 1
    jac = np.empty((len(params), constants.SADDLE_UNKNOWNS, dx.shape[1]), np.float32)
    jac[:, 0] = -(g1 * c1 + g2 * c2)
    jac[:, 1] = -(g1 * d1 + g2 * d2)
    jac[:, 2] = g1 * (c1 * ey - d1 * ex)
    jac[:, 3] = g2 * (c2 * ey - d2 * ex)
    jac[:, 4] = -g1 * z1
    jac[:, 5] = -g2 * z2
    jac[:, 6] = 1
    jac[:, 7] = dx * 0.1
    jac[:, 8] = dy * 0.1
    jac[:, 9] = p
    jac[:, 10] = even
    return b0 + bx * jac[:, 7] + by * jac[:, 8] + a * p + q * even, jac


def _finish(window: _Windows, params: Single, jac: Single, residual: Single, theta: Array, job: _Job) -> SaddleFits:
    n = len(params)
    # a blur wider than a fifth of the rim smears the markers into the window
    rim_px = job.rim / np.linalg.norm(np.linalg.inv(job.jac), axis=2).max(axis=1)
    blur = params[:, 4:6].max(axis=1).astype(float)
    smear = constants.SMEAR * blur * np.maximum(blur / rim_px - constants.SMEAR_FROM, 0.0)
    jac = jac * window.weight[:, None]
    normal = (jac @ jac.transpose(0, 2, 1)).astype(float)
    count = window.weight.sum(axis=1)
    scale = np.sqrt(np.maximum(np.einsum("nii->ni", normal), 1e-12))
    inverse = np.linalg.pinv(normal / (scale[:, :, None] * scale[:, None]), rcond=1e-7, hermitian=True)
    inverse /= scale[:, :, None] * scale[:, None]
    influence = inverse[:, :2] @ jac * residual[:, None]  # (n, 2, m)
    dof = np.maximum(count - constants.SADDLE_UNKNOWNS, 1.0)
    cov = (influence @ influence.transpose(0, 2, 1)).astype(float) * (count / dof)[:, None, None] * constants.SADDLE_CORRELATION
    rms = np.sqrt(np.einsum("nm,nm->n", residual, residual) / dof)
    third, third_u = _third_moments(window, params, jac, residual, inverse, rms)
    cov += (constants.FLOOR_PX**2 + smear**2)[:, None, None] * np.eye(2)
    # residuals square by square: something lies over one of them, or a shadow ends there
    ex, ey = window.dx - params[:, :1], window.dy - params[:, 1:2]
    side = [np.cos(params[:, k : k + 1]) * ex + np.sin(params[:, k : k + 1]) * ey > 0 for k in (2, 3)]
    square = side[0] * 2 + side[1]
    power = np.zeros((n, 4))
    for k in range(4):
        here = window.weight * (square == k)
        power[:, k] = np.einsum("nm,nm->n", residual * residual, here) / np.maximum(here.sum(axis=1), 1.0)
    overall = np.einsum("nm,nm->n", residual, residual) / np.maximum(count, 1.0)
    turn = np.abs((params[:, 2:4] - theta + np.pi) % (2 * np.pi) - np.pi).max(axis=1)
    return SaddleFits(
        uv_px=window.base + params[:, :2].astype(float),
        cov_px2=cov,
        blur_px=params[:, 4:6].astype(float),
        normals=np.stack([np.cos(params[:, 2:4]), np.sin(params[:, 2:4])], axis=-1).astype(float),
        amplitude=params[:, 9] * job.sign,
        rms=rms.astype(float),
        third=third,
        third_u=third_u,
        lopsided=np.sqrt(power.max(axis=1) / np.maximum(overall, 1e-9)),
        turned_rad=turn,
        valid=window.inside & np.isfinite(cov).all(axis=(1, 2)) & np.isfinite(params).all(axis=1),
    )


def _third_moments(
    window: _Windows, params: Single, jac: Single, residual: Single, inverse: Array, rms: Array
) -> tuple[Array, Array]:
    """(n, 2) third moment of the blur across either edge, and its standard uncertainty.

    As one more unknown each (Gram-Charlier series: the edge's derivative is ``phi(z) (1 + k (3 z - z^3))``, with its peak at
    ``z = 3 k``), from the residuals in one step.
    """
    ex, ey = window.dx - params[:, :1], window.dy - params[:, 1:2]
    cos, sin, blur = np.cos(params[:, 2:4]), np.sin(params[:, 2:4]), params[:, 4:6]
    z = (cos[:, :, None] * ex[:, None] + sin[:, :, None] * ey[:, None]) / blur[:, :, None]
    edge = erf(z * np.float32(constants.SQRT_HALF))
    slope = (params[:, 9:10] + 2 * params[:, 10:11] * edge[:, 0] * edge[:, 1]) * window.weight
    peak = np.float32(constants.SLOPE_OF_ERF) * np.exp(-0.5 * z * z)
    third = slope[:, None] * (z * z - 1) * peak * edge[:, ::-1]
    cross = (jac @ third.transpose(0, 2, 1)).astype(float)
    left = (third @ third.transpose(0, 2, 1)).astype(float) - cross.transpose(0, 2, 1) @ inverse @ cross
    gain = np.linalg.pinv(left, rcond=1e-6, hermitian=True)
    k: Array = (gain @ (third @ residual[:, :, None]).astype(float))[:, :, 0]
    explained = np.einsum("nk,nkl,nl->n", k, left, k) / np.maximum(np.einsum("nm,nm->n", residual, residual), 1e-12)
    noise = rms**2 * np.clip(1.0 - explained, 0.0, 1.0) * constants.SADDLE_CORRELATION
    return k, np.sqrt(np.maximum(np.einsum("nkk->nk", gain) * noise[:, None], 0.0))


def _asymmetry(fits: SaddleFits) -> Array:
    """(N, 2, 2) what a lopsided blur leaves open of the centres: the distance from the middle of the blur to its peak.

    A fit lies somewhere between middle and peak, and which of them is where the lens projects a point depends on what blurred
    it: the place is anywhere within that distance (GUM 4.3.7). Where the third moment could be noise nothing is added, nor for
    what the corners of the picture have in common.
    """
    k = fits.third - _in_common(fits)
    k = np.sqrt(np.clip(k * k - constants.LOPSIDED_EVIDENCE * fits.third_u**2, 0.0, constants.MOST_LOPSIDED**2))
    apart = np.where(fits.valid[:, None], 3.0 * k * np.nan_to_num(fits.blur_px), 0.0)
    normals = np.where(fits.valid[:, None, None], fits.normals, np.eye(2))
    across = np.linalg.inv(normals)  # px per px along either normal
    out: Array = across @ (apart[:, :, None] ** 2 / 3.0 * np.eye(2)) @ across.transpose(0, 2, 1)
    return out


def _in_common(fits: SaddleFits) -> Array:
    """(N, 2) third moments as they follow from a blur that changes evenly over the picture; 0 where too few corners tell.

    The third moment along a normal n is a cubic form ``sum T_ijk n_i n_j n_k`` with four coefficients; a jerk of the hand has
    the same everywhere, and that of coma grows with the distance from the middle, so each is linear in the place. Where the
    corners contradict that beyond their own uncertainties, nothing is in common.
    """
    out = np.zeros_like(fits.third)
    index = np.flatnonzero(fits.valid & (fits.third_u > 0).all(axis=1))
    if len(index) < constants.LEAST_FOR_COMMON_BLUR:
        return out
    cube = fits.blur_px[index].ravel() ** 3
    x, y = fits.normals[index].reshape(-1, 2).T
    form = np.stack([x**3, 3 * x * x * y, 3 * x * y * y, y**3], axis=1)
    place = fits.uv_px[index] - fits.uv_px[index].mean(axis=0)
    place = np.repeat(place / max(float(np.abs(place).max()), 1.0), 2, axis=0)
    design = np.concatenate([form, form * place[:, :1], form * place[:, 1:]], axis=1)
    value, u = fits.third[index].ravel() * cube, fits.third_u[index].ravel() * cube
    weight = 1.0 / u
    for _ in range(constants.COMMON_BLUR_ROUNDS):
        common = design @ np.linalg.lstsq(design * weight[:, None], value * weight, rcond=None)[0]
        off = np.abs(value - common) / u
        limit = constants.COMMON_BLUR_HUBER * float(np.median(off)) / constants.MEDIAN_OF_NORMAL
        weight = np.sqrt(np.minimum(1.0, limit / np.maximum(off, 1e-9))) / u
    if (float(np.median(off)) / constants.MEDIAN_OF_NORMAL) ** 2 < constants.LOPSIDED_EVIDENCE:
        out[index] = (common / cube).reshape(-1, 2)
    return out


def no_fits(uv: Array) -> SaddleFits:
    """N places (N, 2) where nothing has been fitted yet."""
    n = len(uv)
    return SaddleFits(
        uv_px=uv.copy(),
        cov_px2=np.tile(np.eye(2), (n, 1, 1)),
        blur_px=np.full((n, 2), np.nan),
        normals=np.zeros((n, 2, 2)),
        amplitude=np.zeros(n),
        rms=np.full(n, np.inf),
        third=np.zeros((n, 2)),
        third_u=np.zeros((n, 2)),
        lopsided=np.full(n, np.inf),
        turned_rad=np.full(n, np.inf),
        valid=np.zeros(n, bool),
    )


def _gather(uv: Array, parts: list[tuple[NDArray[np.int64], SaddleFits]]) -> SaddleFits:
    out = no_fits(uv)
    for index, fit in parts:
        for f in fields(SaddleFits):
            getattr(out, f.name)[index] = getattr(fit, f.name)
    return out
