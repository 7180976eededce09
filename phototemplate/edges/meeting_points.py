"""About where edges meet, before they are fitted: a wall swells in its corner, so its fit has to know where that is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise

import numpy as np

from phototemplate.edges.constants import LEAST_ANGLE_RAD, ROUNDED_TO_MM
from phototemplate.edges.shapes.robust import robust_line
from phototemplate.model import Array, PlanePoints


def corners_of(points: Mapping[str, PlanePoints], neighbours: Iterable[tuple[str, str]]) -> dict[str, Array]:
    """Edge -> (C, 2) where straight lines through its points and those of its neighbours cross, in the work frame.

    ``neighbours`` are pairs of edges that meet; pairs with an edge that has no two points, and those nearly in line, are left
    out.
    """
    lines = {
        edge: robust_line(p.xy_mm, np.ones(len(p.xy_mm)))
        for edge, p in points.items()
        if len(p.xy_mm) > 1 and np.ptp(p.xy_mm, axis=0).max() > 1.0
    }
    found: dict[str, list[Array]] = {}
    for first, second in neighbours:
        if first not in lines or second not in lines:
            continue
        a, b = lines[first], lines[second]
        turn = np.stack([a.tangent, -b.tangent], axis=1)
        if abs(np.linalg.det(turn)) < np.sin(LEAST_ANGLE_RAD):
            continue
        at = a.origin_mm + np.linalg.solve(turn, b.origin_mm - a.origin_mm)[0] * a.tangent
        corner: Array = np.round(at / ROUNDED_TO_MM) * ROUNDED_TO_MM
        found.setdefault(first, []).append(corner)
        found.setdefault(second, []).append(corner)
    return {edge: np.array(corners) for edge, corners in found.items()}


def meetings(edges: Iterable[str], closed: bool) -> list[tuple[str, str]]:
    """Pairs of edges that follow one another along a loop."""
    run = list(edges)
    pairs = list(pairwise(run))
    return [*pairs, (run[-1], run[0])] if closed and len(run) > 2 else pairs
