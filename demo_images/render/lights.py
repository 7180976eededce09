"""Light: what a kitchen is lit by. Area lights only; the sun is a small and very bright one behind a window with bars."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from .scene import Clutter, Light, Scene

WARM, COOL, NEUTRAL = [9.0, 8.2, 7.0], [4.2, 4.7, 5.4], [8.0, 8.0, 7.8]


def _scale(rgb: list[float], by: float) -> list[float]:
    return [by * v for v in rgb]


def _middle(s: Scene) -> tuple[float, float, float]:
    x0, y0, x1, y1 = s.room
    return (x0 + x1) / 2, (y0 + y1) / 2, s.ceiling_z - 30


def panels(s: Scene) -> list[Light]:
    """Two ceiling panels and a window at the right."""
    xm, ym, z = _middle(s)
    return [
        Light([xm - 700, ym + 500, z], [0, 0, -1], [600, 600], WARM),
        Light([xm + 900, ym, z], [0, 0, -1], [600, 600], WARM),
        Light([s.room[2] - 30, ym - 300, 500], [-1, 0, 0], [1300, 1100], COOL),
    ]


def window(s: Scene) -> list[Light]:
    """A large window at the left and hardly any other light: long soft shadows."""
    xm, ym, z = _middle(s)
    return [
        Light([s.room[0] + 30, ym, 450], [1, 0, 0], [1500, 1300], _scale(COOL, 3.2)),
        Light([xm, ym, z], [0, 0, -1], [300, 300], _scale(WARM, 0.6)),
    ]


def dim(s: Scene) -> list[Light]:
    """One lamp in the middle of the room, late in the day."""
    xm, ym, z = _middle(s)
    return [Light([xm + 250, ym + 300, z], [0, 0, -1], [350, 350], _scale([9.0, 7.2, 5.2], 1.0))]


def spots(s: Scene) -> list[Light]:
    """Six small ceiling lights: several hard shadows of every thing."""
    xm, ym, z = _middle(s)
    places = [(xm + dx, ym + dy) for dx in (-1100, 0, 1100) for dy in (-400, 900)]
    return [Light([x, y, z], [0, 0, -1], [110, 110], _scale(NEUTRAL, 11)) for x, y in places]


def bright(s: Scene) -> list[Light]:
    """An even, bright ceiling: next to no shadows."""
    xm, ym, z = _middle(s)
    return [Light([xm, ym, z], [0, 0, -1], [2600, 2000], _scale(NEUTRAL, 0.7))]


def sun(s: Scene) -> list[Light]:
    """Low sun through a window with a cross of bars, on top of weak daylight; the window's frame is added to the scene."""
    xm, ym, ceiling = _middle(s)
    target = np.array([c.world(np.array([c.width / 2, c.depth / 2, 0.0])) for c in s.cabinets]).mean(axis=0)
    source = np.array([s.room[2] - 60, s.room[1] + 250, s.ceiling_z - 60])
    d = target - source
    turn = math.degrees(math.atan2(d[1], d[0])) + 90  # the window's plane is square to the light
    across = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    middle = source + 0.2 * d  # near the sun, so that it stands in nobody's way; its shadow is five times as large
    half_w, half_h, far, bar = 85.0, 60.0, 900.0, 10.0
    z = float(middle[2])

    def plate(u: float, z0: float, width: float, height: float) -> None:
        x, y = middle[:2] + u * across
        s.clutter.append(Clutter("box", float(x), float(y), turn, [width, 6.0, height], z0, "white"))

    for sign in (-1, 1):
        plate(sign * (half_w + far / 2), s.floor_z, far, s.ceiling_z - s.floor_z)
    plate(0.0, z + half_h, 2 * half_w, max(s.ceiling_z - z - half_h, 5.0))
    plate(0.0, s.floor_z, 2 * half_w, z - half_h - s.floor_z)
    plate(0.0, z - half_h, bar, 2 * half_h)
    plate(0.0, z - bar / 2, 2 * half_w, bar)
    size = 4.0
    strength = 5.0 * float(d @ d) / size**2
    to = [float(v) for v in d / np.linalg.norm(d)]
    return [
        Light([float(v) for v in source], to, [size, size], [strength, 0.94 * strength, 0.82 * strength]),
        Light([xm, ym, ceiling], [0, 0, -1], [700, 700], _scale(COOL, 1.3)),
        Light([s.room[0] + 30, ym, 450], [1, 0, 0], [1300, 1100], _scale(COOL, 0.7)),
    ]


LIGHTS: dict[str, Callable[[Scene], list[Light]]] = {
    "panels": panels, "window": window, "dim": dim, "spots": spots, "bright": bright, "sun": sun,
}  # fmt: skip
"""Name -> maker of the lights of a scene."""
