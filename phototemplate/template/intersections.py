"""Segments as curves, and where two curves meet.

Newton's method finds the meeting place with plain numbers; one more step with Dual numbers at the solution gives the
exact gradient of the corner (implicit function theorem).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from phototemplate.edges.shapes.evaluate import chord_frame, circle_of, normal_at, point_at
from phototemplate.model import Array, Segment
from phototemplate.numerics.natural_spline import NaturalSpline
from phototemplate.template.constants import LARGEST_STEP_MM, STRAIGHT_RADIUS_MM, TANGENT_SLACK_MM
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.gradients import Dual, Vec, vec
from phototemplate.template.wall_curves import WallCurve

AnyCurve = LineCurve | ArcCurve | WallCurve


def _gradient(size: int, first: int, jac: Array) -> Array:
    """(S,) gradient over the state from that over the offsets ``first`` .. of one segment."""
    out = np.zeros(size)
    out[first : first + len(jac)] = jac
    return out


def segment_curve(segment: Segment, first: int, size: int) -> AnyCurve:
    """The curve of a segment, run from its first knot to its last.

    Its offsets are entries ``first`` .. of a state of ``size`` entries. A flat arc, whose circle is larger than
    :data:`STRAIGHT_RADIUS_MM`, becomes the line through its end knots.
    """
    frame = chord_frame(segment)
    if segment.shape == "profile":
        spline = NaturalSpline(segment.knots_mm, segment.offsets_mm)
        return WallCurve(frame.origin_mm, frame.tangent, spline, first, size)
    start, end = (_knot(segment, k, first, size) for k in (0, len(segment.knots_mm) - 1))
    if abs(segment.bend_per_mm) * STRAIGHT_RADIUS_MM >= 1.0:
        circle = circle_of(segment)
        x, y = (Dual(float(circle.center_mm[i]), _gradient(size, first, circle.center_jac[i])) for i in (0, 1))
        centre = Vec(x, y)
        radius = Dual(circle.radius_mm, _gradient(size, first, circle.radius_jac))
        towards = start.xy - centre.xy
        turn = 1.0 if circle.anticlockwise else -1.0
        return ArcCurve(centre, radius, turn, math.atan2(towards[1], towards[0]), segment.shape == "circle")
    return LineCurve(start, (end - start).unit())


def _knot(segment: Segment, index: int, first: int, size: int) -> Vec:
    """A knot of a segment as a point with its gradient."""
    at = segment.knots_mm[index]
    moved = Dual(0.0, _gradient(size, first + index, np.ones(1)))
    return vec(point_at(segment, at)[0]) + vec(normal_at(segment, at)[0]) * moved


def follows(curve: AnyCurve, segment: Segment, start: Array, end: Array) -> bool:
    """Whether going from start to end along the curve's direction passes the stretch that was measured."""
    if not isinstance(curve, ArcCurve):
        return curve.position(end) >= curve.position(start)
    if curve.closed:
        return True
    turn = 2 * math.pi
    return curve.sweep_rad(start, segment_middle(segment)) % turn <= curve.sweep_rad(start, end) % turn


def segment_middle(segment: Segment) -> Array:
    """(2,) the middle knot, or the middle of a line."""
    k, knots = len(segment.knots_mm) // 2, segment.knots_mm
    out: Array = point_at(segment, knots[k] if len(knots) > 2 else knots.mean())[0]
    return out


def polish(a: AnyCurve, b: AnyCurve, start: Array) -> Array | None:
    """Newton's method from a start; None where it does not settle on both curves."""
    x = np.array(start, dtype=np.float64)
    for _ in range(60):
        fa, na = a.side_at(x)
        fb, nb = b.side_at(x)
        det = float(na[0] * nb[1] - na[1] * nb[0])
        if abs(det) < 1e-9:
            return None
        step = np.array([fa * nb[1] - fb * na[1], fb * na[0] - fa * nb[0]]) / det
        size = float(np.hypot(step[0], step[1]))
        x = x - step * min(1.0, LARGEST_STEP_MM / size if size > 0 else 1.0)
        if size < 1e-11 * max(1.0, float(np.abs(x).max())):
            return x
    return x if max(abs(a.side_at(x)[0]), abs(b.side_at(x)[0])) < 1e-7 else None


