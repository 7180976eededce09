"""Edges proposed without hints, against the true outline: the demo kitchen and every random kitchen that has been rendered.

The edges of each job are taken away, its photos oriented and its edges proposed. Definitions, all in plan, every true edge
and every proposal as a polyline with a place each 10 mm:

* a proposal lies *on* a true edge where it is within 5 mm of it (15 mm for the strips of a wall, whose stretch of the true
  wall is a curve and whose proposal here is the chord from target to target); it is *right* if at least 80 % of it lies on one
  true edge, else *false*;
* a true edge is *found* by a right proposal that covers at least 60 % of its length. The line of contact sheets and strips
  reaches as far as its targets do and is continued straight (strips: along the wall) by the fit: there 25 % will do;
* right proposals of an edge beyond the first are *doubles*; a right one that covers too little of its edge is *short*;
* kinds are compared for edges found.

The random kitchens 1 to 8 were looked at when the rules were made; the others are the verification.
"""

from __future__ import annotations

import json
import re
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.capture.store import PhotoStore
from phototemplate.demo import DEMO_FOLDER
from phototemplate.edges.proposals.propose import ProposedEdge, propose_edges
from phototemplate.job import load_job
from phototemplate.model import Array, Network, WorkPlane
from phototemplate.network import projection, workplane
from phototemplate.numerics.rigid import fit_rigid
from phototemplate.pipeline import measure
from phototemplate.stage_inputs import edge_settings_of, read_photos
from tests.bench import BenchResult
from tests.bench._rendered import SPP, WIDTH_PX, cache_folder

STEP_MM, ON_MM, ON_WALL_MM = 10.0, 5.0, 15.0
RIGHT_SHARE, FOUND_SHARE, FOUND_BY_TARGETS = 0.8, 0.6, 0.25
LOOKED_AT = 8
"""Random kitchens up to this number served to make the rules"""
DEMO_SECONDS = 15.0


@dataclass
class Outcome:
    """What was proposed for one job."""

    job: str
    true: dict[str, str]
    """True edge -> kind"""
    found: dict[str, ProposedEdge]
    """True edge -> the best proposal that finds it"""
    doubles: list[str]
    short: list[str]
    false: list[str]
    proposed: int
    seconds: float

    @property
    def missed(self) -> list[str]:
        return [name for name in self.true if name not in self.found]

    @property
    def other_kind(self) -> list[str]:
        return [f"{name} ({p.hint.kind})" for name, p in self.found.items() if p.hint.kind != self.true[name]]


def run(quick: bool) -> BenchResult:
    """The demo and all rendered kitchens; ``quick``: the demo alone. Nothing is rendered here."""
    outcomes = [proposed(DEMO_FOLDER)]
    folders = [] if quick else sorted(cache_folder().glob(f"kitchen-*-{WIDTH_PX}px-{SPP}spp"))
    kitchens = {int(m[1]): f for f in folders if (m := re.match(r"kitchen-(\d+)", f.name)) and (f / "truth.json").is_file()}
    looked = [proposed(f) for n, f in kitchens.items() if n <= LOOKED_AT]
    verify = [proposed(f) for n, f in kitchens.items() if n > LOOKED_AT]
    return report(outcomes, looked, verify)


def proposed(folder: Path) -> Outcome:
    """Orient one job without its edges, propose, and compare with its truth."""
    job = load_job(folder)
    bare = replace(job, file=job.file.model_copy(update={"edges": [], "loops": [], "pieces": []}))
    store = PhotoStore(read_photos(bare)[0])
    measurement = measure(bare, store=store)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    began = time.perf_counter()
    found = propose_edges(store.gray, measurement.network, measurement.work_plane, edge_settings_of(job.file))
    return judge(found, measurement.network, measurement.work_plane, truth, time.perf_counter() - began)


# -------------------------------------------------------------------------------------------- comparison


def judge(
    proposals: tuple[ProposedEdge, ...], network: Network, plane: WorkPlane, truth: dict[str, Any], seconds: float = 0.0
) -> Outcome:
    """Proposals of a job against its truth, brought together by the sheets' centres.

    Scale is fitted only where the job has no known length (both ends of the bar were not read in any photo): a plan without
    scale is no proposal's fault."""
    motion = work_from_truth(network, plane, truth)
    true = {e["id"]: places(motion(np.array(e["points_mm"]))) for e in truth["edges"]}
    kinds = {e["id"]: e["kind"] for e in truth["edges"]}
    out = Outcome(truth["name"], kinds, {}, [], [], [], len(proposals), seconds)
    covers: dict[str, float] = {}
    for p in proposals:
        line = proposal_places(p, network, plane)
        within = ON_WALL_MM if p.hint.source == "strip" else ON_MM
        share = {name: float((_distance(line, edge) < within).mean()) for name, edge in true.items()}
        best = max(share, key=lambda name: share[name])
        if share[best] < RIGHT_SHARE:
            out.false.append(f"{p.hint.edge_id} {describe(line)}")
            continue
        cover = float((_distance(true[best], line) < within).mean())
        if cover < (FOUND_SHARE if p.hint.source == "trace" else FOUND_BY_TARGETS):
            (out.doubles if best in out.found else out.short).append(f"{best} by {p.hint.edge_id}")
        elif best in out.found:
            out.doubles.append(f"{best} by {p.hint.edge_id}")
            if cover > covers[best]:
                covers[best], out.found[best] = cover, p
        else:
            covers[best], out.found[best] = cover, p
    return out


