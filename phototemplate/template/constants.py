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
FLAT_BULGE: Final = 1e-9
"""ratio. A smaller bulge is a straight line. Derived: its sagitta over 10 m is below 1e-5 mm."""
TANGENT_COSINE: Final = 0.9999
"""ratio. Cosine of the turn from which an arc runs on into its neighbour. Derived: 0.8 degrees, rounding of makers' files."""
TOUCH_MM: Final = 0.01
"""mm. Contact that counts as rounding. Derived: half of CHECK_TOLERANCE_MM."""
SMALLEST_RADIUS_MM: Final = 0.5
"""mm. Smallest radius or clip tried where a larger one does not fit. Derived: the smallest segment a machine is given."""

DRAWN_SPACING_MM: Final = 500.0
"""mm. Between the measured outline and shapes that were only drawn. Convention: layout."""
DRAWN_MM: Final = 0.02
"""mm. Chord tolerance with which a drawn shape is looked at. Derived: as ``CHECK_TOLERANCE_MM``."""
STACK_SLACK_MM: Final = 2.0
"""mm. How far a stacked face may be off a multiple of the thickness. Convention: trade, glue and calibration of slabs."""
THINNEST_DROP_MM: Final = 5.0
"""mm. A mitred strip hangs down at least so far below the top. Chosen on: not recorded; narrower strips cannot be clamped."""

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
CHAR_WIDTHS: Final = {
    191: "'", 222: "ijl", 278: " !,./:;I\\ft", 333: "()-r", 355: '"', 389: "*", 400: "°", 500: "Jckscvxyz", 584: "+<=>±",
    556: "0123456789#$?L_abdeghnopqu", 611: "FTZ", 667: "ABEKPSVXY&", 722: "CDHNRUw", 778: "GOQ", 833: "Mm", 889: "%",
    944: "W",
}
"""ratio / 1000. Widths of characters by the size of the letters. Source: Adobe's metrics of Helvetica (AFM)."""
CHAR_WIDTH_ELSE: Final = 800
"""ratio / 1000. The same of every other character. Convention: broader than nearly all of them."""
CAPITAL_HEIGHT: Final = 718
"""ratio / 1000. Height of capitals by the size of the letters. Source: Adobe's metrics of Helvetica (AFM)."""
BROADER: Final = 1.04
"""ratio. Room for typefaces a little broader than that. Convention: layout."""
OPENING_NAME_MM: Final = 300.0
"""mm. How far behind the front an opening is named, and half of its centre line. Convention: layout, half a counter's depth."""
LABEL_ROOM: Final = 0.15
"""ratio. Blank kept round a label, by the height of its capitals. Convention: layout."""
LEADER_FROM: Final = 2.0
"""ratio. A label farther than this from what it names, by the height of its capitals, gets a line to it. Convention: layout."""
TEXT_BESIDE_COST: Final = 1.5
"""count. Rows that a dimension is rather moved aside than its text put at the end of its line. Convention: layout."""
TEXT_OVER_LINE: Final = (0.4, 1.5)
"""ratio. Foot and head of a dimension's text over its line, by the height of its capitals. Convention: layout."""
NAME_HEIGHTS: Final = (1.6, 1.2, 1.0)
"""ratio. Heights that a piece's name on the overview is tried at, over that of other texts. Convention: layout."""
PARALLEL: Final = 0.02
"""rad. Dimensions within this of each other say the same length of a piece. Convention: layout."""
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

QUIET_ZONE: Final = 4
"""modules. Light rim of a square code. Source: ISO/IEC 18004."""
CODE_DIGITS: Final = 6
"""count. Hexadecimal digits of a piece's fingerprint. Derived: two of a hundred pieces agree once in 3,000 jobs."""
CODE_LAYER: Final = "SHEET-CODE"
CODE_MM: Final = 22.0
"""mm. Side of a square code on a sheet. Derived: modules of 0.6 mm, which a phone reads at arm's length."""
LABEL_COLUMNS: Final = 2
"""count. Labels side by side on a sheet. Convention: layout."""
LABEL_MM: Final = 50.0
"""mm. Height of a label. Convention: layout."""
PICTURE_ROOM: Final = (3, 2)
"""count. Site photos side by side and one over the other on a sheet. Convention: layout."""
CENTRE_REACH_MM: Final = 100.0
"""mm. How far a cabinet's centre line is drawn beyond its front and back. Convention: layout."""
CENTRED_WITHIN_MM: Final = 300.0
"""mm. A cut-out this near to a cabinet's centre line is meant to stand on it. Derived: half of the usual sink cabinet."""
ON_CENTRE_MM: Final = INCH_MM / 8
"""mm. How far it may stand beside it. Convention: common practice."""

LARGEST_DXF_BYTES: Final = 50_000_000
"""bytes. Largest DXF of a maker or an earlier job. Derived: a hundred times the largest outline."""
FOREIGN_S: Final = 30.0
"""s. Longest that reading a DXF may take. Derived: ten times what the largest one with sense in it takes."""
FOREIGN_BYTES: Final = 2_000_000_000
"""bytes. Most memory for it. Derived: twenty times the largest file, and the libraries' own."""
FOREIGN_REMEMBERED: Final = 64
"""count. Drawings whose reading is remembered. Derived: four cut-outs a piece of a large kitchen."""
LARGEST_DXF_VALUE: Final = 1e9
"""drawing units. Largest number in it. Derived: a thousand kilometres in mm."""

