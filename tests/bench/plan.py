"""What ``plan`` predicts before a visit against what the kitchen's results then state: U of the length of a run.

Reached is the U of the distance between the two corners at the run's ends, as the outline gives it. A plan knows neither
whether it will be in doubt which line is the edge nor whether strips of targets will show the walls; what that makes of U is
in the ratio. Jobs at the level of sightings (``_jobs``), whose cameras keep still between photos where the plan's phone moves
its lens, are left out.
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.demo import DEMO_FOLDER, run_demo
from phototemplate.job import load_job
from phototemplate.model import Measurement
from phototemplate.pipeline import measure
from phototemplate.studies.plan import Sketch, predict
from phototemplate.template.quantities import CornerPlace, distance
from tests.bench import BenchResult
from tests.bench.which_line import kitchens

WITHIN = 0.30
"""ratio. What is asked of a prediction"""
STRAIGHT = ("alcove", "frameless", "island")
"""Families of kitchens with a single run; no constant of the plan was chosen on them"""
SAME_LINE_MM = 1.0
Run = tuple[np.ndarray, np.ndarray]
"""(2,) true plan of the corners at its ends"""


def run(quick: bool) -> BenchResult:
    """The demo kitchen, and the straight kitchens below the folders that ``PHOTOTEMPLATE_BENCH_KITCHENS`` names.

    ``quick``: the demo alone.
    """
    result = BenchResult("Plans, predicted and reached")
    if not (DEMO_FOLDER / "truth.json").is_file():
        result.rows.append({"run": "skipped", "reason": f"no photos in {DEMO_FOLDER.name}"})
        return result
    with tempfile.TemporaryDirectory() as folder:
        measured = run_demo(Path(folder)).measurement
    _hold(result, "demo", measured, DEMO_FOLDER, _demo_runs)
    for kitchen in [] if quick else kitchens():
        if kitchen.name.split("-")[0] in STRAIGHT:
            _hold(result, kitchen.name, measure(load_job(kitchen)), kitchen, _straight_run)
    return result


def _hold(
    result: BenchResult, kitchen: str, measured: Measurement, folder: Path,
    runs_of: Callable[[dict[str, Any]], tuple[float, dict[str, Run]]],
) -> None:
    """Rows and targets of one kitchen: as many photos and sheets as it has, and the bar that its job gives."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    depth, runs = runs_of(truth)
    bar = next(x for x in truth["lengths"] if x.get("kind") == "bar")
    photos, sheets = len(measured.network.photos), sum(1 for t in measured.network.bodies if t.startswith("S"))
    lengths = tuple(float(np.linalg.norm(b - a)) for a, b in runs.values())
    made = predict(Sketch(lengths, depth, sheets, float(bar["given_mm"]), float(bar["u_mm"])), photos)
    for (name, ends), predicted in zip(runs.items(), made.run_U_mm, strict=True):
        reached = distance(measured.outline, *(_corner(measured, truth, end) for end in ends)).U
        ratio = predicted / reached
        result.rows.append({"run": f"{kitchen}, {name}", "photos": photos, "sheets": len(made.sheets_mm),
                            "predicted U mm": round(predicted, 2), "reached U mm": round(reached, 2)})
        result.target(f"{kitchen}, {name}: predicted over reached U", "within 30 %", f"{ratio:.2f}",
                      abs(math.log(ratio)) <= math.log(1.0 + WITHIN))


def _corner(measured: Measurement, truth: dict[str, Any], at: np.ndarray) -> CornerPlace:
    """The measured corner whose true place is nearest."""
    true = {
        frozenset((names[i - 1], names[i])): np.array(truth["corners"][loop][i])
        for loop, names in truth["loops"].items() for i in range(len(names))
    }
    found = {
        CornerPlace(loop.loop_id, i): true[pair]
        for loop in measured.outline.loops for i in range(len(loop.corners_mm))
        if (pair := frozenset((loop.edge_ids[i - 1], loop.edge_ids[i]))) in true
    }
    return min(found, key=lambda place: float(np.linalg.norm(found[place] - at)))


def _demo_runs(truth: dict[str, Any]) -> tuple[float, dict[str, Run]]:
    """An L whose second run goes into the room at the left end; the sketch's is its mirror image."""
    points = {e["id"]: np.array(e["points_mm"])[:, :2] for e in truth["edges"]}
    corner, right, end = points["wall-left"][0], points["panel-right"][0], points["wall-left"][-1]
    right, end = np.array([right[0], corner[1]]), np.array([corner[0], end[1]])
    depth = float(corner[1] - points["front-back"][:, 1].mean())
    return depth, {"along the back wall": (corner, right), "along the left wall": (corner, end)}


def _straight_run(truth: dict[str, Any]) -> tuple[float, dict[str, Run]]:
    """From one end of the front to the other; the depth goes back to what lies farthest behind it."""
    points = np.vstack([np.array(e["points_mm"])[:, :2] for e in truth["edges"]])
    front = points[points[:, 1] < points[:, 1].min() + SAME_LINE_MM]
    ends = front[np.argmin(front[:, 0])], front[np.argmax(front[:, 0])]
    return float(np.ptp(points[:, 1])), {"along the front": ends}
