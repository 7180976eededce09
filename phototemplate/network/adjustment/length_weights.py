"""Known lengths in an adjustment: where they end, whether they agree, and what would go unnoticed (Baarda 1968)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import KnownLengthResult
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.known_lengths import KnownLength, LengthEnd
from phototemplate.network.adjustment.progress_state import Run
from phototemplate.network.adjustment.pseudo_observations import Length, Place
from phototemplate.numerics import reliability as baarda
from phototemplate.settings import AdjustmentSettings

SCALE_CONVENTION = "scale convention"
"""Name of the pseudo length that fixes the size of a network without any"""


def _place(run: Run, end: LengthEnd) -> Place | None:
    """Where a known length ends, None if that was not placed."""
    problem = run.problem
    if end.target_id in problem.body_ids:
        body = problem.body_ids.index(end.target_id)
        if not np.any(problem.body == body):
            return None
        points = run.targets[end.target_id].points_mm
        if end.point_id is not None:
            return Place(body, points[end.point_id]) if 0 <= end.point_id < len(points) else None
        return Place(body, np.asarray(end.local_mm or (0.0, 0.0, 0.0), dtype=np.float64))
    wanted = [
        m for m, (t, k) in enumerate(problem.point_ids) if t == end.target_id and (end.point_id is None or k == end.point_id)
    ]
    complete = (
        1 if end.point_id is not None else len(run.targets[end.target_id].points_mm) if end.target_id in run.targets else -1
    )
    if len(wanted) != complete or end.local_mm is not None:
        return None
    return Place(points=tuple(wanted))


def place_lengths(run: Run, lengths: Sequence[KnownLength], settings: AdjustmentSettings) -> tuple[list[Length], list[Finding]]:
    """Turn known lengths into observations; those whose ends were not placed become findings."""
    findings = []
    for known in lengths:
        start, end = _place(run, known.start), _place(run, known.end)
        if start is None or end is None:
            missing = known.start.target_id if start is None else known.end.target_id
            findings.append(
                Finding(
                    "length-unused",
                    known.name,
                    f"{known.name} ends at {missing}, which was not found in enough photos.",
                    f"Take two more photos that show {missing}, or give a length between other targets.",
                )
            )
            continue
        value, u = known.at_photos(settings.thermometer_u_c)
        run.priors.lengths.append(Length(known.name, start, end, value, u))
    used = list(run.priors.lengths)
    problem = run.problem
    if not used and not problem.body_ids and len(problem.point_ids) >= 2:
        # Free points alone have no size: keep the distance of the two farthest at its start value.
        xyz = run.state.points
        a = int(np.argmax(np.linalg.norm(xyz - xyz.mean(axis=0), axis=1)))
        b = int(np.argmax(np.linalg.norm(xyz - xyz[a], axis=1)))
        size = float(np.linalg.norm(xyz[b] - xyz[a]))
        run.priors.lengths.append(Length(SCALE_CONVENTION, Place(points=(a,)), Place(points=(b,)), size, 1e-5 * size))
    ends = {m for length in run.priors.lengths for place in (length.start, length.end) for m in place.points}
    problem.shared_points = tuple(sorted(ends))
    problem.arrange()
    return used, findings


def length_results(run: Run) -> list[KnownLengthResult]:
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
            detectable = 4.13 * float(np.sqrt(u**2 + fitted))
        out.append(KnownLengthResult(length.name, length.value_mm, u, size, w, detectable, used))
    return out


def weigh_lengths(run: Run, results: list[KnownLengthResult]) -> bool:
    """Contradicting known lengths: with three or more leave out the one that alone explains it, else widen all."""
    used = [r for r in results if r.used]
    if len(used) < 2:
        return False
    worst = max(used, key=lambda r: abs(r.normalized_residual))
    if abs(worst.normalized_residual) < 3.29:
        return False
    gaps = "; ".join(f"{r.name}: {r.given_mm:.1f} given, {r.adjusted_mm:.1f} found" for r in used)
    if len(used) >= 3:
        run.priors.unused.add(worst.name)
        run.solve()
        rest = [r for r in length_results(run) if r.used]
        if max(abs(r.normalized_residual) for r in rest) < 3.29:
            alone = next(r for r in length_results(run) if r.name == worst.name)
            run.add(
                "lengths-disagree",
                worst.name,
                f"{worst.name} is given as {alone.given_mm:.1f} mm, but the other known lengths make it "
                f"{alone.adjusted_mm:.1f} mm; it was left out.",
                "Measure it again and correct the value.",
            )
            return True
        run.priors.unused.discard(worst.name)
    factor = abs(worst.normalized_residual)
    for r in used:
        run.priors.inflate[r.name] = run.priors.inflate.get(r.name, 1.0) * factor
    run.add(
        "lengths-disagree",
        worst.name,
        f"The known lengths contradict each other ({gaps}, in mm); all were kept and trusted {factor:.0f} times less.",
        "Measure them again; one of them is wrong.",
    )
    return True


def length_findings(run: Run, results: list[KnownLengthResult]) -> None:
    """Say where a misread length would go unnoticed."""
    for r in results:
        if r.used and r.smallest_detectable_mm > max(0.002 * r.given_mm, 1.0):
            size = "any misreading" if not np.isfinite(r.smallest_detectable_mm) else f"{r.smallest_detectable_mm:.0f} mm"
            run.add(
                "length-unchecked",
                r.name,
                f"Nothing checks {r.name}: a misreading of up to {size} would not be noticed.",
                "Add a second known length, for example a tape reading between two far sheets.",
            )
