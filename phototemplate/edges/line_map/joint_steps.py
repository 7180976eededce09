"""The steps of all photos along one path in one table, so that a line is settled in all of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from phototemplate.edges.line_map.constants import SIGN_MM
from phototemplate.edges.tracing.grey_profiles import Band, Steps
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.model import Array, BoolArray, IntArray


@dataclass(frozen=True)
class JointSteps:
    """M steps at N stations in P photos, in the order of photos and, within each, of stations."""

    stations: Stations
    bands: tuple[Band, ...]
    photo: IntArray
    """(M,) number of the step's photo"""
    station: IntArray
    """(M,)"""
    position_px: Array
    """(M,) along ``across``"""
    strength: Array
    """(M,)"""
    surprise: Array
    """(M,)"""
    reach: IntArray
    """(2, N) as :func:`sign_reach`"""

    @classmethod
    def of(cls, stations: Stations, bands: Sequence[Band], steps: Sequence[Steps]) -> JointSteps:
        """``steps`` of every band."""
        photo = np.repeat(np.arange(len(bands)), [len(s.station) for s in steps])
        station, position, strength, surprise = (
            np.concatenate([np.zeros(0, dtype), *(getattr(s, name) for s in steps)])
            for name, dtype in (("station", np.int64), ("position_px", float), ("strength", float), ("surprise", float))
        )
        return cls(stations, tuple(bands), photo, station, position, strength, surprise, sign_reach(stations))

    def __len__(self) -> int:
        return len(self.station)

    def part(self, take: BoolArray | IntArray) -> JointSteps:
        """Those of ``take``."""
        return replace(
            self, photo=self.photo[take], station=self.station[take], position_px=self.position_px[take],
            strength=self.strength[take], surprise=self.surprise[take],
        )

    @cached_property
    def scale(self) -> Array:
        """(M,) px/mm across the path at each step."""
        return np.asarray(stacked(self.bands, "scale_px_per_mm")[self.photo, self.station])

    @cached_property
    def lean(self) -> Array:
        """(M,) c of o = d - c z at each step."""
        return np.asarray(stacked(self.bands, "lean")[self.photo, self.station])

    def one_per_station(self, residual_px: Array, near: BoolArray) -> IntArray:
        """Numbers of the steps that belong to a line from which they lie ``residual_px`` (M,), see :func:`one_per_station`."""
        return one_per_station(self.reach, self.photo, self.station, residual_px, self.strength, self.surprise, near)


def stacked(bands: Sequence[Band], name: str) -> Array:
    """(P, N) values of all bands."""
    return np.array([getattr(b, name) for b in bands])


def sign_reach(stations: Stations) -> IntArray:
    """(2, N) first station within half ``SIGN_MM`` of each, and first beyond it."""
    half = SIGN_MM / 2 * np.array([[-1.0], [1.0]])
    return np.searchsorted(stations.along_mm, stations.along_mm + half).astype(np.int64)


def one_per_station(
    reach: IntArray, photo: IntArray | int, station: IntArray, residual_px: Array, strength: Array, surprise: Array,
    near: BoolArray,
) -> IntArray:
    """Numbers of the steps ``near`` a line that fit it best, one at each station of a photo, in the order of both.

    Fits best: of the sign that prevails within ``SIGN_MM``, then nearest; a strong step may be a little further away.
    """
    order = np.flatnonzero(near)
    if not len(order):
        return order
    first = photo * reach.shape[1]
    cell = (first + station)[order]
    low, high = (np.searchsorted(cell, (first + edge[station])[order]) for edge in reach)
    sign = np.sign(strength[order])
    running = np.concatenate([[0.0], np.cumsum(sign * surprise[order])])
    prevailing = np.sign(running[high] - running[low])
    fits = (prevailing == 0) | (sign == prevailing)
    order, cell = order[fits], cell[fits]
    misfit = np.abs(residual_px[order]) - 0.5 * surprise[order]
    rank = np.lexsort((misfit, cell))
    new = np.ones(len(rank), dtype=bool)
    new[1:] = cell[rank[1:]] > cell[rank[:-1]]
    return np.asarray(order[rank[new]])
