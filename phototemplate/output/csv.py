"""Edges as CSV (RFC 4180, UTF-8, decimal points), one line per edge; units in the column names, U at k = 2."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from phototemplate.atomic import write_text_atomic
from phototemplate.model import Outline
from phototemplate.units import format_length, format_U

__all__ = ["EDGE_COLUMNS", "edge_rows", "write_edges_csv", "write_rows_csv"]

EDGE_COLUMNS = (
    "edge", "kind", "shape", "source", "length_mm", "length_in", "length_fraction", "length_U_mm", "angle_deg",
    "angle_U_deg", "offset_U_start_mm", "offset_U_middle_mm", "offset_U_end_mm", "height_mean_mm", "height_low_mm",
    "height_high_mm", "points", "photos", "rms_mm", "largest_cause", "largest_cause_U_mm", "findings",
)  # fmt: skip


def edge_rows(outline: Outline, denominator: int = 16) -> list[tuple[object, ...]]:
    """Rows under :data:`EDGE_COLUMNS`."""
    rows: list[tuple[object, ...]] = []
    for e in outline.edges:
        cause, u = e.budget[0] if e.budget else ("", math.nan)
        rows.append(
            (
                e.edge_id, e.kind, e.shape, e.source, f"{e.length_mm:.2f}", f"{e.length_mm / 25.4:.4f}",
                format_length(e.length_mm, "fraction", denominator),
                "" if math.isnan(e.length_U_mm) else format_U(e.length_U_mm, 3),
                f"{math.degrees(e.angle_rad):.4f}", format_U(math.degrees(e.angle_U_rad), 4),
                *(format_U(v, 3) for v in e.offset_U_mm), *(f"{v:.3f}" for v in e.height_mm), e.n_points, e.n_photos,
                f"{e.rms_mm:.3f}", cause, f"{2 * u:.3f}" if math.isfinite(u) else "",
                " ".join(dict.fromkeys(f.code for f in e.findings)),
            )
        )  # fmt: skip
    return rows


def write_edges_csv(outline: Outline, path: str | Path, denominator: int = 16) -> Path:
    """Write the edges of an outline.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    return write_rows_csv(path, EDGE_COLUMNS, edge_rows(outline, denominator))


def write_rows_csv(path: str | Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> Path:
    """Write any table.

    A text that a spreadsheet would take for a formula gets an apostrophe in front (names come from job files).

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_harmless(cell) for cell in row])
    write_text_atomic(path, stream.getvalue())
    return Path(path)


def _harmless(cell: object) -> object:
    if isinstance(cell, str) and cell[:1] in "=+-@\t" and cell:
        try:
            float(cell)
        except ValueError:
            return "'" + cell
    return cell
