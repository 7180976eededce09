"""Photos of a board as numbers: exact projection by OpenCV, then noise. The lens is known, so every parameter can be judged."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from phototemplate.capture import design
from phototemplate.model import Sightings, Target
from tests.network.phones import Phone

Array = NDArray[np.float64]
SIZE = (4032, 3024)
BROWN = {
    "f": 3008.0, "aspect": 0.0006, "cx": 2026.8, "cy": 1503.7, "k1": 0.085, "k2": -0.19, "p1": 6e-4, "p2": -4e-4, "k3": 0.1,
}  # fmt: skip
POSES = (
    # tilt about x and y, turn in degrees, distance mm, where the board's middle is in the picture (share of half its sides)
    (2, -3, 0, 420, 0.0, 0.0), (35, 4, 2, 480, 0.05, -0.1), (-36, 2, 178, 470, 0.0, 0.1), (3, 38, 91, 500, -0.1, 0.0),
    (-4, -37, -88, 490, 0.1, 0.05), (24, 20, 30, 460, -0.45, -0.4), (-22, 24, -30, 470, 0.45, -0.4),
    (20, -24, 85, 480, -0.45, 0.4), (-24, -20, -95, 480, 0.45, 0.4), (30, -30, 45, 620, 0.0, 0.0),
    (-40, 10, 10, 560, 0.3, 0.3), (10, 42, -170, 560, -0.3, -0.3),
)  # fmt: skip


@dataclass(frozen=True)
class Simulation:
    """What is photographed, and how."""

    lens: dict[str, float] = field(default_factory=lambda: dict(BROWN))
    model: str = "brown"
    size_px: tuple[int, int] = SIZE
    board: str = "K01"
    noise_px: float = 0.06
    rough_mm: tuple[float, float, float] = (0.03, 0.03, 0.15)
    """Spread of the board's points about their nominal places"""
    curl_mm: float = 0.0
    stretch: float = 0.0
    """Print scale along y over that along x, less one"""
    focus: float = 0.001
    """Spread of the photos' relative changes of the principal distance"""
    phone: Phone | None = None
    """What the exposures do instead (Brown's lens only)"""
    poses: tuple[tuple[float, ...], ...] = POSES
    seed: int = 0


def shaped(sim: Simulation, rng: np.random.Generator) -> Array:
    """(P, 3) true points of the board."""
    p = design.target(sim.board).points_mm.copy()
    far = float(np.abs(p[:, 0]).max())
    p[:, 2] += sim.curl_mm * (p[:, 0] / far) ** 2
    p[:, 1] *= 1 + sim.stretch
    return np.asarray(p + rng.standard_normal(p.shape) * np.array(sim.rough_mm))


def project(sim: Simulation, xyz: Array, focus: float = 0.0) -> Array:
    """Camera-frame points to pixels, by OpenCV."""
    values = list(sim.lens.values())
    f = values[0] * (1 + focus)
    matrix = np.array([[f, 0, values[2]], [0, f * (1 + values[1]), values[3]], [0, 0, 1.0]])
    zero = np.zeros(3)
    if sim.model == "fisheye":
        uv = cv2.fisheye.projectPoints(xyz[:, None], zero, zero, matrix, np.array(values[4:]))[0]
    else:
        uv = cv2.projectPoints(xyz, zero, zero, matrix, np.array(values[4:]))[0]
    return np.asarray(uv.reshape(-1, 2))


def take(sim: Simulation) -> tuple[list[Sightings], dict[str, Target]]:
    """Sightings of every pose, and the board as designed."""
    rng = np.random.default_rng([sim.seed, 77])
    points = shaped(sim, rng)
    w, h = sim.size_px
    out = []
    for i, (ax, ay, turn, distance, px, py) in enumerate(sim.poses):
        angles = np.radians([ax, ay, turn])
        r = cv2.Rodrigues(np.array([angles[0], 0, 0]))[0] @ cv2.Rodrigues(np.array([0, angles[1], 0]))[0]
        r = r @ cv2.Rodrigues(np.array([0, 0, angles[2]]))[0] @ np.diag([1.0, -1.0, -1.0])
        f = sim.lens["f"]
        t = np.array([px * w / 2 / f * distance, py * h / 2 / f * distance, distance])
        xyz = points @ r.T + t
        if sim.phone is not None:
            uv = sim.phone.exposure(rng).project(np.array(list(sim.lens.values())), np.eye(3), np.zeros(3), h, xyz)
        else:
            uv = project(sim, xyz, float(rng.normal(0, sim.focus)) if sim.focus else 0.0)
        seen = (uv > 8).all(axis=1) & (uv[:, 0] < w - 9) & (uv[:, 1] < h - 9)
        sigma = sim.noise_px * rng.uniform(0.7, 1.4, len(uv))
        uv = uv + sigma[:, None] * rng.standard_normal(uv.shape)
        ids = np.nonzero(seen)[0]
        cov = sigma[ids, None, None] ** 2 * np.eye(2)
        out.append(Sightings(f"IMG_{i:02d}", (sim.board,) * len(ids), ids.astype(np.int64), uv[ids], cov))
    return out, {sim.board: design.target(sim.board)}
