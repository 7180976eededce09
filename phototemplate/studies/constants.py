"""What decides in the studies: tolerances, priors, limits of searches. Unit first, then what it is and where it comes from."""

from __future__ import annotations

import math
from typing import Final

from phototemplate.settings import EdgeSettings
from phototemplate.units import INCH_MM

# -------------------------------------------------------------------------------------------------------------------- verdicts

EDGE_TOLERANCE_MM: Final = INCH_MM / 16
"""mm. Tolerance of a finished edge unless the job states another. Convention: fabricators state 1/16 in."""
SITE_TAPE_U_MM: Final = 0.7
"""mm. Standard uncertainty of a careful tape reading on site. Convention: read to 1 mm or 1/32 in."""
JUDGED_PLACES: Final = {"line": 5, "arc": 9, "circle": 9, "profile": 41}
"""count. Places along an edge that are judged, evenly from corner to corner. Derived: the variance across a line is largest
at an end; an arc has three knots and a profile at most 30."""
TAKES_PART: Final = 0.2
"""ratio. A quantity hangs on an edge if it moves by more than this share of the edge's own move. Chosen on: not recorded."""
MOST_SEARCHED: Final = 12
"""count. A further photo is looked for at so many undecided edges or dimensions, those nearest to a decision first.
Convention: a few seconds of waiting."""
BUDGET_SHARE: Final = 1e-6
"""ratio. Causes below this share of an edge's u are left out of its budget. Convention: beyond what is printed."""
SENSITIVITY_SHARE: Final = 0.01
"""ratio. The same for single inputs. Convention: a hundredth of u changes U by less than a ten-thousandth."""
GAP_BUDGET_SHARE: Final = 0.02
"""ratio. The same for the causes of a wall's largest gap. Convention: beyond what is printed."""
DOF_ASSUMED: Final = 8.0
"""count. Degrees of freedom of a type B term that the program assumes: its u is taken as good to 25 %, and nu = 1 / (2 r^2)
for a relative uncertainty r. Source: JCGM 100:2008, G.4.2 with its example."""
DOF_STATED: Final = 50.0
"""count. The same for a value whose u the user states (known lengths), good to 10 %. Source: JCGM 100:2008, G.4.2."""
LAG_MM: Final = 10.0
"""mm. Distance at which the residuals' correlation is looked at. Derived: two stations of a traced edge."""
LEAST_CORRELATION, MOST_CORRELATION = 0.05, 0.98
"""ratio. A correlation below the first counts as none, above the second as the second. Convention: keeps its logarithm
finite."""
INTERVAL_PROBABILITY: Final = 0.9545
"""ratio. Of the Monte Carlo intervals. Derived: two standard deviations of a normal distribution."""
INTERVAL_DRAWS: Final = 20_000
"""count. Draws behind them. Derived: their ends are then known to 1.5 % of u (JCGM 101:2008, 7.2)."""
INTERVAL_SEED: Final = 20
"""count. Convention: any number; the same job gives the same result."""
NEWTON_MM: Final = 1e-4
"""mm. Steps below this end the search for a corner. Convention: a thousandth of what is printed."""
UNNOTICED_SHARE: Final = 0.4
"""ratio. Of the blunder that is noticed with 80 % power; one so large is missed as a rule. Derived: its power at the 0.1 %
level is 5 % (1 - Phi(3.29 - 0.4 * 4.13))."""
CHECKED_MM: Final = 1e4
"""mm. Where only a blunder larger than this would be noticed, nothing checks the length. Convention: longer than any
kitchen."""
NICE_STEPS: Final = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
"""ratio. Leading figures of rounded blunders. Convention: numbers that are easily said."""
LEAST_ROUNDED_MM: Final = 1e-3
"""mm. Blunders are not rounded finer than this. Convention: beyond what is printed."""

# -------------------------------------------------------------------------------------------------------------------- remedies

