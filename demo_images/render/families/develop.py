"""Kitchens on which priors and thresholds may be chosen."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from ..scene import Prism, Scene, bowed_line
from ..site import Look, Site
from .family import Family, Phones, chosen, printed


def frameless(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """White boxes without face frames behind dark slab drawers, a range in its gap, a dishwasher in the run."""
    rng = np.random.default_rng([seed, 101])
    look = Look(chosen(phones, seed), board_mm=float(rng.choice([0.1, 0.8, 2.0])), print_scale=printed(rng))
    s = Site(f"frameless run {seed}", 3100 + seed, prints, look)
    top_gap = float(rng.uniform(1.5, 4.0))
    style = {
        "face_frame": False, "slab": True, "depth": 560.0, "door_top_gap": top_gap, "door_gap": 1.5, "mat_edge": "abs_white",
        "mat_front": str(rng.choice(["wood_dark", "graphite", "sage"])), "arris_mm": float(rng.uniform(0.3, 0.8)),
    }  # fmt: skip
    gap, w1, w2 = float(rng.uniform(760, 770)), 900 + float(rng.uniform(-40, 40)), 800 + float(rng.uniform(-30, 30))
    (a,) = s.row("a", (0.0, -20.0), 0, [w1], drawers=3, doors=0, **style)
    x = w1 + gap
    (b,) = s.row("b", (x, -20.0), 0, [w2], doors=2, top="open", **style)
    dish = x + w2
    (c,) = s.row("c", (dish + 600.0, -20.0), 0, [400.0], doors=1, **style)
    length = dish + 1000.0
    s.box(w1 + gap / 2, -330, 0, (gap - 7, 600, 890), -880, "steel")
    s.box(w1 + gap / 2, -330, 0, (gap - 20, 580, 4), 10.2, "glass_black")
    s.box(w1 + gap / 2, -640, 0, (gap - 60, 30, 30), -90, "steel")
    s.box(dish + 300, -300, 0, (594, 560, 760), -875, "grey")
    s.box(dish + 300, -590, 0, (596, 20, 720), -745, str(style["mat_front"]))
    s.wall("back", bowed_line((-200, 0), (length + 300, 0), bow_mm=float(rng.uniform(-6, 8)), wave_mm=0.5, seed=seed))
    s.lay(a, 0.25, 140, 3)
    s.lay(a, 0.73, 420, 92)
    s.lay(b, 0.22, 420, 90)
    s.lay(b, 0.66, 150, -4)
    s.lay(c, 0.5, 150, 88)
    s.lay(c, 0.5, 440, 180)
    s.bar((60.0, -290.0), 0.5, float(rng.uniform(700, 760)))
    at_left = s.strips("back", 205.0, 195.0 + w1)
    at_right = s.strips("back", 205.0 + x, 195.0 + length)
    s.tape("S01", "S06")
    s.thing("cup", w1 * 0.9, -80, 20, size=[80.0, 80.0, 90.0], mat="ceramic")
    s.thing("pencil", x + 300, -250, 30, z=0.3)
    s.wall_edge("wall-left", "back", at_left)
    s.wall_edge("wall-right", "back", at_right)
    s.edge_of("end-left", "end", [(a, "left")])
    s.edge_of("front-left", "front", [(a, "front")])
    s.edge_of("gap-left", "end", [(a, "right")])
    s.edge_of("gap-right", "end", [(b, "left")])
    s.edge_of("front-right", "front", [(b, "front"), (c, "front")])
    s.edge_of("end-right", "end", [(c, "right")])
    s.loop("left", "wall-left", "end-left", "front-left", "gap-left")
    s.loop("right", "wall-right", "gap-right", "front-right", "end-right")
    m = length / 2
    return s.shoot([
        ((w1 * 0.5, -320), -105, 950, 1000, 0), ((w1 * 0.8, -300), -70, 1050, 1120, 90), ((m, -280), -92, 1250, 1250, 0),
        ((x + 300, -300), -110, 1000, 1050, 0), ((x + 700, -300), -78, 1050, 1150, -90),
        ((length - 350, -300), -95, 950, 1000, 0),
        ((w1 * 0.3, -250), -140, 800, 950, 0), ((length - 250, -280), -45, 850, 980, 0),
        ((length - 300, -320), -25, 950, 1050, 90), ((m + 100, -300), -80, 1500, 1300, 0),
    ])  # fmt: skip


def inset(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """An L of painted face frames with doors set into them, drawers above doors, open shelves at the end, a window's light."""
    rng = np.random.default_rng([seed, 102])
    look = Look(
        chosen(phones, seed), board_mm=float(rng.choice([0.3, 1.5, 2.5])), print_scale=printed(rng), light="window"
    )
    s = Site(f"inset L {seed}", 3200 + seed, prints, look)
    style = {
        "inset": True,
        "depth": 590.0,
        "arris_mm": float(rng.uniform(0.5, 1.2)),
        "mat_front": str(rng.choice(["cream", "sage", "painted"])),
    }
    w1, w2 = 990 + float(rng.uniform(-20, 20)), 700 + float(rng.uniform(-40, 40))
    back = [
        s.cabinet("corner", 14, -16, w1, doors=1, blind=660.0, **style),
        s.cabinet("b2", 14 + w1, -16, w2, doors=2, drawers=1, **style),
    ]
    y1 = -16 - 590 - float(rng.uniform(760, 800))
    left = [s.cabinet("l1", 14, y1, -16 - 590 - y1, 90, doors=0, drawers=3, **style)]
    w3 = float(rng.uniform(560, 640))
    left.append(s.cabinet("l2", 14, y1 - w3, w3, 90, doors=0, shelves=2, top="open", **style))
    end_y, right = y1 - w3, 14 + w1 + w2
    s.wall(
        "back",
        bowed_line((0, 0), (right + 900, 0), bow_mm=float(rng.uniform(3, 9)), mud0=4, mud_len=160, wave_mm=0.4, seed=seed),
    )
    s.wall(
        "left",
        bowed_line((0, 0), (float(rng.normal(0, 8)), end_y - 700), bow_mm=-4, mud0=3, into="left", seed=seed + 1),
        "left",
    )
    s.lay(back[0], 0.2, 130, 5)
    s.lay(back[0], 0.62, 160, -3)
    s.lay(back[0], 0.84, 440, 2, board=0.1)
    s.lay(back[1], 0.3, 150, 94)
    s.lay(back[1], 0.72, 430, 0)
    s.lay(left[0], 0.7, 420, 3)
    s.lay(left[0], 0.25, 150, 90)
    s.lay(left[1], 0.72, 150, -88)
    s.lay(left[1], 0.3, 430, 4)
    s.bar((110.0, -300.0), 0.4, float(rng.uniform(1050, 1180)))
    s.tape("S09", "S05")
    on_left = s.strips("left", 15.0, -end_y - 10)
    on_back = s.strips("back", 15.0, right - 10)
    s.thing("hammer", 320, y1 + 300, 50)
    s.thing("level", 14 + w1 + 300, -330, 4, size=[600.0, 24.0, 50.0], z=0.4)
    s.wall_edge("wall-left", "left", on_left, -end_y + 30)
    s.edge_of("end-left", "end", [(left[1], "left")])
    s.edge_of("front-left", "front", [(left[1], "front"), (left[0], "front")])
    s.edge_of("front-back", "front", [(back[0], "front"), (back[1], "front")])
    s.edge_of("end-right", "end", [(back[1], "right")])
    s.wall_edge("wall-back", "back", on_back, right + 30)
    inner = 14 + 590.0
    for e in s.scene.outline:  # what stands behind the neighbour is hidden
        if e.id == "front-back":
            e.points = [p for p in e.points if p[0] >= inner]
    s.loop("L", "wall-left", "end-left", "front-left", "front-back", "end-right", "wall-back")
    return s.shoot([
        ((600, -320), -70, 1150, 1120, 0), ((1200, -300), -95, 1050, 1050, 0), ((right - 300, -320), -60, 950, 1000, 0),
        ((right - 500, -300), -110, 1100, 1250, 90), ((330, -500), -40, 1250, 1350, 90), ((330, y1 + 350), -5, 1050, 1050, 0),
        ((330, y1 - 200), 10, 1000, 1050, 0), ((320, end_y + 300), -60, 950, 950, 0), ((340, y1), -30, 1200, 1250, -90),
        ((700, -700), -45, 1500, 1450, 0),
    ])  # fmt: skip


