"""The heights of a wall over what it is compared with: a straight line, a right angle to another wall, a drawing.

Each comparison is linear in the outline's offset state, so the covariance, and each of its parts by cause, goes through.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, BoolArray, Outline
from phototemplate.studies.budget import UNSEEN
from phototemplate.studies.fit_reference import FREEDOM_WORDS, Fit, Freedom, fit
from phototemplate.studies.references import Reference
from phototemplate.studies.wall_figures import Kind, slope_row, stretch_u
from phototemplate.studies.wall_line import WallLine, wall_line
from phototemplate.template.quantities import OWN_NOISE


@dataclass(frozen=True)
class Comparison:
    """A wall over its reference; n places along the wall, S offsets in the outline's state."""

    kind: Kind
    against: str
    """In words"""
    height_mm: Array
    """(n,) how far the wall stands into the room from the reference"""
    rows: Array
    """(n, S) derivative of the heights with respect to the state"""
    parts: Mapping[str, Array]
    """Cause -> (n, n) covariance"""
    pushed: bool
    """The piece may be shifted (and, where it is straight, turned) until it touches; False: it lies where it is drawn"""
    turned: bool
    covered: BoolArray
    """(n,) the reference reaches here"""
    fitted: Fit | None = None

    @cached_property
    def cov_mm2(self) -> Array:
        """(n, n) sum of the parts."""
        n = self.height_mm.size
        return sum(self.parts.values(), np.zeros((n, n)))


def compare_straight(wall: WallLine) -> Comparison:
    """With a straight piece that may be shifted and turned."""
    everywhere = np.ones(wall.distance_mm.size, dtype=bool)
    return Comparison(
        "straight", "a straight piece", wall.height_mm, wall.rows, _parts(wall, wall.rows), True, True, everywhere
    )


def compare_square(wall: WallLine, outline: Outline, other: str) -> Comparison:
    """With a straight piece square to the edge ``other``.

    Raises ``InputError`` for the wall itself or no edge, ``MeasureError`` where the two run the same way.
    """
    slope, slope_rows, loose_u = _square_slope(wall, outline, other)
    rows = wall.rows - np.outer(wall.distance_mm, slope_rows)
    loose = loose_u * wall.distance_mm
    parts = {**_parts(wall, rows), f"which stretch of {other} counts": np.outer(loose, loose)}
    height = wall.height_mm - slope * wall.distance_mm
    everywhere = np.ones(height.size, dtype=bool)
    return Comparison(
        "square", f"a straight piece square to {other}", height, rows, parts, True, False, everywhere
    )


def compare_drawing(wall: WallLine, reference: Reference, freedom: Freedom) -> Comparison:
    """With a drawing or an earlier job, laid on by least squares as far as ``freedom`` allows.

    Raises ``InputError`` and ``MeasureError`` of :func:`fit_reference.fit`.
    """
    fitted = fit(wall, reference, freedom)
    rows = fitted.project @ wall.rows
    parts = dict(_parts(wall, rows))
    if fitted.reference_cov_mm2 is not None:
        parts[f"uncertainty of {reference.name}"] = fitted.project @ fitted.reference_cov_mm2 @ fitted.project.T
    return Comparison(
        "drawing", f"{reference.name}, {FREEDOM_WORDS[freedom]}", fitted.deviation_mm, rows, parts, freedom != "none", False,
        np.asarray(fitted.covered, dtype=bool), fitted,
    )  # fmt: skip


def _parts(wall: WallLine, rows: Array) -> Mapping[str, Array]:
    """Covariance of what ``rows`` (n, S) make of the state, by cause; what was not seen of the wall apart from its noise."""
    parts = {cause: rows @ part @ rows.T for cause, part in wall.state.parts.items()}
    unseen = wall.state.segments[wall.edge_id].unseen_cov_mm2
    if unseen is not None:
        own = rows[:, wall.state.outline.state_slices[wall.edge_id]]
        parts[UNSEEN] = own @ unseen @ own.T
        parts[OWN_NOISE + wall.edge_id] = parts[OWN_NOISE + wall.edge_id] - parts[UNSEEN]
    return parts


def _square_slope(wall: WallLine, outline: Outline, other: str) -> tuple[float, Array, float]:
    """Slope of the line square to ``other`` in this wall's frame, its derivative (S,) with respect to the state, and its
    standard uncertainty from what is meant by the direction of an edge that is not straight.

    The other edge's direction is that of its line of best fit over the stretch seen.
    """
    if other == wall.edge_id:
        raise InputError(f"{other} cannot be square to itself; name the other wall.")
    state = wall.state
    state.curve(other)  # names the edges there are
    line = wall_line(outline, other)
    g = slope_row(line.distance_mm)
    slope = float(g @ line.height_mm)
    direction = line.along + slope * line.into_room
    turned = np.array([-direction[1], direction[0]])
    along, into = float(turned @ wall.along), float(turned @ wall.into_room)
    if abs(along) < abs(into):
        raise MeasureError(f"{other} runs along {wall.edge_id} rather than across it; name a wall that meets it at a corner.")
    d_turned = np.array([-line.into_room[1], line.into_room[0]])
    change = (float(d_turned @ wall.into_room) * along - into * float(d_turned @ wall.along)) / along**2
    return into / along, change * (g @ line.rows), abs(change) * stretch_u(line.distance_mm, line.height_mm)
