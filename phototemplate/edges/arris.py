"""Where on a rounded edge do photos see the step? From there to the outermost line in plan.

A rounding of radius r lies between the line where the top begins to bend, r inside the plan silhouette, and the line where
the face becomes upright, r below. Which part of it a photo shows as the step depends on material and light: where top and
rounding differ in colour (a ply top over a laminated face) the step is at the inner line; on one material with a highlight
along the rounding it is the highlight's outer flank; on matt wood something between. On rendered kitchens with roundings
of 0.7 to 0.9 mm, at 0.5 to 1.2 px/mm, lines intersected in space from three to seven photos lay between 0.75 r inside and
0.35 r outside the silhouette (a thin highlight is widened by the lens), 0.05 to 0.15 r inside on the mean of five edges,
which is what is corrected; the rest is the uncertainty of the definition.
"""

from __future__ import annotations

from phototemplate.settings import EdgeSettings

INSET = 0.15
"""Mean inset of the seen line from the plan silhouette, in units of the rounding's radius"""
INSET_U = 0.35
"""Standard uncertainty of that"""


def correction(settings: EdgeSettings) -> tuple[float, float]:
    """Outward shift of a traced edge and its standard uncertainty, mm.

    With radius r and its uncertainty u_r the variance is ``(INSET u_r)^2 + INSET_U^2 (r^2 + u_r^2)``.
    """
    radius, u = settings.arris_mm, settings.arris_u_mm
    return INSET * radius, float(((INSET * u) ** 2 + INSET_U**2 * (radius**2 + u**2)) ** 0.5)
