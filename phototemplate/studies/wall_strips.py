"""Which wall strips belong to one wall, for a job whose file names no edge."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array, Network, WorkPlane
from phototemplate.network.workplane import to_work
from phototemplate.studies.constants import ASIDE_MM, ASIDE_MM_PER_M, ONE_WALL_TURN_RAD, ROW_MM


@dataclass(frozen=True)
class _Piece:
    name: str
    centre: Array
    """(2,) plan of the work frame"""
    along: Array
    """(2,) unit vector"""
    height_mm: float


def walls_of_strips(network: Network, plane: WorkPlane) -> Mapping[str, tuple[str, ...]]:
    """Wall -> its strip pieces in the lowest row. One wall is called ``wall``, several after their first piece."""
    pieces = _pieces(network, plane)
    walls: list[list[_Piece]] = []
    for piece in pieces:
        own = [w for w in walls if any(_same_wall(piece, other) for other in w)]
        walls = [w for w in walls if w not in own] + [[*(p for w in own for p in w), piece]]
    rows = []
    for wall in walls:
        low = min(p.height_mm for p in wall)
        rows.append(tuple(sorted(p.name for p in wall if p.height_mm < low + ROW_MM)))
    rows.sort()
    return {"wall" if len(rows) == 1 else f"wall-{row[0]}": row for row in rows}


def _pieces(network: Network, plane: WorkPlane) -> list[_Piece]:
    out = []
    for name in sorted({p.target_id for p in network.points if p.target_id.startswith("W")}):
        points = [p for p in network.points if p.target_id == name]
        if len(points) < 3:
            continue
        jac = np.array([p.shared_jac for p in points])
        work, _ = to_work(plane, np.array([p.xyz_mm for p in points]), jac)
        centre = work.mean(axis=0)
        along = np.linalg.svd(work[:, :2] - centre[:2])[2][0]
        out.append(_Piece(name, centre[:2], along, float(centre[2])))
    return out


def _same_wall(a: _Piece, b: _Piece) -> bool:
    if abs(float(a.along @ b.along)) < math.cos(ONE_WALL_TURN_RAD):
        return False
    apart = b.centre - a.centre
    normal = np.array([-a.along[1], a.along[0]])
    return abs(float(apart @ normal)) < ASIDE_MM + ASIDE_MM_PER_M * float(np.linalg.norm(apart)) / 1000
