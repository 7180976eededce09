"""Edges joined to chains: neighbours intersected, loops closed and run anticlockwise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.errors import Finding, InputError
from phototemplate.model import Array, Candidate, Segment
from phototemplate.settings import OutlineSettings
from phototemplate.template.curves import ArcCurve
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.intersections import (
    AnyCurve,
    corner_place,
    crossing_angle_rad,
    follows,
    segment_curve,
    tangent_place,
)
from phototemplate.template.quantities import seen_stretch


@dataclass(frozen=True)
class LoopEdges:
    """Which edges follow each other, in either sense."""

    loop_id: str
    edge_ids: tuple[str, ...]
    closed: bool = True


@dataclass(frozen=True)
class Chain:
    """Edges in running order with their corners; a closed one has n corners, an open one n + 1 (ends included)."""

    loop_id: str
    edge_ids: tuple[str, ...]
    corners: Array
    closed: bool


def check_names(segments: Sequence[Segment], loops: Sequence[LoopEdges]) -> None:
    ids = [s.edge_id for s in segments]
    for edge_id in ids:
        if ids.count(edge_id) > 1:
            raise InputError(f"Edge {edge_id!r} was given twice; give every edge its own name.")
    names = [loop.loop_id for loop in loops]
    for spec in loops:
        if names.count(spec.loop_id) > 1:
            raise InputError(f"Loop {spec.loop_id!r} was given twice; give every loop its own name.")
        if not spec.edge_ids:
            raise InputError(f"Loop {spec.loop_id!r} names no edges; list them in the order they follow each other.")
        for edge_id in spec.edge_ids:
            if spec.edge_ids.count(edge_id) > 1:
                raise InputError(f"Loop {spec.loop_id!r} names edge {edge_id!r} twice; name every edge once.")
            if edge_id not in ids:
                raise InputError(
                    f"Loop {spec.loop_id!r} names edge {edge_id!r}, which was not measured; "
                    f"the edges are {', '.join(ids) or 'none'}."
                )


def seen_ends(segment: Segment) -> Array:
    """(2, 2) where the edge was first and last seen."""
    return np.array(seen_stretch(segment, segment_curve(segment, 0, len(segment.offsets_mm))))


def _facing(a: Array, b: Array) -> tuple[int, int]:
    """Which ends of two edges lie nearest to each other."""
    gaps = np.hypot(*(a[:, None, :] - b[None, :, :]).transpose(2, 0, 1))
    i, j = np.unravel_index(int(np.argmin(gaps)), (2, 2))
    return int(i), int(j)


@dataclass(frozen=True)
class _Joint:
    """What was found between an edge and the next."""

    corner: Array | None
    ends: tuple[Array, Array]
    """Free ends where they do not meet"""


def join_edges(
    spec: LoopEdges, by_id: dict[str, Segment], settings: OutlineSettings, findings: list[Finding]
) -> list[Chain]:
    """Intersect the neighbours of one loop; cut it into chains where they do not meet."""
    ids = spec.edge_ids
    n = len(ids)
    ends = {e: seen_ends(by_id[e]) for e in ids}
    if n == 1:
        return [Chain(spec.loop_id, ids, ends[ids[0]], False)]
    pairs = [(i, (i + 1) % n) for i in range(n if spec.closed else n - 1)]
    joints = []
    for i, j in pairs:
        a, b = ids[i], ids[j]
        if n == 2:  # both neighbours are the same two edges: take the ends of the first one after the other
            first, second = 1 - i, int(np.argmin(np.hypot(*(ends[ids[1]] - ends[ids[0]][1 - i]).T)))
            at_a, at_b = (first, second) if i == 0 else (second, first)
        else:
            at_a, at_b = _facing(ends[a], ends[b])
        joints.append(_meet(by_id[a], by_id[b], ends[a][at_a], ends[b][at_b], ends, spec.loop_id, settings, findings))
    if spec.closed and all(joint.corner is not None for joint in joints):
        corners = [joint.corner for joint in joints]
        return [Chain(spec.loop_id, ids, np.array([corners[-1], *corners[:-1]]), True)]
    if not spec.closed:
        joints.append(_Joint(None, (ends[ids[-1]][0], ends[ids[0]][0])))
    # open: begin behind a gap and cut at every further one
    first_gap = next(k for k, joint in enumerate(joints) if joint.corner is None)
    chains: list[Chain] = []
    members: list[str] = []
    corners_out: list[Array] = []
    for step in range(1, n + 1):
        k = (first_gap + step) % n
        start, end = _open_ends(ends[ids[k]], joints[k - 1], joints[k])
        if not members:
            corners_out = [start]
        members.append(ids[k])
        corners_out.append(end)
        if joints[k].corner is None:
            # a slash cannot stand in a loop's own name, so no part is called like another loop
            name = spec.loop_id if not chains else f"{spec.loop_id}/{len(chains) + 1}"
            chains.append(Chain(name, tuple(members), np.array(corners_out), False))
            members = []
    return chains


def _open_ends(ends: Array, before: _Joint, after: _Joint) -> tuple[Array, Array]:
    """Where an edge of an open chain starts and ends: at its corners, and where it has none at the end it was seen to.

    That end is the one away from its other corner, not the one that faces the next edge: out of order, both neighbours may
    face the same end, and the edge would have no length.
    """

    def away_from(place: Array) -> Array:
        out: Array = ends[int(np.argmax(np.hypot(*(ends - place).T)))]
        return out

    if before.corner is not None and after.corner is not None:
        return before.corner, after.corner
    if before.corner is not None:
        return before.corner, away_from(before.corner)
    if after.corner is not None:
        return away_from(after.corner), after.corner
    return before.ends[1], away_from(before.ends[1])


def _meet(
    a: Segment, b: Segment, end_a: Array, end_b: Array, ends: dict[str, Array], loop_id: str,
    settings: OutlineSettings, findings: list[Finding],
) -> _Joint:
    """Corner of two edges, or the finding that there is none."""
    m, size = len(a.offsets_mm), len(a.offsets_mm) + len(b.offsets_mm)
    curve_a, curve_b = segment_curve(a, 0, size), segment_curve(b, m, size)
    place = corner_place(curve_a, curve_b, (end_a + end_b) / 2.0)
    corner = None if place is None else place.xy
    gap = float(np.hypot(*(end_b - end_a)))
    reason = ""
    if corner is None:
        reason = "their lines do not meet"
    else:
        grazing = crossing_angle_rad(curve_a, curve_b, corner)
        extension = {s.edge_id: _extension_mm(ends[s.edge_id], curve, corner)
                     for s, curve in ((a, curve_a), (b, curve_b))}
        longest = max(extension, key=lambda e: extension[e])
        findings += [_unseen(s, other, extension[s.edge_id]) for s, other in ((a, b), (b, a))
                     if s.shape == "profile" and settings.unseen_corner_mm < extension[s.edge_id]]
        if extension[longest] > settings.max_extension_mm:
            reason = f"edge {longest} would have to run on {extension[longest]:.0f} mm beyond what was seen"
        elif tangent_place(curve_a, curve_b) is None and grazing < math.radians(settings.min_corner_angle_deg):
            findings.append(Finding(
                "corner-grazing", f"{a.edge_id}/{b.edge_id}",
                f"Edges {a.edge_id} and {b.edge_id} of loop {loop_id} meet at {math.degrees(grazing):.1f} degrees, "
                "so their corner moves far for a small error.",
                "Join them as one edge, or mark the corner with a sheet and photograph it.",
            ))
    if reason:
        findings.append(Finding(
            "loop-open", loop_id,
            f"Loop {loop_id} is open between edges {a.edge_id} and {b.edge_id}: a gap of {gap:.1f} mm, {reason}.",
            "Trace the edge that is missing between them, or correct the order of the edges in the loop.",
        ))
        return _Joint(None, (end_a, end_b))
    return _Joint(corner, (end_a, end_b))


def _unseen(wall: Segment, neighbour: Segment, extension_mm: float) -> Finding:
    return Finding(
        "corner-unseen", wall.edge_id,
        f"{wall.edge_id} was seen only up to {extension_mm:.0f} mm from its corner with {neighbour.edge_id}; walls often swell "
        "just there, by more than a curve can guess.",
        "Tape a strip right into the corner, photograph it from near, or try the corner with a full-size print before cutting.",
    )


def _extension_mm(ends: Array, curve: AnyCurve, corner: Array) -> float:
    """How far a corner lies beyond the stretch that was seen."""
    if isinstance(curve, ArcCurve):  # either way round
        ahead = curve.position(corner) - curve.position(ends[1])
        behind = curve.position(ends[0]) - curve.position(corner)
        turn = 2 * math.pi * curve.radius.value
        seen = (curve.position(ends[1]) - curve.position(ends[0])) % turn
        ahead, behind = ahead % turn, behind % turn
        return 0.0 if ahead + behind > turn + 1e-9 or ahead > turn - seen + 1e-9 else min(ahead, behind)
    low, high = sorted((curve.position(ends[0]), curve.position(ends[1])))
    at = curve.position(corner)
    return max(low - at, at - high, 0.0)


# -------------------------------------------------------------------------------------------- orientation


def chain_points(chain: Chain, by_id: dict[str, Segment], tolerance_mm: float = 1.0) -> Array:
    """(m, 2) dense points along a chain."""
    out: list[tuple[float, float]] = []
    n = len(chain.edge_ids)
    for i, edge_id in enumerate(chain.edge_ids):
        start = chain.corners[i]
        end = chain.corners[(i + 1) % n] if chain.closed else chain.corners[i + 1]
        out += span_points(by_id[edge_id], start, end, tolerance_mm)
    if not chain.closed:
        out.append((float(chain.corners[-1][0]), float(chain.corners[-1][1])))
    return np.array(out)


def span_points(segment: Segment, start: Array, end: Array, tolerance_mm: float) -> list[tuple[float, float]]:
    """Dense points of a segment from start up to, not including, end."""
    curve = segment_curve(segment, 0, len(segment.offsets_mm))
    if not follows(curve, segment, start, end):
        curve = curve.reversed()
    vertices = [*curve.vertices(start, end, tolerance_mm), (float(end[0]), float(end[1]), 0.0)]
    points = flatten_polyline(np.array(vertices), closed=False, tolerance_mm=tolerance_mm)
    return [(float(x), float(y)) for x, y in points[:-1]]


def signed_area(points: Array) -> float:
    """Shoelace formula."""
    x, y = points[:, 0], points[:, 1]
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def anticlockwise(chain: Chain, by_id: dict[str, Segment]) -> Chain:
    """The chain run so that its interior lies on the left; an open chain of one edge stays as it is."""
    points = chain_points(chain, by_id)
    if len(points) < 3 or signed_area(points) >= 0:
        return chain
    if chain.closed:
        # the first edge stays first; corner i is where edge i-1 meets edge i
        ids, corners = chain.edge_ids, chain.corners
        return replace(chain, edge_ids=(ids[0], *ids[:0:-1]), corners=np.vstack([corners[1::-1], corners[:1:-1]]))
    return replace(chain, edge_ids=chain.edge_ids[::-1], corners=chain.corners[::-1].copy())


def along_loops(segments: Sequence[Segment], chains: Sequence[Chain]) -> list[Segment]:
    """Segments turned so that each runs along the first loop it belongs to."""
    out = []
    for segment in segments:
        for chain in chains:
            if segment.edge_id in chain.edge_ids:
                i = chain.edge_ids.index(segment.edge_id)
                start = chain.corners[i]
                end = chain.corners[(i + 1) % len(chain.edge_ids)] if chain.closed else chain.corners[i + 1]
                curve = segment_curve(segment, 0, len(segment.offsets_mm))
                if not follows(curve, segment, start, end):
                    segment = reversed_segment(segment)
                break
        out.append(segment)
    return out


def reversed_segment(segment: Segment) -> Segment:
    """The same edge run the other way: left and right, first and last change places."""
    chord = float(np.hypot(*(segment.chord_mm[1] - segment.chord_mm[0])))
    return replace(
        segment,
        chord_mm=segment.chord_mm[::-1].copy(),
        knots_mm=(chord - segment.knots_mm)[::-1].copy(),
        offsets_mm=-segment.offsets_mm[::-1],
        noise_cov_mm2=segment.noise_cov_mm2[::-1, ::-1].copy(),
        unseen_cov_mm2=None if segment.unseen_cov_mm2 is None else segment.unseen_cov_mm2[::-1, ::-1].copy(),
        shared_jac=-segment.shared_jac[::-1],
        residuals_mm=-segment.residuals_mm,
        candidates=tuple(Candidate(-c.offset_mm, c.height_mm, c.support) for c in segment.candidates),
    )
