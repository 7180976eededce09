"""What the report says, in plain sentences. English text in one place, ready for translation."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from phototemplate.errors import FINDINGS, Fact, Finding
from phototemplate.model import EdgeReport, KnownLengthResult, Measurement
from phototemplate.numerics.decision import decide
from phototemplate.output.assessment import Judged, Noticed
from phototemplate.output.constants import AGREES, DOUBTFUL, MOST_APART
from phototemplate.units import format_length
from phototemplate.wording import Said, phrase, said, say

Unit = Literal["mm", "in"]
State = Literal["good", "look", "short"]

SEVERITY_WORDS = {"serious": "serious", "warning": "look", "note": "note"}
SEVERITY_MARK = {"serious": "■", "warning": "▲", "note": "●"}
STATE_WORDS = {"good": "meets", "look": "meets, but look first", "short": "cannot tell"}
STATE_MARK = {"good": "✓", "look": "▲", "short": "✕"}


@dataclass(frozen=True)
class EdgeVerdict:
    """One edge in plain words."""

    state: State
    code: str
    """Of the phrase that says it, with these facts:"""
    facts: Mapping[str, Fact] = field(default_factory=dict)
    cure: Finding | str = ""
    """A finding whose remedy would help, or the code of a phrase"""
    unit: Unit = "mm"
    fails: bool = False
    """Proven to lie outside"""

    @property
    def words(self) -> str:
        return "fails" if self.fails else STATE_WORDS[self.state]

    @property
    def mark(self) -> str:
        return STATE_MARK[self.state]

    @property
    def sentence(self) -> str:
        return self.said()[0]

    @property
    def remedy(self) -> str:
        return self.said()[1]

    def said(self, language: str = "en", in_app: bool = False) -> tuple[str, str]:
        """What is so, and what would help, in a language."""
        told = phrase(self.code, self.facts, self.unit, language)
        if isinstance(self.cure, Finding):
            return told, say(self.cure, self.unit, language, in_app=in_app).remedy
        return told, phrase(self.cure, self.facts, self.unit, language) if self.cure else ""


def both_units(mm: float, decimals: int = 2) -> str:
    """``0.42 mm (0.017 in)``"""
    return f"{format_length(mm, 'mm', decimals=decimals)} mm ({format_length(mm, 'in', decimals=decimals + 1)} in)"


def tolerance_words(mm: float) -> str:
    """``1/16 in (1.6 mm)`` where it is a step of a tape, else mm first."""
    steps = mm / 25.4 * 64
    if abs(steps - round(steps)) < 1e-6 and round(steps):
        return f"{format_length(mm, 'fraction', denominator=64)[:-1]} in ({mm:.1f} mm)"
    return f"{mm:.2f} mm ({mm / 25.4:.3f} in)"


def edge_verdict(
    edge: EdgeReport,
    tolerance_mm: float,
    unscaled: bool = False,
    judged: Judged | None = None,
    unit: Unit = "mm",
    withheld: bool = False,
) -> EdgeVerdict:
    """Is the edge known well enough: its line lies within the tolerance of the true one with the guard U (k = 2)?

    That is the rule of ISO 14253-1 for a deviation whose best estimate is zero, at the least certain place of the edge.
    ``judged`` has looked all along the edge, and knows what would help; without it the edge's three places decide.
    """
    worst = max(edge.offset_U_mm) if judged is None else judged.U_mm
    main = edge.budget[0][0] if edge.budget else ""
    doubts = [f for f in edge.findings if f.severity != "note" and f.code != "tolerance"]
    facts: dict[str, Fact] = {"known": both_units(worst), "tolerance": tolerance_words(tolerance_mm), "edge": edge.edge_id}
    if withheld or unscaled:
        return EdgeVerdict("short", "verdict-withheld" if withheld else "verdict-unscaled")
    decision = decide(0.0, worst / 2.0, -tolerance_mm, tolerance_mm) if math.isfinite(worst) else None
    if decision is None or decision.verdict != "meets":
        share = judged.probability if judged is not None else decision.probability if decision is not None else 0.0
        where = judged.where if judged is not None else ("start", "middle", "end")[edge.offset_U_mm.index(worst)]
        facts |= {"place_word": f"place-{where}", "chance_percent": 100.0 * share}
        own = judged.finding if judged is not None and judged.remedy_text(unit) else None
        own = own or next((f for f in edge.findings if f.code == "tolerance" and say(f, unit).remedy), None)
        return EdgeVerdict("short", "verdict-short", facts, own or _cure(main), unit)
    if doubts:
        return EdgeVerdict("look", "verdict-look", {**facts, "doubt": doubts[0]}, doubts[0], unit)
    return EdgeVerdict("good", "verdict-good", facts, unit=unit)


def _cure(cause: str) -> str:
    """Phrase of what helps most against the largest cause of an edge's uncertainty."""
    cause = cause.lower()
    if "length" in cause:
        return "cure-length"
    if "lens" in cause or "focus" in cause or "readout" in cause:
        return "cure-lens"
    if "print scale" in cause:
        return "cure-print"
    if "thickness" in cause:
        return "cure-thickness"
    if "gap" in cause:
        return "cure-gap"
    if "definition" in cause:
        return "cure-definition"
    return "cure-photos"


