"""Sub-pixel position of a blurred step in each of many profiles at once.

Model of a profile, after the usual edge spread function of a lens with Gaussian blur::

    y(x) = a + h Phi((x - x0) / sigma)

with dark and bright level a and a + h free at every station (contrast may change along the edge, and sides differ)
and the blur sigma common to all stations of a photo. Other steps that were found beside it (the next edge, a glue line) stand
in the model as well, with the same blur, heights of their own and the places where they were found: left out, they would pull
at the step and pass for blur. Weighted least squares under a Gaussian window around the step, so that whatever lies some pixels
away counts little. With h known the Cramer-Rao bound of x0
under white noise s is ``s sqrt(2 sqrt(pi) sigma) / h``.

y is light, not grey value: lens and sensor blur light, and only then the camera applies its tone curve, which lifts the dark
half of the blurred step. The middle between the grey values of a step of 8 : 1 lies a third of sigma inside the dark side, a
quarter of a millimetre at 1 px/mm. Noise is even in grey values, so residuals are weighed by the slope of the tone curve,
taken to be that of sRGB (IEC 61966-2-1); phones bend it further, which is left to ``view_u_px``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from phototemplate.edges.tracing.constants import (
    BLURS_PX,
    CLEAR_STEP_SIGMAS,
    COMMON_MOVE_PX,
    FITTED_PARAMETERS,
    LINEAR_GREY,
    LINEAR_LIGHT,
    MOST_MOVE_PX,
    RIDGE,
    SETTLED_BLURS,
    SETTLED_PX,
    UNSETTLED_PX,
    WHITE,
)
from phototemplate.model import Array, BoolArray, IntArray


@dataclass(frozen=True)
class StepFit:
    """N fitted steps."""

    position_px: Array
    """(N,)"""
    u_px: Array
    """(N,) from noise and misfit"""
    contrast: Array
    """(N,) in grey values, signed"""
    blur_px: float
    """sigma"""
    good: BoolArray
    """(N,) bool: converged near the start and stronger than the noise"""

    def spread_to(self, rows: IntArray, count: int) -> StepFit:
        """The same fits as rows ``rows`` of ``count``; the others are not good."""
        full = [np.zeros(count), np.full(count, np.inf), np.zeros(count)]
        good = np.zeros(count, dtype=bool)
        for target, values in zip(full, (self.position_px, self.u_px, self.contrast), strict=True):
            target[rows] = values
        good[rows] = self.good
        return StepFit(full[0], full[1], full[2], self.blur_px, good)


def fit_steps(
    grey: Array, step_px: Array, start_px: Array, noise: float, window_px: float, blur_px: float | None = None,
    beside_px: Array | None = None,
) -> StepFit:
    """Fit the step model near ``start_px`` (N,) in each row of ``grey`` (N, W) sampled at ``step_px`` (W,).

    ``noise`` is the standard deviation of one sample, ``window_px`` the width (one sigma) of the window. ``beside_px`` (N, B)
    are the places of other steps, nan where there is none. ``blur_px`` None finds the common blur first.
    """
    x0 = np.asarray(start_px, dtype=np.float64).copy()
    light = to_light(grey)
    beside = np.zeros((len(x0), 0)) if beside_px is None else beside_px
    if blur_px is None:
        blur_px = _common_blur(light, step_px, x0, window_px, beside)
    start = x0.copy()
    tone = tone_slope(light)
    others = _rises(step_px, beside, blur_px)
    for _ in range(5):
        x = step_px - x0[:, None]
        even = np.exp(-0.5 * (x / window_px) ** 2)
        weight = even * tone**2
        phi = ndtr(x / blur_px)
        bell = np.exp(-0.5 * (x / blur_px) ** 2) / (blur_px * np.sqrt(2 * np.pi))
        low, contrast, fitted = _levels(light, phi, others, weight)
        residual = light - fitted
        # Gauss-Newton on x0 with all levels eliminated: project -h bell off them
        slope = -contrast[:, None] * bell
        slope = slope - _levels(slope, phi, others, weight)[2]
        energy = np.maximum((weight * slope**2).sum(axis=1), 1e-12)
        move = (weight * slope * residual).sum(axis=1) / energy
        x0 = x0 + np.clip(move, -MOST_MOVE_PX, MOST_MOVE_PX)
        tone = tone_slope(fitted)
    misfit = (weight * residual**2).sum(axis=1) / np.maximum(even.sum(axis=1) - FITTED_PARAMETERS, 1.0)
    variance = np.maximum(noise**2, misfit)
    u = np.sqrt(variance * (weight * even * slope**2).sum(axis=1)) / energy
    settled = np.isfinite(x0) & (np.abs(x0 - start) < SETTLED_BLURS * max(1.0, blur_px)) & (np.abs(move) < SETTLED_PX)
    step = to_grey(low + contrast) - to_grey(low)
    good = np.isfinite(step) & (np.abs(step) > CLEAR_STEP_SIGMAS * noise)
    # where neighbours spoil the model the extremum of the gradient still stands, only less sharply
    return StepFit(np.where(settled, x0, start), np.where(settled, u, np.maximum(u, UNSETTLED_PX)), step, blur_px, good)


def to_light(grey: Array) -> Array:
    """Light, 0-1, of grey values 0-255 (sRGB, IEC 61966-2-1)."""
    y = np.clip(grey / WHITE, 0.0, None)
    return np.asarray(np.where(y <= LINEAR_GREY, y / 12.92, ((y + 0.055) / 1.055) ** 2.4))


def to_grey(light: Array) -> Array:
    """The inverse of ``to_light``."""
    x = np.clip(light, 0.0, None)
    return np.asarray(WHITE * np.where(x <= LINEAR_LIGHT, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055))


def tone_slope(light: Array) -> Array:
    """Derivative of ``to_grey``."""
    x = np.clip(light, LINEAR_LIGHT, 1.0)
    return np.asarray(WHITE * 1.055 / 2.4 * x ** (1 / 2.4 - 1))


def _rises(step_px: Array, beside_px: Array, blur_px: float) -> Array:
    """(N, W, B) unit steps at ``beside_px`` (N, B), zero where there is none."""
    return np.nan_to_num(ndtr((step_px[:, None] - beside_px[:, None, :]) / blur_px))


def _levels(y: Array, phi: Array, others: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Weighted regression of each row of y (N, W) on (1, phi, others): level beside the step, its height, and fitted values."""
    design = np.concatenate([np.ones((*y.shape, 1)), phi[:, :, None], others], axis=2)
    heavy = weight[:, :, None] * design
    normal = np.swapaxes(heavy, 1, 2) @ design
    ridge = RIDGE * np.trace(normal, axis1=1, axis2=2)
    normal += np.maximum(ridge, 1e-12)[:, None, None] * np.eye(design.shape[2])
    answer = np.linalg.solve(normal, np.einsum("nwk,nw->nk", heavy, y)[:, :, None])[:, :, 0]
    middle = np.argmax(phi >= 0.5, axis=1)
    low = answer[:, 0] + np.einsum("nk,nk->n", others[np.arange(len(y)), middle], answer[:, 2:])
    return low, answer[:, 1], np.einsum("nwk,nk->nw", design, answer)


