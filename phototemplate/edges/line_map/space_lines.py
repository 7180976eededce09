"""From a peak of the Hough transform to a line in space with its support: robust least squares on the photos' steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.line_map.constants import (
    GATE_MM,
    NEAR_STEPS_MM,
    NEAR_STEPS_PX,
    PHOTO_LOOKS,
    PIXEL_GATE,
    SAG_MM,
    SHOWING,
    SIGN_MM,
    STEP_U_MM,
    STEP_U_PX,
    SUPPORTED_SHARE,
    TILT_MM,
)
from phototemplate.edges.line_map.space_hough import HoughLine
from phototemplate.edges.tracing.grey_profiles import Band, Steps
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.model import Array, BoolArray, IntArray


@dataclass(frozen=True)
class SpaceLine:
    """A line in space near the path, as the steps of all photos see it."""

    offset_mm: Array
    """(N,) at every station, to the left of the path"""
    height_mm: Array
    """(N,) over the work plane"""
    rise_mm: float
    """Mean height over the expected one"""
    height_u_mm: float
    """Standard uncertainty of the mean height, from the steps' scatter alone"""
    support: float
    """Share of the open stations at which at least half of the photos that show the line have a step of it"""
    evidence: float
    """Mean surprise of its steps over the open looks of the photos that show it, 0-1"""
    open_photos: int
    """Photos in which the place is open, whether they show the line or not"""
    photo_support: dict[str, float]
    """Share of each photo's open stations that show it"""
    showing: tuple[str, ...]
    """Photos whose share is large enough to say that they show the line"""
    misfit: float
    """Robust scatter of the steps about the line in units of what sharp steps would show; above 1.5 it is no line"""

    @property
    def middle_mm(self) -> float:
        """Mean offset, to the left of the path."""
        return float(np.mean(self.offset_mm))


def settle(
    start: HoughLine,
    nodes_mm: Array,
    stations: Stations,
    bands: list[Band],
    steps: list[Steps],
    expected_mm: Array,
    height_u_mm: float,
    base_mm: Array | None = None,
    seen: list[Steps] | None = None,
) -> SpaceLine | None:
    """Least squares of the line's node offsets and end heights over all steps near it; None if nothing is left.

    Along each photo neighbouring steps keep one sign of contrast. The heights of the two ends are free under a wide
    prior (twice ``height_u_mm`` on their mean), which matters only where all photos look alike. ``base_mm`` (N,) is
    the height at which the bands were sampled, if that is not the expected one; ``seen`` are all steps, by which its support is
    counted, where ``steps`` are only those that no other line has taken.
    """
    weights = hat_weights(stations.along_mm, nodes_mm)
    part = (stations.along_mm - stations.along_mm[0]) / max(float(np.ptp(stations.along_mm)), 1e-9)
    ends = np.stack([1 - part, part, 4 * part * (1 - part)], axis=1)  # heights of the two ends, and sag
    lift = np.zeros(len(stations)) if base_mm is None else expected_mm - base_mm
    count = len(nodes_mm)
    size = count + 3
    state = np.r_[start.offsets_mm, start.height_mm, start.height_mm, 0.0]
    prior = 1e-9 * np.eye(size)
    tilt = np.array([[1.0, -1.0], [-1.0, 1.0]])
    prior[count:-1, count:-1] = 0.25 * 0.25 / height_u_mm**2 + tilt / TILT_MM**2
    prior[-1, -1] = 1.0 / SAG_MM**2
    for k in range(1, count - 1):  # bends are small: second differences of the nodes
        row = np.zeros(size)
        row[k - 1 : k + 2] = 1.0, -2.0, 1.0
        prior += np.outer(row, row) / 2.0**2
    covariance = np.full((size, size), np.nan)
    misfit = 9.9
    hits: list[tuple[Band, IntArray, Array]] = []
    near_steps = []
    for band, step in zip(bands, steps, strict=True):  # the many steps far from the line never come into question
        n = step.station
        scale = band.scale_px_per_mm[n]
        place = (weights @ state[:count])[n] - band.lean[n] * (ends @ state[count:] + lift)[n]
        take = np.abs(step.position_px - place * scale) < np.maximum(NEAR_STEPS_MM * scale, NEAR_STEPS_PX)
        near_steps.append((band, step.part(take)))
    for gate in GATE_MM:
        normal, right = prior.copy(), np.zeros(size)
        hits, residuals = [], []
        offset, rise = weights @ state[:count], ends @ state[count:] + lift
        for band, step in near_steps:
            n = step.station
            if not len(n):
                continue
            scale = band.scale_px_per_mm[n]
            residual = step.position_px / scale - offset[n] + band.lean[n] * rise[n]
            near = np.abs(residual) < np.maximum(gate, PIXEL_GATE / scale)
            near = one_per_station(stations, n, residual * scale, step.strength, step.surprise, near)
            if not near.any():
                continue
            n, scale, residual = n[near], scale[near], residual[near]
            row = np.hstack([weights[n], -band.lean[n, None] * ends[n]])
            sigma = np.maximum(STEP_U_PX / scale, STEP_U_MM)
            w = min(1.0, PHOTO_LOOKS / len(n)) / sigma**2
            normal += row.T @ (w[:, None] * row)
            right += row.T @ (w * residual)
            hits.append((band, n, step.surprise[near]))
            residuals.append(residual / sigma)
        if not hits:
            return None
        state = state + np.linalg.solve(normal, right - prior @ state)
        misfit = MAD_TO_SD * float(np.median(np.abs(np.concatenate(residuals))))
        covariance = np.linalg.inv(normal)
    if seen is not None:
        hits = _hits(state, weights, ends, lift, stations, bands, seen)
    return _summary(state, covariance, weights, ends, stations, bands, hits, expected_mm, lift, misfit)


