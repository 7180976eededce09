"""Fitted edges joined to loops in the plan frame.

Neighbouring edges are intersected (line, arc and profile in any pairing); every corner is a function of the stacked
offset state, whose joint covariance ``N + J C J'`` goes on into every length, angle and area (``quantities``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phototemplate.edges.shapes.evaluate import transformed
from phototemplate.errors import Finding
from phototemplate.model import Array, EdgeReport, Influences, Outline, OutlineLoop, Segment
from phototemplate.settings import OutlineSettings
from phototemplate.template.chains import (
    Chain,
    LoopEdges,
    along_loops,
    anticlockwise,
    chain_points,
    check_names,
    join_edges,
    seen_ends,
)
from phototemplate.template.constants import SAME_RUN_RAD
from phototemplate.template.gradients import atan2, vec
from phototemplate.template.level import across_levels
from phototemplate.template.quantities import OWN_NOISE, EdgePlace, State, direction, place_on_edge

__all__ = ["LoopEdges", "build_outline", "edge_report"]


def build_outline(
    segments: Sequence[Segment],
    loops: Sequence[LoopEdges],
    influences: Influences,
    settings: OutlineSettings,
    unscaled: bool = False,
) -> Outline:
    """Join segments (work frame) to loops and turn them into the plan frame.

    Plan frame: x along the longest straight front or wall as seen from the room, y away from the room, origin at the
    lower left of the outline's bounding box, so that no coordinate is negative. Loops run anticlockwise; every segment
    of a loop is turned so that its chord runs along the loop, interior on its left. Neighbours that do not meet within
    ``settings.max_extension_mm`` of what was seen give a finding ``loop-open`` and the loop is kept as open chains
    (``corners_mm`` then begins and ends with the free ends, one more than edges).

    Raises:
        InputError: a loop names an edge that does not exist, names one twice, or an edge id is not unique.
    """
    check_names(segments, loops)
    findings = across_levels(loops, segments)
    by_id = {s.edge_id: s for s in segments}
    chains: list[Chain] = []
    for spec in loops:
        made, doubts = join_edges(spec, by_id, settings)
        chains += made
        findings += doubts
    chains = [anticlockwise(chain, by_id) for chain in chains]
    turned = along_loops(segments, chains)
    rotation_rad = _plan_rotation(turned, chains)
    c, s = math.cos(rotation_rad), math.sin(rotation_rad)
    rotation = np.array([[c, -s], [s, c]])
    low = _lower_left(turned, chains, rotation)
    plan_from_work = np.eye(3)
    plan_from_work[:2, :2], plan_from_work[:2, 2] = rotation, -low
    plan = tuple(transformed(seg, rotation, -low) for seg in turned)
    outline = _assemble(plan, [replace(ch, corners=ch.corners @ rotation.T - low) for ch in chains], influences,
                        plan_from_work, unscaled)
    state = State(outline)
    loops_out = tuple(
        replace(loop, corner_cov_mm2=np.array([state.cov_of(p) for p in state.corners(loop.loop_id)]).reshape(-1, 2, 2))
        for loop in outline.loops
    )
    outline = replace(outline, loops=loops_out, findings=tuple(findings))
    state = State(outline)
    return replace(outline, edges=tuple(edge_report(state, seg.edge_id, findings) for seg in plan))


# --------------------------------------------------------------------------------------------- plan frame




def _plan_rotation(segments: Sequence[Segment], chains: Sequence[Chain]) -> float:
    """Angle that turns the work frame into the plan frame.

    The longest front or wall says which run x follows; the longest straight edge along that run says how. Along a loop
    the interior is on the left, so a front edge runs to the right as seen from the room and a wall to the left.
    """
    runs = [(segment, _extent(segment, chains)) for segment in segments]
    wide = [r for r in runs if r[0].kind in ("front", "wall")] or runs
    if not wide:
        return 0.0
    longest = max(wide, key=lambda r: float(np.hypot(*r[1])))[1]
    towards = math.atan2(longest[1], longest[0])

    def aside(along: Array) -> float:
        return abs((math.atan2(along[1], along[0]) - towards + math.pi) % (2 * math.pi) - math.pi)

    straight = [along for segment, along in wide if segment.shape == "line" and aside(along) < SAME_RUN_RAD]
    if straight:
        longest = max(straight, key=lambda along: float(np.hypot(*along)))
    return -math.atan2(longest[1], longest[0])


def _extent(segment: Segment, chains: Sequence[Chain]) -> Array:
    """(2,) from the first to the last corner of an edge in all its loops, to the right as seen from the room."""
    points = []
    for chain in chains:
        if segment.edge_id in chain.edge_ids:
            i = chain.edge_ids.index(segment.edge_id)
            points += [chain.corners[i], chain.corners[(i + 1) % len(chain.edge_ids)] if chain.closed
                       else chain.corners[i + 1]]
    ends = np.array(points) if points else seen_ends(segment)
    t = segment.chord_mm[1] - segment.chord_mm[0]
    order = np.argsort(ends @ t)
    along: Array = ends[order[-1]] - ends[order[0]]
    return -along if segment.kind in ("wall", "panel") else along


def _lower_left(segments: Sequence[Segment], chains: Sequence[Chain], rotation: Array) -> Array:
    """(2,) smallest coordinates of everything, in turned but not yet shifted coordinates."""
    by_id = {s.edge_id: s for s in segments}
    points = [chain_points(chain, by_id) for chain in chains] or [seen_ends(s) for s in segments]
    if not points:
        return np.zeros(2)
    out: Array = (np.vstack(points) @ rotation.T).min(axis=0)
    return out


def _assemble(
    segments: tuple[Segment, ...], chains: Sequence[Chain], influences: Influences, plan_from_work: Array,
    unscaled: bool,
) -> Outline:
    slices: dict[str, slice] = {}
    at = 0
    for segment in segments:
        slices[segment.edge_id] = slice(at, at + len(segment.offsets_mm))
        at += len(segment.offsets_mm)
    noise = np.zeros((at, at))
    jac = np.zeros((at, influences.size))
    for segment in segments:
        where = slices[segment.edge_id]
        noise[where, where] = segment.noise_cov_mm2
        jac[where] = segment.shared_jac
    loops = tuple(OutlineLoop(ch.loop_id, ch.edge_ids, ch.corners, np.zeros((len(ch.corners), 2, 2)), ch.closed)
                  for ch in chains)
    return Outline(segments, loops, slices, noise, jac, influences, plan_from_work, unscaled=unscaled)


# ------------------------------------------------------------------------------------------------ reports


def edge_report(state: State, edge_id: str, findings: Sequence[Finding] = ()) -> EdgeReport:
    """What the user reads of one edge; U at k = 2.

    The offset is the displacement of the edge normal to itself at a fixed place. Its budget is that of the place where
    it is largest; the root sum of squares of the budget is U / 2 there.
    """
    segment = state.segments[edge_id]
    curve = state.curve(edge_id)
    start, end = state.stretch(edge_id)
    length = state.quantity(curve.length(start, end))
    heading = direction(state, edge_id)
    angle = state.quantity(atan2(heading.y, heading.x), "rad")
    places = [start.xy, place_on_edge(state, EdgePlace(edge_id, 0.5)).xy, end.xy]
    offsets = [state.quantity(curve.side(vec(p))) for p in places]
    worst = max(offsets, key=lambda q: q.u)
    own = [f for f in findings if edge_id in f.where.split("/")]
    residuals = segment.residuals_mm
    return EdgeReport(
        edge_id=edge_id,
        kind=segment.kind,
        shape=segment.shape,
        source=segment.source,
        length_mm=length.value,
        length_U_mm=length.U if state.between_corners(edge_id) else math.nan,
        angle_rad=angle.value,
        angle_U_rad=angle.U,
        offset_U_mm=(offsets[0].U, offsets[1].U, offsets[2].U),
        budget=tuple(("edge noise" if c == OWN_NOISE + edge_id else c, u) for c, u in worst.budget),
        height_mm=segment.height_mm,
        n_points=len(residuals),
        n_photos=segment.n_photos,
        rms_mm=float(np.sqrt(np.mean(residuals**2))) if len(residuals) else 0.0,
        findings=(*segment.findings, *own),
        level=segment.level,
        line=segment.line,
    )
