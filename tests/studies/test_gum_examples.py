"""Worked examples of the GUM (JCGM 100:2008, annex H) and two libraries of propagation against what the product computes with:
exact gradients, the budget's degrees of freedom, the coverage factor."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
import uncertainties
from GTC import result, rp, ureal
from uncertainties import umath

from phototemplate.model import Array
from phototemplate.numerics import montecarlo
from phototemplate.numerics import uncertainty as un
from phototemplate.output.assessment import BudgetPart, Evaluation
from phototemplate.studies.budget import dof_and_coverage
from phototemplate.template.gradients import Dual, Vec, atan2, cos, sin, sqrt

Input = tuple[str, float, float, float, Evaluation]
"""Name, value, standard uncertainty, degrees of freedom, type"""


def inputs(values: Sequence[float]) -> list[Dual]:
    """Independent variables."""
    return [Dual(v, row) for v, row in zip(values, np.eye(len(values)), strict=True)]


def budget(function: Callable[..., Dual], given: Sequence[Input]) -> tuple[Dual, list[BudgetPart]]:
    """Value with its gradient, and the contributions of independent inputs."""
    found = function(*inputs([value for _, value, *_ in given]))
    parts = [
        BudgetPart(name, kind, abs(float(g)) * u, dof)
        for (name, _, u, dof, kind), g in zip(given, found.gradient(len(given)), strict=True)
    ]
    return found, parts


def combined(parts: Sequence[BudgetPart], kind: str = "AB") -> float:
    return math.sqrt(sum(p.u_mm**2 for p in parts if p.evaluation in kind))


END_GAUGE: tuple[Input, ...] = (
    ("ls", 50_000_623, 25, 18, "B"),
    ("d: readings", 215, 5.8, 24, "A"),
    ("d: random", 0, 3.9, 5, "B"),
    ("d: systematic", 0, 6.7, 8, "B"),
    ("alpha_s", 11.5e-6, 2e-6 / math.sqrt(3), math.inf, "B"),
    ("d alpha", 0, 1e-6 / math.sqrt(3), 50, "B"),
    ("d theta", 0, 0.05 / math.sqrt(3), 2, "B"),
    ("theta mean", -0.1, 0.2, math.inf, "B"),
    ("theta cycle", 0, 0.5 / math.sqrt(2), math.inf, "B"),
)
"""GUM H.1, calibration of a 50 mm end gauge, in nm. The temperature is the sum of a mean and a cycle."""


def gauge_length(*given: Dual) -> Dual:
    ls, d1, d2, d3, alpha_s, d_alpha, d_theta, t1, t2 = given
    return ls + d1 + d2 + d3 - ls * (d_alpha * (t1 + t2) + alpha_s * d_theta)


def test_gum_h1_end_gauge() -> None:
    length, parts = budget(gauge_length, END_GAUGE)
    assert length.value == pytest.approx(50_000_838, abs=0.5)
    assert combined(parts) == pytest.approx(31.666, abs=0.01)  # GUM: 32 nm
    dof, k99 = dof_and_coverage(parts, 0.99)
    assert dof == pytest.approx(16.75, abs=0.02)  # GUM G.4.1 truncates to 16
    assert k99 == pytest.approx(2.92, abs=0.005)
    assert k99 * combined(parts) == pytest.approx(93, abs=1)
    contributions = {p.cause: p.u_mm for p in parts}
    assert contributions["ls"] == pytest.approx(25)
    assert contributions["d theta"] == pytest.approx(16.599, abs=0.002)
    assert contributions["d alpha"] == pytest.approx(2.88679, abs=1e-4)
    assert contributions["theta mean"] == pytest.approx(0, abs=1e-4)  # first-order sensitivity is zero
    assert combined(parts, "A") == pytest.approx(5.8)


def test_gum_h1_beyond_the_first_order() -> None:
    """GUM H.1.7: the terms of second order bring u from 32 to 34 nm; draws of the inputs have them all."""
    values, u = (np.array(column, float) for column in list(zip(*END_GAUGE, strict=True))[1:3])
    draws = montecarlo.correlated_draws(np.random.default_rng(1), np.zeros(len(u)), np.diag(u**2), 400_000) + values
    ls, d1, d2, d3, alpha_s, d_alpha, d_theta, t1, t2 = draws.T
    lengths = ls + d1 + d2 + d3 - ls * (d_alpha * (t1 + t2) + alpha_s * d_theta)
    assert montecarlo.summarised(lengths).u == pytest.approx(33.81, abs=0.15)


def test_gum_h2_simultaneous_readings() -> None:
    readings = np.column_stack(
        [
            [5.007, 4.994, 5.005, 4.990, 4.999],
            [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
            [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
        ]
    )
    v, i, p = inputs(readings.mean(axis=0).tolist())
    impedance = [v / i * cos(p), v / i * sin(p), v / i]
    jac = np.array([z.gradient(3) for z in impedance])
    out = jac @ (np.cov(readings.T) / 5) @ jac.T
    u = np.sqrt(np.diag(out))
    r = out / np.outer(u, u)
    # GUM tables H.3 and H.4
    np.testing.assert_allclose([z.value for z in impedance], [127.732, 219.847, 254.260], atol=6e-4)
    np.testing.assert_allclose(u, [0.071, 0.2956, 0.236], atol=6e-4)
    np.testing.assert_allclose([r[0, 1], r[0, 2], r[1, 2]], [-0.588, -0.485, 0.993], atol=6e-4)
    # the angle and the length of the impedance are the phase and the ratio again
    assert atan2(impedance[1], impedance[0]).gradient(3) == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    assert Vec(impedance[0], impedance[1]).norm().gradient(3) == pytest.approx(impedance[2].gradient(3))


def test_agrees_with_gtc() -> None:
    """GTC (Measurement Standards Laboratory of New Zealand): diagonal of two lengths with degrees of freedom."""
    a, b, e = ureal(610.0, 0.3, 7, label="a"), ureal(1830.0, 0.5, 12, label="b"), ureal(1.0, 2e-4, label="scale")
    theirs = result(e * (a**2 + b**2) ** 0.5)
    given: tuple[Input, ...] = (
        ("a", 610.0, 0.3, 7, "A"), ("b", 1830.0, 0.5, 12, "A"), ("scale", 1.0, 2e-4, math.inf, "B"),
    )  # fmt: skip
    ours, parts = budget(lambda a, b, e: e * sqrt(a * a + b * b), given)
    assert ours.value == pytest.approx(theirs.x)
    assert combined(parts) == pytest.approx(theirs.u, rel=1e-12)
    assert dof_and_coverage(parts)[0] == pytest.approx(theirs.df, rel=1e-9)
    lines = {line.label: line.u for line in rp.budget(theirs)}
    assert {p.cause: p.u_mm for p in parts} == pytest.approx(lines, rel=1e-12)


def test_agrees_with_uncertainties_on_a_correlated_corner() -> None:
    """The corner of two lines, slopes and offsets jointly correlated, and a length from it."""
    rng = np.random.default_rng(5)
    root = rng.normal(size=(4, 4)) * np.array([0.3, 0.002, 0.4, 0.003])[:, None]
    cov: Array = root @ root.T
    mean = [10.0, 0.02, -4.0, 1.1]
    o1, m1, o2, m2 = uncertainties.correlated_values(mean, cov)
    x = (o2 - o1) / (m1 - m2)
    theirs = umath.sqrt((x - 700.0) ** 2 + (o1 + m1 * x - 20.0) ** 2)
    a, b, c, d = inputs(mean)
    along = (c - a) / (b - d)
    g = Vec(along - 700.0, a + b * along - 20.0).norm().gradient(4)
    assert math.sqrt(g @ cov @ g) == pytest.approx(theirs.std_dev, rel=1e-9)


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
