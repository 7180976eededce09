"""A measurement as the page shows it: plain numbers in the work frame (mm, x right, y up on the screen).

The work frame is tied to the printed sheets, so nothing on the screen moves when an edge is changed; ``plan`` says how the
drawing's own frame lies in it.
"""

from __future__ import annotations

import itertools
import json
import time
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate import __version__
from phototemplate.edges.scene import Scene, paper_outline
from phototemplate.edges.sources.hints import hint_path
from phototemplate.job import Job, load_job
from phototemplate.model import Array, EdgeReport, Measurement
from phototemplate.network import projection, workplane
from phototemplate.output.assessment import Judged
from phototemplate.output.report.marks import CLASSES
from phototemplate.output.report.plan import Stretch, stretches
from phototemplate.output.report.words import EdgeVerdict, Unit, edge_verdict
from phototemplate.output.withheld import as_shown, without_uncertainties
from phototemplate.progress import Progress
from phototemplate.results import measure_job
from phototemplate.stage_cache import key_of
from phototemplate.stage_inputs import file_state
from phototemplate.studies.assessment import judge, judge_quickly
from phototemplate.studies.wall_strips import walls_of_strips
from phototemplate.template.rules import CAUTION_CODES
from phototemplate.web.constants import BUDGET_LINES, SAME_LINE_MM, SHOWN_POINTS
from phototemplate.web.worker_tasks.distance import kept_distances
from phototemplate.web.worker_tasks.drawn import is_drawn, view_of_drawn
from phototemplate.web.worker_tasks.spoken import finding_parts, in_all, phrase_part
from phototemplate.web.worker_tasks.stone import stone_of, template_part


def measure(memory: Any, tell: Progress, job_folder: str) -> bytes:
    """Measure the job as it is now; JSON of everything the page shows, but for what :func:`shape` adds to it."""
    start = time.perf_counter()
    job = load_job(Path(job_folder))
    if is_drawn(job):
        memory.job, memory.measurement = job, None
        memory.template, drawn = view_of_drawn(job)
        return _packed(drawn)
    photos = memory.readable(job)
    memory.store.set_photos(photos)
    m = measure_job(job, tell, memory.memo, memory.store)
    memory.job, memory.measurement, memory.template = job, m, None
    memory.shown["picture key"] = key_of([file_state(p) for p in photos], job.file.lengths, job.file.paper, job.file.cabinets,
                                       job.file.settings.adjustment, job.file.settings.work_plane, job.file.markers,
                                       job.file.settings.detection)
    out = view_of(job, m)
    out |= {"stone": None, "distances": [], "shaping": True}
    out["picture_key"] = memory.shown["picture key"]
    out["seconds"] = round(time.perf_counter() - start, 3)
    out["stage_seconds"] = {k: round(v, 3) for k, v in m.seconds.items()}
    return _packed(out)


def _packed(out: dict[str, Any]) -> bytes:
    return json.dumps(plain_json(out), separators=(",", ":"), allow_nan=False).encode()


def shape(memory: Any, tell: Progress) -> dict[str, Any]:
    """The pieces and the kept distances of the last measurement: they come after the numbers of the edges."""
    m, file = memory.measured(), memory.job.file
    template, trouble = stone_of(memory.job, m)
    memory.template = template
    if m.network.quality.withheld:
        template = without_uncertainties(template)
    made = {} if template is None else template_part(template, work_from_plan(m), file.units)
    out: dict[str, Any] = plain_json({
        "stone": {**made, **(trouble or {})} if made or trouble else None,
        "distances": kept_distances(memory, tell, file.distances), "shaping": False,
    })
    return out


