"""The edge in space: at every station, intersect what all photos saw; height smooth along the edge.

Observation equation of photo p at station i, in px along the photo's normal to the edge::

    k_ip = g_ip (d_i - c_ip z_i) + b_p(x_i) + noise_ip,       z_i = z0_i + B_i h

with the offset d_i free at every station (an edge may be wavy), the height a few smooth functions B of the position (a
cabinet may tilt and sag, not ripple), and b_p the photo's own error, a shift and a turn common to all its stations:
light on a rounded edge, lens colour, and above all what the network leaves uncertain of its pose and lens. The b_p have
the covariance that the influences give them, S C S^T, plus that of ``view_u_px``, which grows where the photos contradict
each other by more; leaving them out would trust the height
from photos that look alike as if a thousand stations were a thousand independent looks. The height carries a prior, the level
and the slope of the sheets near by: decisive for an edge seen in one photo, drowned where several see it from different
heights.

On a rounded edge the step is seen elsewhere than at the outermost line in plan, from every photo at another place
(:mod:`arris_offset`): k_ip gets the further term g_ip m_ip a, with three unknowns a common to the edge, its radius first. So
d_i is the outermost line and z_i the height of the flat top. The prior of a is a mixture; the solution is that of its
components, weighed by their evidence, and what they differ by is part of the uncertainty.

Sensitivities follow from the implicit function theorem. The solution is linear in k, and an influence t moves the
predicted k by s_ip = dk/dt at fixed place in the work frame; so d(d_i)/dt is the same linear function applied to -s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.scene import Scene
from phototemplate.edges.tracing.arris_offset import UNKNOWNS, Rounding
from phototemplate.edges.tracing.constants import (
    COMMON_HEIGHT_MM,
    COMMON_HEIGHT_SHARE,
    LEAST_ARRIS_U_MM,
    LEAST_REDUNDANCY,
    LEAST_SCALE,
    LEAST_WEIGHT,
    MORE_EVERY_MM,
    MORE_HEIGHT_EVERY_MM,
    MORE_HEIGHT_FROM_MM,
    MOST_VIEW_MODES,
    ONE_PHOTO_U,
    RADIUS_U_MM,
    SAG_FROM_MM,
    SOFTER,
    TILT_FROM_MM,
    TUKEY,
    VIEW_MODES,
    Radius,
)
from phototemplate.edges.tracing.expected_height import Levels
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.edges.tracing.step_position import StepFit
from phototemplate.model import Array, BoolArray


@dataclass(frozen=True)
class Intersection:
    """Edge in space at N stations, from P photos, with M height functions."""

    offset_mm: Array
    """(N,) of the outermost line from the stations, to their left; nan where no photo shows the edge"""
    arris: Array
    """(3,) the rounding's unknowns, mean over what it may be"""
    parts: tuple[tuple[float, float, Array], ...]
    """Of each thing that the rounding may be: probability, whether two materials meet, unknowns"""
    arris_u_mm: float
    """Standard uncertainty of its radius"""
    height_mm: Array
    """(N,) of the flat top at the edge, over the work plane"""
    height_u_mm: Array
    """(N,) from image noise and prior, without the influences"""
    noise_mm: Array
    """(N,) standard deviation of the offset's own, independent noise"""
    common_mm: Array
    """(N, Q) errors common to the whole edge, one column per cause, unit variance: light per photo, heights, rounding"""
    shared_jac: Array
    """(N, K)"""
    weight: Array
    """(P, N) 1 used, 0 unseen or rejected"""
    residual_px: Array
    """(P, N)"""
    scatter_px: Array
    """(P,) robust standard deviation of each photo's residuals"""
    prior_share: float
    """How much of the mean height comes from the prior, 0-1"""


