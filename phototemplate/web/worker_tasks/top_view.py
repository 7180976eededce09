"""The rectified picture of the work plane, cut into tiles."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.atomic import write_text_atomic
from phototemplate.capture.photos import read_rgb
from phototemplate.network.rectify import RgbImage, rectify
from phototemplate.progress import Progress
from phototemplate.web.constants import (
    COARSEST_PX_PER_MM,
    FINEST_PX_PER_MM,
    MARGIN_MM,
    MOST_PX,
    NOTHING_RGB,
    PHOTO_PX_PER_PX,
    TOP_VIEW_QUALITY,
)
from phototemplate.web.worker_tasks.photo_places import photos_showing
from phototemplate.web.worker_tasks.tiles import cut, levels_of


def top_tiles(memory: Any, tell: Progress, folder: str, most_px: int = MOST_PX) -> dict[str, Any]:
    """Make and cut the picture for the last measurement, unless the folder has it already.

    ``matrix`` (a, b, c, d, e, f) takes px of the picture (origin at its outer corner) to the work frame in mm.
    """
    m = memory.measured()
    place = Path(folder)
    if not (place / "facts.json").exists() or not (place / "done").exists():
        bounds = _bounds(m)
        sharpest = _resolution(memory, tell, m)
        finest = float(np.clip(sharpest, COARSEST_PX_PER_MM, FINEST_PX_PER_MM))
        area = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
        px_per_mm = float(min(finest, np.sqrt(most_px / area)))

        def rgb_of(photo_id: str) -> RgbImage:
            meta = memory.store.photos[photo_id]
            # a small view needs no more of a photo than it shows
            shrink = min(1.0, PHOTO_PX_PER_PX * px_per_mm / sharpest)
            return read_rgb(meta, round(max(meta.size_px) * shrink))

        view = rectify(m.network, m.work_plane, rgb_of, bounds, px_per_mm, progress=lambda _, share: tell("picture", share))
        rgb = view.rgb
        rgb[~view.seen] = NOTHING_RGB
        cut(rgb, place, quality=TOP_VIEW_QUALITY)
        step = 1.0 / view.px_per_mm
        x, y = view.origin_mm[0] - step / 2, view.origin_mm[1] + step / 2
        size = [rgb.shape[1], rgb.shape[0]]
        facts = {"size": size, "levels": levels_of((size[0], size[1])), "matrix": [step, 0.0, 0.0, -step, x, y]}
        write_text_atomic(place / "facts.json", json.dumps(facts))
    out: dict[str, Any] = json.loads((place / "facts.json").read_text(encoding="utf-8"))
    return out


def _bounds(m: Any) -> tuple[float, float, float, float]:
    """Around the sheets and the strips."""
    from phototemplate.web.worker_tasks.result_view import strips_of

    points = [np.array([h.xy_mm for h in m.work_plane.heights]).reshape(-1, 2)]
    points += [np.asarray(s["points"])[:, :2] for s in strips_of(m)]
    xy = np.vstack(points)
    low, high = xy.min(axis=0) - MARGIN_MM, xy.max(axis=0) + MARGIN_MM
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _resolution(memory: Any, tell: Progress, m: Any) -> float:
    """What the photos resolve on the cabinets, in px/mm."""
    seen = [photos_showing(memory, tell, list(h.xy_mm), most=1) for h in m.work_plane.heights]
    best = [s[0]["px_per_mm"] for s in seen if s]
    return float(np.median(best)) if best else 1.0
