"""Findings and checks for the page: in words, in every language there is; the page shows the one that was chosen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from phototemplate.errors import Fact, Finding
from phototemplate.units import LengthUnit
from phototemplate.wording import LANGUAGES, say, say_check

OTHERS = tuple(code for code in LANGUAGES if code != "en")


def finding_part(finding: Finding, unit: LengthUnit = "mm") -> dict[str, Any]:
    """A finding in English, with its words in other languages under ``said``."""
    other = {code: say(finding, unit, code, in_app=True) for code in OTHERS}
    return {
        **asdict(say(finding, unit, in_app=True)),
        "said": {code: {"where": one.where, "message": one.message, "remedy": one.remedy} for code, one in other.items()},
    }


def finding_parts(findings: Iterable[Finding], unit: LengthUnit = "mm") -> list[dict[str, Any]]:
    """Several findings in their order."""
    return [finding_part(f, unit) for f in findings]


def check_part(rule: str, facts: Mapping[str, Fact], unit: LengthUnit) -> dict[str, Any]:
    """A check of the pieces: its title, what it found and the limit, likewise."""
    names = ("rule", "found", "limit")
    said = {code: dict(zip(names, say_check(rule, facts, unit, code), strict=True)) for code in OTHERS}
    return {**dict(zip(names, say_check(rule, facts, unit), strict=True)), "said": said}