def _common_blur(light: Array, step_px: Array, x0: Array, window_px: float, beside_px: Array) -> float:
    """Blur that fits most profiles best: smallest median of the relative misfit over a fixed set of widths.

    A few rounds of the position keep a start that is off by half a pixel from looking like blur.
    """
    take = np.linspace(0, len(x0) - 1, min(len(x0), 40)).astype(int)
    light, x0, beside = light[take], x0[take], beside_px[take]
    tone = tone_slope(light)
    even = tone**2 * np.exp(-0.5 * ((step_px - x0[:, None]) / window_px) ** 2)
    mean = (even * light).sum(axis=1, keepdims=True) / even.sum(axis=1, keepdims=True)
    size = np.maximum((even * (light - mean) ** 2).sum(axis=1), 1e-12)
    misfit = np.empty((len(BLURS_PX), len(x0)))
    for k, blur in enumerate(BLURS_PX):
        place, others = x0.copy(), _rises(step_px, beside, blur)
        for _ in range(2):
            x = step_px - place[:, None]
            weight = np.exp(-0.5 * (x / window_px) ** 2) * tone**2
            bell = np.exp(-0.5 * (x / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
            _, contrast, fitted = _levels(light, ndtr(x / blur), others, weight)
            residual, slope = light - fitted, -contrast[:, None] * bell
            slope = slope - _levels(slope, ndtr(x / blur), others, weight)[2]
            place = place + np.clip(
                (weight * slope * residual).sum(axis=1) / np.maximum((weight * slope**2).sum(axis=1), 1e-12),
                -COMMON_MOVE_PX,
                COMMON_MOVE_PX,
            )
        misfit[k] = (weight * residual**2).sum(axis=1) / size
    return float(BLURS_PX[np.argmin(np.median(misfit, axis=1))])
