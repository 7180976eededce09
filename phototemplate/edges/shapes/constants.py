"""What decides in the fits of walls: the prior of their shape and how fine it is represented."""

from __future__ import annotations

import math
from typing import Final

# ------------------------------------------------------------------------------------------ prior of a wall's shape

CENTER_LOG10: Final = -7.5
"""log10 of 1/mm. Spectral density of the second derivative between the end zones: 3e-8 lets a wall depart by about 3 mm from
its chord over 1.5 m. Convention: common practice has no number for it; the width makes it a weak prior."""
CENTER_RATIO_LOG10: Final = 1.5
"""log10 of ratio. By how much it is larger at the corners. Convention: joint compound swells there; a weak prior."""
WIDTH_LOG10: Final = 1.3
"""log10 of ratio. Standard deviation of both. Convention: a factor of twenty either way."""
DENSITIES_LOG10: Final = tuple(-12.0 + 0.75 * k for k in range(13))
"""log10 of 1/mm. Densities that are integrated over. Derived: steps of a sixth of the prior's width to both sides."""
RATIOS_LOG10: Final = tuple(0.75 * k for k in range(5))
"""log10 of ratio. The same of the ratio at the corners. Derived: as above."""
ABOUT_LOG10: Final = 1.6
"""log10 of ratio. Densities this near the best of the last round are looked at in the next. Derived: two steps of the grid."""
LOG_SHARE: Final = 7.0
"""ratio. Densities whose evidence is smaller by this (natural logarithm) are left out. Derived: less than a thousandth."""
BREAK_DOF: Final = 1.0
"""count. Degrees of freedom of the t distribution that the second derivative has in each interval between knots: mostly small,
here and there as large as a step, a board's edge or a trowel's ridge makes it. Derived: the smallest whole number, as heavy in
the tails as one can say without preferring a size (Cauchy)."""
BREAK_ROUNDS: Final = 8
"""count. Rounds in which the intervals' own densities are found. Derived: they change by less than a tenth in the last."""
SWELL: Final = 4e-4
"""1/mm. Standard deviation that the second derivative has gathered over :data:`SWELL_OVER_MM`. Derived: lets the corner itself
depart by 4.5 mm (S L^2 / sqrt(20)): up to 8 mm of joint compound, each amount as likely as another (8 mm / sqrt(3), GUM
4.3.7)."""
SWELL_OVER_MM: Final = 225.0
"""mm. Distance from the corner over which joint compound is feathered out. Convention: about a taping knife, no published
number."""
TOUCH_U_MM: Final = 0.15
"""mm. How well one place of a contact sheet's edge tells where the wall is: the sheet touches where the wall stands out.
Chosen on: not recorded; feeds U between contact sheets."""

# ------------------------------------------------------------------------------------------------ where the corner is

BEYOND: Final = (0.4, 1.0, 2.0)
"""ratio. Places of the knots beyond what was seen where the corner is not known, in lengths of the end zone. Derived: spans the
stretch over which an edge may be run on."""
AROUND_CORNER: Final = (-1.0, -0.6, -0.3, 0.0, 1.0)
"""ratio. Their places from a corner that is known, in lengths of the swelling. Derived: fine enough for a parabola."""
LEAST_BEYOND: Final = 0.2
"""ratio. The first is no closer than this to what was seen, in lengths of the end zone. Convention: keeps knots apart."""
CORNER_WITHIN_MM: Final = 50.0
"""mm. A corner this far inside of what was seen is still that of the end. Derived: neighbours are known to centimetres here."""
CORNER_BEYOND_MM: Final = 1500.0
"""mm. A neighbour met further away than this says nothing about the end. Convention: two cabinets."""

# ------------------------------------------------------------------------------------------------------- fitting

