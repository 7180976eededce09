"""Evaluate a fitted :class:`~phototemplate.model.Segment`: offset, slope, point, tangent, their weights over the knots.

One description serves line, arc and profile: the normal offset ``o(s)`` from the chord as a function of the position
``s`` along it (mm, 0 at ``chord_mm[0]``), given by its values at the knots. Everything a later stage derives from a
segment is then a function of ``segment.offsets_mm`` with gradient ``weights`` (for an arc at the present offsets, to
first order).

Equations
---------
line
    straight line through the two knots.
profile
    natural cubic spline (second derivative zero at the end knots), continued straight beyond them; linear in the
    offsets.
arc
    the circle ``A (s^2 + o^2) + B s + o + D = 0`` through the three knots. With the factor of ``o`` fixed to one the
    three coefficients follow from a linear system and stay finite as the arc flattens to a line (A -> 0), so there is
    no switch between an arc and a line. The root is the one on the chord's side of the centre: less than a half
    circle. Where the circle does not reach a position the result is nan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from phototemplate.edges.shapes.constants import CLOSED_FORM_BEND, FLAT_ARC, LEAST_CURVING
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
    """Sense in which the arc runs from the chord's start to its end"""
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


def to_chord(segment: Segment, xy_mm: ArrayLike) -> tuple[Array, Array]:
    """Chord position ``s`` and normal offset ``o`` (n,) of points (n, 2)."""
    frame = chord_frame(segment)
    d = np.atleast_2d(np.asarray(xy_mm, float)) - frame.origin_mm
    return d @ frame.tangent, d @ frame.normal


def offset_at(segment: Segment, s: ArrayLike) -> Array:
    """Normal offset (n,) in mm at chord positions ``s`` (n,)."""
    x = _positions(s)
    if segment.shape == "arc":
        return _arc(segment, x).offset
    out: Array = weights(segment, x) @ segment.offsets_mm
    return out


def weights(segment: Segment, s: ArrayLike) -> Array:
    """(n, M) derivative of :func:`offset_at` with respect to ``segment.offsets_mm``.

    Line and profile: the offset *is* ``weights @ offsets_mm``, and the weights do not depend on the offsets.
    """
    x = _positions(s)
    if segment.shape == "arc":
        return _arc(segment, x).weights
    return spline_weights(segment.knots_mm, x)


def slope_at(segment: Segment, s: ArrayLike) -> Array:
    """(n,) derivative of the offset along the chord, do/ds."""
    x = _positions(s)
    if segment.shape == "arc":
        return _arc(segment, x).slope
    out: Array = slope_weights(segment, x) @ segment.offsets_mm
    return out


def slope_weights(segment: Segment, s: ArrayLike) -> Array:
    """(n, M) derivative of :func:`slope_at` with respect to the offsets."""
    x = _positions(s)
    if segment.shape == "arc":
        return _arc(segment, x).slope_weights
    return spline_weights(segment.knots_mm, x, derivative=1)


def curvature_at(segment: Segment, s: ArrayLike) -> Array:
    """(n,) signed curvature in 1/mm, positive where the edge turns left."""
    x = _positions(s)
    if segment.shape == "arc":
        arc = _arc(segment, x)
        slope, second = arc.slope, arc.second
    else:
        slope = slope_at(segment, x)
        second = spline_weights(segment.knots_mm, x, derivative=2) @ segment.offsets_mm
    out: Array = second / (1.0 + slope**2) ** 1.5
    return out


def point_at(segment: Segment, s: ArrayLike) -> Array:
    """(n, 2) points of the edge at chord positions ``s``, in the segment's frame."""
    frame = chord_frame(segment)
    x = _positions(s)
    out: Array = frame.origin_mm + x[:, None] * frame.tangent + offset_at(segment, x)[:, None] * frame.normal
    return out


def tangent_at(segment: Segment, s: ArrayLike) -> Array:
    """(n, 2) unit tangents of the edge, in the direction of the chord."""
    frame = chord_frame(segment)
    direction = frame.tangent + slope_at(segment, s)[:, None] * frame.normal
    out: Array = direction / np.linalg.norm(direction, axis=1)[:, None]
    return out


def normal_at(segment: Segment, s: ArrayLike) -> Array:
    """(n, 2) left unit normals of the edge."""
    t = tangent_at(segment, s)
    return np.column_stack([-t[:, 1], t[:, 0]])


def offset_u(segment: Segment, s: ArrayLike, influences_cov: Array | None = None) -> Array:
    """(n,) standard uncertainty in mm of the offset at chord positions ``s``, normal to the edge (not to the chord)."""
    w = weights(segment, s)
    variance = np.einsum("ni,ni->n", w @ segment.noise_cov_mm2, w)
    if influences_cov is not None:
        jac = w @ segment.shared_jac
        variance = variance + np.einsum("ni,ni->n", jac @ influences_cov, jac)
    out: Array = np.sqrt(np.maximum(variance, 0.0) / (1.0 + slope_at(segment, s) ** 2))
    return out


