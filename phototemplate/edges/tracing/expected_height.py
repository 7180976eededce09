"""At which height is an edge to be expected? The cabinets' tops along it, one section per cabinet.

A row of cabinets is not one smooth surface: each stands a little high, low or tilted, and where two meet there is a
step. The sheets on each cabinet tell its level; where along the edge one cabinet ends and the next begins, the photos
tell (``find_joints``).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.tracing.constants import (
    BEHIND_ALONG_MM,
    BEHIND_MM,
    BLEND_MM,
    END_MM,
    FAR_MM,
    JOINT_GATE_MM,
    LEAST_SHEET_U_MM,
    OUTSIDE_MM,
    OWN_MM,
    PAST_END_MM,
    SHEET_SCATTER_MM,
    STEP_MM,
    TILT_MM,
)
from phototemplate.edges.tracing.grey_profiles import Band, Steps
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.model import Array, EdgeHint, HeightPoint, IntArray, WorkPlane


@dataclass(frozen=True)
class Levels:
    """Expected height of the cabinet tops along N stations, in G sections from the path's start to its end."""

    along_mm: Array
    curves_mm: Array
    """(G, N) level of each section's cabinet, continued along the whole path"""
    u_mm: Array
    """(G,) standard uncertainty of the level"""
    slope_u: Array
    """(G,) standard uncertainty of its slope along the path"""
    bounds_mm: Array
    """(G-1, 2) the stretch in which each joint must lie: from the last sheet of one to the first of the next"""
    joints_mm: Array
    """(G-1,)"""

    @property
    def section(self) -> IntArray:
        """(N,) the section each station belongs to."""
        return np.searchsorted(self.joints_mm, self.along_mm, side="right").astype(np.int64)

    @property
    def height_mm(self) -> Array:
        """(N,) expected height."""
        return np.asarray(self.curves_mm[self.section, np.arange(len(self.along_mm))])

    @property
    def tilt_u_mm(self) -> float:
        """Standard uncertainty of the difference between the ends' heights over the expected ones, along the whole path."""
        return float(np.hypot(END_MM, np.ptp(self.along_mm) * np.median(self.slope_u) / len(self.slope_u)))

    def about(self, rise_mm: float) -> Levels:
        """Those of a line that runs along the tops ``rise_mm`` over them, each section as far off that as it likes."""
        return replace(self, curves_mm=self.curves_mm + rise_mm, u_mm=np.full(len(self.u_mm), FAR_MM))

    def at(self, stations: Stations) -> Levels:
        """The same levels on other stations of about the same path."""
        part = (self.along_mm - self.along_mm[0]) / max(float(np.ptp(self.along_mm)), 1e-9)
        where = stations.along_mm[0] + part * float(np.ptp(stations.along_mm))

        def move(values: Array) -> Array:
            return np.asarray(np.interp(values, self.along_mm, where))

        curves = np.array([np.interp(stations.along_mm, where, c) for c in self.curves_mm])
        return replace(
            self, along_mm=stations.along_mm, curves_mm=curves, bounds_mm=move(self.bounds_mm), joints_mm=move(self.joints_mm)
        )


def expected_levels(plane: WorkPlane, stations: Stations, hint: EdgeHint, outward: float, reach_mm: float) -> Levels:
    """Sections from the sheets on the cabinets' side of the stations.

    ``outward`` +1, -1 or 0 as for ``choose``. A height given in the hint overrules the sheets; those further than ``reach_mm``
    from the edge say nothing about it.
    """
    along = stations.along_mm
    none = Levels(
        along, np.full((1, len(along)), hint.height_mm), np.array([FAR_MM]), np.array([TILT_MM / 500.0]), np.zeros((0, 2)),
        np.zeros(0),
    )
    if hint.height_mm or not plane.heights:
        return none
    near: list[tuple[float, float, HeightPoint]] = []
    for point in plane.heights:
        away = point.xy_mm - stations.xy_mm
        nearest = int(np.argmin(np.linalg.norm(away, axis=1)))
        ahead = float(away[nearest] @ stations.tangent[nearest])
        side = float(away[nearest] @ stations.normal[nearest])
        beyond = abs(ahead) > PAST_END_MM  # past an end: the next cabinet round the corner
        if outward * side < OUTSIDE_MM and abs(side) < reach_mm and not beyond:
            near.append((float(along[nearest]), abs(side), point))
    groups: dict[str, list[tuple[float, HeightPoint]]] = {}
    for s, side, point in near:
        # a cabinet behind another one does not carry this edge
        if not any(p.group != point.group and abs(t - s) < BEHIND_ALONG_MM and d < side - BEHIND_MM for t, d, p in near):
            groups.setdefault(point.group, []).append((s, point))
    if not groups:
        return none
    ordered = sorted(groups.items(), key=lambda item: float(np.mean([s for s, _ in item[1]])))
    curves, spread, slopes = [], [], []
    bounds = []
    for (_, left), (_, right) in itertools.pairwise(ordered):
        low, high = max(s for s, _ in left), min(s for s, _ in right)
        bounds.append(sorted((low, high)))
    ends = [float(along[0]), *(float(np.mean(b)) for b in bounds), float(along[-1])]
    for k, (name, members) in enumerate(ordered):
        everything = [p for p in plane.heights if p.group == name] if name else [p for _, p in members]
        middle = int(np.argmin(np.abs(along - 0.5 * (ends[k] + ends[k + 1]))))
        level, u, slope_u = _level(stations, everything, middle)
        curves.append(level)
        spread.append(u)
        slopes.append(slope_u)
    levels = Levels(
        along, np.array(curves), np.array(spread), np.array(slopes), np.array(bounds).reshape(-1, 2),
        np.mean(bounds, axis=1).reshape(-1) if bounds else np.zeros(0),
    )
    levels = _without_small_steps(levels)
    return replace(levels, u_mm=np.hypot(levels.u_mm, paper_u_mm(plane)))


