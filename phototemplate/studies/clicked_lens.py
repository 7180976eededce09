"""Lens of a photo that was only clicked in: what its file says of it, what a profile knows, or what lenses are like.

In units of the principal distance a point at distance r from the axis is drawn at r times

    1 + p (atan(r) / r - 1) + k1 r2 + k2 r4 + k3 r6.

``p`` says what the lens was designed to draw: 0 keeps straight lines straight (rectilinear), 1 makes distances from the middle
proportional to angles (equidistant), as cameras with a wide view do; lenses in between exist (Kannala, Brandt, IEEE PAMI 28
(2006) 1335-1340 list the designs). The polynomial is Brown's, as in ``numerics.lens``. What is known of it is how far it bends
lines at two places, not its coefficients: these are large and of opposite sign, and with priors of their own they would allow
several times the bending that any lens shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array, Camera, PhotoMeta
from phototemplate.numerics import lens
from phototemplate.studies.constants import (
    CLICKED_CENTRE_U_SHARE,
    FOCAL_GUESS_SHARE,
    FOCAL_GUESS_U,
    FOCAL_U,
    FULL_FRAME_DIAGONAL_MM,
    INNER,
    LEAST_BEND_U,
    LENS_SERIES_BELOW,
    LONGEST_RAY_STEP,
    MOST_R2,
    PROJECTION_GUESS,
    PROJECTION_WIDE_U,
    RADIAL_GUESS_U,
    RADIAL_R,
    RADIAL_RANGE,
    RADIAL_U,
    RAY_STEPS,
    WIDE_MM,
)
from phototemplate.wording.phrases import Phrase

LENS = 6
"""Unknowns of a lens: principal distance, principal point (2), design p, bending at the corner and at :data:`INNER` of the way
to it; each is relative to what is known of it, in units of its standard uncertainty."""
LENS_UNKNOWN = Phrase("lens-unknown")
_EVEN = np.array([1, 2, 3])


@dataclass(frozen=True)
class ClickedLens:
    """What is known of a lens before anything is clicked."""

    focal_px: float
    u_focal: float
    """Relative, of its logarithm"""
    centre_px: Array
    """(2,)"""
    u_centre_px: float
    radial: Array
    """(3,) k1, k2, k3"""
    bends: Array
    """(3, 2) their change with the two bendings, each in units of its uncertainty"""
    design: tuple[float, float] = (0.0, 0.0)
    """p and its standard uncertainty"""

    def focal(self, own: Array) -> float:
        """px."""
        return self.focal_px * math.exp(own[0] * self.u_focal)

    def project(self, own: Array, ray: Array) -> tuple[Array, Array, Array]:
        """(n, 2) px of ideal image points ``ray`` (n, 2) in units of the principal distance, and the derivatives with respect
        to ``own`` (n, 2, 6) and to ``ray`` (n, 2, 2)."""
        f = self.focal(own)
        r2 = np.minimum(np.sum(ray**2, axis=1), MOST_R2)
        p = self.design[0] + own[3] * self.design[1]
        shape, d_shape = _equidistant(r2)
        powers = r2[:, None] ** _EVEN
        k = self.radial + self.bends @ own[4:]
        factor = (1.0 + p * shape + powers @ k)[:, None]
        slope = p * d_shape + (_EVEN * r2[:, None] ** (_EVEN - 1)) @ k
        off = f * ray * factor
        d_own = np.zeros((len(ray), 2, LENS))
        d_own[:, :, 0] = off * self.u_focal
        d_own[:, 0, 1] = d_own[:, 1, 2] = self.u_centre_px
        d_own[:, :, 3] = f * ray * (self.design[1] * shape)[:, None]
        d_own[:, :, 4:] = f * ray[:, :, None] * (powers @ self.bends)[:, None, :]
        d_ray = f * (factor[:, :, None] * np.eye(2) + 2.0 * slope[:, None, None] * ray[:, :, None] * ray[:, None, :])
        return off + self.centre_px + own[1:3] * self.u_centre_px, d_own, d_ray

    def rays(self, own: Array, uv_px: Array) -> Array:
        """(n, 2) ideal image points of pixels, by Newton's method on :meth:`project`."""
        ray = np.clip((uv_px - self.centre_px) / self.focal(own), -math.sqrt(MOST_R2), math.sqrt(MOST_R2))
        for _ in range(RAY_STEPS):
            uv, _, d_ray = self.project(own, ray)
            step = np.linalg.solve(d_ray, (uv_px - uv)[:, :, None])[:, :, 0]
            step *= np.minimum(1.0, LONGEST_RAY_STEP / np.maximum(np.linalg.norm(step, axis=1), 1e-12))[:, None]
            ray = ray + step
            if np.abs(step).max(initial=0.0) < 1e-10:
                break
        return np.asarray(ray)


