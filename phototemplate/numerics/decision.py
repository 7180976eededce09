"""Meets, fails or cannot tell: decisions against a tolerance after ISO 14253-1 and JCGM 106:2012.

A measured value with uncertainty can only *prove* conformity when it lies inside the tolerance by a guard, and only
prove nonconformity when it lies outside by the same guard. Two guards are in use:

``U`` (default)
    the expanded uncertainty at k = 2; what ISO 14253-1:1998 asks. Wrong in at most 2.3 % of the cases at the limit,
    since Phi(2) = 0.97725.
``p95``
    1.645 u, the one-sided 95 % point; the default of ISO 14253-1:2017 for u small against the tolerance.

Both are for an uncertainty that is known itself. Where few degrees of freedom stand behind it, Student's distribution takes the
place of the normal one with the same probability (JCGM 100:2008, G.3): 2.65 u in place of 2 u with five.

The edition-dependent reading is from memory of the standard; both rules are stated so that a shop can choose. A value
exactly on the guarded limit counts as proven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Literal

from scipy import special

from phototemplate.numerics.constants import GUARD_FACTORS, LIMIT_ROUNDING
from phototemplate.numerics.uncertainty import coverage, coverage_factor

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


def guard_factor(guard: Guard = "U", dof: float = math.inf) -> float:
    """Standard uncertainties that make the guard, with ``dof`` degrees of freedom (truncated, one at least: G.6.4)."""
    factor = GUARD_FACTORS[guard]
    return factor if math.isinf(dof) else coverage_factor(coverage(factor), max(math.floor(dof), 1))


def decide(
    value: float,
    u: float,
    lower: float = -math.inf,
    upper: float = math.inf,
    guard: Guard = "U",
    dof: float = math.inf,
) -> Decision:
    """Compare ``value`` (standard uncertainty ``u``, ``dof`` degrees of freedom) with the limits ``lower`` and ``upper``."""
    assert u >= 0.0, "a standard uncertainty is not negative"
    assert lower <= upper, "limits in order"
    width = guard_factor(guard, dof) * u
    probability = conformance_probability(value, u, lower, upper, dof)
    slack = LIMIT_ROUNDING * max(1.0, abs(value))
    verdict: Verdict = "cannot tell"
    if lower + width - slack <= value <= upper - width + slack:
        verdict = "meets"
    elif value >= upper + width - slack or value <= lower - width + slack:
        verdict = "fails"
    return Decision(verdict, width, probability)


def conformance_probability(
    value: float, u: float, lower: float = -math.inf, upper: float = math.inf, dof: float = math.inf
) -> float:
    """Probability that the true value lies within the limits: normal distribution about the value, or Student's (JCGM 106,
    7.2)."""
    if u == 0.0:
        return 1.0 if lower <= value <= upper else 0.0
    below = special.ndtr if math.isinf(dof) else partial(special.stdtr, max(math.floor(dof), 1))
    return float(below((upper - value) / u) - below((lower - value) / u))


def largest_u_for_proof(value: float, lower: float, upper: float, guard: Guard = "U", dof: float = math.inf) -> float:
    """The standard uncertainty up to which ``value`` would be decided, one way or the other; 0 exactly at a limit."""
    distance = min(abs(value - limit) for limit in (lower, upper) if math.isfinite(limit))
    return distance / guard_factor(guard, dof)
