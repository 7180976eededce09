"""Smooth curve whose detail follows the data: walls bow by millimetres over metres and swell in their corners.

The offset is a natural cubic spline with graded knots, close together in the end zones. Its second derivative is
given a prior: white noise whose spectral density is larger in the end zones than in between (a smoothing spline
seen as a random function, G. Wahba, J. R. Statist. Soc. B 40 (1978) 364). The two densities are not fixed but
integrated over, weighted by their restricted likelihood and a wide prior centred on what walls do, so few points do
not pretend to know how smooth the wall is between them. The covariance therefore holds noise *and* smoothing bias
(D. Nychka, J. Am. Statist. Assoc. 83 (1988) 1134): it widens in gaps and beyond the last point.

A wall is often seen only up to some distance from its corner, just where mud swells. So knots reach beyond what was seen
(:data:`BEYOND`), and from the end zone outward the second derivative may also walk away (:data:`SWELL`), whatever the
densities: a wall that was straight as far as it was seen says little about its corner. That is a bend which lasts, not white
noise, and so grows slowly next to the last point and fast after a decimetre. Where the neighbouring edges tell where the corner
is, the end zone is that of the corner; otherwise the corner may be right behind the last point.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import linalg

from phototemplate.edges.shapes import robust
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
from phototemplate.model import Array, ShapeKind
from phototemplate.numerics.correlation import whiten
from phototemplate.numerics.natural_spline import spline_weights
from phototemplate.settings import EdgeSettings

LADDER = (4, 5, 7, 9, 12, 16, 22, 30, 40)
"""Numbers of knots tried; the smallest that says the same as the finest is taken."""
DENSE_POINTS = 600
"""Up to this many points the shared error takes part in the weighing as a full matrix."""
CENTER_LOG10 = -7.5
"""Prior of log10 of the spectral density (1/mm) of the second derivative between the end zones: 3e-8 lets a wall depart
by about 3 mm from its chord over 1.5 m. Common practice has no number for it; the width makes it a weak prior."""
CENTER_RATIO_LOG10 = 1.5
WIDTH_LOG10 = 1.3
BEYOND = (0.4, 1.0, 2.0)
"""Places of the knots beyond what was seen, in lengths of the end zone, where the corner is not known."""
AROUND_CORNER = (-1.0, -0.6, -0.3, 0.0, 1.0)
"""Their places from a corner that is known, in lengths of the swelling"""
LEAST_BEYOND = 0.2
"""The first is no closer than this to what was seen."""
SWELL = 4e-4
"""Standard deviation (1/mm) that the second derivative has gathered over ``SWELL_OVER_MM``. It lets the corner itself depart by
4.5 mm (S L^2 / sqrt(20)): up to 8 mm of joint compound, each amount as likely as another (8 mm / sqrt(3), GUM 4.3.7)."""
SWELL_OVER_MM = 225.0
"""Distance from the corner over which joint compound is feathered out: about a taping knife (common practice, no published
number)"""
CORNER_WITHIN_MM = 50.0
"""A corner this far inside of what was seen is still that of the end: neighbours are known to centimetres here."""
CORNER_BEYOND_MM = 1500.0
"""A neighbour met further away than this says nothing about the end."""
_GRID = np.arange(-12.0, -2.9, 0.75)
_RATIOS = np.arange(0.0, 3.1, 0.75)
_FLOOR_MM = 0.02
Reach = tuple[float | None, float | None]
"""Distance of the corners beyond the first and the last point seen; None where not known"""


class Profile:
    """At least four knots."""

    name: ShapeKind = "profile"
    min_points = 4

    def fit(self, points: EdgePoints, settings: EdgeSettings) -> ShapeFit:
        """See :class:`phototemplate.edges.shapes.contract.Shape`."""
        n = len(points.xy_mm)
        frame = robust.robust_line(points.xy_mm, np.ones(n))
        at = in_chord_frame(points, frame, np.zeros(n))
        used = _not_solitary(at, settings)
        chord = oriented(chord_through(frame, at.s[used]), points.xy_mm)
        frame = frame_of_chord(chord)
        slope = np.zeros(n)
        scale = 1.0
        finest = _knot_count_limit(points, frame, used, settings)
        fit = None
        for _ in range(4):
            at = in_chord_frame(points, frame, slope)
            reach = corner_reach(points, frame)
            knots = graded_knots(frame.length_mm, min(finest, 16), settings, reach)
            fit = _penalised(points, at, _whitener(points, at, used, scale), knots, frame.length_mm, reach, scale, settings)
            before = used
            used = robust.keep_points(fit.residuals, np.sqrt(at.total) * scale, settings.outlier_factor)
            slope = spline_weights(knots, at.s, 1) @ fit.offsets
            scale = neighbour_scatter(fit.residuals, np.sqrt(at.variance), at.s, used)
            chord = oriented(chord_through(frame, at.s[used]), points.xy_mm)
            frame = frame_of_chord(chord)
            if np.array_equal(before, used):
                break
        at = in_chord_frame(points, frame, slope)
        fit = _smallest_sufficient(points, at, frame, finest, used, scale, settings)
        stretch = np.sqrt(1.0 + (spline_weights(fit.knots, at.s, 1) @ fit.offsets) ** 2)
        return ShapeFit(
            chord,
            fit.knots,
            fit.offsets,
            fit.noise_cov,
            fit.gain,
            fit.gain @ at.jac,
            fit.residuals / stretch,
            used,
            scale,
            0.0,
            0.0,
            fitted=fit.fitted,
            unseen_cov_mm2=fit.unseen_cov,
        )


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


def graded_knots(length_mm: float, count: int, settings: EdgeSettings, reach: Reach = (None, None)) -> Array:
    """``count`` knots over the length, up to four times as dense within the end zones as in the middle, and three more
    beyond either end, dense at a corner that is known to be further off."""
    s = np.linspace(0.0, length_mm, 2001)
    zone = settings.end_zone_mm
    density = 1.0 + 3.0 * (np.exp(-((s / zone) ** 2)) + np.exp(-(((length_mm - s) / zone) ** 2)))
    mass = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(s))])
    knots = np.interp(np.linspace(0.0, mass[-1], count), mass, s)
    before, after = (_beyond(r, zone) for r in reach)
    return np.concatenate([-before[::-1], knots, length_mm + after])


def _beyond(reach_mm: float | None, zone_mm: float) -> Array:
    """Distances of the knots beyond an end, ascending."""
    if reach_mm is None:
        return np.array(BEYOND) * zone_mm
    # the first where swelling begins, so that it does not begin earlier
    places: Array = reach_mm + np.array(AROUND_CORNER) * SWELL_OVER_MM
    return places[places > LEAST_BEYOND * zone_mm]


def _from_corner(s: Array, length_mm: float, reach: Reach) -> tuple[Array, Array]:
    """Distance of places along the chord from the corner at its start and at its end, negative beyond it."""
    return s + (reach[0] or 0.0), length_mm + (reach[1] or 0.0) - s


_Whitener = Callable[[Array], tuple[Array, Array]]


@dataclass(frozen=True)
class _Fit:
    knots: Array
    offsets: Array
    noise_cov: Array
    gain: Array
    residuals: Array
    unseen_cov: Array
    """Part of ``noise_cov``: smoothing bias, and how little is known of the two densities"""
    fitted: float
    """Trace of the hat matrix"""


def _not_solitary(at: ChordPoints, settings: EdgeSettings) -> Array:
    """Leave out points that stand away from the median of their neighbours; keeps a smooth bow whole.

    Neighbours reach no further than half an end zone to either side, or a swollen corner would stand away as a whole.
    """
    n = at.s.size
    if n < 12:
        return np.ones(n, bool)
    order = np.argsort(at.s, kind="stable")
    o = at.o[order]
    reach = 0.5 * settings.end_zone_mm / max(float(np.median(np.diff(at.s[order]))), 1e-3)
    half = int(np.clip(round(reach), 2, min(7, n // 4)))
    padded = np.concatenate([2 * o[0] - o[half:0:-1], o, 2 * o[-1] - o[-2 : -half - 2 : -1]])
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    rest = np.empty(n)
    rest[order] = o - smooth
    return robust.keep_points(rest, np.sqrt(at.total), 1.5 * settings.outlier_factor)


def _knot_count_limit(points: EdgePoints, frame: ChordFrame, used: Array, settings: EdgeSettings) -> int:
    """No more knots than half as many again as distinct places, and none closer than the settings allow."""
    s = (points.xy_mm[used] - frame.origin_mm) @ frame.tangent
    places = np.unique(np.round(s / 10.0)).size
    by_spacing = int(frame.length_mm / settings.min_knot_spacing_mm) + 1
    return int(np.clip(min(places + places // 2, by_spacing), 4, settings.max_knots))


def _smallest_sufficient(
    points: EdgePoints,
    at: ChordPoints,
    frame: ChordFrame,
    finest: int,
    used: Array,
    scale: float,
    settings: EdgeSettings,
) -> _Fit:
    """The fit with the fewest knots that stays within a quarter of u (or 0.03 mm) of the finest one everywhere."""
    white = _whitener(points, at, used, scale)
    reach = corner_reach(points, frame)
    length_mm = frame.length_mm

    def with_knots(count: int) -> _Fit:
        return _penalised(points, at, white, graded_knots(length_mm, count, settings, reach), length_mm, reach, scale, settings)

    best = with_knots(finest)
    dense = np.linspace(0.0, length_mm, 400)
    w = spline_weights(best.knots, dense)
    reference = w @ best.offsets
    cov = best.noise_cov
    if points.influences_cov is not None and at.jac.shape[1]:
        jac = best.gain @ at.jac
        cov = cov + jac @ points.influences_cov @ jac.T
    allowed = np.maximum(0.25 * np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", w, cov, w), 0.0)), 0.03)
    for count in LADDER:
        if count >= finest:
            break
        coarse = with_knots(count)
        if np.all(np.abs(spline_weights(coarse.knots, dense) @ coarse.offsets - reference) <= allowed):
            return coarse
    return best


def _roughness_form(knots: Array) -> tuple[Array, Array]:
    """Second derivatives at the M - 2 inner knots as a function of the offsets (M - 2, M), and the quadratic forms
    (M - 1, M - 2, M - 2) of the integral of their square over each of the M - 1 intervals. The second derivative is linear
    between knots and zero at the outermost, so both are exact."""
    inner = np.eye(knots.size)[:, 1:-1]
    a, b = inner[:-1], inner[1:]
    cross = np.einsum("im,in->imn", a, b)
    square = np.einsum("im,in->imn", a, a) + np.einsum("im,in->imn", b, b)
    forms = (np.diff(knots) / 3.0)[:, None, None] * (square + 0.5 * (cross + cross.transpose(0, 2, 1)))
    return spline_weights(knots, knots, 2)[1:-1], forms


def _with_swelling(weight: Array, knots: Array, length_mm: float, reach: Reach) -> tuple[Array, Array]:
    """Weights (G, m, m) of the inner second derivatives, with their swelling near both ends integrated out, and their log
    determinants (G,).

    The swelling is a random walk that starts at zero where the end zone begins: one independent step S at each knot, so that
    its covariance S S^T is added to the inverse of the weight (matrix inversion lemma)."""
    steps: list[Array] = []
    at_start, at_end = _from_corner(knots[1:-1], length_mm, reach)
    for into in (SWELL_OVER_MM - at_start[::-1], SWELL_OVER_MM - at_end):
        first = int(np.searchsorted(into, 0.0, side="right"))  # ``into`` ascends: how far into the end zone
        walked = np.diff(np.maximum(into, 0.0), prepend=0.0)
        reached = np.tri(into.size)[:, first:] * np.sqrt(walked[first:] / SWELL_OVER_MM)
        steps.append(reached if steps else reached[::-1])
    s = SWELL * np.hstack(steps)
    ws = weight @ s
    core = np.eye(s.shape[1]) + s.T @ ws
    log_det = np.linalg.slogdet(weight)[1] - np.linalg.slogdet(core)[1]
    return weight - ws @ np.linalg.solve(core, ws.transpose(0, 2, 1)), log_det


def _penalised(
    points: EdgePoints,
    at: ChordPoints,
    white: _Whitener,
    knots: Array,
    length_mm: float,
    reach: Reach,
    scale: float,
    settings: EdgeSettings,
) -> _Fit:
    """Posterior mean, gain and covariance at the knots, integrated over a grid of the two densities.

    With V the covariance of the points, W their weights and P the penalty, the offsets are ``Q^-1 W^T V^-1 o`` with
    ``Q = W^T V^-1 W + P``. The part of a random function with precision P that this leaves out is ``-Q^-1 P``, so the
    smoothing bias has covariance ``Q^-1 P Q^-1``; straight lines have no penalty and no bias.
    """
    design = spline_weights(knots, at.s)
    x, back = white(design)
    y, _ = white(at.o[:, None])
    normal, right, square = x.T @ x, (x.T @ y)[:, 0], float(np.sum(y**2))
    middle = 0.5 * (knots[1:] + knots[:-1])
    inside = np.maximum(np.minimum(*_from_corner(middle, length_mm, reach)), 0.0)
    near = np.exp(-((inside / settings.end_zone_mm) ** 2))
    log_density, log_ratio = (g.ravel() for g in np.meshgrid(_GRID, _RATIOS, indexing="ij"))
    exponent = log_density[:, None] + log_ratio[:, None] * near
    second, in_second = _roughness_form(knots)
    weight, log_det = _with_swelling(np.tensordot(10.0**-exponent, in_second, axes=1), knots, length_mm, reach)
    penalty = second.T @ weight @ second
    q = normal + penalty
    mean = np.linalg.solve(q, np.broadcast_to(right[:, None], (*q.shape[:2], 1)))[:, :, 0]
    likelihood = log_det - np.linalg.slogdet(q)[1]
    likelihood = likelihood - (square - mean @ right)
    prior = ((log_density - CENTER_LOG10) / WIDTH_LOG10) ** 2 + ((log_ratio - CENTER_RATIO_LOG10) / WIDTH_LOG10) ** 2
    score = 0.5 * (likelihood - prior)
    keep = score > np.max(score) - 7.0
    share = np.exp(score[keep] - np.max(score))
    share = share / np.sum(share)
    offsets = share @ mean[keep]
    inverse = np.linalg.inv(q[keep])
    gain = np.tensordot(share, inverse, axes=1) @ back
    bias = np.tensordot(share, inverse @ penalty[keep] @ inverse, axes=1)
    departure = mean[keep] - offsets
    between = (departure * share[:, None]).T @ departure
    noise = noise_of(gain, at, points.correlation_mm, scale)
    unseen = bias + between
    return _Fit(knots, offsets, noise + unseen, gain, at.o - design @ offsets, unseen, float(np.sum(design * gain.T)))


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
        lower = linalg.cholesky(v + _FLOOR_MM**2 * np.eye(index.size), lower=True)

        def dense(rows: Array) -> tuple[Array, Array]:
            white = linalg.solve_triangular(lower, rows[index], lower=True)
            back = np.zeros((rows.shape[1], n))
            back[:, index] = linalg.solve_triangular(lower, white, lower=True, trans="T").T
            return white, back

        return dense

    order = index[np.argsort(at.s[index], kind="stable")]
    sd = np.sqrt(at.variance[order] * scale**2 + _FLOOR_MM**2)

    def sparse(rows: Array) -> tuple[Array, Array]:
        white = whiten(rows[order], at.s[order], sd, points.correlation_mm)
        back = np.zeros((rows.shape[1], n))
        # the whitening matrix is lower bidiagonal; its transpose is applied by hand
        z = white / sd[:, None]
        if points.correlation_mm > 0.0:
            phi = np.minimum(np.exp(-np.diff(at.s[order]) / points.correlation_mm), math.sqrt(0.99))
            root = np.sqrt(1.0 - phi**2)
            z = white.copy()
            z[1:] /= root[:, None]
            z[:-1] -= (phi / root)[:, None] * white[1:]
            z /= sd[:, None]
        back[:, order] = z.T
        return white, back

    return sparse
