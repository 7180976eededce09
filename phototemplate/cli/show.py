"""Tables, progress and wording of the command line."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import cast

from rich import box
from rich.console import Console, JustifyMethod
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from phototemplate.errors import FINDINGS, Finding
from phototemplate.model import Measurement
from phototemplate.output.assessment import Judgements
from phototemplate.output.report.words import tolerance_words
from phototemplate.progress import Progress as ProgressCall
from phototemplate.progress import quiet
from phototemplate.units import WITHHELD, LengthUnit, format_length, format_U
from phototemplate.wording import said

MARK = {"note": "·", "warning": "!", "serious": "!!"}
VERDICT_STYLE = {"meets": "green", "fails": "red", "cannot tell": "yellow"}
STAGE_TEXT = {
    "photos": "reading photos",
    "targets": "finding targets",
    "network": "orienting photos",
    "edges": "tracing edges",
    "report": "writing the report",
    "proposals": "looking for edges",
    "calibration": "calibrating",
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


def edge_table(measurement: Measurement, units: str, judgements: Judgements | None = None) -> Table:
    """Edges with length, U (k = 2) and, where they were judged, the verdict against the tolerance."""
    judged = judgements.edges if judgements is not None else {}
    table = Table(
        title="Edges (U in mm at k = 2; across the edge at start, middle, end)", title_justify="left", box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
    )
    columns: list[tuple[str, JustifyMethod]] = [
        ("edge", "left"), ("kind", "left"), ("length", "right"), ("U", "right"), ("U across", "right"),
        ("height", "right"), ("photos", "right"), ("largest cause", "left"),
    ]  # fmt: skip
    for head, justify in [*columns, ("verdict", "left")] if judged else columns:
        table.add_column(head, justify=justify)
    several = len(measurement.work_plane.levels) > 1
    for e in measurement.outline.edges:
        table.add_row(
            e.edge_id,
            f"{e.kind} ({e.shape})" if e.shape != "line" else e.kind,
            format_length(e.length_mm, cast(LengthUnit, units)),
            "as seen" if math.isnan(e.length_U_mm) else format_U(e.length_U_mm, 2),
            " ".join(format_U(u, 2) for u in e.offset_U_mm) if all(map(math.isfinite, e.offset_U_mm)) else WITHHELD,
            f"{e.height_mm[0]:+.1f} {e.level if several else ''}".rstrip(),
            str(e.n_photos),
            e.budget[0][0] if e.budget else "",
            *((_verdict_cell(judged[e.edge_id].verdict) if e.edge_id in judged else "",) if judged else ()),
        )
    return table


def _verdict_cell(verdict: str) -> str:
    return f"[{VERDICT_STYLE[verdict]}]{verdict}[/]"


def verdict_line(judgements: Judgements, findings: Sequence[Finding] = ()) -> str:
    """The last line: how many edges meet the tolerance, and by name those undecided and those that ``findings`` say were not
    found: what is missing is not proven either."""
    lost = [f.where for f in findings if f.code.startswith("edge-") and FINDINGS[f.code].lost]
    good, total = judgements.summary
    total += len(lost)
    tolerance = tolerance_words(judgements.tolerance_mm)
    if not total:
        return f"No edge could be judged against {tolerance}."
    left = [j for j in judgements.edges.values() if j.verdict != "meets"]
    text = f"{good} of {total} edges meet {tolerance}."
    if left:
        text += f" Not proven: {', '.join(j.name for j in left)}; the report says what would help."
    if lost:
        text += f" Not found: {', '.join(lost)}."
    return text


def print_findings(out: Console, findings: Sequence[Finding], notes: bool = True, unit: LengthUnit = "mm") -> None:
    """Findings, the serious ones first; notes only where asked for."""
    shown = [f for f in findings if notes or f.severity != "note"]
    for one in said(shown, unit):
        out.print(f"{MARK[one.severity]:>2} {one.where}: {one.message} {one.remedy}".rstrip(), markup=False)
    hidden = len(findings) - len(shown)
    if hidden:
        out.print(f"   and {hidden} notes, see the report", style="dim")
