"""The program starts on Windows and macOS: what only POSIX has is taken away, and everything still imports and explains itself.

The modules are those that the Python library's reference marks "Availability: Unix" as a whole. Names that ``os``, ``signal``
and ``socket`` have on some systems only cannot be taken away from a running Linux, whose libraries use them; they are looked
for in the source.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import phototemplate
from phototemplate import atomic, cli
from phototemplate.errors import OutputError

PACKAGE = Path(phototemplate.__file__).parent
POSIX_MODULES = {"fcntl", "grp", "posix", "pty", "pwd", "readline", "resource", "syslog", "termios", "tty"}
POSIX_NAMES = {
    "os.O_CLOEXEC", "os.O_DIRECTORY", "os.O_NOFOLLOW", "os.WNOHANG", "os.chown", "os.fchmod", "os.fchown", "os.fork",
    "os.forkpty", "os.geteuid", "os.getgid", "os.getloadavg", "os.getpgid", "os.getuid", "os.killpg", "os.mkfifo",
    "os.nice", "os.sched_getaffinity", "os.setsid", "os.statvfs", "os.sysconf", "os.uname", "os.wait", "signal.SIGALRM",
    "signal.SIGCHLD", "signal.SIGHUP", "signal.SIGKILL", "signal.SIGPIPE", "signal.SIGUSR1", "signal.SIGUSR2",
    "signal.alarm", "signal.pause", "signal.setitimer", "socket.AF_UNIX", "time.tzset",
}  # fmt: skip

START = f"""
import importlib, pkgutil, sys
import multiprocessing.popen_spawn_posix, subprocess, webbrowser  # this system's own library, not the program
for name in {sorted(POSIX_MODULES - {"posix"})!r}:
    sys.modules[name] = None
import phototemplate
"""

IMPORT_ALL = START + """
for module in pkgutil.walk_packages(phototemplate.__path__, "phototemplate."):
    if not module.name.endswith("__main__"):
        importlib.import_module(module.name)
print(len(sys.modules))
"""

HELP_OF_ALL = START + """
from typer.testing import CliRunner
from phototemplate import cli
names = [c.__name__.rstrip("_").replace("_", "-") for c in cli.COMMANDS]
for arguments in [["--help"], *([name, "--help"] for name in names)]:
    result = CliRunner().invoke(cli.app, arguments, env={"COLUMNS": "200"})
    assert result.exit_code == 0, (arguments, result.output, result.exception)
    assert "Usage" in result.output
    print(" ".join(arguments))
"""

A_JOB = START + """
from typer.testing import CliRunner
from phototemplate import cli
for arguments in (["new", "job", "--bar", "1000 mm"], ["sheets", "-o", "sheets.pdf"]):
    result = CliRunner().invoke(cli.app, arguments)
    assert result.exit_code == 0, (arguments, result.output, result.exception)
from phototemplate.cli.measure import _effort
sys.platform = "win32"
assert _effort(3, 2.0) == "3 photos in 2.0 s"
"""


def _run(program: str, folder: Path) -> str:
    command = [sys.executable, "-X", "warn_default_encoding", "-c", program]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300, env=_environment())
    assert done.returncode == 0, done.stderr
    assert "EncodingWarning" not in "".join(line for line in done.stderr.splitlines() if str(PACKAGE) in line)
    return done.stdout


def _environment() -> dict[str, str]:
    import os

    return {**os.environ, "PYTHONPATH": str(PACKAGE.parent)}


def test_every_module_imports_without_what_only_posix_has(tmp_path: Path) -> None:
    assert int(_run(IMPORT_ALL, tmp_path)) > 200


def test_every_command_explains_itself_without_what_only_posix_has(tmp_path: Path) -> None:
    assert len(_run(HELP_OF_ALL, tmp_path).splitlines()) == len(cli.COMMANDS) + 1


def test_a_job_begins_without_what_only_posix_has(tmp_path: Path) -> None:
    _run(A_JOB, tmp_path)
    assert (tmp_path / "job" / "job.toml").is_file()
    assert (tmp_path / "sheets.pdf").read_bytes().startswith(b"%PDF")


def _guarded(tree: ast.Module) -> Iterator[ast.AST]:
    """Nodes inside a branch by system, after one that returned, or in a ``try`` that foresees the lack."""
    for node in ast.walk(tree):
        body: list[ast.stmt] = getattr(node, "body", []) if not isinstance(node, ast.Lambda | ast.IfExp) else []
        for i, statement in enumerate(body):
            if isinstance(statement, ast.If) and "sys.platform" in ast.unparse(statement.test):
                for inside in [statement, *(body[i + 1 :] if isinstance(statement.body[-1], ast.Return) else [])]:
                    yield from ast.walk(inside)
            if isinstance(statement, ast.Try) and any("ImportError" in ast.unparse(h) for h in statement.handlers):
                yield from ast.walk(statement)


def test_what_only_posix_has_is_used_in_a_branch_by_system() -> None:
    """What is imported or called inside functions is not reached by the other tests."""
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        guarded = {id(n) for n in _guarded(tree)}
        for node in ast.walk(tree):
            used: set[str] = set()
            if isinstance(node, ast.Import):
                used = {a.name for a in node.names} & POSIX_MODULES
            elif isinstance(node, ast.ImportFrom):
                used = {node.module or ""} & POSIX_MODULES
            elif isinstance(node, ast.Attribute):
                used = {ast.unparse(node)} & POSIX_NAMES
            if used and id(node) not in guarded:
                wrong.append(f"{path.relative_to(PACKAGE)}:{getattr(node, 'lineno', 0)} uses {', '.join(used)}")
    assert not wrong, "\n".join(wrong)


def test_text_files_name_their_encoding() -> None:
    """Without one, Windows takes the code page of its user."""
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
                named = {k.arg for k in node.keywords}
                text = name in ("read_text", "write_text") or (isinstance(node.func, ast.Name) and name == "open")
                if text and "encoding" not in named and len(node.args) < 2:
                    wrong.append(f"{path.relative_to(PACKAGE)}:{node.lineno}")
    assert not wrong, "\n".join(wrong)


def test_a_file_that_another_program_has_open_is_named_so_on_windows(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Windows refuses to replace a file that is open, with the same error as for a folder that may not be written to."""

    def refuse(self: Path, target: object) -> Path:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "replace", refuse)
    monkeypatch.setattr(sys, "platform", "win32")
    with pytest.raises(OutputError, match="another program has the file open"):
        atomic.write_text_atomic(tmp_path / "outline.dxf", "x")
    assert list(tmp_path.iterdir()) == []
