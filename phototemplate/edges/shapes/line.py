"""Straight line with errors in both coordinates.

The distance of every point counts across the edge with the variance ``g^T cov g``, g = (-slope, 1), and the normal
equations use the *adjusted* points; this is the maximum-likelihood line of D. York (Can. J. Phys. 44 (1966) 1079)
in the form of D. York et al. (Am. J. Phys. 72 (2004) 367), which also gives the covariance of the parameters.
"""

from __future__ import annotations

import numpy as np

from phototemplate.edges.shapes import robust
from phototemplate.edges.shapes.contract import EdgePoints, ShapeFit, chord_through, in_chord_frame, oriented
from phototemplate.edges.shapes.evaluate import frame_of_chord
from phototemplate.edges.shapes.roughness import covariance_of_fit
from phototemplate.model import Array, ShapeKind
from phototemplate.numerics.natural_spline import spline_weights
from phototemplate.settings import EdgeSettings


class Line:
    """Two knots, at the ends of the chord."""

    name: ShapeKind = "line"
    min_points = 2

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """See :class:`phototemplate.edges.shapes.contract.Shape`."""
        start = robust.robust_line(points.xy_mm, np.ones(len(points.xy_mm)))
        start_sd = np.sqrt(in_chord_frame(points, start, np.zeros(len(points.xy_mm))).total)
        frame = robust.robust_line(points.xy_mm, start_sd)
        at = in_chord_frame(points, frame, np.zeros(len(points.xy_mm)))
        used = robust.keep_points(at.o, np.sqrt(at.total), settings.outlier_factor)
        for _ in range(5):
            frame = frame_of_chord(oriented(chord_through(frame, at.s[used]), points.xy_mm))
            knots = np.array([0.0, frame.length_mm])
            offsets, gain, at, design = adjust(points, frame.origin_mm, frame.tangent, knots, used)
            residuals = at.o - design @ offsets
            before, used = used, robust.keep_points(residuals, np.sqrt(at.total), settings.outlier_factor)
            # the next chord lies on the fitted line
            ends = frame.origin_mm + knots[:, None] * frame.tangent + offsets[:, None] * frame.normal
            frame = frame_of_chord(ends)
            at = in_chord_frame(points, frame, np.zeros(len(points.xy_mm)))
            if np.array_equal(before, used):
                break
        chord = oriented(chord_through(frame, at.s[used]), points.xy_mm)
        frame = frame_of_chord(chord)
        knots = np.array([0.0, frame.length_mm])
        offsets, gain, at, design = adjust(points, frame.origin_mm, frame.tangent, knots, used)
        residuals = at.o - design @ offsets
        cov, rough = covariance_of_fit(points, at, residuals, design, gain, used)
        slope = (offsets[1] - offsets[0]) / frame.length_mm
        return ShapeFit(
            chord,
            knots,
            offsets,
            cov,
            gain,
            gain @ at.jac,
            residuals / np.sqrt(1.0 + slope**2),
            used,
            rough.noise_scale,
            rough.sd_mm,
            rough.length_mm,
        )


def adjust(points: EdgePoints, origin_mm: Array, tangent: Array, knots: Array, used: Array):  # type: ignore[no-untyped-def]
    """York's line in the frame at ``origin_mm`` along ``tangent``: offsets (2,) at ``knots``, gain (2, N), the
    points in the frame, and the design (N, 2) at the measured positions."""
    frame = frame_of_chord(np.stack([origin_mm, origin_mm + tangent]))
    offsets = np.zeros(2)
    n = len(points.xy_mm)
    for _ in range(100):
        slope = (offsets[1] - offsets[0]) / (knots[1] - knots[0])
        at = in_chord_frame(points, frame, np.full(n, slope))
        design = spline_weights(knots, at.s)
        residuals = at.o - design @ offsets
        adjusted = spline_weights(knots, at.s + at.shift * residuals)
        weighted = (adjusted * (used / at.total)[:, None]).T
        gain = np.linalg.solve(weighted @ adjusted, weighted)
        step = gain @ residuals
        offsets = offsets + step
        if float(np.max(np.abs(step))) < 1e-13 * (1.0 + float(np.max(np.abs(offsets)))):
            break
    return offsets, gain, at, design
