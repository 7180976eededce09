"""What a wall check hands out: a picture, a DXF, a table for a person with a pencil, a page to read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from markupsafe import Markup

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.errors import Finding
from phototemplate.model import Array, BoolArray
from phototemplate.output.csv import write_rows_csv
from phototemplate.output.dxf import Unit, write_dxf
from phototemplate.output.html import page
from phototemplate.output.report.words import both_units, tolerance_words
from phototemplate.output.svg import svg_text
from phototemplate.studies.check_wall import WallCheck
from phototemplate.studies.constants import CSV_STEP_MM, DIAGRAM_SHARE, ENLARGED, LEAST_TEXT_MM, LONG_WALL_MM, TEXT_SHARE
from phototemplate.studies.plumb import Lean
from phototemplate.studies.wall_figures import Figure
from phototemplate.template.drawing import Drawing, HorizontalAlign, Item, Line, Point, Polyline, Text, VerticalAlign
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
    band = 2.0 * check.deviation_u_mm
    shown = [d[check.within], check.piece_mm[check.within], (d + band)[check.within], (d - band)[check.within]]
    low, high = math.floor(min(float(a.min()) for a in shown)), math.ceil(max(float(a.max()) for a in shown))
    scale = float(max((e for e in ENLARGED if e * (high - low) <= DIAGRAM_SHARE * span), default=1))
    frame = _Frame(check, span, height_mm or max(span * TEXT_SHARE, LEAST_TEXT_MM), scale, low, high)
    items = [
        *frame.axes(),
        *frame.curve(d + band, "FOUND-BAND", "U towards the room"),
        *frame.curve(d - band, "FOUND-BAND", "U away from the room"),
        *frame.curve(d, "WALL-DIAGRAM", check.wall.edge_id),
        *frame.curve(check.piece_mm, "WALL-DIAGRAM-PIECE", "touching piece", check.within),
        *frame.marks(),
        *(frame.true_shape() if true_shape else ()),
    ]
    notes = (
        f"Heights are drawn {scale:g} times enlarged; seen from above, the room below the wall.",
        "The dotted band shows U (k = 2) of the profile, about 95 %.",
        f"Compared with {check.against}.",
    )
    title = f"{check.job}: {check.wall.edge_id} against {check.against} (heights x {scale:g})"
    return Drawing(title, tuple(items), notes, 0.0)


@dataclass(frozen=True)
class _Frame:
    """A plan as one reads it from the room: the wall above, the room below, the left end on the left."""

    check: WallCheck
    span: float
    h: float
    """Height of texts"""
    scale: float
    """Enlargement of heights"""
    low: int
    high: int
    """Heights shown in mm, into the room"""

    @property
    def foot(self) -> float:
        """y of the scale of distances."""
        return -self.scale * self.high - 2.4 * self.h

    def at(self, place: float, value: float) -> Point:
        """Where a height at a distance is drawn."""
        return (place if self.check.wall.corner == "left" else self.span - place, -self.scale * value)

    def name(self, at: Point, text: str, size: float, align: HorizontalAlign, valign: VerticalAlign = "top") -> Text:
        """A text of ``size`` heights."""
        return Text("FOUND-NAMES", at, text, size * self.h, 0.0, align, valign)

    def curve(self, values: Array, layer: str, name: str, keep: BoolArray | None = None) -> list[Item]:
        """Heights along the wall, or along a part of it."""
        x = self.check.wall.distance_mm
        use = np.ones(x.size, dtype=bool) if keep is None else keep
        points = tuple((*self.at(float(a), float(b)), 0.0) for a, b in zip(x[use], values[use], strict=True))
        return [Polyline(layer, points, name=name)] if len(points) > 1 else []

    def axes(self) -> list[Item]:
        """Scales of heights and of distances, inches and mm."""
        h, scale, foot = self.h, self.scale, self.foot
        items: list[Item] = []
        for k in range(self.low, self.high + 1):
            if k % (5 if self.high - self.low > 12 else 1) == 0:
                items.append(Line("WALL-DIAGRAM", (-0.8 * h, -scale * k), (0.0, -scale * k)))
                items.append(self.name((-1.2 * h, -scale * k), f"{k:+d}" if k else "0", 0.8, "right", "middle"))
        items.append(Line("WALL-DIAGRAM", (0.0, -scale * self.low), (0.0, -scale * self.high)))
        items.append(Line("WALL-DIAGRAM", (0.0, 0.0), (self.span, 0.0)))
        items.append(self.name((-3.2 * h, -scale * self.low + 1.0 * h), "mm into the room (down)", 0.8, "left", "bottom"))
        tick = 12 * INCH_MM if self.span > LONG_WALL_MM else 4 * INCH_MM
        items.append(Line("WALL-DIAGRAM", (0.0, foot), (self.span, foot)))
        for k in range(int(self.span // tick) + 1):
            tick_x = self.at(k * tick, 0.0)[0]
            items.append(Line("WALL-DIAGRAM", (tick_x, foot), (tick_x, foot - 0.6 * h)))
            items.append(self.name((tick_x, foot - 0.9 * h), format_length(k * tick, "fraction"), 0.8, "centre"))
            items.append(self.name((tick_x, foot - 2.1 * h), f"{k * tick:.0f}", 0.7, "centre"))
        align: HorizontalAlign = "left" if self.check.wall.corner == "left" else "right"
        begin = (self.at(0.0, 0.0)[0], foot - 3.4 * h)
        return [*items, self.name(begin, f"from the {begin_words(self.check)}, inches and mm", 0.8, align)]

    def marks(self) -> list[Item]:
        """The largest gap, and where the piece touches."""
        check, x = self.check, self.check.wall.distance_mm
        items: list[Item] = []
        text = f"gap {check.largest_gap.value:.1f} mm, U {check.largest_gap.U:.1f}"
        for place in check.largest_at_mm:
            wall = self.at(place, float(np.interp(place, x, check.deviation_mm)))
            piece = self.at(place, float(np.interp(place, x, check.piece_mm)))
            items.append(Line("SHEET-CAUTION", wall, piece))
            below = (piece[0], piece[1] - 0.5 * self.h)
            items.append(Text("SHEET-CAUTION", below, text, self.h, 0.0, self.inwards(piece[0], 0.25), "top"))
        for place in check.touches_at_mm:
            touch = self.at(place, float(np.interp(place, x, check.piece_mm)))
            items.append(self.name((touch[0], touch[1] - 0.6 * self.h), "touches", 0.8, self.inwards(touch[0], 0.1)))
        return items

    def inwards(self, x: float, share: float) -> HorizontalAlign:
        """How a text at ``x`` is aligned so that it stays within the drawing."""
        return "left" if x < share * self.span else "right" if x > (1.0 - share) * self.span else "centre"

    def true_shape(self) -> list[Item]:
        """The wall and the piece at true size, below the scale."""
        check, x, d = self.check, self.check.wall.distance_mm, self.check.deviation_mm
        base = self.foot - 9.0 * self.h + float(d.min())

        def drawn(places: Array, heights: Array) -> tuple[tuple[float, float, float], ...]:
            return tuple((self.at(float(a), 0.0)[0], float(base - b), 0.0) for a, b in zip(places, heights, strict=True))

        data = (("edge", check.wall.edge_id), ("largest_gap_mm", check.largest_gap.value), ("U_mm", check.largest_gap.U))
        piece = drawn(x[check.within], check.piece_mm[check.within])
        ends = piece if check.kind == "drawing" else (piece[0], piece[-1])
        below = (0.0, base - float(np.ptp(d)) - 2.0 * self.h)
        return [
            Polyline("FOUND-EDGES", drawn(x, d), name=check.wall.edge_id, data=data),
            Polyline("STONE-UNDERNEATH", ends, name="touching piece"),
            self.name(below, "the same at true size, seen from above", 0.8, "left"),
        ]


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
        seen = bool(np.interp(p, x, check.wall.seen.astype(float)) * 2 > 1)
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
    picture = diagram(check)
    variance = sum(u * u for _, u in check.budget) or 1.0
    text = page(
        "wall.html",
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
