"""One stream of events per open page (server-sent events). A page that missed some asks for the present state instead."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from phototemplate.web.constants import BEAT_S, MOST_WAITING


class Hub:
    """Tells every open page what happened."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[str | None]] = set()
        self.closing = False

    @property
    def pages(self) -> int:
        """Pages that listen."""
        return len(self._queues)

    def tell(self, kind: str, **facts: Any) -> None:
        """Send an event to every page; a page too slow to read is cut off and will ask anew."""
        text = f"event: {kind}\ndata: {json.dumps(facts, separators=(',', ':'))}\n\n"
        for queue in list(self._queues):
            if queue.qsize() > MOST_WAITING:
                queue.put_nowait(None)
                self._queues.discard(queue)
            else:
                queue.put_nowait(text)

    def close(self) -> None:
        """End all streams, for the server's end."""
        self.closing = True
        for queue in list(self._queues):
            queue.put_nowait(None)

    async def stream(self) -> AsyncIterator[str]:
        """Events for one page, from now on."""
        queue: asyncio.Queue[str | None] = asyncio.Queue()
        self._queues.add(queue)
        try:
            yield "retry: 800\nevent: hello\ndata: {}\n\n"
            while not self.closing:
                try:
                    text = await asyncio.wait_for(queue.get(), BEAT_S)
                except TimeoutError:
                    yield ": beat\n\n"
                    continue
                if text is None:
                    return
                yield text
        finally:
            self._queues.discard(queue)
