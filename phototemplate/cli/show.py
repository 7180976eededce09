"""Tables, progress and wording of the command line."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from phototemplate.errors import Finding
from phototemplate.model import Measurement
from phototemplate.progress import Progress as ProgressCall
from phototemplate.progress import quiet
from phototemplate.units import format_length

MARK = {"note": "·", "warning": "!", "serious": "!!"}
STAGE_TEXT = {
    "photos": "reading photos",
    "targets": "finding targets",
    "network": "orienting photos",
    "edges": "tracing edges",
    "report": "writing the report",
}


def console() -> Console:
    """Standard output; width as the terminal has it, 110 in a pipe."""
    return Console(width=None if sys.stdout.isatty() else 110, highlight=False)


@contextmanager
def progress_bar(show: bool) -> Iterator[ProgressCall]:
    """A bar per stage on standard error; nothing where ``show`` is false."""
    if not show:
        yield quiet
        return
    columns = (SpinnerColumn(), TextColumn("{task.description:<22}"), BarColumn(28), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        tasks: dict[str, int] = {}

        def tell(stage: str, share: float) -> None:
            if stage not in tasks:
                tasks[stage] = bars.add_task(STAGE_TEXT.get(stage, stage), total=1.0)
            bars.update(tasks[stage], completed=share)  # type: ignore[arg-type]

        yield tell


def edge_table(measurement: Measurement, units: str) -> Table:
    """Edges with length and U (k = 2)."""
    table = Table(title="Edges (U at k = 2, normal to the edge: start / middle / end)", title_justify="left")
    for head, justify in (
        ("edge", "left"), ("kind", "left"), ("length", "right"), ("U length", "right"), ("U offset, mm", "right"),
        ("height, mm", "right"), ("photos", "right"), ("largest cause", "left"),
    ):
        table.add_column(head, justify=justify)  # type: ignore[arg-type]
    for e in measurement.outline.edges:
        table.add_row(
            e.edge_id,
            f"{e.kind} ({e.shape})" if e.shape != "line" else e.kind,
            format_length(e.length_mm, units),
            f"{e.length_U_mm:.2f} mm",
            " / ".join(f"{u:.2f}" for u in e.offset_U_mm),
            f"{e.height_mm[0]:+.1f}",
            str(e.n_photos),
            e.budget[0][0] if e.budget else "",
        )
    return table


def print_findings(out: Console, findings: Sequence[Finding], notes: bool = True) -> None:
    """Findings, the serious ones first; notes only where asked for."""
    order = {"serious": 0, "warning": 1, "note": 2}
    shown = [f for f in sorted(findings, key=lambda f: order[f.severity]) if notes or f.severity != "note"]
    for f in shown:
        out.print(f"{MARK[f.severity]:>2} {f.where}: {f.message} {f.remedy}".rstrip(), markup=False)
    hidden = len(findings) - len(shown)
    if hidden:
        out.print(f"   and {hidden} notes, see the report", style="dim")
