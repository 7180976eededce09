"""Every photo with its detections, residuals and traced edges drawn over it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from phototemplate.capture.photos import read_rgb, upright, upright_points
from phototemplate.errors import PhotoError
from phototemplate.model import Array, Measurement, PhotoMeta, PhotoResiduals, Sightings
from phototemplate.output.constants import MANY_PHOTOS
from phototemplate.output.report.marks import dots, finite, fmt, label, path, vectors
from phototemplate.output.report.pictures import Rgb, jpeg_address, reduced
from phototemplate.settings import OutputSettings
from phototemplate.units import LengthUnit
from phototemplate.wording import Said, say

PictureOf = Callable[[PhotoMeta, int], Rgb]
"""(photo, longer side in px) -> RGB picture in stored orientation, at most so large"""



@dataclass(frozen=True)
class PhotoPanel:
    """One photo of the report."""

    photo_id: str
    file: str
    address: Markup
    """Picture as data address; empty where the file cannot be read"""
    width: int
    height: int
    overlay: Markup
    """SVG elements in upright pixels of the full picture"""
    points: int
    rejected: int
    targets: int
    rms_px: float | None
    placed: bool
    camera: str
    size: str
    findings: tuple[Said, ...]

    @property
    def line(self) -> str:
        """What was found in it, in one line."""
        if not self.points:
            return "No target found."
        text = f"{self.points} points on {self.targets} targets"
        if not self.placed:
            return f"{text}; the photo could not be placed."
        if self.rms_px is not None:
            text += f", residual {self.rms_px:.2f} px rms"
        return text + (f", {self.rejected} left out." if self.rejected else ".")


def panel_side(settings: OutputSettings, count: int) -> int:
    """Longer side in px of each of so many photos."""
    return round(settings.photo_side_px * min(1.0, math.sqrt(MANY_PHOTOS / max(count, 1))))


def photo_panels(
    measurement: Measurement, settings: OutputSettings, picture_of: PictureOf | None = None, unit: LengthUnit = "mm"
) -> list[PhotoPanel]:
    """A panel per photo, in order; one picture is in memory at a time."""
    side = panel_side(settings, len(measurement.photos))
    residuals = {r.photo_id: r for r in measurement.network.residuals}
    return [
        _panel(measurement, meta, residuals.get(meta.photo_id), settings, side, picture_of or read_rgb, unit)
        for meta in measurement.photos
    ]


def _panel(
    measurement: Measurement,
    meta: PhotoMeta,
    left: PhotoResiduals | None,
    settings: OutputSettings,
    side: int,
    picture_of: PictureOf,
    unit: LengthUnit,
) -> PhotoPanel:
    try:
        address = jpeg_address(upright(reduced(picture_of(meta, side), side), meta.orientation), settings.photo_quality)
    except (PhotoError, OSError):  # moved away since; the numbers are still true
        address = Markup("")
    w, h = meta.size_px if meta.orientation < 5 else meta.size_px[::-1]
    seen = measurement.sightings.get(meta.photo_id)
    placed = meta.photo_id in measurement.network.photos
    used = left.weight > 0 if left is not None else np.zeros(0, bool)
    rms = None
    if left is not None and placed and used.any():
        rms = float(np.sqrt(np.mean(left.residual_px[used] ** 2)))
    ids = left.target_ids if left is not None else seen.target_ids if seen is not None else ()
    return PhotoPanel(
        photo_id=meta.photo_id,
        file=meta.path.name,
        address=address,
        width=w,
        height=h,
        overlay=_overlay(measurement, meta, left, seen, settings.residual_scale),
        points=len(ids),
        rejected=int(np.sum(~used)),
        targets=len(set(ids)),
        rms_px=rms,
        placed=placed,
        camera=" ".join(dict.fromkeys(f"{meta.make} {meta.model}".split())) or "unknown camera",
        size=f"{meta.size_px[0]} x {meta.size_px[1]} px",
        findings=tuple(say(f, unit) for f in measurement.findings if meta.photo_id in f.where.split("/")),
    )


def _overlay(
    measurement: Measurement, meta: PhotoMeta, left: PhotoResiduals | None, seen: Sightings | None, scale: float
) -> Markup:
    """Traces, detections, residuals and names of targets; the unit is the full picture's upright pixel."""
    w, h = meta.size_px
    unit = max(w, h) / 1000.0  # so that strokes look alike at every picture size

    def turned(uv: Array) -> Array:
        return upright_points(uv, meta.size_px, meta.orientation)

    parts: list[Markup] = []
    for trace in measurement.traces:
        if trace.photo_id == meta.photo_id and len(trace.uv_px):
            line = turned(finite(trace.uv_px))
            parts.append(_stroke("trace", path(line), 2.2 * unit))
            x, y = line[len(line) // 2]
            parts.append(_text(x, y - 8 * unit, trace.edge_id, "edge-name", 17 * unit))
    if left is not None and len(left.uv_px):
        uv, used = left.uv_px, left.weight > 0
        parts.append(_stroke("seen", dots(turned(uv[used])), 4.5 * unit))
        far = uv + scale * np.nan_to_num(left.residual_px)
        parts.append(_stroke("residual", vectors(turned(uv[used]), turned(far[used])), 2.2 * unit))
        if (~used).any():
            parts.append(_stroke("rejected", _crosses(turned(uv[~used]), 7 * unit), 2.4 * unit))
    elif seen is not None and len(seen.uv_px):
        parts.append(_stroke("seen", dots(turned(seen.uv_px)), 4.5 * unit))
    source = left if left is not None else seen
    if source is not None:
        for name in dict.fromkeys(source.target_ids):
            mine = turned(source.uv_px[np.array([i == name for i in source.target_ids])])
            x, y = mine[:, 0].mean(), mine[:, 1].max() + 30 * unit  # below, so that the points stay free
            parts.append(_text(x, y, name, "target-name", 20 * unit))
    x, y = 16 * unit, (h if meta.orientation < 5 else w) - 18 * unit
    if left is not None:
        parts.append(_stroke("ruler", f"M{fmt(x)} {fmt(y)}h{fmt(scale)}", 3 * unit))
        parts.append(_text(x + scale + 8 * unit, y + 6 * unit, f"1 px, {scale:g} times enlarged", "ruler-text", 17 * unit,
                           "start"))  # fmt: skip
    return Markup("").join(parts)


def _stroke(css: str, d: str, width: float) -> Markup:
    return Markup('<path class="{}" d="{}" stroke-width="{}"/>').format(css, d, fmt(width, 2)) if d else Markup("")


def _text(x: float, y: float, text: str, css: str, size: float, anchor: str = "middle") -> Markup:
    return Markup('<g font-size="{}" stroke-width="{}">{}</g>').format(
        fmt(size), fmt(size / 5), label(x, y, text, css, anchor)
    )


def _crosses(points: Array, half: float) -> str:
    return "".join(
        f"M{fmt(x - half)} {fmt(y - half)}l{fmt(2 * half)} {fmt(2 * half)}"
        f"M{fmt(x - half)} {fmt(y + half)}l{fmt(2 * half)} {fmt(-2 * half)}"
        for x, y in points
    )
