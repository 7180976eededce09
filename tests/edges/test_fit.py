"""fit_segment: coverage of its intervals, shared error, findings, refusals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.shapes.evaluate import foot, normal_at, offset_u, point_at, weights
from phototemplate.errors import MeasureError
from phototemplate.model import Array, Influences, PlanePoints, ShapeKind
from phototemplate.settings import EdgeSettings
from tests.edges.shape_data import LENGTH, bent, hint, scene, wall
from tests.numerics.block_bootstrap import block_bootstrap

SETTINGS = EdgeSettings()
PLACES = LENGTH * np.array([0.02, 0.15, 0.3, 0.5, 0.7, 0.85, 0.98])


def straight(rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    return lambda s: 0.0 * s


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shape", "truth", "runs", "shared"),
    [
        ("line", straight, 80, False),
        ("line", straight, 80, True),
        ("arc", bent, 40, False),
        ("profile", wall, 40, False),
        ("profile", wall, 25, True),
    ],
)
def test_intervals_cover(shape: ShapeKind, truth: Callable, runs: int, shared: bool) -> None:
    """k = 2 intervals over seeds, with noise correlated over 15 mm, 3 % wrong points and shared error. The errors
    along one edge are correlated, so the bands are wide here; the benchmark ``coverage`` has the tight ones."""
    z = []
    for seed in range(runs):
        rng = np.random.default_rng(1000 + seed)
        case = scene(rng, truth(rng), shared=shared)
        error, u = case.errors(fit_segment(case.points, hint(shape), SETTINGS, case.influences), PLACES)
        z.append(error / u)
    z = np.array(z)
    assert np.mean(np.abs(z) < 2) > 0.90
    assert 0.55 < np.mean(z**2) < 1.5


@pytest.mark.parametrize("shape", ["line", "arc", "profile"])
def test_shared_jacobian_is_what_the_shared_error_does(shape: ShapeKind) -> None:
    rng = np.random.default_rng(3)
    case = scene(rng, {"line": straight, "arc": bent, "profile": wall}[shape](rng), wrong=0.0)
    before = fit_segment(case.points, hint(shape), SETTINGS, case.influences)
    for k, step in enumerate([0.05, 2e-5, 0.05]):
        moved = replace(case.points, xy_mm=case.points.xy_mm + step * case.points.shared_jac[:, :, k])
        after = fit_segment(moved, hint(shape), SETTINGS, case.influences)
        s = np.linspace(100, LENGTH - 150, 9)
        start = point_at(before, s)
        change = np.einsum("ni,ni->n", point_at(after, foot(after, start)) - start, normal_at(before, s))
        np.testing.assert_allclose(change, step * weights(before, s) @ before.shared_jac[:, k], atol=0.002)


def _length(chord: np.ndarray) -> float:
    return float(np.linalg.norm(chord[1] - chord[0]))


def _direction(chord: np.ndarray) -> np.ndarray:
    return (chord[1] - chord[0]) / _length(chord)


def _wavy(x: Array, e: Array, s: Array) -> Array:
    return np.asarray(0.3 * np.interp(s, x, e))


def _swollen(mud: float, s: Array) -> Array:
    return np.asarray(-mud * np.exp(-s / 80.0))


def test_a_thousand_points_do_not_claim_micrometres() -> None:
    case = scene(np.random.default_rng(1), step=1.0, ell=0.0, wrong=0.0, shared=False)
    segment = fit_segment(case.points, hint(), SETTINGS)
    independent = 0.15 / np.sqrt(len(case.points.xy_mm))
    assert offset_u(segment, [LENGTH / 2])[0] > 3 * independent

@pytest.mark.slow
def test_uncertainty_follows_the_waviness_of_the_edge() -> None:
    """An edge that waves by 0.3 mm over some 150 mm: the scatter of the fitted line over such edges is what is
    stated."""
    z = []
    for seed in range(70):
        rng = np.random.default_rng(seed)
        x = np.arange(-50.0, LENGTH + 60, 10.0)
        phi = np.exp(-10 / 150)
        e = rng.normal(size=x.size)
        for i in range(1, x.size):
            e[i] = phi * e[i - 1] + np.sqrt(1 - phi**2) * e[i]
        wave = scene(rng, partial(_wavy, x, e), shared=False)
        segment = fit_segment(wave.points, hint(), SETTINGS)
        flat = replace(wave, truth=lambda s: 0.0 * s)
        error, u = flat.errors(segment, np.array([20.0, LENGTH / 2]))
        z.append(error / u)
        assert u[1] > 0.03  # the points' noise alone would give 0.015
    z = np.array(z)
    assert np.mean(np.abs(z) < 2) > 0.9
    assert 0.6 < np.mean(z**2) < 1.4

def test_block_bootstrap_agrees_with_the_stated_noise() -> None:
    """Resampling the residuals in blocks knows nothing of the correlation model."""
    rng = np.random.default_rng(6)
    ratios = []
    for seed in range(8):
        case = scene(np.random.default_rng(seed), ell=25.0, wrong=0.0, shared=False)
        segment = fit_segment(case.points, hint(), SETTINGS)
        t = _direction(segment.chord_mm)
        s = (segment.points_mm - segment.chord_mm[0]) @ t
        design = weights(segment, s)
        gain = np.linalg.solve(design.T @ design, design.T)
        draws = block_bootstrap(gain.__matmul__, segment.residuals_mm, s, 250.0, rng, 150)
        ratios.append(draws.std(axis=0) / np.sqrt(np.diag(segment.noise_cov_mm2)))
    assert 0.75 < np.mean(ratios) < 1.15

def test_profile_widens_in_a_gap() -> None:
    rng = np.random.default_rng(2)
    case = scene(rng, wall(rng), step=20.0, shared=False, wrong=0.0)
    s = (case.points.xy_mm - case.move) @ case.turn[:, 0]
    seen = (s < 800) | (s > 1500)
    names = ["xy_mm", "height_mm", "noise_cov_mm2", "shared_jac", "height_u_mm", "n_photos"]
    part = replace(case.points, **{name: getattr(case.points, name)[seen] for name in names})
    whole_u = case.errors(fit_segment(case.points, hint("profile"), SETTINGS), np.array([1150.0]))[1]
    error, gap_u = case.errors(fit_segment(part, hint("profile"), SETTINGS), np.array([1150.0]))
    assert gap_u > 3 * whole_u
    assert abs(error[0]) < 3 * gap_u[0]

def test_unseen_corner_is_not_taken_for_straight() -> None:
    """A wall that is straight as far as it was seen, with 5 mm of mud over 80 mm that begins where the strips end."""
    z = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        mud = rng.uniform(0, 5)
        case = scene(rng, partial(_swollen, mud), step=16.0, ell=0.0, sd=0.1, shared=False, wrong=0.0)
        s = (case.points.xy_mm - case.move) @ case.turn[:, 0]
        names = ["xy_mm", "height_mm", "noise_cov_mm2", "shared_jac", "height_u_mm", "n_photos"]
        part = replace(case.points, **{name: getattr(case.points, name)[s > 200] for name in names})
        error, u = case.errors(fit_segment(part, hint("profile"), SETTINGS), np.array([20.0, 110.0]))
        assert u[0] > 3 * u[1] > 0.3
        z.append(error / u)
    assert np.mean(np.abs(z) < 2) > 0.9

def test_profile_keeps_the_swelling_of_a_corner_and_drops_wrong_points() -> None:
    """8 mm of mud over 80 mm at the end of the wall is shape; single points 6 mm off are not."""
    rng = np.random.default_rng(4)
    case = scene(rng, lambda s: -8.0 * np.exp(-s / 80.0), wrong=0.08, shared=False)
    segment = fit_segment(case.points, hint("profile"), SETTINGS)
    error, _ = case.errors(segment, np.linspace(10, LENGTH - 10, 60))
    assert np.abs(error).max() < 0.6
    assert segment.knots_mm.size <= SETTINGS.max_knots + 6

def test_straight_wall_needs_fewer_knots_than_a_wavy_one() -> None:
    counts = []
    for truth in (lambda s: 0.0 * s, lambda s: 4.0 * np.sin(s / 40.0)):
        cases = [scene(np.random.default_rng(seed), truth, shared=False, wrong=0.0) for seed in (5, 6, 8)]
        counts.append(np.median([fit_segment(c.points, hint("profile"), SETTINGS).knots_mm.size for c in cases]))
    assert counts[0] < 0.5 * counts[1]
    assert counts[1] <= SETTINGS.max_knots + 6

def test_bowed_edge_claimed_as_a_line_is_reported() -> None:
    case = scene(np.random.default_rng(8), lambda s: 2.4 * np.sin(np.pi * s / LENGTH))
    segment = fit_segment(case.points, hint(), SETTINGS, case.influences)
    found = {f.code: f for f in segment.findings}
    assert "edge-not-straight" in found
    # a half sine of amplitude 2.4 departs from its own line by 1.5 mm at the ends and 0.9 mm in the middle
    assert found["edge-not-straight"].facts["off_mm"] == pytest.approx(1.5, abs=0.15)
    assert offset_u(segment, [LENGTH / 2])[0] > 0.2

def test_straight_edge_is_not_called_rough() -> None:
    for seed in range(25):
        case = scene(np.random.default_rng(seed))
        codes = [f.code for f in fit_segment(case.points, hint(), SETTINGS, case.influences).findings]
        assert "edge-not-straight" not in codes

def test_line_survives_a_third_of_wrong_points() -> None:
    """A shadow 4 mm beside the edge followed over 30 % of its length."""
    case = scene(np.random.default_rng(9), wrong=0.0, shared=False)
    s = (case.points.xy_mm - case.move) @ case.turn[:, 0]
    xy = case.points.xy_mm + np.where((s > 300) & (s < 1020), 4.0, 0.0)[:, None] * case.turn[:, 1]
    segment = fit_segment(replace(case.points, xy_mm=xy), hint(), SETTINGS)
    error, _ = case.errors(segment, PLACES)
    assert np.abs(error).max() < 0.2
    assert "edge-outliers" in {f.code for f in segment.findings}

def test_contact_points_are_weighed_by_their_sheets() -> None:
    """Three sheets butted against a wall, two points each, next to no noise of their own; the middle one's gap is
    known ten times worse. Closed form: weighted line through three groups."""
    s = np.array([0.0, 200, 1000, 1200, 2000, 2200])
    gap = np.array([0.2, 2.0, 0.2])
    jac = np.zeros((6, 2, 3))
    for i in range(6):
        jac[i, 1, i // 2] = 1.0
    o = np.array([0.0, 0, 0.9, 0.9, 0, 0])
    points = PlanePoints(
        "edge-1", "contact", np.column_stack([s, o]), np.zeros(6), np.tile(1e-8 * np.eye(2), (6, 1, 1)), jac, np.ones(6),
        np.full(6, 4),
    )  # fmt: skip
    influences = Influences(("gap:1", "gap:2", "gap:3"), np.diag(gap**2), {})
    segment = fit_segment(points, hint(), SETTINGS, influences)
    design = np.column_stack([1 - s / 2200, s / 2200])
    w = np.repeat(1 / gap**2, 2)
    expected = np.linalg.solve(design.T @ (w[:, None] * design), design.T @ (w * o))
    np.testing.assert_allclose(point_at(segment, segment.knots_mm)[:, 1], expected, atol=1e-4)
    assert 0.1 < offset_u(segment, [1100.0], influences.cov)[0] < 0.25

def test_short_edge_is_reported_and_too_few_points_are_refused() -> None:
    case = scene(np.random.default_rng(1), shared=False, wrong=0.0)
    names = ["xy_mm", "height_mm", "noise_cov_mm2", "shared_jac", "height_u_mm", "n_photos"]
    short = replace(case.points, **{name: getattr(case.points, name)[:20] for name in names})
    assert "edge-short" in {f.code for f in fit_segment(short, hint(), SETTINGS).findings}
    one = replace(case.points, **{name: getattr(case.points, name)[:1] for name in names})
    with pytest.raises(MeasureError, match=r"edge edge-1: only 1 point .* draw the hint"):
        fit_segment(one, hint(), SETTINGS)
    three = replace(case.points, **{name: getattr(case.points, name)[::200] for name in names})
    segment = fit_segment(three, hint("profile"), SETTINGS)
    assert segment.shape == "line"
    assert "edge-few-points" in {f.code for f in segment.findings}
