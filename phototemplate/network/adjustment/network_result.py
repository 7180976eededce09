"""The adjusted state as a :class:`~phototemplate.model.Network`: poses, points, residuals, covariance and its parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import scipy.linalg

from phototemplate.errors import Finding
from phototemplate.model import (
    Array,
    BodyPose,
    Camera,
    FreePoint,
    Influences,
    KnownLengthResult,
    Network,
    PhotoPose,
    PhotoResiduals,
    Target,
)
from phototemplate.model.network import FitQuality
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.adjustment.bundle import Covariance, Normal
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.views import Stacked, TargetView


def influences_of(names: tuple[str, ...], normal: Normal, cov: Covariance) -> Influences:
    """Joint covariance and its exact parts.

    With J_g the whitened Jacobian of the conditions of group g, part_g is ``(C J_g^T) (C J_g^T)^T``. As C is the inverse of the
    information of all groups together, what they leave of it is the part of the sightings.
    """
    c, by_group = cov.shared, dict[str, list[Array]]()
    for condition in normal.conditions:
        by_group.setdefault(condition.group, []).append(condition.root_of_part(c))
    sightings, parts = c.copy(), {"target sightings": c}
    for group, moved in by_group.items():
        triangle = scipy.linalg.blas.dsyrk(1.0, np.hstack(moved).T, trans=1, lower=1)
        parts[group] = triangle + np.tril(triangle, -1).T
        sightings -= parts[group]
    return Influences(names, c, parts | {"target sightings": sightings})


def assemble(
    run: Adjustment,
    stacked: Stacked,
    views: Mapping[str, Mapping[str, TargetView]],
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
    cov: Covariance,
    results: list[KnownLengthResult],
    scale_known: bool,
    findings: tuple[Finding, ...],
    quality: FitQuality,
) -> Network:
    """The network of what is still in use; the other arguments than ``run`` say where its sightings came from."""
    problem, state, solution, s = run.problem, run.state, run.solved, run.problem.sightings
    starts = {s.camera_id: s for s in lenses}
    cameras = {}
    for c, camera_id in enumerate(problem.camera_ids):
        columns = problem.columns.lenses[c]
        cameras[camera_id] = Camera(
            camera_id,
            problem.camera_models[c],
            starts[camera_id].size_px,
            state.lenses[c],
            cov.shared[np.ix_(columns, columns)],
            "adjusted",
            problem.sensors[c].distortion_moves,
            tuple(run.priors.exposure_sd[c].tolist()),
        )
    photos = {
        p: PhotoPose.with_exposure(
            p,
            problem.camera_ids[problem.photo_camera[i]],
            state.photo_rotation[i],
            state.photo_translation[i],
            state.exposure[i],
        )
        for i, p in enumerate(problem.photo_ids)
        if p not in run.lost_photos
    }
    bodies = {
        t: BodyPose(
            t,
            state.body_rotation[b],
            state.body_translation[b],
            (float(state.body_scale[b, 0]), float(state.body_scale[b, 1])),
            (float(state.body_curl[b, 0]), float(state.body_curl[b, 1]), float(state.body_curl[b, 2])),
        )
        for b, t in enumerate(problem.body_ids)
        if np.any((s.body == b) & run.used)
    }
    points = []
    for m, (t, k) in enumerate(problem.point_ids):
        n = int(np.count_nonzero(run.used & (s.point == m)))
        if n < 2:
            continue
        index = problem.schur_index[m]
        if index >= 0:
            noise, jac = cov.point_noise[index], -cov.gain[:, index].T
        else:
            noise, jac = np.zeros((3, 3)), np.zeros((3, problem.size))
            jac[np.arange(3), problem.columns.point[m]] = 1.0
        points.append(FreePoint(t, k, state.points[m], noise, np.ascontiguousarray(jac), n))
    residuals = []
    for i, p in enumerate(problem.photo_ids):
        rows = np.nonzero(s.photo == i)[0]
        body, point = s.body[rows], s.point[rows]
        ids = tuple(problem.body_ids[b] if b >= 0 else problem.point_ids[m][0] for b, m in zip(body, point, strict=True))
        number = {(t, int(row)): int(k) for t, v in views[p].items() for row, k in zip(v.rows, v.point_ids, strict=True)}
        numbers = np.array([number[t, int(r)] for t, r in zip(ids, stacked.row[rows], strict=True)], dtype=np.int64)
        residuals.append(PhotoResiduals(p, ids, numbers, s.uv[rows], solution.linear.residual[rows], run.base[rows].copy()))
    return Network(
        cameras,
        photos,
        bodies,
        tuple(points),
        {t: targets[t] for t in dict.fromkeys([*bodies, *(p.target_id for p in points)])},
        influences_of(problem.names, solution.normal, cov),
        tuple(residuals),
        tuple(results),
        scale_known,
        run.sigma0,
        run.redundancy,
        findings,
        quality,
    )
