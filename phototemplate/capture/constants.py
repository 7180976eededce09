"""Constants of the capture room: what decides in detection and measurement of targets, with unit and origin.

What a shop may want to change is in ``settings``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np

# ---- print

MARKER_MODULES: Final = 7
"""count. Modules along the side of a marker. Convention: 5 bits and a black border of one module on either side."""
SHEET_COUNT: Final = 60
"""count. Target sheets that exist. Derived: with 12 markers each they fill 720 of the 1000 codes."""
STRIP_COUNT: Final = 12
"""count. Wall strips that exist. Derived: with 14 markers in two pieces they fill 168 codes more."""
BAR_END_COUNT: Final = 8
"""count. Bar ends that exist. Derived: with 2 markers each they fill 16 codes more."""
PAPERS_MM: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"A4": (210.0, 297.0), "Letter": (215.9, 279.4), "A3": (297.0, 420.0), "Tabloid": (279.4, 431.8)}
)
"""mm. Paper sizes by name, short side and long side. Source: ISO 216 and ANSI/ASME Y14.1."""
SHEET_TRIM_MM: Final = 10.0
"""mm. Width of the strip that is cut off a target sheet's top to make the contact edge. Convention: what scissors follow
easily."""
SHEET_GRID: Final = (6, 4, 36.0, 26.0, 0)
"""count, mm. Columns, rows, square, marker and first code of a target sheet. Derived: a marker of 30 px at 2.5 m in 12 MP."""
STRIP_GRID: Final = (7, 2, 34.0, 25.0, 720)
"""count, mm. The same of a piece of wall strip. Derived: as ``SHEET_GRID``, low enough to be taped along a wall."""
BAR_END_GRID: Final = (2, 2, 34.0, 25.0, 888)
"""count, mm. The same of a bar end. Derived: one saddle point, as large as those of a strip."""
SMALL_BOARD_GRID: Final = (10, 7, 24.0, 17.0, 904)
"""count, mm. The same of the calibration board on A4 or Letter. Derived: fills the paper."""
LARGE_BOARD_GRID: Final = (10, 7, 34.0, 25.0, 939)
"""count, mm. The same of the calibration board on A3 or Tabloid. Derived: fills the paper."""
SHEET_CONTACT_Y_MM: Final = 82.0
"""mm. Height of a sheet's contact edge over its centre. Derived: 10 mm of white above the checkerboard."""
STRIP_SIZE_MM: Final = (268.0, 77.0)
"""mm. One strip piece after cutting, checkerboard centred. Derived: 268 mm fits between the printer margins of Letter."""
BAR_END_BOX_MM: Final = (-40.0, -52.0, 40.0, 40.0)
"""mm. Left, bottom, right and top cut of a bar end. Derived: the number is below the checkerboard."""
BOARD_TOP_MM: Final = 12.0
"""mm. White between the paper's upper edge and a calibration board's checkerboard. Derived: beyond every printer's margin."""

# ---- photo files

PIXEL_LIMIT: Final = 260_000_000
"""count. Pixels of the largest picture that is opened, in place of Pillow's own, lower limit. Derived: phones reach 200
MP."""
PLAIN_PIXEL_LIMIT: Final = 100_000_000
"""count. The same of PNG and TIFF, which are decoded in colour, 8 bytes a pixel and a copy. Derived: below 1.5 GB."""
MOST_SCANS: Final = 100
"""count. Scans of a progressive JPEG that are decoded. Source: libtiff's limit for JPEG within TIFF
(``LIBTIFF_JPEG_MAX_ALLOWED_SCAN_NUMBER``); cameras and editors write ten."""
LEAST_SIDE_PX: Final = 16
"""px. Shortest side of a picture that is opened. Derived: two modules of 8 px, the smallest marker that is looked for; what
encoders are tested with is as small."""
RGB_PILLOW_LIMIT: Final = 80_000_000
"""count. Pixels beyond which a JPEG is decoded in colour by OpenCV. Derived: Pillow would need 4 bytes a pixel and a copy."""
HIGHEST_12_BIT: Final = 4095
"""grey levels. Largest value of 12-bit data. Derived: 2^12 - 1."""
ZOOM_SHOWN: Final = 1e-3
"""ratio. Digital zoom nearer to 1 than this is none. Convention: Exif writes 1.0."""

