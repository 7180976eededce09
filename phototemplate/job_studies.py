"""Questions about job folders: is this wall good enough, what would this kitchen cost, what became of many jobs.

The studies know outlines and measurements; here they meet the job folders from which these come.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.camera_profiles import load_profiles, match_profiles
from phototemplate.capture.photos import read_rgb
from phototemplate.capture.store import PhotoStore
from phototemplate.constants import ESTIMATE_FILE
from phototemplate.errors import FINDINGS, InputError, MeasureError, PhototemplateError
from phototemplate.job import EdgeSpec, Job, load_job
from phototemplate.model import HeightPoint, Measurement, Outline, PhotoMeta
from phototemplate.network.rectify import rectify
from phototemplate.progress import Progress, quiet
from phototemplate.result_set import current_set
from phototemplate.results import Wanted, measure_and_write, measure_job, write_results
from phototemplate.stage_cache import Memo
from phototemplate.stage_inputs import read_photos
from phototemplate.studies.check_wall import WallCheck, check_wall
from phototemplate.studies.clicked import ClickedPlan, clicked_outline
from phototemplate.studies.clicked_lens import LENS_UNKNOWN
from phototemplate.studies.constants import SLAB_PX_PER_MM, STRAIGHT_EDGE_MM, USUAL_GAP_MM
from phototemplate.studies.customer.doubted_kinds import fit_doubted
from phototemplate.studies.customer.message import message_text, wanted, write_message
from phototemplate.studies.customer.proposal import propose_clicks
from phototemplate.studies.estimate import Estimate, estimate
from phototemplate.studies.estimate_file import EstimateFile, read_estimate_file, write_estimate_file
from phototemplate.studies.fit_reference import Freedom
from phototemplate.studies.packing import SlabSpec, slab_from_words
from phototemplate.studies.plumb import Lean, lean
from phototemplate.studies.price_list import Shop, price_lists, read_price_list
from phototemplate.studies.pricing import Choice
from phototemplate.studies.quote import Quote
from phototemplate.studies.quote_file import QUOTE_FILE, read_quote_file
from phototemplate.studies.quote_pages import write_quote
from phototemplate.studies.references import Reference, read_reference
from phototemplate.studies.self_check import SelfCheck, self_check
from phototemplate.studies.slab import MeasuredSlab, measured_slab
from phototemplate.studies.slab_file import read_slab_file
from phototemplate.studies.slab_layout import Layout, groups_of, lay_out
from phototemplate.studies.slab_pages import write_slab
from phototemplate.studies.wall_line import End, choose_wall
from phototemplate.studies.wall_pages import write_wall_check
from phototemplate.studies.wall_strips import walls_of_strips
from phototemplate.template.spec import TemplateSpec
from phototemplate.wording import say


def lay_on_slab(
    job: Job, slab_job: Job, folder: Path | None = None, progress: Progress = quiet
) -> tuple[Layout, MeasuredSlab, dict[str, Path]]:
    """Lay the pieces of a job, as last written, on a photographed slab; writes drawing, cutting lines, pictures and data.

    ``slab_job`` is a job folder of the slab's photos with a known length and a ``slab.toml``; files go into ``folder``, left
    out into its ``results/``. Raises ``InputError`` where no pieces were written from the job as it is now, ``MeasureError``
    where the slab's photos do not allow an answer.
    """
    wish = read_slab_file(slab_job.folder)
    found = current_set(job)
    path = job.results / "pieces.json"
    if found is None or path not in found.paths():
        raise InputError(f"{job.folder} has no pieces written from the job as it is now; measure it first.")
    pieces = json.loads(path.read_text(encoding="utf-8"))
    measurement = measure_job(slab_job, progress)
    slab = measured_slab(measurement, wish)
    by_hand = {p.piece: (p.at, p.turn_deg) for p in wish.places}
    groups = groups_of(pieces, wish.kerf, wish.match_seams)
    layout = lay_out(groups, slab.outline, wish.margin, wish.kerf, slab.faults, wish.grain, by_hand)
    corners = np.column_stack([np.array(slab.outline.exterior.coords), np.ones(len(slab.outline.exterior.coords))])
    work = (corners @ slab.work_from_slab.T)[:, :2]
    bounds = (*(float(v) for v in work.min(axis=0)), *(float(v) for v in work.max(axis=0)))
    photos = {p.photo_id: p for p in measurement.photos}
    view = rectify(measurement.network, measurement.work_plane, lambda p: read_rgb(photos[p]), bounds, SLAB_PX_PER_MM)  # type: ignore[arg-type]
    target = folder or slab_job.results
    target.mkdir(parents=True, exist_ok=True)
    return layout, slab, write_slab(layout, slab, view, pieces, wish.kerf, job.file.units, target)


@dataclass(frozen=True)
class WallQuestion:
    """What is asked about one wall of a job."""

    edge_id: str | None = None
    """None: the only wall"""
    against: str = "straight"
    """``straight``, ``square:EDGE``, a DXF, or the folder or ``result.json`` of an earlier job"""
    freedom: Freedom = "turn"
    limit_mm: float = USUAL_GAP_MM
    stretch_mm: tuple[float, float] | None = None
    """Judged from here to there, distances from the corner; None: all of it"""
    corner: End | None = None
    sheets: tuple[str, ...] = ()
    """Contact sheets against the wall, for a job without edges"""
    layer: str | None = None
    unit: str | None = None
    other_edge: str | None = None
    """The wall's name in the earlier job, where it differs"""
    lean_strips: tuple[str, ...] = ()
    """Strips to take the lean from; empty: all near the wall"""


