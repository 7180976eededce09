"""How much an edge departs from the shape that is claimed, judged from its residuals.

A thousand points along a real edge do not average: the wood waves, a film lies on it, the light changes. What is left
after the fit is split into scatter between neighbours and a part that is correlated along the edge, with standard
deviation and correlation length found by restricted maximum likelihood (H. D. Patterson, R. Thompson, Biometrika 58
(1971) 545), which counts the degrees of freedom that the fit itself has taken. The correlated part then enters the
covariance of the fitted offsets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.shapes.constants import APART, CELLS, SECOND_DIFFERENCE, SHARES
from phototemplate.edges.shapes.contract import ChordPoints, EdgePoints, noise_of
from phototemplate.model import Array
from phototemplate.numerics.correlation import correlated_product


@dataclass(frozen=True)
class Roughness:
    """Variance components of the residuals."""

    noise_scale: float
    sd_mm: float
    length_mm: float


@dataclass(frozen=True)
class Cells:
    """Points averaged in consecutive groups along the edge, so that covariances stay small."""

    mean: Array
    """(b, N) averaging matrix; zero columns for points left out"""
    s: Array
    """(b,)"""
    count: Array
    """(b,)"""


def group_points(s: Array, used: Array, cells: int = CELLS) -> Cells:
    """Group the used points by position into at most ``cells`` groups of equal width; empty ones vanish."""
    index = np.flatnonzero(used)
    low, high = float(np.min(s[index])), float(np.max(s[index]))
    width = max(high - low, 1e-9) / cells
    cell = np.minimum(((s[index] - low) / width).astype(int), cells - 1)
    present, cell = np.unique(cell, return_inverse=True)
    count = np.bincount(cell).astype(float)
    mean = np.zeros((present.size, s.size))
    mean[cell, index] = 1.0 / count[cell]
    return Cells(mean, mean @ s, count)


def neighbour_scatter(residuals: Array, sd: Array, s: Array, used: Array) -> float:
    """Factor by which second differences of neighbouring residuals exceed what the stated noise allows, at least 1.

    Second differences take out any smooth departure; their variance is 6 times that of one point (1 + 4 + 1). The
    median of their absolute values keeps a few bad points from counting.
    """
    order = np.argsort(s[used], kind="stable")
    z = (residuals / sd)[used][order]
    if z.size < 12:
        return 1.0
    second = z[:-2] - 2.0 * z[1:-1] + z[2:]
    return max(1.0, MAD_TO_SD * float(np.median(np.abs(second))) / math.sqrt(SECOND_DIFFERENCE))


def estimate(
    residuals: Array,
    design: Array,
    known_cov: Array,
    cells: Cells,
    significance: float = 1.0,
) -> tuple[float, float]:
    """Standard deviation (mm) and correlation length (mm) of the correlated part; (0, 0) if not discernible.

    Parameters
    ----------
    residuals
        (b,) of the cells
    design
        (b, p) of the fitted parameters, whose degrees of freedom are spent
    known_cov
        (b, b) covariance already accounted for: own noise of the cells and shared error
    significance
        The gain of twice the restricted log-likelihood that the part has to bring: 1.0 keeps what is more likely real
        than not, since leaving it out is the dangerous mistake.
    """
    b, p = design.shape
    if b - p < 3:
        return 0.0, 0.0
    spread = float(np.sqrt(np.sum(residuals**2) / (b - p)))
    distance = np.abs(cells.s[:, None] - cells.s)
    span = float(np.max(distance))
    gap = span / max(b - 1, 1)
    lengths = [0.0, *(share * span for share in SHARES if share * span >= APART * gap)]
    sds = spread * np.geomspace(0.1, 3.0, 12)
    shapes = np.stack([np.exp(-distance / ell) if ell else np.diag(1.0 / cells.count) for ell in lengths])
    parts = (shapes[:, None] * (sds**2)[:, None, None]).reshape(-1, b, b)
    value = _restricted(residuals, design, known_cov + np.concatenate([np.zeros((1, b, b)), parts]))
    best = int(np.argmax(value[1:]))
    if value[1 + best] < value[0] + significance:
        return 0.0, 0.0
    return float(sds[best % sds.size]), lengths[best // sds.size]


def _restricted(y: Array, design: Array, cov: Array) -> Array:
    """Twice the restricted log-likelihood (g,) for covariances (g, b, b), constants dropped."""
    inverse = np.linalg.inv(cov)
    normal = design.T @ inverse @ design
    right = inverse @ y @ design
    fitted = np.einsum("gp,gp->g", right, np.linalg.solve(normal, right[:, :, None])[:, :, 0])
    out: Array = -np.linalg.slogdet(cov)[1] - np.linalg.slogdet(normal)[1] - (y @ inverse @ y - fitted)
    return out


def covariance_of_fit(
    points: EdgePoints, at: ChordPoints, residuals: Array, design: Array, gain: Array, used: Array
) -> tuple[Array, Roughness]:
    """Covariance (M, M) of ``gain @ o`` from the points' own noise and the edge's own roughness.

    ``residuals`` (N,) across the chord, ``design`` (N, p) of the fitted parameters, ``gain`` (M, N).
    """
    scale = neighbour_scatter(residuals, np.sqrt(at.variance), at.s, used)
    cells = group_points(at.s, used)
    known = noise_of(cells.mean, at, points.correlation_mm, scale)
    if points.influences_cov is not None and at.jac.shape[1]:
        jac = cells.mean @ at.jac
        known = known + jac @ points.influences_cov @ jac.T
    known = known + np.eye(cells.s.size) * (1e-9 + 1e-6 * float(np.mean(np.diag(known))))
    sd, length = estimate(cells.mean @ residuals, cells.mean @ design, known, cells)
    cov = noise_of(gain, at, points.correlation_mm, scale)
    if sd > 0.0 and length > 0.0:
        cov = cov + correlated_product(gain, at.s, np.full(at.s.size, sd), length)
    elif sd > 0.0:
        cov = cov + sd * sd * gain @ gain.T
    return cov, Roughness(scale, sd, length)
