"""Definitions that the product does not use, for the benchmark ``house``.

A name is used where the package or the demo's renderer reads it outside its own definition, where a template, a script of
the app or a table names it, or where a framework calls it because of a decorator. What only unused code uses is unused too.
Functions, classes and constants of a module are told apart by where they are imported from; methods go by their name.
"""

from __future__ import annotations

import ast
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.bench._source import Function, Module

Name = tuple[str, str]
"""Module and name; a method's module is empty, that of a name written in a string is :data:`WRITTEN`"""
WRITTEN = "a string"

ORDINARY_DECORATORS = {"property", "cached_property", "staticmethod", "classmethod", "dataclass", "cache", "lru_cache",
                       "contextmanager", "overload", "abstractmethod", "runtime_checkable", "override"}  # fmt: skip
CALLED_BY_LIBRARIES = re.compile(
    r"^(__\w+__|visit_\w+|handle_\w+|model_post_init|model_config|get_help|format_help|list_commands|get_command|getMessage"
    r"|emit|filter|process_bind_param|dispatch|decode|encode|flush|write|readinto|readable|seekable|run)$"
)


@dataclass
class Definition:
    """A function, class, constant or method of the package."""

    place: str
    key: Name
    reads: set[Name] = field(default_factory=set)
    """What its own code reads"""


class _Reader:
    """Reads of one module, with names followed to where they are imported from."""

    def __init__(self, module: Module, packages: set[str]) -> None:
        self.module, self.packages = module, packages
        self.imported: dict[str, set[Name]] = defaultdict(set)
        for node in ast.walk(module.tree):
            if isinstance(node, ast.ImportFrom):
                parent = module.name.split(".")
                if module.path.name == "__init__.py":
                    parent = [*parent, "__init__"]
                base = ".".join(parent[: -node.level]) if node.level else ""
                source = ".".join(filter(None, (base, node.module)))
                for a in node.names:
                    self.imported[a.asname or a.name].add((source, a.name))
            elif isinstance(node, ast.Import):
                for a in node.names:
                    name = a.asname or a.name.split(".")[0]
                    self.imported[name].add((a.name if a.asname else name, ""))

    def _module_of(self, node: ast.expr) -> str:
        """Dotted name of the module that an expression is, empty if it is none."""
        if isinstance(node, ast.Name):
            known = (f"{source}.{name}" if name else source for source, name in self.imported.get(node.id, ()))
            return next((k for k in known if k in self.packages), "")
        if isinstance(node, ast.Attribute):
            full = f"{self._module_of(node.value)}.{node.attr}"
            return full if full in self.packages else ""
        return ""

    def reads(self, node: ast.AST) -> Iterator[Name]:
        for n in ast.walk(node):
            if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load):
                yield from self.imported.get(n.id) or [(self.module.name, n.id)]
            elif isinstance(n, ast.Attribute):
                source = self._module_of(n.value)
                yield (source, n.attr)
                yield ("", n.attr)
            elif isinstance(n, ast.Constant) and isinstance(n.value, str) and re.fullmatch(r"[\w.:]+", n.value):
                yield (WRITTEN, re.split(r"[.:]", n.value)[-1])


def _by_framework(node: ast.AST) -> bool:
    """Whether a decorator other than the ordinary ones hands the definition to somebody who calls it."""
    names = [ast.unparse(d.func if isinstance(d, ast.Call) else d).split(".")[-1] for d in getattr(node, "decorator_list", [])]
    return any(n not in ORDINARY_DECORATORS and n not in ("setter",) for n in names)


def _definitions(module: Module, reader: _Reader) -> tuple[list[Definition], set[Name]]:
    """What a module defines, and what it reads outside of definitions (or in those that a framework calls)."""
    found, outside = [], set()
    for node in module.tree.body:
        place = f"{module.path}:{node.lineno}"
        if isinstance(node, Function):
            if node.name.startswith("__"):
                outside |= set(reader.reads(node))
                continue
            item = Definition(f"{place} {node.name}", (module.name, node.name), set(reader.reads(node)))
            found.append(item)
            if _by_framework(node):
                outside.add(item.key)
        elif isinstance(node, ast.ClassDef):
            methods = [n for n in node.body if isinstance(n, Function)]
            rest = [n for n in node.body if n not in methods] + node.bases + node.decorator_list + node.keywords
            own = {r for n in rest for r in reader.reads(n)}
            for m in methods:
                reads = set(reader.reads(m))
                if CALLED_BY_LIBRARIES.match(m.name) or _by_framework(m):
                    own |= reads
                else:
                    found.append(Definition(f"{module.path}:{m.lineno} {node.name}.{m.name}", ("", m.name), reads))
            found.append(Definition(f"{place} {node.name}", (module.name, node.name), own))
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            reads = set(reader.reads(node)) - {(module.name, getattr(target, "id", ""))}
            if isinstance(target, ast.Name) and not target.id.startswith("__"):
                found.append(Definition(f"{place} {target.id}", (module.name, target.id), reads))
            else:
                outside |= reads
        else:
            outside |= set(reader.reads(node))
    return found, outside


def unused(root: Path, package: Sequence[Module], product: Sequence[Module], tests: Sequence[Module]) -> dict[str, list[str]]:
    """Definitions of the package that only tests use, and those that nobody uses.

    ``product`` are further modules whose reads count: those of the demo.
    """
    every = [*package, *product, *tests]
    names = {m.name for m in every}
    readers = {m.name: _Reader(m, names) for m in every}

    def followed(key: Name) -> set[Name]:
        """A name and where it comes from, through packages that pass it on."""
        seen, waiting = set(), [key]
        while waiting:
            key = waiting.pop()
            if key not in seen:
                seen.add(key)
                waiting += readers[key[0]].imported.get(key[1], ()) if key[0] in readers else ()
        return seen

    definitions, used = [], set()
    for m in package:
        found, outside = _definitions(m, readers[m.name])
        definitions += found
        used |= outside
    for m in product:
        used |= set(readers[m.name].reads(m.tree))
    pages = [p.read_text(encoding="utf-8") for p in (root / "phototemplate").rglob("*.html")]
    inside = [code for page in pages for code in re.findall(r"\{[{%].*?[%}]\}", page, flags=re.S)]
    used |= {(kind, word) for code in inside for word in re.findall(r"\w+", code) for kind in ("", WRITTEN)}
    used |= {(m.name, a) for m in package if m.name == "phototemplate" for a in readers[m.name].imported}  # public
    used.add(("phototemplate.cli", "main"))

    often = Counter(d.key[1] for d in definitions)

    def by_contract(key: Name) -> bool:
        """Several modules with the same function are members of a list, and their function is called on the member."""
        return often[key[1]] > 1 and ("", key[1]) in reached

    waiting, reached = definitions, {key for u in used for key in followed(u)}
    while True:
        now = [d for d in waiting if d.key in reached or (WRITTEN, d.key[1]) in reached or by_contract(d.key)]
        if not now:
            break
        waiting = [d for d in waiting if d not in now]
        reached |= {key for d in now for r in d.reads for key in followed(r)}
    tested = {key for m in tests for r in readers[m.name].reads(m.tree) for key in followed(r)}
    only_tests = [d.place for d in waiting if d.key in tested]
    return {"only tests": only_tests, "nobody": [d.place for d in waiting if d.key not in tested]}
