"""When an open job is measured again, and what follows when it is: picture, proposals, judgement.

A changed job is measured as soon as there is time. What can wait does wait: the rectified picture is made once the result is
told, proposals once there is a picture and no edge, and remedies are searched when nothing has been changed for a moment.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from phototemplate.atomic import write_text_atomic
from phototemplate.errors import MeasureError, PhototemplateError
from phototemplate.web.constants import JUDGE_AFTER_S, SAME_PROPOSAL_MM, SETTLE_S, TELL_EVERY_S
from phototemplate.web.events import Hub
from phototemplate.web.photo_table import PhotoTable, Spawn
from phototemplate.web.refusals import Cancelled, words_of
from phototemplate.web.worker import Worker


class Measuring:
    """The last result of a job and how it comes about. ``has_edges`` says whether anybody has drawn an edge yet."""

    def __init__(
        self, folder: Path, photo_table: PhotoTable, worker: Worker, hub: Hub, spawn: Spawn, has_edges: Callable[[], bool]
    ) -> None:
        self.folder, self.photo_table, self.worker, self.hub = folder, photo_table, worker, hub
        self._spawn, self._has_edges = spawn, has_edges
        self.result: bytes = b""
        self.number = 0
        """Counts the results of this start"""
        self.top: dict[str, Any] | None = None
        self.proposals: list[dict[str, Any]] = []
        self.trouble: dict[str, Any] | None = None
        self.stage: dict[str, Any] = {"state": "idle", "stage": "", "share": 0.0}
        self._wish = asyncio.Event()
        self._told = 0.0

    def wish(self) -> None:
        """Measure when there is time."""
        self._wish.set()

    async def run(self) -> None:
        """Measure whenever it is wished for, to the end of the app."""
        while True:
            await self._wish.wait()
            self._wish.clear()
            if not self.photo_table.usable:
                self.tell_state("idle")
                continue
            if self.photo_table.busy:
                self.tell_state("photos")
                await asyncio.sleep(SETTLE_S)
                self.wish()
                continue
            await self._measure()

    async def _measure(self) -> None:
        self.tell_state("measuring")
        started = time.monotonic()
        try:
            result = await self.worker.call("long", "measure", self.progress, job_folder=str(self.folder))
        except Cancelled:
            self.tell_state("stopped")
            return
        except PhototemplateError as exc:
            self.trouble = words_of(exc)
            self.result = b"" if isinstance(exc, MeasureError) else self.result
            self.tell_state("failed", trouble=self.trouble)
            return
        self.result, self.trouble = result, None
        self.number += 1
        self.tell_state("measured", seconds=round(time.monotonic() - started, 3), result=self.number)
        if not self._wish.is_set():
            self._spawn(self._afterwards(self.number))

    async def _afterwards(self, number: int) -> None:
        await self._picture()
        await asyncio.sleep(JUDGE_AFTER_S)
        if number == self.number and not self._wish.is_set() and self.stage["state"] == "idle":
            await self._judge(number)

    async def _picture(self) -> None:
        """The rectified picture, where the network has changed since the last."""
        key = json.loads(self.result)["picture_key"]
        if self.top is not None and self.top["key"] == key:
            self.tell_state("idle")
            return
        try:
            facts = await self.worker.call("long", "top", self.progress, folder=str(self.photo_table.cache / f"top-{key}"))
        except Cancelled:
            self.tell_state("stopped")
            return
        except PhototemplateError:
            self.tell_state("idle")
            return
        self.top = {"key": key, **facts}
        self.hub.tell("top", top=self.top)
        self.tell_state("idle")
        if not self._has_edges():
            with contextlib.suppress(PhototemplateError):
                await self.propose()
        for old in self.photo_table.cache.glob("top-*"):
            if old.name != f"top-{key}":
                shutil.rmtree(old, ignore_errors=True)

    async def _judge(self, number: int) -> None:
        """Verdicts with remedies and everything else that the studies notice, put into the result."""
        with contextlib.suppress(PhototemplateError):
            judged = await self.worker.call("long", "judge")
            if number == self.number:
                self.result = json.dumps(json.loads(self.result) | judged, separators=(",", ":")).encode()
                self.hub.tell("judged", result=number, **judged)

    def progress(self, stage: str, share: float) -> None:
        """Progress of the worker, told to the pages not too often."""
        now = time.monotonic()
        if now - self._told > TELL_EVERY_S or share >= 1.0:
            self._told = now
            self.tell_state("measuring", stage=stage, share=share)

    def tell_state(self, state: str, stage: str = "", share: float = 0.0, **more: Any) -> None:
        """Tell every page what is being done."""
        self.stage = {"state": state, "stage": stage, "share": share}
        self.hub.tell("work", **self.stage, **more)

    async def long(self, name: str, **arguments: Any) -> Any:
        """Let the worker do something long with its progress shown."""
        try:
            return await self.worker.call("long", name, self.progress, **arguments)
        finally:
            self.tell_state("idle")

    # ---------------------------------------------------------------------------------------- proposals

    async def propose(self) -> None:
        """Look for edges that nobody has drawn."""
        found = await self.long("propose")
        turned_down = self._turned_down()
        self.proposals = [p | {"key": key} for p in found if (key := proposal_key(p)) not in turned_down]
        self.hub.tell("proposals", proposals=self.proposals)

    def turn_down(self, key: str) -> None:
        """Do not propose this edge again (until the picture cache is deleted)."""
        self.proposals = [p for p in self.proposals if p["key"] != key]
        self.photo_table.cache.mkdir(parents=True, exist_ok=True)
        write_text_atomic(self.photo_table.cache / "turned-down.json", json.dumps(sorted({*self._turned_down(), key})))
        self.hub.tell("proposals", proposals=self.proposals)

    def _turned_down(self) -> set[str]:
        with contextlib.suppress(OSError, ValueError):
            return {str(k) for k in json.loads((self.photo_table.cache / "turned-down.json").read_text(encoding="utf-8"))}
        return set()


def proposal_key(p: dict[str, Any]) -> str:
    """The same proposal has the same key in a later search: what it is and, to a few centimetres, where."""
    if p["targets"]:
        return f"{p['kind']} {' '.join(p['targets'])}"
    (x0, y0), (x1, y1) = p["line"][0], p["line"][-1]
    return f"{p['kind']} {round((x0 + x1) / 2 / SAME_PROPOSAL_MM)} {round((y0 + y1) / 2 / SAME_PROPOSAL_MM)}"