def judge_all(memory: Any, tell: Progress) -> dict[str, Any]:
    """What the studies say of the last measurement: verdicts with remedies, and findings of their own.

    Searching for remedies takes longer than measuring one edge, so a page gets its result first and this when it rests.
    """
    del tell
    m = memory.measured()
    judgements = judge(m, memory.template, memory.job.file.tolerance)
    memory.judged = (m, judgements)
    # what the verdict of an edge says already is no finding beside it
    findings = [*as_shown(m).findings, *(f for f in judgements.findings if f.code != "tolerance")]
    out: dict[str, Any] = plain_json({
        "verdicts": verdicts_of(m, memory.job.file.tolerance, judgements.edges, memory.job.file.units),
        "findings": finding_parts(dict.fromkeys(findings), memory.job.file.units),
        "inside": {edge: budget.inside for edge, budget in judgements.budgets.items()},
    })
    return out


def plain_json(value: Any) -> Any:
    """Plain JSON: arrays rounded to lists, what is not finite to null."""
    if isinstance(value, dict):
        return {str(k): plain_json(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_json(v) for v in value]
    if isinstance(value, np.ndarray):
        # whole arrays at a time: element by element this would cost more than the rest of the view
        if value.dtype.kind != "f":
            return value.tolist()
        rounded = np.round(value, 5).tolist()
        return rounded if np.isfinite(value).all() else plain_json(rounded)
    if isinstance(value, (float, np.floating)):
        return round(float(value), 5) if np.isfinite(value) else None
    if isinstance(value, np.generic):
        return value.item()
    return value


def work_from_plan(m: Measurement) -> Array:
    """(3, 3) homogeneous."""
    return np.asarray(np.linalg.inv(m.outline.plan_from_work), dtype=np.float64)


def move(t: Array, xy: Any) -> Array:
    """(n, 2) points moved by a homogeneous rigid motion."""
    points: Array = np.atleast_2d(np.asarray(xy, dtype=np.float64))
    return np.asarray(points @ t[:2, :2].T + t[:2, 2])


def view_of(job: Job, m: Measurement) -> dict[str, Any]:
    """Everything but the pieces."""
    m = as_shown(m)
    back = work_from_plan(m)
    scene = Scene(lambda _: np.zeros((1, 1), np.uint8), m.network, m.work_plane, job.file.settings.edges)
    tolerance = job.file.tolerance
    reports = {e.edge_id: e for e in m.outline.edges}
    shown: dict[str, list[Stretch]] = {}
    for s in stretches(m.outline):
        shown.setdefault(s.edge_id, []).append(s)
    specs = {e.id: e for e in job.file.edges}
    edges = []
    for edge_id in [*specs, *(i for i in shown if i not in specs)]:
        spec = specs.get(edge_id)
        path = hint_path(scene, spec.hint()) if spec is not None else None
        entry: dict[str, Any] = {"id": edge_id, "found": edge_id in shown, "hint": None if path is None else path}
        if edge_id in shown:
            first, *more = shown[edge_id]
            entry |= _edge(first, reports.get(edge_id), path, back)
            # an edge that belongs to two runs is drawn in both
            entry["more"] = [{"xy": np.round(move(back, s.xy_mm), 3), "U": np.round(s.U_mm, 4)} for s in more]
        elif spec is not None:
            entry |= {"kind": spec.kind, "shape": spec.shape, "source": spec.source}
        edges.append(entry)
    points = [np.asarray(e["xy"]) for e in edges if e["found"]] + [h.xy_mm[None] for h in m.work_plane.heights]
    sheets = _sheets(m)
    points += [np.asarray(s["corners"]) for s in sheets]
    everything = np.vstack([p for p in points if len(p)]) if points else np.zeros((1, 2))
    everything = everything[np.all(np.isfinite(everything), axis=1)]
    return {
        "version": __version__,
        "revision": job.revision,
        "name": job.name,
        "unscaled": m.outline.unscaled,
        "withheld": m.network.quality.withheld,
        "tolerance": tolerance,
        "classes": [{"letter": c.letter, "up_to": c.up_to, "width": c.width, "dash": c.dash} for c in CLASSES],
        "plan": m.outline.plan_from_work,
        "bounds": [*everything.min(axis=0), *everything.max(axis=0)],
        "edges": edges,
        "loops": [_loop(loop, back) for loop in m.outline.loops],
        "sheets": sheets,
        "strips": strips_of(m),
        "walls": {name: list(pieces) for name, pieces in walls_of_strips(m.network, m.work_plane).items()},
        "heights": [
            {"name": h.name, "xy": h.xy_mm, "height": h.height_mm, "U": 2 * h.u_mm, "group": h.group}
            for h in m.work_plane.heights
        ],
        "lengths": [
            {"name": k.name, "given": k.given_mm, "u": k.u_mm, "adjusted": k.adjusted_mm, "off": k.normalized_residual,
             "detectable": k.smallest_detectable_mm, "used": k.used} for k in m.network.lengths
        ],
        "photos": _photos(m),
        "sigma0": m.network.sigma0,
        "findings": finding_parts(m.findings, job.file.units),
        "cautions": [phrase_part(code) for code in CAUTION_CODES],
        "verdicts": verdicts_of(m, tolerance, judge_quickly(m, tolerance), job.file.units),
    }


def verdicts_of(m: Measurement, tolerance_mm: float, judged: Mapping[str, Judged], unit: Unit) -> dict[str, Any]:
    """Per edge: is it known well enough, in words."""
    out = {}
    for e in m.outline.edges:
        withheld = m.network.quality.withheld
        v = edge_verdict(e, tolerance_mm, m.outline.unscaled, judged.get(e.edge_id), unit, withheld)
        out[e.edge_id] = {"state": v.state, "words": v.words, **in_all(partial(_said, v))}
    return out


def _said(verdict: EdgeVerdict, language: str) -> dict[str, str]:
    return dict(zip(("sentence", "remedy"), verdict.said(language, in_app=True), strict=True))


def _edge(s: Stretch, report: EdgeReport | None, path: Array | None, back: Array) -> dict[str, Any]:
    seg = s.segment
    along = seg.chord_mm[1] - seg.chord_mm[0]
    along = along / max(float(np.hypot(*along)), 1e-9)
    # knots of a profile go on beyond what was seen of it
    seen = (seg.points_mm - seg.chord_mm[0]) @ along if len(seg.points_mm) else seg.knots_mm
    shown = seg.points_mm[:: max(1, len(seg.points_mm) // SHOWN_POINTS)]
    out: dict[str, Any] = {
        "kind": seg.kind, "shape": seg.shape, "source": seg.source, "loop": s.loop_id,
        "xy": np.round(move(back, s.xy_mm), 3), "U": np.round(s.U_mm, 4),
        # from end to end of what was seen; ``xy`` of an edge that belongs to a run ends at its corners
        "seen": np.round(move(back, seg.chord_mm[0] + np.outer([np.min(seen), np.max(seen)], along)), 2),
        "n_photos": seg.n_photos, "n_points": len(seg.points_mm),
        "points": np.round(move(back, shown), 2) if len(shown) else [],
        "height": seg.height_mm,
    }
    if report is not None:
        out |= {
            "line": report.line, "level": report.level, "length": report.length_mm, "length_U": report.length_U_mm,
            "angle": report.angle_rad, "angle_U": report.angle_U_rad,
            "offset_U": report.offset_U_mm, "budget": [[c, u] for c, u in report.budget[:BUDGET_LINES]], "rms": report.rms_mm,
        }
    out["candidates"] = []
    if len(seg.candidates) and len(s.xy_mm) > 1:
        here = move(back, s.xy_mm)
        way, normals = _normals(here, path)
        offset = _offset_from(path, here)
        for c in seg.candidates:
            if abs(c.offset_mm) < SAME_LINE_MM:
                continue
            out["candidates"].append({
                "offset": c.offset_mm, "height": c.height_mm, "support": c.support,
                "choose": None if offset is None else round(offset + c.offset_mm, 2),
                "reading": phrase_part(f"reading-{c.reading}") if c.reading else None,
                "line": "door" if c.reading == "face" else None,
                "xy": np.round(way + c.offset_mm * normals, 2),
            })
        out["choose_now"] = None if offset is None else round(offset, 2)
    return out


def _normals(xy: Array, path: Array | None) -> tuple[Array, Array]:
    """Left normals along an edge, in the sense of its hint (to whose left candidates are positive)."""
    t = np.gradient(xy, axis=0)
    t /= np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-9)
    if path is not None and float((xy[-1] - xy[0]) @ (path[-1] - path[0])) < 0:
        t = -t
    return xy, np.column_stack([-t[:, 1], t[:, 0]])


def _offset_from(path: Array | None, xy: Array) -> float | None:
    """Mean signed distance of an edge from its hint, positive to the hint's left."""
    if path is None:
        return None
    total, n = 0.0, 0
    for p in xy[1:-1] if len(xy) > 4 else xy:
        best: tuple[float, float] | None = None
        for a, b in itertools.pairwise(path):
            t = b - a
            length = float(np.hypot(*t)) or 1e-9
            s = float(np.clip((p - a) @ t / length**2, 0.0, 1.0))
            away = p - (a + s * t)
            side = float(t[0] * (p - a)[1] - t[1] * (p - a)[0]) / length
            d = float(np.hypot(*away))
            if best is None or d < best[0]:
                best = (d, side)
        if best is not None:
            total, n = total + best[1], n + 1
    return total / n if n else None


def _loop(loop: Any, back: Array) -> dict[str, Any]:
    turn = back[:2, :2]
    corners = []
    for xy, cov in zip(move(back, loop.corners_mm), loop.corner_cov_mm2, strict=True):
        c = turn @ cov @ turn.T
        values, vectors = np.linalg.eigh(c) if np.all(np.isfinite(c)) else (np.array([np.nan, np.nan]), np.eye(2))
        big = np.sqrt(np.maximum(values[::-1], 0.0))
        corners.append({
            "xy": xy, "r": 2 * big, "angle": float(np.arctan2(vectors[1, 1], vectors[0, 1])),
        })
    return {"id": loop.loop_id, "edges": list(loop.edge_ids), "closed": loop.closed, "corners": corners}


def _sheets(m: Measurement) -> list[dict[str, Any]]:
    out = []
    for target_id in m.network.bodies:
        target = m.network.targets[target_id]
        world = projection.body_points(m.network, target_id, np.vstack([paper_outline(target), np.zeros((1, 3))])).xyz_mm
        work = workplane.to_work(m.work_plane, world)[0]
        out.append({"id": target_id, "kind": target.kind, "corners": np.round(work[:4, :2], 2), "centre": np.round(work[4], 3)})
    return out


def strips_of(m: Measurement) -> list[dict[str, Any]]:
    """Points of the wall strips and other free targets, in the work frame."""
    groups: dict[str, list[Array]] = {}
    for p in m.network.points:
        groups.setdefault(p.target_id, []).append(p.xyz_mm)
    return [
        {"id": name, "points": np.round(workplane.to_work(m.work_plane, np.array(xyz))[0], 2)} for name, xyz in groups.items()
    ]


def _photos(m: Measurement) -> dict[str, Any]:
    out: dict[str, Any] = {}
    residuals: Mapping[str, Any] = {r.photo_id: r for r in m.network.residuals}
    for p in m.photos:
        entry: dict[str, Any] = {"placed": p.photo_id in m.network.photos}
        r = residuals.get(p.photo_id)
        if r is not None and len(r.weight):
            used = r.weight > 0
            entry |= {"points": len(used), "rejected": int((~used).sum()),
                      "rms": float(np.sqrt(np.mean(r.residual_px[used] ** 2))) if used.any() else None}
        out[p.photo_id] = entry
    return out


