"""Where on a rounded edge do photos see the step? From there to the outermost line in plan.

A rounding of radius r lies between the line where the top begins to bend, r inside the plan silhouette, and the line where
the face becomes upright, r below. What a photo shows as one step is a mean over the rounding, weighted by how light changes
along it; seen from several places such a mean meets in one line in space, ``inset`` inside the silhouette and ``drop`` below
the top:

* where top and rounding differ in colour (a ply edge over a finished panel) it is the inner line: inset r, drop 0;
* on one material it lies outward and lower, because the rounding is as bright as the top or brighter: inset 0, drop r;
* even shading puts it at the mean of the arc: inset and drop 0.36 r.

Light alone does not tell which (one wood is fourteen times darker on its face than on its top), but the drop does: photos from
different heights measure the height of the line, and the sheets on the cabinet that of the top. So the inset is a linear
function of the drop, which is what ``intersect`` solves for, and both uncertainties go through the solution.

The numbers are those of lines seen with exact cameras on thirty roundings of seven rendered kitchens (0.5 to 0.9 mm radius, 0.3
to 2.5 px/mm, three finishes; insets -0.2 to 1.1 r, drops 0.1 to 1.5 r): least squares of inset on drop, whose slope of -0.6 is
less than that of the chord of the arc (-1), as a regression on what scatters must be.
"""

from __future__ import annotations

from dataclasses import dataclass

from phototemplate.settings import EdgeSettings

DROP, DROP_U = 0.6, 0.45
"""Drop expected before anything was seen, and its standard deviation, in units of the radius"""
INNER, FALL = 0.8, 0.6
"""Inset = ``INNER`` r - ``FALL`` drop"""
SCATTER = 0.3
"""Standard deviation of the inset about that, in units of the radius"""


@dataclass(frozen=True)
class Rounding:
    """Where a step is seen on a rounded edge, mm. All zero: the edge is where the step is."""

    outward: float = 0.0
    """+1 where the room lies to the left of the path, -1 to the right"""
    inner_mm: float = 0.0
    """Inset of a step seen at the height of the top"""
    fall: float = 0.0
    """By how much the inset shrinks per mm of drop"""
    inset_u_mm: float = 0.0
    """Standard uncertainty of the inset for a given drop"""
    drop_mm: float = 0.0
    """Drop expected beforehand"""
    drop_u_mm: float = 0.0


def rounding(settings: EdgeSettings, outward: float) -> Rounding:
    """Of an edge that is the outermost line of a cabinet's top; radius and its uncertainty are those of the settings."""
    r, u = settings.arris_mm, settings.arris_u_mm
    both = (r**2 + u**2) ** 0.5
    inset_u = ((SCATTER * both) ** 2 + (INNER * u) ** 2) ** 0.5
    drop_u = ((DROP_U * both) ** 2 + (DROP * u) ** 2) ** 0.5
    return Rounding(outward, INNER * r, FALL, inset_u, DROP * r, drop_u)
