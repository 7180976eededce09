"""Strips of an L-shaped kitchen, and of a wall with two rows of them, sorted into walls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phototemplate.model import FreePoint, Influences, Network, WorkPlane
from phototemplate.studies.wall_strips import walls_of_strips

NOTHING = Influences((), np.zeros((0, 0)), {})
PLANE = WorkPlane(np.eye(3), np.zeros(3), np.zeros((6, 0)), NOTHING, ())
EMPTY = Network({}, {}, {}, (), {}, NOTHING, (), (), True, 1.0, 1.0)


def piece(name: str, start: tuple[float, float], along: tuple[float, float], height: float = 40.0) -> list[FreePoint]:
    places = [np.array([*(np.array(start) + 40.0 * k * np.array(along)), height]) for k in range(6)]
    return [FreePoint(name, k, p, np.eye(3) * 1e-3, np.zeros((3, 0)), 3) for k, p in enumerate(places)]


def network(*pieces: list[FreePoint]) -> Network:
    return replace(EMPTY, points=tuple(p for points in pieces for p in points))


def test_one_wall_that_bows() -> None:
    """15 mm over 2.4 m; the outer pieces lie off each other's line and are joined by those between them."""
    x = np.arange(0.0, 2400.0, 270.0)
    rise = 15.0 * 4.0 * (x / 2400.0) * (1.0 - x / 2400.0)
    slope = 15.0 * 4.0 * (1.0 - 2.0 * x / 2400.0) / 2400.0
    row = [piece(f"W{k:02d}a", (a, b), (1.0, c)) for k, (a, b, c) in enumerate(zip(x, rise, slope, strict=True))]
    assert walls_of_strips(network(*row), PLANE) == {"wall": tuple(f"W{k:02d}a" for k in range(len(x)))}


def test_two_walls_of_a_corner_and_two_parallel_ones() -> None:
    back = [piece("W03a", (20.0, 0.0), (1.0, 0.01)), piece("W03b", (290.0, 3.0), (1.0, 0.01))]
    left = [piece("W01a", (0.0, -20.0), (0.0, -1.0)), piece("W01b", (0.0, -290.0), (0.0, -1.0))]
    across = [piece("W07a", (20.0, -2500.0), (1.0, 0.0))]
    assert walls_of_strips(network(*back, *left, *across), PLANE) == {
        "wall-W01a": ("W01a", "W01b"), "wall-W03a": ("W03a", "W03b"), "wall-W07a": ("W07a",),
    }  # fmt: skip


def test_a_second_row_is_left_for_the_lean() -> None:
    low = [piece("W01a", (0.0, 0.0), (1.0, 0.0)), piece("W01b", (270.0, 0.0), (1.0, 0.0))]
    high = [piece("W02a", (100.0, 3.0), (1.0, 0.0), 400.0)]
    assert walls_of_strips(network(*low, *high), PLANE) == {"wall": ("W01a", "W01b")}


def test_no_strip() -> None:
    assert walls_of_strips(EMPTY, PLANE) == {}
