"""From a loop and its wishes to one closed boundary: every edge set off, then joined to its neighbours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from phototemplate.errors import InputError
from phototemplate.template.boundary import Boundary, FitError, Unfit, join, largest_working
from phototemplate.template.edge_lines import EdgeLine, FinishedEdges, joinable
from phototemplate.template.intersections import AnyCurve
from phototemplate.template.spec import PieceEdgeSpec, PieceSpec


@dataclass(frozen=True)
class Base:
    """A piece before openings and seams."""

    spec: PieceSpec
    boundary: Boundary
    lines: Mapping[str, EdgeLine]

    def front(self, run: str, whose: str) -> AnyCurve:
        """The finished line of a run. Raises InputError where it is no edge of the piece."""
        if run not in self.lines:
            raise InputError(f"{whose} lies on run {run!r}, which is no edge of piece {self.spec.id!r}; "
                             f"its edges are {', '.join(self.lines)}.")
        return self.lines[run].curve


def base_of(finished: FinishedEdges, spec: PieceSpec) -> Base:
    """Set the edges of a piece's loop off and join them.

    Raises:
        InputError: a name that does not exist, an open loop, edges aligned in a circle.
        FitError: an overhang that leaves nothing of an edge, with the nearest that works.
    """
    runs = finished.runs(spec.id)
    _edges_exist(spec, list(runs))
    corners = [run.start for run in runs.values()]
    lines = finished.of(spec.id)
    try:
        return Base(spec, join(joinable(lines), corners), lines)
    except Unfit as unfit:
        raise _overhang_error(finished, spec, lines, unfit) from None


def _edges_exist(spec: PieceSpec, edge_ids: Sequence[str]) -> None:
    known = ", ".join(edge_ids)
    for edge_id in spec.edges:
        if edge_id not in edge_ids:
            raise InputError(f"Piece {spec.id!r} names edge {edge_id!r}, which is not in loop {spec.loop!r}; "
                             f"its edges are {known}.")
    for splash in spec.splashes:
        if splash.edge not in edge_ids:
            raise InputError(f"Splash {splash.id!r} of piece {spec.id!r} names edge {splash.edge!r}, which is not in "
                             f"loop {spec.loop!r}; its edges are {known}.")


def _overhang_error(finished: FinishedEdges, spec: PieceSpec, lines: Mapping[str, EdgeLine], unfit: Unfit) -> FitError:
    """The error that says which offset is too much and what would work."""
    ids = list(lines)
    corners = [run.start for run in finished.runs(spec.id).values()]
    lost = unfit.where.split(" step ")[0]
    at = ids.index(lost) if lost in ids else 0

    def works(offsets: Mapping[str, float]) -> bool:
        wishes = {e: spec.edges.get(e, PieceEdgeSpec()).model_copy(update={"overhang": out, "clearance": None})
                  for e, out in offsets.items()}
        try:
            join(joinable(finished.with_wishes(spec.id, wishes).of(spec.id)), corners)
        except (Unfit, InputError):
            return False
        return True

    neighbours = [ids[(at + k) % len(ids)] for k in (1, -1, 0)]
    order = neighbours + sorted((e for e in ids if e not in neighbours), key=lambda e: -abs(lines[e].outward_mm))
    for edge_id in order:
        value = lines[edge_id].outward_mm
        if abs(value) < 1e-9:
            continue
        nearest = largest_working(lambda out, e=edge_id: works({e: out}), 0.0, value)  # type: ignore[misc]
        if nearest is not None:
            what = "overhang" if value > 0 else "clearance"
            return FitError(
                f"The {what} of {abs(value):.1f} mm on edge {edge_id!r} of piece {spec.id!r} leaves nothing of edge "
                f"{lost!r} ({unfit.why}); {abs(nearest):.1f} mm would work.",
                edge_id, value, nearest,
            )
    free = {e: line.outward_mm for e, line in lines.items() if spec.edges.get(e, PieceEdgeSpec()).side_of is None}
    largest = max(ids, key=lambda e: abs(lines[e].outward_mm))
    share = largest_working(lambda part: works({e: part * out for e, out in free.items()}), 0.0, 1.0, 0.01)
    if share is not None and lines[largest].outward_mm:
        value = lines[largest].outward_mm
        return FitError(
            f"The overhangs and clearances of piece {spec.id!r} together leave nothing of edge {lost!r} ({unfit.why}); with "
            f"all of them at {100 * share:.0f} % it would work (edge {largest!r}: {abs(share * value):.1f} mm instead of "
            f"{abs(value):.1f} mm).", largest, value, share * value,
        )
    return FitError(f"Piece {spec.id!r} cannot be closed at edge {lost!r}: {unfit.why}; check the overhangs and "
                    "alignments around it.", lost)
