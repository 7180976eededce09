"""Numbers that decide: where they stand and whether they say where they come from, for the benchmark ``house``."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass

from tests.bench._source import Function, Module, functions

ORIGINS = ("Source:", "Derived:", "Convention:", "Chosen on:")
HOMES = re.compile(r"(^|/)constants\.py$|^phototemplate/settings\.py$|^phototemplate/(template/rules|units)\.py$")
UNIT_IN_NAME = re.compile(r"_(mm|px|rad|deg|c|s)$")
"""A setting whose name ends so need not say its unit again: its docstring is shown to users"""
UNIT_WORDS = 5
"""A docstring's first sentence is its unit where it has no more words than this"""
DECIDING_CALLS = {"clip", "minimum", "maximum", "min", "max", "isclose", "allclose", "quantile", "percentile"}
PLAIN = {0.0, 1.0, -1.0}
"""Floats that are no choice"""
GUARD = 1e-6
"""Floats up to this keep a division or a comparison of equals from failing; they choose nothing"""


@dataclass(frozen=True)
class Constant:
    """A named number of a module or of a settings class."""

    place: str
    name: str
    fault: str
    """What is missing, empty if nothing"""


def _numbers(node: ast.expr | ast.keyword) -> bool:
    """Whether an expression is made of written numbers (not of indices, and not of a class's or a pattern's arguments)."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.Subscript):
        return _numbers(node.value)
    if isinstance(node, ast.Lambda | ast.GeneratorExp | ast.JoinedStr):
        return False
    return any(_numbers(child) for child in ast.iter_child_nodes(node) if isinstance(child, ast.expr | ast.keyword)) or (
        isinstance(node, ast.keyword) and _numbers(node.value)
    )


def _assigned(body: list[ast.stmt], constant: re.Pattern[str]) -> Iterator[tuple[ast.stmt, str, str]]:
    """Statements that name a number, with the name and the docstring that follows."""
    for i, node in enumerate(body):
        if isinstance(node, ast.Assign):
            target: ast.expr = node.targets[0]
        elif isinstance(node, ast.AnnAssign):
            target = node.target
        else:
            continue
        if isinstance(target, ast.Name) and constant.match(target.id) and node.value is not None and _numbers(node.value):
            after = body[i + 1] if i + 1 < len(body) else None
            text = after.value.value if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) else ""
            yield node, target.id, text if isinstance(text, str) else ""


def _fault(name: str, text: str) -> str:
    if not text:
        return "no docstring"
    first = re.split(r"\.\s", text.strip() + " ", maxsplit=1)[0]
    if len(first.split()) > UNIT_WORDS and not (name.islower() and UNIT_IN_NAME.search(name)):
        return "does not begin with a unit"
    return "" if any(origin in " ".join(text.split()) for origin in ORIGINS) else "no origin"


def constants(module: Module) -> list[Constant]:
    """Named numbers of a module; in settings, those of its sections."""
    path = module.path.as_posix()
    bodies = [(module.tree.body, re.compile(r"_?[A-Z][A-Z0-9_]*$"))]
    if path == "phototemplate/settings.py":
        bodies += [(c.body, re.compile(r"[a-z]\w*$")) for c in module.tree.body if isinstance(c, ast.ClassDef)]
    found = []
    for body, pattern in bodies:
        for node, name, text in _assigned(body, pattern):
            fault = _fault(name, text) if HOMES.search(path) else "no home"
            found.append(Constant(f"{path}:{node.lineno}", name, fault))
    return found


def _floats(node: ast.AST) -> Iterator[ast.Constant]:
    for n in ast.walk(node):
        if isinstance(n, ast.Constant) and isinstance(n.value, float) and n.value not in PLAIN and abs(n.value) > GUARD:
            yield n


def _deciding(function: Function) -> Iterator[ast.Constant]:
    for n in ast.walk(function):
        if isinstance(n, ast.Compare):
            yield from _floats(n)
        elif isinstance(n, ast.Call):
            name = n.func.attr if isinstance(n.func, ast.Attribute) else getattr(n.func, "id", "")
            if name in DECIDING_CALLS:
                for arg in (*n.args, *(k.value for k in n.keywords)):
                    yield from _floats(arg)


def deciding_floats(module: Module) -> list[str]:
    """Floats written into comparisons and into calls that choose (clip, min, max, ...) inside functions."""
    found = {(n.lineno, n.col_offset): n.value for f in functions(module) for n in _deciding(f)}
    return [f"{module.path}:{line} {value!r}" for (line, _), value in sorted(found.items())]


def other_floats(module: Module) -> int:
    """Floats written anywhere else inside functions, defaults of parameters included."""
    every = {(n.lineno, n.col_offset) for f in functions(module) for n in _floats(f)}
    return len(every) - len(deciding_floats(module))
