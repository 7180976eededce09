"""Findings as data, and as they are worded."""

from __future__ import annotations

import ast
import pickle
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import phototemplate
from phototemplate import wording
from phototemplate.errors import FINDINGS, Finding, Kind, known
from phototemplate.wording import LANGUAGES, said, say
from phototemplate.wording.words import Language, Words, fields
from tests.finding_examples import example

PACKAGE = Path(phototemplate.__file__).parent
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_language_words_every_code_and_every_fact(language: str) -> None:
    words = LANGUAGES[language].words
    assert set(words) == set(FINDINGS)
    for code, kind in FINDINGS.items():
        one = words[code]
        used = {*fields(one.message), *fields(one.remedy)}
        assert used - {"where"} == set(kind.facts), code
        assert set(fields(one.several)) <= {*kind.facts, "where", "n"}, code
        assert "n" not in used, code
        assert set(fields(one.in_app)) <= set(kind.facts) | {"where"}, code
    english = LANGUAGES["en"]
    assert LANGUAGES[language].names.keys() == english.names.keys()
    assert LANGUAGES[language].units.keys() == english.units.keys()
    assert LANGUAGES[language].phrases.keys() == english.phrases.keys()
    for code, text in english.phrases.items():
        assert sorted(fields(LANGUAGES[language].phrases[code])) == sorted(fields(text)), code
    for rule, check in english.checks.items():
        other = LANGUAGES[language].checks[rule]
        assert {*fields(other.found), *fields(other.limit)} == {*fields(check.found), *fields(check.limit)}, rule


def test_an_uncertainty_is_never_written_as_nothing() -> None:
    low = Finding("cabinet-low", "C1", sheets=["S01"], off_mm=2.3, U_mm=0.04)
    assert say(low).message.endswith("(U 0.04 mm).")
    assert say(low, "in").message.endswith("(U 0.002 in).")
    sure = Finding("cabinet-low", "C1", sheets=["S01"], off_mm=2.3, U_mm=0.0)
    assert say(sure).message.endswith("(U 0.0 mm).")  # nothing else could be said of it


