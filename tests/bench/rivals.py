"""Ours against two other ways on the same demo photos, and the parts against their theoretical limits.

* Structure from motion (pycolmap): features, matching, mapping; our sightings of the targets intersected with its cameras and
  scaled with the same bar. Times are compared for the same piece of work, from photo files to targets in space; the time our
  sightings take counts as ours alone.
* The naive way: one photo, one homography from its largest printed sheet (``cv2.findHomography``), no lens model, print
  taken at its nominal size. The edge's positions in the picture are ours, so that only the mapping differs.
* Limits: saddle and edge positions against the Cramer-Rao bound, precision of free points by Fraser's planning formula.
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Mapping
from itertools import combinations
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.special import ndtr

from phototemplate.capture import design
from phototemplate.capture.saddle import fit_saddles
from phototemplate.demo import DEMO_FOLDER, DemoComparison, measured_centres, run_demo
from phototemplate.edges.tracing.step_position import fit_steps
from phototemplate.job import load_job
from phototemplate.model import Array, EdgeTrace, Measurement
from phototemplate.network.projection import project
from phototemplate.numerics.rigid import fit_rigid
from phototemplate.stage_inputs import known_lengths
from tests.bench import BenchResult
from tests.bench._sfm import FASTEST, FULL_SIZE, OWN_CHOICE, SfmResult, structure_from_motion
from tests.bench._truth import saddle_errors, saddle_ratios
from tests.capture.test_saddle import _patches as saddle_patches

LONGEST_MM = 3200.0
FULL_FRAME_MM = (36.0, 24.0)
FRASER_Q = 0.7
"""Design factor of a convergent network with several photos to a point (C. S. Fraser, Network design considerations for
non-topographic photogrammetry, PE&RS 50 (1984) 1115-1126; 0.4-0.8 for strong networks)."""
EDGE_STEP_MM = 10.0


def run(quick: bool) -> BenchResult:
    """``quick``: structure from motion at its fastest setting only."""
    truth = json.loads((DEMO_FOLDER / "truth.json").read_text(encoding="utf-8"))
    result = BenchResult("The demo kitchen measured in three ways, and the parts against their limits")
    with tempfile.TemporaryDirectory() as folder:
        began, began_processor = time.perf_counter(), time.process_time()
        demo = run_demo(Path(folder) / "job")
        seconds, processor = time.perf_counter() - began, time.process_time() - began_processor
        measurement = demo.measurement
        ways = []
        for settings in (FASTEST,) if quick else (OWN_CHOICE, FULL_SIZE, FASTEST):
            place = Path(folder) / f"sfm-{settings.max_side_px}"
            place.mkdir()
            focal_px = _exif_focal_px(measurement)
            ways.append(structure_from_motion(DEMO_FOLDER / "photos", measurement.sightings, place, focal_px, settings))
        (bar, *_) = known_lengths(load_job(Path(folder) / "job").file)
    ours = _accuracy(measured_centres(measurement), truth, 1.0)
    true_f = {c["id"]: c["matrix"][0][0] for c in truth["cameras"]}
    our_f = {p: measurement.network.cameras[pose.camera_id].params[0] * (1 + pose.focus)
             for p, pose in measurement.network.photos.items()}  # fmt: skip
    our_focal = _relative(np.mean(list(our_f.values())), [true_f[p] for p in our_f])
    oriented, count = len(measurement.network.photos), len(truth["cameras"])
    detection = measurement.seconds["targets"]
    network_seconds = sum(measurement.seconds[k] for k in ("photos", "targets", "network"))
    result.rows += [
        {"way": "ours, photos to targets in space", "seconds": network_seconds, "photos": oriented,
         "focal length %": 100 * our_focal, **ours},
        {"way": "  of this finding the targets", "seconds": detection},
        {"way": "ours, photos to edges, drawing and files", "seconds": seconds, "processor s": processor},
    ]  # fmt: skip
    for sfm in ways:
        result.rows += _sfm_rows(sfm, truth, true_f, bar.at_photos(0.0)[0])
        result.rows += [
            {"way": "  over ours until the targets stand in space", "ratio": sfm.total_seconds / network_seconds},
            {"way": "  the same with the finding of the targets, which both need",
             "ratio": (sfm.total_seconds + detection) / network_seconds},
        ]  # fmt: skip
        for done, ours_s in (("targets in space", network_seconds), ("files", seconds)):
            times = sfm.total_seconds / ours_s
            name = f"time of structure from motion ({sfm.settings.name}) over ours, photos to {done}"
            result.target(name, ">= 5", times, times >= 5)
    result.rows += _naive_rows(demo, truth)
    result.target("photos oriented", f"all {count}", oriented, oriented == count)
    result.target("focal length, mean of the photos", "within 0.1 %", f"{100 * our_focal:+.3f} %", abs(our_focal) <= 1e-3)
    _limits(result, measurement, truth, quick)
    return result


# ------------------------------------------------------------------------------ structure from motion


def _exif_focal_px(measurement: Measurement) -> float:
    """What EXIF says, as any user of such a program would let it read."""
    meta = measurement.photos[0]
    assert meta.focal35_mm
    return float(meta.focal35_mm * np.hypot(*meta.size_px) / np.hypot(*FULL_FRAME_MM))


def _relative(value: float, true: list[float]) -> float:
    return float(value / np.mean(true) - 1)


def _sfm_rows(sfm: SfmResult, truth: Mapping[str, Any], true_f: Mapping[str, float], bar_mm: float) -> list[dict[str, Any]]:
    row: dict[str, Any] = {
        "way": f"structure from motion, {sfm.settings.name}", "seconds": sfm.total_seconds,
        "processor s": sfm.processor_seconds, "photos": len(sfm.photos),
    }  # fmt: skip
    if sfm.photos:
        row["focal length %"] = 100 * _relative(sfm.focal_px, [true_f[p] for p in sfm.photos])
    if {"B01", "B02"} <= sfm.centres.keys():
        scale = bar_mm / float(np.linalg.norm(sfm.centres["B01"] - sfm.centres["B02"]))
        row |= _accuracy(sfm.centres, truth, scale)
    rows = [row, *({"way": f"  of this {stage}", "seconds": s} for stage, s in sfm.seconds.items())]
    return rows


def _accuracy(centres: Mapping[str, Array], truth: Mapping[str, Any], scale: float) -> dict[str, float]:
    """Errors of the sheets' centres after the best rigid motion, and of the distances between them."""
    true = {s["id"]: np.array(s["center_mm"]) for s in truth["sheets"] if s["id"].startswith("S")}
    names = sorted(centres.keys() & true.keys())
    if len(names) < 3:
        return {"sheets": len(names)}
    ours, theirs = scale * np.array([centres[n] for n in names]), np.array([true[n] for n in names])
    turn, shift = fit_rigid(theirs, ours)
    rest = np.linalg.norm(ours - theirs @ turn.T - shift, axis=1)
    lengths = [(np.linalg.norm(ours[i] - ours[j]), np.linalg.norm(theirs[i] - theirs[j]))
               for i, j in combinations(range(len(names)), 2)]  # fmt: skip
    wrong = [float(a - b) for a, b in lengths if b <= LONGEST_MM]
    return {
        "sheets": len(names),
        "centre rms mm": float(np.sqrt(np.mean(rest**2))),
        "centre worst mm": float(rest.max()),
        "distance rms mm": float(np.sqrt(np.mean(np.square(wrong)))),
        "distance worst mm": float(np.abs(wrong).max()),
    }


