"""How well a line of the map fits each reading."""

from __future__ import annotations

from math import lgamma, log, pi

import numpy as np

from phototemplate.edges.line_map.local_map import MappedLine
from phototemplate.edges.line_map.surface_end import SurfaceTest
from phototemplate.edges.readings.constants import (
    HEIGHT_UNKNOWN_MM,
    LEAST_MISFIT,
    LEAST_SHARE,
    LOOKS,
    MOST_HEIGHT_U_MM,
    PAIR_U_MM,
    SPOILT,
    SPOILT_PAIR,
    SPOILT_RISE,
    Look,
    Reading,
)
from phototemplate.model import Array

READINGS: tuple[Reading, ...] = tuple(LOOKS)


def log_likelihoods(lines: list[MappedLine]) -> Array:
    """(n, R) log likelihood of each mapped line under each reading of ``READINGS``, heights aside."""
    out = [[_looks(m, LOOKS[r]) + _surface(m.surface, r) for r in READINGS] for m in lines]
    return np.array(out).reshape(-1, len(READINGS))


def log_heights(
    lines: list[MappedLine], level_mm: float, level_u_mm: float, edge_mm: float | None = None
) -> Array:
    """(n, R) log likelihood of the lines' heights where the top is known to lie ``level_mm`` over the expected height, and its
    edge, where there is one, ``edge_mm``."""

    def of(mapped: MappedLine, look: Look) -> float:
        if look.from_edge and edge_mm is not None:
            return _height(mapped, look, edge_mm, PAIR_U_MM, SPOILT_PAIR)
        return _height(mapped, look, level_mm, level_u_mm)

    return np.array([[of(m, LOOKS[r]) for r in READINGS] for m in lines]).reshape(-1, len(READINGS))


def level_given_edge(edge: MappedLine, level_u_mm: float) -> tuple[float, float]:
    """How far over the expected height the top lies if this line is its edge, and the standard uncertainty of that."""
    (_, mean, spread), = LOOKS["edge"].rise_mm
    seen = spread**2 + min(edge.line.height_u_mm, MOST_HEIGHT_U_MM) ** 2
    share = level_u_mm**2 / (level_u_mm**2 + seen)
    return share * (edge.line.rise_mm - mean), float(np.sqrt(share * seen))


def _height(mapped: MappedLine, look: Look, level_mm: float, level_u_mm: float, spoilt: float = SPOILT_RISE) -> float:
    line = mapped.line
    if line.height_u_mm >= HEIGHT_UNKNOWN_MM:  # the height is what was expected, and no observation
        return 0.0
    rise, seen = line.rise_mm - level_mm, min(line.height_u_mm, MOST_HEIGHT_U_MM) ** 2 + level_u_mm**2
    parts = []
    for share, mean, own in look.rise_mm:
        spread = float(np.sqrt(own**2 + seen))
        parts.append(log(share) + _mixed(_normal(rise, mean, spread), _normal(rise, mean, 4.0 * spread), spoilt))
    return float(np.logaddexp.reduce(parts))


def _looks(mapped: MappedLine, look: Look) -> float:
    line = mapped.line
    misfit = log(max(line.misfit, LEAST_MISFIT))
    total = _beta_binomial(len(line.showing), max(line.open_photos, len(line.showing)), *look.shown)
    total += _beta(line.support, *look.support) + _beta(mapped.own, *look.own)
    total += _mixed(_normal(line.evidence, *look.evidence), _normal(line.evidence, 0.5, 0.4))
    total += _mixed(_normal(misfit, *look.misfit), _normal(misfit, 0.0, 0.8))
    ratio = mapped.surface.light_ratio
    return total if not np.isfinite(ratio) else total + _mixed(_normal(ratio, *look.light_ratio), _normal(ratio, 0.0, 3.0))


def _surface(test: SurfaceTest, reading: Reading) -> float:
    """What the end of the surface says for a reading; lines at other heights say nothing of it."""
    ratio = {"edge": test.ends, "opening": test.begins, "joint": test.goes_on}.get(reading, 0.0)
    return float(np.logaddexp(log(1.0 - SPOILT) + ratio, log(SPOILT)))


def _mixed(good: float, spoilt: float, share: float = SPOILT) -> float:
    return float(np.logaddexp(log(1.0 - share) + good, log(share) + spoilt))


def _normal(x: float, mean: float, sd: float) -> float:
    return -0.5 * ((x - mean) / sd) ** 2 - log(sd) - 0.5 * log(2.0 * pi)


def _beta(x: float, a: float, b: float) -> float:
    x = min(max(x, LEAST_SHARE), 1.0 - LEAST_SHARE)
    return (a - 1.0) * log(x) + (b - 1.0) * log(1.0 - x) - _log_beta(a, b)


def _beta_binomial(hits: int, of: int, a: float, b: float) -> float:
    """Log probability of ``hits`` of ``of`` where the chance itself is beta distributed."""
    choose = lgamma(of + 1) - lgamma(hits + 1) - lgamma(of - hits + 1)
    return choose + _log_beta(hits + a, of - hits + b) - _log_beta(a, b)


def _log_beta(a: float, b: float) -> float:
    return lgamma(a) + lgamma(b) - lgamma(a + b)
