"""``check-wall``, ``check-yourself``, ``estimate``, ``plan`` and ``batch``: questions about jobs."""

from __future__ import annotations

import json
import math
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from phototemplate.cli.measure import JsonFlag
from phototemplate.errors import InputError, MeasureError
from phototemplate.studies.constants import STRAIGHT_EDGE_MM
from phototemplate.units import parse_length_mm, usual_paper

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rich.console import Console

    from phototemplate.job_studies import WallAnswer
    from phototemplate.studies.check_wall import WallCheck
    from phototemplate.studies.estimate import Estimate
    from phototemplate.studies.plumb import Lean

JobDir = Annotated[Path, typer.Argument(metavar="JOBDIR", help="Folder with photos/ and job.toml (or just photos).")]


def check_wall(
    job_dir: JobDir,
    edge: Annotated[str | None, typer.Option(help="Edge to check; left out where one wall was measured.")] = None,
    against: Annotated[
        str,
        typer.Option(help="straight, square:EDGE, a DXF, or the folder or result.json of an earlier job."),
    ] = "straight",
    freedom: Annotated[
        str, typer.Option(help="How a DXF or an earlier job may be laid on the wall: none, shift or turn (shift and turn).")
    ] = "turn",
    gap: Annotated[str, typer.Option(help='Largest gap that is allowed, e.g. "1/8 in" or "3 mm".')] = "1/8 in",
    from_: Annotated[str | None, typer.Option("--from", help="Judge from this distance from the corner on.")] = None,
    to: Annotated[str | None, typer.Option(help="Judge up to this distance from the corner.")] = None,
    corner: Annotated[str | None, typer.Option(help="Corner to count from, left or right as seen from the room.")] = None,
    sheets: Annotated[
        str | None, typer.Option(help="Sheets butted against the wall, e.g. S01,S02; for a job without edges.")
    ] = None,
    layer: Annotated[str | None, typer.Option(help="Only this layer of the DXF.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of a DXF that states none: mm or in.")] = None,
    other_edge: Annotated[str | None, typer.Option(help="The wall's name in the earlier job, where it differs.")] = None,
    lean: Annotated[
        str | None, typer.Option(help="Strips to take the lean from, e.g. W03,W04; else all near the wall.")
    ] = None,
    json_: JsonFlag = False,
) -> None:
    """Check one wall: profile, bow, largest gap behind a piece, what to scribe, good enough or not."""
    from phototemplate.cli.show import print_findings, progress_bar
    from phototemplate.job import load_job
    from phototemplate.job_studies import WallQuestion, check_wall_of
    from phototemplate.opencv_check import require_opencv

    require_opencv()
    start = time.perf_counter()
    if corner not in (None, "left", "right"):
        raise InputError(f"The corner to count from is left or right, not {corner!r}.")
    stretch = None
    if from_ is not None or to is not None:
        stretch = (parse_length_mm(from_) if from_ else 0.0, parse_length_mm(to) if to else math.inf)
    asked = WallQuestion(
        edge, against, freedom, parse_length_mm(gap), stretch, corner, _names(sheets), layer, unit, other_edge,  # type: ignore[arg-type]
        _names(lean),
    )  # fmt: skip
    with progress_bar(not json_ and sys.stderr.isatty()) as tell:
        answer = check_wall_of(load_job(job_dir), asked, tell)
    seconds = time.perf_counter() - start
    if json_:
        typer.echo(json.dumps({**_wall_summary(answer), "seconds": round(seconds, 3)}))
        return
    out = _show_wall(answer.check, answer.lean)
    print_findings(out, answer.measurement.findings, notes=False)
    _show_written(out, answer.written)
    out.print(f"{len(answer.measurement.photos)} photos in {seconds:.1f} s", style="dim")


