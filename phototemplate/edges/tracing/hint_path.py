"""The rough path of a hint, as a curve in the work plane with stations along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from phototemplate.edges.tracing.constants import MOST_MARGIN
from phototemplate.model import Array


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

    Two points make a straight line. More points make a cubic spline over the chord length, so that the normal turns
    evenly and neighbouring stations look at neighbouring places; with ``straight`` they make the line of least
    squared distances instead.
    """

    nodes_mm: Array
    """(n, 2)"""

    @classmethod
    def through(cls, points_mm: Array, straight: bool) -> Path:
        """Path through rough points; repeated points are dropped.

        Raises ``ValueError`` where fewer than two different points are left.
        """
        points = np.asarray(points_mm, dtype=np.float64)
        step = np.linalg.norm(np.diff(points, axis=0), axis=1)
        points = points[np.r_[True, step > 1e-6]]
        if len(points) < 2:
            raise ValueError("a path needs two different points")
        if straight and len(points) > 2:
            centre = points.mean(axis=0)
            direction = np.linalg.svd(points - centre)[2][0]
            position = (points - centre) @ direction
            if position[0] > position[-1]:
                direction, position = -direction, -position
            points = centre + np.array([[position.min()], [position.max()]]) * direction
        return cls(points)

    def _spline(self) -> tuple[Array, CubicSpline]:
        chord = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(self.nodes_mm, axis=0), axis=1))]
        return chord, CubicSpline(chord, self.nodes_mm, bc_type="not-a-knot" if len(chord) > 3 else "natural")

    def stations(self, spacing_mm: float, margin_mm: float = 0.0) -> Stations:
        """Evenly spaced stations, at least two, the first and last half a spacing from the ends.

        ``margin_mm`` keeps stations away from both ends (the neighbour's edge begins there).
        """
        if len(self.nodes_mm) == 2:
            length = float(np.linalg.norm(self.nodes_mm[1] - self.nodes_mm[0]))
            tangent = (self.nodes_mm[1] - self.nodes_mm[0]) / length
            along = _middles(length, spacing_mm, margin_mm)
            xy = self.nodes_mm[0] + along[:, None] * tangent
            return Stations(along, xy, np.broadcast_to(tangent, xy.shape).copy())
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
