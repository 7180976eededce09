"""The rectified top view with the edges coloured by how well they are known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from phototemplate.model import Array, Measurement
from phototemplate.network.rectify import TopView
from phototemplate.output.constants import UNSEEN_GREY
from phototemplate.output.report.marks import class_of, fmt, label, path, title, upright_angle
from phototemplate.output.report.pictures import Rgb, jpeg_address, reduced
from phototemplate.output.report.plan import PlanView, Stretch, outside_point, scale_bar, sheet_corners, sheets, stretches
from phototemplate.settings import OutputSettings
from phototemplate.units import format_U


@dataclass(frozen=True)
class TopPicture:
    """A rectified picture of the work plane."""

    rgb: Rgb
    """(h, w, 3); row 0 is the far side (largest y), column 0 the left (smallest x)"""
    px_per_mm: float
    origin_mm: tuple[float, float]
    """Work position of the centre of pixel (0, 0)"""

    @classmethod
    def of(cls, view: TopView) -> TopPicture:
        """From ``network.rectify``; what no photo shows becomes a quiet grey."""
        rgb = view.rgb.copy()
        rgb[~view.seen] = UNSEEN_GREY
        return cls(rgb, view.px_per_mm, view.origin_mm)


@dataclass(frozen=True)
class PlanPicture:
    """A finished SVG body with its size."""

    body: Markup
    width: float
    height: float


def top_view(
    measurement: Measurement, settings: OutputSettings, tolerance_mm: float, picture: TopPicture | None = None
) -> PlanPicture | None:
    """Edges, sheets and corners over the rectified picture; None where there is nothing to draw."""
    outline = measurement.outline
    edges = stretches(outline)
    shown = [s.xy_mm for s in edges] + list(sheet_corners(measurement).values())
    if not shown:
        return None
    view = PlanView.around(np.vstack(shown), 160.0)
    parts = [_picture(measurement, view, settings, picture)] if picture is not None else []
    parts.append(sheets(measurement, view))
    for stretch in edges:
        parts.append(_edge(stretch, view, tolerance_mm))
    for loop in outline.loops:
        for xy, cov in zip(loop.corners_mm, loop.corner_cov_mm2, strict=True):
            parts.append(_ellipse(xy, cov, view, settings.band_scale))
    for stretch in edges:
        parts.append(_name(stretch, view, tolerance_mm))
    parts.append(scale_bar(view))
    return PlanPicture(Markup("").join(parts), view.width, view.height)


def _picture(measurement: Measurement, view: PlanView, settings: OutputSettings, picture: TopPicture) -> Markup:
    """The picture as an ``image`` element, moved from work to plan."""
    small = reduced(picture.rgb, settings.top_view_px)
    h, w = small.shape[:2]
    step = picture.rgb.shape[1] / w / picture.px_per_mm  # mm per pixel of the reduced picture
    half = 0.5 / picture.px_per_mm
    left, top = picture.origin_mm[0] - half, picture.origin_mm[1] + half  # outer corner of pixel (0, 0)
    # work = (left + u step, top - v step); plan = T work; svg = ((x - x0) s, H - (y - y0) s)
    t = measurement.outline.plan_from_work
    s = view.scale
    a, c = s * t[0, 0] * step, -s * t[0, 1] * step
    b, d = -s * t[1, 0] * step, s * t[1, 1] * step
    px, py = t[:2, :2] @ np.array([left, top]) + t[:2, 2]
    e, f = (px - view.low[0]) * s, view.height - (py - view.low[1]) * s
    matrix = " ".join(f"{v:.6g}" for v in (a, b, c, d, e, f))
    return Markup(
        '<image class="ground" href="{}" width="{}" height="{}" transform="matrix({})" preserveAspectRatio="none"/>'
    ).format(jpeg_address(small, settings.photo_quality), w, h, matrix)


def _edge(stretch: Stretch, view: PlanView, tolerance_mm: float) -> Markup:
    """A casing, then runs of equal class."""
    points = view.at(stretch.xy_mm)
    if len(points) < 2:
        return Markup("")
    between = 0.5 * (stretch.U_mm[1:] + stretch.U_mm[:-1])
    classes = [class_of(float(u), tolerance_mm) for u in between]
    parts = [Markup('<path class="casing" d="{}"/>').format(path(points))]
    start = 0
    for i in range(1, len(classes) + 1):
        if i == len(classes) or classes[i] is not classes[start]:
            one = classes[start]
            low, high = stretch.U_mm[start : i + 1].min(), stretch.U_mm[start : i + 1].max()
            tip = title(f"{stretch.edge_id}: U {format_U(low)} to {format_U(high)} mm (class {one.letter})")
            parts.append(
                Markup('<path class="u-{}" d="{}" stroke-width="{}" stroke-dasharray="{}">{}</path>').format(
                    one.letter.lower(), path(points[start : i + 1]), fmt(one.width), one.dash, tip
                )
            )
            start = i
    return Markup("").join(parts)


def _name(stretch: Stretch, view: PlanView, tolerance_mm: float) -> Markup:
    """Name, class letters and largest U beside the edge."""
    if len(stretch.xy_mm) < 2:
        return Markup("")
    x, y, angle = outside_point(stretch, view, 20.0)
    letters = sorted({class_of(float(u), tolerance_mm).letter for u in stretch.U_mm})
    span = letters[0] if len(letters) == 1 else f"{letters[0]}-{letters[-1]}"
    text = f"{stretch.edge_id}  {span}  {format_U(float(stretch.U_mm.max()), 1, ' mm')}"
    return label(x, y + 4, text, "edge-name", turn_deg=upright_angle(angle))


def _ellipse(xy: Array, cov: Array, view: PlanView, scale: float) -> Markup:
    """Error ellipse at k = 2, enlarged."""
    if not np.all(np.isfinite(cov)):
        return Markup("")
    values, vectors = np.linalg.eigh(cov)
    rx, ry = 2.0 * np.sqrt(np.maximum(values[::-1], 0.0)) * scale * view.scale
    (x, y), = view.at(xy)
    angle = -math.degrees(math.atan2(vectors[1, 1], vectors[0, 1]))
    tip = title(f"corner: U {2 * math.sqrt(max(values[1], 0)):.2f} by {2 * math.sqrt(max(values[0], 0)):.2f} mm")
    shape = '<ellipse class="corner" cx="{0}" cy="{1}" rx="{2}" ry="{3}" transform="rotate({4} {0} {1})">{5}</ellipse>'
    return Markup(shape).format(fmt(x), fmt(y), fmt(float(rx)), fmt(float(ry)), fmt(angle), tip)
