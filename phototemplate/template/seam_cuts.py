"""Seams that cut the parts of a piece in two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from phototemplate.errors import InputError
from phototemplate.template.boundary import (
    Boundary,
    FitError,
    Unfit,
    check,
    corner_name,
    largest_working,
    polygon_of,
    same_corner,
    turning_rad,
)
from phototemplate.template.boundary_cuts import chord_from_corner, chord_of, keep_left, set_back, split, without_slivers
from phototemplate.template.constants import MITRE_SNAP_MM, STRAIGHT_ON_RAD
from phototemplate.template.curves import LineCurve
from phototemplate.template.gradients import Vec
from phototemplate.template.places import front_point, inward_at, place_along
from phototemplate.template.quantities import State
from phototemplate.template.shaping import Base
from phototemplate.template.spec import SeamSpec, ShopSpec


@dataclass(frozen=True)
class SeamCut:
    """A seam that was cut."""

    spec: SeamSpec
    start: Vec
    end: Vec
    joint_mm: float


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
                return _corner_seam(part, i, seam, whose), part[i].start, (k, i)
    names = ", ".join(corner_name(p, i) for p in parts for i in range(len(p)))
    raise InputError(f"{whose} starts from corner {seam.corner!r}, which does not exist; the corners are {names}.")


def _corner_seam(part: Boundary, i: int, seam: SeamSpec, whose: str) -> LineCurve:
    a, b = part[i - 1], part[i]
    corner = b.start
    u, v = a.curve.tangent(a.end), b.curve.tangent(b.start)
    if turning_rad(a, b) > -STRAIGHT_ON_RAD:
        raise InputError(f"{whose} starts from {seam.corner!r}, which is no inside corner; seams go to inside corners.")
    if seam.towards == "mitre":
        return _to_the_corner_opposite(part, i, LineCurve(corner, (u - v).unit()))
    if seam.towards not in (a.name, b.name):
        raise InputError(f"{whose} goes square to {seam.towards!r}, which is no edge of corner {seam.corner!r}; "
                         f"write one of {a.name!r} and {b.name!r}, or 'mitre'.")
    return LineCurve(corner, (u if seam.towards == a.name else v).left())


def _to_the_corner_opposite(part: Boundary, i: int, line: LineCurve) -> LineCurve:
    """The mitre, turned into the outside corner that it would miss by little; as it is where it misses by more."""
    exit_at = chord_from_corner(part, i, line)[1].point.xy
    ends = [b.start for a, b in zip(part[-1:] + part[:-1], part, strict=True) if turning_rad(a, b) > STRAIGHT_ON_RAD]
    opposite = min(ends, key=lambda p: float(np.hypot(*(p.xy - exit_at))), default=None)
    if opposite is None or float(np.hypot(*(opposite.xy - exit_at))) > MITRE_SNAP_MM:
        return line
    return LineCurve(line.origin, (opposite - line.origin).unit())


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
            left, right = without_slivers(left), without_slivers(right)
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

        candidates = [d for d in np.arange(-1000.0, 5001.0, 100.0) if works(float(d))]
        if candidates:
            start = min(candidates, key=lambda d: abs(d - value))
            nearest = largest_working(works, float(start), value)
            if nearest is not None:
                return FitError(f"{text}: its distance of {value:.1f} mm from edge {along.edge!r} lies outside; "
                                f"{nearest:.1f} mm would work.", seam.id, value, nearest)
    return FitError(f"{text}; move it.", seam.id)
