"""What a wall check hands out: a picture, a DXF, a table for a person with a pencil, a page to read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from importlib.resources import files
from pathlib import Path

import numpy as np

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.errors import Finding
from phototemplate.model import Array, BoolArray
from phototemplate.output.csv import write_rows_csv
from phototemplate.output.dxf import Unit, write_dxf
from phototemplate.output.report.words import both_units, tolerance_words
from phototemplate.output.svg import svg_text
from phototemplate.studies.check_wall import WallCheck
from phototemplate.studies.constants import CSV_STEP_MM, ENLARGED
from phototemplate.studies.plumb import Lean
from phototemplate.studies.wall_figures import Figure
from phototemplate.template.drawing import Drawing, HorizontalAlign, Item, Line, Point, Polyline, Text
from phototemplate.units import INCH_MM, format_length
from phototemplate.wording import said

CSV_COLUMNS = (
    "from_corner_in", "gap_in", "scribe_in", "from_corner_mm", "gap_mm", "gap_U_mm", "scribe_mm", "stands_out_mm",
    "stands_out_U_mm", "seen", "counted_from",
)  # fmt: skip
MOODS = {"meets": "good", "cannot tell": "look", "fails": "short"}


def headline(check: WallCheck) -> str:
    """The answer in one sentence."""
    gap, limit = check.largest_gap, tolerance_words(check.limit_mm)
    where = " and ".join(f"{format_length(at, 'fraction')} ({at:.0f} mm)" for at in check.largest_at_mm)
    size = f"{gap.value:.1f} mm, U {gap.U:.1f} mm ({format_length(gap.value, 'fraction', 32)})"
    piece = "a piece as drawn" if check.kind == "drawing" else check.against
    whose = f" ({check.against})" if check.kind == "drawing" else ""
    if check.decision.verdict == "meets":
        return f"The wall is good for {piece}{whose}: the largest gap is {size}, within {limit}."
    if check.decision.verdict == "fails":
        begin = begin_words(check)
        return f"Do not cut {piece}{whose} for this wall: the largest gap is {size}, {where} from the {begin}; allowed {limit}."
    return f"Cannot tell yet: the largest gap behind {piece}{whose} is {size}, allowed {limit}. {check.remedy}"


def begin_words(check: WallCheck) -> str:
    """Where distances are counted from."""
    return "corner" if check.wall.corner_known else f"{check.wall.corner} end of what was seen"


def diagram(check: WallCheck, height_mm: float | None = None, true_shape: bool = False) -> Drawing:
    """Profile with its band of U and the touching piece in plan, heights enlarged; x from left to right, the room at -y.

    ``true_shape`` adds the wall and the piece at true size below the diagram.
    """
    x, d = check.wall.distance_mm, check.deviation_mm
    span = float(x[-1])
    h = height_mm or max(span / 75.0, 6.0)
    band = 2.0 * check.deviation_u_mm
    shown = [d[check.within], check.piece_mm[check.within], (d + band)[check.within], (d - band)[check.within]]
    low, high = min(float(a.min()) for a in shown), max(float(a.max()) for a in shown)
    low, high = math.floor(low), math.ceil(high)
    scale = float(max((e for e in ENLARGED if e * (high - low) <= 0.32 * span), default=1))
    items: list[Item] = []

    left = check.wall.corner == "left"

    def at(place: float, value: float) -> Point:
        """A plan as one reads it from the room: the wall above, the room below, the left end on the left."""
        return (place if left else span - place, -scale * value)

    def run(values: Array, layer: str, name: str, keep: BoolArray | None = None) -> None:
        use = np.ones(x.size, dtype=bool) if keep is None else keep
        points = tuple((*at(float(a), float(b)), 0.0) for a, b in zip(x[use], values[use], strict=True))
        if len(points) > 1:
            items.append(Polyline(layer, points, name=name))

    for k in range(low, high + 1):
        if k % (5 if high - low > 12 else 1) == 0:
            items.append(Line("WALL-DIAGRAM", (-0.8 * h, -scale * k), (0.0, -scale * k)))
            items.append(Text("FOUND-NAMES", (-1.2 * h, -scale * k), f"{k:+d}" if k else "0", 0.8 * h, 0.0, "right", "middle"))
    items += [Line("WALL-DIAGRAM", (0.0, -scale * low), (0.0, -scale * high)), Line("WALL-DIAGRAM", (0.0, 0.0), (span, 0.0))]
    items.append(Text("FOUND-NAMES", (-3.2 * h, -scale * low + 1.0 * h), "mm into the room (down)", 0.8 * h))
    tick = 12 * INCH_MM if span > 700 else 4 * INCH_MM
    foot = -scale * high - 2.4 * h
    items.append(Line("WALL-DIAGRAM", (0.0, foot), (span, foot)))
    for k in range(int(span // tick) + 1):
        tick_x = at(k * tick, 0.0)[0]
        items.append(Line("WALL-DIAGRAM", (tick_x, foot), (tick_x, foot - 0.6 * h)))
        words = f"{format_length(k * tick, 'fraction')}"
        items.append(Text("FOUND-NAMES", (tick_x, foot - 0.9 * h), words, 0.8 * h, 0.0, "centre", "top"))
        items.append(Text("FOUND-NAMES", (tick_x, foot - 2.1 * h), f"{k * tick:.0f}", 0.7 * h, 0.0, "centre", "top"))
    begin = begin_words(check)
    align: HorizontalAlign = "left" if left else "right"
    begin_x = at(0.0, 0.0)[0]
    items.append(Text("FOUND-NAMES", (begin_x, foot - 3.4 * h), f"from the {begin}, inches and mm", 0.8 * h, 0.0, align, "top"))
    run(d + band, "FOUND-BAND", "U towards the room")
    run(d - band, "FOUND-BAND", "U away from the room")
    run(d, "WALL-DIAGRAM", check.wall.edge_id)
    run(check.piece_mm, "WALL-DIAGRAM-PIECE", "touching piece", check.within)
    for place in check.largest_at_mm:
        wall, piece = at(place, float(np.interp(place, x, d))), at(place, float(np.interp(place, x, check.piece_mm)))
        items.append(Line("SHEET-CAUTION", wall, piece))
        text = f"gap {check.largest_gap.value:.1f} mm, U {check.largest_gap.U:.1f}"
        near: HorizontalAlign = "left" if piece[0] < 0.25 * span else "right" if piece[0] > 0.75 * span else "centre"
        items.append(Text("SHEET-CAUTION", (piece[0], piece[1] - 0.5 * h), text, h, 0.0, near, "top"))
    for place in check.touches_at_mm:
        touch = at(place, float(np.interp(place, x, check.piece_mm)))
        side: HorizontalAlign = "left" if touch[0] < 0.1 * span else "right" if touch[0] > 0.9 * span else "centre"
        items.append(Text("FOUND-NAMES", (touch[0], touch[1] - 0.6 * h), "touches", 0.8 * h, 0.0, side, "top"))
    if true_shape:
        base = foot - 9.0 * h + float(d.min())
        shape = tuple((at(float(a), 0.0)[0], float(base - b), 0.0) for a, b in zip(x, d, strict=True))
        data = (("edge", check.wall.edge_id), ("largest_gap_mm", check.largest_gap.value), ("U_mm", check.largest_gap.U))
        items.append(Polyline("FOUND-EDGES", shape, name=check.wall.edge_id, data=data))
        inside, edge = x[check.within], check.piece_mm[check.within]
        piece_shape = tuple((at(float(a), 0.0)[0], float(base - b), 0.0) for a, b in zip(inside, edge, strict=True))
        ends = piece_shape if check.kind == "drawing" else (piece_shape[0], piece_shape[-1])
        items.append(Polyline("STONE-UNDERNEATH", ends, name="touching piece"))
        items.append(Text("FOUND-NAMES", (0.0, base - float(np.ptp(d)) - 2.0 * h), "the same at true size, seen from above",
                          0.8 * h, valign="top"))  # fmt: skip
    notes = (
        f"Heights are drawn {scale:g} times enlarged; seen from above, the room below the wall.",
        "The dotted band shows U (k = 2) of the profile, about 95 %.",
        f"Compared with {check.against}.",
    )
    title = f"{check.job}: {check.wall.edge_id} against {check.against} (heights x {scale:g})"
    return Drawing(title, tuple(items), notes, 0.0)


def gap_rows(check: WallCheck, unit: Unit = "in") -> list[tuple[object, ...]]:
    """Rows under :data:`CSV_COLUMNS`: every 2 in or 50 mm, the ends and the place of the largest gap."""
    x = check.wall.distance_mm
    low, high = float(x[check.within][0]), float(x[check.within][-1])
    step = 2 * INCH_MM if unit == "in" else CSV_STEP_MM
    places = sorted({low, high, *check.largest_at_mm, *(float(v) for v in np.arange(math.ceil(low / step) * step, high, step))})

    def at(values: Array, place: float) -> float:
        return float(np.interp(place, x[check.within], values[check.within]))

    rows: list[tuple[object, ...]] = []
    for p in places:
        gap, scribe = max(at(check.gap_mm, p), 0.0), at(check.scribe_mm, p)
        seen = bool(np.interp(p, x, check.wall.seen.astype(float)) > 0.5)
        rows.append((
            format_length(p, "fraction"), format_length(gap, "fraction", 32), format_length(scribe, "fraction", 32), f"{p:.1f}",
            f"{gap:.2f}", f"{2 * at(check.gap_u_mm, p):.2f}", f"{scribe:.2f}", f"{at(check.deviation_mm, p):.2f}",
            f"{2 * at(check.deviation_u_mm, p):.2f}", "yes" if seen else "no", begin_words(check),
        ))  # fmt: skip
    return rows


def figure_words(figure: Figure) -> tuple[str, str, str]:
    """Value, U and meaning as shown."""
    if figure.unit == "deg":
        return f"{figure.value:+.3f}°", f"{figure.U:.3f}°", figure.meaning
    return f"{figure.value:+.2f} mm ({figure.value / INCH_MM:+.3f} in)", f"{figure.U:.2f} mm", figure.meaning


def write_wall_check(
    check: WallCheck,
    folder: Path,
    unit: Unit = "in",
    lean: Lean | None = None,
    findings: Sequence[Finding] = (),
    stem: str = "wall-check",
) -> dict[str, Path]:
    """Write page, DXF and CSV into a folder; what -> path. Raises ``OutputError``; earlier files stay."""
    folder.mkdir(parents=True, exist_ok=True)
    drawing = diagram(check, true_shape=True)
    warnings = [headline(check)] if check.decision.verdict != "meets" else []
    return {
        "page": _write_page(check, folder / f"{stem}.html", unit, lean, findings),
        "dxf": write_dxf(drawing, folder / f"{stem}.dxf", unit=unit, warnings=warnings),
        "csv": write_rows_csv(folder / f"{stem}.csv", CSV_COLUMNS, gap_rows(check, unit)),
    }


def _write_page(check: WallCheck, path: Path, unit: Unit, lean: Lean | None, findings: Sequence[Finding]) -> Path:
    import jinja2
    from markupsafe import Markup

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("phototemplate.output"), autoescape=True, trim_blocks=True, lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )  # fmt: skip
    style = files("phototemplate.output").joinpath("templates/report.css").read_text(encoding="utf-8")
    picture = diagram(check)
    variance = sum(u * u for _, u in check.budget) or 1.0
    text = environment.get_template("wall.html").render(
        style=Markup(style),
        job=check.job,
        edge=check.wall.edge_id,
        created=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        version=__version__,
        mood=MOODS[check.decision.verdict],
        headline=headline(check),
        probability=100.0 * check.decision.probability,
        against=check.against,
        limit=tolerance_words(check.limit_mm),
        largest=figure_words(check.largest_gap),
        scribe=both_units(float(np.nanmax(check.scribe_mm)), 1),
        where=[both_units(at, 0) for at in check.largest_at_mm],
        figures=[(f.name, *figure_words(f)) for f in check.figures],
        lean=lean,
        picture=Markup(svg_text(picture, standalone=False)),
        picture_note=picture.notes[0],
        rows=gap_rows(check, unit),
        begin=begin_words(check),
        budget=[(cause, 2.0 * u, 100.0 * u * u / variance) for cause, u in check.budget],
        notes=check.findings,
        fit_rms=check.fit_rms_mm,
        findings=said(findings, unit),
    )
    write_text_atomic(path, text)
    return path
