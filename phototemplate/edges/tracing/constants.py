"""What decides in tracing one edge: steps and their positions, expected heights, rounding, intersection in space."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

# --------------------------------------------------------------------------- steps in the profiles (grey_profiles)

LEAST_NOISE: Final = 0.3
"""grey value. Noise of one row of a profile is at least this. Derived: rounding to whole values, 1 / sqrt(12)."""
PARABOLA_REACH_PX: Final = 0.5
"""px. The vertex of the parabola lies this near to its middle sample. Derived: else another sample would be the largest."""
SURPRISE_ZERO: Final = 0.5
"""ratio. Minus log of the chance of a step at which it is no surprise. Chosen on: not recorded."""
SURPRISE_SPAN: Final = 3.0
"""ratio. From there to full surprise. Chosen on: not recorded."""
LEAST_SURPRISE: Final = 0.02
"""ratio. A step counts at least this much. Chosen on: not recorded."""
MOST_MARGIN: Final = 0.25
"""ratio. No more than this share of a path is left out at each end. Chosen on: not recorded."""

# ------------------------------------------------------------------------------- sub-pixel positions (step_position)

BLURS_PX: Final = np.array([0.4, 0.5, 0.6, 0.7, 0.8, 0.95, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0])
"""px. Sigmas of the blur that are tried. Convention: steps of a fifth, from a sharp lens to a shaken photo."""
UNSETTLED_PX: Final = 0.3
"""px. Standard uncertainty of a position for which the model does not hold. Chosen on: not recorded. Feeds U."""
MOST_MOVE_PX: Final = 0.7
"""px. A position moves by no more than this in one iteration. Chosen on: not recorded."""
COMMON_MOVE_PX: Final = 0.5
"""px. The same while the blur is sought. Chosen on: not recorded."""
FITTED_PARAMETERS: Final = 3.0
"""count. Parameters of a step: two levels and its place. Derived: degrees of freedom they take."""
RIDGE: Final = 1e-7
"""ratio. Of the trace of the normal equations, added to their diagonal: a step beside that the window does not reach has no
height. Convention: far below what the noise allows."""
SETTLED_BLURS: Final = 0.8
"""ratio. A position that moved further than this, in sigmas of the blur or in px, has not settled, ... Chosen on: not
recorded."""
SETTLED_PX: Final = 0.05
"""px. ... nor one that still moves by more than this. Chosen on: not recorded."""
CLEAR_STEP_SIGMAS: Final = 3.0
"""ratio. A step is larger than this many standard deviations of a sample. Convention: three sigma."""
WHITE: Final = 255.0
"""grey value. Of white. Source: 8 bits per channel, IEC 61966-2-1 (sRGB)."""
LINEAR_GREY: Final = 0.04045
"""ratio. Up to this share of white the tone curve is a straight line. Source: IEC 61966-2-1 (sRGB)."""
LINEAR_LIGHT: Final = 0.0031308
"""ratio. The same in light. Source: IEC 61966-2-1 (sRGB)."""

# ------------------------------------------------------------------------- reading along a line (line_reading)

FIRST_BLUR_PX: Final = 1.1
"""px. Sigma of the filter that finds the steps along the chosen line. Chosen on: not recorded."""
GATE_MM_PER_PX: Final = 0.5
"""mm per px. Where a photo is sharper than 2 px/mm, steps are read within this many mm for each px of the gate. Chosen on: not
recorded."""
LEAST_CONTRAST: Final = 0.25
"""ratio. Steps with less contrast than this share of the photo's median are not used. Chosen on: not recorded."""
LEAST_NEIGHBOUR: Final = 0.25
"""ratio. Neighbouring steps weaker than this share do not stand in the model of a step. Chosen on: not recorded."""
SMOOTH_EVERY_MM: Final = 250.0
"""mm. The smooth curve through an edge has one degree more for each such length. Chosen on: not recorded."""
FIRST_BIWEIGHT: Final = 6.0
"""ratio. Points beyond this many median residuals have no say in it. Chosen on: not recorded; as in W. S. Cleveland, J. Amer.
Statist. Assoc. 74 (1979) 829."""
LEAST_MISS_MM: Final = 1e-3
"""mm. Added to that median. Convention: keeps a division from failing."""
STRAY_MM: Final = 0.6
"""mm. Stations further than this from a smooth curve through most of the others ... Chosen on: not recorded."""
STRAY_SIGMAS: Final = 6.0
"""ratio. ... and further than this many robust standard deviations are left out. Chosen on: not recorded."""

# ------------------------------------------------------------------------- heights of the tops (expected_height)

