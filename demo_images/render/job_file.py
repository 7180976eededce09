"""The job file a hurried user would have written for a scene: rough clicks in photos, board thicknesses, cabinets.

Clicks are made by projecting true edges into a photo that shows them whole and moving every point 3 to 8 mm to the side at
random: nobody clicks better than that without zooming in, and nothing exact may leak from the truth into the job.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import tomlkit

from .constants import ROUGH_MM
from .paper import sheet_pose
from .scene import Scene, Sheet, TrueEdge
from .truth import resample

if TYPE_CHECKING:
    from .camera import Camera
    from .renderer import Renderer


def _best_photo(edge: TrueEdge, scene: Scene, renderer: Renderer) -> Camera:
    """The photo in which a user would click an edge: shows nearly all of it, as large as possible."""
    line = resample(edge.points, 80)
    shares = {c.id: float(renderer.visible(c, line).mean()) for c in scene.cameras}
    enough = [c for c in scene.cameras if shares[c.id] >= max(shares.values()) - 0.03]
    across = len(line) // 2 if edge.shape == "circle" else -1
    return max(enough, key=lambda c: float(np.linalg.norm(c.project(line[across]) - c.project(line[0]))))


def _rough_points(edge: TrueEdge, rng: np.random.Generator) -> np.ndarray:
    """(n, 3) two or three places near an edge, in the world; of a round one always three."""
    line = resample(edge.points, 101)
    if edge.shape in ("arc", "circle"):
        where = [7, 50, 93] if edge.shape == "arc" else [5, 40, 75]
        d = np.gradient(line, axis=0)[where]
    else:
        where = [6, 50, 94] if np.linalg.norm(line[-1] - line[0]) > 1200 else [7, 93]
        d = line[[-1]] - line[[0]]
    side = np.column_stack([-d[:, 1], d[:, 0], 0.0 * d[:, 0]]) / np.hypot(d[:, 0], d[:, 1])[:, None]
    aside = rng.uniform(*ROUGH_MM, len(where)) * rng.choice([-1, 1], len(where))
    return np.asarray(line[where] + side * aside[:, None])


def rough_clicks(edge: TrueEdge, cam: Camera, rng: np.random.Generator) -> list[list[int]]:
    """Clicks along an edge in a photo, in whole pixels."""
    return [[round(float(u)), round(float(v))] for u, v in cam.project(_rough_points(edge, rng))]


def rough_on_sheet(edge: TrueEdge, sheet: Sheet, scene: Scene, rng: np.random.Generator) -> list[list[float]]:
    """Places along an edge in whole mm of a sheet's frame, as read off a rectified picture."""
    rotation, origin = sheet_pose(sheet, scene)
    local = (_rough_points(edge, rng) - origin) @ rotation  # from the middle of the paper
    x0, y0, x1, y1 = sheet.region
    at = local[:, :2] / sheet.scale + [(x0 + x1) / 2, (y0 + y1) / 2]
    return [[float(round(x)), float(round(y))] for x, y in at]


def write_job(path: Path, scene: Scene, renderer: Renderer) -> None:
    """Write ``job.toml``."""
    rng = np.random.default_rng(scene.seed + 500)
    doc = tomlkit.document()
    doc.add(tomlkit.comment("Invented kitchen. The paths are rough clicks: true edges moved 3 to 8 mm aside at random."))
    doc.add("format", 2)
    doc.add("name", scene.name)
    doc.add("units", "in")
    usual = float(np.median([round(s.thick, 1) for s in scene.sheets if s.kind == "target"]))
    paper = tomlkit.table()
    paper.add("thickness_mm", usual)
    paper.add("thickness_u_mm", 0.05)
    other = {s.id: round(s.thick, 1) for s in scene.sheets if s.kind == "target" and abs(s.thick - usual) > 0.3}
    if other:
        table = tomlkit.inline_table()
        table.update(other)
        paper.add("thickness_by_sheet_mm", table)
    paper.add("strip_thickness_mm", 0.2)
    paper.add("strip_thickness_u_mm", 0.1)
    doc.add("paper", paper)
    doc.add("lengths", tomlkit.aot())
    for k in scene.lengths:
        entry = tomlkit.table()
        first, last = k.ends if k.kind == "bar" else [f"{end}:B" for end in k.ends]  # a tape is held from mark to mark
        entry.update({"kind": k.kind, "from": first, "to": last, "value": f"{k.given_mm:g} mm", "u": f"{k.u_mm:g} mm"})
        if k.kind == "bar":
            entry.update({"temperature_c": 24.0, "material": "aluminium"})
        doc["lengths"].append(entry)  # type: ignore[union-attr]
    doc.add("cabinets", tomlkit.aot())
    for c in scene.cabinets:
        on = [s.id for s in scene.sheets if s.on == c.id and s.kind == "target"]
        if on:
            entry = tomlkit.table()
            entry.update({"id": c.id, "sheets": on})
            doc["cabinets"].append(entry)  # type: ignore[union-attr]
    doc.add("edges", tomlkit.aot())
    for edge in scene.outline:
        entry = tomlkit.table()
        entry.update({"id": edge.id, "kind": edge.kind})
        if edge.source != "trace":
            entry.add("source", edge.source)
        if edge.shape != "line":
            entry.add("shape", edge.shape)
        if edge.drawn_on:
            sheet = next(k for k in scene.sheets if k.id == edge.drawn_on)
            entry.update({"sheet": sheet.id, "path": rough_on_sheet(edge, sheet, scene, rng)})
        elif edge.source == "trace":
            cam = _best_photo(edge, scene, renderer)
            entry.update({"photo": cam.id, "path": rough_clicks(edge, cam, rng)})
        else:
            entry.add("targets", edge.targets)
        doc["edges"].append(entry)  # type: ignore[union-attr]
    doc.add("loops", tomlkit.aot())
    for name, edges in scene.loops.items():
        entry = tomlkit.table()
        entry.update({"id": name, "edges": edges})
        doc["loops"].append(entry)  # type: ignore[union-attr]
    text = re.sub(r"(?<=[^\n]\n)(?=\[)", "\n", tomlkit.dumps(doc))  # a blank line before every table
    Path(path).write_text(text)