@dataclass(frozen=True)
class WallAnswer:
    """The check, and the files that tell of it."""

    check: WallCheck
    lean: Lean | None
    measurement: Measurement
    written: Mapping[str, Path]


def check_wall_of(job: Job, asked: WallQuestion, progress: Progress = quiet) -> WallAnswer:
    """Measure a job and check one of its walls; page, DXF and table go into ``results/``.

    Raises ``InputError`` for words that cannot be used and for a job without a known length, ``MeasureError`` where the photos
    or the comparison do not allow an answer, ``OutputError`` where a file cannot be written.
    """
    square_to = asked.against.removeprefix("square:") if asked.against.startswith("square:") else None
    other = None if asked.against == "straight" or square_to is not None else Path(asked.against)
    if other is not None and not other.exists():
        raise InputError(
            f"There is nothing called {asked.against} to compare with; say straight, square:EDGE, a DXF or an earlier job."
        )
    measurement, as_filed = measure_wall(job, asked.edge_id, asked.sheets, progress)
    if measurement.outline.unscaled:
        raise InputError(f"No length is known in {job.name}, so no gap has a size; add a [[lengths]] table to job.toml.")
    edge_id, reference = asked.edge_id, None
    if other is not None:
        edge_id = choose_wall(measurement.outline, asked.edge_id)
        reference = read_reference(other, asked.other_edge or edge_id, asked.unit, asked.layer)
    check = _checked(measurement, edge_id, job.name, square_to, reference, asked)
    leaning = lean(measurement, check.wall.edge_id, asked.lean_strips)
    written = write_wall_check(check, job.results, job.file.units, leaning, measurement.findings)
    if as_filed and current_set(job) is None:
        written |= write_results(job, measurement, Wanted(("result",)), progress=progress).written
    return WallAnswer(check, leaning, measurement, written)


def _checked(
    m: Measurement, edge_id: str | None, name: str, square_to: str | None, reference: Reference | None, asked: WallQuestion
) -> WallCheck:
    return check_wall(
        m.outline, edge_id, job=name, heights=m.work_plane.heights, square_to=square_to, reference=reference,
        freedom=asked.freedom, limit_mm=asked.limit_mm, stretch_mm=asked.stretch_mm, corner=asked.corner, measurement=m,
    )  # fmt: skip


def measure_wall(
    job: Job, edge_id: str | None = None, sheets: tuple[str, ...] = (), progress: Progress = quiet
) -> tuple[Measurement, bool]:
    """Measure, and whether what was measured is what the job file says.

    A job without edges gets one wall from the strips or butted sheets that its photos show. A wall that the job file claims
    to be a straight line is measured as a profile, or its straightness could not be asked for.
    """
    if job.file.edges:
        walls = {e.id for e in job.file.edges if e.id == edge_id or (edge_id is None and e.kind in ("wall", "panel"))}
        lines = {e.id for e in job.file.edges if e.id in walls and e.shape == "line"}
        if not lines or len(walls) > 1:
            return measure_job(job, progress), True
        edges = [e.model_copy(update={"shape": "profile"}) if e.id in lines else e for e in job.file.edges]
        return measure_job(_with_edges(job, edges), progress), False
    memo = Memo()
    measurement = measure_job(job, progress, memo)
    if sheets:
        edges = [EdgeSpec(id="wall", kind="wall", source="contact", shape="profile", targets=list(sheets))]
    else:
        strips = walls_of_strips(measurement.network, measurement.work_plane)
        if not strips:
            raise InputError(
                f"{job.name} names no edge, and its photos show no wall strip; tape strips along the wall, or name sheets that "
                "are butted against it with --sheets."
            )
        edges = [EdgeSpec(id=i, kind="wall", source="strip", shape="profile", targets=list(s)) for i, s in strips.items()]
    found = measure_job(_with_edges(job, edges), progress, memo)
    if not found.outline.segments:
        asked = {e.id for e in edges}
        why = [say(f, job.file.units).message for f in found.findings if FINDINGS[f.code].lost and f.where in asked]
        raise MeasureError(" ".join(why) or f"No wall could be measured in {job.name}; show its strips in more photos.")
    return found, True


