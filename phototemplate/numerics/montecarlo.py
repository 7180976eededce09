"""Propagation of distributions by Monte Carlo (JCGM 101:2008), with shortest and symmetric intervals.

The check of the law of propagation against it is that of JCGM 101 clause 8: both ends of the two coverage intervals
agree within the numerical tolerance of the standard uncertainty's significant digits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array


@dataclass(frozen=True)
class MonteCarloResult:
    """Estimate, standard uncertainty and coverage intervals of one output quantity."""

    value: float
    u: float
    symmetric: tuple[float, float]
    """Probabilistically symmetric coverage interval"""
    shortest: tuple[float, float]
    draws: int
    probability: float = 0.95


def summarised(draws: Array, probability: float = 0.95) -> MonteCarloResult:
    """What draws (m,) of the output quantity say of it (JCGM 101, 7.6 and 7.7)."""
    return MonteCarloResult(
        float(draws.mean()), float(draws.std(ddof=1)), symmetric_interval(draws, probability),
        shortest_interval(draws, probability), len(draws), probability,
    )  # fmt: skip


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Half a unit of the last of ``digits`` significant digits of u (JCGM 101, 7.9.2): 0.05 for u = 2.0."""
    if u <= 0.0:
        return 0.0
    exponent = math.floor(math.log10(u)) - digits + 1
    return 0.5 * 10.0**exponent


def symmetric_interval(draws: Array, probability: float = 0.95) -> tuple[float, float]:
    """Equal probability left out on both sides (JCGM 101, 7.7.2)."""
    y = np.sort(draws)
    q = min(max(round(probability * y.size), 1), y.size - 1)
    r = (y.size - q) // 2
    return float(y[r]), float(y[r + q])


def shortest_interval(draws: Array, probability: float = 0.95) -> tuple[float, float]:
    """The shortest of all intervals that hold the probability (JCGM 101, 5.3.4 and 7.7.4)."""
    y = np.sort(draws)
    q = min(max(round(probability * y.size), 1), y.size - 1)
    r = int(np.argmin(y[q:] - y[: y.size - q]))
    return float(y[r]), float(y[r + q])


def agrees(value: float, expanded: float, result: MonteCarloResult, digits: int = 2) -> bool:
    """Does the interval ``value +- expanded`` of the law of propagation hold by JCGM 101, 8.1?

    Compared at the tolerance of ``digits`` significant digits of u (one digit is enough for a printed U)."""
    delta = numerical_tolerance(expanded / 2.0, digits)
    low, high = result.symmetric
    return abs(value - expanded - low) <= delta and abs(value + expanded - high) <= delta


def correlated_draws(rng: np.random.Generator, mean: Array, cov: Array, count: int) -> Array:
    """(count, n) normal draws with a joint covariance that may be singular (JCGM 101, 6.4.8, by eigenvalues)."""
    values, vectors = np.linalg.eigh(0.5 * (cov + cov.T))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    out: Array = mean + rng.standard_normal((count, mean.size)) @ root.T
    return out
