"""Level map of the cabinet tops: shims and flatness."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from phototemplate.model import Array, HeightPoint
from phototemplate.template.piece_types import Check, Shim
from phototemplate.template.rules import DESIGN_MANUAL, FLATNESS


def shim_list(heights: Sequence[HeightPoint], plan_from_work: Array) -> tuple[Shim, ...]:
    """How far every place lies below the highest one, with U (k = 2), in the order of cabinets.

    The highest place is taken as the reference: stone laid on it needs the others raised. Errors of two heights are
    taken as independent, which overstates U where they are not. Nothing is said about level with respect to gravity,
    which photos do not show.
    """
    if not heights:
        return ()
    top = max(heights, key=lambda h: h.height_mm)
    out = []
    for h in sorted(heights, key=lambda h: (h.group, h.name)):
        xy = plan_from_work[:2, :2] @ np.asarray(h.xy_mm) + plan_from_work[:2, 2]
        u = 0.0 if h is top else math.hypot(h.u_mm, top.u_mm)
        out.append(Shim(h.name, h.group, (float(xy[0]), float(xy[1])), top.height_mm - h.height_mm, 2.0 * u))
    return tuple(out)


def flatness_checks(heights: Sequence[HeightPoint]) -> list[Check]:
    """The largest difference of height between two places within each distance against its limit."""
    out = []
    for within, limit in FLATNESS:
        worst: tuple[float, HeightPoint, HeightPoint] | None = None
        for a, b in itertools.combinations(heights, 2):
            if float(np.hypot(*(np.asarray(a.xy_mm) - np.asarray(b.xy_mm)))) <= within:
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
