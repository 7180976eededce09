"""Openings cut out of the parts of a piece: through to the wall, or stopped before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from phototemplate.template.boundary import Boundary, FitError, Unfit, boundary_area, check, largest_working, polygon_of
from phototemplate.template.boundary_cuts import keep_left, notch, without_slivers
from phototemplate.template.curves import LineCurve
from phototemplate.template.intersections import AnyCurve
from phototemplate.template.places import OpeningPlace, front_point
from phototemplate.template.shaping import Base
from phototemplate.template.spec import CornerSpec, ShopSpec


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
    name, width = opening.spec.id, opening.clear_mm
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
    out = [without_slivers(boundary) for boundary in out]
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
    wide = spec.width or 0.0

    def works(spec_changed: dict[str, float], shift: float = 0.0) -> bool:
        changed = replace(opening, spec=spec.model_copy(update=spec_changed), frame=frame.moved(shift, 0.0))
        for part in parts:
            try:
                _cut_one(part, front, changed)
            except (Unfit, FitError):
                continue
            return True
        return False

    def message(what: str, value: float, nearest: float) -> FitError:
        return FitError(f"Opening {spec.id!r} ({wide:.1f} mm wide on edge {spec.run!r}) does not lie within piece "
                        f"{piece_id!r}: {what} {value:.1f} mm; {nearest:.1f} mm would work.", spec.run, value, nearest)

    width = largest_working(lambda w: works({"width": w}), 20.0, wide)
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
            f"Opening {spec.id!r} ({wide:.1f} mm wide on edge {spec.run!r}) does not lie within piece {piece_id!r}: "
            f"its middle would have to move by {abs(moved):.1f} mm to the {'right' if moved > 0 else 'left'}.",
            spec.run, 0.0, moved,
        )
    if width is not None:
        return message("its width is", wide, width)
    return FitError(f"Opening {spec.id!r} does not lie within piece {piece_id!r}, wherever along edge {spec.run!r} it is "
                    "put; check its run and width.", spec.run, wide)
