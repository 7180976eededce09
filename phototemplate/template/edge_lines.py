"""From measured edges and the wishes for them to the lines the stone is cut to.

What is aligned follows the *finished* line of the edge that stays, so that the rule printed is the rule that holds between
the sides of the stone; edges that wait for each other in a circle are refused by name.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.errors import Finding, InputError
from phototemplate.model import Array, OutlineLoop, Segment
from phototemplate.template.constants import ALIGN_TURN_RAD, INTO_WALL_MM
from phototemplate.template.curves import LineCurve
from phototemplate.template.drawn import DRAWN
from phototemplate.template.gradients import Vec, atan2
from phototemplate.template.intersections import AnyCurve, follows
from phototemplate.template.places import OpeningPlace
from phototemplate.template.quantities import Quantity, State, chain_end, direction
from phototemplate.template.spec import AlignSpec, PieceEdgeSpec, PieceSpec, ShopSpec, TemplateSpec
from phototemplate.template.straight_lines import balanced_line, edge_samples, touching_line

FITS = ("wall", "panel", "appliance")
"""Finishes that go against something and must not run into it"""


@dataclass(frozen=True)
class Gap:
    """What a straight or moved edge leaves between itself (clearance taken off) and the measured edge."""

    largest_mm: float
    largest_at_mm: float
    """From the start of the edge, as the piece runs"""
    smallest_mm: float
    smallest_at_mm: float


@dataclass(frozen=True)
class Run:
    """One measured edge of a loop, directed as the loop runs, between its corners."""

    edge_id: str
    curve: AnyCurve
    start: Vec
    end: Vec


@dataclass(frozen=True)
class EdgeLine:
    """The line one edge of a piece is cut to."""

    edge_id: str
    finish: str
    found: AnyCurve
    """As measured, directed as the piece runs"""
    curve: AnyCurve
    """As cut, before corners"""
    outward_mm: float
    """Overhang positive, clearance negative"""
    rule: str
    """In words: as found, straight, parallel to ..."""
    gap: Gap | None = None
    moved: tuple[Quantity, Quantity, Quantity] | None = None
    """Movement of start, middle and end against the measured edge, outwards positive, offset not counted"""
    findings: tuple[Finding, ...] = ()


def loop_runs(state: State, loop: OutlineLoop) -> tuple[Run, ...]:
    """Edges of a closed loop with their curves directed as it runs."""
    corners = state.corners(loop.loop_id)
    runs = []
    for i, edge_id in enumerate(loop.edge_ids):
        start, end = corners[i], corners[(i + 1) % len(corners)]
        curve = state.curve(edge_id)
        if not follows(curve, state.segments[edge_id], start.xy, end.xy):
            curve = curve.reversed()
        runs.append(Run(edge_id, curve, start, end))
    return tuple(runs)


def default_finish(kind: str) -> str:
    """What an edge of that kind becomes unless told otherwise."""
    return {"wall": "wall", "panel": "panel", "opening": "appliance"}.get(kind, "finished")


def outward_mm(segment: Segment, finish: str, spec: PieceEdgeSpec, shop: ShopSpec) -> float:
    """Offset to the outside: overhang, or minus the clearance."""
    if spec.overhang is not None:
        return spec.overhang
    if spec.clearance is not None:
        return -spec.clearance
    if segment.source == DRAWN:
        return 0.0
    if finish == "finished":
        # a rounded end carries on the front's overhang
        return shop.end_overhang if segment.kind == "end" and not segment.bend_per_mm else shop.overhang
    return -{
        "wall": shop.wall_clearance, "panel": shop.panel_clearance, "appliance": shop.appliance_clearance,
        "seam": shop.joint / 2.0,
    }[finish]


_Key = tuple[str, str]
"""Piece and edge"""


class FinishedEdges:
    """The lines of all pieces of a job, each made when it is asked for."""

    def __init__(
        self, state: State, spec: TemplateSpec, openings: Mapping[str, OpeningPlace],
        wishes: Mapping[str, Mapping[str, PieceEdgeSpec]] | None = None,
    ) -> None:
        self._state, self._spec, self._openings = state, spec, openings
        self._pieces: Mapping[str, PieceSpec] = {p.id: p for p in spec.pieces}
        self._wishes = wishes or {p.id: p.edges for p in spec.pieces}
        self._runs: dict[str, dict[str, Run]] = {}
        self._lines: dict[_Key, EdgeLine] = {}
        self._waiting: list[_Key] = []

    def with_wishes(self, piece_id: str, edges: Mapping[str, PieceEdgeSpec]) -> FinishedEdges:
        """The same job where some edges of a piece are wished otherwise."""
        changed = {**self._wishes, piece_id: {**self._wishes[piece_id], **edges}}
        return FinishedEdges(self._state, self._spec, self._openings, changed)

    def of(self, piece_id: str) -> dict[str, EdgeLine]:
        """Lines of a piece, in the order of its loop.

        Raises:
            InputError: a name that does not exist, a loop that is open, edges aligned to each other in a circle.
        """
        return {edge_id: self.line(piece_id, edge_id) for edge_id in self.runs(piece_id)}

    def runs(self, piece_id: str) -> Mapping[str, Run]:
        """Measured edges of a piece. Raises InputError where its loop does not exist or is open."""
        if piece_id not in self._runs:
            spec = self._pieces[piece_id]
            loop = self._state.loop(spec.loop)
            if not loop.closed:
                raise InputError(f"Piece {piece_id!r} is cut from loop {spec.loop!r}, which is open; trace the edge that is "
                                 "missing.")
            self._runs[piece_id] = {run.edge_id: run for run in loop_runs(self._state, loop)}
        return self._runs[piece_id]

    def line(self, piece_id: str, edge_id: str) -> EdgeLine:
        """The line one edge is cut to. Raises InputError as :meth:`of` does."""
        key = (piece_id, edge_id)
        if key in self._waiting:
            circle = [*self._waiting[self._waiting.index(key):], key]
            names = " to ".join(f"{edge!r} of piece {piece!r}" for piece, edge in circle)
            raise InputError(f"Edges are aligned to each other in a circle, {names}; let one of them stay as it is.")
        if key not in self._lines:
            self._waiting.append(key)
            try:
                wish, run = self._wishes[piece_id].get(edge_id, PieceEdgeSpec()), self.runs(piece_id)[edge_id]
                if wish.side_of is not None:
                    self._lines[key] = self._opening_side(piece_id, wish, run)
                else:
                    self._lines[key] = self._edge(piece_id, wish, run)
            finally:
                self._waiting.pop()
        return self._lines[key]

    def _edge(self, piece_id: str, wish: PieceEdgeSpec, run: Run) -> EdgeLine:
        segment = self._state.segments[run.edge_id]
        finish = wish.finish or default_finish(segment.kind)
        out = outward_mm(segment, finish, wish, self._spec.shop)
        base: AnyCurve = run.curve
        rule = "as drawn" if segment.source == DRAWN else "as found"
        if wish.align is not None and wish.align.how == "in-line":
            base, out, rule = self._in_line(piece_id, wish, run, out)
        elif wish.align is not None:
            base, rule = self._turned(piece_id, wish.align, run, finish)
        elif wish.shape == "straight" and not isinstance(run.curve, LineCurve):
            base = (touching_line if finish in FITS else balanced_line)(run.curve, run.start, run.end)
            rule = "straight"
        if base is run.curve:
            return EdgeLine(run.edge_id, finish, run.curve, base.offset(-out), out, rule)
        gap, moved = _gap(run, base), self._movement(run, base)
        start, middle, end = (m.value for m in moved)
        where = f"{piece_id}/{run.edge_id}"
        findings = [Finding("edge-moved", where, edge=run.edge_id, piece=piece_id, rule=rule, start_mm=start, middle_mm=middle,
                            end_mm=end, gap_mm=gap.largest_mm, gap_at_mm=gap.largest_at_mm)]
        if finish in FITS and gap.smallest_mm < -INTO_WALL_MM:
            findings.append(Finding("edge-into-wall", where, edge=run.edge_id, piece=piece_id, rule=rule, finish=finish,
                                    depth_mm=-gap.smallest_mm, at_mm=gap.smallest_at_mm))
        return EdgeLine(run.edge_id, finish, run.curve, base.offset(-out), out, rule, gap, moved, tuple(findings))

    def _movement(self, run: Run, base: AnyCurve) -> tuple[Quantity, Quantity, Quantity]:
        """How far start, middle and end of the measured edge move to the new line, outwards positive."""
        middle = run.curve.point((run.curve.position(run.start.xy) + run.curve.position(run.end.xy)) / 2.0)
        places = (run.start.xy, middle, run.end.xy)
        first, second, third = (self._state.quantity(base.side(chain_end(run.curve, p))) for p in places)
        return first, second, third

    def _opening_side(self, piece_id: str, wish: PieceEdgeSpec, run: Run) -> EdgeLine:
        assert wish.side_of is not None
        name, which = wish.side_of.split("/")
        if name not in self._openings:
            raise InputError(f"Edge {run.edge_id!r} of piece {piece_id!r} is a side of opening {name!r}, which does not exist; "
                             f"the openings are {', '.join(self._openings) or 'none'}.")
        opening = self._openings[name]
        line = opening.side(which)
        if float(line.direction.xy @ run.curve.tangent(line.origin).xy) < 0:
            raise InputError(f"Edge {run.edge_id!r} of piece {piece_id!r} lies on the other side of opening {name!r}; "
                             f"write \"{name}/{'right' if which == 'left' else 'left'}\".")
        clearance = opening.clearance_mm if wish.clearance is None else wish.clearance
        out = 0.0 - clearance if wish.overhang is None else wish.overhang
        curve = line.offset(-opening.clearance_mm - out)
        return EdgeLine(run.edge_id, wish.finish or "appliance", run.curve, curve, out, f"{which} side of {name}")

    # ------------------------------------------------------------------------------------------ alignment

    def _reference(self, piece_id: str, align: AlignSpec, edge_id: str) -> tuple[EdgeLine | None, str]:
        """The finished line an edge is aligned to, and what it is called; None where no piece has that edge.

        An edge of the same piece comes first, then of the other pieces in the order of the job.
        """
        if align.to not in self._state.segments:
            raise InputError(f"Edge {edge_id!r} of piece {piece_id!r} is aligned to {align.to!r}, which does not exist; "
                             f"the edges are {', '.join(self._state.segments)}.")
        for other in (piece_id, *(p for p in self._pieces if p != piece_id)):
            if align.to in self._state.loop(self._pieces[other].loop).edge_ids:
                return self.line(other, align.to), align.to if other == piece_id else f"{align.to} of piece {other}"
        return None, f"{align.to} as measured"

    def _direction(self, piece_id: str, align: AlignSpec, run: Run) -> tuple[Vec, EdgeLine | None, str]:
        """Direction that an aligned edge takes, the line it follows, and the name of that."""
        to, name = self._reference(piece_id, align, run.edge_id)
        along = (run.end - run.start).unit()
        if to is not None and isinstance(to.curve, LineCurve):
            reference = to.curve.direction
        else:
            reference = direction(self._state, align.to)
            if not isinstance(self._state.curve(align.to), LineCurve):
                name = f"{name}, from end to end"
        if align.how == "square":
            reference = reference.left()
        if float(reference.xy @ along.xy) < 0:
            reference = -reference
        turn = abs(float(atan2(along.cross(reference), along.dot(reference))))
        if turn > ALIGN_TURN_RAD:
            raise InputError(
                f"Edge {run.edge_id!r} of piece {piece_id!r} would have to turn by {math.degrees(turn):.0f} degrees to be "
                f"{align.how} with {align.to!r}; the other of parallel and square was probably meant."
            )
        return reference, to, name

    def _turned(self, piece_id: str, align: AlignSpec, run: Run, finish: str) -> tuple[LineCurve, str]:
        """The edge made parallel or square to a finished line."""
        reference, _, name = self._direction(piece_id, align, run)
        rule = f"{align.how} to {name}"
        if finish in FITS:
            points = edge_samples(run.curve, run.start.xy, run.end.xy)
            hold = chain_end(run.curve, points[int(np.argmax(points @ reference.left().xy))])
            return LineCurve(hold, reference), rule
        hold = {"start": run.start, "middle": run.curve.foot((run.start + run.end) * 0.5), "end": run.end}[align.hold]
        return LineCurve(hold, reference), f"{rule}, holding its {align.hold}"

    def _in_line(self, piece_id: str, wish: PieceEdgeSpec, run: Run, out: float) -> tuple[LineCurve, float, str]:
        """Base, offset and rule of an edge in the finished line of another, whose offset it takes over where it has none."""
        assert wish.align is not None
        reference, to, name = self._direction(piece_id, wish.align, run)
        other = self._state.curve(wish.align.to) if to is None else to.curve
        if not isinstance(other, LineCurve):
            raise InputError(f"Edge {run.edge_id!r} of piece {piece_id!r} cannot be in line with {wish.align.to!r}, which is "
                             "not straight; name a straight edge.")
        line = LineCurve(other.foot(run.start), reference)
        rule = f"in line with {name}"
        if to is None:
            return line, out, rule
        if wish.overhang is None and wish.clearance is None:
            out = to.outward_mm
        elif abs(out - to.outward_mm) > 1e-6:  # an overhang of its own is a step that somebody wants
            step = out - to.outward_mm
            rule = f"parallel to {name}, {abs(step):.1f} mm {'in front of' if step > 0 else 'behind'} it"
        return line.offset(to.outward_mm), out, rule


def _gap(run: Run, line: AnyCurve) -> Gap:
    """Room between the new line and the measured edge: positive where the measured edge lies outside the new line."""
    points = edge_samples(run.curve, run.start.xy, run.end.xy)
    room = -line.sides(points)
    along: Array = np.hypot(*(points - run.start.xy).T)
    k, j = int(np.argmax(room)), int(np.argmin(room))
    return Gap(float(room[k]), float(along[k]), float(room[j]), float(along[j]))


def joinable(lines: Mapping[str, EdgeLine]) -> Sequence[tuple[AnyCurve, str, str]]:
    """Lines of a piece as ``boundary.join`` takes them: curve, name, finish."""
    return [(line.curve, name, line.finish) for name, line in lines.items()]
