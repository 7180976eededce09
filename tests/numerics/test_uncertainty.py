"""GUM worked examples (JCGM 100:2008, annex H) and two independent propagation libraries."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import uncertainties
from GTC import result, rp, ureal
from uncertainties import umath

from phototemplate.numerics import uncertainty as un


def end_gauge() -> un.Budget:
    """GUM H.1, calibration of a 50 mm end gauge, in nm. The temperature is the sum of a mean and a cycle."""
    influences = [
        un.Influence("ls", 50_000_623, 25, 18),
        un.Influence("d: readings", 215, 5.8, 24, "A"),
        un.Influence("d: random", 0, 3.9, 5),
        un.Influence("d: systematic", 0, 6.7, 8),
        un.Influence("alpha_s", 11.5e-6, un.u_rectangular(2e-6)),
        un.Influence("d alpha", 0, un.u_rectangular(1e-6), 50),
        un.Influence("d theta", 0, un.u_rectangular(0.05), 2),
        un.Influence("theta mean", -0.1, 0.2),
        un.Influence("theta cycle", 0, un.u_arcsine(0.5)),
    ]

    def length(x: np.ndarray) -> float:
        ls, d1, d2, d3, alpha_s, d_alpha, d_theta, t1, t2 = x
        return float(ls + d1 + d2 + d3 - ls * (d_alpha * (t1 + t2) + alpha_s * d_theta))

    assert un.propagate(length, influences, second_order=True).u == pytest.approx(33.81, abs=0.02)  # GUM H.1.7: 34 nm
    return un.propagate(length, influences)


def test_gum_h1_end_gauge() -> None:
    b = end_gauge()
    assert b.value == pytest.approx(50_000_838, abs=0.5)
    assert b.u == pytest.approx(31.666, abs=0.01)  # GUM: 32 nm
    assert b.dof == pytest.approx(16.75, abs=0.02)  # GUM G.4.1 truncates to 16
    assert b.k(0.99) == pytest.approx(2.92, abs=0.005)
    assert b.expanded(0.99) == pytest.approx(93, abs=1)
    contributions = {line.name: line.u for line in b.lines}
    assert contributions["ls"] == pytest.approx(25)
    assert contributions["d theta"] == pytest.approx(16.599, abs=0.002)
    assert contributions["d alpha"] == pytest.approx(2.88679, abs=1e-4)
    assert contributions["theta mean"] == pytest.approx(0, abs=1e-4)  # first-order sensitivity is zero
    assert [line.name for line in b.lines][:2] == ["ls", "d theta"]
    assert sum(line.share for line in b.lines) == pytest.approx(1)
    assert b.u_of_kind("A") == pytest.approx(5.8)
    assert math.hypot(b.u_of_kind("A"), b.u_of_kind("B")) == pytest.approx(b.u)


def test_gum_h2_simultaneous_readings() -> None:
    volt = [5.007, 4.994, 5.005, 4.990, 4.999]
    ampere = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
    phase = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
    mean, cov, dof = un.mean_of_readings(np.column_stack([volt, ampere, phase]))
    assert dof == 4

    def impedance(x: np.ndarray) -> np.ndarray:
        v, i, p = x
        return np.array([v / i * np.cos(p), v / i * np.sin(p), v / i])

    out = un.propagate_cov(un.gradient(impedance, mean, 0.01 * np.sqrt(np.diag(cov))), cov)
    u = np.sqrt(np.diag(out))
    r = out / np.outer(u, u)
    # GUM tables H.3 and H.4
    np.testing.assert_allclose(impedance(mean), [127.732, 219.847, 254.260], atol=6e-4)
    np.testing.assert_allclose(u, [0.071, 0.2956, 0.236], atol=6e-4)
    np.testing.assert_allclose([r[0, 1], r[0, 2], r[1, 2]], [-0.588, -0.485, 0.993], atol=6e-4)


def test_gum_h3_prediction_needs_the_covariance() -> None:
    """GUM H.3.3: the correction of the thermometer at 30 degC from the line's parameters with their correlation."""
    line = [un.Influence("y1", -0.1712037901, 0.0028775978, 9), un.Influence("y2", 0.0021826977, 0.0006679388, 9)]
    r = [[1, -0.9304296031], [-0.9304296031, 1]]
    b = un.propagate(lambda x: float(x[0] + 10 * x[1]), line, r)
    assert b.value == pytest.approx(-0.1494, abs=5e-5)
    assert b.u == pytest.approx(0.0041385958, abs=1e-7)
    assert b.k(0.95) == pytest.approx(2.26216, abs=1e-5)
    assert un.propagate(lambda x: float(x[0] + 10 * x[1]), line).u == pytest.approx(0.0073, abs=1e-4)


