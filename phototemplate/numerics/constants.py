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
"""ratio. Added to a scaled diagonal before factorising, some fifty times double precision. Convention."""
ROBUST_DROP: Final = 1e-4
"""ratio. Robust fit: a smaller drop of the cost ends the search where little is expected. Chosen on: not recorded."""
ROBUST_EXPECTED: Final = 1e-2
"""half chi-squared. What that little is. Derived: parameters within 0.14 of their standard deviation."""