def proposal_places(p: ProposedEdge, network: Network, plane: WorkPlane) -> Array:
    """(n, 2) places along a proposal in the work frame."""
    if p.hint.path is not None:
        return places(np.asarray(p.hint.path))
    world = [q.xyz_mm for q in network.points if q.target_id in p.hint.targets]
    for name in p.hint.targets:
        edge = network.targets[name].contact_edge_mm
        if name in network.bodies and edge is not None:
            world += list(projection.body_points(network, name, np.column_stack([edge, np.zeros(2)])).xyz_mm)
    xy = workplane.to_work(plane, np.array(world))[0][:, :2]
    axis = np.linalg.svd(xy - xy.mean(axis=0))[2][0]
    return places(xy[np.argsort(xy @ axis)])


def places(line: Array, step_mm: float = STEP_MM) -> Array:
    """(n, 2) places along a polyline (m, 2), evenly spaced."""
    s = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    q = np.linspace(0.0, s[-1], max(2, round(s[-1] / step_mm) + 1))
    return np.column_stack([np.interp(q, s, line[:, k]) for k in (0, 1)])


def describe(line: Array) -> str:
    """Where a line runs, for the table."""
    (x0, y0), (x1, y1) = line[0], line[-1]
    return f"({x0:.0f}, {y0:.0f})-({x1:.0f}, {y1:.0f})"


def _distance(points: Array, line: Array) -> Array:
    """(n,) distance of points from the polyline through ``line`` (m, 2)."""
    a, step = line[:-1], np.diff(line, axis=0)
    length2 = np.maximum((step**2).sum(axis=1), 1e-12)
    along = np.clip(((points[:, None] - a) * step).sum(axis=2) / length2, 0.0, 1.0)
    return np.asarray(np.linalg.norm(points[:, None] - a - along[:, :, None] * step, axis=2).min(axis=1))


def work_from_truth(network: Network, plane: WorkPlane, truth: dict[str, Any]) -> Any:
    true = {s["id"]: np.array(s["center_mm"]) for s in truth["sheets"]}
    common = sorted(true.keys() & network.bodies.keys())
    work = workplane.to_work(plane, np.array([network.bodies[t].translation_mm for t in common]))[0]
    source = np.array([true[t] for t in common])
    spread = [float(np.linalg.norm(p - p.mean(axis=0))) for p in (source, work)]
    scale = 1.0 if network.scale_known else spread[1] / spread[0]
    rotation, shift = fit_rigid(scale * source, work)
    return lambda points: (scale * points @ rotation.T + shift)[:, :2]


# ------------------------------------------------------------------------------------------------ report


def report(demo: list[Outcome], looked: list[Outcome], verify: list[Outcome]) -> BenchResult:
    """Table and targets."""
    result = BenchResult("Edges proposed without hints")
    result.rows = [
        {
            "job": o.job, "found": f"{len(o.found)}/{len(o.true)}", "proposed": o.proposed, "false": len(o.false),
            "doubles": len(o.doubles), "short": len(o.short), "other kind": ", ".join(o.other_kind), "s": round(o.seconds, 1),
            "missed": ", ".join(o.missed), "which": "; ".join([*o.false, *o.doubles, *o.short]),
        }
        for o in [*demo, *looked, *verify]
    ]
    for name, some in (("demo", demo), (f"kitchens 1-{LOOKED_AT}", looked), ("verification", verify)):
        true, found = sum(len(o.true) for o in some), sum(len(o.found) for o in some)
        proposals, false = sum(o.proposed for o in some), sum(len(o.false) for o in some)
        if not some:
            continue
        kinds = found - sum(len(o.other_kind) for o in some)
        doubles = sum(len(o.doubles) for o in some)
        result.target(f"{name}: true edges found", ">= 90 %", f"{found} of {true} ({found / true:.0%})", found >= 0.9 * true)
        result.target(
            f"{name}: false proposals", "<= 20 %", f"{false} of {proposals} ({false / max(proposals, 1):.0%})",
            false <= 0.2 * proposals,
        )
        result.target(f"{name}: doubles", "0", doubles, doubles == 0)
        result.target(f"{name}: kind right of those found", ">= 90 %", f"{kinds} of {found}", kinds >= 0.9 * found)
    slow = max(o.seconds for o in demo)
    result.target("proposing on the demo", f"<= {DEMO_SECONDS:.0f} s", round(slow, 1), slow <= DEMO_SECONDS)
    return result
