"""Tops on several levels: a run of cabinets with a raised bar, or with a lowered top for baking.

The heights of the sheets tell. Sorted, they are split where a gap is wider than boards and cabinets out of level can make
(single-linkage clustering of one variable); what somebody has named stays together whatever its height.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, HeightPoint, Level
from phototemplate.network.constants import LEVEL_GAP_MM

MAIN, RAISED, LOWERED = "main", "raised", "lowered"
"""Names of levels that nobody has named, as the job file writes them"""


def find_levels(heights: Sequence[HeightPoint], cov: Array, named: Mapping[str, str]) -> tuple[Level, ...]:
    """Group sheets into levels.

    ``cov`` (n, n) is the covariance of the heights in mm^2, ``named`` cabinet -> level. The main level, in which the work plane
    lies, comes first, the others follow from the highest down.
    """
    groups: dict[str, list[int]] = {}
    rest = []
    for i, point in enumerate(heights):
        name = named.get(point.group, "")
        if name:
            groups.setdefault(name, []).append(i)
        else:
            rest.append(i)
    rest.sort(key=lambda i: heights[i].height_mm)
    clusters: list[list[int]] = []
    for i in rest:
        if clusters and heights[i].height_mm - heights[clusters[-1][-1]].height_mm < LEVEL_GAP_MM:
            clusters[-1].append(i)
        else:
            clusters.append([i])
    found = [*((name, members) for name, members in groups.items()), *(("", members) for members in clusters)]
    mean = [float(np.mean([heights[i].height_mm for i in members])) for _, members in found]
    # the work plane runs through the sheets that outvote the others
    first = min(range(len(found)), key=lambda k: (round(abs(mean[k]) / LEVEL_GAP_MM), -len(found[k][1])), default=0)
    order = sorted(range(len(found)), key=lambda k: (k != first, -mean[k]))
    taken = set(groups)
    levels = []
    for k in order:
        name, members = found[k]
        if not name:
            name = _free(MAIN if k == first else RAISED if mean[k] > mean[first] else LOWERED, taken)
            taken.add(name)
        u = float(np.sqrt(max(cov[np.ix_(members, members)].mean(), 0.0)))
        levels.append(Level(name, mean[k], u, tuple(heights[i].name for i in members)))
    return tuple(levels)


def _free(name: str, taken: set[str]) -> str:
    """``name``, numbered from 2 on where it is taken."""
    return next(n for n in (name, *(f"{name} {k}" for k in range(2, len(taken) + 3))) if n not in taken)


def level_findings(levels: Sequence[Level]) -> list[Finding]:
    """What to look at where the tops lie on several levels."""
    out = []
    for level in levels[1:]:
        code = "level-one-sheet" if len(level.sheets) == 1 else "level-found"
        apart = level.height_mm - levels[0].height_mm
        side = "above" if apart > 0 else "below"
        out.append(Finding(code, level.name, sheets=level.sheets, off_mm=abs(apart), where_word=side, U_mm=2 * level.u_mm))
    return out
