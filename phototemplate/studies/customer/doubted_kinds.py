"""Sizes from clicks where it is not sure what a known thing is: A4 or Letter, say.

Each kind that it may be is tried; those that the clicks contradict drop out, and what remains is a mixture, whose spread is the
mean of the spreads and the spread of the means (law of total variance). A wrong kind makes everything wrong by some per cent
with every residual small, so the doubt is part of the range until somebody has said what it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from phototemplate.errors import MeasureError
from phototemplate.model import Camera
from phototemplate.studies.clicked import ClickedPlan, fit_clicked, mixture
from phototemplate.studies.clicked_problem import ClickedLoop, ClickedPhoto, TapeLength
from phototemplate.studies.known_sizes import known_size

CAUSE = "which kind of sheet or card"


def fit_doubted(
    photos: Sequence[ClickedPhoto],
    lengths: Sequence[TapeLength],
    loops: Sequence[ClickedLoop],
    doubts: Mapping[str, Mapping[str, float]],
    profiles: Mapping[str, Camera] = MappingProxyType({}),
    near: ClickedPlan | None = None,
) -> ClickedPlan:
    """As ``fit_clicked``; ``doubts``: name of a thing -> probability of every kind that it may be, its own included."""
    plan = fit_clicked(photos, lengths, loops, profiles, near)
    for name, kinds in doubts.items():
        own = next((k.size.name for p in photos for k in p.known if k.name == name), "")
        if own not in kinds or len(kinds) < 2:
            continue
        tried = [(0.5 * plan.chi2 - math.log(kinds[own]), plan)]
        for kind, p in kinds.items():
            if kind != own and p > 0.0:
                as_other = [_with_kind(photo, name, kind) for photo in photos]
                try:
                    other = fit_clicked(as_other, lengths, loops, profiles, plan)
                except MeasureError:
                    continue
                tried.append((0.5 * other.chi2 - math.log(p), other))
        plan = mixture(tried, CAUSE)
    return plan


def _with_kind(photo: ClickedPhoto, name: str, kind: str) -> ClickedPhoto:
    return replace(photo, known=tuple(replace(k, size=known_size(kind)) if k.name == name else k for k in photo.known))