PHOTO_DISTANCES_MM: Final = (900.0, 1400.0)
"""mm. From the edge in plan, of photos that are tried. Convention: an arm's length from the front, and a step back."""
PHOTO_HEIGHTS_MM: Final = (600.0, 1000.0)
"""mm. The same, over the cabinet tops. Convention: chin height, and the phone held up."""
PHOTO_TURNS_RAD: Final = tuple(math.radians(a) for a in (-60, -30, 0, 30, 60))
"""rad. The same, to the left and right of where photos were taken so far. Convention: steps that a person can follow."""
AIM_STEP_MM: Final = 300.0
"""mm. Photos that are tried aim at places of a grid so wide. Derived: half a sheet's spacing; neighbouring edges share
them."""
HELPFUL: Final = 0.9
"""ratio. Share of the present U that a remedy has to get below to be named. Convention: a tenth is worth the trouble."""
LEAST_ASKED_MM: Final = 300.0
"""mm. No shorter length is asked for. Convention: a tape's own uncertainty is a larger share of shorter ones."""
ALONG_EDGE: Final = 1.05
"""ratio. A length along an edge is preferred to one across that would help so much more. Convention: easier to tell and to
measure."""
WORTH_ASKING: Final = 0.9
"""ratio. A length is asked for only if it narrows the range to less than this share. Chosen on: not recorded; a customer's
time."""
PRINT_SCALE_U: Final = 0.01
"""ratio. Standard uncertainty of the scale where only the print of the sheets gives it: 98 to 102 % at k = 2. Convention:
printers at 100 % are 0.1 to 0.5 % off; the rest is for paper and driver. Printing to fit the page is not covered and said
so."""
FEELER_U_MM: Final = 0.05
"""mm. Standard uncertainty of a gap read with feeler gauges. Convention: gauges are stepped by 0.05 or 0.1 mm."""
TAPED_MIDDLE_U_MM: Final = 0.05
"""mm. What a strip taped down in its middle still bulges, standard uncertainty. Chosen on: not recorded."""
CALLIPER_STRIP_U_MM: Final = 0.03
"""mm. Standard uncertainty of strip and tape measured together with a calliper. Convention: calliper read to 0.02 mm, soft
paper."""
CALLIPER_PAPER_U_MM: Final = 0.02
"""mm. The same for sheets of paper alone. Convention: calliper read to 0.02 mm."""
SEEN_BETTER: Final = 0.5
"""ratio. Where the noise at the nearest place seen is less than this share of the present, seeing more of the edge helps.
Chosen on: not recorded."""

# ----------------------------------------------------------------------------------------------------------------------- walls