KNOTS_PER_PLACE: Final = 2.0
"""ratio. Knots of the fit for each place that was seen. Derived: one between any two, where a wall may break unseen."""
LEAST_KNOTS: Final = 24
"""count. Knots of the fit at least, however few places were seen. Derived: the unseen wall between them is drawn with them."""
SAME_CURVE: Final = 0.25
"""ratio. Knots are left out as long as the curve stays within this share of its u. Derived: changes U by 3 % of a half at
most."""
SAME_CURVE_MM: Final = 0.03
"""mm. Or within this. Convention: a third of the least U that a wall has."""
SAME_U: Final = 0.15
"""ratio. And its u within this share. Derived: beyond what is known of any u."""
CURVE_STEPS: Final = 400
"""count. Places at which that is looked at. Derived: 6 mm on a usual wall."""
FLOOR_MM: Final = 0.02
"""mm. Added to the noise of every point. Convention: no point of a wall is known better."""
DENSE_POINTS: Final = 600
"""count. Up to this many points the shared error takes part in the weighing as a full matrix. Convention: a second of work."""
PLACE_MM: Final = 10.0
"""mm. Points this close along the wall are one place. Derived: two stations of a traced edge."""
SOLITARY: Final = 1.5
"""ratio. A point this many times further from the median of its neighbours than an outlier may be is left out before the first
fit. Chosen on: not recorded."""
LEAST_GAP_MM: Final = 1e-3
"""mm. Distances between neighbours are not taken as smaller. Convention: keeps a division from failing."""

# ----------------------------------------------------------------------------------------------------- roughness

CELLS: Final = 40
"""count. Most groups of points in which residuals are looked at. Convention: a second of work."""
SHARES: Final = (0.02, 0.05, 0.1, 0.2, 0.4)
"""ratio. Trial correlation lengths, of the length of the edge. Convention: a factor of two apart."""
APART: Final = 0.7
"""ratio. No correlation length below this share of the groups' distance is tried. Derived: nothing shows it."""
SECOND_DIFFERENCE: Final = 6.0
"""ratio. Variance of a second difference to that of one point. Derived: 1 + 4 + 1."""

# -------------------------------------------------------------------------------------------- points and robust starts

LONG_AXIS_MM: Final = 0.5
"""mm. Along the edge a traced point has no position worth the name. Its standard deviation there is held at this value, or
:data:`LONG_AXIS_RATIO` times that across, so that a direction known to a tenth of a radian does not turn it into noise across
the edge. Chosen on: not recorded."""
LONG_AXIS_RATIO: Final = 3.0
"""ratio. See there. Chosen on: not recorded."""
TRIALS: Final = 400
"""count. Lines or circles tried. Chosen on: not recorded."""
LEAST_SPAN: Final = 0.2
"""ratio. Pairs of points nearer than this share of the longest pair say little about the direction. Chosen on: not recorded."""
BETTER_POINTS: Final = 2.5
"""ratio. The line is fitted again to points within this many robust standard deviations. Source: P. J. Rousseeuw, A. M. Leroy,
Robust Regression and Outlier Detection (1987), ch. 5: reweighted least squares after least median of squares."""
STRAIGHT_RADIUS: Final = 100.0
"""ratio. Points on a circle with a radius of more than this many times their extent are straight. Chosen on: not recorded; a
sagitta of an eight-hundredth."""

# ---------------------------------------------------------------------------------------------------- lines and arcs

MAX_TURN_RAD: Final = math.radians(300.0)
"""rad. An arc that turns further is nearly closed: where it ends hardly shows. Convention: five sixths of a circle; a whole one
is a shape of its own."""
ARC_OUTLIER: Final = 5.0
"""ratio. Points further off the first circle than this many times their own or the median distance do not say where the arc
ends. Chosen on: not recorded."""
FIT_TOLERANCE: Final = 1e-14
"""ratio. Drop of half the whitened sum of squares at which the search of a line or arc ends. Derived: offsets to 1e-7 of their
own standard deviation, so that covariances do not depend on where the search began."""
LEAST_CURVING: Final = 0.1
"""ratio. Where the second derivative of the squared distance falls below this, Gauss-Newton takes the step. Chosen on: not
recorded."""
MOST_CORRELATION: Final = 0.99
"""ratio. Square of the largest correlation taken between neighbouring points. Convention: keeps a division from failing."""
