"""Score test for strips that came loose between photos: their points are free, so all of them together tell.

The free points of a strip follow whatever the photos say. Where the strip lay elsewhere in some of them, shifted as a whole or
from one end, its sightings there leave residuals that go together: with A their derivative by a shift and by a shift that grows
along the strip, v the residuals and Q the covariance of adjusted residuals, the drop in chi-squared by letting it lie elsewhere
there is ``(A^T v)^T (A^T Q A)^-1 A^T v`` (score test, as in :mod:`~phototemplate.network.stability.displacement_test`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.stability.displacement_test import Displacement, Score, best_displacement, ranked, taken_up


@dataclass(frozen=True)
class _StripScore(Score):
    """What one photo says of a strip's six parameters: a shift, and a shift that is 1 at one end and -1 at the other; the
    shared parameters with the points following."""

    by_points: Array
    """(6, M, 3) coupling to the free points"""


def strip_displacements(run: Adjustment) -> list[Displacement]:
    """The best grouping of every strip's photos, strongest first; none of strips that one photo or none shows."""
    cov = bundle.covariance(run.problem, run.solved.normal)
    out = []
    for strip, own in _scores(run, cov).items():
        shared, points = np.array([v.by_shared for v in own]), np.array([v.by_points for v in own])
        seen = points.any(axis=(0, 1, 3))
        following = np.einsum("vami,mij->vamj", points[:, :, seen], cov.point_noise[seen])
        given_way = taken_up(shared, cov.shared)
        given_way += np.einsum("vami,wbmi->vwab", following, points[:, :, seen], optimize=True)
        found = best_displacement(strip, own, given_way, constants.LEAST_OF_STRIP, _visible)
        out += [found] if found is not None else []
    return ranked(run, out)


def _visible(move: Array) -> float:
    return max(float(np.linalg.norm(move[:3] + end * move[3:])) for end in (-1.0, 1.0))


def _scores(run: Adjustment, cov: bundle.Covariance) -> dict[str, list[_StripScore]]:
    problem, linear = run.problem, run.solved.linear
    s, place = problem.sightings, problem.layout.point
    root = np.sqrt(run.solved.weight)
    names = np.array([t for t, _ in problem.point_ids])
    followed = {names[problem.schur_points[m[0]]]: columns for columns, m in problem.point_blocks}
    out: dict[str, list[_StripScore]] = {}
    for rows, photo, key in problem.groups:
        if key != -1:
            continue
        columns, local = problem.group_columns(photo, key)
        for strip in np.unique(names[s.point[rows]]):
            mine = rows.start + np.nonzero((names[s.point[rows]] == strip) & run.used[rows])[0]
            if len(mine) < constants.LEAST_OF_BODY:
                continue
            by_point = linear.jac[mine][:, :, place] * root[mine, None, None]
            x = run.targets[strip].points_mm[[problem.point_ids[m][1] for m in s.point[mine]], 0]
            along = x / np.abs(run.targets[strip].points_mm[:, 0]).max()
            design = np.concatenate([by_point, along[:, None, None] * by_point], axis=2)
            index = problem.schur_index[s.point[mine]]
            shared = np.zeros((len(mine), 2, problem.size))
            shared[:, :, followed[strip]] = -np.einsum("nri,kni->nrk", by_point, cov.gain[followed[strip][:, None], index])
            shared[:, :, columns] += linear.jac[mine][:, :, local] * root[mine, None, None]
            by_points = np.zeros((design.shape[2], len(problem.schur_points), 3))
            np.add.at(by_points.transpose(1, 0, 2), index, design.transpose(0, 2, 1) @ by_point)
            out.setdefault(str(strip), []).append(
                _StripScore(
                    photo, len(mine), np.einsum("nri,nrj->ij", design, design),
                    np.einsum("nri,nr->i", design, linear.white[mine] * root[mine, None]),
                    np.einsum("nri,nrk->ik", design, shared), by_points,
                )
            )  # fmt: skip
    return out


def left_out(run: Adjustment, one: Displacement) -> Adjustment:
    """Without a strip's sightings in the photos in which it lay elsewhere."""
    problem, s = run.problem, run.problem.sightings
    strip = np.array([t == one.target for t, _ in problem.point_ids])
    rows = (s.point >= 0) & strip[np.maximum(s.point, 0)] & np.isin(s.photo, one.photos)
    loose = {**run.loose, **{(one.target, photo): one.visible_mm for photo in one.photos}}
    return replace(run.rejecting(rows), loose=loose)


def strip_findings(run: Adjustment) -> Adjustment:
    """Say which strips lay elsewhere in some photos, and which in no two alike: most of their other sightings were left out
    one by one."""
    problem, s = run.problem, run.problem.sightings
    names = np.array([t for t, _ in problem.point_ids])
    for strip in sorted(set(names.tolist())):
        own = (s.point >= 0) & (names[np.maximum(s.point, 0)] == strip)
        share = {int(p): float(np.mean(~run.used[own & (s.photo == p)])) for p in np.unique(s.photo[own])}
        moved = {photo: mm for (t, photo), mm in run.loose.items() if t == strip}
        others = [v for p, v in share.items() if p not in moved]
        restless = len(share) >= constants.LEAST_RESTLESS and np.mean(others or [1.0]) > constants.RESTLESS_SHARE
        if moved or restless:
            where = [p for p, v in share.items() if p in moved or v > constants.RESTLESS_SHARE]
            run = run.saying(
                "strip-elsewhere", strip, shift_mm=None if restless else max(moved.values()),
                photos=[problem.photo_ids[p] for p in where],
            )  # fmt: skip
    return run
