"""Where on a rounded edge do photos see the step? From there to the outermost line in plan.

A rounding of radius r lies between the line where the top begins to bend, r inside the plan silhouette, and the line where
the face becomes upright, r below. Which part of it a photo shows as the step depends on material and light: where top and
rounding differ in colour (a ply top over a laminated face) the step is at the inner line; on one material with a highlight
along the rounding it is the highlight's outer flank; on matt wood something between.

Study: five edges of one rendered kitchen with roundings of 0.7 and 0.9 mm, at 0.5 to 1.3 px/mm, exact cameras, three to seven
photos each. The lines intersected in space lay between 0.8 r inside and 0.4 r outside the silhouette (a highlight thinner
than a pixel is widened by lens and sharpening), 0.04 r inside on the mean. A line seen at the middle of the arc would be
0.29 r inside. The correction below is a judgement between these two, not a fitted value; five edges of one scene cannot
tell it from zero, and its uncertainty covers most of what was seen. Sharper photos may well show another share.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.edges.profiles import Band
from phototemplate.edges.subpixel import StepFit
from phototemplate.model import Array, BoolArray
from phototemplate.settings import EdgeSettings

INSET = 0.15
"""Assumed inset of the seen line from the plan silhouette, in units of the rounding's radius"""
INSET_U = 0.35
"""Standard uncertainty of that"""


COLOUR_INSET = 0.8
"""The same where the colour changes: the step is at the inner line, a little softened by the shading of the rounding"""
COLOUR_INSET_U = 0.25
SHADING = (2.0, 8.0)
"""Light on top over light on the face: below the first it may well be one material under one light, above the second it is
surely two; between them the weight of the second case grows with the logarithm (a judgement)"""
LEAST_LEAN = 0.2
"""A photo taken from further outside than this (tangent of its direction from the vertical) shows the face"""


def correction(settings: EdgeSettings, ratio: float = 1.0) -> tuple[float, float]:
    """Outward shift of a traced edge and its standard uncertainty, mm.

    A mixture of two cases, one material (:data:`INSET`) and two (:data:`COLOUR_INSET`), weighted by how much lighter one side
    is than the other; the variance is that of the mixture. Radius r and its uncertainty are those of the settings.
    """
    radius, u = settings.arris_mm, settings.arris_u_mm
    low, high = SHADING
    two = float(np.clip(np.log(max(ratio, 1e-6) / low) / np.log(high / low), 0.0, 1.0))
    inset = two * COLOUR_INSET + (1.0 - two) * INSET
    spread = two * COLOUR_INSET_U**2 + (1.0 - two) * INSET_U**2 + two * (1.0 - two) * (COLOUR_INSET - INSET) ** 2
    return inset * radius, float(((inset * u) ** 2 + spread * (radius**2 + u**2)) ** 0.5)


def light_ratio(
    bands: Sequence[Band], fits: Sequence[StepFit], opened: Sequence[BoolArray], outward: float
) -> float:
    """How much lighter one side of the edge is than the other, in the photos that show its face; 1 where none does.

    The median over stations and photos of light (grey levels to the power 2.2) just beside the step.
    """
    ratios: list[Array] = []
    for band, fit, seen in zip(bands, fits, opened, strict=True):
        rows = np.flatnonzero(seen & (band.lean * outward > LEAST_LEAN))
        if not len(rows):
            continue
        away = band.step_px[None, :] - fit.position_px[rows, None]
        gap = 1.5 * max(fit.blur_px, 0.7)
        sides = []
        for side in (away > gap, away < -gap):
            near = side & (np.abs(away) < gap + 3.0) & ~band.covered[rows]
            light = np.where(near, (band.grey[rows] / 255.0) ** 2.2, 0.0).sum(axis=1) / np.maximum(near.sum(axis=1), 1)
            sides.append(np.where(near.sum(axis=1) >= 2, light, np.nan))
        low, high = np.minimum(*sides), np.maximum(*sides)
        ratio = high / np.maximum(low, 1e-3)
        ratios.append(ratio[np.isfinite(ratio)])
    joined = np.concatenate(ratios) if ratios else np.zeros(0)
    return float(np.median(joined)) if len(joined) >= 5 else 1.0
