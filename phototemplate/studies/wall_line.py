"""One measured wall as seen from the room: height into the room against the distance from a corner.

Everything is linear in the outline's offset state, so ``rows`` turns the state's covariance (and each of its parts by
cause) into that of the profile.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from phototemplate.edges.shapes.evaluate import chord_frame, offset_at, to_chord, weights
from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, BoolArray, HeightPoint, Outline, Segment
from phototemplate.studies.constants import AT_CORNER_MM, FAR_FROM_CORNER_MM, WALL_STEP_MM
from phototemplate.studies.contact_places import touched_by_sheets
from phototemplate.template.quantities import State, seen_stretch

End = Literal["left", "right"]


@dataclass(frozen=True)
class WallLine:
    """n places along one wall."""

    edge_id: str
    state: State
    corner: End
    """End from which is counted, as seen from the room"""
    corner_known: bool
    """False: no corner was measured, counting begins where the wall was first seen"""
    distance_mm: Array
    """(n,) from the corner, along the chord"""
    height_mm: Array
    """(n,) into the room, from the chord"""
    rows: Array
    """(n, S) derivative of the heights with respect to the state"""
    seen: BoolArray
    """(n,) False where the wall is run on beyond what was measured, or between contact sheets"""
    origin_mm: Array
    """(2,) plan: the chord's place at distance 0"""
    along: Array
    """(2,) unit vector away from the corner"""
    into_room: Array
    """(2,) unit vector"""
    by_sheets: bool = False
    """It was touched by contact sheets here and there, and not seen between them"""

    @cached_property
    def cov_mm2(self) -> Array:
        """(n, n) joint covariance of the heights."""
        out: Array = self.rows @ self.state.cov @ self.rows.T
        return out

    def points(self, height_mm: Array | None = None) -> Array:
        """(n, 2) plan positions, of other heights where given."""
        h = self.height_mm if height_mm is None else height_mm
        out: Array = self.origin_mm + np.outer(self.distance_mm, self.along) + np.outer(h, self.into_room)
        return out


def wall_line(
    outline: Outline,
    edge_id: str,
    heights: Sequence[HeightPoint] = (),
    corner: End | None = None,
    step_mm: float = WALL_STEP_MM,
) -> WallLine:
    """The profile of one edge; the room is on the side of the sheets (``heights``), or left of the edge in its loop.

    Raises ``InputError`` where there is no such edge, ``MeasureError`` where it is an arc or was hardly seen.
    """
    state = State(outline)
    state.curve(edge_id)  # names the edges there are
    segment = state.segments[edge_id]
    if segment.bend_per_mm:
        raise MeasureError(f"{edge_id} is fitted as {segment.shape}; a wall check needs a line or a profile; change its shape.")
    frame = chord_frame(segment)
    into = frame.normal * room_side(outline, segment, heights)
    # seen from the room one faces the wall, so right is the direction into the room turned by +90 degrees
    right = np.array([-into[1], into[0]])
    first, last = seen_stretch(segment, state.curve(edge_id))
    low_seen, high_seen = sorted(to_chord(segment, np.array([first, last]))[0])
    corners = _corners(outline, edge_id)
    ends = to_chord(segment, corners)[0] if len(corners) else np.zeros(0)
    low, high = min([low_seen, *ends]), max([high_seen, *ends])
    if high - low < 3 * step_mm:
        raise MeasureError(f"Only {high - low:.0f} mm of {edge_id} were measured; show more of the wall.")
    runs_right = float(frame.tangent @ right) > 0
    side: End = corner or _corner_side(outline, edge_id, segment, right)
    at_low = (side == "left") == runs_right
    begin = low if at_low else high
    count = max(round((high - low) / step_mm), 8) + 1
    s = np.linspace(low, high, count) if at_low else np.linspace(high, low, count)
    sign = float(into @ frame.normal)
    rows = np.zeros((count, state.size))
    rows[:, outline.state_slices[edge_id]] = sign * weights(segment, s)
    along = frame.tangent if at_low else -frame.tangent
    touched = touched_by_sheets(segment, s)
    seen = (s >= low_seen - 1e-9) & (s <= high_seen + 1e-9)
    return WallLine(
        edge_id,
        state,
        side,
        bool(np.any(np.abs(ends - begin) < 1e-9)),
        np.abs(s - s[0]),
        sign * offset_at(segment, s),
        rows,
        seen if touched is None else seen & touched,
        frame.origin_mm + s[0] * frame.tangent,
        along,
        into,
        touched is not None,
    )


def room_side(outline: Outline, segment: Segment, heights: Sequence[HeightPoint]) -> float:
    """+1 where the room is on the left of the edge's chord."""
    for loop in outline.loops:
        if segment.edge_id in loop.edge_ids:
            return 1.0  # loops run anticlockwise, their inside on the left
    if not heights:
        return 1.0
    turn = outline.plan_from_work
    places = np.array([h.xy_mm for h in heights]) @ turn[:2, :2].T + turn[:2, 2]
    return 1.0 if float(np.median(to_chord(segment, places)[1])) >= 0 else -1.0


def _corners(outline: Outline, edge_id: str) -> Array:
    """(n, 2) corners of the edge in all its loops; the free ends of open chains are none."""
    out = []
    for loop in outline.loops:
        n = len(loop.edge_ids)
        for i, name in enumerate(loop.edge_ids):
            if name == edge_id:
                ends = (i, (i + 1) % n) if loop.closed else tuple(k for k in (i, i + 1) if 0 < k < n)
                out += [loop.corners_mm[k] for k in ends]
    return np.array(out).reshape(-1, 2)


def _corner_side(outline: Outline, edge_id: str, segment: Segment, right: Array) -> End:
    """The end where another wall begins, else the left one."""
    walls = [s for s in outline.segments if s.edge_id != edge_id and s.kind in ("wall", "panel") and len(s.points_mm)]
    if not walls:
        return "left"
    ends = segment.chord_mm
    gaps = [min(float(np.linalg.norm(w.points_mm - e, axis=1).min()) for w in walls) for e in ends]
    if max(gaps) < AT_CORNER_MM or min(gaps) > FAR_FROM_CORNER_MM:  # corners at both ends, or at none
        return "left"
    nearest, other = ends[int(np.argmin(gaps))], ends[1 - int(np.argmin(gaps))]
    return "left" if float((nearest - other) @ right) < 0 else "right"


def choose_wall(outline: Outline, edge_id: str | None) -> str:
    """The named edge, or the only wall. Raises ``InputError`` where that is not clear."""
    names = [s.edge_id for s in outline.segments]
    if edge_id is not None:
        if edge_id not in names:
            raise InputError(f"There is no edge {edge_id!r}; the edges are {', '.join(names) or 'none'}.")
        return edge_id
    walls = [s.edge_id for s in outline.segments if s.kind in ("wall", "panel")]
    if len(walls) == 1:
        return walls[0]
    if not walls:
        raise InputError(
            f"No wall was measured (edges: {', '.join(names) or 'none'}); tape a strip along it, or name an edge with --edge."
        )
    raise InputError(f"There are several walls, {', '.join(walls)}; say which one with --edge.")
