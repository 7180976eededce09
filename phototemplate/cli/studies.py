"""``check-wall``, ``estimate``, ``plan`` and ``batch``: questions about jobs."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from phototemplate.cli.measure import JsonFlag
from phototemplate.errors import InputError, MeasureError
from phototemplate.units import parse_length_mm

if TYPE_CHECKING:
    from phototemplate.job import Job
    from phototemplate.model import Measurement
    from phototemplate.progress import Progress
    from phototemplate.studies.check_wall import WallCheck

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
    from phototemplate.cli.show import console, print_findings, progress_bar
    from phototemplate.job import load_job
    from phototemplate.opencv_check import require_opencv
    from phototemplate.output.result_json import write_result_json
    from phototemplate.studies.check_wall import check_wall as check
    from phototemplate.studies.plumb import lean as lean_of
    from phototemplate.studies.wall_pages import write_wall_check

    require_opencv()
    start = time.perf_counter()
    if corner not in (None, "left", "right"):
        raise InputError(f"The corner to count from is left or right, not {corner!r}.")
    limit = parse_length_mm(gap)
    stretch = None
    if from_ is not None or to is not None:
        stretch = (parse_length_mm(from_) if from_ else 0.0, parse_length_mm(to) if to else 1e6)
    square_to = against.removeprefix("square:") if against.startswith("square:") else None
    other = None if against == "straight" or square_to is not None else Path(against)
    if other is not None and not other.exists():
        raise InputError(
            f"There is nothing called {against} to compare with; say straight, square:EDGE, a DXF or an earlier job."
        )
    job = load_job(job_dir)
    with progress_bar(not json_ and sys.stderr.isatty()) as tell:
        measurement, as_filed = _measure_wall(job, edge, sheets, tell)
    if measurement.outline.unscaled:
        raise InputError(f"No length is known in {job.name}, so no gap has a size; add a [[lengths]] table to job.toml.")
    reference = None
    edge_id = None
    if other is not None:
        from phototemplate.studies.wall_line import choose_wall

        edge_id = choose_wall(measurement.outline, edge)
        reference = _reference(other, other_edge or edge_id, unit, layer)
    result = check(
        measurement.outline, edge_id or edge, job=job.name, heights=measurement.work_plane.heights, square_to=square_to,
        reference=reference, freedom=freedom, limit_mm=limit, stretch_mm=stretch, corner=corner,  # type: ignore[arg-type]
        measurement=measurement,
    )  # fmt: skip
    leaning = lean_of(measurement, result.wall.edge_id, lean.split(",") if lean else ())
    written = write_wall_check(result, job.results, job.file.units, leaning, measurement.findings)
    if as_filed:
        written["result"] = write_result_json(measurement, job.results / "result.json")
    seconds = time.perf_counter() - start
    if json_:
        typer.echo(json.dumps({**_wall_summary(result), "lean_mm_per_m": None if leaning is None else leaning.mm_per_m,
                               "lean_U_mm_per_m": None if leaning is None else leaning.U_mm_per_m,
                               "files": {k: str(v) for k, v in written.items()}, "seconds": round(seconds, 3)}))  # fmt: skip
        return
    out = console()
    _show_wall(result, leaning)
    print_findings(out, measurement.findings, notes=False)
    for path in written.values():
        out.print(f"wrote {path}", markup=False)
    out.print(f"{len(measurement.photos)} photos in {seconds:.1f} s", style="dim")


def _measure_wall(job: Job, edge_id: str | None, sheets: str | None, tell: Progress) -> tuple[Measurement, bool]:
    """Measure, and whether what was measured is what the job file says.

    A job without edges gets one wall from the strips or butted sheets that its photos show. A wall that the job file claims
    to be a straight line is measured as a profile, or its straightness could not be asked for.
    """
    from dataclasses import replace

    from phototemplate.job import EdgeSpec
    from phototemplate.results import measure_job
    from phototemplate.stage_cache import Memo
    from phototemplate.studies.wall_strips import walls_of_strips

    if job.file.edges:
        walls = {e.id for e in job.file.edges if e.id == edge_id or (edge_id is None and e.kind in ("wall", "panel"))}
        lines = {e.id for e in job.file.edges if e.id in walls and e.shape == "line"}
        if not lines or len(walls) > 1:
            return measure_job(job, tell), True
        edges = [e.model_copy(update={"shape": "profile"}) if e.id in lines else e for e in job.file.edges]
        return measure_job(replace(job, file=job.file.model_copy(update={"edges": edges})), tell), False
    memo = Memo()
    measurement = measure_job(job, tell, memo)
    if sheets:
        named = [name.strip() for name in sheets.split(",")]
        edges = [EdgeSpec(id="wall", kind="wall", source="contact", shape="profile", targets=named)]
    else:
        strips = walls_of_strips(measurement.network, measurement.work_plane)
        if not strips:
            raise InputError(
                f"{job.name} names no edge, and its photos show no wall strip; tape strips along the wall, or name sheets that "
                "are butted against it with --sheets."
            )
        edges = [EdgeSpec(id=i, kind="wall", source="strip", shape="profile", targets=list(s)) for i, s in strips.items()]
    found = measure_job(replace(job, file=job.file.model_copy(update={"edges": edges})), tell, memo)
    if not found.outline.segments:
        why = [f.message for f in found.findings if f.code in ("edge-not-found", "edge-gaps")]
        raise MeasureError(" ".join(why) or f"No wall could be measured in {job.name}; show its strips in more photos.")
    return found, True


def _reference(path: Path, edge_id: str, unit: str | None, layer: str | None) -> Any:
    from phototemplate.output.result_reader import read_result
    from phototemplate.studies.references import of_outline, read_dxf

    if path.is_file() and path.suffix.lower() == ".dxf":
        return read_dxf(path, unit, layer)
    stored = read_result(path)
    if not stored.scale_known:
        raise InputError(f"The earlier job {stored.job_name} has no known length, so it cannot be compared with.")
    return of_outline(stored.outline, edge_id, f"{stored.job_name} ({stored.created[:10]})", stored.heights)


def _wall_summary(check: WallCheck) -> dict[str, Any]:
    return {
        "job": check.job, "edge": check.wall.edge_id, "against": check.against, "verdict": check.decision.verdict,
        "largest_gap_mm": check.largest_gap.value, "largest_gap_U_mm": check.largest_gap.U,
        "largest_gap_at_mm": list(check.largest_at_mm), "limit_mm": check.limit_mm,
        "probability": check.decision.probability, "remedy": check.remedy,
        "figures": [{"name": f.name, "value": f.value, "U": f.U, "unit": f.unit} for f in check.figures],
        "fit_rms_mm": check.fit_rms_mm,
    }  # fmt: skip


def _show_wall(check: WallCheck, leaning: Any) -> None:
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


def estimate(
    job_dir: JobDir,
    prices: Annotated[Path | None, typer.Option(help="Your price list (TOML).")] = None,
    edge: Annotated[str, typer.Option(help="Finish of the finished edges, as the price list names it.")] = "",
    slab: Annotated[str | None, typer.Option(help='Slab, e.g. "120 x 70 in"; else as the material in the job file.')] = None,
    kerf: Annotated[str, typer.Option(help="Width of the saw's cut.")] = "4 mm",
    turn: Annotated[bool, typer.Option(help="Pieces may be turned on the slab, against its pattern.")] = False,
    paper: Annotated[str, typer.Option(help="Letter or A4.")] = "Letter",
    json_: JsonFlag = False,
) -> None:
    """Estimate area, edges, slabs, weight and price from a customer's photos, each with its range."""
    from rich.table import Table

    from phototemplate.cli.show import console
    from phototemplate.job import load_job
    from phototemplate.studies.estimate import estimate as make
    from phototemplate.studies.estimate_file import ESTIMATE_FILE, read_estimate_file
    from phototemplate.studies.price_list import read_price_list
    from phototemplate.studies.quote import ask_effect, price_words, summary_rows, write_estimate

    price_list = None if prices is None else read_price_list(prices)
    job = load_job(job_dir)
    outline, spec, heights, landmarks = _known_so_far(job)
    named = job.folder / ESTIMATE_FILE
    name = (read_estimate_file(named).name if named.is_file() else "") or job.name
    made = make(
        outline, spec, job=name, heights=heights, prices=price_list, edge_finish=edge,
        slab=_slab(slab, spec.shop.material, parse_length_mm(kerf), turn), landmarks=landmarks,
    )  # fmt: skip
    written = write_estimate(made, job.results, job.file.units, paper)
    if json_:
        ranges = {r.name: {"low": r.low, "likely": r.value, "high": r.high, "unit": r.unit}
                  for r in (made.area, made.finished_edge, made.splash, made.weight)}  # fmt: skip
        price = None if made.price is None else {"low": made.price.low, "likely": made.price.likely, "high": made.price.high,
                                                 "currency": made.price.currency, "drivers": made.price.drivers}  # fmt: skip
        typer.echo(json.dumps({
            "job": made.job, **ranges, "slabs": None if made.slabs is None else made.slabs[1].slabs, "price": price,
            "ask": None if made.ask is None else made.ask.sentence, "files": {k: str(v) for k, v in written.items()},
        }))  # fmt: skip
        return
    out = console()
    table = Table(title=f"{made.job}: estimate, ranges at k = 2", title_justify="left", show_header=False)
    for what, value in summary_rows(made):
        table.add_row(what, value)
    if made.price is not None:
        table.add_row("price with tax", price_words(made), style="bold")
    out.print(table)
    if made.price is not None and made.price.drivers:
        most = ", ".join(f"{what} (±{half:,.0f})" for what, half in made.price.drivers[:3])
        out.print(f"The range comes from: {most}.", markup=False)
    if made.ask is not None:
        out.print(f"Ask next: {made.ask.sentence} {ask_effect(made)}", markup=False)
    for path in written.values():
        out.print(f"wrote {path}", markup=False)


