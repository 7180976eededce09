"""Correlated noise: effective sample size, exact covariance of estimates, block bootstrap."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from phototemplate.model import Array
from phototemplate.numerics import correlation as co
from tests.numerics.block_bootstrap import block_bootstrap


def exponential_cov(s: np.ndarray, sd: np.ndarray, ell: float) -> np.ndarray:
    return np.outer(sd, sd) * np.exp(-np.abs(s[:, None] - s) / ell)


def test_effective_sample_size_of_an_autoregressive_series() -> None:
    """For a long AR(1) series n_eff = n (1 - rho) / (1 + rho) (textbook limit; the sum is exact for finite n)."""
    rho = 0.8
    ell = -1.0 / np.log(rho)
    assert co.effective_sample_size(20_000, 1.0, ell) == pytest.approx(20_000 * (1 - rho) / (1 + rho), rel=1e-3)
    assert co.effective_sample_size(50, 1.0, 0.0) == 50
    cov = exponential_cov(np.arange(40.0), np.ones(40), ell)
    assert co.effective_sample_size(40, 1.0, ell) == pytest.approx(1.0 / cov.mean(), rel=1e-12)


def test_correlated_product_equals_the_dense_one() -> None:
    rng = np.random.default_rng(1)
    s, sd, gain = rng.uniform(0, 300, 120), rng.uniform(0.1, 2, 120), rng.normal(size=(4, 120))
    for ell in (0.5, 12.0, 400.0):
        expected = gain @ exponential_cov(s, sd, ell) @ gain.T
        np.testing.assert_allclose(co.correlated_product(gain, s, sd, ell), expected, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(co.correlated_product(gain, s, sd, 0.0), (gain * sd**2) @ gain.T)


def test_whitening_equals_the_inverse_covariance() -> None:
    rng = np.random.default_rng(2)
    s: Array = np.sort(rng.uniform(0, 300, 60))
    sd, x = rng.uniform(0.1, 2, 60), rng.normal(size=(60, 3))
    z = co.whiten(x, s, sd, 3.0)
    keep = np.all(np.exp(-np.diff(s) / 3.0) < np.sqrt(0.99))
    s = np.asarray(np.arange(60) * 2.0, np.float64) if not keep else s
    z = co.whiten(x, s, sd, 3.0)
    np.testing.assert_allclose(z.T @ z, x.T @ np.linalg.solve(exponential_cov(s, sd, 3.0), x), rtol=1e-9)


def test_autocorrelation_of_known_noise() -> None:
    rng = np.random.default_rng(3)
    s = np.arange(4000) * 0.5
    root = np.asarray(stats.norm.rvs(size=s.size, random_state=rng))
    noise, phi = np.empty_like(root), np.exp(-0.5 / 4.0)
    noise[0] = root[0]
    for i in range(1, s.size):
        noise[i] = phi * noise[i - 1] + np.sqrt(1 - phi**2) * root[i]
    assert co.autocorrelation(noise, s, 4.0) == pytest.approx(np.exp(-1.0), abs=0.09)
    assert co.autocorrelation(rng.permutation(noise), s, 4.0) == pytest.approx(0.0, abs=0.05)


def test_block_bootstrap_finds_the_correlated_uncertainty_of_a_line() -> None:
    """Independent of the correlation model: blocks of ten correlation lengths reproduce the exact covariance of a
    line's two ends, where the plain formula for independent points is 4 times too small."""
    rng = np.random.default_rng(4)
    s = np.arange(1500.0)
    ell, sd = 8.0, np.full(s.size, 0.2)
    lower = np.linalg.cholesky(exponential_cov(s, sd, ell))
    design = np.column_stack([1 - s / 1499, s / 1499])
    gain: Array = np.asarray(np.linalg.solve(design.T @ design, design.T), np.float64)
    exact = np.sqrt(np.diag(co.correlated_product(gain, s, sd, ell)))
    found = []
    for _ in range(12):
        y = lower @ rng.normal(size=s.size)
        residuals = y - design @ (gain @ y)
        found.append(block_bootstrap(lambda r: gain @ r, residuals, s, 10 * ell, rng, 120).std(axis=0))
    np.testing.assert_allclose(np.mean(found, axis=0), exact, rtol=0.15)
    independent = np.sqrt(np.diag((gain * sd**2) @ gain.T))
    assert np.all(exact > 3.5 * independent)
