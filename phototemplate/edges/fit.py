"""PlanePoints -> Segment: fit the shape that the hint claims, and say where the claim does not hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phototemplate.edges.constants import BOWED_SIGMAS, FITTED_SHARE, RESIDUAL_PARTS
from phototemplate.edges.shapes import EdgePoints, LineShape, ProfileShape, ShapeFit, shape_named
from phototemplate.edges.shapes.constants import CENTER_LOG10
from phototemplate.edges.shapes.contract import tame
from phototemplate.edges.shapes.evaluate import frame_of_chord
from phototemplate.edges.shapes.unseen_wall import wander_between
from phototemplate.errors import Finding, MeasureError
from phototemplate.model import Array, EdgeHint, Influences, PlanePoints, Segment
from phototemplate.numerics.natural_spline import spline_weights
from phototemplate.settings import EdgeSettings


def fit_segment(
    points: PlanePoints,
    hint: EdgeHint,
    settings: EdgeSettings,
    influences: Influences | None = None,
    corners_mm: Array | None = None,
) -> Segment:
    """Fit one edge.

    Parameters
    ----------
    points
        Points of the edge in the work frame.
    hint
        Says which shape is claimed (line, arc, circle, profile).
    influences
        Covariance of the shared error. With it points are weighed by their whole uncertainty (contact sheets, whose own
        noise is next to nothing, by that of their sheets), and straightness is tested against it; without it by their
        own noise alone. The result carries the shared error in ``shared_jac`` either way.
    corners_mm
        (C, 2) about where the edge meets its neighbours, in the work frame; see
        :func:`phototemplate.edges.meeting_points.corners_of`.

    Raises
    ------
    MeasureError
        Too few points, all in one place, or points that do not settle on the shape.
    """
    edge = points.edge_id
    data = replace(_edge_points(points, settings, influences), corners_mm=corners_mm)
    n = len(points.xy_mm)
    findings = list(points.findings)
    shape = hint.shape
    if n < 2 or float(np.max(np.ptp(points.xy_mm, axis=0))) < settings.min_extent_mm:
        raise MeasureError(
            f"edge {edge}: only {n} point{'s' if n != 1 else ''} within {settings.min_extent_mm:g} mm were found, too "
            "few to know its direction; draw the hint along more of the edge or take a photo that shows more of it"
        )
    if shape != "line" and n < shape_named(shape).min_points:
        findings.append(Finding("edge-few-points", edge, n_points=n, shape_word=shape))
        shape = "line"
    try:
        fit = shape_named(shape).fit(data, settings)
    except MeasureError as error:
        raise MeasureError(f"edge {edge}: {error}") from error
    if shape == "line":
        findings += straightness(data, fit, edge, settings)
    findings += _coverage(points, hint, fit, settings)
    if points.source == "contact" and shape == "profile":
        fit = _between_sheets(fit, points)
    used = fit.used
    heights = points.height_mm[used]
    return Segment(
        edge_id=edge,
        kind=hint.kind,
        shape=shape,
        chord_mm=fit.chord_mm,
        knots_mm=fit.knots_mm,
        offsets_mm=fit.offsets_mm,
        noise_cov_mm2=0.5 * (fit.noise_cov_mm2 + fit.noise_cov_mm2.T),
        shared_jac=fit.shared_jac,
        residuals_mm=fit.residuals_mm[used],
        points_mm=points.xy_mm[used],
        height_mm=(float(np.mean(heights)), float(np.min(heights)), float(np.max(heights))),
        source=points.source,
        n_photos=int(np.median(points.n_photos[used])) if points.n_photos.size else 0,
        candidates=points.candidates,
        findings=tuple(findings),
        fitted=fit.fitted,
        unseen_cov_mm2=fit.unseen_cov_mm2,
        arris_mm=points.arris_mm,
        bend_per_mm=fit.bend_per_mm,
        level=points.level,
        line=hint.line or "",
    )


def _between_sheets(fit: ShapeFit, points: PlanePoints) -> ShapeFit:
    """Between contact sheets a wall's fit knows no more than how walls usually run."""
    frame = frame_of_chord(fit.chord_mm)
    ties = np.unique((points.xy_mm[fit.used] - frame.origin_mm) @ frame.tangent)
    wander = wander_between(ties, fit.knots_mm, 10.0**CENTER_LOG10)
    unseen = wander if fit.unseen_cov_mm2 is None else fit.unseen_cov_mm2 + wander
    return replace(fit, noise_cov_mm2=fit.noise_cov_mm2 + wander, unseen_cov_mm2=unseen)


