"""Printed targets on paper: PDF at exact scale, and the same pages as pictures.

``drawing`` holds the primitives; ``layout`` and ``target_pages`` make pages of them, ``guide`` and ``customer`` the
pages of pictures; ``pdf`` and ``raster`` lower one and the same list of primitives; ``kinds`` lists what can be
printed.
"""

from phototemplate.capture.sheets.kinds import FULL_SET, PRINT_KINDS, PrintKind
from phototemplate.capture.sheets.raster import RasterFrame
from phototemplate.capture.sheets.write import WrittenSheets, parse_numbers, raster, write_sheets

__all__ = [
    "FULL_SET",
    "PRINT_KINDS",
    "PrintKind",
    "RasterFrame",
    "WrittenSheets",
    "parse_numbers",
    "raster",
    "write_sheets",
]
