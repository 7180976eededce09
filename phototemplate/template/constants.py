"""Everything that decides in the template stage, in one table. Limits of the trade stand in ``rules.py``."""

from __future__ import annotations

import math
from typing import Final

from phototemplate.units import INCH_MM

# ------------------------------------------------------------------------------------------------- curves

STRAIGHT_RADIUS_MM: Final = 1e7
"""mm. Beyond this radius an arc is a line. Derived: its sagitta over 6 m is below half a micrometre."""
FLAT_SWEEP_RAD: Final = 1e-9
"""rad. An arc over a smaller angle is drawn as its chord. Derived: its sagitta is below 1e-6 mm on any kitchen."""
TANGENT_SLACK_MM: Final = 1.0
"""mm. A line (or arc) that passes an arc this closely runs on into it, since measured edges are never tangent to the last
micrometre. Chosen on: invented rounded islands of the tests; above the U of a well measured edge."""
REACH_MM: Final = 4000.0
"""mm. How far along a run a named edge may lie to cross it. Derived: longer than a slab."""
ALIGN_TURN_RAD: Final = math.radians(30.0)
"""rad. An edge that would turn further than this to be aligned was aligned to the wrong edge, or parallel and square were mixed
up. Derived: a third of a right angle is beyond any wall."""
SAME_RUN_RAD: Final = math.radians(15.0)
"""rad. Fronts and walls within this angle of each other belong to one run of cabinets. Chosen on: not recorded."""
INTO_WALL_MM: Final = 0.05
"""mm. A straight edge may touch the wall this deep before it is said to run into it. Derived: below the repeatability of a
bridge saw."""
SAMPLES: Final = 241
"""count. Places along an edge at which gaps and movements are looked for. Derived: every 12 mm over 3 m,
closer than knots lie."""

# --------------------------------------------------------------------------------------------- boundaries

CHECK_TOLERANCE_MM: Final = 0.02
"""mm. Chord tolerance of the polygons that only check validity. Convention: a fifth of the usual cutting tolerance 0.1 mm."""
SMALLEST_SPAN_MM: Final = 0.5
"""mm. A shorter edge is a sliver: its neighbours close it, and what cannot be closed is refused. Convention: the smallest
segment that machines are given, stated in every file that is cut."""
SMALLEST_ARC_MM: Final = 0.05
"""mm. A shorter arc of a rounded corner is lost. Derived: below the repeatability of a bridge saw."""
SLIVER_REACH_MM: Final = 2.0
"""mm. Neighbours of a sliver are joined where they meet this near to it. Derived: four times the largest sliver."""
SHORTEST_UPRIGHT_MM: Final = INCH_MM
"""mm. A shorter stretch of an edge gets no splash, apron or panel of its own. Convention: trade, narrower strips break."""
MITRE_SNAP_MM: Final = INCH_MM
"""mm. A mitre that misses the corner opposite by less runs into it, since it would leave a sliver of wall. Convention: trade, a
mitre runs from corner to corner."""
STRAIGHT_ON_RAD: Final = math.radians(3.0)
"""rad. Flatter turns are no corners and are neither named nor rounded. Chosen on: not recorded."""
PARALLEL_RAD: Final = math.radians(1.0)
"""rad. Neighbours that meet more flatly are joined by a step, because their crossing runs away. Derived: at 1 degree a corner
moves 57 times as far as its edges."""
ON_LINE_MM: Final = 1e-6
"""mm. A corner this near to a line lies on it. Derived: rounding of coordinates over 10 m, with room."""
TOUCH_MM: Final = 0.01
"""mm. Contact that counts as rounding. Derived: half of CHECK_TOLERANCE_MM."""
SMALLEST_RADIUS_MM: Final = 0.5
"""mm. Smallest radius or clip tried where a larger one does not fit. Derived: the smallest segment a machine is given."""

# ------------------------------------------------------------------------------------------- maker's files

CURVE_MM: Final = 0.05
"""mm. Chords of a maker's spline or ellipse lie this near to it. Convention: half of the usual cutting tolerance 0.1 mm."""
SAME_BULGE: Final = 1e-3
"""ratio. Bulges this alike are of one arc drawn twice. Derived: 0.1 mm of sagitta over a chord of 200 mm."""
DEEPEST_BLOCK: Final = 8
"""count. Blocks within blocks are taken apart this deep. Convention: deeper than CAD programs nest symbols."""
GAP_MM: Final = 0.05
"""mm. Ends of a maker's lines this close count as joined. Convention: drawings are rounded to 0.01 mm or 0.001 in."""

# ----------------------------------------------------------------------------------------------- drawings

BAND_PLACES: Final = 25
"""count. Places along an edge at which the band of U is drawn. Convention: layout."""
CHAR_WIDTH: Final = 0.8
"""ratio. Width of a character by the height of capitals, for boxes. Source: Adobe's metrics of Helvetica, digits 556 and
capitals 718 of 1000: 0.77, and a little for broader typefaces."""
OPENING_NAME_MM: Final = 300.0
"""mm. How far behind the front an opening is named, and half of its centre line. Convention: layout, half a counter's depth."""
LABEL_ROOM: Final = 0.12
"""ratio. Blank kept round a label, by the height of its capitals. Convention: layout."""
LABEL_STEPS: Final = 7
"""count. Rows beside its place in which a label looks for another. Convention: layout."""
LABEL_GRID: Final = 80
"""count. Most places across a piece at which its label is tried. Convention: layout."""
NO_GAP_MM: Final = 0.05
"""mm. A smaller gap behind an upright piece is not mentioned. Derived: below what a sheet prints."""
SHORT_MM: Final = 60.0
"""mm. Shorter edges get no dimension of their own. Convention: layout."""
CUT_SPACING_MM: Final = 100.0
"""mm. Between pieces in the file of all. Convention: layout, wider than any saw."""
SHEET_MARGIN_MM: Final = 10.0
"""mm. Blank rim of a sheet. Convention: layout, what office printers reach."""
TITLE_MM: Final = 26.0
"""mm. Height of the title block. Convention: layout."""
SHEET_TEXT_MM: Final = 2.5
"""mm. Smallest capitals on a sheet. Source: ISO 3098-1, the smallest nominal height of lettering, read at arm's length."""

# ------------------------------------------------------------------------------------------------- checks

FAR_WEB: Final = 6.0
"""ratio. Stone left that is more than this many times the limit is not listed. Convention: layout."""
APPLIANCE_DEPTH_MM: Final = 24 * INCH_MM
"""mm. Depth of the place of an appliance under the counter. Convention: base cabinets are 24 in deep."""

LARGEST_DXF_BYTES: Final = 50_000_000
"""bytes. Largest DXF of a maker or an earlier job. Derived: a hundred times the largest outline."""
LARGEST_DXF_VALUE: Final = 1e9
"""drawing units. Largest number in it. Derived: a thousand kilometres in mm."""