def intersect(
    scene: Scene,
    stations: Stations,
    start_height_mm: Array,
    levels: Levels,
    bands: list[Band],
    fits: list[StepFit],
    open_: list[BoolArray],
    height_influence: str,
    rounding: Rounding,
) -> Intersection:
    """Solve one edge. ``open_`` (N,) bool per photo: steps that may be used at all."""
    settings = scene.settings
    k = np.stack([f.position_px for f in fits])
    g = np.stack([b.scale_px_per_mm for b in bands])
    c = np.stack([b.lean for b in bands])
    usable = np.stack(open_) & np.stack([f.good for f in fits]) & np.isfinite(k)
    u = np.where(usable, np.stack([np.maximum(f.u_px, settings.least_u_px) for f in fits]), 1.0)
    k = np.where(usable, k, 0.0)
    basis, spread = height_basis(stations.along_mm, levels, settings.height_shape_u_mm)
    prior_u = height_prior_u(levels, settings.height_prior_u_mm)
    # a common error of the expected level in the coefficients of the basis, and the rounding as its last functions
    heights = basis.shape[1]
    common = np.r_[spread_mean(basis), np.zeros(UNKNOWNS)]
    level = np.linalg.lstsq(basis, levels.height_mm - start_height_mm, rcond=None)[0]
    levels_by = c[:, :, None] * basis

    def by_height(two: float) -> Array:
        """(P, N, count) by how much less far left each photo sees the edge per unit of the heights and of the rounding."""
        return np.concatenate([levels_by, -np.stack([rounding.moves(row, two) for row in c])], axis=2)

    basis = np.hstack([basis, np.zeros((len(stations), UNKNOWNS))])
    xyz = np.column_stack([stations.xy_mm, start_height_mm])
    sensitivity = np.zeros((scene.plane.influences.size, *k.shape))
    for p, band in enumerate(bands):
        rows = np.flatnonzero(usable[p])
        if len(rows):
            sensitivity[:, p, rows] = -scene.sensitivity(band.photo_id, xyz[rows], band.across[rows]).T
    modes = min(VIEW_MODES + int(float(np.ptp(stations.along_mm)) / MORE_EVERY_MM), MOST_VIEW_MODES)
    shapes: Array = np.asarray(np.polynomial.legendre.legvander(unit_position(stations.along_mm), modes - 1).T)
    view_u = _view_errors(fits, settings.view_u_px)
    by_influences = _photo_errors(sensitivity, usable, shapes, scene.plane.influences.cov)
    px_per_mm = np.array([float(np.median(row[used])) if used.any() else 0.0 for row, used in zip(g, usable, strict=True)])
    count = basis.shape[1]
    of_photos = slice(count, count + len(by_influences))

    def own_u() -> Array:
        """(P,) standard deviation of each photo's own shift: what moves any step, and where on the rounding it is seen."""
        return np.asarray(np.hypot(view_u, ONE_PHOTO_U * rounding.prior(rounding.whole.radius)[1][1] * px_per_mm))

    def prior_of(radius: Radius) -> tuple[Array, Array]:
        """Weights (Q, Q) of the unknowns' expected values, and what they pull at (Q,)."""
        mean, sd = rounding.prior(radius)
        # the mean level is one unknown error common to all sections, on top of each section's own
        cov = np.diag(np.r_[spread, np.maximum(sd, LEAST_ARRIS_U_MM)] ** 2) + prior_u**2 * np.outer(common, common)
        weights = np.zeros((of_photos.stop, of_photos.stop))
        weights[:count, :count] = np.linalg.inv(cov)
        weights[of_photos, of_photos] = np.linalg.inv(by_influences + np.diag(np.repeat(own_u(), modes) ** 2))
        return weights, weights[:, :count] @ np.r_[level, mean]

    scale = np.ones(len(bands))
    weight = usable.astype(np.float64)
    for _ in range(5):
        prior, pull = prior_of(rounding.whole.radius)
        system = _System.build(weight / (u * scale[:, None]) ** 2, g, by_height(rounding.whole.two), shapes, prior)
        d, q = system.solve(k, pull)
        residual = np.where(usable, k - g * d - system.global_part(q), 0.0)
        smooth = _from_neighbours(stations.along_mm, d, residual, g, usable, settings.smooth_mm)
        ratio = np.abs(smooth) / u
        for p in range(len(bands)):
            if usable[p].any():
                scale[p] = max(LEAST_SCALE, MAD_TO_SD * float(np.median(ratio[p][usable[p]])))
        weight = np.where(usable, np.clip(1 - (ratio / (TUKEY * scale[:, None])) ** 2, 0.0, None) ** 2, 0.0)
        weight[weight < LEAST_WEIGHT] = 0.0
        view_u = view_u * _view_factor(q[count:], prior[count:, count:], system.inverse[count:, count:])
    fits_ = []
    for part in rounding.parts:
        prior, pull = prior_of(part.radius)
        system = _System.build(weight / (u * scale[:, None]) ** 2, g, by_height(part.two), shapes, prior)
        d, q = system.solve(k, pull)
        fits_.append((np.log(part.probability) + system.evidence(k, pull, d, q), system, d, q))
    share = np.exp(np.array([f[0] for f in fits_]) - max(f[0] for f in fits_))
    share /= share.sum()
    likely = int(np.argmax(share))
    system, photo_u = fits_[likely][1], own_u()
    prior = system.prior
    d, q = (sum(w * f[part] for w, f in zip(share, fits_, strict=True)) for part in (2, 3))
    between = np.stack([np.sqrt(w) * (f[2] - d) for w, f in zip(share, fits_, strict=True)], axis=1)
    radius_var = sum(
        w * (f[1].inverse[heights, heights] + (f[3][heights] - q[heights]) ** 2) for w, f in zip(share, fits_, strict=True)
    )
    rise = basis @ q[:count]
    residual = np.where(usable, k - g * d - system.global_part(q), np.nan)

    jac = system.answer(np.where(weight > 0, sensitivity, 0.0))
    # of the unknowns to a common error of the expected heights, in units of the influence's own nominal size
    to_prior = system.inverse @ (prior[:, :count] @ common) * (prior_u / settings.height_prior_u_mm)
    if height_influence in scene.column:
        jac[:, scene.column[height_influence]] -= system.ratio @ to_prior
    view = np.zeros((modes * len(bands), *k.shape))
    for p in range(len(bands)):
        view[modes * p : modes * (p + 1), p] = photo_u[p] * shapes
    # noise of the photos' positions that reaches the offsets through the common unknowns, not at the station itself
    own = system.inverse @ (system.normal - prior) @ system.inverse
    values, vectors = np.linalg.eigh(own)
    by_unknowns = -system.ratio @ (vectors * np.sqrt(np.maximum(values, 0.0)))
    # what each section's level and shape, and the rounding, may depart from what is expected of them
    own_sd = np.r_[spread, np.maximum(rounding.prior(rounding.parts[likely].radius)[1], LEAST_ARRIS_U_MM)]
    by_expected = -system.ratio @ (system.inverse @ prior[:, :count] * own_sd)
    # and by how the place hangs on the radius, what no model of light on a rounding tells of it, as far as it was measured
    unmodelled = float(np.sqrt(sum(
        w * min(RADIUS_U_MM, rounding.prior(part.radius)[1][1]) ** 2
        * max(1.0 - float(f[1].inverse[heights, heights]) / max(part.radius.u_mm, LEAST_ARRIS_U_MM) ** 2, 0.0)
        for w, f, part in zip(share, fits_, rounding.parts, strict=True)
    )))
    by_radius = -system.ratio[:, [heights]] * unmodelled
    height_cov = system.inverse[:count, :count]
    height_var = np.einsum("nm,mk,nk->n", basis, height_cov, basis)
    seen = (weight > 0).any(axis=0)
    return Intersection(
        offset_mm=np.where(seen, d, np.nan),
        arris=q[heights:count],
        parts=tuple(
            (float(w), part.two, f[3][heights:count]) for w, f, part in zip(share, fits_, rounding.parts, strict=True)
        ),
        arris_u_mm=float(np.hypot(np.sqrt(radius_var), unmodelled)),
        height_mm=start_height_mm + rise,
        height_u_mm=np.sqrt(height_var),
        noise_mm=np.where(seen, 1 / np.sqrt(np.maximum(system.aa, 1e-12)), np.nan),
        common_mm=np.hstack([system.answer(view), by_unknowns, by_expected, by_radius, between]),
        shared_jac=jac,
        weight=weight,
        residual_px=residual,
        scatter_px=scale * np.array([np.median(row[m]) if m.any() else np.nan for row, m in zip(u, usable, strict=True)]),
        prior_share=float(np.mean(basis @ to_prior[:count])),
    )


