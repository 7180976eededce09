"""Progress of long work, told to whoever watches, and the time each stage took."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[str, float], None]
"""Called with the stage's name and the share of it that is done, 0 to 1. May be called from worker threads."""


def quiet(stage: str, share: float) -> None:
    """Progress that nobody watches."""


class Clock:
    """Wall time per named stage: ``with clock("edges"): ...``"""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[stage] = self.seconds.get(stage, 0.0) + time.perf_counter() - start
