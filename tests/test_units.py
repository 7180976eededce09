"""Lengths as people write them. 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phototemplate.errors import InputError
from phototemplate.units import LengthUnit, format_length, parse_length_mm


@pytest.mark.parametrize(("text", "mm"), [
    ('25 1/2"', 647.7), ("25-1/2", 647.7), ("25-1/2 in", 647.7), ('2\' 1 1/2"', 647.7), ("2'-1 1/2\"", 647.7),
    ("2 ft 1-1/2 in", 647.7), ("25.5 in", 647.7), ('25.5"', 647.7), ("25½”", 647.7), ("½ in", 12.7), ("1/16", 1.5875),
    ("650 mm", 650.0), ("65 cm", 650.0), ("0.65 m", 650.0), (".5 in", 12.7), ("8'", 2438.4), ("8 ft", 2438.4),
    ("2'6", 762.0), ("30in", 762.0), ("30 inches", 762.0), ("-1/2 in", -12.7), ("-3 mm", -3.0), ("0.5'", 152.4),
    ("2′ 1 1⁄2″", 647.7), ("1 m", 1000.0), (647.7, 647.7), (12, 12.0), ("0' 6\"", 152.4), ("3' 1/2\"", 927.1),
])
def test_parse(text: str, mm: float) -> None:
    assert parse_length_mm(text) == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize(("text", "says"), [
    ("25.5", "no unit"), ("25", "no unit"), ("1,500 mm", "comma"), ("25,5 in", "comma"), ("25 1/2 mm", "fraction"),
    ("25 - 1/2", "difference"), ("25 -1/2", "difference"), ("5-6", "feet and inches or a range"),
    ("3/2 in", "fraction"),
    ("25 1/3 in", "no tape"), ("25 0/2", "between 0 and 1"), ("2' 13\"", "12 or more"), ("2.5' 3\"", "decimal feet"),
    ("", "missing"), ("wide", "not a length"), ("25 1/2 +", "not a length"), ("1 1/2 3 in", "not a length"),
    ("25 1/2 1/4", "not a length"), ("'", "not a length"), ('"', "not a length"), ("in", "not a length"),
    ("25.5 1/2 in", "not a length"), ("1/0", "no tape"), ("--3 mm", "not a length"), (True, "not a length"),
    (float("nan"), "not a length"), ("10 km", "not a length"), ("25..5 mm", "not a length"),
    ("2' 3' 4\"", "not a length"),
])
def test_ambiguous_or_wrong_is_refused_in_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        parse_length_mm(text)
    message = str(caught.value)
    assert message.endswith(".")
    assert "\n" not in message


def test_default_unit_decides_a_bare_number() -> None:
    assert parse_length_mm("25", "in") == pytest.approx(635.0)
    assert parse_length_mm("25", "mm") == 25.0
    assert parse_length_mm("-25.5", "mm") == -25.5


@pytest.mark.parametrize(("mm", "unit", "denominator", "text"), [
    (647.7, "mm", 16, "647.7"), (647.7, "in", 16, "25.500"), (647.7, "fraction", 16, '25 1/2"'),
    (647.7, "feet", 16, '2\' 1 1/2"'), (304.7, "feet", 16, '1\' 0"'), (304.7, "fraction", 16, '12"'),
    (0.0, "fraction", 16, '0"'), (1.5875, "fraction", 16, '1/16"'), (0.79, "fraction", 32, '1/32"'),
    (-12.7, "fraction", 16, '-1/2"'), (3048.0, "feet", 32, "10' 0\""), (0.1, "feet", 16, '0"'),
    (-0.1, "fraction", 16, '0"'),
    (927.1, "feet", 16, "3' 1/2\""),
])
def test_format(mm: float, unit: str, denominator: int, text: str) -> None:
    assert format_length(mm, unit, denominator) == text  # type: ignore[arg-type]


@given(st.floats(-20_000, 20_000), st.sampled_from(get_args(LengthUnit)), st.sampled_from([16, 32]))
def test_what_is_written_can_be_read_back(mm: float, unit: str, denominator: int) -> None:
    text = format_length(mm, unit, denominator)  # type: ignore[arg-type]
    back = parse_length_mm(text, "in" if unit == "in" else "mm")
    half_step = {"mm": 0.05, "in": 0.0005 * 25.4}.get(unit, 25.4 / denominator / 2)
    assert abs(back - mm) <= half_step * (1 + 1e-9)
