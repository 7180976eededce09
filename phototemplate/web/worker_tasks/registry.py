"""The tasks of the worker by name, and the memory on which it keeps what it will need again."""

from __future__ import annotations

import contextlib
import importlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, ValidationError, validate_call

from phototemplate.capture.photos import read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.errors import InputError, MeasureError, OutputError, PhotoError, PhototemplateError
from phototemplate.job import Job
from phototemplate.model import Measurement, PhotoMeta
from phototemplate.output.assessment import Judgements
from phototemplate.stage_cache import Memo, file_mark
from phototemplate.web.refusals import Refused, refused_by_the_disk


class JobPhotos(PhotoStore):
    """Decoded photos of a job whose photos come and go."""

    def __init__(self) -> None:
        super().__init__(())
        self._marks: dict[str, tuple[int, int]] = {}

    def set_photos(self, photos: Iterable[PhotoMeta]) -> None:
        """The photos there are now; a decoded picture whose file changed is forgotten."""
        table: dict[str, PhotoMeta] = {p.photo_id: p for p in photos}
        with self._lock:
            for meta in table.values():
                self._forget_if_changed(meta)
            self.photos: Mapping[str, PhotoMeta] = table

    def add(self, meta: PhotoMeta) -> None:
        """One more photo; two that are added at the same moment both stay."""
        with self._lock:
            self._forget_if_changed(meta)
            self.photos = {**self.photos, meta.photo_id: meta}

    def _forget_if_changed(self, meta: PhotoMeta) -> None:
        mark = file_mark(meta.path)
        if self._marks.get(meta.photo_id) != mark:
            self._kept.pop(meta.photo_id, None)
            self._marks[meta.photo_id] = mark


class WorkerMemory:
    """Results kept between tasks; all tasks of a process are about one job folder."""

    def __init__(self) -> None:
        self.memo = Memo()
        self.store = JobPhotos()
        self.lock = threading.Lock()
        self.metas: OrderedDict[tuple[str, int, int], PhotoMeta] = OrderedDict()
        self.job: Job | None = None
        self.measurement: Measurement | None = None
        self.template: Any = None
        self.judged: tuple[Measurement, Judgements] | None = None
        self.shown: dict[str, Any] = {}
        """What else is worth keeping, by name"""

    def meta(self, path: Path) -> PhotoMeta:
        """Header of a photo, read once per version of its file. Raises ``PhotoError``."""
        key = (str(path), *file_mark(path))
        with self.lock:
            if key in self.metas:
                return self.metas[key]
        meta = read_meta(path)
        with self.lock:
            self.metas[key] = meta
        return meta

    def readable(self, job: Job) -> list[PhotoMeta]:
        """Photos of the job whose header can be read; the others are the measurement's findings."""
        out = []
        for path in job.photo_paths():
            with contextlib.suppress(PhotoError, OSError):
                out.append(self.meta(path))
        return out

    def judgements_of(self, m: Measurement) -> Judgements | None:
        """What was judged of this very measurement already."""
        of, judgements = self.judged or (None, None)
        return judgements if of is m else None

    def measured(self) -> Measurement:
        """The last measurement. Raises ``Refused`` where there is none yet."""
        if self.measurement is None:
            raise Refused("not-measured", 409)
        return self.measurement


def error_of(exc: BaseException) -> tuple[str, str, dict[str, Any]]:
    """Kind, sentence or code, and facts of an error, for the page."""
    if isinstance(exc, Refused):
        return "refused", exc.code, exc.facts
    if isinstance(exc, PhotoError):
        return "photo", exc.finding.code, {"where": exc.finding.where, **exc.finding.facts}
    for kind, cls in (("measure", MeasureError), ("output", OutputError), ("input", InputError)):
        if isinstance(exc, cls):
            return kind, str(exc), {}
    if isinstance(exc, PhototemplateError):
        return "other", str(exc), {}
    if isinstance(exc, OSError):
        return error_of(refused_by_the_disk(exc))
    if isinstance(exc, MemoryError):
        return "refused", "no-memory", {}
    if isinstance(exc, ValidationError) and exc.title in TASK_FUNCTIONS:
        return "refused", "bad-question", {}
    return "refused", "bug", {"detail": f"{type(exc).__name__}: {exc}"}


PLACES = {
    "check": "photos:read_header", "photo": "photos:inspect", "marks": "photos:marks", "photo-tiles": "tiles:photo_tiles",
    "square-code": "tiles:square_code",
    "measure": "result_view:measure", "shape": "result_view:shape", "judge": "result_view:judge_all",
    "top": "top_view:top_tiles",
    "photos-showing": "photo_places:photos_showing", "anchor": "photo_places:anchor_path", "distance": "distance:distance",
    "sheets": "documents:make_sheets", "plan": "documents:make_plan", "calibrate": "documents:make_calibration",
    "wall": "documents:make_wall_check",
    "estimate": "documents:make_estimate", "estimate-choices": "documents:estimate_choices",
    "clicks-begin": "clicks:begin", "clicks-propose": "clicks:propose", "clicks-carry": "clicks:carry",
    "clicks-fit": "clicks:fit", "clicks-quote": "clicks:quote", "message": "clicks:make_message", "order": "clicks:make_order",
    "prices": "documents:make_prices",
    "slab": "slab:make_slab", "clicks-slab": "slab:slab",
    "revision": "finish:make_revision", "revisions": "finish:revisions",
    "finish": "finish:finish", "archive": "finish:archive", "propose": "propose:propose",
}
"""Task -> module and function; a module is imported when it is first needed, so that the first photos need not wait"""
TASK_FUNCTIONS = frozenset(place.split(":")[1] for place in PLACES.values())


@cache
def task(name: str) -> Callable[..., Any]:
    """The function of a task. What it is called with is held against its annotations: most of it comes from the page."""
    module, function = PLACES[name].split(":")
    found: Callable[..., Any] = getattr(importlib.import_module(f"phototemplate.web.worker_tasks.{module}"), function)
    checked: Callable[..., Any] = validate_call(config=ConfigDict(strict=True, allow_inf_nan=False))(found)
    return checked
