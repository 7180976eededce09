"""The demo kitchen: measured from its photos and compared with the truth they were rendered from.

The truth is used here and nowhere else. Both plans are brought together by the rigid motion that fits the true centres of
the sheets to the measured ones (least squares, Arun, Huang and Blostein 1987); scale is never fitted, so an error of scale
stays an error of every length.
"""

from __future__ import annotations

import csv
import io
import json
import math
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate.atomic import write_text_atomic
from phototemplate.constants import EDGE_STEP_MM, LONGEST_MM, WALL_SHARE
from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, Measurement
from phototemplate.numerics.rigid import fit_rigid
from phototemplate.progress import Progress, quiet
from phototemplate.template.gradients import vec
from phototemplate.template.quantities import State

DEMO_FOLDER = Path(__file__).resolve().parents[1] / "demo_images" / "kitchen"

Row = dict[str, Any]


@dataclass(frozen=True)
class Alignment:
    """Rigid motion of the truth onto the measured plan."""

    rotation: Array
    """(3, 3) of plan_from_truth"""
    translation_mm: Array
    """(3,)"""
    rms_mm: float
    """Of what remains between true and measured sheet centres, per sheet"""
    sheets: tuple[str, ...]

    def __call__(self, points_mm: Any) -> Array:
        """(..., 3) truth -> (..., 3) plan, heights over the work plane."""
        moved: Array = np.asarray(points_mm, dtype=np.float64) @ self.rotation.T + self.translation_mm
        return moved


@dataclass(frozen=True)
class DemoComparison:
    """What the demo measured and how wrong it was."""

    rows: tuple[Row, ...]
    """``edge``, ``kind`` (an edge kind, ``distance`` or ``height``), ``error_mm`` (measured minus true), ``U_mm`` (k = 2),
    ``length_mm`` (true length; of a height None), ``inside`` (error within U), and for edges ``at_mm`` (where along the edge)
    and ``samples``: how many places were compared, ``samples_inside``: how many of them within their U"""
    measurement: Measurement
    written: Mapping[str, Path]
    dxf: Path | None
    alignment: Alignment

    @property
    def note(self) -> str:
        """One sentence on how the two plans were brought together."""
        return (
            f"The truth was laid over the measured plan by the rigid motion that fits {len(self.alignment.sheets)} sheet "
            f"centres ({self.alignment.rms_mm:.2f} mm rms remain); scale was not fitted."
        )


def run_demo(out_dir: Path, progress: Progress = quiet, source: Path | None = None) -> DemoComparison:
    """Copy the demo job to ``out_dir``, measure it, compare, and write ``comparison.json`` and ``comparison.csv``.

    An existing ``job.toml`` in ``out_dir`` is kept, so that the demo can be played with in the app.

    Raises:
        InputError: the demo photos are not there (``source`` or the checkout's ``demo_images/kitchen``).
        MeasureError, OutputError: as in ``pipeline.measure`` and the writers.
    """
    from phototemplate.job import load_job
    from phototemplate.results import measure_and_write

    source = source or DEMO_FOLDER
    copy_demo(source, out_dir)
    job = load_job(out_dir)
    outcome = measure_and_write(job, progress=progress)
    measurement, written = outcome.measurement, outcome.written
    truth = json.loads((source / "truth.json").read_text(encoding="utf-8"))
    rows, alignment = compare(measurement, truth)
    result = DemoComparison(tuple(rows), measurement, dict(written), written.get("dxf"), alignment)
    files = write_comparison(result, job.results)
    return DemoComparison(result.rows, measurement, {**written, **files}, result.dxf, alignment)


def copy_demo(source: Path, out_dir: Path) -> None:
    """Copy photos and job file; what is there already and of the same size stays."""
    if not (source / "job.toml").is_file() or not (source / "truth.json").is_file():
        raise InputError(
            f"The demo photos are not in {source}: they come with the source checkout; run the demo from there."
        )
    (out_dir / "photos").mkdir(parents=True, exist_ok=True)
    for photo in sorted((source / "photos").iterdir()):
        to = out_dir / "photos" / photo.name
        if not to.exists() or to.stat().st_size != photo.stat().st_size:
            shutil.copyfile(photo, to)
    if not (out_dir / "job.toml").exists():
        shutil.copyfile(source / "job.toml", out_dir / "job.toml")


