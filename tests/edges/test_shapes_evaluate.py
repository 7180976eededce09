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


def segment(shape: ShapeKind, knots: list[float], offsets: list[float], radius_mm: float = np.inf) -> Segment:
    m = len(knots)
    length = 1000.0 if shape == "circle" else knots[-1]
    chord = np.array([[10.0, 20.0], [10.0 + 0.8 * length, 20.0 + 0.6 * length]])
    none = np.zeros((0, 2))
    return Segment(
        "e", "front", shape, chord, np.array(knots), np.array(offsets), 0.01 * np.eye(m), np.ones((m, 1)), np.zeros(0),
        none, (0.0, 0.0, 0.0), bend_per_mm=1.0 / radius_mm,
    )  # fmt: skip


CASES = [
    segment("line", [0, 1000], [1, 3]),
    segment("arc", [0, 500, 1000], [1, 2, 3]),
    segment("arc", [0, 500, 1000], [0, 0, 0], 1e9),
    segment("arc", [0, 500, 1000], [0.1, -0.2, 0.3], 240.0),
    segment("arc", [0, 500, 1000], [0.1, 0.2, -0.3], -320.0),
    segment("circle", [0, 1000 / 3, 2000 / 3], [0, 0, 0], 500 / np.pi),
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
    s, h = np.linspace(60, 940, 7), 1e-3
    np.testing.assert_allclose(ev.offset_at(case, case.knots_mm), case.offsets_mm, atol=1e-9)
    np.testing.assert_allclose(ev.weights(case, s) @ case.offsets_mm, ev.offset_at(case, s))
    change = (ev.point_at(case, s + h) - ev.point_at(case, s - h)) / (2 * h)
    speed = np.linalg.norm(change, axis=1)
    np.testing.assert_allclose(ev.tangent_at(case, s), change / speed[:, None], atol=1e-8)
    _, along, left = ev.bent_base(ev.chord_frame(case), case.bend_per_mm, s)
    np.testing.assert_allclose(ev.slope_at(case, s), np.sum(change * left, 1) / np.sum(change * along, 1), atol=1e-8)


@pytest.mark.parametrize("turn_deg", [1e-4, 30.0, 90.0, 180.0, 270.0, 360.0])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_bent_chord_is_an_arc_of_its_length(turn_deg: float, sense: float) -> None:
    """Length r times the central angle, chord 2 r sin(half of it), every point r from one centre (any handbook)."""
    radius = 1000.0 / np.radians(turn_deg)
    arc = segment("circle" if turn_deg == 360.0 else "arc", [0, 500, 1000], [0, 0, 0], sense * radius)
    circle = ev.circle_of(arc)
    assert circle.radius_mm == pytest.approx(radius, rel=1e-12)
    assert circle.anticlockwise == (sense > 0)
    s = np.linspace(0, 1000, 31)
    at = ev.point_at(arc, s)
    np.testing.assert_allclose(np.linalg.norm(at - circle.center_mm, axis=1), radius, rtol=1e-10)
    assert np.linalg.norm(at[-1] - at[0]) == pytest.approx(2 * radius * np.sin(np.radians(turn_deg) / 2), abs=1e-6)
    inner = slice(1, -1)  # of a whole circle both ends are one place
    beside = at + 7.0 * ev.normal_at(arc, s)
    position, offset = ev.to_chord(arc, beside)
    np.testing.assert_allclose(position[inner], s[inner], atol=1e-6)
    np.testing.assert_allclose(offset, 7.0, atol=1e-6)


@pytest.mark.parametrize("radius", [160.0, -240.0, 900.0])
def test_offsets_at_the_knots_move_and_grow_the_circle(radius: float) -> None:
    """A circle moved by (0.03, -0.02) and grown by 0.01: offsets are its distances from the base along its normals."""
    arc = segment("arc", [0, 500, 1000], [0, 0, 0], radius)
    circle = ev.circle_of(arc)
    away = ev.point_at(arc, arc.knots_mm) - (circle.center_mm + np.array([0.03, -0.02]))
    out = np.linalg.norm(away, axis=1) - (circle.radius_mm + 0.01)
    moved = ev.circle_of(replace(arc, offsets_mm=out * np.sign(radius)))
    np.testing.assert_allclose(moved.center_mm, circle.center_mm + np.array([0.03, -0.02]), atol=1e-4)
    assert moved.radius_mm == pytest.approx(circle.radius_mm + 0.01, abs=1e-4)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.shape)
def test_foot_of_a_point_beside_the_edge(case: Segment) -> None:
    s = np.linspace(150, 950, 9)
    off_edge = ev.point_at(case, s) + 3.0 * ev.normal_at(case, s)
    moved = np.any(case.offsets_mm) and case.bend_per_mm  # then only to first order
    np.testing.assert_allclose(ev.foot(case, off_edge), s, atol=0.02 if moved else 1e-6)


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
