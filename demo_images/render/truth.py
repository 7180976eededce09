"""What is true of a scene, for comparing only: ``truth.json``.

Layout (mm, world frame: z = 0 nominal plane of the cabinet tops; rotations are 3 x 3 nested lists)::

    edges     id, kind, shape, source, arris_mm (radius, 0 sharp), points_mm (n, 3) polyline, visible {photo: share seen}
    other_lines  reading (``door``, ``overhang``), of (edge), points_mm: lines that can be taken for an edge
    loops     loop -> edge ids; corners  loop -> (n, 2) plan corners, corner i where edge i-1 meets edge i
    sheets    id, center_mm (origin of the target frame), world_from_target, thickness_mm, print_scale, on (cabinet)
    strips    id, wall, points_mm (P, 3) of its measured points
    lengths   name, kind, ends, true_mm, given_mm, u_mm
    cabinets  id, height_mm at its four corners (back left, back right, front right, front left)
    cameras   id, size_px, matrix, dist (OpenCV), rotation and translation_mm of cam_from_world at the middle of the readout;
              decentre_px (a moved lens group: shift before the distortion), readout_deg and readout_mm (turn about and way of
              the centre along the camera's axes from the first to the last row); ``Camera.project`` says how they act

A rounded edge is given by its outermost line in plan at the height of the flat top.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .constants import EXTEND_MM
from .paper import sheet_pose, target_point
from .prints import print_points
from .scene import Scene, Sheet, TrueEdge

if TYPE_CHECKING:
    from .renderer import Renderer

Array = NDArray[np.float64]


def resample(points: Any, count: int) -> Array:
    """(count, d) evenly spaced points of a polyline."""
    p = np.asarray(points, float)
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))])
    q = np.linspace(0, s[-1], count)
    return np.stack([np.interp(q, s, p[:, k]) for k in range(p.shape[1])], 1)


def _extended(points: Any) -> Array:
    p = np.asarray(points, float)[:, :2]
    first, last = p[0] - p[1], p[-1] - p[-2]
    return np.vstack([
        p[0] + first / np.linalg.norm(first) * EXTEND_MM, p[1:-1] if len(p) > 2 else p[:0],
        p[-1] + last / np.linalg.norm(last) * EXTEND_MM,
    ])  # fmt: skip


def meet(a: Any, b: Any) -> Array:
    """(2,) where two plan polylines meet, their end pieces drawn on; of several places the one nearest to their ends."""
    pa, pb = _extended(a), _extended(b)
    ends_a, ends_b = np.asarray(a, float)[[0, -1], :2], np.asarray(b, float)[[0, -1], :2]
    best, best_cost = None, np.inf
    for p, p2 in itertools.pairwise(pa):
        for q, q2 in itertools.pairwise(pb):
            m = np.stack([p2 - p, q - q2], 1)
            if abs(np.linalg.det(m)) < 1e-9:
                continue
            s, t = np.linalg.solve(m, q - p)
            if -1e-9 <= s <= 1 + 1e-9 and -1e-9 <= t <= 1 + 1e-9:
                at = p + s * (p2 - p)
                cost = min(np.linalg.norm(at - e) for e in ends_a) + min(np.linalg.norm(at - e) for e in ends_b)
                if cost < best_cost:
                    best, best_cost = at, float(cost)
    if best is None:
        raise ValueError("two neighbouring edges of a loop do not meet")
    return np.asarray(best)


def loop_corners(scene: Scene, loop: list[str]) -> list[list[float]]:
    """Corner i is where edge i-1 meets edge i."""
    by_id = {e.id: e for e in scene.outline}
    if len(loop) == 1:
        return []  # a whole round top has no corner
    return [meet(by_id[loop[i - 1]].points, by_id[loop[i]].points).round(4).tolist() for i in range(len(loop))]


def _edge_entry(edge: TrueEdge, scene: Scene, renderer: Renderer | None) -> dict[str, Any]:
    entry = dict(dataclasses.asdict(edge))
    entry["points_mm"] = np.round(entry.pop("points"), 4).tolist()
    if renderer and edge.source == "trace":
        line = resample(edge.points, 80)
        entry["visible"] = {c.id: round(float(renderer.visible(c, line).mean()), 3) for c in scene.cameras}
    return entry


def _sheet_entry(sheet: Sheet, scene: Scene) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "id": sheet.id,
        "center_mm": target_point(sheet, scene, [0.0, 0.0]).round(4).tolist(),
        "world_from_target": sheet_pose(sheet, scene)[0].round(7).tolist(),
        "thickness_mm": sheet.thick,
        "print_scale": sheet.scale,
        "on": sheet.on,
    }
    if sheet.contact:
        entry["contact_edge_mm"] = target_point(sheet, scene, sheet.contact).round(4).tolist()
    return entry


def truth(scene: Scene, renderer: Renderer | None = None) -> dict[str, Any]:
    """Everything that a comparison needs; ``renderer`` adds what each photo sees."""
    centers = {s.id: target_point(s, scene, [0.0, 0.0]) for s in scene.sheets}
    cams = []
    for c in scene.cameras:
        r, t = c.pose()
        cams.append({
            "id": c.id, "size_px": [c.width, c.height], "matrix": c.matrix().tolist(), "dist": list(c.dist),
            "rotation": r.tolist(), "translation_mm": t.tolist(), "decentre_px": list(c.decentre_px),
            "readout_deg": list(c.rs_deg), "readout_mm": list(c.rs_shift_mm),
        })  # fmt: skip
    return {
        "format": 1,
        "name": scene.name,
        "edges": [_edge_entry(e, scene, renderer) for e in scene.outline],
        "other_lines": [
            {"reading": o.reading, "of": o.of, "points_mm": np.round(o.points, 4).tolist()} for o in scene.other_lines
        ],
        "loops": scene.loops,
        "corners": {k: loop_corners(scene, v) for k, v in scene.loops.items()},
        "sheets": [_sheet_entry(s, scene) for s in scene.sheets],
        "strips": [{"id": s.id, "wall": s.wall, "points_mm": print_points(s, scene).round(4).tolist()} for s in scene.strips],
        "lengths": [
            dict(dataclasses.asdict(k), true_mm=round(float(np.linalg.norm(centers[k.ends[0]] - centers[k.ends[1]])), 4))
            for k in scene.lengths
        ],
        "cabinets": [
            {
                "id": c.id,
                "height_mm": [
                    round(float(c.lift(u, v)), 4) for u, v in ((0, 0), (c.width, 0), (c.width, c.depth), (0, c.depth))
                ],
            }
            for c in scene.cabinets
        ],
        "cameras": cams,
    }


def write_truth(path: Path, scene: Scene, renderer: Renderer | None = None) -> dict[str, Any]:
    """Write ``truth.json``, one entry per line, and return it."""
    data = truth(scene, renderer)
    lines = []
    for key, value in data.items():
        if isinstance(value, list):
            inner = ",\n  ".join(json.dumps(v) for v in value)
            lines.append(f' "{key}": [\n  {inner}\n ]')
        else:
            lines.append(f' "{key}": {json.dumps(value)}')
    Path(path).write_text("{\n" + ",\n".join(lines) + "\n}\n")
    return data
