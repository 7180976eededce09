"""The one worker process: pictures and numbers live there, so the server stays small and long work can be ended.

The process is started when it is first needed (``spawn``, so nothing of the server is copied into it), keeps decoded photos
and earlier results between tasks, and is terminated and started anew when the user cancels. Tasks run in lanes: ``photos``
(thumbnails, targets, tiles), ``quick`` (questions of the page) and ``long`` (measuring, writing), so that a page never waits
for a measurement. It ends by itself when the server's end of the pipe closes, even after kill -9.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import multiprocessing
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any, Literal

from phototemplate.errors import Finding, InputError, MeasureError, OutputError, PhotoError, PhototemplateError
from phototemplate.web.refusals import Cancelled, Refused, WorkerLost
from phototemplate.web.worker_tasks.process import DROP, run  # light: heavy libraries are imported in the process only

Lane = Literal["quick", "photos", "long"]
Watch = Callable[[str, float], None]

KINDS: dict[str, type[PhototemplateError]] = {
    "measure": MeasureError, "output": OutputError, "input": InputError,
}


@dataclass
class _Task:
    number: int
    lane: Lane
    name: str
    arguments: dict[str, Any]
    answer: asyncio.Future[Any]
    watch: Watch | None
    tries: int = field(default=0)


def _error(kind: str, text: str, facts: dict[str, Any]) -> PhototemplateError:
    """What a task raised, as ``worker_tasks.registry.error_of`` packed it."""
    if kind == "photo":
        return PhotoError(Finding(text, facts.pop("where"), **facts))
    return Refused(text, 422, **facts) if kind == "refused" else KINDS.get(kind, PhototemplateError)(text)


class Worker:
    """The server's side of the worker process. Use from one event loop only."""

    def __init__(self) -> None:
        self._numbers = itertools.count(1)
        self._tasks: dict[int, _Task] = {}
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None
        self._sending = threading.Lock()
        self.on_restart: Callable[[], None] = lambda: None

    def start(self) -> None:
        """Start the process now, so that the first task need not wait for it."""
        if self._process is not None and self._process.is_alive():
            return
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=run, args=(there,), name="phototemplate worker", daemon=True)
        process.start()
        there.close()
        self._process, self._pipe = process, here
        loop = asyncio.get_running_loop()
        threading.Thread(target=self._listen, args=(here, loop), daemon=True, name="worker answers").start()

    async def call(self, lane: Lane, name: str, watch: Watch | None = None, /, **arguments: Any) -> Any:
        """Let the worker do something and wait for its answer.

        Raises the ``PhototemplateError`` that the task raised, ``Cancelled``, or ``WorkerLost``.
        """
        task = _Task(next(self._numbers), lane, name, arguments, asyncio.get_running_loop().create_future(), watch)
        self._tasks[task.number] = task
        try:
            self._send(task)
            return await task.answer
        finally:
            self._tasks.pop(task.number, None)

    def cancel(self) -> bool:
        """End the long work; the rest is asked again of a new process. False where nothing long runs."""
        if not any(t.lane == "long" for t in self._tasks.values()):
            return False
        for task in list(self._tasks.values()):
            if task.lane == "long" and not task.answer.done():
                task.answer.set_exception(Cancelled())
        self._end()
        self.on_restart()
        self._again()
        return True

    def drop(self, *names: str) -> None:
        """Work that nobody waits for any more: it ends when it next tells its progress, and its caller gets ``Cancelled``."""
        for task in list(self._tasks.values()):
            if task.name in names and not task.answer.done():
                task.answer.set_exception(Cancelled())
                if self._pipe is not None:
                    with self._sending, contextlib.suppress(OSError, ValueError):
                        self._pipe.send((task.number, task.lane, DROP, {}))

    def close(self) -> None:
        """End the process."""
        self._end()
        for task in list(self._tasks.values()):
            if not task.answer.done():
                task.answer.cancel()

    def _send(self, task: _Task) -> None:
        self.start()
        assert self._pipe is not None
        task.tries += 1
        # the listener sees the end of the pipe and deals with it
        with self._sending, contextlib.suppress(OSError, ValueError):
            self._pipe.send((task.number, task.lane, task.name, task.arguments))

    def _again(self) -> None:
        for task in list(self._tasks.values()):
            if not task.answer.done():
                self._send(task)

    def _end(self) -> None:
        process, pipe = self._process, self._pipe
        self._process = self._pipe = None
        if pipe is not None:
            pipe.close()
        if process is not None and process.is_alive():
            process.terminate()
            process.join(1.0)
            if process.is_alive():
                process.kill()

    def _listen(self, pipe: Connection, loop: asyncio.AbstractEventLoop) -> None:
        while True:
            try:
                message = pipe.recv()
            except (EOFError, OSError, TypeError):
                break
            try:
                loop.call_soon_threadsafe(self._take, message)
            except RuntimeError:
                return  # the loop is closed
        try:
            loop.call_soon_threadsafe(self._lost, pipe)
        except RuntimeError:
            return

    def _take(self, message: tuple[int, str, Any]) -> None:
        number, kind, value = message
        task = self._tasks.get(number)
        if task is None or task.answer.done():
            return
        if kind == "done":
            task.answer.set_result(value)
        elif kind == "progress" and task.watch is not None:
            task.watch(*value)
        elif kind == "error":
            task.answer.set_exception(_error(*value))

    def _lost(self, pipe: Connection) -> None:
        """The process died by itself: short tasks are asked once more, long ones fail."""
        if pipe is not self._pipe:
            return  # ended on purpose
        self._end()
        self.on_restart()
        for task in list(self._tasks.values()):
            if (task.lane == "long" or task.tries > 1) and not task.answer.done():
                task.answer.set_exception(WorkerLost())
        self._again()