# ---- blur, edits and doubles

MOVED_PX: Final = 1.2
"""px. Blur along its longer axis from which it may be camera shake. Chosen on: rendered photos of known blur."""
MOVED_RATIO: Final = 1.5
"""ratio. Longer over shorter axis of the blur from which it is camera shake. Chosen on: rendered photos of known blur."""
LEAST_BLUR_EDGES: Final = 6
"""count. Edges from which the blur ellipse is taken. Derived: twice its three unknowns."""
BLUR_OUTLIER: Final = 2.5
"""ratio. Blurs over the median by more count as this. Convention: robust, as outliers are always wide."""
LEAST_BLUR_VARIANCE_PX2: Final = 1e-4
"""px^2. Smallest variance of the blur ellipse. Convention: a hundredth of a pixel."""
BLUR_WIDTH_PX: Final = 4000.0
"""px. Width of the picture for which ``blur_warn_px`` is stated. Convention: 12 MP."""
BLUR_WIDTH_RANGE: Final = (0.5, 2.0)
"""ratio. Range of widths over which the limit is scaled. Chosen on: not recorded."""
REBLUR_PX: Final = 1.5
"""px. Blur added to compare gradients. Source: Zhuo and Sim 2011, section 3."""
PRESMOOTH_PX: Final = 0.7
"""px. Smoothing of the picture before its gradients are taken. Chosen on: not recorded."""
STRONG_GRADIENT: Final = 60.0
"""grey levels. Weakest Sobel gradient of an edge whose blur is taken. Chosen on: not recorded."""
STRONG_SHARE: Final = 0.5
"""ratio. The same as a share of the 99th percentile. Chosen on: not recorded."""
LEAST_STRONG: Final = 50
"""count. Edge pixels from which a blur is taken. Chosen on: not recorded."""
SHARPEST_RATIO: Final = 1e-3
"""ratio. Smallest excess of the gradients' ratio over 1. Convention: keeps the blur finite."""
LEAST_BLUR_PX2: Final = 0.05
"""px^2. Smallest square of a blur. Derived: the pixel itself has 1/12 px^2."""
SCREENSHOT_ASPECT: Final = 1.9
"""ratio. Long over short side from which a PNG without camera data is a screenshot. Derived: sensors end at 16:9, phone
screens begin at 19:9."""
ASPECT_SLACK: Final = 0.012
"""ratio. How far a picture's aspect may be from a sensor's. Derived: sizes are rounded to blocks of 16 px."""
SENSOR_ASPECTS: Final = (4 / 3, 3 / 2, 16 / 9, 1.0, 5 / 4, 2.0, 20 / 9, 19.5 / 9)
"""ratio. Long over short side of pictures as cameras and phones write them. Convention: of their makers."""
MESSENGER_SIDES: Final = (1280, 1600, 2048)
"""px. Long sides to which messengers shrink pictures. Convention: of their makers."""
BURST_SECONDS: Final = 3.0
"""s. Photos taken within this time may be of one burst. Chosen on: not recorded."""
SAME_FILE_LIKENESS: Final = 0.9995
"""ratio. Correlation of small copies from which two files are one picture. Chosen on: rendered photos, resized and saved
again."""
SAME_BURST_LIKENESS: Final = 0.985
"""ratio. The same within a burst. Chosen on: rendered photos moved by a few pixels."""

# ---- reading markers

