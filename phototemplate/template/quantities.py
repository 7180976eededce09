"""Lengths, angles and areas with their uncertainty and what causes it.

Everything derived from an outline is a function of its stacked offset state. With the gradient g of the function the
variance is ``g (N + J C J') g'`` (JCGM 100:2008, 5.2), and the parts of C by cause give the budget.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np

from phototemplate.edges.shapes.evaluate import point_at, to_chord
from phototemplate.errors import InputError
from phototemplate.model import Array, Outline, OutlineLoop, Segment
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.gradients import Dual, Vec, atan2, dual, vec
from phototemplate.template.intersections import AnyCurve, segment_curve, tangent_place, with_gradient
from phototemplate.template.spec import CentreLineSpec
from phototemplate.template.wall_curves import WallCurve

Unit = Literal["mm", "rad", "mm2"]
OWN_NOISE = "noise of edge "
REST = "not attributed"


@dataclass(frozen=True)
class Quantity:
    """A derived value with its standard uncertainty and budget."""

    value: float
    u: float
    """Standard uncertainty"""
    budget: tuple[tuple[str, float], ...]
    """(cause, standard uncertainty), largest first; root sum of squares is ``u``"""
    unit: Unit = "mm"
    gradient: Array = field(default_factory=lambda: np.zeros(0), repr=False, compare=False)
    """(S,) over the state of the measured outline"""

    @property
    def value_mm(self) -> float:
        """Value of a length."""
        assert self.unit == "mm"
        return self.value

    @property
    def u_mm(self) -> float:
        """Standard uncertainty of a length."""
        assert self.unit == "mm"
        return self.u

    @property
    def U(self) -> float:
        """Expanded uncertainty, k = 2."""
        return 2.0 * self.u


class State:
    """The stacked offsets of an outline with their joint covariance, split by cause."""

    def __init__(self, outline: Outline, centre_lines: Sequence[CentreLineSpec] = ()) -> None:
        self.outline = outline
        self.centre_lines = {line.id: line for line in centre_lines}
        self.size = len(outline.noise_cov_mm2)
        self.measured = sum(len(s.offsets_mm) for s in outline.segments if s.source != "drawn")
        self.segments: Mapping[str, Segment] = {s.edge_id: s for s in outline.segments}
        self._curves: dict[str, AnyCurve] = {}

    @cached_property
    def values(self) -> Array:
        """(S,)"""
        return np.concatenate([s.offsets_mm for s in self.outline.segments]) if self.segments else np.zeros(0)

    @cached_property
    def parts(self) -> Mapping[str, Array]:
        """Cause -> (S, S); the parts sum to ``cov``."""
        j = self.outline.shared_jac
        out: dict[str, Array] = {}
        for cause, part in self.outline.influences.parts.items():
            out[cause] = j @ part @ j.T
        # parts are complete by construction; what rounding or a foreign file leaves over is shown, not dropped
        rest = self.outline.influences.cov - sum(self.outline.influences.parts.values(), np.zeros(()))
        if np.abs(rest).max(initial=0.0) > 1e-9 * np.abs(self.outline.influences.cov).max(initial=0.0):
            out[REST] = j @ rest @ j.T
        for edge_id, where in self.outline.state_slices.items():
            noise = np.zeros((self.size, self.size))
            noise[where, where] = self.outline.noise_cov_mm2[where, where]
            out[OWN_NOISE + edge_id] = noise
        return out

    @cached_property
    def _stack(self) -> Array:
        """(P, S, S) the parts in their order."""
        return np.array(list(self.parts.values())).reshape(-1, self.size, self.size)

    @cached_property
    def cov(self) -> Array:
        """(S, S) joint covariance."""
        return state_cov(self.outline)

    def quantity(self, value: Dual, unit: Unit = "mm") -> Quantity:
        """Value with uncertainty and budget."""
        g = value.gradient(self.size)
        variances = dict(zip(self.parts, (self._stack @ g @ g).tolist(), strict=True))
        total = sum(variances.values())
        budget = sorted(((c, math.sqrt(v)) for c, v in variances.items() if v > 1e-12 * max(total, 1e-300)),
                        key=lambda item: (-item[1], item[0]))
        return Quantity(value.value, math.sqrt(max(total, 0.0)), tuple(budget), unit, g[: self.measured])

    def cov_of(self, point: Vec) -> Array:
        """(2, 2) covariance of a point in mm^2."""
        j = point.jacobian(self.size)
        out: Array = j @ self.cov @ j.T
        return out

    def u_of(self, value: Dual) -> float:
        """Standard uncertainty alone."""
        g = value.gradient(self.size)
        return math.sqrt(max(float(g @ self.cov @ g), 0.0))

    def curve(self, edge_id: str) -> AnyCurve:
        """The curve of an edge. Raises InputError naming the edges there are."""
        if edge_id not in self.segments:
            raise InputError(f"There is no edge {edge_id!r}; the edges are {', '.join(self.segments) or 'none'}.")
        if edge_id not in self._curves:
            first = self.outline.state_slices[edge_id].start
            self._curves[edge_id] = segment_curve(self.segments[edge_id], first, self.size)
        return self._curves[edge_id]

    def loop(self, loop_id: str) -> OutlineLoop:
        """A loop by name. Raises InputError naming the loops there are."""
        for loop in self.outline.loops:
            if loop.loop_id == loop_id:
                return loop
        known = ", ".join(loop.loop_id for loop in self.outline.loops) or "none"
        raise InputError(f"There is no loop {loop_id!r}; the loops are {known}.")

    def corners(self, loop_id: str) -> tuple[Vec, ...]:
        """Corners of a loop with gradients, in its order."""
        return tuple(self.corner(loop_id, i) for i in range(len(self.loop(loop_id).corners_mm)))

    def corner(self, loop_id: str, index: int) -> Vec:
        """One corner of a loop with gradients. The ends of an open chain are fixed to the curve, normal to it."""
        loop = self.loop(loop_id)
        n = len(loop.edge_ids)
        if not 0 <= index < len(loop.corners_mm):
            raise InputError(f"Loop {loop_id!r} has corners 0 to {len(loop.corners_mm) - 1}, not {index}.")
        xy = loop.corners_mm[index]
        if not loop.closed and index in (0, n):
            return chain_end(self.curve(loop.edge_ids[0 if index == 0 else -1]), xy)
        before, after = self.curve(loop.edge_ids[index - 1]), self.curve(loop.edge_ids[index % n])
        if n == 1:  # a whole circle: where it begins is a choice
            return chain_end(before, xy)
        return tangent_place(before, after) or with_gradient(before, after, xy)

    def stretch(self, edge_id: str) -> tuple[Vec, Vec]:
        """Ends of the trimmed stretch of an edge: its corners in the first loop that has it, else where it was seen."""
        curve = self.curve(edge_id)
        for loop in self.outline.loops:
            if edge_id in loop.edge_ids:
                i = loop.edge_ids.index(edge_id)
                j = (i + 1) % len(loop.edge_ids) if loop.closed else i + 1
                return self.corner(loop.loop_id, i), self.corner(loop.loop_id, j)
        a, b = seen_stretch(self.segments[edge_id], curve)
        return chain_end(curve, a), chain_end(curve, b)

    def between_corners(self, edge_id: str) -> bool:
        """Whether the stretch of an edge ends at corners: where it runs free its length is what was seen, no dimension."""
        loop = next((loop for loop in self.outline.loops if edge_id in loop.edge_ids), None)
        return loop is not None and (loop.closed or 0 < loop.edge_ids.index(edge_id) < len(loop.edge_ids) - 1)


def state_cov(outline: Outline) -> Array:
    """(S, S) joint covariance of the offset state."""
    out: Array = outline.noise_cov_mm2 + outline.shared_jac @ outline.influences.cov @ outline.shared_jac.T
    return out


def chain_end(curve: AnyCurve, xy: Array) -> Vec:
    """A free end: moves with the curve along its normal; its place along the curve is a choice, not a measurement."""
    p = vec(xy)
    normal = curve.side_at(xy)[1]
    moved = curve.side(p)
    return Vec(p.x - moved * float(normal[0]), p.y - moved * float(normal[1]))


def seen_stretch(segment: Segment, curve: AnyCurve) -> tuple[Array, Array]:
    """First and last place on the curve where the edge was measured."""
    if len(segment.points_mm) >= 2:
        s, _ = to_chord(segment, segment.points_mm)
        ends = segment.points_mm[[int(np.argmin(s)), int(np.argmax(s))]]
    else:
        ends = point_at(segment, segment.knots_mm[[0, -1]])
    first, last = (curve.point(curve.position(p)) for p in ends)
    return first, last


# ----------------------------------------------------------------------------------------------- questions


@dataclass(frozen=True)
class CornerPlace:
    """A corner of a loop."""

    loop_id: str
    index: int


@dataclass(frozen=True)
class EdgePlace:
    """An edge, or a share ``at`` of its trimmed stretch (0 start, 1 end) where one place is needed."""

    edge_id: str
    at: float = 0.5


LoopPlace = CornerPlace | EdgePlace


def place_on_edge(state: State, place: EdgePlace) -> Vec:
    """Point at a share of the trimmed stretch, carried by the curve."""
    curve = state.curve(place.edge_id)
    start, end = state.stretch(place.edge_id)
    if isinstance(curve, ArcCurve):
        swept = curve.sweep(start, end) * (curve.turn * place.at)
        return curve.centre + (start - curve.centre).unit().turned(swept) * curve.radius
    return curve.foot(start + (end - start) * place.at)


def distance(outline: Outline | State, a: LoopPlace, b: LoopPlace) -> Quantity:
    """Distance between two corners, a corner and an edge (normal to it), or two edges.

    Between edges: from the place ``a.at`` of the first edge, normal to the second. Always positive.
    """
    state = outline if isinstance(outline, State) else State(outline)
    if isinstance(a, EdgePlace) and isinstance(b, CornerPlace):
        a, b = b, a
    p = state.corner(a.loop_id, a.index) if isinstance(a, CornerPlace) else place_on_edge(state, a)
    if isinstance(b, CornerPlace):
        return state.quantity((p - state.corner(b.loop_id, b.index)).norm())
    return state.quantity(abs(state.curve(b.edge_id).side(p)))


def direction(state: State, edge_id: str) -> Vec:
    """Unit vector of an edge: of the line itself, or from end to end of a bent one's trimmed stretch."""
    curve = state.curve(edge_id)
    if isinstance(curve, LineCurve):
        return curve.direction
    start, end = state.stretch(edge_id)
    if isinstance(curve, ArcCurve) and curve.closed:  # has no ends: the heading at its start
        return curve.tangent(start)
    return (end - start).unit()


