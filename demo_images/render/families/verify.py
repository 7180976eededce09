"""Kitchens that only judge: nothing may be chosen on their pictures."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from ..scene import Prism, Scene, bowed_line
from ..site import Look, Site
from .family import Family, Phones, chosen, printed


def galley(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """Two white gloss runs face each other across an aisle, one some millimetres lower; one lamp, late in the day."""
    rng = np.random.default_rng([seed, 201])
    look = Look(chosen(phones, seed), board_mm=float(rng.choice([0.2, 1.0])), print_scale=printed(rng), light="dim")
    s = Site(f"galley {seed}", 4100 + seed, prints, look)
    s.scene.mat_floor = "wood_floor"
    style = {
        "face_frame": False, "slab": True, "depth": 565.0, "door_top_gap": float(rng.uniform(2, 5)), "door_gap": 1.5,
        "mat_front": "gloss_white", "mat_edge": "chipboard_edge", "handles": False, "arris_mm": float(rng.uniform(0.2, 0.5)),
    }  # fmt: skip
    wide, aisle = float(rng.uniform(1500, 1750)), float(rng.uniform(1050, 1200))
    low = float(rng.uniform(-9, -3))
    a = s.row("a", (0.0, -18.0), 0, [wide * 0.4, wide * 0.6], doors=2, **style)
    y = -18 - 565 - 19 - aisle - 19 - 565
    b = s.row("b", (wide - 60, y), 180, [wide * 0.55, wide * 0.35], doors=0, drawers=3, **(style | {"dz": low}))
    s.wall("a", bowed_line((-250, 0), (wide + 250, 0), bow_mm=float(rng.uniform(-7, 7)), wave_mm=0.4, seed=seed))
    s.wall("b", bowed_line((wide + 250, y - 18), (-250, y - 18), bow_mm=float(rng.uniform(-7, 7)), wave_mm=0.4, seed=seed + 1))
    s.scene.room = [-1900.0, y - 400, wide + 1900, 400.0]
    s.lay(a[0], 0.4, 150, 2)
    s.lay(a[0], 0.55, 420, 91)
    s.lay(a[1], 0.3, 420, -3)
    s.lay(a[1], 0.75, 160, 90)
    s.lay(b[0], 0.3, 150, 4)
    s.lay(b[0], 0.7, 420, 92)
    s.lay(b[1], 0.4, 160, 88)
    s.lay(b[1], 0.55, 430, -5)
    s.bar((120.0, -290.0), -0.4, float(rng.uniform(1050, 1200)))
    s.tape("S02", "S06")
    on_a = s.strips("a", 255.0, 245.0 + wide)
    on_b = s.strips("b", 310.0, 300.0 + 0.9 * wide)
    s.thing("cup", wide * 0.55, -80, 15, size=[80.0, 80.0, 90.0], mat="blue")
    s.wall_edge("wall-a", "a", on_a)
    s.edge_of("end-a-left", "end", [(a[0], "left")])
    s.edge_of("front-a", "front", [(a[0], "front"), (a[1], "front")])
    s.edge_of("end-a-right", "end", [(a[1], "right")])
    s.wall_edge("wall-b", "b", on_b)
    s.edge_of("end-b-right", "end", [(b[0], "left")])
    s.edge_of("front-b", "front", [(b[0], "front"), (b[1], "front")])
    s.edge_of("end-b-left", "end", [(b[1], "right")])
    s.loop("A", "wall-a", "end-a-left", "front-a", "end-a-right")
    s.loop("B", "wall-b", "end-b-right", "front-b", "end-b-left")
    m, back = wide / 2, y + 300
    return s.shoot([
        ((m * 0.6, -300), -80, 1000, 1050, 0), ((m * 1.4, -300), -100, 1000, 1050, 0), ((wide - 200, -300), -50, 950, 1000, 90),
        ((200, -300), -130, 950, 1000, 0), ((m * 0.6, back), 80, 1000, 1050, 0), ((m * 1.4, back), 100, 1000, 1050, 0),
        ((wide - 300, back), 50, 950, 1000, 0), ((150, back), 130, 950, 1000, -90), ((m, y / 2), 0, 1750, 1350, 0),
        ((m, y / 2), 180, 1750, 1350, 0), ((m + 100, -400), 5, 1500, 1350, 90), ((m, back), -175, 1500, 1350, 0),
    ])  # fmt: skip


def diagonal(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """An L whose corner is cut by a diagonal front; dark blue frames with drawers over doors, low sun."""
    rng = np.random.default_rng([seed, 202])
    look = Look(chosen(phones, seed), board_mm=float(rng.choice([1.5, 5.0])), print_scale=printed(rng), light="sun")
    s = Site(f"diagonal L {seed}", 4200 + seed, prints, look)
    style = {"depth": 590.0, "mat_front": "navy", "arris_mm": float(rng.uniform(0.6, 1.1)), "doors": 2, "drawers": 1}
    side, w1, w2 = float(rng.uniform(890, 930)), float(rng.uniform(700, 820)), float(rng.uniform(800, 900))
    x0, y0, d = 14.0, -14.0, 590.0
    corner = [[x0, y0 - side], [x0 + d, y0 - side], [x0 + side, y0 - d], [x0 + side, y0], [x0, y0]]
    box = Prism("d", corner, -776, 0.0, "plywood_face", "navy", style["arris_mm"], joined=[0, 2], panel=18.0)  # type: ignore[arg-type]
    s.scene.prisms.append(box)
    middle = (np.array(corner[1]) + np.array(corner[2])) / 2 + 10.0 * np.array([1, -1]) / math.sqrt(2)
    face = math.hypot(side - d, side - d) - 60
    s.box(float(middle[0]), float(middle[1]), 45, (face, 19, 740), -755, "navy")
    r1 = s.cabinet("r1", x0 + side, y0, w1, **style)
    r2 = s.cabinet("l1", x0, y0 - side - w2, w2, 90, **(style | {"top": "open"}))
    right, low = x0 + side + w1, y0 - side - w2
    s.wall("back", bowed_line((0, 0), (right + 700, 0), bow_mm=float(rng.uniform(2, 8)), mud0=5, seed=seed))
    s.wall(
        "left", bowed_line((0, 0), (float(rng.normal(0, 9)), low - 700), bow_mm=3, mud0=4, into="left", seed=seed + 1), "left"
    )
    s.sheet(box, 230, -170, 45)
    s.sheet(box, 520, -470, -45)
    s.lay(r1, 0.3, 150, 4)
    s.lay(r1, 0.7, 420, 90)
    s.lay(r2, 0.72, 430, 3)
    s.lay(r2, 0.3, 150, 91)
    s.lay(r2, 0.25, 440, 178)
    s.bar((200.0, -330.0), 1.0, float(rng.uniform(950, 1100)))
    s.tape("S07", "S04")
    on_left = s.strips("left", 15.0, -low - 10)
    on_back = s.strips("back", 15.0, right - 10)
    s.thing("cup", 150, -520, 40, size=[84.0, 84.0, 96.0], mat="ceramic")
    s.wall_edge("wall-left", "left", on_left, -low + 30)
    s.edge_of("end-left", "end", [(r2, "left")])
    s.edge_of("front-left", "front", [(r2, "front")])
    s.edge_of("front-corner", "front", [(box, 1)])
    s.edge_of("front-back", "front", [(r1, "front")])
    s.edge_of("end-right", "end", [(r1, "right")])
    s.wall_edge("wall-back", "back", on_back, right + 30)
    s.loop("corner", "wall-left", "end-left", "front-left", "front-corner", "front-back", "end-right", "wall-back")
    return s.shoot([
        ((500, -450), -45, 1050, 1100, 0), ((450, -400), -65, 1250, 1250, 90), ((right - 400, -320), -80, 1050, 1050, 0),
        ((right - 250, -300), -50, 950, 1050, 0), ((right - 500, -320), -105, 1150, 1200, 0),
        ((330, low + 500), -5, 1050, 1050, 0),
        ((330, low + 250), -40, 950, 1000, 90), ((320, low + 700), 20, 1150, 1150, 0), ((320, low + 300), -75, 900, 950, 0),
        ((700, -700), -45, 1450, 1450, 0), ((right - 300, -250), -20, 1000, 1100, -90),
    ])  # fmt: skip


def round_end(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A peninsula with an old marble top that ends in a half circle; even light, glossy."""
    rng = np.random.default_rng([seed, 203])
    look = Look(chosen(phones, seed), board_mm=0.1, print_scale=printed(rng), light="bright", paper="A4")
    s = Site(f"round end {seed}", 4300 + seed, prints, look)
    radius, long, thick = float(rng.uniform(360, 470)), float(rng.uniform(700, 950)), float(rng.uniform(20, 40))
    arris = float(rng.choice([0.0, 2.0, 5.0]))
    turn = np.linspace(math.pi, 2 * math.pi, 61)
    arc = [[radius + radius * math.cos(a), -long + radius * math.sin(a)] for a in turn]
    top = Prism("top", [*arc, [2 * radius, -3.0], [0.0, -3.0]], -thick, 0.0, "marble", "marble", arris)
    s.scene.prisms.append(top)
    s.cabinet(
        "p1", 40, -20, 2 * radius - 80, 0, depth=long * 0.55, dz=-thick - 0.5, tilt_w=0.0, tilt_d=0.0, mat_front="wood_mid"
    )
    s.cabinet(
        "p2", 40, -25 - long * 0.55, 2 * radius - 80, 0, depth=long * 0.4, dz=-thick - 0.5, tilt_w=0.0, tilt_d=0.0,
        mat_front="wood_mid", doors=2,
    )  # fmt: skip
    s.wall("wall", bowed_line((-700, 0), (2 * radius + 700, 0), bow_mm=float(rng.uniform(-5, 5)), seed=seed), mat="drywall")
    s.scene.room = [-2300.0, -3600.0, 2 * radius + 2300, 400.0]
    for x, y, angle in (
        (0.5, -0.14, 4), (1.5, -0.25, 92), (0.45, -0.5, -88), (1.55, -0.65, 3), (0.55, -0.85, 96), (1.35, -1.1, 40),
    ):  # fmt: skip
        s.sheet(top, x * radius, y * long, angle)
    s.tape("S01", "S06")
    s.tape("S02", "S05")
    on_wall = s.strips("wall", 705.0, 695.0 + 2 * radius)
    s.thing("cup", radius, -0.45 * long, 70, size=[80.0, 80.0, 92.0], mat="yellow")
    s.wall_edge("wall", "wall", on_wall)
    s.edge_of("side-left", "end", [(top, len(top.outline) - 1)])
    s.arc_edge("round", arc, 0.0, arris)
    s.edge_of("side-right", "end", [(top, 60)])
    s.loop("top", "wall", "side-left", "round", "side-right")
    c = (radius, -long * 0.8)
    return s.shoot([
        (c, -90, 1100, 1050, 0), (c, -50, 1100, 1050, 90), (c, -130, 1100, 1050, 0), (c, -10, 1100, 1050, 0),
        (c, 190, 1100, 1050, 0),
        ((radius, -300), -60, 1050, 1100, 0), ((radius, -300), -120, 1050, 1100, -90), ((radius, -long), -90, 1300, 1400, 0),
        ((radius, -long * 0.6), 0, 1000, 1200, 0), ((radius, -long * 0.6), 180, 1000, 1200, 90),
    ])  # fmt: skip


