"""What ``plan`` predicts before a visit against what the demo kitchen then reaches: U of the length of a run.

Both U are those of the distance between the two ends of a run, located by the photos that see them: one in the planned network,
one in the network that was adjusted from the photos. Jobs at the level of sightings (``_jobs``), whose cameras keep still
between photos where the plan's phone moves its lens, are left out.
"""

from __future__ import annotations

import json
import math
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.demo import DEMO_FOLDER, run_demo
from phototemplate.model import Network
from phototemplate.studies.plan import Sketch, located_U, predict
from tests.bench import BenchResult

WITHIN = 0.30
"""ratio. What is asked of a prediction"""


def run(quick: bool) -> BenchResult:
    """The runs of the demo kitchen, an L whose second run goes into the room at the left end; the sketch's is its mirror
    image. ``quick`` makes no difference."""
    result = BenchResult("Plans, predicted and reached")
    if not (DEMO_FOLDER / "truth.json").is_file():
        result.rows.append({"run": "skipped", "reason": f"no photos in {DEMO_FOLDER.name}"})
        return result
    with tempfile.TemporaryDirectory() as folder:
        network = run_demo(Path(folder)).measurement.network
    truth = json.loads((DEMO_FOLDER / "truth.json").read_text(encoding="utf-8"))
    points = {e["id"]: np.array(e["points_mm"])[:, :2] for e in truth["edges"]}
    corner, right, end = points["wall-left"][0], points["panel-right"][0], points["wall-left"][-1]
    depth = float(corner[1] - points["front-back"][:, 1].mean())
    across, down = np.array([depth, 0.0]), np.array([0.0, -depth])
    runs = {"along the back wall": (corner + down, right + down), "along the left wall": (corner + across, end + across)}
    sheets = sum(1 for t in network.bodies if t.startswith("S"))
    sketch = Sketch((float(right[0] - corner[0]), float(corner[1] - end[1])), depth, sheets, _bar_mm(truth))
    made = predict(sketch, len(network.photos))
    true = _true_network(network, truth)
    for (name, ends), predicted in zip(runs.items(), made.run_U_mm, strict=True):
        reached = located_U(true, network, *ends)
        ratio = predicted / reached
        result.rows.append({"run": name, "photos": len(network.photos), "sheets": len(made.sheets_mm),
                            "predicted U mm": round(predicted, 2), "reached U mm": round(reached, 2)})
        result.target(f"demo, run {name}: predicted over reached U", "within 30 %", f"{ratio:.2f}",
                      abs(math.log(ratio)) <= math.log(1.0 + WITHIN))
    return result


def _bar_mm(truth: dict[str, Any]) -> float:
    return float(next(x["given_mm"] for x in truth["lengths"] if x.get("kind") == "bar"))


def _true_network(network: Network, truth: dict[str, Any]) -> Network:
    """The network with its sheets where they truly are."""
    centres = {str(t["id"]): np.array(t["center_mm"], float) for t in truth["sheets"]}
    return replace(network, bodies={n: replace(network.bodies[n], translation_mm=xyz) for n, xyz in centres.items()
                                    if n in network.bodies})
