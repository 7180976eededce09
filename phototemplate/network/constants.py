"""Constants of the network: thresholds, priors and weights that decide. What a shop may want to change is in ``settings``."""

from __future__ import annotations

from math import radians
from typing import Final

import numpy as np

# ---- priors of the adjustment

RELEASED: Final = 0.1
"""ratio. Standard uncertainty of a print scale that contradicted its prior. Convention: as good as unknown, no printer is 10 %
off."""
PRINT_CORRELATION: Final = 0.8
"""ratio. Correlation of the common print scales of kinds and directions: one printer, one paper. Chosen on: not recorded."""
TIED_F: Final = 1e-6
"""ratio. How far the principal distances of one lens under turned pictures may differ. Convention: as good as equal."""
TIED_PX: Final = 0.01
"""px. The same of its mirrored centre. Convention: as good as equal."""
TIED_K: Final = 1e-6
"""ratio. The same of aspect and distortion. Convention: as good as equal."""
TURNED_SCATTER: Final = 0.7
"""ratio. Scatter of the distances of axes from the middle, over their mean, beyond which pictures are not in two groups.
Derived: 0.75 for a normal scatter about the middle, which a stabiliser of a well-centred lens gives."""
TURNED_EVIDENCE: Final = 10.0
"""chi-squared. Drop for which pictures are taken to be turned, beside one bit a photo. Source: Kass, Raftery, J. American
Statistical Association 90 (1995) 773-795, very strong."""

# ---- what exposures do (priors of the variance components)

FOCUS_SD: Final = 0.002
"""ratio. Usual standard deviation of the principal distance over the photos of a phone. Derived: thin lens, f over distance, 4
mm over 0.7 to 2.5 m."""
FOCUS_SPREAD: Final = 1.2
"""ratio. Standard deviation of its logarithm over phones. Convention: some crop so that breathing does not show."""
FOCUS_STILL: Final = 0.2
"""probability. Cameras of fixed focus. Chosen on: not recorded."""
FOCUS_LARGEST: Final = 0.012
"""ratio. The largest that is tried. Derived: thin lens of 4 mm focused at 0.3 m."""
CENTRE_SD: Final = 0.0025
"""ratio. Usual standard deviation, per axis, of the image's shift over the photos of a phone, as a share of the picture's
longer side (10 px of 4032). Chosen on: robust bundles of two phones' photos (iPhone X 21 and 16 px, OnePlus 12 12 and 19 px),
rounded down for phones that move less; published: SAE 2024-01-2474, arXiv 2303.11307."""
CENTRE_SPREAD: Final = 0.9
"""ratio. Standard deviation of its logarithm over phones. Convention: a factor of 2.5 either way."""
CENTRE_STILL: Final = 0.25
"""probability. Cameras without a stabiliser, or with one that rests on its tripod. Chosen on: not recorded."""
CENTRE_LARGEST: Final = 0.03
"""ratio. The largest that is tried (120 px of 4032). Convention: beyond what two phones showed (ranges of 90 px)."""
TURN_SD: Final = 4.5e-4
"""rad. Usual standard deviation, per axis, of the turn during the readout of a phone held in the hand. Chosen on: the same two
phones (0.04 to 0.16 degrees rms), the lower end for photos that are not bursts."""
TURN_SPREAD: Final = 0.9
"""ratio. Standard deviation of its logarithm. Convention: a factor of 2.5 either way."""
TURN_STILL: Final = 0.2
"""probability. Cameras on a tripod or with a quick shutter. Chosen on: not recorded."""
TURN_LARGEST: Final = 0.01
"""rad. The largest that is tried. Convention: 0.6 degrees; photos taken so are smeared."""
SHIFT_SD: Final = 0.12
"""mm. Usual standard deviation, per axis, of the way during the readout. Derived: a hand at 5 mm/s over 25 ms."""
SHIFT_SPREAD: Final = 0.7
"""ratio. Standard deviation of its logarithm. Convention: a factor of 2 either way."""
SHIFT_STILL: Final = 0.2
"""probability. Convention: as ``TURN_STILL``."""
SHIFT_LARGEST: Final = 3.0
"""mm. The largest that is tried. Convention: a hand at 100 mm/s."""
PROFILE_SPREAD: Final = 0.5
"""ratio. Standard deviation of the logarithm of a component in a job against that in its camera's profile. Derived: a dozen
photos tell a standard deviation to 20 %, and a hand is not held alike twice: a factor of 1.6."""
PROFILE_DIFFERS: Final = 0.2
"""probability. Jobs whose camera is held in quite another way than at its calibration. Convention: a tripod comes and goes."""
START_SD: Final = 2.5
"""ratio. What the tests of sheets and sightings start from, in units of the usual standard deviation: generous, so that no
sheet is blamed for what the camera did. Convention: the upper end of ``CENTRE_SPREAD``."""
SHIFT_THAT_TELLS: Final = 2e-4
"""ratio. Standard deviation of the image's shift, as a share of the picture's longer side, from which it is asked whether the
distortion moves along. Derived: 1 px of 4032 times a distortion that grows by 5 % of the radius is 0.05 px, as corners are."""
SHIFT_TRIAL: Final = 6
"""count. Iterations within which the other kind of shift has to fit better. Convention: it starts from the first kind's
solution."""
STILL_SD: Final = 2e-3
"""ratio. Standard deviation that is as good as standing still, in units of the usual. Convention: 0.02 px."""
GRID_POINTS: Final = 90
"""count. Standard deviations tried between the two. Convention: 11 % apart."""
COMPONENT_ROUNDS: Final = 6
"""count. Rounds of adjusting and estimating the components. Chosen on: not recorded."""
COMPONENT_SWEEPS: Final = 3
"""count. Sweeps over the components in a round. Chosen on: not recorded."""
COMPONENT_SETTLED: Final = 0.1
"""ratio. Change of a standard deviation that is no change. Convention: far below what a dozen photos tell of it."""

