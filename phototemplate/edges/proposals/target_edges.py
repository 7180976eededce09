"""Edges that targets propose: wall strips that continue each other, and contact sheets whose cut edges line up."""

from __future__ import annotations

import itertools

import numpy as np

from phototemplate.edges.proposals.constants import (
    BEYOND_EYE_MM,
    CONTACT_CONFIDENCE,
    CONTACT_GAP_MM,
    CONTACT_OFF_MM,
    CONTACT_TURN_DEG,
    STRIP_CONFIDENCE,
    STRIP_CONFIDENCE_MOST,
    STRIP_CONFIDENCE_STEP,
    STRIP_GAP_MM,
    STRIP_TURN_DEG,
)
from phototemplate.edges.scene import Scene
from phototemplate.model import Array, EdgeHint, EdgeKind
from phototemplate.network import projection, workplane


def strip_walls(scene: Scene) -> list[tuple[EdgeHint, float]]:
    """Strips that continue each other along one wall."""
    pieces: dict[str, Array] = {}
    for target_id in sorted({p.target_id for p in scene.network.points}):
        target = scene.network.targets.get(target_id)
        if target is None or target.kind != "strip":
            continue
        world = np.array([p.xyz_mm for p in scene.network.points if p.target_id == target_id])
        if len(world) >= 2:
            pieces[target_id] = workplane.to_work(scene.plane, world)[0][:, :2]
    walls: list[list[str]] = []
    for name in pieces:
        for wall in walls:
            if any(_continues(pieces[name], pieces[other]) for other in wall):
                wall.append(name)
                break
        else:
            walls.append([name])
    merged = True
    while merged:  # a piece may have joined two walls begun apart
        merged = False
        for one, other in itertools.combinations(walls, 2):
            if any(_continues(pieces[a], pieces[b]) for a in one for b in other):
                one += other
                walls.remove(other)
                merged = True
                break
    return [
        (
            EdgeHint("", "wall", "strip", "profile", "work", targets=tuple(sorted(wall))),
            min(STRIP_CONFIDENCE_MOST, STRIP_CONFIDENCE + STRIP_CONFIDENCE_STEP * len(wall)),
        )
        for wall in walls
        if sum(len(pieces[n]) for n in wall) >= 3
    ]


def _continues(one: Array, other: Array) -> bool:
    """Two runs of points lie along one wall: near each other, and each in the other's direction."""
    gap = np.linalg.norm(one[:, None] - other[None], axis=2).min()
    a, b = _direction(one), _direction(other)
    between = other.mean(axis=0) - one.mean(axis=0)
    between = between / max(float(np.linalg.norm(between)), 1e-9)
    straight = np.cos(np.radians(STRIP_TURN_DEG))
    return bool(gap < STRIP_GAP_MM and abs(a @ b) > straight and abs(a @ between) > straight)


def _direction(xy: Array) -> Array:
    return np.asarray(np.linalg.svd(xy - xy.mean(axis=0))[2][0])


def _contact_edges(scene: Scene) -> dict[str, Array]:
    """(2, 2) contact edge of every sheet in the work plane."""
    edges = {}
    for target_id in scene.network.bodies:
        edge = scene.network.targets[target_id].contact_edge_mm
        if edge is not None:
            world = projection.body_points(scene.network, target_id, np.column_stack([edge, np.zeros(2)])).xyz_mm
            edges[target_id] = workplane.to_work(scene.plane, world)[0][:, :2]
    return edges


def contact_lines(scene: Scene) -> list[tuple[EdgeHint, float]]:
    """Pairs and rows of sheets whose contact edges lie on one line, facing the same way."""
    edges = _contact_edges(scene)
    rows: list[set[str]] = []
    for a, b in itertools.combinations(edges, 2):
        if _line_up(edges[a], edges[b]):
            for row in rows:
                if a in row or b in row:
                    row |= {a, b}
                    break
            else:
                rows.append({a, b})
    out = []
    for row in rows:
        names = tuple(sorted(row))
        centre = np.mean([edges[n] for n in names], axis=(0, 1))
        wall = _stands_high(scene, centre, edges[names[0]])
        kind: EdgeKind = "panel" if wall else "end"
        out.append((EdgeHint("", kind, "contact", "line", "work", targets=names), CONTACT_CONFIDENCE))
    return out


def _line_up(one: Array, other: Array) -> bool:
    """Contact edges on one line (:data:`CONTACT_OFF_MM`, :data:`CONTACT_TURN_DEG`), sheets on the same side, not far apart."""
    a, b = one[1] - one[0], other[1] - other[0]
    a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
    off = np.abs((other - one[0]) @ np.array([-a[1], a[0]])).max()
    gap = np.linalg.norm(one[:, None] - other[None], axis=2).min()
    return bool(a @ b > np.cos(np.radians(CONTACT_TURN_DEG)) and off < CONTACT_OFF_MM and gap < CONTACT_GAP_MM)


def _stands_high(scene: Scene, centre: Array, edge: Array) -> bool:
    """Whether something upright stands at the contact edge: no photo sees the sheet from beyond it."""
    along = edge[1] - edge[0]
    beyond = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    xyz = np.r_[centre, 0.0][None]
    from_beyond = [
        (scene.eye_mm(p)[:2] - centre) @ beyond > BEYOND_EYE_MM for p in scene.network.photos if scene.see(p, xyz).inside[0]
    ]
    return not any(from_beyond)


def ends_of_strip(scene: Scene, hint: EdgeHint) -> Array:
    """(2, 2) from end to end of the points of a wall's strips."""
    world = np.array([p.xyz_mm for p in scene.network.points if p.target_id in hint.targets])
    xy = workplane.to_work(scene.plane, world)[0][:, :2]
    axis = (xy - xy.mean(axis=0)) @ _direction(xy)
    return np.array([xy[int(np.argmin(axis))], xy[int(np.argmax(axis))]])


def ends_of_contact(scene: Scene, hint: EdgeHint) -> Array:
    """(2, 2) from end to end of the contact edges in a row."""
    xy = np.vstack([_contact_edges(scene)[t] for t in hint.targets])
    axis = (xy - xy.mean(axis=0)) @ _direction(xy)
    return np.array([xy[int(np.argmin(axis))], xy[int(np.argmax(axis))]])