def foot(segment: Segment, xy_mm: ArrayLike, iterations: int = 20) -> Array:
    """(n,) chord positions of the points of the edge nearest to ``xy_mm`` (n, 2).

    A well curved arc has a closed form (towards the centre, on the chord's side of it); everything else takes Newton
    steps from the chord's foot.
    """
    s0, o = to_chord(segment, xy_mm)
    if segment.shape == "arc":
        scale = _scale(segment)
        (a, b, d), _ = _arc_coefficients(segment)
        if abs(a) > CLOSED_FORM_BEND:
            center_s, center_o = -scale * b / (2.0 * a), -scale / (2.0 * a)
            radius = scale * np.sqrt(max(b * b + 1.0 - 4 * a * d, 0.0)) / (2.0 * abs(a))
            away = np.hypot(s0 - center_s, o - center_o)
            return np.asarray(center_s + radius * (s0 - center_s) / np.where(away > 0.0, away, 1.0), dtype=float)
    s = s0
    for _ in range(iterations):
        off, slope = offset_at(segment, s), slope_at(segment, s)
        second = curvature_at(segment, s) * (1.0 + slope**2) ** 1.5
        # d/ds of half the squared distance, and of that once more (kept positive: Gauss-Newton where it turns)
        gradient = (s - s0) + (off - o) * slope
        full = 1.0 + slope**2 + (off - o) * second
        step = gradient / np.where(full > LEAST_CURVING, full, 1.0 + slope**2)
        s = s - step
        if np.all(np.abs(step) < 1e-10):
            break
    return s


def circle_of(segment: Segment) -> Circle:
    """The circle of an arc: through its three knots, which may span more than half of it. A flat arc has a very large, finite
    radius.

    With u and v the second and third knot seen from the first, the centre seen from there is
    ``(v_y u.u - u_y v.v, u_x v.v - v_x u.u) / (2 u x v)`` (circumcentre, any handbook of plane geometry).
    """
    assert segment.shape == "arc", "only an arc lies on a circle"
    frame = chord_frame(segment)
    (ux, vx), (uy, vy) = segment.knots_mm[1:] - segment.knots_mm[0], segment.offsets_mm[1:] - segment.offsets_mm[0]
    uu, vv = ux * ux + uy * uy, vx * vx + vy * vy
    twice = 2.0 * (ux * vy - uy * vx)
    if abs(twice) < FLAT_ARC * vv:
        twice = FLAT_ARC * vv if twice >= 0 else -FLAT_ARC * vv
    seen = np.array([vy * uu - uy * vv, ux * vv - vx * uu]) / twice
    # derivatives with respect to u_y and v_y; the first knot's offset moves both, and the place from which is seen
    d_u = (np.array([2.0 * uy * vy - vv, -2.0 * uy * vx]) + 2.0 * vx * seen) / twice
    d_v = (np.array([uu - 2.0 * uy * vy, 2.0 * vy * ux]) - 2.0 * ux * seen) / twice
    d_seen = np.column_stack([-d_u - d_v, d_u, d_v])
    radius = float(np.hypot(seen[0], seen[1]))
    turn = np.stack([frame.tangent, frame.normal], axis=1)
    center = frame.origin_mm + turn @ (seen + np.array([segment.knots_mm[0], segment.offsets_mm[0]]))
    d_center = turn @ (d_seen + np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]))
    return Circle(center, radius, bool(twice > 0), d_center, seen @ d_seen / radius)


def transformed(segment: Segment, rotation: Array, translation_mm: Array) -> Segment:
    """The same edge in another plane frame, ``x' = rotation (2, 2) @ x + translation``: a proper rigid motion,
    offsets and their covariance stay as they are."""
    assert abs(float(np.linalg.det(rotation)) - 1.0) < 1e-9, "a rigid motion without mirroring"
    return replace(
        segment,
        chord_mm=segment.chord_mm @ rotation.T + translation_mm,
        points_mm=segment.points_mm @ rotation.T + translation_mm,
    )


@dataclass(frozen=True)
class _ArcValues:
    offset: Array
    slope: Array
    second: Array
    weights: Array
    slope_weights: Array


def _scale(segment: Segment) -> float:
    return float(segment.knots_mm[-1] - segment.knots_mm[0])


def _arc_coefficients(segment: Segment) -> tuple[Array, Array]:
    """(A, B, D) of the circle in lengths divided by the scale, and their derivatives (3, 3) per scaled offset."""
    x, y = segment.knots_mm / _scale(segment), segment.offsets_mm / _scale(segment)
    v = np.column_stack([x * x + y * y, x, np.ones(3)])
    coef = np.asarray(np.linalg.solve(v, -y), dtype=np.float64)
    jac = np.asarray(-np.linalg.solve(v, np.diag(1.0 + 2.0 * coef[0] * y)), dtype=np.float64)
    return coef, jac


def _arc(segment: Segment, s: Array) -> _ArcValues:
    scale = _scale(segment)
    (a, b, d), jac = _arc_coefficients(segment)
    x = s / scale
    q = a * x * x + b * x + d
    disc = 1.0 - 4.0 * a * q
    root = np.sqrt(np.where(disc > 0.0, disc, np.nan))
    y = -2.0 * q / (1.0 + root)
    g = 1.0 + 2.0 * a * y
    slope = -(2.0 * a * x + b) / g
    second = -2.0 * a * (1.0 + slope**2) / g
    v = np.column_stack([x * x + y * y, x, np.ones_like(x)])
    dv = np.column_stack([2.0 * x + 2.0 * y * slope, np.ones_like(x), np.zeros_like(x)])
    u, du = v @ -jac, dv @ -jac
    w = u / g[:, None]
    dw = du / g[:, None] - u * (2.0 * a * slope / g**2)[:, None]
    return _ArcValues(y * scale, slope, second / scale, w, dw / scale)


def _positions(s: ArrayLike) -> Array:
    return np.atleast_1d(np.asarray(s, dtype=float))
