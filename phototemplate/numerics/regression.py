"""Linear least squares with covariance, by orthogonal decomposition."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg

from phototemplate.model import Array


@dataclass(frozen=True)
class LinearFit:
    """Solution of ``y = X b + e``."""

    coefficients: Array
    """(p,)"""
    cov: Array
    """(p, p); from the residuals where no covariance of the observations was given"""
    residuals: Array
    """(n,) observed minus fitted, in the unit of y"""
    s: float
    """Residual standard deviation (of unit weight where a covariance was given)"""
    dof: int

    @property
    def u(self) -> Array:
        """(p,) standard uncertainties"""
        return np.sqrt(np.diag(self.cov))


def linear_fit(design: ArrayLike, y: ArrayLike, cov: ArrayLike | None = None) -> LinearFit:
    """Generalised least squares by QR with column scaling (never by the normal equations: Longley's data).

    Parameters
    ----------
    design
        X (n, p)
    cov
        Covariance of y, (n,) variances or (n, n); then the covariance of the result follows from it alone, not from the
        scatter of the residuals. Without it the observations count alike and their variance is estimated (n > p).
    """
    x, obs = np.asarray(design, float), np.asarray(y, float)
    n, p = x.shape
    white_x, white_y = x, obs
    if cov is not None:
        c = np.asarray(cov, float)
        if c.ndim == 1:
            white_x, white_y = x / np.sqrt(c)[:, None], obs / np.sqrt(c)
        else:
            lower = np.linalg.cholesky(c)
            white_x = linalg.solve_triangular(lower, x, lower=True)
            white_y = linalg.solve_triangular(lower, obs, lower=True)
    scale = np.linalg.norm(white_x, axis=0)
    q, r = np.linalg.qr(white_x / scale)
    b = linalg.solve_triangular(r, q.T @ white_y) / scale
    # one step of refinement recovers the digits that the first solution loses on ill-conditioned data
    b = b + linalg.solve_triangular(r, q.T @ (white_y - white_x @ b)) / scale
    inverse = linalg.solve_triangular(r, np.eye(p)) / scale[:, None]
    unscaled = inverse @ inverse.T
    chi2 = float(np.sum((white_y - white_x @ b) ** 2))
    dof = n - p
    s = math.sqrt(chi2 / dof) if dof > 0 else math.nan
    return LinearFit(b, unscaled if cov is not None else unscaled * s * s, obs - x @ b, s, dof)
