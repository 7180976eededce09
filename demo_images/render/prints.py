"""The project's own printed targets, as pictures for the scene."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from phototemplate.capture import design
from phototemplate.capture.sheets import raster

from .constants import PX_PER_MM
from .paper import sheet_point, strip_target_point, strip_truth, target_point
from .scene import Scene, Sheet, Strip


@dataclass(frozen=True)
class Printer:
    """A home printer: not quite to scale, and not the same along and across its feed."""

    folder: Path
    """Where the pictures go."""
    paper: str = "Letter"
    feed: float = 0.9975
    """True length over nominal length along the paper's long side."""
    cross: float = 0.9985
    spread: float = 1e-4
    """Standard deviation from sheet to sheet."""
    seed: int = 0
    draw: bool = True
    """False: geometry only, no picture is written."""

    def picture(self, target_id: str, trim_left_mm: float = 0.0, trim_right_mm: float = 0.0) -> tuple[str, list[float]]:
        """Write the picture of one target after cutting; returns its path and its region in the target's frame."""
        x0, y0, x1, y1 = design.paper_box(target_id, self.paper)
        a, b = round(trim_left_mm * PX_PER_MM), round(trim_right_mm * PX_PER_MM)
        path = self.folder / f"{target_id}.png"
        if self.draw:
            image, frame = raster(target_id, PX_PER_MM, self.paper)
            if not np.allclose(frame.box_mm, (x0, y0, x1, y1)):
                raise ValueError(f"{target_id} on {self.paper} is not a whole number of pixels")
            self.folder.mkdir(parents=True, exist_ok=True)
            cv2.imwrite(str(path), image[:, a : image.shape[1] - b])
        return str(path), [x0 + a / PX_PER_MM, y0, x1 - b / PX_PER_MM, y1]

    def scale_of(self, target_id: str) -> list[float]:
        """True print scale along the target's x and y. Everything is printed with x along the paper's long side."""
        rng = np.random.default_rng([self.seed, *target_id.encode()])
        return [self.feed + float(rng.normal(0, self.spread)), self.cross + float(rng.normal(0, self.spread))]

    def sheet(
        self, target_id: str, x: float, y: float, rot_deg: float, on: str | None, thick: float, kind: str = "target"
    ) -> Sheet:
        """A printed sheet with the centre of its paper at (x, y)."""
        path, region = self.picture(target_id)
        scale = self.scale_of(target_id)
        w, h = (region[2] - region[0]) * scale[0], (region[3] - region[1]) * scale[1]
        return Sheet(target_id, path, w, h, x, y, rot_deg, kind=kind, on=on, thick=thick, region=region, scale=scale)

    def strip(
        self, piece: str, wall: str, s0: float, gap: float, loose: float = 0.0, trim: tuple[float, float] = (0.0, 0.0)
    ) -> Strip:
        """A strip piece along a wall, from arc length s0 on."""
        path, region = self.picture(piece, *trim)
        scale = self.scale_of(piece)
        length, height = (region[2] - region[0]) * scale[0], (region[3] - region[1]) * scale[1]
        return Strip(piece, path, length, height, wall, s0, gap=gap, loose=loose, region=region, scale=scale)


def butt(
    printer: Printer,
    target_id: str,
    scene: Scene,
    on: str,
    edge: tuple[tuple[float, float], tuple[float, float]],
    along: float,
    thick: float,
    gaps: tuple[float, float] = (0.1, 0.1),
) -> Sheet:
    """A sheet whose cut contact edge lies along a plan line, ``gaps`` mm short of it at its left and right end.

    ``edge``: two plan points, the room side on their right. ``along``: distance from the first point to the sheet's middle.
    """
    a, b = (np.array(p, float) for p in edge)
    t = (b - a) / np.linalg.norm(b - a)
    n = np.array([t[1], -t[0]])  # away from the wall or panel, towards the sheet
    sheet = printer.sheet(target_id, 0.0, 0.0, 0.0, on, thick)
    corner = np.array(design.target(target_id).contact_edge_mm)
    sheet.contact = [[float(v) for v in p] for p in corner]
    left, right = (a + t * (along + s * sheet.w / 2) + n * g for s, g in zip((-1, 1), gaps, strict=True))
    d = right - left
    sheet.rot_deg = float(np.degrees(np.arctan2(d[1], d[0])))
    middle = (left + right) / 2
    for _ in range(5):  # a tilted top shortens the plan by a little
        top = (sheet_point(sheet, scene, 0, 0)[:2] + sheet_point(sheet, scene, sheet.w, 0)[:2]) / 2
        if sheet.x == 0 and sheet.y == 0:
            sheet.x, sheet.y = middle + n * sheet.h / 2
        else:
            sheet.x, sheet.y = np.array([sheet.x, sheet.y]) + middle - top
    sheet.x, sheet.y = float(sheet.x), float(sheet.y)
    return sheet


def print_points(paper: Sheet | Strip, scene: Scene) -> np.ndarray:
    """(P, 3) world positions of a target's measured points."""
    xy = np.array(design.target(paper.id).points_mm)[:, :2]
    if isinstance(paper, Strip):
        return strip_target_point(strip_truth(paper, scene), xy)
    return target_point(paper, scene, xy)


def print_markers(paper: Sheet | Strip, scene: Scene) -> np.ndarray:
    """(M, 4, 3) world positions of a target's marker corners."""
    xy = np.array([m.corners_mm for m in design.markers(paper.id)])[..., :2]
    if isinstance(paper, Strip):
        return strip_target_point(strip_truth(paper, scene), xy)
    return target_point(paper, scene, xy)
