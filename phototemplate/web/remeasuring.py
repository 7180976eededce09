"""When an open job is measured again, and what follows when it is: picture, proposals, judgement.

A changed job is measured as soon as there is time, and what was begun for its earlier state is dropped. What can wait does
wait: pieces are shaped once the edges' numbers are told, then a small rectified picture is made, proposals once there is a
picture and no edge, remedies are searched when nothing has been changed for a moment, and the fine picture comes last. Result
and picture are kept on disk, so that a job that is opened again shows them at once.
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

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.constants import ESTIMATE_FILE
from phototemplate.errors import MeasureError, PhototemplateError
from phototemplate.web.constants import JUDGE_AFTER_S, MOST_PX, QUICK_TOP_PX, READY_S, SAME_PROPOSAL_MM, SETTLE_S, TELL_EVERY_S
from phototemplate.web.events import Hub
from phototemplate.web.photo_table import PhotoTable, Spawn
from phototemplate.web.refusals import Cancelled, words_of
from phototemplate.web.worker import Worker

OBSOLETE = ("measure", "shape", "top", "judge", "propose")
"""Tasks whose answer nobody wants once the job has changed"""
KEPT_FILE = "last.json"
"""In the folder of pictures: result, picture and proposals of the last start"""


class Measuring:
    """The last result of a job and how it comes about. ``may_propose`` says whether to look for edges unasked."""

    def __init__(
        self, folder: Path, photo_table: PhotoTable, worker: Worker, hub: Hub, spawn: Spawn, may_propose: Callable[[], bool]
    ) -> None:
        self.folder, self.photo_table, self.worker, self.hub = folder, photo_table, worker, hub
        self._spawn, self._may_propose = spawn, may_propose
        self.result: bytes = b""
        self.number = 0
        """Counts the results of this start"""
        self.top: dict[str, Any] | None = None
        self.proposals: list[dict[str, Any]] = []
        self.accepted: dict[str, str] = {}
        """Key of a proposal -> edge that was made of it; it is proposed again when that edge is gone"""
        self.trouble: dict[str, Any] | None = None
        self.stage: dict[str, Any] = {"state": "idle", "stage": "", "share": 0.0}
        self._wish = asyncio.Event()
        self._ready = asyncio.Event()
        self._told = 0.0
        self._recall()

    def wish(self, changed: bool = False) -> None:
        """Measure when there is time; ``changed``: what is being worked on is of no use any more."""
        self._wish.set()
        if changed:
            self.worker.drop(*OBSOLETE)

    async def run(self) -> None:
        """Measure whenever it is wished for, to the end of the app."""
        while True:
            await self._wish.wait()
            self._wish.clear()
            if not (self.photo_table.usable or self._drawn()) or self._only_clicks():
                self.tell_state("idle")
                continue
            if self.photo_table.busy:
                self.tell_state("photos")
                await asyncio.sleep(SETTLE_S)
                self.wish()
                continue
            await self._measure()

    def _drawn(self) -> bool:
        """Shapes by their numbers, and no photos."""
        return bool(self.photo_table.job.file.drawn) and not self.photo_table.photos

    def _only_clicks(self) -> bool:
        """A customer's photos, in which corners are clicked: no sheets have to be looked for."""
        return (self.folder / ESTIMATE_FILE).is_file() and not self.photo_table.job.file.edges

    def worst_U_mm(self) -> float | None:
        """Of the edges measured so far, the largest U of a place; None where there is none."""
        if not self.result:
            return None
        values = [max(e["offset_U"]) for e in json.loads(self.result)["edges"] if e.get("offset_U")]
        return max(values, default=None)

    def unready(self) -> None:
        """The worker was started anew and holds no measurement."""
        self._ready.clear()

    async def ready(self) -> None:
        """Wait until the worker holds a measurement that can be asked; after a while its own refusal is the better answer."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ready.wait(), READY_S if self.photo_table.usable else 0.0)

    async def _measure(self) -> None:
        self.tell_state("measuring")
        started = time.monotonic()
        try:
            result = await self.worker.call("long", "measure", self.progress, job_folder=str(self.folder))
        except Cancelled:
            if not self._wish.is_set():
                self.tell_state("stopped")
            return
        except PhototemplateError as exc:
            self.trouble = words_of(exc)
            self.result = b"" if isinstance(exc, MeasureError) else self.result
            self.tell_state("failed", trouble=self.trouble)
            return
        self.result, self.trouble = result, None
        self._ready.set()
        self.number += 1
        self.tell_state("measured", seconds=round(time.monotonic() - started, 3), result=self.number)
        if self._drawn():
            self.tell_state("idle")
        elif not self._wish.is_set():
            self._spawn(self._afterwards(self.number))

    def _add(self, number: int, facts: dict[str, Any]) -> None:
        """More of a result that the pages have already."""
        if number == self.number:
            self.result = json.dumps(json.loads(self.result) | facts, separators=(",", ":")).encode()
            self.hub.tell("judged", result=number, **facts)

    async def _shape(self, number: int) -> None:
        try:
            facts = await self.worker.call("long", "shape")
        except Cancelled:
            if not self._wish.is_set():
                self.tell_state("stopped")
            raise
        except PhototemplateError:
            facts = {"stone": None, "distances": [], "shaping": False}
        self._add(number, facts)

    async def _afterwards(self, number: int) -> None:
        with contextlib.suppress(Cancelled):
            await self._shape(number)
            await self._picture(QUICK_TOP_PX)
            if self._may_propose() and not self.proposals:
                with contextlib.suppress(PhototemplateError):
                    await self.propose()
            await asyncio.sleep(JUDGE_AFTER_S)
            if number == self.number and not self._wish.is_set() and self.stage["state"] == "idle":
                await self._judge(number)
                await self._picture(MOST_PX)
                self._keep()

    async def _picture(self, most_px: int) -> None:
        """The rectified picture of at most so many pixels, where the network has changed since the last or it was smaller."""
        key = json.loads(self.result)["picture_key"]
        name = f"{key}-{most_px // 1_000_000}"
        if self.top is not None and (self.top["key"] == name or (self.top["key"].startswith(key) and most_px < MOST_PX)):
            self.tell_state("idle")
            return
        folder = self.photo_table.cache / f"top-{name}"
        try:
            facts = await self.worker.call("long", "top", self.progress, folder=str(folder), most_px=most_px)
        except Cancelled:
            if not self._wish.is_set():
                self.tell_state("stopped")
            raise
        except PhototemplateError:
            self.tell_state("idle")
            return
        before, self.top = self.top, {"key": name, **facts}
        self.hub.tell("top", top=self.top)
        self.tell_state("idle")
        # the one before stays until the page has drawn this one
        for old in self.photo_table.cache.glob("top-*"):
            if old != folder and (before is None or old.name != f"top-{before['key']}"):
                shutil.rmtree(old, ignore_errors=True)

    async def _judge(self, number: int) -> None:
        """Verdicts with remedies and everything else that the studies notice, put into the result."""
        with contextlib.suppress(PhototemplateError):
            self._add(number, await self.worker.call("long", "judge"))

    # --------------------------------------------------------------------------------- kept between starts

    def _keep(self) -> None:
        """Result, picture and proposals for the next start; the folder may be deleted at any time."""
        if not self.result:
            return
        with contextlib.suppress(OSError, PhototemplateError):
            self.photo_table.cache.mkdir(parents=True, exist_ok=True)
            kept = {"result": json.loads(self.result), "top": self.top, "proposals": self.proposals, "accepted": self.accepted}
            write_text_atomic(self.photo_table.cache / KEPT_FILE, json.dumps(kept, separators=(",", ":")))

    def _recall(self) -> None:
        """What an earlier start has kept, where it was written by this version of the program."""
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
            kept = json.loads((self.photo_table.cache / KEPT_FILE).read_text(encoding="utf-8"))
            if kept["result"]["version"] != __version__:
                return
            top = kept["top"]
            self.result = json.dumps(kept["result"], separators=(",", ":")).encode()
            self.number = 1
            self.proposals, self.accepted = kept["proposals"], kept["accepted"]
            if top is not None and (self.photo_table.cache / f"top-{top['key']}" / "done").exists():
                self.top = top

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

    async def long(self, name: str, /, **arguments: Any) -> Any:
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
        self.accepted = {}
        self._tell_proposals()

    def accept(self, made: dict[str, str]) -> None:
        """Edges were made of proposals: key -> id of the edge."""
        self.accepted |= made
        self._tell_proposals()

    def _tell_proposals(self) -> None:
        self._keep()
        self.hub.tell("proposals", proposals=self.proposals, accepted=self.accepted)

    def turn_down(self, key: str) -> None:
        """Do not propose this edge again (until the picture cache is deleted)."""
        self.proposals = [p for p in self.proposals if p["key"] != key]
        with contextlib.suppress(OSError, PhototemplateError):
            self.photo_table.cache.mkdir(parents=True, exist_ok=True)
            write_text_atomic(self.photo_table.cache / "turned-down.json", json.dumps(sorted({*self._turned_down(), key})))
        self._tell_proposals()

    def _turned_down(self) -> set[str]:
        with contextlib.suppress(OSError, ValueError, TypeError, RecursionError):
            return {str(k) for k in json.loads((self.photo_table.cache / "turned-down.json").read_text(encoding="utf-8"))}
        return set()


def proposal_key(p: dict[str, Any]) -> str:
    """The same proposal has the same key in a later search: what it is and, to a few centimetres, where."""
    if p["targets"]:
        return f"{p['kind']} {' '.join(p['targets'])}"
    (x0, y0), (x1, y1) = p["line"][0], p["line"][-1]
    return f"{p['kind']} {round((x0 + x1) / 2 / SAME_PROPOSAL_MM)} {round((y0 + y1) / 2 / SAME_PROPOSAL_MM)}"
