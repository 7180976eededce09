"""From a hint in the job file's words to a path in the work plane."""

from __future__ import annotations

import numpy as np

from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.constants import PHOTO_MARGIN
from phototemplate.errors import Finding, MeasureError
from phototemplate.model import Array, EdgeHint, Network, WorkPlane
from phototemplate.network import projection, workplane


def hint_path(scene: Scene, hint: EdgeHint) -> Array | None:
    """(n, 2) rough path in the work plane, or None where the anchor is unknown or points at no place of the plane."""
    if hint.path is None or len(hint.path) < 2:
        return None
    path = np.asarray(hint.path, dtype=np.float64)
    if hint.anchor == "photo":
        if hint.anchor_id not in scene.network.photos:
            return None
        size = np.array(scene.size_px(hint.anchor_id))
        if (path < -PHOTO_MARGIN * size).any() or (path > (1.0 + PHOTO_MARGIN) * size).any():
            return None
        points = scene.unproject(hint.anchor_id, path, hint.height_mm)
    elif hint.anchor == "sheet":
        if hint.anchor_id not in scene.network.bodies:
            return None
        local = np.column_stack([path, np.zeros(len(path))])
        world = projection.body_points(scene.network, hint.anchor_id, local).xyz_mm
        points = workplane.to_work(scene.plane, world)[0][:, :2]
    else:
        points = path
    if not np.isfinite(points).all() or float(np.linalg.norm(points - points[0], axis=1).max()) < 1.0:
        return None
    return np.asarray(points)


def path_on_nearest_sheet(network: Network, plane: WorkPlane, path_mm: Array) -> tuple[str, Array]:
    """A path (n, 2) of the work plane in the frame of the sheet nearest to its middle: the sheet's id and (n, 2) mm.

    The inverse of :func:`hint_path` for a hint anchored to a sheet: the answer is in mm of the sheet as designed, so the
    print scale is divided out; a sheet that is curled moves a place only along the normal. Raises ``MeasureError`` where no
    sheet was placed.
    """
    elsewhere = {h.name for h in plane.elsewhere}
    sheets = {t: b for t, b in network.bodies.items() if network.targets[t].kind == "sheet" and t not in elsewhere}
    if not sheets:
        raise MeasureError("No sheet was placed, so nothing can be anchored to one; mark the edge in a photo instead.")
    world = workplane.to_world(plane, np.column_stack([path_mm, np.zeros(len(path_mm))]))
    middle = world.mean(axis=0)
    name = min(sheets, key=lambda t: float(np.linalg.norm(sheets[t].translation_mm - middle)))
    body = sheets[name]
    local = (world - body.translation_mm) @ body.rotation
    return name, np.asarray(local[:, :2] / np.asarray(body.scale_xy))


def lost(hint: EdgeHint, reason: str) -> Finding:
    """Finding of an edge that could not be measured; ``reason`` is one of the names that the wording has for it."""
    return Finding("edge-not-found", hint.edge_id, reason_word=reason)