CORRECTED: Final = 0.6
"""ratio. Share of the wrong bits a dictionary can correct that is forgiven. Convention: more invites false readings of
clutter."""
SMALL_SIDE_PX: Final = 3000
"""px. Pictures with a shorter long side are enlarged for the search, and looked at again for small targets. Chosen on: not
recorded."""
MODULE_SAMPLES: Final = (0.25, 0.5, 0.75)
"""ratio. Where in a module its grey value is taken, in both directions. Convention: evenly."""
LARGEST_PERIMETER: Final = 4.0
"""ratio. Largest perimeter of a marker over the picture's longer side. Derived: a square as wide as the picture."""
SMALLEST_PERIMETER: Final = 1e-3
"""ratio. The same for the smallest. Convention: below any setting."""
LEAST_MARKER_STEP: Final = 8.0
"""grey levels. Least step from black to white of a marker. Chosen on: not recorded."""
LEAST_STEP_OF_NOISE: Final = 2.0
"""ratio. The same in units of the scatter inside its modules. Chosen on: not recorded."""
SAME_MARKER: Final = 0.5
"""ratio. Readings of one marker nearer than this share of its diagonal are one. Chosen on: not recorded."""
PLAIN_SIDE_PX: Final = 30.0
"""px. Side of a plain marker for which ``plain_corner_u_px`` is stated. Convention: reference size."""
CORNER_WINDOW: Final = 0.08
"""ratio. Half window of ``cornerSubPix`` over the marker's side. Derived: a bit is a sixth of the side or less."""

# ---- corners without markers

FRAME_SMOOTH_PX: Final = 1.0
"""px. Blur before second derivatives are taken. Convention: the least that calms them."""
LEAST_LIKENESS: Final = 0.8
"""ratio. Least correlation of a frame with what all corners have in common. Chosen on: rendered photos of 2 MP."""
LEAST_STEP: Final = 8.0
"""grey levels. Least step from black to white, whatever the light. Chosen on: rendered photos of 2 MP."""
SMALLEST_SQUARE_PX: Final = 5.0
"""px. Least width of a square. Derived: half a pixel for a module, where a code can still be told from others."""
LARGEST_SQUARE_PX: Final = 44.0
"""px. Longest side of a square that is looked for. Derived: larger ones are no trouble to the contour search."""
RING_PX: Final = 2.5
"""px. Radius of the ring on which a corner looks alike from both sides. Derived: half of the smallest square."""
RING_SAMPLES: Final = 16
"""count. Samples on it. Convention: sampling, one every 22.5 degrees."""
BESIDE_EDGE_PX: Final = 2.2
"""px. Distance from the edge at which the length of a black square is taken. Derived: beyond the blur."""
TEMPLATE_BLURS: Final = (0.04, 0.055, 0.075, 0.1, 0.14, 0.19)
"""squares. Blurs that templates are kept for. Convention: steps of a third."""
ALIGNMENT_ROUNDS: Final = ((0, 0.05, 0.35), (3, 0.05, 0.5), (2, 0.05, 0.65), (4, 0.0, LEAST_LIKENESS))
"""count, ratio. Steps of alignment, damping of the linear part, and likeness below which a frame is given up after them.
Chosen on: rendered photos of 2 MP."""
CURVATURE_SHARE: Final = 0.1
"""ratio. Least curvature of a saddle over the contrast of the picture. Chosen on: rendered photos of 2 MP."""
LEAST_CURVATURE: Final = 6.0
"""grey levels per px^2. Least curvature of a saddle, whatever the light. Chosen on: rendered photos of 2 MP."""
STEP_SHARE: Final = 0.25
"""ratio. Least step of a corner over the contrast of the picture. Chosen on: rendered photos of 2 MP."""
SADDLE_SHIFT_PX: Final = 1.2
"""px. Furthest that a saddle may lie from its pixel. Derived: the diagonal of a pixel, rounded."""
ODD_POWER: Final = 0.35
"""ratio. Largest share of odd frequencies round a corner. Chosen on: rendered photos of 2 MP."""
TWOFOLD_POWER: Final = 0.45
"""ratio. Least share of the twofold frequency. Chosen on: rendered photos of 2 MP."""
CROSSED_SINE: Final = 0.15
"""ratio. Least sine between the two edges. Derived: 9 degrees, flatter than any use."""
EVEN_STEPS: Final = 0.35
"""ratio. Smaller step over larger of the two edges. Chosen on: rendered photos of 2 MP."""
EVEN_REACH: Final = 2.0
"""ratio. Longer over shorter side of opposite squares. Derived: more than perspective in a room."""
ROUGH_LIKENESS: Final = 0.2
"""ratio. Least correlation of a rough frame. Chosen on: rendered photos of 2 MP."""
BLACK_ENDS: Final = 0.8
"""ratio. Share of the step by which the level has to rise where a square ends. Chosen on: not recorded."""
SHORTEST_BLACK_PX: Final = 3.0
"""px. No square ends nearer. Derived: below the smallest square."""
TEMPLATE_REACH: Final = 1.1
"""squares. How far the template goes beyond the four squares. Convention: a little white."""
TEMPLATE_RIM: Final = 0.95
"""squares. White squares count up to here. Derived: beyond begins the next marker."""
FRAME_DRIFT_PX: Final = 3.0
"""px. Furthest that a frame may move while it is aligned. Derived: half of the smallest square."""
WARP_STEP: Final = 0.1
"""ratio. Largest change of a frame in one step. Convention: damping."""
LEAST_TEMPLATE_BLUR: Final = 1e-6
"""squares. Keeps the logarithm of a blur finite. Convention: guard."""

