"""Fits against published values: NIST StRD, York's line through Pearson's data, the circle of Gander, Golub,
Strebel."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_smoothing_spline

from phototemplate.edges import shapes
from phototemplate.edges.shapes import wall_curve, wall_prior
from phototemplate.edges.shapes.contract import tame
from phototemplate.edges.shapes.evaluate import circle_of, foot, frame_of_chord, normal_at, offset_u, point_at, weights
from phototemplate.errors import MeasureError
from phototemplate.model import Segment, ShapeKind
from phototemplate.numerics.natural_spline import spline_weights
from phototemplate.settings import EdgeSettings
from tests.edges.shape_data import plain_points
from tests.numerics.test_least_squares import NORRIS

SETTINGS = EdgeSettings()

PEARSON_X = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
YORK_WX = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
YORK_WY = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500.0])


def own_noise(fit: shapes.ShapeFit, points: shapes.EdgePoints) -> np.ndarray:
    """(M, M) covariance of the offsets from the points' stated noise alone, without any roughness of the edge."""
    normal = frame_of_chord(fit.chord_mm).normal
    return (fit.gain * np.einsum("i,nij,j->n", normal, points.noise_cov_mm2, normal)) @ fit.gain.T


def intercept_and_slope(fit: shapes.ShapeFit, points: shapes.EdgePoints) -> tuple[np.ndarray, np.ndarray]:
    """Of the line in x and y, with their covariance (2, 2) from the points' stated noise."""

    def both(offsets: np.ndarray) -> np.ndarray:
        frame = frame_of_chord(fit.chord_mm)
        ends = frame.origin_mm + fit.knots_mm[:, None] * frame.tangent + offsets[:, None] * frame.normal
        slope = (ends[1, 1] - ends[0, 1]) / (ends[1, 0] - ends[0, 0])
        return np.array([ends[0, 1] - slope * ends[0, 0], slope])

    steps = 1e-6 * np.eye(2)
    jac = np.array([(both(fit.offsets_mm + e) - both(fit.offsets_mm - e)) / 2e-6 for e in steps]).T
    return both(fit.offsets_mm), jac @ own_noise(fit, points) @ jac.T


def test_line_of_york_through_pearsons_data() -> None:
    """Exact solution 5.47991022, -0.480533407 (Neri et al., J. Phys. E 22 (1989) 215); standard uncertainties of the
    adjusted-point formula of York et al. 2004: 0.294971, 0.057985 (the exact-propagation form of Kalantar 1992 gives
    0.29193, 0.057617 and is not the one used here)."""
    cov = np.zeros((10, 2, 2))
    cov[:, 0, 0], cov[:, 1, 1] = 1 / YORK_WX, 1 / YORK_WY
    points = plain_points(np.column_stack([PEARSON_X, PEARSON_Y]), cov)
    fit = shapes.LineShape().fit(points, SETTINGS)
    value, spread = intercept_and_slope(fit, points)
    np.testing.assert_allclose(value, [5.47991022, -0.480533407], rtol=2e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(spread)), [0.294971, 0.057985], rtol=2e-5)
    assert spread[0, 1] == pytest.approx(-0.016473, abs=2e-6)
    # the ten residuals scatter more than stated (S / 8 = 1.483): the edge's own covariance is not smaller
    assert np.all(np.diag(fit.noise_cov_mm2) >= np.diag(own_noise(fit, points)) * (1 - 1e-9))


def test_orthogonal_line_of_pearson() -> None:
    """K. Pearson, Phil. Mag. 2 (1901) 559: unweighted orthogonal line of his data, computed in closed form from the
    principal axis: slope -0.545561, intercept 5.784044, root mean square distance 0.248711."""
    points = plain_points(np.column_stack([PEARSON_X, PEARSON_Y]))
    fit = shapes.LineShape().fit(points, SETTINGS)
    value, _ = intercept_and_slope(fit, points)
    np.testing.assert_allclose(value, [5.784044, -0.545561], atol=6e-7)
    assert math.sqrt(np.mean(fit.residuals_mm**2)) == pytest.approx(0.248711, abs=1e-6)


def test_norris_as_an_edge() -> None:
    """NIST StRD Norris with all the noise in y: certified parameters, and their standard deviations when the noise
    is the certified residual standard deviation."""
    y, x = NORRIS.T
    cov = np.zeros((36, 2, 2))
    cov[:, 1, 1] = 0.884796396144373**2
    points = plain_points(np.column_stack([x, y]), cov)
    fit = shapes.LineShape().fit(points, SETTINGS.model_copy(update={"outlier_factor": 99}))
    value, spread = intercept_and_slope(fit, points)
    np.testing.assert_allclose(value, [-0.262323073774029, 1.00211681802045], rtol=1e-8)
    np.testing.assert_allclose(np.sqrt(np.diag(spread)), [0.232818234301152, 0.429796848199937e-3], rtol=1e-7)