def test_agrees_with_gtc() -> None:
    """GTC (Measurement Standards Laboratory of New Zealand): diagonal of two lengths with degrees of freedom."""
    a, b, e = ureal(610.0, 0.3, 7, label="a"), ureal(1830.0, 0.5, 12, label="b"), ureal(1.0, 2e-4, label="scale")
    y = result(e * (a**2 + b**2) ** 0.5)
    ours = un.propagate(
        lambda x: float(x[2] * np.hypot(x[0], x[1])),
        [un.Influence("a", 610.0, 0.3, 7), un.Influence("b", 1830.0, 0.5, 12), un.Influence("scale", 1.0, 2e-4)],
    )
    assert ours.value == pytest.approx(y.x)
    assert ours.u == pytest.approx(y.u, rel=1e-6)
    assert ours.dof == pytest.approx(y.df, rel=1e-5)
    theirs = {line.label: line.u for line in rp.budget(y)}
    for line in ours.lines:
        assert line.u == pytest.approx(theirs[line.name], rel=1e-6)


def test_agrees_with_uncertainties_on_a_correlated_corner() -> None:
    """The corner of two lines, slopes and offsets jointly correlated, and a length from it."""
    rng = np.random.default_rng(5)
    root = rng.normal(size=(4, 4)) * np.array([0.3, 0.002, 0.4, 0.003])[:, None]
    cov = root @ root.T
    mean = np.array([10.0, 0.02, -4.0, 1.1])

    def length(o1: Any, m1: Any, o2: Any, m2: Any, sqrt: Any) -> Any:
        x = (o2 - o1) / (m1 - m2)
        y = o1 + m1 * x
        return sqrt((x - 700.0) ** 2 + (y - 20.0) ** 2)

    o1, m1, o2, m2 = uncertainties.correlated_values(mean, cov)
    theirs = length(o1, m1, o2, m2, umath.sqrt)
    jac = un.gradient(lambda x: length(x[0], x[1], x[2], x[3], math.sqrt), mean, 1e-3 * np.sqrt(np.diag(cov)))
    assert math.sqrt(un.propagate_cov(jac, cov)[0, 0]) == pytest.approx(theirs.std_dev, rel=1e-6)
    u = np.sqrt(np.diag(cov))
    influences = [un.Influence(str(i), m, s) for i, (m, s) in enumerate(zip(mean, u, strict=True))]
    # the step of u/10 leaves a third-order remainder
    ours = un.propagate(lambda x: length(x[0], x[1], x[2], x[3], math.sqrt), influences, cov / np.outer(u, u))
    assert ours.u == pytest.approx(theirs.std_dev, rel=1e-4)


def test_coverage_factors_of_the_gum_table() -> None:
    """GUM table G.2 (values of t_p(nu), here from memory)."""
    for probability, dof, k in [
        (0.95, 1, 12.71),
        (0.95, 10, 2.23),
        (0.9545, 20, 2.13),
        (0.99, 5, 4.03),
        (0.9973, 50, 3.16),
    ]:
        assert un.coverage_factor(probability, dof) == pytest.approx(k, abs=0.006)
    assert un.coverage_factor(0.9545) == pytest.approx(2.0, abs=1e-3)


def test_type_b_standard_uncertainties() -> None:
    """GUM 4.3.7, 4.3.9 and H.1.3.4: a / sqrt(3), a / sqrt(6), a / sqrt(2)."""
    assert un.u_rectangular(1e-6) == pytest.approx(5.7735e-7, rel=1e-5)
    assert un.u_triangular(1.0) == pytest.approx(0.408248, rel=1e-5)
    assert math.hypot(0.2, un.u_arcsine(0.5)) == pytest.approx(0.40620, abs=1e-5)


def test_budget_by_cause_sums_to_the_covariance() -> None:
    rng = np.random.default_rng(2)
    parts = {name: (m := rng.normal(size=(5, 5))) @ m.T for name in ("sightings", "bar", "gap")}
    a = rng.normal(size=5)
    budget = un.budget_by_cause(a, parts, noise_variance=0.7)
    total = a @ sum(parts.values()) @ a + 0.7
    assert sum(u**2 for _, u in budget) == pytest.approx(total)
    assert [u for _, u in budget] == sorted((u for _, u in budget), reverse=True)