def check_yourself(
    job_dir: JobDir,
    straight: Annotated[
        str, typer.Option(help='How straight the straight edge is said to be, e.g. "0.3 mm".')
    ] = f"{STRAIGHT_EDGE_MM} mm",
    json_: JsonFlag = False,
) -> None:
    """Check printer, phone and program at home on a straight edge and a tape (print the page: sheets --what home-check)."""
    from rich.table import Table

    from phototemplate.cli.show import console, progress_bar
    from phototemplate.job import load_job
    from phototemplate.job_studies import self_check_of
    from phototemplate.opencv_check import require_opencv
    from phototemplate.studies.self_check import NOT_PROVED, PROVES

    require_opencv()
    with progress_bar(not json_ and sys.stderr.isatty()) as tell:
        done = self_check_of(load_job(job_dir), parse_length_mm(straight), tell)
    if json_:
        rows = [
            {"kind": r.kind, "what": r.what, "off_mm": r.off_mm, "U_mm": r.U_mm, "score": r.score, "answer": r.answer}
            for r in done.rows
        ]
        typer.echo(json.dumps(
            {"job": done.job, "answer": done.answer, "photos": done.photos, "rows": rows, "missing": done.missing,
             "span_mm": done.span_mm, "span_U_mm": done.span_U_mm, "withheld": done.withheld}
        ))  # fmt: skip
        return
    out = console()
    heads = {
        "agrees": ("green", "Everything agrees."),
        "does not agree": ("red", "Something does not agree: cut nothing until it is found."),
        "says little": ("yellow", "What was compared agrees, but it does not check the whole chain."),
    }
    style, head = heads[done.answer]
    out.print(head, style=style, markup=False)
    table = Table(title=f"{done.job}, {done.photos} photos (U at k = 2)", title_justify="left")
    for name, justify in (("", "left"), ("off, mm", "right"), ("U, mm", "right"), ("off / U", "right"), ("", "left")):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    for r in done.rows:
        table.add_row(r.what, f"{r.off_mm:.2f}", f"{r.U_mm:.2f}", f"{r.score:.2f}", r.answer)
    out.print(table)
    if done.withheld:
        out.print("The photos do not fit together, so that no uncertainty can be stated; measure says why.", markup=False)
    elif math.isfinite(done.span_U_mm):
        out.print(f"Reached: {done.span_mm:.0f} mm between the farthest sheets with U {done.span_U_mm:.2f} mm.", markup=False)
    for text in done.missing:
        out.print(f"Missing: {text}.", style="yellow", markup=False)
    if done.answer == "agrees":
        out.print(f"It proves {PROVES}.", markup=False)
    for text in NOT_PROVED:
        out.print(f"Not proved: {text}.", style="dim", markup=False)


def _names(text: str | None) -> tuple[str, ...]:
    return tuple(name for part in (text or "").split(",") if (name := part.strip()))


def _show_written(out: Console, written: Mapping[str, Path]) -> None:
    for path in written.values():
        out.print(f"wrote {path}", markup=False)


def _wall_summary(answer: WallAnswer) -> dict[str, Any]:
    check, lean = answer.check, answer.lean
    return {
        "job": check.job, "edge": check.wall.edge_id, "against": check.against, "verdict": check.decision.verdict,
        "largest_gap_mm": check.largest_gap.value, "largest_gap_U_mm": check.largest_gap.U,
        "largest_gap_at_mm": list(check.largest_at_mm), "limit_mm": check.limit_mm,
        "probability": check.decision.probability, "remedy": check.remedy,
        "figures": [{"name": f.name, "value": f.value, "U": f.U, "unit": f.unit} for f in check.figures],
        "fit_rms_mm": check.fit_rms_mm, "lean_mm_per_m": None if lean is None else lean.mm_per_m,
        "lean_U_mm_per_m": None if lean is None else lean.U_mm_per_m, "files": {k: str(v) for k, v in answer.written.items()},
    }  # fmt: skip


def _show_wall(check: WallCheck, leaning: Lean | None) -> Console:
    from rich.table import Table

    from phototemplate.cli.show import console
    from phototemplate.studies.wall_pages import figure_words, headline

    out = console()
    out.print(headline(check), style={"meets": "green", "fails": "red"}.get(check.decision.verdict, "yellow"), markup=False)
    table = Table(title=f"{check.wall.edge_id} against {check.against} (U at k = 2)", title_justify="left")
    for head, justify in (("", "left"), ("value", "right"), ("U", "right"), ("what it is", "left")):
        table.add_column(head, justify=justify)  # type: ignore[arg-type]
    for figure in (check.largest_gap, *check.figures):
        table.add_row(figure.name, *figure_words(figure))
    out.print(table)
    if leaning is not None:
        out.print(leaning.sentence, markup=False)
    for text in check.findings:
        out.print(text, style="dim", markup=False)
    return out


