"""What decides in the app: limits, waiting times, resolutions. Unit first, then what it is and where it comes from."""

from __future__ import annotations

from typing import Final

# ------------------------------------------------------------------------------------------------- limits

UPLOAD_LIMIT: Final = 80 * 1024 * 1024
"""byte. Largest photo taken. Derived: phones of 200 megapixels store below 60 MB; a third more."""
DRAWING_LIMIT: Final = 20_000_000
"""byte. Largest drawing of a maker. Convention: ten times a detailed sink."""
BODY_LIMIT: Final = 2_000_000
"""byte. Largest request that is no upload. Derived: a job of 400 edges with 40 points each takes below 1 MB."""
MOST_PHOTOS: Final = 400
"""count. Photos of one job. Convention: ten times the 40 that a large kitchen needs."""
MOST_OPERATIONS: Final = 400
"""count. Operations of one change of the job file. Convention: every edge of a large job at once."""
MOST_WAITING: Final = 500
"""count. Events a page may be behind before it is cut off and asks anew. Convention: about a minute of progress."""

PHONE_CALLS: Final = 30
"""count. Requests a second from phones. Convention: three phones that ask for progress and send tiles of nothing else."""
PHONE_UPLOADS: Final = 3
"""count. Photos that arrive from phones at a time. Convention: one per hand on site and one to spare."""

# --------------------------------------------------------------------------------------------- on site

ENOUGH_PHOTOS: Final = 10
"""count. Photos of a usual kitchen. Source: the guide printed with the sheets (10 to 14)."""
SEEN_OFTEN: Final = 3
"""count. Photos in which a sheet should be seen. Derived: two fix a place, the third finds a gross error in them."""
TOLD_AT_ONCE: Final = 3
"""count. Things told to somebody on site at a time. Convention: what is read at a glance on a phone."""

# ------------------------------------------------------------------------------------------ waiting times

STALE_S: Final = 3600.0
"""s. Age at which a part of a broken upload is removed. Convention: longer than any upload lasts."""
HANDED_OVER_S: Final = 60.0
"""s. Age at which the page that leads the browser to the app is a leftover. Convention: longer than any browser starts."""
WATCH_S: Final = 1.0
"""s. Between two looks at the folder for what somebody else has changed. Convention: felt as at once."""
BEAT_S: Final = 12.0
"""s. Silence after which a comment is sent, so that a vanished page is noticed. Convention: below the usual 30 s of a proxy."""
SETTLE_S: Final = 0.6
"""s. After the last photo has arrived, before measuring begins. Convention: the gap between two dropped files."""
JUDGE_AFTER_S: Final = 1.0
"""s. Without a change, before remedies are searched. Convention: the pause after a finished act."""
READY_S: Final = 60.0
"""s. How long a question waits for the first measurement of a start. Convention: longer than a usual job takes to measure."""
TELL_EVERY_S: Final = 0.08
"""s. Between two words of progress. Convention: twelve times a second looks continuous."""

# ------------------------------------------------------------------------------------------------ worker

LANES: Final = {"quick": 1, "photos": 2, "long": 1}
"""count. Threads per lane of the worker. Convention: photos are decoded two at a time on the two cores of a small computer."""

# --------------------------------------------------------------------------------------------- pictures

TILE: Final = 512
"""px. Side of a tile. Convention: the page's tiles.js has the same."""
PHOTO_QUALITY: Final = 88
"""count. JPEG quality of a photo's tiles. Convention: blocks stay unseen at eight times the size."""
TOP_VIEW_QUALITY: Final = 84
"""count. JPEG quality of the top view, which is resampled already. Convention: a third smaller than the photos' quality."""
THUMB_QUALITY: Final = 80
"""count. JPEG quality of a thumbnail. Convention: the usual one of pictures that are not enlarged."""
THUMB_SIDE: Final = 480
"""px. Longer side of a thumbnail. Convention: a card of 270 px on a screen with 1.75 px per px."""
FINEST_PX_PER_MM: Final = 2.0
"""px/mm. Finest top view. Convention: half a millimetre per pixel is what a person presses on."""
COARSEST_PX_PER_MM: Final = 0.4
"""px/mm. Coarsest top view. Convention: a sheet's number can still be read."""
MOST_PX: Final = 24_000_000
"""px. Largest top view. Derived: 72 MB of memory in colour."""
QUICK_TOP_PX: Final = 3_000_000
"""px. The top view that is shown first. Convention: three times the pixels of the picture's place on a large screen."""
MARGIN_MM: Final = 450.0
"""mm. Of the top view around the sheets. Convention: two thirds of a cabinet's depth."""
PHOTO_PX_PER_PX: Final = 1.6
"""ratio. Pixels of a photo read per pixel of the top view. Derived: above the 1 that sampling asks for."""
NOTHING_RGB: Final = (176, 174, 168)
"""count. Grey where no photo shows the plane. Convention: the page's --stage in light."""
SHOWN_POINTS: Final = 120
"""count. Points of an edge that the page gets. Convention: one per 8 px of a wide screen."""
CHORD_MM: Final = 0.3
"""mm. Chord error of a curve as the page draws it. Convention: below a pixel at the usual zoom."""

# -------------------------------------------------------------------------------------- places and edges

PHOTO_MARGIN_PX: Final = 12.0
"""px. A place must be this far inside a photo to be shown there. Convention: half of what the picture beside it shows."""
POINTING_MARGIN_PX: Final = 4.0
"""px. The same where only the place itself counts. Convention: the reach of an interpolation."""
POINTING_PX: Final = 1.0
"""px. Standard uncertainty of pointing, of the photo or of the screen, whichever is coarser. Chosen on: not recorded."""
HEIGHT_U_MM: Final = 1.5
"""mm. Standard uncertainty of the height of what is pointed at over the work plane. Chosen on: not recorded."""
BUDGET_SHARE: Final = 0.02
"""ratio. Causes below this share of u are not listed. Derived: 0.02 of u changes u by 0.02 per cent."""
BUDGET_LINES: Final = 6
"""count. Causes listed. Convention: what fits beside the number."""
SAME_EDGE_MM: Final = 30.0
"""mm. A proposal whose middle lies this near to a measured edge is that edge. Chosen on: not recorded."""
ALONG_MM: Final = 100.0
"""mm. How far beyond the ends of a measured edge that holds. Chosen on: not recorded."""
SAME_PROPOSAL_MM: Final = 40.0
"""mm. A proposal found again within this is the one that was turned down. Chosen on: not recorded."""
SAME_LINE_MM: Final = 0.3
"""mm. Another line this near to the edge taken is that edge. Chosen on: not recorded."""

# -------------------------------------------------------------------------------------------------- names and keys

MIN_KEY: Final = 43
"""count. Letters of the shortest start key that is kept. Derived: 256 bits in base 64."""
LONGEST_NAME: Final = 60
"""count. Letters of a job's title that its folder's name keeps. Chosen on: not recorded."""
