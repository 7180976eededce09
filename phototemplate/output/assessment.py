"""What the studies have to say of a measurement, as plain data for report, ``result.json`` and command line.

Writers come before the studies in the flow, so they do not call them: ``results`` asks ``studies.assessment`` and hands over a
:class:`Judgements`. Every field has a value without it: a writer given none says less.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from phototemplate.errors import Finding
from phototemplate.numerics.uncertainty import coverage
from phototemplate.units import LengthUnit
from phototemplate.wording import say

Verdict = Literal["meets", "fails", "cannot tell"]
Evaluation = Literal["A", "B"]


@dataclass(frozen=True)
class Remedy:
    """One thing to do, and the expanded uncertainty (k = 2) that would follow."""

    what: Finding
    """A finding whose code begins with ``do-``"""
    predicted_U_mm: float


@dataclass(frozen=True)
class Judged:
    """Verdict on one edge or dimension."""

    name: str
    where: str
    """The least certain place of an edge; for a finished dimension the piece it belongs to"""
    verdict: Verdict
    deviation_mm: float
    """What is compared with the limits: 0 for what is followed as measured"""
    U_mm: float
    """Expanded with the coverage factor of its degrees of freedom, 2 or more"""
    tolerance_mm: float
    probability: float
    """That the true value lies within the limits"""
    remedies: tuple[Remedy, ...] = ()
    """The cheapest that suffices; else what helps most"""
    value_mm: float = math.nan
    """Of a dimension; nan for an edge"""

    @property
    def finding(self) -> Finding:
        """The verdict as a finding, with the first remedy."""
        best = next(iter(self.remedies), None)
        return Finding(
            "tolerance", self.name, verdict_word=self.verdict, tolerance_mm=self.tolerance_mm, U_mm=self.U_mm,
            place=self.where or None, remedy=best and best.what, remedy_U_mm=best and best.predicted_U_mm,
        )  # fmt: skip

    def remedy_text(self, unit: LengthUnit = "mm") -> str:
        """The first remedy with what it would bring; empty without."""
        return say(self.finding, unit).remedy


@dataclass(frozen=True)
class BudgetPart:
    """One cause in the budget of an edge."""

    cause: str
    evaluation: Evaluation
    """A: from the scatter of this measurement's own observations; B: from what is known beforehand (GUM 4.2, 4.3)"""
    u_mm: float
    dof: float
    """Degrees of freedom behind ``u_mm``"""


@dataclass(frozen=True)
class Sensitivity:
    """How an edge depends on one input that has a value of its own."""

    input: str
    """Known length, thickness, gap, ..."""
    u_mm: float
    """Standard uncertainty of the input"""
    coefficient: float
    """mm across the edge per mm of the input; of a known length its amount"""
    contribution_mm: float


@dataclass(frozen=True)
class EdgeBudget:
    """Budget of one edge where it is least certain."""

    edge_id: str
    where: str
    u_mm: float
    u_a_mm: float
    u_b_mm: float
    dof: float
    """Effective degrees of freedom after Welch-Satterthwaite (GUM G.4.1)"""
    k95: float
    """Coverage factor for 95 % at these degrees of freedom"""
    parts: tuple[BudgetPart, ...]
    """Largest first; root sum of squares is ``u_mm``"""
    sensitivities: tuple[Sensitivity, ...] = ()
    """Largest contribution first"""

    @property
    def inside(self) -> float:
        """Share of true values within U (k = 2), for whole degrees of freedom as GUM G.4.1 has it."""
        return coverage(2.0, max(math.floor(self.dof), 1) if math.isfinite(self.dof) else self.dof)


@dataclass(frozen=True)
class Noticed:
    """What mistake in one known length or sheet would be noticed."""

    name: str
    kind: Literal["length", "sheet"]
    detectable_mm: float
    """Smallest mistake noticed with 80 % power at the 0.1 % level (Baarda); inf where nothing checks it"""
    effect_mm: float
    """What it would do unnoticed to ``effect_on``"""
    effect_on: str
    sentence: str


@dataclass(frozen=True)
class LengthInterval:
    """Length of an edge propagated both ways, coverage 95.45 %."""

    edge_id: str
    loop_id: str
    value_mm: float
    U_mm: float
    """Law of propagation, k = 2"""
    low_mm: float
    high_mm: float
    """Monte Carlo (JCGM 101), equal probability left out on both sides"""
    shortest_mm: tuple[float, float]
    agrees: bool
    """After JCGM 101, 8.1"""


@dataclass(frozen=True)
class Judgements:
    """All of it."""

    tolerance_mm: float
    rule: str
    """The guarded rule in words"""
    edges: Mapping[str, Judged] = field(default_factory=dict)
    sizes: tuple[Judged, ...] = ()
    """Finished dimensions that are measured and not decided"""
    budgets: Mapping[str, EdgeBudget] = field(default_factory=dict)
    noticed: tuple[Noticed, ...] = ()
    intervals: tuple[LengthInterval, ...] = ()
    findings: tuple[Finding, ...] = ()
    assumed: tuple[str, ...] = ()
    """What the degrees of freedom rest on, in sentences"""

    @property
    def summary(self) -> tuple[int, int]:
        """Edges that meet the tolerance, and all of them."""
        return sum(j.verdict == "meets" for j in self.edges.values()), len(self.edges)


def finite_or_none(value: float) -> float | None:
    """For files that know no infinity."""
    return float(value) if math.isfinite(value) else None
