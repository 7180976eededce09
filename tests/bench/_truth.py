"""Truth files of rendered scenes against what was sighted; shared by benchmarks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from phototemplate.capture import design
from phototemplate.capture.constants import FLOOR_PX, SADDLE_CORRELATION
from phototemplate.model import Array, Sightings

READOUT_STEPS = 6
"""Each brings the row nearer to its own by the share of the picture that the camera turns by: less than a hundredth"""
GROSS = 6.0
"""Sightings this many stated sigma off in either direction are wrong, not imprecise."""


def project(camera: Mapping[str, Any], points_mm: Array) -> Array:
    """Pixels (N, 2) at which a camera of a truth file shows world points (N, 3), by ``cv2.projectPoints``.

    A moved lens group shifts the picture before the distortion. While the rows are read the camera turns about and moves along
    its own axes, in proportion to the row; the pose is that of the middle row, and the row is found by iteration.
    """
    matrix, dist = np.array(camera["matrix"]), np.array(camera["dist"])
    local = points_mm @ np.array(camera["rotation"]).T + camera["translation_mm"]
    shift = np.append(np.array(camera.get("decentre_px", (0.0, 0.0))) / (matrix[0, 0], matrix[1, 1]), 0.0)
    turn, way = np.radians(camera.get("readout_deg", (0.0,) * 3)), np.array(camera.get("readout_mm", (0.0,) * 3))
    row = np.zeros((len(local), 1))
    for _ in range(READOUT_STEPS):
        at = Rotation.from_rotvec(row * turn).apply(local - row * way)
        uv = cv2.projectPoints(at + at[:, 2:] * shift, np.zeros(3), np.zeros(3), matrix, dist)[0][:, 0]
        row = (uv[:, 1:] + 0.5) / camera["size_px"][1] - 0.5
    return np.asarray(uv)


def saddle_errors(sightings: Mapping[str, Sightings], truth: Mapping[str, Any]) -> tuple[Array, Array]:
    """Errors (N, 2) in px of the sheets' sightings about their true pixels, and their stated covariances (N, 2, 2).

    True pixels are those of the true cameras, sheets and print scales.
    """
    sheets = {s["id"]: s for s in truth["sheets"]}
    errors, covs = [np.zeros((0, 2))], [np.zeros((0, 2, 2))]
    for cam in truth["cameras"]:
        seen = sightings.get(cam["id"])
        rows = [i for i, t in enumerate(seen.target_ids) if t in sheets] if seen else []
        if seen is None or not rows:
            continue
        world = []
        for i in rows:
            s = sheets[seen.target_ids[i]]
            local = design.target(s["id"]).points_mm[seen.point_ids[i]] * [*s["print_scale"], 1.0]
            world.append(np.array(s["world_from_target"]) @ local + s["center_mm"])
        errors.append(seen.uv_px[rows] - project(cam, np.array(world)))
        covs.append(seen.cov_px2[rows])
    return np.vstack(errors), np.concatenate(covs)


def saddle_ratios(errors: Array, covs: Array) -> tuple[float, float, float]:
    """Of ``saddle_errors``: RMS over stated sigma, RMS over the Cramer-Rao bound of the same pictures, share of wrong ones.

    The bound is that of white noise of the strength found in each window: the stated covariance without the factor for noise
    that is correlated (sharpening, JPEG) and without its floor.
    """
    stated = np.einsum("ni,nij,nj->n", errors, np.linalg.inv(covs), errors) / 2
    good = stated < GROSS**2 / 2
    bound = (np.trace(covs[good], axis1=1, axis2=2) / 2 - FLOOR_PX**2) / SADDLE_CORRELATION
    rms = np.sqrt(np.mean(np.square(errors[good])))
    return float(np.sqrt(stated[good].mean())), float(rms / np.sqrt(bound.mean())), float(1 - good.mean())