def headline(measurement: Measurement, verdicts: Sequence[EdgeVerdict], tolerance_mm: float) -> str:
    """One sentence for the whole job."""
    total, good = len(verdicts), sum(v.state == "good" for v in verdicts)
    serious = sum(f.severity == "serious" for f in measurement.findings)
    tolerance = tolerance_words(tolerance_mm)
    if measurement.outline.unscaled:
        return "Shape without scale: no length was known. Do not cut from this."
    if measurement.network.quality.withheld:
        return "The photos contradict each other too much for any uncertainty to be stated. Do not cut from this."
    if not total:
        return "No edge was measured yet."
    tail = ""
    if serious:
        thing = "thing is" if serious == 1 else "things are"
        tail = f" {serious} serious {thing} listed below; settle {'it' if serious == 1 else 'them'} before anything is cut."
    if good == total and not serious:
        return f"All {total} edges are known within {tolerance}."
    enough = sum(v.state != "short" for v in verdicts)
    if enough == total:
        look = total - good
        if not look:
            return f"All {total} edges are known within {tolerance}.{tail}"
        return f"All {total} edges are known within {tolerance}, but look at {look} of them first.{tail}"
    return f"{enough} of {total} edges are known within {tolerance}; {total - enough} not well enough to cut from.{tail}"


def length_words(one: KnownLengthResult, noticed: Noticed | None = None, withheld: bool = False) -> str:
    """How a known length fared, in plain words, and what mistake in it would be noticed."""
    if not one.used:
        return "Could not be used."
    if withheld:
        return "The photos contradict each other: whether it agrees with them cannot be said."
    seen = abs(one.normalized_residual)
    if not math.isfinite(seen):
        first = "Nothing checks this length."
    elif seen <= AGREES:
        first = "Agrees with the rest."
    elif seen <= DOUBTFUL:
        first = "A little off; measure it again if you can."
    else:
        first = "Does not agree with the rest: measure it again."
    if noticed is not None:
        return f"{first} {noticed.sentence}"
    if math.isfinite(one.smallest_detectable_mm):
        return f"{first} If it were misread by {one.smallest_detectable_mm:.1f} mm you would be told; by less you might not."
    return f"{first} A misreading would not be noticed; give a second length."


def retake_list(findings: Sequence[Finding], unit: Unit = "mm") -> list[Said]:
    """Everything that another photo or length can cure, in words, serious first."""
    return [one for one in said((f for f in findings if FINDINGS[f.code].retake), unit) if one.remedy]


def sheets_words(sheets: Sequence[Noticed]) -> str:
    """What movement of a sheet between photos would be noticed: one sentence for all."""
    sizes = sorted(s.detectable_mm for s in sheets)
    if not sizes:
        return ""
    worst = max(sheets, key=lambda s: s.detectable_mm)
    hidden = 0.4 * sizes[-1]
    text = f"If a sheet were moved by {sizes[-1]:.1f} mm half way through the photos you would be told, whichever it is"
    if sizes[-1] > MOST_APART * sizes[0]:
        text += f" (for most {sizes[len(sizes) // 2]:.1f} mm is enough; {worst.name} is watched least)"
    return f"{text}; by {hidden:.1f} mm you might not, and edges near it would come out up to {hidden / 2:.1f} mm wrong."


def size_verdict(judged: Judged) -> str:
    """Verdict on a finished dimension, with what would help."""
    if judged.verdict == "meets":
        return "meets"
    text = f"{judged.verdict} ({100 * judged.probability:.0f} % inside)"
    return f"{text}. {judged.remedy_text()}" if judged.remedies else text


def dof_words(dof: float) -> str:
    """Degrees of freedom: whole, and "many" where they no longer matter."""
    return "many" if dof > 999 else f"{dof:.0f}"


INPUT_WORDS = {
    "definition": "what counts as the edge",
    "definition-turn": "the same, turned",
    "height": "height of the edge",
    "gap": "gap of the contact sheets",
    "thickness": "height of sheet",
    "strip": "standing off of strip",
    "bulge": "bulge of strip",
}
"""Influence names of type B terms, in words"""


def input_words(name: str, edge_id: str = "") -> str:
    """An input of the budget in words; known lengths keep their own names."""
    term, _, of = name.partition(":")
    if name == "thickness:sheet":
        return "thickness of the paper"
    if term not in INPUT_WORDS:
        return name
    return INPUT_WORDS[term] if of in ("", edge_id) else f"{INPUT_WORDS[term]} {of}"
