"""Known lengths in an adjustment: where they end, whether they agree, and what would go unnoticed (Baarda 1968)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phototemplate.model import KnownLengthResult
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment, solve
from phototemplate.network.adjustment.known_lengths import KnownLength, LengthEnd
from phototemplate.network.adjustment.pseudo_observations import Length, LengthPoint
from phototemplate.numerics import reliability as baarda

SCALE_CONVENTION = "scale convention"
"""Name of the pseudo length that fixes the size of a network without any"""


def _place(run: Adjustment, end: LengthEnd) -> LengthPoint | None:
    """Where a known length ends, None if that was not placed."""
    problem = run.problem
    if end.target_id in problem.body_ids:
        body = problem.body_ids.index(end.target_id)
        if not np.any(problem.sightings.body == body):
            return None
        points = run.targets[end.target_id].points_mm
        if end.point_id is not None:
            return LengthPoint(body, points[end.point_id]) if 0 <= end.point_id < len(points) else None
        return LengthPoint(body, np.asarray(end.local_mm or (0.0, 0.0, 0.0), dtype=np.float64))
    wanted = [
        m for m, (t, k) in enumerate(problem.point_ids) if t == end.target_id and (end.point_id is None or k == end.point_id)
    ]
    complete = (
        1 if end.point_id is not None else len(run.targets[end.target_id].points_mm) if end.target_id in run.targets else -1
    )
    if len(wanted) != complete or end.local_mm is not None:
        return None
    return LengthPoint(points=tuple(wanted))


def place_lengths(run: Adjustment, lengths: Sequence[KnownLength]) -> Adjustment:
    """With known lengths as observations; those whose ends were not placed become findings."""
    placed: list[Length] = []
    for known in lengths:
        start, end = _place(run, known.start), _place(run, known.end)
        if start is None or end is None:
            missing = known.start.target_id if start is None else known.end.target_id
            run = run.saying("length-unused", known.name, target=missing)
            continue
        value, u = known.at_photos(run.settings.thermometer_u_c)
        placed.append(Length(known.name, start, end, value, u))
    problem = run.problem
    if not placed and not problem.body_ids and len(problem.point_ids) >= 2:
        # Free points alone have no size: keep the distance of the two farthest at its start value.
        xyz = run.state.points
        a = int(np.argmax(np.linalg.norm(xyz - xyz.mean(axis=0), axis=1)))
        b = int(np.argmax(np.linalg.norm(xyz - xyz[a], axis=1)))
        size = float(np.linalg.norm(xyz[b] - xyz[a]))
        placed.append(Length(SCALE_CONVENTION, LengthPoint(points=(a,)), LengthPoint(points=(b,)), size, 1e-5 * size))
    ends = {m for length in placed for place in (length.start, length.end) for m in place.points}
    problem = replace(problem, shared_points=tuple(sorted(ends)))
    return replace(run, problem=problem, priors=replace(run.priors, lengths=tuple(placed)))


def with_lengths(run: Adjustment, names: frozenset[str], used: bool) -> Adjustment:
    """With some known lengths taking part or left out."""
    unused = run.priors.unused - names if used else run.priors.unused | names
    return replace(run, priors=replace(run.priors, unused=unused))


def length_results(run: Adjustment) -> list[KnownLengthResult]:
    """How every known length fared; normalized residuals and detectability after Baarda."""
    cov = bundle.covariance(run.problem, run.solved.normal).shared
    out = []
    for length in run.priors.lengths:
        if length.name == SCALE_CONVENTION:
            continue
        size, columns, gradient = length.measured(run.problem, run.state)
        fitted = float(gradient @ cov[np.ix_(columns, columns)] @ gradient)
        used = length.name not in run.priors.unused
        u = length.u_mm * run.priors.inflate.get(length.name, 1.0)
        if used:
            rest = max(u**2 - fitted, 0.0)
            redundancy = rest / u**2
            w = float(baarda.normalized_residuals([length.value_mm - size], [u], [redundancy])[0])
            detectable = float(baarda.minimal_detectable_bias([u], [redundancy])[0])
        else:
            w = (length.value_mm - size) / float(np.sqrt(u**2 + fitted))
            detectable = constants.DETECTABLE * float(np.sqrt(u**2 + fitted))
        out.append(KnownLengthResult(length.name, length.value_mm, u, size, w, detectable, used))
    return out


def weigh_lengths(run: Adjustment) -> Adjustment:
    """Contradicting known lengths: with three or more leave out the one that alone explains it, else widen all."""
    used = [r for r in length_results(run) if r.used]
    if len(used) < 2:
        return run
    worst = max(used, key=lambda r: abs(r.normalized_residual))
    if abs(worst.normalized_residual) < constants.LENGTH_CONFLICT:
        return run
    if len(used) >= 3:
        without = solve(with_lengths(run, frozenset({worst.name}), used=False))
        results = length_results(without)
        if max(abs(r.normalized_residual) for r in results if r.used) < constants.LENGTH_CONFLICT:
            alone = next(r for r in results if r.name == worst.name)
            return without.saying("length-contradicted", worst.name, given_mm=alone.given_mm, found_mm=alone.adjusted_mm)
    factor = abs(worst.normalized_residual)
    inflate = {**run.priors.inflate, **{r.name: run.priors.inflate.get(r.name, 1.0) * factor for r in used}}
    return replace(run, priors=replace(run.priors, inflate=inflate)).saying(
        "lengths-disagree",
        worst.name,
        lengths=[r.name for r in used],
        given_mm=[r.given_mm for r in used],
        found_mm=[r.adjusted_mm for r in used],
        widened_ratio=factor,
    )


def _seen(run: Adjustment, target_id: str) -> bool:
    """Whether sightings of a target still take part."""
    problem, s = run.problem, run.problem.sightings
    bodies = [b for b, t in enumerate(problem.body_ids) if t == target_id]
    points = [m for m, (t, _) in enumerate(problem.point_ids) if t == target_id]
    return bool(np.any(run.used & (np.isin(s.body, bodies) | np.isin(s.point, points))))


def length_findings(run: Adjustment, results: Sequence[KnownLengthResult]) -> Adjustment:
    """Say where a misread length would go unnoticed."""
    for name in sorted(run.lost_lengths):
        known = next(length for length in run.priors.lengths if length.name == name)
        ends = [
            run.problem.body_ids[p.body] if p.body >= 0 else run.problem.point_ids[p.points[0]][0]
            for p in (known.start, known.end)
        ]
        run = run.saying("length-unused", name, target=next(t for t in ends if not _seen(run, t)))
    for r in results:
        if r.used and r.smallest_detectable_mm > max(constants.UNCHECKED_SHARE * r.given_mm, constants.UNCHECKED_MM):
            unseen = r.smallest_detectable_mm if np.isfinite(r.smallest_detectable_mm) else None
            run = run.saying("length-unchecked", r.name, unseen_mm=unseen)
    return run
