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

from phototemplate.settings import EdgeSettings

INSET = 0.15
"""Assumed inset of the seen line from the plan silhouette, in units of the rounding's radius"""
INSET_U = 0.35
"""Standard uncertainty of that"""


def correction(settings: EdgeSettings) -> tuple[float, float]:
    """Outward shift of a traced edge and its standard uncertainty, mm.

    With radius r and its uncertainty u_r the variance is ``(INSET u_r)^2 + INSET_U^2 (r^2 + u_r^2)``.
    """
    radius, u = settings.arris_mm, settings.arris_u_mm
    return INSET * radius, float(((INSET * u) ** 2 + INSET_U**2 * (radius**2 + u**2)) ** 0.5)