@pytest.mark.parametrize("code", FINDINGS)
@pytest.mark.parametrize("unit", ["mm", "in", "fraction", "feet"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_code_is_one_plain_sentence_for_one_and_for_many(code: str, unit: str, language: str) -> None:
    words = LANGUAGES[language].words[code]
    many = [example(code, f"place {k}", k) for k in range(13)]
    told = [say(many[0], unit, language, in_app=True), *said(many, unit, language)]  # type: ignore[arg-type]
    assert len(told) == (2 if words.several else 14)
    for one in told:
        assert one.message[0].isupper() or one.message.startswith(("place", "A0", "13 ")), one.message
        assert one.message.endswith((".", "?", ")")), one.message
        assert not any(sign in one.message + one.remedy for sign in "{}[]<>|"), one.message
        assert "  " not in one.message + one.remedy


def test_a_code_says_in_general_what_it_means() -> None:
    for code in FINDINGS:
        assert len(wording.meaning_of(code).split()) >= 3, code


def test_what_another_photo_cures_says_so() -> None:
    assert [c for c, kind in FINDINGS.items() if kind.retake and not LANGUAGES["en"].words[c].remedy] == []


def test_facts_are_plain_data() -> None:
    one = Finding("lens-differs", "cam", found_px=np.float64(3000.5), profile_px=np.float32(2900))
    assert type(one.facts["found_px"]) is float
    assert pickle.loads(pickle.dumps(one)) == one
    assert {one, Finding("lens-differs", "cam", found_px=3000.5, profile_px=2900.0)} == {one}
    assert known("lens-differs", dict(one.facts))
    assert not known("lens-differs", {"found_px": 1.0})
    with pytest.raises(AssertionError, match="wants the facts"):
        Finding("lens-differs", "cam", found_px=1.0)


def test_a_length_is_told_in_the_readers_unit() -> None:
    low = Finding("cabinet-low", "C1", sheets=["S01", "S02"], off_mm=3.175, U_mm=0.5)
    assert say(low).message == "The top at S01 and S02 lies 3.2 mm below the other cabinets (U 0.5 mm)."
    assert say(low, "in").message == "The top at S01 and S02 lies 0.12 in below the other cabinets (U 0.02 in)."
    assert say(low, "fraction").message.startswith('The top at S01 and S02 lies 1/8" below')


def test_what_has_one_sentence_for_many_is_said_once(monkeypatch: pytest.MonkeyPatch) -> None:
    kind = Kind("warning", ("blur_px", "n_points"))
    words = Words("a test of words", "{where} is blurred by {blur_px:.1f}, with {n_points:point|points}.", "Again.",
                  "{n:photo is|photos are} blurred by {blur_px:.1f}: {where}.")  # fmt: skip
    monkeypatch.setitem(FINDINGS, "photo-test", kind)
    english = replace(LANGUAGES["en"], words={**LANGUAGES["en"].words, "photo-test": words})
    monkeypatch.setitem(LANGUAGES, "en", english)
    many = [Finding("photo-test", f"IMG_{k}", blur_px=1.0 + k / 4, n_points=1 + k) for k in range(13)]
    shown = said([*many, many[3], Finding("lens-differs", "cam", found_px=1.0, profile_px=2.0)])
    assert [one.code for one in shown] == ["photo-test", "lens-differs"]
    assert shown[0].message == "13 photos are blurred by 1.0 to 4.0 px: IMG_0, IMG_1, IMG_2 and 10 more."
    assert say(many[0]).message == "IMG_0 is blurred by 1.0 px, with 1 point."
    assert say(many[4]).message == "IMG_4 is blurred by 2.0 px, with 5 points."


def test_parts_of_a_sentence_are_left_out_or_repeated() -> None:
    english = LANGUAGES["en"]
    text = "It differs[: {why}].< {names} is {given_mm:.0f}.>"
    facts: dict[str, Any] = {"why": None, "names": ("bar", "tape"), "given_mm": (1000.2, 2000.0)}
    assert english.sentence(text, facts) == "It differs. bar is 1000 mm. and  tape is 2000 mm."
    assert english.sentence(text, {**facts, "why": "size"}).startswith("It differs: size.")


def test_a_second_language_needs_no_code() -> None:
    polish = Language(
        {}, names={}, units={"mm": " mm"}, last=" i ", more="{n} inne", span="{low} do {high}", withheld="nie podano",
        plural=lambda n: 0 if n == 1 else 1 if 2 <= n % 10 <= 4 and not 12 <= n % 100 <= 14 else 2,
    )  # fmt: skip
    told = [polish.sentence("{n_photos:zdjęcie|zdjęcia|zdjęć}", {"n_photos": n}) for n in (1, 3, 5, 12, 22)]
    assert told == ["1 zdjęcie", "3 zdjęcia", "5 zdjęć", "12 zdjęć", "22 zdjęcia"]


# ------------------------------------------------------------------------------------------ where they are made


def _makers() -> Iterator[tuple[str, ast.Call]]:
    """Every call in the package that makes a finding."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "Finding":
                yield f"{path.relative_to(PACKAGE)}:{node.lineno}", node


def _codes(node: ast.AST) -> set[str]:
    """Literal codes that an expression can be: itself, or either side of a choice."""
    if isinstance(node, ast.Constant):
        return {str(node.value)}
    return _codes(node.body) | _codes(node.orelse) if isinstance(node, ast.IfExp) else set()


def test_every_place_that_makes_a_finding_gives_all_its_facts() -> None:
    wrong, used = [], set()
    for place, call in _makers():
        codes = _codes(call.args[0])
        used |= codes
        names = {k.arg for k in call.keywords}
        if None in names:  # the facts of another finding, passed on
            continue
        wrong += [f"{place}: a sentence in place of facts"] if len(call.args) > 2 else []
        wrong += [f"{place}: {code} with {sorted(map(str, names))}" for code in codes if names != set(FINDINGS[code].facts)]
    assert not wrong, "\n".join(wrong)


def test_few_places_are_all_named_and_none_twice() -> None:
    places = ("A", "B", "A", "C", "D")
    assert LANGUAGES["en"].listed(places) == "A, B, C and D"
    assert LANGUAGES["en"].listed([*places, "E"]) == "A, B, C and 2 more"
