"""Splash, side splash, apron and waterfall panels: upright pieces along an edge of a top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phototemplate.template.boundary import FitError
from phototemplate.template.constants import RECEPTACLE_RIM_MM, SHORTEST_UPRIGHT_MM, STACK_SLACK_MM, THINNEST_DROP_MM
from phototemplate.template.curves import LineCurve
from phototemplate.template.gradients import vec
from phototemplate.template.piece_types import Cutout, Piece, PieceEdge, Splash, Vertices
from phototemplate.template.rules import density_kg_m3
from phototemplate.template.shaping import Base
from phototemplate.template.spec import ShopSpec, SplashSpec
from phototemplate.template.straight_lines import touching_line

YIELDS = {"side splash": ("splash",)}
"""A side splash ends at the face of the splash beside it"""


def uprights(base: Base, shop: ShopSpec) -> list[SplashSpec]:
    """Every upright piece and strip of a piece: those asked for by name, and those that its built-up edges take, by id.

    Raises:
        FitError: a built-up edge that its thickness does not allow, with the nearest height that works; a mitred joint at a
            curved or unfinished edge, or at a corner that is not sharp.
    """
    out = list(base.spec.splashes)
    t = shop.material.thickness
    for edge, asked in base.spec.edges.items():
        if asked.build_up is None:
            continue
        up, whose = asked.build_up, f"Built-up edge {edge!r} of piece {base.spec.id!r}"
        if up.kind == "mitred":
            if up.height < t + THINNEST_DROP_MM:
                least = t + THINNEST_DROP_MM
                raise FitError(f"{whose} is {up.height:.1f} mm high at a thickness of {t:.1f} mm; {least:.1f} mm would work.",
                               edge, up.height, least)
            out.append(SplashSpec(id=f"{edge} strip", edge=edge, kind="apron", joint="mitred", height=up.height - t))
            continue
        layers = max(round(up.height / t), 2)
        if abs(up.height - layers * t) > STACK_SLACK_MM:
            raise FitError(f"{whose} is {up.height:.1f} mm high, which is no multiple of the thickness of {t:.1f} mm; "
                           f"{layers * t:.1f} mm would work.", edge, up.height, layers * t)
        names = [f"{edge} strip{'' if layers == 2 else f' {k + 1}'}" for k in range(layers - 1)]
        out += [SplashSpec(id=name, edge=edge, kind="strip", height=up.width) for name in names]
    ids = [wish.id for wish in out]
    for wish in out:
        if ids.count(wish.id) > 1:
            raise FitError(f"Two upright pieces of piece {base.spec.id!r} are called {wish.id!r}; rename one.", wish.edge)
        if wish.joint == "mitred":
            _mitre_possible(base, wish, [w for w in out if w.joint == "mitred"])
    return sorted(out, key=lambda s: s.id)


def _mitre_possible(base: Base, wish: SplashSpec, mitred: Sequence[SplashSpec]) -> None:
    line, whose = base.lines[wish.edge], f"Mitred {wish.kind} {wish.id!r} of piece {base.spec.id!r}"
    if wish.kind not in ("apron", "waterfall"):
        raise FitError(f"{whose} cannot be mitred; only an apron or a waterfall can.", wish.edge)
    if sum(w.edge == wish.edge for w in mitred) > 1:
        raise FitError(f"{whose}: edge {wish.edge!r} has two mitred pieces; leave one.", wish.edge)
    if line.finish != "finished" or not isinstance(line.curve, LineCurve):
        what = line.finish if line.finish != "finished" else "curved"
        raise FitError(f"{whose}: edge {wish.edge!r} is {what}; only a straight finished edge can be mitred.", wish.edge)
    for corner, made in base.spec.corners.items():
        if wish.edge in corner.split("/") and made.kind != "sharp":
            raise FitError(f"{whose}: corner {corner!r} is {made.kind}, which a mitred edge cannot be; make it sharp.", corner)


def build_splashes(base: Base, pieces: Sequence[Piece], shop: ShopSpec) -> list[Splash]:
    """Every splash of a piece; an edge that openings or seams divide gives one splash for each stretch that can be one.

    Raises:
        FitError: a receptacle cut-out outside its splash, with the nearest place that works.
    """
    out: list[Splash] = []
    for wish in uprights(base, shop):
        stretches = [(piece, edge) for piece in pieces for edge in piece.edges
                     if edge.edge_id == wish.edge and edge.length.value >= SHORTEST_UPRIGHT_MM]
        stretches, lefts = _from_left(base, wish, stretches)
        for k, (piece, edge) in enumerate(stretches):
            name = wish.id if len(stretches) == 1 else f"{wish.id}-{k + 1}"
            # each receptacle goes into the last stretch that begins before it; one in a gap is then refused by its length
            here = [r.model_copy(update={"distance": r.distance - lefts[k]}) for r in wish.receptacles
                    if (k == 0 or r.distance >= lefts[k]) and (k + 1 == len(lefts) or r.distance < lefts[k + 1])]
            out.append(_one(base, piece, edge, wish.model_copy(update={"receptacles": here}), name, shop))
    return out


_Stretches = list[tuple[Piece, PieceEdge]]


def _from_left(base: Base, wish: SplashSpec, stretches: _Stretches) -> tuple[_Stretches, list[float]]:
    """Stretches of an edge from the left as seen from the room, and how far the left end of each lies from that of the first.

    A piece runs anticlockwise: its walls from right to left as seen from the room, its fronts from left to right.
    """
    if not stretches:
        return [], []
    wall = base.lines[wish.edge].finish in ("wall", "panel")
    ends = [np.array(e.end if wall else e.start) for _, e in stretches]
    first = stretches[0][1]
    along = (np.array(first.end) - np.array(first.start)) * (-1.0 if wall else 1.0)
    along = along / np.hypot(*along)
    places = [float(p @ along) for p in ends]
    order = sorted(range(len(places)), key=lambda k: places[k])
    return [stretches[k] for k in order], [places[k] - places[order[0]] for k in order]


def _one(
    base: Base, piece: Piece, edge: PieceEdge, wish: SplashSpec, name: str, shop: ShopSpec
) -> Splash:
    top = shop.material.thickness
    thickness = wish.thickness or top
    mitred = {w.edge for w in uprights(base, shop) if w.joint == "mitred"}
    if wish.edge in mitred and wish.joint == "mitred" and abs(thickness - top) > STACK_SLACK_MM:
        raise FitError(f"Mitred {wish.kind} {wish.id!r} is {thickness:.1f} mm thick and the top {top:.1f} mm, so that no mitre "
                       f"fits; {top:.1f} mm would work.", wish.edge, thickness, top)
    length = edge.length
    ids = [e.edge_id for e in piece.edges]
    at = next(k for k, e in enumerate(piece.edges) if e is edge)
    taken, ends = [0.0, 0.0], ["square", "square"]
    for k, neighbour in enumerate((ids[at - 1], ids[(at + 1) % len(ids)])):
        if wish.joint == "mitred" and neighbour in mitred:
            ends[k] = "mitred"
        for other in base.spec.splashes:
            if other.edge == neighbour and other.kind in YIELDS.get(wish.kind, ()):
                taken[k] = other.thickness or shop.material.thickness
    length = replace(length, value=length.value - sum(taken))
    # a mitred face runs up to the upper arris of the top
    n, h = length.value, wish.height + (top if wish.joint == "mitred" else 0.0)
    vertices: Vertices = ((0.0, 0.0, 0.0), (n, 0.0, 0.0), (n, h, 0.0), (0.0, h, 0.0))
    cutouts = _receptacles(wish, name, n)
    foot, extra, follows = _foot(base, edge, wish, thickness, taken)
    below = wish.kind in ("apron", "waterfall", "strip")
    joint = "flat" if wish.kind == "strip" else wish.joint if below else ""
    runs_on = wish.grain_runs_on if wish.grain_runs_on is not None else wish.kind == "waterfall" and joint == "mitred"
    area = n * h - sum(r.wide * r.high for r in wish.receptacles)
    weight = area * 1e-6 * thickness * 1e-3 * density_kg_m3(shop.material)
    return Splash(name, wish.kind, wish.edge, vertices, cutouts, length, h, thickness, foot, extra, follows, area, weight,
                  piece.piece_id, joint, (ends[0], ends[1]), runs_on)


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
