"""The rectified picture of the work plane, cut into tiles."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from phototemplate.capture.photos import read_rgb
from phototemplate.network.rectify import rectify
from phototemplate.progress import Progress
from phototemplate.web.hand.tiles import cut, levels_of


def top_tiles(desk: Any, tell: Progress, folder: str) -> dict[str, Any]:
    """Make and cut the picture for the last measurement, unless the folder has it already."""
    m = desk.measured()
    raise NotImplementedError((m, folder, read_rgb, rectify, tell, cut, levels_of, Path))
