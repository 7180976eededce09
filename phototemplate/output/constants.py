"""Constants of the files written: formats, layout and what the report calls good enough, with unit and origin.

What a shop may want to change is in ``settings``.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

# ---------------------------------------------------------------------------------------------------- formats

RESULT_VERSION: Final = 2
"""count. Version of the result's format, raised where a reader of the old one would misread the new. Convention: format."""
ARCS_AS_BENT: Final = 2
"""count. Version of the result's format from which on an arc is a bent chord. Convention: format."""
PICTURE_PX_PER_MM: Final = 6.0
"""px/mm. Site photos on paper. Derived: 150 px/in, what office printers show."""
CHANGED_MM: Final = 0.1
"""mm. A smaller difference from what was handed out is none. Convention: the usual cutting tolerance."""
PIECES_VERSION: Final = 1
"""count. The same of the file of pieces, raised where a key changes its meaning. Convention: format."""
FULL_SIZE_TEXT_MM: Final = 8.0
"""mm. Height of texts printed at full size. Convention: layout."""
ROLL_LENGTH_OF_WIDTH: Final = 2.0
"""ratio. Longest sheet cut off a roll, over the roll's width. Convention: layout, a handy length."""

# -------------------------------------------------------------------------------------------------------- DXF

INSUNITS: Final = {"in": 1, "mm": 4}
"""count. Code of a unit in $INSUNITS. Source: AutoCAD DXF reference."""
LINETYPES: Final = {
    "dashed": ("PT-DASHED", (6.0, -3.0)),
    "dotted": ("PT-DOTTED", (1.0, -2.0)),
    "chain": ("PT-CHAIN", (12.0, -3.0, 1.0, -3.0)),
}
"""mm. Name and pattern: dash positive, gap negative; to be multiplied by ``PATTERN_SCALE``. Convention: layout."""
PATTERN_SCALE: Final = 4.0
"""ratio. By which the patterns are enlarged. Convention: layout, kitchens are looked at from 1:10 to 1:30."""
LINEWEIGHTS: Final = (0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70, 80, 90, 100, 106, 120, 140, 158, 200, 211)
"""mm/100. The only line weights DXF knows. Source: AutoCAD DXF reference, group code 370."""
XDATA_TEXT_BYTES: Final = 250
"""bytes. Longest text of extended data. Source: AutoCAD DXF reference, group code 1000, 255 bytes; a few are left free."""
TEXT_HEIGHT_MM: Final = 25.0
"""mm. Height of texts and dimensions that somebody adds in a CAD program. Convention: 2.5 mm at 1:10."""
INK: Final = 40
"""grey levels. Colours darker than this are written as colour 7, black or white. Chosen on: not recorded."""
NOTE_SHARE: Final = 0.008
"""ratio. Height of the notes below the drawing over its longer side. Convention: layout."""
NOTE_RANGE_MM: Final = (4.0, 30.0)
"""mm. Smallest and largest height of these notes. Convention: layout."""
DARK_LUMINANCE: Final = 0.2
"""ratio. A darker colour is made lighter until it can be read, any other darker. Derived: 0.18 stands out from black and from
white alike, rounded."""
SRGB_TOE: Final = 0.04045
"""ratio. Up to this value sRGB is linear. Source: IEC 61966-2-1."""
FLARE: Final = 0.05
"""ratio. Stray light that is added to both luminances of a contrast. Source: WCAG 2.1, contrast ratio."""
LEAST_CONTRAST: Final = 3.0
"""ratio. Contrast of lines to black and to white. Source: WCAG 2.1, 1.4.11."""

# ------------------------------------------------------------------------------------------------------ paper

PT_PER_MM: Final = 72.0 / 25.4
"""pt/mm. Points in a mm. Derived: 72 in an inch, exact."""
CAPITAL: Final = 0.718
"""ratio. Height of Helvetica's capitals over the font's size. Source: Adobe's font metrics, 718 of 1000."""
PAPER_DASHES: Final[Mapping[str, tuple[float, ...]]] = MappingProxyType(
    {"solid": (), "dashed": (3.0, 1.5), "dotted": (0.4, 1.1), "chain": (6.0, 1.2, 0.4, 1.2)}
)
"""mm. Dashes and gaps of lines on paper. Convention: layout."""
ROLL_WIDTHS_MM: Final = (100.0, 3000.0)
"""mm. Narrowest and widest roll that is taken. Chosen on: not recorded."""
PAGE_MARGIN_MM: Final = 10.0
"""mm. Blank rim of a page at full size. Convention: layout, more than any printer leaves white."""
OVERLAP_MM: Final = 16.0
"""mm. What neighbouring pages at full size have in common. Convention: layout, room for tape and marks."""
LONGEST_PAGE_MM: Final = 5000.0
"""mm. Longest page. Derived: PDF readers stop at 14,400 points, 5080 mm."""
MOST_PAGES: Final = 400
"""count. Pages of one file at full size. Chosen on: not recorded."""
REACH_MM: Final = 150.0
"""mm. How far round a corner or edge is printed. Convention: layout, a corner then takes four pages."""
PAGE_NAME_PT: Final = 9.0
"""pt. Largest name of a page in the overview of all. Convention: layout."""
PAGE_NAME_SHARE: Final = (0.3, 0.35)
"""ratio. The same over the page's width and height there. Convention: layout."""
SVG_MARGIN_MM: Final = 40.0
"""mm. Blank rim round a drawing in the browser. Convention: layout."""

