"""From a loop and its wishes to the boundaries of its parts: edges set off, openings cut, seams cut, corners treated."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from phototemplate.errors import Finding, InputError
from phototemplate.template.boundary import (
    Boundary,
    FitError,
    Unfit,
    boundary_area,
    check,
    chord_from_corner,
    chord_of,
    clip_corner,
    corner_name,
    join,
    keep_left,
    largest_working,
    notch,
    polygon_of,
    round_corner,
    same_corner,
    set_back,
    split,
    turning_rad,
)
from phototemplate.template.curves import LineCurve
from phototemplate.template.edge_lines import EdgeLine, edge_line, loop_runs
from phototemplate.template.gradients import Vec
from phototemplate.template.meeting import AnyCurve
from phototemplate.template.places import OpeningPlace, front_point, inward_at, place_along
from phototemplate.template.quantities import State
from phototemplate.template.spec import CornerSpec, PieceEdgeSpec, PieceSpec, SeamSpec, ShopSpec

STRAIGHT_ON_RAD = math.radians(3.0)
"""Flatter turns are no corners"""


@dataclass(frozen=True)
class Base:
    """A piece before openings and seams."""

    spec: PieceSpec
    boundary: Boundary
    lines: Mapping[str, EdgeLine]

    def front(self, run: str, whose: str) -> AnyCurve:
        """The finished line of a run. Raises InputError where it is no edge of the piece."""
        if run not in self.lines:
            raise InputError(f"{whose} lies on run {run!r}, which is no edge of piece {self.spec.id!r}; "
                             f"its edges are {', '.join(self.lines)}.")
        return self.lines[run].curve


@dataclass(frozen=True)
class SeamCut:
    """A seam that was cut."""

    spec: SeamSpec
    start: Vec
    end: Vec
    joint_mm: float


# --------------------------------------------------------------------------------------------------- edges


def base_of(
    state: State, spec: PieceSpec, shop: ShopSpec, openings: Mapping[str, OpeningPlace]
) -> Base:
    """Set the edges of a loop off and join them.

    Raises:
        InputError: a name that does not exist, an open loop.
        FitError: an overhang that leaves nothing of an edge, with the nearest that works.
    """
    loop = state.loop(spec.loop)
    if not loop.closed:
        raise InputError(f"Piece {spec.id!r} is cut from loop {spec.loop!r}, which is open; "
                         "trace the edge that is missing.")
    _edges_exist(spec, loop.edge_ids)
    curves, corners = loop_runs(state, loop)
    n = len(curves)

    def lines_with(edges: Mapping[str, PieceEdgeSpec]) -> dict[str, EdgeLine]:
        out: dict[str, EdgeLine] = {}
        for i, edge_id in enumerate(loop.edge_ids):
            wish = edges.get(edge_id, PieceEdgeSpec())
            start, end = corners[i], corners[(i + 1) % n]
            if wish.side_of is not None:
                out[edge_id] = _opening_side(edge_id, wish, curves[i], openings, spec.id)
            else:
                out[edge_id] = edge_line(state, edge_id, curves[i], start, end, wish, shop, spec.id)
        return out

    def joined(lines: Mapping[str, EdgeLine]) -> Boundary:
        return join([(lines[e].curve, e, lines[e].finish) for e in loop.edge_ids], corners)

    lines = lines_with(spec.edges)
    try:
        return Base(spec, joined(lines), lines)
    except Unfit as unfit:
        raise _overhang_error(spec, lines, lines_with, joined, unfit) from None


def _edges_exist(spec: PieceSpec, edge_ids: Sequence[str]) -> None:
    known = ", ".join(edge_ids)
    for edge_id in spec.edges:
        if edge_id not in edge_ids:
            raise InputError(f"Piece {spec.id!r} names edge {edge_id!r}, which is not in loop {spec.loop!r}; "
                             f"its edges are {known}.")
    for splash in spec.splashes:
        if splash.edge not in edge_ids:
            raise InputError(f"Splash {splash.id!r} of piece {spec.id!r} names edge {splash.edge!r}, which is not in "
                             f"loop {spec.loop!r}; its edges are {known}.")


def _opening_side(
    edge_id: str, wish: PieceEdgeSpec, found: AnyCurve, openings: Mapping[str, OpeningPlace], piece_id: str
) -> EdgeLine:
    assert wish.side_of is not None
    name, which = wish.side_of.split("/")
    if name not in openings:
        raise InputError(f"Edge {edge_id!r} of piece {piece_id!r} is a side of opening {name!r}, which does not exist; "
                         f"the openings are {', '.join(openings) or 'none'}.")
    line = openings[name].side(which)
    if float(line.direction.xy @ found.tangent(line.origin).xy) < 0:
        raise InputError(f"Edge {edge_id!r} of piece {piece_id!r} lies on the other side of opening {name!r}; "
                         f"write \"{name}/{'right' if which == 'left' else 'left'}\".")
    out = (wish.overhang or 0.0) - (wish.clearance or 0.0)
    return EdgeLine(edge_id, wish.finish or "appliance", found, line.offset(-out), out, f"{which} side of {name}")


def _overhang_error(
    spec: PieceSpec,
    lines: Mapping[str, EdgeLine],
    lines_with: Callable[[Mapping[str, PieceEdgeSpec]], dict[str, EdgeLine]],
    joined: Callable[[Mapping[str, EdgeLine]], Boundary],
    unfit: Unfit,
) -> FitError:
    """The error that says which offset is too much and what would work."""
    ids = list(lines)
    lost = unfit.where.split(" step ")[0]
    at = ids.index(lost) if lost in ids else 0
    neighbours = [ids[(at + k) % len(ids)] for k in (1, -1, 0)]
    order = neighbours + sorted((e for e in ids if e not in neighbours), key=lambda e: -abs(lines[e].outward_mm))
    for edge_id in order:
        value = lines[edge_id].outward_mm
        if abs(value) < 1e-9:
            continue

        def works(out: float, edge_id: str = edge_id) -> bool:
            old = spec.edges.get(edge_id, PieceEdgeSpec())
            wish = old.model_copy(update={"overhang": out, "clearance": None})
            try:
                changed = lines_with({edge_id: wish})[edge_id]
                joined({**lines, edge_id: changed})
            except (Unfit, InputError):
                return False
            return True

        nearest = largest_working(works, 0.0, value)
        if nearest is not None:
            what = "overhang" if value > 0 else "clearance"
            return FitError(
                f"The {what} of {abs(value):.1f} mm on edge {edge_id!r} of piece {spec.id!r} leaves nothing of edge "
                f"{lost!r} ({unfit.why}); {abs(nearest):.1f} mm would work.",
                edge_id, value, nearest,
            )
    return FitError(f"Piece {spec.id!r} cannot be closed at edge {lost!r}: {unfit.why}; check the overhangs and "
                    "alignments around it.", lost)


# ------------------------------------------------------------------------------------------------ openings


def cut_opening(base: Base, parts: list[Boundary], opening: OpeningPlace, required: bool) -> list[Boundary]:
    """The parts with an opening cut out; unchanged where it does not meet them and need not.

    Raises:
        FitError: the opening reaches beyond the piece, with the nearest place or width that works.
    """
    name = opening.spec.id
    if opening.spec.run not in base.lines and not required:
        return parts
    front = base.front(opening.spec.run, f"Opening {name!r}")
    for k, part in enumerate(parts):
        try:
            return [*parts[:k], *_cut_one(part, front, opening), *parts[k + 1 :]]
        except Unfit:
            continue
    used = any(e.side_of is not None and e.side_of.split("/")[0] == name for e in base.spec.edges.values())
    if used and not required:
        return parts
    raise _opening_error(parts, front, opening, base.spec.id)


def _cut_one(part: Boundary, front: AnyCurve, opening: OpeningPlace) -> list[Boundary]:
    """Raises Unfit where the opening does not lie wholly within the front of this part."""
    name, width = opening.spec.id, opening.spec.width
    middle = front_point(opening.centre_line, front, f"Opening {name!r}")
    left, right = opening.left, opening.right
    at_left = front_point(left, front, f"Opening {name!r}")
    at_right = front_point(right, front, f"Opening {name!r}")
    polygon = polygon_of(part)
    inward = opening.frame.inward.xy
    probe = shapely.LineString([p.xy + inward * 1.0 for p in (at_left, middle, at_right)])
    if not polygon.covers(probe):
        raise Unfit(name, "it does not lie within the front")
    if opening.spec.depth is None:
        out = [
            keep_left(part, left, at_left.xy, f"{name} left", "appliance"),
            keep_left(part, right, at_right.xy, f"{name} right", "appliance"),
        ]
        rest = sum(float(boundary_area(b)) for b in out) + 0.9 * width
        if rest > float(boundary_area(part)):
            raise Unfit(name, "it does not cut the piece")
    else:
        back = LineCurve(middle + opening.frame.inward * opening.spec.depth, opening.frame.across)
        out = [notch(part, [(left, f"{name} left"), (back, f"{name} back"), (right, f"{name} right")],
                     middle.xy, "appliance")]
    for boundary in out:
        check(boundary)
    return out


def opening_corners(opening: OpeningPlace, shop: ShopSpec) -> dict[str, CornerSpec]:
    """Inside corners of an opening that stops before the wall."""
    if opening.spec.depth is None:
        return {}
    radius, name = opening.spec.radius or shop.inside_radius, opening.spec.id
    return {f"{name} {which}/{name} back": CornerSpec(kind="rounded", radius=radius) for which in ("left", "right")}


def _opening_error(
    parts: Sequence[Boundary], front: AnyCurve, opening: OpeningPlace, piece_id: str
) -> FitError:
    """Which of place, width and depth is wrong, and what would work."""
    spec, frame = opening.spec, opening.frame

    def works(spec_changed: dict[str, float], shift: float = 0.0) -> bool:
        changed = OpeningPlace(spec.model_copy(update=spec_changed), frame.moved(shift, 0.0))
        for part in parts:
            try:
                _cut_one(part, front, changed)
            except (Unfit, FitError):
                continue
            return True
        return False

    def message(what: str, value: float, nearest: float) -> FitError:
        return FitError(f"Opening {spec.id!r} ({spec.width:.1f} mm wide on edge {spec.run!r}) does not lie within piece "
                        f"{piece_id!r}: {what} {value:.1f} mm; {nearest:.1f} mm would work.", spec.run, value, nearest)

    width = largest_working(lambda w: works({"width": w}), 20.0, spec.width)
    if spec.depth is not None:
        depth = largest_working(lambda d: works({"depth": d}), 20.0, spec.depth)
        if depth is not None:
            return message("its depth is", spec.depth, depth)
    middle = np.mean([s.start.xy for part in parts for s in part if s.name == spec.run] or [frame.origin.xy], axis=0)
    ends = [p.xy for part in parts for s in part if s.name == spec.run for p in (s.start, s.end)]
    if ends:
        middle = np.mean(ends, axis=0)
    goal = float(frame.across.xy @ (middle - frame.origin.xy))
    shift = largest_working(lambda t: works({}, goal - t), 0.0, goal)
    if shift is not None and abs(goal) > 1.0:
        moved = goal - shift
        return FitError(
            f"Opening {spec.id!r} ({spec.width:.1f} mm wide on edge {spec.run!r}) does not lie within piece {piece_id!r}: "
            f"its middle would have to move by {abs(moved):.1f} mm to the {'right' if moved > 0 else 'left'}.",
            spec.run, 0.0, moved,
        )
    if width is not None:
        return message("its width is", spec.width, width)
    return FitError(f"Opening {spec.id!r} does not lie within piece {piece_id!r}, wherever along edge {spec.run!r} it is "
                    "put; check its run and width.", spec.run, spec.width)


# --------------------------------------------------------------------------------------------------- seams


def seam_line(
    state: State, base: Base, parts: Sequence[Boundary], seam: SeamSpec
) -> tuple[LineCurve, Vec, tuple[int, int] | None]:
    """The line of a seam, the place it starts from, and (part, corner) where it starts from a corner.

    Raises:
        InputError: a corner or edge that does not exist.
    """
    whose = f"Seam {seam.id!r} of piece {base.spec.id!r}"
    if seam.run is not None:
        assert seam.along is not None
        front = base.front(seam.run, whose)
        place = place_along(state, seam.run, seam.along, whose)
        line = LineCurve(place, inward_at(state, seam.run, None, whose))
        return line, front_point(line, front, whose), None
    assert seam.corner is not None
    for k, part in enumerate(parts):
        for i in range(len(part)):
            if same_corner(corner_name(part, i), seam.corner):
                line, corner = _corner_seam(part, i, seam, whose)
                return line, corner, (k, i)
    names = ", ".join(corner_name(p, i) for p in parts for i in range(len(p)))
    raise InputError(f"{whose} starts from corner {seam.corner!r}, which does not exist; the corners are {names}.")


def _corner_seam(part: Boundary, i: int, seam: SeamSpec, whose: str) -> tuple[LineCurve, Vec]:
    a, b = part[i - 1], part[i]
    corner = b.start
    u, v = a.curve.tangent(a.end), b.curve.tangent(b.start)
    if turning_rad(a, b) > -STRAIGHT_ON_RAD:
        raise InputError(f"{whose} starts from {seam.corner!r}, which is no inside corner; seams go to inside corners.")
    if seam.towards == "mitre":
        return LineCurve(corner, (u - v).unit()), corner
    if seam.towards not in (a.name, b.name):
        raise InputError(f"{whose} goes square to {seam.towards!r}, which is no edge of corner {seam.corner!r}; "
                         f"write one of {a.name!r} and {b.name!r}, or 'mitre'.")
    return LineCurve(corner, (u if seam.towards == a.name else v).left()), corner


def cut_seam(
    state: State, base: Base, parts: list[Boundary], seam: SeamSpec, shop: ShopSpec
) -> tuple[list[Boundary], SeamCut]:
    """The parts with one of them cut in two.

    The joint is taken half from both faces; where the seam carries on an edge beyond an inside corner, wholly from the
    piece that butts against it.

    Raises:
        InputError, FitError: the seam's place does not exist or lies outside the piece.
    """
    line, anchor, corner = seam_line(state, base, parts, seam)
    joint = shop.joint if seam.joint is None else seam.joint
    for k, part in enumerate(parts):
        halves = (joint / 2.0, joint / 2.0)
        try:
            if corner is not None:
                if k != corner[0]:
                    continue
                entry, leave = chord_from_corner(part, corner[1], line)
                if seam.towards == part[corner[1] - 1].name:
                    halves = (joint, 0.0)  # square to the edge before: it butts, the edge after carries on
                elif seam.towards == part[corner[1]].name:
                    halves = (0.0, joint)
            else:
                inside = shapely.Point(anchor.xy + 2.0 * line.direction.xy)
                if not polygon_of(part).contains(inside):
                    continue
                entry, leave = chord_of(part, line, anchor.xy + 2.0 * line.direction.xy)
            left, right = split(part, line, entry, leave, seam.id, "seam")
            left, right = set_back(left, seam.id, halves[0]), set_back(right, seam.id, halves[1])
            check(left)
            check(right)
        except Unfit:
            break
        shift = (halves[0] - halves[1]) / 2.0
        middle = line.offset(shift)
        return [*parts[:k], left, right, *parts[k + 1 :]], SeamCut(
            seam, middle.foot(entry.point), middle.foot(leave.point), joint
        )
    x, y = anchor.xy
    raise _seam_error(state, base, parts, seam, f"at ({x:.0f}, {y:.0f}) mm")


def _seam_error(state: State, base: Base, parts: list[Boundary], seam: SeamSpec, at: str) -> FitError:
    text = f"Seam {seam.id!r} {at} does not cut piece {base.spec.id!r} in two"
    if seam.along is not None and seam.along.distance is not None:
        value = seam.along.distance
        along = seam.along

        def works(distance: float) -> bool:
            changed = seam.model_copy(update={"along": along.model_copy(update={"distance": distance})})
            line, anchor, _ = seam_line(state, base, parts, changed)
            inside = shapely.Point(anchor.xy + 2.0 * line.direction.xy)
            for part in parts:
                if polygon_of(part).contains(inside):
                    try:
                        check(keep_left(part, line, anchor.xy, seam.id, "seam"))
                        check(keep_left(part, line.reversed(), anchor.xy, seam.id, "seam"))
                    except Unfit:
                        return False
                    return True
            return False

        candidates = [d for d in np.linspace(-5000.0, 5000.0, 201) if works(float(d))]
        if candidates:
            start = min(candidates, key=lambda d: abs(d - value))
            nearest = largest_working(works, float(start), value)
            if nearest is not None:
                return FitError(f"{text}: its distance of {value:.1f} mm from edge {along.edge!r} lies outside; "
                                f"{nearest:.1f} mm would work.", seam.id, value, nearest)
    return FitError(f"{text}; move it.", seam.id)


# ------------------------------------------------------------------------------------------------- corners


@dataclass(frozen=True)
class Treated:
    """A corner as it was treated."""

    name: str
    corner: Vec
    before: str
    kind: str
    size_mm: float
    by_default: bool


def treat_corners(
    part: Boundary, wishes: Mapping[str, CornerSpec], shop: ShopSpec, piece_id: str
) -> tuple[Boundary, dict[str, CornerSpec], list[Finding]]:
    """Round and clip the corners of a part; returns what was done by corner name, defaults included.

    Inside corners without a wish get the shop's inside radius, except against walls and panels, where stone cannot go.

    Raises:
        FitError: a radius or clip longer than the edges beside it, with the largest that fits.
    """
    done: dict[str, CornerSpec] = {}
    findings: list[Finding] = []
    out = part
    for name in [corner_name(part, i) for i in range(len(part))]:
        i = next((k for k in range(len(out)) if corner_name(out, k) == name), None)
        if i is None or name.count("/") != 1:
            continue
        before, after = out[i - 1], out[i]
        turn = turning_rad(before, after)
        if abs(turn) < STRAIGHT_ON_RAD or "corner" in (before.finish, after.finish):
            continue
        wish = next((w for key, w in wishes.items() if same_corner(key, name)), None)
        against_wall = before.finish in ("wall", "panel") or after.finish in ("wall", "panel")
        if wish is None and turn < 0 and not against_wall:
            fits = largest_working(lambda r, b=out, k=i: _try(b, k, r), 0.5, shop.inside_radius)  # type: ignore[misc]
            if fits is not None:
                wish = CornerSpec(kind="rounded", radius=fits)
        if wish is None:
            wish = CornerSpec()
        if wish.kind != "sharp":
            out = _treated(out, i, wish, piece_id)
        done[name] = wish
        if turn < 0:
            findings += _inside_findings(name, wish, shop, piece_id, against_wall)
    return out, done, findings


def _try(part: Boundary, i: int, radius: float) -> bool:
    try:
        check(round_corner(part, i, radius))
    except Unfit:
        return False
    return True


def _treated(part: Boundary, i: int, wish: CornerSpec, piece_id: str) -> Boundary:
    size = wish.radius if wish.kind == "rounded" else wish.clip
    assert size is not None
    make = round_corner if wish.kind == "rounded" else clip_corner

    def works(value: float) -> bool:
        try:
            check(make(part, i, value))
        except Unfit:
            return False
        return True

    if works(size):
        return make(part, i, size)
    name = corner_name(part, i)
    nearest = largest_working(works, 0.5, size)
    word = "radius" if wish.kind == "rounded" else "clip"
    if nearest is None:
        raise FitError(f"The {word} of {size:.1f} mm at corner {name!r} of piece {piece_id!r} does not fit, and no smaller "
                       "one does; leave the corner sharp.", name, size)
    raise FitError(f"The {word} of {size:.1f} mm at corner {name!r} of piece {piece_id!r} is larger than fits between its "
                   f"neighbours; {nearest:.1f} mm would work.", name, size, nearest)


def _inside_findings(name: str, wish: CornerSpec, shop: ShopSpec, piece_id: str, against_wall: bool) -> list[Finding]:
    radius = wish.radius or 0.0
    limit = max(shop.tool_radius, shop.inside_radius)
    if wish.kind == "clipped" or radius >= limit - 1e-9:
        return []
    if radius < shop.tool_radius - 1e-9:
        why = f"the cutter's own radius of {shop.tool_radius:.1f} mm"
    else:
        why = f"the shop's smallest of {shop.inside_radius:.1f} mm"
    remedy = ("Relieve it with a drilled hole behind the splash." if against_wall
              else f"Give it a radius of {limit:.1f} mm or more.")
    return [Finding("inside-corner-tight", f"{piece_id}/{name}",
                    f"Inside corner {name} of piece {piece_id} has a radius of {radius:.1f} mm, below {why}; "
                    "cracks start from tight inside corners.", remedy)]


def unknown_corners(spec: PieceSpec, parts: Sequence[Boundary]) -> None:
    """Raise InputError for a corner wish that met no corner."""
    names = [corner_name(p, i) for p in parts for i in range(len(p))]
    for key in spec.corners:
        if not any(n.count("/") == 1 and same_corner(n, key) for n in names):
            raise InputError(f"Piece {spec.id!r} names corner {key!r}, which it does not have; its corners are "
                             f"{', '.join(n for n in names)}.")


def with_finish(part: Boundary, name: str, finish: str) -> Boundary:
    """The part with the finish of one edge changed."""
    return tuple(replace(s, finish=finish) if s.name == name else s for s in part)