# ---- what is left to determine something

LEAST_FOR_NOISE: Final = 20
"""count. Sightings of a photo from which its own noise is taken. Derived: the median of 20 lengths is good to 15 %."""
LEAST_OF_PHOTO: Final = 4
"""count. Sightings that place a photo. Derived: six unknowns, and one to spare."""
LEAST_OF_BODY: Final = 3
"""count. Sightings that place a body. Derived: six unknowns."""
LEAST_OF_POINT: Final = 2
"""count. Sightings that place a free point. Derived: three unknowns."""
MAYBE_ON_A_LINE: Final = 24
"""count. Bodies with fewer sightings are looked at for lying on one line. Convention: saves time only."""
ON_A_LINE: Final = 0.02
"""ratio. Spread across over spread along below which points are on one line. Chosen on: not recorded."""
SHEET_AS_DATUM: Final = 1000
"""ratio. How much sooner a sheet is the datum than another body. Convention: nothing downstream depends on the datum."""
MIN_RAY_ANGLE_RAD: Final = radians(1.0)
"""rad. A free point whose rays all meet at less than this is not adjusted. Chosen on: not recorded."""

# ---- orientation from nothing

AGREES: Final = 0.03
"""ratio. Root mean square distance, in units of the principal distance, within which a target agrees with a photo's pose.
Chosen on: kitchens of tests/network/synthetic."""
FITTING_SHARE: Final = 0.75
"""ratio. Share of a target's points by which its agreement is judged. Derived: three of the four of a bar's end."""
SEEDS: Final = 3
"""count. Photos tried as the first one. Chosen on: not recorded."""
ULTRA_WIDE: Final = 0.6
"""ratio. Principal distance over the picture's longer side below which a lens counts as ultra-wide. Derived: 80 degrees
across."""

# ---- wrong sightings

CHECKED: Final = 0.02
"""ratio. Redundancy number below which nothing checks a sighting. Convention: its residual shows a seventh of an error."""
REJECTED_TOGETHER: Final = 0.3
"""ratio. Share of the largest squared residual of a view from which others are rejected in the same round. Chosen on: kitchens
of tests/network/synthetic with 2 to 5 % wrong sightings."""
FITS_AFTER_ALL: Final = 6.0
"""ratio. Median squared normalized residual of a view left out as moved below which it is taken back. Derived: the 95 % point
of chi-squared with 2 degrees of freedom."""
VARIANCE_LEVEL: Final = 0.01
"""probability. Level at which residuals larger than stated are believed. Chosen on: not recorded."""
NOISY_PHOTO: Final = 1.3
"""ratio. Variance of a photo over that of most from which it gets a factor of its own. Chosen on: not recorded."""
LEAST_REDUNDANCY: Final = 3.0
"""count. Redundancy below which no variance is estimated. Chosen on: not recorded."""
LEAST_REDUNDANCY_OF_PHOTO: Final = 8.0
"""count. The same for one photo. Chosen on: not recorded."""
FACTOR_SETTLED: Final = 0.02
"""ratio. Change of a variance factor that is no change. Convention: a hundredth of its standard deviation's effect on U."""

