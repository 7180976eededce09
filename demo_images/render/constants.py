"""Numbers that decide how pictures look. They shape data for trying and judging; none of them enters a measurement or its U."""

from __future__ import annotations

from typing import Final

SHIFT_PX: Final = (5.0, 25.0)
"""px of the full-size picture. Smallest and largest standard deviation, per axis, of a stabilised phone's principal point from
photo to photo. Derived: robust bundle adjustments of two phones' photos gave 12 to 21 px (iPhone X, OnePlus 12)."""

USUAL_SHIFT_PX: Final = 12.0
"""px of the full-size picture. The same of the usual phone. Derived: the smaller axes of the two phones of ``SHIFT_PX``."""

READOUT_DEG: Final = (0.02, 0.1)
"""deg. Smallest and largest rms turn of a hand-held phone while its rows are read. Derived: as ``SHIFT_PX``, which gave 0.04
to 0.16 degrees, the largest of them in bursts by a moving hand."""

USUAL_READOUT_DEG: Final = 0.04
"""deg. The same of the usual phone. Derived: as ``READOUT_DEG``; its lower third."""

READOUT_MM: Final = 0.12
"""mm. Standard deviation, per axis, of the camera's way while the rows are read. Derived: a hand at 5 mm/s over 25 ms."""

READOUT_ROLL_SHARE: Final = 0.5
"""ratio. Turn about the line of sight over that about the picture's axes. Convention: of these scenes; wrists roll less."""

FOCUS_PLAY: Final = 2e-4
"""ratio. Standard deviation of the principal distance beyond the thin lens's: the play of a focus motor.
Chosen on: not recorded."""

ROUGH_FOCUS: Final = (0.93, 1.08)
"""ratio. Range of the focused distance over the distance to what the photo looks at. Chosen on: not recorded."""

LUMA_NR_SIGMA_PX: Final = 0.8
"""px. Blur that parts a picture's fine detail from the rest when noise is reduced. Convention: of these pictures."""

MIDDLE_GREY: Final = 0.5
"""ratio of full scale. Brightness to which local tone mapping draws a neighbourhood. Convention: of these pictures."""

SWAY_MM: Final = 45.0
"""mm. Standard deviation of where people stand and aim about the places drawn. Convention: of these scenes."""

TAPE_READING_MM: Final = 0.4
"""mm. Standard deviation of a tape's reading. Convention: half its finest mark, as ``TAPE_U_MM``."""

TAPE_U_MM: Final = 0.8
"""mm. Standard uncertainty that the user states for a tape (k = 1). Convention: of the demo job."""

FIELD: Final = 1.15
"""ratio. A point further off the axis than this times half the picture's diagonal is not in the picture, whatever the
distortion's polynomial says. Derived: covers the distortion of all phones here (3 %), the moved lens and its usual centre."""

PHOTO_BYTES: Final = 2_120_000
"""count. Largest photo of the demo in bytes. Convention: twelve of them stay within 25 MB of the repository."""

HAIRLINE_MM: Final = 0.15
"""mm. Gap between parts of a cabinet: coincident faces would flicker. Convention: of these scenes."""

TOP_DRAWER_MM: Final = 150.0
"""mm. Height of the uppermost drawer's front. Convention: usual cabinet fronts."""

FRONT_GAP_MM: Final = 3.0
"""mm. Gap between two doors or drawers. Convention: usual cabinet fronts."""

BACK_GAP_MM: Final = 17.0
"""mm. Between the demo's cabinets and its nominal back wall. Convention: of the demo."""

LEFT_GAP_MM: Final = 14.0
"""mm. Between the demo's cabinets and its nominal left wall. Convention: of the demo."""

DEPTH_MM: Final = 584.0
"""mm. Depth of a cabinet without its doors: 23 in. Convention: base cabinets in North America."""

BAR_HEIGHT_MM: Final = 20.0
"""mm. Height of the bar with the known length. Convention: a square tube."""

COUNTER_Z_MM: Final = 20.0
"""mm. Height over the cabinets at which a wall counts. Derived: the middle of a counter's thickness."""

Z_ON_BOARD_MM: Final = 1.6
"""mm. Underside of what stands on a sheet on its board. Derived: board of 1.5 mm and 0.1 mm of air."""

ROUGH_MM: Final = (3.0, 8.0)
"""mm. Smallest and largest sideways error of a user's click. Convention: nobody clicks better without zooming in."""

PX_PER_MM: Final = 10.0
"""px per mm of the prints' pictures. Derived: whole pixels for every length of the design, on A4 and on Letter; finer than any
photo of the demo sees."""

ENOUGH_PX: Final = 30.0
"""px. Shorter side of a marker that is surely read. Chosen on: photos of the demo kitchen."""

EXTEND_MM: Final = 400.0
"""mm. How far true lines are drawn beyond their ends to meet their neighbours. Derived: more than any gap in these scenes."""

HEADROOM_MM: Final = 40.0
"""mm. Between the highest camera and the ceiling. Convention: an arm held up."""

MAIN_F_PX: Final = (2500.0, 3500.0)
"""px of the full-size picture. Principal distances of main cameras. Derived: 21 to 30 mm film equivalent."""

STAND_OFF_POWER: Final = 0.7
"""ratio. Exponent of the principal distance in how far off people stand. Convention: they make up for most of it."""

STAND_OFF: Final = (0.6, 1.25)
"""ratio. Limits of the same: arms are short and rooms are small. Convention: of these scenes."""