def straightness(points: EdgePoints, fit: ShapeFit, edge_id: str, settings: EdgeSettings) -> list[Finding]:
    """``edge-rough`` where a fitted line hides a bow that is both larger than ``straight_within_mm`` and significant.

    The bow is the largest distance between the line and the profile through the same points, over the stretch seen.
    """
    used = fit.used
    frame = frame_of_chord(fit.chord_mm)
    s = (points.xy_mm - frame.origin_mm) @ frame.tangent
    if np.count_nonzero(used) < 8 or _largest_local_mean(fit.residuals_mm[used], s[used]) < settings.straight_within_mm:
        return []
    curve = ProfileShape().fit(points, settings)
    line = LineShape().fit(points, settings) if fit.knots_mm.size != 2 else fit
    there = frame_of_chord(curve.chord_mm)
    inside = np.linspace(0.02, 0.98, 97) * there.length_mm
    w = spline_weights(curve.knots_mm, inside)
    at = there.origin_mm + inside[:, None] * there.tangent + (w @ curve.offsets_mm)[:, None] * there.normal
    line_s = (at - frame.origin_mm) @ frame.tangent
    line_w = spline_weights(line.knots_mm, line_s)
    bow = (at - frame.origin_mm) @ frame.normal - line_w @ line.offsets_mm
    variance = np.einsum("ni,ij,nj->n", w, curve.noise_cov_mm2, w)
    if points.influences_cov is not None and curve.shared_jac.shape[1]:
        jac = w @ curve.shared_jac - line_w @ line.shared_jac
        variance = variance + np.einsum("nk,nk->n", jac @ points.influences_cov, jac)
    worst = int(np.argmax(np.abs(bow)))
    u = float(np.sqrt(max(variance[worst], 0.0)))
    size = abs(float(bow[worst]))
    if size < settings.straight_within_mm or size < BOWED_SIGMAS * u:
        return []
    return [Finding("edge-not-straight", edge_id, off_mm=size, U_mm=2 * u, at_mm=line_s[worst])]


def _edge_points(points: PlanePoints, settings: EdgeSettings, influences: Influences | None) -> EdgePoints:
    correlation = points.correlation_mm
    if points.source == "trace":
        # neighbouring positions share pixels and the finish of the wood, whatever the tracer says
        correlation = max(correlation, settings.least_correlation_mm)
    cov = None if influences is None else influences.cov
    strip = points.source == "strip"
    data = EdgePoints(points.xy_mm, points.noise_cov_mm2, points.shared_jac, cov, correlation, believed=strip)
    # the long axis of a traced or butted point lies along its edge; that of a strip's target seen by photos that look alike
    # lies along their sight, often right across the wall, and is real
    return data if strip else tame(data)


def _largest_local_mean(residuals: np.ndarray, s: np.ndarray) -> float:
    """Largest of the mean residuals in tenths of the edge."""
    tenth = np.minimum((RESIDUAL_PARTS * (s - s.min()) / max(float(np.ptp(s)), 1e-9)).astype(int), RESIDUAL_PARTS - 1)
    present, cell = np.unique(tenth, return_inverse=True)
    return float(np.max(np.abs(np.bincount(cell, residuals) / np.bincount(cell)))) if present.size else 0.0


def _coverage(points: PlanePoints, hint: EdgeHint, fit: ShapeFit, settings: EdgeSettings) -> list[Finding]:
    found = []
    length = float(np.linalg.norm(fit.chord_mm[1] - fit.chord_mm[0]))
    expected = 0.0
    if hint.path is not None and hint.anchor != "photo" and hint.source == "trace":
        expected = float(np.sum(np.linalg.norm(np.diff(hint.path, axis=0), axis=1)))
    if length < settings.short_edge_mm or length < FITTED_SHARE * expected:
        found.append(Finding("edge-short", points.edge_id, seen_mm=length, expected_mm=expected or None))
    left_out = fit.used.size - int(np.count_nonzero(fit.used))
    if left_out > settings.left_out_share * fit.used.size:
        found.append(Finding("edge-outliers", points.edge_id, n_left_out=left_out, n_points=fit.used.size))
    return found
