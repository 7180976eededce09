"""Structure from motion on a job's photos, and the job's targets in space from its cameras.

SIFT features, exhaustive matching and incremental mapping are COLMAP's (J. L. Schoenberger, J.-M. Frahm, Structure-from-Motion
Revisited, CVPR 2016) through pycolmap; all photos share one camera with OpenCV's lens model, which starts from EXIF. Target
points are our own sightings, so that only orientation and lens differ between the two ways.
"""

from __future__ import annotations

import os
import time
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.capture import design
from phototemplate.model import Array, Sightings

HALF_PIXEL = 0.5
"""COLMAP puts (0, 0) at the corner of the first pixel, we at its centre."""
TOO_FAR = 20 / 3000
"""Residual at unit distance (20 px of 12 megapixels) of a sighting that is wrong: generous, as the lens may be a poor fit."""


@dataclass(frozen=True)
class SfmSettings:
    """How the features are looked for; everything else is the program's default."""

    name: str
    max_side_px: int = -1
    """Pictures larger than this are reduced first; -1: the program's own choice"""
    max_features: int = 8192


OWN_CHOICE = SfmSettings("the program's own settings")
FULL_SIZE = SfmSettings("features at full size", 4032)
FASTEST = SfmSettings("its lowest quality preset", 1000, 2048)
"""Picture size and number of features of COLMAP's automatic reconstruction at quality "low" (numbers from memory); its even
smaller choices are not offered"""


@dataclass
class SfmResult:
    """What structure from motion made of the photos."""

    settings: SfmSettings = OWN_CHOICE
    seconds: dict[str, float] = field(default_factory=dict)
    """Wall time per stage"""
    processor_seconds: float = 0.0
    """Of all threads"""
    photos: tuple[str, ...] = ()
    """Photos oriented, in the largest model"""
    focal_px: float = float("nan")
    centres: Mapping[str, Array] = field(default_factory=dict)
    """Target -> (3,) centre, in the model's own scale"""
    reprojection_px: float = float("nan")
    """RMS of the target points' sightings about their intersections, per axis"""

    @property
    def total_seconds(self) -> float:
        return sum(self.seconds.values())


def structure_from_motion(
    photos: Path, sightings: Mapping[str, Sightings], folder: Path, focal_px: float, settings: SfmSettings = OWN_CHOICE
) -> SfmResult:
    """Orient the photos in ``photos`` and intersect the sighted targets; database and model go to ``folder``.

    ``focal_px`` is the start value (EXIF). The time that finding the targets takes is not counted here.
    """
    import pycolmap

    pycolmap.logging.minloglevel = int(pycolmap.logging.Level.ERROR)
    names = sorted(p.name for p in photos.iterdir())
    database, result = folder / "features.db", SfmResult(settings)
    began_processor = time.process_time()

    def timed(stage: str, work: Callable[[], object]) -> object:
        began = time.perf_counter()
        out = work()
        result.seconds[stage] = time.perf_counter() - began
        return out

    extraction = pycolmap.FeatureExtractionOptions()
    extraction.num_threads = os.cpu_count() or 1
    extraction.max_image_size = settings.max_side_px
    extraction.sift.max_num_features = settings.max_features
    reader = pycolmap.ImageReaderOptions()
    reader.camera_model = "OPENCV"
    width, height = _size(photos / names[0])
    reader.camera_params = f"{focal_px},{focal_px},{width / 2},{height / 2},0,0,0,0"
    timed("features", lambda: pycolmap.extract_features(
        database, photos, names, pycolmap.CameraMode.SINGLE, reader, extraction, pycolmap.Device.cpu
    ))
    timed("matching", lambda: pycolmap.match_exhaustive(database, device=pycolmap.Device.cpu))
    mapping = pycolmap.IncrementalPipelineOptions()
    mapping.min_model_size = 3
    mapping.random_seed = 0
    models = timed("mapping", lambda: pycolmap.incremental_mapping(database, photos, folder, mapping))
    if models:
        best = max(models.values(), key=lambda m: m.num_reg_images())  # type: ignore[attr-defined]
        _read(best, sightings, result, timed)
    result.processor_seconds = time.process_time() - began_processor
    return result


