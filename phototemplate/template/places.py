"""Places along a run, and the small frames that openings, cut-outs and seams are set out in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.errors import InputError
from phototemplate.template.boundary import FitError
from phototemplate.template.constants import REACH_MM, SQUARELY
from phototemplate.template.curves import LineCurve
from phototemplate.template.gradients import Dual, Vec
from phototemplate.template.intersections import AnyCurve, meet
from phototemplate.template.quantities import State, direction
from phototemplate.template.spec import AlongSpec, OpeningSpec, ShopSpec


@dataclass(frozen=True)
class Frame:
    """A right-angled frame in the plan: ``across`` to the right as seen from the room, ``inward`` away from the room."""

    origin: Vec
    across: Vec
    inward: Vec

    def at(self, a: Dual | float, b: Dual | float) -> Vec:
        """Point a to the right and b away from the room."""
        return self.origin + self.across * a + self.inward * b

    def moved(self, a: Dual | float, b: Dual | float) -> Frame:
        """The same directions at another origin."""
        return Frame(self.at(a, b), self.across, self.inward)


def run_direction(state: State, run: str) -> Vec:
    """Unit vector of a run as seen from the room, to the right: along the loop, interior on the left."""
    return direction(state, run)


def edge_named(state: State, edge_id: str, whose: str) -> None:
    """Raise InputError with the edges there are, naming who asks."""
    if edge_id not in state.segments:
        raise InputError(f"{whose} names edge {edge_id!r}, which does not exist; "
                         f"the edges are {', '.join(state.segments)}.")


def _crossing(state: State, edge_id: str, run: str, whose: str) -> Vec:
    edge_named(state, edge_id, whose)
    run_curve, curve = state.curve(run), state.curve(edge_id)
    start, end = state.stretch(edge_id)
    nearest = min((start.xy, end.xy), key=lambda p: abs(run_curve.side_at(p)[0]))
    place = meet(curve, run_curve, nearest, REACH_MM)
    if place is None or float(np.hypot(*(place.xy - nearest))) > REACH_MM:
        raise InputError(f"{whose}: edge {edge_id!r} does not cross run {run!r}; name an edge that reaches it.")
    return place


def place_along(state: State, run: str, along: AlongSpec, whose: str) -> Vec:
    """A place on a run.

    Raises:
        InputError: a name that does not exist, or an edge that does not reach the run.
    """
    edge_named(state, run, whose)
    if along.between is not None:
        a, b = (_crossing(state, e, run, whose) for e in along.between)
        if float(np.hypot(*(a.xy - b.xy))) < 1.0:
            raise InputError(f"{whose} is centred between {along.between[0]!r} and {along.between[1]!r}, which cross the "
                             "run at the same place; name two different edges.")
        return (a + b) * 0.5
    if along.mark is not None:
        return _crossing(state, along.mark, run, whose)
    to_right = run_direction(state, run)
    if along.centre is not None:
        line = state.centre_lines[along.centre]
        return state.curve(run).foot(place_along(state, line.run, line.along, f"Centre line {line.id!r}"))
    if along.loop is not None:
        corners = state.corners(along.loop)
        ends = sorted(corners, key=lambda p: float(to_right.dot(p)))
        return state.curve(run).foot((ends[0] + ends[-1]) * 0.5)
    assert along.edge is not None
    assert along.distance is not None
    from_edge = _crossing(state, along.edge, run, whose)
    start, end = state.stretch(run)
    middle = (start + end) * 0.5
    sign = 1.0 if float(to_right.dot(middle - from_edge)) >= 0 else -1.0
    return state.curve(run).foot(from_edge + to_right * (sign * along.distance))


def inward_at(state: State, run: str, square_to: str | None, whose: str) -> Vec:
    """Direction away from the room, square to an edge that runs along, or parallel to one that runs away."""
    to_right = run_direction(state, run)
    if square_to is None or square_to == run:
        return to_right.left()
    edge_named(state, square_to, whose)
    other = direction(state, square_to)
    if abs(float(other.xy @ to_right.xy)) >= SQUARELY:
        other = other.left()
    return other if float(other.xy @ to_right.left().xy) > 0 else -other


def frame_at(state: State, run: str, along: AlongSpec, square_to: str | None, whose: str) -> Frame:
    """Frame whose origin is a place on the measured run."""
    origin = place_along(state, run, along, whose)
    inward = inward_at(state, run, square_to, whose)
    return Frame(origin, -inward.left(), inward)


@dataclass(frozen=True)
class OpeningPlace:
    """Where an opening lies: its frame and the lines of its two sides."""

    spec: OpeningSpec
    frame: Frame
    clearance_mm: float = 0.0
    """What the stone keeps from the appliance's place on each side"""

    @property
    def clear_mm(self) -> float:
        """Width between the two stones."""
        return (self.spec.width or 0.0) + 2.0 * self.clearance_mm

    @property
    def left(self) -> LineCurve:
        """Side of the stone on the left, run away from the room: the stone lies on its left."""
        return LineCurve(self.frame.at(-self.clear_mm / 2.0, 0.0), self.frame.inward)

    @property
    def right(self) -> LineCurve:
        """Side of the stone on the right, run towards the room: the stone lies on its left."""
        return LineCurve(self.frame.at(self.clear_mm / 2.0, 0.0), -self.frame.inward)

    def side(self, which: str) -> LineCurve:
        """``"left"`` or ``"right"``."""
        return self.left if which == "left" else self.right

    @property
    def centre_line(self) -> LineCurve:
        """Middle of the opening, away from the room."""
        return LineCurve(self.frame.origin, self.frame.inward)


def place_opening(state: State, spec: OpeningSpec, shop: ShopSpec) -> OpeningPlace:
    """Set out an opening. Raises InputError where a name does not exist."""
    clearance = shop.appliance_clearance if spec.clearance is None else spec.clearance
    return OpeningPlace(spec, frame_at(state, spec.run, spec.along, spec.square_to, f"Opening {spec.id!r}"), clearance)


def front_point(line: LineCurve, front: AnyCurve, whose: str) -> Vec:
    """Where a line away from the room crosses the finished front.

    Raises:
        FitError: they do not cross.
    """
    place = meet(line, front, line.origin.xy, REACH_MM)
    if place is None:
        raise FitError(f"{whose} does not cross the finished front; square it to another edge.", whose)
    return place
