"""DXF files that somebody else made are read in a process of its own: what hangs or eats memory there is ended.

What could not be read by anyone is refused before, with the line that is wrong.
"""

from __future__ import annotations

import contextlib
import functools
import math
import os
import pickle
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, Concatenate, Final, ParamSpec, TypeVar

from phototemplate.errors import InputError, PhototemplateError
from phototemplate.template.constants import (
    FOREIGN_BYTES,
    FOREIGN_REMEMBERED,
    FOREIGN_S,
    LARGEST_DXF_BYTES,
    LARGEST_DXF_VALUE,
    NUMBER_CODES,
)

P = ParamSpec("P")
T = TypeVar("T")


def fenced(read: Callable[Concatenate[Path, P], T]) -> Callable[Concatenate[Path, P], T]:
    """Let a reader of drawings work in a process of its own, which ends after ``FOREIGN_S`` or with ``FOREIGN_BYTES``.

    What it made of a file is remembered until the file changes. Raises ``InputError`` where the reader does, and for whatever
    else goes wrong with the file.
    """

    @functools.wraps(read)
    def outside(path: Path, /, *arguments: P.args, **wishes: P.kwargs) -> T:
        try:
            status = path.stat()
        except OSError as exc:
            raise InputError(f"There is no file {path} ({exc.strerror}); check its name.") from exc
        wanted = pickle.dumps((read.__module__, read.__name__, path, arguments, wishes))
        good, answer = pickle.loads(_answer(wanted, status.st_size, status.st_mtime_ns, path.name))
        if not good:
            raise answer
        found: T = answer
        return found

    return outside


@functools.lru_cache(FOREIGN_REMEMBERED)
def _answer(wanted: bytes, size: int, time_ns: int, name: str) -> bytes:
    """What the reader says, packed: whether it went well, and the result or the error."""
    del time_ns
    if size > LARGEST_DXF_BYTES:
        return _refusal(f"{name} has {size / 1e6:.0f} MB, too much for a drawing of one part; save that part alone.")
    with _READER.lock:
        return _READER.ask(wanted, name)


def _refusal(sentence: str) -> bytes:
    return pickle.dumps((False, InputError(sentence)))


class _Reader:
    """The other process: started when it is first asked, ended where it takes too long, and with this one."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def ask(self, wanted: bytes, name: str) -> bytes:
        """Its answer, or a refusal. The caller holds the lock."""
        began = time.monotonic()
        try:
            process = self._running()
            end = threading.Timer(FOREIGN_S, process.kill)
            end.start()
            try:
                assert process.stdin is not None
                assert process.stdout is not None
                pickle.dump(wanted, process.stdin)
                process.stdin.flush()
                answer: bytes = pickle.load(process.stdout)
                return answer
            finally:
                end.cancel()
        except (OSError, EOFError, pickle.UnpicklingError):
            if self._process is not None:
                self._process.kill()
                self._process.wait()
                self._process = None
            if time.monotonic() - began >= FOREIGN_S:
                return _refusal(f"{name} takes over {FOREIGN_S:g} s to read, far too long; save the part wanted alone.")
            return _refusal(f"{name} cannot be read as DXF (its reader broke off); save it again as DXF.")

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", f"from {__name__} import inside; inside()"], stdin=subprocess.PIPE,
                stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p), "OMP_NUM_THREADS": "1"},
            )  # fmt: skip
        return self._process


_READER: Final = _Reader()


def inside() -> None:
    """The other process: read what is asked for on its input, answer on its output, until the input ends."""
    out = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what libraries print is no answer
    if sys.platform != "win32":  # there the time is limited alone
        import resource

        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_AS, (FOREIGN_BYTES, FOREIGN_BYTES))
    with contextlib.suppress(EOFError):
        while True:
            module, name, path, arguments, wishes = pickle.loads(pickle.load(sys.stdin.buffer))
            try:
                answer = pickle.dumps((True, getattr(import_module(module), name).__wrapped__(path, *arguments, **wishes)))
            except PhototemplateError as exc:
                answer = pickle.dumps((False, exc))
            except MemoryError:
                most = f"{FOREIGN_BYTES / 1e9:g} GB"
                answer = _refusal(f"{path.name} takes more than {most} of memory to read; save the part wanted alone.")
            except Exception as exc:  # readers meet damaged files with many kinds of exception
                reason = str(exc).splitlines()[0] if str(exc) else type(exc).__name__
                answer = _refusal(f"{path.name} cannot be read as DXF ({reason}); save it again as DXF.")
            pickle.dump(answer, out)
            out.flush()


def open_dxf(path: Path) -> Any:
    """An ezdxf document; only inside of a reader that is :func:`fenced`.

    Raises ``InputError`` for a file that holds numbers that are not finite or beyond any drawing: readers of arcs and splines
    loop over such numbers without end.
    """
    from ezdxf.filemanagement import readfile

    _check_numbers(path.read_bytes(), path.name)
    return readfile(path)


def _check_numbers(data: bytes, name: str) -> None:
    if data.startswith(b"AutoCAD Binary DXF"):
        return
    lines, drawn = data.splitlines(), False
    for k in range(0, len(lines) - 1, 2):
        code = lines[k].strip()
        if code == b"2" and k >= 2 and lines[k - 1].strip() == b"SECTION":
            drawn = lines[k + 1].strip() in (b"ENTITIES", b"BLOCKS")  # headers hold 1e20 for an extent that is not known
        if not drawn or not code.isdigit() or int(code[:6]) not in NUMBER_CODES:
            continue
        try:
            value = float(lines[k + 1])
        except ValueError:
            value = math.nan
        if not abs(value) <= LARGEST_DXF_VALUE:  # NaN is not
            shown = lines[k + 1].strip()[:20].decode("ascii", "replace")
            raise InputError(f"{name} line {k + 2} has {shown} for a number, which no drawing has; save it again as DXF.")