# ---- naming them

CLEAR_MARGIN: Final = 1.4
"""ratio. Margin from which a corner's name is taken on its own. Chosen on: rendered photos of 2 MP."""
CLEAR_LIKENESS: Final = 0.85
"""ratio. Likeness that goes with it. Chosen on: rendered photos of 2 MP."""
BACKED_MARGIN: Final = 1.12
"""ratio. Margin from which it is taken where another corner of the same target, in its place, says so too. Chosen on:
rendered photos of 2 MP."""
LEAST_EXPLAINED: Final = 0.4
"""ratio. Least share of the grey values' variance that the name has to explain. Chosen on: rendered photos of 2 MP."""
MOST_DOUBT: Final = 1.25
"""ratio. Largest sum of squares of either marker over that of the code that would fit it best: a foreign board of the same
dictionary has the same markers, but not side by side. Chosen on: rendered photos of 2 MP."""
BACKED_PX: Final = 2.0
"""px. How near a second corner has to lie to its place. Chosen on: not recorded."""
BACKED_SHARE: Final = 0.15
"""ratio. The same as a share of their distance. Derived: perspective within a target."""
MODULE_OVERSAMPLING: Final = 2
"""count. Samples per module and direction. Convention: sampling."""
MODULE_FAR: Final = 3.5
"""modules. Distance from which a module no longer counts. Derived: three sigma of the widest blur."""
WHITE_SQUARES: Final = ((0.5, -0.5), (-0.5, 0.5))
"""squares. Centres of the two white squares beside a saddle point, in the frame of ``corner_lattice``. Derived: of that
frame."""
SAME_CENTRE: Final = 0.1
"""squares. A marker within this distance is the one of a square. Convention: rounding."""

# ---- saddle points

