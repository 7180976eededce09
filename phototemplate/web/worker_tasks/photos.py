"""One photo: can it be read, what is seen in it, what did the adjustment make of that."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from phototemplate.atomic import write_bytes_atomic
from phototemplate.capture.photos import read_rgb, upright
from phototemplate.capture.quality import check_file, find_duplicates
from phototemplate.capture.store import PhotoStore
from phototemplate.errors import FINDINGS, MeasureError, PhotoError
from phototemplate.job import load_job
from phototemplate.model import Array, PhotoMeta, Sightings
from phototemplate.progress import Progress, quiet
from phototemplate.stage_inputs import detect_all
from phototemplate.web.constants import THUMB_QUALITY, THUMB_SIDE
from phototemplate.web.worker_tasks.spoken import finding_parts


def read_header(memory: Any, tell: Progress, path: str) -> dict[str, Any]:
    """Size and orientation of a photo that has just arrived. Raises ``PhotoError``."""
    del tell
    meta = memory.meta(Path(path))
    return {"size": list(meta.size_px), "orientation": meta.orientation, "taken": meta.taken_at}


def inspect(memory: Any, tell: Progress, path: str, job_folder: str, thumb: str) -> dict[str, Any]:
    """Thumbnail (upright JPEG at ``thumb``) and targets of one photo. Raises ``PhotoError`` where it cannot be read."""
    del tell
    place = Path(path)
    meta = memory.meta(place)
    if not Path(thumb).exists():
        small = np.ascontiguousarray(upright(read_rgb(meta, THUMB_SIDE), meta.orientation))
        ok, data = cv2.imencode(".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, THUMB_QUALITY])
        assert ok
        Path(thumb).parent.mkdir(parents=True, exist_ok=True)
        write_bytes_atomic(thumb, data.tobytes())
    memory.store.add(meta)
    seen = sightings_of(memory, meta.photo_id, job_folder)
    bad = next((f for f in seen.findings if FINDINGS[f.code].lost), None)
    if bad is not None:
        raise PhotoError(bad)
    return {
        "size": list(meta.size_px),
        "orientation": meta.orientation,
        "taken": meta.taken_at,
        "camera": " ".join(p for p in (meta.make, meta.model) if p),
        "points": len(seen),
        "targets": target_marks(seen),
        "findings": _remarks(memory, meta, seen),
    }


def sightings_of(memory: Any, photo_id: str, job_folder: str) -> Sightings:
    """Targets of one photo, remembered where the pipeline will look for them."""
    meta = memory.store.photos[photo_id]
    one = _OneOf(memory.store, photo_id)
    with contextlib.suppress(MeasureError):  # no target in this one photo: no error here
        detect_all(one, load_job(Path(job_folder)).file, memory.memo, quiet)
    seen = memory.memo.recall(f"sightings {meta.photo_id}")
    memory.shown.setdefault("prints", {})[photo_id] = seen.small
    found: Sightings = seen.sightings
    return found


class _OneOf(PhotoStore):
    """One photo of a store, decoded pictures shared."""

    def __init__(self, store: PhotoStore, photo_id: str) -> None:
        super().__init__([store.photos[photo_id]])
        self._store = store

    def gray(self, photo_id: str) -> Any:
        return self._store.gray(photo_id)


def target_marks(seen: Sightings) -> list[dict[str, Any]]:
    """Per target: number of points and their hull in stored px (outer-corner origin, as the canvas has it)."""
    out = []
    ids = np.array(seen.target_ids)
    for target_id in dict.fromkeys(seen.target_ids):
        uv = seen.uv_px[ids == target_id] + 0.5
        out.append({"id": target_id, "n": len(uv), "hull": _hull(uv)})
    return out


def _hull(uv: Array) -> list[list[float]]:
    hull = cv2.convexHull(uv.astype(np.float32)).reshape(-1, 2) if len(uv) > 2 else uv
    return [[round(float(x), 1), round(float(y), 1)] for x, y in hull]


def _remarks(memory: Any, meta: PhotoMeta, seen: Sightings) -> list[dict[str, Any]]:
    """Everything to be said about the photo by itself and beside those that came before it."""
    prints = memory.shown.setdefault("prints", {})
    others = [m for name, m in sorted(memory.store.photos.items()) if name != meta.photo_id and name in prints]
    findings = [*seen.findings, *check_file(meta)]
    findings += [f for f in find_duplicates([*others, meta], dict(prints))[0] if f.where == meta.photo_id]
    return finding_parts(findings)


def marks(memory: Any, tell: Progress, photo_id: str, path: str, job_folder: str) -> dict[str, Any]:
    """Everything known of one photo at full detail, in stored px with the canvas's origin (OpenCV + 0.5)."""
    del tell
    meta = memory.meta(Path(path))
    if photo_id not in memory.store.photos:
        memory.store.add(meta)
    seen = sightings_of(memory, photo_id, job_folder)
    out: dict[str, Any] = {
        "size": list(meta.size_px), "orientation": meta.orientation, "targets": target_marks(seen),
        "points": _rounded(seen.uv_px + 0.5), "point_targets": list(seen.target_ids),
        "residuals": None, "edges": [], "placed": False,
    }
    m = memory.measurement
    if m is None:
        return out
    out["placed"] = photo_id in m.network.photos
    for r in m.network.residuals:
        if r.photo_id == photo_id:
            used = r.weight > 0
            out["residuals"] = {
                "uv": _rounded(r.uv_px + 0.5), "d": _rounded(r.residual_px, 4),
                "weight": [round(float(w), 3) for w in r.weight], "targets": list(r.target_ids),
                "rms": float(np.sqrt(np.mean(r.residual_px[used] ** 2))) if used.any() else None,
            }
    out["edges"] = [
        {"id": t.edge_id, "uv": _rounded(t.uv_px + 0.5)} for t in m.traces if t.photo_id == photo_id
    ]
    return out


def _rounded(a: Array, digits: int = 2) -> list[list[float]]:
    rounded: list[list[float]] = np.round(np.nan_to_num(np.asarray(a, float)), digits).tolist()
    return rounded
