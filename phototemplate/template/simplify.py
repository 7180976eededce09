"""Thinning of polylines within a stated tolerance; arcs are left alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from phototemplate.model import Array
from phototemplate.template.constants import KEPT_TURN_RAD

Vertex = tuple[float, float, float]


def simplified(vertices: Sequence[Vertex], tolerance_mm: float, closed: bool = True) -> tuple[Vertex, ...]:
    """The closed polyline with straight runs thinned (Douglas-Peucker); bulged spans and true corners stay.

    No vertex left out lies farther than ``tolerance_mm`` from the line drawn. Turns above 10 degrees count as corners.
    """
    n = len(vertices)
    if tolerance_mm <= 0 or n < 4:
        return tuple(vertices)
    v = np.asarray(vertices)
    keep = _corners(v, closed)
    if not keep.any():
        keep[0] = True
    order = np.nonzero(keep)[0]
    out: list[Vertex] = []
    for k, i in enumerate(order):
        j = int(order[(k + 1) % len(order)])
        if not closed and k == len(order) - 1:
            out.append((float(v[i, 0]), float(v[i, 1]), 0.0))
            break
        span = [int(m) % n for m in range(int(i), int(i) + ((j - int(i)) % n or n) + 1)]
        if len(span) == 2:
            out.append((float(v[i, 0]), float(v[i, 1]), float(v[i, 2])))
            continue
        line = shapely.LineString(v[span, :2]).simplify(tolerance_mm, preserve_topology=False)
        out += [(float(x), float(y), 0.0) for x, y in shapely.get_coordinates(line)[:-1]]
    return tuple(out)


def _corners(v: Array, closed: bool) -> NDArray[np.bool_]:
    """Vertices that must stay: ends of bulged spans, turns, ends of an open line."""
    bulged = np.abs(v[:, 2]) > 1e-12
    keep: NDArray[np.bool_] = bulged | np.roll(bulged, 1)
    ahead = np.roll(v[:, :2], -1, axis=0) - v[:, :2]
    behind = v[:, :2] - np.roll(v[:, :2], 1, axis=0)
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    dot = (behind * ahead).sum(axis=1)
    keep = keep | (np.abs(np.arctan2(cross, dot)) > KEPT_TURN_RAD)
    if not closed:
        keep[0] = keep[-1] = True
    return keep