GOLDEN: Final = (math.sqrt(5.0) - 1.0) / 2.0
"""ratio. Of the golden section. Derived: solves g^2 + g = 1."""
USUAL_GAP_MM: Final = INCH_MM / 8
"""mm. Gap that caulk is expected to hide. Convention: the trade's 1/8 in, no published source."""
WALL_STEP_MM: Final = 10.0
"""mm. Distance of the places at which a wall is judged. Derived: a third of the distance of a strip's targets."""
AT_CORNER_MM, FAR_FROM_CORNER_MM = 200.0, 600.0
"""mm. Another wall that begins nearer than the first meets this one; one further away than the second does not. Convention:
cabinets end within 200 mm of a corner that they fill, and 600 mm is a cabinet."""
SWELLING_MM: Final = 300.0
"""mm. Length over which joint compound swells a corner. Convention: the trade's practice."""
SHORT_WALL_SHARE: Final = 0.25
"""ratio. The same for short walls, of their length. Convention: half the wall is left to speak of its bow."""
ENDS_SHARE: Final = 0.1
"""ratio. How much of a wall's length at either end may or may not count when one speaks of its direction. Convention: a
piece may end before the corner."""
WALL_DRAWS: Final = 500
"""count. Walls drawn for the largest gap. Derived: its standard deviation is known from them to 3 %, 1 / sqrt(2 n)."""
PART_DRAWS: Final = 80
"""count. The same for each cause alone. Derived: known to 8 %, enough to put causes in order."""
WALL_SEED: Final = 7
"""count. Convention: any number; the same job gives the same result."""
STRAIGHT_SHARE: Final = 0.5
"""ratio. Where the linear budget explains less than this share of the gap's variance, each cause is drawn. Derived: see
``piece_contact.spread_alone``."""
LEAN_REACH_MM: Final = 120.0
"""mm. Heights must reach over at least this much for a lean. Derived: more than the two rows of one strip."""
NEAR_WALL_MM: Final = 60.0
"""mm. Targets further from the profile in plan belong to another wall. Derived: 8 mm of mud and a lean of 30 mm/m over 1.5
m."""
BEYOND_SEEN_MM: Final = 100.0
"""mm. Targets of a second row may lie this far beyond what the profile was seen by. Convention: a third of a strip."""
ROUGH_WALL_U_MM: Final = 0.05
"""mm. Texture of a wall under each target, standard uncertainty. Chosen on: not recorded."""
ONE_WALL_TURN_RAD: Final = math.radians(15.0)
"""rad. Strips of one wall point the same way within this. Derived: far less than a corner, more than any bow."""
ASIDE_MM_PER_M: Final = 40.0
"""mm/m. A strip lies off the line of its neighbour by no more than :data:`ASIDE_MM`, and so much more per metre between
them. Derived: a wall bowed by 15 mm over 1.5 m turns by 40 mm/m towards its ends."""
ASIDE_MM: Final = 25.0
"""mm. See :data:`ASIDE_MM_PER_M`. Derived: three times the usual swelling of a corner."""
ROW_MM: Final = 60.0
"""mm. Strips higher than the lowest by more are a second row. Derived: a strip is 77 mm high, so a second row is at least
that much higher."""
CONTACT_APART_MM: Final = 100.0
"""mm. Points of one sheet's edge are closer together than this. Derived: five points along a side of at most 300 mm lie 75
mm apart."""

# --------------------------------------------------------------------------------------------------- drawings and earlier jobs

MISFIT_MM: Final = 12.0
"""mm. Root mean square beyond which a reference is not this wall. Convention: a wall may well be off its drawing by a few
mm."""
LONGEST_WALL_MM: Final = 12000.0
"""mm. A drawing with a longer run is in another unit. Convention: no wall of a kitchen is longer."""
END_SLACK_MM: Final = 60.0
"""mm. A wall may have been seen beyond the end of its drawing by this much. Convention: drawings leave out claddings."""
SAME_FIT_MM: Final = 0.15
"""mm. Differences of the root mean square this small do not decide where along the wall the reference lies. Chosen on: not
recorded."""
ALONG_WALL: Final = 0.7
"""ratio. A run that keeps more than this share of its length along the wall does not run across it. Derived: cos 45
degrees."""
COVERED_SHARE: Final = 0.8
"""ratio. A reference has to reach over this share of the wall. Chosen on: not recorded."""
SAME_LENGTH: Final = (0.9, 2.0)
"""ratio. A run in another unit may be so much of the wall's length. Convention: factors between units are 2.54 and more."""
MUCH_BETTER: Final = 0.5
"""ratio. Another unit is named where it fits with this share of the misfit. Chosen on: not recorded."""
RUN_CORNER_RAD: Final = math.radians(20.0)
"""rad. Runs end where a drawing turns by more. Derived: less than any corner of a kitchen, more than a bow."""
JOINED_MM: Final = 0.05
"""mm. Ends of lines this close count as joined. Convention: below the tolerance of any drawing program's snap."""
FLAT_MM: Final = 0.02
"""mm. Arcs and splines of a drawing are followed within this. Convention: a tenth of the least U."""
INSUNITS_MM: Final = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4}
"""mm. $INSUNITS -> one unit. Source: DXF reference (1 inches, 2 feet, 4 mm, 5 cm, 6 m, 10 yards)."""
UNIT_WORDS: Final = {25.4: "inches", 304.8: "feet", 1.0: "mm", 10.0: "cm", 1000.0: "m", 914.4: "yards"}
"""mm. One unit -> its name. Source: DXF reference."""
GIVEN_MM: Final = {"mm": 1.0, "in": 25.4}
"""mm. Units that a user may state for a drawing. Source: international inch, 1959."""

