"""Curves of the plan: straight lines and circular arcs, with gradients over the state (wall curves: ``wall_curves.py``).

A curve is unbounded and directed; *left* is its unit tangent turned by +90 degrees. Three questions are enough for
everything built on them:

* ``side(p)``: signed distance of a point, positive to the left. Its gradient follows from the envelope theorem: at the
  foot point the distance does not change to first order when the foot slides along the curve.
* ``foot(p)``: nearest point of the curve.
* ``offset(d)``: the parallel curve at distance d to the left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from phototemplate.model import Array
from phototemplate.template.constants import FLAT_SWEEP_RAD, MOST_TURN_RAD
from phototemplate.template.gradients import Dual, Vec, atan2, cos, dual, sin


class Curve(Protocol):
    """What lines, arcs and wall curves have in common."""

    def side(self, p: Vec) -> Dual:
        """Signed distance of ``p``, positive to the left of the curve."""

    def side_at(self, xy: Array) -> tuple[float, Array]:
        """Signed distance of (2,) ``xy`` and its gradient over ``xy``: the left unit normal (2,)."""

    def foot(self, p: Vec) -> Vec:
        """Nearest point of the curve."""

    def tangent(self, p: Vec) -> Vec:
        """Unit tangent at the foot of ``p``."""

    def position(self, xy: Array) -> float:
        """Where the foot of ``xy`` lies along the curve, in mm (arc length, or chord length of a wall curve)."""

    def point(self, position: float) -> Array:
        """(2,) point at a position."""

    def points(self, positions: Array) -> Array:
        """(n, 2) points at (n,) positions."""

    def sides(self, points: Array) -> Array:
        """(n,) signed distances of (n, 2) points."""

    def offset(self, distance_mm: Dual | float) -> Curve:
        """Parallel curve, to the left by the distance."""

    def reversed(self) -> Curve:
        """The same curve run the other way."""

    def vertices(self, start: Array, end: Array, tolerance_mm: float) -> list[tuple[float, float, float]]:
        """Polyline vertices (x, y, bulge) from ``start`` up to, not including, ``end``; both on the curve."""

    def length(self, start: Vec, end: Vec) -> Dual:
        """Length along the curve between two of its points (wall curve: straight distance)."""


@dataclass(frozen=True)
class LineCurve:
    """Straight line through a point."""

    origin: Vec
    direction: Vec
    """Unit vector"""

    def side(self, p: Vec) -> Dual:
        return self.direction.cross(p - self.origin)

    def side_at(self, xy: Array) -> tuple[float, Array]:
        d, o = self.direction.xy, self.origin.xy
        return float(d[0] * (xy[1] - o[1]) - d[1] * (xy[0] - o[0])), np.array([-d[1], d[0]])

    def foot(self, p: Vec) -> Vec:
        return self.origin + self.direction * self.direction.dot(p - self.origin)

    def tangent(self, p: Vec) -> Vec:
        return self.direction

    def position(self, xy: Array) -> float:
        return float(self.direction.xy @ (xy - self.origin.xy))

    def point(self, position: float) -> Array:
        out: Array = self.origin.xy + position * self.direction.xy
        return out

    def points(self, positions: Array) -> Array:
        out: Array = self.origin.xy + np.outer(positions, self.direction.xy)
        return out

    def sides(self, points: Array) -> Array:
        d, o = self.direction.xy, self.origin.xy
        out: Array = d[0] * (points[:, 1] - o[1]) - d[1] * (points[:, 0] - o[0])
        return out

    def offset(self, distance_mm: Dual | float) -> LineCurve:
        return LineCurve(self.origin + self.direction.left() * distance_mm, self.direction)

    def reversed(self) -> LineCurve:
        return LineCurve(self.origin, -self.direction)

    def vertices(self, start: Array, end: Array, tolerance_mm: float) -> list[tuple[float, float, float]]:
        return [(float(start[0]), float(start[1]), 0.0)]

    def length(self, start: Vec, end: Vec) -> Dual:
        return (end - start).norm()


def _travelled(angle_rad: float) -> float:
    """An angle brought to -pi/4 .. 7/4 pi: arcs may turn by more than half, and a little backwards is seen as such."""
    a = angle_rad % (2 * math.pi)
    return a - 2 * math.pi if a > MOST_TURN_RAD else a


@dataclass(frozen=True)
class ArcCurve:
    """Circle; ``turn`` +1 run anticlockwise (centre on the left), -1 clockwise."""

    centre: Vec
    radius: Dual
    turn: float
    start_rad: float = 0.0
    """Angle about the centre from which positions count"""
    closed: bool = False
    """A whole circle: from a place back to the same one it goes all around"""

    def side(self, p: Vec) -> Dual:
        return (self.radius - (p - self.centre).norm()) * self.turn

    def side_at(self, xy: Array) -> tuple[float, Array]:
        d = xy - self.centre.xy
        n = float(np.hypot(d[0], d[1])) or 1e-12
        return self.turn * (self.radius.value - n), -self.turn * d / n

    def foot(self, p: Vec) -> Vec:
        return self.centre + (p - self.centre).unit() * self.radius

    def tangent(self, p: Vec) -> Vec:
        return (p - self.centre).unit().left() * self.turn

    def _angle(self, xy: Array) -> float:
        """Angle travelled from ``start_rad`` in the running direction; see :func:`_travelled`."""
        d = xy - self.centre.xy
        return _travelled(self.turn * (math.atan2(d[1], d[0]) - self.start_rad))

    def position(self, xy: Array) -> float:
        return self._angle(xy) * self.radius.value

    def point(self, position: float) -> Array:
        a = self.start_rad + self.turn * position / self.radius.value
        out: Array = self.centre.xy + self.radius.value * np.array([math.cos(a), math.sin(a)])
        return out

    def points(self, positions: Array) -> Array:
        a = self.start_rad + self.turn * positions / self.radius.value
        out: Array = self.centre.xy + self.radius.value * np.column_stack([np.cos(a), np.sin(a)])
        return out

    def sides(self, points: Array) -> Array:
        out: Array = self.turn * (self.radius.value - np.hypot(*(points - self.centre.xy).T))
        return out

    def offset(self, distance_mm: Dual | float) -> ArcCurve:
        return replace(self, radius=self.radius - dual(distance_mm) * self.turn)

    def reversed(self) -> ArcCurve:
        return replace(self, turn=-self.turn)

    def sweep_rad(self, start: Array, end: Array) -> float:
        """Angle from start to end in the running direction; see :func:`_travelled`."""
        a, b = start - self.centre.xy, end - self.centre.xy
        return self._around(self.turn * math.atan2(a[0] * b[1] - a[1] * b[0], a @ b))

    def _around(self, angle_rad: float) -> float:
        return 2 * math.pi if self.closed and abs(angle_rad) < FLAT_SWEEP_RAD else _travelled(angle_rad)

    def sweep(self, start: Vec, end: Vec) -> Dual:
        """The same with its gradient."""
        a, b = start - self.centre, end - self.centre
        angle = atan2(a.cross(b), a.dot(b)) * self.turn
        return angle + (self._around(angle.value) - angle.value)

    def vertices(self, start: Array, end: Array, tolerance_mm: float) -> list[tuple[float, float, float]]:
        sweep = self.sweep_rad(start, end)
        if sweep > MOST_TURN_RAD:  # a whole circle has no bulge: two halves
            over = 2 * self.centre.xy - start
            return [(float(p[0]), float(p[1]), math.tan(self.turn * sweep / 8.0)) for p in (start, over)]
        return [(float(start[0]), float(start[1]), math.tan(self.turn * sweep / 4.0))]

    def length(self, start: Vec, end: Vec) -> Dual:
        """Of the arc as it is drawn: with the chord and the sweep of its ends, which may lie off the circle where a line runs
        on into it (``intersections.tangent_place``)."""
        if self.sweep_rad(start.xy, end.xy) > MOST_TURN_RAD:
            return self.radius * (2 * math.pi)
        chord, half = (end - start).norm(), self.sweep(start, end) * 0.5
        return chord if abs(half.value) < FLAT_SWEEP_RAD else abs(chord * half / sin(half))

    def cap(self, start: Vec, end: Vec) -> Dual:
        """Twice the signed area between the arc as it is drawn and its chord, positive on the right of the chord.

        With chord c and sweep a: ``c^2 (a - sin a) / (2 - 2 cos a)`` (circular segment, any handbook).
        """
        chord, sweep = end - start, self.sweep(start, end)
        if abs(sweep.value) < FLAT_SWEEP_RAD:
            return Dual(0.0)
        if sweep.value > MOST_TURN_RAD:
            return self.radius * self.radius * (2 * math.pi * self.turn)
        return chord.dot(chord) * (sweep - sin(sweep)) / (2.0 - cos(sweep) * 2.0) * self.turn


def line_through(a: Vec, b: Vec) -> LineCurve:
    """Line from a towards b."""
    return LineCurve(a, (b - a).unit())
