"""Sentences of quotes: English text that can be told in every other language.

A :class:`Phrase` is its English text and stays usable as one; :func:`told` gives it in another language, together with the
phrases among its facts. Fields are those of :meth:`str.format`; numbers are written with the language's own marks, days with
its names of months.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from phototemplate.wording.english.quote import QUOTE as ENGLISH
from phototemplate.wording.german.quote import QUOTE as GERMAN

QUOTES: Mapping[str, Mapping[str, str]] = {"en": ENGLISH, "de": GERMAN}
"""Language -> its sentences"""
_MARKS = {"en": str.maketrans("", ""), "de": str.maketrans(",.", ".,")}
"""Thousands and decimals"""
_MONTHS = {
    "en": ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
           "December"),
    "de": ("Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November",
           "Dezember"),
}  # fmt: skip
_DAY = {"en": "{0.day:02d} {1} {0.year}", "de": "{0.day}. {1} {0.year}"}


class Phrase(str):
    """One sentence of the catalogue with its facts."""

    key: str
    facts: Mapping[str, Any]

    def __new__(cls, key: str, **facts: Any) -> Phrase:
        """The English text."""
        made = super().__new__(cls, _text(key, facts, "en"))
        made.key, made.facts = key, facts
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (self.key, dict(self.facts))


def _again(key: str, facts: Mapping[str, Any]) -> Phrase:
    return Phrase(key, **facts)


def told(text: str, language: str) -> str:
    """A text in a language; one that is no phrase, a name somebody gave, stays as it is."""
    return _text(text.key, text.facts, language) if isinstance(text, Phrase) else text


def day_words(day: date, language: str) -> str:
    """``14 March 2026``"""
    return _DAY[language].format(day, _MONTHS[language][day.month - 1])


def called(group: str, name: str) -> str:
    """What the program calls a kind of thing; a name that it does not know stays as it is."""
    key = f"{group}-{name}"
    return Phrase(key) if key in ENGLISH else name


def _text(key: str, facts: Mapping[str, Any], language: str) -> str:
    return QUOTES[language][key].format(**{name: _Fact(value, language) for name, value in facts.items()})


class _Fact:
    """A fact as a format field."""

    def __init__(self, value: Any, language: str) -> None:
        self.value, self.language = value, language

    def __format__(self, spec: str) -> str:
        if isinstance(self.value, date):
            return day_words(self.value, self.language)
        if isinstance(self.value, str):
            return told(self.value, self.language)
        if isinstance(self.value, Sequence):
            return ", ".join(told(v, self.language) for v in self.value)
        return format(self.value, spec).translate(_MARKS[self.language])
