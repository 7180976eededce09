"""Edges measured before, kept while what they depend on stays the same.

An edge depends on the network, the work plane and its own hint, not on the other edges; but its sensitivities are columns of
one vector of influences whose type B tail lists every edge's terms. Remembered edges are therefore brought to the present
order of influences by name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.meeting_points import corners_of
from phototemplate.errors import Finding
from phototemplate.model import Array, EdgeHint, EdgeTrace, PlanePoints, Segment
from phototemplate.stage_cache import Memo, key_of

EdgeResults = tuple[tuple[PlanePoints, ...], tuple[EdgeTrace, ...], tuple[Finding, ...]]


@dataclass(frozen=True)
class MeasuredEdge:
    """One edge as measured; ``points`` is None where no edge was found."""

    points: PlanePoints | None
    traces: tuple[EdgeTrace, ...]
    findings: tuple[Finding, ...]
    influence_names: tuple[str, ...]


def joined_edges(parts: Iterable[EdgeResults]) -> EdgeResults:
    """The results of several runs of the edge stage as one."""
    points: list[PlanePoints] = []
    traces: list[EdgeTrace] = []
    findings: list[Finding] = []
    for part in parts:
        points += part[0]
        traces += part[1]
        findings += part[2]
    return tuple(points), tuple(traces), tuple(findings)


def remembered_edges(
    memo: Memo,
    base_key: str,
    hints: Sequence[EdgeHint],
    names: tuple[str, ...],
    measure: Callable[[Sequence[EdgeHint]], EdgeResults],
) -> dict[str, MeasuredEdge]:
    """Measure the edges that are new or changed, take the others from the memo; in the order of ``hints``.

    ``base_key`` says everything but the hint; ``names`` are the present influences, ``measure`` the edge stage.
    """
    keys = {h.edge_id: key_of(base_key, _hint_text(h)) for h in hints}
    wanted = [h for h in hints if not memo.holds(f"edge {h.edge_id}", keys[h.edge_id])]
    if wanted:
        points, traces, findings = measure(wanted)
        found = {p.edge_id: p for p in points}
        for h in wanted:
            edge = MeasuredEdge(
                found.get(h.edge_id),
                tuple(t for t in traces if t.edge_id == h.edge_id),
                tuple(f for f in findings if f.where == h.edge_id),
                names,
            )
            memo.keep(f"edge {h.edge_id}", keys[h.edge_id], edge)
    edges: dict[str, MeasuredEdge] = {}
    for h in hints:
        edge = memo.recall(f"edge {h.edge_id}")
        if edge.points is not None and edge.influence_names != names:
            edge = replace(edge, points=_reordered(edge.points, edge.influence_names, names), influence_names=names)
        edges[h.edge_id] = edge
    return edges


def remembered_segments(
    memo: Memo,
    hints: Sequence[EdgeHint],
    edges: Mapping[str, MeasuredEdge],
    pairs: Sequence[tuple[str, str]],
    fit: Callable[[PlanePoints, EdgeHint, Array | None], Segment],
) -> list[Segment]:
    """Fit the edges whose points are new, take the others from the memo; in the order of ``hints``.

    ``pairs`` of edges meet; profiles are told where, and fitted anew where that changed.

    Points are the same object as long as nothing they depend on has changed (``remembered_edges``), hint and settings included.
    """
    segments = []
    profiles = {h.edge_id for h in hints if h.shape == "profile"}
    met = [pair for pair in pairs if not profiles.isdisjoint(pair)]
    corners = corners_of({e: edge.points for e, edge in edges.items() if edge.points is not None}, met)
    for h in hints:
        points = edges[h.edge_id].points
        if points is None:
            continue
        place = f"segment {h.edge_id}"
        at = corners.get(h.edge_id) if h.edge_id in profiles else None
        key = "" if at is None else str(at.tolist())
        if not (memo.holds(place, key) and memo.recall(place)[0] is points):
            memo.keep(place, key, (points, fit(points, h, at)))
        segments.append(memo.recall(place)[1])
    return segments


def _hint_text(hint: EdgeHint) -> object:
    path = None if hint.path is None else hint.path.tolist()
    return replace(hint, path=None), path


def _reordered(points: PlanePoints, old: Iterable[str], new: Sequence[str]) -> PlanePoints:
    """Sensitivities in the present order; an influence of an edge that is gone had no part in this one."""
    column = {name: k for k, name in enumerate(old)}
    jac: Array = np.zeros((*points.shared_jac.shape[:2], len(new)))
    for k, name in enumerate(new):
        if name in column:
            jac[:, :, k] = points.shared_jac[:, :, column[name]]
    return replace(points, shared_jac=jac)
