"""Every import inside the package is one that DEVELOPERS.md's table of rooms allows; only ``cli`` and ``web`` print or exit."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import phototemplate

PACKAGE = Path(phototemplate.__file__).parent
EVERYBODYS = {"__version__"}
"""Names of the package itself"""


def allowed_by(text: str) -> dict[str, set[str]]:
    """What each room may import, as the table in ``text`` says: rooms, or parts of rooms with a dot.

    The columns are rooms, what they hold, and what they may import: ``words`` (the first row's rooms), ``all above``,
    ``each other``, ``those before them`` in the same row, or rooms and their parts by name.
    """
    table = text.split("| room | holds | may import |")[1].split("\n\n")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.strip().splitlines()[1:]]
    allowed: dict[str, set[str]] = {}
    words: set[str] = set()
    for first, _, last in rows:
        rooms = [name.removesuffix(".py").removesuffix("/") for name in re.findall(r"`([^`]+)`", first)]
        words = words or set(rooms)
        above = set(allowed)
        for i, room in enumerate(rooms):
            allowed[room] = set()
            for entry in last.split(", "):
                meaning = {"words": words, "all above": above, "each other": set(rooms), "those before them": set(rooms[:i])}
                named = re.fullmatch(r"`([a-z_.]+)`", entry)
                assert named or entry in meaning, f"the table says {entry!r}, which nobody understands"
                allowed[room] |= {named[1]} if named else meaning[entry]
    return allowed


def _imports(path: Path) -> Iterator[tuple[int, str]]:
    """Line and dotted name, without the package's own, of whatever a module imports from the package."""
    inside = path.relative_to(PACKAGE.parent).with_suffix("").parts
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if not isinstance(node, ast.Import | ast.ImportFrom):
            continue
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        else:
            base = [*inside[: len(inside) - node.level]] if node.level else []
            names = [".".join([*base, *filter(None, [node.module]), a.name]) for a in node.names]
        yield from ((node.lineno, n.removeprefix("phototemplate.")) for n in names if n.startswith("phototemplate."))


def test_every_import_is_one_that_the_table_allows() -> None:
    allowed = allowed_by((PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8"))
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        if room in ("__init__", "__main__"):
            continue
        for line, name in _imports(path):
            other = name.split(".")[0]
            may = other == room or name in EVERYBODYS or any(f"{name}.".startswith(f"{a}.") for a in allowed[room])
            if not may:
                wrong.append(f"{path.relative_to(PACKAGE)}:{line} imports {name}")
    assert not wrong, "\n".join(wrong)


def test_the_table_names_every_room_and_no_other() -> None:
    allowed = allowed_by((PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8"))
    there = {p.name.removesuffix(".py") for p in PACKAGE.iterdir() if p.suffix == ".py" or (p / "__init__.py").is_file()}
    assert set(allowed) == there - {"__init__", "__main__"}


def test_a_table_is_read_as_it_is_written() -> None:
    table = """
| room | holds | may import |
|---|---|---|
| `a/`, `b.py` | words | each other |
| `c/` | x | words |
| `d/`, `e.py` | y | `c.part`, those before them |
| `f/` | z | all above |

rest"""
    allowed = allowed_by(table)
    assert allowed == {
        "a": {"a", "b"}, "b": {"a", "b"}, "c": {"a", "b"}, "d": {"c.part"}, "e": {"c.part", "d"},
        "f": {"a", "b", "c", "d", "e"},
    }  # fmt: skip
    with pytest.raises(AssertionError, match="nobody understands"):
        allowed_by(table.replace("all above", "whatever"))


def test_presentation_alone_prints_and_exits() -> None:
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.relative_to(PACKAGE).parts[0].removesuffix(".py") in ("cli", "web", "__main__"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in {"print", "exit", "sys.exit", "quit"}:
                wrong.append(f"{path.relative_to(PACKAGE)}:{node.lineno} calls {ast.unparse(node.func)}")
    assert not wrong, "\n".join(wrong)
