"""Rendered kitchens by many phones, measured from their pictures on: the image-level part of ``phones``.

The pictures lie outside the repository, in the folder that ``PHOTOTEMPLATE_RENDERED_SETS`` names, as
``FAMILY/FAMILY-SEED-PHONE`` with ``photos/``, ``job.toml`` and ``truth.json``. From the top of the checkout, with a GPU or
overnight::

    python -m demo_images.render levels:1 SETS/levels/levels-1-sensor10 --phone sensor10 --spp 48

Families and phones are those of ``demo_images/render``. Errors are those of the demo's comparison (edges, corner distances,
sheet heights). An edge traced along another line than the true one is no fault of a phone: what is compared with it is left
out of the shares and counted beside them.
"""

from __future__ import annotations

import json
import os
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from demo_images.render.families import VERIFY
from phototemplate.demo import compare
from phototemplate.errors import PhototemplateError
from phototemplate.job import load_job
from phototemplate.pipeline import measure
from tests.bench import BenchResult
from tests.bench.image_level import edge_choices

FOLDER = "PHOTOTEMPLATE_RENDERED_SETS"
RENDER = "python -m demo_images.render FAMILY:SEED $SETS/FAMILY/FAMILY-SEED-PHONE --phone PHONE --spp 48"
INSIDE, STRAIGHT_MM, VARIANCE = (0.93, 0.975), 0.6, (0.7, 1.3)
STRAIGHT_SHARE = 0.95
BLAMES = ("sheet-moved", "sheet-print-scale", "sheet-curled", "target-elsewhere", "batch-print-scale", "strip-elsewhere")


@dataclass(frozen=True)
class Outcome:
    """One set of pictures, measured."""

    kitchen: str
    phone: str
    judges: bool
    """Of a family on which nothing was chosen"""
    z: tuple[float, ...]
    """Errors over their standard uncertainties, but for those of a wrong line"""
    straight_mm: tuple[float, ...]
    """Largest error of each straight edge on the right line"""
    wrong: tuple[str, ...]
    silent: tuple[str, ...]
    """Edges on a wrong line; those of them of which nothing was said"""
    sigma0: float
    withheld: bool
    blamed: tuple[str, ...]
    refused: str = ""


def sets(folder: Path) -> list[Path]:
    """Every set of pictures that is complete, in the order of their names."""
    return sorted(p.parent for p in folder.glob("*/*-*-*/truth.json") if any((p.parent / "photos").glob("*.jpg")))


def measured(folder: Path) -> Outcome:
    """One set through the whole program; what it refuses is an outcome too."""
    family, seed, phone = folder.name.split("-", 2)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    about: dict[str, Any] = {"kitchen": f"{family} {seed}", "phone": phone, "judges": family in VERIFY}
    try:
        measurement = measure(load_job(folder))
        rows, _ = compare(measurement, truth)
    except PhototemplateError as error:
        return Outcome(**about, z=(), straight_mm=(), wrong=(), silent=(), sigma0=np.nan, withheld=False, blamed=(),
                       refused=f"{type(error).__name__}: {error}")  # fmt: skip
    choices = edge_choices(measurement, truth)
    wrong = tuple(name for name, c in choices.items() if not c["right"])
    sound = [r for r in rows if not _touches(r["edge"], wrong)]
    network = measurement.network
    return Outcome(
        **about,
        z=tuple(2 * r["error_mm"] / r["U_mm"] for r in sound),
        straight_mm=tuple(abs(r["error_mm"]) for r in sound if r["edge"] in choices and r["shape"] == "line"),
        wrong=wrong,
        silent=tuple(name for name in wrong if not choices[name]["said"]),
        sigma0=network.sigma0,
        withheld=network.quality.withheld,
        blamed=tuple(f.where for f in network.findings if f.code in BLAMES),
    )


