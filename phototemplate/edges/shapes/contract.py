"""The one contract of all kinds of fit, and what they share: points in a chord's frame with their variances.

To add a kind of fit: a module here with a class that satisfies :class:`Shape`, one entry in ``SHAPES`` of ``__init__``,
and its weights in ``evaluate``.
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
    """(M, N) derivative of the offsets by the points' distances from the edge, counted along the base's normal; zero for
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
    bend_per_mm: float = 0.0
    fitted: float | None = None
    unseen_cov_mm2: Array | None = None


class Shape(Protocol):
    """A kind of fit."""

    name: ShapeKind
    min_points: int

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """Fit the shape to at least ``min_points`` points. Raises :class:`MeasureError` where they do not settle on it."""
        ...


@dataclass(frozen=True)
class ChordPoints:
    """Points on a base, and what is known of their distance ``d`` from the edge in one direction for each."""

    s: Array
    """(N,) along the base"""
    o: Array
    """(N,) along its normal"""
    variance: Array
    """(N,) own noise of d (mm2)"""
    shift: Array
    """(N,) move along the base, per mm of d, to the most likely true point (York's adjusted point)"""
    jac: Array
    """(N, K) sensitivity of d"""
    total: Array
    """(N,) variance with the shared error"""


def in_chord_frame(points: EdgePoints, frame: ChordFrame, slope: Array) -> ChordPoints:
    """The points in the frame of a straight chord, with d = o - f(s); ``slope`` (N,) is the edge's df/ds at each point."""
    local = points.xy_mm - frame.origin_mm
    across = frame.normal - slope[:, None] * frame.tangent
    along = np.broadcast_to(frame.tangent, across.shape)
    return seen_across(points, local @ frame.tangent, local @ frame.normal, along, across)


def seen_across(points: EdgePoints, s: Array, o: Array, along: Array, across: Array) -> ChordPoints:
    """The points at (s, o), their distances counted along ``across`` (N, 2), the base running along ``along`` (N, 2)."""
    spread = np.einsum("nij,nj->ni", points.noise_cov_mm2, across)
    variance = np.maximum(np.einsum("ni,ni->n", across, spread), 1e-12)
    turned = np.einsum("ni,ni->n", along, spread)
    jac = np.einsum("ni,nik->nk", across, points.shared_jac)
    total = variance
    if points.influences_cov is not None and jac.shape[1]:
        by_shared = jac @ points.influences_cov
        total = variance + np.maximum(np.einsum("nk,nk->n", by_shared, jac), 0.0)
        turned = turned + np.einsum("nk,ni,nik->n", by_shared, along, points.shared_jac)
    return ChordPoints(s, o, variance, -turned / total, jac, total)


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
