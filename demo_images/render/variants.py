"""Other kitchens of the same kind, drawn at random, and straight runs in front of a wall of known shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from .constants import BACK_GAP_MM, DEPTH_MM
from .kitchen import (
    KitchenPlan,
    add_bar,
    build_kitchen,
    strip_pieces,
    tape_strips,
    wall_edge,
)
from .phone import random_phone
from .scene import Cabinet, Clutter, Scene, TrueEdge, Wall, bowed_line

FINISHES = ("wood_dark", "painted", "wood_mid", "melamine")


def random_plan(seed: int) -> KitchenPlan:
    """Another kitchen: sizes, walls, levels, finishes, printer, lens and camera places differ from those of the demo."""
    rng = np.random.default_rng([seed, 77])
    sign = rng.choice([-1.0, 1.0], 2)
    bar = float(rng.uniform(1120, 1230))
    printer = float(rng.normal(1.0, 0.0025))
    return KitchenPlan(
        name=f"random kitchen {seed}",
        seed=1000 + seed,
        bow_back=float(sign[0] * rng.uniform(2, 11)),
        bow_left=float(sign[1] * rng.uniform(2, 9)),
        mud=(float(rng.uniform(0, 7)), float(rng.uniform(0, 7))),
        out_of_square=float(rng.normal(-8, 14)),
        lean_left=float(rng.normal(0, 1.5)),
        corner=1000 + float(rng.uniform(-25, 25)),
        narrow=402 + float(rng.uniform(-25, 35)),
        gap=float(rng.uniform(757, 775)),
        right=820 + float(rng.uniform(-10, 25)),
        middle=762 + float(rng.uniform(-25, 25)),
        end=838 + float(rng.uniform(-25, 25)),
        low=float(rng.uniform(-4, -1.5)),
        end_dz=float(rng.normal(0, 1.2)),
        end_tilt=(float(rng.normal(0, 1.5)), float(rng.normal(0, 0.8))),
        finish_back=str(rng.choice(FINISHES)),
        finish_left=str(rng.choice(FINISHES)),
        arris=(float(rng.uniform(0.5, 1.0)), float(rng.uniform(0.5, 1.0))),
        board=float(rng.choice([0.3, 1.5, 2.0])),
        print_scale=(printer + float(rng.normal(0, 5e-4)), printer + float(rng.normal(0, 5e-4))),
        bar_20c=bar,
        bar_reading=round(bar + float(rng.normal(0, 0.1)), 2),
        phone=random_phone(rng),
        sway=90.0,
    )


def make_scene(seed: int, prints: Path | None, width: int = 2016) -> Scene:
    """A random kitchen photographed with pictures ``width`` pixels wide; the same seed gives the same scene.

    Pictures of the prints go to the folder ``prints``; None gives geometry alone.
    """
    scene = build_kitchen(random_plan(seed), prints)
    return scene.scaled(width / scene.cameras[0].width)


def wall_scene(
    prints: Path | None,
    *,
    bow_mm: float = 8.0,
    mud_mm: tuple[float, float] = (5.0, 0.0),
    wall_points: Sequence[Sequence[float]] | None = None,
    widths: Sequence[float] = (762.0, 610.0, 762.0),
    seed: int = 0,
    width: int = 2016,
) -> Scene:
    """A straight run with both ends exposed in front of one wall of known shape.

    The wall runs along y = 0 with the room at -y, from 150 mm before to 150 mm beyond the run; ``wall_points`` (n, 2) gives
    any other shape. A positive bow comes into the room.
    """
    rng = np.random.default_rng([seed, 78])
    plan = replace(random_plan(seed), seed=2000 + seed)
    length = sum(widths)
    s = Scene(f"wall with a bow of {bow_mm:+.1f} mm", seed=plan.seed)
    printer = plan.printer(prints)
    line = (
        [[float(x), float(y)] for x, y in wall_points]
        if wall_points is not None
        else bowed_line(
            (-150, 0), (length + 150, 0), bow_mm=bow_mm, mud0=mud_mm[0], mud1=mud_mm[1], mud_len=300, seed=seed, n=60
        )
    )
    s.walls = [Wall("back", line)]
    x = 0.0
    for i, w in enumerate(widths):
        dz = float(rng.normal(0, 0.4))
        s.cabinets.append(
            Cabinet(
                f"cabinet {i + 1}", x, -BACK_GAP_MM, w, depth=DEPTH_MM, doors=1 + (w > 500), dz=dz,
                mat_front=plan.finish_back, arris_mm=plan.arris[0], top="open" if i == len(widths) - 1 else "rails",
            )
        )  # fmt: skip
        for k, (share, v) in enumerate(((0.27, 140.0), (0.72, 415.0))):
            n = 2 * i + k + 1
            turn = float(rng.normal(0, 5)) + (0 if w > 650 else 90.0 * k)
            at = s.cabinets[-1].world(np.array([share * w, v, 0.0]))
            s.sheets.append(printer.sheet(f"S{n:02d}", float(at[0]), float(at[1]), turn, f"cabinet {i + 1}", plan.board))
        x += w
    bar = min(plan.bar_20c, length - 300)
    add_bar(s, printer, (140.0, -312.0), 0.4, bar, round(bar + float(rng.normal(0, 0.1)), 2))
    count = int(length // 275)
    tape_strips(s, printer, "back", strip_pieces(1, count), 152.0, 150.0 + length, plan.seed)
    s.clutter += [Clutter("cup", length * 0.55, -60, 30, [82, 82, 95], 1.6, "ceramic"), Clutter("hammer", 300, -430, 40)]
    s.outline = [
        wall_edge(s, "back", "wall", np.inf, sorted({p.id[:3] for p in s.strips})),
        TrueEdge("end-left", "end", s.cabinets[0].edge("left").tolist()),
        TrueEdge("front", "front", np.vstack([c.edge("front") for c in s.cabinets]).tolist()),
        TrueEdge("end-right", "end", s.cabinets[-1].edge("right").tolist()),
    ]
    s.loops = {"run": ["wall", "end-left", "front", "end-right"]}
    for i, share in enumerate((0.05, 0.3, 0.5, 0.75, 0.95, 0.5, 0.2, 0.85)):
        camera_rng = np.random.default_rng([seed, 79, i])
        roll = float([1, -2, 90, 2, -1, 3, -88, 0][i])
        eye = [share * length, -1280 - 350 * (i == 5), 1050 + 200 * (i in (2, 5, 6))]
        eye = [float(v + d) for v, d in zip(eye, camera_rng.normal(0, 60, 3), strict=True)]
        target = [length * (0.5 + 0.75 * (share - 0.5)), -300.0, 0.0]
        s.cameras.append(plan.phone.photo(i, eye, target, roll, camera_rng))
    return s.scaled(width / s.cameras[0].width)
