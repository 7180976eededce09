"""Lengths as people write them: millimetres, decimal inches, fractional inches, feet and inches.

Inside the project everything is mm (1 in = 25.4 mm exactly). What could be read two ways is refused with one sentence
rather than guessed: a slab cut 25 mm long instead of 25 in cannot be mended.
"""

from __future__ import annotations

import locale
import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, PlainSerializer, SerializationInfo, ValidationInfo

from phototemplate.errors import InputError

LONGEST_MM: Final = 1e6
"""mm. Longer lengths are slips of the pen. Convention: a kilometre."""
INCH_MM: Final = 25.4
"""mm. An inch. Source: the international yard and pound agreement, 1959."""

WITHHELD: Final = "withheld"
"""What stands in place of an uncertainty that cannot be stated"""

LengthUnit = Literal["mm", "in", "fraction", "feet"]
"""How lengths are shown: mm, decimal inches, inches and fractions, feet with inches and fractions"""

_METRIC: Final = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000)}
"""mm. Metric units. Source: the SI."""
_GLYPHS = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
    "″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "‘": "'", "–": "-", "−": "-", "⁄": "/", "\u00a0": " ",
}  # fmt: skip
_DENOMINATORS: Final = (2, 4, 8, 16, 32, 64)
"""count. Parts of an inch that are read. Convention: those on a tape measure, and 1/64 for callipers."""

LETTER_COUNTRIES: Final = frozenset(["BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"])
"""Where paper is Letter; A4 everywhere else. Source: Unicode CLDR, supplemental data, paperSize (from memory)."""


def usual_paper(environment: Mapping[str, str] | None = None) -> Literal["A4", "Letter"]:
    """Paper of the country this machine is set up for (LC_ALL, LC_PAPER, LANG, or the system's own words); Letter where it
    does not say."""
    from_system = environment is None
    environment = os.environ if environment is None else environment
    said = next((environment[k] for k in ("LC_ALL", "LC_PAPER", "LANG") if environment.get(k)), "")
    if from_system and "_" not in said:
        said = locale.getlocale()[0] or ""  # Windows and macOS tell it there
    country = re.match(r"[A-Za-z]+[_-]([A-Z]{2})", said)
    return "Letter" if country is None or country[1] in LETTER_COUNTRIES else "A4"


_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_INCHES = r"(?:(?P<whole>\d+)(?:-|\s+)(?=\d+/))?(?P<num>\d+)/(?P<den>\d+)"
_IMPERIAL = re.compile(
    rf"""^(?P<sign>-)?\s*
    (?:(?P<feet>{_NUMBER})\s*(?:'|ft\.?|feet|foot)\s*-?\s*)?
    (?:(?:{_INCHES}|(?P<decimal>{_NUMBER}))\s*(?P<mark>"|''|in\.?|inch|inches)?)?$""",
    re.VERBOSE | re.IGNORECASE,
)
_METRIC_TEXT = re.compile(rf"^(?P<sign>-)?\s*(?P<number>{_NUMBER})\s*(?P<unit>mm|cm|m)$", re.IGNORECASE)


def parse_length_mm(text: str | float | int, default_unit: Literal["mm", "in"] | None = None) -> float:
    """A length in mm from what somebody wrote.

    Numbers (not text) are mm. Text needs a unit, a foot or inch mark, or a fraction (fractions are inches): ``650 mm``,
    ``25.5 in``, ``25 1/2"``, ``25-1/2``, ``2' 1 1/2"``. ``default_unit`` is what bare numbers in a text mean; without
    it they are refused.

    Raises:
        InputError: not a length, or readable in more than one way.
    """
    if isinstance(text, bool):
        raise InputError(f"{text!r} is not a length; write a number of mm or a text such as '25 1/2 in'.")
    if isinstance(text, (int, float)):
        return _within_reach(text, text)
    clean = text
    for glyph, plain in _GLYPHS.items():
        # a glyph fraction stands right behind its whole number: 25½ is 25 1/2, not 251/2
        clean = re.sub(rf"(?<=\d){re.escape(glyph)}", f" {plain}", clean) if "/" in plain and len(plain) > 1 else clean
        clean = clean.replace(glyph, plain)
    clean = clean.strip()
    if not clean:
        raise InputError("A length is missing; write for example 650 mm or 25 1/2 in.")
    if "," in clean:
        raise InputError(f"{text!r} has a comma, which could be a decimal sign or group thousands; write a point.")
    if re.search(r"\d\s+-\s*\d+/|\d-\s+\d+/", clean):
        raise InputError(f"{text!r} could be a difference; write 25-1/2 or 25 1/2 without spaces around the hyphen.")
    metric = _METRIC_TEXT.match(clean)
    if metric:
        value = Fraction(metric["number"]) * _METRIC[metric["unit"].lower()]
        return _within_reach(-value if metric["sign"] else value, text)
    if re.search(r"/", clean) and re.search(r"[cm]?m$", clean, re.IGNORECASE):
        raise InputError(f"{text!r} mixes a fraction with a metric unit; write inches, or mm with decimals.")
    match = _IMPERIAL.match(clean)
    if not match or all(match[g] is None for g in ("feet", "num", "decimal")):
        if re.fullmatch(r"-?\d+\s*-\s*\d+(\s*(\"|in))?", clean):
            raise InputError(f"{text!r} could mean feet and inches or a range; write 5' 6\" or a single length.")
        raise InputError(f"{text!r} is not a length; write for example 650 mm, 25 1/2 in, 25.5 in or 2' 1 1/2\".")
    inches = _inches(match, text)
    if match["feet"] is None:
        if match["decimal"] is not None and not match["mark"]:
            if default_unit is None:
                raise InputError(f"{text!r} has no unit and could be mm or inches; write {text.strip()} mm or "
                                 f"{text.strip()} in.")
            if default_unit == "mm":
                number = Fraction(match["decimal"])
                return _within_reach(-number if match["sign"] else number, text)
        total = inches
    else:
        if "." in match["feet"] and inches:
            raise InputError(f"{text!r} has decimal feet and inches together; write whole feet and inches.")
        if inches >= 12:
            raise InputError(f"{text!r} has 12 or more inches after the feet; write the feet and inches meant.")
        total = 12 * Fraction(match["feet"]) + inches
    millimetres = total * Fraction(254, 10)
    return _within_reach(-millimetres if match["sign"] else millimetres, text)


