"""Clicks of a customer's photos from cameras of several kinds, at the level of coordinates: what is drawn nowhere needs no
pixels."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from phototemplate.model import Array, PhotoMeta
from phototemplate.numerics import lens
from phototemplate.studies.clicked import fit_clicked
from phototemplate.studies.clicked_problem import ClickedLoop, ClickedPhoto, KnownThing, StraightLine
from phototemplate.studies.known_sizes import KnownSize, known_size
from tests.network.synthetic import look_at

WIDTH_PX = 4000


@dataclass(frozen=True)
class ClickedCamera:
    """A lens and what its file says of it."""

    share: float
    """Principal distance, of the picture's width"""
    radial: tuple[float, float, float]
    """k1, k2, k3"""
    told: bool = False
    """EXIF tells the principal distance, to 3 %"""
    height_px: int = 3000
    thing: KnownSize = field(default_factory=lambda: known_size("A4"))


SMALL = KnownSize("small", 90.0, 60.0, 0.1, "a print of 90 mm")
CAMERAS = {
    "wide": ClickedCamera(0.5, (-0.3, 0.09, 0.0)), "wide mild": ClickedCamera(0.55, (-0.15, 0.03, 0.0)),
    "phone without EXIF": ClickedCamera(0.75, (0.02, -0.02, 0.0)), "phone": ClickedCamera(0.75, (0.02, -0.02, 0.0), True),
    "phone, 90 mm": ClickedCamera(0.75, (0.02, -0.02, 0.0), True, thing=SMALL),
}  # fmt: skip
"""On which priors may be tried."""
JUDGES = {
    "drone": ClickedCamera(458.654 / 752, (-0.28340811, 0.07395907, 0.0), height_px=2553),
    "car": ClickedCamera(984.2439 / 1392, (-0.3728755, 0.2037299, -0.07233722), height_px=1471),
    "depth camera": ClickedCamera(517.306408 / 640, (0.262383, -0.953104, 1.163314)),
    "digital camera of 2000": ClickedCamera(657.332 / 640, (-0.25351, 0.11957, 0.0)),
    "phone of 28 mm, 90 mm": ClickedCamera(3260.6 / 4032, (0.12, -0.3, 0.2), True, thing=SMALL),
}
"""Which judge them: published calibrations. EuRoC MAV, cam0 (Burri et al., IJRR 35 (2016) 1157-1163), KITTI raw, camera 0
(Geiger et al., IJRR 32 (2013) 1231-1237), TUM RGB-D, freiburg1 (Sturm et al., IROS 2012), the example of
the camera calibration toolbox (Bouguet), and a principal distance found of a phone with a usual phone's bending."""
RUN = ClickedLoop("run", ("a", "d", "c", "b"), (("left", "end"), ("front", "front"), ("right", "end"), ("wall", "wall")),
                  (True,) * 4)
OFF_SQUARE_MM = 4.0
"""mm. Standard deviation of a corner's place, 0.5 degrees of a depth of 620 mm. As of the customers' pictures"""
CLICK_PX, SHEET_PX, DEPTH_MM = 4.0, 2.0, 620.0
STRAIGHT = (
    ((-400.0, -DEPTH_MM, 0.0), (3400.0, -DEPTH_MM, 0.0)), ((0.0, 30.0, 500.0), (3000.0, 30.0, 500.0)),
    ((0.0, 0.0, 0.0), (3000.0, 0.0, 0.0)),
)  # fmt: skip
"""mm. Ends of things that are straight: the front, the underside of a wall cupboard, the wall"""