# ------------------------------------------------------------------------------------------------------- estimates from clicks

CUSTOMER_TAPE_U_MM: Final = 3.0
"""mm. Standard uncertainty of a length that a customer reads off a tape, hook and bends included. Convention: common
practice."""
CLICK_U_SHARE: Final = 0.0012
"""ratio. Standard uncertainty of a click on a corner, of the picture's longer side. Chosen on: not recorded (5 px of
4000)."""
UNREFINED_U_SHARE: Final = 0.0015
"""ratio. The same for the corner of a thing whose sides were not found. Chosen on: not recorded."""
FOCAL_U: Final = 0.04
"""ratio. Of a principal distance from EXIF. Source: two photos of a surveyed room (Find-GCP, zsiki) give 28.7 mm where EXIF
says 27: it tells a type's round number."""
FOCAL_GUESS_U: Final = 0.35
"""ratio. Of a principal distance that is a guess. Derived: cameras without EXIF lie between 14 mm (action cameras) and 40 mm
(film equivalent), 0.4 to 1.1 of the longer side."""
FOCAL_GUESS_SHARE: Final = 0.66
"""ratio. Principal distance of a camera nothing is known of, of the picture's longer side. Derived: the geometric mean of
that range."""
PROJECTION_GUESS: Final = (0.5, 0.5)
"""ratio. Design of a lens nothing is known of (0 rectilinear, 1 equidistant) and its standard uncertainty. Derived: lenses of
phones are corrected to 0, wide cameras lie near 1, and either may be overshot by some tenths."""
WIDE_MM, PROJECTION_WIDE_U = 20.0, 0.3
"""mm; ratio. Cameras whose film equivalent is shorter may be designed so by so much. Convention: ultra-wide cameras of phones
are corrected to 0, action cameras are not."""
RADIAL_U: Final = 0.008
"""ratio. How far an uncalibrated phone's lens of 26 mm moves a point at the picture's corner, of its distance from the
middle. Convention: a little under one per cent; 0.75 % is the root mean square over the three usual lenses of the
benchmarks."""
RADIAL_GUESS_U: Final = (0.02, 0.01)
"""ratio. The same of a camera that does not say what it is, at the corner and at :data:`INNER` of the way, beside its design.
Derived: polynomials fitted to wide lenses differ from their design by so much."""
RADIAL_R: Final = 0.83
"""ratio. Distance of the corner of such a picture from its middle, in focal lengths. Derived: 21.6 / 26."""
RADIAL_RANGE: Final = (0.3, 2.0)
"""ratio. Other lenses bend by the square of their corner's distance (third-order aberration), from a quarter of a per cent
of a long lens to 1.6 of a wide one. Convention: common experience."""
INNER: Final = 0.6
"""ratio. The second place at which the bending is known as well, of the way to the corner. Derived: spans the polynomial."""
CLICKED_CENTRE_U_SHARE: Final = 0.01
"""ratio. Standard uncertainty of the principal point, of the longer side. Chosen on: not recorded."""
FACE: Final = 0.5
"""ratio. Share of a thing's thickness that its near sides seem to reach down. Derived: from none (a dark face) to all (a
bright one)."""
FACE_U: Final = 1.0 / math.sqrt(12.0)
"""ratio. Its standard uncertainty. Derived: rectangular over 0 to 1."""
SQUARE_U_RAD: Final = math.radians(1.0)
"""rad. How well corners of cabinets and walls are square. Convention: a few mm over a run."""
THING: Final = 11
"""count. Unknowns of a known thing. Derived: place (2), angle, its two sides, its halo, how much of its faces is seen as
part of it, by how much its corners are lifted."""
PAPER_BENDS_MM: Final = 1.5 / math.sqrt(3.0)
"""mm. Standard uncertainty of the height of a loose sheet's corner. Derived: rectangular over 1.5 mm up or down, by which
sheets of office paper curl that have been folded, carried or held."""
SMALL_ANGLE_RAD: Final = 1e-6
"""rad. Below, a rotation's derivative is taken by its series. Derived: the next term is 1e-13."""
MAD_TO_SD: Final = 1.4826
"""ratio. Median absolute deviation to standard deviation. Source: normal distribution, 1 / Phi^-1(3/4)."""
WEAK_SIZES: Final = {
    "dishwasher": (24 * INCH_MM, 6.0),
    "range": (30 * INCH_MM, 8.0),
    "counter depth": (25.5 * INCH_MM, 15.0),
}
"""mm. Usual widths and their standard uncertainty. Convention: the trade's nominal sizes; weak, never a measurement."""
LEAST_BEND_U: Final = 1e-6
"""ratio. A profile is not believed to know a lens' bending better than this. Convention: keeps its covariance regular."""
RAY_STEPS, LONGEST_RAY_STEP = 30, 0.5
"""count; in focal lengths. Newton's steps from a pixel to its ray, and the longest. Convention: converges in five as a rule."""
LEAST_DEPTH_M: Final = 0.05
"""m. No clicked point is nearer to the camera. Convention: keeps the search in front of it."""
MOST_R2: Final = 4.0
"""ratio. Square of the largest distance from the middle, in focal lengths. Convention: keeps the polynomial of a lens from
folding."""
EYE_MM: Final = 800.0
"""mm. Height of the phone over the cabinet tops where the search begins. Convention: held in front of a kitchen."""
TILTS_DEG: Final = (25.0, 45.0, 65.0)
"""deg. How far the phone looks down where the search begins. Convention: spans what people do."""
LEAST_DROP, FARTHEST_M = 0.02, 12.0
"""ratio; m. A ray that falls less ends at that distance. Convention: no kitchen is longer."""
LEAST_MAYBE: Final = 0.01
"""ratio. What a thing may be with less probability is not tried. Convention: one in a hundred."""
FOCAL_COST_PX: Final = 0.3
"""px. What another principal distance than the expected one has to gain, for each standard deviation that it is off, where a
search begins. Convention: less than a corner is off."""
STARTS_TRIED: Final = (3, 12)
"""count. Starts followed to the end for each way known things may lie, the most promising first, and so many more where none
fits. Chosen on: clicks through the four first cameras of the estimate benchmark."""
FITS_ALREADY: Final = 0.99
"""probability. No further start is tried once the sum of squares lies below this quantile of its chi-squared distribution.
Convention: one search in a hundred looks further in vain."""
FOCAL_STARTS: Final = (0.0, -1.0, 1.0)
"""count. Principal distances of a lens nothing is known of where the search begins, in standard uncertainties. Convention:
spans what it may be."""
CONTRADICTION: Final = (9.0, 25.0)
"""ratio; count. Clicks and sizes contradict each other beyond so many squares for each redundant observation, and so many
more. Convention: residuals three times as large as stated."""
LEAST_EITHER: Final = 1e-3
"""ratio. A change of the points' variance below this share is left out. Derived: it changes U by less than a thousandth."""
LEAST_EDGE_MM: Final = 30.0
"""mm. A shorter edge is a misclick. Convention: no top has one."""
STRAIGHT_PART: Final = (0.12, 0.88)
"""ratio. Part of a thing's side that is used. Source: ISO/IEC 7810, a card's corners are rounded over 3.18 mm, 0.06 of its
short side."""
HALO_U_PX: Final = EdgeSettings().view_u_px / math.sqrt(2.0)
"""px. What sharpening and tone curve do to all sides of a thing alike, in all photos of one phone; as much again differs
from side to side. Derived: half the variance of a traced edge's, which was chosen on rendered kitchens."""
NOISE_GREY, SIDE_WINDOW_PX = 2.0, 2.5
"""grey value; px. Of one pixel of a phone's picture, and half the width over which a side is looked at (one sigma). Chosen
on: not recorded."""
REACH_OF_SIDE, LEAST_REACH_PX = 0.06, 4.0
"""ratio; px. How far from the clicks a side is looked for, of the thing's shortest side. Chosen on: not recorded."""
REACH_OF_PICTURE, REACH_PX = 0.003, 6.0
"""ratio; px. And no further than this share of the picture and so many pixels. Chosen on: not recorded."""
LEAST_CROSSING: Final = 0.2
"""ratio. Sine of the angle at which two sides must cross. Convention: 12 degrees."""
MOST_MOVED: Final = 2.5
"""ratio. A corner may move by so many reaches. Chosen on: not recorded."""
LEAST_SIDE_PX: Final = 8.0
"""px. Shorter sides are left as clicked. Chosen on: not recorded."""
CLEAR_STEP: Final = 0.35
"""ratio. A step counts if it is at least this share of the usual one. Chosen on: not recorded."""
LEAST_SPREAD_PX, SPREADS = 0.15, 3.0
"""px; count. Places of a side may lie so many spreads off its line, and no spread is taken as smaller. Chosen on: not
recorded."""
LEAST_GOOD, MOST_SPREAD = 0.4, 0.35
"""ratio. Of a side's places that must agree, and of the reach that they may spread. Chosen on: not recorded."""
TEXT_SHARE: Final = 1 / 75
"""ratio. Height of texts in a drawing of a study, of its width. Convention: legible on half a page."""
QUOTE_TEXT_SHARE: Final = 1 / 55
"""ratio. The same on a quote. Convention: as large as a sink's name allows."""
QUOTE_TEXT_OF_HEIGHT: Final = 1 / 24
"""ratio. The same of its height, where that is what limits the drawing. Derived: 2.6 mm of 62 mm."""
LEAST_TEXT_MM: Final = 6.0
"""mm. The least height of such texts, at true size. Convention: legible at 1:3."""
NAME_WIDTH: Final = 0.85
"""ratio. Width of a letter on a slab's plan, of its height, and a margin. Derived: Helvetica's digits are 0.56 of the em,
0.77 of a capital."""
NAME_LINES: Final = 2.5
"""ratio. A piece on a slab's plan is so many heights of its name wide at least. Convention: layout."""
RING_APART: Final = 2.1
"""ratio. Marks of cameras on a plan are so many of their radii apart. Convention: they do not touch."""
RING_DISTANCES: Final = (2.4, 3.2, 4.2, 5.4, 7.0, 9.0)
"""ratio. How far from where one stands its number is tried, in heights of a text. Convention: layout."""
CROSSED: Final = 12.0
"""ratio. Heights of a text that a number rather goes further than across another mark. Convention: layout."""
PRICE_COLUMN_MM: Final = (60.0, 34.0)
"""mm. Least width of the names of a quote's lines, and most of a column of prices. Convention: layout."""
TIGHT_PT: Final = 1
"""pt. Room above and below the lines of a quote's tables. Convention: layout."""
DIAGRAM_SHARE: Final = 0.32
"""ratio. Heights of a wall's diagram are enlarged until they take this share of its length at most. Convention: layout."""
LONG_WALL_MM: Final = 700.0
"""mm. Longer walls have a scale by the foot, shorter ones by four inches. Convention: layout."""
MARGIN_MM: Final = 17.0
"""mm. Margin of a quote's pages. Convention: every printer reaches there."""
SAME_ROOM: Final = 0.8
"""ratio. A name stands in the middle of a piece where that has so much of the room of the widest place. Convention: layout."""
FRAME_PT: Final = 6.0
"""pt. What the page layout keeps free inside the margins. Convention: of its library."""
DRAWING_MM: Final = 62.0
"""mm. Height of the drawing on a quote's first page. Convention: a third of the page."""
SAMPLE_LENGTH_MM: Final = 96 * INCH_MM
"""mm. Length of the sample top that a price list is checked with. Convention: a usual run that one slab holds."""
SAMPLE_DEPTH_MM: Final = 25.5 * INCH_MM
"""mm. Its depth. Convention: the trade's usual finished depth."""
LEAST_SHARE: Final = 0.02
"""ratio. Causes of a smaller share of an area's variance are not named. Convention: a hundredth of its range."""
LEAST_PRICE_SPREAD: Final = 0.005
"""currency. Lines that spread less are no reason for a price's range. Convention: half of the smallest coin."""

