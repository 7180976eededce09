"""Is this wall what the template takes it for? One wall against a straight piece, a right angle, an earlier job or a DXF.

The answer is the gap that the piece would leave: a piece that touches the wall where it stands out most (its edge straight,
square to another wall, or as drawn), the largest gap behind it and where, and how much would have to be scribed off to close
it. Every figure follows from the heights of the wall and their joint covariance. The largest gap is a maximum over noisy
heights and comes out too large on the average; that is taken off by drawing from the same covariance (parametric bootstrap:
Efron and Tibshirani, An Introduction to the Bootstrap, ch. 10), and the spread of the draws is its uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, BoolArray, HeightPoint, Measurement, Outline
from phototemplate.numerics.decision import Decision, Guard, decide
from phototemplate.numerics.montecarlo import correlated_draws
from phototemplate.studies.fit_reference import FREEDOM_WORDS, Fit, Freedom, fit
from phototemplate.studies.references import Reference
from phototemplate.studies.straightness import Zone, minimum_zone, zone_widths
from phototemplate.studies.verdict import judge_quantity
from phototemplate.studies.wall_line import End, WallLine, choose_wall, wall_line
from phototemplate.template.gradients import Dual
from phototemplate.units import INCH_MM

USUAL_GAP_MM = INCH_MM / 8
"""Gap that caulk is expected to hide (common practice, no published source)"""
CORNER_MM = 300.0
"""Length over which joint compound swells a corner (common practice)"""
DRAWS = 1000
SEED = 7

Kind = Literal["straight", "square", "drawing"]


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


@dataclass(frozen=True)
class WallCheck:
    """What was found about one wall; n places along it."""

    job: str
    wall: WallLine
    against: str
    """What it was compared with, in words"""
    kind: Kind
    piece_mm: Array
    """(n,) height of the touching piece's edge"""
    deviation_mm: Array
    """(n,) how far the wall stands into the room from the reference (best line, square line, drawing)"""
    deviation_u_mm: Array
    gap_mm: Array
    """(n,) behind the touching piece"""
    gap_u_mm: Array
    """(n,) of the gap at that place, the piece touching where it touches now"""
    within: BoolArray
    """(n,) the stretch that was judged"""
    largest_gap: Figure
    largest_at_mm: tuple[float, ...]
    """Distances from the corner"""
    touches_at_mm: tuple[float, ...]
    figures: tuple[Figure, ...]
    """Bow, swelling, angle ..."""
    limit_mm: float
    decision: Decision
    remedy: str
    """What would settle it, where the verdict is ``cannot tell``; with what it would bring"""
    budget: tuple[tuple[str, float], ...]
    """Cause and its standard uncertainty of the largest gap, largest first"""
    fit_rms_mm: float | None = None
    """Of a drawing or an earlier job"""
    findings: tuple[str, ...] = ()

    @property
    def scribe_mm(self) -> Array:
        """(n,) what has to come off the touching piece for it to follow the wall, the gap closed everywhere."""
        out: Array = np.where(self.within, np.maximum(float(self.gap_mm[self.within].max()) - self.gap_mm, 0.0), np.nan)
        return out


