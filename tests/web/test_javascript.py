"""The page's JavaScript: types by the TypeScript compiler (JSDoc), pure modules by node's own test runner."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

from phototemplate.errors import InputError
from phototemplate.units import parse_length_mm
from tests.test_units import test_ambiguous_or_wrong_is_refused_in_one_sentence as refused_cases
from tests.test_units import test_parse as read_cases
from tests.web.kit import missing

HERE = Path(__file__).parent
TYPESCRIPT = "typescript@5.9.3"


def _program(name: str) -> str:
    path = shutil.which(name)
    if path is None:
        missing(f"{name} is not on this machine; install Node 20 or newer")
    return path or ""


def _texts(test: Any) -> list[str]:
    return [case[0] for mark in test.pytestmark for case in mark.args[1] if isinstance(case[0], str)]


def _length_cases() -> list[tuple[str, str, float | None]]:
    """Texts with what the job file makes of them, for both units of a bare number."""
    out: list[tuple[str, str, float | None]] = []
    for text in [*_texts(read_cases), *_texts(refused_cases), "1187.4", "1.5", "-3", " 12 "]:
        for unit in ("in", "mm"):
            try:
                out.append((text, unit, parse_length_mm(text, unit)))
            except InputError:
                out.append((text, unit, None))
    return out


def test_pure_modules() -> None:
    environment = {**os.environ, "LENGTH_CASES": json.dumps(_length_cases()), "NODE_NO_WARNINGS": "1"}
    files = sorted(str(p) for p in (HERE / "js").glob("*.test.js"))
    done = subprocess.run([_program("node"), "--test", *files], capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 0, done.stdout[-4000:]


def test_types() -> None:
    command = [_program("npx"), "--yes", "-p", TYPESCRIPT, "tsc", "-p", str(HERE / "tsconfig.json")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode and "error TS" not in done.stdout:
        missing(f"the TypeScript compiler could not be fetched: {done.stderr[-300:]}")
    assert done.returncode == 0, done.stdout[-4000:]