def old_top(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """The old top is still in place: a slab over framed doors, sheets of bare paper on it among what stands about."""
    rng = np.random.default_rng([seed, 103])
    look = Look(
        chosen(phones, seed),
        board_mm=0.1,
        print_scale=printed(rng),
        light="spots",
        paper=str(rng.choice(["Letter", "A4"])),
    )
    s = Site(f"old top {seed}", 3300 + seed, prints, look)
    thick, over = float(rng.uniform(30, 42)), float(rng.uniform(8, 30))
    arris = float(rng.choice([0.0, 1.5, 3.0]))
    w, long = 640.0, float(rng.uniform(1800, 2100))
    deep = 584 + 19 + over
    style = {"dz": -thick - 0.5, "tilt_w": 0.0, "tilt_d": 0.0, "mat_front": str(rng.choice(["wood_mid", "painted"]))}
    s.row("a", (20.0, -10.0), 0, [long / 3] * 3, doors=2, **style)
    mat = str(rng.choice(["laminate", "stone_dark"]))
    plan = [[5, -deep], [5 + deep, -deep], [long + 40, -deep], [long + 40, -4], [5, -4]]
    end = -deep - w - 500
    top = Prism("top", plan, -thick, 0.0, mat, mat, arris, joined=[0])
    wing = Prism("wing", [[5, end], [5 + deep, end], plan[1], plan[0]], -thick, 0.0, mat, mat, arris, joined=[2])
    s.cabinet("w1", 20, -deep - w - 490, w + 480, 90, doors=2, **style)
    s.scene.prisms += [top, wing]
    s.wall("back", bowed_line((0, 0), (long + 800, 0), bow_mm=float(rng.uniform(-3, 3)), seed=seed))
    s.wall("left", bowed_line((0, 0), (6, -deep - w - 1200), bow_mm=2, into="left", seed=seed + 1), "left")
    for x, y, turn in ((230, -160, 4), (700, -420, -6), (1150, -170, 88), (long - 250, -420, 2), (long - 600, -160, 93)):
        s.sheet(top, x, y, turn)
    for x, y, turn in ((300, -deep - 250, 92), (430, end + 480, 5), (210, end + 170, -86)):
        s.sheet(wing, x, y, turn)
    s.tape("S01", "S04")
    s.tape("S08", "S05")
    on_left = s.strips("left", 20.0, -end - 10)
    on_back = s.strips("back", 20.0, long + 10)
    s.box(long / 2, -130, 8, (330, 230, 190), 0.0, "steel")
    s.thing("cup", 480, -120, 40, size=[84.0, 84.0, 100.0], mat="blue")
    s.thing("cylinder", long - 80, -120, size=[110.0, 110.0, 260.0], mat="white")
    s.box(330, -deep - 560, 20, (210, 150, 40), 0.0, "red")
    s.wall_edge("wall-left", "left", on_left, -end + 40)
    s.edge_of("end-left", "end", [(wing, 0)])
    s.edge_of("front-left", "front", [(wing, 1)])
    s.edge_of("front-back", "front", [(top, 1)])
    s.edge_of("end-right", "end", [(top, 2)])
    s.wall_edge("wall-back", "back", on_back, long + 80)
    s.loop("top", "wall-left", "end-left", "front-left", "front-back", "end-right", "wall-back")
    return s.shoot([
        ((500, -380), -65, 1150, 1100, 0), ((1000, -350), -95, 1000, 1050, 0), ((long - 350, -350), -75, 950, 1000, 0),
        ((long - 300, -330), -40, 900, 1100, 90), ((350, -700), -20, 1150, 1200, 90), ((330, end + 450), 5, 1000, 1050, 0),
        ((320, end + 200), -50, 900, 950, 0), ((long - 500, -300), -30, 1150, 1150, 0),
        ((350, -deep - 200), 20, 1150, 1100, -90), ((700, -600), -45, 1500, 1450, 0),
    ])  # fmt: skip


def island(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """An island of two rows back to back: no wall, four edges, one corner cut off, sheets that hang over its edges."""
    rng = np.random.default_rng([seed, 104])
    look = Look(
        chosen(phones, seed), board_mm=float(rng.choice([0.1, 3.0])), print_scale=printed(rng), light="bright"
    )
    s = Site(f"island {seed}", 3400 + seed, prints, look)
    s.scene.room = [-2600.0, -3400.0, 4200.0, 2600.0]
    s.scene.mat_floor = "wood_floor"
    front = str(rng.choice(["navy", "wood_light"]))
    long, deep, cut = float(rng.uniform(1700, 2000)), float(rng.uniform(560, 600)), float(rng.uniform(160, 240))
    style = {"depth": deep, "mat_front": front, "arris_mm": float(rng.uniform(0.6, 1.1)), "slab": True}
    a = s.row("a", (0.0, 0.0), 0, [long / 2] * 2, doors=2, **style)
    b_deep = 330.0
    b = [s.cabinet("b1", long, 1.0, long - cut, 180, **(style | {"depth": b_deep, "doors": 3, "top": "open"}))]
    clip = Prism(
        "clip", [[0, 1.0], [cut, 1.0], [cut, 1 + b_deep], [0, 1 + b_deep - cut]], -776, 0.0, "plywood_face", front, panel=18.0
    )
    s.scene.prisms.append(clip)
    s.lay(a[0], 0.25, 200, 8)
    s.lay(a[0], 0.75, deep - 60, 3)  # hangs over the front
    s.lay(a[1], 0.3, 160, 90)
    s.lay(a[1], 0.86, 330, 92)  # and over the end
    s.lay(b[0], 0.2, b_deep - 80, 178)
    s.lay(b[0], 0.55, 170, 4)
    s.lay(b[0], 0.82, 190, 91)
    s.sheet(clip, 150.0, 120.0, 30)
    s.bar((150.0, -300.0), 3.0, float(rng.uniform(1000, 1150)))
    s.tape("S04", "S08")
    s.thing("tape", long * 0.55, -300, 15, z=0.3)
    s.thing("pencil", long * 0.3, 150, 70, z=0.3)
    s.edge_of("end-left", "end", [(clip, 3), (a[0], "left")])
    s.edge_of("front", "front", [(a[0], "front"), (a[1], "front")])
    s.edge_of("end-right", "end", [(a[1], "right"), (b[0], "left")])
    s.edge_of("rear", "front", [(b[0], "front"), (clip, 2)])
    s.scene.outline[0].points = [*a[0].edge("left")[::-1].tolist(), *clip.side(3)[::-1].tolist()]
    s.scene.outline[2].points = [*a[1].edge("right")[::-1].tolist(), *b[0].edge("left").tolist()]
    s.scene.outline[3].points = b[0].edge("front").tolist()
    s.scene.outline[3].points += [[cut, 1 + b_deep, 0.0]]
    s.edge_of("cut", "front", [(clip, 2)])
    s.loop("island", "end-left", "front", "end-right", "rear", "cut")
    m = long / 2
    return s.shoot([
        ((m * 0.6, -200), -100, 1100, 1100, 0), ((m * 1.4, -200), -75, 1100, 1050, 0), ((long - 200, 0), -20, 1100, 1100, 90),
        ((long - 250, 100), 35, 1050, 1050, 0), ((m * 1.2, 150), 85, 1050, 1100, 0), ((m * 0.6, 150), 100, 1050, 1150, 0),
        ((200, 100), 150, 950, 1000, 0), ((200, -100), 195, 1050, 1100, -90),
        ((m, 0), -60, 1500, 1450, 0), ((m, 0), 120, 1400, 1400, 90),
    ])  # fmt: skip


def alcove(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A run between two walls, pale wood fronts with long drawers, half of a sheet under a tool box, sun through a window."""
    rng = np.random.default_rng([seed, 105])
    look = Look(
        chosen(phones, seed),
        board_mm=float(rng.choice([1.2, 4.0])),
        print_scale=printed(rng),
        light="sun",
        paper="A4",
    )
    s = Site(f"alcove {seed}", 3500 + seed, prints, look)
    s.scene.mat_floor = "wood_floor"
    style = {
        "face_frame": False, "slab": True, "depth": 570.0, "door_top_gap": float(rng.uniform(3, 22)), "door_gap": 1.5,
        "mat_front": "wood_light", "mat_edge": "plywood_edge", "arris_mm": float(rng.uniform(0.2, 0.6)), "handles": False,
    }  # fmt: skip
    widths = [float(rng.uniform(580, 640)), float(rng.uniform(860, 920)), float(rng.uniform(580, 640))]
    length = sum(widths)
    a, b, c = s.row("a", (0.0, -15.0), 0, widths, drawers=2, doors=0, **style)
    b.top, b.drawers, b.doors = "open", 0, 2
    side = -float(rng.uniform(640, 900))
    lean = float(rng.normal(0, 7))
    s.wall("left", bowed_line((-12, 0), (-12 + lean, side), bow_mm=2, into="left", seed=seed, mud0=3), "left")
    s.wall("back", bowed_line((-12, 0), (length + 14, 0), bow_mm=float(rng.uniform(2, 8)), mud0=4, mud1=5, seed=seed + 1))
    s.wall("right", bowed_line((length + 14, 0), (length + 14 - lean, side), bow_mm=-2, into="right", seed=seed + 2), "right")
    s.scene.room = [-2000.0, -3400.0, length + 1800.0, 400.0]
    s.lay(a, 0.34, 150, 90)
    s.lay(a, 0.55, 430, 2)
    s.lay(b, 0.2, 480, 3)  # on the front rail, and over the open box
    s.lay(b, 0.78, 120, -2)
    hidden = s.lay(c, 0.4, 160, 4)
    s.lay(c, 0.5, 430, 92)
    s.box(hidden.x + 95, hidden.y + 10, 25, (210, 130, 110), 4.5, "red")
    s.bar((90.0, -300.0), 0.3, float(rng.uniform(1200, 1400)))
    s.tape("S01", "S06")
    on_left = s.strips("left", 12.0, 590.0)
    on_back = s.strips("back", 12.0, length + 12)
    on_right = s.strips("right", 12.0, 590.0)
    s.thing("cup", widths[0] + 30, -100, 0, size=[80.0, 80.0, 90.0], mat="yellow")
    s.wall_edge("wall-left", "left", on_left, 600.0)
    s.edge_of("front", "front", [(a, "front"), (b, "front"), (c, "front")])
    s.wall_edge("wall-right", "right", on_right, 600.0)
    s.wall_edge("wall-back", "back", on_back)
    s.loop("alcove", "wall-left", "front", "wall-right", "wall-back")
    m = length / 2
    return s.shoot([
        ((350, -300), -75, 1050, 1050, 0), ((m, -300), -92, 1050, 1050, 0), ((length - 350, -300), -105, 1050, 1050, 0),
        ((300, -280), -60, 900, 1200, 90), ((length - 300, -280), -120, 900, 1200, 90), ((m - 200, -280), -80, 1350, 1300, 0),
        ((m + 300, -280), -100, 1300, 1350, -90), ((m, -330), -90, 800, 950, 0), ((length - 500, -300), -60, 1200, 1150, 0),
    ])  # fmt: skip


def rounded(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A bar that stands out from the wall beside a round table: even seeds end in a half circle, odd ones in two quarters.

    Sharp and rounded arrises take turns.
    """
    rng = np.random.default_rng([seed, 106])
    look = Look(
        chosen(phones, seed), board_mm=float(rng.choice([0.1, 1.5])), print_scale=printed(rng), light="panels", paper="A4"
    )
    s = Site(f"rounded bar {seed}", 3600 + seed, prints, look)
    half, long, thick = float(rng.uniform(270, 330)), float(rng.uniform(800, 1000)), float(rng.uniform(18, 30))
    arris = (0.0, 3.0, 1.0, 0.0)[seed % 4]
    mat = str(rng.choice(["wood_light", "laminate", "stone_dark"]))
    radius = float(rng.uniform(390, 450))

    def turned(x: float, y: float, r: float, start: float, end: float) -> list[list[float]]:
        count = 1 + 2 * round((end - start) / 1.5)
        return [[x + r * math.cos(a), y + r * math.sin(a)] for a in np.radians(np.linspace(start, end, count))]

    ends = [turned(half, -long, half, 180, 360)]
    if seed % 2:
        left, right = float(rng.uniform(200, 260)), float(rng.uniform(90, 140))
        ends = [turned(left, -long, left, 180, 270), turned(2 * half - right, right - left - long, right, 270, 360)]
    plan = [p for end in ends for p in end] + [[2 * half, -3.0], [0.0, -3.0]]
    bar = Prism("bar", plan, -thick, 0.0, mat, mat, arris)
    at = (2 * half + 420 + radius, -long * 0.55 - 120)
    disc = turned(*at, radius, 0, 360)[:-1]
    table = Prism("table", disc, -thick, 0.0, mat, mat, arris)
    s.scene.prisms += [bar, table]
    s.cabinet("b1", 40, -20, 2 * half - 80, 0, depth=long * 0.7, dz=-thick - 0.5, tilt_w=0.0, tilt_d=0.0, mat_front="sage")
    s.thing("cylinder", *at, size=[300.0, 300.0, 870.0 - thick], z=-870.0, mat="steel")
    s.wall("wall", bowed_line((-600, 0), (at[0] + 900, 0), bow_mm=float(rng.uniform(-4, 4)), seed=seed))
    s.scene.room = [-2200.0, -3600.0, at[0] + 2300, 400.0]
    for x, y, turn in ((0.5, -0.16, 4), (1.45, -0.3, 92), (0.5, -0.55, -88), (1.4, -0.7, 3), (0.75, -0.95, 40)):
        s.sheet(bar, x * half, y * long, turn)
    for away, angle, turn in ((0.5, 200, 15), (0.55, 80, 100), (0.5, 320, -40)):
        a = math.radians(angle)
        s.sheet(table, at[0] + away * radius * math.cos(a), at[1] + away * radius * math.sin(a), turn)
    s.tape("S01", "S04")
    s.tape("S03", "S06")
    s.tape("S02", "S07")
    on_wall = s.strips("wall", 605.0, 595.0 + 2 * half)
    s.thing("cup", 1.25 * half, -0.45 * long, 70, size=[80.0, 80.0, 92.0], mat="blue")
    s.wall_edge("wall", "wall", on_wall)
    count = len(bar.outline)
    s.edge_of("side-left", "end", [(bar, count - 1)])
    s.arc_edge("corner-left" if seed % 2 else "round", ends[0], 0.0, arris)
    if seed % 2:
        s.edge_of("front", "front", [(bar, len(ends[0]) - 1)])
        s.arc_edge("corner-right", ends[1], 0.0, arris)
    s.edge_of("side-right", "end", [(bar, count - 3)])
    s.arc_edge("table", [*disc, disc[0]], 0.0, arris)
    s.loop("bar", *(e.id for e in s.scene.outline if e.id != "table"))
    s.loop("table", "table")
    c, t, m = (half, -long * 0.85), at, ((half + at[0]) / 2, -long * 0.6)
    return s.shoot([
        (c, -90, 1050, 1050, 0), (c, -45, 1100, 1100, 90), (c, -135, 1050, 1050, 0), (c, 190, 1100, 1000, 0),
        ((half, -300), -115, 1000, 1050, -90), ((half, -250), -35, 900, 1100, 0), (m, -90, 1500, 1400, 0),
        (m, -60, 1450, 1300, 0), (m, -120, 1450, 1350, 0), (t, -90, 1050, 1050, 0), (t, -30, 1050, 1100, 0),
        (t, -150, 1000, 1100, 90), (t, 30, 1100, 1050, 0), (t, 140, 900, 1150, 0),
    ])  # fmt: skip


def raised_bar(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A peninsula on three levels: framed cabinets, a bar raised on a half wall behind them, a lowered top at the end."""
    rng = np.random.default_rng([seed, 107])
    look = Look(
        chosen(phones, seed), board_mm=float(rng.choice([0.1, 1.5, 4.0])), print_scale=printed(rng), light="panels",
        paper=str(rng.choice(["Letter", "A4"])),
    )  # fmt: skip
    s = Site(f"raised bar {seed}", 3700 + seed, prints, look)
    s.scene.room = [-2400.0, -3400.0, 4400.0, 2800.0]
    style = {
        "depth": 590.0,
        "mat_front": str(rng.choice(["painted", "sage", "wood_light"])),
        "arris_mm": float(rng.uniform(0.4, 1.0)),
    }
    w1, w2, w3 = (float(v) for v in rng.uniform((760, 640, 640), (860, 720, 740)))
    down, up, thick = -float(rng.uniform(50, 150)), float(rng.uniform(100, 180)), float(rng.uniform(28, 40))
    a = s.row("a", (0.0, 0.0), 0, [w1, w2], doors=2, drawers=1, **style)
    run = w1 + w2
    (low,) = s.row("low", (run + 1.5, 0.0), 0, [w3], doors=2, **(style | {"dz": down, "height": 876 + down}))
    half_wall = [[0.0, 4.0], [run, 4.0], [run, 116.0], [0.0, 116.0]]
    near, far = -float(rng.uniform(20, 50)), float(rng.uniform(300, 360))
    plan = [[-25.0, near], [run + 1.0, near], [run + 1.0, far], [-25.0, far]]
    arris = float(rng.choice([0.0, 2.0]))
    mat = str(rng.choice(["wood_dark", "stone_dark", "laminate"]))
    bar = Prism("bar", plan, up - thick, up, mat, mat, arris)
    s.scene.prisms += [Prism("half wall", half_wall, -876.0, up - thick - 0.5, "drywall", "drywall"), bar]
    s.lay(a[0], 0.3, 420, 4)
    s.lay(a[0], 0.7, 190, 91)
    s.lay(a[1], 0.3, 200, -3)
    s.lay(a[1], 0.72, 430, 88)
    s.lay(low, 0.3, 160, 92)
    s.lay(low, 0.66, 440, 3)
    for share, turn in ((0.12, 5), (0.5, 92), (0.87, -4)):
        s.sheet(bar, share * run, (near + far) / 2 + 20, turn)
    s.bar((90.0, -330.0), 0.5, float(rng.uniform(1050, 1200)))
    s.tape("S01", "S06")
    s.tape("S07", "S09")
    s.thing("cup", run * 0.32, far - 90, 35, size=[80.0, 80.0, 92.0], z=up, mat="blue")
    s.thing("pencil", run + w3 * 0.4, -320, 60, z=down + 0.3)
    s.edge_of("end-left", "end", [(a[0], "left")])
    s.edge_of("front", "front", [(a[0], "front"), (a[1], "front")])
    s.edge_of("step", "end", [(a[1], "right")])
    s.edge_of("low-front", "front", [(low, "front")])
    s.edge_of("low-right", "end", [(low, "right")])
    s.edge_of("low-back", "front", [(low, "back")])
    for side, name in enumerate(("bar-near", "bar-right", "bar-far", "bar-left")):
        s.edge_of(name, "end" if side % 2 else "front", [(bar, side)])
    s.loop("bar", "bar-near", "bar-right", "bar-far", "bar-left")
    m = run / 2
    return s.shoot([
        ((w1 * 0.5, -280), -85, 1050, 1100, 0), ((w1, -250), -100, 1050, 1150, 0), ((run, -300), -75, 1050, 1100, 90),
        ((run + w3 * 0.5, -300), -90, 1000, 1050, 0), ((run + w3 * 0.5, -300), -35, 950, 1000, 0),
        ((w1 * 0.4, -200), 200, 1000, 1100, -90), ((m, -200), -90, 1500, 1450, 0), ((m, 150), 95, 1100, 1250, 0),
        ((w1 * 0.4, 150), 120, 1000, 1150, 0), ((run * 0.85, 100), 65, 1050, 1200, 90), ((run - 150, 0), 15, 1150, 1250, 0),
        ((run + 100, -200), -120, 1150, 1200, 0),
    ])  # fmt: skip


FAMILIES: dict[str, Family] = {
    "frameless": frameless, "inset": inset, "old_top": old_top, "island": island, "alcove": alcove, "rounded": rounded,
    "raised_bar": raised_bar,
}  # fmt: skip
