"""How well a line of the map fits each reading."""

from __future__ import annotations

from collections.abc import Sequence
from math import lgamma, log, pi

import numpy as np

from phototemplate.edges.constants import SURFACE_STEP_MM
from phototemplate.edges.line_map.local_map import LocalMap, MappedLine
from phototemplate.edges.readings.constants import (
    HEIGHT_UNKNOWN_MM,
    LEAST_MISFIT,
    LEAST_SHARE,
    LEVEL_MM,
    LOOKS,
    MOST_HEIGHT_U_MM,
    SPOILT,
    SPOILT_RISE,
    STRETCH_MM,
    SURFACE_LEVELS,
    TEMPER,
    WIDE_SURFACE,
    Look,
    Reading,
)
from phototemplate.model import Array

READINGS: tuple[Reading, ...] = tuple(LOOKS)


def log_likelihoods(local: LocalMap) -> Array:
    """(n, R) log likelihood of each mapped line under each reading of ``READINGS``, up to a constant per line."""
    level = surface_level(local.lines)
    level_u = float(np.median(local.levels.u_mm)) if len(local.levels.u_mm) else 0.0
    return np.array([[_one(m, LOOKS[r], level, level_u) for r in READINGS] for m in local.lines]).reshape(-1, len(READINGS))


def surface_level(lines: Sequence[MappedLine]) -> float:
    """How much the photos disagree on this surface itself: where, beside the lines at its height, they agree best."""
    window = round(STRETCH_MM / SURFACE_STEP_MM) + 1
    least = []
    for m in lines:
        if abs(m.line.rise_mm) < LEVEL_MM and m.surface.photos >= 2:
            windows = np.lib.stride_tricks.sliding_window_view(m.surface.profile, window)
            whole = windows[np.isfinite(windows).all(axis=1)]
            if len(whole):
                least.append(float(np.median(whole, axis=1).min()))
    return float(np.clip(np.median(least), *SURFACE_LEVELS)) if least else 0.0


def _one(mapped: MappedLine, look: Look, level: float, level_u_mm: float) -> float:
    line, surface = mapped.line, mapped.surface
    spread = float(np.sqrt(look.rise_mm[1] ** 2 + min(line.height_u_mm, MOST_HEIGHT_U_MM) ** 2 + level_u_mm**2))
    known = line.height_u_mm < HEIGHT_UNKNOWN_MM  # else the height is what was expected, and no observation
    rise = 0.0 if not known else _mixed(
        _normal(line.rise_mm, look.rise_mm[0], spread), _normal(line.rise_mm, look.rise_mm[0], 4.0 * spread), SPOILT_RISE
    )
    shown = _beta_binomial(len(line.showing), max(line.open_photos, len(line.showing)), *look.shown)
    support = _beta(min(max(line.support, LEAST_SHARE), 1.0 - LEAST_SHARE), *look.support)
    evidence = _mixed(_normal(line.evidence, *look.evidence), _normal(line.evidence, 0.5, 0.4))
    misfit = log(max(line.misfit, LEAST_MISFIT))
    scatter = _mixed(_normal(misfit, *look.misfit), _normal(misfit, 0.0, 0.8))
    total = rise + shown + support + evidence + scatter
    for value, (mean, sd) in ((surface.inside, look.inside), (surface.near, look.near), (surface.beyond, look.beyond)):
        if np.isfinite(value):
            wide = 1.0 if surface.photos > 2 else 1.3
            total += _mixed(_normal(value - level, mean, wide * sd), _normal(value - level, *WIDE_SURFACE))
    for value, (mean, sd) in ((surface.light_ratio, look.light_ratio), (surface.lopsided, look.lopsided)):
        if np.isfinite(value):
            total += _mixed(_normal(value, mean, sd), _normal(value, 0.0, 3.0))
    total += log(look.borrowed if mapped.borrowed else 1.0 - look.borrowed)
    return TEMPER * total


def _mixed(good: float, spoilt: float, share: float = SPOILT) -> float:
    return float(np.logaddexp(log(1.0 - share) + good, log(share) + spoilt))


def _normal(x: float, mean: float, sd: float) -> float:
    return -0.5 * ((x - mean) / sd) ** 2 - log(sd) - 0.5 * log(2.0 * pi)


def _beta(x: float, a: float, b: float) -> float:
    return (a - 1.0) * log(x) + (b - 1.0) * log(1.0 - x) - _log_beta(a, b)


def _beta_binomial(hits: int, of: int, a: float, b: float) -> float:
    """Log probability of ``hits`` of ``of`` where the chance itself is beta distributed."""
    choose = lgamma(of + 1) - lgamma(hits + 1) - lgamma(of - hits + 1)
    return choose + _log_beta(hits + a, of - hits + b) - _log_beta(a, b)


def _log_beta(a: float, b: float) -> float:
    return lgamma(a) + lgamma(b) - lgamma(a + b)
