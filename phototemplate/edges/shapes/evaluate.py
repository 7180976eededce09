"""Evaluate a fitted :class:`~phototemplate.model.Segment`: offset, slope, point, tangent, their weights over the knots.

One description serves all shapes: the normal offset ``o(s)`` from a base, as a function of the position ``s`` along it (mm, 0
at its start), given by its values at the knots. The base is the chord, bent evenly about its middle to the curvature
``bend_per_mm``; its length stays that of the chord. Everything a later stage derives from a segment is then a linear function
of ``segment.offsets_mm`` with gradient ``weights``.

Equations
---------
base
    ``middle + T sin(k u) / k + N (1 - cos(k u)) / k`` with u the position from the middle, k the curvature, T and N tangent and
    left normal of the chord; as k goes to zero this is the chord itself, so there is no switch between an arc and a line. Over
    a length of ``2 pi / |k|`` the base closes: a circle.
line
    straight line through the two knots.
profile
    natural cubic spline (second derivative zero at the end knots), continued straight beyond them.
arc, circle
    the offsets that a bent base takes when its circle moves and grows, to first order: those spanned by 1, ``sin(k u) / k`` and
    ``(1 - cos(k u)) / k^2``. A fit leaves them zero, and what is said of them is exact there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from phototemplate.edges.shapes.constants import LEAST_CURVING
from phototemplate.model import Array, Segment
from phototemplate.numerics.natural_spline import spline_weights


@dataclass(frozen=True)
class ChordFrame:
    """Local frame of a segment: a point is ``origin + s * tangent + o * normal``."""

    origin_mm: Array
    """(2,) start of the chord"""
    tangent: Array
    """(2,) unit vector along the chord"""
    normal: Array
    """(2,) the tangent turned +90 degrees: to the left"""
    length_mm: float


@dataclass(frozen=True)
class Circle:
    """The circle an arc lies on."""

    center_mm: Array
    """(2,)"""
    radius_mm: float
    anticlockwise: bool
    """Sense in which the arc runs from its start to its end"""
    center_jac: Array
    """(2, 3) derivative of the centre with respect to the three knot offsets"""
    radius_jac: Array
    """(3,)"""


def chord_frame(segment: Segment) -> ChordFrame:
    """Origin, unit tangent, left unit normal and length of the chord."""
    return frame_of_chord(segment.chord_mm)


def frame_of_chord(chord_mm: Array) -> ChordFrame:
    """:class:`ChordFrame` of a chord (2, 2)."""
    along = chord_mm[1] - chord_mm[0]
    length = float(np.hypot(along[0], along[1]))
    assert length > 0.0, "a chord has a length"
    tangent = along / length
    return ChordFrame(chord_mm[0], tangent, np.array([-tangent[1], tangent[0]]), length)


def bent_base(frame: ChordFrame, bend_per_mm: float, s: Array) -> tuple[Array, Array, Array]:
    """Points (n, 2), unit tangents and left unit normals of a chord bent about its middle, at positions ``s`` (n,)."""
    u = s - 0.5 * frame.length_mm
    sine, rise = _sine(u, bend_per_mm), bend_per_mm * _rise(u, bend_per_mm)
    middle = frame.origin_mm + 0.5 * frame.length_mm * frame.tangent
    cos, sin = np.cos(bend_per_mm * u)[:, None], np.sin(bend_per_mm * u)[:, None]
    tangent = cos * frame.tangent + sin * frame.normal
    normal = cos * frame.normal - sin * frame.tangent
    return middle + sine[:, None] * frame.tangent + rise[:, None] * frame.normal, tangent, normal


def on_bent_base(frame: ChordFrame, bend_per_mm: float, xy_mm: Array) -> tuple[Array, Array]:
    """Position (n,) along a bent chord, and offset (n,) to its left, of points (n, 2).

    The feet on the circle through the middle (p, q) = (0, 0): ``u = atan2(k p, 1 - k q) / k`` and
    ``o = (2 q - k (p^2 + q^2)) / (1 + sqrt((k p)^2 + (1 - k q)^2))``, which keep their digits as k goes to zero.
    """
    d = xy_mm - frame.origin_mm
    p, q = d @ frame.tangent - 0.5 * frame.length_mm, d @ frame.normal
    if bend_per_mm == 0.0:
        return p + 0.5 * frame.length_mm, q
    a, b = bend_per_mm * p, 1.0 - bend_per_mm * q
    offset = (2.0 * q - bend_per_mm * (p * p + q * q)) / (1.0 + np.hypot(a, b))
    return np.arctan2(a, b) / bend_per_mm + 0.5 * frame.length_mm, offset


def arc_weights(knots_mm: Array, length_mm: float, bend_per_mm: float, s: Array, derivative: int = 0) -> Array:
    """(n, 3) weights of three knots in the offset that a moved and grown circle takes from a bent base, or their derivatives
    along it."""
    half = 0.5 * length_mm
    by_knots = np.linalg.inv(circle_moves(knots_mm - half, bend_per_mm))
    return np.asarray(circle_moves(s - half, bend_per_mm, derivative) @ by_knots)


def circle_moves(u: Array, k: float, derivative: int = 0) -> Array:
    """(n, 3) offsets from a base of curvature k, at u (n,) from its middle, that its circle takes by moving across there, by
    turning and by curving more, each per unit; or their first or second derivatives along it. The first is 1 and not cos(k u),
    which is the same together with the others."""
    if derivative == 1:
        return np.column_stack([np.zeros_like(u), np.cos(k * u), _sine(u, k)])
    if derivative == 2:
        return np.column_stack([np.zeros_like(u), -k * np.sin(k * u), np.cos(k * u)])
    return np.column_stack([np.ones_like(u), _sine(u, k), _rise(u, k)])


def _sine(u: Array, k: float) -> Array:
    """sin(k u) / k"""
    return np.asarray(u * np.sinc(k * u / np.pi))


def _rise(u: Array, k: float) -> Array:
    """(1 - cos(k u)) / k^2"""
    return np.asarray(0.5 * u * u * np.sinc(0.5 * k * u / np.pi) ** 2)


def to_chord(segment: Segment, xy_mm: ArrayLike) -> tuple[Array, Array]:
    """Position ``s`` along the base and normal offset ``o`` from it (n,) of points (n, 2)."""
    return on_bent_base(chord_frame(segment), segment.bend_per_mm, np.atleast_2d(np.asarray(xy_mm, float)))


def between(segment: Segment, start_mm: Array, end_mm: Array, count: int) -> Array:
    """(count,) even positions from the foot of one place (2,) to that of another; all around a circle."""
    ends = to_chord(segment, np.stack([start_mm, end_mm]))[0]
    if segment.shape == "circle":
        ends = ends[0] + np.array([0.0, chord_frame(segment).length_mm])
    return np.linspace(ends[0], ends[1], count)


def offset_at(segment: Segment, s: ArrayLike) -> Array:
    """Normal offset (n,) in mm at positions ``s`` (n,)."""
    out: Array = weights(segment, s) @ segment.offsets_mm
    return out


def weights(segment: Segment, s: ArrayLike, derivative: int = 0) -> Array:
    """(n, M) derivative of :func:`offset_at` with respect to ``segment.offsets_mm``, on which it does not depend; or of its
    derivative along the base."""
    x = _positions(s)
    if segment.shape in ("arc", "circle"):
        return arc_weights(segment.knots_mm, chord_frame(segment).length_mm, segment.bend_per_mm, x, derivative)
    return spline_weights(segment.knots_mm, x, derivative)


def slope_at(segment: Segment, s: ArrayLike) -> Array:
    """(n,) slope of the edge against its base: do/ds, per mm of what a bent base has there at the edge's offset."""
    x = _positions(s)
    out: Array = weights(segment, x, 1) @ segment.offsets_mm / (1.0 - segment.bend_per_mm * offset_at(segment, x))
    return out