# ---- is the adjustment to be believed

FIT_LEVEL: Final = 0.001
"""probability. Level of each family of tests of the residuals. Source: Baarda (1968)."""
FIT_TOLERABLE: Final = 1.5
"""ratio. Variance of all sightings over the stated one that is no finding. Convention: standard deviations stated to 20 %."""
FIT_PART_TOLERABLE: Final = 2.0
"""ratio. The same of one photo, target or direction. Convention: standard deviations alike to 40 %."""
FIT_SUMS_TOLERABLE: Final = 1.3
"""ratio. The same of residuals that go together. Chosen on: the phones CHOSEN_ON of tests/network/phones, which reach 1.15."""
FIT_HOPELESS: Final = 6.25
"""ratio. Variance over the stated one from which no U is stated. Convention: standard deviations 2.5 times the stated ones are
no matter of noise; kitchens with one lens centre for all photos of a stabilised phone had 2.6 to 6.0."""
DAMPED_AGAIN: Final = 1e-3
"""ratio. Damping with which it goes on. Chosen on: not recorded."""
ATTEMPTS: Final = 3
"""count. How often an adjustment that did not converge goes on, damped, before that is said. Chosen on: not recorded."""

# ---- moved, bent and misprinted targets

AGREE_CHI2: Final = 16.27
"""chi-squared. Places of a target that differ by less are one, and weaker evidence for curl is not followed up. Derived: 0.1 %
point with 3 degrees of freedom."""
SAME_MM: Final = 0.5
"""mm. Places that differ by less are one, and moves of a target's points by less are nobody's concern. Convention: a third of
the usual tolerance."""
TURN_TOLD_DEG: Final = 0.05
"""deg. Turns of a moved target below this are not told. Convention: they round to nothing."""
FAR_MM: Final = 300.0
"""mm. A target found further off did not move: another one bears its number. Chosen on: not recorded."""
MISPLACED: Final = 0.06
"""ratio. Distance in units of the principal distance beyond which a target is not where the others say. Derived: twice
``AGREES``."""
SUSPICIOUS: Final = 2.5
"""ratio. Median residual of a body in a photo, in units of noise, from which it is asked whether it moved. Chosen on: kitchens
of tests/network/synthetic."""
FAR_MOVE_EVIDENCE: Final = 100.0
"""chi-squared. Drop for which a move with large residuals is believed. Chosen on: kitchens of tests/network/synthetic."""
TURN_SD_RAD: Final = 1.0
"""rad. Weak expectation of a target's turn, for photos that show one point only. Chosen on: not recorded."""
PLACE_ITERATIONS: Final = 12
"""count. Iterations for a target's other place. Chosen on: not recorded."""
PLACE_TOLERANCE: Final = 1e-6
"""half chi-squared. Drop below which that search has ended. Chosen on: not recorded."""
PLACE_HUBER: Final = 3.0
"""ratio. Normalized residual from which a sighting counts less there. Chosen on: not recorded."""
ALL_GROUPINGS: Final = 8
"""count. Up to so many photos of a target every way to part them is tried; of more only before and after, and single photos.
Derived: 127 ways."""
LEAST_CHECKED_MOVE: Final = 0.005
"""ratio. Share of a photo's knowledge of where a target lies that the other photos must check. Chosen on: kitchens of
tests/network/synthetic."""
SCALE_CONFLICT: Final = 4.0
"""ratio. Normalized residual of a print scale from which it contradicts its prior. Derived: 1 in 16,000, with some 40 scales a
job."""
SCALE_TOLD: Final = 0.003
"""ratio. Departure of one sheet's print scale that is told. Convention: what a ruler on the sheet shows."""
BATCH_SCALE_TOLD: Final = 0.01
"""ratio. The same of a whole print. Chosen on: not recorded."""
SCALE_BOUND_AGAIN: Final = 3.0
"""ratio. Scales within so many standard deviations of the others are bound again. Chosen on: not recorded."""
CURL_RISE_MM: Final = 0.15
"""mm. Rise of a sheet's points below which its curl is not asked for. Convention: a paper's thickness."""
TRIAL_ITERATIONS: Final = 10
"""count. Iterations within which a trial of a sheet's curl has to converge. Chosen on: not recorded."""
CURL_TOLD_MM: Final = 0.5
"""mm. Rise that is told. Convention: a third of the usual tolerance."""

