"""Collect what the report shows, and lay it out."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.model import EdgeReport, Measurement
from phototemplate.output.assessment import Judged, Judgements
from phototemplate.output.constants import PLOT_HEIGHT, PLOT_WIDTH, SHOWN_SECONDS, SHOWN_SHARE, SIXTEENTH_MM
from phototemplate.output.html import page
from phototemplate.output.report import words
from phototemplate.output.report.camera import camera_panels
from phototemplate.output.report.levels import cabinet_levels, level_map, over_levels
from phototemplate.output.report.marks import CLASSES, UClass, class_of, legend_line, signed
from phototemplate.output.report.photos import PictureOf, photo_panels
from phototemplate.output.report.pieces import pieces_part
from phototemplate.output.report.topview import TopPicture, top_view
from phototemplate.output.report.words import EdgeVerdict, Unit
from phototemplate.settings import OutputSettings
from phototemplate.template.piece_types import Template
from phototemplate.template.rules import CAUTIONS
from phototemplate.units import format_length, format_U
from phototemplate.wording import Said, meaning_of, said


@dataclass(frozen=True)
class EdgeRow:
    """One edge of the table."""

    report: EdgeReport
    verdict: EdgeVerdict
    length_mm: str
    length_in: str
    angle: str
    classes: tuple[UClass, ...]
    """At start, middle and end"""
    bars: tuple[tuple[str, float, float], ...]
    """Cause, U in mm, share of the variance in per cent"""
    inside: float | None = None
    """Share of true values within U; None where no budget was made"""


def write_report(
    measurement: Measurement,
    path: str | Path,
    *,
    settings: OutputSettings | None = None,
    tolerance_mm: float = SIXTEENTH_MM,
    unit: Unit = "in",
    top_picture: TopPicture | None = None,
    picture_of: PictureOf | None = None,
    template: Template | None = None,
    judgements: Judgements | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Path:
    """Write ``report.html``: self-contained, without scripts or requests.

    Parameters
    ----------
    tolerance_mm
        What every edge has to hold.
    unit
        Which of mm and inch comes first in the edge table; both are shown.
    top_picture
        Rectified picture for the top view; without it the view shows edges and sheets alone.
    picture_of
        How to get at a photo's pixels; default: read its file.
    template
        Finished pieces, for a section of their own.
    judgements
        What the studies say: verdicts with remedies, budgets, reliability, Monte Carlo intervals. Without them the verdicts
        follow from the edges alone and those sections are left out.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    html = render_report(
        measurement,
        settings=settings or OutputSettings(),
        tolerance_mm=tolerance_mm,
        unit=unit,
        top_picture=top_picture,
        picture_of=picture_of,
        template=template,
        judgements=judgements,
    )
    if progress is not None:
        progress("report", 0.9)
    write_text_atomic(path, html)
    return Path(path)


def render_report(
    measurement: Measurement,
    *,
    settings: OutputSettings,
    tolerance_mm: float = SIXTEENTH_MM,
    unit: Unit = "in",
    top_picture: TopPicture | None = None,
    picture_of: PictureOf | None = None,
    template: Template | None = None,
    judgements: Judgements | None = None,
) -> str:
    """The text of the report."""
    return page("report.html", **_context(
        measurement, settings, tolerance_mm, unit, top_picture, picture_of, template, judgements
    ))


def _context(
    measurement: Measurement,
    settings: OutputSettings,
    tolerance_mm: float,
    unit: Unit,
    top_picture: TopPicture | None,
    picture_of: PictureOf | None,
    template: Template | None,
    judgements: Judgements | None,
) -> dict[str, Any]:
    outline, net = measurement.outline, measurement.network
    judged = judgements or Judgements(tolerance_mm, "")
    doubt = outline.unscaled, net.quality.withheld
    rows = [_row(e, tolerance_mm, doubt, settings, judged.edges.get(e.edge_id), unit) for e in outline.edges]
    rows = [replace(r, inside=b.inside if (b := judged.budgets.get(r.report.edge_id)) else None) for r in rows]
    everything = (*measurement.findings, *(template.findings if template is not None else ()), *judged.findings)
    noticed = {n.name: n for n in judged.noticed if n.kind == "length"}
    return {
        "job": measurement.job_name,
        "created": datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        "version": __version__,
        "unit": unit,
        "unscaled": outline.unscaled,
        "tolerance": words.tolerance_words(tolerance_mm),
        "headline": words.headline(measurement, [r.verdict for r in rows], tolerance_mm),
        "mood": _mood(measurement, rows),
        "rows": rows,
        "facts": _facts(measurement),
        "lines": _lines(measurement, unit),
        "retake": words.retake_list(measurement.findings, unit),
        "findings": [_finding(one) for one in said(everything, unit)],
        "top": top_view(measurement, settings, tolerance_mm, top_picture),
        "has_picture": top_picture is not None,
        "legend": [_legend(one, tolerance_mm) for one in CLASSES],
        "band_scale": settings.band_scale,
        "levels": level_map(measurement),
        "cabinets": cabinet_levels(over_levels(measurement.work_plane)),
        "plane_levels": measurement.work_plane.levels if len(measurement.work_plane.levels) > 1 else (),
        "lengths": [(k, words.length_words(k, noticed.get(k.name), net.quality.withheld)) for k in net.lengths],
        "sheets_watched": words.sheets_words([n for n in judged.noticed if n.kind == "sheet"]),
        "rule": judged.rule,
        "budgets": [judged.budgets[e.edge_id] for e in outline.edges if e.edge_id in judged.budgets],
        "assumed": judged.assumed,
        "intervals": judged.intervals,
        "cameras": camera_panels(measurement),
        "photos": photo_panels(measurement, settings, picture_of, unit),
        "residual_scale": settings.residual_scale,
        "cautions": CAUTIONS,
        "pieces": pieces_part(template, outline, unit, judged.sizes) if template is not None else None,
        "seconds": {k: v for k, v in measurement.seconds.items() if v >= SHOWN_SECONDS},
        "signed": signed,
        "big_u": format_U,
        "dof": words.dof_words,
        "input_words": words.input_words,
        "plot": (PLOT_WIDTH, PLOT_HEIGHT),
    }


