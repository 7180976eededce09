"""Write a file whole or not at all.

A result is first written to a temporary file in the *same* folder (so that the last step stays within one file
system), flushed to the disk, and only then renamed over its final name with ``os.replace``, which POSIX and Windows
both define as atomic. Whatever goes wrong before that leaves the old file as it was and no rubbish beside it.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import sys
from collections.abc import Iterator
from pathlib import Path

from phototemplate.errors import OutputError

__all__ = ["atomic_path", "clear_parts", "sync_folder", "write_bytes_atomic", "write_text_atomic"]


def _what_to_do(error: OSError) -> str:
    match error.errno:
        case errno.ENOSPC | errno.EDQUOT:
            return "the disk is full; free some space and run again"
        case errno.EACCES | errno.EPERM if sys.platform == "win32":
            return "another program has the file open or the folder is write-protected; close it there or choose another folder"
        case errno.EACCES | errno.EPERM | errno.EROFS:
            return "the folder may not be written to; change its permissions or choose another folder"
        case errno.ENOENT | errno.ENOTDIR:
            return "its folder does not exist; create the folder or choose another one"
        case errno.EISDIR:
            return "a folder has that name; move it away or choose another name"
        case errno.EFBIG:
            return "the file is larger than this disk or account allows; choose another disk"
        case errno.ENAMETOOLONG:
            return "the name is too long; choose a shorter one"
        case _:
            return f"{(error.strerror or str(error)).lower()}; check the disk and run again"


def _as_output_error(error: OSError, path: Path) -> OutputError:
    kept = " (the earlier file is unchanged)" if path.is_file() else ""
    return OutputError(f"{path} could not be written{kept}: {_what_to_do(error)}.")


def _create_beside(final: Path) -> Path:
    """A new empty file in the folder of ``final``, with the permissions an ordinary new file gets there."""
    while True:
        part = final.with_name(f".{final.stem[:80]}-{secrets.token_hex(4)}.part{final.suffix}")
        with contextlib.suppress(FileExistsError):
            os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            return part


def clear_parts(final: Path) -> None:
    """Remove what killed writers of a file left beside it. The caller is its only writer at this time."""
    for part in final.parent.glob(f".{final.stem[:80]}-????????.part{final.suffix}"):
        with contextlib.suppress(OSError):
            part.unlink()


def sync_folder(folder: Path) -> None:
    """Make the rename itself durable where the system can (not on Windows, not on some network disks)."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def atomic_path(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a temporary path to write to; on success it becomes ``path``, on any error it vanishes.

    The temporary name keeps the suffix of ``path``, for libraries that choose their format by it.

    Raises
    ------
    OutputError
        When the file cannot be written (disk full, no permission, no folder); names the file and what to do.
        Exceptions of other kinds raised inside the block pass through unchanged.
    """
    final = Path(path)
    try:
        if final.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        part = _create_beside(final)
    except OSError as error:
        raise _as_output_error(error, final) from error
    try:
        yield part
        with contextlib.suppress(OSError):
            part.chmod(final.stat().st_mode & 0o777)  # an earlier file keeps its permissions
        with part.open("rb+") as stream:
            os.fsync(stream.fileno())
        part.replace(final)
        sync_folder(final.parent)
    except OutputError:
        raise
    except OSError as error:
        if error.errno is None:  # raised by hand, not by the system: not ours to interpret
            raise
        raise _as_output_error(error, final) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def write_bytes_atomic(path: str | os.PathLike[str], data: bytes) -> None:
    """Write ``data`` to ``path`` whole or not at all.

    Raises
    ------
    OutputError
        As for :func:`atomic_path`.
    """
    with atomic_path(path) as part:
        part.write_bytes(data)


def write_text_atomic(path: str | os.PathLike[str], text: str) -> None:
    """Write ``text`` as UTF-8, with line ends as given, whole or not at all.

    Raises
    ------
    OutputError
        As for :func:`atomic_path`.
    """
    write_bytes_atomic(path, text.encode("utf-8"))
