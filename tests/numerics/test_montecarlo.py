"""Examples of JCGM 101:2008, clause 9. Published values are marked (P), our independent computation (C)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from phototemplate.numerics import montecarlo as mc

Rng = np.random.Generator
DRAWS = 400_000


def drawn(sampler: Callable[[Rng, int], np.ndarray], probability: float = 0.95) -> mc.MonteCarloResult:
    return mc.summarised(np.asarray(sampler(np.random.default_rng(1), DRAWS)), probability)


def rectangular(rng: Rng, m: int, u: float) -> np.ndarray:
    return rng.uniform(-math.sqrt(3) * u, math.sqrt(3) * u, m)


def test_9_2_2_four_normal() -> None:
    r = drawn(lambda rng, m: rng.normal(size=(m, 4)).sum(axis=1))
    assert r.value == pytest.approx(0, abs=0.05)
    assert r.u == pytest.approx(2.0, abs=0.05)
    assert r.symmetric == pytest.approx((-3.92, 3.92), abs=0.06)  # (P) table 2
    assert mc.agrees(r.value, 1.96 * r.u, r, digits=1)


def test_9_2_3_four_rectangular() -> None:
    r = drawn(lambda rng, m: np.sum([rectangular(rng, m, 1.0) for _ in range(4)], axis=0))
    assert r.symmetric == pytest.approx((-3.88, 3.88), abs=0.05)  # (P) table 3; exact Irwin-Hall 3.8794 (C)
    assert r.u == pytest.approx(2.0, abs=0.05)


def test_9_2_4_one_large_rectangular() -> None:
    r = drawn(
        lambda rng, m: sum(rectangular(rng, m, 1.0) for _ in range(3)) + rectangular(rng, m, 10.0)
    )
    assert r.u == pytest.approx(10.1489, abs=0.1)
    assert r.symmetric == pytest.approx((-17.0, 17.0), abs=0.2)  # (P, from memory) and (C)
    assert not mc.agrees(0.0, 1.96 * 10.14889, r)  # the law of propagation says +-19.9


def test_9_3_mass_calibration() -> None:
    """Deviation of a weight from 100 g in mg; the law of propagation of first order misses a third of u."""

    def deviation(rng: Rng, m: int) -> np.ndarray:
        reference = rng.normal(100_000.0, 0.050, m) + rng.normal(1.234, 0.020, m)
        air = rng.uniform(1.10, 1.30, m)
        weight, standard = rng.uniform(7000, 9000, m), rng.uniform(7950, 8050, m)
        return reference * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100_000.0

    r = drawn(deviation)
    assert r.value == pytest.approx(1.2341, abs=0.002)  # (P, from memory) 1.2341, (C) 1.2340
    assert r.u == pytest.approx(0.0754, abs=0.002)
    assert r.shortest == pytest.approx((1.0834, 1.3825), abs=0.005)
    assert not mc.agrees(1.2340, 1.96 * 0.0539, r)


def test_9_5_gauge_block() -> None:
    """The end gauge of GUM H.1 with its stated distributions; 99 % interval, nm over 50 mm."""

    def trapezoid(rng: Rng, m: int, half: float, d: float) -> np.ndarray:
        limit = half + d * rng.uniform(-1, 1, m)
        return limit * rng.uniform(-1, 1, m)

    def deviation(rng: Rng, m: int) -> np.ndarray:
        ls = 50_000_623 + 25 * rng.standard_t(18, m)
        d = 215 + 6 * rng.standard_t(24, m) + 4 * rng.standard_t(5, m) + 7 * rng.standard_t(8, m)
        alpha_s = rng.uniform(9.5e-6, 13.5e-6, m)
        theta = rng.normal(-0.1, 0.2, m) + 0.5 * np.sin(rng.uniform(0, 2 * np.pi, m))
        d_alpha, d_theta = trapezoid(rng, m, 1e-6, 0.1e-6), trapezoid(rng, m, 0.05, 0.025)
        return ls + d - ls * (d_alpha * theta + alpha_s * d_theta) - 50_000_000

    r = drawn(deviation, probability=0.99)
    assert r.value == pytest.approx(838, abs=0.5)
    assert r.u == pytest.approx(36, abs=0.5)  # (P, from memory) 36, (C) 35.81; law of propagation 32
    assert r.symmetric == pytest.approx((745, 932), abs=2.0)  # (P, from memory), (C) 744.3 .. 931.6


def test_logarithm_of_a_rectangular_input() -> None:
    """NPL report DEM-ES-011, 9.2: y = ln x, x rectangular on 0.1 .. 1.1."""
    r = drawn(lambda rng, m: np.log(rng.uniform(0.1, 1.1, m)))
    assert r.value == pytest.approx(-0.6649, abs=0.004)
    assert r.u == pytest.approx(0.6064, abs=0.004)
    assert r.shortest == pytest.approx((-1.895, 0.095), abs=0.01)
    assert r.shortest[1] - r.shortest[0] < r.symmetric[1] - r.symmetric[0]


def test_numerical_tolerance_of_clause_7_9_2() -> None:
    assert mc.numerical_tolerance(2.0, 2) == pytest.approx(0.05)
    assert mc.numerical_tolerance(0.0754, 2) == pytest.approx(0.0005)
    assert mc.numerical_tolerance(32.0, 1) == pytest.approx(5.0)


def test_correlated_draws_keep_a_singular_covariance() -> None:
    a = np.array([[1.0], [2.0], [-0.5]])
    cov = a @ a.T
    y = mc.correlated_draws(np.random.default_rng(3), np.zeros(3), cov, 40_000)
    np.testing.assert_allclose(np.cov(y.T), cov, atol=0.08)
    np.testing.assert_allclose(y @ np.array([2.0, -1.0, 0.0]), 0.0, atol=1e-6)
