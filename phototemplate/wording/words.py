"""How a sentence is written in the catalogue, and how facts are put into it.

A sentence is a :meth:`str.format` text whose fields are the finding's facts, ``where`` it is, and ``n``, how many findings it
speaks for:

* ``{rise_mm:.1f}`` is a length in the reader's unit, ``2.3 mm`` or ``0.09 in``. Other numbers get the unit that their name
  ends with: ``{blur_px:.1f}`` is ``2.3 px``. Where several findings are told in one sentence, numbers are ranges: ``1.2 to
  3.4 px``.
* ``{n_points:point|points}`` is ``1 point`` or ``13 points``; a language may have more forms (:attr:`Language.plural`).
* ``{sheets}`` is ``S01, S02 and S03``, or ``S01, S02, S03 and 9 more``.
* ``{remedy}`` that is a finding of its own, something to do, is its whole sentence.
* ``[ The photos do determine {known}.]`` is left out where one of its facts is None or an empty list.
* ``<{names}: {given_mm:.1f} given>`` is said once for each of the parallel lists' members.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from string import Formatter

from phototemplate.errors import Fact, Finding
from phototemplate.units import LengthUnit, format_length
from phototemplate.wording.constants import MOST_DECIMALS, MOST_NAMES

Facts = Mapping[str, Fact]

USUAL_SPEC = {"mm": ".1f", "px": ".1f", "deg": ".1f"}
"""Number format where a field gives none, by the unit its name ends with"""


@dataclass(frozen=True)
class Words:
    """What one code says in one language."""

    meaning: str
    """In general, without facts: a few words"""
    message: str
    """One sentence: what was seen"""
    remedy: str = ""
    """One sentence: what to do, empty if nothing"""
    several: str = ""
    """One sentence for many findings of this code; where empty each is told by itself"""
    in_app: str = ""
    """What to do, for somebody who has the app before him; where empty as ``remedy``"""


@dataclass(frozen=True)
class CheckWords:
    """What one check of the pieces says in one language; its texts take the check's facts as sentences do."""

    title: str
    found: str
    limit: str


@dataclass(frozen=True)
class Language:
    """One language: its sentences and its grammar."""

    words: Mapping[str, Words]
    """Code -> what it says"""
    units: Mapping[str, str]
    """Ending of a fact's name -> what follows the number, with its space"""
    names: Mapping[str, str]
    """What the values of facts whose name ends with ``_word`` or ``_words`` are called"""
    last: str
    """Between the last two of several names"""
    more: str
    """``{n}`` further names"""
    span: str
    """A range from ``{low}`` to ``{high}``"""
    withheld: str
    """In place of an uncertainty that cannot be stated"""
    checks: Mapping[str, CheckWords] = field(default_factory=dict)
    """Rule -> what its check says"""
    phrases: Mapping[str, str] = field(default_factory=dict)
    """Answers of the studies, by their code"""
    plural: Callable[[int], int] = lambda n: int(n != 1)
    """Which of a word's forms goes with a number"""

    def listed(self, names: Sequence[str]) -> str:
        """Several names as one reads them, each once."""
        names = list(dict.fromkeys(names))
        if len(names) > MOST_NAMES:
            names = [*names[: MOST_NAMES - 1], self.more.format(n=len(names) - MOST_NAMES + 1)]
        return self.last.join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)

    def sentence(self, text: str, facts: Facts, unit: LengthUnit = "mm") -> str:
        """``text`` with its facts."""
        text = re.sub(r"\[([^\[\]]*)\]", lambda m: m[1] if all(_there(facts[f]) for f in fields(m[1])) else "", text)
        text = re.sub(r"<([^<>]*)>", lambda m: self._each(m[1], facts, unit), text)
        return text.format(**{name: _Spoken(name, value, self, unit) for name, value in facts.items()})

    def told(self, finding: Finding, unit: LengthUnit = "mm") -> str:
        """The message of one finding."""
        return self.sentence(self.words[finding.code].message, {**finding.facts, "where": finding.where}, unit)

    def _each(self, clause: str, facts: Facts, unit: LengthUnit) -> str:
        """A clause once for each member of the parallel lists in it."""
        lists = {name: value for name in fields(clause) if isinstance(value := facts[name], tuple)}
        rows = [dict(zip(lists, row, strict=True)) for row in zip(*lists.values(), strict=True)]
        return self.listed([self.sentence(clause, {**facts, **row}, unit) for row in rows])


def fields(text: str) -> list[str]:
    """Names of the facts in a sentence."""
    return [name for _, name, _, _ in Formatter().parse(re.sub(r"[\[\]<>]", "", text)) if name]


def _there(value: Fact) -> bool:
    return value is not None and value not in ("", ())


@dataclass(frozen=True)
class _Spoken:
    """A fact as a format field."""

    name: str
    value: Fact
    language: Language
    unit: LengthUnit

    def __format__(self, spec: str) -> str:
        if isinstance(self.value, Finding):
            return self.language.told(self.value, self.unit)
        if self.value is None and "U" in self.name.split("_"):
            return self.language.withheld
        values = self.value if isinstance(self.value, tuple) else (self.value,)
        numbers = [v for v in values if isinstance(v, (int, float))]
        if not numbers:
            names = [v for v in values if isinstance(v, str)]
            called = self.language.names if self.name.endswith(("_word", "_words")) else {}
            return self.language.listed([called[n] if called else n for n in names])
        if "|" in spec:
            return f"{self._number(numbers, '')} {spec.split('|')[self.language.plural(int(max(numbers)))]}"
        return self._number(numbers, spec)

    def _number(self, numbers: Sequence[float], spec: str) -> str:
        """One number, or the range of several, with its unit."""
        ending = self.name.rpartition("_")[2]
        if "U" in self.name.split("_") and self.unit in ("fraction", "feet"):  # a fraction of a tape does not tell it
            return replace(self, unit="in")._number(numbers, spec)
        spec = spec or ("d" if all(isinstance(v, int) for v in numbers) else USUAL_SPEC.get(ending, ".3g"))
        write = self._length if ending == "mm" and self.unit != "mm" else format
        if "U" in self.name.split("_"):
            spec = _not_zero(spec, min(numbers), write)
        low, high = write(min(numbers), spec), write(max(numbers), spec)
        after = self.language.units.get(ending, "")
        if ending == "mm" and self.unit != "mm":
            after = " in" if self.unit == "in" else ""
        return (low if low == high else self.language.span.format(low=low, high=high)) + after

    def _length(self, mm: float, spec: str) -> str:
        """A length in inches, with one decimal more than it has in mm."""
        decimals = int((re.search(r"\.(\d)", spec) or [0, 1])[1]) + 1
        sign = "+" if spec.startswith("+") and mm >= 0 else ""
        return sign + format_length(mm, self.unit, decimals=decimals)


def _not_zero(spec: str, U: float, write: Callable[[float, str], str]) -> str:
    """``spec`` with as many decimals more as an uncertainty needs not to be written as nothing."""
    decimals = re.search(r"\.(\d)f", spec)
    if decimals is None or not U > 0.0:
        return spec
    for more in range(int(decimals[1]), MOST_DECIMALS + 1):
        spec = f".{more}f"
        if float(write(U, spec)):
            break
    return spec
