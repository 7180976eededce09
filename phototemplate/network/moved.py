"""Does a target lie where the other photos say? Misplaced targets, sheets moved between photos, numbers seen twice.

Each test looks at one :class:`Run`, leaves out what lies elsewhere, and says whether another least-squares run is due.
"""

from __future__ import annotations

import numpy as np

from phototemplate.model import Array
from phototemplate.network import bundle
from phototemplate.network.places import Place, places_of
from phototemplate.network.run import Run

_FAR_MM = 300.0
"""A target found further off did not move: another one bears its number"""
_MISPLACED = 0.06
"""Distance in units of the principal distance beyond which a target is not where the others say"""


def reject_misplaced(run: Run) -> None:
    """Before anything is adjusted: leave out views of bodies that lie quite elsewhere than the others say."""
    problem = run.problem
    linear = bundle.linearise(problem, run.state, jacobian=False)
    for rows, photo, key in problem.groups:
        if key < 0:
            continue
        f = run.state.lenses[problem.photo_camera[photo]][0]
        off = np.linalg.norm(linear.residual[rows], axis=1) / f
        if np.median(off) > _MISPLACED or np.any(linear.depth[rows] <= 0):
            run.base[rows] = 0.0
            run.moved.add((key, photo))


def split_moved_sheet(run: Run, curl: dict[int, float], rival: float) -> bool:
    """Find the body that fits best as lying in two places; leave out its smaller group of photos.

    ``curl`` is the evidence that bodies are bent instead (:func:`curl_evidence`), ``rival`` the strongest evidence for
    something else; the stronger explanation wins.

    Each photo alone says by how much it wants the body shifted and turned (cameras held). If two groups of photos, each
    with its own shift, fit far better than one, and the places differ visibly in the sheet's own plane, the sheet moved.
    """
    problem, linear, noise = run.problem, run.solved.linear, run.noise_by_photo()
    systems: dict[int, list[tuple[int, Array, Array, int, float]]] = {}
    for rows, photo, key in problem.groups:
        used = run.base[rows] > 0
        if key < 0 or used.sum() < 3:
            continue
        j = _slide_jacobian(run, linear.jac[rows][used], key)
        # A weak pull to zero keeps views with few points from wandering.
        size = max(float(np.abs(problem.local[rows]).max()), 10.0)
        pull = np.diag(1 / np.array([1.0, 4 * size, 4 * size]) ** 2)
        w, j = linear.white[rows][used].ravel() / noise[photo], j / noise[photo]
        rest = float(np.median(np.linalg.norm(w.reshape(-1, 2), axis=1)))
        # A few wrong sightings are not a moved sheet: they stay wrong wherever this photo would like to have it.
        root = np.ones(len(w))
        for _ in range(4):
            h, g = (j * root[:, None]).T @ (j * root[:, None]) + pull, (j * root[:, None]).T @ (w * root)
            left = np.linalg.norm((w - j @ np.linalg.solve(h, g)).reshape(-1, 2), axis=1)
            root = np.repeat(np.sqrt(bundle.huber_weight(left, 3.0)), 2)
        # What was moved fits in its new place; what fits nowhere is no evidence of a move.
        # (Far moves are not linear: a seventh of what it was is a fit, too.)
        fitting = int(used.sum()) if np.mean(left < max(4.0, 0.15 * rest)) >= 0.75 else 0
        systems.setdefault(key, []).append((photo, h, g, fitting, rest))
    best: tuple[float, int, list[int], Array] | None = None
    for body, entries in systems.items():
        if len(entries) < 2 or max(e[4] for e in entries) < 2.5:
            continue
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
                size = float(np.abs(run.targets[problem.body_ids[body]].points_mm).max())
                visible = np.hypot(*apart[1:]) + abs(apart[0]) * size
                gain = 2 * (sum(split) - one)
                counts = [sum(e[3] for e, c in zip(entries, group, strict=True) if c == k) for k in (0, 1)]
                strong = gain > max(100.0, curl.get(body, 0.0), rival) and visible > 0.5 and min(counts) >= 4
                if strong and (best is None or gain > best[0]):
                    small = int(np.argmin(counts))
                    best = gain, body, [e[0] for e, c in zip(entries, group, strict=True) if c == small], apart
    if best is None:
        return False
    _, body, photos, apart = best
    for photo in photos:
        run.base[(problem.body == body) & (problem.photo == photo)] = 0.0
        run.moved.add((body, photo))
    return True


def _slide_jacobian(run: Run, jac: Array, body: int) -> Array:
    """(2n, 3) derivative of whitened sightings by a turn and a shift of a body within its own plane."""
    wide = run.problem.lens_width
    x, y, z = run.state.body_rotation[body].T
    turn = jac[:, :, wide + 7 : wide + 10] @ z
    shift = jac[:, :, wide + 10 : wide + 13] @ np.column_stack([x, y])
    return np.concatenate([turn[:, :, None], shift], axis=2).reshape(-1, 3)


def _gain(h: Array, g: Array) -> float:
    return float(0.5 * g @ np.linalg.solve(h, g))


def moved_findings(run: Run, shared_cov: Array) -> None:
    """Say which sheets moved, by how much and how well that is known, in which photos."""
    problem = run.problem
    for body in sorted({b for b, _ in run.moved}):
        places = places_of(run, body, sorted(p for b, p in run.moved if b == body), shared_cov)
        name = problem.body_ids[body]
        near = [place for place in places if place.shift_mm(shared_cov)[0] < _FAR_MM]
        far = [problem.photo_ids[p] for place in places if place not in near for p in place.photos]
        if near:
            run.add(
                "sheet-moved",
                name,
                f"{name} lies {' and '.join(_told(run, place, shared_cov) for place in near)} than in the other photos; it "
                "was left out there.",
                "Fix the sheets with tape and photograph again, or remove the photos from before the move.",
            )
        if far:
            run.add(
                "target-id-twice",
                name,
                f"{name} lies in quite another place in {', '.join(far)} than in the other photos; it was left out there.",
                "Use every printed number once; look whether a number was misread in that photo.",
            )


def _told(run: Run, place: Place, shared_cov: Array) -> str:
    """``1.8 mm (U 0.2 mm) and 5.4 degrees elsewhere in IMG_1, IMG_2``."""
    size, u = place.shift_mm(shared_cov)
    turn = np.degrees(abs(place.slide[0]))
    turned = f" and {turn:.1f} degrees" if turn >= 0.05 else ""
    where = ", ".join(run.problem.photo_ids[p] for p in place.photos)
    return f"{size:.1f} mm (U {max(2 * u, 0.1):.1f} mm){turned} elsewhere in {where}"
