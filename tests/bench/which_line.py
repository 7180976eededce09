"""Which line is the edge? Edges proposed without hints and edges traced from rough clicks, against the truth.

The demo kitchen, and every job with a ``truth.json`` below the folders named in ``PHOTOTEMPLATE_BENCH_KITCHENS`` (separated
as in ``PATH``), at any depth. A kitchen's family is its folder's name up to the first ``-``; which families set priors and
which only judge is said beside the pictures. Proposals are judged as in :mod:`tests.bench.proposals`; of
traced edges the error is the largest over their length, normal to the edge.
"""

from __future__ import annotations

import itertools
import json
import os
import time
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.capture.store import PhotoStore
from phototemplate.demo import DEMO_FOLDER
from phototemplate.edges.proposals.propose import propose_edges
from phototemplate.edges.shapes.evaluate import offset_at, offset_u, to_chord
from phototemplate.job import load_job
from phototemplate.model import Array, Measurement, Segment
from phototemplate.pipeline import measure
from phototemplate.stage_inputs import edge_settings_of, read_photos
from phototemplate.studies.verdict import OPEN_QUESTIONS
from tests.bench import BenchResult
from tests.bench.proposals import judge, places, work_from_truth

KITCHENS = "PHOTOTEMPLATE_BENCH_KITCHENS"
BINS = (0.0, 0.3, 0.6, 0.9, 0.98, 1.0)
"""Of the reliability table"""
CPU_S = 5.0


@dataclass
class Kitchen:
    """What one kitchen gave."""

    name: str
    family: str
    true: int = 0
    found: int = 0
    proposals: list[tuple[float, bool]] = field(default_factory=list)
    """(confidence, right) of every traced proposal"""
    doubles: int = 0
    errors: list[tuple[float, float, bool]] = field(default_factory=list)
    """(largest error, U there, a doubt is named) of every straight traced edge"""
    lost: int = 0
    normalised: list[float] = field(default_factory=list)
    cpu_s: float = 0.0
    wrong: list[str] = field(default_factory=list)


def kitchens() -> list[Path]:
    """Folders of the kitchens, the demo first."""
    named = [Path(p) for p in os.environ.get(KITCHENS, "").split(os.pathsep) if p]
    jobs = sorted(t.parent for folder in named for t in folder.rglob("truth.json"))
    return [DEMO_FOLDER, *(folder for folder in jobs if (folder / "photos").is_dir())]


def run(quick: bool) -> BenchResult:
    """``quick``: the demo alone."""
    done = [look_at(folder) for folder in (kitchens()[:1] if quick else kitchens())]
    return report(done)


def look_at(folder: Path) -> Kitchen:
    """Measure the job's traced edges, and propose edges without it."""
    job = load_job(folder)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    out = Kitchen(folder.name, folder.name.split("-")[0])
    store = PhotoStore(read_photos(job)[0])
    loopless = replace(job, file=job.file.model_copy(update={"loops": [], "pieces": []}))
    measured = measure(loopless, store=store)
    _traced(out, measured, [e.id for e in job.file.edges if e.source == "trace"], truth)
    began = time.process_time()
    found = propose_edges(store.gray, measured.network, measured.work_plane, edge_settings_of(job.file))
    out.cpu_s = time.process_time() - began
    outcome = judge(found, measured.network, measured.work_plane, truth)
    false = {text.split()[0] for text in outcome.false}
    out.true, out.found, out.doubles = len(outcome.true), len(outcome.found), len(outcome.doubles)
    out.proposals = [(p.confidence, p.hint.edge_id not in false) for p in found if p.hint.source == "trace"]
    out.wrong += outcome.false
    return out


def _traced(out: Kitchen, measured: Measurement, wanted: Iterable[str], truth: dict[str, Any]) -> None:
    """Errors of the traced edges over the stretch that was seen."""
    motion = work_from_truth(measured.network, measured.work_plane, truth)
    true = {e["id"]: places(motion(np.array(e["points_mm"]))) for e in truth["edges"]}
    segments = {s.edge_id: s for s in measured.outline.segments}
    doubted = {f.where for f in measured.findings if f.code in OPEN_QUESTIONS}
    for name in wanted:
        if name not in true:
            continue
        if name not in segments:
            out.lost += 1
            continue
        miss, expanded = _miss(segments[name], true[name], measured)
        if not len(miss):
            continue
        worst = int(np.argmax(np.abs(miss)))
        out.errors.append((float(abs(miss[worst])), float(expanded[worst]), name in doubted))
        out.normalised.append(float(np.mean((2.0 * miss / expanded) ** 2)))
        if abs(miss[worst]) > expanded[worst] and name not in doubted:
            out.wrong.append(f"{name} {abs(miss[worst]):.2f} of {expanded[worst]:.2f}")