def paper_u_mm(plane: WorkPlane) -> float:
    """Standard uncertainty of the height of all tops from the thickness of paper and board."""
    if "thickness:sheet" not in plane.influences.names:
        return 0.0
    k = plane.influences.names.index("thickness:sheet")
    return float(np.sqrt(plane.influences.cov[k, k]))


def _level(stations: Stations, sheets: list[HeightPoint], middle: int) -> tuple[Array, float, float]:
    """Level (N,) of a cabinet at the stations from its sheets; standard uncertainties of it at the station ``middle`` of its
    section and of its slope.

    A plane under weak priors (a cabinet is about level), by Gaussian process regression with a linear kernel.
    """
    xy, place = stations.xy_mm, np.array([s.xy_mm for s in sheets])
    value = np.array([s.height_mm for s in sheets])
    centre = place.mean(axis=0)

    def kernel(a: Array, b: Array) -> Array:
        return np.asarray(FAR_MM**2 + (TILT_MM / 500.0) ** 2 * (a - centre) @ (b - centre).T)

    noise = np.diag([max(s.u_mm, LEAST_SHEET_U_MM) ** 2 + SHEET_SCATTER_MM**2 for s in sheets])
    inverse = np.linalg.inv(kernel(place, place) + noise)
    gain = kernel(xy, place) @ inverse
    level = gain @ value
    variance = kernel(xy[[middle]], xy[[middle]])[0, 0] - gain[middle] @ kernel(place, xy[[middle]])[:, 0]
    gradient = (TILT_MM / 500.0) ** 2 * (place - centre) @ stations.tangent[middle]  # covariance of the slope with the sheets
    slope = (TILT_MM / 500.0) ** 2 - gradient @ inverse @ gradient
    return level, float(np.hypot(OWN_MM, np.sqrt(max(variance, 0.0)))), float(np.sqrt(max(slope, 0.0)))


def _without_small_steps(levels: Levels) -> Levels:
    """Sections whose levels meet are joined: their curves are blended at the joint."""
    k = 0
    while k < len(levels.joints_mm):
        at = int(np.argmin(np.abs(levels.along_mm - levels.joints_mm[k])))
        if abs(levels.curves_mm[k, at] - levels.curves_mm[k + 1, at]) >= STEP_MM:
            k += 1
            continue
        blend = np.clip((levels.along_mm - levels.joints_mm[k]) / BLEND_MM + 1 / 2, 0.0, 1.0)
        joined = (1 - blend) * levels.curves_mm[k] + blend * levels.curves_mm[k + 1]
        curves = np.vstack([levels.curves_mm[:k], joined[None], levels.curves_mm[k + 2 :]])
        u, slope_u = (np.r_[v[:k], max(v[k : k + 2]), v[k + 2 :]] for v in (levels.u_mm, levels.slope_u))
        keep = np.arange(len(levels.joints_mm)) != k
        levels = Levels(levels.along_mm, curves, u, slope_u, levels.bounds_mm[keep], levels.joints_mm[keep])
    return levels


def find_joints(
    levels: Levels, offset_mm: Array, rise_mm: Array, bands: list[Band], steps: list[Steps], base_mm: Array
) -> Levels:
    """Move each joint to where the photos' steps change from one cabinet's level to the next one's.

    ``offset_mm`` and ``rise_mm`` (N,) place the edge relative to the stations and the expected levels; the bands were
    sampled at heights ``base_mm``. For every position of a joint the steps that fit are counted.
    """
    if not len(levels.joints_mm):
        return levels
    fits = np.zeros_like(levels.curves_mm)
    for g, curve in enumerate(levels.curves_mm):
        for band, step in zip(bands, steps, strict=True):
            place = (offset_mm - band.lean * (curve + rise_mm - base_mm)) * band.scale_px_per_mm
            gate = np.maximum(1.0, JOINT_GATE_MM * band.scale_px_per_mm[step.station])
            miss = np.abs(step.position_px - place[step.station]) / gate
            worth = np.where(miss < 1.0, (1.0 - miss) * step.surprise, 0.0)
            best = np.zeros(len(curve))
            np.maximum.at(best, step.station, worth)
            fits[g] += best
    joints = levels.joints_mm.copy()
    for k, (low, high) in enumerate(levels.bounds_mm):
        rows = np.flatnonzero((levels.along_mm >= low) & (levels.along_mm <= high))
        if len(rows) < 3:
            continue
        before = np.r_[0.0, np.cumsum(fits[k, rows])]
        after = np.r_[np.cumsum(fits[k + 1, rows][::-1])[::-1], 0.0]
        best_at = int(np.argmax(before + after))
        edges = np.r_[levels.along_mm[rows], high]
        joints[k] = edges[best_at] - 0.5 * float(np.median(np.diff(levels.along_mm))) if best_at < len(rows) else high
    return replace(levels, joints_mm=joints)