# ------------------------------------------------------------------------------------------- naive way


def _naive_rows(demo: DemoComparison, truth: Mapping[str, Any]) -> list[dict[str, Any]]:
    """One row per straight traced edge: largest error along it, position taken from one printed sheet, ours beside it."""
    true_edges = {e["id"]: np.array(e["points_mm"]) for e in truth["edges"]}
    sheets = {s["id"]: s for s in truth["sheets"]}
    ours = {r["edge"]: r for r in demo.rows}
    rows: list[dict[str, Any]] = []
    for edge in dict.fromkeys(t.edge_id for t in demo.measurement.traces):
        if edge not in ours or ours[edge].get("shape") != "line":
            continue
        tries = [
            (size, _mapped_error(trace, uv, xy, true_edges[edge], sheets[sheet]), trace.photo_id, sheet)
            for trace in _whole_traces(demo.measurement, edge)
            for size, sheet, uv, xy in _sheets_in(demo.measurement, trace.photo_id)
        ]
        if tries:
            _, error, photo, sheet = max(tries)
            rows.append(
                {"way": f"naive: {edge} from {sheet} in {photo}", "naive mm": error, "naive, luckiest choice mm":
                 min(t[1] for t in tries), "ours mm": abs(ours[edge]["error_mm"])}
            )  # fmt: skip
    columns = ("naive mm", "naive, luckiest choice mm", "ours mm")
    rows.append(
        {"way": "naive: rms over the edges", **{k: float(np.sqrt(np.mean([r[k] ** 2 for r in rows]))) for k in columns}}
    )
    return rows


