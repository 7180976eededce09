"""What the page says and how it looks: every word in one place, contrast as WCAG 2.1 asks for (1.4.3 and 1.4.11)."""

from __future__ import annotations

import ast
import json
import re

import pytest

from phototemplate import wording
from phototemplate.edges.readings.constants import LOOKS
from phototemplate.job import JobFile
from phototemplate.model import EdgeKind, ShapeKind
from phototemplate.template.rules import CAUTION_CODES
from phototemplate.web.app import STATIC

JS = {p.name: p.read_text(encoding="utf-8") for p in STATIC.glob("*.js")}
LANGUAGES = {
    name.split(".")[1]: dict(re.findall(r"^  '?([A-Za-z0-9 ._-]+?)'?: '((?:[^'\\]|\\.)*)',$", text, re.MULTILINE))
    for name, text in JS.items() if re.fullmatch(r"text\.[a-z]{2}\.js", name)
}  # fmt: skip
TEXTS = LANGUAGES["en"]


def used_keys() -> set[str]:
    return {k for name, text in JS.items() if not name.startswith("text.") for k in re.findall(r"\bt\('([^'$]+)'", text)}


def test_every_word_used_is_there() -> None:
    assert len(TEXTS) > 300
    missing = used_keys() - TEXTS.keys()
    assert not missing, sorted(missing)


def test_every_family_of_words_is_complete() -> None:
    wanted = {f"kind.{k}" for k in EdgeKind.__args__} | {f"shape.{k}" for k in ShapeKind.__args__}  # type: ignore[attr-defined]
    wanted |= {f"source.{s}" for s in ("trace", "contact", "strip")} | {f"severity.{s}" for s in ("note", "warning", "serious")}
    wanted |= {f"nav.{p}" for p in re.findall(r"\['([a-z]+)', \(\) => import", JS["main.js"].split("ANYWHERE")[0])}
    assert not wanted - TEXTS.keys()
    # labels of changes, as the pages send them
    sent = {k for text in JS.values() for k in re.findall(r"\bedit\('([a-z-]+)'", text)}
    assert sent
    assert not {f"change.{k}" for k in sent} - TEXTS.keys()


ELSEWHERE = {"PieceEdgeSpec": ("finish", "shape", "align"), "PaperSpec": ("lies_on", "thickness_by_sheet_mm")}
"""What pages ask for in words of their own: the table of edges, what lies under the sheets"""


def test_what_the_job_file_knows_has_words() -> None:
    """Every field and choice of the things that the app makes forms for, as the job file's own rules have them."""
    forms = set(re.findall(r"rules: '(\w+)'|schemaOf\('(\w+)'\)", "".join(JS.values())))
    rules = JobFile.model_json_schema()["$defs"]
    todo, seen = [a or b for a, b in forms], set()
    missing: list[str] = []
    while todo:
        name = todo.pop()
        if name in seen:
            continue
        seen.add(name)
        for field, node in rules[name]["properties"].items():
            text = json.dumps(node)
            todo += re.findall(r"#/\$defs/(\w+)", text)
            if field in ELSEWHERE.get(name, ()):
                continue
            missing += [] if {f"field.{name}.{field}", f"field.{field}"} & TEXTS.keys() else [f"{name}.{field}"]
            choices = [c for group in re.findall(r'"enum": \[(.*?)\]', text) for c in re.findall(r'"([^"]+)"', group)]
            missing += [f"{field}: {c}" for c in choices if not {f"choice.{field}.{c}", f"choice.{c}"} & TEXTS.keys()]
    assert {"DrawnSpec", "BuildUpSpec", "MakerSheetSpec", "SitePhotoSpec", "CentreLineSpec"} <= seen
    assert not missing, missing


def test_every_language_is_complete() -> None:
    for code, texts in LANGUAGES.items():
        assert not TEXTS.keys() ^ texts.keys(), code
        for key, text in TEXTS.items():
            # the same facts are filled in
            assert set(re.findall(r"\{\w+\}", text)) == set(re.findall(r"\{\w+\}", texts[key])), (code, key)
    offered = set(re.findall(r"(\w\w): '", re.search(r"LANGUAGES = \{(.*?)\}", JS["text.js"]).group(1)))
    assert offered == LANGUAGES.keys()


