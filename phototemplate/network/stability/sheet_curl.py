"""Does a sheet lie flat? Evidence that sheets are bent, and the release of their curl."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.stability.displacement_test import taken_up


def curl_evidence(run: Adjustment) -> dict[int, float]:
    """Drop in chi-squared (at unit noise) that releasing each flat body's curl would bring.

    By a score test; where that leaves it open, by a trial. (Robust weights take a bent sheet's worst points for wrong
    sightings, and a score test with these weights believes them.)
    """
    if run.settings.curl != "auto":
        return {}
    problem, linear, noise = run.problem, run.solved.linear, run.noise()
    cov = bundle.covariance(problem, run.solved.normal)
    weight = np.sqrt(run.solved.weight)[:, None, None]
    jac = linear.jac * weight
    white = linear.white * weight[:, :, 0]
    n = len(problem.body_ids)
    own, score, cross = np.zeros((n, 3, 3)), np.zeros((n, 3)), np.zeros((n, 3, problem.size))
    for rows, photo, key in problem.groups:
        if key < 0 or key in problem.curl:
            continue
        columns, local = problem.group_columns(photo, key)
        c = jac[rows, :, problem.layout.curl].reshape(-1, 3)
        own[key] += c.T @ c
        score[key] += c.T @ white[rows].ravel()
        cross[key][:, columns] += c.T @ jac[rows][:, :, local].reshape(-1, len(local))
    gains = {}
    for b in range(n):
        if b in problem.curl or not own[b].any():
            continue
        h = own[b] - taken_up(cross[b : b + 1], cov.shared)[0, 0] + np.eye(3) / run.priors.u_curl[b] ** 2
        curl = np.linalg.solve(h, score[b])
        if _rise(run, b, curl) > constants.CURL_RISE_MM:
            gains[b] = float(score[b] @ curl) / noise**2
            if constants.AGREE_CHI2 < gains[b] <= run.settings.curl_evidence:
                gains[b] = max(gains[b], _trial(run, b, noise))
    return gains


def _trial(run: Adjustment, body: int, noise: float) -> float:
    """Drop in chi-squared (at unit noise) by one body's curl, its sightings at full weight; 0 unless they all fit then.

    Also 0 where the trial does not converge: an explanation that cannot be worked out explains nothing.
    """
    own = run.problem.sightings.body == body
    weight = np.where(own, run.base, run.solved.weight) / noise**2
    trials = run, run.releasing_curl({body})
    before, after = (
        bundle.solve(t.problem, t.priors, t.state, weight, iterations=constants.TRIAL_ITERATIONS, tolerance=1e-1)
        for t in trials
    )
    if not (before.converged and after.converged):
        return 0.0
    left = np.linalg.norm(after.linear.white[own & run.used], axis=1) / noise
    return 2 * (before.cost - after.cost) if left.max(initial=0.0) < run.settings.reject else 0.0


def release_curl(run: Adjustment, gains: Mapping[int, float]) -> Adjustment:
    """Make the curl of bodies whose evidence is strong part of the adjustment."""
    released = {b for b, gain in gains.items() if gain > run.settings.curl_evidence}
    return run.releasing_curl(released) if released else run


def _rise(run: Adjustment, body: int, curl: Array) -> float:
    """Largest departure in mm of a body's points from their mean plane for a given curl."""
    p = run.targets[run.problem.body_ids[body]].points_mm
    z = 0.5 * curl[0] * p[:, 0] ** 2 + curl[1] * p[:, 0] * p[:, 1] + 0.5 * curl[2] * p[:, 1] ** 2
    design = np.column_stack([p[:, :2], np.ones(len(p))])
    return float(np.abs(z - design @ np.linalg.lstsq(design, z, rcond=None)[0]).max())


def curl_findings(run: Adjustment, cov: Array) -> Adjustment:
    """Say which sheets do not lie flat."""
    for b in sorted(run.problem.curl):
        columns = run.problem.columns.curl[b]
        curl = run.state.body_curl[b]
        rise = _rise(run, b, curl)
        strength = float(curl @ np.linalg.solve(cov[np.ix_(columns, columns)], curl))
        if rise > constants.CURL_TOLD_MM and strength > constants.AGREE_CHI2:
            name = run.problem.body_ids[b]
            run = run.saying("sheet-curled", name, rise_mm=rise)
    return run