@dataclass(frozen=True)
class _System:
    """Normal equations of the common unknowns q = (heights, photo errors), the offsets eliminated."""

    w: Array
    """(P, N)"""
    g: Array
    rows: Array
    """(P, N, Q) derivative of k by q"""
    aa: Array
    """(N,) sum w g g"""
    ratio: Array
    """(N, Q) sum w g row / sum w g g: an offset moves by minus this per unit of q"""
    normal: Array
    prior: Array
    inverse: Array

    @classmethod
    def build(cls, w: Array, g: Array, by_height: Array, shapes: Array, prior: Array) -> _System:
        photos, count, modes = len(g), by_height.shape[2], len(shapes)
        rows = np.zeros((*g.shape, len(prior)))
        rows[:, :, :count] = -g[:, :, None] * by_height
        for p in range(photos):
            rows[p, :, count + modes * p : count + modes * (p + 1)] = shapes.T
        aa = np.maximum((w * g * g).sum(axis=0), 1e-12)
        ar = np.einsum("pn,pnq->nq", w * g, rows)
        ratio = ar / aa[:, None]
        flat = rows.reshape(-1, len(prior))
        normal = flat.T @ (w.reshape(-1, 1) * flat) - ar.T @ ratio + prior
        return cls(w, g, rows, aa, ratio, normal, prior, np.linalg.inv(normal))

    def global_part(self, q: Array) -> Array:
        """(P, N) what the common unknowns contribute to k."""
        return np.asarray(self.rows @ q)

    def solve(self, k: Array, pull: Array) -> tuple[Array, Array]:
        """Offsets (N,) and common unknowns (Q,) for observations k (P, N)."""
        ak = (self.w * self.g * k).sum(axis=0)
        q = self.inverse @ (np.einsum("pnq,pn->q", self.rows, self.w * k) - self.ratio.T @ ak + pull)
        return ak / self.aa - self.ratio @ q, q

    def evidence(self, k: Array, pull: Array, d: Array, q: Array) -> float:
        """Log of the probability of the observations (P, N), but for what does not depend on the prior, at the solution."""
        residual = k - self.g * d - self.global_part(q)
        wanted = np.linalg.solve(self.prior, pull)
        cost = float((self.w * residual**2).sum() + (q - wanted) @ self.prior @ (q - wanted))
        return 0.5 * float(np.linalg.slogdet(self.prior)[1] - np.linalg.slogdet(self.normal)[1]) - 0.5 * cost

    def answer(self, k: Array) -> Array:
        """(N, R) change of the offsets by changes (R, P, N) of the observations."""
        flat = k.reshape(len(k), -1)
        photos, count = self.w.shape
        ak = ((self.w * self.g)[None] * k).sum(axis=1)
        direct = flat @ (self.w.reshape(-1, 1) * self.rows.reshape(photos * count, -1))
        q = (direct - ak @ self.ratio) @ self.inverse
        return np.asarray((ak / self.aa - q @ self.ratio.T).T)


