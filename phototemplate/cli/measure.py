"""``demo``, ``new`` and ``measure``."""

from __future__ import annotations

import json
import math
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

if TYPE_CHECKING:
    from phototemplate.results import Outcome
    from phototemplate.template.piece_types import Template

JsonFlag = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of tables.")]


def _peak_mb() -> float | None:
    """Largest memory of this process so far, in MB; None on Windows, where Python's library does not tell."""
    if sys.platform == "win32":
        return None
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(peak / (1024 * 1024 if sys.platform == "darwin" else 1024), 1)


def _effort(photos: int, seconds: float) -> str:
    """What a run took, in words."""
    peak = _peak_mb()
    return f"{photos} photos in {seconds:.1f} s" + ("" if peak is None else f", {peak:.0f} MB at most")


def measure(
    job_dir: Annotated[
        str, typer.Argument(metavar="JOBDIR", help="Folder with photos/ and job.toml (or just photos), or its address, s3://...")
    ],
    bar: Annotated[
        str | None,
        typer.Option(help='Length between bar ends B01 and B02, e.g. "1000.2 mm" or "39 3/8 in"; without a job.toml.'),
    ] = None,
    unscaled: Annotated[bool, typer.Option(help="Write the DXF although no length is known (shape only).")] = False,
    dxf_version: Annotated[str, typer.Option(help="R2010 or R12.")] = "R2010",
    units: Annotated[str | None, typer.Option(help="Unit of the drawing: mm or in; else as job.toml says.")] = None,
    formats: Annotated[
        str | None, typer.Option(help="With commas: result,report,csv,dxf,cut,pieces,labels,svg,pdf,full-size; or all.")
    ] = None,
    print_only: Annotated[
        str, typer.Option(help='Limit the full-size print to a corner "front/left", an edge, or a piece.')
    ] = "",
    json_: JsonFlag = False,
) -> None:
    """Photos in, scaled DXF out: orient, trace, fit, and write results/ in the job folder."""
    from phototemplate.cli.show import console, edge_table, print_findings, progress_bar, verdict_line
    from phototemplate.job import load_job
    from phototemplate.opencv_check import require_opencv
    from phototemplate.results import USUAL_FORMATS, Wanted, measure_and_write, write_drawn
    from phototemplate.stored_folder import folder_at, opened, where_they_are

    require_opencv()
    start = time.perf_counter()
    names = () if formats == "all" else tuple(formats.split(",")) if formats else USUAL_FORMATS
    wanted = Wanted(names, dxf_version, units, unscaled, print_only)
    place = folder_at(job_dir)
    with opened(place) as folder:
        job = load_job(folder)
        drawn = write_drawn(job, wanted) if job.file.drawn and not job.photo_paths() else None
        if drawn is None:
            with progress_bar(not json_ and sys.stderr.isatty()) as tell:
                outcome = measure_and_write(job, wanted, bar=bar, progress=tell)
    if drawn is not None:
        _show_drawn(drawn[0], where_they_are(place, drawn[1]), job.file.units, json_)
        drawn[0].whole()
        return
    seconds = time.perf_counter() - start
    measurement, written = outcome.measurement, where_they_are(place, outcome.written)
    if json_:
        typer.echo(json.dumps(_summary(outcome, written, seconds)))
        outcome.whole()
        return
    out = console()
    out.print(edge_table(measurement, units or job.file.units, outcome.judgements))
    print_findings(out, measurement.findings, notes=False, unit=job.file.units)
    if outcome.template is not None:
        out.print(f"Pieces: {', '.join(p.piece_id for p in outcome.template.parts)}", markup=False)
        print_findings(out, outcome.template.findings, notes=False, unit=job.file.units)
    for path in written.values():
        out.print(f"wrote {path}", markup=False)
    out.print(_effort(len(measurement.photos), seconds), style="dim")
    out.print(verdict_line(outcome.judgements, measurement.findings), style="bold", markup=False)
    outcome.whole()


def _show_drawn(template: Template, files: dict[str, str], unit: Literal["mm", "in"], as_json: bool) -> None:
    """What came of a job without photos."""
    from phototemplate.cli.show import console, print_findings
    from phototemplate.wording import say

    names = [p.piece_id for p in template.parts]
    if as_json:
        found = [{**asdict(say(f)), "facts": dict(f.facts)} for f in template.findings]
        typer.echo(json.dumps({"pieces": names, "findings": found, "files": files}))
        return
    out = console()
    out.print(f"Pieces, as drawn and not measured: {', '.join(names)}", markup=False)
    print_findings(out, template.findings, notes=False, unit=unit)
    for path in files.values():
        out.print(f"wrote {path}", markup=False)


