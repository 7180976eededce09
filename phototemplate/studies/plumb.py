"""Lean of a wall: how far it departs from square to the cabinet plane, from strip targets at different heights.

The places of the wall that strips show are compared with its profile in plan; what is left is a straight line in the height.
The reference is the plane of the cabinet tops, not gravity: a cabinet out of level leans with it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes.evaluate import chord_frame, offset_at, slope_at, to_chord
from phototemplate.edges.sources.strip import arch
from phototemplate.model import Array, FreePoint, Measurement
from phototemplate.network.workplane import to_work
from phototemplate.studies.constants import BEYOND_SEEN_MM, LEAN_REACH_MM, NEAR_WALL_MM, ROUGH_WALL_U_MM
from phototemplate.studies.wall_line import room_side
from phototemplate.units import INCH_MM


@dataclass(frozen=True)
class Lean:
    """Positive: the wall comes into the room with height."""

    edge_id: str
    mm_per_m: float
    u_mm_per_m: float
    heights_mm: tuple[float, float]
    """Lowest and highest target over the cabinet plane"""
    strips: tuple[str, ...]

    @property
    def U_mm_per_m(self) -> float:
        """k = 2"""
        return 2.0 * self.u_mm_per_m

    @property
    def sentence(self) -> str:
        """What a person reads."""
        way = "into the room" if self.mm_per_m > 0 else "away from the room"
        per_foot = self.mm_per_m * 12 * INCH_MM / 1000.0
        text = f"{self.edge_id} leans {abs(self.mm_per_m):.1f} mm per metre of height {way}, U {self.U_mm_per_m:.1f} mm/m"
        text += f" ({abs(per_foot):.2f} mm per foot), against square to the cabinet plane"
        if abs(self.mm_per_m) <= self.U_mm_per_m:
            text = f"{self.edge_id} shows no lean beyond its U of {self.U_mm_per_m:.1f} mm per metre of height"
        return f"{text}; seen between {self.heights_mm[0]:.0f} and {self.heights_mm[1]:.0f} mm over the cabinets."


def lean(m: Measurement, edge_id: str, strips: Sequence[str] = ()) -> Lean | None:
    """Lean of a wall, by generalised least squares with the full covariance of the targets; None where the heights of its
    strip targets reach over less than :data:`LEAN_REACH_MM`. ``strips`` limits which are used."""
    segment = next((s for s in m.outline.segments if s.edge_id == edge_id), None)
    names = tuple(strips) or ("W",)
    points = [p for p in m.network.points if p.target_id.startswith(names)]
    if segment is None or segment.bend_per_mm or len(points) < 6:
        return None
    work, jac = to_work(m.work_plane, np.array([p.xyz_mm for p in points]), np.array([p.shared_jac for p in points]))
    plan = m.outline.plan_from_work
    xy = work[:, :2] @ plan[:2, :2].T + plan[:2, 2]
    s, o = to_chord(segment, xy)
    off = o - offset_at(segment, s)
    reach = float(np.ptp(to_chord(segment, segment.points_mm)[0])) if len(segment.points_mm) else 0.0
    first = float(to_chord(segment, segment.points_mm)[0].min()) if len(segment.points_mm) else 0.0
    near = (np.abs(off) < NEAR_WALL_MM) & (s > first - BEYOND_SEEN_MM) & (s < first + reach + BEYOND_SEEN_MM)
    if np.count_nonzero(near) < 6 or float(np.ptp(work[near, 2])) < LEAN_REACH_MM:
        return None
    side = room_side(m.outline, segment, m.work_plane.heights)
    frame = chord_frame(segment)
    # the profile's slope is a few mm per metre: normal to the chord is normal to the wall
    normal = frame.normal - slope_at(segment, s)[:, None] * frame.tangent
    turn = plan[:2, :2] @ m.work_plane.rotation[:2]
    n = side * np.einsum("ni,ij->nj", normal, plan[:2, :2])
    shared = np.einsum("ni,nik->nk", n, jac[:, :2])[near]
    across = side * normal @ turn
    noise = np.array([float(v @ p.noise_cov_mm2 @ v) for v, p in zip(across, points, strict=True)])[near]
    k = m.work_plane.influences.cov[: shared.shape[1], : shared.shape[1]]
    cov = np.diag(noise + ROUGH_WALL_U_MM**2) + shared @ k @ shared.T
    cov += _standing_off(m, [p for p, ok in zip(points, near, strict=True) if ok])
    y, z = side * off[near], work[near, 2]
    design = np.column_stack([np.ones_like(z), z / 1000.0])
    weight = np.linalg.solve(cov, design)
    normal_matrix = design.T @ weight
    beta = np.linalg.solve(normal_matrix, weight.T @ y)
    rest = y - design @ beta
    # what the covariance does not know of, such as a wall that waves with height, shows in the residuals
    inflate = max(1.0, math.sqrt(float(rest @ np.linalg.solve(cov, rest)) / max(y.size - 2, 1)))
    u = math.sqrt(float(np.linalg.inv(normal_matrix)[1, 1])) * inflate
    used = tuple(sorted({p.target_id for p, ok in zip(points, near, strict=True) if ok}))
    return Lean(edge_id, float(beta[1]), u, (float(z.min()), float(z.max())), used)


def _standing_off(m: Measurement, points: Sequence[FreePoint]) -> Array:
    """(n, n) covariance of how far the pieces of strip stand off the wall, each as a whole and bulging between its ends: the
    same for all points of a piece, so that no number of points takes it off."""
    settings = m.settings.edges
    rows = []
    for piece in sorted({p.target_id for p in points}):
        target = m.network.targets[piece]
        share = [(1.0, arch(target, p.point_id)) if p.target_id == piece else (0.0, 0.0) for p in points]
        rows += list(np.array(share).T * [[settings.strip_standoff_u_mm], [settings.strip_bulge_u_mm]])
    stacked = np.array(rows)
    cov: Array = stacked.T @ stacked
    return cov
