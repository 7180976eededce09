"""Walls that bow and swell, and other edges of free shape, as curves with gradients over the state.

A wall curve runs on straight beyond its end knots. Its offset over the chord is linear in the state, which makes every
gradient here exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from phototemplate.model import Array
from phototemplate.numerics.natural_spline import NaturalSpline
from phototemplate.template.constants import FLAT_SLOPE, SMALLEST_SPAN_MM, SPLINE_STEP_MM
from phototemplate.template.gradients import Dual, Vec, atan2, dual, vec


@dataclass(frozen=True)
class WallCurve:
    """Natural cubic spline of normal offsets over a chord, and its parallel curves.

    The point at chord position s is ``origin + s t + f(s) n`` with ``f(s) = weights(s) @ offsets``; the curve itself
    lies ``shift`` to the left of it. The chord is a constant; the offsets are entries ``first .. first + M`` of the
    state.
    """

    origin: Array
    along: Array
    """(2,) unit tangent of the chord"""
    spline: NaturalSpline
    first: int
    size: int
    """S, entries of the state"""
    sense: float = 1.0
    """-1: run against the chord"""
    shift: Dual = field(default_factory=lambda: Dual(0.0))
    """To the left of the chord's direction, whatever the sense"""

    @cached_property
    def normal(self) -> Array:
        """(2,) left normal of the chord."""
        return np.array([-self.along[1], self.along[0]])

    def curve_points(self, s: Array) -> Array:
        """(n, 2) points of the (shifted) curve at chord positions."""
        f, g, _ = self.spline.many(s)
        w = np.sqrt(1.0 + g * g)
        shift = self.shift.value
        x, y = s - shift * g / w, f + shift / w
        out: Array = self.origin + np.outer(x, self.along) + np.outer(y, self.normal)
        return out

    @cached_property
    def _grid(self) -> tuple[Array, Array]:
        """Chord positions to start the search for a foot from, and their offsets."""
        knots = self.spline.knots
        s = np.append(knots[:-1, None] + np.diff(knots)[:, None] * np.arange(6) / 6.0, knots[-1])
        return s, self.spline.many(s)[0]

    def _foot(self, xy: Array) -> float:
        """Chord position of the foot of ``xy``; the same few corners are asked for again and again."""
        key = (float(xy[0]), float(xy[1]))
        if key not in self._feet:
            self._feet[key] = self._search_foot(xy)
        return self._feet[key]

    @cached_property
    def _feet(self) -> dict[tuple[float, float], float]:
        return {}

    def _search_foot(self, xy: Array) -> float:
        d = xy - self.origin
        x, y = float(self.along @ d), float(self.normal @ d)
        grid, offsets = self._grid
        k = int(np.argmin((grid - x) ** 2 + (offsets - y) ** 2))
        s = x if not grid[0] <= x <= grid[-1] else float(grid[k])
        for _ in range(50):
            f, g, h = self.spline.at(s)
            value = (x - s) + (y - f) * g
            slope = -1.0 - g * g + (y - f) * h
            if slope > FLAT_SLOPE:  # beyond the centre of curvature: creep
                slope = -1.0 - g * g
            step = max(min(-value / slope, SPLINE_STEP_MM), -SPLINE_STEP_MM)
            s += step
            if abs(step) < 1e-12 * max(1.0, abs(s)):
                break
        return s

    def _frame(self, s: float) -> tuple[float, float, float, Array, Array]:
        """Offset, slope, second derivative; unit tangent and left normal along the chord at s."""
        f, g, h = self.spline.at(s)
        w = math.sqrt(1.0 + g * g)
        tangent = (self.along + g * self.normal) / w
        return f, g, h, tangent, np.array([-tangent[1], tangent[0]])

    def _full(self, weights: Array) -> Array:
        out = np.zeros(self.size)
        out[self.first : self.first + len(weights)] = weights
        return out

    def side(self, p: Vec) -> Dual:
        s = self._foot(p.xy)
        f, _, _, _, nu = self._frame(s)
        base = self.origin + s * self.along + f * self.normal
        value = float(nu @ (p.xy - base)) - self.shift.value
        grad = nu[0] * p.x.grad + nu[1] * p.y.grad - float(nu @ self.normal) * self._full(self.spline.basis.weights(s)[0])
        return Dual(value, grad - self.shift.grad) * self.sense

    def side_at(self, xy: Array) -> tuple[float, Array]:
        s = self._foot(xy)
        f, _, _, _, nu = self._frame(s)
        base = self.origin + s * self.along + f * self.normal
        return self.sense * (float(nu @ (xy - base)) - self.shift.value), self.sense * nu

    def _foot_dual(self, p: Vec) -> tuple[Dual, Vec, Vec]:
        """Chord position, unit tangent and foot on the unshifted curve, along the chord's direction.

        The foot solves (p - c(s)) . c'(s) = 0; its gradient follows by implicit differentiation.
        """
        s = self._foot(p.xy)
        f, g, h, _, _ = self._frame(s)
        w0, w1 = (self._full(self.spline.basis.weights(s, order)[0]) for order in (0, 1))
        d = p.xy - self.origin
        y = float(self.normal @ d)
        dx = self.along[0] * p.x.grad + self.along[1] * p.y.grad
        dy = self.normal[0] * p.x.grad + self.normal[1] * p.y.grad
        slope = -1.0 - g * g + (y - f) * h
        ds = -(dx + g * dy - g * w0 + (y - f) * w1) / slope
        s_dual, f_dual, g_dual = Dual(s, ds), Dual(f, g * ds + w0), Dual(g, h * ds + w1)
        along, normal = vec(self.along), vec(self.normal)
        foot = vec(self.origin) + along * s_dual + normal * f_dual
        return s_dual, (along + normal * g_dual).unit(), foot

    def foot(self, p: Vec) -> Vec:
        _, tangent, foot = self._foot_dual(p)
        return foot + tangent.left() * self.shift

    def tangent(self, p: Vec) -> Vec:
        return self._foot_dual(p)[1] * self.sense

    def position(self, xy: Array) -> float:
        return self.sense * self._foot(xy)

    def point(self, position: float) -> Array:
        return self.points(np.array([position]))[0]  # type: ignore[no-any-return]

    def points(self, positions: Array) -> Array:
        return self.curve_points(self.sense * positions)

    def sides(self, points: Array) -> Array:
        return np.array([self.side_at(p)[0] for p in points])

    def offset(self, distance_mm: Dual | float) -> WallCurve:
        return replace(self, shift=self.shift + dual(distance_mm) * self.sense)

    def reversed(self) -> WallCurve:
        return replace(self, sense=-self.sense)

    def positions(self, start: Array, end: Array, tolerance_mm: float) -> Array:
        """Chord positions from start to end (in running order) whose chords stay within the tolerance of the curve."""
        a, b = self._foot(start), self._foot(end)
        low, high = min(a, b), max(a, b)
        knots = self.spline.knots
        # a knot beside an end would leave a segment too short to be cut
        inner = knots[(low + SMALLEST_SPAN_MM < knots) & (knots < high - SMALLEST_SPAN_MM)]
        stops = np.concatenate([[low], inner, [high]])
        # within one cubic the second derivative is largest at an end; chord error = h^2 |f''| / 8
        bend = np.abs(self.spline.many(stops)[2])
        width = np.diff(stops)
        chords = width * np.sqrt(np.maximum(bend[:-1], bend[1:]) / (8.0 * tolerance_mm))
        n = np.maximum(np.ceil(chords), 1).astype(int)
        count = np.arange(n.sum()) - np.repeat(np.cumsum(n) - n, n)
        s = np.append(np.repeat(stops[:-1], n) + count * np.repeat(width / n, n), high)
        return s if a <= b else s[::-1]

    def vertices(self, start: Array, end: Array, tolerance_mm: float) -> list[tuple[float, float, float]]:
        # A parallel curve bends more sharply than the curve itself; half the tolerance covers shifts up to r / 2.
        points = self.curve_points(self.positions(start, end, tolerance_mm / 2.0))
        points[0] = start
        return [(float(x), float(y), 0.0) for x, y in points[:-1]]

    def length(self, start: Vec, end: Vec) -> Dual:
        return (end - start).norm()

    def swept(self, start: Vec, end: Vec) -> Dual:
        """Twice the signed area between the curve and the straight line from start to end, both on the curve.

        With the base curve c, its left normal nu, arc length L and turning angle T, the parallel curve at distance d
        has ``int x dy - y dx = int c x dc + d ([c x nu] - 2 L) + d^2 T``; the integrals are done by Gauss-Legendre
        quadrature between the knots.
        """
        (sa, ta, ca), (sb, tb, cb) = self._foot_dual(start), self._foot_dual(end)
        low, high = min(sa.value, sb.value), max(sa.value, sb.value)
        stops = np.array([low, *[float(k) for k in self.spline.knots if low < k < high], high])
        x, weight = np.polynomial.legendre.leggauss(8)
        half = np.diff(stops)[:, None] / 2.0
        nodes = ((stops[:-1, None] + half) + half * x).ravel()
        ds = (half * weight).ravel() * (1.0 if sa.value <= sb.value else -1.0)
        f, g, _ = self.spline.many(nodes)
        w = np.sqrt(1.0 + g * g)
        rows, slopes = (self.spline.basis.weights(nodes, order) for order in (0, 1))
        fa, ga, _ = self.spline.many(np.array([sa.value, sb.value]))
        wa = np.sqrt(1.0 + ga * ga)
        integral = Dual(float(ds @ f), self._full(ds @ rows) + fa[1] * sb.grad - fa[0] * sa.grad)
        arc = Dual(float(ds @ w), self._full((ds * g / w) @ slopes) + wa[1] * sb.grad - wa[0] * sa.grad)
        # in the frame of the chord: int s df - f ds = [s f] - 2 int f ds
        normal, origin = vec(self.normal), vec(self.origin)
        ya, yb = normal.dot(ca - origin), normal.dot(cb - origin)
        base = (sb * yb - sa * ya) - integral * 2.0
        d = self.shift
        na, nb = ta.left(), tb.left()
        turning = atan2(ta.cross(tb), ta.dot(tb))
        parallel = base + d * ((cb - origin).cross(nb) - (ca - origin).cross(na) - arc * 2.0) + d * d * turning
        return parallel - (start - origin).cross(end - origin)
