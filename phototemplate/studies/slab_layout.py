"""Pieces of any shape on one slab with faults: by hand, then each group where it fits furthest to the lower left.

A *group* moves as one: pieces that meet at a seam, and panels whose pattern runs on over an edge, a kerf apart, so that veins
run across. Places are looked for on a raster (a Minkowski sum by FFT tells where a shape meets nothing), then moved up to their
neighbours exactly. One slab, first fit by size; no claim that less stone would not do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from scipy.signal import fftconvolve
from shapely import affinity

from phototemplate.errors import InputError
from phototemplate.model import Array
from phototemplate.studies.constants import REMNANT_MM2, SLAB_CELL_MM, SLAB_TOUCH_MM
from phototemplate.template.boundary import polygon_of_vertices


@dataclass(frozen=True)
class Part:
    """One piece as ``pieces.json`` has it, in the frame of its group."""

    name: str
    outline: shapely.Polygon
    holes: tuple[shapely.Polygon, ...]
    move: Array = field(default_factory=lambda: np.eye(3), compare=False)
    """(3, 3) group_from_piece"""

    @property
    def shape(self) -> shapely.Polygon:
        """In the frame of the group."""
        moved: shapely.Polygon = _moved(self.outline, self.move)
        return moved


Group = tuple[Part, ...]


@dataclass(frozen=True)
class Laid:
    """One piece on the slab."""

    name: str
    outline: shapely.Polygon
    """Slab frame, mm"""
    holes: tuple[shapely.Polygon, ...]
    move: Array = field(compare=False)
    """(3, 3) slab_from_piece"""
    with_: tuple[str, ...] = ()
    """Pieces it is laid together with, so that the pattern runs on"""


@dataclass(frozen=True)
class Layout:
    """What came of laying all pieces on one slab."""

    slab: shapely.Polygon
    usable: shapely.Polygon
    faults: tuple[tuple[str, Any], ...]
    """With their clearance"""
    laid: tuple[Laid, ...]
    left_over: tuple[str, ...]
    """Pieces that found no place"""
    parted: tuple[tuple[str, ...], ...]
    """Groups that did not fit as one: their pattern does not run on"""
    remnants: tuple[shapely.Polygon, ...]
    """Largest first, kerf and faults taken off"""


def groups_of(pieces: Mapping[str, Any], kerf_mm: float, match: bool) -> list[Group]:
    """Pieces of ``pieces.json`` in groups, each in a frame of its own."""
    tops = {p["id"]: p for p in pieces["pieces"]}
    uprights = {p["id"]: p for p in pieces["upright"]}
    parts = {name: _part(p) for name, p in {**tops, **uprights}.items()}
    moves: dict[str, Array] = {}
    group: dict[str, str] = {}
    for name in tops:
        if name in moves:
            continue
        moves[name], group[name] = np.eye(3), name
        waiting = [name] if match else []
        while waiting:
            here = waiting.pop()
            for seam in pieces["seams"]:
                other = next((b for a, b in (seam["between"], seam["between"][::-1]) if a == here), None)
                if other is None or other not in tops or other in moves:
                    continue
                a, b = np.array(seam["start"]), np.array(seam["end"])
                normal = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
                side = float((np.array(parts[other].outline.representative_point().coords[0]) - a) @ normal)
                apart = max(kerf_mm - float(seam["joint_mm"]), 0.0) * math.copysign(1.0, side)
                moves[other] = moves[here] @ shifted(apart * normal)
                group[other] = group[here]
                waiting.append(other)
    for name, piece in uprights.items():
        top = tops.get(piece["top"])
        edge = next((e for e in (top or {}).get("edges", []) if e["id"] == piece["edge"]), None)
        if match and piece["grain_runs_on"] and edge is not None:
            moves[name] = moves[piece["top"]] @ _unfolded(edge, piece, kerf_mm)
            group[name] = group[piece["top"]]
        else:
            moves[name], group[name] = np.eye(3), name
    out: list[Group] = []
    for first in dict.fromkeys(group.values()):
        out += _apart(tuple(replace(parts[n], move=moves[n]) for n in parts if group[n] == first))
    return out


def _apart(group: Group) -> list[Group]:
    """The group, or its pieces alone where moving them apart for the kerf made two of them meet."""
    meet = any(a.shape.intersection(b.shape).area > 1.0 for k, a in enumerate(group) for b in group[k + 1 :])
    return _alone(group) if meet else [group]


def _part(piece: Mapping[str, Any]) -> Part:
    holes = [polygon_of_vertices([tuple(v) for v in c["outline"]]) for c in piece["cutouts"] if not c["across_seam"]]
    holes += [shapely.Point(h["centre"]).buffer(h["diameter_mm"] / 2.0, 32) for h in piece.get("holes", [])]
    return Part(piece["id"], polygon_of_vertices([tuple(v) for v in piece["outline"]]), tuple(holes))


def _unfolded(edge: Mapping[str, Any], panel: Mapping[str, Any], kerf_mm: float) -> Array:
    """top_from_panel: the panel's upper edge along the top's edge, a kerf outside it."""
    a, b = np.array(edge["start"]), np.array(edge["end"])
    along = (b - a) / np.hypot(*(b - a))
    inwards = np.array([-along[1], along[0]])
    out = np.eye(3)
    out[:2, 0], out[:2, 1] = along, inwards
    out[:2, 2] = a - (panel["height_mm"] + kerf_mm) * inwards
    return out


def lay_out(
    groups: Sequence[Group], slab: shapely.Polygon, margin_mm: float, kerf_mm: float,
    faults: Sequence[tuple[str, Any]] = (), grain: bool = True,
    by_hand: Mapping[str, tuple[tuple[float, float], float]] | None = None,
) -> Layout:
    """Lay groups on a slab (slab frame, mm). ``by_hand``: piece -> (lower left corner of its box, turn in degrees).

    Raises ``InputError`` for a piece laid by hand that does not exist, leaves the slab, holds a fault, or meets another.
    """
    usable = slab.buffer(-margin_mm)
    if usable.is_empty:
        raise InputError("Nothing is left of the slab within its margin; check its outline.")
    free = usable.difference(shapely.union_all([shape for _, shape in faults])) if faults else usable
    laid: list[Laid] = []
    todo = list(groups)
    for name, (at, turn) in (by_hand or {}).items():
        part = next((p for g in todo for p in g if p.name == name), None)
        if part is None:
            raise InputError(f"Piece {name!r} is laid by hand, but there is none; the pieces are "
                             f"{', '.join(p.name for g in groups for p in g)}.")
        one = _at_corner((replace(part, move=np.eye(3)),), math.radians(turn), at)[0]
        _no_conflict(one, free, usable, faults, laid, kerf_mm)
        laid.append(one)
        todo = [rest for g in todo for rest in ([g] if part not in g else _alone(p for p in g if p is not part))]
    turns = (0.0, math.pi) if grain else (0.0, math.pi, math.pi / 2, -math.pi / 2)
    left_over: list[str] = []
    parted: list[tuple[str, ...]] = []
    queue = sorted(todo, key=_size, reverse=True)
    while queue:
        group = queue.pop(0)
        room = _room(free, laid, kerf_mm)
        found = _first_fit(group, room, turns)
        if found is not None:
            laid += found
        elif len(group) > 1:
            parted.append(tuple(p.name for p in group))
            queue = sorted([*queue, *_alone(group)], key=_size, reverse=True)
        else:
            left_over.append(group[0].name)
    rests = [g for g in shapely.get_parts(_room(free, laid, kerf_mm)) if isinstance(g, shapely.Polygon)]
    remnants = tuple(sorted((g for g in rests if g.area >= REMNANT_MM2), key=lambda g: -g.area))
    return Layout(slab, usable, tuple(faults), tuple(laid), tuple(left_over), tuple(parted), remnants)


def _alone(parts: Iterable[Part]) -> list[Group]:
    """Every piece a group of its own."""
    return [(replace(p, move=np.eye(3)),) for p in parts]


def _room(free: Any, laid: Sequence[Laid], kerf_mm: float) -> Any:
    """What is left of the slab a kerf away from all that is laid."""
    return free.difference(shapely.union_all([p.outline.buffer(kerf_mm, join_style="mitre") for p in laid])) if laid else free


def _size(group: Group) -> float:
    return float(sum(p.outline.area for p in group))


def _no_conflict(
    one: Laid, free: Any, usable: Any, faults: Sequence[tuple[str, Any]],
    laid: Sequence[Laid], kerf_mm: float,
) -> None:
    inner = one.outline.buffer(-SLAB_TOUCH_MM)
    if not usable.contains(inner):
        raise InputError(f"Piece {one.name!r} laid by hand reaches beyond the slab's margin; move it.")
    for name, shape in faults:
        if shape.intersects(inner):
            raise InputError(f"Piece {one.name!r} laid by hand holds {name!r} or comes too near to it; move it.")
    for other in laid:
        if one.outline.distance(other.outline) < kerf_mm - SLAB_TOUCH_MM:
            raise InputError(f"Pieces {other.name!r} and {one.name!r} laid by hand leave no kerf of {kerf_mm:g} mm between "
                             "them; move one.")
    assert free.buffer(SLAB_TOUCH_MM).contains(inner)


def _at_corner(group: Group, turn_rad: float, at: tuple[float, float]) -> list[Laid]:
    """The group turned, the lower left corner of its box at a place."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    x, y, _, _ = shapely.union_all([_moved(p.shape, turn) for p in group]).bounds
    whole = shifted(np.array(at) - np.array([x, y])) @ turn
    out = []
    for p in group:
        move = whole @ p.move
        names = tuple(q.name for q in group if q is not p)
        out.append(Laid(p.name, _moved(p.outline, move), tuple(_moved(h, move) for h in p.holes), move, names))
    return out