def _known_so_far(job: Job) -> Any:
    """Outline, pieces, heights and what corners are found by: from clicks where there is an estimate.toml, else from the sheets
    in the photos."""
    from phototemplate.capture.store import PhotoStore
    from phototemplate.results import measure_job
    from phototemplate.stage_inputs import read_photos
    from phototemplate.studies.clicked import clicked_outline, fit_clicked
    from phototemplate.studies.estimate_file import ESTIMATE_FILE, read_estimate_file

    path = job.folder / ESTIMATE_FILE
    if path.is_file():
        file = read_estimate_file(path)
        photos, _ = read_photos(job)
        store = PhotoStore(photos)
        clicked = file.clicked({p.photo_id: p for p in photos}, store.gray)
        plan = fit_clicked(clicked, file.tape_lengths(), file.loops())
        return clicked_outline(plan, file.loops()), file.template_spec(), (), file.landmarks()
    if not job.file.edges or not job.file.loops:
        raise InputError(
            f"{job.name} names no edges: mark them in the app (phototemplate app {job.folder}), or write {path.name} with the "
            "corners clicked in the photos."
        )
    from phototemplate.opencv_check import require_opencv

    require_opencv()
    measurement = measure_job(job)
    shown = {e.id: f"see photo {e.photo}" for e in job.file.edges if e.photo is not None}
    corners = [(loop.edge_ids[k - 1], name) for loop in measurement.outline.loops for k, name in enumerate(loop.edge_ids)]
    landmarks = {(a, b): shown.get(a) or shown.get(b) or "" for a, b in corners}
    return measurement.outline, job.file.template_spec(), measurement.work_plane.heights, landmarks


