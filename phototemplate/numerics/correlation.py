"""Noise that is correlated along a line: effective sample size, exact covariance of linear estimates, block bootstrap.

A thousand edge points measured from overlapping pixels are not a thousand independent observations. The correlation
model is the exponential one, ``rho(d) = exp(-d / ell)``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from phototemplate.model import Array
from phototemplate.numerics.constants import OWN_VARIANCE


def effective_sample_size(count: int, spacing: float, ell: float) -> float:
    """Independent observations that would give the mean of ``count`` equally spaced correlated ones the same variance:
    ``n / (1 + 2 sum (1 - k/n) rho_k)`` (A. Zieba, Metrol. Meas. Syst. 17 (2010) 3-16, eq. for n_eff)."""
    if count < 2 or ell <= 0.0:
        return float(count)
    k = np.arange(1, count)
    return float(count / (1.0 + 2.0 * np.sum((1.0 - k / count) * np.exp(-k * spacing / ell))))


def autocorrelation(residuals: ArrayLike, positions: ArrayLike, lag: float) -> float:
    """Correlation of residuals (n,) at sorted or unsorted ``positions`` (n,) whose distance is within a half and
    one and a half times ``lag``."""
    order = np.argsort(np.asarray(positions, float))
    s, r = np.asarray(positions, float)[order], np.asarray(residuals, float)[order]
    first = np.searchsorted(s, s + 0.5 * lag)
    last = np.searchsorted(s, s + 1.5 * lag)
    cumulative = np.concatenate([[0.0], np.cumsum(r)])
    pairs = float(np.sum(last - first))
    variance = float(np.mean(r**2))
    if pairs == 0.0 or variance == 0.0:
        return 0.0
    return float(np.sum(r * (cumulative[last] - cumulative[first]))) / pairs / variance


def correlated_product(gain: Array, positions: Array, sd: Array, ell: float) -> Array:
    """``A S A^T`` (m, m) for ``S_ij = sd_i sd_j exp(-|s_i - s_j| / ell)``, in time linear in the number of points.

    ``gain`` A (m, n). With ``ell`` = 0 the points are independent.
    """
    b = gain * sd
    out: Array = b @ b.T
    if ell <= 0.0:
        return out
    order = np.argsort(positions, kind="stable")
    s, b = positions[order], b[:, order]
    phi = np.exp(-np.diff(s) / ell)
    # running[:, i] = sum over j < i of b_j exp(-(s_i - s_j)/ell): a first-order recursion along the line
    running = np.zeros_like(b)
    state = np.zeros(b.shape[0])
    for i in range(1, s.size):
        state = phi[i - 1] * (state + b[:, i - 1])
        running[:, i] = state
    cross = b @ running.T
    return out + cross + cross.T


def whiten(values: Array, positions: Array, sd: Array, ell: float) -> Array:
    """Rows ``values`` (n, m) at sorted ``positions`` turned into uncorrelated ones of unit variance (exponential
    correlation is Markov, so each row needs only its predecessor). Coinciding points keep one per cent of their
    variance to themselves."""
    z: Array = values / sd[:, None]
    if ell <= 0.0:
        return z
    phi = np.minimum(np.exp(-np.diff(positions) / ell), math.sqrt(1 - OWN_VARIANCE))[:, None]
    out = z.copy()
    out[1:] = (z[1:] - phi * z[:-1]) / np.sqrt(1.0 - phi**2)
    return out
