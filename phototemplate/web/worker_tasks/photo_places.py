"""Where a place of the work plane appears in the photos, and to which sheet a hint is anchored."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from pydantic import Field

from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.hints import path_on_nearest_sheet
from phototemplate.model import Measurement
from phototemplate.network.workplane import on_level
from phototemplate.progress import Progress
from phototemplate.settings import EdgeSettings
from phototemplate.web.constants import PHOTO_MARGIN_PX

Pair = Annotated[list[float], Field(min_length=2, max_length=2)]
"""A place of the work plane, x and y in mm"""


def scene_of(m: Measurement) -> Scene:
    """The measurement for questions of geometry; no picture is decoded."""
    return Scene(lambda _: np.zeros((1, 1), np.uint8), m.network, m.work_plane, EdgeSettings())


def photos_showing(
    memory: Any, tell: Progress, xy: Pair, most: int = 4, margin_px: float = PHOTO_MARGIN_PX
) -> list[dict[str, Any]]:
    """Photos that show a place (work frame, z = 0), the best seen first.

    Each with its position in stored px (canvas origin), the derivative d(uv)/d(xy) in px/mm, and how steeply it is seen.
    """
    del tell
    m = memory.measured()
    scene = scene_of(m)
    spot = np.array([[float(xy[0]), float(xy[1]), 0.0]])
    seen = []
    for photo_id in m.network.photos:
        view = scene.see(photo_id, spot, margin_px)
        if not view.inside[0]:
            continue
        j = view.d_work[0, :, :2]
        resolution = float(np.sqrt(abs(np.linalg.det(j))))
        away = scene.eye_mm(photo_id) - spot[0]
        steep = float(abs(away[2]) / max(np.linalg.norm(away), 1e-9))
        seen.append({
            "photo": photo_id, "uv": [round(float(v) + 0.5, 3) for v in view.uv_px[0]], "jac": np.round(j, 5).tolist(),
            "px_per_mm": round(resolution, 3), "steep": round(steep, 3),
        })
    seen.sort(key=lambda s: -s["px_per_mm"] * s["steep"])
    return seen[:most]


def anchor_path(
    memory: Any, tell: Progress, path: Annotated[list[Pair], Field(min_length=1)], level: str = ""
) -> dict[str, Any]:
    """A path of the work frame in the frame of the nearest sheet of a level, as the job file wants it.

    ``level``: empty for the work plane's own. Raises ``MeasureError`` where no sheet was placed.
    """
    del tell
    m = memory.measured()
    plane = on_level(m.work_plane, level) if level in {one.name for one in m.work_plane.levels} else m.work_plane
    sheet, local = path_on_nearest_sheet(m.network, plane, np.asarray(path, float).reshape(-1, 2))
    return {"sheet": sheet, "path": np.round(local, 2).tolist()} | ({"level": level} if level else {})