def check_wall(
    outline: Outline,
    edge_id: str | None = None,
    *,
    job: str = "",
    heights: Sequence[HeightPoint] = (),
    square_to: str | None = None,
    reference: Reference | None = None,
    freedom: Freedom = "turn",
    limit_mm: float = USUAL_GAP_MM,
    stretch_mm: tuple[float, float] | None = None,
    corner: End | None = None,
    guard: Guard = "U",
    measurement: Measurement | None = None,
) -> WallCheck:
    """Compare one wall with a straight piece, with a right angle to the edge ``square_to``, or with ``reference``.

    ``stretch_mm`` limits the judgement to distances from the corner. ``measurement`` lets remedies be predicted.

    Raises ``InputError`` for names and values that cannot be used, ``MeasureError`` where the comparison does not fit.
    """
    if not limit_mm > 0:
        raise InputError(f"The allowed gap must be larger than nothing, not {limit_mm:g} mm.")
    if square_to is not None and reference is not None:
        raise InputError("A wall is compared with one thing at a time; give a right angle or a drawing, not both.")
    wall = wall_line(outline, choose_wall(outline, edge_id), heights, corner)
    within = _within(wall, stretch_mm)
    n = wall.distance_mm.size
    fitted: Fit | None = None
    project = np.eye(n)
    kind: Kind = "straight"
    against, more = "a straight piece", None
    deviation = wall.height_mm
    turning = True
    angle_rows: Array | None = None
    if square_to is not None:
        kind, turning = "square", False
        slope, angle_rows = _square_slope(wall, outline, square_to)
        against = f"a straight piece square to {square_to}"
        deviation = wall.height_mm - slope * wall.distance_mm
    elif reference is not None:
        kind, turning = "drawing", freedom == "turn"
        fitted = fit(wall, reference, freedom)
        against = f"{reference.name}, {FREEDOM_WORDS[freedom]}"
        deviation, project, more = fitted.deviation_mm, fitted.project, fitted.reference_cov_mm2
        within = within & np.asarray(fitted.covered, dtype=bool)
    rows = project @ wall.rows
    if angle_rows is not None:
        rows = rows - np.outer(wall.distance_mm, angle_rows)
    parts = {cause: rows @ part @ rows.T for cause, part in wall.state.parts.items()}
    if more is not None:
        parts[f"uncertainty of {reference.name}" if reference else "reference"] = project @ more @ project.T
    cov = sum(parts.values(), np.zeros((n, n)))
    x, d = wall.distance_mm, deviation
    xs, ds, cs = x[within], d[within], cov[np.ix_(within, within)]
    zone = minimum_zone(xs, ds) if turning and kind == "straight" else _pushed(xs, ds)
    piece = zone.piece(x)
    if kind == "drawing" and freedom == "none":
        piece = np.zeros(n)  # the drawing says where the piece goes; it is not pushed anywhere
    gap = piece - d
    w = zone.weights(xs)
    jac = np.zeros((n, n))
    jac[:, np.flatnonzero(within)] = _piece_rows(zone, xs, x)
    jac -= np.eye(n)
    if kind == "drawing" and freedom == "none":
        jac = -np.eye(n)
        zone, w = _as_drawn(xs, ds)
    gap_u = _row_u(jac, cov)
    draws = correlated_draws(np.random.default_rng(SEED), ds, cs, DRAWS)
    drawn = _widths(xs, draws, kind, freedom)
    shape = _widths(xs, ds[None], kind, freedom)[0]
    value = max(2.0 * shape - float(drawn.mean()), 0.0)
    u = float(drawn.std(ddof=1))
    largest = Figure("largest gap", value, u, "mm", f"behind {against} that touches the wall")
    decision = decide(value, u, upper=limit_mm, guard=guard)
    centred = d - float(np.mean(ds)) if kind != "drawing" else d
    if kind == "straight":  # deviations from the line of best fit
        line = np.polyfit(xs, ds, 1)
        centred = d - np.polyval(line, x)
        hat = _line_rows(xs, x)
        back = np.eye(n)
        back[:, np.flatnonzero(within)] -= hat
        deviation_u = _row_u(back, cov)
    elif kind == "square":
        back = np.eye(n)
        back[:, np.flatnonzero(within)] -= 1.0 / xs.size
        deviation_u = _row_u(back, cov)
    else:
        deviation_u = np.sqrt(np.maximum(np.diag(cov), 0.0))
    budget = sorted(((c, _u(w, p[np.ix_(within, within)])) for c, p in parts.items()), key=lambda item: -item[1])
    at_least = [(cause, s) for cause, s in budget if s > 0.02 * max(u, 1e-9)]
    where_far = tuple(float(xs[k]) for k in zone.far)
    full = np.zeros(n)
    full[within] = w
    remedy = _remedy(measurement, wall, full @ rows, value, limit_mm, guard, decision)
    notes = [] if wall.corner_known else [
        f"No corner was measured; distances count from the {wall.corner} end of what was seen, as seen from the room."
    ]
    if fitted is not None and fitted.rivals:
        notes.append(
            f"{fitted.rivals + 1} lines of the drawing are long enough for this wall; compared with the "
            f"{('longest', 'second longest')[fitted.run] if fitted.run < 2 else f'{fitted.run + 1}th longest'}. Name the layer "
            "of the wall if that is not the one."
        )
    if not np.all(wall.seen[within]):
        unseen = float(np.diff(x).mean()) * int(np.count_nonzero(~wall.seen[within]))
        notes.append(f"About {unseen:.0f} mm of the judged stretch were not seen; there the wall is run on, with a larger U.")
    return WallCheck(
        job, wall, against, kind, piece - d + centred, centred, deviation_u, gap, gap_u, within, largest, where_far,
        tuple(float(xs[k]) for k in zone.touching), tuple(_figures(wall, kind, x, d, cov, within, square_to)),
        limit_mm, decision, remedy, tuple(at_least), None if fitted is None else fitted.rms_mm, tuple(notes),
    )  # fmt: skip