def _candidates(a: AnyCurve, b: AnyCurve, near: Array, reach_mm: float) -> Iterator[Array]:
    """Starts for Newton's method: where samples of the bent curve change sides of the other, nearest first."""
    if isinstance(a, LineCurve) and isinstance(b, LineCurve):
        yield near
        return
    bent, other = (a, b) if not isinstance(a, LineCurve) else (b, a)
    middle = bent.position(near)
    if isinstance(bent, ArcCurve):
        reach_mm = min(reach_mm, math.pi * bent.radius.value)
    positions = middle + np.linspace(-reach_mm, reach_mm, 121)
    points = bent.points(positions)
    sides = other.sides(points)
    change = np.nonzero(np.sign(sides[:-1]) != np.sign(sides[1:]))[0]
    starts = points[change] + (points[change + 1] - points[change]) * (
        np.abs(sides[change]) / np.maximum(np.abs(sides[change]) + np.abs(sides[change + 1]), 1e-12)
    )[:, None]
    yield from starts[np.argsort(np.hypot(*(starts - near).T))]
    yield near


def meet_at(a: AnyCurve, b: AnyCurve, near: Array, reach_mm: float = 3000.0) -> Array | None:
    """Where two curves meet, the place nearest to ``near``; None where they do not meet within reach."""
    for start in _candidates(a, b, np.asarray(near, dtype=np.float64), reach_mm):
        x = polish(a, b, start)
        if x is not None:
            return x
    return None


def with_gradient(a: AnyCurve, b: AnyCurve, xy: Array) -> Vec:
    """The meeting place ``xy`` of two curves with its gradient."""
    p = vec(xy)
    fa, fb = a.side(p), b.side(p)
    na, nb = a.side_at(xy)[1], b.side_at(xy)[1]
    det = float(na[0] * nb[1] - na[1] * nb[0])
    return Vec(p.x - (fa * nb[1] - fb * na[1]) / det, p.y - (fb * na[0] - fa * nb[0]) / det)


def meet(a: AnyCurve, b: AnyCurve, near: Array, reach_mm: float = 3000.0) -> Vec | None:
    """As :func:`meet_at`, with the gradient over the state."""
    xy = meet_at(a, b, near, reach_mm)
    return None if xy is None else with_gradient(a, b, xy)




def tangent_place(a: AnyCurve, b: AnyCurve) -> Vec | None:
    """Where a line or arc runs on into an arc without a corner; None where they do not touch within the slack.

    Two touching curves cross twice, or not at all, for an error as small as one likes; the foot of the arc's centre on
    the line (the place on the line of centres, of two arcs) is where they are meant to join and moves smoothly.
    """
    if isinstance(b, LineCurve):
        a, b = b, a
    if not isinstance(b, ArcCurve):
        return None
    if isinstance(a, LineCurve):
        room = abs(float(a.side(b.centre))) - b.radius.value
        return a.foot(b.centre) if abs(room) < TANGENT_SLACK_MM else None
    if isinstance(a, ArcCurve):
        apart = b.centre - a.centre
        distance = float(apart.norm()) if float(abs(apart.x) + abs(apart.y)) > 0 else 0.0
        for sign, room in ((1.0, distance - a.radius.value - b.radius.value),
                           (1.0, distance + b.radius.value - a.radius.value),
                           (-1.0, distance + a.radius.value - b.radius.value)):
            if abs(room) < TANGENT_SLACK_MM and distance > TANGENT_SLACK_MM:
                return a.centre + apart.unit() * (a.radius * sign)
    return None


def corner_place(a: AnyCurve, b: AnyCurve, near: Array, reach_mm: float = 3000.0) -> Vec | None:
    """The corner of two edges near a place: where they run into each other, else where they meet."""
    tangent = tangent_place(a, b)
    if tangent is not None and float(np.hypot(*(tangent.xy - near))) <= reach_mm:
        return tangent
    return meet(a, b, near, reach_mm)


def crossing_angle_rad(a: AnyCurve, b: AnyCurve, xy: Array) -> float:
    """Angle between two curves at a common point, 0 to pi/2."""
    na, nb = a.side_at(xy)[1], b.side_at(xy)[1]
    return math.atan2(abs(na[0] * nb[1] - na[1] * nb[0]), abs(float(na @ nb)))
