"""The piece laid against a wall: where it touches, the gap behind it and how well that is known.

A largest gap is a maximum, and noise makes maxima larger: a straight wall seen with noise shows a gap. By how much is found by
adding the noise once more (bootstrap estimate of bias; B. Efron, R. Tibshirani, An Introduction to the Bootstrap, 1993,
chapter 10): what the largest gap grows by then is taken off the one that was measured, and off all gaps in proportion. What
the wall may do where it was not seen only makes gaps larger: its uncertainty is the spread of walls drawn with it, and by how
much these gaps exceed those of the noise alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array, BoolArray
from phototemplate.numerics.montecarlo import correlated_draws
from phototemplate.studies.budget import UNSEEN
from phototemplate.studies.comparison import Comparison
from phototemplate.studies.constants import PART_DRAWS, WALL_DRAWS, WALL_SEED
from phototemplate.studies.straightness import Zone, minimum_zone, zone_widths
from phototemplate.studies.wall_figures import row_u


@dataclass(frozen=True)
class Touching:
    """n places along the wall, m of them judged."""

    piece_mm: Array
    """(n,) height of the piece's edge over the reference"""
    gap_mm: Array
    """(n,) behind it; the largest is ``largest_mm``"""
    gap_u_mm: Array
    """(n,) of the gap at that place, the piece touching where it touches now"""
    largest_mm: float
    largest_u_mm: float
    weights: Array
    """(n,) derivative of the largest gap with respect to the heights"""
    touches: tuple[int, ...]
    """Among the m judged places"""
    largest_at: tuple[int, ...]


def lay_piece(compared: Comparison, x: Array, within: BoolArray) -> Touching:
    """Push the piece against the wall over the judged stretch, or leave it where it is drawn."""
    d, cov = compared.height_mm, compared.cov_mm2
    xs, ds, cs = x[within], d[within], cov[np.ix_(within, within)]
    n, judged = x.size, np.flatnonzero(within)
    jac = -np.eye(n)
    if not compared.pushed:
        zone, weights = _as_drawn(ds)
        piece = np.zeros(n)  # the drawing says where the piece goes
    else:
        zone = minimum_zone(xs, ds) if compared.turned else _shifted(ds)
        weights, piece = zone.weights(xs), zone.piece(x)
        jac[:, judged] += _piece_rows(zone, xs, x)
    unseen = compared.parts.get(UNSEEN, np.zeros_like(cov))[np.ix_(within, within)]
    noisy, all_ = (
        _widths(compared, xs, correlated_draws(np.random.default_rng(WALL_SEED), ds, part, WALL_DRAWS))
        for part in (cs - unseen, cs)
    )
    plain = float(_widths(compared, xs, ds[None])[0])
    value = max(2 * plain - float(noisy.mean()), 0.0)
    u = float(np.hypot(all_.std(ddof=1), all_.mean() - noisy.mean()))
    full = np.zeros(n)
    full[judged] = weights
    gap = (piece - d) * (value / plain if plain > 0 else 1.0)
    return Touching(piece, gap, row_u(jac, cov), value, u, full, zone.touching, zone.far)


def spread_alone(compared: Comparison, x: Array, within: BoolArray, part: Array) -> float:
    """Root mean square change of the largest gap by one part (n, n) of the covariance, as large as it really is: a wall that
    seems straight has a largest gap that grows whichever way the wall departs, which no derivative shows."""
    xs, ds, cs = x[within], compared.height_mm[within], part[np.ix_(within, within)]
    if not np.any(cs):
        return 0.0
    drawn = _widths(compared, xs, correlated_draws(np.random.default_rng(WALL_SEED), ds, cs, PART_DRAWS))
    return float(np.sqrt(np.mean((drawn - _widths(compared, xs, ds[None])[0]) ** 2)))


def _shifted(y: Array) -> Zone:
    """A piece of given direction touches at the highest point."""
    return Zone(float(y.max() - y.min()), 0.0, float(y.max()), (int(np.argmax(y)),), (int(np.argmin(y)),))


def _as_drawn(y: Array) -> tuple[Zone, Array]:
    """A piece where the drawing puts it: the largest gap alone counts."""
    k = int(np.argmin(y))
    w = np.zeros(y.size)
    w[k] = -1.0
    return Zone(max(-float(y[k]), 0.0), 0.0, 0.0, (int(np.argmax(y)),), (k,)), w


def _widths(compared: Comparison, x: Array, y: Array) -> Array:
    """(draws,) largest gap for many profiles ``y`` (draws, m)."""
    if not compared.pushed:
        out: Array = np.maximum(-y.min(axis=1), 0.0)
        return out
    wide: Array = zone_widths(x, y) if compared.turned else y.max(axis=1) - y.min(axis=1)
    return wide


def _piece_rows(zone: Zone, xs: Array, x: Array) -> Array:
    """(n, m) derivative of the piece's height at ``x`` with respect to the heights at ``xs``."""
    out = np.zeros((x.size, xs.size))
    if len(zone.touching) == 2:
        a, b = zone.touching
        share = (x - xs[a]) / (xs[b] - xs[a])
        out[:, a] += 1.0 - share
        out[:, b] += share
        return out
    out[:, zone.touching[0]] = 1.0
    if len(zone.far) == 2:  # balanced on one place; it takes the direction of the two farthest
        a, b = zone.far
        slope = (x - xs[zone.touching[0]]) / (xs[b] - xs[a])
        out[:, b] += slope
        out[:, a] -= slope
    return out
