"""What decides in the map of lines: how lines are found, settled and told apart, and what a hidden line is."""

from __future__ import annotations

from typing import Final

import numpy as np

from phototemplate.edges.constants import SURFACE_REACH_MM, SURFACE_STEP_MM

# ------------------------------------------------------------------------------------- finding lines (space_hough)

HOUGH_STEP_MM: Final = 0.5
"""mm. Step of the offsets at which lines are sought. Derived: half a pixel at 1 px/mm."""
POOL_MM: Final = 20.0
"""mm. Stations are pooled to this length before the search. Chosen on: not recorded."""
DIFFERENT_MM: Final = 0.8
"""mm. Lines that appear nearer to each other than this along a mean line of sight are one, ... Chosen on: not recorded."""
DIFFERENT_RISE_MM: Final = 4.0
"""mm. ... unless their heights differ by more than this ... Chosen on: not recorded."""
DIFFERENT_APART_MM: Final = 2.0
"""mm. ... and they lie further apart in plan than this. Chosen on: not recorded."""
BEND_COST: Final = 0.02
"""ratio. Share of the best possible score that one step of bend costs per node. Chosen on: not recorded."""
OPEN_WITHIN_PX: Final = 2.0
"""px. A photo could show a line where nothing covers it within this. Chosen on: not recorded."""
VOTE_SPREAD_PX: Final = 0.8
"""px. A step votes for places at least this far to both sides of it. Chosen on: not recorded."""
VOTE_TAPER: Final = 1.5
"""ratio. Its vote falls to nothing at this many times the spread, and is full one spread before. Chosen on: not recorded."""

# ------------------------------------------------------------------------------------ settling lines (space_lines)

GATE_MM: Final = (1.5, 1.0, 0.7, 0.5)
"""mm. Steps further than this from the line do not belong to it, iteration by iteration. Chosen on: not recorded."""
PIXEL_GATE: Final = 0.9
"""px. The gate is never narrower than this. Chosen on: not recorded."""
NEAR_STEPS_MM: Final = 3.0
"""mm. Steps further than this from the line's start ... Derived: twice the first gate."""
NEAR_STEPS_PX: Final = 3.0
"""px. ... and than this never come into question. Chosen on: not recorded."""
STEP_U_PX: Final = 0.35
"""px. Standard uncertainty of a step of the map, ... Chosen on: not recorded. Feeds the map's uncertainties."""
STEP_U_MM: Final = 0.12
"""mm. ... which is at least this. Chosen on: not recorded. Feeds the map's uncertainties."""
SHOWING: Final = 0.4
"""ratio. A photo shows a line if this share of its open stations has a step of it. Chosen on: not recorded."""
SUPPORTED_SHARE: Final = 0.5
"""ratio. A station supports a line if at least this share of the photos that could show it there do. Convention: half."""
TILT_MM: Final = 1.0
"""mm. Standard deviation of the rise of a line over its length, beyond what the sheets tell. Chosen on: not recorded."""
SAG_MM: Final = 0.8
"""mm. The same of its sag. Chosen on: not recorded."""
SIGN_MM: Final = 60.0
"""mm. Contrast keeps its sign over about this length, as what lies behind a silhouette changes along it. Chosen on: not
recorded."""
PHOTO_LOOKS: Final = 6.0
"""count. However many steps it shows, one photo counts as this many independent positions: its own error is common to them.
Chosen on: not recorded."""
SETTLED_BEYOND_MM: Final = 2.0
"""mm. A settled line may lie this far outside the width searched. Chosen on: not recorded."""

# ------------------------------------------------------------------------------- end of the surface (surface_end)

ACROSS_MM: Final = np.arange(-SURFACE_REACH_MM, SURFACE_REACH_MM + 1e-9, SURFACE_STEP_MM)
"""mm. Distances from the line at which light is compared, positive towards the room. Derived: from reach and step."""
PLACES_MM: Final = np.arange(-8.0, 8.1, 0.5)
"""mm. Places at which the surface may end. Derived: from the reach, with a millimetre on either side."""
HERE_MM: Final = 1.0
"""mm. An end this near to a line is the line's. Derived: a pixel at 1 px/mm; as ``INSIDE_MM``."""
BLURRED_MM: Final = (-0.5, 2.0)
"""mm. From where to where the blur of an end reaches: the light of a bright top further over what is dark beyond it. Chosen
on: true edges of the demo and six kitchens of other makers' kinds."""
SAMPLES_PER_LOOK: Final = 3.0
"""count. So many neighbouring samples count as one. Derived: 1.5 mm, the width of a blurred step at 1 px/mm."""
AGREED: Final = (-1.0, 2.0)
"""ratio. Mean and standard deviation of the log disagreement on a surface. Chosen on: true edges of the demo and six kitchens
of other makers' kinds."""
PARTED: Final = (5.5, 2.7)
"""ratio. By how much it is more beyond the end. Chosen on: as above."""
PROFILE_U: Final = 1.3
"""ratio. Scatter of the profile about its two levels. Chosen on: as above."""
BLURRED: Final = (2.0, 3.0)
"""ratio. Mean and standard deviation where the end's blur reaches. Derived: between both levels."""
END_SHARE: Final = 0.6
"""ratio. How often a surface ends somewhere beside a line that is found near an edge. Derived: about every second."""
TURNED_SHARE: Final = 0.1
"""ratio. How often one begins there. Derived: openings are as often near as in ``readings``."""