def _within(wall: WallLine, stretch: tuple[float, float] | None) -> BoolArray:
    if stretch is None:
        return np.ones(wall.distance_mm.size, dtype=bool)
    low, high = min(stretch), max(stretch)
    inside: BoolArray = (wall.distance_mm >= low - 1e-6) & (wall.distance_mm <= high + 1e-6)
    if np.count_nonzero(inside) < 5:
        raise InputError(
            f"Between {low:.0f} and {high:.0f} mm from the corner hardly anything of {wall.edge_id} was measured; it reaches "
            f"from 0 to {wall.distance_mm[-1]:.0f} mm."
        )
    return inside


def _square_slope(wall: WallLine, outline: Outline, other: str) -> tuple[float, Array]:
    """Slope of the line square to ``other`` in this wall's frame, and its derivative (S,) with respect to the state.

    The other edge's direction is that of its line of best fit over the stretch seen.
    """
    if other == wall.edge_id:
        raise InputError(f"{other} cannot be square to itself; name the other wall.")
    state = wall.state
    state.curve(other)
    line = wall_line(outline, other)
    x = line.distance_mm
    g = _slope_row(x)
    slope = float(g @ line.height_mm)
    direction = line.along + slope * line.into_room
    turned = np.array([-direction[1], direction[0]])
    along, into = float(turned @ wall.along), float(turned @ wall.into_room)
    if abs(along) < abs(into):
        raise MeasureError(f"{other} runs along {wall.edge_id} rather than across it; name a wall that meets it at a corner.")
    d_turned = np.array([-line.into_room[1], line.into_room[0]])
    change = (float(d_turned @ wall.into_room) * along - into * float(d_turned @ wall.along)) / along**2
    return into / along, change * (g @ line.rows)


def _pushed(x: Array, y: Array) -> Zone:
    """A piece of given direction touches at the highest point."""
    return Zone(float(y.max() - y.min()), 0.0, float(y.max()), (int(np.argmax(y)),), (int(np.argmin(y)),))


def _as_drawn(x: Array, y: Array) -> tuple[Zone, Array]:
    """A piece where the drawing puts it: the largest gap alone counts."""
    k = int(np.argmin(y))
    w = np.zeros(x.size)
    w[k] = -1.0
    return Zone(max(-float(y[k]), 0.0), 0.0, 0.0, (int(np.argmax(y)),), (k,)), w


def _widths(x: Array, y: Array, kind: Kind, freedom: Freedom) -> Array:
    """(draws,) largest gap for many profiles."""
    if kind == "straight":
        return zone_widths(x, y)
    if kind == "drawing" and freedom == "none":
        out: Array = np.maximum(-y.min(axis=1), 0.0)
        return out
    wide: Array = y.max(axis=1) - y.min(axis=1)
    return wide


def _piece_rows(zone: Zone, xs: Array, x: Array) -> Array:
    """(n, m) derivative of the piece's height at ``x`` with respect to the heights at ``xs``."""
    out = np.zeros((x.size, xs.size))
    if len(zone.touching) == 2:
        a, b = zone.touching
        share = (x - xs[a]) / (xs[b] - xs[a])
        out[:, a] += 1.0 - share
        out[:, b] += share
    else:
        out[:, zone.touching[0]] = 1.0
        if len(zone.far) == 2:  # balanced on one place; it takes the direction of the two farthest
            a, b = zone.far
            slope = (x - xs[zone.touching[0]]) / (xs[b] - xs[a])
            out[:, b] += slope
            out[:, a] -= slope
    return out


