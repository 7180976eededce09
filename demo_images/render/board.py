"""A calibration board on a table, photographed with the demo's lens: what ``calibration/`` calibrates.

    python -m demo_images.render.board OUT [--scale 0.5] [--phone ideal]

writes ``photos/`` and ``truth.json`` (lens of every photo, true board points). The board is not flat and not printed to scale.
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from .develop import develop, save_jpeg
from .phone import IDEAL, PHONES, Phone
from .prints import Printer, print_points
from .renderer import Renderer
from .scene import Clutter, Scene

BOARD = "K02"
FIRST_NUMBER = 2101
VIEWS = (
    # azimuth and tilt off the vertical in degrees, distance in mm, where the camera aims off the board's centre, roll
    (-90, 4, 470, (0, 0), 0), (-90, 36, 520, (0, 30), 3), (90, 36, 520, (0, -30), -178), (0, 38, 560, (-20, 0), 90),
    (180, 38, 550, (20, 0), -92), (-60, 26, 540, (-160, 100), 28), (-120, 28, 540, (160, 110), -31),
    (-75, 24, 560, (-170, -60), 84), (-105, 26, 560, (150, -110), -86), (45, 42, 760, (20, 10), 178),
    (-90, 14, 430, (30, -20), -1), (-90, 48, 700, (-40, 20), 1),
    (-90, 22, 520, (180, -120), 0), (-90, 24, 520, (-180, -120), 2),
)  # fmt: skip


def board_scene(folder: Path, phone: Phone = IDEAL) -> Scene:
    """Board on a table and the phone around it; its picture goes to ``folder``."""
    s = Scene("calibration board", seed=11)
    s.clutter.append(Clutter("box", 0.0, 0.0, 0.0, [1500.0, 1100.0, 30.0], -30.0, "cardboard"))
    s.room = [-1800.0, -1800.0, 1800.0, 1800.0]
    sheet = Printer(folder, paper="A3", seed=4).sheet(BOARD, 0.0, 0.0, 0.0, None, 3.0)
    sheet.curl_mm, sheet.curl_dir_deg = 0.9, 20.0  # glued to a board that bends a little
    s.sheets.append(sheet)
    phone = replace(phone, first_number=FIRST_NUMBER)
    for i, (azimuth, tilt, distance, aim, roll) in enumerate(VIEWS):
        rng = np.random.default_rng([11, i])
        a, t = math.radians(azimuth), math.radians(tilt)
        target = [float(aim[0]), float(aim[1]), 3.0]
        away = np.array([math.cos(a) * math.sin(t), math.sin(a) * math.sin(t), math.cos(t)])
        eye = (np.array(target) + distance * away + rng.normal(0, 8, 3)).tolist()
        s.cameras.append(phone.photo(i, eye, target, float(roll), rng))
    return s


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m demo_images.render.board", description=__doc__)
    parser.add_argument("out", type=Path, help="folder for photos/ and truth.json")
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--phone", choices=PHONES, default="ideal", help="ideal: one lens for all photos, as in a profile")
    parser.add_argument("--spp", type=int, default=8)
    parser.add_argument("--only", type=int, nargs="*", help="numbers of photos, from 0")
    args = parser.parse_args()
    (args.out / "photos").mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        scene = board_scene(Path(folder), PHONES[args.phone]).scaled(args.scale)
        renderer = Renderer(scene, bake_spp=64, light_samples=1)
        truth = {
            "points_mm": print_points(scene.sheets[0], scene).tolist(),
            "photos": {
                c.id: {"fx": c.fx, "fy": c.fy, "cx": c.cx, "cy": c.cy, "dist": c.dist, "width": c.width, "height": c.height}
                for c in scene.cameras
            },
        }
        (args.out / "truth.json").write_text(json.dumps(truth, indent=1))
        for i, cam in enumerate(scene.cameras):
            if args.only is not None and i not in args.only:
                continue
            start = time.perf_counter()
            save_jpeg(develop(renderer.radiance(cam, args.spp), cam), cam, args.out / "photos" / f"{cam.id}.jpg")
            print(f"{cam.id}: {cam.width} x {cam.height}, {time.perf_counter() - start:.1f} s", flush=True)


if __name__ == "__main__":
    main()
