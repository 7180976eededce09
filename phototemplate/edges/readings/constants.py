"""What each reading of a line looks like in the map, and how often it occurs: the one table from which decisions are made.

Every density is a plain one (normal, beta-binomial), wide where little is known, so that no single feature decides alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Reading = Literal["edge", "joint", "door", "face", "gap", "frame", "raised", "opening", "chance"]


@dataclass(frozen=True)
class Look:
    """How lines of one reading look."""

    words: str
    """For people"""
    rise_mm: tuple[tuple[float, float, float], ...]
    """Share, mean and standard deviation of the height over that of the top, beyond the uncertainty of both"""
    shown: tuple[float, float]
    """Beta distribution of the share of photos in which the place is open that show it"""
    support: tuple[float, float]
    """Beta distribution of the share of its length along which they agree"""
    evidence: tuple[float, float]
    """Mean and standard deviation of how little chance would explain its steps"""
    misfit: tuple[float, float]
    """Mean and standard deviation of the log of its steps' scatter over that of sharp ones"""
    own: tuple[float, float]
    """Beta distribution of the share of its steps that no line explains better"""
    light_ratio: tuple[float, float] = (0.1, 1.5)
    """Mean and standard deviation of the log of light on the cabinets' side over that beyond"""
    from_edge: bool = False
    """Heights are over the edge itself, with which such a line runs, not over the level of the top"""


