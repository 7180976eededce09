"""Schedules of a template as plain rows: for the sheets, the CSV, the report and the app."""

from __future__ import annotations

import math

from phototemplate.template.constants import NO_OFFSET_MM
from phototemplate.template.lengths import LengthWords
from phototemplate.template.piece_types import PieceEdge, Size, Template
from phototemplate.template.quantities import Quantity
from phototemplate.units import format_length, format_U, plus_minus
from phototemplate.wording import say_check

Rows = list[tuple[str, ...]]
"""Header first"""

CSV_COLUMNS = (
    "piece", "edge", "finish", "profile", "rule", "offset_mm", "length_mm", "length_U_mm", "length_in", "place_U_mm",
    "largest_gap_mm", "gap_at_mm", "moved_start_mm", "moved_middle_mm", "moved_end_mm", "start_x_mm", "start_y_mm",
    "end_x_mm", "end_y_mm", "largest_cause",
)  # fmt: skip
"""Columns of the CSV of edges, one row for every edge of every piece; U at k = 2"""

SIZE_COLUMNS = ("piece", "dimension", "kind", "value_mm", "U_mm", "value_in", "decided", "largest_cause")


def edge_rows_csv(template: Template) -> list[dict[str, str]]:
    """Rows for the CSV of edges, keys :data:`CSV_COLUMNS`."""
    shop = template.spec.shop
    out = []
    for piece in template.pieces:
        for e in piece.edges:
            moved = e.moved or (None, None, None)
            row = {
                "piece": piece.piece_id, "edge": e.edge_id, "finish": e.finish, "profile": e.profile, "rule": e.rule,
                "offset_mm": f"{e.outward_mm:.2f}", "length_mm": f"{e.length.value:.2f}",
                "length_U_mm": format_U(e.length.U),
                "length_in": format_length(e.length.value, shop.length_unit, shop.denominator),
                "place_U_mm": format_U(e.place_U_mm),
                "largest_gap_mm": f"{e.gap.largest_mm:.2f}" if e.gap else "",
                "gap_at_mm": f"{e.gap.largest_at_mm:.0f}" if e.gap else "",
                **{f"moved_{w}_mm": f"{m.value:.2f}" if m else ""
                   for w, m in zip(("start", "middle", "end"), moved, strict=True)},
                "start_x_mm": f"{e.start[0]:.3f}", "start_y_mm": f"{e.start[1]:.3f}",
                "end_x_mm": f"{e.end[0]:.3f}", "end_y_mm": f"{e.end[1]:.3f}",
                "largest_cause": largest_cause(e.length),
            }  # fmt: skip
            assert tuple(row) == CSV_COLUMNS
            out.append(row)
    return out


def largest_cause(q: Quantity) -> str:
    """First line of the budget."""
    return q.budget[0][0] if q.budget else ""


def all_sizes(template: Template) -> list[tuple[str, Size]]:
    """(piece, size) of every finished dimension, openings last."""
    out = [(p.piece_id, s) for p in template.pieces for s in p.sizes]
    return out + [("opening", s) for s in template.opening_sizes]


def size_rows_csv(template: Template) -> list[dict[str, str]]:
    """Rows for the CSV of finished dimensions, keys :data:`SIZE_COLUMNS`."""
    shop = template.spec.shop
    return [
        {
            "piece": piece, "dimension": s.name, "kind": s.group, "value_mm": f"{s.quantity.value:.2f}",
            "U_mm": format_U(s.quantity.U),
            "value_in": format_length(s.quantity.value, shop.length_unit, shop.denominator),
            "decided": "yes" if s.decided else "no", "largest_cause": largest_cause(s.quantity),
        }
        for piece, s in all_sizes(template)
    ]  # fmt: skip


def offset_words(e: PieceEdge, words: LengthWords) -> str:
    """Overhang or clearance of an edge."""
    if abs(e.outward_mm) < NO_OFFSET_MM:
        return "none"
    return f"{words.short(abs(e.outward_mm))} {'overhang' if e.outward_mm > 0 else 'clearance'}"


def named(kind: str, name: str) -> str:
    """What something is with its name, said once where the name says it."""
    return name if kind.lower() in name.lower() else f"{kind} {name}"


