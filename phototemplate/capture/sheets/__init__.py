"""Printed targets on paper: PDF at exact scale, and the same pages as pictures."""

from phototemplate.capture.sheets.raster import RasterFrame
from phototemplate.capture.sheets.write import raster

__all__ = ["RasterFrame", "raster"]
