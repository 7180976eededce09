"""From start values to an adjustment ready to run: unknowns, priors, free points, what is held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from phototemplate.model import Array, Target
from phototemplate.model.network import EXPOSURE
from phototemplate.network import constants
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.adjustment.bundle import State
from phototemplate.network.adjustment.pseudo_observations import Priors
from phototemplate.network.adjustment.variance_components import COMPONENTS, usual_sd
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.relative_poses import Start, triangulate
from phototemplate.network.orientation.views import Stacked, TargetView, stack
from phototemplate.numerics import lens
from phototemplate.settings import AdjustmentSettings


def set_up(
    views: Mapping[str, Mapping[str, TargetView]],
    camera_of: Mapping[str, str],
    start: Start,
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
    settings: AdjustmentSettings,
) -> tuple[Adjustment, Stacked]:
    """Problem, priors and start state of the photos and bodies in ``start``, and of the free points they see."""
    photo_ids = [p for p in views if p in start.photos]
    seen_by: dict[str, int] = {}
    for p in photo_ids:
        for t in views[p]:
            seen_by[t] = seen_by.get(t, 0) + 1
    body_ids = [t for t in sorted(targets) if targets[t].rigid and t in start.bodies and seen_by.get(t)]
    point_ids, xyz = _free_points(views, photo_ids, camera_of, start, lenses, targets)
    used = [s for s in lenses if any(camera_of[p] == s.camera_id for p in photo_ids)]
    stacked = stack(
        views,
        photo_ids,
        [(s.camera_id, s.model, s.size_px) for s in used],
        camera_of,
        body_ids,
        {t: targets[t].kind for t in body_ids},
        point_ids,
    )
    problem = stacked.problem
    b, q = len(body_ids), len(problem.batches)
    state = State.at_rest(
        [start.lenses[s.camera_id] for s in used],
        [start.photos[p] for p in photo_ids],
        [start.bodies[t] for t in body_ids],
        q,
        xyz,
    )
    sizes = tuple(sensor.size_px for sensor in problem.sensors)
    # Generous at the start, so that no sheet is blamed for what the camera did.
    sd = usual_sd(settings, sizes) * constants.START_SD
    adjusted = [COMPONENTS[part].places for part in np.flatnonzero(sd.any(axis=0))]
    sensors = tuple(replace(one, distortion_moves=s.distortion_moves) for one, s in zip(problem.sensors, used, strict=True))
    problem = replace(problem, sensors=sensors, exposure=tuple(c for places in adjusted for c in EXPOSURE[places]))
    half = np.array([max(float(np.linalg.norm(targets[t].points_mm, axis=1).max()), constants.LEAST_HALF_MM) for t in body_ids])
    priors = Priors(
        tuple(s.params for s in used),
        tuple(s.cov for s in used),
        sd,
        np.full((q, 2), settings.u_print_common),
        np.full((b, 2), settings.u_print_sheet),
        2 * settings.u_flat_mm / half**2,
        plane_sigma=(settings.plane_height_mm, settings.plane_tilt),
        exposure_known=np.array([s.exposure_sd for s in used]).reshape(-1, len(COMPONENTS)),
    )
    ones = np.ones(len(problem.sightings)), np.ones(len(photo_ids))
    run = Adjustment(problem, priors, state, ones[0], settings, targets, problem.sightings.root, ones[1])
    if settings.curl == "always":
        run = run.releasing_curl(set(range(b)))
    return run, stacked


def _free_points(
    views: Mapping[str, Mapping[str, TargetView]],
    photo_ids: Sequence[str],
    camera_of: Mapping[str, str],
    start: Start,
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
) -> tuple[list[tuple[str, int]], Array]:
    """Points of targets that are no rigid bodies, seen from two sides at least, and where their rays meet."""
    rays: dict[tuple[str, int], list[tuple[Array, Array]]] = {}
    models = {s.camera_id: s.model for s in lenses}
    for p in photo_ids:
        own = [v for t, v in views[p].items() if not targets[t].rigid]
        if not own:
            continue
        rotation, translation = start.photos[p]
        camera = camera_of[p]
        seen = lens.unproject(models[camera], start.lenses[camera], np.concatenate([v.uv for v in own])) @ rotation
        keys = [(v.target_id, int(k)) for v in own for k in v.point_ids]
        for key, direction in zip(keys, seen, strict=True):
            rays.setdefault(key, []).append((-rotation.T @ translation, direction))
    ids, xyz = [], []
    for key in sorted(rays):
        if len(rays[key]) >= 2:
            point, angle = triangulate(rays[key])
            front = all((point - eye) @ direction > 0 for eye, direction in rays[key])
            if angle > constants.MIN_RAY_ANGLE_RAD and front:
                ids.append(key)
                xyz.append(point)
    return ids, np.array(xyz).reshape(-1, 3)


def single_photo(run: Adjustment) -> Adjustment:
    """For a single photo: add the common plane of the sheets."""
    problem = run.problem
    if len(problem.photo_ids) > 1:
        return run
    sheets = tuple(b for b, t in enumerate(problem.body_ids) if run.targets[t].kind == "sheet")
    run = replace(run, problem=replace(problem, plane=len(sheets) >= 2), priors=replace(run.priors, plane_bodies=sheets))
    return run.saying("single-photo", problem.photo_ids[0])


def tie(run: Adjustment, groups: Sequence[Sequence[str]]) -> Adjustment:
    """Tie the lenses of groups of camera ids to each other; those not adjusted are passed over."""
    ids = {c: i for i, c in enumerate(run.problem.camera_ids)}
    ties = tuple((ids[a], ids[b]) for a, b in groups if a in ids and b in ids)
    return replace(run, priors=replace(run.priors, ties=ties))
