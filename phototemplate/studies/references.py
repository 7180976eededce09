"""What a wall is compared with: the polyline of a DXF, or the same wall in an earlier job.

A reference is a set of *runs*: chains of points that bend nowhere by more than :data:`RUN_CORNER_RAD`, so that each run stands
for one wall or edge.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from phototemplate.edges.shapes.evaluate import point_at, to_chord, weights
from phototemplate.errors import InputError
from phototemplate.model import Array, HeightPoint, Outline
from phototemplate.output.result_reader import read_result
from phototemplate.studies.constants import FLAT_MM, GIVEN_MM, INSUNITS_MM, JOINED_MM, RUN_CORNER_RAD, UNIT_WORDS
from phototemplate.studies.wall_line import room_side
from phototemplate.template.foreign_dxf import fenced, open_dxf
from phototemplate.template.intersections import segment_curve
from phototemplate.template.quantities import seen_stretch, state_cov

_NO_SHAPE = {"TEXT", "MTEXT", "DIMENSION", "POINT", "LEADER", "MULTILEADER", "ATTDEF", "ATTRIB", "VIEWPORT", "HATCH", "IMAGE"}


@dataclass(frozen=True)
class Run:
    """One wall or edge of a reference."""

    points_mm: Array
    """(n, 2) in the reference's own frame"""
    normal_cov_mm2: Array | None = None
    """(n, n) covariance of its points normal to it; None: taken as exact"""
    room: float = 0.0
    """+1: the room is on its left, -1: on its right, 0: nothing tells"""

    @property
    def length_mm(self) -> float:
        return float(np.linalg.norm(np.diff(self.points_mm, axis=0), axis=1).sum())


@dataclass(frozen=True)
class Reference:
    """Everything a wall could be compared with in one file."""

    name: str
    runs: tuple[Run, ...]
    unit_mm: float = 1.0
    """What one unit of the file was taken for"""


def read_reference(path: Path, edge_id: str, unit: str | None = None, layer: str | None = None) -> Reference:
    """A DXF, or the wall ``edge_id`` of an earlier job (its folder or ``result.json``).

    Raises ``InputError`` for a file that cannot be used and for an earlier job without a known length.
    """
    if path.is_file() and path.suffix.lower() == ".dxf":
        return read_dxf(path, unit, layer)
    stored = read_result(path)
    if not stored.scale_known:
        raise InputError(f"The earlier job {stored.job_name} has no known length, so it cannot be compared with.")
    return of_outline(stored.outline, edge_id, f"{stored.job_name} ({stored.created[:10]})", stored.heights)


@fenced
def read_dxf(path: Path, unit: str | None = None, layer: str | None = None) -> Reference:
    """Lines, arcs, polylines and splines of a DXF, chained and split at corners.

    ``unit`` ("mm" or "in") stands in for a unit the file does not state. Raises ``InputError`` for a file that cannot be
    read, holds nothing on the layer, or whose unit is missing or contradicts ``unit``.
    """
    document = open_dxf(path)
    scale = _unit(int(document.header.get("$INSUNITS", 0)), unit, path.name)
    lines = [line for entity in document.modelspace() for line in _flat(entity, layer, scale)]
    if not lines:
        layers = sorted({e.dxf.layer for e in document.modelspace() if e.dxftype() not in _NO_SHAPE})
        where = f" on layer {layer!r}; it has {', '.join(layers) or 'no drawn layer'}" if layer else ""
        raise InputError(f"{path.name} holds no lines to compare with{where}.")
    return Reference(path.name, tuple(split_runs(lines)), scale)


def _unit(stated: int, unit: str | None, name: str) -> float:
    if unit is not None and unit not in GIVEN_MM:
        raise InputError(f"The unit of {name} can be given as mm or in, not {unit!r}.")
    if stated in INSUNITS_MM:
        if unit is not None and abs(GIVEN_MM[unit] - INSUNITS_MM[stated]) > 1e-9:
            raise InputError(
                f"{name} says that it is drawn in {UNIT_WORDS[INSUNITS_MM[stated]]}, not in {unit}; leave --unit out or "
                "correct the file."
            )
        return INSUNITS_MM[stated]
    if unit is None:
        raise InputError(f"{name} does not say in which unit it is drawn; give --unit mm or --unit in.")
    return GIVEN_MM[unit]


