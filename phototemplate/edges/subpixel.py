"""Sub-pixel position of a blurred step in each of many profiles at once.

Model of a profile, after the usual edge spread function of a lens with Gaussian blur::

    y(x) = a + h Phi((x - x0) / sigma)

with dark and bright level a and a + h free at every station (contrast may change along the edge, and sides differ)
and the blur sigma common to all stations of a photo. Weighted least squares under a Gaussian window around the step, so
that whatever lies some pixels away (the next edge, a shadow) counts little. With h known the Cramer-Rao bound of x0
under white noise s is ``s sqrt(2 sqrt(pi) sigma) / h``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from phototemplate.model import Array, BoolArray, IntArray

BLURS_PX = np.array([0.4, 0.5, 0.6, 0.7, 0.8, 0.95, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0])

UNSETTLED_PX = 0.3
"""Standard uncertainty of a position for which the model does not hold"""


@dataclass(frozen=True)
class StepFit:
    """N fitted steps."""

    position_px: Array
    """(N,)"""
    u_px: Array
    """(N,) from noise and misfit"""
    contrast: Array
    """(N,) h, signed"""
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
    if blur_px is None:
        blur_px = _common_blur(grey, step_px, x0, window_px)
    start = x0.copy()
    contrast = np.zeros(len(x0))
    u = np.full(len(x0), np.inf)
    window = window_px[:, None]
    for _ in range(5):
        x = step_px - x0[:, None]
        weight = np.exp(-0.5 * (x / window) ** 2)
        phi = ndtr(x / blur_px)
        bell = np.exp(-0.5 * (x / blur_px) ** 2) / (blur_px * np.sqrt(2 * np.pi))
        _, contrast, residual = _levels(grey, phi, weight)
        # Gauss-Newton on x0 with both levels eliminated: project -h bell off (1, phi)
        slope = -contrast[:, None] * bell
        _, _, slope = _levels(slope, phi, weight)
        energy = np.maximum((weight * slope**2).sum(axis=1), 1e-12)
        move = (weight * slope * residual).sum(axis=1) / energy
        x0 = x0 + np.clip(move, -0.7, 0.7)
    misfit = (weight * residual**2).sum(axis=1) / np.maximum(weight.sum(axis=1) - 3.0, 1.0)
    variance = np.maximum(noise**2, misfit)
    u = np.sqrt(variance * (weight**2 * slope**2).sum(axis=1)) / energy
    settled = np.isfinite(x0) & (np.abs(x0 - start) < 0.8 * max(1.0, blur_px)) & (np.abs(move) < 0.05)
    good = np.isfinite(contrast) & (np.abs(contrast) > 3.0 * noise)
    # where neighbours spoil the model the extremum of the gradient still stands, only less sharply
    return StepFit(
        np.where(settled, x0, start), np.where(settled, u, np.maximum(u, UNSETTLED_PX)), contrast, blur_px, good
    )


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


def _common_blur(grey: Array, step_px: Array, x0: Array, window_px: Array) -> float:
    """Blur that fits most profiles best: smallest median of the relative misfit over a fixed set of widths.

    A few rounds of the position keep a start that is off by half a pixel from looking like blur.
    """
    take = np.linspace(0, len(x0) - 1, min(len(x0), 40)).astype(int)
    grey, x0, window = grey[take], x0[take], window_px[take, None]
    misfit = np.empty((len(BLURS_PX), len(x0)))
    for k, blur in enumerate(BLURS_PX):
        place = x0.copy()
        for _ in range(2):
            x = step_px - place[:, None]
            weight = np.exp(-0.5 * (x / window) ** 2)
            bell = np.exp(-0.5 * (x / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
            _, contrast, residual = _levels(grey, ndtr(x / blur), weight)
            _, _, slope = _levels(-contrast[:, None] * bell, ndtr(x / blur), weight)
            place = place + np.clip(
                (weight * slope * residual).sum(axis=1) / np.maximum((weight * slope**2).sum(axis=1), 1e-12), -0.5, 0.5
            )
        misfit[k] = (weight * residual**2).sum(axis=1) / np.maximum(contrast**2, 1.0)
    return float(BLURS_PX[np.argmin(np.median(misfit, axis=1))])
