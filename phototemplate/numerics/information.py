"""What further observations would do to a covariance, known before anybody makes them.

Observations ``l = A x + B y + e`` with whitened derivatives A by what is asked for and B by unknowns of their own (prior
information P) bring the information ``N = A^T A - A^T B (B^T B + P)^-1 B^T A`` on x, and turn its covariance C into
``(I + C N)^-1 C``, whatever they will read (normal equations with the own unknowns eliminated; E. M. Mikhail, F. Ackermann,
Observations and Least Squares, 1976, chapter 11).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from phototemplate.model import Array


def eliminated(normal: Array, prior: Array) -> Array:
    """(k, k) information on the first k unknowns of a normal matrix (k + p, k + p), its last p eliminated.

    ``prior`` (p,) is the information that is known of these beforehand, each by itself.
    """
    k = len(normal) - len(prior)
    own = normal[k:, k:] + np.diag(prior)
    scale = 1.0 / np.sqrt(np.maximum(np.diag(own), np.finfo(float).tiny))
    cross = scale[:, None] * normal[k:, :k]
    out: Array = normal[:k, :k] - cross.T @ np.linalg.solve(own * np.outer(scale, scale), cross)
    return out


def with_information(cov: Array, information: Array) -> Array:
    """Covariance (k, k) after observations that bring ``information`` (k, k); rows of zero variance stay zero."""
    sd = np.sqrt(np.diag(cov))
    sd = np.where(sd > 0, sd, 1.0)
    both = np.outer(sd, sd)
    correlation = cov / both
    after = np.linalg.solve(np.eye(len(cov)) + correlation @ (information * both), correlation)
    return np.asarray(0.5 * (after + after.T) * both)


def with_observations(cov: ArrayLike, design: ArrayLike, observation_cov: ArrayLike) -> Array:
    """Covariance after observations ``l = A x + e`` (m, n) with covariance (m, m) of e: ``C - C A^T (A C A^T + S)^-1 A C``."""
    c, a = np.asarray(cov, float), np.atleast_2d(np.asarray(design, float))
    s = np.atleast_2d(np.asarray(observation_cov, float))
    ca = c @ a.T
    out: Array = c - ca @ np.linalg.solve(a @ ca + s, ca.T)
    return 0.5 * (out + out.T)


def gains(cov: Array, gradient: Array, rows: Array, u: float) -> Array:
    """(m,) by how much each of m single observations ``rows`` (m, n) of standard uncertainty ``u``, made alone, would lower the
    variance of a quantity with ``gradient`` (n,)."""
    with_gradient = rows @ (cov @ gradient)
    own = np.einsum("mn,nk,mk->m", rows, cov, rows)
    out: Array = with_gradient**2 / (own + u**2)
    return out