# ---- known lengths

LENGTH_CONFLICT: Final = 3.29
"""ratio. Normalized residual from which a known length contradicts. Source: Baarda (1968), 0.1 % level."""
DETECTABLE: Final = 4.13
"""ratio. Noncentrality for 80 % power at that level. Source: Baarda (1968)."""
UNCHECKED_SHARE: Final = 0.002
"""ratio. Blunder of a known length, as a share of it, that is told where it would go unnoticed. Convention: 2 mm in a metre."""
UNCHECKED_MM: Final = 1.0
"""mm. The same in mm; the larger counts. Chosen on: not recorded."""

# ---- geometry and lens

NARROW_RAYS_DEG: Final = 20.0
"""deg. Median angle between the directions a sheet is seen from below which heights are called weak. Derived: heights are then
some six times as uncertain as positions."""
PROFILE_MISFIT: Final = 2.5
"""chi-squared. Departure from a profile, for each parameter it knows, from which it no longer fits. Chosen on: not recorded."""
PROFILE_MISFIT_BASE: Final = 20.0
"""chi-squared. Added to that. Chosen on: not recorded."""

# ---- boards that look the same after half a turn

HALF_TURN_EVIDENCE: Final = 10.0
"""chi-squared. Rise of the criterion with any photo turned from which a board's half turns count as told. Source: Kass,
Raftery, J. American Statistical Association 90 (1995) 773-795, very strong."""
HUBER_BOARD: Final = 3.0
"""ratio. Normalized residual from which a corner counts less in the first fits of a board. Convention: three sigma."""

# ---- where photos start from

FULL_FRAME_DIAGONAL_MM: Final = float(np.hypot(36.0, 24.0))
"""mm. Diagonal of the film that a 35 mm equivalent refers to. Source: CIPA DCG-001."""
FOCAL_GRID: Final = np.geomspace(0.35, 4.0, 11)
"""ratio. Principal distances tried first, in units of the longer side. Derived: a 35 mm equivalent of about 13 to 144 mm."""
FOCAL_FINE: Final = np.geomspace(1 / 1.25, 1.25, 9)
"""ratio. Factors tried then, about the best of them. Derived: about a step of ``FOCAL_GRID`` either way."""
MOST_FOCAL_VIEWS: Final = 24
"""count. Views, the largest, from which a principal distance is taken. Chosen on: not recorded."""
LEAST_FOCAL_ERROR_PX: Final = 0.05
"""px. Least reprojection error of a view that counts as one unit there. Chosen on: not recorded."""
WORST_FOCAL_ERROR: Final = 20.0
"""ratio. Reprojection error, in those units, beyond which a view counts no more. Chosen on: not recorded."""
FOCAL_TELLS: Final = 0.15
"""ratio. Standard uncertainty of a principal distance seen on sheets up to which it may contradict EXIF. Chosen on: not
recorded."""
FLAT_SPREAD: Final = 0.05
"""ratio. Spread across over spread along up to which a target's points are on one line and orient no photo. Chosen on: not
recorded."""
CORNER_DETERMINANT: Final = 1e-3
"""ratio. Sine between a marker's edges up to which their corner keeps the unit matrix. Chosen on: not recorded."""
LEAST_FORWARD: Final = 1e-3
"""ratio. Least cosine with the camera's axis that a ray is divided by. Chosen on: not recorded."""
PLANE_ACROSS: Final = 0.1
"""ratio. Spread across over spread along below which sheets are in line and tell no common normal. Chosen on: not recorded."""
PLANE_RISE: Final = 0.3
"""ratio. Spread off the plane over spread across beyond which sheets tell no common normal. Chosen on: not recorded."""
POSE_MARGIN: Final = 1e-4
"""ratio. Misfit (capped squares) by which either pose of a target seen once may be taken. Chosen on: not recorded."""
KEEP_MARGIN: Final = 1e-3
"""ratio. Misfit by which a target keeps its pose against a better one. Chosen on: not recorded."""
SEEN_ONCE: Final = 0.1
"""count. Other photos that a target seen once counts as when the first photo is chosen. Chosen on: not recorded."""
ENOUGH_VIEWS: Final = 0.8
"""ratio. Share of the views that must agree for no other first photo to be tried. Chosen on: not recorded."""

