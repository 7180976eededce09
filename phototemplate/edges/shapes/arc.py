"""Circular arc and whole circle by their geometric fit: least squares of the distances from the circle (W. Gander, G. H. Golub,
R. Strebel, BIT 34 (1994) 558), not of an algebraic expression, which on a short arc gives a radius a third too small.

The three unknowns are those of a bent line: how far its middle moves across, how much it turns there, and its curvature. They
stay well determined where centre and radius do not (flat arcs) and where a chord does not (half circles and more).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes import robust
from phototemplate.edges.shapes.constants import ARC_OUTLIER, FIT_TOLERANCE, MAX_TURN_RAD
from phototemplate.edges.shapes.contract import ChordPoints, EdgePoints, ShapeFit, oriented, seen_across
from phototemplate.edges.shapes.evaluate import (
    ChordFrame,
    arc_weights,
    bent_base,
    circle_moves,
    frame_of_chord,
    on_bent_base,
)
from phototemplate.edges.shapes.roughness import covariance_of_fit
from phototemplate.errors import MeasureError
from phototemplate.model import Array, ShapeKind
from phototemplate.numerics import least_squares
from phototemplate.settings import EdgeSettings


@dataclass
class ArcShape:
    """Three knots: start, middle and end of what was seen, or thirds of a whole circle."""

    name: ShapeKind = "arc"
    min_points: int = 3
    closed: bool = False

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """See :class:`phototemplate.edges.shapes.contract.Shape`."""
        sd = np.sqrt(0.5 * np.trace(points.noise_cov_mm2, axis1=1, axis2=2) + 1e-12)
        used = np.ones(len(sd), bool)
        bent = _start(points.xy_mm, sd)
        for _ in range(5):
            bent, at = _adjusted(points, bent, used)
            before, used = used, robust.keep_points(at.o, np.sqrt(at.total), settings.outlier_factor)
            if np.array_equal(before, used):
                break
        bent, at = _adjusted(points, bent, used)
        if self.closed and bent.bend_per_mm == 0.0:
            raise MeasureError("the points lie on a line and not around a circle; give it another shape")
        bent = bent.whole(points.xy_mm[0]) if self.closed else bent.between(float(at.s[used].min()), float(at.s[used].max()))
        at = bent.seen(points)
        length = bent.frame.length_mm
        turn = abs(bent.bend_per_mm) * length
        if turn > MAX_TURN_RAD and not self.closed:
            raise MeasureError(
                f"an arc over {math.degrees(turn):.0f} degrees is nearly a whole circle; give it the shape circle, or draw "
                "it as two arcs that meet half way"
            )
        knots = length * np.array([0.0, 1 / 3, 2 / 3] if self.closed else [0.0, 0.5, 1.0])
        design, slope = (arc_weights(knots, length, bent.bend_per_mm, at.s, d) for d in (0, 1))
        adjusted = design + bent.adjustment(at)[:, None] * slope
        weighted = (adjusted * (used / at.total)[:, None]).T
        gain = np.linalg.solve(weighted @ adjusted, weighted).astype(np.float64)
        cov, rough = covariance_of_fit(points, at, at.o, design, gain, used)
        chord = np.stack([bent.frame.origin_mm, bent.frame.origin_mm + length * bent.frame.tangent])
        return ShapeFit(
            chord, knots, np.zeros(3), cov, gain, gain @ at.jac, at.o, used, rough.noise_scale, rough.sd_mm, rough.length_mm,
            bent.bend_per_mm,
        )  # fmt: skip


@dataclass(frozen=True)
class _Bent:
    """A chord bent about its middle."""

    frame: ChordFrame
    bend_per_mm: float

    def moved(self, x: Array) -> _Bent:
        """Moved across by x0, turned about the middle by x1, its curvature more by x2."""
        half, (across, turn, bend) = 0.5 * self.frame.length_mm, x
        middle = self.frame.origin_mm + half * self.frame.tangent + across * self.frame.normal
        tangent = math.cos(turn) * self.frame.tangent + math.sin(turn) * self.frame.normal
        chord = middle + half * np.array([[-1.0], [1.0]]) * tangent
        return _Bent(frame_of_chord(chord), self.bend_per_mm + float(bend))

    def between(self, first: float, last: float) -> _Bent:
        """The same curve from one position along it to another."""
        middle, tangent, _ = bent_base(self.frame, self.bend_per_mm, np.array([0.5 * (first + last)]))
        return _Bent(frame_of_chord(middle + 0.5 * (last - first) * np.array([[-1.0], [1.0]]) * tangent), self.bend_per_mm)

    def whole(self, start_mm: Array) -> _Bent:
        """Once around, from the place nearest to a point."""
        at, _ = on_bent_base(self.frame, self.bend_per_mm, start_mm[None])
        return self.between(float(at[0]), float(at[0]) + 2.0 * math.pi / abs(self.bend_per_mm))

    def seen(self, points: EdgePoints) -> ChordPoints:
        """The points on the curve, their distances counted across it."""
        s, o = on_bent_base(self.frame, self.bend_per_mm, points.xy_mm)
        _, along, across = bent_base(self.frame, self.bend_per_mm, s)
        return seen_across(points, s, o, along, across)

    def adjustment(self, at: ChordPoints) -> Array:
        """(N,) along the curve, to York's adjusted points: with them the derivative of a whitened distance holds that of its
        weight, which turns with the normal at the foot."""
        return np.asarray(at.shift * at.o / (1.0 - self.bend_per_mm * at.o))


def _start(xy: Array, sd: Array) -> _Bent:
    """The robust circle over the points that lie near it, or the line where they are straight; run in the points' order."""
    circle = robust.robust_circle(xy, sd)
    if circle is None:
        line = robust.robust_line(xy, np.ones(len(xy)))
        chord = np.stack([line.origin_mm, line.origin_mm + line.length_mm * line.tangent])
        return _Bent(frame_of_chord(oriented(chord, xy)), 0.0)
    center, radius = circle
    d = xy - center
    off = np.abs(np.linalg.norm(d, axis=1) - radius)
    good = off <= ARC_OUTLIER * np.maximum(sd, np.median(off))
    angle = np.unwrap(np.arctan2(d[good, 1], d[good, 0]))
    order = np.arange(angle.size)
    sense = 1.0 if float(np.dot(order - order.mean(), angle - angle.mean())) >= 0.0 else -1.0
    middle = 0.5 * (float(angle.min()) + float(angle.max()))
    out = np.array([math.cos(middle), math.sin(middle)])
    along = sense * np.array([-out[1], out[0]])
    half = max(0.5 * radius * float(np.ptp(angle)), 1e-6)
    return _Bent(frame_of_chord(center + radius * out + half * np.array([[-1.0], [1.0]]) * along), sense / radius)


def _adjusted(points: EdgePoints, start: _Bent, used: Array) -> tuple[_Bent, ChordPoints]:
    """Least squares of the distances; raises :class:`MeasureError` where the search does not settle."""

    def whitened(x: Array) -> tuple[Array, Array]:
        bent = start.moved(x)
        at, k = bent.seen(points), bent.bend_per_mm
        u = at.s - 0.5 * bent.frame.length_mm
        moves, slope = circle_moves(u, k), circle_moves(u, k, 1)
        moves[:, 0], slope[:, 0] = np.cos(k * u + x[1]), -k * np.sin(k * u + x[1])
        root = used / np.sqrt(at.total)
        return at.o * root, (moves + bent.adjustment(at)[:, None] * slope) * root[:, None]

    found = least_squares.fit(whitened, np.zeros(3), tolerance=FIT_TOLERANCE)
    if not found.converged:
        raise MeasureError("the points do not settle on an arc; check that the edge is round, or draw it in parts")
    bent = start.moved(found.x)
    return bent, bent.seen(points)
