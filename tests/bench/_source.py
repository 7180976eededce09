"""The project's own source as data for the benchmark ``house``: modules, lines, functions, duplicated shapes."""

from __future__ import annotations

import ast
import io
import keyword
import tokenize
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

MODULE_LINES = 400
FUNCTION_LINES = 60
PARAMETERS = 6
SAME_LINES = 6
"""Length of a stretch of code that counts as duplicated where it stands twice"""
SAME_TOKENS = 60
"""Tokens such a stretch has at least: plain lists of fields or arguments look alike without being copies"""

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Module:
    """One Python file of a checkout."""

    path: Path
    """Relative to the checkout"""
    text: str

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text)

    @property
    def name(self) -> str:
        """Dotted name, a package's without ``__init__``"""
        parts = self.path.with_suffix("").parts
        return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)

    @property
    def room(self) -> str:
        return f"{self.path.parts[1]}/" if len(self.path.parts) > 2 else "modules of the root"

    @property
    def lines(self) -> int:
        return len(self.text.splitlines())

    @cached_property
    def docstrings(self) -> set[int]:
        """Numbers of the lines of docstrings, those below a name included (a statement that is only a string)."""
        found: set[int] = set()
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
                found |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
        return found

    @cached_property
    def tokens(self) -> dict[int, list[tokenize.TokenInfo]]:
        """Tokens of each line of code: no comments, blank lines or docstrings."""
        skip = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
        found: dict[int, list[tokenize.TokenInfo]] = defaultdict(list)
        for token in tokenize.generate_tokens(io.StringIO(self.text).readline):
            if token.type not in skip and token.start[0] not in self.docstrings:
                for line in range(token.start[0], token.end[0] + 1):
                    found[line].append(token)
        return dict(sorted(found.items()))

    @property
    def code_lines(self) -> int:
        return len(self.tokens)


def modules(root: Path, *folders: str) -> list[Module]:
    """All Python modules in these folders of a checkout."""
    paths = sorted(p for folder in folders for p in (root / folder).rglob("*.py"))
    return [Module(p.relative_to(root), p.read_text(encoding="utf-8")) for p in paths]


def functions(module: Module) -> Iterator[Function]:
    for node in ast.walk(module.tree):
        if isinstance(node, Function):
            yield node


def function_lines(function: Function, module: Module) -> int:
    """Lines from ``def`` to the end, comments and blank lines counted, docstrings and decorators not."""
    return sum(i not in module.docstrings for i in range(function.lineno, (function.end_lineno or function.lineno) + 1))


def parameters(function: Function) -> int:
    """Parameters without ``self`` and ``cls``; those of a command are its options and do not count."""
    a = function.args
    names = [x.arg for x in (*a.posonlyargs, *a.args, *a.kwonlyargs)]
    if "typer." in ast.unparse(a):
        return 0
    return len(names) - (names[:1] in (["self"], ["cls"])) + (a.vararg is not None) + (a.kwarg is not None)


def long_functions(module: Module) -> list[str]:
    found = ((f, function_lines(f, module)) for f in functions(module))
    return [f"{module.path}:{f.lineno} {f.name}: {n} lines" for f, n in found if n > FUNCTION_LINES]


def wide_functions(module: Module) -> list[str]:
    found = ((f, parameters(f)) for f in functions(module))
    return [f"{module.path}:{f.lineno} {f.name}: {n} parameters" for f, n in found if n > PARAMETERS]


# ------------------------------------------------------------------------------------------ duplicated shapes


def _shape(tokens: Sequence[tokenize.TokenInfo]) -> str:
    """A line with its variables and literals taken out; keywords, operators and what is called or read of objects stay."""
    shape = []
    for i, t in enumerate(tokens):
        if t.type == tokenize.NAME and not keyword.iskeyword(t.string):
            called = i + 1 < len(tokens) and tokens[i + 1].string == "("
            part = i > 0 and tokens[i - 1].string == "."
            shape.append(t.string if called or part else "x")
        else:
            shape.append({tokenize.NUMBER: "0", tokenize.STRING: "''"}.get(t.type, t.string))
    return " ".join(shape)


def _code_shapes(module: Module) -> list[tuple[int, str, int]]:
    """Line number, shape and number of tokens of each line of code but imports and a module's tables."""
    statements: list[ast.stmt] = [n for n in ast.walk(module.tree) if isinstance(n, ast.Import | ast.ImportFrom)]
    statements += [n for n in module.tree.body if isinstance(n, ast.Assign | ast.AnnAssign) and isinstance(n.value, ast.Dict)]
    left_out = {i for n in statements for i in range(n.lineno, (n.end_lineno or n.lineno) + 1)}
    return [(i, _shape(t), len(t)) for i, t in module.tokens.items() if i not in left_out]


def duplicated(found: Sequence[Module]) -> list[str]:
    """Stretches of six lines or more of one shape in two places, each pair said once and as long as it is."""
    shapes = [_code_shapes(m) for m in found]
    places: dict[tuple[str, ...], list[tuple[int, int]]] = defaultdict(list)
    for m, lines in enumerate(shapes):
        for i in range(len(lines) - SAME_LINES + 1):
            window = lines[i : i + SAME_LINES]
            if sum(n for _, _, n in window) >= SAME_TOKENS:
                places[tuple(s for _, s, _ in window)].append((m, i))
    pairs = {(a, b) for same in places.values() for a in same for b in same if a < b}
    said = []
    for (ma, ia), (mb, ib) in sorted(pairs):
        if ((ma, ia - 1), (mb, ib - 1)) in pairs or (ma == mb and ib - ia < SAME_LINES):
            continue
        length = SAME_LINES
        while ((ma, ia + length - SAME_LINES + 1), (mb, ib + length - SAME_LINES + 1)) in pairs:
            length += 1
        here, there = (f"{found[m].path}:{shapes[m][i][0]}" for m, i in ((ma, ia), (mb, ib)))
        said.append(f"{here} and {there}: {length} lines")
    return said
