"""``propose``: edges nobody has drawn yet."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer


def propose(
    job_dir: Annotated[Path, typer.Argument(metavar="JOBDIR", help="Folder with photos/ (and job.toml).")],
    write: Annotated[bool, typer.Option("--write", help="Add the proposals to job.toml.")] = False,
    least: Annotated[float, typer.Option(help="Leave out proposals less certain than this, 0 to 1.")] = 0.3,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")] = False,
) -> None:
    """Propose the long edges (walls, fronts, ends) from targets and photos alone, for you to confirm."""
    from rich.table import Table

    from phototemplate.cli.show import console, progress_bar
    from phototemplate.job import load_job, save_job
    from phototemplate.opencv_check import require_opencv
    from phototemplate.proposals import propose as find
    from phototemplate.proposals import second_words

    require_opencv()
    job = load_job(job_dir)
    with progress_bar(not json_ and sys.stderr.isatty()) as tell:
        found = [p for p in find(job, tell) if p.confidence >= least]
    if write:
        taken = {e.id for e in job.file.edges}
        new = [p.edge for p in found if p.edge.id not in taken]
        save_job(job, job.file.model_copy(update={"edges": [*job.file.edges, *new]}))
    if json_:
        typer.echo(json.dumps(
            {"edges": [p.edge.model_dump(mode="json", exclude_defaults=True) | {
                "confidence": p.confidence, "reading": p.reading, "second": second_words(p.second, job.file.units)
            } for p in found]}
        ))
        return
    table = Table(title="Proposed edges", title_justify="left")
    for head in ("edge", "kind", "from", "seen by", "confidence", "taken for", "could also be"):
        table.add_column(head)
    for p in found:
        e = p.edge
        seen_by = ", ".join(e.targets) or f"near {e.sheet}"
        table.add_row(e.id, f"{e.kind} ({e.shape})", e.source, seen_by, f"{p.confidence:.2f}", p.reading,
                      second_words(p.second, job.file.units))
    out = console()
    out.print(table)
    where = f"added to {job_dir / 'job.toml'}" if write else "not kept: repeat with --write, or confirm them in the app"
    out.print(f"{len(found)} edges, {where}. Join them to loops before the measurement is cut from.")
