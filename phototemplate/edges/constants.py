"""What decides in the edge stage: reaches, thresholds, priors. Unit first, then what it is and where it comes from.

The likelihoods and priors of the readings of a line stand in :mod:`phototemplate.edges.readings.constants`.
"""

from __future__ import annotations

from typing import Final

# --------------------------------------------------------------------------------- the surface and its end

SURFACE_REACH_MM: Final = 9.0
"""mm. Light is compared this far to both sides of a line. Derived: covers the zones below and a cabinet's face frame by
half."""
SURFACE_STEP_MM: Final = 0.5
"""mm. Distance of the places compared. Derived: half a pixel to a pixel of a 12-megapixel photo from 1.5 m."""
STRETCH_STATIONS: Final = 6
"""count. Stations averaged before photos are compared, 30 mm. Chosen on: the demo and six kitchens of other makers' kinds."""
INSIDE_MM: Final = (-6.0, -1.5)
"""mm. Zone on the cabinets' side of a line, clear of its blurred step. Derived: blur of 1 px sigma at 1 px/mm, 1.5 of it."""
BEYOND_MM: Final = (2.5, 7.0)
"""mm. Zone beyond a line that tells whether the surface goes on. Derived: between a ply (1.5 mm) and half a door (19 mm)."""
STEEP_LEAN: Final = 1.6
"""ratio. Photos that look flatter than this over the top (mm aside per mm of height) are not compared. Derived: 0.3 mm of
height
error, the usual one of a cabinet top, then moves light by half a millimetre."""
FINE_SHARE: Final = 0.5
"""ratio. Nor are photos with less than this share of the usual resolution: their blur alone would disagree. Chosen on: not
recorded."""
DARKEST: Final = 1e-3
"""ratio. Light below this counts as this. Derived: a grey value of 3 of 255, where noise and stray light are all there is."""
SURFACE_NOISE: Final = 0.012
"""ratio. Log light of one surface differs by this much between photos at least. Chosen on: the demo and six kitchens of other
makers' kinds, all rendered; the surface beside the line measures its own (``readings``)."""
STRAY_LIGHT: Final = 0.0002
"""ratio. Light that lens and room add to a place, of that of white, differs by this much between photos. Derived: a fiftieth
of the one
per cent of veiling glare usual for a phone's lens."""
SURFACE_SLOPE: Final = 0.15
"""ratio. Share of the change of light within a millimetre that an error of place makes between photos: 0.15 mm. Derived: height
0.3 mm at a lean that differs by half between photos."""

# ------------------------------------------------------------------------------------------ lines in space

LEAST_BAND_PX: Final = 8.0
"""px. A band is at least this wide to both sides. Derived: five sigma of the step filter on either side."""
OPEN_SHARE: Final = 0.08
"""ratio. A photo is read along a path if at least this share of its stations is open. Chosen on: not recorded."""
STEP_BLUR_PX: Final = 0.8
"""px. Sigma of the filter that finds steps. Chosen on: the demo and six kitchens of other makers' kinds: of 1.1, 0.8 and 0.65
the one
with which the true edge is most often among the lines found (a ply of 1.5 mm is two pixels wide)."""
BEND_EVERY_MM: Final = 120.0
"""mm. A curved path may bend at places this far apart. Chosen on: not recorded."""
MOST_TURN_MM: Final = 10.0
"""mm. A straight edge departs from a rough path by at most this much more at one end than at the other. Chosen on: not
recorded."""
MOST_BEND_MM: Final = 4.0
"""mm. The same of a curved one from bend to bend. Chosen on: not recorded."""
OWNER_SUPPORT: Final = 0.7
"""ratio. A line owns its steps if photos agree on it along this share of its length, ... Chosen on: not recorded."""
OWNER_MISFIT: Final = 1.2
"""ratio. ... and they lie along it as those of a sharp line do. Chosen on: not recorded."""
PEAKS_PER_LINE: Final = 8
"""count. So many peaks are looked at for each line of the map: most are drawn through sightings of others. Derived: a line has
near copies at heights to both sides of its own."""
BESIDE_LEVEL_MM: Final = 2.0
"""mm. Weak lines beside strong ones are sought this near to the expected height. Derived: twice an edge's height error."""
LEAST_OWN: Final = 0.35
"""ratio. A peak of whose steps less than this share is free is no line of its own. Chosen on: the demo, six kitchens of other
makers' kinds and the develop families."""
SAME_STEP_PX: Final = 1.2
"""px. Two lines that appear nearer than this in a photo show the same steps there. Chosen on: not recorded."""
OWN_STEP_PX: Final = 0.5
"""px. How near to a line its steps lie, one sigma. Derived: steps are found to about 0.35 px, lines drawn through those of
others lie 0.6 px off."""
SAME_LINE_MM: Final = 0.6
"""mm. Lines nearer than this all along, and ... Chosen on: not recorded."""
SAME_HEIGHT_MM: Final = 2.0
"""mm. ... within this in height are one. Chosen on: not recorded."""
LEAST_OWN_SETTLED: Final = 0.25
"""ratio. The same of a line of the finished map. Chosen on: as above; true edges have 0.5 and more."""

# ---------------------------------------------------------------------------------------------- proposals

