"""Which step of each photo belongs to the chosen line? A search over all places near it, before it is measured.

Photos from two sides may show two lines of one edge (its corner and a glue line beside it, say), and some line in space at
another height passes through the corner in one photo and through the glue line in the next. Least squares that start there stay
there. So the places and heights about a line, its turn and tilt among them, are all tried: every photo gives each of them the
share of the edge along which it has a step there, and what the sheets know of the height counts as well.
"""

from __future__ import annotations

import itertools

import numpy as np

from phototemplate.edges.line_map.constants import (
    ASSOCIATION_GAIN,
    ASSOCIATION_LOOKS,
    ASSOCIATION_STATIONS,
    ASSOCIATION_U_MM,
    ASSOCIATION_U_PX,
    LIFTS_MM,
    SAG_MM,
    SHIFTS_MM,
    TILTS_MM,
    TURNS_MM,
)
from phototemplate.edges.line_map.joint_steps import JointSteps
from phototemplate.edges.tracing.expected_height import Levels
from phototemplate.model import Array


def best_association(
    steps: JointSteps, offset_mm: Array, rise_mm: Array, base_mm: Array, levels: Levels
) -> tuple[Array, Array]:
    """Offset and height over the expected level, (N,) each, of the line that most photos agree on.

    It is sought near one at ``offset_mm`` and ``rise_mm`` (N,). ``steps`` are those that may belong to it; ``base_mm`` (N,) is
    the height at which the bands were sampled.
    """
    along, n = levels.along_mm, steps.station
    x = 2.0 * (along - along[0]) / max(float(np.ptp(along)), 1e-9) - 1.0
    mean, tilt, sag = np.polynomial.legendre.legfit(x, rise_mm, 2)
    straight = mean + tilt * x
    grid = np.array(list(itertools.product(SHIFTS_MM, TURNS_MM, LIFTS_MM, TILTS_MM)))
    reach = np.abs(grid).max(axis=0)
    miss = steps.position_px / steps.scale - offset_mm[n] + steps.lean * (levels.height_mm + straight - base_mm)[n]
    close = np.abs(miss) < reach[0] + reach[1] + np.abs(steps.lean) * (reach[2] + reach[3]) + 1.0
    close &= n % max(1, len(along) // ASSOCIATION_STATIONS) == 0
    score, still = np.zeros(len(grid)), 0.0
    for photo in np.unique(steps.photo[close]):
        take = close & (steps.photo == photo)
        at, lean, off = n[take], steps.lean[take], miss[take]
        by = np.stack([-np.ones(len(at)), -x[at], lean, lean * x[at]])
        width = np.hypot(ASSOCIATION_U_PX / steps.scale[take], ASSOCIATION_U_MM)
        worth = ASSOCIATION_LOOKS * steps.surprise[take] / len(np.unique(at))
        score += np.exp(-0.5 * ((off + grid @ by) / width) ** 2) @ worth
        still += float(np.exp(-0.5 * ((off + lean * (rise_mm - straight)[at]) / width) ** 2) @ worth)
    level_u, tilt_u = float(np.median(levels.u_mm)), 0.5 * levels.tilt_u_mm
    score -= 0.5 * ((mean + grid[:, 2]) / level_u) ** 2 + 0.5 * ((tilt + grid[:, 3]) / tilt_u) ** 2
    # from the middle to the ends the second Legendre polynomial rises by 1.5
    still -= 0.5 * float((mean / level_u) ** 2 + (tilt / tilt_u) ** 2 + (1.5 * sag / SAG_MM) ** 2)
    best = int(np.argmax(score))
    if score[best] < still + ASSOCIATION_GAIN:
        return offset_mm, rise_mm
    shift, turn, lift, more = grid[best]
    return offset_mm + shift + turn * x, straight + lift + more * x
