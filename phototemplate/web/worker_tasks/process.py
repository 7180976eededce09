"""The worker's main loop: tasks in, answers out. Nothing heavy is imported at the top, for the server imports this name."""

from __future__ import annotations

import logging
import os
import signal
import threading
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection
from typing import Any

from phototemplate.web.constants import LANES
from phototemplate.web.refusals import Cancelled

DROP = "drop"
"""Name of the message that a task is no longer wanted"""


def run(pipe: Connection) -> None:
    """Answer tasks until the pipe closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends this process
    from phototemplate.web.worker_tasks.registry import WorkerMemory, error_of, task

    memory = WorkerMemory()
    lanes = {name: ThreadPoolExecutor(n, thread_name_prefix=name) for name, n in LANES.items()}
    sending = threading.Lock()
    dropped: set[int] = set()

    def send(number: int, kind: str, value: Any) -> None:
        try:
            with sending:
                pipe.send((number, kind, value))
        except (OSError, ValueError):
            os._exit(0)  # nobody is left to hear it

    def do(number: int, name: str, arguments: dict[str, Any]) -> None:
        def tell(stage: str, share: float) -> None:
            if number in dropped:
                raise Cancelled
            send(number, "progress", (stage, round(float(share), 3)))

        try:
            tell("", 0.0)
            send(number, "done", task(name)(memory, tell, **arguments))
        except Exception as exc:
            kind, text, facts = error_of(exc)
            if text == "bug":
                logging.getLogger(__name__).exception("task %s failed", name)
            send(number, "error", (kind, text, facts))
        finally:
            dropped.discard(number)

    while True:
        try:
            number, lane, name, arguments = pipe.recv()
        except (EOFError, OSError):
            os._exit(0)  # the server is gone; nothing half-written is left, for writes are atomic
        if name == DROP:
            dropped.add(number)  # heeded when the task next tells its progress
        else:
            lanes[lane].submit(do, number, name, arguments)