def _equidistant(r2: Array) -> tuple[Array, Array]:
    """atan(r) / r - 1 and its derivative by r2."""
    r = np.sqrt(np.maximum(r2, LENS_SERIES_BELOW))
    ratio = np.arctan(r) / r
    near = r2 < LENS_SERIES_BELOW
    value = np.where(near, -r2 / 3.0, ratio - 1.0)
    return value, np.where(near, -1.0 / 3.0, (1.0 / (1.0 + r * r) - ratio) / (2.0 * r * r))


def expected_lens(meta: PhotoMeta, profile: Camera | None = None) -> ClickedLens:
    """From the camera's profile, else from what the file says, else from what any camera may be."""
    if profile is not None:
        return _of_profile(profile)
    size = np.array(meta.size_px, float)
    centre, u_centre = (size - 1.0) / 2.0, CLICKED_CENTRE_U_SHARE * float(size.max())
    half = float(np.hypot(*size)) / 2.0
    if not meta.focal35_mm:
        f = FOCAL_GUESS_SHARE * float(size.max())
        bends = _bends((half / f) ** 2, np.diag(RADIAL_GUESS_U))
        return ClickedLens(f, FOCAL_GUESS_U, centre, u_centre, np.zeros(3), bends, PROJECTION_GUESS)
    f = 2.0 * meta.focal35_mm * half / FULL_FRAME_DIAGONAL_MM
    corner = (half / f) ** 2
    usual = RADIAL_U * float(np.clip(corner / RADIAL_R**2, *RADIAL_RANGE))
    wide = meta.focal35_mm < WIDE_MM
    return ClickedLens(
        f, FOCAL_U, centre, u_centre, np.zeros(3), _bends(corner, np.diag([usual, usual])), (0.0, PROJECTION_WIDE_U * wide)
    )


def _bends(corner: float, factor: Array) -> Array:
    """(3, 2) of k1, k2 and k3 for the bendings' covariance ``factor @ factor.T`` (2, 2) at r2 = ``corner`` and inside."""
    r2 = np.array([corner, INNER**2 * corner])
    return np.vstack([np.linalg.solve(np.column_stack([r2, r2**2]), factor), np.zeros(2)])


def _of_profile(camera: Camera) -> ClickedLens:
    """A calibrated lens, of whatever model, as Brown's polynomial; decentring, a hundredth of a click, is left out."""
    names = lens.LENS_MODELS[camera.model].names
    where = {n: names.index(n) for n in ("f", "cx", "cy")}
    f = float(camera.params[where["f"]])
    corner = float(np.hypot(*camera.size_px)) / 2.0 / f
    r = np.linspace(0.1, 1.0, 10) * corner
    own = camera.params.copy()
    own[[names.index(n) for n in ("p1", "p2") if n in names]] = 0.0
    xyz = np.column_stack([r, np.zeros((len(r), 1)), np.ones(len(r))])
    uv, _, d_params = lens.project(camera.model, own, xyz)
    factor = (uv[:, 0] - own[where["cx"]]) / (f * r)
    radial = np.linalg.lstsq((r**2)[:, None] ** _EVEN, factor - 1.0, rcond=None)[0]
    places = [int(np.argmin(np.abs(r - share * corner))) for share in (1.0, INNER)]
    rows = d_params[places, 0].copy() / (f * r[places, None])
    rows[:, list(where.values())] = 0.0
    cov: Array = rows @ camera.cov @ rows.T + LEAST_BEND_U**2 * np.eye(2)
    variance = np.diag(camera.cov)
    u_centre = math.sqrt(max(variance[where["cx"]], variance[where["cy"]]))
    return ClickedLens(
        f, math.sqrt(variance[where["f"]]) / f, own[[where["cx"], where["cy"]]], u_centre, radial,
        _bends(corner**2, np.asarray(np.linalg.cholesky(cov), float)),
    )  # fmt: skip