# ----------------------------------------------------------------------------------------------------- report

SIXTEENTH_MM: Final = 25.4 / 16
"""mm. Tolerance of edges where none is given. Convention: trade, 1/16 in."""
CLASS_LIMITS: Final = (0.25, 0.5, 1.0, 2.0)
"""ratio. Largest U of the classes A to D over the tolerance. Convention: the tolerance itself, doubled and halved."""
CLASS_WIDTHS: Final = (5.0, 3.0, 4.0, 4.0, 5.0)
"""px. Widths of the lines of the classes A to E. Convention: layout."""
SHOWN_SECONDS: Final = 0.05
"""s. Steps that took less are not listed. Derived: times are shown to 0.1 s."""
SHOWN_SHARE: Final = 0.005
"""ratio. Causes with a smaller share of an edge's variance are not listed. Derived: shares are shown to 1 %."""
REPORT_TEXT_MM: Final = 32.0
"""mm. Height of texts in the report's drawing, in mm of the plan. Convention: layout."""
UNSEEN_GREY: Final = 168
"""grey levels. Where no photo saw the counter. Convention: layout."""
MANY_PHOTOS: Final = 16
"""count. From here on pictures shrink, so that the report stays small. Convention: layout."""
FULL_COLOUR_MM: Final = 3.0
"""mm. Height at which the colour is at its strongest. Convention: trade, flat to 1/8 in over 10 ft."""
NEGLIGIBLE_MM: Final = 0.5
"""mm. Smaller differences of level are of no matter. Convention: trade, no shim is thinner."""
LEAST_SHOWN_MM: Final = 0.1
"""mm. Smallest difference of level that is said. Derived: heights are shown to 0.1 mm."""
AGREES: Final = 2.0
"""ratio. A known length whose normalized residual is no larger agrees with the rest. Convention: k = 2."""
DOUBTFUL: Final = 3.29
"""ratio. The same up to which it is only a little off. Derived: exceeded by chance once in a thousand (two-sided, normal)."""
MOST_APART: Final = 1.5
"""ratio. Largest over smallest detectable movement of a sheet from which both are said. Chosen on: not recorded."""

# ------------------------------------------------------------------------------------- camera and calibration

PAGE_WIDTH: Final = 640.0
"""px. Width of drawings of the calibration's page. Convention: layout."""
RULERS_PX: Final = (2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
"""px. Residuals that the ruler of its drawing may show. Convention: 1, 2, 5."""
PLOT_WIDTH: Final = 640.0
"""px. Width of a plot. Convention: layout."""
PLOT_HEIGHT: Final = 420.0
"""px. Height of a plot. Convention: layout."""
RINGS: Final = 8
"""count. Rings round the middle of the picture in which residuals are averaged. Chosen on: not recorded."""
SYSTEMATIC_PX: Final = 0.08
"""px. A mean radial residual below this is of no matter, however certain. Chosen on: not recorded."""
RING_ERRORS: Final = 3.5
"""ratio. Mean of a ring over its standard error from which it is no chance. Derived: of eight rings, a false alarm in less
than one job of two hundred."""
LARGE_RMS_PX: Final = 0.6
"""px. Residuals (rms) from which the photos are doubted. Chosen on: not recorded."""
LEAST_COVERAGE: Final = 0.5
"""ratio. Share of the picture from which it counts as filled by sheets. Chosen on: not recorded."""
SAME_OF_U: Final = 1e-3
"""ratio. Parameters of lenses that differ by less than this share of their U are shown as one. Convention: layout."""
TOP_PERCENTILE: Final = 99.5
"""per cent. Residuals that a plot has room for. Convention: layout."""
TOP_ROOM: Final = 1.15
"""ratio. Height of the plot over these residuals. Convention: layout."""
LEAST_TOP_PX: Final = 0.05
"""px. Least height of the plot. Convention: layout."""
TICKS_PX: Final = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
"""px. Distances of its ticks. Convention: 1, 2, 5."""
MOST_TICKS: Final = 3.2
"""count. Ticks that fit above the middle. Convention: layout."""
