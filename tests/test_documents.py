"""What the project says of itself, held against what it does: README, finding codes, settings, commands."""

from __future__ import annotations

import ast
import re
import shlex
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import phototemplate
from phototemplate import cli
from phototemplate.errors import FINDINGS
from phototemplate.settings import Section, Settings, StageSettings

PACKAGE = Path(phototemplate.__file__).parent
ROOT = PACKAGE.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")

# ------------------------------------------------------------------------------------------ README and CI


def _readme_commands() -> list[list[str]]:
    """The command lines of README's shell block, each split at ``&&``."""
    blocks = re.findall(r"^```sh\n(.*?)^```", README, flags=re.M | re.S)
    assert len(blocks) == 1, "README has one block of commands"
    lines = [line for line in blocks[0].splitlines() if line.strip() and not line.startswith("#")]
    return [[part.strip() for part in line.split("&&")] for line in lines]


def _plain(part: str) -> str:
    """A command without what does not change its meaning: quotes and the quiet flag."""
    return " ".join(w for w in shlex.split(part) if w != "-q")


def test_readme_has_one_command_for_the_demo_and_one_for_the_tests() -> None:
    demo, tests = _readme_commands()
    assert _plain(demo[-1]) == ".venv/bin/phototemplate demo"
    assert _plain(tests[-1]) == ".venv/bin/pytest"
    for command in (demo, tests):
        assert _plain(command[0]) == "python3 -m venv .venv"


def test_readme_installs_what_the_project_offers() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "phototemplate" in project["scripts"]
    for command in _readme_commands():
        target = _plain(command[1]).removeprefix(".venv/bin/pip install -e ")
        extras = re.fullmatch(r"\.(?:\[([\w,-]+)\])?", target)
        assert extras, f"{target} is not this checkout"
        assert set(filter(None, (extras[1] or "").split(","))) <= set(project["optional-dependencies"])
    module, _, name = project["scripts"]["phototemplate"].partition(":")
    assert (module, name) == ("phototemplate.cli", "main")
    assert callable(cli.main)


def test_ci_runs_the_test_command_of_the_readme_and_the_slow_tests_after_lint_and_types() -> None:
    install, tests = [_plain(part) for part in _readme_commands()[1][:-1]], _plain(_readme_commands()[1][-1])
    text = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    steps = [_plain(part) for line in text.splitlines() if ".venv" in line for part in line.split("&&")]
    assert steps == [*install, ".venv/bin/ruff check .", ".venv/bin/mypy", *steps[len(install) + 2 :]]
    assert steps[-1] == f"{tests} -m "
    options = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
    assert "-m 'not slow'" in options["addopts"], "the README's command leaves the slow tests out; -m '' takes them in again"


def _commands() -> set[str]:
    return {c.__name__.rstrip("_").replace("_", "-") for c in cli.COMMANDS}


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "demo_images/README.md"])
def test_commands_in_documents_exist(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    code = re.findall(r"^```.*?^```|`[^`\n]+`", text, flags=re.M | re.S)
    named = {m for piece in code for m in re.findall(r"(?:^|[`/\s])(?<!from )phototemplate ([a-z][a-z-]*)", piece)}
    assert named <= _commands(), f"{document} names {', '.join(sorted(named - _commands()))}"
    if document == "README.md":
        assert {"demo", "sheets", "new", "measure", "app"} <= named


def test_long_options_in_the_readme_exist() -> None:
    """Options beside a command in README are options of that command."""
    from typer.main import get_command

    group = get_command(cli.app)
    known = {name: {o for p in c.params for o in p.opts} for name, c in group.commands.items()}  # type: ignore[attr-defined]
    found = re.findall(r"phototemplate ([a-z][a-z-]*) ([^`\n]*)", README)
    options = [(name, o) for name, rest in found for o in re.findall(r"(?<=\s)--?[a-z][a-z-]*", f" {rest}")]
    assert options
    assert [f"{name} {o}" for name, o in options if o not in known[name]] == []


# ------------------------------------------------------------------------------------------ DEVELOPERS.md

DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_paths_named_in_developers_exist() -> None:
    named = {m.rstrip("/") for m in re.findall(r"`([\w.*/-]+(?:/|\.(?:py|js|json|md|toml)))`", DEVELOPERS)} - {"job.toml"}
    assert len(named) > 30
    gone = [n for n in sorted(named) if not any((base / n).exists() for base in (ROOT, PACKAGE))]
    assert not [n for n in gone if n not in ("constants.py", "result.json", "results/result.json")]


def test_names_in_the_picture_of_the_flow_exist() -> None:
    picture = DEVELOPERS.split("```")[1]
    classes = {n.name for tree in _trees().values() for n in ast.walk(tree) if isinstance(n, ast.ClassDef)}
    types = set(re.findall(r"\b[A-Z][a-z]+(?:[A-Z][a-z]+)*\b", picture))
    assert len(types) >= 8
    assert types <= classes
    for module, name in set(re.findall(r"\b([a-z_]+)\.([a-z_]+)\b", picture)) - {("job", "toml"), ("result", "json")}:
        path, file = PACKAGE / module, PACKAGE / f"{module}.py"
        defined = file.is_file() and f"def {name}(" in file.read_text(encoding="utf-8")
        assert defined or (path / f"{name}.py").is_file() or (path / name).is_dir(), f"{module}.{name}"


# ------------------------------------------------------------------------------------------ finding codes


@cache
def _trees() -> dict[Path, ast.Module]:
    return {p: ast.parse(p.read_text(encoding="utf-8")) for p in sorted(PACKAGE.rglob("*.py"))}


def test_every_finding_code_listed_is_used() -> None:
    """That every code used is listed, and gets all its facts, is held by ``tests/test_findings.py``."""
    texts = {
        node.value
        for path, tree in _trees().items() if "wording" not in path.parts and path.name != "errors.py"
        for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }  # fmt: skip
    assert sorted(set(FINDINGS) - texts) == []


def test_every_finding_code_says_what_it_means() -> None:
    for code, kind in FINDINGS.items():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", code), code
        assert kind.severity in ("note", "warning", "serious")


# ------------------------------------------------------------------------------------------ settings


def _sections(section: type[Section]) -> Iterator[type[Section]]:
    yield section
    for field in section.model_fields.values():
        kind = field.annotation
        if isinstance(kind, type) and issubclass(kind, Section):
            yield from _sections(kind)


@pytest.mark.parametrize("section", list(_sections(Settings)), ids=lambda s: s.__name__)
def test_every_setting_says_what_it_does(section: type[Section]) -> None:
    assert (section.__doc__ or "").strip()
    assert section.model_config.get("extra") == "forbid"
    assert section.model_config.get("frozen") is True
    for name, field in section.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Section):
            continue
        assert len((field.description or "").split()) >= 2, f"{section.__name__}.{name} has no docstring"
        assert not field.is_required(), f"{section.__name__}.{name} has no default"


def test_every_section_is_reachable() -> None:
    # other modules make sections of their own, such as those of the job file
    own = {c for c in (*Section.__subclasses__(), *StageSettings.__subclasses__()) if c.__module__ == Section.__module__}
    assert own - {StageSettings} == set(_sections(Settings))
