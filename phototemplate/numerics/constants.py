"""Constants of the numerical methods: limits of iterations and rounding, none of which decides about a measurement."""

from __future__ import annotations

from typing import Final

DAMPING_TRIES: Final = 12
"""count. How often one least-squares step is damped more before the search ends. Convention: 10^12 in damping is as good as
standing still."""
LEAST_DAMPING: Final = 1e-6
"""ratio. Damping with which a step that failed is tried again. Convention: Marquardt, SIAM J. Appl. Math. 11 (1963) 431-441,
raises in powers of ten; the first step is small against a scaled diagonal of 1."""
NO_DAMPING: Final = 1e-7
"""ratio. Damping below this is dropped to none. Convention: a tenth of ``LEAST_DAMPING``."""
DAMPING_FACTOR: Final = 10.0
"""ratio. By which damping rises after a failed step and falls after a good one. Source: Marquardt (1963), his nu."""
COST_ROUNDING: Final = 1e-9
"""ratio. A cost that rises by no more has not risen: sums of thousands of squares round that much. Derived: 1e4 terms at
double precision, with a margin of a thousand."""
EVEN_DIAGONAL: Final = 1e-14
"""ratio. Added to a scaled diagonal before factorising. Convention: some fifty times double precision."""
ROBUST_DROP: Final = 1e-4
"""ratio. Robust fit: a smaller drop of the cost ends the search where little is expected. Chosen on: not recorded."""
ROBUST_EXPECTED: Final = 1e-2
"""half chi-squared. What that little is. Derived: parameters within 0.14 of their standard deviation."""
GUARD_FACTORS: Final = {"U": 2.0, "p95": 1.645}
"""standard uncertainties. How far inside the limits a value has to lie. Source: ISO 14253-1:1998 (the expanded uncertainty at
k = 2), ISO 14253-1:2017 and JCGM 106:2012 (the one-sided 95 % point of the normal distribution)."""
LIMIT_ROUNDING: Final = 1e-9
"""ratio. A value on a limit is not beyond it because of rounding. Derived: double precision with a margin."""
N_COMMON: Final = 4
"""count. Parameters shared by all lens models: f, aspect, cx, cy. Convention: their order."""
OWN_VARIANCE: Final = 0.01
"""ratio. Variance that points at one place keep to themselves when their noise is correlated. Chosen on: not recorded."""
LEAST_SLOPE: Final = 1e-6
"""ratio. Slope of a lens's radial curve, or determinant of its Jacobian, below which Newton's step is held back. Convention:
far below the 0.1 of the strongest lenses."""
LONGEST_STEP: Final = 0.33
"""ratio. Longest of Newton's steps when a pixel's ray is looked for, in units of 1 + tan of its angle. Chosen on: not
recorded."""
LOOSE_PERSPECTIVE: Final = {"k1": 0.3, "k2": 0.6, "p1": 0.003, "p2": 0.003, "k3": 0.6, "k4": 0.3, "k5": 0.6, "k6": 0.6}
"""ratio. Standard deviations of distortion where nothing is known of a lens. Feeds U where photos do not determine them.
Chosen on: not recorded."""
LOOSE_FISHEYE: Final = 0.1
"""ratio. The same for each coefficient of a fish-eye. Chosen on: not recorded."""
