"""Corners rounded and clipped, and inside corners that the cutter cannot make.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from phototemplate.errors import Finding, InputError
from phototemplate.template.boundary import (
    Boundary,
    FitError,
    Unfit,
    check,
    corner_name,
    largest_working,
    same_corner,
    turning_rad,
)
from phototemplate.template.boundary_corners import clip_corner, round_corner
from phototemplate.template.constants import SMALLEST_RADIUS_MM, STRAIGHT_ON_RAD
from phototemplate.template.spec import CornerSpec, PieceSpec, ShopSpec


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
        wall = next((s.name for s in (before, after) if s.finish in ("wall", "panel")), None)
        if wish is None and turn < 0 and wall is None:
            fits = largest_working(lambda r, b=out, k=i: _try(b, k, r), SMALLEST_RADIUS_MM, shop.inside_radius)  # type: ignore[misc]
            if fits is not None:
                wish = CornerSpec(kind="rounded", radius=fits)
        if wish is None:
            wish = CornerSpec()
        if wish.kind != "sharp":
            out = _treated(out, i, wish, piece_id)
        done[name] = wish
        if turn < 0:
            findings += _inside_findings(name, wish, shop, piece_id, wall)
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
    nearest = largest_working(works, SMALLEST_RADIUS_MM, size)
    word = "radius" if wish.kind == "rounded" else "clip"
    if nearest is None:
        raise FitError(f"The {word} of {size:.1f} mm at corner {name!r} of piece {piece_id!r} does not fit, and no smaller "
                       "one does; leave the corner sharp.", name, size)
    raise FitError(f"The {word} of {size:.1f} mm at corner {name!r} of piece {piece_id!r} is larger than fits between its "
                   f"neighbours; {nearest:.1f} mm would work.", name, size, nearest)


def _inside_findings(name: str, wish: CornerSpec, shop: ShopSpec, piece_id: str, wall: str | None) -> list[Finding]:
    radius = wish.radius or 0.0
    limit = max(shop.tool_radius, shop.inside_radius)
    if wish.kind == "clipped" or radius >= limit - 1e-9:
        return []
    cutter = radius < shop.tool_radius - 1e-9
    return [Finding(
        "inside-corner-tight", f"{piece_id}/{name}", corner=name, piece=piece_id, radius_mm=radius,
        cutter_mm=shop.tool_radius if cutter else None, shop_mm=None if cutter else shop.inside_radius,
        give_mm=None if wall else limit, wall=wall,
    )]


def unknown_corners(spec: PieceSpec, parts: Sequence[Boundary]) -> None:
    """Raise InputError for a corner wish that met no corner."""
    names = [corner_name(p, i) for p in parts for i in range(len(p))]
    for key in spec.corners:
        if not any(n.count("/") == 1 and same_corner(n, key) for n in names):
            raise InputError(f"Piece {spec.id!r} names corner {key!r}, which it does not have; its corners are "
                             f"{', '.join(n for n in names)}.")