def _view_errors(fits: list[StepFit], view_u_px: float) -> Array:
    """(P,) standard deviation of each photo's own shift of the edge, px.

    A photo that shows the edge much softer than the others do sees something else as well: a second step too near to be
    told apart, a rounded or dirty edge. Where in that soft band the edge lies is unknown to about its width.
    """
    blur = np.array([f.blur_px for f in fits])
    typical = float(np.sort(blur)[(len(blur) - 1) // 2])
    extra = np.sqrt(np.maximum(blur**2 - (SOFTER * typical) ** 2, 0.0))
    return np.asarray(np.hypot(view_u_px, 0.7 * extra))


def _view_factor(errors: Array, weight: Array, cov: Array) -> float:
    """By how much the photos' own errors are larger than claimed, at least 1: their chi-squared over its expectation (variance
    component estimation, Forstner & Wrobel 2016, 4.2.4). ``errors`` (Q,) as solved, ``weight`` (Q, Q) that of their prior,
    ``cov`` (Q, Q) their covariance after."""
    expected = len(errors) - float(np.sum(weight * cov))
    if expected < LEAST_REDUNDANCY:
        return 1.0
    return float(np.sqrt(max(1.0, float(errors @ weight @ errors) / expected)))


def _photo_errors(sensitivity: Array, usable: BoolArray, shapes: Array, cov: Array) -> Array:
    """Covariance of each photo's shift, turn and bow along the edge that comes from the influences.

    At the stations that a photo shows the modes give what the influences do there, as nearly as they can, and no less of it in
    a photo that shows few: an influence that moves all photos alike (the frame of the network) is seen by none of them, and
    would seem to be measured by the difference.
    """
    size, count = len(usable), len(shapes)
    modes = np.zeros((count * size, len(sensitivity)))
    for p in range(size):
        rows = np.flatnonzero(usable[p])
        if len(rows):
            modes[count * p : count * (p + 1)] = np.linalg.lstsq(shapes[:, rows].T, sensitivity[:, p, rows].T, rcond=None)[0]
    return np.asarray(modes @ cov @ modes.T)


def unit_position(along_mm: Array) -> Array:
    """(N,) position along the edge from -1 to 1."""
    return np.asarray(2 * (along_mm - along_mm.min()) / max(float(np.ptp(along_mm)), 1e-9) - 1)


def height_basis(along_mm: Array, levels: Levels, shape_u_mm: float) -> tuple[Array, Array]:
    """(N, M) height functions and the standard deviation (M,) of each: per section mean, tilt and, if long, sag.

    Legendre polynomials over the section's stretch, zero outside it; one more per 0.9 m beyond 1.2 m. The tilt is known from
    the sheets to ``levels.slope_u``; ``shape_u_mm`` is by how much an edge departs from the plane of its sheets.
    """
    columns, spread = [], []
    for g in range(len(levels.curves_mm)):
        rows = levels.section == g
        if not rows.any():
            continue
        length = float(np.ptp(along_mm[rows]))
        more = int(np.clip((length - MORE_HEIGHT_FROM_MM) // MORE_HEIGHT_EVERY_MM + 1, 0, 5))
        degree = 2 + more if length > SAG_FROM_MM else int(length > TILT_FROM_MM)
        part = np.zeros((len(along_mm), degree + 1))
        part[rows] = np.polynomial.legendre.legvander(unit_position(along_mm[rows]), degree)
        columns.append(part)
        tilt_u = float(np.hypot(shape_u_mm, 0.5 * length * levels.slope_u[g]))
        spread += ([float(levels.u_mm[g]), tilt_u] + [shape_u_mm] * degree)[: degree + 1]
    return np.hstack(columns), np.array(spread)


def spread_mean(basis: Array) -> Array:
    """(M,) coefficients of a height that is one everywhere."""
    return np.asarray(np.all((basis == 1.0) | (basis == 0.0), axis=0), dtype=np.float64)


def height_prior_u(levels: Levels, nominal_mm: float) -> float:
    """Standard uncertainty of a common error of the expected heights: what the sheets cannot tell of the edge."""
    return float(min(nominal_mm, COMMON_HEIGHT_SHARE * np.min(levels.u_mm) + COMMON_HEIGHT_MM))


def _from_neighbours(
    along_mm: Array, d: Array, residual: Array, g: Array, usable: BoolArray, smooth_mm: float
) -> Array:
    """(P, N) distance in px of every observation from the median of all photos' observations near its station.

    With two photos a station's residuals mirror each other and cannot tell which photo erred; its neighbours can.
    """
    place = d + np.where(usable, residual / g, np.nan)  # where each photo alone would put the edge
    spacing = float(np.median(np.diff(along_mm))) if len(along_mm) > 1 else 1.0
    reach = max(1, round(smooth_mm / 2 / spacing))
    padded = np.pad(place, ((0, 0), (reach, reach)), constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=1)
    flat = np.moveaxis(windows, 0, 1).reshape(len(along_mm), -1)
    empty = np.asarray(np.isnan(flat).all(axis=1))
    flat = np.where(empty[:, None], 0.0, flat)
    middle = np.nanmedian(flat, axis=1)
    return np.where(usable, (place - middle) * g, 0.0)