# ------------------------------------------------------------------------------------------------------------------------ plan

PLANNED_FOCAL_SHARE: Final = 0.75
"""ratio. Principal distance of that phone, of the longer side. Convention: 26 mm film equivalent."""
PLANNED_SIZE_PX: Final = (4032, 3024)
"""px. Picture of the phone that is planned for. Convention: 12 MP, what most phones give."""
SIGHTING_U_PX: Final = 0.0134
"""px. Standard uncertainty of a point of a sheet that is seen from straight above, such that it tells as much as the points of
photos do on average (mean of their inverse variances, as the measuring states them). Chosen on: rendered kitchens with inset
doors, rounded edges, old tops and raised bars; feeds the predicted U."""
LEAST_FORESHORTENING: Final = 0.3
"""ratio. Points seen at a flatter angle than this cosine do not become worse any more. Chosen on: not recorded."""
EDGE_DEFINITION_U_MM: Final = 0.30
"""mm. Standard uncertainty of where a planned edge lies, rounded as it may be and one line of several as it may be. Chosen on:
what results state of 40 traced edges (median) of rendered kitchens with inset doors, rounded edges, old tops and raised bars;
feeds the predicted U."""
BAR_THICK_MM: Final = 20.0
"""mm. Thickness of a planned bar. Convention: box section of 20 mm."""
COUNTS_TRIED: Final = (4, 6, 8, 10, 12, 16, 20)
"""count. Numbers of photos that are tried. Convention: more than 20 nobody takes."""
MOST_RUNS: Final = 3
"""count. Runs of a sketch. Convention: straight, L and U."""
SHEET_EVERY_MM, LEAST_SHEETS = 300.0, 8
"""mm; count. Sheets along a run unless their number is given, and the fewest. Source: the guide printed with the sheets: one
about every 600 mm in each of two rows, near the wall and near the front; 8 to 12 for one run, 13 to 20 for an L or U."""
SHEET_HALF_MM: Final = 155.0
"""mm. The middle of a planned sheet is so far from a run's end at least. Derived: half of 297 mm, and a finger's breadth."""
STILL_HELPS: Final = 0.95
"""ratio. More photos help while U falls below this share of what it was with fewer. Convention: a twentieth for a quarter more
photos is not worth the time on site."""
FULL_FRAME_DIAGONAL_MM: Final = 43.2666
"""mm. Of the film that focal lengths in EXIF are equivalent to. Source: CIPA DCG-001, 36 mm x 24 mm."""
CLEAR_OF_FRONT_MM: Final = 250.0
"""mm. Nobody stands nearer to a front. Convention: half a person."""
STEP_BACK: Final = 0.35
"""ratio. How far from the front one stands, of the run's length. Derived: a 26 mm lens then shows most of the run."""
STEP_BACK_MM: Final = (800.0, 1400.0)
"""mm. Its least and most. Convention: the width of an aisle."""
PAPER_MM: Final = 0.3
"""mm. Thickness of a planned sheet. Convention: paper on thin board."""

