"""One program at a time in a folder, on this machine and among machines that share it.

The system's own lock on an open file ends however its program ends, but not every network disk passes it on. So whoever has it
also makes a file of its own beside it, which no two can make (``O_EXCL`` is atomic over NFS since version 3, RFC 1813 3.3.8),
and touches it as long as it works. One that another machine has not touched for a while, by the clock of the disk, is left
over from a machine that broke down.
"""

from __future__ import annotations

import contextlib
import errno
import getpass
import os
import secrets
import socket
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, Literal

from phototemplate.constants import LEASE_S, LOCK_LOOK_S, RENEW_S
from phototemplate.errors import JobBusyError, OutputError

Lock = Literal["taken", "busy", "none"]
"""``none``: this disk has no locks"""


def take_lock(file: BinaryIO, wait: bool = False) -> Lock:
    """Take the lock of an open file, if nobody has it, or once nobody has it. It is let go when the file is closed."""
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(1 << 30)  # beyond the text, which others may read
            msvcrt.locking(file.fileno(), msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as exc:
        return "busy" if exc.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK) else "none"
    return "taken"


def whoami() -> str:
    """This user, machine and process, for somebody who waits."""
    return f"{getpass.getuser()} on {socket.gethostname()} (process {os.getpid()})"


def machine() -> str:
    """This machine since its last start: all whose programs see one another's locks."""
    with contextlib.suppress(OSError):
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    return f"{socket.gethostname()}-{uuid.getnode():x}"


def held_by_another(path: Path) -> str:
    """Who has the folder whose lock is ``path``, where that is another process than this one; else empty."""
    machine_, process, who, _ = _read(_mark_of(path))
    return "" if (machine_, process) in (("", ""), (machine(), str(os.getpid()))) else who


@contextlib.contextmanager
def held(path: Path, wait: bool = False) -> Iterator[None]:
    """Hold what the lock file ``path`` stands for.

    Raises ``JobBusyError`` that says who has it, unless this is to ``wait``; ``OutputError`` where no file can be made there.
    """
    try:
        file = path.open("a+b")
    except OSError as exc:
        raise _refused(path, exc) from exc
    with file:
        lock = take_lock(file, wait)
        if lock == "busy":
            raise JobBusyError(_busy(path, _read(_mark_of(path))[2]))
        _make_mark(path, file, wait, lock)
        mark = _mark_of(path)
        try:
            with renewed(lambda: os.utime(mark)):
                yield
        finally:
            if not held_by_another(path):
                with contextlib.suppress(OSError):
                    mark.unlink()


@contextlib.contextmanager
def renewed(renew: Callable[[], object]) -> Iterator[None]:
    """Call again and again, from another thread, as long as the block runs; what the disk refuses is tried again."""
    over = threading.Event()

    def keep() -> None:
        while not over.wait(RENEW_S):
            with contextlib.suppress(OSError):
                renew()

    keeper = threading.Thread(target=keep, daemon=True, name="lease")
    keeper.start()
    try:
        yield
    finally:
        over.set()
        keeper.join()


def _mark_of(path: Path) -> Path:
    return path.with_name(f"{path.name}-held")


def _make_mark(path: Path, lock: BinaryIO, wait: bool, state: Lock) -> None:
    mark = _mark_of(path)
    text = f"{machine()}\n{os.getpid()}\n{whoami()}\n".encode()
    while True:
        try:
            handle = os.open(mark, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
        except FileExistsError:
            _clear_or_wait(path, lock, wait, state)
            continue
        except OSError as exc:
            raise _refused(path, exc) from exc
        try:
            os.write(handle, text)
        except OSError as exc:
            mark.unlink(missing_ok=True)
            raise _refused(path, exc) from exc
        finally:
            os.close(handle)
        return


def _clear_or_wait(path: Path, lock: BinaryIO, wait: bool, state: Lock) -> None:
    """Clear a mark whose holder is no more; else wait, or say who it is."""
    mark = _mark_of(path)
    holder, _, who, touched = _read(mark)
    if not touched:
        return  # it has just gone
    # the system's lock is ours, so nobody of this machine has it any more
    dead = state == "taken" and holder == machine()
    with contextlib.suppress(OSError):
        os.utime(lock.fileno() if os.utime in os.supports_fd else path)
        dead |= os.fstat(lock.fileno()).st_mtime - touched > LEASE_S
    if dead:
        aside = mark.with_name(f"{mark.name}-{secrets.token_hex(4)}")
        try:
            mark.rename(aside)  # of two that clear it one finds it
        except FileNotFoundError:
            return
        except OSError as exc:
            raise _refused(path, exc) from exc
        with contextlib.suppress(OSError):
            aside.unlink()
    elif wait:
        time.sleep(LOCK_LOOK_S)
    else:
        raise JobBusyError(_busy(path, who))


def _read(mark: Path) -> tuple[str, str, str, float]:
    """Machine, process, both in words, and when it was last touched by the disk's clock; empty where there is no mark."""
    with contextlib.suppress(OSError), mark.open("rb") as file:
        text = file.read(400).decode("utf-8", "replace").split("\n")
        return *[*text, "", "", ""][:3], os.fstat(file.fileno()).st_mtime  # type: ignore[return-value]
    return "", "", "", 0.0


def _busy(path: Path, who: str) -> str:
    return f"{path.parent} is being measured by {who or 'another program'}; wait until that is done, then try again."


def _refused(path: Path, exc: OSError) -> OutputError:
    return OutputError(f"{path.parent} may not be written to ({exc.strerror}); free the disk or change its permissions.")
