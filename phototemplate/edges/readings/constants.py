"""What each reading of a line looks like in the map, and how often it occurs: the one table from which decisions are made.

Every density is a plain one (normal, beta-binomial), wide where little is known, so that no single feature decides alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Reading = Literal["edge", "joint", "door", "raised", "opening", "chance"]


@dataclass(frozen=True)
class Look:
    """How lines of one reading look."""

    words: str
    """For people"""
    rise_mm: tuple[float, float]
    """Mean and standard deviation of the height over that of the tops, beyond the uncertainty of both"""
    shown: tuple[float, float]
    """Beta distribution of the share of photos in which the place is open that show it"""
    support: tuple[float, float]
    """Beta distribution of the share of its length along which they agree"""
    evidence: tuple[float, float]
    """Mean and standard deviation of how little chance would explain its steps"""
    misfit: tuple[float, float]
    """Mean and standard deviation of the log of its steps' scatter over that of sharp ones"""
    inside: tuple[float, float]
    """Mean and standard deviation of the photos' disagreement on the cabinets' side, over that on the surface"""
    near: tuple[float, float]
    beyond: tuple[float, float]
    borrowed: float = 0.1
    """How often its steps are those of lines that more photos agree on"""
    light_ratio: tuple[float, float] = (0.1, 1.5)
    """The same of the log of light on the cabinets' side over that beyond"""
    lopsided: tuple[float, float] = (0.0, 3.0)
    """And of how much more the photos disagree along the cabinets' side"""