def _whole_traces(measurement: Measurement, edge: str) -> list[EdgeTrace]:
    """Traces of an edge in the photos that show nearly as much of it as any."""
    traces = [t for t in measurement.traces if t.edge_id == edge and len(t.uv_px) >= 10]
    reach = [float(np.ptp(t.along_mm)) for t in traces]
    return [t for t, r in zip(traces, reach, strict=True) if r >= 0.9 * max(reach)]


def _mapped_error(trace: EdgeTrace, uv: Array, xy: Array, true: Array, sheet: Mapping[str, Any]) -> float:
    """Largest distance of a mapped edge from the true one, both in the frame of the printed sheet.

    ``uv`` (n, 2) saddles in px, ``xy`` (n, 2) where they are printed; ``true`` (m, 3) the true edge in the world.
    """
    homography, _ = cv2.findHomography(uv, xy)
    mapped = cv2.perspectiveTransform(trace.uv_px[:, None], homography)[:, 0]
    local = ((true - np.array(sheet["center_mm"])) @ np.array(sheet["world_from_target"]))[:, :2]
    a, b = local[0], local[-1]
    normal = np.array([a[1] - b[1], b[0] - a[0]]) / np.linalg.norm(b - a)
    # a straight line through the mapped points, as somebody would draw it, compared at its ends
    mean = mapped.mean(axis=0)
    direction = np.linalg.svd(mapped - mean)[2][0]
    t = (mapped - mean) @ direction
    ends = mean + np.array([t.min(), t.max()])[:, None] * direction
    return float(np.abs((ends - a) @ normal).max())


def _sheets_in(measurement: Measurement, photo: str) -> list[tuple[float, str, Array, Array]]:
    """Sheets with all saddles but a few in a photo: area in px2, name, pixels (n, 2), printed places (n, 2)."""
    seen = measurement.sightings[photo]
    out = []
    for sheet in sorted({t for t in seen.target_ids if t.startswith("S")}):
        rows = np.flatnonzero(np.array(seen.target_ids) == sheet)
        printed = design.target(sheet).points_mm
        if len(rows) >= len(printed) - 3:
            uv = seen.uv_px[rows]
            size = float(cv2.contourArea(cv2.convexHull(uv.astype(np.float32))))
            out.append((size, sheet, uv, printed[seen.point_ids[rows], :2]))
    return out


# --------------------------------------------------------------------------------------------- limits


def _limits(result: BenchResult, measurement: Measurement, truth: Mapping[str, Any], quick: bool) -> None:
    saddle = max(_saddle_ratio(blur, noise, 60 if quick else 300) for blur, noise in ((0.7, 2.0), (1.2, 6.0)))
    edge = max(_edge_ratio(blur) for blur in (0.6, 0.8, 1.1))
    stated, bound, _ = saddle_ratios(*saddle_errors(measurement.sightings, truth))
    predicted, covariance = _fraser(measurement)
    result.rows += [
        {"way": "saddle rms over Cramer-Rao bound", "ratio": saddle},
        {"way": "edge position over Cramer-Rao bound", "ratio": edge},
        {"way": "demo saddles: rms over stated sigma", "ratio": stated},
        {"way": "demo saddles: rms over Cramer-Rao bound of the pictures", "ratio": bound},
        {"way": "Fraser's planning figure over bundle covariance", "ratio": predicted / covariance},
    ]
    result.target("saddle error over Cramer-Rao bound", "<= 1.3", saddle, saddle <= 1.3)
    result.target("edge position over Cramer-Rao bound", "<= 1.5", edge, edge <= 1.5)
    text = f"{predicted:.3f} mm planned, {covariance:.3f} mm from the covariance"
    result.target("planning formula", "within a factor of 2", text, 0.5 <= predicted / covariance <= 2)


