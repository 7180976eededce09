"""Meets, fails or cannot tell: decisions against a tolerance after ISO 14253-1 and JCGM 106:2012.

A measured value with uncertainty can only *prove* conformity when it lies inside the tolerance by a guard, and only
prove nonconformity when it lies outside by the same guard. Two guards are in use:

``U`` (default)
    the expanded uncertainty at k = 2; what ISO 14253-1:1998 asks. Wrong in at most 2.3 % of the cases at the limit,
    since Phi(2) = 0.97725.
``p95``
    1.645 u, the one-sided 95 % point; the default of ISO 14253-1:2017 for u small against the tolerance.

The edition-dependent reading is from memory of the standard; both rules are stated so that a shop can choose. A value
exactly on the guarded limit counts as proven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy import stats

from phototemplate.numerics.constants import GUARD_FACTORS, LIMIT_ROUNDING

Verdict = Literal["meets", "fails", "cannot tell"]
Guard = Literal["U", "p95"]



@dataclass(frozen=True)
class Decision:
    """Verdict with what it rests on."""

    verdict: Verdict
    guard: float
    """Width of the guard, in the unit of the value"""
    probability: float
    """Conformance probability: that the true value lies within the limits (JCGM 106, 7)"""


def decide(value: float, u: float, lower: float = -math.inf, upper: float = math.inf, guard: Guard = "U") -> Decision:
    """Compare ``value`` (standard uncertainty ``u``) with the limits ``lower`` and ``upper``."""
    assert u >= 0.0, "a standard uncertainty is not negative"
    assert lower <= upper, "limits in order"
    width = GUARD_FACTORS[guard] * u
    probability = conformance_probability(value, u, lower, upper)
    slack = LIMIT_ROUNDING * max(1.0, abs(value))
    verdict: Verdict = "cannot tell"
    if lower + width - slack <= value <= upper - width + slack:
        verdict = "meets"
    elif value >= upper + width - slack or value <= lower - width + slack:
        verdict = "fails"
    return Decision(verdict, width, probability)


def conformance_probability(value: float, u: float, lower: float = -math.inf, upper: float = math.inf) -> float:
    """Probability that the true value lies within the limits, normal distribution about the value (JCGM 106, 7.2)."""
    if u == 0.0:
        return 1.0 if lower <= value <= upper else 0.0
    return float(stats.norm.cdf((upper - value) / u) - stats.norm.cdf((lower - value) / u))


def largest_u_for_proof(value: float, lower: float, upper: float, guard: Guard = "U") -> float:
    """The standard uncertainty up to which ``value`` would be decided, one way or the other; 0 exactly at a limit."""
    distance = min(abs(value - limit) for limit in (lower, upper) if math.isfinite(limit))
    return distance / GUARD_FACTORS[guard]
