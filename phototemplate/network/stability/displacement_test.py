"""Score test for targets that lay elsewhere in some photos, cameras free: moves so small or so badly placed that the network
bends.

A target that moved by millimetres between photos which share few others does not stand out: cameras, lens and neighbours
give way, and residuals rise a little everywhere. What gives way is in the covariance: with the gradient s of half the sum of
squares by the target's displacement in some of its photos, their own information H and their coupling X to what else is
adjusted, with covariance C, the drop in chi-squared by letting it lie elsewhere there is ``s^T (H - X C X^T)^-1 s`` (score
test; in geodesy the test of an additional parameter, Baarda 1968). A sheet turns and shifts in its plane; how a strip comes
loose stands in :mod:`~phototemplate.network.stability.loose_strips`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.stability.displaced_positions import slide_jacobian


@dataclass(frozen=True)
class Displacement:
    """A target that seems to lie elsewhere in some photos."""

    target: str
    photos: tuple[int, ...]
    """Those with fewer sightings of it"""
    gain: float
    """Drop in chi-squared at unit noise"""
    visible_mm: float
    """How far its points move at most"""


@dataclass(frozen=True)
class Score:
    """What one photo says of a target's displacement, q parameters."""

    photo: int
    count: int
    """Sightings of it"""
    information: Array
    """(q, q)"""
    score: Array
    """(q,)"""
    by_shared: Array
    """(q, K) coupling to the shared parameters"""


def sheet_displacements(run: Adjustment) -> list[Displacement]:
    """The best grouping of every body's photos, strongest first; nothing of bodies that one photo or none shows."""
    problem, linear = run.problem, run.solved.linear
    shared = bundle.covariance(problem, run.solved.normal).shared
    root = np.sqrt(run.solved.weight)
    scores: dict[int, list[Score]] = {}
    for rows, photo, key in problem.groups:
        count = int(np.count_nonzero(run.used[rows]))
        if key < 0 or count < constants.LEAST_OF_BODY:
            continue
        jac = linear.jac[rows] * root[rows, None, None]
        j = slide_jacobian(run, key, jac)
        columns, local = problem.group_columns(photo, key)
        coupling = np.zeros((3, problem.size))
        coupling[:, columns] = j.T @ jac[:, :, local].reshape(-1, len(local))
        white = (linear.white[rows] * root[rows, None]).ravel()
        scores.setdefault(key, []).append(Score(photo, count, j.T @ j, j.T @ white, coupling))
    out = []
    for body, own in scores.items():
        size = max(run.half_size_mm(body), constants.LEAST_SIZE_MM)
        x = np.array([v.by_shared for v in own])
        given_way = taken_up(x, shared)

        def visible(slide: Array, size: float = size) -> float:
            return float(np.hypot(*slide[1:]) + abs(slide[0]) * size)

        found = best_displacement(problem.body_ids[body], own, given_way, constants.LEAST_MOVED, visible)
        out += [found] if found is not None else []
    return ranked(run, out)


def taken_up(by_shared: Array, shared: Array) -> Array:
    """(V, V, q, q) ``X_v C X_w^T`` of every two of some couplings X (V, q, K) to the shared parameters of covariance C (K, K),
    of which a target and its photos have few."""
    v, q, _ = by_shared.shape
    own = np.flatnonzero(by_shared.any(axis=(0, 1)))
    rows = by_shared[:, :, own].reshape(v * q, -1)
    return np.ascontiguousarray((rows @ shared[np.ix_(own, own)] @ rows.T).reshape(v, q, v, q).transpose(0, 2, 1, 3))


def ranked(run: Adjustment, found: Sequence[Displacement]) -> list[Displacement]:
    """Strongest first, their gains at the noise that the sightings show."""
    noise = run.noise()
    at_noise = [Displacement(d.target, d.photos, d.gain / noise**2, d.visible_mm) for d in found]
    return sorted(at_noise, key=lambda one: -one.gain)


def best_displacement(
    target: str, scores: Sequence[Score], given_way: Array, least: int, visible: Callable[[Array], float]
) -> Displacement | None:
    """The grouping of a target's photos that gains most, with ``least`` sightings or more in either group.

    ``given_way`` (V, V, q, q) is what the rest of the adjustment takes up of the displacement in one photo as seen from
    another, ``visible`` tells how far a displacement (q,) moves the target's points. Gains at unit weight.
    """
    n = len(scores)
    best: Displacement | None = None
    for group in groupings(n):
        g = list(group)
        others = [i for i in range(n) if i not in group]
        if min(sum(scores[i].count for i in part) for part in (g, others)) < least:
            continue
        # In units of the photos' own knowledge: directions of which next to nothing is left are checked by no other photo.
        information = np.sum([scores[i].information for i in g], axis=0)
        nothing = constants.LEAST_INFORMATION * np.eye(len(information))
        unit = np.linalg.inv(np.linalg.cholesky(information + nothing))
        left, way = np.linalg.eigh(
            np.eye(len(information)) - unit @ (given_way[np.ix_(g, g)].sum(axis=(0, 1)) + nothing) @ unit.T
        )
        known = left > constants.LEAST_CHECKED_MOVE
        score = way[:, known].T @ unit @ np.sum([scores[i].score for i in g], axis=0)
        gain = float(score @ (score / left[known]))
        if best is None or gain > best.gain:
            move = unit.T @ way[:, known] @ (score / left[known])
            fewer = min(g, others, key=lambda part: (sum(scores[i].count for i in part), part))
            best = Displacement(target, tuple(scores[i].photo for i in fewer), gain, visible(move))
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