def fitted_segment(shape: ShapeKind, fit: shapes.ShapeFit) -> Segment:
    none = np.zeros((0, 2))
    return Segment(
        "e", "other", shape, fit.chord_mm, fit.knots_mm, fit.offsets_mm, fit.noise_cov_mm2, fit.shared_jac,
        fit.residuals_mm, none, (0.0, 0.0, 0.0), bend_per_mm=fit.bend_per_mm,
    )  # fmt: skip


def test_geometric_circle_of_gander_golub_strebel() -> None:
    """BIT 34 (1994) 558, six points: geometric fit centre (4.7398, 2.9835), radius 4.7142 (algebraic fits of the same
    points give radii of 3.04 to 4.91)."""
    xy = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], float)
    xy = xy[np.argsort(xy[:, 0])]
    fit = shapes.ArcShape().fit(plain_points(xy), SETTINGS)
    circle = circle_of(fitted_segment("arc", fit))
    np.testing.assert_allclose(circle.center_mm, [4.7397824, 2.9835327], atol=2e-6)
    assert circle.radius_mm == pytest.approx(4.7142260, abs=2e-6)
    assert np.sum(fit.residuals_mm**2) == pytest.approx(1.2275991, abs=1e-6)
    # standard errors with s^2 = SSR / 3 by the usual first-order formula (our computation, as no others are published)
    noise = 1.2275991 / 3 * fit.gain @ fit.gain.T
    u_center = np.sqrt(np.diag(circle.center_jac @ noise @ circle.center_jac.T))
    np.testing.assert_allclose(
        [*u_center, math.sqrt(circle.radius_jac @ noise @ circle.radius_jac)], [0.4776, 1.5429, 1.2243], rtol=2e-4
    )


@given(st.floats(0, 2 * math.pi), st.floats(-800, 800), st.floats(-800, 800), st.sampled_from(["line", "arc", "profile"]))
@settings(max_examples=25, deadline=None)
def test_fits_do_not_depend_on_the_frame(angle: float, dx: float, dy: float, name: str) -> None:
    rng = np.random.default_rng(7)
    s = np.linspace(0, 900, 60)
    xy = np.column_stack([s, 25 * np.sin(s / 300) * (name != "line") + rng.normal(0, 0.2, 60)])
    cov = np.tile(np.diag([0.3**2, 0.2**2]), (60, 1, 1))
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    first = shapes.shape_named(name).fit(plain_points(xy, cov), SETTINGS)
    second = shapes.shape_named(name).fit(plain_points(xy @ turn.T + [dx, dy], turn @ cov @ turn.T), SETTINGS)
    np.testing.assert_allclose(second.chord_mm, first.chord_mm @ turn.T + [dx, dy], atol=1e-6)
    np.testing.assert_allclose(second.offsets_mm, first.offsets_mm, atol=1e-6)
    np.testing.assert_allclose(second.noise_cov_mm2, first.noise_cov_mm2, atol=1e-8)


@pytest.mark.parametrize("shape", shapes.SHAPES, ids=lambda s: s.name)
def test_gain_is_the_derivative_of_the_offsets(shape: shapes.Shape) -> None:
    """Move single points across the edge and fit again: the edge moves there and elsewhere as the gain says."""
    rng = np.random.default_rng(9)
    radius = {"line": 1e9, "arc": 400.0, "circle": 150.0, "profile": 25000.0}[shape.name]
    s, noise = np.linspace(0, 900, 40), rng.normal(0, 0.2, 40)
    xy = (radius + noise)[:, None] * np.column_stack([np.cos(s / radius), np.sin(s / radius)]) - [radius, 0]
    points = plain_points(xy, np.tile(0.2**2 * np.eye(2), (40, 1, 1)))
    fit = shape.fit(points, SETTINGS)
    before = fitted_segment(shape.name, fit)
    # knots of a second fit lie elsewhere along the edge, so the edges are compared where they were
    at = fit.knots_mm[(fit.knots_mm >= 0) & (fit.knots_mm <= frame_of_chord(fit.chord_mm).length_mm)]
    for i in (0, 13, 39):
        moved = replace(points, xy_mm=xy + 0.01 * np.eye(40)[i][:, None] * normal_at(before, foot(before, xy)))
        after = fitted_segment(shape.name, shape.fit(moved, SETTINGS))
        there = foot(after, point_at(before, at))
        change = np.einsum("ni,ni->n", point_at(after, there) - point_at(before, at), normal_at(before, at))
        tolerance = 2e-4 if shape.name != "profile" else 1.5e-3
        np.testing.assert_allclose(change, 0.01 * (weights(before, at) @ fit.gain)[:, i], atol=tolerance)