def hand_out(
    job_dir: Annotated[Path, typer.Argument(metavar="JOBDIR", help="Folder of a measured job.")],
    to: Annotated[str, typer.Option(help="Who gets the drawings, for the next revision's sheet of changes.")] = "",
) -> None:
    """Keep the pieces as written as a revision; later drawings then say what changed since."""
    from phototemplate.job import load_job
    from phototemplate.results import hand_out as keep

    state = keep(load_job(job_dir), to)
    typer.echo(f"handed out revision {state.revision} of {state.date}; later drawings say what changed since")


def _summary(outcome: Outcome, files: dict[str, str], seconds: float) -> dict[str, Any]:
    from phototemplate.cli.show import verdict_line
    from phototemplate.wording import say

    measurement, judgements = outcome.measurement, outcome.judgements
    pieces = outcome.template.findings if outcome.template is not None else ()
    return {
        "job": measurement.job_name,
        "edges": [
            {"edge": e.edge_id, "kind": e.kind, "length_mm": e.length_mm,
             "length_U_mm": e.length_U_mm if math.isfinite(e.length_U_mm) else None,
             "offset_U_mm": [u if math.isfinite(u) else None for u in e.offset_U_mm],
             "verdict": judgements.edges[e.edge_id].verdict if e.edge_id in judgements.edges else "cannot tell"}
            for e in measurement.outline.edges
        ],
        "tolerance_mm": judgements.tolerance_mm,
        "verdict": verdict_line(judgements, measurement.findings),
        "findings": [
            {**asdict(say(f)), "facts": dict(f.facts)} for f in (*measurement.findings, *pieces)
        ],
        "files": files,
        "seconds": round(seconds, 3),
        "stage_seconds": {k: round(v, 3) for k, v in measurement.seconds.items()},
        "peak_mb": _peak_mb(),
    }


def new(
    job_dir: Annotated[Path, typer.Argument(metavar="JOBDIR", help="Folder to make.")],
    photos: Annotated[list[Path] | None, typer.Argument(help="Photos to copy into it.")] = None,
    bar: Annotated[str | None, typer.Option(help='Length of the scale bar, e.g. "1000.2 mm".')] = None,
) -> None:
    """Make a job folder with a commented job.toml and copies of the photos."""
    from phototemplate.job import create_job

    job = create_job(job_dir, photos or [], bar)
    typer.echo(f"made {job.folder} with {len(job.photo_paths())} photos; next: phototemplate measure {job.folder}")


def demo(
    folder: Annotated[Path | None, typer.Option("--folder", help="Where to work; default: phototemplate-demo here.")] = None,
    json_: JsonFlag = False,
) -> None:
    """Measure the demo kitchen from its photos and compare every edge with the truth."""
    from rich.table import Table

    from phototemplate.cli.show import console, edge_table, print_findings, progress_bar
    from phototemplate.demo import run_demo
    from phototemplate.opencv_check import require_opencv

    require_opencv()
    start = time.perf_counter()
    with progress_bar(not json_ and sys.stderr.isatty()) as tell:
        result = run_demo(folder or Path("phototemplate-demo"), tell)
    seconds = time.perf_counter() - start
    if json_:
        rows = [dict(r) for r in result.rows]
        typer.echo(json.dumps(
            {"comparison": rows, "seconds": round(seconds, 3), "peak_mb": _peak_mb(), "dxf": str(result.dxf),
             "stage_seconds": {k: round(v, 3) for k, v in result.measurement.seconds.items()},
             "files": {k: str(v) for k, v in result.written.items()}}
        ))
        return
    out = console()
    out.print(edge_table(result.measurement, "in"))
    table = Table(title="Compared with the truth the photos were made from (U at k = 2)", title_justify="left")
    for head in ("edge", "kind", "length, mm", "U, mm", "error, mm", "error / U"):
        table.add_column(head, justify="left" if head in ("edge", "kind") else "right")
    for r in result.rows:
        u = r["U_mm"]
        length = r.get("length_mm")
        table.add_row(
            r["edge"], r["kind"], "" if length is None else f"{length:.1f}", f"{u:.2f}", f"{r['error_mm']:+.2f}",
            f"{r['error_mm'] / u:+.2f}" if u else "",
        )
    out.print(table)
    inside = sum(abs(r["error_mm"]) <= r["U_mm"] for r in result.rows)
    out.print(f"{inside} of {len(result.rows)} errors are inside the stated U.")
    print_findings(out, result.measurement.findings, notes=False)
    for path in result.written.values():
        out.print(f"wrote {path}", markup=False)
    out.print(_effort(len(result.measurement.photos), seconds), style="dim")
