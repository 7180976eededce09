"""Circular arc by its geometric fit: least squares of the distances from the circle (W. Gander, G. H. Golub, R.
Strebel, BIT 34 (1994) 558), not of an algebraic expression, which on a short arc gives a radius a third too small.

The three unknowns are the offsets at start, middle and end of the chord. They stay well determined where centre and
radius do not (flat arcs).
"""

from __future__ import annotations

import math

import numpy as np

from phototemplate.edges.shapes import robust
from phototemplate.edges.shapes.constants import ARC_OUTLIER, ARC_TOLERANCE, MAX_TURN_RAD
from phototemplate.edges.shapes.contract import ChordPoints, EdgePoints, ShapeFit, in_chord_frame, oriented
from phototemplate.edges.shapes.evaluate import (
    foot,
    frame_of_chord,
    normal_at,
    point_at,
    slope_at,
    to_chord,
    weights,
)
from phototemplate.edges.shapes.roughness import covariance_of_fit
from phototemplate.errors import MeasureError
from phototemplate.model import Array, Segment, ShapeKind
from phototemplate.numerics import least_squares
from phototemplate.settings import EdgeSettings


class Arc:
    """Three knots: start, middle and end of the chord."""

    name: ShapeKind = "arc"
    min_points = 3

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """See :class:`phototemplate.edges.shapes.contract.Shape`; the central angle is limited to
        :data:`MAX_TURN_RAD` (ValueError beyond)."""
        sd = np.sqrt(0.5 * np.trace(points.noise_cov_mm2, axis1=1, axis2=2) + 1e-12)
        used = np.ones(len(sd), bool)
        chord, offsets = _start(points.xy_mm, sd)
        for _ in range(5):
            segment, residuals, gain, at, design = _adjust(points, chord, offsets, used)
            before = used
            finite = np.where(np.isfinite(residuals), residuals, 1e6)
            used = robust.keep_points(finite, np.sqrt(at.total), settings.outlier_factor)
            chord, offsets = _rechord(segment, points.xy_mm, used)
            if np.array_equal(before, used):
                break
        segment, residuals, gain, at, design = _adjust(points, chord, offsets, used)
        residuals = np.where(np.isfinite(residuals), residuals, 0.0)
        cov, rough = covariance_of_fit(points, at, residuals, design, gain, used)
        s_ends = np.array([0.0, float(np.linalg.norm(chord[1] - chord[0]))])
        turn = float(np.ptp(np.arctan(slope_at(segment, s_ends))))
        stretch = np.sqrt(1.0 + np.nan_to_num(slope_at(segment, foot(segment, points.xy_mm))) ** 2)
        return ShapeFit(
            chord,
            segment.knots_mm,
            segment.offsets_mm,
            cov,
            gain,
            gain @ at.jac,
            residuals / stretch,
            used,
            rough.noise_scale,
            rough.sd_mm,
            rough.length_mm,
            turn,
        )


def _probe(chord: Array, offsets: Array) -> Segment:
    length = float(np.linalg.norm(chord[1] - chord[0]))
    none = np.zeros((0, 2))
    return Segment(
        "", "other", "arc", chord, length * np.array([0.0, 0.5, 1.0]), offsets, np.eye(3), np.zeros((3, 0)),
        np.zeros(0), none, (0.0, 0.0, 0.0),
    )  # fmt: skip


def _start(xy: Array, sd: Array) -> tuple[Array, Array]:
    """Chord and offsets from the robust circle, or from the line where the points are straight."""
    circle = robust.robust_circle(xy, sd)
    if circle is None:
        frame = robust.robust_line(xy, np.ones(len(xy)))
        return oriented(np.stack([frame.origin_mm, frame.origin_mm + frame.length_mm * frame.tangent]), xy), np.zeros(3)
    center, radius = circle
    d = xy - center
    good = np.abs(np.linalg.norm(d, axis=1) - radius) <= ARC_OUTLIER * np.maximum(
        sd, np.median(np.abs(np.linalg.norm(d, axis=1) - radius))
    )
    middle = np.mean(d[good] / np.linalg.norm(d[good], axis=1)[:, None], axis=0)
    angle = np.arctan2(d[good, 1], d[good, 0]) - math.atan2(middle[1], middle[0])
    angle = (angle + math.pi) % (2.0 * math.pi) - math.pi
    turn = float(np.ptp(angle))
    if turn > MAX_TURN_RAD:
        raise ValueError(f"an arc over {math.degrees(turn):.0f} degrees")
    base = math.atan2(middle[1], middle[0])
    ends = base + np.array([np.min(angle), np.max(angle)])
    chord = oriented(center + radius * np.stack([np.cos(ends), np.sin(ends)], axis=1), xy)
    frame = frame_of_chord(chord)
    top = center + radius * np.array([math.cos(ends.mean()), math.sin(ends.mean())])
    return chord, np.array([0.0, float((top - chord[0]) @ frame.normal), 0.0])


def _rechord(segment: Segment, xy: Array, used: Array) -> tuple[Array, Array]:
    """Chord between the feet of the outermost points used, so that the end offsets are zero."""
    s = foot(segment, xy[used])
    s = s[np.isfinite(s)]
    ends = point_at(segment, [float(np.min(s)), float(np.max(s))])
    middle_s = 0.5 * (float(np.min(s)) + float(np.max(s)))
    frame = frame_of_chord(ends)
    # offset of the arc over the middle of the new chord: nearly the point over the middle of the old stretch
    offset = float((point_at(segment, [middle_s])[0] - ends[0]) @ frame.normal)
    return ends, np.array([0.0, offset, 0.0])


def _adjust(points: EdgePoints, chord: Array, offsets: Array, used: Array) -> tuple[Segment, Array, Array, ChordPoints, Array]:
    """Least squares of the distances. Returns the arc, residuals across the chord (N,), gain (3, N), points, design (N, 3).

    Raises :class:`MeasureError` where the search does not settle.
    """
    frame = frame_of_chord(chord)

    def linearised(offsets_mm: Array) -> tuple[Segment, Array, ChordPoints, Array, Array]:
        segment = _probe(chord, offsets_mm)
        s = foot(segment, points.xy_mm)
        s = np.where(np.isfinite(s), s, to_chord(segment, points.xy_mm)[0])
        slope = np.nan_to_num(slope_at(segment, s))
        at = in_chord_frame(points, frame, slope)
        distance = np.einsum("ni,ni->n", points.xy_mm - point_at(segment, s), normal_at(segment, s))
        residuals = distance * np.sqrt(1.0 + slope**2)
        root = np.where(used & np.isfinite(residuals), 1.0 / np.sqrt(at.total), 0.0)
        return segment, residuals, at, np.nan_to_num(weights(segment, s)), root

    def whitened(offsets_mm: Array) -> tuple[Array, Array]:
        _, residuals, _, design, root = linearised(offsets_mm)
        return np.nan_to_num(residuals) * root, design * root[:, None]

    found = least_squares.fit(whitened, offsets, tolerance=ARC_TOLERANCE)
    if not found.converged:
        raise MeasureError("The points do not settle on an arc; check that the edge is round, or draw it in parts.")
    segment, residuals, at, design, root = linearised(found.x)
    weighted = (design * root[:, None] ** 2).T
    gain = np.linalg.solve(weighted @ design, weighted).astype(np.float64)
    return segment, np.asarray(residuals), gain, at, design