def _slope_row(x: Array) -> Array:
    c = x - x.mean()
    out: Array = c / float(c @ c)
    return out


def _line_rows(xs: Array, x: Array) -> Array:
    """(n, m) line of best fit at ``x`` from heights at ``xs``."""
    out: Array = 1.0 / xs.size + np.outer(x - xs.mean(), _slope_row(xs))
    return out


def _u(row: Array, cov: Array) -> float:
    return math.sqrt(max(float(row @ cov @ row), 0.0))


def _row_u(rows: Array, cov: Array) -> Array:
    out: Array = np.sqrt(np.maximum(np.sum((rows @ cov) * rows, axis=1), 0.0))
    return out


def bow_row(x: Array) -> Array:
    """(n,) weights of the bow: height of the middle over the line between the ends, of the parabola of best fit over the wall
    without its corners (:data:`CORNER_MM` at each end, a quarter of a short wall), taken over the whole length."""
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
    zone = min(CORNER_MM, 0.25 * span)
    inner = np.flatnonzero((x >= x[0] + zone) & (x <= x[-1] - zone))
    t = 2.0 * (x[inner] - x[0]) / span - 1.0
    return inner, np.column_stack([np.ones_like(t), t, t * t])


def _figures(
    wall: WallLine, kind: Kind, x: Array, d: Array, cov: Array, within: BoolArray, square_to: str | None
) -> list[Figure]:
    xs, ds, cs = x[within], d[within], cov[np.ix_(within, within)]
    out = []

    def add(name: str, row: Array, unit: Literal["mm", "deg"], meaning: str) -> None:
        factor = 180.0 / math.pi if unit == "deg" else 1.0
        out.append(Figure(name, factor * float(row @ ds), factor * _u(row, cs), unit, meaning))

    if xs.size >= 8:
        add("bow", bow_row(xs), "mm", "middle over the line between the ends, corners left out; positive: into the room")
        for at_start in (True, False):
            end = wall.corner if at_start else ("right" if wall.corner == "left" else "left")
            add(f"swelling at the {end} end", swelling_row(xs, at_start), "mm",
                "end over the parabola of the rest run on; positive: into the room")  # fmt: skip
    if kind == "square":
        add("angle", _slope_row(xs), "deg", f"to a right angle with {square_to}; positive: the far end comes into the room")
        row = _slope_row(xs) * float(xs[-1] - xs[0])
        add("out of square", row, "mm", f"over the {xs[-1] - xs[0]:.0f} mm judged")
    elif kind == "drawing" and abs(float(_slope_row(xs) @ ds)) > 1e-9:
        add("angle", _slope_row(xs), "deg", "to the drawing; positive: the far end comes into the room")
    if kind != "straight":
        k = int(np.argmax(ds))
        unit = np.zeros(xs.size)
        unit[k] = 1.0
        if kind == "drawing":
            add("stands out most", unit, "mm", f"into the room from the drawing, {xs[k]:.0f} mm from the corner")
    return out


def _remedy(
    m: Measurement | None, wall: WallLine, gradient: Array, value: float, limit: float, guard: Guard, decision: Decision
) -> str:
    """What would settle the question, with what it would bring where that can be predicted."""
    if decision.verdict != "cannot tell":
        return ""
    ask = f"The gap is too close to {limit:.1f} mm for its U."
    if m is not None and not m.outline.unscaled:
        judged = judge_quantity(
            m, f"largest gap at {wall.edge_id}", Dual(value, gradient), 0.0, limit, guard, near_edge=wall.edge_id
        )
        if judged.remedies:
            best = judged.remedies[0]
            return f"{ask} {best.text} That would bring U to {best.predicted_U_mm:.2f} mm."
    return f"{ask} Hold a straightedge against the wall and measure the gap with feeler gauges, or scribe on site."
