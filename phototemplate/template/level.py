"""Level map of the cabinet tops: shims and flatness, and runs whose edges lie on several levels."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, HeightPoint, Segment
from phototemplate.template.chains import LoopEdges
from phototemplate.template.piece_types import Check, Shim
from phototemplate.template.rules import DESIGN_MANUAL, FLATNESS

FREE = ("front", "end", "opening")
"""Kinds of edges at which a top ends with nothing beside it; walls and panels stand beside tops of any level"""


def shim_list(heights: Sequence[HeightPoint], plan_from_work: Array) -> tuple[Shim, ...]:
    """How far every place lies below the highest one of its level, with U (k = 2), in the order of cabinets.

    The highest place is taken as the reference: stone laid on it needs the others raised. Errors of two heights are
    taken as independent, which overstates U where they are not. Nothing is said about level with respect to gravity,
    which photos do not show.
    """
    highest: dict[str, HeightPoint] = {}
    for h in heights:
        highest[h.level] = max(highest.get(h.level, h), h, key=lambda one: one.height_mm)
    out = []
    for h in sorted(heights, key=lambda h: (h.group, h.name)):
        top = highest[h.level]
        xy = plan_from_work[:2, :2] @ np.asarray(h.xy_mm) + plan_from_work[:2, 2]
        u = 0.0 if h is top else math.hypot(h.u_mm, top.u_mm)
        out.append(Shim(h.name, h.group, (float(xy[0]), float(xy[1])), top.height_mm - h.height_mm, 2.0 * u))
    return tuple(out)


def flatness_checks(heights: Sequence[HeightPoint]) -> list[Check]:
    """The largest difference of height between two places of a level within each distance against its limit."""
    out = []
    for within, limit in FLATNESS:
        worst: tuple[float, HeightPoint, HeightPoint] | None = None
        for a, b in itertools.combinations(heights, 2):
            if a.level == b.level and float(np.hypot(*(np.asarray(a.xy_mm) - np.asarray(b.xy_mm)))) <= within:
                step = abs(a.height_mm - b.height_mm)
                if worst is None or step > worst[0]:
                    worst = (step, a, b)
        if worst is None:
            continue
        step, a, b = worst
        out.append(Check("flatness", f"{a.name} - {b.name}", "look" if step > limit else "ok", DESIGN_MANUAL,
                         {"first": a.name, "second": b.name, "step_mm": step, "U_mm": 2.0 * math.hypot(a.u_mm, b.u_mm),
                          "limit_mm": limit, "within_mm": within}))
    return out


def across_levels(loops: Sequence[LoopEdges], segments: Sequence[Segment]) -> list[Finding]:
    """``loop-levels`` where a loop joins free edges of tops of several levels: no one top has such an outline."""
    level = {s.edge_id: s.level for s in segments if s.kind in FREE and s.level}
    out = []
    for loop in loops:
        levels = tuple(dict.fromkeys(level[e] for e in loop.edge_ids if e in level))
        if len(levels) > 1:
            edges = tuple(next(e for e in loop.edge_ids if level.get(e) == one) for one in levels)
            out.append(Finding("loop-levels", loop.loop_id, edges=edges, levels=levels))
    return out