def _with_edges(job: Job, edges: list[EdgeSpec]) -> Job:
    return replace(job, file=job.file.model_copy(update={"edges": edges}))


def self_check_of(job: Job, straight_mm: float = STRAIGHT_EDGE_MM, progress: Progress = quiet) -> SelfCheck:
    """Measure a job of a straight edge on a table, whole and in two halves of its photos, and compare.

    Raises ``InputError`` for a job without a known length, ``MeasureError`` where the photos do not allow an answer.
    """
    job = replace(job, file=job.file.model_copy(update={"edges": [], "loops": []}))
    measurement = measure_job(job, progress)
    network = measurement.network
    if not network.scale_known:
        raise InputError(f"No length is known in {job.name}; add a [[lengths]] table to job.toml.")
    strips = walls_of_strips(network, measurement.work_plane)
    check = None
    if strips:
        longest = max(strips, key=lambda name: len(strips[name]))
        edges = [EdgeSpec(id="straight edge", kind="wall", source="strip", shape="profile", targets=list(strips[longest]))]
        found = measure_job(_with_edges(job, edges), progress)
        check = _checked(found, "straight edge", job.name, None, None, WallQuestion()) if found.outline.segments else None
    names = sorted(p.path.name for p in measurement.photos if p.photo_id in network.photos)
    halves = []
    for rest in (names[1::2], names[::2]):
        part = job.file.model_copy(update={"leave_out": [*job.file.leave_out, *rest]})
        with suppress(MeasureError):
            halves.append(measure_job(replace(job, file=part), progress).network)
    return self_check(job.name, network, halves, check, straight_mm)


@dataclass(frozen=True)
class EstimateWishes:
    """How a kitchen is priced."""

    prices: Path | None = None
    """A price list (TOML); None: no price"""
    choice: Choice = field(default_factory=Choice)
    slab: str | None = None
    """Size in words; None: as the job's material says"""
    kerf_mm: float = 4.0
    turn: bool = False
    """Pieces may be turned on the slab, against its pattern"""
    paper: str = "Letter"


def estimate_of(job: Job, wishes: EstimateWishes) -> tuple[Estimate, Mapping[str, Path]]:
    """Estimate a job, and the files that say so.

    Raises ``InputError`` for wishes that cannot be met and a job that shows no outline yet, ``MeasureError`` where nothing
    fixes the scale, ``OutputError`` where a file cannot be written.
    """
    prices = None if wishes.prices is None else read_price_list(wishes.prices)
    known = known_so_far(job)
    material = known.spec.shop.material
    own = wishes.slab is not None or wishes.turn or wishes.kerf_mm != SlabSpec().kerf_mm
    slab = slab_from_words(wishes.slab, material, wishes.kerf_mm, wishes.turn) if own else None
    file = read_quote_file(job.folder / QUOTE_FILE)
    options = tuple(
        (title, estimate(
            known.outline, known.spec, job=known.name, heights=known.heights, prices=prices, choice=choice, slab=slab,
            landmarks=known.landmarks, printed=known.printed, caution=known.caution, assumed=known.assumed,
        ))
        for title, choice in file.choices(wishes.choice)
    )  # fmt: skip
    quote = Quote(Shop() if prices is None else prices.shop, file, options, date.today())
    return quote.first, write_quote(quote, job.results, job.file.units, wishes.paper)


@dataclass(frozen=True)
class KnownSoFar:
    """What an estimate begins with."""

    name: str
    outline: Outline
    spec: TemplateSpec
    heights: tuple[HeightPoint, ...]
    landmarks: Mapping[tuple[str, str], Sequence[str]]
    """The corner where two edges meet -> what a customer would find it by"""
    printed: bool = False
    """Printed sheets lie in the photos"""
    caution: str = ""
    """Why the ranges are wider than they need be"""
    assumed: tuple[tuple[str, str], ...] = ()
    """(what, value) of what nobody measured"""
    plan: ClickedPlan | None = None
    """Where the sizes come from, where they come from clicks"""