LOOKS: Final[dict[Reading, Look]] = {
    "edge": Look(
        "the edge of the top", rise_mm=((1.0, -0.15, 0.35),), shown=(9.0, 0.5), support=(12.0, 0.6), evidence=(0.8, 0.25),
        misfit=(-0.6, 0.8), own=(9.0, 0.6), light_ratio=(1.2, 1.4),
    ),
    "opening": Look(
        "the inner edge of a rail or panel, at the opening of a cabinet", rise_mm=((1.0, -0.15, 0.35),), shown=(9.0, 0.5),
        support=(12.0, 0.6), evidence=(0.8, 0.25), misfit=(-0.6, 0.8), own=(9.0, 0.6), light_ratio=(-1.5, 1.4),
    ),
    "joint": Look(
        "a line on the top (joint, glue line, tape, shadow)", rise_mm=((1.0, 0.0, 0.45),), shown=(3.0, 0.8), support=(3.0, 0.7),
        evidence=(0.55, 0.28), misfit=(-0.3, 0.9), own=(2.0, 0.5), light_ratio=(0.2, 1.2),
    ),
    "face": Look(
        "the door or drawer before the cabinet's box", rise_mm=((0.6, -2.2, 0.6), (0.4, -12.0, 4.0)), shown=(6.0, 0.6),
        support=(8.0, 0.7), evidence=(0.72, 0.25), misfit=(-0.6, 0.8), own=(6.0, 0.6), light_ratio=(0.9, 1.4), from_edge=True,
    ),
    "gap": Look(
        "the gap behind a door", rise_mm=((1.0, -0.9, 0.6),), shown=(6.0, 0.6), support=(8.0, 0.7), evidence=(0.72, 0.25),
        misfit=(-0.6, 0.8), own=(6.0, 0.6), light_ratio=(0.9, 1.6), from_edge=True,
    ),
    "frame": Look(
        "the joint behind a face frame or beside a side panel", rise_mm=((1.0, 0.45, 0.2),), shown=(6.0, 0.6),
        support=(8.0, 0.7), evidence=(0.72, 0.25), misfit=(-0.6, 0.8), own=(6.0, 0.6), light_ratio=(0.9, 1.6), from_edge=True,
    ),
    "door": Look(
        "a line in front and below (door, drawer, face)", rise_mm=((0.4, -2.5, 1.0), (0.6, -10.0, 4.0)), shown=(2.0, 0.8),
        support=(3.5, 0.8), evidence=(0.6, 0.28), misfit=(-0.1, 0.8), own=(2.0, 0.5), light_ratio=(0.2, 1.2),
    ),
    "raised": Look(
        "a line above (something that lies on the top)", rise_mm=((1.0, 4.5, 3.5),), shown=(1.2, 0.8), support=(2.5, 0.8),
        evidence=(0.5, 0.2), misfit=(0.3, 0.5), own=(2.0, 0.6), light_ratio=(0.4, 1.2),
    ),
    "chance": Look(
        "no line", rise_mm=((1.0, 0.0, 4.5),), shown=(1.2, 1.3), support=(4.0, 2.4), evidence=(0.37, 0.18), misfit=(0.5, 0.33),
        own=(2.0, 0.8), light_ratio=(0.3, 1.0),
    ),
}
"""mm, ratio. How lines of each reading look. Chosen on: the demo, six kitchens of other makers' kinds and the develop families,
all rendered: means and scatter of the lines found at their true edges, inside, outside, below and above those, rounded and
widened. Of doors by Convention: 2 to 3 mm below the top where they cover a frameless box, 12 mm before a face frame."""
PRIOR: Final[dict[Reading, float]] = {
    "edge": 0.13, "joint": 0.25, "door": 0.09, "face": 0.05, "gap": 0.03, "frame": 0.05, "raised": 0.1,
    "opening": 0.05, "chance": 0.25,
}
"""ratio. How often a line found near an edge is read so. Chosen on: as above, rounded."""
OUTSIDE_JOINT: Final = 0.04
"""ratio. Share of the prior of "joint" that is left outside the edge: film or paper laid over it. Convention: rare."""
FACE_MM: Final = (19.0, 3.0)
"""mm. Mean and standard deviation of how far before the box a door's face stands. Convention: doors are 16 to 22 mm thick."""
GAP_MM: Final = (1.7, 0.7)
"""mm. The same of the gap between box and door, where there is a door. Convention: bumpers of 1 to 2.5 mm."""
FRAME_MM: Final = (19.0, 2.0)
"""mm. The same of how far inside the edge a face frame, or a side of ply, has its inner joint. Convention: 18 to 20 mm."""
PAIR_U_MM: Final = 0.1
"""mm. Standard uncertainty of the height of such a line over its edge: photos err in both alike. Chosen on: as above."""
SPOILT_PAIR: Final = 0.003
"""ratio. How often that height says nothing: both lie on one cabinet. Convention: seldom."""
PAIR_ALONE: Final = 0.1
"""ratio. Share of the prior of a line that runs with an edge where no line found is that edge. Convention: rare."""
ANYWHERE_SPAN_MM: Final = 40.0
"""mm. Lines of other kinds lie anywhere in a span so wide. Derived: twice the widest search."""
INSIDE_DOOR: Final = 0.7
"""ratio. Share of the prior of "door" that is left on the cabinets' side: what is seen through an open cabinet. Chosen on: not
recorded."""
SPOILT: Final = 0.08
"""ratio. A feature that says nothing (something stood there, the light changed): density of a wide distribution.
Chosen on: not recorded."""
SPOILT_RISE: Final = 0.02
"""ratio. The same of the height: a cabinet's step that no sheet tells of. Chosen on: not recorded."""
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
WAVY_U_MM: Final = 2.5
"""mm. Standard uncertainty of such an edge per unit of its misfit above 1. Derived: plies of 1.5 to 4 mm between which it
changes.
Feeds U; chosen on rendered pictures."""
HEIGHT_LEEWAY_MM: Final = 2.0
"""mm. Beyond the height limit twice the line's own uncertainty is allowed, of which this counts at most. Chosen on: not
recorded."""

# ----------------------------------------------------------------------------------------------------- likelihood

HEIGHT_UNKNOWN_MM: Final = 2.0
"""mm. From this standard uncertainty on the photos do not tell a line's height. Chosen on: not recorded."""
MOST_HEIGHT_U_MM: Final = 3.0
"""mm. A line's standard uncertainty of height counts up to this. Chosen on: not recorded."""
LEAST_SHARE: Final = 0.02
"""ratio. Support is kept this far from 0 and 1, where a beta density has no value. Chosen on: not recorded."""
LEAST_MISFIT: Final = 0.05
"""ratio. No smaller misfit is told apart. Chosen on: not recorded."""