def _hits(
    state: Array, weights: Array, ends: Array, lift: Array, stations: Stations, bands: list[Band], steps: list[Steps]
) -> list[tuple[Band, IntArray, Array]]:
    """By photo the stations that have a step of the settled line, and the steps' surprise."""
    count = weights.shape[1]
    offset, rise = weights @ state[:count], ends @ state[count:] + lift
    hits = []
    for band, step in zip(bands, steps, strict=True):
        n = step.station
        residual = step.position_px - (offset - band.lean * rise)[n] * band.scale_px_per_mm[n]
        near = np.abs(residual) < np.maximum(GATE_MM[-1] * band.scale_px_per_mm[n], PIXEL_GATE)
        near = one_per_station(stations, n, residual, step.strength, step.surprise, near)
        hits.append((band, n[near], step.surprise[near]))
    return hits


def one_per_station(
    stations: Stations, station: IntArray, residual_px: Array, strength: Array, surprise: Array, near: BoolArray
) -> BoolArray:
    """(M,) bool: of the steps ``near`` the line the one at each station that fits best.

    Fits best: of the sign that prevails within ``SIGN_MM``, then nearest; a strong step may be a little further away.
    """
    if not near.any():
        return near
    order = np.flatnonzero(near)
    place = stations.along_mm[station[order]]
    signed = np.sign(strength[order]) * surprise[order]
    edges = np.searchsorted(place, place - SIGN_MM / 2), np.searchsorted(place, place + SIGN_MM / 2)
    running = np.concatenate([[0.0], np.cumsum(signed)])
    prevailing = np.sign(running[edges[1]] - running[edges[0]])
    order = order[(prevailing == 0) | (np.sign(strength[order]) == prevailing)]
    misfit = np.abs(residual_px[order]) - 0.5 * surprise[order]
    rank = np.lexsort((misfit, station[order]))
    ranked = station[order][rank]
    first = np.ones(len(rank), dtype=bool)
    first[1:] = ranked[1:] > ranked[:-1]
    keep = np.zeros(len(near), dtype=bool)
    keep[order[rank[first]]] = True
    return keep


def _summary(
    state: Array,
    covariance: Array,
    weights: Array,
    ends: Array,
    stations: Stations,
    bands: list[Band],
    hits: list[tuple[Band, IntArray, Array]],
    expected_mm: Array,
    lift: Array,
    misfit: float,
) -> SpaceLine:
    """Support of the settled line: first by photo, then along the edge over the photos that show it."""
    count = weights.shape[1]
    offset, rise = weights @ state[:count], ends @ state[count:]
    value = {band.photo_id: np.zeros(len(stations)) for band in bands}
    for band, station, surprise in hits:
        value[band.photo_id][station] = surprise
    opened, share = {}, {}
    evidence, open_looks = 0.0, 0.0
    for band in bands:
        place = (offset - band.lean * (rise + lift)) * band.scale_px_per_mm
        cell = np.clip(np.round(place - band.step_px[0]).astype(np.int64), 0, len(band.step_px) - 1)
        open_ = ~band.covered[np.arange(len(stations)), cell] & (np.abs(place) <= band.step_px[-1])
        opened[band.photo_id] = open_
        if open_.any():
            share[band.photo_id] = float((value[band.photo_id][open_] > 0).mean())
            if share[band.photo_id] >= SHOWING:
                evidence += float(value[band.photo_id][open_].sum())
                open_looks += float(open_.sum())
    showing = [p for p, s in share.items() if s >= SHOWING]
    looks, shown = np.zeros(len(stations)), np.zeros(len(stations))
    for p in showing or share:
        looks += opened[p]
        shown += (value[p] > 0) & opened[p]
    seen = looks > 0
    supported = seen & (shown >= np.maximum(1.0, SUPPORTED_SHARE * looks))
    mean = np.r_[np.zeros(count), 0.5, 0.5, 2 / 3]
    return SpaceLine(
        offset_mm=offset,
        height_mm=expected_mm + rise,
        rise_mm=float(rise.mean()),
        height_u_mm=float(np.sqrt(mean @ covariance @ mean)),
        support=float(supported.sum() / max(seen.sum(), 1)) * min(1.0, float(seen.mean()) * 2),
        evidence=evidence / max(open_looks, 1.0),
        open_photos=len(share),
        photo_support=share,
        showing=tuple(showing),
        misfit=misfit,
    )


def hat_weights(along_mm: Array, nodes_mm: Array) -> Array:
    """(N, J+1) weights of the nodes in piecewise linear interpolation at ``along_mm`` (N,)."""
    place = np.clip(np.searchsorted(nodes_mm, along_mm, side="right") - 1, 0, len(nodes_mm) - 2)
    part = np.clip((along_mm - nodes_mm[place]) / (nodes_mm[place + 1] - nodes_mm[place]), 0.0, 1.0)
    out = np.zeros((len(along_mm), len(nodes_mm)))
    out[np.arange(len(along_mm)), place] = 1 - part
    out[np.arange(len(along_mm)), place + 1] += part
    return out
