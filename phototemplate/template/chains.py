"""Edges joined to chains: neighbours intersected, loops closed and run anticlockwise."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.shapes.evaluate import point_at
from phototemplate.errors import Finding, InputError
from phototemplate.model import Array, Candidate, Segment
from phototemplate.settings import OutlineSettings
from phototemplate.template.constants import SMALLEST_SPAN_MM
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
class _Seen:
    """An edge and where it was first and last seen."""

    segment: Segment
    ends: Array
    """(2, 2)"""


_End = tuple[Segment, Array]
"""An edge and one of its ends"""


@dataclass(frozen=True)
class _Joint:
    """What was found between an edge and the next."""

    corner: Array | None
    ends: tuple[Array, Array]
    """Free ends where they do not meet"""
    findings: tuple[Finding, ...] = ()


def join_edges(spec: LoopEdges, by_id: Mapping[str, Segment], settings: OutlineSettings) -> tuple[list[Chain], list[Finding]]:
    """Intersect the neighbours of one loop; cut it into chains where they do not meet."""
    ids = spec.edge_ids
    n = len(ids)
    seen = {e: _Seen(by_id[e], seen_ends(by_id[e])) for e in ids}
    if n == 1 and by_id[ids[0]].shape == "circle":
        return [Chain(spec.loop_id, ids, point_at(by_id[ids[0]], 0.0), True)], []
    if n == 1:
        return [Chain(spec.loop_id, ids, seen[ids[0]].ends, False)], []
    joints = []
    for i, j in [(i, (i + 1) % n) for i in range(n if spec.closed else n - 1)]:
        a, b = seen[ids[i]], seen[ids[j]]
        if n == 2:  # both neighbours are the same two edges: take the ends of the first one after the other
            first, second = seen[ids[0]].ends, seen[ids[1]].ends
            other = int(np.argmin(np.hypot(*(second - first[1 - i]).T)))
            at_a, at_b = (1 - i, other) if i == 0 else (other, 1 - i)
        else:
            at_a, at_b = _facing(a.ends, b.ends)
        joints.append(_meet(seen, spec.loop_id, ((a.segment, a.ends[at_a]), (b.segment, b.ends[at_b])), settings))
    joints = _with_length(spec, joints)
    findings = [f for joint in joints for f in joint.findings]
    return _chains(spec, joints, seen), findings


def _with_length(spec: LoopEdges, joints: list[_Joint]) -> list[_Joint]:
    """An edge whose two corners are one place (two lines that cross once are no run) is left open where its neighbour was seen
    farther from it."""
    ids, out = spec.edge_ids, list(joints)
    for k, joint in enumerate(joints):
        before = out[k - 1]
        if len(joints) < len(ids) and k == 0:
            continue  # the first edge of an open run has no corner before it
        if before.corner is None or joint.corner is None or np.hypot(*(joint.corner - before.corner)) >= SMALLEST_SPAN_MM:
            continue
        gaps = {i: float(np.hypot(*(joints[i].ends[1] - joints[i].ends[0]))) for i in ((k - 1) % len(joints), k)}
        far = max(gaps, key=lambda i: gaps[i])
        first, second = ids[far], ids[(far + 1) % len(ids)]
        finding = Finding("loop-open", spec.loop_id, first=first, second=second, gap_mm=gaps[far], edge=None, extension_mm=None,
                          apart=None)
        out[far] = _Joint(None, joints[far].ends, (finding,))
    return out


def _chains(spec: LoopEdges, joints: list[_Joint], seen: Mapping[str, _Seen]) -> list[Chain]:
    """One closed chain, or the open ones between the gaps."""
    ids = spec.edge_ids
    n = len(ids)
    if spec.closed and all(joint.corner is not None for joint in joints):
        corners = [joint.corner for joint in joints]
        return [Chain(spec.loop_id, ids, np.array([corners[-1], *corners[:-1]]), True)]
    if not spec.closed:
        joints = [*joints, _Joint(None, (seen[ids[-1]].ends[0], seen[ids[0]].ends[0]))]
    # open: begin behind a gap and cut at every further one
    first_gap = next(k for k, joint in enumerate(joints) if joint.corner is None)
    chains: list[Chain] = []
    members: list[str] = []
    corners_out: list[Array] = []
    for step in range(1, n + 1):
        k = (first_gap + step) % n
        start, end = _open_ends(seen[ids[k]].ends, joints[k - 1], joints[k])
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


def _meet(seen: Mapping[str, _Seen], loop_id: str, pair: tuple[_End, _End], settings: OutlineSettings) -> _Joint:
    """Corner of two edges that follow each other, each given with the end that faces the other."""
    (a, end_a), (b, end_b) = pair
    m, size = len(a.offsets_mm), len(a.offsets_mm) + len(b.offsets_mm)
    curve_a, curve_b = segment_curve(a, 0, size), segment_curve(b, m, size)
    place = corner_place(curve_a, curve_b, (end_a + end_b) / 2.0)
    findings: list[Finding] = []
    longest, extension = None, {}
    if place is not None:
        extension = {s.edge_id: _extension_mm(seen[s.edge_id].ends, curve, place.xy)
                     for s, curve in ((a, curve_a), (b, curve_b))}
        findings = [Finding("corner-unseen", s.edge_id, neighbour=other.edge_id, beyond_mm=extension[s.edge_id])
                    for s, other in ((a, b), (b, a))
                    if s.shape == "profile" and settings.unseen_corner_mm < extension[s.edge_id]]
        longest = max(extension, key=lambda e: extension[e])
    if place is None or longest is None or extension[longest] > settings.max_extension_mm:
        gap = float(np.hypot(*(end_b - end_a)))
        findings.append(Finding(
            "loop-open", loop_id, first=a.edge_id, second=b.edge_id, gap_mm=gap, edge=longest,
            extension_mm=None if longest is None else extension[longest],
            apart=(a.edge_id, b.edge_id) if longest is None else None,
        ))
        return _Joint(None, (end_a, end_b), tuple(findings))
    grazing = crossing_angle_rad(curve_a, curve_b, place.xy)
    if tangent_place(curve_a, curve_b) is None and grazing < math.radians(settings.min_corner_angle_deg):
        findings.append(Finding("corner-grazing", f"{a.edge_id}/{b.edge_id}", first=a.edge_id, second=b.edge_id, loop=loop_id,
                                angle_deg=math.degrees(grazing)))
    return _Joint(place.xy, (end_a, end_b), tuple(findings))


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
                clockwise = segment.shape == "circle" and segment.bend_per_mm < 0.0
                if clockwise or not follows(curve, segment, start, end):
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
        bend_per_mm=-segment.bend_per_mm,
        noise_cov_mm2=segment.noise_cov_mm2[::-1, ::-1].copy(),
        unseen_cov_mm2=None if segment.unseen_cov_mm2 is None else segment.unseen_cov_mm2[::-1, ::-1].copy(),
        shared_jac=-segment.shared_jac[::-1],
        residuals_mm=-segment.residuals_mm,
        candidates=tuple(Candidate(-c.offset_mm, c.height_mm, c.support) for c in segment.candidates),
    )
