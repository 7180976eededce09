"""Natural cubic splines over fixed knots, straight beyond their ends, linear in the values at the knots.

The second derivative is zero at both end knots (C. de Boor, A Practical Guide to Splines, 2001, ch. IV). Between the end knots
the spline is that of ``scipy.interpolate.CubicSpline(..., bc_type="natural")``; with two knots it is the straight line.
"""

from __future__ import annotations

import bisect
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from phototemplate.model import Array


class SplineBasis:
    """How a natural spline depends on the values at its M knots.

    Evaluated by Horner's rule over M + 1 pieces: one before the first knot, M - 1 between, one behind the last.
    """

    def __init__(self, knots: Array) -> None:
        self.knots = np.asarray(knots, dtype=np.float64)
        inner = np.asarray(CubicSpline(self.knots, np.eye(self.knots.size), bc_type="natural").c)  # (4, M-1, M)
        step = self.knots[-1] - self.knots[-2]
        last = inner[:, -1]
        end = ((last[0] * step + last[1]) * step + last[2]) * step + last[3]
        slope = (3 * last[0] * step + 2 * last[1]) * step + last[2]
        zero = np.zeros_like(end)
        before = np.stack([zero, zero, inner[2, 0], inner[3, 0]])
        after = np.stack([zero, zero, slope, end])
        self.coefficients: Array = np.concatenate([before[:, None], inner, after[:, None]], axis=1)
        """(4, M+1, M) of the cubic in the distance from the piece's start, highest power first"""
        self.starts: Array = np.concatenate([self.knots[:1], self.knots])

    def weights(self, s: ArrayLike, derivative: int = 0) -> Array:
        """(n, M) weights of the values at the knots in the spline, or in its first or second derivative, at ``s`` (n,)."""
        x = np.atleast_1d(np.asarray(s, dtype=float))
        k = np.searchsorted(self.knots, x, side="right")
        t = (x - self.starts[k])[:, None]
        out: Array = _horner(self.coefficients[:, k], t)[derivative]
        return out


def _horner(c: Array, t: Array) -> tuple[Array, Array, Array]:
    """Value, first and second derivative of cubics ``c`` (4, ...) at ``t``."""
    a, b, d, e = c
    return ((a * t + b) * t + d) * t + e, (3 * a * t + 2 * b) * t + d, 6 * a * t + 2 * b


@lru_cache(maxsize=256)
def _remembered(knots: bytes) -> SplineBasis:
    return SplineBasis(np.frombuffer(knots, dtype=float))


def spline_basis(knots: Array) -> SplineBasis:
    """The basis over increasing ``knots`` (M,); remembered, since the same knots are asked for again and again."""
    return _remembered(np.ascontiguousarray(knots, dtype=float).tobytes())


def spline_weights(knots: Array, s: ArrayLike, derivative: int = 0) -> Array:
    """(n, M) weights of the values at ``knots`` (M,) in the spline at ``s`` (n,); ``derivative`` 0, 1 or 2."""
    return spline_basis(knots).weights(s, derivative)


class NaturalSpline:
    """One natural spline f(s): its basis with values (M,) at the knots."""

    def __init__(self, knots: Array, values: Array) -> None:
        self.basis = spline_basis(knots)
        self.knots = self.basis.knots
        self.values = np.asarray(values, dtype=np.float64)
        self.coefficients: Array = self.basis.coefficients @ self.values
        """(4, M+1)"""
        self._knots, self._starts = self.knots.tolist(), self.basis.starts.tolist()
        self._rows = self.coefficients.T.tolist()

    def at(self, s: float) -> tuple[float, float, float]:
        """Value, slope and second derivative at one position."""
        k = bisect.bisect_right(self._knots, s)
        a, b, c, d = self._rows[k]
        t = s - self._starts[k]
        return ((a * t + b) * t + c) * t + d, (3 * a * t + 2 * b) * t + c, 6 * a * t + 2 * b

    def many(self, s: Array) -> tuple[Array, Array, Array]:
        """The same at (n,) positions."""
        k = np.searchsorted(self.knots, s, side="right")
        return _horner(self.coefficients[:, k], s - self.basis.starts[k])