# ---- photos of two places in one job

ALIKE_MM: Final = 40.0
"""mm. Up to this a sheet lies alike in two photos: heights of cabinets and start values of the lens count as such. Chosen on:
not recorded."""
OTHER_MM: Final = 80.0
"""mm. Beyond this it does not. Chosen on: not recorded."""
LEAST_SHARED: Final = 4
"""count. Shared sheets below which a sheet that moved cannot be told from another place. Derived: a homography brings any two
sheets to where they are and three by chance."""
LEAST_GROUP: Final = 2
"""count. Photos that make a place. Convention: one photo that contradicts all others is left out by itself."""
LEAST_FORWARD_OF_PLACE: Final = 0.05
"""ratio. Least cosine with the camera's axis that a ray is divided by there. Chosen on: not recorded."""

# ---- small things of the adjustment and its tests

REFERENCE_C: Final = 20.0
"""degC. Reference temperature of lengths. Source: ISO 1."""
EXPANSION_PER_K: Final[dict[str, float]] = {
    "steel": 11.5e-6,
    "aluminium": 23.1e-6,
    "wood": 5e-6,
    "fibreglass": 8e-6,
    "carbon": 1e-6,
}
"""1/K. Linear expansion. Source: steel and aluminium Swyt, J. Res. NIST 99 (1994) 31. Convention: the others are usual values
of the trade (wood along the grain)."""
LEAST_TOLD_BY_PHOTOS: Final = 1e-3
"""ratio. Share of a profile's variance from which a direction of the lens is told by the photos. Chosen on: not recorded."""
LEAST_HALF_MM: Final = 5.0
"""mm. Least half size of a target by which its curl is judged. Chosen on: not recorded."""
LEAST_SIZE_MM: Final = 10.0
"""mm. Least half size of a target by which its turn is judged. Chosen on: not recorded."""
LEAST_INFORMATION: Final = 1e-6
"""1/rad2, 1/mm2. Information by which three points on one line still have a turn. Convention: as good as none."""
LEAST_MOVED: Final = 4
"""count. Sightings of a sheet in either group of photos. Derived: as LEAST_OF_BODY, and one to spare."""
FITS_ELSEWHERE: Final = 4.0
"""ratio. Squared residual up to which a sighting fits in a target's other place. Chosen on: not recorded."""
FITS_ELSEWHERE_SHARE: Final = 0.15
"""ratio. The same as a share of the median where the target is now; the larger counts. Chosen on: not recorded."""
MOST_FIT: Final = 0.75
"""ratio. Share of a photo's sightings that must fit there. Chosen on: not recorded."""
LEAST_SCALE_REST: Final = 1e-4
"""ratio. Least share of a print scale's prior variance by which its residual is normalized. Chosen on: not recorded."""
MOVED_PARAMETERS: Final = 3
"""count. Parameters of a sheet that lay elsewhere. Derived: a turn and two shifts in its plane."""
MISPRINTED_PARAMETERS: Final = 2
"""count. Parameters of a sheet printed at another scale. Derived: one scale along each axis."""
BENT_PARAMETERS: Final = 3
"""count. Parameters of a bent sheet. Derived: the coefficients of a paraboloid."""
LOOSE_PARAMETERS: Final = 6
"""count. Parameters of a strip that came loose. Derived: a shift of either end."""
LOOSE_EVIDENCE: Final = 59.0
"""chi-squared. Drop for which a strip is taken to have come loose. Derived: as improbable by chance as 50 with three
parameters."""
LEAST_OF_STRIP: Final = 6
"""count. Sightings of a strip in either group of photos. Derived: as many numbers twice over as there are parameters."""
WRONG_PARAMETERS: Final = 2
"""count. Parameters of a wrong sighting. Derived: its two coordinates."""
LEAST_RESTLESS: Final = 3
"""count. Photos of a strip from which it is told that it lay in many places. Convention: two would be one move."""
RESTLESS_SHARE: Final = 0.4
"""ratio. Mean share, over the photos, of a strip's sightings that were left out, beyond which it did. Chosen on: not
recorded."""
SMEARED_PARAMETERS: Final = 3
"""count. Parameters of a smeared photo. Derived: a direction and the noise along and across it."""
SMEAR_CORE: Final = 3.0
"""ratio. Residuals of a photo over their median beyond which they do not tell the direction of a smear. Convention: wrong
sightings and moved sheets lie further out."""
MEDIAN_OF_NORMAL: Final = 0.6745
"""ratio. Median of the absolute value of a standard normal deviate. Derived: exact to its digits."""
FAR_OUT: Final = 2.0
"""ratio. Rows, in heights of the picture, beyond which the readout no longer goes on. Convention: far outside the picture the
model of the readout means nothing."""

