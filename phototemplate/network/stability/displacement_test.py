"""Score test for targets that moved between photos, cameras free: moves so small or so badly placed that the network bends.

A target that moved by millimetres between photos which share few others does not stand out: cameras, lens and neighbours
give way, and residuals rise a little everywhere. What gives way is in the covariance: with the gradient s of half the sum of
squares by a turn and shift of the target in some of its photos, their own information H and their coupling X to the shared
parameters with covariance C, the drop in chi-squared by letting it lie elsewhere there is ``s^T (H - X C X^T)^-1 s``
(score test; in geodesy the test of an additional parameter, Baarda 1968).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.stability.displaced_positions import slide_jacobian


@dataclass(frozen=True)
class Slide:
    """A target that seems to lie elsewhere in some photos."""

    body: int
    photos: tuple[int, ...]
    """Those with fewer sightings of it"""
    gain: float
    """Drop in chi-squared at unit noise"""
    visible_mm: float
    """How far its points move at most"""


@dataclass(frozen=True)
class _View:
    photo: int
    count: int
    h: Array
    """(3, 3)"""
    s: Array
    """(3,)"""
    x: Array
    """(3, K)"""


def slides(run: Adjustment) -> list[Slide]:
    """The best grouping of every body's photos, strongest first; nothing of bodies that one photo or none shows."""
    problem, linear, noise = run.problem, run.solved.linear, run.noise()
    shared = bundle.covariance(problem, run.solved.normal).shared
    root = np.sqrt(run.solved.weight)
    views: dict[int, list[_View]] = {}
    for rows, photo, key in problem.groups:
        count = int(np.count_nonzero(run.used[rows]))
        if key < 0 or count < 3:
            continue
        jac = linear.jac[rows] * root[rows, None, None]
        j = slide_jacobian(run, key, jac)
        columns, local = problem.group_columns(photo, key)
        coupling = np.zeros((3, problem.size))
        coupling[:, columns] = j.T @ jac[:, :, local].reshape(-1, len(local))
        white = (linear.white[rows] * root[rows, None]).ravel()
        views.setdefault(key, []).append(_View(photo, count, j.T @ j, j.T @ white, coupling))
    out = []
    for body, own in views.items():
        size = max(run.half_size_mm(body), constants.LEAST_SIZE_MM)
        found = _best(body, own, shared, size, noise)
        if found is not None:
            out.append(found)
    return sorted(out, key=lambda slide: -slide.gain)


def _best(body: int, views: list[_View], shared: Array, size: float, noise: float) -> Slide | None:
    n = len(views)
    x = np.array([v.x for v in views])
    given_way = np.einsum("aik,kl,bjl->abij", x, shared, x, optimize=True)
    h, s = np.array([v.h for v in views]), np.array([v.s for v in views])
    best: Slide | None = None
    for group in groupings(n):
        g = list(group)
        others = [i for i in range(n) if i not in group]
        if min(sum(views[i].count for i in part) for part in (g, others)) < 4:
            continue
        # In units of the photos' own knowledge: directions of which next to nothing is left are checked by no other photo.
        unit = np.linalg.inv(np.linalg.cholesky(h[g].sum(axis=0) + constants.LEAST_INFORMATION))
        left, way = np.linalg.eigh(
            np.eye(3) - unit @ (given_way[np.ix_(g, g)].sum(axis=(0, 1)) + constants.LEAST_INFORMATION) @ unit.T
        )
        known = left > constants.LEAST_CHECKED_MOVE
        score = way[:, known].T @ unit @ s[g].sum(axis=0)
        slide = unit.T @ way[:, known] @ (score / left[known])
        gain = float(score @ (score / left[known])) / noise**2
        if best is None or gain > best.gain:
            visible = float(np.hypot(*slide[1:]) + abs(slide[0]) * size)
            fewer = min(g, others, key=lambda part: (sum(views[i].count for i in part), part))
            best = Slide(body, tuple(views[i].photo for i in fewer), gain, visible)
    return best


def groupings(n: int) -> Iterator[tuple[int, ...]]:
    """Ways to part n photos in two, one part of each."""
    if n <= constants.ALL_GROUPINGS:
        for count in range(1, n // 2 + 1):
            for group in combinations(range(n), count):
                if 2 * count < n or 0 in group:
                    yield group
        return
    yield from ((i,) for i in range(n))
    yield from (tuple(range(i)) for i in range(2, n - 1))