def _touches(name: str, edges: tuple[str, ...]) -> bool:
    """Whether a row of the comparison (an edge, or a distance between corners ``a/b - c/d``) involves one of the edges."""
    return bool(set(name.replace(" - ", "/").split("/")) & set(edges))


def add(result: BenchResult, *, quick: bool) -> None:
    """Rows and targets of every phone of which there are pictures; ``quick``, or none at hand: a row that says so."""
    named = os.environ.get(FOLDER)
    if quick or not named:
        result.rows.append({"phone": "pictures: not measured (--quick)" if named else f"pictures: {FOLDER} names no folder"})
        result.rows.append({"phone": f"to make some: {RENDER}"})
        return
    by_phone: dict[str, list[Outcome]] = defaultdict(list)
    for folder in sets(Path(named)):
        outcome = measured(folder)
        by_phone[outcome.phone].append(outcome)
    report(result, by_phone)


def report(result: BenchResult, by_phone: dict[str, list[Outcome]]) -> None:
    """One row for each phone, families that judge apart; targets over all phones together."""
    for phone, outcomes in sorted(by_phone.items()):
        for judges in (False, True):
            some = [o for o in outcomes if o.judges == judges]
            if some:
                result.rows.append(_row(f"pictures: {phone}{' *' if judges else ''}", some))
    every = [o for outcomes in by_phone.values() for o in outcomes]
    stated = [o for o in every if not o.withheld and not o.refused]
    for o in every:
        if o.refused or o.wrong:
            result.rows.append({"phone": f"{o.kitchen} by {o.phone}: {o.refused or 'wrong line: ' + ', '.join(o.wrong)}"})
    if not stated:
        result.target("pictures: sets measured", ">= 1", 0, False)
        return
    for name, some in (("develop", [o for o in stated if not o.judges]), ("verify", [o for o in stated if o.judges])):
        if not some:
            continue
        z = np.concatenate([o.z for o in some])
        inside, variance = float(np.mean(np.abs(z) <= 2)), float(np.mean(z**2))
        straight = float(np.quantile(np.concatenate([o.straight_mm for o in some]), STRAIGHT_SHARE))
        result.target(f"pictures, {name}: inside U", "93 to 97.5 %", f"{inside:.1%}", INSIDE[0] <= inside <= INSIDE[1])
        result.target(f"pictures, {name}: variance", "0.7 to 1.3", variance, VARIANCE[0] <= variance <= VARIANCE[1])
        result.target(f"pictures, {name}: 95 % of straight edges", "<= 0.6 mm", straight, straight <= STRAIGHT_MM)
    blamed = sum(bool(o.blamed) for o in every)
    share = f"in {blamed} of {len(every)} jobs"
    result.target("pictures: sheets wrongly blamed", "none in 100 jobs", share, blamed * 100 <= len(every))
    silent = sum(len(o.silent) for o in every)
    result.target("pictures: wrong lines without a word", "0", silent, silent == 0)


def _row(name: str, outcomes: list[Outcome]) -> dict[str, Any]:
    stated = [o for o in outcomes if not o.withheld and not o.refused]
    row: dict[str, Any] = {
        "phone": name, "jobs": len(outcomes), "refused": sum(bool(o.refused) for o in outcomes),
        "withheld": sum(o.withheld for o in outcomes), "blamed": sum(len(o.blamed) for o in outcomes),
        "wrong lines": sum(len(o.wrong) for o in outcomes), "silent": sum(len(o.silent) for o in outcomes),
    }  # fmt: skip
    if stated:
        z = np.concatenate([o.z for o in stated])
        row |= {
            "inside U %": 100 * float(np.mean(np.abs(z) <= 2)), "variance": float(np.mean(z**2)),
            "worst z": float(np.abs(z).max()), "straight worst mm": max(max(o.straight_mm) for o in stated),
            "sigma0": float(np.mean([o.sigma0 for o in stated])),
        }  # fmt: skip
    return row