def _saddle_ratio(blur: float, noise: float, count: int) -> float:
    pictures, centres, jacs, bound = saddle_patches(count, blur, noise, 7)
    rng = np.random.default_rng(8)
    errors = []
    for picture, centre, jac in zip(pictures, centres, jacs, strict=True):
        start = centre + rng.uniform(-0.8, 0.8, 2)
        fit = fit_saddles(picture, start[None], jac[None], np.ones(1), np.array([5.0]), np.array([13.0]))
        errors.append(fit.uv_px[0] - centre)
    return float(np.sqrt(np.mean(np.square(errors)))) / bound


def _edge_ratio(blur: float) -> float:
    """Bound of one unknown position in white noise, noise / sqrt(sum (dy/dx0)^2) (Kay, Estimation Theory, 1993, eq. 3.14)."""
    rng = np.random.default_rng(13)
    count, noise, contrast = 3000, 1.5, 60.0
    x = np.arange(-10.0, 11.0)
    true = rng.uniform(-0.5, 0.5, count)
    clean = 80 + contrast * ndtr((x - true[:, None]) / blur)
    fit = fit_steps(clean + rng.normal(0, noise, clean.shape), x, np.zeros(count), noise, 2.5, blur)
    bell = np.exp(-0.5 * ((x - true[:, None]) / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
    bound = noise / (contrast * np.sqrt((bell**2).sum(axis=1).mean()))
    return float((fit.position_px - true)[fit.good].std() / bound)


def _fraser(measurement: Measurement) -> tuple[float, float]:
    """Mean standard deviation per coordinate of the strips' points: by formula, and by the covariance in a free datum.

    ``sigma_c = q S sigma / sqrt(k)`` with S = depth over principal distance, sigma of image coordinates, k = 1 photo a place.
    """
    network = measurement.network
    points = network.points
    jac = np.vstack([p.shared_jac for p in points])
    cov = jac @ network.influences.cov @ jac.T
    for i, p in enumerate(points):
        cov[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += p.noise_cov_mm2
    free = _free_network(np.array([p.xyz_mm for p in points]), cov)
    by_key = {(p.target_id, p.point_id): p for p in points}
    each = []
    for photo, pose in network.photos.items():
        seen = measurement.sightings[photo]
        rows = [i for i, key in enumerate(zip(seen.target_ids, seen.point_ids.tolist(), strict=True)) if key in by_key]
        if rows:
            xyz = np.array([by_key[seen.target_ids[i], int(seen.point_ids[i])].xyz_mm for i in rows])
            depth = project(network, photo, xyz).depth_mm
            sigma = np.sqrt(np.trace(seen.cov_px2[rows], axis1=1, axis2=2) / 2)
            f = network.cameras[pose.camera_id].params[0] * (1 + pose.focus)
            each.append(FRASER_Q * depth / f * sigma)
    predicted = float(np.sqrt(np.mean(np.concatenate(each) ** 2)))
    return predicted, float(np.sqrt(np.trace(free) / len(free)))


def _free_network(xyz: Array, cov: Array) -> Array:
    """S-transformation of (3M, 3M) to the datum of the formula: mean position, turn and scale of the points themselves.

    W. Baarda, S-transformations and criterion matrices, Netherlands Geodetic Commission, 1973. The known length's own
    uncertainty is no matter of the network's design.
    """
    c = xyz - xyz.mean(axis=0)
    turns = np.stack([np.cross(axis, c).ravel() for axis in np.eye(3)], axis=1)
    g = np.column_stack([np.tile(np.eye(3), (len(c), 1)), turns, c.ravel()])
    s = np.eye(c.size) - g @ np.linalg.solve(g.T @ g, g.T)
    return np.asarray(s @ cov @ s.T)
