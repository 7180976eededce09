"""Whole-run benchmarks: ``python -m tests.bench NAME [--json] [--quick]`` prints a table. They are not tests.

A benchmark is a module ``tests/bench/NAME.py`` with ``run(quick: bool) -> BenchResult``, and where it can
look at another checkout, ``compare(folder: Path)`` that returns its rows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass
class BenchResult:
    """What a benchmark found: rows of a table, targets, and the targets missed."""

    title: str
    rows: list[dict[str, Any]] = field(default_factory=list)
    targets: list[dict[str, Any]] = field(default_factory=list)
    """Each: name, wanted (text), found (number or text), met (bool)"""
    places: list[str] = field(default_factory=list)
    """Places in files behind the numbers, a line each, shown where ``--places`` asks for them"""

    @property
    def misses(self) -> list[dict[str, Any]]:
        return [t for t in self.targets if not t["met"]]

    def target(self, name: str, wanted: str, found: object, met: bool) -> None:
        """Record one target and whether it was met."""
        self.targets.append({"name": name, "wanted": wanted, "found": found, "met": bool(met)})
