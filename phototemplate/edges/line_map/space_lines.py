"""From a peak of the Hough transform to a line in space with its support: robust least squares on the photos' steps."""

from __future__ import annotations

from collections.abc import Sequence
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
    STEP_U_MM,
    STEP_U_PX,
    SUPPORTED_SHARE,
)
from phototemplate.edges.line_map.joint_steps import JointSteps, stacked
from phototemplate.edges.line_map.space_hough import HoughLine
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.model import Array, BoolArray


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
    steps: JointSteps,
    expected_mm: Array,
    height_u_mm: float,
    tilt_u_mm: float,
    base_mm: Array | None = None,
    seen: JointSteps | None = None,
    ends_mm: tuple[float, float] | None = None,
) -> SpaceLine | None:
    """Least squares of the line's node offsets and end heights over all steps near it; None if nothing is left.

    Along each photo neighbouring steps keep one sign of contrast. The heights of the two ends have a prior, with a standard
    deviation of ``height_u_mm`` of their mean and ``tilt_u_mm`` of their difference. ``base_mm`` (N,) is the height at which
    the bands were sampled, if that is not the expected one; ``seen`` are all steps, by which its support is counted, where
    ``steps`` are only those that no other line has taken. ``ends_mm``: heights of the ends to start from.
    """
    stations = steps.stations
    weights = hat_weights(stations.along_mm, nodes_mm)
    part = (stations.along_mm - stations.along_mm[0]) / max(float(np.ptp(stations.along_mm)), 1e-9)
    ends = np.stack([1 - part, part, 4 * part * (1 - part)], axis=1)  # heights of the two ends, and sag
    lift = np.zeros(len(stations)) if base_mm is None else expected_mm - base_mm
    count = len(nodes_mm)
    size = count + 3
    state = np.r_[start.offsets_mm, (start.height_mm, start.height_mm) if ends_mm is None else ends_mm, 0.0]
    prior = 1e-9 * np.eye(size)
    tilt = np.array([[1.0, -1.0], [-1.0, 1.0]])
    prior[count:-1, count:-1] = 0.25 / height_u_mm**2 + tilt / tilt_u_mm**2
    prior[-1, -1] = 1.0 / SAG_MM**2
    for k in range(1, count - 1):  # bends are small: second differences of the nodes
        row = np.zeros(size)
        row[k - 1 : k + 2] = 1.0, -2.0, 1.0
        prior += np.outer(row, row) / 2.0**2
    covariance = np.full((size, size), np.nan)
    misfit = 9.9
    offset, rise = weights @ state[:count], ends @ state[count:] + lift
    place = (offset[steps.station] - steps.lean * rise[steps.station]) * steps.scale
    # the many steps far from the line never come into question
    close = steps.part(np.abs(steps.position_px - place) < np.maximum(NEAR_STEPS_MM * steps.scale, NEAR_STEPS_PX))
    for gate in GATE_MM:
        offset, rise = weights @ state[:count], ends @ state[count:] + lift
        n, scale = close.station, close.scale
        residual = close.position_px / scale - offset[n] + close.lean * rise[n]
        took = close.one_per_station(residual * scale, np.abs(residual) < np.maximum(gate, PIXEL_GATE / scale))
        if not len(took):
            return None
        n, residual, photo = n[took], residual[took], close.photo[took]
        row = np.hstack([weights[n], -close.lean[took, None] * ends[n]])
        sigma = np.maximum(STEP_U_PX / scale[took], STEP_U_MM)
        w = np.minimum(1.0, PHOTO_LOOKS / np.maximum(np.bincount(photo), 1))[photo] / sigma**2
        normal = prior + row.T @ (w[:, None] * row)
        state = state + np.linalg.solve(normal, row.T @ (w * residual) - prior @ state)
        misfit = MAD_TO_SD * float(np.median(np.abs(residual / sigma)))
        covariance = np.linalg.inv(normal)
    if seen is not None:
        close = seen
        offset, rise = weights @ state[:count], ends @ state[count:] + lift
        miss = seen.position_px - (offset[seen.station] - seen.lean * rise[seen.station]) * seen.scale
        took = seen.one_per_station(miss, np.abs(miss) < np.maximum(GATE_MM[-1] * seen.scale, PIXEL_GATE))
    return _summary(state, covariance, weights, ends, close.part(took), expected_mm, lift, misfit)


def _summary(
    state: Array, covariance: Array, weights: Array, ends: Array, hits: JointSteps, expected_mm: Array, lift: Array,
    misfit: float,
) -> SpaceLine:
    """Support of the settled line by its steps ``hits``: first by photo, then along the edge over the photos that show it."""
    count, bands = weights.shape[1], hits.bands
    offset, rise = weights @ state[:count], ends @ state[count:]
    value = np.zeros((len(bands), len(offset)))
    value[hits.photo, hits.station] = hits.surprise
    opened = _open_at(bands, (offset - stacked(bands, "lean") * (rise + lift)) * stacked(bands, "scale_px_per_mm"))
    looks = opened.sum(axis=1)
    part = ((value > 0) & opened).sum(axis=1) / np.maximum(looks, 1)
    showing = (looks > 0) & (part >= SHOWING)
    evidence = float((value * opened)[showing].sum()) / max(float(looks[showing].sum()), 1.0)
    asked = showing if showing.any() else looks > 0
    at = opened[asked].sum(axis=0)
    shown = ((value > 0) & opened)[asked].sum(axis=0)
    seen = at > 0
    supported = seen & (shown >= np.maximum(1.0, SUPPORTED_SHARE * at))
    mean = np.r_[np.zeros(count), 0.5, 0.5, 2 / 3]
    return SpaceLine(
        offset_mm=offset,
        height_mm=expected_mm + rise,
        rise_mm=float(rise.mean()),
        height_u_mm=float(np.sqrt(mean @ covariance @ mean)),
        support=float(supported.sum() / max(seen.sum(), 1)) * min(1.0, float(seen.mean()) * 2),
        evidence=evidence,
        open_photos=int((looks > 0).sum()),
        photo_support={bands[k].photo_id: float(part[k]) for k in np.flatnonzero(looks)},
        showing=tuple(bands[k].photo_id for k in np.flatnonzero(showing)),
        misfit=misfit,
    )


def _open_at(bands: Sequence[Band], place_px: Array) -> BoolArray:
    """(P, N) whether each photo could show something at ``place_px`` (P, N) across the path."""
    opened = np.zeros(place_px.shape, dtype=bool)
    row = np.arange(place_px.shape[1])
    for k, (band, place) in enumerate(zip(bands, place_px, strict=True)):
        cell = np.clip(np.round(place - band.step_px[0]).astype(np.int64), 0, len(band.step_px) - 1)
        opened[k] = ~band.covered[row, cell] & (np.abs(place) <= band.step_px[-1])
    return opened


def hat_weights(along_mm: Array, nodes_mm: Array) -> Array:
    """(N, J+1) weights of the nodes in piecewise linear interpolation at ``along_mm`` (N,)."""
    place = np.clip(np.searchsorted(nodes_mm, along_mm, side="right") - 1, 0, len(nodes_mm) - 2)
    part = np.clip((along_mm - nodes_mm[place]) / (nodes_mm[place + 1] - nodes_mm[place]), 0.0, 1.0)
    out = np.zeros((len(along_mm), len(nodes_mm)))
    out[np.arange(len(along_mm)), place] = 1 - part
    out[np.arange(len(along_mm)), place + 1] += part
    return out