NEAR_SHEET_MM: Final = 450.0
"""mm. Edges of cabinet tops are sought this near to a sheet. Derived: half the depth of a cabinet and a sheet's half."""
SHORTEST_MM: Final = 150.0
"""mm. No shorter edge is proposed. Convention: the narrowest filler that carries a top."""
SHEET_REACH_MM: Final = 180.0
"""mm. A sheet says on which side of a line the cabinet lies for this far to both sides of its centre. Derived: its half
diagonal."""
NO_SHEET_BEYOND_MM: Final = 700.0
"""mm. No sheet lies this near beyond an outline edge. Convention: a range gap is 762 mm wide, the way between two runs
wider."""
PROPOSAL_STATION_MM: Final = 15.0
"""mm. Distance of the stations at which photos are read for a proposal. Derived: three times that of a measurement."""
FIRST_SEARCH_MM: Final = 14.0
"""mm. Half width of the first look at a candidate. Derived: an edge in the plan of segments is seen up to its height error
off."""
NEXT_SEARCH_MM: Final = 6.0
"""mm. The same from an edge that has grown or shrunk. Chosen on: not recorded."""
OUTSIDE_SEARCH_MM: Final = 25.0
"""mm. The same for what runs beside the line found. Convention: doors stand 16 to 22 mm proud; the line found may be a door."""
ANYWHERE_MM: Final = 100.0
"""mm. Standard deviation of an edge's distance from a candidate nobody has pointed at: anywhere in the band. Derived:
five times the widest search, over which its weight then differs by 2 %."""
FOLLOW_MM: Final = 400.0
"""mm. An edge is followed this far beyond the stretch at which it was found, and again from there. Chosen on: not recorded."""
FOLLOW_ROUNDS: Final = 3
"""count. So often. Chosen on: not recorded."""
FADING_MM: Final = 70.0
"""mm. Over this length the photos' showing is averaged. Chosen on: not recorded."""
FADED: Final = 0.5
"""ratio. Where the photos show less than this share of what they show on the edge, it has ended. Derived: half."""
SHEETS_BESIDE: Final = 0.4
"""ratio. Of an edge at least this share has a sheet near beside it. Chosen on: not recorded."""
BREAK_MM: Final = 160.0
"""mm. An edge that is gone for so long was two edges. Chosen on: not recorded."""
LEAST_CONFIDENCE: Final = 0.3
"""ratio. What is less probably an edge is not proposed. Convention: the command's own default."""

# --------------------------------------------------------------------------------- what lies under the sheets

UNKNOWN_THICKNESS_MM: Final = 2.05
"""mm. Paper and board where nobody has said what lies under the sheets. Derived: middle of 0.1 (paper alone) to 4 mm."""
UNKNOWN_THICKNESS_U_MM: Final = 1.13
"""mm. Its standard uncertainty. Derived: rectangular from 0.1 to 4 mm (JCGM 100:2008, 4.3.7)."""
THINNEST_MM: Final = 0.08
"""mm. No paper is thinner. Convention: 80 g/m2 is 0.1 mm."""
FLUSH_U_MM: Final = 0.35
"""mm. How well a single edge is at the level of its cabinet's sheets. Convention: as in ``expected_height``."""
ROUNDING_U_MM: Final = 0.2
"""mm. Standard uncertainty of the edges' heights from where on their rounding they are seen, common to all. Derived: from a
sharp edge to a rounding of 0.75 mm. Feeds U."""
LEAST_EDGES: Final = 2
"""count. Fewer edges contradict nobody. Convention: one edge may be a door."""
CONTRADICTION_MM: Final = 0.5
"""mm. Given and found thickness that differ by more are reported. Convention: it moves an edge seen at 45 degrees as much."""
MAD_TO_SD: Final = 1.4826
"""ratio. Median absolute deviation to standard deviation. Source: normal distribution, 1 / Phi^-1(3/4)."""
COVERAGE: Final = 2.0
"""ratio. Coverage factor of an expanded uncertainty. Source: JCGM 100:2008, 6.3.3; k = 2 is about 95 %."""

# ------------------------------------------------------------------------------------------ scene and threads

WORKERS: Final = 4
"""count. Edges measured at the same time, as far as there are processors. Chosen on: not recorded."""
RIM_MM: Final = 2.5
"""mm. A sheet and its board reach this far beyond the printed outline. Chosen on: not recorded."""
MASK_REDUCTION: Final = 4
"""ratio. Masks of the papers are kept at a quarter of the photo's size. Chosen on: not recorded."""
FAR_OFF_PX: Final = 1e5
"""px. A paper with a corner projected further off than this is not in the photo. Convention: far beyond any photo."""
LEAST_SIDE: Final = 0.15
"""ratio. With less than this majority, from 0 to 1, the sheets do not tell on which side the cabinets lie. Chosen on: not
recorded."""

# ----------------------------------------------------------------------------------- corners with neighbours

LEAST_ANGLE_RAD: Final = 0.35
"""rad. Edges that meet at a flatter angle cross too far from their corner to say where it is. Chosen on: not
recorded; 20 degrees."""
ROUNDED_TO_MM: Final = 10.0
"""mm. Corners are stated to the centimetre, so that an edge is not fitted anew because its neighbour was. Convention: enough
for the prior of a wall's end."""

# --------------------------------------------------------------------------------- what is said of a fitted edge

BOWED_SIGMAS: Final = 3.0
"""ratio. An edge is reported as not straight from this many standard uncertainties of its bow on. Convention: three sigma,
exceeded once in 400 by chance."""
RESIDUAL_PARTS: Final = 10
"""count. Parts of an edge over which residuals are averaged. Convention: tenths."""
FITTED_SHARE: Final = 0.5
"""ratio. A fitted edge shorter than this share of its hint is reported as short. Chosen on: not recorded."""
