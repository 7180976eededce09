"""Constants of the calibration of lenses: priors, thresholds and candidates that decide."""

from __future__ import annotations

from typing import Final

import numpy as np

# ---- what a lens and a board may be

U_CENTRE: Final = 0.1
"""ratio. Prior standard deviation of a principal point nothing is known of, as a share of the picture's longer side. Chosen on:
not recorded."""
U_ASPECT: Final = 0.02
"""ratio. The same of the aspect. Chosen on: not recorded."""
U_F: Final = 0.5
"""ratio. The same of the principal distance, over itself. Chosen on: not recorded."""
U_STRETCH: Final = 0.003
"""ratio. Standard deviation of a print's scale along y over that along x. Convention: common experience with paper."""
U_FLAT_MM: Final = 3.0
"""mm. Standard deviation of the rise of a bent board's corner. Chosen on: not recorded."""
U_PRINT: Final = 0.01
"""ratio. Standard deviation of a board's print scale, which a board calibration holds. Chosen on: not recorded."""

# ---- the fit of a board

START_SIGMA_MM: Final = np.array([0.2, 0.2, 0.5])
"""mm. Spread (x, y, z) of a free board's points about their places from which its estimation starts. Chosen on: not
recorded."""
LEAST_SIGMA_MM: Final = np.array([0.005, 0.005, 0.01])
"""mm. Smallest such spread. Chosen on: not recorded."""
SPREAD_ROUNDS: Final = 12
"""count. Rounds of adjusting and estimating the spreads of points and exposures. Chosen on: not recorded."""
SIGMA_SETTLED: Final = 0.05
"""ratio. Change of that spread that is no change. Chosen on: not recorded."""
FOCAL_GRID: Final = np.geomspace(0.3, 4.0, 24)
"""ratio. Principal distances tried first, in units of the picture's longer side. Chosen on: not recorded."""
LEAST_FORWARD: Final = 0.15
"""ratio. Cosine with the camera's axis below which a ray does not serve to place a board at the start. Chosen on: not
recorded."""
HALF_TURN: Final = np.diag([-1.0, -1.0, 1.0])
"""ratio. Rotation matrix of half a turn of a board in its plane. Derived: rotation about z by pi."""

# ---- wrong sightings and photos

REJECT: Final = 4.13
"""ratio. Normalized residual, at the same probability of a normal deviate, from which a corner is wrong. Chosen on: not
recorded."""
CHECKED: Final = 0.02
"""ratio. Redundancy number below which nothing checks a corner. Chosen on: not recorded."""
REJECTED_TOGETHER: Final = 0.25
"""ratio. Share of the largest squared residual from which others are rejected in the same round. Chosen on: not recorded."""
NAMED: Final = 1.7
"""ratio. Times the usual residual from which a photo is named. Chosen on: not recorded."""
LEFT_OUT: Final = 3.0
"""ratio. Times the usual residual from which a photo is left out. Chosen on: not recorded."""
LEAST_PHOTOS: Final = 3
"""count. Photos of a board without which there is no calibration. Chosen on: not recorded."""
VERY_STRONG: Final = 10.0
"""chi-squared. Drop of the criterion for which a less usual lens model is taken. Source: Kass, Raftery, J. American Statistical
Association 90 (1995) 773-795, very strong."""

# ---- where the picture was seen, and what one more photo of the board brings

CELLS: Final = (6, 8)
"""count. Rows and columns of the grid over a picture wider than high. Chosen on: not recorded."""
PIXEL_CENTRE: Final = 0.5
"""px. From a picture's border to the centre of its first pixel. Convention: pixel centres have whole coordinates."""
GAIN_WORTH: Final = 0.08
"""ratio. Drop of the lens's uncertainty from which one more photo of the board is advised. Chosen on: not recorded."""
GOOD_ENOUGH_PX: Final = 0.15
"""px. Standard uncertainty of the lens over a picture of 1000 px from which no photo is missing. Chosen on: not recorded."""
MOST_OF_PICTURE: Final = 0.6
"""ratio. Share of the picture beyond which a board is said to fill most of it. Convention: between the two sizes advised."""
LEAST_AIM_FORWARD: Final = 0.2
"""ratio. Least cosine with the camera's axis of the ray on which an advised board is put. Chosen on: not recorded."""
SIDES: Final = {"left": (0.0, -1.0), "right": (0.0, 1.0), "top": (1.0, 0.0), "bottom": (-1.0, 0.0)}
"""ratio. Side of the picture on which the board is nearer -> axis (x, y of the camera frame) that it is tilted about. Derived:
right-handed turns with x to the right and y down."""
PLACES: Final = {
    "middle": (0.0, 0.0), "upper-left": (-1.0, -1.0), "upper-right": (1.0, -1.0),
    "lower-left": (-1.0, 1.0), "lower-right": (1.0, 1.0),
}  # fmt: skip
"""ratio. Where in the picture the board is put -> direction from the picture's centre (x right, y down). Convention: the middle
and the four corners."""

# ---- what one more photo of a job brings

TURNS_DEG: Final = (-60.0, -30.0, 0.0, 30.0, 60.0)
"""deg. Turns about the sheets' normal, from where the photos were taken, at which one more photo is tried. Chosen on: not
recorded."""
WORTH: Final = 0.05
"""ratio. Drop of the lens's uncertainty over the picture from which one more photo is told. Chosen on: not recorded."""
UPRIGHT: Final = 0.5
"""ratio. Median cosine between the cameras' x axes and the sheets' normal below which the photos count as taken with that axis
level. Derived: 60 degrees."""
TOLD_DROP: Final = 0.9
"""ratio. Uncertainty of a lens parameter after one more photo over that before, below which it is told. Chosen on: not
recorded."""
