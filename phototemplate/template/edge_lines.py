"""From a measured edge and the wish for it to the line the stone is cut to, with whatever that moves or leaves open."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.errors import Finding, InputError
from phototemplate.model import Array, OutlineLoop, Segment
from phototemplate.numerics.convex import upper_hull
from phototemplate.template.constants import ALIGN_TURN_RAD, SAMPLES
from phototemplate.template.curves import LineCurve, line_through
from phototemplate.template.gradients import Vec, atan2, dual, vec
from phototemplate.template.intersections import AnyCurve, follows
from phototemplate.template.quantities import Quantity, State, chain_end, direction
from phototemplate.template.spec import AlignSpec, PieceEdgeSpec, ShopSpec


@dataclass(frozen=True)
class Gap:
    """What a straight or moved edge leaves between itself (clearance taken off) and the measured edge."""

    largest_mm: float
    largest_at_mm: float
    """From the start of the edge, as the piece runs"""
    smallest_mm: float
    smallest_at_mm: float


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


def loop_runs(state: State, loop: OutlineLoop) -> tuple[tuple[AnyCurve, ...], tuple[Vec, ...]]:
    """Curves of a loop directed as the loop runs, and its corners."""
    corners = state.corners(loop.loop_id)
    curves = []
    for i, edge_id in enumerate(loop.edge_ids):
        start, end = corners[i].xy, corners[(i + 1) % len(corners)].xy
        curve = state.curve(edge_id)
        curves.append(curve if follows(curve, state.segments[edge_id], start, end) else curve.reversed())
    return tuple(curves), corners


def default_finish(kind: str) -> str:
    """What an edge of that kind becomes unless told otherwise."""
    return {"wall": "wall", "panel": "panel", "opening": "appliance"}.get(kind, "finished")


def outward_mm(segment: Segment, finish: str, spec: PieceEdgeSpec, shop: ShopSpec) -> float:
    """Offset to the outside: overhang, or minus the clearance."""
    if spec.overhang is not None:
        return spec.overhang
    if spec.clearance is not None:
        return -spec.clearance
    if finish == "finished":
        # a rounded end carries on the front's overhang
        return shop.end_overhang if segment.kind == "end" and segment.shape != "arc" else shop.overhang
    return -{
        "wall": shop.wall_clearance, "panel": shop.panel_clearance, "appliance": shop.appliance_clearance,
        "seam": shop.joint / 2.0,
    }[finish]


def edge_line(
    state: State, edge_id: str, found: AnyCurve, start: Vec, end: Vec, spec: PieceEdgeSpec, shop: ShopSpec, where: str
) -> EdgeLine:
    """The line for one edge of a loop.

    Raises:
        InputError: the edge it is aligned to does not exist, or is no straight edge to be in line with.
    """
    segment = state.segments[edge_id]
    finish = spec.finish or default_finish(segment.kind)
    out = outward_mm(segment, finish, spec, shop)
    fits = finish in ("wall", "panel", "appliance")
    base: AnyCurve = found
    rule = "as found"
    if spec.align is not None:
        base, rule = _aligned(state, edge_id, found, start, end, spec.align, fits, where)
    elif spec.shape == "straight" and not isinstance(found, LineCurve):
        base = touching_line(found, start, end) if fits else _balanced(found, start, end)
        rule = "straight"
    gap, moved, findings = None, None, []
    if base is not found:
        gap = _gap(found, base, start.xy, end.xy)
        middle = vec(found.point((found.position(start.xy) + found.position(end.xy)) / 2.0))
        moved_list = [state.quantity(base.side(chain_end(found, p.xy))) for p in (start, middle, end)]
        moved = (moved_list[0], moved_list[1], moved_list[2])
        findings.append(_moved_finding(where, edge_id, rule, gap, moved))
        if fits and gap.smallest_mm < -0.05:
            findings.append(Finding(
                "edge-into-wall", f"{where}/{edge_id}",
                f"Edge {edge_id} of piece {where}, {rule}, would run {-gap.smallest_mm:.1f} mm into the "
                f"{finish} {gap.smallest_at_mm:.0f} mm from its start.",
                f"Give it a clearance of {-gap.smallest_mm:.1f} mm more, or let it follow the measured edge.",
            ))
    return EdgeLine(edge_id, finish, found, base.offset(-out), out, rule, gap, moved, tuple(findings))


def _moved_finding(
    where: str, edge_id: str, rule: str, gap: Gap, moved: tuple[Quantity, Quantity, Quantity]
) -> Finding:
    shifts = ", ".join(f"{m.value:+.1f}" for m in moved)
    return Finding(
        "edge-moved", f"{where}/{edge_id}",
        f"Edge {edge_id} of piece {where} is cut {rule}: start, middle and end move outwards by {shifts} mm, the "
        f"largest gap it leaves is {gap.largest_mm:.1f} mm, {gap.largest_at_mm:.0f} mm from its start.",
    )


def _samples(found: AnyCurve, start: Array, end: Array) -> Array:
    """(SAMPLES, 2) places along the measured edge."""
    return found.points(np.linspace(found.position(start), found.position(end), SAMPLES))


def _gap(found: AnyCurve, line: AnyCurve, start: Array, end: Array) -> Gap:
    """Room between the new line and the measured edge: positive where the measured edge lies outside the new line."""
    points = _samples(found, start, end)
    room = -line.sides(points)
    along = np.hypot(*(points - start).T)
    k, j = int(np.argmax(room)), int(np.argmin(room))
    return Gap(float(room[k]), float(along[k]), float(room[j]), float(along[j]))


def touching_line(found: AnyCurve, start: Vec, end: Vec) -> LineCurve:
    """The straight line that nowhere runs into the measured edge and leaves the smallest largest gap.

    It lies on the interior (left) side. Of all such lines the best one is a side of the thinnest parallel strip around
    the edge: it touches two places, or one place and runs parallel to two on the far side. Its gradient is that of the
    places it touches (they move only normal to the edge, to first order).
    """
    points = _samples(found, start.xy, end.xy)
    along = points[-1] - points[0]
    along = along / np.hypot(*along)
    s = (points - points[0]) @ along
    f = (points - points[0]) @ np.array([-along[1], along[0]])
    best: tuple[float, int, int, int] | None = None
    for sign in (1.0, -1.0):
        hull = upper_hull(s, sign * f)
        for a, b in itertools.pairwise(hull):
            slope = (f[b] - f[a]) / (s[b] - s[a])
            rest = f - slope * s
            top = a if sign > 0 else int(np.argmax(rest))
            width = float(rest[top] - rest.min())
            if best is None or width < best[0] - 1e-9:
                best = (width, a, b, top)
    assert best is not None
    _, a, b, top = best
    above = top in (a, b)
    contacts = _contacts(found, start, end, (a, b) if above else (a, b, top), (1.0, 1.0) if above else (-1.0, -1.0, 1.0))
    line = line_through(contacts[0], contacts[1])
    return line if above else LineCurve(contacts[2], line.direction)


def _contacts(
    found: AnyCurve, start: Vec, end: Vec, samples: Sequence[int], signs: Sequence[float]
) -> list[Vec]:
    """Places where a line through the first two touches the edge, refined between the samples.

    At an end of the edge the contact is the corner itself and moves with it; within, the edge is tangent to the line
    and only its movement along the normal counts.
    """
    low, high = found.position(start.xy), found.position(end.xy)
    step = (high - low) / (SAMPLES - 1)
    at = [low + k * step for k in samples]
    for half in (1.0, 1.0, 0.1, 0.1, 0.01, 0.01, 0.001):
        a, b = found.point(at[0]), found.point(at[1])
        normal = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
        for k, sign in enumerate(signs):
            near = np.clip(at[k] + np.linspace(-half, half, 21) * step, min(low, high), max(low, high))
            height = sign * ((found.points(near) - a) @ normal)
            best = int(np.argmax(height))
            if height[best] > height[10] + 1e-11:  # a straight stretch touches anywhere
                at[k] = float(near[best])
    out = []
    for position in at:
        if abs(position - low) < 1e-9:
            out.append(start)
        elif abs(position - high) < 1e-9:
            out.append(end)
        else:
            out.append(chain_end(found, found.point(position)))
    return out


def _balanced(found: AnyCurve, start: Vec, end: Vec) -> LineCurve:
    """The least squares line through the measured edge."""
    points = _samples(found, start.xy, end.xy)[::4]
    along = points[-1] - points[0]
    along = along / np.hypot(*along)
    normal = vec([-along[1], along[0]])
    s = (points - points[0]) @ along
    ds = s - s.mean()
    mean, slope = dual(0.0), dual(0.0)
    for k, p in enumerate(points):
        f = normal.dot(chain_end(found, p) - vec(points[0]))
        mean = mean + f * (1.0 / len(points))
        slope = slope + f * float(ds[k] / (ds @ ds))
    middle = vec(points[0] + s.mean() * along) + normal * mean
    return LineCurve(middle, (vec(along) + normal * slope).unit())


def _aligned(
    state: State, edge_id: str, found: AnyCurve, start: Vec, end: Vec, align: AlignSpec, fits: bool, where: str
) -> tuple[LineCurve, str]:
    """The edge made parallel, square or in line."""
    if align.to == edge_id:
        raise InputError(f"Edge {edge_id!r} of piece {where!r} is aligned to itself; name another edge.")
    if align.to not in state.segments:
        raise InputError(
            f"Edge {edge_id!r} of piece {where!r} is aligned to {align.to!r}, which does not exist; "
            f"the edges are {', '.join(state.segments)}."
        )
    along = (end - start).unit()
    reference = direction(state, align.to)
    if align.how == "square":
        reference = reference.left()
    if float(reference.xy @ along.xy) < 0:
        reference = -reference
    turn = abs(float(atan2(along.cross(reference), along.dot(reference))))
    if turn > ALIGN_TURN_RAD:
        raise InputError(
            f"Edge {edge_id!r} of piece {where!r} would have to turn by {math.degrees(turn):.0f} degrees to be "
            f"{align.how} with {align.to!r}; the other of parallel and square was probably meant."
        )
    if align.how == "in-line":
        other = state.curve(align.to)
        if not isinstance(other, LineCurve):
            raise InputError(f"Edge {edge_id!r} of piece {where!r} cannot be in line with {align.to!r}, which is not "
                             "straight; name a straight edge.")
        return LineCurve(other.foot(start), reference), f"in line with {align.to}"
    if fits:
        points = _samples(found, start.xy, end.xy)
        normal = reference.left().xy
        hold = chain_end(found, points[int(np.argmax(points @ normal))])
        return LineCurve(hold, reference), f"{align.how} to {align.to}"
    hold = {"start": start, "middle": found.foot((start + end) * 0.5), "end": end}[align.hold]
    return LineCurve(hold, reference), f"{align.how} to {align.to}, holding its {align.hold}"