# ------------------------------------------------------------------------------------------------------------ slabs and prices

SLAB_UNITS: Final = 10
"""count. Whole units for each mm in which rectangles are packed. Convention: tenths of a millimetre."""
MOST_SLABS: Final = 60
"""count. More would be a wrong size. Convention: a house has fewer."""
EVERY_ORDER: Final = 6
"""count. Up to so many pieces every order is tried. Derived: 720 orders take a second."""
FOOT_MM: Final = 304.8
"""mm. Source: international foot, 1959."""
FOOT2_MM2: Final = FOOT_MM**2
"""mm2. Square foot. Derived: from the foot."""
AREA_MM2: Final = {"ft2": FOOT2_MM2, "m2": 1e6}
"""mm2. Units of area of a price list. Derived: from the foot."""
LENGTH_MM: Final = {"ft": FOOT_MM, "m": 1000.0}
"""mm. Units of length of a price list. Derived: from the foot."""
POUND_KG: Final = 0.45359237
"""kg. Source: international avoirdupois pound, 1959."""
ENLARGED: Final = (1, 2, 5, 10, 20, 50, 100, 200)
"""ratio. By which heights of a wall may be enlarged. Convention: drawing scales of ISO 5455."""
CSV_STEP_MM: Final = 50.0
"""mm. Rows of a wall's table where it is in mm; 2 in where it is in inches. Convention: a pencil mark every hand's
breadth."""

