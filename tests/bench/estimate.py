"""Estimates from customers' photos: area, range, refusals.

``A4`` and ``card``: pictures of 3 MP drawn ray by ray (``_customers``), three kinds of lens, three photos, no calibration,
clicks off by 2.4 px (1 sigma), EXIF off by 3 %, sheets and cards by their tolerance; the known thing is found in pixels.
``seen A4`` and ``seen card``: the same with nobody clicking, every third one an L: known things, corners and their places in
the other photos are what the program finds; what it cannot see it leaves to a person, and then nothing is counted but that.
``sheets``: printed sheets at the level of sightings, four to seven photos, no bar and no tape, only the ruler printed on one
sheet (144 mm read to 0.3 mm). ``prints``: the same without any length, the scale that of the prints, 98 to 102 %. ``nothing``:
no known size at all. ``clicks``: clicked corners and an A4 sheet or a print of 90 mm from wide cameras and phones, with and
without EXIF and lines clicked as straight; priors may be tried on the first five cameras, published calibrations judge.
"""

from __future__ import annotations

import os
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import product
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.errors import PhototemplateError
from tests.bench import BenchResult
from tests.bench._clicked_cameras import CAMERAS, JUDGES, clicked_lengths

FIRST = 900
"""First seed of the pictures; moved on when something was chosen on the old ones"""
USEFUL = 0.10
"""ratio. U of a length that still tells one price from another"""
LIMITS = {"sheets": 2.0, "prints": 4.0, "A4": 5.0, "card": 5.0, "seen A4": 5.0, "seen card": 6.0}


def run(quick: bool) -> BenchResult:
    """See the module's docstring."""
    began = time.perf_counter()
    count = {"A4": 6 if quick else 36, "card": 6 if quick else 36, "sheets": 3 if quick else 24, "prints": 3 if quick else 24,
             "nothing": 2, "seen A4": 3 if quick else 18, "seen card": 3 if quick else 18}
    tasks = [(kind, seed) for kind, n in count.items() for seed in range(FIRST, FIRST + n)]
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with ProcessPoolExecutor(os.cpu_count() or 1, mp_context=get_context("spawn")) as pool:
        outcomes = list(pool.map(_one, tasks))
    result = BenchResult(f"Estimates from customers' photos, {len(tasks)} jobs in {time.perf_counter() - began:.0f} s")
    for kind, limit in LIMITS.items():
        _rows(result, kind, [o for o in outcomes if o["kind"] == kind], limit)
    _cameras(result, 8 if quick else 24)
    nothing = [o for o in outcomes if o["kind"] == "nothing"]
    clean = all("Nothing fixes the scale" in o.get("refused", "") for o in nothing)
    result.target("clean refusal without a known size", "all", f"{len(nothing)} of {len(nothing)}" if clean else "no", clean)
    return result


def _cameras(result: BenchResult, count: int) -> None:
    """Lengths between clicked corners, by camera and number of photos, with and without straight lines clicked."""
    cases = [(c, n, False, False) for c, n in product((*CAMERAS, *JUDGES), (1, 3))]
    cases += [(c, 1, True, False) for c in JUDGES] + [(c, n, False, True) for c, n in product(JUDGES, (1, 3))]
    for camera, photos, straight, closed in cases:
        both = [clicked_lengths(camera, seed, photos, straight, closed) for seed in range(count)]
        errors, U = (np.concatenate(part) for part in zip(*both, strict=True))
        inside = float(np.mean(np.abs(errors) <= U))
        found = f"{100 * inside:.0f} %, U {100 * np.median(U):.1f} % (median), worst {100 * np.abs(errors).max():.1f} %"
        how = f"{photos} photo{'s' * (photos > 1)}{', lines' * straight}{', closed run' * closed}"
        if not len(errors):
            result.rows.append({"kind": f"clicks, {camera}, {how}", "jobs": 0, "refused": "no photo shows all corners"})
            continue
        result.target(f"clicks, {camera}, {how}: lengths inside", ">= 90 %", found, inside >= 0.9)
        if closed:
            result.target(f"clicks, {camera}, {how}: of use for a price", "U <= 10 % (median)", f"{100 * np.median(U):.1f} %",
                          bool(np.median(U) <= USEFUL))


def _one(task: tuple[str, int]) -> dict[str, Any]:
    kind, seed = task
    try:
        if kind in ("sheets", "prints"):
            value, u, true = _sheets(seed, kind == "prints")
        else:
            value, u, true = _seen(kind.removeprefix("seen "), seed) if kind.startswith("seen") else _clicked(kind, seed)
        return {"kind": kind, "seed": seed, "error": value / true - 1.0, "u": u / true}
    except PhototemplateError as error:
        return {"kind": kind, "seed": seed, "refused": str(error)}


def _clicked(kind: str, seed: int) -> tuple[float, float, float]:
    from phototemplate.job import load_job
    from phototemplate.job_studies import known_so_far
    from phototemplate.template.quantities import area
    from tests.bench._customers import customer

    with tempfile.TemporaryDirectory() as folder:
        made = customer(seed, Path(folder), "" if kind == "nothing" else kind)
        outline = known_so_far(load_job(made.folder)).outline
        found = area(outline, "run")
        return found.value, found.u, made.area_mm2


