"""Natural cubic spline over fixed knots, straight beyond its ends, linear in its offsets."""

from __future__ import annotations

import bisect

import numpy as np
from scipy.interpolate import CubicSpline

from phototemplate.model import Array


class OffsetSpline:
    """Offset f(s) over a chord and its dependence on the offsets at the knots.

    Evaluated by Horner's rule over M + 1 pieces: one before the first knot, M - 1 between, one behind the last.
    """

    def __init__(self, knots: Array, offsets: Array) -> None:
        self.knots = np.asarray(knots, dtype=np.float64)
        self.offsets = np.asarray(offsets, dtype=np.float64)
        inner = np.asarray(CubicSpline(self.knots, np.eye(len(self.knots)), bc_type="natural").c)  # (4, M-1, M)
        step = self.knots[-1] - self.knots[-2]
        last = inner[:, -1]
        end = ((last[0] * step + last[1]) * step + last[2]) * step + last[3]
        slope = (3 * last[0] * step + 2 * last[1]) * step + last[2]
        zero = np.zeros_like(end)
        before = np.stack([zero, zero, inner[2, 0], inner[3, 0]])
        after = np.stack([zero, zero, slope, end])
        self.weights_c: Array = np.concatenate([before[:, None], inner, after[:, None]], axis=1)
        """(4, M+1, M) coefficients of the weights"""
        self.c: Array = self.weights_c @ self.offsets
        """(4, M+1) coefficients of f"""
        self.starts = np.concatenate([self.knots[:1], self.knots])
        self._knots, self._starts = self.knots.tolist(), self.starts.tolist()
        self._c = self.c.T.tolist()

    def piece(self, s: float) -> int:
        """Index of the piece that holds s."""
        return bisect.bisect_right(self._knots, s)

    def at(self, s: float) -> tuple[float, float, float]:
        """Offset, slope and second derivative at one position."""
        k = self.piece(s)
        a, b, c, d = self._c[k]
        t = s - self._starts[k]
        return ((a * t + b) * t + c) * t + d, (3 * a * t + 2 * b) * t + c, 6 * a * t + 2 * b

    def many(self, s: Array) -> tuple[Array, Array, Array]:
        """The same at (n,) positions."""
        k = np.searchsorted(self.knots, s, side="right")
        a, b, c, d = self.c[:, k]
        t = s - self.starts[k]
        return ((a * t + b) * t + c) * t + d, (3 * a * t + 2 * b) * t + c, 6 * a * t + 2 * b

    def weights(self, s: float) -> tuple[Array, Array]:
        """(M,) derivatives of the offset and of the slope at s with respect to the offsets at the knots."""
        k = self.piece(s)
        a, b, c, d = self.weights_c[:, k]
        t = s - float(self.starts[k])
        return ((a * t + b) * t + c) * t + d, (3 * a * t + 2 * b) * t + c

    def weight_rows(self, s: Array) -> tuple[Array, Array]:
        """(n, M) the same at many positions."""
        k = np.searchsorted(self.knots, s, side="right")
        a, b, c, d = self.weights_c[:, k]
        t = (s - self.starts[k])[:, None]
        return ((a * t + b) * t + c) * t + d, (3 * a * t + 2 * b) * t + c
