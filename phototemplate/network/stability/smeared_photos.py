"""Photos whose corners scatter more than their sharpness says, in one direction more than across it: the camera moved.

With v the mean square of a photo's residuals along one direction over the stated noise, n of them, giving that direction a
variance of its own raises twice the logarithm of the likelihood by ``n (v - 1 - log v)``. The direction is that of the largest
v, and v is taken from the median, so that a sheet that moved in the photo, or a wrong sighting, is not taken for a smear.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment.adjustment_state import Adjustment


@dataclass(frozen=True)
class Smear:
    """A photo that seems smeared."""

    photo: int
    gain: float
    """Twice the rise of the log-likelihood"""
    direction_rad: float
    """Of the larger scatter, in the stored picture"""
    ratio: tuple[float, float]
    """Standard deviations along it and across it, over the stated ones; 1 at least"""


def smears(run: Adjustment) -> list[Smear]:
    """The photo that gains most by it, if its scatter differs by direction more than standard deviations are stated to; a photo
    that is noisy all round gets a variance of its own later (``data_snooping.estimate_variance``)."""
    problem, noise = run.problem, run.noise()
    found: Smear | None = None
    for photo in range(len(problem.photo_ids)):
        rows = run.used & (problem.sightings.photo == photo)
        if photo in run.smeared or rows.sum() < constants.LEAST_FOR_NOISE:
            continue
        white = run.solved.linear.white[rows] / noise
        inside = white[np.linalg.norm(white, axis=1) <= constants.SMEAR_CORE * np.median(np.linalg.norm(white, axis=1))]
        _, way = np.linalg.eigh(inside.T @ inside)
        v = np.maximum((np.median(np.abs(white @ way), axis=0) / constants.MEDIAN_OF_NORMAL) ** 2, 1.0)
        gain = float(len(white) * np.sum(v - 1.0 - np.log(v)))
        if v.max() / v.min() > constants.FIT_PART_TOLERABLE and (found is None or gain > found.gain):
            along = int(np.argmax(v))
            direction = float(np.arctan2(way[1, along], way[0, along]))
            found = Smear(photo, gain, direction, (float(np.sqrt(v[along])), float(np.sqrt(v[1 - along]))))
    return [found] if found is not None else []


def reweighted(run: Adjustment, one: Smear) -> Adjustment:
    """With the photo's sightings weighted by their scatter along and across the smear, and with that said."""
    axes: Array = np.array([[np.cos(one.direction_rad), np.sin(one.direction_rad)],
                            [-np.sin(one.direction_rad), np.cos(one.direction_rad)]])  # fmt: skip
    less = axes.T @ np.diag(1.0 / np.array(one.ratio)) @ axes
    rows = run.problem.sightings.photo == one.photo
    unit = run.unit_root.copy()
    unit[rows] = less @ unit[rows]
    root = run.problem.sightings.root.copy()
    root[rows] = less @ root[rows]
    photo_id = run.problem.photo_ids[one.photo]
    angle = float(np.degrees(one.direction_rad)) % 180.0
    said = run.saying("photo-smeared-corners", photo_id, larger_ratio=one.ratio[0], direction_deg=angle)
    return replace(said, unit_root=unit, problem=run.problem.weighted(root), smeared=run.smeared | {one.photo})
