"""Pictures of a wall of known shape, drawn print by print: every printed strip and sheet goes through the camera's own
projection (``cv2.projectPoints``), then through the phone's blur, noise, sharpening, tone curve and JPEG.

The geometry and the truth are those of ``demo_images``; only the light is simple (even, no shadows), so that a wall costs
seconds instead of a quarter of an hour. What a renderer with light would add to the walls is held by two of them rendered
so (``wall.RENDERED``).
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from demo_images.render.camera import Camera
from demo_images.render.develop import develop, save_jpeg
from demo_images.render.job_file import write_job
from demo_images.render.kitchen import wall_edge
from demo_images.render.paper import sheet_point, strip_point, strip_truth
from demo_images.render.scene import Scene, Sheet, Strip
from demo_images.render.textures import load_print
from demo_images.render.truth import write_truth
from demo_images.render.variants import wall_scene

PHOTOS = (0, 1, 2, 3, 4, 6)
FINE = 3
"""Samples per pixel and axis"""
COARSE_PX = 4
WALL_ALBEDO, TOP_ALBEDO = (0.62, 0.60, 0.55), (0.20, 0.13, 0.08)


def drawn_wall(seed: int, folder: Path, width_px: int = 2016) -> None:
    """A wall with a bow of 0 to 15 mm either way and corners swollen by 0 to 8 mm, as a job folder with ``truth.json``."""
    rng = np.random.default_rng([95, seed])
    widths = [float(w) for w in rng.choice([457.0, 533.0, 610.0, 762.0, 914.0], 3)]
    length = sum(widths)
    bow = float(rng.uniform(0, 15) * rng.choice([-1, 1]) * (rng.random() < 0.85))
    swell = rng.uniform(0, 8, 2) * (rng.random(2) < 0.6)
    reach = rng.uniform(120, 320, 2)
    waves = rng.normal(0, [0.5, 0.3])
    x = np.unique(np.concatenate([np.arange(-150.0, length + 151.0, 20.0), [length + 150.0]]))
    s = np.clip(x, 0.0, length)  # the wall runs on straight beyond both corners
    into = bow * 4 * (s / length) * (1 - s / length)
    for gone, mud, far in ((s, swell[0], reach[0]), (length - s, swell[1], reach[1])):
        into = into + mud * np.clip(1 - gone / far, 0, 1) ** 2
    for k, a in enumerate(waves):
        into = into + a * np.sin((k + 2) * np.pi * s / length)
    with tempfile.TemporaryDirectory() as prints:
        scene = wall_scene(
            Path(prints), wall_points=np.column_stack([x, -into]).tolist(), widths=widths, seed=500 + seed, width=width_px
        )
        scene.name = f"drawn wall {seed}"
        scene.cameras = [scene.cameras[i] for i in PHOTOS]
        strips = sorted({p.id[:3] for p in scene.strips})
        scene.outline, scene.loops = [wall_edge(scene, "back", "wall", np.inf, strips)], {}
        (folder / "photos").mkdir(parents=True, exist_ok=True)
        for cam in scene.cameras:
            save_jpeg(develop(picture(scene, cam), cam), cam, folder / "photos" / f"{cam.id}.jpg")
        write_truth(folder / "truth.json", scene)
        write_job(folder / "job.toml", scene, None)  # nothing is clicked in a photo


def picture(scene: Scene, cam: Camera) -> np.ndarray:
    """(h, w, 3) linear radiance."""
    rng = np.random.default_rng(cam.seed + 5)
    image = np.tile(np.array(WALL_ALBEDO, np.float32), (cam.height, cam.width, 1))
    for cabinet in scene.cabinets:
        corners = np.array([[0, 0], [cabinet.width, 0], [cabinet.width, cabinet.depth], [0, cabinet.depth]])
        ring = [cabinet.world(np.array([*c, 0.0])) for c in corners]
        side = np.vstack([np.linspace(a, b, 20, endpoint=False) for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)])
        cv2.fillPoly(image, [np.round(16 * cam.project(side)).astype(np.int32)], TOP_ALBEDO, cv2.LINE_AA, 4)
    grain = rng.normal(1.0, 0.02, (cam.height // 3 + 1, cam.width // 3 + 1)).astype(np.float32)
    image *= cv2.resize(grain, (cam.width, cam.height), interpolation=cv2.INTER_LINEAR)[..., None]
    papers: list[Strip | Sheet] = [*scene.strips, *scene.sheets]
    for paper in papers:
        _lay(image, scene, cam, paper)
    v, u = np.mgrid[0 : cam.height, 0 : cam.width].astype(np.float32)
    image *= (1.0 + 0.15 * (u / cam.width - 0.5) - 0.1 * (v / cam.height - 0.5))[..., None]  # a window on one side
    return image


def _lay(image: np.ndarray, scene: Scene, cam: Camera, paper: Strip | Sheet) -> None:
    """Draw one print into the picture."""
    size = (paper.length, paper.height) if isinstance(paper, Strip) else (paper.w, paper.h)
    entry: dict[str, Any] = strip_truth(paper, scene) if isinstance(paper, Strip) else {}

    def seen(ab: np.ndarray) -> np.ndarray:
        flat = ab.reshape(-1, 2)
        if isinstance(paper, Strip):
            world = strip_point(entry, flat[:, 0], flat[:, 1])
        else:
            world = sheet_point(paper, scene, flat[:, 0], flat[:, 1])
        return cam.project(world).reshape(ab.shape)

    grid = np.stack(np.meshgrid(np.linspace(0, size[0], 30), np.linspace(0, size[1], 8)), axis=-1)
    at = seen(grid).reshape(-1, 2)
    low = np.floor(at.min(axis=0)).astype(int) - 2
    high = np.ceil(at.max(axis=0)).astype(int) + 3
    low, high = np.maximum(low, 0), np.minimum(high, [cam.width, cam.height])
    if np.any(high - low < 2):
        return
    # where on the print a pixel looks: the plane's homography, then corrected by what the true projection leaves
    plane, _ = cv2.findHomography(grid.reshape(-1, 2), at)
    back = np.linalg.inv(plane)
    count = -(-(high - low) // COARSE_PX) + 1
    pixel = np.stack(np.meshgrid(*(low[k] - 0.5 + COARSE_PX * np.arange(count[k]) for k in (0, 1))), axis=-1)
    ab = _through(back, pixel)
    for _ in range(5):
        ab = _through(back, _through(plane, ab) + pixel - seen(ab))
    fine = [low[k] - 0.5 + (np.arange((high[k] - low[k]) * FINE) + 0.5) / FINE for k in (0, 1)]
    u, v = (((f - low[k] + 0.5) / COARSE_PX).astype(np.float32) for k, f in enumerate(fine))
    uu, vv = np.meshgrid(u, v)
    ab_fine = cv2.remap(ab.astype(np.float32), uu, vv, cv2.INTER_LINEAR)
    print_ = load_print(paper.image)
    shrink = max(1, round(0.5 * print_.shape[1] / size[0] / (FINE * _px_per_mm(plane, size))))
    shown = np.asarray(cv2.resize(print_, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA))
    shown = shown[..., None] if shown.ndim == 2 else shown
    scale = np.array([shown.shape[1] / size[0], shown.shape[0] / size[1]], np.float32)
    x, y = (ab_fine[..., k] * scale[k] - 0.5 for k in (0, 1))
    value = cv2.remap(shown, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    value = np.repeat(value[..., None], 3, axis=-1) if value.ndim == 2 else value
    inside = np.all((ab_fine >= 0) & (ab_fine <= np.array(size, np.float32)), axis=-1).astype(np.float32)[..., None]
    box = (high - low)[::-1]

    def mean(a: np.ndarray) -> np.ndarray:
        return a.reshape(box[0], FINE, box[1], FINE, -1).mean(axis=(1, 3))

    cover = mean(inside)
    part = image[low[1] : high[1], low[0] : high[0]]
    part *= 1 - cover
    part += mean(value * inside)


def _through(h: np.ndarray, xy: np.ndarray) -> np.ndarray:
    p = np.concatenate([xy, np.ones((*xy.shape[:-1], 1))], axis=-1) @ h.T
    return np.asarray(p[..., :2] / p[..., 2:])


def _px_per_mm(plane: np.ndarray, size: tuple[float, float]) -> float:
    """Along the print's long side, at its middle."""
    middle, half = np.array(size) / 2, np.array([0.5, 0.0])
    return float(np.linalg.norm(_through(plane, middle + half) - _through(plane, middle - half)))
