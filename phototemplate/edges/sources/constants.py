"""What decides in the sources of edge points: contact sheets, wall strips and traced edges."""

from __future__ import annotations

from typing import Final

# ------------------------------------------------------------------------------------------------------- hints

PHOTO_MARGIN: Final = 0.5
"""ratio. A path drawn in a photo may leave it by this share of its size. Chosen on: not recorded."""

# --------------------------------------------------------------------------------------------- contact sheets

POINTS_PER_SHEET: Final = 5
"""count. Points that stand for the cut edge of one sheet. Chosen on: not recorded."""

# ------------------------------------------------------------------------------------------------ wall strips

END_FACTOR: Final = 5.0
"""ratio. A strip's point with neighbours on one side only may stand off this many times as far. Chosen on: not recorded."""
ALONE: Final = 3.0
"""ratio. A point is believed that stands off less than this many times as far as its neighbours. Chosen on: not recorded."""
BELIEVED_PHOTOS: Final = 4
"""count. A target that so many photos see in one place is there, however far it stands off its neighbours: walls have steps and
bumps. Chosen on: not recorded."""
TAPED_ENDS: Final = (-0.5, 0.5)
"""ratio. Where a piece is taped, in its lengths from its middle. Convention: at both ends."""
SHARP_FACTOR: Final = 5.0
"""ratio. Points less certain than this many times the median ... Chosen on: not recorded."""
SHARP_MM: Final = 0.2
"""mm. ... and than this do not count as neighbours. Chosen on: not recorded."""
STEADY_FACTOR: Final = 6.0
"""ratio. A point may stand off its neighbours by this many standard deviations. Chosen on: not recorded."""

# ----------------------------------------------------------------------------------------------- traced edges

LESS_SUPPORT: Final = 0.05
"""ratio. A line settled again about other heights may lose this much of its support, ... Chosen on: not recorded."""
MORE_MISFIT: Final = 0.3
"""ratio. ... and its steps may scatter by this much more. Chosen on: the demo and develop families (rendered)."""
CLEAR: Final = 0.8
"""ratio. An edge chosen with at least this probability tells the height of its top. Chosen on: not recorded."""
GATES_PX: Final = (1.0, 0.7)
"""px. Steps this near to the line are read, round by round; twice as many mm where a photo is sharper than 2 px/mm. Chosen on:
not recorded."""
AGREED: Final = 0.8
"""ratio. Where less than this share of what the photos show openly along an edge is a step of it, its steps are partly those
of other lines. Chosen on: develop families and six kitchens of other makers' kinds (rendered): nine of ten right edges have
more. Feeds U."""
STRAYING_U_MM: Final = 1.2
"""mm. Standard uncertainty of an edge none of which is agreed on, in proportion else. Derived: plies of 1.5 to 4 mm, between
which it changes, as a rectangular distribution (JCGM 100:2008, 4.3.7). Feeds U."""
ALONG_MM: Final = 1.5
"""mm. A point stands for its station's stretch; where along it, does not matter and is not claimed. Derived: a station's 5 mm
as a rectangular distribution (JCGM 100:2008, 4.3.7)."""
CORRELATIONS: Final = (0.02, 0.98)
"""ratio. Correlations between stations outside of this say nothing about their length. Chosen on: not recorded."""
SINGLE_SHARE: Final = 0.5
"""ratio. Where fewer stations than this share are seen by two photos, the edge is reported as seen by one. Convention: half."""
SEEN_SHARE: Final = 0.4
"""ratio. A traced edge of which less than this is seen is reported as short. Chosen on: not recorded."""
GAP_MM: Final = 60.0
"""mm. Gaps longer than this ... Chosen on: not recorded."""
GAP_SHARE: Final = 0.15
"""ratio. ... and than this share of the edge are reported. Chosen on: not recorded."""
DOOR_REACH_MM: Final = 30.0
"""mm. Where the door is meant, lines are looked for as far to each side of the path. Convention: doors and drawer fronts stand
16 to 22 mm before their box, and a path is drawn to within some mm."""
DOOR_LOW_MM: Final = 24.0
"""mm. ... and as far below the top. Convention: doors end 2 to 22 mm below the edge of their box."""
