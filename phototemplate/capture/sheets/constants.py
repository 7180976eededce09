"""Constants of the printed pages: layout, inks and lines, with unit and origin."""

from __future__ import annotations

from typing import Final

# ---- drawing

BLACK: Final = (0.0, 0.0, 0.0)
"""rgb. Ink. Convention: layout."""
WHITE: Final = (1.0, 1.0, 1.0)
"""rgb. Paper. Convention: layout."""
CAP_HEIGHT: Final = 0.72
"""ratio. Height of capitals over the size of the font. Source: Adobe font metrics of Helvetica."""

# ---- guide

PANEL_WIDTH_MM: Final = 97.0
"""mm. Width of a panel of the guide. Convention: two on a page."""
PICTURE_MM: Final = (93.0, 50.0)
"""mm. Width and height of its picture. Convention: layout."""
GAP_MM: Final = 3.0
"""mm. Between panels. Convention: layout."""
HEAD_MM: Final = 16.0
"""mm. Title of the page. Convention: layout."""
FOOT_MM: Final = 27.0
"""mm. Foot of the page. Convention: layout."""

# ---- page parts

PRINTER_MARGIN_MM: Final = 5.0
"""mm. What printers leave white. Convention: of their makers."""
CUT_WIDTH_MM: Final = 0.2
"""mm. Width of a line to cut along. Convention: layout."""
TICK_WIDTH_MM: Final = 0.15
"""mm. Width of the ticks of a ruler. Convention: layout."""

# ---- raster

RASTER_SHIFT: Final = 8
"""count. Binary digits after the point of coordinates given to OpenCV. Derived: 1/256 px."""

# ---- sketch

ACCENT: Final = (0.74, 0.27, 0.07)
"""rgb. What matters in a sketch. Convention: layout."""
TOP: Final = (0.93, 0.92, 0.89)
"""rgb. Tops. Convention: layout."""
FRONT: Final = (0.80, 0.78, 0.74)
"""rgb. Fronts. Convention: layout."""
SIDE: Final = (0.71, 0.69, 0.65)
"""rgb. Sides. Convention: layout."""
WALL: Final = (0.88, 0.91, 0.94)
"""rgb. Walls. Convention: layout."""
RAY: Final = (0.88, 0.66, 0.52)
"""rgb. Rays of sight. Convention: layout."""
PALE: Final = (0.99, 0.92, 0.87)
"""rgb. Pale ground. Convention: layout."""

# ---- write

PRINT_SCALE_RANGE: Final = (0.97, 1.03)
"""ratio. Print scales that are accepted. Derived: printers are off by half a per cent, 3 % is a wrong setting."""

LINE: Final = (0.35, 0.35, 0.35)
"""rgb. Lines of a sketch. Convention: layout."""
ALIGN_IN_MM: Final = 1.6
"""mm. From a mark to the words beside it. Convention: layout."""
PLAN_SHEETS: Final[tuple[tuple[float, float, bool], ...]] = (
    (170, 140, True),
    (430, 640, True),
    (170, 1130, True),
    (250, 1960, False),
    (780, 1760, False),
    (1130, 2010, False),
    (2230, 1760, False),
    (2830, 2010, False),
)
"""mm. Places of the sheets in the plan of the guide, and whether they stand upright. Convention: layout."""

# ---- printed sets

USUAL_SHEETS: Final = 20
"""count. Target sheets of a set where no number is asked for. Chosen on: not recorded."""
BAR_ENDS_OF_PAGE: Final = 4
"""count. Bar ends of a page. Derived: two bars."""
