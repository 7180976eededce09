"""What decides when a customer's photos are read. Unit first, then what it is and where it comes from."""

from __future__ import annotations

from typing import Final

# ------------------------------------------------------------------------------------------------------ known things

SEARCH_SIDE_PX: Final = 2400
"""px. Known things are looked for in a picture reduced to this; their sides are then fitted at full size. Derived: a card 4 m
from a 26 mm lens is 40 px long there."""
LEVELS: Final = 28
"""count. Grey levels at which outlines are followed. Derived: a step of a tenth of the picture's range meets two of them."""
LEVEL_RANGE: Final = (4.0, 99.5)
"""per cent. Of the picture's grey values, between which the levels lie. Convention: leaves out lamps and black corners."""
LEAST_AREA_PX: Final = 160.0
"""px2. Of an outline in the reduced picture. Derived: 26 px by 6 px, a card seen flat from 4 m."""
MOST_AREA: Final = 0.3
"""ratio. Of the picture. Convention: a larger thing hides what is to be measured."""
LEAST_SOLID: Final = 0.9
"""ratio. Area of an outline, of its convex hull. Derived: a card's rounded corners cost 0.01, a finger on it 0.1."""
MOST_BEYOND_HULL: Final = 1.09
"""ratio. Area of the quadrilateral round an outline, of its hull. Derived: a card's rounded corners leave 1.01; a pentagon
1.15."""
LEAST_SHORT_PX: Final = 5.0
"""px. Shortest side in the reduced picture. Derived: below, a side's direction is known to 10 degrees only."""
SAME_OUTLINE: Final = 0.2
"""ratio. Corners within this share of the shortest side belong to one outline. Convention: clearly less than another thing."""
SEARCH_CELL_PX: Final = 24
"""px. Outlines are compared with those whose middle lies within such a cell or its neighbours. Convention: far more than an
outline moves from level to level."""
MOST_JUDGED: Final = 120
"""count. Outlines that are judged, those found at most levels first. Convention: a second's work."""
ROUGH_CORNER_U_PX: Final = 1.5
"""px. Standard uncertainty of an outline's corner before its sides are fitted, in the reduced picture. Convention: an outline
goes from pixel to pixel, and rounded corners are cut."""
LEAST_LEVELS: Final = 2
"""count. Levels at which an outline has to be found. Convention: one is chance."""
FOCAL_STEPS: Final = tuple(k / 2.0 for k in range(-4, 5))
"""count. Standard deviations of the principal distance at which a rectangle is tried. Derived: steps of half a deviation follow
a normal density within 1 %."""
LEAST_CORNER_U_PX: Final = 0.6
"""px. Corners are not taken as better known when a kind is judged: lens bending over a thing's size. Derived: 0.8 per cent
at the corner of a picture, over a tenth of it."""
MOST_MISFIT: Final = 16.0
"""count. Sum of two squares beyond which a quadrilateral is no rectangle of a kind. Derived: 0.03 % of a chi-squared of two
degrees of freedom."""
USUAL_REACH_MM, REACH_SPREAD = 1800.0, 0.5
"""mm; ratio. Distance of a phone from a thing on a counter, and the standard deviation of its logarithm. Convention: between
0.7 and 4.8 m at two deviations."""
PRIOR: Final = {"paper": 0.61, "other paper": 0.05, "card": 0.32, "A3": 0.01, "A5": 0.01}
"""ratio. How often a rectangle on a counter is which, before it is measured; ``paper`` is the size of the user's country.
Convention: what customers are asked to lay there."""
NONE_OF_THEM: Final = 0.35
"""ratio. Prior share of rectangles that are none of them, taken as even over the logarithm of aspects of 1 to 3. Convention:
tiles, books, windows."""
OTHERS_LEVEL: Final = 0.3
"""ratio. How many of those look as if they lay level. Convention: most stand: doors, windows, appliances."""
LEVEL_ROLL_U: Final = 0.2
"""ratio. Sideways component of the upward direction in a picture: how crooked a phone is held. Convention: 12 degrees."""
LEAST_LOOK_DOWN: Final = (0.08, 0.35)
"""ratio. Upward component of the normal of a thing on a counter as the camera sees it, where it begins to count and counts
fully. Derived: a wall seen by a phone that looks down by 20 degrees has 0.34; a counter seen at 45 degrees 0.71."""
PAPER_EVEN: Final = (0.45, 0.8)
"""ratio. Share of a sheet within :data:`EVEN_GREY` of its median, where it begins to be paper and where it is. Convention: an
empty sheet has a shadow at most."""
EVEN_GREY: Final = 0.12
"""ratio. See :data:`PAPER_EVEN`. Convention: light falls off by so much over a sheet."""
NAMED: Final = 0.02
"""ratio. What is less likely is not named. Convention: one in fifty."""
TARGET_PAPER: Final = 1.9
"""ratio. Paper that a target is printed on, of the rectangle between its outermost points. Derived: A4, 297 mm, over 4 squares
of 36 mm, with the margin on one side only."""
SURE: Final = 0.5
"""ratio. Known things are proposed from this probability on. Convention: more likely than not."""
TARGET_PRINT_U: Final = 0.01
"""ratio. Standard uncertainty of the size of a printed target nobody measured. Convention: see ``PRINT_SCALE_U``."""
TARGET_CORNER_PX: Final = 0.4
"""px. Standard uncertainty of a target's outer points. Convention: several times a saddle's, for lens bending within the
sheet."""

# -------------------------------------------------------------------------------------------------- corners of the top

