"""Evaluation of segments: scipy's natural spline, closed forms of circle and line, finite differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from phototemplate.edges.shapes import evaluate as ev
from phototemplate.model import Segment, ShapeKind
from phototemplate.numerics.natural_spline import spline_weights


def segment(shape: ShapeKind, knots: list[float], offsets: list[float]) -> Segment:
    m = len(knots)
    chord = np.array([[10.0, 20.0], [10.0 + 0.8 * knots[-1], 20.0 + 0.6 * knots[-1]]])
    none = np.zeros((0, 2))
    return Segment(
        "e", "front", shape, chord, np.array(knots), np.array(offsets), 0.01 * np.eye(m), np.ones((m, 1)), np.zeros(0),
        none, (0.0, 0.0, 0.0),
    )  # fmt: skip


CASES = [
    segment("line", [0, 1000], [1, 3]),
    segment("arc", [0, 500, 1000], [1, 90, 3]),
    segment("arc", [0, 500, 1000], [1, -200, 3]),
    segment("arc", [0, 500, 1000], [1, 2, 3]),
    segment("profile", [0, 100, 400, 700, 1000], [1, 3, 2, 5, 0]),
]


@given(st.lists(st.floats(5, 400), min_size=3, max_size=12), st.integers(0, 10**6))
def test_profile_is_the_natural_cubic_spline(gaps: list[float], seed: int) -> None:
    knots = np.concatenate([[0.0], np.cumsum(gaps)])
    offsets = np.random.default_rng(seed).normal(0, 5, knots.size)
    reference = CubicSpline(knots, offsets, bc_type="natural")
    s = np.linspace(0, knots[-1], 50)
    for order in (0, 1, 2):
        np.testing.assert_allclose(spline_weights(knots, s, order) @ offsets, reference(s, order), atol=1e-8)
    beyond = np.array([-30.0, knots[-1] + 40.0])
    ends, slopes = reference(knots[[0, -1]]), reference(knots[[0, -1]], 1)
    np.testing.assert_allclose(spline_weights(knots, beyond) @ offsets, ends + slopes * np.array([-30.0, 40.0]), atol=1e-8)
    np.testing.assert_allclose(spline_weights(knots, beyond, 2), 0.0)
    # weights of a straight line reproduce it, also beyond the ends
    np.testing.assert_allclose(spline_weights(knots, beyond) @ (2.0 - 0.01 * knots), 2.0 - 0.01 * beyond, atol=1e-9)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.shape)
def test_weights_and_slopes_are_derivatives(case: Segment) -> None:
    s, h = np.linspace(-20, 1010, 7), 1e-4
    steps = h * np.eye(case.knots_mm.size)
    for function, weights in ((ev.offset_at, ev.weights), (ev.slope_at, ev.slope_weights)):
        up = [function(replace(case, offsets_mm=case.offsets_mm + e), s) for e in steps]
        down = [function(replace(case, offsets_mm=case.offsets_mm - e), s) for e in steps]
        np.testing.assert_allclose(weights(case, s), (np.array(up) - down).T / (2 * h), atol=1e-7)
    slope = (ev.offset_at(case, s + h) - ev.offset_at(case, s - h)) / (2 * h)
    np.testing.assert_allclose(ev.slope_at(case, s), slope, atol=1e-8)
    np.testing.assert_allclose(ev.offset_at(case, case.knots_mm), case.offsets_mm, atol=1e-10)
    inside = np.array([40.0, 260.0, 930.0])
    bend = (ev.slope_at(case, inside + h) - ev.slope_at(case, inside - h)) / (2 * h)
    curvature = bend / (1 + ev.slope_at(case, inside) ** 2) ** 1.5
    np.testing.assert_allclose(ev.curvature_at(case, inside), curvature, atol=1e-8)


@pytest.mark.parametrize("sagitta", [300.0, 40.0, -120.0])
def test_arc_lies_on_the_circle_of_chord_and_sagitta(sagitta: float) -> None:
    """Chord c and sagitta h: r = (c^2 / 4 + h^2) / (2 h), any handbook; length r times the central angle."""
    arc = segment("arc", [0, 500, 1000], [0, sagitta, 0])
    radius = (1000.0**2 / 4 + sagitta**2) / (2 * abs(sagitta))
    circle = ev.circle_of(arc)
    assert circle.radius_mm == pytest.approx(radius, rel=1e-12)
    assert circle.anticlockwise == (sagitta < 0)
    s = np.linspace(0, 1000, 31)
    np.testing.assert_allclose(np.linalg.norm(ev.point_at(arc, s) - circle.center_mm, axis=1), radius, rtol=1e-12)
    np.testing.assert_allclose(np.abs(ev.curvature_at(arc, s)), 1 / radius, rtol=1e-9)
    steps = 1e-4 * np.eye(3)
    up = [ev.circle_of(replace(arc, offsets_mm=arc.offsets_mm + e)) for e in steps]
    down = [ev.circle_of(replace(arc, offsets_mm=arc.offsets_mm - e)) for e in steps]
    center = np.array([(a.center_mm - b.center_mm) / 2e-4 for a, b in zip(up, down, strict=True)]).T
    radii = np.array([(a.radius_mm - b.radius_mm) / 2e-4 for a, b in zip(up, down, strict=True)])
    np.testing.assert_allclose(circle.center_jac, center, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(circle.radius_jac, radii, rtol=1e-6, atol=1e-6)


def test_arc_that_does_not_reach_is_nan() -> None:
    arc = segment("arc", [0, 500, 1000], [0, 400, 0])
    assert np.isnan(ev.offset_at(arc, [-200.0])).all()


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.shape)
def test_foot_of_a_point_beside_the_edge(case: Segment) -> None:
    s = np.linspace(50, 950, 9)
    off_edge = ev.point_at(case, s) + 3.0 * ev.normal_at(case, s)
    np.testing.assert_allclose(ev.foot(case, off_edge), s, atol=1e-8)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.shape)
def test_rigid_motion_moves_points_and_keeps_offsets(case: Segment) -> None:
    turn = np.array([[np.cos(0.7), -np.sin(0.7)], [np.sin(0.7), np.cos(0.7)]])
    moved = ev.transformed(case, turn, np.array([5.0, -3.0]))
    s = np.linspace(0, 1000, 5)
    np.testing.assert_allclose(ev.point_at(moved, s), ev.point_at(case, s) @ turn.T + [5, -3], atol=1e-9)
    np.testing.assert_allclose(ev.tangent_at(moved, s), ev.tangent_at(case, s) @ turn.T, atol=1e-12)


def test_uncertainty_adds_noise_and_shared_error() -> None:
    line = CASES[0]
    assert ev.offset_u(line, [500.0], np.array([[0.04]]))[0] == pytest.approx(np.sqrt(0.045 / (1 + 0.002**2)))
