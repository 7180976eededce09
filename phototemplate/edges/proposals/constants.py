"""What decides in the proposals: which segments make a candidate, which candidates are edges, and of what kind.

Lengths that both proposals and other stages use stand in :mod:`phototemplate.edges.constants`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

# ---------------------------------------------------------------------------------- candidates (line_candidates)

LOOK_PX: Final = 1600
"""px. Photos are searched for segments at about this width. Chosen on: not recorded."""
SEGMENT_MM: Final = (50.0, 4000.0)
"""mm. Shortest and longest segment, in plan, that is used. Chosen on: not recorded."""
TURN_RAD: Final = np.radians(4.0)
"""rad. Walls and cabinets may be this much out of square. Chosen on: not recorded."""
TURN_STEP_RAD: Final = np.radians(0.25)
"""rad. Step of the directions tried. Chosen on: not recorded."""
SEGMENT_TURN_RAD: Final = np.radians(2.5)
"""rad. A single short segment is this far off the direction of its line at most. Chosen on: not recorded."""
DIRECTION_BINS: Final = 90
"""count. Directions are looked for in so many steps over half a turn. Convention: two degrees each."""
DIRECTION_SHARE: Final = 0.2
"""ratio. A further direction carries at least this share of the length of the main one. Chosen on: not recorded."""
PILE_STEP_MM: Final = 2.0
"""mm. Step of the offsets at which segments pile up. Chosen on: not recorded."""
PILE_MM: Final = 5.0
"""mm. Segments this near to a line are of its pile. Chosen on: not recorded."""
GAP_MM: Final = 260.0
"""mm. Gaps up to this are closed. Derived: a sheet's length."""
SAME_CANDIDATE_MM: Final = 5.0
"""mm. Candidates nearer to each other than this are one: the wide look at one of them finds the other. Chosen on: not
recorded."""
SAME_CANDIDATE_SHARE: Final = 0.8
"""ratio. And that overlap along this share of the shorter one. Chosen on: not recorded."""

# ------------------------------------------------------------------------------------- confirmation (confirmation)

INWARD: Final = -1.0
"""ratio. Sign of the room's side: candidates run with the cabinets on their left. Convention: of the candidates."""
BARRED_REACH: Final = 1.3
"""ratio. A sheet on the wrong side of a line bars it for this many times :data:`SHEET_REACH_MM`. Chosen on: not recorded."""
SAME_LENGTH: Final = (0.85, 1.15)
"""ratio. An edge whose length changes by a factor outside of this is read once more. Chosen on: not recorded."""
LEAST_REST_MM: Final = 300.0
"""mm. What is left of a candidate is read by itself from this length on. Convention: the narrowest base cabinet."""
KNOWN_STATIONS: Final = 0.4
"""count. Open stations in a window from which on it tells something. Derived: less than one, more than rounding leaves."""
SHOWN_GATE_PX: Final = 1.2
"""px. A step this near to a line is the line's, ... Chosen on: not recorded."""
SHOWN_GATE_MM: Final = 0.8
"""mm. ... or this near, whichever is more. Chosen on: not recorded."""
SHOWN_OPEN_PX: Final = 1.5
"""px. A photo could show a line where nothing covers it within this. Chosen on: not recorded."""

# --------------------------------------------------------------------------------------- which are edges (propose)

