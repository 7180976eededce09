"""Is the line the end of something, or a line on it?

Beyond the edge of a cabinet lies its face, its door or the floor, seldom as light as its top. Where both sides of a line are
equally light in most photos the line may be one on the surface: most often the first glue line of a ply edge whose outer ply is
as light as the panel's finish, with the true edge one ply further out and no step to show it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.step_position import StepFit, to_light
from phototemplate.errors import Finding
from phototemplate.model import Array, BoolArray, EdgeKind

NEAR_PX, FAR_PX = 1.5, 4.0
"""Each side is looked at between these distances from the step"""
ALIKE, APART, APART_PLIES = 1.2, 1.35, 1.7
"""Ratio of light on both sides below which a line says nothing of an end, and above which it does: fronts, whose top is a frame
or a flat rail, and the others, where a panel stands on its edge and shows its plies. Judgement on ten rendered kitchens: white
fronts with white faces had 1.3 and more, glue lines in white panels 1.1 to 1.55, true ends of white panels 1.4 and more"""
PLY_U_MM = 0.85
"""Standard uncertainty that goes with it: an edge up to a ply of 1.5 mm further out, as a rectangular distribution"""


def light_ratio(bands: Sequence[Band], fits: Sequence[StepFit], weight: Sequence[Array | BoolArray] | Array) -> float:
    """Light on the lighter side of the line over that on the other: median along the edge, then over photos.

    ``weight`` (P, N): steps with a weight of zero do not count. nan where nothing can be said.
    """
    ratios = []
    for band, fit, used in zip(bands, fits, weight, strict=True):
        rows = np.flatnonzero(used > 0)
        away = band.step_px[None, :] - fit.position_px[rows, None]
        light = to_light(band.grey[rows])
        sides = []
        for side in (-away, away):
            near = (side > NEAR_PX) & (side < FAR_PX) & ~band.covered[rows]
            mean = np.where(near, light, 0.0).sum(axis=1) / np.maximum(near.sum(axis=1), 1)
            sides.append(np.where(near.sum(axis=1) >= 2, np.maximum(mean, 1e-4), np.nan))
        change = np.log(sides[0] / sides[1])
        change = change[np.isfinite(change)]
        if len(change) >= 5:
            ratios.append(abs(float(np.median(change))))
    return float(np.exp(np.median(ratios))) if ratios else float("nan")


def faint_u_mm(ratio: float, kind: EdgeKind) -> float:
    """Standard uncertainty of where the edge is that a line with this ratio of light leaves open; nan: 0."""
    apart = APART if kind == "front" else APART_PLIES
    return PLY_U_MM * float(np.nan_to_num(np.clip((apart - ratio) / (apart - ALIKE), 0.0, 1.0)))


def faint_finding(edge_id: str, u_mm: float) -> tuple[Finding, ...]:
    """``edge-faint`` where ``faint_u_mm`` is not small."""
    if u_mm < 0.2 * PLY_U_MM:
        return ()
    return (Finding("edge-faint", edge_id, added_U_mm=2 * u_mm),)