@pytest.mark.parametrize("turn_deg", [20.0, 90.0, 180.0, 250.0, 360.0])
def test_round_edge_of_any_turn(turn_deg: float) -> None:
    """Points along arcs of 300 mm radius with 0.2 mm of noise across, a gap and a wrong point: inside U, whatever the turn."""
    shape, z = shapes.shape_named("circle" if turn_deg == 360.0 else "arc"), []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        share = np.r_[np.linspace(0, 0.4, 40), np.linspace(0.6, 1, 40)]
        angle = rng.uniform(0, 6) + rng.choice([-1.0, 1.0]) * np.radians(share * turn_deg)
        out = np.column_stack([np.cos(angle), np.sin(angle)])
        r = 300.0 + rng.normal(0, 0.2, 80)
        r[50] += 8.0
        along = np.column_stack([-out[:, 1], out[:, 0]])
        cov = 100.0 * along[:, :, None] * along[:, None] + 0.2**2 * out[:, :, None] * out[:, None]
        fit = shape.fit(tame(plain_points(r[:, None] * out, cov)), SETTINGS)
        assert not fit.used[50]
        arc = fitted_segment(shape.name, fit)
        s = np.linspace(0, frame_of_chord(fit.chord_mm).length_mm, 9)
        z.append((np.linalg.norm(point_at(arc, s), axis=1) - 300.0) / offset_u(arc, s))
        assert frame_of_chord(fit.chord_mm).length_mm == pytest.approx(300.0 * np.radians(turn_deg), rel=0.02)
    assert np.mean(np.abs(z) < 2.0) > 0.9
    assert 0.4 < np.mean(np.square(z)) < 1.7


def test_nearly_closed_arc_is_refused_with_advice() -> None:
    angle = np.radians(np.linspace(0, 330, 60))
    with pytest.raises(MeasureError, match="shape circle"):
        shapes.ArcShape().fit(plain_points(300 * np.column_stack([np.cos(angle), np.sin(angle)])), SETTINGS)


def test_penalised_spline_equals_scipys_smoothing_spline(monkeypatch: pytest.MonkeyPatch) -> None:
    """One fixed density, knots at the data: the minimiser of sum w (y - f)^2 + lambda int f''^2 that
    ``scipy.interpolate.make_smoothing_spline`` finds, with lambda = 1 / density."""
    rng = np.random.default_rng(12)
    s = np.sort(rng.uniform(0, 1200, 25))
    s[0], s[-1] = 0.0, 1200.0
    y = 4 * np.sin(s / 250) + rng.normal(0, 0.3, s.size)
    sd = rng.uniform(0.1, 0.5, s.size)
    design = spline_weights(s, s)
    for log_density in (-7.0, -5.5):
        monkeypatch.setattr(wall_prior, "DENSITIES_LOG10", (log_density,))
        monkeypatch.setattr(wall_prior, "RATIOS_LOG10", (0.0,))
        monkeypatch.setattr(wall_prior, "SWELL", 0.0)
        monkeypatch.setattr(wall_prior, "BREAK_ROUNDS", 0)
        prior = wall_prior.wall_prior(s, 1200.0, (None, None), SETTINGS.end_zone_mm)
        ours = wall_prior.posterior(prior, design / sd[:, None], (y / sd)[:, None], design.T / sd**2)
        theirs = make_smoothing_spline(s, y, w=1.0 / sd**2, lam=10.0**-log_density)
        np.testing.assert_allclose(ours.offsets, theirs(s), atol=1e-6)