def test_every_refusal_has_a_sentence() -> None:
    """Python sends codes, the page words them; the command line's own sentences are in serve.py."""
    codes: set[str] = set()
    for path in STATIC.parent.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        codes |= set(re.findall(r"(?:refusal|Refused|__init__)\(\s*\"([a-z-]+)\"", text))
        codes |= set(re.findall(r"\"refused\", \"([a-z-]+)\"", text))
        if path.name == "serve.py":
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                name = ast.unparse(node.exc.func)
                literals = [a for a in ast.walk(node.exc) if isinstance(a, ast.Constant) and isinstance(a.value, str)]
                sentence = any(re.search("[a-z]{2,} [a-z]{2,}", str(c.value)) for c in literals)
                wordy = sentence and name not in ("Refused", "HTTPException")
                assert not wordy, (path.name, node.lineno)
    assert {"foreign-host", "photo-too-large", "photo-twice", "nothing-to-undo", "conflict", "bug"} <= codes
    shown = codes - {"header-twice", "wrong-key"}  # answers that no page of ours can get
    assert not {f"error.{c}" for c in shown} - TEXTS.keys()


def test_no_words_outside_the_text_file() -> None:
    """Text of an element, a label or a notice is never written where it is used."""
    for name, text in JS.items():
        if name.startswith("text."):
            continue
        bare = re.findall(r"(?:aria-label|title|placeholder)'?: '([^']*[a-z]{3,}[^']*)'", text)
        bare += re.findall(r"notice\('([^']+)'", text) + re.findall(r"button\('([^']+)'", text)
        bare += re.findall(
            r"h\('(?:p|h1|h2|h3|span|b|label|li|td|th|legend|summary)', \{[^{}]*\}, '([^']*[A-Za-z]{3,}[^']*)'", text
        )
        assert not [b for b in bare if re.search("[A-Za-z]{2}", b)], name


def colours(dark: bool) -> dict[str, str]:
    css = (STATIC / "style.css").read_text(encoding="utf-8")
    light_part, dark_part = re.findall(r":root \{(.*?)\}", css, re.S)[:2]
    out = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})\b", light_part))
    return out | dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})\b", dark_part)) if dark else out


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula_against_the_standard() -> None:
    # black on white is 21:1; #767676 on white is the well-known lightest grey that passes 4.5:1
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


GROUNDS = ("paper", "sheet-bg", "card")
WORDS = (
    [("ink", g) for g in (*GROUNDS, "main-soft", "note-bg", "look-bg", "short-bg", "good-bg")]
    + [("soft", g) for g in GROUNDS]
    + [(s, g) for s in ("good", "look", "short", "note", "main") for g in GROUNDS]
    + [
        ("main-ink", "main"),
        ("paper", "look"),
        ("short", "short-bg"),
        ("look", "look-bg"),
        ("good", "good-bg"),
        ("note", "note-bg"),
    ]
)
SHAPES = (
    [(s, g) for s in ("rule-strong", "focus") for g in GROUNDS]
    + [(f"class-{c}", g) for c in "abcde" for g in ("paper", "card")]
    + [(s, "paper") for s in ("sheet", "strip", "stone", "seam", "hint", "mark")]
)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("front", "ground"), WORDS)
def test_words_can_be_read(front: str, ground: str, dark: bool) -> None:
    c = colours(dark)
    assert contrast(c[front], c[ground]) >= 4.5, f"{front} on {ground}: {contrast(c[front], c[ground]):.2f}"


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("front", "ground"), SHAPES)
def test_shapes_can_be_seen(front: str, ground: str, dark: bool) -> None:
    c = colours(dark)
    assert contrast(c[front], c[ground]) >= 3.0, f"{front} on {ground}: {contrast(c[front], c[ground]):.2f}"


def test_every_reading_of_a_line_has_words() -> None:
    for language in wording.LANGUAGES.values():
        assert {f"reading-{reading}" for reading in LOOKS} <= language.phrases.keys()
        assert set(CAUTION_CODES) <= language.phrases.keys()