# ---- what one more photo would show

READ_COSINE: Final = 0.25
"""ratio. Cosine between view and a sheet's normal from which the sheet is read. Chosen on: not recorded."""
READ_MM: Final = 3000.0
"""mm. Distance up to which a sheet is read. Chosen on: not recorded."""
READ_MARGIN_PX: Final = 10.0
"""px. Margin of the picture within which nothing is read. Chosen on: not recorded."""
PLACED_BY_POINTS: Final = 4
"""count. Points of a sheet that place a further photo. Chosen on: not recorded."""
PLACED_BY_BODIES: Final = 2
"""count. Sheets with so many points that place it. Chosen on: not recorded."""
FREE_POSE: Final = np.array([1.0, 1.0, 1.0, 3000.0, 3000.0, 3000.0])
"""rad, mm. Standard deviations of a pose nothing is known of. Convention: as good as unknown in a kitchen."""
HELD_EXPOSURE: Final = np.array([1e-7, *[1e-4] * 2, *[1e-8] * 3, *[1e-6] * 3])
"""ratio, px, rad, mm. Standard deviations of what an exposure does to a camera on which it does nothing, in the order of
``EXPOSURE``. Convention: as good as none."""
LEAST_SIGHTING_PX: Final = 0.03
"""px. Least standard deviation of a further photo's sightings. Chosen on: not recorded."""

# ---- the top view (for eyes, nothing is measured in it)

NODE_MM: Final = 20.0
"""mm. Spacing of the grid on which photos are chosen and positions interpolated. Chosen on: not recorded."""
LEAST_NODE_PX: Final = 4.0
"""px. Least spacing of that grid. Chosen on: not recorded."""
MOST_NODES: Final = 40_000
"""count. Nodes of the grid, which must not grow with a plane that comes out far too large. Chosen on: not recorded."""
MOST_PIXELS: Final = 60_000_000
"""count. Pixels of a top view; a larger one is made coarser. Chosen on: not recorded."""
BORDER_PX: Final = 8
"""px. Border of a photo that is not used. Chosen on: not recorded."""
FAR_PX: Final = 1e6
"""px. Nodes that a photo would show this far out are near its horizon and no place to interpolate from. Chosen on: not
recorded."""
LEAST_BLEND: Final = 1e-3
"""ratio. Sum of blending weights from which a pixel counts as seen. Chosen on: not recorded."""
ROUNDING: Final = 0.5
"""count. Added before a grey value is cut to an integer. Convention: rounds to the nearest."""
FADE: Final = 0.05
"""ratio. Share of the picture's longer side over which a photo's worth falls towards its border. Chosen on: not recorded."""
LEAST_BLUR: Final = 0.6
"""count. Least standard deviation, in nodes, of the blur of a seam. Chosen on: not recorded."""

# ---- the work plane

MOST_TRIPLES: Final = 4000
"""count. Planes through three sheets that are tried as a start. Convention: saves time only."""
PLANE_TOLERANCE: Final = 1e-12
"""mm^2. Drop of the squared heights below which the work plane has been found. Convention: a thousandth of a micrometre."""
LEAST_TRIANGLE: Final = 0.02
"""ratio. Twice a triangle's area over the squared spread of the sheets up to which it makes no plane. Chosen on: not
recorded."""
MOST_SLOPE: Final = 0.03
"""rad. No plane of the tops leans further than this from the mean of the sheets: else it would join tops of two levels.
Derived: a card under one end of a sheet leans it by half of this."""
LEVEL_GAP_MM: Final = 20.0
"""mm. Tops whose heights leave a gap of this between them lie on two levels. Convention: raised bars and lowered tops are made
an inch apart or more; cabinets out of level, and boards of one job, differ by a few mm up to 1 cm."""