SADDLE_CORRELATION: Final = 1.5
"""ratio. Variance of the centre's true error over the formula for independent pixels. Chosen on: rendered photos after JPEG;
feeds U."""
FLOOR_PX: Final = 0.01
"""px. Standard uncertainty that no window goes below (print, paper and rounding of the centre). Chosen on: not recorded; feeds
U."""
MAX_BLUR_PX: Final = 8.0
"""px. Widest blur that is fitted. Convention: wider than any photo of use."""
MIN_BLUR_PX: Final = 0.25
"""px. Narrowest blur that is fitted. Derived: the pixel itself has 0.29 px."""
SHARP_PX: Final = 0.65
"""px. Blur that windows are first made for. Chosen on: rendered photos."""
BLURRED_RATIO: Final = 1.15
"""ratio. Blur over ``SHARP_PX`` from which windows are made anew. Chosen on: not recorded."""
SMEAR: Final = 0.12
"""ratio. Standard uncertainty in units of the blur, per share of the rim that the blur takes beyond ``SMEAR_FROM``. Chosen
on: rendered photos; feeds U."""
SMEAR_FROM: Final = 0.18
"""ratio. Share of the rim from which the blur smears markers into the window. Chosen on: rendered photos."""
LOPSIDED_EVIDENCE: Final = 9.0
"""chi-squared. From which a blur's third moment is no noise. Convention: three standard deviations."""
LEAST_FOR_COMMON_BLUR: Final = 24
"""count. Corners from which it is taken what a picture's blur has in common. Derived: four numbers for each of its twelve
unknowns."""
COMMON_BLUR_ROUNDS: Final = 10
"""count. Rounds of robust weighting for it. Convention: the weights have settled by then."""
COMMON_BLUR_HUBER: Final = 2.0
"""ratio. Residual, over their robust standard deviation, from which a corner counts less in it. Convention: two sigma."""
MEDIAN_OF_NORMAL: Final = 0.6745
"""ratio. Median size of a standard normal value. Derived: its quantile at 3/4."""
MOST_LOPSIDED: Final = 0.3
"""ratio. Largest third moment of a blur, in sixths of its cubed standard deviation, that is followed. Derived: beyond it the
series has two peaks."""
CLEAR: Final = 2.0
"""ratio. Distance kept from a marker, in units of the blur. Derived: 95 % of its smear."""
RIM_KEPT: Final = 0.5
"""ratio. Share of the rim that is never given up. Chosen on: not recorded."""
MIN_SAMPLES: Final = 45
"""count. Pixels of the smallest window. Derived: four times the 11 unknowns."""
REACH_PX: Final = 3.0
"""px. Half width of the cross across an edge for a sharp picture. Chosen on: rendered photos."""
REACH_OF_BLUR: Final = 3.0
"""ratio. The same in units of the blur. Derived: all of the edge."""
SADDLE_UNKNOWNS: Final = 11
"""count. Unknowns of the fit. Derived: of its model."""
LEAST_AREA: Final = 1e-3
"""px^2 per mm^2. Smaller windows are none. Convention: guard."""
LEAST_ARM_PX: Final = 2.5
"""px. Shortest window along an edge. Derived: of ``MIN_SAMPLES``."""
START_BLUR_PX: Final = 1.3
"""px. Least blur that the fit begins with. Convention: from above it converges from further away."""
SADDLE_STEPS: Final = (1.5, 1.5, 0.2, 0.2, 0.5, 0.5)
"""px, rad. Largest step of centre, edges and blurs in one iteration. Convention: damping."""
SETTLED_PX: Final = (5e-3, 3e-2)
"""px. Last step of a fit that has converged, and of one that is still believed. Derived: a tenth of the noise."""
DAMPING: Final = (0.1, 10.0, 1e4)
"""ratio. Damping after a good and a bad step, and where the search ends. Source: Marquardt 1963."""

# ---- small patches

