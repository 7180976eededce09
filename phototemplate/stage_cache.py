"""Remember what each stage made of which inputs, so that a change recomputes what it must and nothing else.

A key is a text that says everything the result depends on (fingerprints of photos, settings, the keys of earlier stages).
One memo belongs to one job in one process; it is not written to disk.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")


def key_of(*parts: object) -> str:
    """Short fingerprint of anything with a faithful ``repr``."""
    return hashlib.sha256("\x1f".join(repr(p) for p in parts).encode()).hexdigest()[:24]


def file_mark(path: Path) -> tuple[int, int]:
    """Size and time of a file, which change when it is written. Raises ``OSError``."""
    status = path.stat()
    return status.st_size, status.st_mtime_ns


class Memo:
    """Results by place (``"network"``, ``"edge front"``); one result a place, replaced when its key changes."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[str, Any]] = {}
        self._lock = threading.Lock()

    def holds(self, place: str, key: str) -> bool:
        """True where the place holds the result of exactly this key."""
        with self._lock:
            return place in self._kept and self._kept[place][0] == key

    def keep(self, place: str, key: str, value: object) -> None:
        """Put a result at its place."""
        with self._lock:
            self._kept[place] = (key, value)

    def recall(self, place: str) -> Any:
        """The result at a place; the caller has asked ``holds``."""
        with self._lock:
            return self._kept[place][1]

    def get(self, place: str, key: str, compute: Callable[[], T]) -> T:
        """The remembered result, or a new one."""
        if not self.holds(place, key):
            self.keep(place, key, compute())
        value: T = self.recall(place)
        return value
