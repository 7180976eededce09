"""Straight line with errors in both coordinates.

The distance of every point counts across the edge with the variance ``g^T cov g``, g = (-slope, 1), and the normal
equations use the *adjusted* points; this is the maximum-likelihood line of D. York (Can. J. Phys. 44 (1966) 1079)
in the form of D. York et al. (Am. J. Phys. 72 (2004) 367), which also gives the covariance of the parameters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes import robust
from phototemplate.edges.shapes.constants import FIT_TOLERANCE
from phototemplate.edges.shapes.contract import ChordPoints, EdgePoints, ShapeFit, chord_through, in_chord_frame, oriented
from phototemplate.edges.shapes.evaluate import ChordFrame, frame_of_chord
from phototemplate.edges.shapes.roughness import covariance_of_fit
from phototemplate.errors import MeasureError
from phototemplate.model import Array, ShapeKind
from phototemplate.numerics import least_squares
from phototemplate.numerics.natural_spline import spline_weights
from phototemplate.settings import EdgeSettings


class LineShape:
    """Two knots, at the ends of the chord."""

    name: ShapeKind = "line"
    min_points = 2

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """See :class:`phototemplate.edges.shapes.contract.Shape`."""
        level = np.zeros(len(points.xy_mm))
        start = robust.robust_line(points.xy_mm, np.ones(len(points.xy_mm)))
        frame = robust.robust_line(points.xy_mm, np.sqrt(in_chord_frame(points, start, level).total))
        at = in_chord_frame(points, frame, level)
        used = robust.keep_points(at.o, np.sqrt(at.total), settings.outlier_factor)
        for _ in range(5):
            adjusted = _adjusted(points, frame, at, used)
            before, used = used, robust.keep_points(adjusted.residuals, np.sqrt(adjusted.at.total), settings.outlier_factor)
            frame = adjusted.on_line
            at = in_chord_frame(points, frame, level)
            if np.array_equal(before, used):
                break
        fitted = _adjusted(points, frame, at, used)
        cov, rough = covariance_of_fit(points, fitted.at, fitted.residuals, fitted.design, fitted.gain, used)
        slope = (fitted.offsets[1] - fitted.offsets[0]) / fitted.frame.length_mm
        return ShapeFit(
            np.stack([fitted.frame.origin_mm, fitted.frame.origin_mm + fitted.frame.length_mm * fitted.frame.tangent]),
            np.array([0.0, fitted.frame.length_mm]),
            fitted.offsets,
            cov,
            fitted.gain,
            fitted.gain @ fitted.at.jac,
            fitted.residuals / np.sqrt(1.0 + slope**2),
            used,
            rough.noise_scale,
            rough.sd_mm,
            rough.length_mm,
        )


@dataclass(frozen=True)
class _Adjusted:
    """York's line over a chord."""

    frame: ChordFrame
    offsets: Array
    """(2,) at the chord's ends"""
    gain: Array
    """(2, N)"""
    at: ChordPoints
    design: Array
    """(N, 2) at the measured positions"""

    @property
    def residuals(self) -> Array:
        """(N,) along the chord's normal"""
        return np.asarray(self.at.o - self.design @ self.offsets)

    @property
    def on_line(self) -> ChordFrame:
        """The frame of the chord on the fitted line itself"""
        ends = np.array([[0.0], [self.frame.length_mm]]) * self.frame.tangent + self.offsets[:, None] * self.frame.normal
        return frame_of_chord(self.frame.origin_mm + ends)


def _adjusted(points: EdgePoints, along: ChordFrame, at: ChordPoints, used: Array) -> _Adjusted:
    """York's line over the stretch of the points used, ``at`` (N,) in the frame ``along``.

    The derivative of a whitened residual holds that of its weight, which depends on the slope; both together are the design at
    the adjusted point. Raises :class:`MeasureError` where the search does not settle.
    """
    frame = frame_of_chord(oriented(chord_through(along, at.s[used]), points.xy_mm))
    knots = np.array([0.0, frame.length_mm])

    def seen(offsets: Array) -> ChordPoints:
        return in_chord_frame(points, frame, np.full(len(points.xy_mm), (offsets[1] - offsets[0]) / frame.length_mm))

    def whitened(offsets: Array) -> tuple[Array, Array]:
        there = seen(offsets)
        residuals = there.o - spline_weights(knots, there.s) @ offsets
        root = used / np.sqrt(there.total)
        return residuals * root, spline_weights(knots, there.s + there.shift * residuals) * root[:, None]

    found = least_squares.fit(whitened, np.zeros(2), tolerance=FIT_TOLERANCE)
    if not found.converged:
        raise MeasureError("the points do not settle on a line; check that the edge is straight, or draw it in parts")
    _, rows = whitened(found.x)
    there = seen(found.x)
    gain = np.linalg.solve(rows.T @ rows, rows.T) * (used / np.sqrt(there.total))
    return _Adjusted(frame, found.x, gain, there, spline_weights(knots, there.s))