def estimate(
    job_dir: JobDir,
    prices: Annotated[Path | None, typer.Option(help="Your price list (TOML).")] = None,
    material: Annotated[str, typer.Option(help="Stone, as the price list names it; else as the job file says.")] = "",
    edge: Annotated[
        list[str] | None,
        typer.Option(help="Finish of finished edges, as the price list names it; NAME=FINISH for one edge, again for more."),
    ] = None,
    removal: Annotated[bool, typer.Option("--removal", help="An old top is taken away.")] = False,
    distance: Annotated[float | None, typer.Option(help="How far it is, in the price list's unit.", min=0)] = None,
    floors: Annotated[int, typer.Option(help="Floors above the ground.", min=0)] = 0,
    slab: Annotated[str | None, typer.Option(help='Slab, e.g. "120 x 70 in"; else as the material in the job file.')] = None,
    kerf: Annotated[str, typer.Option(help="Width of the saw's cut.")] = "4 mm",
    turn: Annotated[bool, typer.Option(help="Pieces may be turned on the slab, against its pattern.")] = False,
    paper: Annotated[str, typer.Option(help="Letter or A4; left out: what is usual where this machine is.")] = "",
    message: Annotated[bool, typer.Option("--message", help="Write what to send back to the customer, and stop.")] = False,
    accept: Annotated[int, typer.Option(help="The customer took this option: make the templater's job, and stop.", min=0)] = 0,
    json_: JsonFlag = False,
) -> None:
    """Estimate area, edges, slabs, weight and price from a customer's photos, each with its range."""
    from phototemplate.job import load_job
    from phototemplate.job_studies import EstimateWishes, estimate_of, message_of, propose_of
    from phototemplate.opencv_check import require_opencv
    from phototemplate.order import order_job
    from phototemplate.studies.pricing import Choice

    require_opencv()
    finishes = dict(name.split("=", 1) for name in edge or [] if "=" in name)
    plain = [name for name in edge or [] if "=" not in name]
    if len(plain) > 1:
        raise InputError(f"--edge gives all edges two finishes ({', '.join(plain)}); give one, and NAME=FINISH for the others.")
    choice = Choice(material, "".join(plain), finishes, removal, distance, floors)
    wishes = EstimateWishes(prices, choice, slab, parse_length_mm(kerf), turn, paper or usual_paper())
    job, usual = load_job(job_dir), paper or usual_paper()
    if accept:
        order, files = order_job(job, accept)
        typer.echo("\n".join([f"made {order.folder}", *(f"wrote {p}" for p in files.values())]))
        return
    found = propose_of(job, usual)
    if found and not json_:
        typer.echo(found)
    if message:
        _, files = message_of(job, usual)
        typer.echo("\n".join([files["message"].read_text(encoding="utf-8"), *(f"wrote {p}" for p in files.values())]))
        return
    made, written = estimate_of(job, wishes)
    if json_:
        typer.echo(json.dumps({**_estimate_summary(made), "files": {k: str(v) for k, v in written.items()}}))
    else:
        _show_estimate(made, written)


def _estimate_summary(made: Estimate) -> dict[str, Any]:
    ranges = {
        r.name: {"low": r.low, "likely": r.value, "high": r.high, "unit": r.unit}
        for r in (made.area, made.finished_edge, made.splash, made.weight)
    }
    p = made.price
    return {
        "job": made.job, **ranges, "slabs": None if made.slabs is None else made.slabs[1].slabs,
        "price": None if p is None else {"low": p.low, "likely": p.likely, "high": p.high, "currency": p.currency,
                                         "drivers": p.drivers},
        "ask": None if made.ask is None else made.ask.sentence,
    }  # fmt: skip


def _show_estimate(made: Estimate, written: Mapping[str, Path]) -> None:
    from rich.table import Table

    from phototemplate.cli.show import console
    from phototemplate.studies.quote import ask_effect, drivers_words, price_words, summary_rows

    out = console()
    table = Table(title=f"{made.job}: estimate, ranges at k = 2", title_justify="left", show_header=False)
    for what, value in summary_rows(made):
        table.add_row(what, value)
    if made.price is not None:
        table.add_row("price with tax", price_words(made), style="bold")
    out.print(table)
    if made.price is not None and made.price.drivers:
        out.print(drivers_words(made.price), markup=False)
    if made.caution:
        out.print(made.caution, style="bold", markup=False)
    if made.ask is not None:
        out.print(f"Ask next: {made.ask.sentence} {ask_effect(made)}", markup=False)
    _show_written(out, written)


def prices(
    action: Annotated[str, typer.Argument(metavar="new|check", help="Write a commented price list, or check one.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The price list, a TOML file.")],
) -> None:
    """Begin a price list with a comment on every line, or check one and see what it makes of a sample kitchen."""
    from phototemplate.studies.price_list import new_price_list, read_price_list
    from phototemplate.studies.sample_price import sample_lines

    if action == "new":
        typer.echo(f"wrote {new_price_list(file)}; change every number, then: phototemplate prices check {file}")
    elif action == "check":
        for line in sample_lines(read_price_list(file)):
            typer.echo(line)
    else:
        raise InputError(f"phototemplate prices can do new or check, not {action!r}.")