def point_at(segment: Segment, s: ArrayLike) -> Array:
    """(n, 2) points of the edge at positions ``s``, in the segment's frame."""
    x = _positions(s)
    base, _, normal = bent_base(chord_frame(segment), segment.bend_per_mm, x)
    return np.asarray(base + offset_at(segment, x)[:, None] * normal)


def tangent_at(segment: Segment, s: ArrayLike) -> Array:
    """(n, 2) unit tangents of the edge, in the direction of the chord."""
    x = _positions(s)
    _, tangent, normal = bent_base(chord_frame(segment), segment.bend_per_mm, x)
    direction = tangent + slope_at(segment, x)[:, None] * normal
    out: Array = direction / np.linalg.norm(direction, axis=1)[:, None]
    return out


def normal_at(segment: Segment, s: ArrayLike) -> Array:
    """(n, 2) left unit normals of the edge."""
    t = tangent_at(segment, s)
    return np.column_stack([-t[:, 1], t[:, 0]])


def offset_u(segment: Segment, s: ArrayLike, influences_cov: Array | None = None) -> Array:
    """(n,) standard uncertainty in mm of the offset at positions ``s``, normal to the edge (not to its base)."""
    w = weights(segment, s)
    variance = np.einsum("ni,ni->n", w @ segment.noise_cov_mm2, w)
    if influences_cov is not None:
        jac = w @ segment.shared_jac
        variance = variance + np.einsum("ni,ni->n", jac @ influences_cov, jac)
    out: Array = np.sqrt(np.maximum(variance, 0.0) / (1.0 + slope_at(segment, s) ** 2))
    return out


