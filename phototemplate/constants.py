"""What decides in the modules of the root: the job's folder, camera profiles, the demo's comparison."""

from __future__ import annotations

from typing import Final

# ------------------------------------------------------------------------------------------------- camera profiles

KEEPS_F: Final = 0.002
"""ratio. How well a phone's principal distance comes back (stabiliser, temperature). Feeds U through the lens's prior. Chosen
on: not recorded; common experience."""
KEEPS_CENTRE: Final = 0.002
"""ratio. How well its principal point comes back, as a share of the longer side (stabiliser). Feeds U through the lens's
prior. Chosen on: not recorded; common experience."""
NEAR_FACTOR: Final = 5.0
"""ratio. A near match (another lens name, zoom or size of the same model) is trusted so many times less. Chosen on: not
recorded."""
LEAST_U: Final = 1e-5
"""ratio. No aspect or distortion parameter of a prior is known better than this. Chosen on: not recorded."""
JOB_DISTANCE_MM: Final = 1800.0
"""mm. Usual distance of what a job photographs, against which the closer focus of a calibration is corrected. Convention:
photos of a kitchen are taken from 1 to 2.5 m."""
SAME_ASPECT: Final = 0.01
"""ratio. Pictures whose aspects differ by more were cropped. Derived: rounding to whole pixels changes it by less than 0.1 %,
another aspect of the trade (4:3, 3:2, 16:9) by 12 % or more."""
SAME_SCALE: Final = 0.005
"""ratio. A picture whose pixels differ by more from the profile's was resized. Derived: as for ``SAME_ASPECT``, one side
only."""
SAME_FOCAL: Final = 0.005
"""ratio. Focal lengths in EXIF that differ by more are of two lenses. Derived: EXIF rounds to 0.01 mm of some 4 mm."""
SAME_ZOOM: Final = 0.01
"""ratio. Digital zooms that differ by more are two. Derived: phones write it with two decimals."""

# ----------------------------------------------------------------------------------------------------- calibration

LARGE_PHOTO_PX: Final = 30e6
"""px. From so many pixels on few photos are searched at once. Derived: a picture of 200 MP takes 0.4 GB while it is
searched."""
SEARCHED_AT_ONCE: Final = (8, 2)
"""count. Photos searched at once, and large ones. Derived: two of 200 MP stay within 1 GB."""
PATTERN_PX: Final = 0.1
"""px. Residuals with a pattern of more than this, in a picture 1000 px wide, make a calibration doubtful. Chosen on: not
recorded."""
RESIDUALS_FACTOR: Final = 5.0
"""ratio. Residuals this many times what single corners allow make a calibration doubtful. Chosen on: a stiff board before a
camera on a tripod (1.2) and a paper board before a phone in the hand (11), both real."""
PATTERN_SHARE: Final = 0.5
"""ratio. The same, as a share of all residuals. Chosen on: not recorded."""
UNCERTAIN_FACTOR: Final = 6.0
"""ratio. A lens this many times less certain than one that is good enough makes a calibration doubtful. Chosen on: not
recorded."""

# --------------------------------------------------------------------------------------------------- known lengths

USUAL_U_MM: Final = {"bar": 0.3, "tape": 0.8, "caliper": 0.05}
"""mm. Standard uncertainty of a length whose user gave none. Feeds U. Convention: half the smallest graduation, read with
care."""

# ----------------------------------------------------------------------------------------------------------- demo

LONGEST_MM: Final = 3200.0
"""mm. Plan distances of the demo are compared up to this length. Derived: the diagonal of its larger run of cabinets."""
EDGE_STEP_MM: Final = 10.0
"""mm. The demo's edges are compared at places this far apart. Convention: twice the distance of the stations they are read
at."""
WALL_SHARE: Final = 0.95
"""ratio. A wall's row of the demo holds the error that this share of its length stays below. Derived: that which U at k = 2
covers."""

# -------------------------------------------------------------------------------------------------------- job file

LONGEST_FILE: Final = 8_000_000
"""bytes. Largest job file. Derived: a job of 400 photos and 1000 edges has a tenth of that."""
MOST_TOLD: Final = 20
"""count. Mistakes of a job file that are told at once. Convention: a screen full."""
DEEPEST_KEY: Final = 20
"""count. Dots of a key in it. Derived: no key has more than three; readers of TOML take time with their square."""
DEEPEST_LINE: Final = 20_000
"""count. Brackets of a line in it. Derived: a path of thousands of points."""
SHOWN_LENGTHS: Final = 4
"""count. Lengths without a unit that are named in one sentence. Convention: layout."""
USUAL_VALUES: Final = {
    "tolerance": (0.2, 7.0), "paper.thickness_mm": (0.05, 25.0), "paper.strip_thickness_mm": (0.05, 3.0),
    "markers.size_mm": (10.0, 300.0), "lengths.temperature_c": (0.0, 45.0),
    "bar": (200.0, 3000.0), "tape": (300.0, 15_000.0), "caliper": (10.0, 400.0),
}
"""mm, degC. Values of the job file, and lengths by their kind, that need no question. Convention: of kitchens and shops."""

ESTIMATE_FILE: Final = "estimate.toml"
"""name. File beside a job's photos with what was clicked in them. Convention: our own."""

# ----------------------------------------------------------------------------------- folders that several programs share

RENEW_S: Final = 10.0
"""s. How often whoever holds a folder says that it still works. Derived: six times within ``LEASE_S``."""
LEASE_S: Final = 60.0
"""s. Who has not said so for so long is taken for dead, by the clock of the disk or the storage. Derived: longer than network
disks keep what they know of a file (``acregmax`` of nfs(5) is 60)."""
LOCK_LOOK_S: Final = 0.05
"""s. How often somebody who waits looks whether a folder is free. Convention: felt as at once."""
MANIFEST: Final = "manifest.json"
"""name. File of a set of results that says which files belong to it. Convention: our own."""

TOP_VIEW_PHOTO_PX: Final = 2048
"""px. Longer side of a photo from which the report's rectified picture is made. Derived: photos of 12 MP have 4000 to 4080, and
a JPEG is decoded at exactly half of that without being reduced once more."""
