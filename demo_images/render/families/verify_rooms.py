"""More kitchens that only judge: an appliance in its gap, and a vanity in a niche."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..scene import Scene, bowed_line
from ..site import Look, Site
from .family import Family, Phones, chosen, printed


def range_gap(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A straight run with the range left in its gap, its top a little above the cabinets; sage frames, hard lamps."""
    rng = np.random.default_rng([seed, 211])
    look = Look(chosen(phones, seed), board_mm=float(rng.choice([0.1, 2.0])), print_scale=printed(rng), light="spots")
    s = Site(f"range gap {seed}", 4600 + seed, prints, look)
    style = {
        "depth": 600.0, "mat_front": "sage",
        "door_top_gap": float(rng.uniform(8, 16)), "arris_mm": float(rng.uniform(0.4, 1.2)),
    }  # fmt: skip
    w1, w2, gap = float(rng.uniform(780, 880)), float(rng.uniform(620, 760)), float(rng.uniform(764, 772))
    a = s.cabinet("a1", 0.0, -15.0, w1, doors=2, drawers=1, **style)
    b = s.cabinet("b1", w1 + gap, -15.0 - float(rng.uniform(-2, 4)), w2, doors=1, top="open", **style)
    length = w1 + gap + w2
    over, wide = float(rng.uniform(8, 18)), gap - float(rng.uniform(5, 9))
    s.box(w1 + gap / 2, -15 - 305, 0, (wide, 610, 876 + over - 12), -876, "steel")
    s.box(w1 + gap / 2, -15 - 310, 0, (wide - 2, 600, 12), over - 12, "glass_black")
    s.wall("back", bowed_line((-700, 0), (length + 600, 0), bow_mm=float(rng.uniform(-6, 6)), wave_mm=0.6, seed=seed))
    s.lay(a, 0.25, 160, 3)
    s.lay(a, 0.7, 440, 92)
    s.lay(a, 0.3, 450, -4)
    s.lay(b, 0.35, 150, 2)
    s.lay(b, 0.65, 450, 88)
    s.bar((120.0, -330.0), 0.2, float(rng.uniform(500, 560)))
    s.tape("S01", "S04")
    s.tape("S03", "S05")
    on_a = s.strips("back", 705.0, 695.0 + w1)
    on_b = s.strips("back", 705.0 + w1 + gap, 695.0 + length)
    s.thing("pencil", w1 * 0.5, -200, 20, z=0.3)
    s.wall_edge("wall", "back", on_a + on_b)
    s.edge_of("end-left", "end", [(a, "left")])
    s.edge_of("front-left", "front", [(a, "front")])
    s.edge_of("gap-left", "end", [(a, "right")])
    s.edge_of("gap-right", "end", [(b, "left")])
    s.edge_of("front-right", "front", [(b, "front")])
    s.edge_of("end-right", "end", [(b, "right")])
    s.loop("left", "wall", "end-left", "front-left", "gap-left")
    s.loop("right", "wall", "gap-right", "front-right", "end-right")
    m = length / 2
    return s.shoot([
        ((w1 * 0.5, -300), -80, 1050, 1050, 0), ((w1 * 0.7, -320), -110, 1050, 1100, 90), ((m, -300), -90, 1300, 1300, 0),
        ((length - w2 * 0.5, -300), -100, 1050, 1050, 0), ((length - 250, -300), -55, 950, 1050, 0),
        ((150, -300), -130, 950, 1050, -90), ((m - 150, -300), -60, 1150, 1300, 0), ((m + 150, -300), -120, 1150, 1300, 0),
        ((w1, -250), -70, 1000, 1250, 90), ((w1 + gap, -250), -110, 1000, 1250, 0), ((m, -330), -90, 1600, 1450, 0),
    ])  # fmt: skip


def vanity(seed: int, prints: Path | None, phones: Phones = None) -> Scene:
    """A bathroom's vanity in a niche: dark, frameless, drawers up to the top; walls out of square, a lamp above the mirror."""
    rng = np.random.default_rng([seed, 212])
    look = Look(
        chosen(phones, seed), board_mm=float(rng.choice([0.1, 5.0])), print_scale=printed(rng), light="bright", paper="A4"
    )
    s = Site(f"vanity {seed}", 4700 + seed, prints, look)
    style = {
        "face_frame": False, "slab": True, "depth": 520.0, "height": 820.0, "door_top_gap": float(rng.uniform(2, 4)),
        "door_gap": 2.0, "mat_front": "graphite", "mat_box": "plywood_face", "arris_mm": float(rng.uniform(0.1, 0.5)),
        "handles": False,
    }  # fmt: skip
    w1, w2 = float(rng.uniform(640, 760)), float(rng.uniform(560, 700))
    a = s.cabinet("a1", 0.0, -12.0, w1, drawers=2, doors=0, **style)
    b = s.cabinet("a2", w1 + 1.0, -12.0, w2, doors=2, top="open", **style)
    length, side = w1 + w2 + 1, -float(rng.uniform(700, 900))
    lean = float(rng.normal(0, 9))
    s.wall("left", bowed_line((-10, 0), (-10 + lean, side), bow_mm=2, into="left", seed=seed, mud0=2), "left")
    s.wall("back", bowed_line((-10, 0), (length + 11, 0), bow_mm=float(rng.uniform(-4, 6)), mud0=3, mud1=3, seed=seed + 1))
    s.wall("right", bowed_line((length + 11, 0), (length + 11 + lean, side), bow_mm=3, into="right", seed=seed + 2), "right")
    s.scene.room = [-1500.0, -2900.0, length + 1500.0, 400.0]
    s.lay(a, 0.3, 140, 91)
    s.lay(a, 0.65, 390, 3)
    s.lay(b, 0.3, 440, 2)  # over the front rail and the open box
    s.lay(b, 0.7, 120, -3)
    s.bar((80.0, -270.0), -0.3, float(rng.uniform(900, 1050)))
    s.tape("S01", "S03")
    s.tape("S02", "S04")
    on_left, on_right = s.strips("left", 12.0, 540.0), s.strips("right", 12.0, 540.0)
    on_back = s.strips("back", 12.0, length + 10)
    s.thing("cup", w1 * 0.45, -90, 0, size=[75.0, 75.0, 100.0], mat="ceramic")
    s.wall_edge("wall-left", "left", on_left, 550.0)
    s.edge_of("front", "front", [(a, "front"), (b, "front")])
    s.wall_edge("wall-right", "right", on_right, 550.0)
    s.wall_edge("wall-back", "back", on_back)
    s.loop("vanity", "wall-left", "front", "wall-right", "wall-back")
    m = length / 2
    return s.shoot([
        ((300, -280), -75, 950, 1000, 0), ((m, -280), -92, 1000, 1000, 0), ((length - 300, -280), -105, 950, 1000, 0),
        ((250, -260), -60, 850, 1150, 90), ((length - 250, -260), -120, 850, 1150, -90), ((m - 100, -260), -80, 1300, 1250, 0),
        ((m + 150, -260), -100, 1250, 1300, 90), ((m, -300), -90, 750, 950, 0), ((m, -250), -90, 1500, 1450, 0),
    ])  # fmt: skip


FAMILIES: dict[str, Family] = {"range_gap": range_gap, "vanity": vanity}