# -------------------------------------------------------------------------------------- hidden lines (hidden_line)

HIDDEN_NEAREST_MM: Final = 1.75
"""mm. No second line is sought nearer to the chosen one: there is the rounding of the edge itself. Chosen on: not recorded."""
HIDDEN_FURTHEST_MM: Final = 4.5
"""mm. Nor further: such steps have an extremum of their own. Chosen on: not recorded."""
HIDDEN_STEP_MM: Final = 0.25
"""mm. Step of the distances looked at. Derived: a quarter of a pixel at 1 px/mm."""
HIDDEN_PEAK_MM: Final = 1.25
"""mm. The gain has its peak at a step: of the most that it reaches within so much ... Chosen on: not recorded."""
HIDDEN_PEAK: Final = 0.6
"""ratio. ... at least this share. A gain that goes on growing outwards comes from something else further out. Chosen on: not
recorded."""
HIDDEN_NEAREST_BLURS: Final = 1.5
"""ratio. Steps nearer than this many sigma of the blur are not told apart. Chosen on: not recorded."""
HIDDEN_WINDOW_BLURS: Final = 2.5
"""ratio. The profile is fitted this many sigma of the blur beyond both steps. Chosen on: not
recorded; a step rises by 99 % within it."""
HIDDEN_WINDOW_MM: Final = 0.3
"""mm. And so much more on the side of the chosen one. Chosen on: not recorded."""
HIDDEN_ROWS_SHARE: Final = 0.4
"""ratio. The median profile is known where this share of the stations is open. Chosen on: not recorded."""
HIDDEN_SHIFTS_MM: Final = np.arange(-0.75, 0.76, 0.25)
"""mm. Where the chosen step may lie when the other one is taken off it. Chosen on: not recorded."""
HIDDEN_BLURS: Final = np.array([0.7, 0.85, 1.0])
"""ratio. The blur of one step fitted to two is too large: shares of it that are tried, with one step and with two. Chosen on:
not recorded."""
HIDDEN_HEIGHTS_MM: Final = np.arange(-14.0, 8.1, 0.5)
"""mm. Heights over the chosen line at which a second one is sought. Chosen on: not recorded."""
HIDDEN_LEVEL_MM: Final = 0.75
"""mm. A second line within this of the height of the chosen one is at its level. Chosen on: not recorded."""
HIDDEN_MODEL: Final = 0.03
"""ratio. Edge spread functions of real lenses and roundings depart from the model by this share of a step, near the step.
Chosen on: not recorded."""
HIDDEN_GREY_U: Final = 0.7
"""grey value. Standard uncertainty of a mean grey value: rounding, compression, what the tone curve is not. Chosen on: not
recorded."""
HIDDEN_HALO_PX: Final = 1.5
"""px. Radius of the sharpening of phones, one sigma of its blur. Convention: one to two pixels are usual."""
HIDDEN_CLEAR: Final = 9.0
"""ratio. Gain in chi-squared (2 degrees of freedom) from which a photo shows a second step. Chosen on: not
recorded; 1.1 % by chance."""
HIDDEN_MOST: Final = 40.0
"""ratio. The most that one photo's gain counts for. Chosen on: not recorded."""
HIDDEN_ALIKE: Final = 0.85
"""ratio. A level line must explain this share of what the best line at any height explains. Chosen on: not recorded."""
HIDDEN_SHARE: Final = 0.7
"""ratio. Share of the photos in which the place is open that have to show the second line. Chosen on: not recorded."""
HIDDEN_WEAKEST: Final = 0.03
"""ratio. A second step of less than this share of the first is no line. Chosen on: not recorded."""

# -------------------------------------------------------------------------------------- association (association)

SHIFTS_MM: Final = np.arange(-1.6, 1.61, 0.2)
"""mm. Places about a found line that are tried, ... Derived: further away another line is found; steps of a sigma of
``ASSOCIATION_U_MM``."""
TURNS_MM: Final = np.arange(-0.8, 0.81, 0.4)
"""mm. ... how far it may turn at its ends, ... Derived: as above."""
LIFTS_MM: Final = np.arange(-1.8, 1.81, 0.3)
"""mm. ... heights over the expected level, ... Derived: as above; half of the photos have a lean of less than 0.7."""
TILTS_MM: Final = np.arange(-1.2, 1.21, 0.4)
"""mm. ... and tilts of that at its ends. Derived: as above."""
ASSOCIATION_U_PX: Final = 0.35
"""px. Standard uncertainty of a step, ... Derived: as ``STEP_U_PX``."""
ASSOCIATION_U_MM: Final = 0.2
"""mm. ... with which a rounding is still one line. Derived: a third of a millimetre of radius."""
ASSOCIATION_LOOKS: Final = 6.0
"""ratio. Log-likelihood of a photo that shows a line all along, over one that does not. Derived: ``PHOTO_LOOKS`` independent
looks."""
ASSOCIATION_GAIN: Final = 0.7
"""ratio. By how much the log-likelihood has to be better than at the line itself. Convention: odds of 2 to 1."""
ASSOCIATION_STATIONS: Final = 60
"""count. Stations that are looked at. Chosen on: processor time."""