def _size(photo: Path) -> tuple[int, int]:
    from phototemplate.capture.photos import read_meta

    return read_meta(photo).size_px


def _read(model: object, sightings: Mapping[str, Sightings], result: SfmResult, timed: Callable[..., Any]) -> None:
    poses, rays = {}, {}
    images = [model.images[k] for k in model.reg_image_ids()]  # type: ignore[attr-defined]
    for image in images:
        photo = Path(image.name).stem
        poses[photo] = np.asarray(image.cam_from_world().matrix())
        rays[photo] = np.asarray(image.camera.cam_from_img(sightings[photo].uv_px + HALF_PIXEL))
    result.photos = tuple(sorted(poses))
    camera = images[0].camera
    result.focal_px = float(camera.mean_focal_length())
    points, errors = timed("triangulation", lambda: intersect(poses, rays, sightings))
    result.reprojection_px = float(np.sqrt(np.mean(np.square(errors)))) * result.focal_px
    result.centres = {t: c for t, c in ((t, centre(t, p)) for t, p in points.items()) if c is not None}


def intersect(
    poses: Mapping[str, Array], rays: Mapping[str, Array], sightings: Mapping[str, Sightings]
) -> tuple[dict[str, dict[int, Array]], Array]:
    """Target -> point -> (3,) from two or more photos, and the residuals (N, 2) on the planes at unit distance.

    Linear intersection, iterated with the depths as weights (R. Hartley, P. Sturm, Triangulation, CVIU 68 (1997) 146-157,
    "iterative linear-LS"), which ends within a hair of the least-squares one. The worst photo is left out until all agree.
    """
    seen: dict[tuple[str, int], list[tuple[str, int]]] = defaultdict(list)
    for photo in poses:
        s = sightings[photo]
        for row, key in enumerate(zip(s.target_ids, s.point_ids.tolist(), strict=True)):
            seen[key].append((photo, row))
    out: dict[str, dict[int, Array]] = defaultdict(dict)
    errors = []
    for (target, point), places in seen.items():
        if len(places) < 2:
            continue
        p = np.array([poses[photo] for photo, _ in places])
        xy = np.array([rays[photo][row] for photo, row in places])
        x, e = _intersect_one(p, xy)
        while len(p) > 2 and np.linalg.norm(e, axis=1).max() > TOO_FAR:
            keep = np.arange(len(p)) != np.argmax(np.linalg.norm(e, axis=1))
            p, xy = p[keep], xy[keep]
            x, e = _intersect_one(p, xy)
        if np.linalg.norm(e, axis=1).max() > TOO_FAR:
            continue
        out[target][point] = x
        errors.append(e)
    return dict(out), np.vstack(errors) if errors else np.zeros((0, 2))


def _intersect_one(poses: Array, xy: Array) -> tuple[Array, Array]:
    rows = xy[:, :, None] * poses[:, 2:3, :] - poses[:, :2, :]  # (n, 2, 4)
    weight = np.ones(len(poses))
    for _ in range(5):
        a = (rows * weight[:, None, None]).reshape(-1, 4)
        x = np.linalg.lstsq(a[:, :3], -a[:, 3], rcond=None)[0]
        depth = poses[:, 2, :3] @ x + poses[:, 2, 3]
        weight = 1 / np.maximum(np.abs(depth), 1e-9)
    return np.asarray(x, np.float64), (rows[:, :, :3] @ x + rows[:, :, 3]) / depth[:, None]


def centre(target: str, points: Mapping[int, Array]) -> Array | None:
    """Where the origin of a target lies in space: affine fit of its printed points, which takes print scale with it.

    Of a bar end its only point. None for targets that bend and for sheets with fewer than four points.
    """
    printed = design.catalog()[target]
    if len(printed.points_mm) == 1:
        return points[0]
    if not printed.rigid or len(points) < 4:
        return None
    ids = sorted(points)
    flat = printed.points_mm[ids][:, :2]
    if np.linalg.svd(flat - flat.mean(axis=0), compute_uv=False)[-1] < 1.0:
        return None
    a = np.column_stack([flat, np.ones(len(ids))])
    fit: Array = np.linalg.lstsq(a, np.array([points[k] for k in ids]), rcond=None)[0]
    return fit[2]
