"""Is a target printed at the size it should have? Print scales that contradict what is expected of them.

Each test looks at one :class:`Run`, releases or binds print scales, and says whether another least-squares run is due.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.progress_state import Run
from phototemplate.network.adjustment.pseudo_observations import ALL_BATCHES, PRINT, RELEASED


@dataclass(frozen=True)
class ScaleConflict:
    """A print scale that contradicts its prior."""

    normalized: float
    batch: bool
    index: int


def scale_conflicts(run: Run, only_bodies: bool = False) -> list[ScaleConflict]:
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
        rest = np.maximum(np.diag(condition.cov - fitted), 1e-4 * np.diag(condition.cov))
        w = np.abs(condition.residual) / np.sqrt(rest)
        current = run.priors.u_print_common if batch else run.priors.u_print_body
        first = 0 if batch else run.problem.body_ids.index(condition.name)
        for index, value in enumerate(w.reshape(-1, 2).max(axis=1), start=first):
            if value > 4 and current[index].max() < RELEASED:
                out.append(ScaleConflict(float(value), batch, index))
    return out


def release_print_scale(run: Run, conflicts: list[ScaleConflict]) -> bool:
    """Free the print scales with the strongest conflicts, worst first."""
    # A single odd sheet pulls the others and the common scale: free the bodies first, then look again.
    chosen = [c for c in conflicts if not c.batch] or conflicts
    if not chosen:
        return False
    limit = 0.5 * max(c.normalized for c in chosen)
    for c in chosen:
        if c.normalized >= limit:
            (run.priors.u_print_common if c.batch else run.priors.u_print_body)[c.index, :] = RELEASED
    return True


def restore_print_scale(run: Run) -> bool:
    """Bind print scales again that were freed early and came out like the others after all."""
    problem, state = run.problem, run.state
    changed = False
    for b in range(len(problem.body_ids)):
        ratio = state.body_scale[b] / state.print_scale[problem.body_batch[b]]
        if run.priors.u_print_body[b].max() >= RELEASED and np.abs(ratio - 1).max() < 3 * run.settings.u_print_sheet:
            run.priors.u_print_body[b] = run.settings.u_print_sheet
            changed = True
    return changed


def print_scale_findings(run: Run, scale_known: bool) -> None:
    """Say which sheets, or which whole print, came out at another scale."""
    state, problem = run.state, run.problem
    for b, target in enumerate(problem.body_ids):
        ratio = state.body_scale[b] / state.print_scale[problem.body_batch[b]]
        odd = ratio[int(np.argmax(np.abs(ratio - 1)))]
        if run.priors.u_print_body[b].max() >= RELEASED and abs(odd - 1) > 0.003:
            run.add(
                "sheet-print-scale",
                target,
                f"{target} is printed at {100 * odd:.1f} % of the other targets' size.",
                "Its own size was measured and used; print it again at 100 % before the next job.",
            )
    for q, batch in enumerate(problem.batches):
        odd = state.print_scale[q][int(np.argmax(np.abs(state.print_scale[q] - 1)))]
        if scale_known and run.priors.u_print_common[q].max() >= RELEASED and abs(odd - 1) > 0.01:
            run.add(
                "sheet-print-scale",
                f"all {batch} targets",
                f"All targets of kind {batch} measure {100 * odd:.1f} % of their nominal size: either they were printed at "
                "another scale, or the known length is misread.",
                "Check the ruler on a sheet against a steel rule, and the known length against its record.",
            )