LOOKS: Final[dict[Reading, Look]] = {
    "edge": Look(
        "the edge of the top", borrowed=0.003, rise_mm=(-0.1, 0.4), shown=(15.0, 0.5), support=(12.0, 0.8), evidence=(0.8,
        0.17),
        misfit=(-0.6, 0.8), inside=(-0.6, 1.6), near=(4.5, 2.7), beyond=(5.3, 2.7), light_ratio=(0.8, 1.5), lopsided=(-1.8,
        2.6),
    ),
    "opening": Look(
        "the inner edge of a rail or panel, at the opening of a cabinet", rise_mm=(-0.1, 0.4), shown=(15.0, 0.5),
        support=(12.0, 0.8), evidence=(0.8, 0.17), misfit=(-0.6, 0.8), inside=(0.5, 2.0), near=(4.5, 2.7), beyond=(5.3, 2.7),
        light_ratio=(-1.5, 1.3), lopsided=(3.0, 2.2),
    ),
    "joint": Look(
        "a line on the top (joint, glue line, tape, shadow)", rise_mm=(0.0, 0.5), shown=(5.0, 0.9), support=(4.0, 0.9),
        evidence=(0.62, 0.25), misfit=(-0.4, 0.8), inside=(-0.2, 1.4), near=(0.5, 1.9), beyond=(1.6, 2.5),
    ),
    "door": Look(
        "a line in front and below (door, drawer, face)", rise_mm=(-8.0, 4.0), shown=(4.0, 1.1), support=(10.0, 0.8),
        evidence=(0.78, 0.18), misfit=(-0.35, 0.6), inside=(3.0, 2.4), near=(4.6, 2.3), beyond=(5.0, 2.3),
    ),
    "raised": Look(
        "a line above (something that lies on the top)", rise_mm=(4.5, 3.0), shown=(4.0, 2.5), support=(10.0, 1.0),
        evidence=(0.7, 0.16), misfit=(0.0, 0.45), inside=(3.0, 2.8), near=(5.0, 2.2), beyond=(5.4, 2.3),
    ),
    "chance": Look(
        "no line", borrowed=0.4, rise_mm=(0.0, 4.5), shown=(1.6, 1.0), support=(2.5, 1.2), evidence=(0.42, 0.24), misfit=(0.6,
        0.22),
        inside=(2.4, 2.4), near=(4.0, 2.6), beyond=(4.8, 2.6),
    ),
}
"""mm, ratio. How lines of each reading look. Chosen on: the demo and six kitchens of other makers' kinds, all rendered: where
their true edges are known and what else was found near them, rounded and widened."""
PRIOR: Final[dict[Reading, float]] = {
    "edge": 0.15, "joint": 0.2, "door": 0.15, "raised": 0.1, "opening": 0.05, "chance": 0.35,
}
"""ratio. How often a line found near an edge is read so. Chosen on: as above, rounded."""
OUTSIDE_JOINT: Final = 0.04
"""ratio. Share of the prior of "joint" that is left outside the edge: film or paper laid over it. Convention: rare."""
INSIDE_DOOR: Final = 0.7
"""ratio. Share of the prior of "door" that is left on the cabinets' side: what is seen through an open cabinet. Chosen on: not
recorded."""
SPOILT: Final = 0.08
"""ratio. A feature that says nothing (something stood there, the light changed): density of a wide distribution.
Chosen on: not recorded."""
SPOILT_RISE: Final = 0.02
"""ratio. The same of the height: a cabinet's step that no sheet tells of. Chosen on: not recorded."""
TEMPER: Final = 1.0
"""ratio. Features of one line depend on each other, so their logs count this much. Chosen on: as above, by reliability."""
NONE_PRIOR: Final = 0.01
"""ratio. A place that somebody has pointed at shows no edge. Convention: clicks are seldom misplaced."""
SAME_PLACE_MM: Final = 0.8
"""mm. Lines nearer than this ... Derived: blur of a step at 1 px/mm."""
SEEN_ALIKE_MM: Final = 0.5
"""mm. ... or that appear nearer than this to each other in the mean of the photos ... Derived: half a pixel at 1 px/mm."""
SAME_HEIGHT_MM: Final = 3.0
"""mm. ... and within this in height are one line, found twice. Derived: what photos that look alike leave open."""
CERTAIN: Final = 0.98
"""ratio. From this probability on one reading is taken as the only one. Convention: 1 in 50 is what a shop may risk."""
OFF_PATH_SHARE: Final = 0.5
"""ratio. Standard deviation of an edge's distance from its hint, as a share of the width searched. Convention: clicks 3 to 8 mm
beside an edge are usual where 12 mm are searched."""
OFF_PATH_SHARE_SINGLE: Final = 0.25
"""ratio. The same where one photo alone shows the place, in which it was clicked: the click has to tell what heights cannot.
Chosen on: not recorded."""
MOST_NONE: Final = 0.5
"""ratio. An edge is reported as not found from this probability on. Derived: then it is the better guess."""
NONE_PRIOR_UNASKED: Final = 0.5
"""ratio. A line that nobody has pointed at is no edge of a top. Derived: about every second candidate is none."""
NAMED: Final = 0.995
"""ratio. Where there is a doubt, lines are named up to this probability together. Convention: a quarter of what is risked."""
MOST_RIVALS: Final = 4
"""count. So many lines are named that may be meant instead. Chosen on: not recorded."""
UNSEEN_U_MM: Final = 0.6
"""mm. Standard uncertainty that is added to a doubt where the edge may be none of the lines found. Derived: half a ply."""
LEAST_RIVAL: Final = 0.01
"""ratio. A line less probable than this is not named by itself. Convention: half of what is risked."""
RIVAL_U_MM: Final = 0.75
"""mm. A mapped line is known to about this before it is measured itself. Derived: expanded uncertainty of its least squares."""
WAVY_MISFIT: Final = 1.4
"""ratio. Steps that scatter more than this about the chosen line are those of more than one. Chosen on: the demo and six
kitchens of
other makers' kinds, where nine of ten true edges stay below 1.15."""
WAVY_U_MM: Final = 2.0
"""mm. Standard uncertainty of such an edge per unit of its misfit above 1. Derived: plies of 1.5 to 4 mm between which it
changes.
Feeds U; chosen on rendered pictures."""
HEIGHT_LEEWAY_MM: Final = 2.0
"""mm. Beyond the height limit twice the line's own uncertainty is allowed, of which this counts at most. Chosen on: not
recorded."""

# ----------------------------------------------------------------------------------------------------- likelihood

WIDE_SURFACE: Final = (2.5, 4.5)
"""ratio. Mean and standard deviation, in log, of any disagreement of the photos at all. Chosen on: not recorded."""
HEIGHT_UNKNOWN_MM: Final = 2.0
"""mm. From this standard uncertainty on the photos do not tell a line's height. Chosen on: not recorded."""
MOST_HEIGHT_U_MM: Final = 3.0
"""mm. A line's standard uncertainty of height counts up to this. Chosen on: not recorded."""
LEAST_SHARE: Final = 0.02
"""ratio. Support is kept this far from 0 and 1, where a beta density has no value. Chosen on: not recorded."""
LEAST_MISFIT: Final = 0.05
"""ratio. No smaller misfit is told apart. Chosen on: not recorded."""
STRETCH_MM: Final = 3.0
"""mm. A stretch across the edge so wide tells how well photos agree on a surface. Chosen on: not recorded."""
LEVEL_MM: Final = 1.5
"""mm. Lines within this of the expected height are at its level. Chosen on: not recorded."""
SURFACE_LEVELS: Final = (-3.5, 1.0)
"""ratio. Between a surface without grain in sharp photos and one with coarse plies in soft ones, in log. Chosen on: not
recorded."""
