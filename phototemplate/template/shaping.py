"""From a loop and its wishes to one closed boundary: every edge set off, then joined to its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from phototemplate.errors import InputError
from phototemplate.template.boundary import Boundary, FitError, Unfit, join, largest_working
from phototemplate.template.edge_lines import EdgeLine, edge_line, loop_runs
from phototemplate.template.intersections import AnyCurve
from phototemplate.template.places import OpeningPlace
from phototemplate.template.quantities import State
from phototemplate.template.spec import PieceEdgeSpec, PieceSpec, ShopSpec


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


def base_of(
    state: State, spec: PieceSpec, shop: ShopSpec, openings: Mapping[str, OpeningPlace]
) -> Base:
    """Set the edges of a loop off and join them.

    Raises:
        InputError: a name that does not exist, an open loop.
        FitError: an overhang that leaves nothing of an edge, with the nearest that works.
    """
    loop = state.loop(spec.loop)
    if not loop.closed:
        raise InputError(f"Piece {spec.id!r} is cut from loop {spec.loop!r}, which is open; "
                         "trace the edge that is missing.")
    _edges_exist(spec, loop.edge_ids)
    curves, corners = loop_runs(state, loop)
    n = len(curves)

    def lines_with(edges: Mapping[str, PieceEdgeSpec]) -> dict[str, EdgeLine]:
        out: dict[str, EdgeLine] = {}
        for i, edge_id in enumerate(loop.edge_ids):
            wish = edges.get(edge_id, PieceEdgeSpec())
            start, end = corners[i], corners[(i + 1) % n]
            if wish.side_of is not None:
                out[edge_id] = _opening_side(edge_id, wish, curves[i], openings, spec.id)
            else:
                out[edge_id] = edge_line(state, edge_id, curves[i], start, end, wish, shop, spec.id)
        return out

    def joined(lines: Mapping[str, EdgeLine]) -> Boundary:
        return join([(lines[e].curve, e, lines[e].finish) for e in loop.edge_ids], corners)

    lines = lines_with(spec.edges)
    try:
        return Base(spec, joined(lines), lines)
    except Unfit as unfit:
        raise _overhang_error(spec, lines, lines_with, joined, unfit) from None


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


def _opening_side(
    edge_id: str, wish: PieceEdgeSpec, found: AnyCurve, openings: Mapping[str, OpeningPlace], piece_id: str
) -> EdgeLine:
    assert wish.side_of is not None
    name, which = wish.side_of.split("/")
    if name not in openings:
        raise InputError(f"Edge {edge_id!r} of piece {piece_id!r} is a side of opening {name!r}, which does not exist; "
                         f"the openings are {', '.join(openings) or 'none'}.")
    line = openings[name].side(which)
    if float(line.direction.xy @ found.tangent(line.origin).xy) < 0:
        raise InputError(f"Edge {edge_id!r} of piece {piece_id!r} lies on the other side of opening {name!r}; "
                         f"write \"{name}/{'right' if which == 'left' else 'left'}\".")
    out = (wish.overhang or 0.0) - (wish.clearance or 0.0)
    return EdgeLine(edge_id, wish.finish or "appliance", found, line.offset(-out), out, f"{which} side of {name}")


def _overhang_error(
    spec: PieceSpec,
    lines: Mapping[str, EdgeLine],
    lines_with: Callable[[Mapping[str, PieceEdgeSpec]], dict[str, EdgeLine]],
    joined: Callable[[Mapping[str, EdgeLine]], Boundary],
    unfit: Unfit,
) -> FitError:
    """The error that says which offset is too much and what would work."""
    ids = list(lines)
    lost = unfit.where.split(" step ")[0]
    at = ids.index(lost) if lost in ids else 0
    neighbours = [ids[(at + k) % len(ids)] for k in (1, -1, 0)]
    order = neighbours + sorted((e for e in ids if e not in neighbours), key=lambda e: -abs(lines[e].outward_mm))
    for edge_id in order:
        value = lines[edge_id].outward_mm
        if abs(value) < 1e-9:
            continue

        def works(out: float, edge_id: str = edge_id) -> bool:
            old = spec.edges.get(edge_id, PieceEdgeSpec())
            wish = old.model_copy(update={"overhang": out, "clearance": None})
            try:
                changed = lines_with({edge_id: wish})[edge_id]
                joined({**lines, edge_id: changed})
            except (Unfit, InputError):
                return False
            return True

        nearest = largest_working(works, 0.0, value)
        if nearest is not None:
            what = "overhang" if value > 0 else "clearance"
            return FitError(
                f"The {what} of {abs(value):.1f} mm on edge {edge_id!r} of piece {spec.id!r} leaves nothing of edge "
                f"{lost!r} ({unfit.why}); {abs(nearest):.1f} mm would work.",
                edge_id, value, nearest,
            )

    def together(share: float) -> bool:
        edges = {}
        for e, line in lines.items():
            wish = spec.edges.get(e, PieceEdgeSpec())
            if wish.side_of is None:
                edges[e] = wish.model_copy(update={"overhang": share * line.outward_mm, "clearance": None})
        try:
            joined({**lines, **{e: line for e, line in lines_with({**spec.edges, **edges}).items() if e in edges}})
        except (Unfit, InputError):
            return False
        return True

    largest = max(ids, key=lambda e: abs(lines[e].outward_mm))
    share = largest_working(together, 0.0, 1.0, 0.01)
    if share is not None and lines[largest].outward_mm:
        value = lines[largest].outward_mm
        return FitError(
            f"The overhangs and clearances of piece {spec.id!r} together leave nothing of edge {lost!r} ({unfit.why}); with "
            f"all of them at {100 * share:.0f} % it would work (edge {largest!r}: {abs(share * value):.1f} mm instead of "
            f"{abs(value):.1f} mm).", largest, value, share * value,
        )
    return FitError(f"Piece {spec.id!r} cannot be closed at edge {lost!r}: {unfit.why}; check the overhangs and "
                    "alignments around it.", lost)