LEAST_AHEAD_M: Final = 0.1
"""m. Points nearer to the camera are not in the picture. Convention: a phone does not focus nearer."""
SNAP_REACH: Final = 0.012
"""ratio. How far from where a corner is expected its edges are looked for, of the picture's longer side. Derived: a sheet of
300 mm at 2 m places a corner 2 m beside it to 2 per cent of that distance, 40 px of 4000."""
SNAP_ALONG: Final = 0.06
"""ratio. Stretch of an edge that is looked at, of the picture's longer side. Derived: over it a lens bends a line by less than
a pixel."""
SNAP_LEAST_PX: Final = 24.0
"""px. Shorter edges tell no direction. Derived: 12 places at every second pixel."""
SNAP_CROSSING: Final = 0.15
"""ratio. Sine of the angle at which edges must cross in the picture. Convention: 9 degrees."""
SURFACE_SIDE_PX: Final = 1000
"""px. The surface round a thing is followed in a picture reduced to this. Convention: a corner is then within 4 px of its place
at full size, and its edges are fitted there."""
LEAST_RING_PX: Final = 40
"""px. Of the surface next to a thing. Convention: below, its colour is not known."""
RING: Final = (1.2, 1.7)
"""ratio. Where the surface's colour is taken next to what lies on it, of its size. Convention: off its shadow, before the next
thing."""
EDGE_BLUR_PX: Final = 1.5
"""px. By which a picture is blurred before edges that bound the surface are looked for. Convention: stone's grain is finer."""
SPREADS: Final = 4.0
"""count. Robust standard deviations of the surface's colour. Convention: light falls off over a kitchen."""
LEAST_SPREAD_LAB: Final = (22.0, 9.0, 9.0)
"""count. The least spread of lightness and of both colours (CIE Lab in 8 bits). Convention: light falls off by a quarter
over a run, while the colour stays."""
CANNY: Final = (40, 110)
"""count. Hysteresis of the edges that bound a surface. Convention: 1 to 3 after J. Canny 1986."""
CLOSE_PX: Final = 7
"""px. Gaps that are closed. Convention: a line drawn by an edge, and grain."""
SURFACE_SHARE: Final = (0.02, 0.8)
"""ratio. Of the picture. Convention: less is a patch of light, more is no surface with an end."""
MOST_EXTENT_MM: Final = 9000.0
"""mm. Convention: no kitchen is longer from its sheet."""
CORNER_MM: Final = 60.0
"""mm. A corner so near to where the picture cuts the surface is none. Convention: a hand's breadth."""
NARROW_MM: Final = 60.0
"""mm. Narrower outgrowths and notches do not belong to the top. Convention: half the narrowest strip of a top."""
SIMPLIFY_MM: Final = 30.0
"""mm. Wiggles of a followed outline. Derived: 4 px of 1000 at 2 m."""
SHORT_MM: Final = 120.0
"""mm. Shorter sides are wiggles or clipped corners. Convention: no top has one."""
CORNERS: Final = (4, 6, 8)
"""count. Of a straight top, an L and a U. Convention: what tops usually are."""
SQUARE_ENOUGH: Final = 0.75
"""ratio. Sine of a corner's angle as one sheet shows it. Derived: one small sheet tilts the plane by a few degrees, which turns
right angles by up to 40."""
MOST_DIFFERENCE: Final = 0.12
"""ratio. Area by which a polygon may differ from what was followed. Convention: things that stand on the rim."""

# ------------------------------------------------------------------------------------------------- what to write back

VIEWS: Final = ("left", "middle", "right")
"""Where photos are asked for from. Convention: three views fix a lens that nobody calibrated."""
LEAST_PHOTOS: Final = 2
"""count. Photos without which no corner is checked by a second sight. Derived: one photo places it, the second contradicts."""
SHOWN_OFTEN: Final = 2
"""count. Photos in which a corner should be. Derived: as above."""
PAGE_LETTERS: Final = 88
"""count. Letters to a line of the picture page. Derived: 11 pt Helvetica on 176 mm."""

# ------------------------------------------------------------------------------------------ photos without a known thing

MATCH_SIDE_PX: Final = 1600
"""px. Features are matched in pictures reduced to this. Convention: a messenger's size."""
MOST_FEATURES: Final = 3000
"""count. Features of a picture. Convention: a second's work."""
CLEARLY_NEARER: Final = 0.75
"""ratio. A feature is matched where the nearest is nearer than this share of the second nearest. Source: D. Lowe 2004, section
7.1 (0.8 there)."""
MATCHED_PX: Final = 2.5
"""px. How far matched features may be off, in the reduced picture. Convention: lens bending over a top."""
LEAST_MATCHES: Final = 14
"""count. Features that have to agree. Derived: ten more than fix a homography; in pictures of two places four to six do by
chance."""
LEAST_MATCHED_SHARE: Final = 0.08
"""ratio. Of the outline that they have to spread over. Convention: a plane known at one end only says little of the other."""
JOINING_POINTS: Final = 3
"""count. Corners that join a photo to the others. Derived: three points and the lens's prior fix its pose."""
SNAP_WINDOW: Final = 1.5
"""ratio. Pictures are read this many times as far around a corner as its sides are followed. Derived: the ends of two sides at
a right angle, and a half for blur."""
SNAP_SHARE: Final = 0.8
"""ratio. Share of a side that is followed from a corner. Convention: the other corner's rounding is left out."""
SNAP_MOST: Final = 1.5
"""ratio. A corner that moves further than this many reaches is another one. Chosen on: not recorded."""
SAME_OUTLINE_PX: Final = 2.0
"""px. Outlines are never told apart within this. Derived: twice the width of an edge that OpenCV follows."""