def _slab(text: str | None, material: Any, kerf_mm: float, turn: bool) -> Any:
    from phototemplate.studies.packing import SlabSpec

    length, width = material.slab_length, material.slab_width
    if text is not None:
        first, cross, second = text.lower().partition("x")
        if not cross:
            raise InputError(f'The slab {text!r} is not a length and a width; write it like "120 x 70 in".')
        unit = second.strip().lstrip("0123456789./ -")
        length, width = (parse_length_mm(p if p.strip()[-1:].isalpha() else f"{p.strip()} {unit}") for p in (first, second))
    return SlabSpec(max(length, width), min(length, width), material.slab_trim, kerf_mm, not turn)


def batch(
    jobs: Annotated[list[Path], typer.Argument(metavar="JOBS...", help="Job folders.")],
    workers: Annotated[int, typer.Option(help="Jobs at once; 0: one per core.", min=0)] = 0,
    scheduler: Annotated[str | None, typer.Option(help="Run on a Dask cluster, e.g. tcp://host:8786.")] = None,
    again: Annotated[bool, typer.Option(help="Run finished jobs again too.")] = False,
    table: Annotated[Path, typer.Option(help="Where to write the table of all jobs.")] = Path("batch.csv"),
    json_: JsonFlag = False,
) -> None:
    """Measure many job folders at once; a restart skips what is finished, a bad job does not stop the rest."""
    from phototemplate.cli.show import console
    from phototemplate.studies.batch import run_batch, write_table

    out = console()
    outcomes = []
    for outcome in run_batch(jobs, measure_folder, workers, scheduler, again):
        outcomes.append(outcome)
        if not json_:
            words = {"done": f"{outcome.seconds:.1f} s", "skipped": "finished before", "failed": outcome.message}[outcome.state]
            style = "red" if outcome.state == "failed" else None
            out.print(f"{outcome.state:>8} {outcome.job}: {words}", markup=False, style=style)
    written = write_table(outcomes, table)
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