def _seen(kind: str, seed: int) -> tuple[float, float, float]:
    """Nobody clicks; what the program proposes is taken as it is. Raises ``MeasureError`` where it proposes no top."""
    from phototemplate.capture.photos import read_meta
    from phototemplate.capture.store import PhotoStore
    from phototemplate.errors import MeasureError
    from phototemplate.job_studies import known_of_clicks
    from phototemplate.studies.customer.proposal import propose_clicks
    from phototemplate.template.quantities import area
    from tests.bench._customers import customer

    with tempfile.TemporaryDirectory() as folder:
        made = customer(seed, Path(folder), kind, leg=1500.0 if seed % 3 == 0 else 0.0)
        photos = [read_meta(p) for p in sorted((Path(folder) / "photos").glob("*.jpg"))]
        store = PhotoStore(photos)
        file = propose_clicks(photos, "A4", store=store)
        if not file.runs:
            raise MeasureError("no top proposed")
        found = area(known_of_clicks("job", file, photos, store).outline, "top")
        return found.value, found.u, made.area_mm2


def _sheets(seed: int, prints_only: bool) -> tuple[float, float, float]:
    from phototemplate.network.adjustment.adjust import adjust
    from phototemplate.network.adjustment.known_lengths import LengthEnd, Tape
    from phototemplate.studies.estimate import estimate
    from phototemplate.template.quantities import area
    from phototemplate.template.spec import ShopSpec, TemplateSpec
    from tests.bench._jobs import random_job
    from tests.bench.coverage import _product, _true_corner

    job = random_job(seed)
    rng = np.random.default_rng([94, seed])
    name = min(t for t in job.targets if t.startswith("S"))
    body = job.truth.bodies[name]  # type: ignore[attr-defined]
    ruler = Tape("ruler", LengthEnd(name, 5), LengthEnd(name, 9), 144.0 * body.scale_xy[0] + rng.normal(0, 0.3), 0.3)
    keep = [p for i, p in enumerate(job.photos) if i % 2 == 0]
    lengths = [] if prints_only else [ruler]
    network = adjust({p.photo_id: job.sightings[p.photo_id] for p in keep}, keep, job.targets, lengths)
    _, _, outline = _product(job, network)
    pairs = (("front", "left"), ("front", "right"), ("back", "right"), ("back", "left"))
    points = [np.array(_true_corner(job, a, b)) for a, b in pairs]
    x = np.linspace(points[3][0], points[2][0], 4000)
    ring = np.vstack([points[0], points[1], points[2], job.walls["back"](x)[::-1], points[3]])
    true = 0.5 * abs(float(ring[:, 0] @ np.roll(ring[:, 1], -1) - ring[:, 1] @ np.roll(ring[:, 0], -1)))
    if prints_only:
        shop = ShopSpec(overhang=0.0, end_overhang=0.0, wall_clearance=0.0, panel_clearance=0.0, appliance_clearance=0.0)
        made = estimate(replace(outline, unscaled=True), TemplateSpec(shop=shop), printed=True)
        return made.area.value, made.area.u, true
    found = area(outline, outline.loops[0].loop_id)
    return found.value, found.u, true


def _rows(result: BenchResult, kind: str, outcomes: list[dict[str, Any]], limit: float) -> None:
    done = [o for o in outcomes if "error" in o]
    refused = [f"{o['seed']}: {o['refused']}" for o in outcomes if "refused" in o]
    if not done:
        result.target(f"{kind}: refused", "0", "; ".join(refused), False)
        return
    error, u = np.array([o["error"] for o in done]), np.array([o["u"] for o in done])
    inside = float(np.mean(np.abs(error) <= 2 * u))
    result.rows.append(
        {
            "kind": kind, "jobs": len(done), "rms error %": round(100 * float(np.sqrt(np.mean(error**2))), 2),
            "p95 error %": round(100 * float(np.quantile(np.abs(error), 0.95)), 2),
            "largest %": round(100 * float(np.abs(error).max()), 2), "mean U %": round(200 * float(u.mean()), 2),
            "within U %": round(100 * inside, 1), "z rms": round(float(np.sqrt(np.mean((error / u) ** 2))), 2),
            "refused": len(refused),
        }
    )  # fmt: skip
    close = float(np.mean(np.abs(error) <= limit / 100))
    result.target(f"{kind}: area within {limit:g} %", ">= 95 % of jobs", f"{100 * close:.0f} %", close >= 0.95)
    slack = 2 * float(np.sqrt(0.95 * 0.05 / len(done)))
    result.target(f"{kind}: range holds", "95 +- 4 %", f"{100 * inside:.1f} %", abs(inside - 0.95) <= 0.04 + slack)
    result.target(f"{kind}: refused", "0", "; ".join(refused[:2]) or "0", not refused)