def levels(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A lower and a higher run side by side, a tall appliance between walls and tops, open shelves, hard lamps."""
    rng = np.random.default_rng([seed, 204])
    look = Look(chosen(phones, seed), board_mm=float(rng.choice([0.5, 3.0])), print_scale=printed(rng), light="spots")
    s = Site(f"levels {seed}", 4400 + seed, prints, look)
    style = {"depth": 575.0, "mat_front": "wood_mid", "mat_edge": "chipboard_edge", "arris_mm": float(rng.uniform(0.3, 0.9))}
    w1, w2, w3 = (float(v) for v in rng.uniform((750, 560, 600), (860, 640, 700)))
    down = -float(rng.uniform(60, 140))
    a = s.row("a", (0.0, -16.0), 0, [w1, w2], doors=2, drawers=1, **style)
    b = s.row(
        "b", (w1 + w2 + 2, -16.0), 0, [w3], doors=0, shelves=2, top="open", **(style | {"dz": down, "height": 876 + down})
    )
    length = w1 + w2 + 2 + w3
    s.box(-330, -330, 0, (630, 640, 1700), -876, "graphite")
    s.wall("back", bowed_line((-700, 0), (length + 500, 0), bow_mm=float(rng.uniform(-4, 8)), wave_mm=0.5, seed=seed))
    s.lay(a[0], 0.3, 420, 3)
    s.lay(a[0], 0.68, 150, 90)
    s.lay(a[1], 0.35, 420, -2)
    s.lay(a[1], 0.7, 150, 4)
    s.lay(b[0], 0.3, 150, 91)
    s.lay(b[0], 0.62, 430, 2)
    s.bar((80.0, -280.0), 0.6, float(rng.uniform(1050, 1200)))
    s.tape("S01", "S06")
    on_back = s.strips("back", 705.0, 695.0 + w1 + w2)
    s.thing("level", w1 * 0.5, -500, 2, size=[500.0, 24.0, 50.0], z=0.3)
    s.wall_edge("wall", "back", on_back)
    s.edge_of("end-left", "end", [(a[0], "left")])
    s.edge_of("front", "front", [(a[0], "front"), (a[1], "front")])
    s.edge_of("step", "end", [(a[1], "right")])
    s.edge_of("low-left", "end", [(b[0], "left")])
    s.edge_of("low-front", "front", [(b[0], "front")])
    s.edge_of("low-right", "end", [(b[0], "right")])
    s.loop("high", "wall", "end-left", "front", "step")
    m = length / 2
    return s.shoot([
        ((350, -300), -80, 1000, 1050, 0), ((w1, -320), -100, 1050, 1050, 0), ((w1 + 300, -300), -75, 1050, 1100, 90),
        ((length - 400, -300), -95, 1050, 1000, 0), ((length - 300, -300), -40, 950, 1000, 0),
        ((300, -280), -60, 950, 1100, -90),
        ((w1 + w2, -300), -110, 1100, 1200, 0), ((m, -300), -85, 1450, 1350, 0), ((length - 350, -350), -20, 1100, 1150, 90),
        ((500, -300), -120, 1050, 1000, 0),
    ])  # fmt: skip


def site(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A U of raw boxes without fronts, as fitters leave it for the day; sheets on foam board, weak light of a window."""
    rng = np.random.default_rng([seed, 205])
    look = Look(
        chosen(phones, seed), board_mm=float(rng.choice([3.0, 6.0])), print_scale=printed(rng), light="window"
    )
    s = Site(f"raw U {seed}", 4500 + seed, prints, look)
    style = {
        "face_frame": False, "depth": 560.0, "doors": 0, "shelves": 1, "mat_front": "melamine", "mat_box": "plywood_face",
        "arris_mm": float(rng.uniform(0.0, 0.3)),
    }  # fmt: skip
    wide, arm = float(rng.uniform(1900, 2100)), float(rng.uniform(560, 640))
    d = 560.0
    back = s.row("b", (14.0, -14.0), 0, [wide * 0.5, wide * 0.5], **style)
    left = s.row("l", (14.0, -14.0 - d - arm), 90, [arm], **style)
    right = s.row("r", (14.0 + wide, -14.0 - d), -90, [arm], **(style | {"top": "open"}))
    end = -14 - d - arm
    s.wall("left", bowed_line((0, 0), (float(rng.normal(0, 6)), end - 500), bow_mm=3, into="left", seed=seed, mud0=3), "left")
    s.wall("back", bowed_line((0, 0), (wide + 28, 0), bow_mm=float(rng.uniform(2, 9)), mud0=3, mud1=4, seed=seed + 1))
    s.wall("right", bowed_line((wide + 28, 0), (wide + 28 + float(rng.normal(0, 6)), end - 500), bow_mm=-3, seed=seed + 2))
    s.scene.room = [-1500.0, -3500.0, wide + 1500, 400.0]
    s.lay(back[0], 0.2, 150, 3)
    s.lay(back[0], 0.62, 420, 92)
    s.lay(back[1], 0.3, 150, -4)
    s.lay(back[1], 0.75, 170, 88)
    s.lay(left[0], 0.7, 400, 2)
    s.lay(left[0], 0.3, 160, 91)
    s.lay(right[0], 0.3, 400, -3)
    s.lay(right[0], 0.7, 180, 90)
    s.bar((350.0, -330.0), 0.3, float(rng.uniform(1100, 1250)))
    s.tape("S06", "S08")
    on_left = s.strips("left", 12.0, -end - 10)
    on_back = s.strips("back", 12.0, wide + 16)
    on_right = s.strips("right", 12.0, -end - 10)
    s.thing("hammer", 300, end + 300, 75)
    inner = (14 + d, 14 + wide - d)
    s.wall_edge("wall-left", "left", on_left, -end + 30)
    s.edge_of("end-left", "end", [(left[0], "left")])
    s.edge_of("front-left", "front", [(left[0], "front")])
    s.edge_of("front-back", "front", [(back[0], "front"), (back[1], "front")])
    s.edge_of("front-right", "front", [(right[0], "front")])
    s.edge_of("end-right", "end", [(right[0], "right")])
    s.wall_edge("wall-right", "right", on_right, -end + 30)
    s.wall_edge("wall-back", "back", on_back)
    for e in s.scene.outline:  # what stands behind the neighbours is hidden
        if e.id == "front-back":
            e.points = [p for p in e.points if inner[0] <= p[0] <= inner[1]]
    s.loop("U", "wall-left", "end-left", "front-left", "front-back", "front-right", "end-right", "wall-right", "wall-back")
    m = wide / 2
    return s.shoot([
        ((m, -350), -90, 1100, 1100, 0), ((m - 350, -330), -70, 1150, 1200, 0), ((m + 350, -330), -110, 1150, 1200, 90),
        ((330, end + 350), -10, 1050, 1050, 0), ((330, end + 250), -50, 950, 1000, 0),
        ((wide - 300, end + 350), 190, 1050, 1050, 0),
        ((wide - 300, end + 250), 230, 950, 1000, -90), ((m, -500), -90, 1500, 1450, 0), ((350, -450), -40, 1250, 1250, 0),
        ((wide - 320, -450), 220, 1250, 1250, 0), ((330, end + 450), 15, 1150, 1200, 90),
    ])  # fmt: skip


FAMILIES: dict[str, Family] = {
    "galley": galley, "diagonal": diagonal, "round_end": round_end, "levels": levels, "site": site,
}  # fmt: skip