# ------------------------------------------------------------------------------------------------ alignment


def measured_centres(measurement: Measurement) -> dict[str, Array]:
    """Sheet -> (3,) centre of its printed face: plan x, y and height over the work plane."""
    plane, motion = measurement.work_plane, measurement.outline.plan_from_work
    out: dict[str, Array] = {}
    for target_id, body in measurement.network.bodies.items():
        work = plane.rotation @ body.translation_mm + plane.translation_mm
        out[target_id] = np.append(motion[:2, :2] @ work[:2] + motion[:2, 2], work[2])
    return out


def align(measurement: Measurement, truth: Mapping[str, Any]) -> Alignment:
    """Fit the true sheet centres to the measured ones.

    Raises ``MeasureError`` where fewer than three sheets were measured.
    """
    measured = measured_centres(measurement)
    true = {s["id"]: np.array(s["center_mm"]) for s in truth["sheets"]}
    common = tuple(sorted(measured.keys() & true.keys()))
    if len(common) < 3:
        raise MeasureError(f"Only {len(common)} sheets of the demo were measured; nothing can be compared.")
    source, target = np.array([true[t] for t in common]), np.array([measured[t] for t in common])
    rotation, shift = fit_rigid(source, target)
    rest = target - source @ rotation.T - shift
    return Alignment(rotation, shift, float(np.sqrt((rest**2).sum(axis=1).mean())), common)


# ------------------------------------------------------------------------------------------------ comparison


def compare(measurement: Measurement, truth: Mapping[str, Any]) -> tuple[list[Row], Alignment]:
    """Rows for every edge, corner distance and sheet height; ``truth`` as ``demo_images/render`` writes it."""
    alignment = align(measurement, truth)
    state = State(measurement.outline)
    rows = [*_edge_rows(state, truth, alignment), *_distance_rows(state, truth), *_height_rows(measurement, truth, alignment)]
    return rows, alignment


def edge_samples(state: State, edge_id: str, true_plan_mm: Array) -> tuple[Array, Array, Array]:
    """Positions along, errors normal to and U of a measured edge at true points (n, 2) of the plan.

    Positive: the measured edge lies to its own left of the true one.
    """
    curve = state.curve(edge_id)
    sides = [curve.side(vec(p)) for p in true_plan_mm]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(true_plan_mm, axis=0), axis=1))])
    return along, -np.array([s.value for s in sides]), 2 * np.array([state.u_of(s) for s in sides])


def _resampled(line: Array, step_mm: float) -> Array:
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    q = np.linspace(0.0, s[-1], max(2, math.ceil(s[-1] / step_mm) + 1))
    return np.column_stack([np.interp(q, s, line[:, 0]), np.interp(q, s, line[:, 1])])


def _between_corners(entry: Mapping[str, Any], truth: Mapping[str, Any]) -> Array:
    """(n, 3) the true edge from corner to corner of the loops that have it (all of it where none has)."""
    line = np.array(entry["points_mm"], dtype=np.float64)
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line[:, :2], axis=0), axis=1))])
    ends: list[float] = []
    for loop_id, names in truth["loops"].items():
        if entry["id"] in names:
            i = names.index(entry["id"])
            corners = np.array(truth["corners"][loop_id])
            for corner in (corners[i], corners[(i + 1) % len(names)]):
                dense = np.linspace(0.0, s[-1], 4001)
                d = np.hypot(np.interp(dense, s, line[:, 0]) - corner[0], np.interp(dense, s, line[:, 1]) - corner[1])
                ends.append(float(dense[int(np.argmin(d))]))
    if not ends:
        return line
    inside = s[(s > min(ends)) & (s < max(ends))]
    q = np.concatenate([[min(ends)], inside, [max(ends)]])
    return np.column_stack([np.interp(q, s, line[:, k]) for k in range(3)])


