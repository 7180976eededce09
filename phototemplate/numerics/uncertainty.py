"""Degrees of freedom and coverage factor after the GUM (JCGM 100:2008).

Propagation itself is ``g C g'`` with the exact gradient (``template.gradients``, ``template.quantities``); here is what follows
from it: effective degrees of freedom after Welch-Satterthwaite (G.4.1) and the coverage factor of Student's distribution (G.3).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats


def coverage_factor(probability: float, dof: float = math.inf) -> float:
    """Two-sided coverage factor of Student's distribution, e.g. 2.92 for 99 % and 16 degrees of freedom (GUM table
    G.2)."""
    tail = 0.5 * (1.0 + probability)
    return float(stats.norm.ppf(tail) if math.isinf(dof) else stats.t.ppf(tail, dof))


def coverage(factor: float, dof: float = math.inf) -> float:
    """Probability that a true value lies within ``factor`` standard uncertainties, two-sided, after Student's distribution:
    the inverse of :func:`coverage_factor`."""
    return float(2.0 * (stats.norm.cdf(factor) if math.isinf(dof) else stats.t.cdf(factor, dof)) - 1.0)


def effective_dof(contributions: ArrayLike, dof: ArrayLike) -> float:
    """Welch-Satterthwaite (GUM eq. G.2b): ``u^4 / sum(u_i^4 / nu_i)`` for independent contributions ``u_i``."""
    u, nu = np.asarray(contributions, float), np.asarray(dof, float)
    lower = float(np.sum(u**4 / nu))
    return float(np.sum(u**2)) ** 2 / lower if lower > 0.0 else math.inf