def _within_reach(mm: Fraction | float, text: object) -> float:
    """A length as a float. Raises ``InputError`` where it is not finite or longer than anything in a building."""
    if not -LONGEST_MM <= mm <= LONGEST_MM:  # NaN is not
        shown = str(text)
        shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
        raise InputError(f"{shown} is not a length that is measured here; write one of at most {LONGEST_MM / 1e6:g} km.")
    return float(mm)


def _inches(match: re.Match[str], text: str) -> Fraction:
    """Inches of a match, fraction checked."""
    if match["decimal"] is not None:
        return Fraction(match["decimal"])
    if match["num"] is None:
        return Fraction(0)
    numerator, denominator = int(match["num"]), int(match["den"])
    if denominator not in _DENOMINATORS:
        raise InputError(f"{text!r} has a fraction that no tape shows; use halves, quarters, 8ths to 64ths.")
    if numerator >= denominator or numerator == 0:
        raise InputError(f"{text!r} has the fraction {numerator}/{denominator}, which should lie between 0 and 1; "
                         "check what was meant.")
    return Fraction(int(match["whole"] or 0)) + Fraction(numerator, denominator)


def format_U(U: float, decimals: int = 2, unit: str = "") -> str:
    """An expanded uncertainty as it is printed; :data:`WITHHELD` where none can be stated (not finite)."""
    return f"{U:.{decimals}f}{unit}" if math.isfinite(U) else WITHHELD


def plus_minus(U: float, decimals: int = 2, unit: str = "") -> str:
    """The same behind the number that it belongs to."""
    return f"±{format_U(U, decimals, unit)}" if math.isfinite(U) else f"U {WITHHELD}"


@dataclass
class BareNumbers:
    """Validation context of a file that people write: what a length means that has no unit.

    Without this context, as between parts of the program, a number is mm.
    """

    refused: bool
    """True: only mm that the file or the key's name states (``thickness_mm``) and zero are taken"""
    taken: list[str] = field(default_factory=list)
    """Key and number of those that were taken for mm without being stated"""


def _validated(value: object, info: ValidationInfo) -> float:
    if not isinstance(value, (str, int, float)):
        raise InputError(f"{value!r} is not a length; write a text with its unit such as '650 mm' or '25 1/2 in'.")
    bare = info.context
    if isinstance(bare, BareNumbers) and not isinstance(value, (str, bool)) and value != 0:
        name = info.field_name or ""
        if not name.endswith("_mm"):
            if bare.refused:
                text = str(value)[:20]
                raise InputError(f'{text} has no unit and could be mm or inches; write "{text} mm" or "{text} in".')
            bare.taken.append(f"{name} = {value}")
    return parse_length_mm(value)


def _with_unit(mm: float, info: SerializationInfo) -> float | str:
    return f"{mm:.15g} mm" if info.context == WITH_UNITS else mm


WITH_UNITS: Final = "with units"
"""Serialization context of a file that people read: lengths are texts with their unit"""

Length = Annotated[float, BeforeValidator(_validated), PlainSerializer(_with_unit, when_used="json")]
"""Field of a job file: a text with its unit, or mm as a number (:class:`BareNumbers` says where that is refused)"""


def format_length(mm: float, unit: LengthUnit = "mm", denominator: int = 16, decimals: int | None = None) -> str:
    """A length as text: ``647.7``, ``25.500``, ``25 1/2"`` or ``2' 1 1/2"``.

    mm have 1 decimal and inches 3 unless told otherwise; fractions are rounded to 1/``denominator`` in (half to even).
    """
    if unit == "mm":
        return f"{mm:.{1 if decimals is None else decimals}f}"
    if unit == "in":
        return f"{mm / INCH_MM:.{3 if decimals is None else decimals}f}"
    if denominator not in (1, *_DENOMINATORS):
        raise InputError(f"1/{denominator} in is not a step of a tape; use 1/16 or 1/32.")
    steps = round(abs(mm) / INCH_MM * denominator)
    sign = "-" if mm < 0 and steps else ""
    whole, rest = divmod(steps, denominator)
    fraction = Fraction(rest, denominator)
    part = f"{fraction.numerator}/{fraction.denominator}" if rest else ""
    if unit == "feet":
        feet, whole = divmod(whole, 12)
        inches = " ".join(p for p in (str(whole) if whole or not part else "", part) if p)
        return f"{sign}{feet}' {inches}\"" if feet else f"{sign}{inches}\""
    return sign + " ".join(p for p in (str(whole) if whole or not part else "", part) if p) + '"'