PATCH_CORRELATION: Final = 1.4
"""ratio. Variance of the centre's true error over the formula for independent pixels. Chosen on: rendered photos of 2 MP;
feeds U."""
PATCH_WINDOW: Final = 0.95
"""squares. Half width of the window. Derived: all that is known around a corner."""
PATCH_TEXELS: Final = 40
"""count. Texels of the pattern per square. Convention: a fortieth of a square moves nothing."""
PATCH_HALF: Final = 1.2
"""squares. Half width of the pattern. Derived: the window and its blur."""
U_PERSPECTIVE: Final = 0.02
"""ratio. Standard deviation of the perspective terms, the change of scale over one square. Derived: 40 mm seen from a metre,
tilted."""
U_BLUR: Final = 0.3
"""ratio. Standard deviation of the blur about that of the picture. Chosen on: not recorded."""
PATCH_ROUNDS: Final = 6
"""count. Steps of the fit. Derived: enough to converge from a third of a rim."""
RENDER_AT: Final = (0, 1, 3)
"""count. Steps before which the pattern is blurred anew. Derived: blur and warp hardly change later on."""
PATCH_UNKNOWNS: Final = 14
"""count. Unknowns of the fit. Derived: of its model."""
LEAST_PATCH_BLUR_PX: Final = 0.2
"""px. Narrowest blur. Derived: below that of a pixel."""
MOST_PATCH_BLUR_PX: Final = 3.0
"""px. Widest blur. Derived: half a square of the largest patch."""
PATCH_SAMPLES: Final = (60, 2500)
"""count. Pixels of the smallest and of the largest window. Derived: four times the unknowns; larger ones are for
``saddle``."""
PATCHES_AT_ONCE: Final = 24
"""count. Patches fitted together. Convention: memory."""
PATCH_STEPS: Final = (1.0, 0.1, 0.02, 0.2)
"""px, ratio. Largest step of centre, linear part, perspective and blur. Convention: damping."""
MOST_PERSPECTIVE: Final = 0.15
"""ratio. Largest perspective term. Derived: seven standard deviations."""
PATCH_SETTLED_PX: Final = 1e-2
"""px. Last step of a fit that is believed. Derived: a tenth of the noise."""

# ---- ends of strips

END_U_PX: Final = 0.2
"""px. Standard uncertainty of a blurred right-angled corner per coordinate: blur rounds it, tone curve and sharpening move
its edges. Chosen on: rendered photos of 3 MP (rms 0.18 px); feeds U."""
NARROW_RIM_PX: Final = 2.9
"""px. Width of the white rim below which what lies behind it is smeared into the window, and ``END_U_PX`` grows with its
inverse square. Chosen on: rendered photos of 2 MP (rms 0.24 px at 2.5 px, 0.34 px at 2.1 px); feeds U."""
END_REACH_OF_RIM: Final = 0.9
"""ratio. Half width of the window, in widths of the white rim around the neighbouring marker. Derived: clear of the
marker."""
END_MAX_RADIUS_PX: Final = 12.0
"""px. Largest half window. Convention: more tells nothing."""
OUTWARD_MM: Final = 2.2
"""mm. How far the window may reach beyond the checkerboard. Derived: there the strip's number begins."""
END_MIN_CONTRAST: Final = 10.0
"""light. Least step from black to white, where white is 255. Chosen on: not recorded."""
TONE_GAMMA: Final = 2.2
"""ratio. Exponent from grey levels to light. Convention: near enough for every phone; in grey levels white grows over black
by a third of a pixel, which a saddle point does not feel and a corner does."""
END_REACH: Final = 1.3
"""squares. A neighbouring saddle point has to be found within this distance. Derived: the next one, not the one after."""
END_NEIGHBOURS: Final = (2.2, 2.5)
"""squares. Saddle points and markers within these distances predict the end. Derived: the last two of a strip."""
END_LEAST_RIM_PX: Final = 2.0
"""px. Narrowest rim at which an end is fitted. Chosen on: rendered photos of 2 MP."""
END_SHIFT: Final = (1.5, 0.4)
"""px, ratio. Furthest that the end may lie from its prediction, and the same as a share of the rim. Chosen on: not recorded."""
END_STEPS: Final = (0.7, 0.7, 0.1, 0.1, 0.4)
"""px, rad. Largest step of corner, edges and blur in one iteration. Convention: damping."""
END_BLUR_PX: Final = (0.4, 3.0)
"""px. Narrowest and widest blur that is fitted. Chosen on: not recorded."""
END_SETTLED_PX: Final = 5e-3
"""px. Last step of a fit. Derived: a fortieth of its uncertainty."""
END_RESIDUAL: Final = 0.12
"""ratio. Largest rms residual over the step. Chosen on: rendered photos of 3 MP."""
END_TURN_RAD: Final = 0.25
"""rad. Largest turn of an edge against its prediction. Chosen on: rendered photos of 3 MP."""