def _edge_rows(state: State, truth: Mapping[str, Any], alignment: Alignment) -> Iterator[Row]:
    """One row per edge: of a straight one the largest error, of a wall the error that 95 % of its length stay below."""
    for entry in truth["edges"]:
        if entry["id"] not in state.segments:
            continue
        stretch = _between_corners(entry, truth) if entry["shape"] == "profile" else np.array(entry["points_mm"])
        line = _resampled(alignment(stretch)[:, :2], EDGE_STEP_MM)
        along, error, expanded = edge_samples(state, entry["id"], line)
        order = np.argsort(np.abs(error))
        k = int(order[math.ceil(WALL_SHARE * len(order)) - 1] if entry["shape"] == "profile" else order[-1])
        inside = np.abs(error) <= expanded
        yield _row(
            entry["id"],
            entry["kind"],
            float(error[k]),
            float(expanded[k]),
            float(along[-1]),
            shape=entry["shape"],
            at_mm=round(float(along[k]), 1),
            largest_mm=round(float(error[order[-1]]), 4),
            largest_U_mm=round(float(expanded.max()), 4),
            samples=len(error),
            samples_inside=int(inside.sum()),
        )


def _distance_rows(state: State, truth: Mapping[str, Any]) -> Iterator[Row]:
    """Distances between any two corners of the plan."""
    measured, true = {}, {}
    for loop in state.outline.loops:
        names = truth["loops"].get(loop.loop_id)
        if names is None or not loop.closed:
            continue
        corners = state.corners(loop.loop_id)
        for i, (before, after) in enumerate(zip((loop.edge_ids[-1], *loop.edge_ids), loop.edge_ids, strict=False)):
            j = _corner_index(names, before, after)
            if j is not None:
                name = f"{before}/{after}"
                measured[name], true[name] = corners[i], np.array(truth["corners"][loop.loop_id][j])
    labels = list(measured)
    for i, a in enumerate(labels):
        for b in labels[i + 1 :]:
            length = float(np.linalg.norm(true[a] - true[b]))
            if length <= LONGEST_MM:
                d = state.quantity((measured[a] - measured[b]).norm())
                yield _row(f"{a} - {b}", "distance", d.value - length, d.U, length)


def _corner_index(names: list[str], before: str, after: str) -> int | None:
    """Where two edges follow each other in a true loop, in either sense."""
    for j, name in enumerate(names):
        if {names[j - 1], name} == {before, after}:
            return j
    return None


def _height_rows(measurement: Measurement, truth: Mapping[str, Any], alignment: Alignment) -> Iterator[Row]:
    """Height of the cabinet top under every sheet."""
    true = {s["id"]: s for s in truth["sheets"]}
    for point in measurement.work_plane.heights:
        if point.name in true and point.name in alignment.sheets:
            sheet = true[point.name]
            height = float(alignment(sheet["center_mm"])[2]) - sheet["thickness_mm"]
            yield _row(point.name, "height", point.height_mm - height, 2 * point.u_mm, None, cabinet=sheet["on"])


def _row(name: str, kind: str, error_mm: float, u_mm: float, length_mm: float | None, **more: Any) -> Row:
    return {
        "edge": name,
        "kind": kind,
        "length_mm": None if length_mm is None else round(length_mm, 2),
        "error_mm": round(error_mm, 4),
        "U_mm": round(u_mm, 4),
        "inside": bool(abs(error_mm) <= u_mm),
        **more,
    }


# --------------------------------------------------------------------------------------------------- files


def write_comparison(result: DemoComparison, folder: Path) -> dict[str, Path]:
    """Write ``comparison.json`` and ``comparison.csv`` into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    data = {"note": result.note, "sheets": list(result.alignment.sheets), "comparison": list(result.rows)}
    files = {"comparison": folder / "comparison.json", "comparison table": folder / "comparison.csv"}
    write_text_atomic(files["comparison"], json.dumps(data, indent=1) + "\n")
    keys = ["edge", "kind", "length_mm", "error_mm", "U_mm", "inside"]
    text = io.StringIO()
    writer = csv.DictWriter(text, keys, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(result.rows)
    write_text_atomic(files["comparison table"], text.getvalue())
    return files