def bumped(width: float, height: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda x: 0.5 * height * (1 + np.cos(np.pi * np.clip((x - 1203.0) / (0.5 * width), -1, 1)))


@pytest.mark.parametrize(
    "wall",
    [bumped(140.0, 3.5), bumped(100.0, -3.0), lambda x: 3.0 * (x > 1210.0), lambda x: np.abs(x - 1000.0) * 0.004],
    ids=["bump", "dent", "step", "kink"],
)
def test_what_the_points_show_is_in_the_curve(wall: Callable[[np.ndarray], np.ndarray]) -> None:
    """Strip points 34 mm apart with 0.12 mm of noise on a straight wall that breaks in one place: the curve follows the points
    as well as they are known, and its U covers the wall, the place of a step between two points included."""
    rng = np.random.default_rng(31)
    s = np.arange(0.0, 2400.0, 34.0)
    cov = np.zeros((s.size, 2, 2))
    cov[:, 1, 1] = 0.12**2
    misfit, inside = [], []
    for _ in range(5):
        points = replace(plain_points(np.column_stack([s, wall(s) + rng.normal(0, 0.12, s.size)]), cov), believed=True)
        fit = shapes.ProfileShape().fit(points, SETTINGS)
        frame = frame_of_chord(fit.chord_mm)
        at = np.arange(20.0, 2340.0, 10.0)
        there = (np.column_stack([at, wall(at)]) - frame.origin_mm) @ np.array([frame.tangent, frame.normal]).T
        w = spline_weights(fit.knots_mm, there[:, 0])
        u = np.sqrt(np.einsum("ni,ij,nj->n", w, fit.noise_cov_mm2, w))
        inside.append(np.abs(there[:, 1] - w @ fit.offsets_mm) < 2 * u)
        misfit.append(np.sqrt(np.mean(fit.residuals_mm**2)))
    assert np.mean(misfit) < 0.15
    assert np.mean(inside) >= 0.92


def test_a_smooth_wall_needs_few_knots() -> None:
    s = np.arange(0.0, 2400.0, 34.0)
    cov = np.zeros((s.size, 2, 2))
    cov[:, 1, 1] = 0.1**2
    fit = shapes.ProfileShape().fit(plain_points(np.column_stack([s, 6.0 * (s / 1200.0 - 1.0) ** 2]), cov), SETTINGS)
    assert fit.knots_mm.size < 30


@pytest.mark.slow
def test_smoothing_bias_covers_random_walls() -> None:
    """Draw walls from the prior itself: the stated covariance of noise and bias must be that of the errors."""
    rng = np.random.default_rng(21)
    knots = np.linspace(0, 2000, 20)
    # with a density of 1e-6 everywhere
    prior = wall_prior.wall_prior(knots, 2000.0, (None, None), SETTINGS.end_zone_mm)
    flat = replace(prior, exponent=np.full((1, knots.size - 1), -6.0), swelling=np.zeros((knots.size - 2, 1)))
    penalty = flat.penalty(np.ones(knots.size - 1))[0][0]
    values, vectors = np.linalg.eigh(penalty)
    root = vectors[:, 2:] / np.sqrt(values[2:])
    s = np.linspace(0, 2000, 26)
    cov = np.zeros((26, 2, 2))
    cov[:, 1, 1] = 0.3**2
    z = []
    for _ in range(80):
        truth = root @ rng.normal(size=18)
        y = spline_weights(knots, s) @ truth + rng.normal(0, 0.3, 26)
        fit = shapes.ProfileShape().fit(plain_points(np.column_stack([s, y]), cov), SETTINGS)
        frame = frame_of_chord(fit.chord_mm)
        at = np.linspace(30, 1970, 11)
        there = (np.column_stack([at, spline_weights(knots, at) @ truth]) - frame.origin_mm) @ np.array(
            [frame.tangent, frame.normal]
        ).T
        w = spline_weights(fit.knots_mm, there[:, 0])
        u = np.sqrt(np.einsum("ni,ij,nj->n", w, fit.noise_cov_mm2, w))
        z.append((there[:, 1] - w @ fit.offsets_mm) / u)
    z = np.array(z)
    assert np.mean(np.abs(z) < 2) == pytest.approx(0.95, abs=0.03)
    assert np.mean(z**2) == pytest.approx(1.0, abs=0.25)


@pytest.mark.slow
def test_corner_that_swells_unseen_is_covered() -> None:
    """A straight wall whose last 150 mm swell like a parabola by up to 8 mm (common practice), seen up to 90 mm from its
    corner: the error at the corner is within U, and far from a corner nothing changes."""
    rng = np.random.default_rng(22)
    s = np.arange(90.0, 2400.0, 34.0)
    cov = np.zeros((s.size, 2, 2))
    cov[:, 1, 1] = 0.2**2
    inside = []
    for mud in rng.uniform(0.0, 8.0, 60):
        y = mud * np.clip(1 - s / 150.0, 0, None) ** 2 + rng.normal(0, 0.2, s.size)
        fit = shapes.ProfileShape().fit(plain_points(np.column_stack([s, y]), cov), SETTINGS)
        frame = frame_of_chord(fit.chord_mm)
        there = (np.array([[0.0, mud], [1200.0, 0.0]]) - frame.origin_mm) @ np.array([frame.tangent, frame.normal]).T
        w = spline_weights(fit.knots_mm, there[:, 0])
        u = np.sqrt(np.einsum("ni,ij,nj->n", w, fit.noise_cov_mm2, w))
        inside.append(np.abs(there[:, 1] - w @ fit.offsets_mm) < 2 * u)
        assert u[0] < 3.5
        assert u[1] < 0.2
    assert np.mean(inside, axis=0)[0] >= 0.9
    assert np.mean(inside, axis=0)[1] >= 0.85


def test_knots_reach_beyond_what_was_seen() -> None:
    knots = wall_curve.fine_knots(2400.0, 16, SETTINGS)
    assert knots[0] == -2 * SETTINGS.end_zone_mm
    assert knots[-1] == pytest.approx(2400.0 + 2 * SETTINGS.end_zone_mm)
    assert knots[3] == 0.0
    assert knots[-4] == pytest.approx(2400.0)
