"""Decisions against a tolerance (ISO 14253-1, JCGM 106) and reliability after Baarda."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from phototemplate.numerics import decision as de
from phototemplate.numerics import reliability as rel
from phototemplate.numerics.constants import GUARD_FACTORS
from phototemplate.numerics.information import eliminated, with_information, with_observations


def _cov(design: np.ndarray, variances: np.ndarray) -> np.ndarray:
    """Covariance of the parameters of a linear adjustment, by the normal equations."""
    return np.linalg.inv(design.T @ (design / variances[:, None]))


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (1.9, "meets"),
        (2.0, "meets"),
        (2.5, "cannot tell"),
        (3.5, "cannot tell"),
        (4.0, "fails"),
        (4.1, "fails"),
        (-4.1, "fails"),
    ],
)
def test_guard_of_the_expanded_uncertainty(value: float, verdict: str) -> None:
    """Tolerance +-3.0, U = 1.0 at k = 2 (ISO 14253-1: proven within the limits shrunk by U)."""
    assert de.decide(value, 0.5, -3.0, 3.0).verdict == verdict


def test_one_sided_guard() -> None:
    assert de.decide(2.17, 0.5, -3.0, 3.0, guard="p95").verdict == "meets"
    assert de.decide(2.18, 0.5, -3.0, 3.0, guard="p95").verdict == "cannot tell"
    assert de.decide(0.4, 0.3, upper=1.6).verdict == "meets"


def test_conformance_probability() -> None:
    assert de.conformance_probability(2.5, 0.5, -3.0, 3.0) == pytest.approx(0.8413, abs=5e-5)  # Phi(1) - Phi(-11)
    assert de.conformance_probability(3.0 - 1.645 * 0.5, 0.5, upper=3.0) == pytest.approx(0.95, abs=2e-4)
    assert de.conformance_probability(2.0, 0.0, -3.0, 3.0) == 1.0


@given(st.floats(-10, 10), st.floats(0.01, 3), st.floats(0.1, 5), st.sampled_from(["U", "p95"]))
def test_a_proof_is_never_wrong_more_often_than_the_guard_says(
    value: float, u: float, limit: float, guard: de.Guard
) -> None:
    d = de.decide(value, u, -limit, limit, guard)
    bound = stats.norm.sf(GUARD_FACTORS[guard]) + 1e-6
    if d.verdict == "meets":
        assert 1.0 - d.probability <= 2 * bound
    if d.verdict == "fails":
        assert d.probability <= bound
    needed = de.largest_u_for_proof(value, -limit, limit, guard)
    # below the u that the proof needs there is a verdict, above it there is none
    assert de.decide(value, 0.999 * needed, -limit, limit, guard).verdict != "cannot tell"
    if needed > 1e-6 and needed * 1.001 * GUARD_FACTORS[guard] < limit:
        assert de.decide(value, 1.001 * needed, -limit, limit, guard).verdict == "cannot tell"


def test_noncentrality_of_baarda() -> None:
    assert rel.noncentrality() == pytest.approx(4.13, abs=0.005)  # 0.1 %, 80 %
    assert rel.noncentrality(0.05, 0.80) == pytest.approx(2.80, abs=0.005)


def test_detectable_bias_is_found_with_the_stated_power() -> None:
    """By its definition: a blunder of that size is found in 80 % of trials (levelling loop with unequal weights)."""
    rng = np.random.default_rng(11)
    design = np.array([[1, 0, 0], [-1, 1, 0], [0, -1, 1], [0, 0, 1], [0, 1, 0], [1, 0, -1.0]])
    sigma = np.array([1.0, 2.0, 1.0, 0.5, 1.5, 1.0])
    cov = _cov(design, sigma**2)
    r = 1.0 - np.einsum("ni,ij,nj->n", design, cov, design) / sigma**2
    assert r.sum() == pytest.approx(3.0)
    bias = rel.minimal_detectable_bias(sigma, r)
    gain = cov @ design.T / sigma**2
    trials = 3000
    found = np.zeros(6)
    for i in range(6):
        y = rng.normal(size=(trials, 6)) * sigma
        y[:, i] += bias[i]
        residuals = y - y @ gain.T @ design.T
        w = rel.normalized_residuals(residuals, sigma, r)
        found[i] = np.mean(np.abs(w[:, i]) > 3.29)  # at the 0.1 % level
    np.testing.assert_allclose(found, 0.80, atol=0.03)


def test_unchecked_observation_hides_any_blunder() -> None:
    assert rel.minimal_detectable_bias(1.0, 0.0) == np.inf


def test_a_further_observation_equals_adjusting_with_it() -> None:
    rng = np.random.default_rng(4)
    design = rng.normal(size=(12, 4))
    extra = rng.normal(size=(2, 4))
    before = _cov(design, np.full(12, 0.25))
    after = _cov(np.vstack([design, extra]), np.r_[np.full(12, 0.25), 0.04, 0.09])
    np.testing.assert_allclose(with_observations(before, extra, np.diag([0.04, 0.09])), after, atol=1e-12)
    information = extra.T @ np.diag([1 / 0.04, 1 / 0.09]) @ extra
    np.testing.assert_allclose(with_information(before, information), after, atol=1e-12)


def test_unknowns_of_their_own_are_eliminated() -> None:
    """Schur complement: the information on what is asked for is the inverse of its block of the joint inverse."""
    rng = np.random.default_rng(5)
    design, prior = rng.normal(size=(12, 7)), np.array([0.0, 4.0, 0.5])
    normal = design.T @ design
    joint = np.linalg.inv(normal + np.diag(np.append(np.zeros(4), prior)))
    np.testing.assert_allclose(np.linalg.inv(eliminated(normal, prior)), joint[:4, :4], atol=1e-12)


def test_few_degrees_of_freedom_widen_the_guard() -> None:
    """JCGM 100:2008, table G.2, the column for 95.45 %."""
    table = {1: 13.97, 2: 4.53, 3: 3.31, 4: 2.87, 5: 2.65, 8: 2.37, 10: 2.28, 20: 2.13, 50: 2.05}
    for dof, k in table.items():
        assert de.guard_factor("U", dof) == pytest.approx(k, abs=0.005)
        assert de.guard_factor("U", dof + 0.9) == de.guard_factor("U", dof), "truncated, G.6.4"
    assert de.guard_factor("U") == 2.0
    assert de.decide(0.0, 0.7, -1.5, 1.5).verdict == "meets"
    assert de.decide(0.0, 0.7, -1.5, 1.5, dof=5.0).verdict == "cannot tell"
    needed = de.largest_u_for_proof(0.0, -1.5, 1.5, dof=5.0)
    assert de.decide(0.0, 0.999 * needed, -1.5, 1.5, dof=5.0).verdict == "meets"
    assert de.conformance_probability(0.0, 0.7, -1.5, 1.5, dof=5.0) < de.conformance_probability(0.0, 0.7, -1.5, 1.5)
