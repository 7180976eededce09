"""Jobs of any size at the level of sightings: a long run of cabinets, sheets in two rows, strips along the wall.

For time and memory; what they say of uncertainties is ``_jobs``'s business.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phototemplate.capture.constants import SHEET_COUNT
from phototemplate.model import BodyPose, Camera, PhotoMeta, PhotoPose, Sightings, Target
from phototemplate.network.adjustment.known_lengths import KnownLength, LengthEnd, Tape
from phototemplate.network.projection import project
from phototemplate.numerics import lens
from tests.bench._jobs import LENSES, SIZE_PX
from tests.network.synthetic import hand_made_network, look_at, rotation_z, sheet_target, strip_target

STRIPS, SPACING_MM, SIGMA_PX, FAR_MM = 24, 250.0, 0.1, 2600.0


@dataclass(frozen=True)
class BigJob:
    """What the adjustment gets."""

    photos: tuple[PhotoMeta, ...]
    sightings: Mapping[str, Sightings]
    targets: Mapping[str, Target]
    lengths: tuple[KnownLength, ...]


def big_job(n_photos: int, seed: int = 0) -> BigJob:
    """60 sheets and 24 strip pieces over 15 m; ``n_photos`` of one phone along the run, 25 or more, so that they overlap."""
    rng = np.random.default_rng([91, seed])
    length = SPACING_MM * SHEET_COUNT
    bodies: dict[str, BodyPose] = {}
    targets: dict[str, Target] = {}
    for k in range(SHEET_COUNT):
        name = f"S{k + 1:02d}"
        targets[name] = sheet_target(name)
        at = np.array([SPACING_MM * (k + 0.5), -150.0 - 280.0 * (k % 2), rng.normal(0, 1)])
        bodies[name] = BodyPose(name, rotation_z(rng.uniform(-0.3, 0.3)), at, (1.0, 1.0))
    points = {name: bodies[name].rotation @ targets[name].points_mm.T + bodies[name].translation_mm[:, None] for name in bodies}
    for k in range(STRIPS):
        name = f"W{k // 2 + 1:02d}{'ab'[k % 2]}"
        targets[name] = strip_target(name)
        p = targets[name].points_mm
        points[name] = np.array([length * (k + 0.5) / STRIPS + p[:, 0], np.zeros(len(p)), 40.0 + p[:, 1]])
    share, k1, k2, k3 = LENSES[0]
    params = lens.start_params("brown", share * SIZE_PX[0], SIZE_PX)
    params[4:9] = k1, k2, 0.0, 0.0, k3
    camera = Camera("phone", "brown", SIZE_PX, params, np.zeros((9, 9)), "truth")
    photos, metas = [], []
    for i in range(n_photos):
        along = length * (i + 0.5) / n_photos
        eye = np.array([along + rng.normal(0, 300), -rng.uniform(1300, 2000), rng.uniform(700, 1200)])
        aim = np.array([along + rng.normal(0, 250), -250.0, 0.0])
        name = f"IMG_{i + 1:04d}"
        rotation, translation = look_at(eye, aim, rng.normal(0, 0.06) + (np.pi / 2 if i % 4 == 3 else 0.0))
        photos.append(PhotoPose(name, camera.camera_id, rotation, translation, 0.0))
        metas.append(PhotoMeta(name, Path(f"{name}.jpg"), SIZE_PX, camera_id=camera.camera_id, focal35_mm=26.0))
    truth = hand_made_network([camera], photos, bodies, targets)
    sightings = {}
    for photo in photos:
        eye = -photo.rotation.T @ photo.translation_mm
        ids: list[str] = []
        numbers, uvs = [], []
        for name, xyz in ((n, p.T) for n, p in points.items()):
            if np.linalg.norm(xyz.mean(axis=0) - eye) > FAR_MM:
                continue
            with np.errstate(invalid="ignore"):
                uv = project(truth, photo.photo_id, xyz).uv_px
                ok = np.flatnonzero(np.all((uv > 15) & (uv < np.array(SIZE_PX) - 16), axis=1))
            ids += [name] * len(ok)
            numbers.append(ok)
            uvs.append(uv[ok] + rng.normal(0, SIGMA_PX, (len(ok), 2)))
        n = np.concatenate(numbers).astype(np.int64)
        sightings[photo.photo_id] = Sightings(
            photo.photo_id, tuple(ids), n, np.vstack(uvs), np.broadcast_to(np.eye(2) * SIGMA_PX**2, (len(n), 2, 2)).copy()
        )
    ends = [("S01", "S12"), ("S12", "S30"), ("S30", "S48"), ("S48", "S60")]
    lengths: list[KnownLength] = []
    for a, b in ends:
        true = float(np.linalg.norm(bodies[a].translation_mm - bodies[b].translation_mm))
        lengths.append(Tape(f"tape {a}-{b}", LengthEnd(a), LengthEnd(b), true, 0.7))
    return BigJob(tuple(metas), sightings, targets, tuple(lengths))
