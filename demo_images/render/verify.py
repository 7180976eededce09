"""Does a picture show what the truth file says? Two checks that share no code with each other.

* ``check_rays``: points of every print are projected by OpenCV, each pixel is shot back by the renderer, and the texture
  coordinate that is hit must be the point that was projected. No detection involved.
* ``check_photos``: saddle points found in the finished JPEGs against their projected positions.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from .materials import mi
from .paper import sheet_point, strip_point, strip_truth
from .prints import print_points
from .rays import channel_px, shutter_turn, shutter_way, undistort
from .renderer import Renderer
from .scene import Scene, Strip

import drjit as dr  # isort: skip


def check_rays(scene: Scene, renderer: Renderer, count: tuple[int, int] = (97, 22)) -> dict[str, float]:
    """Print id -> largest distance in mm on the paper between the point meant and the point hit, over all photos.

    Rows are chosen off the seams of the mesh, where a ray may slip through.
    """
    worst: dict[str, float] = {}
    for paper in [*scene.sheets, *scene.strips]:
        w, h = (paper.length, paper.height) if isinstance(paper, Strip) else (paper.w, paper.h)
        gu, gv = np.meshgrid(np.linspace(0.013, 0.987, count[0]) * w, np.linspace(0.053, 0.947, count[1]) * h)
        u, v = gu.ravel(), gv.ravel()
        on_wall = isinstance(paper, Strip)
        points = strip_point(strip_truth(paper, scene), u, v) if on_wall else sheet_point(paper, scene, u, v)
        for cam in scene.cameras:
            back = -cam.pose()[0][2]
            ok = renderer.visible(cam, points, 2.0, back)
            if not ok.any():
                continue
            q = cam.project(points[ok])
            px, py = mi.Float(q[:, 0]), mi.Float(q[:, 1])
            x, y = undistort(cam, *channel_px(cam, px, py, 1.0))
            (d,) = shutter_turn(cam, py, mi.Vector3f(x, y, 1))
            world = mi.Matrix3f(cam.pose()[0].T.tolist())
            eye = mi.Point3f(*map(float, cam.eye)) + world @ shutter_way(cam, py)
            ray = mi.Ray3f(eye, dr.normalize(world @ d))
            si = renderer.mi_scene.ray_intersect(ray)
            hit = np.linalg.norm(np.array(si.p).T - points[ok], axis=1) < 2
            off = np.array(si.uv).T * (w, h) - np.c_[u[ok], v[ok]]
            if hit.any():
                worst[paper.id] = max(worst.get(paper.id, 0.0), float(np.abs(off[hit]).max()))
    return worst


def check_photos(scene: Scene, photos: Path) -> list[tuple[str, int, float, np.ndarray, float]]:
    """Per photo: id, saddle points found, RMS per axis and mean error (2,) in px, and RMS of error over its stated sigma."""
    from phototemplate.capture.detect import detect
    from phototemplate.capture.photos import read_gray, read_meta
    from phototemplate.settings import DetectionSettings

    points = {p.id: print_points(p, scene) for p in [*scene.sheets, *scene.strips]}
    rows = []
    for cam in scene.cameras:
        meta = read_meta(photos / f"{cam.id}.jpg")
        found = detect(read_gray(meta), meta, DetectionSettings())
        scale = meta.size_px[0] / cam.width
        here = cam.scaled(scale)
        true = here.project(np.array([points[t][k] for t, k in zip(found.target_ids, found.point_ids, strict=True)]))
        error = found.uv_px - true
        weighed = np.einsum("ni,nij,nj->n", error, np.linalg.inv(found.cov_px2), error)
        rows.append(
            (cam.id, len(error), float(np.sqrt((error**2).mean())), error.mean(axis=0), float(np.sqrt(weighed.mean() / 2)))
        )
    return rows