def angle(outline: Outline | State, a: str, b: str) -> Quantity:
    """Angle turned from the running direction of edge ``a`` to that of edge ``b``, in (-pi, pi] rad."""
    state = outline if isinstance(outline, State) else State(outline)
    da, db = direction(state, a), direction(state, b)
    return state.quantity(atan2(da.cross(db), da.dot(db)), "rad")


def span_area(curve: AnyCurve, start: Vec, end: Vec) -> Dual:
    """Twice the area swept from the origin along a curve (Green's theorem), exact for lines, arcs and wall curves."""
    straight = start.cross(end)
    if isinstance(curve, ArcCurve):
        return straight + curve.cap(start, end)
    if isinstance(curve, WallCurve):
        return straight + curve.swept(start, end)
    return straight


def area(outline: Outline | State, loop_id: str) -> Quantity:
    """Area of a closed loop in mm^2."""
    state = outline if isinstance(outline, State) else State(outline)
    loop = state.loop(loop_id)
    if not loop.closed:
        raise InputError(f"Loop {loop_id!r} is open and has no area; close it with the edges that are missing.")
    corners = state.corners(loop_id)
    total = dual(0.0)
    for i, edge_id in enumerate(loop.edge_ids):
        total = total + span_area(state.curve(edge_id), corners[i], corners[(i + 1) % len(corners)])
    return state.quantity(total * 0.5, "mm2")
