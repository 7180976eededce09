"""Findings with made-up facts, one for every code."""

from __future__ import annotations

import re

from phototemplate.errors import FINDINGS, Fact, Finding
from phototemplate.wording import LANGUAGES
from phototemplate.wording.words import fields

NUMBERS = ("mm", "px", "deg", "kg", "lb", "percent", "ratio", "value", "megapixels")
"""Endings of the facts that are numbers; those that count begin with ``n_``"""


def example(code: str, where: str = "place", k: int = 0) -> Finding:
    """A finding of ``code`` about ``where``; another ``k`` has other facts."""
    facts: dict[str, Fact] = {}
    words = LANGUAGES["en"].words[code]
    repeated = {name for clause in re.findall(r"<(.*?)>", words.message + words.remedy) for name in fields(clause)}
    for name in FINDINGS[code].facts:
        if name.startswith("n_"):
            facts[name] = 3 + k
        elif name.rpartition("_")[2] in NUMBERS:
            facts[name] = 1.25 + k
        elif name.endswith(("_word", "_words")):
            facts[name] = next(iter(LANGUAGES["en"].names))
        else:
            facts[name] = (f"A{k}", f"B{k}")
        value = facts[name]
        if name in repeated and isinstance(value, float | int | str):
            facts[name] = (value, value)
    return Finding(code, where, **facts)