def known_so_far(job: Job) -> KnownSoFar:
    """From clicks where the job has an ``estimate.toml``, else from the sheets in its photos."""
    path = job.folder / ESTIMATE_FILE
    if path.is_file():
        photos, _ = read_photos(job)
        return known_of_clicks(job.name, read_estimate_file(path), photos, PhotoStore(photos))
    if not job.file.edges or not job.file.loops:
        raise InputError(
            f"{job.name} names no edges: mark them in the app (phototemplate app {job.folder}), or write {path.name} with the "
            "corners clicked in the photos."
        )
    measurement = measure_job(job)
    shown = {e.id: f"see photo {e.photo}" for e in job.file.edges if e.photo is not None}
    corners = [(loop.edge_ids[k - 1], name) for loop in measurement.outline.loops for k, name in enumerate(loop.edge_ids)]
    return KnownSoFar(
        job.name, measurement.outline, job.file.template_spec(), measurement.work_plane.heights,
        {(a, b): shown.get(a) or shown.get(b) or "" for a, b in corners}, printed=True,
    )  # fmt: skip


def known_of_clicks(
    name: str, file: EstimateFile, photos: Sequence[PhotoMeta], store: PhotoStore, near: ClickedPlan | None = None
) -> KnownSoFar:
    """What the clicks in a customer's photos say; ``near``: what they said before one of them was moved.

    Raises ``InputError`` for clicks that cannot be used, ``MeasureError`` where nothing fixes the scale or the clicks
    contradict each other.
    """
    clicked = file.clicked({p.photo_id: p for p in photos}, store.gray)
    if not any(p.points for p in clicked):
        raise MeasureError(f"No corner of a top is marked in the photos of {name}; press them in the app (phototemplate app).")
    profiles, _ = match_profiles(photos, load_profiles())
    plan = fit_doubted(clicked, file.tape_lengths(), file.loops(), file.doubts(), profiles, near)
    told = all(c.straight or c.meta.focal35_mm or c.meta.camera_id in profiles for c in clicked)
    return KnownSoFar(
        file.name or name, clicked_outline(plan, file.loops()), file.template_spec(), (), file.landmarks(),
        caution="" if told else LENS_UNKNOWN, assumed=file.assumed(), plan=plan,
    )  # fmt: skip


def propose_of(job: Job, paper: str, progress: Progress = quiet) -> str:
    """Where nobody has clicked in a job's photos and it names no edges, find known things and corners in them and keep them in
    ``estimate.toml``; what was found, in a sentence, empty where nothing was looked for.

    Raises ``MeasureError`` where no photo can be read, ``OutputError``.
    """
    path = job.folder / ESTIMATE_FILE
    if path.is_file() or job.file.edges:
        return ""
    photos, _ = read_photos(job)
    file = propose_clicks(photos, paper, progress)
    write_estimate_file(path, file)
    things, corners = sum(len(p.known) for p in file.photos), sum(len(p.points) for p in file.photos)
    return (
        f"Found {things} things of known size and {corners} corners in {len(photos)} photos; look at them in the app "
        f"(phototemplate app {job.folder}) before a price is sent."
    )


def message_of(job: Job, paper: str) -> tuple[str, Mapping[str, Path]]:
    """What to write back to the customer, from the photos and clicks so far: the text, and the files (text, picture page)."""
    path = job.folder / ESTIMATE_FILE
    file = read_estimate_file(path) if path.is_file() else EstimateFile(photos=[])
    asked, question, trouble, photos = read_quote_file(job.folder / QUOTE_FILE), "", "", 0
    try:
        photos = len(read_photos(job)[0])
        known = known_so_far(job)
        made = estimate(known.outline, known.spec, landmarks=known.landmarks, printed=known.printed)
        question = "" if made.ask is None else made.ask.sentence
    except PhototemplateError as exc:
        trouble = str(exc)
    listed = price_lists(job.folder)
    shop = read_price_list(listed[asked.prices]).shop if asked.prices in listed else Shop()
    need = wanted(file, photos, question, trouble)
    names = paper, asked.customer.name, shop.name
    return message_text(need, *names), write_message(need, job.results, *names)


def measure_folder(job_dir: Path) -> dict[str, Any]:
    """Measure one job folder and write its results; a few plain values of it, for the table of a batch."""
    measurement = measure_and_write(load_job(job_dir)).whole().measurement
    edges = measurement.outline.edges
    return {
        "edges": len(edges),
        "largest_U_mm": round(max((u for e in edges for u in e.offset_U_mm), default=0.0), 3),
        "findings": sum(f.severity != "note" for f in measurement.findings),
        "seconds_by_stage": {k: round(v, 2) for k, v in measurement.seconds.items()},
    }