def _row(
    edge: EdgeReport,
    tolerance_mm: float,
    doubt: tuple[bool, bool],
    settings: OutputSettings,
    judged: Judged | None,
    unit: Unit,
) -> EdgeRow:
    variance = sum(u * u for _, u in edge.budget) or 1.0
    return EdgeRow(
        report=edge,
        verdict=words.edge_verdict(edge, tolerance_mm, doubt[0], judged, unit, doubt[1]),
        length_mm=format_length(edge.length_mm, "mm"),
        length_in=format_length(edge.length_mm, "fraction", settings.inch_denominator),
        angle=f"{math.degrees(edge.angle_rad):.2f}",
        classes=tuple(class_of(u, tolerance_mm) for u in edge.offset_U_mm),
        bars=tuple((cause, 2.0 * u, 100.0 * u * u / variance) for cause, u in edge.budget if u * u > SHOWN_SHARE * variance),
    )


def _mood(measurement: Measurement, rows: list[EdgeRow]) -> str:
    if measurement.outline.unscaled or not rows or any(f.severity == "serious" for f in measurement.findings):
        return "short"
    states = {r.verdict.state for r in rows}
    return "short" if "short" in states else "look" if "look" in states else "good"


def _facts(measurement: Measurement) -> list[tuple[str, str]]:
    net = measurement.network
    used = [k for k in net.lengths if k.used]
    return [
        ("photos placed", f"{len(net.photos)} of {len(measurement.photos)}"),
        ("targets", f"{len(net.bodies)} sheets" + (f", {len(net.points)} strip points" if net.points else "")),
        ("known lengths", str(len(used)) if used else "none"),
        ("edges", str(len(measurement.outline.edges))),
        ("fit (1 is as expected)", f"{net.sigma0:.2f}"),
    ]


def _lines(measurement: Measurement, unit: Unit) -> list[tuple[str, str]]:
    """Which line the fronts are, and where the other one that counts in the trade lies."""
    doors = _doors(measurement, unit)
    return [("Overhangs count from", _counted_from(measurement)), *([("Faces of the doors", doors)] if doors else [])]


def _counted_from(measurement: Measurement) -> str:
    """Which of the two lines that count in the trade the fronts were measured at, in words."""
    doors = [e.edge_id for e in measurement.outline.edges if e.line == "door"]
    if not doors:
        return 'the edges of the cabinet boxes (line = "door" in the job file: the faces of the doors)'
    return f"the faces of the doors at {', '.join(doors)}, elsewhere the edges of the cabinet boxes"


def _doors(measurement: Measurement, unit: Unit) -> str:
    """Where the doors are before the boxes that were measured, in words; empty where none is seen."""
    seen = [
        f"{s.edge_id} {format_length(abs(c.offset_mm), unit)} {unit} before the box, at a height of "
        f"{format_length(c.height_mm, unit)} {unit}"
        for s in measurement.outline.segments for c in s.candidates if c.reading == "face" and s.line in ("", "box")
    ]
    return "; ".join(seen)


def _finding(one: Said) -> dict[str, str]:
    return {
        **asdict(one),
        "mark": words.SEVERITY_MARK[one.severity],
        "words": words.SEVERITY_WORDS[one.severity],
        "meaning": meaning_of(one.code),
    }


def _legend(one: UClass, tolerance_mm: float) -> dict[str, Any]:
    if math.isfinite(one.up_to):
        limit = one.up_to * tolerance_mm
        text = f"up to {limit:.2f} mm ({limit / 25.4:.3f} in)"
    else:
        limit = CLASSES[-2].up_to * tolerance_mm
        text = f"over {limit:.2f} mm ({limit / 25.4:.3f} in)"
    return {"letter": one.letter, "line": legend_line(one), "limit": text, "words": one.words}