def measure_folder(job_dir: Path) -> dict[str, Any]:
    """Measure one job folder and write its results; for ``batch``, in a process of its own."""
    from phototemplate.job import load_job
    from phototemplate.results import measure_and_write

    measurement = measure_and_write(load_job(job_dir)).measurement
    edges = measurement.outline.edges
    return {
        "edges": len(edges),
        "largest_U_mm": round(max((u for e in edges for u in e.offset_U_mm), default=0.0), 3),
        "findings": sum(f.severity != "note" for f in measurement.findings),
        "seconds_by_stage": {k: round(v, 2) for k, v in measurement.seconds.items()},
    }


def plan(
    runs: Annotated[list[str], typer.Argument(metavar="RUNS...", help='Length of each run, e.g. "96 in" "60 in" (an L).')],
    depth: Annotated[str, typer.Option(help="Depth of the cabinets.")] = "24 in",
    sheets: Annotated[int, typer.Option(help="Number of sheets; 0: one about every 2 ft.")] = 0,
    want: Annotated[str, typer.Option(help="Wanted U (k = 2) of every run's length.")] = "1/16 in",
    bar: Annotated[str | None, typer.Option(help="Length of a scale bar; left out: one tape length.")] = None,
    out: Annotated[Path, typer.Option(help="The page to print.")] = Path("photo-plan.pdf"),
    paper: Annotated[str, typer.Option(help="Letter or A4.")] = "Letter",
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
    path = write_plan(made, tried, wanted, out, paper)
    if json_:
        typer.echo(json.dumps({
            "photos": len(made.views), "sheets": len(made.sheets_mm), "run_U_mm": list(made.run_U_mm), "wanted_U_mm": wanted,
            "tried": [{"photos": len(p.views), "U_mm": p.worst_U_mm} for p in tried], "page": str(path),
        }))  # fmt: skip
        return
    show = console()
    for sentence in instructions(made, wanted):
        show.print(sentence, markup=False)
    show.print(f"wrote {path}", markup=False)
