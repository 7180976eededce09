"""The state of the source itself: lines, long modules and functions, constants without origin, code without use, copies.

``--before FOLDER`` shows another checkout beside this one, ``--places [TEXT]`` lists the places behind the numbers whose
line contains the text, such as a room's path or one of the heads.
"""

from __future__ import annotations

import ast
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tests.bench import BenchResult
from tests.bench._constants import Constant, constants, deciding_floats, other_floats
from tests.bench._source import MODULE_LINES, Module, duplicated, long_functions, modules, wide_functions
from tests.bench._unused import unused

ROOT = Path(__file__).resolve().parents[2]
LINES = 36_000
LONG_FUNCTIONS = 8
FURTHER_LANGUAGES = "phototemplate/wording/german/"


def _worded(package: list[Module], root: Path) -> dict[str, list[str]]:
    """Places with a sentence of its own for each finding code: beside the code in a call or in a table, or in the app.

    The tables of further languages say the same once more, each once.
    """
    codes = {key for m in package for key in _listed_codes(m)}
    found: dict[str, list[str]] = defaultdict(list)
    for m in package:
        if m.path.as_posix().startswith(FURTHER_LANGUAGES):
            continue
        for code, node, rest in _beside_codes(m.tree):
            if code in codes and any(_prose(r) for r in rest):
                found[code].append(f"{m.path}:{node.lineno}")
    for path in sorted((root / "phototemplate" / "web" / "static").rglob("*.js")):
        for i, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            said = re.match(r"""\s*["']?(?:finding\.)?([a-z]+(?:-[a-z]+)+)["']?\s*:\s*["'`]\S+ \S+ \S+""", line)
            if said and said[1] in codes:
                found[said[1]].append(f"{path.relative_to(root)}:{i}")
    return {code: places for code, places in sorted(found.items()) if len(places) > 1}


def _listed_codes(module: Module) -> Iterator[str]:
    """Keys of the table of findings."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Dict):
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            if isinstance(target, ast.Name) and re.search(r"FINDINGS|CATALOGUE", target.id):
                yield from (k.value for k in node.value.keys if isinstance(k, ast.Constant) and isinstance(k.value, str))


def _beside_codes(tree: ast.Module) -> Iterator[tuple[str, ast.expr, list[ast.expr]]]:
    """Literal strings that come first in a call or are a key of a table, with what stands beside them."""
    for n in ast.walk(tree):
        if isinstance(n, ast.Call) and n.args and isinstance(n.args[0], ast.Constant):
            yield str(n.args[0].value), n, [*n.args[1:], *(k.value for k in n.keywords)]
        elif isinstance(n, ast.Dict):
            for key, value in zip(n.keys, n.values, strict=True):
                if isinstance(key, ast.Constant) and isinstance(key.value, str):
                    yield key.value, key, [value]


def _prose(node: ast.expr) -> bool:
    """Whether an expression contains words to read: a string, formatted or not, of three words at least."""
    for n in ast.walk(node):
        parts = n.values if isinstance(n, ast.JoinedStr) else [n]
        text = "".join(str(p.value) if isinstance(p, ast.Constant) and isinstance(p.value, str) else "x" for p in parts)
        if len(text.split()) >= 3:
            return True
    return False


def _settings_unread(package: list[Module]) -> list[str]:
    """Fields of settings that nothing in the package reads by name."""
    settings = next(m for m in package if m.name == "phototemplate.settings")
    read = {n.attr for m in package if m is not settings for n in ast.walk(m.tree) if isinstance(n, ast.Attribute)}
    fields = [
        (f"{settings.path}:{n.lineno} {c.name}.{n.target.id}", n.target.id)
        for c in settings.tree.body
        if isinstance(c, ast.ClassDef)
        for n in c.body
        if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)
    ]
    return [place for place, name in fields if name not in read]


def _each(found: list[Module], places: Callable[[Module], list[str]]) -> list[str]:
    return [p for m in found for p in places(m)]


def _faulty(module: Module) -> list[str]:
    return [f"{c.place} {c.name}: {c.fault}" for c in constants(module) if c.fault]


def places(root: Path) -> dict[str, list[str]]:
    """Every place that is counted, under the head of its column."""
    package, tests = modules(root, "phototemplate"), modules(root, "tests")
    dead = unused(root, package, modules(root, "demo_images"), tests)
    worded = _worded(package, root)
    return {
        f"modules > {MODULE_LINES}": [f"{m.path}: {m.lines} lines" for m in package if m.lines > MODULE_LINES],
        "functions > 60": _each(package, long_functions),
        "> 6 parameters": _each(package, wide_functions),
        "no origin": _each(package, _faulty),
        "deciding floats": _each(package, deciding_floats),
        "only tests use": dead["only tests"],
        "nobody uses": dead["nobody"],
        "worded twice": [f"{at[0]} {code}: also {', '.join(at[1:])}" for code, at in worded.items()],
        "copies": duplicated(package),
        "settings unread": _settings_unread(package),
    }


def table(root: Path, found: dict[str, list[str]]) -> list[dict[str, Any]]:
    """One row for each room and one for all."""
    package = modules(root, "phototemplate")
    rooms: dict[str, list[Module]] = defaultdict(list)
    for m in package:
        rooms[m.room].append(m)
    by_room = {head: Counter(Module(Path(p.split(":")[0]), "").room for p in at) for head, at in found.items()}
    rows = []
    for room, members in [*sorted(rooms.items()), ("all", package)]:
        named: list[Constant] = [c for m in members for c in constants(m)]
        row: dict[str, Any] = {"room": room, "modules": len(members), "lines": sum(m.lines for m in members)}
        row |= {"code": sum(m.code_lines for m in members), "constants": len(named)}
        row |= {head: count.total() if room == "all" else count[room] for head, count in by_room.items()}
        rows.append(row | {"other floats": sum(other_floats(m) for m in members)})
    return rows


def run(quick: bool) -> BenchResult:
    """Count the source of this checkout; ``quick`` changes nothing."""
    found = places(ROOT)
    result = BenchResult("The house: lines of code, and what is out of order in them, by room", table(ROOT, found))
    result.places = [f"{head}: {p}" for head, at in found.items() for p in at]
    lines = int(result.rows[-1]["lines"])
    result.target("lines of the package", f"<= {LINES}", lines, lines <= LINES)
    limits = {"no origin": 0, "deciding floats": 0, "only tests use": 0, "nobody uses": 0, "worded twice": 0,
              "settings unread": 0, "functions > 60": LONG_FUNCTIONS}  # fmt: skip
    for head, limit in limits.items():
        n = len(found[head])
        result.target(head, "0" if limit == 0 else f"<= {limit}", n, n <= limit)
    return result


def compare(before: Path) -> list[dict[str, Any]]:
    """The same table for another checkout."""
    return table(before, places(before))
