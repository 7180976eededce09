"""Reliability of an adjustment after W. Baarda (A testing procedure for use in geodetic networks, 1968).

An observation with standard deviation s and redundancy number r (its share of the redundancy, 0 to 1) reveals a
blunder of at least ``delta0 s / sqrt(r)`` with the stated power; a blunder that stays hidden moves the parameters
by its *external* effect. delta0 = 4.13 for a test at the 0.1 % level with 80 % power.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from phototemplate.model import Array


def noncentrality(alpha: float = 0.001, power: float = 0.80) -> float:
    """``delta0 = z(1 - alpha/2) + z(power)`` of a two-sided normal test: 4.13 by default."""
    return float(stats.norm.ppf(1.0 - 0.5 * alpha) + stats.norm.ppf(power))


def minimal_detectable_bias(
    sigma: ArrayLike, redundancy: ArrayLike, alpha: float = 0.001, power: float = 0.80
) -> Array:
    """Smallest blunder found with the given power: ``delta0 s / sqrt(r)``; inf where nothing checks the observation."""
    s, r = np.asarray(sigma, float), np.asarray(redundancy, float)
    with np.errstate(divide="ignore"):
        out: Array = noncentrality(alpha, power) * s / np.sqrt(np.where(r > 1e-9, r, 0.0))
    return out


def normalized_residuals(residuals: ArrayLike, sigma: ArrayLike, redundancy: ArrayLike) -> Array:
    """``v / (s sqrt(r))``: standard normal when there is no blunder; 0 where nothing checks the observation."""
    v, s, r = (np.asarray(x, float) for x in (residuals, sigma, redundancy))
    out: Array = np.where(r > 1e-9, v / (s * np.sqrt(np.maximum(r, 1e-9))), 0.0)
    return out
