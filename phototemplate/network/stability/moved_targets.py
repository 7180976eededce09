"""Does a target lie where the other photos say? Misplaced targets, sheets moved between photos, numbers seen twice.

Each test takes an :class:`Adjustment` and gives one that leaves out what lies elsewhere, or the same where nothing does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.stability.displaced_positions import fit_place, places_of
from phototemplate.network.stability.displacement_test import Displacement, sheet_displacements


def reject_misplaced(run: Adjustment) -> Adjustment:
    """Before anything is adjusted: leave out views of bodies that lie quite elsewhere than the others say."""
    problem, gone = run.problem, []
    linear = bundle.linearise(problem, run.state, jacobian=False)
    for rows, photo, key in problem.groups:
        if key < 0:
            continue
        f = run.state.lenses[problem.photo_camera[photo]][0]
        off = np.linalg.norm(linear.residual[rows], axis=1) / f
        if np.median(off) > constants.MISPLACED or np.any(linear.depth[rows] <= 0):
            gone.append((key, photo))
    for body, photo in gone:
        run = leave_out(run, body, [photo])
    return run


def moves(run: Adjustment) -> list[Displacement]:
    """Bodies that fit better as lying in two places, visibly apart: the strongest with the cameras free, and the strongest of
    those whose moves leave large residuals.

    Small moves are found with the cameras free (:mod:`~phototemplate.network.stability.displacement_test`), far ones, which
    are not linear, with the cameras held.
    """
    level = run.settings.moved_evidence
    near = [d for d in sheet_displacements(run)[:1] if d.gain > level and d.visible_mm > constants.SAME_MM]
    return near or _far_moves(run)


def leave_out(run: Adjustment, body: int, photos: Sequence[int]) -> Adjustment:
    """Without a body's sightings in photos in which it lay elsewhere."""
    s = run.problem.sightings
    moved = run.moved | {(body, photo) for photo in photos}
    return replace(run.rejecting((s.body == body) & np.isin(s.photo, photos)), moved=moved)


def _far_moves(run: Adjustment) -> list[Displacement]:
    """The same for moves that leave large residuals: each photo alone says where it wants the body, cameras held.

    If two groups of photos, each with its own place, fit far better than one, and the places differ visibly in the sheet's
    own plane, the sheet moved.
    """
    problem, noise = run.problem, run.noise_by_photo()
    size = np.linalg.norm(run.solved.linear.white, axis=1) / noise[problem.sightings.photo]
    views: dict[int, list[tuple[int, float]]] = {}
    for rows, photo, key in problem.groups:
        used = run.used[rows]
        if key >= 0 and used.sum() >= 3:
            views.setdefault(key, []).append((photo, float(np.median(size[rows][used]))))
    systems = {
        body: [_system(run, body, photo, rest) for photo, rest in own]
        for body, own in views.items()
        if len(own) >= 2 and max(rest for _, rest in own) >= constants.SUSPICIOUS
    }
    best: Displacement | None = None
    for body, entries in systems.items():
        hs, gs = np.array([e[1] for e in entries]), np.array([e[2] for e in entries])
        own = np.linalg.solve(hs, gs[:, :, None])[:, :, 0]
        one = _gain(hs.sum(0), gs.sum(0))
        for a in range(len(entries)):
            for b in range(a):
                places = np.array([own[a], own[b]])
                group = np.zeros(len(entries), dtype=int)
                for _ in range(10):
                    fit = np.array([[0.5 * d @ hs[i] @ d - gs[i] @ d for d in places] for i in range(len(entries))])
                    new = np.argmin(fit, axis=1)
                    if len(set(new)) < 2:
                        break
                    places = np.array([np.linalg.solve(hs[new == c].sum(0), gs[new == c].sum(0)) for c in (0, 1)])
                    if np.array_equal(new, group):
                        break
                    group = new
                if len(set(group)) < 2:
                    continue
                split = [_gain(hs[group == c].sum(0), gs[group == c].sum(0)) for c in (0, 1)]
                apart: Array = places[1] - places[0]
                size = run.half_size_mm(body)
                visible = np.hypot(*apart[1:]) + abs(apart[0]) * size
                gain = 2 * (sum(split) - one)
                counts = [sum(e[3] for e, c in zip(entries, group, strict=True) if c == k) for k in (0, 1)]
                enough = gain > constants.FAR_MOVE_EVIDENCE and min(counts) >= 4
                if enough and visible > constants.SAME_MM and (best is None or gain > best.gain):
                    small = int(np.argmin(counts))
                    photos = tuple(e[0] for e, c in zip(entries, group, strict=True) if c == small)
                    best = Displacement(problem.body_ids[body], photos, gain, float(visible))
    return [best] if best is not None else []


def _system(run: Adjustment, body: int, photo: int, rest: float) -> tuple[int, Array, Array, int]:
    """What one photo alone says of a body's turn and shift: photo, ``H`` and ``g`` of the cost ``d H d / 2 - g d``, and how
    many of its sightings fit in the place that is best for it. ``rest`` is the median of what remains where the body is now.
    """
    place = fit_place(run, body, (photo,), used=True)
    if not np.isfinite(place.slide).all():
        return photo, np.eye(3) * 1e-9, np.zeros(3), 0
    size = max(run.half_size_mm(body), constants.LEAST_SIZE_MM)
    h = np.asarray(np.linalg.inv(place.noise_cov), dtype=np.float64)
    # A weak pull to zero keeps views with few points from wandering.
    pulled = h + np.diag(1 / np.array([1.0, 4 * size, 4 * size]) ** 2)
    # What was moved fits in its new place; what fits nowhere is no evidence of a move.
    limit = max(constants.FITS_ELSEWHERE, constants.FITS_ELSEWHERE_SHARE * rest)
    fits = np.mean(place.left < limit) >= constants.MOST_FIT
    return photo, pulled, h @ place.slide, len(place.left) if fits else 0


def _gain(h: Array, g: Array) -> float:
    return float(0.5 * g @ np.linalg.solve(h, g))


def moved_findings(run: Adjustment, shared_cov: Array) -> Adjustment:
    """Say which sheets moved, by how much and how well that is known, in which photos."""
    problem = run.problem
    for body in sorted({b for b, _ in run.moved}):
        places = places_of(run, body, sorted(p for b, p in run.moved if b == body), shared_cov)
        name = problem.body_ids[body]
        near = [place for place in places if place.shift_mm(shared_cov)[0] < constants.FAR_MM]
        far = [problem.photo_ids[p] for place in places if place not in near for p in place.photos]
        for place in near:
            size, u = place.shift_mm(shared_cov)
            turn = float(np.degrees(abs(place.slide[0])))
            run = run.saying(
                "sheet-moved", name, shift_mm=size, U_mm=2 * u, turn_deg=turn if turn >= constants.TURN_TOLD_DEG else None,
                photos=[problem.photo_ids[p] for p in place.photos],
            )  # fmt: skip
        if far:
            run = run.saying("target-elsewhere", name, photos=far)
    return run
