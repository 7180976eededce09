"""Verdicts, budgets and reliability in the format of ``result.json``."""

from __future__ import annotations

from typing import Literal

from phototemplate.output.schema_base import Number, Pair, Part


class RemedyPart(Part):
    """One thing to do about an undecided edge or dimension."""

    code: str = ""
    text: str
    """In words, lengths in mm"""
    predicted_U_mm: float
    """U (k = 2) after it, predicted from the covariance"""


class JudgedPart(Part):
    """Verdict on one edge or finished dimension."""

    name: str
    where: str
    """The least certain place of an edge; the piece of a dimension"""
    verdict: Literal["meets", "fails", "cannot tell"]
    value_mm: Number = None
    """Of a dimension"""
    deviation_mm: float
    """What is compared with the limits: 0 for what is followed as measured"""
    U_mm: float
    probability: float
    """That the true value lies within the limits (JCGM 106)"""
    remedies: list[RemedyPart] = []
    """The cheapest that suffices; else what helps most"""


class ContributionPart(Part):
    """One cause in an edge's budget."""

    cause: str
    type: Literal["A", "B"]
    """GUM: A from this measurement's scatter, B from what is known beforehand"""
    u_mm: float
    degrees_of_freedom: Number
    """null: no end of them"""


class SensitivityPart(Part):
    """How an edge depends on one input that has a value of its own."""

    input: str
    """Known length, or name of a type B term"""
    u_input_mm: float
    """For terms named definition-turn in mm at the end of the edge"""
    coefficient: float
    """mm across the edge per mm of the input; of a known length its amount"""
    contribution_mm: float


class BudgetPart(Part):
    """Uncertainty of one edge where it is least certain, across the edge."""

    edge: str
    where: str
    u_mm: float
    """Combined standard uncertainty"""
    u_type_a_mm: float
    u_type_b_mm: float
    degrees_of_freedom: Number
    """Effective, after Welch-Satterthwaite"""
    k_95: float
    """Coverage factor for 95 % at these degrees of freedom"""
    contributions: list[ContributionPart]
    """Largest first; root sum of squares is u_mm"""
    sensitivities: list[SensitivityPart] = []


class ReliabilityPart(Part):
    """What mistake in one known length or sheet would be noticed (Baarda)."""

    name: str
    kind: Literal["length", "sheet"]
    detectable_mm: Number
    """Smallest mistake noticed in 80 of 100 cases; null: none would be"""
    effect_mm: Number
    """What it would do unnoticed to effect_on"""
    effect_on: str
    sentence: str


class IntervalPart(Part):
    """Length of an edge from corner to corner, propagated linearly and by Monte Carlo (JCGM 101); coverage 95.45 %."""

    edge: str
    loop: str
    length_mm: float
    length_U_mm: float
    symmetric_mm: Pair
    """Equal probability left out on both sides"""
    shortest_mm: Pair
    agrees: bool
    """After JCGM 101, 8.1"""


class JudgementsPart(Part):
    """What the measurement is good for: verdicts against the stated tolerance, and what they rest on."""

    tolerance_mm: float
    rule: str
    edges: list[JudgedPart]
    sizes: list[JudgedPart] = []
    """Finished dimensions of the pieces"""
    budgets: list[BudgetPart] = []
    reliability: list[ReliabilityPart] = []
    intervals: list[IntervalPart] = []
    assumed: list[str] = []
    """What the degrees of freedom rest on"""