def _flat(entity: Any, layer: str | None, scale: float) -> list[Array]:
    from ezdxf.path import make_path

    if entity.dxftype() in _NO_SHAPE or (layer is not None and entity.dxf.layer.lower() != layer.lower()):
        return []
    if entity.dxftype() == "INSERT":
        return [line for part in entity.virtual_entities() for line in _flat(part, None, scale)]
    try:
        points = [(v.x, v.y) for v in make_path(entity).flattening(FLAT_MM / scale)]
    except TypeError:  # a kind of entity that has no path, such as a solid
        return []
    out = np.asarray(points, dtype=np.float64).reshape(-1, 2) * scale
    return [out] if len(out) >= 2 and float(np.ptp(out, axis=0).max()) > JOINED_MM else []


def split_runs(lines: list[Array]) -> list[Run]:
    """Chain lines whose ends meet, then split at every corner; longest first.

    What is drawn at its corners tells on which side of a run the counter, and so the room, lies.
    """
    snapped = [shapely.LineString(np.round(line / JOINED_MM) * JOINED_MM) for line in lines]
    merged = shapely.line_merge(shapely.MultiLineString(snapped))
    chains = [np.asarray(g.coords) for g in (merged.geoms if hasattr(merged, "geoms") else [merged])]
    runs = [run for chain in chains for run in _split(_from_corner(chain))]
    return sorted(runs, key=lambda r: -r.length_mm)


def _from_corner(chain: Array) -> Array:
    """A closed chain begins at a corner, so that no run is cut in two by where it was drawn first."""
    if len(chain) < 4 or not np.allclose(chain[0], chain[-1]):
        return chain
    turned = np.abs(_turns(np.vstack([chain[-2:-1], chain])))  # turn at every vertex but the last
    return np.vstack([chain[(k := int(np.argmax(turned))):-1], chain[: k + 1]])


def _turns(chain: Array) -> Array:
    """(n - 2,) change of direction at the inner vertices, rad."""
    d = np.diff(chain, axis=0)
    heading = np.arctan2(d[:, 1], d[:, 0])
    out: Array = (np.diff(heading) + np.pi) % (2 * np.pi) - np.pi
    return out


def _split(chain: Array) -> list[Run]:
    corners = 1 + np.flatnonzero(np.abs(_turns(chain)) > RUN_CORNER_RAD) if len(chain) > 2 else np.zeros(0, dtype=int)
    stops = [0, *(int(k) for k in corners), len(chain) - 1]
    parts = [chain[a : b + 1] for a, b in itertools.pairwise(stops) if b > a]
    if len(chain) > 3 and np.allclose(chain[0], chain[-1]):
        inside = 1.0 if shapely.LinearRing(chain).is_ccw else -1.0
        return [Run(p, None, inside) for p in parts]
    out = []
    for k, p in enumerate(parts):
        beside = [*(parts[k - 1][:-1] if k else ()), *(parts[k + 1][1:] if k + 1 < len(parts) else ())]
        t = p[-1] - p[0]
        side = [float(t[0] * (q[1] - p[0, 1]) - t[1] * (q[0] - p[0, 0])) for q in beside]
        out.append(Run(p, None, float(np.sign(sum(side))) if side else 0.0))
    return out


def of_outline(
    outline: Outline, edge_id: str, name: str, heights: Sequence[HeightPoint] = (), step_mm: float = 10.0
) -> Reference:
    """The same wall in an earlier job, with its uncertainty.

    Raises ``InputError`` where that job has no such edge.
    """
    by_id = {s.edge_id: s for s in outline.segments}
    if edge_id not in by_id:
        raise InputError(f"{name} has no edge {edge_id!r} to compare with; it has {', '.join(by_id) or 'none'}; name one "
                         "with --other-edge.")
    segment = by_id[edge_id]
    where = outline.state_slices[edge_id]
    curve = segment_curve(segment, where.start, len(outline.noise_cov_mm2))
    ends = [np.array(seen_stretch(segment, curve))]
    ends += [loop.corners_mm for loop in outline.loops if edge_id in loop.edge_ids and loop.closed]
    on_edge = np.vstack(ends)
    s, off = to_chord(segment, on_edge)
    s = s[np.abs(off - weights(segment, s) @ segment.offsets_mm) < 1.0]
    at = np.linspace(float(s.min()), float(s.max()), max(round(float(np.ptp(s)) / step_mm), 8) + 1)
    rows = weights(segment, at)
    cov: Array = rows @ state_cov(outline)[where, where] @ rows.T
    return Reference(name, (Run(point_at(segment, at), cov, room_side(outline, segment, heights)),))