BAR_MM: Final = 70.0
"""mm. Lines this near to the line between two bar ends are the bar's. Chosen on: not recorded."""
BUNDLE_MM: Final = 130.0
"""mm. Parallel lines this near to each other belong to one cabinet top (plies, rails, face frame); the outermost is meant.
Chosen on: not recorded."""
PLIES_MM: Final = 45.0
"""mm. Lines this near behind an edge are the plies and joints of its board. Chosen on: not recorded."""
DEPTH_MM: Final = 300.0
"""mm. Two fronts do not face the same way nearer to each other than a cabinet is deep. Convention: a
shallow cabinet's depth."""
SAME_EDGE_MM: Final = 0.7
"""mm. Lines nearer than this are one. Chosen on: not recorded."""
PASSAGE_MM: Final = 600.0
"""mm. No cabinet faces a wall so near. Chosen on: not recorded."""
RUN_DEPTH_MM: Final = (300.0, 900.0)
"""mm. A front has its wall this far behind it. Convention: from a shallow bookcase to a deep counter."""
DEEPEST_MM: Final = 900.0
"""mm. No top is deeper. Convention: a deep counter."""
PAST_MM: Final = 100.0
"""mm. So far a front goes on past a panel behind it. Chosen on: not recorded."""
CUT_MM: Final = (150.0, 900.0)
"""mm. Shortest and longest edge across a corner that is sought by its neighbours alone. Convention: the shortest edge, and a
corner cabinet's diagonal front."""
CUT_TURN_RAD: Final = (np.radians(20.0), np.radians(70.0))
"""rad. By how much both neighbours turn to it. Convention: corners are cut at 45 degrees, or nearly."""
RAIL_MM: Final = (45.0, 160.0)
"""mm. Rails across a cabinet's front are this wide. Convention: 60 to 150 mm as cabinets are built."""
RAIL_FAR_MM: Final = 300.0
"""mm. A front is taken to go on past its ends for this far. Convention: the narrowest base cabinet."""
RAIL_LIGHT: Final = 0.0
"""ratio. Log of light inside over that beyond from which on the inside may be a cabinet's own dark. Chosen on: the develop
families, where rails' inner edges lie below it; edges of tops that look like one are few."""
RAIL_CONFIDENCE: Final = 0.5
"""ratio. Such a line is proposed with no more. Derived: it is the one as well as the other."""
HOLE_MM: Final = 640.0
"""mm. Lines that face each other nearer than this frame the opening of a cabinet, or an appliance under the top. Convention:
dishwashers and machines that stand under a top take 450 or 600 mm (24 in); ranges, at which it ends, 30 in and more."""
LINE_OFF_MM: Final = 3.0
"""mm. Edges that run on in one line, with less between them than such an appliance takes, are one: off it by less than this.
Convention: cabinets are screwed together flush to 2 mm."""
LINE_TURN_RAD: Final = np.radians(0.7)
"""rad. And turned by less. Derived: 3 mm over the narrowest of them."""
BRIDGED_MM: Final = 250.0
"""mm. A gap that is bridged from this length on is said, and its edge is never sure. Convention: the narrowest opening for an
appliance is 300 mm wide."""
BRIDGED_CONFIDENCE: Final = 0.85
"""ratio. Such an edge is proposed with no more. Convention: below what is accepted unseen."""
OUTER_SHARE: Final = 0.5
"""ratio. What share of an inner line's probability and length suffices for one further out to be the edge. Chosen on: not
recorded."""
USUAL_MM: Final = 450.0
"""mm. Ends are seldom shorter. Convention: a shallow cabinet's depth."""
SHORT_POWER: Final = 4
"""count. The odds of a shorter one fall with this power of its length. Chosen on: the demo, six kitchens of other makers' kinds
and the develop families: of 20 lines below 300 mm 4 were edges."""
LONG_MM: Final = 640.0
"""mm. Longer than a cabinet is deep: no end. Convention: base cabinets are 600 to 610 mm deep."""
MOST_CONFIDENCE: Final = 0.99
"""ratio. No traced edge is proposed with more. Convention: it waits for its confirmation."""
WALL_REACH_MM: Final = 200.0
"""mm. A wall is taken to go on beyond both ends of its strips, or of a line, for this far. Chosen on: not recorded."""
OVERLAP_SHARE: Final = 0.5
"""ratio. Lines run along each other if they overlap along this share of one. Convention: half."""
BESIDE_SHARE: Final = 0.4
"""ratio. Parallel edges compete if they overlap along this share of the shorter one. Chosen on: not recorded."""
PARALLEL_COS: Final = 0.9
"""ratio. Cosine of the angle up to which edges count as parallel. Chosen on: not recorded; 26 degrees."""
FACING_SHARE: Final = 0.6
"""ratio. An edge that more than this share of the photos face may be a front. Chosen on: not recorded."""
WITHIN_MM: Final = 60.0
"""mm. A candidate that reaches less than this beyond an edge found already, ... Chosen on: not recorded."""
LOOKED_MM: Final = 5.0
"""mm. A candidate this near to one that was looked at is known. Chosen on: the demo and the develop families, where 9 loses a
front and 5 none."""
PROUD_MM: Final = 4.0
"""mm. ... and lies less than this outside of it, is that edge again. Chosen on: not recorded."""
SQUARE_COS: Final = 0.5
"""ratio. Cosine of the angle from which on a line runs up to a front rather than along it. Chosen on: not recorded; 60
degrees."""

# ------------------------------------------------------------------------------- edges that targets propose (target_edges)

STRIP_CONFIDENCE: Final = 0.8
"""ratio. Confidence of a wall without its strips, ... Chosen on: not recorded."""
STRIP_CONFIDENCE_STEP: Final = 0.03
"""ratio. ... how much each piece adds, ... Chosen on: not recorded."""
STRIP_CONFIDENCE_MOST: Final = 0.98
"""ratio. ... and what it never exceeds. Chosen on: not recorded."""
STRIP_GAP_MM: Final = 900.0
"""mm. Strips further apart than this are not taken for one wall. Chosen on: not recorded."""
STRIP_TURN_DEG: Final = 12
"""degrees. Nor are strips that point past each other by more. Chosen on: not recorded."""
CONTACT_CONFIDENCE: Final = 0.85
"""ratio. Confidence of an edge against which sheets are butted in line. Chosen on: not recorded."""
CONTACT_TURN_DEG: Final = 0.7
"""degrees. Contact edges on one line differ by less in direction, ... Chosen on: not recorded."""
CONTACT_OFF_MM: Final = 2.5
"""mm. ... lie less than this off each other's line, ... Chosen on: not recorded."""
CONTACT_GAP_MM: Final = 400.0
"""mm. ... and not further apart. Chosen on: not recorded."""
BEYOND_EYE_MM: Final = 150.0
"""mm. A photo taken from this far beyond a contact edge shows that nothing upright stands there. Chosen on: not recorded."""
