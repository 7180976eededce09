"""What may be wrong with sheets, strips and photos, in competition: one table of hypotheses with statistic, level and action.

What a camera does has parameters of its own in every adjustment (:mod:`~phototemplate.network.adjustment.variance_components`),
and is given generous room before the first sheet is asked about: no sheet is blamed for what the exposures explain. Of what
remains the explanation is taken whose drop in chi-squared is largest for its number of parameters; then everything is asked
again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.network import constants
from phototemplate.network.adjustment.adjustment_state import Adjustment
from phototemplate.network.stability.data_snooping import wrong_sightings
from phototemplate.network.stability.loose_strips import left_out, strip_displacements
from phototemplate.network.stability.moved_targets import leave_out, moves
from phototemplate.network.stability.print_scale import release_print_scale, scale_conflicts
from phototemplate.network.stability.sheet_curl import curl_evidence
from phototemplate.network.stability.smeared_photos import reweighted, smears
from phototemplate.settings import AdjustmentSettings


@dataclass(frozen=True)
class Explanation:
    """One thing that would explain residuals."""

    gain: float
    """Drop in chi-squared at unit noise"""
    action: Callable[[Adjustment], Adjustment]
    """Gives the adjustment with it, not yet solved"""


@dataclass(frozen=True)
class Hypothesis:
    """One row of the table."""

    name: str
    parameters: int
    """What it costs"""
    level: Callable[[AdjustmentSettings], float]
    """Drop in chi-squared below which it is chance"""
    statistic: Callable[[Adjustment], Sequence[Explanation]]
    singly: bool = True
    """Whether one of its explanations is taken at a time: others may be of the same residuals"""


def _moved(run: Adjustment) -> list[Explanation]:
    body = run.problem.body_ids.index
    return [Explanation(m.gain, lambda run, m=m: leave_out(run, body(m.target), m.photos)) for m in moves(run)]  # type: ignore[misc]


def _misprinted(run: Adjustment) -> list[Explanation]:
    conflicts = scale_conflicts(run, only_bodies=True)
    worst = max((c.normalized**2 for c in conflicts), default=0.0)
    return [Explanation(worst, lambda run: release_print_scale(run, conflicts))] if conflicts else []


def _loose(run: Adjustment) -> list[Explanation]:
    found = [one for one in strip_displacements(run)[:1] if one.visible_mm > constants.SAME_MM]
    return [Explanation(one.gain, lambda run, one=one: left_out(run, one)) for one in found]  # type: ignore[misc]


def _smeared(run: Adjustment) -> list[Explanation]:
    return [Explanation(one.gain, lambda run, one=one: reweighted(run, one)) for one in smears(run)]  # type: ignore[misc]


def _bent(run: Adjustment) -> list[Explanation]:
    return [Explanation(g, lambda run, b=b: run.releasing_curl({b})) for b, g in curl_evidence(run).items()]  # type: ignore[misc]


def _wrong(run: Adjustment) -> list[Explanation]:
    return [Explanation(g, lambda run, i=i: run.rejecting(np.array([i]))) for i, g in wrong_sightings(run)]  # type: ignore[misc]


HYPOTHESES: tuple[Hypothesis, ...] = (
    Hypothesis("the sheet lay elsewhere in some photos", constants.MOVED_PARAMETERS, lambda s: s.moved_evidence, _moved),
    Hypothesis(
        "it is printed at another scale", constants.MISPRINTED_PARAMETERS, lambda s: constants.SCALE_CONFLICT**2, _misprinted
    ),
    Hypothesis("it is bent", constants.BENT_PARAMETERS, lambda s: s.curl_evidence, _bent),
    Hypothesis("a strip came loose", constants.LOOSE_PARAMETERS, lambda s: constants.LOOSE_EVIDENCE, _loose),
    Hypothesis("a photo is smeared", constants.SMEARED_PARAMETERS, lambda s: s.moved_evidence, _smeared),
    Hypothesis("a sighting is wrong", constants.WRONG_PARAMETERS, lambda s: 0.0, _wrong, singly=False),
)
"""Every hypothesis. What single wrong sightings explain better than any of the others is no evidence of those; the rest of them
are looked for once all is settled (:mod:`~phototemplate.network.stability.data_snooping`)"""


def best_explained(run: Adjustment) -> Adjustment:
    """With the strongest explanation for its cost, or with all wrong sightings that explain more than any other; the same where
    nothing but wrong sightings is beyond chance."""
    found = [
        (explanation.gain / hypothesis.parameters, hypothesis.singly, explanation)
        for hypothesis in HYPOTHESES
        for explanation in hypothesis.statistic(run)
        if explanation.gain > hypothesis.level(run.settings)
    ]
    if not any(singly for _, singly, _ in found):
        return run
    found.sort(key=lambda one: -one[0])
    strongest = next(i for i, (_, singly, _) in enumerate(found) if singly)
    for _, _, explanation in found[: max(strongest, 1)]:
        run = explanation.action(run)
    return run
