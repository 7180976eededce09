"""Findings and checks for the page: in words, in every language there is; the page shows the one that was chosen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from typing import Any

from phototemplate.errors import Fact, Finding
from phototemplate.units import LengthUnit
from phototemplate.wording import LANGUAGES, phrase, say, say_check

OTHERS = tuple(code for code in LANGUAGES if code != "en")


def finding_part(finding: Finding, unit: LengthUnit = "mm") -> dict[str, Any]:
    """A finding in English, with its words in other languages under ``said``."""
    return in_all(lambda language: asdict(say(finding, unit, language, in_app=True)))


def finding_parts(findings: Iterable[Finding], unit: LengthUnit = "mm") -> list[dict[str, Any]]:
    """Several findings in their order."""
    return [finding_part(f, unit) for f in findings]


def in_all(told: Callable[[str], Mapping[str, Any]]) -> dict[str, Any]:
    """What something says in English, with its words in other languages under ``said``."""
    return {**told("en"), "said": {code: dict(told(code)) for code in OTHERS}}


def phrase_part(code: str, facts: Mapping[str, Fact] | None = None, unit: LengthUnit = "mm") -> dict[str, Any]:
    """An answer of a study, as ``text``."""
    return in_all(lambda language: {"text": phrase(code, facts, unit, language)})


def check_part(rule: str, facts: Mapping[str, Fact], unit: LengthUnit) -> dict[str, Any]:
    """A check of the pieces: its title, what it found and the limit, likewise."""
    names = ("rule", "found", "limit")
    return in_all(lambda language: dict(zip(names, say_check(rule, facts, unit, language), strict=True)))
