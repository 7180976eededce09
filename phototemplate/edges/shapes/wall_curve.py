"""Curve whose detail follows the data: walls bow by millimetres over metres, swell in their corners, and break here and there.

The offset is a natural cubic spline. It is fitted with more knots than the wall was seen at places, and how smooth it is
follows from the points (:mod:`phototemplate.edges.shapes.wall_prior`); then the knots that say nothing of their own are left
out, which changes neither the curve nor its uncertainty beyond a part of that uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import linalg

from phototemplate.edges.shapes import robust
from phototemplate.edges.shapes.constants import (
    AROUND_CORNER,
    BEYOND,
    CORNER_BEYOND_MM,
    CORNER_WITHIN_MM,
    CURVE_STEPS,
    DENSE_POINTS,
    FLOOR_MM,
    KNOTS_PER_PLACE,
    LEAST_BEYOND,
    LEAST_GAP_MM,
    LEAST_KNOTS,
    MOST_CORRELATION,
    PLACE_MM,
    SAME_CURVE,
    SAME_CURVE_MM,
    SAME_U,
    SOLITARY,
    SWELL_OVER_MM,
)
from phototemplate.edges.shapes.contract import (
    ChordPoints,
    EdgePoints,
    ShapeFit,
    chord_through,
    in_chord_frame,
    noise_of,
    oriented,
)
from phototemplate.edges.shapes.evaluate import ChordFrame, frame_of_chord
from phototemplate.edges.shapes.roughness import neighbour_scatter
from phototemplate.edges.shapes.wall_prior import Posterior, Reach, posterior, wall_prior
from phototemplate.model import Array, IntArray, ShapeKind
from phototemplate.numerics.correlation import whiten
from phototemplate.numerics.natural_spline import spline_weights
from phototemplate.settings import EdgeSettings


class ProfileShape:
    """At least four knots."""

    name: ShapeKind = "profile"
    min_points = 4

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """See :class:`phototemplate.edges.shapes.contract.Shape`."""
        n = len(points.xy_mm)
        frame = robust.robust_line(points.xy_mm, np.ones(n))
        at = in_chord_frame(points, frame, np.zeros(n))
        used = np.ones(n, bool) if points.believed else _not_solitary(at, settings)
        slope, scale = np.zeros(n), 1.0
        chord, frame = _chord(points, frame, at, used)
        for _ in range(1 if points.believed else 4):
            at = in_chord_frame(points, frame, slope)
            fit = _fitted(points, at, frame, used, scale, settings)
            before = used
            if not points.believed:
                used = robust.keep_points(fit.residuals, np.sqrt(at.total) * scale, settings.outlier_factor)
            slope = spline_weights(fit.knots, at.s, 1) @ fit.offsets
            scale = neighbour_scatter(fit.residuals, np.sqrt(at.variance), at.s, used)
            chord, frame = _chord(points, frame, at, used)
            if np.array_equal(before, used):
                break
        at = in_chord_frame(points, frame, slope)
        fit = _fitted(points, at, frame, used, scale, settings)
        stretch = np.sqrt(1.0 + (spline_weights(fit.knots, at.s, 1) @ fit.offsets) ** 2)
        kept = _sufficient(fit, at, points.influences_cov, frame.length_mm)
        return ShapeFit(
            chord,
            fit.knots[kept],
            fit.offsets[kept],
            fit.noise_cov[np.ix_(kept, kept)],
            fit.gain[kept],
            fit.gain[kept] @ at.jac,
            fit.residuals / stretch,
            used,
            scale,
            0.0,
            0.0,
            fitted=fit.fitted,
            unseen_cov_mm2=fit.unseen_cov[np.ix_(kept, kept)],
        )


def _chord(points: EdgePoints, frame: ChordFrame, at: ChordPoints, used: Array) -> tuple[Array, ChordFrame]:
    chord = oriented(chord_through(frame, at.s[used]), points.xy_mm)
    return chord, frame_of_chord(chord)


def corner_reach(points: EdgePoints, frame: ChordFrame) -> Reach:
    """How far the corners lie beyond the first and the last point seen (mm, at least 0), None where not known."""
    found: list[float | None] = [None, None]
    for s, o in () if points.corners_mm is None else (points.corners_mm - frame.origin_mm) @ np.stack(
        [frame.tangent, frame.normal], axis=1
    ):
        for end, beyond in enumerate((-s, s - frame.length_mm)):
            near_it = -CORNER_WITHIN_MM <= beyond <= CORNER_BEYOND_MM and abs(o) < CORNER_BEYOND_MM
            if near_it and (found[end] is None or beyond < found[end]):
                found[end] = max(float(beyond), 0.0)
    return found[0], found[1]


def fine_knots(length_mm: float, places: int, settings: EdgeSettings, reach: Reach = (None, None)) -> Array:
    """Knots of the fit, evenly over the length, and more beyond either end, dense at a corner that is known to be further
    off."""
    by_spacing = int(length_mm / settings.min_knot_spacing_mm) + 1
    wanted = max(int(KNOTS_PER_PLACE * places), LEAST_KNOTS)
    count = int(np.clip(wanted, 4, max(min(by_spacing, settings.max_knots), 4)))
    before, after = (_beyond(r, settings.end_zone_mm) for r in reach)
    return np.concatenate([-before[::-1], np.linspace(0.0, length_mm, count), length_mm + after])


def _beyond(reach_mm: float | None, zone_mm: float) -> Array:
    """Distances of the knots beyond an end, ascending."""
    if reach_mm is None:
        return np.array(BEYOND) * zone_mm
    # the first where swelling begins, so that it does not begin earlier
    places: Array = reach_mm + np.array(AROUND_CORNER) * SWELL_OVER_MM
    return places[places > LEAST_BEYOND * zone_mm]


@dataclass(frozen=True)
class _Fit:
    knots: Array
    offsets: Array
    noise_cov: Array
    gain: Array
    residuals: Array
    unseen_cov: Array
    """Part of ``noise_cov``: smoothing bias, and how little is known of the densities"""
    fitted: float
    """Trace of the hat matrix"""


def _fitted(
    points: EdgePoints, at: ChordPoints, frame: ChordFrame, used: Array, scale: float, settings: EdgeSettings
) -> _Fit:
    """The curve at its fine knots."""
    reach = corner_reach(points, frame)
    places = np.unique(np.round(at.s[used] / PLACE_MM)).size
    knots = fine_knots(frame.length_mm, places, settings, reach)
    white = _whitener(points, at, used, scale)
    design = spline_weights(knots, at.s)
    x, back = white(design)
    y, _ = white(at.o[:, None])
    found = posterior(wall_prior(knots, frame.length_mm, reach, settings.end_zone_mm), x, y, back)
    unseen = found.unseen_cov + _breaks(knots, found, np.sort(at.s[used]))
    noise = noise_of(found.gain, at, points.correlation_mm, scale)
    return _Fit(
        knots, found.offsets, noise + unseen, found.gain, at.o - design @ found.offsets, unseen,
        float(np.sum(design * found.gain.T)),
    )  # fmt: skip


def _breaks(knots: Array, found: Posterior, seen: Array) -> Array:
    """(M, M) covariance between places (n,) that were seen, where the wall breaks.

    The break may be anywhere between the two places: up to it the wall runs on as before, behind it as it comes from the other
    side. With the break equally likely everywhere, a place at the share t of the gap has the variance d^2 t (1 - t) for a
    difference d of the two. How much of it counts is how far the interval's density departs from the common one.
    """
    places = seen[np.concatenate([[True], np.diff(seen) > PLACE_MM])]
    out = np.zeros((knots.size, knots.size))
    if places.size < 4:
        return out
    f = spline_weights(knots, places) @ found.offsets
    slope = np.diff(f) / np.diff(places)
    for k in range(1, places.size - 2):
        low, high = places[k], places[k + 1]
        inside = np.flatnonzero((knots > low) & (knots < high))
        crossed = (knots[1:] > low) & (knots[:-1] < high)
        if not inside.size or not crossed.any():
            continue
        t = (knots[inside] - low) / (high - low)
        before = f[k] + slope[k - 1] * (knots[inside] - low)
        behind = f[k + 1] - slope[k + 1] * (high - knots[inside])
        broken = max(1.0 - 1.0 / float(found.ease[crossed].max()), 0.0)
        spread = np.sqrt(broken * t * (1.0 - t)) * np.abs(behind - before)
        out[np.ix_(inside, inside)] += np.outer(spread, spread)
    return out


def _not_solitary(at: ChordPoints, settings: EdgeSettings) -> Array:
    """Leave out points that stand away from the median of their neighbours; keeps a smooth bow whole.

    Neighbours reach no further than half an end zone to either side, or a swollen corner would stand away as a whole.
    """
    n = at.s.size
    if n < 12:
        return np.ones(n, bool)
    order = np.argsort(at.s, kind="stable")
    o = at.o[order]
    reach = 0.5 * settings.end_zone_mm / max(float(np.median(np.diff(at.s[order]))), LEAST_GAP_MM)
    half = int(np.clip(round(reach), 2, min(7, n // 4)))
    padded = np.concatenate([2 * o[0] - o[half:0:-1], o, 2 * o[-1] - o[-2 : -half - 2 : -1]])
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    rest = np.empty(n)
    rest[order] = o - smooth
    return robust.keep_points(rest, np.sqrt(at.total), SOLITARY * settings.outlier_factor)


def _sufficient(fit: _Fit, at: ChordPoints, influences_cov: Array | None, length_mm: float) -> IntArray:
    """The fewest knots, added one after the other where they are missed most, whose spline through the fitted offsets is the
    fitted curve within a share of its u, with the same u."""
    dense = np.linspace(0.0, length_mm, CURVE_STEPS)
    full = spline_weights(fit.knots, dense)
    cov = fit.noise_cov
    if influences_cov is not None and at.jac.shape[1]:
        jac = fit.gain @ at.jac
        cov = cov + jac @ influences_cov @ jac.T
    curve, u = full @ fit.offsets, np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", full, cov, full), 0.0))
    allowed = np.maximum(SAME_CURVE * u, SAME_CURVE_MM)
    seen = (fit.knots >= 0.0) & (fit.knots <= length_mm)
    kept = ~seen
    inside = np.flatnonzero(seen)
    kept[inside[np.unique(np.linspace(0, inside.size - 1, 4).round().astype(int))]] = True
    while not kept[inside].all():
        index = np.flatnonzero(kept)
        w = spline_weights(fit.knots[index], dense)
        own = np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", w, cov[np.ix_(index, index)], w), 0.0))
        other_u = np.abs(own - u) / (SAME_U * np.maximum(u, allowed))
        missed = np.maximum(np.abs(w @ fit.offsets[index] - curve) / allowed, other_u)
        if np.all(missed <= 1.0):
            break
        free = np.flatnonzero(~kept)
        nearest = np.abs(dense[:, None] - fit.knots[free]).argmin(axis=1)
        worst = np.zeros(free.size)
        np.maximum.at(worst, nearest, missed)
        kept[free[int(np.argmax(worst))]] = True
    return np.flatnonzero(kept)


_Whitener = Callable[[Array], tuple[Array, Array]]


def _whitener(points: EdgePoints, at: ChordPoints, used: Array, scale: float) -> _Whitener:
    """Function that whitens rows (N, k) and also gives ``X^T V^-1`` (k, N) with zeros for points left out."""
    index = np.flatnonzero(used)
    n = used.size
    shared_cov = points.influences_cov if at.jac.shape[1] else None
    if index.size <= DENSE_POINTS:
        sd = np.sqrt(at.variance[index]) * scale
        if points.correlation_mm > 0.0:
            distance = np.abs(at.s[index][:, None] - at.s[index])
            v = np.outer(sd, sd) * np.exp(-distance / points.correlation_mm)
        else:
            v = np.diag(sd**2)
        if shared_cov is not None:
            jac = at.jac[index]
            v = v + jac @ shared_cov @ jac.T
        lower = linalg.cholesky(v + FLOOR_MM**2 * np.eye(index.size), lower=True)

        def dense(rows: Array) -> tuple[Array, Array]:
            white = linalg.solve_triangular(lower, rows[index], lower=True)
            back = np.zeros((rows.shape[1], n))
            back[:, index] = linalg.solve_triangular(lower, white, lower=True, trans="T").T
            return white, back

        return dense

    order = index[np.argsort(at.s[index], kind="stable")]
    sd = np.sqrt(at.variance[order] * scale**2 + FLOOR_MM**2)

    def sparse(rows: Array) -> tuple[Array, Array]:
        white = whiten(rows[order], at.s[order], sd, points.correlation_mm)
        back = np.zeros((rows.shape[1], n))
        # the whitening matrix is lower bidiagonal; its transpose is applied by hand
        z = white / sd[:, None]
        if points.correlation_mm > 0.0:
            phi = np.minimum(np.exp(-np.diff(at.s[order]) / points.correlation_mm), math.sqrt(MOST_CORRELATION))
            root = np.sqrt(1.0 - phi**2)
            z = white.copy()
            z[1:] /= root[:, None]
            z[:-1] -= (phi / root)[:, None] * white[1:]
            z /= sd[:, None]
        back[:, order] = z.T
        return white, back

    return sparse
