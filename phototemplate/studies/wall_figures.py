"""Figures of one wall: bow, swelling at the corners, angle; each a weighted sum of the wall's heights, so that its uncertainty
follows from their joint covariance."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from phototemplate.model import Array
from phototemplate.studies.constants import ENDS_SHARE, SHORT_WALL_SHARE, SWELLING_MM
from phototemplate.studies.wall_line import End

Kind = Literal["straight", "square", "drawing"]
"""Compared with a straight piece, with a right angle to another wall, with a drawing or an earlier job"""


@dataclass(frozen=True)
class Figure:
    """One number with its uncertainty."""

    name: str
    value: float
    u: float
    unit: Literal["mm", "deg"] = "mm"
    meaning: str = ""

    @property
    def U(self) -> float:
        """k = 2"""
        return 2.0 * self.u


def wall_figures(corner: End, kind: Kind, x: Array, d: Array, cov: Array, square_to: str | None) -> tuple[Figure, ...]:
    """Figures of the heights ``d`` (n,) at the places ``x`` (n,) with covariance ``cov`` (n, n)."""

    def figure(name: str, row: Array, unit: Literal["mm", "deg"], meaning: str) -> Figure:
        factor = 180.0 / math.pi if unit == "deg" else 1.0
        return Figure(name, factor * float(row @ d), factor * row_u(row[None], cov)[0], unit, meaning)

    def widened(f: Figure, u: float) -> Figure:
        return replace(f, u=math.hypot(f.u, u))

    def all_figures() -> Iterator[Figure]:
        if x.size >= 8:
            meaning = "middle over the line between the ends, corners left out; positive: into the room"
            yield figure("bow", bow_row(x), "mm", meaning)
            for at_start in (True, False):
                end = corner if at_start else ("right" if corner == "left" else "left")
                meaning = "end over the parabola of the rest run on; positive: into the room"
                yield figure(f"swelling at the {end} end", swelling_row(x, at_start), "mm", meaning)
        slope, span = slope_row(x), float(x[-1] - x[0])
        over = f"of the lines of best fit, this wall's over {x[0]:.0f} to {x[-1]:.0f} mm"
        loose = stretch_u(x, d)
        if kind == "square":
            meaning = f"to a right angle with {square_to}, {over}; positive: the far end comes into the room"
            yield widened(figure("angle", slope, "deg", meaning), math.degrees(loose))
            yield widened(figure("out of square", slope * span, "mm", f"over the {span:.0f} mm judged"), loose * span)
        elif kind == "drawing":
            if abs(float(slope @ d)) > 1e-9:
                meaning = f"to the drawing, {over}; positive: the far end comes into the room"
                yield widened(figure("angle", slope, "deg", meaning), math.degrees(loose))
            k = int(np.argmax(d))
            unit = np.zeros(x.size)
            unit[k] = 1.0
            yield figure("stands out most", unit, "mm", f"into the room from the drawing, at {x[k]:.0f} mm")

    return tuple(all_figures())


def bow_row(x: Array) -> Array:
    """(n,) weights of the bow: height of the middle over the line between the ends, of the parabola of best fit over the wall
    without its corners (:data:`SWELLING_MM` at each end, a quarter of a short wall), taken over the whole length."""
    inner, design = _inner(x)
    row = np.zeros(x.size)
    span = float(x[-1] - x[0])
    # c t^2 with t in units of the half length: the middle stands -c over the ends' line
    row[inner] = -np.linalg.pinv(design)[2]
    return row if span > 0 else np.zeros(x.size)


def swelling_row(x: Array, at_start: bool) -> Array:
    """(n,) weights of a corner's swelling: how far the wall's end stands into the room from the same parabola run on."""
    inner, design = _inner(x)
    t = -1.0 if at_start else 1.0
    row = np.zeros(x.size)
    row[inner] -= np.array([1.0, t, t * t]) @ np.linalg.pinv(design)
    row[0 if at_start else -1] += 1.0
    return row


def _inner(x: Array) -> tuple[NDArray[np.intp], Array]:
    span = float(x[-1] - x[0])
    zone = min(SWELLING_MM, SHORT_WALL_SHARE * span)
    inner = np.flatnonzero((x >= x[0] + zone) & (x <= x[-1] - zone))
    t = 2.0 * (x[inner] - x[0]) / span - 1.0
    return inner, np.column_stack([np.ones_like(t), t, t * t])


def slope_row(x: Array) -> Array:
    """(n,) weights of the slope of the line of best fit."""
    c = x - x.mean()
    out: Array = c / float(c @ c)
    return out


def stretch_u(x: Array, y: Array) -> float:
    """Standard uncertainty of the slope of a profile that is not straight, from what is taken for the whole of it.

    Where a wall begins and ends is a choice: up to a tenth of its length (:data:`ENDS_SHARE`) may be left out at either end,
    and the slope of the line of best fit changes with it. Taken as rectangular about the whole one's (JCGM 100:2008, 4.3.7)."""
    whole, span = float(slope_row(x) @ y), float(x[-1] - x[0])
    cuts = np.linspace(0.0, ENDS_SHARE, 3) * span
    most = 0.0
    for a in cuts:
        for b in cuts:
            use = (x >= x[0] + a - 1e-9) & (x <= x[-1] - b + 1e-9)
            if np.count_nonzero(use) >= 3:
                most = max(most, abs(float(slope_row(x[use]) @ y[use]) - whole))
    return most / math.sqrt(3.0)


def line_rows(xs: Array, x: Array) -> Array:
    """(n, m) line of best fit at ``x`` (n,) from heights at ``xs`` (m,)."""
    out: Array = 1.0 / xs.size + np.outer(x - xs.mean(), slope_row(xs))
    return out


def row_u(rows: Array, cov: Array) -> Array:
    """(n,) standard uncertainty of ``rows @ heights`` for rows (n, m)."""
    out: Array = np.sqrt(np.maximum(np.sum((rows @ cov) * rows, axis=1), 0.0))
    return out
