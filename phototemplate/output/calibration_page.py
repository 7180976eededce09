"""One page about a calibration: is the lens known, where was it seen, what was decided on what evidence, what is missing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from markupsafe import Markup

from phototemplate.atomic import write_text_atomic
from phototemplate.model import Array
from phototemplate.network.calibration.calibrate import Calibration
from phototemplate.network.calibration.image_coverage import lens_u_px
from phototemplate.numerics.lens import LENS_MODELS
from phototemplate.output.constants import PAGE_WIDTH, RULERS_PX
from phototemplate.output.html import page as html_page
from phototemplate.output.report.marks import dots, fmt, label, vectors
from phototemplate.wording import said, say

SHAPE_WORDS = {
    "flat": "exactly as designed",
    "bent": "bent and stretched evenly",
    "free": "every point where the photos see it",
}
LENS_WORDS = {
    "brown": "pinhole with Brown's distortion",
    "rational": "pinhole with a rational radial factor",
    "fisheye": "fish-eye",
}
UNITS = {"f": "px", "cx": "px", "cy": "px"}


@dataclass(frozen=True)
class Figure:
    """An SVG with its size and what it says."""

    title: str
    width: float
    height: float
    body: Markup
    caption: str


def write_page(path: Path, calibration: Calibration, title: str, verdict: str, good: bool) -> None:
    """Write the page. Raises ``OutputError`` where it cannot be written."""
    write_text_atomic(path, page(calibration, title, verdict, good))


def page(calibration: Calibration, title: str, verdict: str, good: bool) -> str:
    """The page as HTML; needs no other file."""
    names = LENS_MODELS[calibration.camera.model].names
    u = np.sqrt(np.diag(calibration.camera.cov))
    return html_page(
        "calibration.html",
        title=title,
        verdict=verdict,
        good=good,
        c=calibration,
        findings=said(calibration.findings),
        say=say,
        shape=SHAPE_WORDS[calibration.form.board],
        lens=LENS_WORDS[calibration.camera.model],
        parameters=[_parameter(n, float(v), 2 * float(s)) for n, v, s in zip(names, calibration.camera.params, u, strict=True)],
        figures=[coverage_figure(calibration), uncertainty_figure(calibration), residual_figure(calibration)],
        boards=[board_figure(t, d, calibration) for t, d in calibration.board_mm.items() if calibration.form.board != "flat"],
        candidates=sorted(calibration.candidates, key=lambda k: k.criterion),
        least=min(k.criterion for k in calibration.candidates),
        lens_words=LENS_WORDS,
        shape_words=SHAPE_WORDS,
        exposure_words=exposure_words,
    )


def exposure_words(sd: Sequence[float]) -> str:
    """How much the exposures differ (``Camera.exposure_sd``), one standard deviation, in words."""
    if not any(sd):
        return "taken as alike"
    focus, shift, turn, way = sd
    return f"focus ±{100 * focus:.2g} %, image ±{shift:.2g} px, readout ±{math.degrees(turn):.1g}° ±{way:.1g} mm"


def _parameter(name: str, value: float, big_u: float) -> tuple[str, str, str, str]:
    if not big_u > 0:
        return name, f"{value:.6g}", "held", UNITS.get(name, "")
    decimals = min(max(1 - math.floor(math.log10(big_u)), 0), 9)
    return name, f"{value:.{decimals}f}", f"{big_u:.{decimals}f}", UNITS.get(name, "")


def _frame(size_px: tuple[int, int]) -> tuple[float, float, float]:
    w, h = size_px
    scale = PAGE_WIDTH / max(w, h)
    return scale, w * scale, h * scale


def _cells(values: Array, width: float, height: float, shade: Array, texts: Sequence[Sequence[str]], dark: str) -> list[Markup]:
    rows, columns = values.shape
    cw, ch = width / columns, height / rows
    out = []
    for r in range(rows):
        for c in range(columns):
            out.append(
                Markup('<rect x="{}" y="{}" width="{}" height="{}" fill="{}" fill-opacity="{}"/>').format(
                    fmt(c * cw), fmt(r * ch), fmt(cw), fmt(ch), dark, fmt(float(shade[r, c]), 2)
                )
            )
            if texts[r][c]:
                out.append(label((c + 0.5) * cw, (r + 0.5) * ch + 5, texts[r][c], "axis"))
    return out


def coverage_figure(calibration: Calibration) -> Figure:
    """Where in the picture the board was seen."""
    scale, w, h = _frame(calibration.camera.size_px)
    counts = calibration.counts
    shade = 0.1 + 0.6 * np.minimum(counts / max(float(np.median(counts[counts > 0], axis=None)) * 2, 1), 1)
    shade[counts == 0] = 0.0
    texts = [[f"{int(v)}" if v else "none" for v in row] for row in counts]
    parts = _cells(counts, w, h, shade, texts, "var(--accent)")
    uv = np.vstack([r.uv_px[r.weight > 0] for r in calibration.residuals])
    some = uv[:: max(len(uv) // 4000, 1)] * scale
    parts.append(Markup('<path class="seen faint" d="{}" stroke-width="2"/>').format(dots(some)))
    empty = int(np.sum(counts == 0))
    caption = (
        f"{empty} of {counts.size} parts of the picture never saw the board: there the lens is extrapolated."
        if empty
        else "The board was seen in every part of the picture."
    )
    return Figure("Where the board was seen", w, h, Markup("").join(parts), caption)


def uncertainty_figure(calibration: Calibration) -> Figure:
    """How well the lens is known over the picture."""
    _, w, h = _frame(calibration.camera.size_px)
    u = 2 * lens_u_px(calibration.camera)
    shade = np.minimum(u / max(float(u.max()), 1e-9), 1) * 0.6
    texts = [[f"{v:.2g}" for v in row] for row in u]
    parts = _cells(u, w, h, shade, texts, "var(--look)")
    caption = (
        f"U in px (k = 2) of where the lens sends a given direction: {u.min():.2g} to {u.max():.2g}. Most of it is the "
        "principal distance, which every job adjusts again."
    )
    return Figure("How well the lens is known", w, h, Markup("").join(parts), caption)


def residual_figure(calibration: Calibration) -> Figure:
    """Residual vectors of all photos in one picture."""
    scale, w, h = _frame(calibration.camera.size_px)
    uv = np.vstack([r.uv_px[r.weight > 0] for r in calibration.residuals])
    left = np.vstack([r.residual_px[r.weight > 0] for r in calibration.residuals])
    step = max(len(uv) // 3000, 1)
    enlarge = 22.0 / max(float(np.percentile(np.hypot(*left.T), 95)), 1e-6)
    ruler = next((v for v in RULERS_PX if v * enlarge < 60), RULERS_PX[-1])
    chosen = next((k for k in calibration.candidates if k.chosen), None)
    parts = [
        Markup('<path class="residual" d="{}" stroke-width="1"/>').format(
            vectors(uv[::step] * scale, uv[::step] * scale + left[::step] * enlarge)
        ),
        Markup('<path class="ruler" d="M14 {}h{}"/>').format(fmt(h - 14), fmt(ruler * enlarge)),
        label(22 + ruler * enlarge, h - 9, f"{ruler:g} px", "ruler-text", "start"),
    ]
    pattern = f" The pattern left in them is {chosen.pattern_px:.3f} px." if chosen else ""
    return Figure("Residuals", w, h, Markup("").join(parts), f"{calibration.rms_px:.3f} px per coordinate (rms).{pattern}")


def board_figure(target_id: str, off: Array, calibration: Calibration) -> Figure:
    """Rise of the board's points over its mean plane."""
    points = calibration.fit.targets[target_id].points_mm
    seen = np.isfinite(off).all(axis=1)
    z = off[seen, 2]
    scale = (PAGE_WIDTH - 80) / max(float(np.ptp(points[:, 0])), 1.0)
    xy = (points[seen, :2] - points[:, :2].min(axis=0)) * scale + 40
    w, h = float(np.ptp(points[:, 0])) * scale + 80, float(np.ptp(points[:, 1])) * scale + 80
    xy[:, 1] = h - xy[:, 1]
    top = max(float(np.abs(z).max()), 1e-6)
    parts = []
    for (x, y), value in zip(xy, z, strict=True):
        colour = "var(--high)" if value > 0 else "var(--low)"
        parts.append(
            Markup('<circle cx="{}" cy="{}" r="{}" fill="{}" fill-opacity="0.75"/>').format(
                fmt(x), fmt(y), fmt(2 + 12 * abs(value) / top), colour
            )
        )
    plane = np.sqrt(np.mean(off[seen, :2] ** 2))
    caption = (
        f"{target_id} is not flat: {z.min():+.2f} to {z.max():+.2f} mm (orange up, blue down); its points lie "
        f"{plane:.2f} mm (rms) off their places within it."
    )
    return Figure(f"The board {target_id}" if target_id != "board" else "The board", w, h, Markup("").join(parts), caption)