TILT_MM: Final = 1.2
"""mm. Standard deviation of a cabinet's rise over half a metre, along and across. Convention: cabinets are set with a level, to
a bubble's width of 2 to 3 mm in a metre. Feeds U."""
OWN_MM: Final = 0.23
"""mm. How well a cabinet's top edge is at the level of its sheets: face frames are not quite flush. Convention: within 1/64 in
(0.4 mm), a rectangular distribution (JCGM 100:2008, 4.3.7). Feeds U."""
END_MM: Final = 0.4
"""mm. By how much the ends of an edge differ in height, against the plane of its sheets. Derived: as ``OWN_MM``, at both ends.
"""
FAR_MM: Final = 2.0
"""mm. The same where no sheet is near. Chosen on: not recorded. Feeds U."""
STEP_MM: Final = 0.3
"""mm. Neighbouring cabinets that differ by less than this at their joint are one section. Chosen on: not recorded."""
PAST_END_MM: Final = 60.0
"""mm. A sheet further past an end of the edge lies on the next cabinet round the corner. Chosen on: not recorded."""
OUTSIDE_MM: Final = 20.0
"""mm. A sheet further outside the edge does not lie on its cabinet. Chosen on: not recorded."""
BEHIND_ALONG_MM: Final = 250.0
"""mm. A sheet is on a cabinet behind another one if another group has a sheet within this along the edge ... Chosen on: not
recorded."""
BEHIND_MM: Final = 150.0
"""mm. ... that is nearer to the edge by more than this. Chosen on: not recorded."""
LEAST_SHEET_U_MM: Final = 0.1
"""mm. Standard uncertainty of a sheet's height at least. Chosen on: not recorded. Feeds U."""
SHEET_SCATTER_MM: Final = 0.2
"""mm. Scatter of sheets about the plane of a cabinet's top: boards and tops are not flat. Chosen on: not recorded. Feeds U."""
BLEND_MM: Final = 100.0
"""mm. Length over which the levels of two sections are blended at their joint. Chosen on: not recorded."""
JOINT_GATE_MM: Final = 0.4
"""mm. Steps this near to a level, or within a pixel, speak for it when a joint is sought. Chosen on: not recorded."""

# ----------------------------------------------------------------------------------- rounded edges (arris_offset)


@dataclass(frozen=True)
class Radius:
    """One component of what is expected of an edge's radius."""

    probability: float
    mm: float
    u_mm: float


RADII: Final = (Radius(0.3, 0.0, 0.05), Radius(0.6, 0.6, 0.35), Radius(0.1, 2.5, 1.2))
"""mm. Sharp, eased, and large. Convention: trade; slabs and parts are left as cut, or eased to 1/32 in (0.8 mm), by paint and
sanding to anything up to 1.2 mm (a rectangular distribution), old tops have roundings up to 3/16 in. Feeds U."""
SHARP_MM: Final = 0.1
"""mm. Up to this radius an arris is sharp. Convention: less than what a photo of 2 px/mm shows."""
LARGE_MM: Final = 1.5
"""mm. From this expected radius on a rounding is large. Convention: 1/16 in; bands and panels are eased by less."""
INSET: Final = (-0.2, 0.35)
"""ratio. Where the step is seen on one material from outside, of the radius, outward of the outermost line: at F / T = 0, and
per unit of it. Derived: -(1 - pi / 4) under an even sky, -(0.215 - 0.5 F / T) / (1 - F / T) under lamps; chosen on: develop
families (rendered) and exact pictures of a round slab (-0.10 and 0.62 at 0.175), where a single step is fitted to it."""
DROP: Final = (0.5, 0.5)
"""ratio. How far below the top, as above. Derived: 0.5 under an even sky, (0.5 - 0.215 F / T) / (1 - F / T) under lamps; chosen
on: as above."""
MOST_FACE_SHARE: Final = 0.8
"""ratio. F / T counts up to this. Derived: nearer to 1 the arc is a light line between two of one light, and no step."""
USUAL_FACE_SHARE: Final = 0.3
"""ratio. F / T where no photo shows the face. Chosen on: develop families (rendered): 0.1 to 0.7."""
SEAM_INSET: Final = 0.95
"""ratio. Inset of the step, seen from everywhere, where two materials meet where the top begins to bend. Chosen on: family
island (rendered); geometry says 1. Feeds U."""
SEAM_U: Final = 0.1
"""ratio. Standard deviation of that. Chosen on: families island and frameless (rendered). Feeds U."""
SEAM_PRIOR: Final = {"front": 0.15, "end": 0.5}
"""ratio. How often two materials meet at an edge: fronts are frames or rails of one material, ends are covered by a finished
panel as often as not. Convention: trade; other kinds are as ends. Feeds U."""


@dataclass(frozen=True)
class Lognormal:
    """What is expected of a ratio of light."""

    mean: float
    sd: float

    def density(self, log_ratio: float) -> float:
        """Of its logarithm."""
        return math.exp(-0.5 * ((log_ratio - self.mean) / self.sd) ** 2) / self.sd