def batch(
    jobs: Annotated[
        list[str], typer.Argument(metavar="JOBS...", help="Job folders, or addresses of them such as s3://bucket/jobs/*.")
    ],
    workers: Annotated[int, typer.Option(help="Jobs at once; 0: one per core.", min=0)] = 0,
    scheduler: Annotated[str | None, typer.Option(help="Run on a Dask cluster, e.g. tcp://host:8786.")] = None,
    again: Annotated[bool, typer.Option(help="Run finished jobs again too.")] = False,
    table: Annotated[Path, typer.Option(help="Where to write the table of all jobs.")] = Path("batch.csv"),
    json_: JsonFlag = False,
) -> None:
    """Measure many job folders at once; a restart skips what is finished, a bad job does not stop the rest."""
    from phototemplate.cli.show import console
    from phototemplate.job_studies import measure_folder
    from phototemplate.stored_folder import folders_at
    from phototemplate.studies.batch import Outcome, Pace, run_batch, write_table
    from phototemplate.studies.constants import TABLE_EVERY_S

    out = console()
    outcomes: list[Outcome] = []
    places = folders_at(jobs)
    pace, written_at = Pace(len(places)), 0.0
    written = write_table(outcomes, table)
    for outcome in run_batch(places, measure_folder, workers, scheduler, again):
        outcomes.append(outcome)
        pace.heed(outcome)
        if time.monotonic() - written_at > TABLE_EVERY_S:  # a batch that is killed leaves the table of what it did
            written_at = time.monotonic()
            write_table(outcomes, table)
        if not json_:
            words = {"done": f"{outcome.seconds:.1f} s", "skipped": "finished before", "failed": outcome.message}[outcome.state]
            style = "red" if outcome.state == "failed" else None
            out.print(f"{outcome.state:>8} {outcome.job}: {words} ({pace.words()})", markup=False, style=style)
    write_table(outcomes, table)
    failed = [o for o in outcomes if o.state == "failed"]
    if json_:
        typer.echo(json.dumps({
            "jobs": [{"job": str(o.job), "state": o.state, "seconds": round(o.seconds, 2), "message": o.message,
                      **(o.values or {})} for o in outcomes], "table": str(written),
        }))  # fmt: skip
    else:
        out.print(f"{len(outcomes) - len(failed)} of {len(outcomes)} jobs are finished; wrote {written}", markup=False)
    if failed:
        raise typer.Exit(MeasureError.exit_code)


def plan(
    runs: Annotated[list[str], typer.Argument(metavar="RUNS...", help='Length of each run, e.g. "96 in" "60 in" (an L).')],
    depth: Annotated[str, typer.Option(help="Depth of the cabinets.")] = "24 in",
    sheets: Annotated[int, typer.Option(help="Number of sheets; 0: one about every 2 ft.")] = 0,
    want: Annotated[str, typer.Option(help="Wanted U (k = 2) of every run's length.")] = "1/16 in",
    bar: Annotated[str | None, typer.Option(help="Length of a scale bar, beside a tape length; left out: that alone.")] = None,
    out: Annotated[Path, typer.Option(help="The page to print.")] = Path("photo-plan.pdf"),
    paper: Annotated[str, typer.Option(help="Letter or A4; left out: what is usual where this machine is.")] = "",
    json_: JsonFlag = False,
) -> None:
    """How many photos from where reach a wanted U: predicted, with a page to print."""
    from phototemplate.cli.show import console
    from phototemplate.studies.plan import Sketch, instructions, write_plan
    from phototemplate.studies.plan import plan as make

    wanted = parse_length_mm(want)
    sketch = Sketch(
        tuple(parse_length_mm(r) for r in runs), parse_length_mm(depth), sheets, None if bar is None else parse_length_mm(bar)
    )
    made, tried = make(sketch, wanted)
    path = write_plan(made, tried, wanted, out, paper or usual_paper())
    if json_:
        typer.echo(json.dumps({
            "photos": len(made.standpoints), "sheets": len(made.sheets_mm), "run_U_mm": list(made.run_U_mm),
            "wanted_U_mm": wanted, "page": str(path),
            "tried": [{"photos": len(p.standpoints), "U_mm": p.worst_U_mm} for p in tried],
        }))  # fmt: skip
        return
    show = console()
    for sentence in instructions(made, wanted):
        show.print(sentence, markup=False)
    show.print(f"wrote {path}", markup=False)
