"""The kernel of every fit against the NIST Statistical Reference Datasets (certified values and deviations) and GUM H.3."""

from __future__ import annotations

import numpy as np
import pytest

from phototemplate.model import Array
from phototemplate.numerics import least_squares

# NIST StRD "Norris" (ozone monitors), 36 pairs y, x
NORRIS = np.fromstring(
    """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0
    559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1
    998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0
    10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5""",
    sep=" ",
).reshape(-1, 2)

# NIST StRD "Longley" (J. Amer. Statist. Assoc. 62 (1967) 819), 16 rows y, x1 .. x6
LONGLEY = np.fromstring(
    """60323 83 234289 2356 1590 107608 1947 61122 88.5 259426 2325 1456 108632 1948 60171 88.2 258054 3682 1616
    109773 1949 61187 89.5 284599 3351 1650 110929 1950 63221 96.2 328975 2099 3099 112075 1951 63639 98.1 346999
    1932 3594 113270 1952 64989 99 365385 1870 3547 115094 1953 63761 100 363112 3578 3350 116219 1954 66019 101.2
    397469 2904 3048 117388 1955 67857 104.6 419180 2822 2857 118734 1956 68169 108.4 442769 2936 2798 120445 1957
    66513 110.8 444546 4681 2637 121950 1958 68655 112.6 482704 3813 2552 123366 1959 69564 114.2 502601 3931 2514
    125368 1960 69331 115.7 518173 4806 2572 127852 1961 70551 116.9 554894 4007 2827 130081 1962""",
    sep=" ",
).reshape(-1, 7)


def linear(design: Array, y: Array, sigma: Array | float = 1.0) -> least_squares.Fit:
    """The kernel on ``y = X b + e`` from zero; ``sigma`` whitens."""
    rows, right = design / np.reshape(sigma, (-1, 1)), y / sigma
    found = least_squares.fit(lambda b: (right - rows @ b, rows), np.zeros(design.shape[1]))
    assert found.converged
    return found


def test_norris() -> None:
    y, x = NORRIS.T
    assert y.size == 36
    fit = linear(np.column_stack([np.ones_like(x), x]), y)
    np.testing.assert_allclose(fit.x, [-0.262323073774029, 1.00211681802045], rtol=1e-11)
    np.testing.assert_allclose(fit.u, [0.232818234301152, 0.429796848199937e-3], rtol=1e-11)
    assert fit.s == pytest.approx(0.884796396144373, rel=1e-12)
    r2 = 1 - np.sum(fit.residuals**2) / np.sum((y - y.mean()) ** 2)
    assert r2 == pytest.approx(0.999993745883712, rel=1e-13)


def test_longley() -> None:
    y, x = LONGLEY[:, 0], LONGLEY[:, 1:]
    fit = linear(np.column_stack([np.ones_like(y), x]), y)
    certified = [
        (-3482258.63459582, 890420.383607373),
        (15.0618722713733, 84.9149257747669),
        (-0.0358191792925910, 0.0334910077722432),
        (-2.02022980381683, 0.488399681651699),
        (-1.03322686717359, 0.214274163161675),
        (-0.0511041056535807, 0.226073200069370),
        (1829.15146461355, 455.478499142212),
    ]
    np.testing.assert_allclose(fit.x, [c for c, _ in certified], rtol=1e-8)
    np.testing.assert_allclose(fit.u, [u for _, u in certified], rtol=1e-8)
    assert fit.s == pytest.approx(304.854073561965, rel=1e-10)


@pytest.mark.parametrize(
    ("x", "y", "slope", "u", "s"),
    [
        (np.arange(60.0, 71), np.arange(130.0, 141), 2.07438016528926, 0.0165289256198347, 3.56753034006338),
        (np.array([4.0, 5, 6]), np.array([3.0, 4, 4]), 0.727272727272727, 0.0420827318078432, 0.369274472937998),
    ],
    ids=["NoInt1", "NoInt2"],
)
def test_line_through_the_origin(x: np.ndarray, y: np.ndarray, slope: float, u: float, s: float) -> None:
    fit = linear(x[:, None], y)
    assert fit.x[0] == pytest.approx(slope, rel=1e-13)
    assert fit.u[0] == pytest.approx(u, rel=1e-13)
    assert fit.s == pytest.approx(s, rel=1e-13)


def test_gum_h3_thermometer_line() -> None:
    """GUM H.3, table H.6 and H.3.3: t0 = 20 degC."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    fit = linear(np.column_stack([np.ones_like(t), t - 20]), b)
    np.testing.assert_allclose(fit.x, [-0.1712037901, 0.0021826977], rtol=3e-8)
    np.testing.assert_allclose(fit.u, [0.0028775978, 0.0006679388], rtol=1e-7)
    assert fit.s**2 * fit.cov[0, 1] / fit.u.prod() == pytest.approx(-0.9304296031, rel=1e-8)
    assert fit.s == pytest.approx(0.0034975640, rel=1e-7)
    at_30 = np.array([1.0, 10.0])
    assert fit.s * np.sqrt(at_30 @ fit.cov @ at_30) == pytest.approx(0.0041385958, rel=1e-7)


def test_whitened_observations_give_the_textbook_covariance() -> None:
    """Weighted least squares in closed form, (X^T S^-1 X)^-1 (any textbook)."""
    rng = np.random.default_rng(8)
    x, y = rng.normal(size=(15, 3)), rng.normal(size=15)
    sigma = rng.uniform(0.1, 3.0, 15)
    fit = linear(x, y, sigma)
    inverse = np.diag(1 / sigma**2)
    np.testing.assert_allclose(fit.cov, np.linalg.inv(x.T @ inverse @ x), rtol=1e-9)
    np.testing.assert_allclose(fit.x, fit.cov @ x.T @ inverse @ y, rtol=1e-9)


def test_parameters_that_cannot_be_told_apart_are_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        linear(np.ones((5, 2)), np.arange(5.0))


def test_a_search_that_was_cut_short_says_so() -> None:
    found = least_squares.fit(lambda x: (1.0 - np.exp(x), np.diag(np.exp(x))), [3.0], iterations=2)
    assert not found.converged
    assert least_squares.fit(lambda x: (1.0 - np.exp(x), np.diag(np.exp(x))), [3.0]).x == pytest.approx([0.0], abs=1e-6)
