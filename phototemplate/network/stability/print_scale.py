"""Is a target printed at the size it should have? Print scales that contradict what is expected of them.

Each test takes an :class:`Adjustment` and gives one with print scales released or bound, or the same where nothing speaks for
it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.adjustment.pseudo_observations import ALL_BATCHES, PRINT


@dataclass(frozen=True)
class ScaleConflict:
    """A print scale that contradicts its prior."""

    normalized: float
    batch: bool
    index: int


def scale_conflicts(run: Adjustment, only_bodies: bool = False) -> list[ScaleConflict]:
    """Print scales with a normalized residual over 4 against their prior."""
    cov = bundle.covariance(run.problem, run.solved.normal)
    out = []
    for condition in run.solved.normal.conditions:
        if condition.group != PRINT:
            continue
        batch = condition.name == ALL_BATCHES
        if batch and only_bodies:
            continue
        fitted = condition.jac @ cov.shared[np.ix_(condition.columns, condition.columns)] @ condition.jac.T
        rest = np.maximum(np.diag(condition.cov - fitted), constants.LEAST_SCALE_REST * np.diag(condition.cov))
        w = np.abs(condition.residual) / np.sqrt(rest)
        current = run.priors.u_print_common if batch else run.priors.u_print_body
        first = 0 if batch else run.problem.body_ids.index(condition.name)
        for index, value in enumerate(w.reshape(-1, 2).max(axis=1), start=first):
            if value > constants.SCALE_CONFLICT and current[index].max() < constants.RELEASED:
                out.append(ScaleConflict(float(value), batch, index))
    return out


def release_print_scale(run: Adjustment, conflicts: Sequence[ScaleConflict]) -> Adjustment:
    """Free the print scales with the strongest conflicts, worst first."""
    # A single odd sheet pulls the others and the common scale: free the bodies first, then look again.
    chosen = [c for c in conflicts if not c.batch] or conflicts
    if not chosen:
        return run
    limit = 0.5 * max(c.normalized for c in chosen)
    common, body = run.priors.u_print_common.copy(), run.priors.u_print_body.copy()
    for c in chosen:
        if c.normalized >= limit:
            (common if c.batch else body)[c.index, :] = constants.RELEASED
    return replace(run, priors=replace(run.priors, u_print_common=common, u_print_body=body))


def restore_print_scale(run: Adjustment) -> Adjustment:
    """Bind print scales again that were freed early and came out like the others after all."""
    problem, state = run.problem, run.state
    u, settings = run.priors.u_print_body.copy(), run.settings
    for b in range(len(problem.body_ids)):
        ratio = state.body_scale[b] / state.print_scale[problem.body_batch[b]]
        like_others = np.abs(ratio - 1).max() < constants.SCALE_BOUND_AGAIN * settings.u_print_sheet
        if u[b].max() >= constants.RELEASED and like_others:
            u[b] = settings.u_print_sheet
    same = np.array_equal(u, run.priors.u_print_body)
    return run if same else replace(run, priors=replace(run.priors, u_print_body=u))


def print_scale_findings(run: Adjustment, scale_known: bool) -> Adjustment:
    """Say which sheets, or which whole print, came out at another scale."""
    state, problem = run.state, run.problem
    for b, target in enumerate(problem.body_ids):
        ratio = state.body_scale[b] / state.print_scale[problem.body_batch[b]]
        odd = ratio[int(np.argmax(np.abs(ratio - 1)))]
        if run.priors.u_print_body[b].max() >= constants.RELEASED and abs(odd - 1) > constants.SCALE_TOLD:
            run = run.saying("sheet-print-scale", target, size_percent=100 * odd)
    for q, batch in enumerate(problem.batches):
        odd = state.print_scale[q][int(np.argmax(np.abs(state.print_scale[q] - 1)))]
        if (
            scale_known
            and run.priors.u_print_common[q].max() >= constants.RELEASED
            and abs(odd - 1) > constants.BATCH_SCALE_TOLD
        ):
            run = run.saying("batch-print-scale", f"all {batch} targets", batch=batch, size_percent=100 * odd)
    return run
