"""The one contract of all kinds of fit, and what they share: points in a chord's frame with their variances.

To add a kind of fit: a module here with a class that satisfies :class:`Shape`, one entry in ``SHAPES`` of ``__init__``,
and, if its offset is not linear in its knots, its branch in ``evaluate``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from phototemplate.edges.shapes.constants import LONG_AXIS_MM, LONG_AXIS_RATIO
from phototemplate.edges.shapes.evaluate import ChordFrame, frame_of_chord
from phototemplate.model import Array, ShapeKind
from phototemplate.numerics.correlation import correlated_product
from phototemplate.settings import EdgeSettings


@dataclass(frozen=True)
class EdgePoints:
    """Points of one edge as a fit wants them."""

    xy_mm: Array
    """(N, 2)"""
    noise_cov_mm2: Array
    """(N, 2, 2)"""
    shared_jac: Array
    """(N, 2, K)"""
    influences_cov: Array | None = None
    """(K, K); without it the shared error does not take part in weighing and testing (it is carried all the same)"""
    correlation_mm: float = 0.0
    """Noise of neighbours is correlated by exp(-distance / correlation_mm)"""
    corners_mm: Array | None = None
    """(C, 2) about where the edge meets its neighbours, as far as that is known"""
    believed: bool = False
    """Every point was seen for what it is (a target in several photos), so that none is left out for standing alone"""


@dataclass(frozen=True)
class ShapeFit:
    """A fitted shape. Field meanings as in :class:`phototemplate.model.Segment`."""

    chord_mm: Array
    knots_mm: Array
    offsets_mm: Array
    noise_cov_mm2: Array
    gain: Array
    """(M, N) d offsets / d (displacement of a point normal to the edge, projected to the chord's normal); zero for
    points left out. ``shared_jac`` is ``gain`` times the points' sensitivities in that direction."""
    shared_jac: Array
    residuals_mm: Array
    """(N,) normal distance of every point, also of those left out"""
    used: Array
    """(N,) bool"""
    noise_scale: float
    """Factor by which the scatter between neighbours exceeds the stated noise (at least 1)"""
    roughness_mm: float
    """Standard deviation of the edge's own correlated departure from the shape, 0 if not discernible"""
    roughness_length_mm: float
    turn_rad: float = 0.0
    """Arcs: central angle between first and last point"""
    fitted: float | None = None
    unseen_cov_mm2: Array | None = None


class Shape(Protocol):
    """A kind of fit."""

    name: ShapeKind
    min_points: int

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """Fit the shape to at least ``min_points`` points."""
        ...


@dataclass(frozen=True)
class ChordPoints:
    """Points in a chord's frame at given slopes of the edge."""

    s: Array
    """(N,) along the chord"""
    o: Array
    """(N,) along its normal"""
    variance: Array
    """(N,) own noise of ``o - f(s)`` (mm2): ``g^T cov g`` with g = (-slope, 1)"""
    shift: Array
    """(N,) move along the chord, per mm of ``o - f(s)``, to the most likely true point (York's adjusted point)"""
    jac: Array
    """(N, K) sensitivity of ``o - f(s)``"""
    total: Array
    """(N,) variance with the shared error"""


def in_chord_frame(points: EdgePoints, frame: ChordFrame, slope: Array) -> ChordPoints:
    """Turn the points into the frame of a chord; ``slope`` (N,) is the edge's do/ds at each point."""
    turn = np.stack([frame.tangent, frame.normal])
    local = (points.xy_mm - frame.origin_mm) @ turn.T
    cov = turn @ points.noise_cov_mm2 @ turn.T
    g = np.stack([-slope, np.ones_like(slope)], axis=1)
    cov_g = np.einsum("nab,nb->na", cov, g)
    variance = np.maximum(np.einsum("na,na->n", g, cov_g), 1e-12)
    across = g @ turn
    jac = across[:, :1] * points.shared_jac[:, 0] + across[:, 1:] * points.shared_jac[:, 1]
    total = variance
    if points.influences_cov is not None and jac.shape[1]:
        total = variance + np.maximum(np.einsum("nk,nk->n", jac @ points.influences_cov, jac), 0.0)
    return ChordPoints(local[:, 0], local[:, 1], variance, -cov_g[:, 0] / variance, jac, total)


def tame(points: EdgePoints) -> EdgePoints:
    """Hold the long axis of every point's covariance (see :data:`LONG_AXIS_MM`)."""
    values, vectors = np.linalg.eigh(points.noise_cov_mm2)
    values = np.maximum(values, 0.0)
    values[:, 1] = np.minimum(values[:, 1], np.maximum(LONG_AXIS_MM**2, LONG_AXIS_RATIO**2 * values[:, 0]))
    cov = np.einsum("nij,nj,nkj->nik", vectors, values, vectors)
    return replace(points, noise_cov_mm2=cov)


def noise_of(gain: Array, at: ChordPoints, correlation_mm: float, scale: float) -> Array:
    """(M, M) covariance that the points' own noise gives to ``gain @ o``."""
    return correlated_product(gain, at.s, np.sqrt(at.variance) * scale, correlation_mm)


def chord_through(direction_frame: ChordFrame, s: Array) -> Array:
    """(2, 2) chord on the line of a frame from the smallest to the largest of ``s``."""
    ends = np.array([float(np.min(s)), float(np.max(s))])
    out: Array = direction_frame.origin_mm + ends[:, None] * direction_frame.tangent
    return out


def oriented(chord_mm: Array, xy_mm: Array) -> Array:
    """The chord turned so that it runs in the order in which the points are given."""
    frame = frame_of_chord(chord_mm)
    s = (xy_mm - frame.origin_mm) @ frame.tangent
    index = np.arange(s.size)
    return chord_mm if float(np.dot(index - index.mean(), s - s.mean())) >= 0.0 else chord_mm[::-1].copy()
