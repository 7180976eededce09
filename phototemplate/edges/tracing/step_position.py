"""Sub-pixel position of a blurred step in each of many profiles at once.

Model of a profile, after the usual edge spread function of a lens with Gaussian blur::

    y(x) = a + h Phi((x - x0) / sigma)

with dark and bright level a and a + h free at every station (contrast may change along the edge, and sides differ)
and the blur sigma common to all stations of a photo. Weighted least squares under a Gaussian window around the step, so
that whatever lies some pixels away (the next edge, a shadow) counts little. With h known the Cramer-Rao bound of x0
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
    grey: Array, step_px: Array, start_px: Array, noise: float, window_px: Array, blur_px: float | None = None
) -> StepFit:
    """Fit the step model near ``start_px`` (N,) in each row of ``grey`` (N, W) sampled at ``step_px`` (W,).

    ``noise`` is the standard deviation of one sample, ``window_px`` (N,) the width (one sigma) of the window, narrow
    where another step is near. ``blur_px`` None finds the common blur first.
    """
    x0 = np.asarray(start_px, dtype=np.float64).copy()
    light = to_light(grey)
    if blur_px is None:
        blur_px = _common_blur(light, step_px, x0, window_px)
    start = x0.copy()
    window = window_px[:, None]
    tone = tone_slope(light)
    for _ in range(5):
        x = step_px - x0[:, None]
        even = np.exp(-0.5 * (x / window) ** 2)
        weight = even * tone**2
        phi = ndtr(x / blur_px)
        bell = np.exp(-0.5 * (x / blur_px) ** 2) / (blur_px * np.sqrt(2 * np.pi))
        low, contrast, residual = _levels(light, phi, weight)
        # Gauss-Newton on x0 with both levels eliminated: project -h bell off (1, phi)
        _, _, slope = _levels(-contrast[:, None] * bell, phi, weight)
        energy = np.maximum((weight * slope**2).sum(axis=1), 1e-12)
        move = (weight * slope * residual).sum(axis=1) / energy
        x0 = x0 + np.clip(move, -MOST_MOVE_PX, MOST_MOVE_PX)
        tone = tone_slope(low[:, None] + contrast[:, None] * phi)
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


def _levels(y: Array, phi: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Weighted regression of each row of y on (1, phi): level, slope and residual."""
    total = weight.sum(axis=1, keepdims=True)
    phi_mean = (weight * phi).sum(axis=1, keepdims=True) / total
    y_mean = (weight * y).sum(axis=1, keepdims=True) / total
    p = phi - phi_mean
    gain = (weight * p * (y - y_mean)).sum(axis=1, keepdims=True) / np.maximum(
        (weight * p * p).sum(axis=1, keepdims=True), 1e-12
    )
    residual = y - y_mean - gain * p
    return (y_mean - gain * phi_mean)[:, 0], gain[:, 0], residual


def _common_blur(light: Array, step_px: Array, x0: Array, window_px: Array) -> float:
    """Blur that fits most profiles best: smallest median of the relative misfit over a fixed set of widths.

    A few rounds of the position keep a start that is off by half a pixel from looking like blur.
    """
    tone = tone_slope(light)
    take = np.linspace(0, len(x0) - 1, min(len(x0), 40)).astype(int)
    light, x0, window, tone = light[take], x0[take], window_px[take, None], tone[take]
    even = tone**2 * np.exp(-0.5 * ((step_px - x0[:, None]) / window) ** 2)
    _, _, spread = _levels(light, np.zeros_like(light), even)
    size = np.maximum((even * spread**2).sum(axis=1), 1e-12)
    misfit = np.empty((len(BLURS_PX), len(x0)))
    for k, blur in enumerate(BLURS_PX):
        place = x0.copy()
        for _ in range(2):
            x = step_px - place[:, None]
            weight = np.exp(-0.5 * (x / window) ** 2) * tone**2
            bell = np.exp(-0.5 * (x / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
            _, contrast, residual = _levels(light, ndtr(x / blur), weight)
            _, _, slope = _levels(-contrast[:, None] * bell, ndtr(x / blur), weight)
            place = place + np.clip(
                (weight * slope * residual).sum(axis=1) / np.maximum((weight * slope**2).sum(axis=1), 1e-12),
                -COMMON_MOVE_PX,
                COMMON_MOVE_PX,
            )
        misfit[k] = (weight * residual**2).sum(axis=1) / size
    return float(BLURS_PX[np.argmin(np.median(misfit, axis=1))])
