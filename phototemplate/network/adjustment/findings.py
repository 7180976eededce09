"""What is said about photos, geometry, lenses and rejected sightings once the network is adjusted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import sqrt

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array
from phototemplate.model.network import FitQuality
from phototemplate.network import constants
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.adjustment.bundle import Covariance
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.relative_poses import Start
from phototemplate.network.orientation.views import TargetView


def start_findings(views: Mapping[str, Mapping[str, TargetView]], start: Start) -> list[Finding]:
    """Say which photos could not be placed, and why."""
    out = []
    for p, own in views.items():
        if p in start.photos:
            continue
        flat = [t for t, v in own.items() if v.flat]
        if not flat:
            out.append(Finding("photo-no-view", p))
        elif not set(flat) & set(start.bodies):
            out.append(Finding("photo-unconnected", p, targets=flat))
        else:
            out.append(Finding("photo-misfit", p, targets=flat))
    return out


def geometry_findings(run: Adjustment, quality: FitQuality) -> list[Finding]:
    """Say when all photos look from about the same place."""
    if len(run.problem.photo_ids) < 2 or quality.apart_deg >= constants.NARROW_RAYS_DEG:
        return []
    return [Finding("weak-geometry", "photos", apart_deg=quality.apart_deg)]


def lens_findings(run: Adjustment, lenses: Sequence[LensStart], cov: Covariance) -> list[Finding]:
    """Whether a profile still fits. What the photos leave open is said by ``photo_gain.with_lens_findings``."""
    out = []
    starts = {s.camera_id: s for s in lenses}
    for c, camera_id in enumerate(run.problem.camera_ids):
        start = starts[camera_id]
        if start.source == "profile":
            change, before, after = _average_lens(run, c, start, cov)
            prior = np.sqrt(np.diag(before))
            rest = before - after
            value, vector = np.linalg.eigh((rest + rest.T) / 2 / np.outer(prior, prior))
            along = vector.T @ (change / prior)
            good = value > constants.LEAST_TOLD_BY_PHOTOS
            if float(np.sum(along[good] ** 2 / value[good])) > (
                constants.PROFILE_MISFIT * max(int(good.sum()), 1) + constants.PROFILE_MISFIT_BASE
            ):
                out.append(
                    Finding(
                        "lens-differs",
                        camera_id,
                        found_px=run.state.lenses[c][0],
                        profile_px=start.params[0],
                    )
                )
    return out


def _average_lens(run: Adjustment, c: int, start: LensStart, cov: Covariance) -> tuple[Array, Array, Array]:
    """Lens ``c`` with what the exposures did to it on average: change against the start (p,), covariance before and after."""
    problem, own = run.problem, run.problem.photo_camera == c
    n, f, lens = int(own.sum()), float(start.params[0]), problem.columns.lenses[c]
    by = np.zeros((len(lens), problem.size))
    by[np.arange(len(lens)), lens] = 1.0
    change, before = run.state.lenses[c] - start.params, start.cov.copy()
    sd = run.priors.exposure_sd[c, [0, 1, 1]] * [f, 1.0, 1.0]
    for k, (parameter, unit) in enumerate(((0, f), (2, 1.0), (3, 1.0))):  # focus on f, image shift on cx and cy
        columns = problem.columns.exposure[own, k]
        by[parameter, columns[columns >= 0]] += unit / n
        change[parameter] += unit * float(run.state.exposure[own, k].mean())
        before[parameter, parameter] += sd[k] ** 2 / n
    return change, before, by @ cov.shared @ by.T


def quality_findings(quality: FitQuality) -> list[Finding]:
    """Say where U was enlarged, and where none can be stated; one action for each outcome of the tests."""
    out = []
    if not quality.converged:
        out.append(Finding("adjustment-unconverged", "network"))
    worst = sorted((t for t in quality.tests if t.exceeded or t.hopeless), key=lambda t: -t.ratio)
    shown = [t.where for t in worst if t.where and t.name in ("photo", "target")]
    if quality.withheld and quality.converged:
        out.append(
            Finding(
                "residuals-unexplained",
                "network",
                larger_ratio=max([quality.birge, *(sqrt(t.ratio) for t in worst[:1])]),
                places=shown,
            )
        )
    elif quality.birge > sqrt(constants.FIT_TOLERABLE):
        out.append(Finding("residuals-larger", "network", larger_ratio=quality.birge, places=shown))
    return out


def rejection_findings(run: Adjustment) -> list[Finding]:
    """Say how many sightings of each photo were left out; those of moved sheets are said elsewhere."""
    problem, s = run.problem, run.problem.sightings
    out = []
    for i, photo_id in enumerate(problem.photo_ids):
        rows = s.photo == i
        moved = np.zeros(len(rows), dtype=bool)
        for body, photo in run.moved:
            moved |= (s.body == body) & (s.photo == photo)
        loose = {t for t, photo in run.loose if photo == i}
        moved |= rows & np.array([m >= 0 and problem.point_ids[m][0] in loose for m in s.point])
        bad = np.nonzero(rows & ~run.used & ~moved)[0]
        if len(bad):
            names = [problem.body_ids[s.body[k]] if s.body[k] >= 0 else problem.point_ids[s.point[k]][0] for k in bad]
            targets = list(dict.fromkeys(names))
            out.append(
                Finding(
                    "sighting-rejected",
                    photo_id,
                    n_rejected=len(bad),
                    n_sightings=int(rows.sum()),
                    n_of=[names.count(t) for t in targets],
                    target=targets,
                )
            )
    return out
