"""Propagation of uncertainty after the GUM (JCGM 100:2008): influences, sensitivities, budget, coverage factor.

* law of propagation with correlations (GUM 5.2.2, eq. 13/16), and its second-order terms (note to GUM 5.1.2),
* type A evaluation from repeated readings (4.2) and type B from limits (4.3),
* effective degrees of freedom after Welch-Satterthwaite (G.4.1) and the coverage factor that follows (G.3),
* the budget of a quantity that depends on a joint vector of influences whose covariance is a sum of parts by cause.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from phototemplate.model import Array

K_REPORT = 2.0
"""Coverage factor of every U that is printed."""

EvaluationType = Literal["A", "B"]


@dataclass(frozen=True)
class Influence:
    """One input quantity of a measurement."""

    name: str
    value: float
    u: float
    """Standard uncertainty, in the unit of ``value``"""
    dof: float = math.inf
    kind: EvaluationType = "B"


@dataclass(frozen=True)
class BudgetLine:
    """What one influence or cause contributes."""

    name: str
    u: float
    """Contribution to the standard uncertainty of the result, ``|c_i| u_i``"""
    share: float
    """Share of the variance. With correlated inputs the shares need not sum to one."""
    sensitivity: float = math.nan
    u_input: float = math.nan
    dof: float = math.inf
    kind: EvaluationType = "B"


@dataclass(frozen=True)
class Budget:
    """Result of a propagation."""

    value: float
    u: float
    """Combined standard uncertainty"""
    dof: float
    """Effective degrees of freedom (inf where all inputs are)"""
    lines: tuple[BudgetLine, ...]
    """Largest contribution first"""

    def k(self, probability: float = 0.95) -> float:
        """Coverage factor for a coverage probability; the degrees of freedom are truncated to an integer (GUM
        G.6.4)."""
        return coverage_factor(probability, math.floor(self.dof) if math.isfinite(self.dof) else self.dof)

    def expanded(self, probability: float | None = None) -> float:
        """Expanded uncertainty: at k = 2 without ``probability``."""
        return self.u * (K_REPORT if probability is None else self.k(probability))

    def u_of_kind(self, kind: EvaluationType) -> float:
        """Root sum of squares of the type A or type B contributions (uncorrelated inputs)."""
        return math.sqrt(sum(line.u**2 for line in self.lines if line.kind == kind))


def coverage_factor(probability: float, dof: float = math.inf) -> float:
    """Two-sided coverage factor of Student's distribution, e.g. 2.92 for 99 % and 16 degrees of freedom (GUM table
    G.2)."""
    tail = 0.5 * (1.0 + probability)
    return float(stats.norm.ppf(tail) if math.isinf(dof) else stats.t.ppf(tail, dof))


def effective_dof(contributions: ArrayLike, dof: ArrayLike) -> float:
    """Welch-Satterthwaite (GUM eq. G.2b): ``u^4 / sum(u_i^4 / nu_i)`` for independent contributions ``u_i``."""
    u, nu = np.asarray(contributions, float), np.asarray(dof, float)
    lower = float(np.sum(u**4 / nu))
    return float(np.sum(u**2)) ** 2 / lower if lower > 0.0 else math.inf


def u_rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known to lie within +- ``half_width``, all values alike (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)


def u_triangular(half_width: float) -> float:
    """As :func:`u_rectangular` with the middle more likely, falling linearly to the limits (GUM 4.3.9)."""
    return half_width / math.sqrt(6.0)


def u_arcsine(half_width: float) -> float:
    """Standard uncertainty of a sine-like cycle of amplitude ``half_width`` (GUM H.1.3.4)."""
    return half_width / math.sqrt(2.0)


def mean_of_readings(readings: ArrayLike) -> tuple[Array, Array, int]:
    """Type A evaluation of simultaneous readings (n, m): means (m,), covariance of the means (m, m), degrees of freedom
    (GUM 4.2.3 and 5.2.3). One-dimensional input counts as m = 1."""
    r = np.asarray(readings, float)
    r = r[:, None] if r.ndim == 1 else r
    n = r.shape[0]
    d = r - r.mean(axis=0)
    return r.mean(axis=0), d.T @ d / (n * (n - 1)), n - 1


def gradient(function: Callable[[Array], ArrayLike], x: ArrayLike, steps: ArrayLike) -> Array:
    """Central-difference Jacobian (m, n) of ``function`` at ``x`` (n,) with the given steps (n,). A scalar counts
    as m = 1."""
    x0, h = np.asarray(x, float), np.broadcast_to(np.asarray(steps, float), np.shape(x))
    columns = []
    for i in range(x0.size):
        e = np.zeros_like(x0)
        e[i] = h[i]
        difference = np.atleast_1d(np.asarray(function(x0 + e), float)) - np.atleast_1d(
            np.asarray(function(x0 - e), float)
        )
        columns.append(difference / (2.0 * h[i]))
    return np.stack(columns, axis=1)


def propagate_cov(jacobian: ArrayLike, cov: ArrayLike) -> Array:
    """``J C J^T`` for any number of outputs (JCGM 102, eq. 3)."""
    j = np.atleast_2d(np.asarray(jacobian, float))
    out: Array = j @ np.asarray(cov, float) @ j.T
    return out


def propagate(
    function: Callable[[Array], float],
    influences: Sequence[Influence],
    correlation: ArrayLike | None = None,
    second_order: bool = False,
) -> Budget:
    """Combine influences to the standard uncertainty of ``function(values)``.

    Parameters
    ----------
    function
        Measurement model; takes the values (n,) in the order of ``influences``.
    correlation
        (n, n) correlation of the inputs, the unit matrix without.
    second_order
        Add the terms of second order of the note to GUM 5.1.2 (independent inputs).

    The sensitivities are central differences over a step of ``u/10``, small enough that cubic terms do not matter and
    large enough for rounding. Degrees of freedom by Welch-Satterthwaite; with correlated inputs of finite degrees of
    freedom that formula has no standing, so the smallest one is taken.
    """
    x = np.array([i.value for i in influences])
    u = np.array([i.u for i in influences])
    dof = np.array([i.dof for i in influences])
    steps = np.where(u > 0.0, 0.1 * u, 1e-6 * np.maximum(np.abs(x), 1.0))
    c = gradient(function, x, steps)[0]
    r = np.eye(x.size) if correlation is None else np.asarray(correlation, float)
    parts = c * u
    variance = float(parts @ r @ parts)
    if second_order:
        variance += float(np.sum(second_order_terms(function, x, u)))
    off_diagonal = not np.allclose(r, np.diag(np.diag(r)))
    nu = float(np.min(dof)) if off_diagonal else effective_dof(parts, dof) * (variance / float(parts @ r @ parts)) ** 2
    lines = [
        BudgetLine(
            i.name,
            abs(float(p)),
            float(p * (r @ parts)[n]) / variance if variance > 0 else 0.0,
            float(ci),
            i.u,
            i.dof,
            i.kind,
        )
        for n, (i, p, ci) in enumerate(zip(influences, parts, c, strict=True))
    ]
    lines.sort(key=lambda line: -line.u)
    return Budget(float(function(x)), math.sqrt(max(variance, 0.0)), nu, tuple(lines))


def second_order_terms(function: Callable[[Array], float], x: Array, u: Array) -> Array:
    """(n, n) second-order contributions to the variance for independent inputs with symmetric distributions:
    ``(f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2`` (note to GUM 5.1.2), by central differences over ``u``."""
    n = x.size
    out = np.zeros((n, n))
    h = np.where(u > 0.0, u, 1.0)

    def at(**shift: float) -> float:
        point = x.copy()
        for key, amount in shift.items():
            point[int(key[1:])] += amount
        return function(point)

    f0 = function(x)
    for i in range(n):
        for j in range(n):
            if u[i] == 0.0 or u[j] == 0.0:
                continue
            a, b = f"p{i}", f"p{j}"
            first = (at(**{a: h[i]}) - at(**{a: -h[i]})) / (2 * h[i])
            if i == j:
                f_ij = (at(**{a: h[i]}) - 2 * f0 + at(**{a: -h[i]})) / h[i] ** 2
                f_ijj = (at(**{a: 2 * h[i]}) - 2 * at(**{a: h[i]}) + 2 * at(**{a: -h[i]}) - at(**{a: -2 * h[i]})) / (
                    2 * h[i] ** 3
                )
            else:
                pp, pm = at(**{a: h[i], b: h[j]}), at(**{a: h[i], b: -h[j]})
                mp, mm = at(**{a: -h[i], b: h[j]}), at(**{a: -h[i], b: -h[j]})
                f_ij = (pp - pm - mp + mm) / (4 * h[i] * h[j])
                second_up = (pp - 2 * at(**{a: h[i]}) + pm) / h[j] ** 2
                second_down = (mp - 2 * at(**{a: -h[i]}) + mm) / h[j] ** 2
                f_ijj = (second_up - second_down) / (2 * h[i])
            out[i, j] = (0.5 * f_ij**2 + first * f_ijj) * u[i] ** 2 * u[j] ** 2
    return out


def budget_by_cause(
    sensitivity: ArrayLike, parts: Mapping[str, Array], noise_variance: float = 0.0, noise_name: str = "edge noise"
) -> tuple[tuple[str, float], ...]:
    """Budget of one quantity over the causes of a joint covariance.

    Parameters
    ----------
    sensitivity
        (K,) gradient of the quantity with respect to the influences.
    parts
        Cause -> (K, K); the parts sum to the influences' covariance (``model.Influences.parts``).
    noise_variance
        Variance of the quantity's own independent noise.

    Returns
    -------
    (cause, standard uncertainty) pairs, largest first. Their root sum of squares is the combined standard uncertainty,
    exactly, since the parts sum to the covariance.
    """
    a = np.asarray(sensitivity, float)
    lines = [(name, math.sqrt(max(float(a @ part @ a), 0.0))) for name, part in parts.items()]
    lines.append((noise_name, math.sqrt(max(noise_variance, 0.0))))
    return tuple(sorted(lines, key=lambda line: -line[1]))