def clicked_lengths(camera: str, seed: int, photos: int, straight: bool = False, closed: bool = False) -> tuple[Array, Array]:
    """Relative errors and relative U (n,) of all lengths between six corners of a run, a known thing lying on it; ``straight``:
    five clicks on each of three straight lines in every photo; ``closed``: the run is told as one with four corners, as every
    job with a price has it, which are square to some millimetres only. Nothing where not all of them are seen then."""
    kind = (CAMERAS | JUDGES)[camera]
    share, size_px = kind.share, (WIDTH_PX, kind.height_px)
    rng = np.random.default_rng([97, seed])
    run = float(rng.uniform(1500, 3000))
    points = {"a": (0.0, 0.0), "b": (run, 0.0), "c": (run, -DEPTH_MM), "d": (0.0, -DEPTH_MM), "e": (0.4 * run, -DEPTH_MM),
              "f": (0.7 * run, -DEPTH_MM)}  # fmt: skip
    if closed:
        moved = np.random.default_rng([98, seed]).normal(0.0, OFF_SQUARE_MM, (4, 2))
        points = {n: (x, y) if n in "ef" else tuple(moved["abcd".index(n)] + [x, y]) for n, (x, y) in points.items()}
    plan = np.array(list(points.values()))
    params = lens.start_params("brown", share * WIDTH_PX * rng.normal(1, 0.02), size_px)
    params[[4, 5, 8]] = kind.radial
    turn = float(rng.uniform(-0.5, 0.5))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    half = np.array([kind.thing.long_mm, kind.thing.short_mm]) / 2.0
    sheet = half * [[-1, -1], [1, -1], [1, 1], [-1, 1]] @ spin.T
    sheet += [run * rng.uniform(0.3, 0.7), -300.0]
    told = rng.normal(1, 0.03)
    taken = []
    for i in range(photos):
        eye = np.array([run * (0.3 + 0.4 * i / max(photos - 1, 1)), -1500.0 * (share / 0.75) ** 0.3, 1100.0])
        rotation, translation = look_at(eye + rng.normal(0, 60, 3), np.array([run / 2, -250.0, 0.0]), rng.normal(0, 0.05))
        uv, corners = (
            lens.project("brown", params, np.column_stack([xy, np.zeros(len(xy))]) @ rotation.T + translation)[0]
            for xy in (plan, sheet)
        )
        uv, corners = uv + rng.normal(0, CLICK_PX, uv.shape), corners + rng.normal(0, SHEET_PX, corners.shape)
        inside = np.all((uv > 0) & (uv < np.array(size_px)), axis=1)
        focal35 = float(params[0]) * told * 43.2666 / float(np.hypot(*size_px)) if kind.told else None
        meta = PhotoMeta(f"p{i}", Path(f"p{i}.jpg"), size_px, camera_id="camera", focal35_mm=focal35)
        lines = []
        for a, b in STRAIGHT if straight else ():
            along = np.linspace(a, b, 41) @ rotation.T + translation
            along = along[(along[:, 2] > 100.0) & (lens.off_axis("brown", along) < lens.LENS_MODELS["brown"].limit(params[4:]))]
            seen = lens.project("brown", params, along)[0]
            seen = seen[np.all((seen > 0) & (seen < np.array(size_px)), axis=1)]
            if len(seen) > 4:
                clicks = seen[np.linspace(0, len(seen) - 1, 5).round().astype(int)]
                lines.append(StraightLine(clicks + rng.normal(0, CLICK_PX, clicks.shape), CLICK_PX))
        shown = {name: p for name, p, ok in zip(points, uv, inside, strict=True) if ok}
        known = KnownThing(kind.thing.name, kind.thing, corners, np.full(4, SHEET_PX))
        taken.append(ClickedPhoto(meta, shown, (known,), straight=tuple(lines)))
    if closed and not {"a", "b", "c", "d"} <= {n for p in taken for n in p.points}:
        return np.zeros(0), np.zeros(0)
    found = fit_clicked(taken, loops=[RUN] if closed else ())
    where = {name: k for k, name in enumerate(found.names)}
    errors, U = [], []
    for a, b in itertools.combinations(found.names, 2):
        i, j = where[a], where[b]
        apart = found.xy_mm[j] - found.xy_mm[i]
        length, true = float(np.linalg.norm(apart)), float(np.linalg.norm(np.subtract(points[b], points[a])))
        row = np.zeros(2 * len(where))
        row[2 * j : 2 * j + 2], row[2 * i : 2 * i + 2] = apart / length, -apart / length
        errors.append(length / true - 1.0)
        U.append(2.0 * float(np.sqrt(row @ found.influences.cov @ row)) / true)
    return np.array(errors), np.array(U)
