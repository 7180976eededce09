"""Where a place of the work plane appears in the photos, and to which sheet a hint is anchored."""

from __future__ import annotations

from typing import Any

import numpy as np

from phototemplate.edges.scene import Scene
from phototemplate.model import Array, Measurement
from phototemplate.network import projection, workplane
from phototemplate.progress import Progress
from phototemplate.settings import EdgeSettings
from phototemplate.web.refusals import Refused


def scene_of(m: Measurement) -> Scene:
    """The measurement for questions of geometry; no picture is decoded."""
    return Scene(lambda _: np.zeros((1, 1), np.uint8), m.network, m.work_plane, EdgeSettings())


def look(desk: Any, tell: Progress, xy: list[float], most: int = 4, margin_px: float = 12.0) -> list[dict[str, Any]]:
    """Photos that show a place (work frame, z = 0), the best seen first.

    Each with its position in stored px (canvas origin), the derivative d(uv)/d(xy) in px/mm, and how steeply it is seen.
    """
    del tell
    m = desk.measured()
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


def anchor(desk: Any, tell: Progress, path: list[list[float]]) -> dict[str, Any]:
    """A path of the work frame in the frame of the nearest sheet, as the job file wants it.

    Raises ``Refused`` where no sheet was placed.
    """
    del tell
    m = desk.measured()
    work = np.asarray(path, float).reshape(-1, 2)
    sheets = {t: b for t, b in m.network.bodies.items() if m.network.targets[t].kind == "sheet"}
    if not sheets:
        raise Refused("no-sheet")
    middle = work.mean(axis=0)

    def centre(target_id: str) -> Array:
        xyz = projection.body_points(m.network, target_id, np.zeros((1, 3))).xyz_mm
        out: Array = workplane.to_work(m.work_plane, xyz)[0][0, :2]
        return out

    best = min(sheets, key=lambda t: float(np.hypot(*(centre(t) - middle))))
    body = m.network.bodies[best]
    world = workplane.to_world(m.work_plane, np.column_stack([work, np.zeros(len(work))]))
    local = (world - body.translation_mm) @ body.rotation
    return {"sheet": best, "path": np.round(local[:, :2] / np.asarray(body.scale_xy), 2).tolist()}


