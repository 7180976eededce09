"""What the photos show: their meta data, the printed targets, and where these were seen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from phototemplate.errors import Finding
from phototemplate.model.arrays import Array, IntArray


@dataclass(frozen=True)
class PhotoMeta:
    """What a photo file says about itself; the pixels stay in the file."""

    photo_id: str
    """File stem, unique within a job."""
    path: Path
    size_px: tuple[int, int]
    """Width and height of the stored picture, before EXIF rotation."""
    orientation: int = 1
    """EXIF orientation 1-8: how a viewer turns the stored picture."""
    camera_id: str = "camera"
    """Photos with the same id share one lens (make, model, lens, zoom, stored size)."""
    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    focal35_mm: float | None = None
    digital_zoom: float | None = None
    taken_at: str = ""
    """``YYYY-MM-DDThh:mm:ss[.fff]``, empty where unknown"""
    software: str = ""
    camera_size_px: tuple[int, int] | None = None
    """Size that the camera says it took; another one than ``size_px`` means the picture was changed."""


@dataclass(frozen=True)
class Sightings:
    """Target points seen in one photo, N of them."""

    photo_id: str
    target_ids: tuple[str, ...]
    """Target of each point, e.g. ``"S07"`` (sheet 7), ``"W03"`` (strip 3), ``"B01"`` (bar end), ``"M12"`` (plain marker)."""
    point_ids: IntArray
    """(N,) index of the point within its target."""
    uv_px: Array
    """(N, 2)"""
    cov_px2: Array
    """(N, 2, 2) from local contrast, blur and obliquity."""
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        return len(self.target_ids)


@dataclass(frozen=True)
class Target:
    """Geometry of one printed target in its own frame, at nominal (100 %) print scale."""

    target_id: str
    kind: Literal["sheet", "strip", "bar_end", "board", "marker"]
    points_mm: Array
    """(P, 3) nominal points, z = 0 on the printed face."""
    rigid: bool = True
    """False: the points are adjusted freely (wall strips bend)."""
    size_mm: tuple[float, float] = (0.0, 0.0)
    """Width and height of the paper after cutting."""
    contact_edge_mm: Array | None = None
    """(2, 2) the cut edge that is butted against a wall or panel, left to right, or None."""
    height_axis_mm: float = 0.0
    """Strips: height of the row of points above the strip's lower cut edge."""
