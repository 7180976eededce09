"""What each photo of a scene sees: does every edge, sheet and strip appear often and large enough?"""

from __future__ import annotations

import numpy as np

from .camera import Camera
from .constants import ENOUGH_PX
from .paper import strip_truth
from .prints import print_markers
from .renderer import Renderer
from .scene import Scene, Strip
from .truth import resample


def _markers_seen(cam: Camera, renderer: Renderer, corners: np.ndarray, normal: np.ndarray) -> tuple[int, float]:
    """How many markers are wholly visible, and the median shorter side of these in px."""
    ok = renderer.visible(cam, corners.reshape(-1, 3), eps=1.0, normal=normal).reshape(-1, 4).all(1)
    if not ok.any():
        return 0, 0.0
    uv = cam.project(corners[ok].reshape(-1, 3)).reshape(-1, 4, 2)
    sides = np.linalg.norm(np.roll(uv, -1, 1) - uv, axis=2)
    return int(ok.sum()), float(np.median(sides.min(1)))


def survey(scene: Scene, renderer: Renderer) -> str:
    """A table for people: rows are edges, sheets and strips, columns are photos.

    Edges: share of the line seen, in per cent. Sheets and strips: markers seen / median shorter side in px of the full-size
    picture as given by the scene's cameras.
    """
    rows = ["seen by".ljust(14) + "".join(c.id[-4:].rjust(8) for c in scene.cameras)]
    for edge in scene.outline:
        if edge.source == "trace":
            line = resample(edge.points, 80)
            cells = [f"{100 * renderer.visible(c, line).mean():.0f}%" for c in scene.cameras]
            rows.append(edge.id.ljust(14) + "".join(("" if v == "0%" else v).rjust(8) for v in cells))
    for paper in [*scene.sheets, *scene.strips]:
        corners = print_markers(paper, scene)
        normal = np.array([0.0, 0.0, 1.0])
        if isinstance(paper, Strip):
            t = np.array(strip_truth(paper, scene)["vertices_u_x_y"])
            d = t[-1, 1:] - t[0, 1:]
            normal = np.array([d[1], -d[0], 0.0]) / np.linalg.norm(d)
        seen = [_markers_seen(c, renderer, corners, normal) for c in scene.cameras]
        good = sum(1 for n, px in seen if n and px >= ENOUGH_PX)
        cells = [f"{n}/{px:.0f}" if n else "" for n, px in seen]
        rows.append(paper.id.ljust(14) + "".join(v.rjust(8) for v in cells) + f"   {good} good")
    return "\n".join(rows)
