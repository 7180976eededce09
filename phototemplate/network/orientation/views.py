"""Sightings sorted by photo and target, and their stacking into an adjustment problem."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array, IntArray, Sightings, Target
from phototemplate.network.adjustment.problem import Problem, SightingTable
from phototemplate.network.constants import CORNER_DETERMINANT, FLAT_SPREAD
from phototemplate.network.photo_camera import Sensor


@dataclass(frozen=True)
class TargetView:
    """One target in one photo."""

    photo_id: str
    target_id: str
    rows: IntArray
    """(n,) places in the photo's sightings"""
    point_ids: IntArray
    local: Array
    """(n, 3) nominal"""
    uv: Array
    """(n, 2)"""
    cov: Array
    """(n, 2, 2)"""

    @property
    def flat(self) -> bool:
        """Whether the points can orient a photo: at least four, not on one line."""
        if len(self.uv) < 4:
            return False
        s = np.linalg.svd(self.local - self.local.mean(axis=0), compute_uv=False)
        return bool(s[1] > FLAT_SPREAD * s[0])


def views_of(
    sightings: Sequence[Sightings], targets: Mapping[str, Target], extra_px: Mapping[str, float] | None = None
) -> dict[str, dict[str, TargetView]]:
    """Views by photo and target; sightings of unknown targets are left out, repeated ones keep the first.

    ``extra_px`` per target is added in quadrature to the standard deviation of where its edges are seen (:func:`_of_edges`).
    """
    more = extra_px or {}
    out: dict[str, dict[str, TargetView]] = {}
    for photo in sightings:
        assert len(photo.target_ids) == len(photo.point_ids) == len(photo.uv_px) == len(photo.cov_px2)
        views: dict[str, TargetView] = {}
        ids = np.array(photo.target_ids, dtype=object)
        for target_id in dict.fromkeys(photo.target_ids):
            target = targets.get(target_id)
            if target is None:
                continue
            rows = np.nonzero(ids == target_id)[0]
            numbers = np.asarray(photo.point_ids, dtype=np.int64)[rows]
            _, first = np.unique(numbers, return_index=True)
            rows, numbers = rows[first], numbers[first]
            good = (numbers >= 0) & (numbers < len(target.points_mm)) & np.isfinite(photo.uv_px[rows]).all(axis=1)
            rows, numbers = rows[good], numbers[good]
            if len(rows):
                views[target_id] = TargetView(
                    photo.photo_id,
                    target_id,
                    rows.astype(np.int64),
                    numbers,
                    target.points_mm[numbers],
                    np.asarray(photo.uv_px, dtype=np.float64)[rows],
                    np.asarray(photo.cov_px2, dtype=np.float64)[rows]
                    + more.get(target_id, 0.0) ** 2 * _of_edges(photo.uv_px[rows], target),
                )
        out[photo.photo_id] = views
    return out


def _of_edges(uv: Array, target: Target) -> Array:
    """(n, 2, 2) covariance of corners whose edges are shifted by 1 px each, n corners of a plain marker (n, 2).

    A corner is where two edges meet: seen from the side they meet at a flat or at a sharp angle, and a small shift of an
    edge moves the corner far. With unit normals N (2, 2) of its edges it is ``(N^T N)^-1``; the unit matrix where they are
    at right angles, and where the outline is not complete.
    """
    out = np.tile(np.eye(2), (len(uv), 1, 1))
    if len(uv) != 4 or len(target.points_mm) != 4:
        return out
    along = np.roll(uv, -1, axis=0) - uv
    along = along / np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    for k in range(4):
        normals = np.array([[-d[1], d[0]] for d in (along[k - 1], along[k])])
        if abs(np.linalg.det(normals)) > CORNER_DETERMINANT:
            out[k] = np.linalg.inv(normals.T @ normals)
    return out


@dataclass(frozen=True)
class Stacked:
    """A problem and where each of its sightings came from."""

    problem: Problem
    row: IntArray
    """(N,) place in the photo's Sightings"""


def stack(
    views: Mapping[str, Mapping[str, TargetView]],
    photo_ids: Sequence[str],
    cameras: Sequence[tuple[str, str, tuple[int, int]]],
    camera_of: Mapping[str, str],
    body_ids: Sequence[str],
    batch_of: Mapping[str, str],
    point_ids: Sequence[tuple[str, int]],
    extra_px: float = 0.0,
) -> Stacked:
    """Stack the views of some photos, bodies and free points; ``cameras`` are (id, model, size_px).

    ``extra_px`` is added in quadrature to every sighting's standard deviation.
    """
    body_index = {t: b for b, t in enumerate(body_ids)}
    point_index = {p: m for m, p in enumerate(point_ids)}
    camera_index = {c: i for i, (c, _, _) in enumerate(cameras)}
    photo, body, point, row = [], [], [], []
    local, uv, cov = [], [], []
    for i, photo_id in enumerate(photo_ids):
        own = views.get(photo_id, {})
        on_bodies = sorted((t for t in own if t in body_index), key=lambda t: body_index[t])
        for t in on_bodies:
            v, n = own[t], len(own[t].uv)
            photo += [i] * n
            body += [body_index[t]] * n
            point += [-1] * n
            row += list(v.rows)
            local.append(v.local)
            uv.append(v.uv)
            cov.append(v.cov)
        loose = []
        for t, v in own.items():
            if t not in body_index:
                loose += [(point_index[t, int(k)], v, j) for j, k in enumerate(v.point_ids) if (t, int(k)) in point_index]
        for m, v, j in sorted(loose, key=lambda entry: entry[0]):
            photo.append(i)
            body.append(-1)
            point.append(m)
            row.append(int(v.rows[j]))
            local.append(np.zeros((1, 3)))
            uv.append(v.uv[j : j + 1])
            cov.append(v.cov[j : j + 1])
    batches = list(dict.fromkeys(batch_of[t] for t in body_ids))
    covs = np.concatenate([np.zeros((0, 2, 2)), *cov]) + extra_px**2 * np.eye(2)
    lower = np.linalg.cholesky(covs)
    # root^T root = cov^-1 with the inverse of the Cholesky factor
    root = np.linalg.inv(lower)
    problem = Problem(
        tuple(c for c, _, _ in cameras),
        tuple(m for _, m, _ in cameras),
        tuple(Sensor(size) for _, _, size in cameras),
        tuple(photo_ids),
        np.array([camera_index[camera_of[p]] for p in photo_ids], dtype=np.int64),
        tuple(body_ids),
        np.array([batches.index(batch_of[t]) for t in body_ids], dtype=np.int64),
        tuple(batches),
        tuple(point_ids),
        SightingTable(
            np.array(photo, dtype=np.int64),
            np.array(body, dtype=np.int64),
            np.array(point, dtype=np.int64),
            np.concatenate([np.zeros((0, 3)), *local]),
            np.concatenate([np.zeros((0, 2)), *uv]),
            root,
        ),
    )
    return Stacked(problem, np.array(row, dtype=np.int64))
