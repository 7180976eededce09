"""Pages that answer one question each, as the command line's studies do: sheets to print, a photo plan, a wall, an estimate."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.constants import ESTIMATE_FILE
from phototemplate.job import load_job
from phototemplate.progress import Progress
from phototemplate.studies.pricing import Price
from phototemplate.units import LengthUnit
from phototemplate.web.constants import SHOWN_POINTS
from phototemplate.web.refusals import Refused
from phototemplate.web.worker_tasks.result_view import plain_json
from phototemplate.web.worker_tasks.spoken import finding_part, finding_parts, in_all
from phototemplate.wording import phrase

CALIBRATION = "calibration"
"""Folder of the photos of a board"""


def make_sheets(
    memory: Any, tell: Progress, folder: str, paper: str = "Letter", what: list[str] | None = None, print_scale: float = 1.0
) -> dict[str, Any]:
    """Targets to print, as one PDF. Raises ``InputError`` for a paper or a kind that does not exist."""
    from phototemplate.capture.sheets import write_sheets

    del memory, tell
    written = write_sheets(Path(folder) / "sheets.pdf", what or "set", paper, print_scale)
    return {"files": {"sheets": str(written.path)}, "pages": len(written.pages), "targets": len(written.target_ids)}


def make_plan(
    memory: Any, tell: Progress, folder: str, runs: list[float], depth: float = 609.6, sheets: int = 0, want: float = 25.4 / 16,
    bar: float | None = None, paper: str = "Letter",
) -> dict[str, Any]:
    """How many photos from where reach a wanted uncertainty, with the page to print. Lengths in mm."""
    from phototemplate.studies.plan import Sketch, instructions, plan, run_frames, write_plan

    del memory
    tell("plan", 0.0)
    made, tried = plan(Sketch(tuple(runs), depth, sheets, bar), want)
    path = write_plan(made, tried, want, Path(folder) / "photo-plan.pdf", paper)
    answer: dict[str, Any] = plain_json({
        "runs": [[start, start + along * length, start + along * length + into * depth, start + into * depth]
                 for (start, along, into), length in zip(run_frames(made.sketch), runs, strict=True)],
        "sheets": made.sheets_mm, "worst_U": made.worst_U_mm, "run_U": list(made.run_U_mm), "trouble": made.trouble,
        "stand": [{"eye": s.eye_mm, "aim": s.aim_mm, "upright": s.upright} for s in made.standpoints],
        "tried": [[len(p.standpoints), p.worst_U_mm] for p in tried], "instructions": instructions(made, want),
    })  # fmt: skip
    return {"files": {"photo-plan": str(path)}, **answer}


def make_calibration(memory: Any, tell: Progress, folder: str, keep: bool = False, name: str = "") -> dict[str, Any]:
    """Calibrate from the photos that were sent: verdict, where in the picture the board was seen, what photo is missing.

    ``keep`` puts the profile among the user's own, where later jobs find it. Raises as ``calibrate_photos`` does.
    """
    from phototemplate.calibration import calibrate_photos, save_camera

    del memory
    cameras = calibrate_photos([Path(folder) / CALIBRATION], name=name, progress=tell)
    files: dict[str, str] = {}
    shown = []
    for k, camera in enumerate(cameras):
        written = save_camera(camera, None if keep else Path(folder))
        number = f"-{k + 1}" if k else ""
        files |= {f"camera-{what}{number}": str(path) for what, path in written.items()}
        done = camera.calibration
        shown.append({
            "name": camera.profile.name, "good": camera.good, "verdict": finding_part(camera.verdict),
            "photos": len(done.photos),
            "left_out": [p.photo_id for p in done.photos if p.left_out],
            "seen": done.counts.tolist(), "advice": [finding_part(a.what) for a in done.advice[:3]],
            "findings": finding_parts(camera.findings),
        })
    return {"files": files, "cameras": shown, "kept": keep}


def make_wall_check(
    memory: Any, tell: Progress, job_folder: str, edge: str | None = None, against: str = "straight", gap: float = 25.4 / 8,
    corner: str | None = None,
) -> dict[str, Any]:
    """One wall against a straight line or a right angle: its curve, the gaps, the verdict. Lengths in mm.

    Raises ``Refused`` for another comparison, which would name a file, and as ``check_wall_of`` does.
    """
    from phototemplate.job_studies import WallQuestion, check_wall_of
    from phototemplate.studies.wall_pages import figure_words

    if against != "straight" and not against.startswith("square:"):
        raise Refused("only-straight")
    asked = WallQuestion(edge_id=edge, against=against, limit_mm=gap, corner=corner)  # type: ignore[arg-type]
    job = load_job(Path(job_folder))
    answer = check_wall_of(job, asked, tell)
    check, lean = answer.check, answer.lean
    step = max(1, len(check.gap_mm) // SHOWN_POINTS)
    back = np.linalg.inv(answer.measurement.outline.plan_from_work)
    unit: LengthUnit = "fraction" if job.file.units == "in" else "mm"
    facts: dict[str, Any] = plain_json({
        "edge": check.wall.edge_id, "against": check.against, "verdict": check.decision.verdict,
        "largest": [check.largest_gap.value, check.largest_gap.U], "begin": "corner" if check.wall.corner_known else "seen",
        "limit": check.limit_mm, "x": check.wall.distance_mm[::step],
        "gap": check.gap_mm[::step], "gap_U": 2 * check.gap_u_mm[::step], "bow": check.deviation_mm[::step],
        "bow_U": 2 * check.deviation_u_mm[::step], "within": check.within[::step].tolist(),
        "seen": check.wall.seen[::step].tolist(), "scribe": check.scribe_mm[::step],
        "xy": check.wall.points()[::step] @ back[:2, :2].T + back[:2, 2],
        "figures": [[f.name, *figure_words(f)[:2]] for f in (check.largest_gap, *check.figures)],
        "largest_at": list(check.largest_at_mm), "touches_at": list(check.touches_at_mm),
        "lean": None if lean is None else {"by": lean.mm_per_m, "U": lean.U_mm_per_m, "heights": list(lean.heights_mm)},
        "help": in_all(lambda code: {"text": check.remedy if code == "en" else phrase("wall-help", language=code)}),
        "findings": finding_parts(answer.measurement.findings, unit),
    })
    return {"files": _texts(answer.written), **facts}


def make_estimate(
    memory: Any, tell: Progress, job_folder: str, prices: str = "", kerf: float = 4.0, turn: bool = False, paper: str = "Letter"
) -> dict[str, Any]:
    """Area, edges, slabs, weight and price of a job, each with its range; ``prices`` names a price list beside the job. What is
    offered to whom is what ``quote.toml`` says."""
    from phototemplate.job_studies import EstimateWishes, estimate_of
    from phototemplate.studies.price_list import price_lists
    from phototemplate.studies.quote import ask_effect, summary_rows

    del memory
    job = load_job(Path(job_folder))
    tell("estimate", 0.0)
    listed = price_lists(job.folder)
    if prices and prices not in listed:
        raise Refused("no-price-list", name=prices)
    made, written = estimate_of(job, EstimateWishes(listed.get(prices), kerf_mm=kerf, turn=turn, paper=paper))
    return {
        "files": _texts(written), "rows": [list(row) for row in summary_rows(made)],
        "price": price_part(made.price),
        "ask": "" if made.ask is None else f"{made.ask.sentence} {ask_effect(made)}",
    }


def price_part(price: Price | None) -> dict[str, Any] | None:
    """A price with its range and what that comes from, largest first; None without a price list."""
    if price is None:
        return None
    return {
        "currency": price.currency, "likely": price.likely, "low": price.low, "high": price.high,
        "minimum": price.minimum_applies, "drivers": [list(driver) for driver in price.drivers[:3]],
    }


def estimate_choices(memory: Any, tell: Progress, job_folder: str) -> dict[str, Any]:
    """What can be chosen for an estimate: price lists with what each of them names, and what was chosen so far."""
    from phototemplate.studies.price_list import price_lists, read_price_list
    from phototemplate.studies.quote_file import QUOTE_FILE, read_quote_file

    del memory, tell
    folder = Path(job_folder)
    lists = []
    for name, path in price_lists(folder).items():
        one = read_price_list(path)
        far = one.delivery is not None and one.delivery.per_distance > 0
        lists.append({
            "name": name, "finishes": sorted(one.edge), "stones": list(one.stones),
            "distance": one.distance_unit if far else "", "removal": one.removal is not None, "shop": one.shop.name,
        })
    quote = read_quote_file(folder / QUOTE_FILE).model_dump(mode="json", exclude_defaults=True, exclude_none=True)
    return {"lists": lists, "quote": quote, "clicked": (folder / ESTIMATE_FILE).is_file()}


def make_prices(memory: Any, tell: Progress, job_folder: str) -> dict[str, Any]:
    """A commented price list beside the jobs, to be changed."""
    from phototemplate.studies.price_list import new_price_list

    del memory, tell
    path = new_price_list(Path(job_folder).resolve().parent / "prices.toml")
    return {"files": {"prices": str(path)}}


def _texts(files: Mapping[str, Path]) -> dict[str, str]:
    return {name: str(path) for name, path in files.items()}