LIGHT_OF: Final = {"one": Lognormal(1.5, 0.8), "two": Lognormal(3.0, 1.9)}
"""ratio. Logarithm of the light on one side of the step over that on the other, on one material and where two meet. Chosen on:
develop families and six kitchens of other makers' kinds (rendered): means and scatter. Feeds U."""
LEAST_PART: Final = 0.02
"""ratio. What is less probable than this is not looked at. Convention: 1 in 50 is what a shop may risk."""
SHADED_U: Final = (0.15, 0.2)
"""ratio. Standard deviation of inset and drop on one material, common to an edge: light from the side or a gloss moves the step
along the arc. Chosen on: develop families (rendered) and exact pictures. Feeds U."""
OUTLINE_U: Final = 0.2
"""ratio. Standard deviation of the outline's place, common to an edge: blur mixes a bright or dark rounding into it. Chosen
on: families rounded, island, inset (rendered). Feeds U."""
ONE_PHOTO_U: Final = 0.08
"""ratio. Standard deviation of the step's place on the rounding in each photo, of the radius: light and what lies behind differ
from photo to photo. Chosen on: as above. Feeds U."""
RADIUS_U_MM: Final = 0.57
"""mm. Standard uncertainty of a measured radius beyond what the photos' agreement says: light on a rounding is no model's.
Chosen on: families rounded and island (rendered),
where errors of 0.3 to 0.8 mm were seen, rms of a rectangular distribution. Feeds U of the radius, and of the edge by as much
as its place hangs on the radius."""
OVERHEAD: Final = 0.15
"""ratio. Photos with less lean to either side look straight down: a mean of both models. Derived: 9 degrees, where the two
differ by less than OUTLINE_U."""
NEAR_PX: Final = 1.5
"""px. Light of each side is that between this distance from the step ... Chosen on: not recorded."""
FAR_PX: Final = 4.0
"""px. ... and this. Chosen on: not recorded."""
LEAST_LIGHT: Final = 1e-4
"""ratio. Light of a side counts at least this much, of that of white. Convention: keeps a logarithm from failing."""
UNRESOLVED_BLURS: Final = 2.0
"""ratio. Steps nearer than this many sigmas of the blur pull at each other. Derived: up to two sigmas the sum of two equal
blurred lines has one maximum only. Feeds U."""

# --------------------------------------------------------------------------- intersection (space_intersection)

TUKEY: Final = 4.5
"""ratio. Residuals beyond this many robust standard deviations have no say. Chosen on: not recorded; biweight of
P. W. Holland, R. E. Welsch, Commun. Statist. A 6 (1977) 813, there with 4.685."""
LEAST_SCALE: Final = 0.15
"""ratio. Positions may agree better than their fits claim (misfit of the model counts as noise there), at most this much.
Chosen on: not recorded. Feeds U."""
LEAST_WEIGHT: Final = 0.05
"""ratio. Positions with less weight than this are left out. Chosen on: not recorded."""
LEAST_ARRIS_U_MM: Final = 1e-4
"""mm. Uncertainties of the rounding's unknowns are at least this. Convention: keeps a matrix from being singular."""
VIEW_MODES: Final = 3
"""count. A photo's own error has a shift, a turn and a bow along the edge, all with the same standard deviation, ...
Convention: the lowest three."""
MORE_EVERY_MM: Final = 500.0
"""mm. ... and one more mode per so much of its length: what lies behind an edge, and how light falls on it, changes within half
a metre, ... Chosen on: not recorded."""
MOST_VIEW_MODES: Final = 6
"""count. ... up to this many. Chosen on: not recorded."""
LEAST_REDUNDANCY: Final = 1.0
"""count. With less than this the photos do not tell how large their own errors are. Convention: one redundant observation."""
SOFTER: Final = 1.5
"""ratio. A photo this much softer than its fellows is doubted. Chosen on: not recorded."""
TILT_FROM_MM: Final = 60.0
"""mm. A section longer than this may be tilted, ... Chosen on: not recorded."""
SAG_FROM_MM: Final = 300.0
"""mm. ... one longer than this may sag, ... Chosen on: not recorded."""
MORE_HEIGHT_FROM_MM: Final = 1200.0
"""mm. ... and one longer than this has one more mode of height ... Chosen on: not recorded."""
MORE_HEIGHT_EVERY_MM: Final = 900.0
"""mm. ... and another for each such length beyond. Chosen on: not recorded."""
COMMON_HEIGHT_SHARE: Final = 0.6
"""ratio. A common error of the expected heights is this share of the best known section's, ... Chosen on: not recorded. Feeds
U."""
COMMON_HEIGHT_MM: Final = 0.2
"""mm. ... and this more. Chosen on: not recorded. Feeds U."""
