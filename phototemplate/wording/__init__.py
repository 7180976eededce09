"""Findings in words. Everything that speaks of a finding, command line, report, drawings, result file and app, asks here.

What a finding is stands in :mod:`phototemplate.errors`: a code and facts. Its sentences stand once for every language in a
table such as :mod:`phototemplate.wording.english`; :mod:`phototemplate.wording.words` says how sentences are written. A second
language is one more such table in :data:`LANGUAGES`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from phototemplate.errors import SEVERITIES, Fact, Finding, Severity
from phototemplate.units import LengthUnit
from phototemplate.wording.english import ENGLISH
from phototemplate.wording.german import GERMAN
from phototemplate.wording.words import Language

__all__ = ["LANGUAGES", "Said", "meaning_of", "phrase", "said", "say", "say_check"]

LANGUAGES: dict[str, Language] = {"en": ENGLISH, "de": GERMAN}
"""Every language there is, by its ISO 639 code"""


@dataclass(frozen=True)
class Said:
    """One finding, or several that are told in one sentence, in words."""

    code: str
    severity: Severity
    where: str
    """One place, or several listed"""
    message: str
    """One sentence: what was seen"""
    remedy: str
    """One sentence: what to do, empty if nothing"""


def say(finding: Finding, unit: LengthUnit = "mm", language: str = "en", *, in_app: bool = False) -> Said:
    """One finding in words, lengths in ``unit``; ``in_app``: to somebody who has the app before him, not the job file."""
    return _told([finding], unit, LANGUAGES[language], in_app)


def said(findings: Iterable[Finding], unit: LengthUnit = "mm", language: str = "en") -> list[Said]:
    """For showing: the serious ones first; what has one sentence for many is said once, and nothing is said twice."""
    spoken = LANGUAGES[language]
    together: dict[Any, dict[Any, Finding]] = {}
    for f in findings:
        facts = tuple(f.facts.items())
        key: Any = f.code if spoken.words[f.code].several else (f.code, f.where, facts)
        together.setdefault(key, {})[f.where, facts] = f
    told = [_told(list(alike.values()), unit, spoken) for alike in together.values()]
    return sorted(told, key=lambda one: SEVERITIES.index(one.severity))


def say_check(rule: str, facts: Mapping[str, Fact], unit: LengthUnit = "mm", language: str = "en") -> tuple[str, str, str]:
    """A check of the pieces in words: its title, what it found, and the limit."""
    spoken = LANGUAGES[language]
    words = spoken.checks[rule]
    return words.title, spoken.sentence(words.found, facts, unit), spoken.sentence(words.limit, facts, unit)


def phrase(code: str, facts: Mapping[str, Fact] | None = None, unit: LengthUnit = "mm", language: str = "en") -> str:
    """An answer of a study in words."""
    spoken = LANGUAGES[language]
    return spoken.sentence(spoken.phrases[code], facts or {}, unit)


def meaning_of(code: str, language: str = "en") -> str:
    """What a code means in general."""
    return LANGUAGES[language].words[code].meaning


def _told(alike: Sequence[Finding], unit: LengthUnit, language: Language, in_app: bool = False) -> Said:
    first = alike[0]
    words, places = language.words[first.code], language.listed([f.where for f in alike])
    facts: dict[str, Fact] = dict(first.facts)
    if len(alike) > 1:
        facts = {name: _joined([f.facts[name] for f in alike]) for name in facts}
    facts |= {"where": tuple(f.where for f in alike), "n": len(alike)}
    message = words.several if len(alike) > 1 else words.message
    wanted = words.in_app if in_app and words.in_app else words.remedy
    message, remedy = (language.sentence(text, facts, unit) for text in (message, wanted))
    return Said(first.code, first.severity, places, message, remedy)


def _joined(values: Sequence[Fact]) -> Fact:
    """One fact of several findings: every name once, numbers for their range, nothing where one has none."""
    members: list[Any] = []
    for value in values:
        members += value if isinstance(value, tuple) else [] if value is None else [value]
    return tuple(dict.fromkeys(members)) or None