def foot(segment: Segment, xy_mm: ArrayLike, iterations: int = 20) -> Array:
    """(n,) positions of the points of the edge nearest to ``xy_mm`` (n, 2): Newton steps from the foot on the base, on which an
    arc that was fitted lies itself."""
    s0, o = to_chord(segment, xy_mm)
    if segment.bend_per_mm:
        return s0
    s = s0
    for _ in range(iterations):
        off, slope = offset_at(segment, s), slope_at(segment, s)
        # d/ds of half the squared distance, and of that once more (kept positive: Gauss-Newton where it turns)
        gradient = (s - s0) + (off - o) * slope
        full = 1.0 + slope**2 + (off - o) * (weights(segment, s, 2) @ segment.offsets_mm)
        step = gradient / np.where(full > LEAST_CURVING, full, 1.0 + slope**2)
        s = s - step
        if np.all(np.abs(step) < 1e-10):
            break
    return s


def circle_of(segment: Segment) -> Circle:
    """The circle of an arc that is not flat: the base's, moved and grown by the offsets.

    A circle that moves by (x, y) along the chord's tangent and normal at the middle while 1 / curvature grows by r leaves its
    base by ``y cos(k u) - x sin(k u) - r`` to the left.
    """
    frame, k = chord_frame(segment), segment.bend_per_mm
    assert k != 0.0, "only a bent edge lies on a circle"
    half = 0.5 * frame.length_mm
    by_moves = np.linalg.inv(circle_moves(segment.knots_mm - half, k))
    x, y = -by_moves[1] / k, -by_moves[2] / k**2
    grown = y - by_moves[0]
    center_jac = np.outer(frame.tangent, x) + np.outer(frame.normal, y)
    radius_jac = np.sign(k) * grown
    center = frame.origin_mm + half * frame.tangent + frame.normal / k + center_jac @ segment.offsets_mm
    return Circle(center, float(1.0 / abs(k) + radius_jac @ segment.offsets_mm), bool(k > 0), center_jac, radius_jac)


def transformed(segment: Segment, rotation: Array, translation_mm: Array) -> Segment:
    """The same edge in another plane frame, ``x' = rotation (2, 2) @ x + translation``: a proper rigid motion,
    offsets and their covariance stay as they are."""
    assert abs(float(np.linalg.det(rotation)) - 1.0) < 1e-9, "a rigid motion without mirroring"
    return replace(
        segment,
        chord_mm=segment.chord_mm @ rotation.T + translation_mm,
        points_mm=segment.points_mm @ rotation.T + translation_mm,
    )


def _positions(s: ArrayLike) -> Array:
    return np.atleast_1d(np.asarray(s, dtype=float))