def _first_fit(group: Group, room: Any, turns: Sequence[float]) -> list[Laid] | None:
    """The group at the place furthest to the left, then lowest, of all turns; None where it fits nowhere."""
    if room.is_empty:
        return None
    best: tuple[float, float, float] | None = None
    x0, y0, x1, y1 = room.bounds
    cell = SLAB_CELL_MM
    columns, rows = math.ceil((x1 - x0) / cell), math.ceil((y1 - y0) / cell)
    blocked = np.logical_not(_covered(room, (x0, y0), columns, rows))
    for turn in turns:
        shape = shapely.union_all([p.outline for p in _at_corner(group, turn, (0.0, 0.0))])
        _, _, w, h = shape.bounds
        n, m = math.ceil(w / cell) + 1, math.ceil(h / cell) + 1
        if n > columns or m > rows:
            continue
        mask = _touched(shape, n, m)
        meets = fftconvolve(blocked.astype(float), mask[::-1, ::-1].astype(float), mode="valid") > 0.5
        ok = np.argwhere(~meets.T)  # by column, then row
        if len(ok):
            column, row = (int(v) for v in ok[0])
            place = (x0 + column * cell, y0 + row * cell, turn)
            best = min(best, place) if best is not None else place
    if best is None:
        return None
    at, turn = np.array(best[:2]), best[2]
    for way in (np.array([-1.0, 0.0]), np.array([0.0, -1.0]), np.array([-1.0, 0.0])):
        step = 2.0 * cell
        while step > SLAB_TOUCH_MM:
            tried = at + step * way
            shape = shapely.union_all([p.outline for p in _at_corner(group, turn, (float(tried[0]), float(tried[1])))])
            if room.contains(shape):
                at = tried
            else:
                step /= 2.0
    return _at_corner(group, turn, (float(at[0]), float(at[1])))