# ---- points of targets

USUAL_BLUR_PX: Final = 0.8
"""px. Standard deviation of the blur of a sharp picture. Chosen on: rendered photos."""
SMALL_RIM_PX: Final = 3.0
"""px. Width of the white rim below which a saddle point may be too small for the cross of ``saddle``. Chosen on: rendered
photos of 2 MP."""
OWN_SQUARE: Final = 0.6
"""squares. Saddle points within this distance of a marker's centre are those of its square. Derived: half a square and its
rounding."""
NEXT_SQUARE: Final = 1.5
"""squares. Points of a strip are predicted from points within this distance. Derived: the next, not the one after."""
SADDLE_SHIFT_RANGE_PX: Final = (2.0, 6.0)
"""px. Range of how far a saddle point may lie from its prediction; within it, the width of the rim. Chosen on: not recorded."""
WIDEST_BLUR: Final = 0.95
"""ratio. Blur over ``MAX_BLUR_PX`` of a fit that ran into its limit. Convention: guard."""
PATCH_SHIFT: Final = 0.2
"""ratio. How far a small point may lie from its prediction, over the side of its square. Chosen on: not recorded."""
PATCH_SHIFT_RANGE_PX: Final = (1.0, 3.0)
"""px. Range of the same. Chosen on: not recorded."""
PATCH_BLUR: Final = 0.25
"""ratio. Widest blur of a small point over the side of its square. Derived: beyond it neighbours run together."""
MOST_TURN_RAD: Final = 0.2
"""rad. Largest turn of an edge against its prediction. Derived: 11 degrees, more than lens and curl."""
STRAY_PX: Final = 2.0
"""px. Least distance off the homography of a target's points from which one is a stray. Chosen on: not recorded."""
STRAY_SHARE: Final = 0.02
"""ratio. The same over the size of the target in the picture. Derived: lens distortion and curl bend a sheet by less."""
SAME_PLACE_PX: Final = 3.0
"""px. A misread marker has its point within this distance of a surer one. Chosen on: not recorded."""
BLUR_RANGE_PX: Final = (0.3, 1.5)
"""px. Range of the blur that the second look is made for. Convention: beyond it nothing small is read."""
AGREEMENT: Final = 0.5
"""ratio. Markers of one sheet agree within this share of their distance and of their sides. Derived: one small marker
extrapolates badly."""

# ---- shared figures

LIGHT_LEVELS: Final = 255.0 * (np.arange(256) / 255.0) ** TONE_GAMMA
"""light. By grey level, white is 255. Derived: of ``TONE_GAMMA``."""
PATCH_SIDE: Final = round(2 * PATCH_HALF * PATCH_TEXELS)
"""count. Texels along the side of a pattern. Derived: of its width."""
SQRT_HALF: Final = math.sqrt(0.5)
"""ratio. Argument of the error function per standard deviation. Derived: exact."""
SLOPE_OF_ERF: Final = math.sqrt(2.0 / math.pi)
"""ratio. Steepest slope of 1 + erf(z / sqrt(2)). Derived: exact."""
HALF_PIXEL: Final = 0.5
"""px. From the edge of a texel to its centre. Derived: exact."""
BILINEAR_RIM: Final = 1.001
"""px. Kept inside the upper rim of a picture, so that its last row has a neighbour. Derived: one and rounding."""
HALF_SQUARE: Final = 0.5
"""squares. From the middle of a square to its edges. Derived: exact."""
WHITE_8_BIT: Final = 255.0
"""grey levels. White in 8 bits. Derived: 2^8 - 1."""
WHITE_16_BIT: Final = 65535.0
"""grey levels. White in 16 bits. Derived: 2^16 - 1."""
ROUNDED: Final = 0.5
"""grey levels. Added before the fraction is cut off. Derived: rounds to the nearest."""