HALVES_INSIDE: Final = 0.9
"""ratio. Distances between sheets from two halves of the photos that have to agree within U. Convention: nineteen in twenty
would, were they independent; they share sheets and photos."""
STRAIGHT_EDGE_MM: Final = 0.5
"""mm. How straight a builder's level or a rule is, unless it is said. Convention: makers state 0.5 mm/m and better."""
WATCH_S: Final = 1.0
"""s. How often a worker of a batch looks whether the batch is still there. Chosen on: not recorded."""
TRIES: Final = 3
"""count. Times that a job is begun whose worker died. Derived: two may have died of another job, the third is its own."""
BUSY_S: Final = 1.0
"""s. How often a batch looks again at jobs that others measure, and for a scheduler. Convention: felt as at once."""
CONNECT_S: Final = 10.0
"""s. How long a scheduler may take to answer. Convention: a slow network's usual patience."""
RESTART_S: Final = 600.0
"""s. How long a batch waits for a scheduler that has gone. Convention: a machine that is started anew."""
TABLE_EVERY_S: Final = 1.0
"""s. How often the table of a batch is written while it runs. Convention: felt as at once; a thousand rows take 10 ms."""
COUNT_EVERY_S: Final = 5.0
"""s. How often a batch counts the workers of a cluster. Convention: new ones are at work soon."""