def length_words(e: PieceEdge, words: LengthWords) -> str:
    """Length of a side; of a round one that along the arc, and said to be it, with its radius."""
    text = words.quantity(e.length)
    return f"arc {text}, R {words.short(e.arc_radius_mm)}" if e.arc_radius_mm else text


def finish_words(e: PieceEdge, words: LengthWords) -> str:
    """What is done to a side: its profile, build-up or mitre, else how it is left."""
    if e.profile:
        face = f", built up to {words.short(e.face_mm)}" if e.face_mm else ""
        return f"mitred 45° to {e.mitred_to}, {e.profile}{face}" if e.mitred_to else f"finished, {e.profile}{face}"
    raw = {"wall": "raw, to the wall", "panel": "raw, to a panel", "appliance": "cut, to the appliance"}
    return raw.get(e.finish, e.finish)


def edge_schedule(template: Template, words: LengthWords) -> Rows:
    """Edges with finish, offset, rule, length and the uncertainty of their place."""
    rows: Rows = [("piece", "edge", "finish", "offset", "length ±U", "place ±U", "cut")]
    for piece in template.pieces:
        for e in piece.edges:
            note = e.rule
            if e.gap is not None and e.moved is not None:
                moved = "/".join(f"{m.value:+.1f}" for m in e.moved)
                note += f"; gap {e.gap.largest_mm:.1f} mm at {e.gap.largest_at_mm:.0f} mm; moved {moved} mm"
            rows.append((piece.piece_id, e.edge_id, finish_words(e, words), offset_words(e, words), length_words(e, words),
                         format_U(e.place_U_mm, 2, " mm"), note))
    return rows


def corner_schedule(template: Template, words: LengthWords) -> Rows:
    """Corners: inside angle with U, treatment."""
    rows: Rows = [("piece", "corner", "angle ±U", "treatment")]
    for piece in template.pieces:
        for c in piece.corners:
            size = f" {words.short(c.size_mm)}" if c.size_mm else ""
            by = " (the shop's inside radius)" if c.by_default else ""
            angle = f"{math.degrees(c.angle.value):.2f}° {plus_minus(math.degrees(c.angle.U), 2, '°')}"
            rows.append((piece.piece_id, c.name, angle, f"{c.kind}{size}{by}"))
    return rows


def size_schedule(template: Template, words: LengthWords, groups: tuple[str, ...]) -> Rows:
    """Finished dimensions of the groups asked for."""
    rows: Rows = [("piece", "dimension", "length ±U", "largest cause")]
    rows += [
        (piece, s.name, words.quantity(s.quantity, s.decided), "decided" if s.decided else largest_cause(s.quantity))
        for piece, s in all_sizes(template) if s.group in groups
    ]
    return rows


def piece_schedule(template: Template, words: LengthWords) -> Rows:
    """Pieces with area and weight."""
    rows: Rows = [("piece", "kind", "area", "weight", "thickness")]
    t = template.spec.shop.material.thickness
    rows += [(p.piece_id, "top", words.area(p.area.value), words.weight(p.weight_kg), words.short(t)) for p in template.pieces]
    rows += [(s.piece_id, s.kind, words.area(s.area_mm2), words.weight(s.weight_kg), words.short(s.thickness_mm))
             for s in template.splashes]
    return rows


def check_schedule(template: Template, words: LengthWords, only: str | None = None) -> Rows:
    """Checks with their sources; ``only`` one verdict."""
    rows: Rows = [("check", "where", "found", "limit", "verdict", "source")]
    for c in template.checks:
        if only is None or c.verdict == only:
            title, found, limit = say_check(c.rule, c.facts, words.unit)
            rows.append((title, c.where, found, limit, c.verdict, c.source))
    return rows


def shim_schedule(template: Template) -> Rows:
    """Shim list."""
    rows: Rows = [("cabinet", "place", "raise by ±U", "x", "y")]
    rows += [(s.group, s.name, f"{s.shim_mm:.1f} {plus_minus(s.U_mm, 1)} mm", f"{s.xy[0]:.0f} mm", f"{s.xy[1]:.0f} mm")
             for s in template.shims]
    return rows
