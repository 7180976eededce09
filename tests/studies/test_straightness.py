"""Minimum zone against closed forms, scipy's linear programme and shapely's rotated rectangle."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from scipy.optimize import linprog

from phototemplate.studies.straightness import minimum_zone, zone_widths


def least_squares_line(x: np.ndarray, y: np.ndarray) -> tuple[float, float, float]:
    """Height at x = 0, slope, and the departure from straight about the line of best fit."""
    slope, height = np.polyfit(x, y, 1)
    rest = y - height - slope * x
    return float(height), float(slope), float(rest.max() - rest.min())


def test_parabola_has_closed_forms() -> None:
    """A bow of sagitta h over a length L: zone width h; the line of best fit leaves h peak to valley, a constant at 2/3 h."""
    x = np.linspace(0.0, 2000.0, 2001)
    h = 7.0
    y = 4.0 * h * (x / 2000.0) * (1.0 - x / 2000.0)
    zone = minimum_zone(x, y)
    assert zone.width_mm == pytest.approx(h, abs=1e-9)
    assert zone.touching == (1000,)
    assert zone.far == (0, 2000)
    height, slope, spread = least_squares_line(x, y)
    assert slope == pytest.approx(0.0, abs=1e-12)
    assert height == pytest.approx(2.0 / 3.0 * h, rel=1e-3)
    assert spread == pytest.approx(h, rel=1e-3)


def test_least_squares_never_beats_the_minimum_zone_and_loses_on_a_triangle() -> None:
    """Corner swollen in a straight wall: 0 but for one end of height h. Minimum zone of three points 0, 0, h is h/2 at equal
    distances; the least squares line y = h/2 t - h/6 ... leaves h/2 too, moved one point to a quarter it leaves more."""
    x, y = np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.0, 6.0])
    assert minimum_zone(x, y).width_mm == pytest.approx(3.0 / math.hypot(1.0, 3.0), rel=1e-12)
    rng = np.random.default_rng(3)
    for _ in range(50):
        x = np.sort(rng.uniform(0, 1000, 30))
        y = rng.normal(0, 2, 30)
        assert minimum_zone(x, y).width_mm <= least_squares_line(x, y)[2] + 1e-12


def test_agrees_with_linear_programming() -> None:
    """min z subject to 0 <= y_i - a - b x_i <= z is the zone along y (scipy's HiGHS)."""
    rng = np.random.default_rng(5)
    for n in (3, 4, 7, 60):
        x = np.sort(rng.uniform(0, 2500, n))
        y = rng.normal(0, 3, n)
        one = np.ones(n)
        a_ub = np.vstack([np.column_stack([one, x, np.zeros(n)]), np.column_stack([-one, -x, -one])])
        found = linprog([0, 0, 1], a_ub, np.concatenate([y, -y]), bounds=[(None, None), (None, None), (0, None)])
        zone = minimum_zone(x, y)
        along_y = zone.width_mm * math.sqrt(1.0 + zone.slope**2)
        assert along_y == pytest.approx(found.fun, abs=1e-7)
        assert zone_widths(x, y[None])[0] == pytest.approx(zone.width_mm, abs=1e-4)
        piece = zone.piece(x)
        assert np.all(piece - y >= -1e-9)
        assert (piece - y).max() == pytest.approx(along_y, abs=1e-9)


def test_agrees_with_the_smallest_rotated_box_of_a_long_profile() -> None:
    """For a long flat profile the narrow side of a rectangle of least area is no narrower than the zone."""
    rng = np.random.default_rng(8)
    x = np.linspace(0, 3000, 200)
    y = 5 * np.sin(np.pi * x / 3000) + rng.normal(0, 0.2, 200)
    box = shapely.get_coordinates(shapely.LineString(np.column_stack([x, y])).minimum_rotated_rectangle)
    sides = np.linalg.norm(np.diff(box, axis=0), axis=1)
    assert minimum_zone(x, y).width_mm == pytest.approx(sides.min(), rel=1e-3)


def test_weights_are_the_derivative() -> None:
    rng = np.random.default_rng(11)
    x = np.linspace(0, 2000, 40)
    y = rng.normal(0, 2, 40)
    w = minimum_zone(x, y).weights(x)
    for k in range(40):
        step = np.zeros(40)
        step[k] = 1e-5
        numeric = (minimum_zone(x, y + step).width_mm - minimum_zone(x, y - step).width_mm) / 2e-5
        assert w[k] == pytest.approx(numeric, abs=1e-5)


def test_straight_profiles_have_no_width() -> None:
    x = np.linspace(0, 1000, 11)
    assert minimum_zone(x, 3.0 + 0.01 * x).width_mm == pytest.approx(0.0, abs=1e-9)
    assert minimum_zone(np.array([0.0, 5.0]), np.array([1.0, 2.0])).width_mm == 0.0