def _miss(segment: Segment, true: Array, measured: Measurement) -> tuple[Array, Array]:
    """Normal errors in mm and U at the places of the true edge beside the fitted chord."""
    plan = measured.outline.plan_from_work
    s, across = to_chord(segment, true @ plan[:2, :2].T + plan[:2, 2])
    inside = (s > 0) & (s < float(np.linalg.norm(segment.chord_mm[1] - segment.chord_mm[0])))
    s, across = s[inside], across[inside]
    return offset_at(segment, s) - across, 2.0 * offset_u(segment, s, measured.work_plane.influences.cov)


def report(done: list[Kitchen]) -> BenchResult:
    """Rows by kitchen and family, the reliability table, targets."""
    result = BenchResult("Which line is the edge")
    families = list(dict.fromkeys(k.family for k in done))
    groups = [(k.name, [k]) for k in done]
    groups += [(f"family {f}", [k for k in done if k.family == f]) for f in families if len(families) > 1]
    result.rows = [_row(name, members) for name, members in groups]
    everything = [p for k in done for p in k.proposals]
    for low, high in itertools.pairwise(BINS):
        inside = [right for confidence, right in everything if low <= confidence < high or confidence == high == 1.0]
        right = f"{sum(inside)} right" if inside else ""
        result.rows.append({"kitchen": f"confidence {low:g} to {high:g}", "found": right, "proposed": len(inside)})
    _targets(result, done)
    return result


def _row(name: str, some: list[Kitchen]) -> dict[str, Any]:
    errors = np.array([e for k in some for e, _, _ in k.errors])
    proposals = [p for k in some for p in k.proposals]
    false = sorted((confidence for confidence, right in proposals if not right), reverse=True)
    q50, q95, top = (np.percentile(errors, (50, 95, 100)) if len(errors) else (np.nan,) * 3)
    inside = sum(e <= u for k in some for e, u, _ in k.errors)
    return {
        "kitchen": name, "found": f"{sum(k.found for k in some)}/{sum(k.true for k in some)}", "proposed": len(proposals),
        "false": ", ".join(f"{f:.2f}" for f in false), "doubles": sum(k.doubles for k in some),
        "inside U": f"{inside}/{len(errors)}", "lost": sum(k.lost for k in some),
        "doubted": sum(d for k in some for *_, d in k.errors),
        "50 %": round(float(q50), 2), "95 %": round(float(q95), 2), "largest": round(float(top), 2),
        "nv": round(float(np.mean([n for k in some for n in k.normalised])), 2) if errors.size else "",
        "cpu s": round(sum(k.cpu_s for k in some), 1), "wrong": "; ".join(w for k in some for w in k.wrong),
    }


def _targets(result: BenchResult, done: list[Kitchen]) -> None:
    true, found = sum(k.true for k in done), sum(k.found for k in done)
    proposals = [p for k in done for p in k.proposals]
    false = [confidence for confidence, right in proposals if not right]
    errors = [e for k in done for e in k.errors]
    result.target("true edges proposed", ">= 95 %", f"{found} of {true}", found >= 0.95 * true)
    result.target("false proposals", "<= 1 in 50", f"{len(false)} of {len(proposals)}", 50 * len(false) <= len(proposals))
    high = sum(f > 0.9 for f in false)
    result.target("false proposals above 0.9", "0", high, high == 0)
    sure = [right for confidence, right in proposals if confidence >= 0.9]
    result.target("of those at 0.9 to 1 right", ">= 95 %", f"{sum(sure)} of {len(sure)}", sum(sure) >= 0.95 * len(sure))
    near = sum(e <= 0.5 for e, *_ in errors)
    result.target("traced edges within 0.5 mm", ">= 95 %", f"{near} of {len(errors)}", near >= 0.95 * len(errors))
    silent = sum(e > u and not doubt for e, u, doubt in errors)
    result.target("outside U without a doubt", "0", silent, silent == 0)
    variance = float(np.mean([n for k in done for n in k.normalised]))
    result.target("normalised variance of traced edges", "0.8 to 1.2", round(variance, 2), 0.8 <= variance <= 1.2)
    result.target("processor time of proposing, demo", f"<= {CPU_S:g} s", round(done[0].cpu_s, 1), done[0].cpu_s <= CPU_S)