# ------------------------------------------------------------------------------------------------------------------------ slabs

SLAB_CELL_MM: Final = 10.0
"""mm. Raster on which places of pieces on a slab are looked for; they are then moved up exactly. Convention: speed."""
SLAB_TOUCH_MM: Final = 0.01
"""mm. Contact on a slab that counts as rounding. Derived: a tenth of the usual cutting tolerance."""
REMNANT_MM2: Final = 0.05e6
"""mm^2. Smaller rests of a slab are no remnants. Convention: trade, a vanity splash is larger."""
SLAB_CLICK_PX: Final = 2.0
"""px. Standard uncertainty of a corner clicked on a slab's rough edge. Chosen on: not recorded."""
SLAB_PX_PER_MM: Final = 1.0
"""px/mm. Pictures of slab and pieces. Convention: 3 m on a screen."""
SLAB_FLAT_U_MM: Final = 1.0
"""mm. How far a leaning or bowed slab stands off the plane of its sheets, standard uncertainty. Chosen on: not recorded."""
LENS_SERIES_BELOW: Final = 1e-4
"""ratio. Below this square of a ray's slope atan(r)/r is taken from its series. Derived: the next term is 2e-9."""
BAR_SHORT: Final = 0.9
"""ratio. A bar shorter than this share of the longest run is one that a longer bar improves. Chosen on: not recorded."""
LEAST_FAULT_MM: Final = 0.5
"""mm. A fault of a slab is kept clear of by at least this much. Convention: the shortest segment that is cut."""
TURN_SAID_DEG: Final = 0.5
"""deg. A piece turned by less is drawn as not turned. Convention: whole degrees are printed."""
