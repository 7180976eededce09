"""Splash, side splash, apron and waterfall panels: upright pieces along an edge of a top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phototemplate.template.boundary import FitError
from phototemplate.template.constants import RECEPTACLE_RIM_MM, SHORTEST_UPRIGHT_MM
from phototemplate.template.curves import LineCurve
from phototemplate.template.gradients import vec
from phototemplate.template.piece_types import Cutout, Piece, PieceEdge, Splash, Vertices
from phototemplate.template.rules import density_kg_m3
from phototemplate.template.shaping import Base
from phototemplate.template.spec import ShopSpec, SplashSpec
from phototemplate.template.straight_lines import touching_line

YIELDS = {"side splash": ("splash",)}
"""A side splash ends at the face of the splash beside it"""


def build_splashes(base: Base, pieces: Sequence[Piece], shop: ShopSpec) -> list[Splash]:
    """Every splash of a piece; an edge that openings or seams divide gives one splash for each stretch that can be one.

    Raises:
        FitError: a receptacle cut-out outside its splash, with the nearest place that works.
    """
    out: list[Splash] = []
    for wish in sorted(base.spec.splashes, key=lambda s: s.id):
        stretches = [(piece, edge) for piece in pieces for edge in piece.edges
                     if edge.edge_id == wish.edge and edge.length.value >= SHORTEST_UPRIGHT_MM]
        # as seen from the room
        for k, (piece, edge) in enumerate(stretches):
            name = wish.id if len(stretches) == 1 else f"{wish.id}-{k + 1}"
            out.append(_one(base, piece, edge, wish, name, shop))
    return out


def _one(
    base: Base, piece: Piece, edge: PieceEdge, wish: SplashSpec, name: str, shop: ShopSpec
) -> Splash:
    thickness = wish.thickness or shop.material.thickness
    length = edge.length
    ids = [e.edge_id for e in piece.edges]
    at = next(k for k, e in enumerate(piece.edges) if e is edge)
    taken = [0.0, 0.0]
    for k, neighbour in enumerate((ids[at - 1], ids[(at + 1) % len(ids)])):
        for other in base.spec.splashes:
            if other.edge == neighbour and other.kind in YIELDS.get(wish.kind, ()):
                taken[k] = other.thickness or shop.material.thickness
    length = replace(length, value=length.value - sum(taken))
    n, h = length.value, wish.height
    vertices: Vertices = ((0.0, 0.0, 0.0), (n, 0.0, 0.0), (n, h, 0.0), (0.0, h, 0.0))
    cutouts = _receptacles(wish, name, n)
    foot, extra, follows = _foot(base, edge, wish, thickness, taken)
    area = n * h - sum(r.wide * r.high for r in wish.receptacles)
    weight = area * 1e-6 * thickness * 1e-3 * density_kg_m3(shop.material)
    return Splash(name, wish.kind, wish.edge, vertices, cutouts, length, h, thickness, foot, extra, follows, area, weight)


def _receptacles(wish: SplashSpec, name: str, length_mm: float) -> tuple[Cutout, ...]:
    out = []
    for k, r in enumerate(wish.receptacles):
        w, h = r.wide / 2.0, r.high / 2.0
        for value, half, limit, word in ((r.distance, w, length_mm, "distance"), (r.height, h, wish.height, "height")):
            if value - half <= 0 or value + half >= limit:
                nearest = min(max(value, half + RECEPTACLE_RIM_MM), limit - half - RECEPTACLE_RIM_MM)
                if limit < 2 * half + 2 * RECEPTACLE_RIM_MM:
                    raise FitError(f"Receptacle {k + 1} does not fit into splash {name!r}, which is {limit:.1f} mm in that "
                                   "direction; make the splash larger.", name, value)
                raise FitError(f"Receptacle {k + 1} of splash {name!r} reaches its edge: its {word} is {value:.1f} mm; "
                               f"{nearest:.1f} mm would work.", name, value, nearest)
        x, y = r.distance, r.height
        vertices = ((x - w, y - h, 0.0), (x + w, y - h, 0.0), (x + w, y + h, 0.0), (x - w, y + h, 0.0))
        out.append(Cutout(f"{name} receptacle {k + 1}", "receptacle", "by size", vertices, (x, y)))
    return tuple(out)


def _foot(
    base: Base, edge: PieceEdge, wish: SplashSpec, thickness: float, taken: Sequence[float]
) -> tuple[Vertices, float, bool]:
    """Plan of the foot: back along the measured wall (or straight), front straight; what that costs in thickness."""
    line = base.lines[wish.edge]
    start, end = np.array(edge.start), np.array(edge.end)
    along = (end - start) / np.hypot(*(end - start))
    start, end = start + taken[0] * along, end - taken[1] * along
    found = line.found.offset(-line.outward_mm)
    start, end = found.foot(vec(start)).xy, found.foot(vec(end)).xy
    straight = touching_line(found, vec(start), vec(end)) if not isinstance(found, LineCurve) else found
    face = straight.offset(thickness)
    a, b = face.foot(vec(start)).xy, face.foot(vec(end)).xy
    positions = np.linspace(found.position(start), found.position(end), 201)
    gaps = -straight.sides(found.points(positions))
    extra = max(float(np.max(gaps)), 0.0)
    if wish.follow_wall and not isinstance(found, LineCurve):
        back = [*found.vertices(start, end, 0.1), (float(end[0]), float(end[1]), 0.0)]
    else:
        p, q = straight.foot(vec(start)).xy, straight.foot(vec(end)).xy
        back = [(float(p[0]), float(p[1]), 0.0), (float(q[0]), float(q[1]), 0.0)]
    foot = (*back, (float(b[0]), float(b[1]), 0.0), (float(a[0]), float(a[1]), 0.0))
    return foot, extra, wish.follow_wall and not isinstance(found, LineCurve)
