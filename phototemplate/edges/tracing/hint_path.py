"""The rough path of a hint, as a curve in the work plane with stations along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from phototemplate.edges.shapes import EdgePoints, shape_named
from phototemplate.edges.shapes.evaluate import bent_base, frame_of_chord, on_bent_base
from phototemplate.edges.tracing.constants import MOST_MARGIN
from phototemplate.model import Array, ShapeKind
from phototemplate.settings import EdgeSettings

ROUND = ("arc", "circle")
"""Shapes whose path is part of a circle"""


@dataclass(frozen=True)
class Stations:
    """N places along a path, in the work plane."""

    along_mm: Array
    """(N,) arc length from the start of the path"""
    xy_mm: Array
    """(N, 2)"""
    tangent: Array
    """(N, 2) unit vectors"""

    @property
    def normal(self) -> Array:
        """(N, 2) the tangents turned +90 degrees: to the left of the path."""
        return np.stack([-self.tangent[:, 1], self.tangent[:, 0]], axis=1)

    def __len__(self) -> int:
        return len(self.along_mm)

    def shifted(self, offset_mm: Array) -> Array:
        """(N, 2) the stations moved by ``offset_mm`` (N,) to the left of the path."""
        return self.xy_mm + self.normal * offset_mm[:, None]


@dataclass(frozen=True)
class Path:
    """Smooth curve through a few points of the work plane, parametrised by its length.

    Of a line the line of least squared distances, of a round edge the arc or circle; of a profile a cubic spline over the chord
    length, so that the normal turns evenly and neighbouring stations look at neighbouring places.
    """

    nodes_mm: Array
    """(n, 2) of a profile, else the two ends of the chord"""
    bend_per_mm: float = 0.0
    """Curvature to which the chord is bent about its middle"""
    closed: bool = False

    @classmethod
    def through(cls, points_mm: Array, shape: ShapeKind) -> Path:
        """Path through rough points; repeated points are dropped.

        Raises ``ValueError`` where fewer than two different points are left, or three of a round edge, and
        :class:`MeasureError` where no arc leads through them.
        """
        points = np.asarray(points_mm, dtype=np.float64)
        step = np.linalg.norm(np.diff(points, axis=0), axis=1)
        points = points[np.r_[True, step > 1e-6]]
        if len(points) < (3 if shape in ROUND else 2):
            raise ValueError("a path needs two different points, that of a round edge three")
        if shape in ROUND:
            even = np.tile(np.eye(2), (len(points), 1, 1))
            fit = shape_named(shape).fit(EdgePoints(points, even, np.zeros((len(points), 2, 0))), EdgeSettings())
            return cls(fit.chord_mm, fit.bend_per_mm, shape == "circle")
        if shape == "line" and len(points) > 2:
            centre = points.mean(axis=0)
            direction = np.linalg.svd(points - centre)[2][0]
            position = (points - centre) @ direction
            if position[0] > position[-1]:
                direction, position = -direction, -position
            points = centre + np.array([[position.min()], [position.max()]]) * direction
        return cls(points)

    def off(self, points_mm: Array) -> Array:
        """(n,) signed distance of points (n, 2) from a line, arc or circle, positive to its left."""
        return on_bent_base(frame_of_chord(self.nodes_mm), self.bend_per_mm, points_mm)[1]

    def _spline(self) -> tuple[Array, CubicSpline]:
        chord = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(self.nodes_mm, axis=0), axis=1))]
        return chord, CubicSpline(chord, self.nodes_mm, bc_type="not-a-knot" if len(chord) > 3 else "natural")

    def stations(self, spacing_mm: float, margin_mm: float = 0.0) -> Stations:
        """Evenly spaced stations, at least two, the first and last half a spacing from the ends.

        ``margin_mm`` keeps stations away from both ends (the neighbour's edge begins there); a closed path has none.
        """
        if len(self.nodes_mm) == 2:
            frame = frame_of_chord(self.nodes_mm)
            along = _middles(frame.length_mm, spacing_mm, 0.0 if self.closed else margin_mm)
            xy, tangent, _ = bent_base(frame, self.bend_per_mm, along)
            return Stations(along, xy, tangent)
        chord, spline = self._spline()
        fine = np.linspace(0.0, chord[-1], 40 * len(chord))
        curve = spline(fine)
        arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))]
        along = _middles(float(arc[-1]), spacing_mm, margin_mm)
        parameter = np.interp(along, arc, fine)
        derivative = spline(parameter, 1)
        tangent = derivative / np.linalg.norm(derivative, axis=1, keepdims=True)
        return Stations(along, spline(parameter), tangent)


def _middles(length: float, spacing: float, margin: float) -> Array:
    margin = min(margin, MOST_MARGIN * length)
    inner = length - 2 * margin
    count = max(2, round(inner / spacing))
    return margin + (np.arange(count) + 0.5) * inner / count