def _covered(shape: Any, origin: tuple[float, float], columns: int, rows: int) -> Array:
    """(rows, columns) cells that lie wholly within a shape."""
    x, y = np.meshgrid(origin[0] + np.arange(columns) * SLAB_CELL_MM, origin[1] + np.arange(rows) * SLAB_CELL_MM)
    boxes = shapely.box(x.ravel(), y.ravel(), x.ravel() + SLAB_CELL_MM, y.ravel() + SLAB_CELL_MM)
    shapely.prepare(shape)
    out: Array = shapely.contains(shape, boxes).reshape(rows, columns)
    return out


def _touched(shape: Any, columns: int, rows: int) -> Array:
    """(rows, columns) cells that a shape with its corner at (0, 0) meets."""
    x, y = np.meshgrid(np.arange(columns) * SLAB_CELL_MM, np.arange(rows) * SLAB_CELL_MM)
    boxes = shapely.box(x.ravel(), y.ravel(), x.ravel() + SLAB_CELL_MM, y.ravel() + SLAB_CELL_MM)
    shapely.prepare(shape)
    out: Array = shapely.intersects(shape, boxes).reshape(rows, columns)
    return out


def shifted(by: Array) -> Array:
    """A rigid motion that only shifts."""
    out = np.eye(3)
    out[:2, 2] = by
    return out


def _moved(shape: Any, move: Array) -> Any:
    return affinity.affine_transform(shape, [*move[0, :2], *move[1, :2], move[0, 2], move[1, 2]])