# ------------------------------------------------------------------------------------------ reading drawings

NUMBER_CODES: Final = frozenset({*range(10, 60), *range(110, 150), *range(210, 240), *range(1010, 1060)})
"""count. Group codes of coordinates, sizes and angles. Source: AutoCAD DXF reference."""
INSUNITS_MM: Final = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0}
"""mm. Drawing unit by its code in $INSUNITS. Source: AutoCAD DXF reference."""
GIVEN_MM: Final = {"mm": 1.0, "in": 25.4}
"""mm. Unit of the job file. Derived: exact."""

# --------------------------------------------------------------------------------------------------- sheets

PAPERS_MM: Final[dict[str, tuple[float, float]]] = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
"""mm. Width and height, upright. Source: ISO 216; ANSI/ASME Y14.1 sizes A and B."""
SCALES: Final = {
    "mm": (1, 2, 5, 10, 15, 20, 25, 30, 40, 50, 75, 100, 200),
    "in": (1, 2, 4, 8, 12, 16, 24, 32, 48, 64, 96, 192),
}
"""ratio. 1 : n as drawn in metric and inch shops. Convention: trade."""
INCH_SCALES: Final = {4: '3" = 1\'', 8: '1 1/2" = 1\'', 12: '1" = 1\'', 16: '3/4" = 1\'', 24: '1/2" = 1\'', 32: '3/8" = 1\'',
                      48: '1/4" = 1\'', 96: '1/8" = 1\''}  # fmt: skip
"""ratio. How a shop that works in inches calls some of these. Convention: trade."""
SCALES_FROM: Final = 0.6
"""ratio. The first scale tried, over the one at which the bare drawing fits. Chosen on: not recorded."""
ROW: Final = 1.75
"""ratio. From line to line of a table, by the height of capitals. Convention: layout."""
TABLE_SHARE: Final = 0.42
"""ratio. Of the sheet's width for the tables beside the piece. Convention: layout."""
UPRIGHT_RAD: Final = math.radians(5.0)
"""rad. Texts up to this far beyond the vertical are still read from the right. Convention: layout."""
DIMENSION_GAP: Final = (0.5, 0.3)
"""ratio. Gap between a point and its extension line, over the height of the text, and at most over the line's length.
Convention: layout."""
PIECE_NAME: Final = 1.3
"""ratio. Height of a piece's name over that of other texts. Convention: layout."""
PIECE_FACTS: Final = 0.8
"""ratio. The same of its area and weight, and of what is left clear beside an edge. Convention: layout."""
EDGE_NAME: Final = 0.65
"""ratio. The same of an edge's name and finish. Convention: layout."""
EDGE_NAME_ROOM: Final = 0.9
"""ratio. Share of the edge that such a name may take. Convention: layout."""
NO_OFFSET_MM: Final = 0.005
"""mm. A smaller overhang or clearance is none. Derived: half of the last digit that is written."""
LINE: Final = 118
"""count. Characters in a line of a comment. Convention: layout."""

# ------------------------------------------------------------------------------------------------- geometry

SQUARELY: Final = math.sqrt(0.5)
"""ratio. Cosine up to which two directions are rather square than parallel. Derived: 45 degrees."""
SMALLEST_COSINE: Final = 0.05
"""ratio. Keeps the centre of a corner's arc near where the edges all but turn back. Chosen on: not recorded."""
MOST_TURN_RAD: Final = 1.75 * math.pi
"""rad. An arc that travels further is taken to go a little backwards. Convention: an eighth of a turn may be backwards."""
INSIDE_RAD: Final = 3.1416
"""rad. A corner that opens further is an inside corner. Derived: half a turn and its rounding."""
LARGEST_STEP_MM: Final = 2000.0
"""mm. Longest step in the search of a crossing. Convention: damping."""
SPLINE_STEP_MM: Final = 200.0
"""mm. Longest step in the search of the foot on a wall's curve. Convention: damping."""
FLAT_SLOPE: Final = -0.05
"""ratio. Slope from which that search goes on without the curvature. Chosen on: not recorded."""
KEPT_TURN_RAD: Final = math.radians(10.0)
"""rad. A vertex at which a line turns by more is kept where lines are simplified. Chosen on: not recorded."""
SMALLEST_STEP_RAD: Final = 1e-5
"""rad. Shortest step along an arc that is drawn as chords. Convention: guard."""
PLACE_SLACK_MM: Final = 0.5
"""mm. How far the width of an opening may be off the usual ones. Chosen on: not recorded."""
BEHIND_MM: Final = 0.01
"""mm. What a ray meets nearer than this is where it starts. Derived: rounding of coordinates."""
RECEPTACLE_RIM_MM: Final = 5.0
"""mm. Least stone that an advice leaves beside a receptacle. Chosen on: not recorded."""
SEAM_STEP_MM: Final = 10.0
"""mm. Distance of the places at which a seam is tried. Convention: sampling."""
SEAM_END_MM: Final = 100.0
"""mm. No seam is proposed nearer to the end of a run. Chosen on: not recorded."""
