"""A maker's cut-out drawing as makers draw: blocks, doubled lines, several layers, splines and text; closed, its unit known."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from phototemplate.errors import InputError
from phototemplate.model import Array
from phototemplate.template.constants import CURVE_MM, DEEPEST_BLOCK, GAP_MM, GIVEN_MM, INSUNITS_MM, SAME_BULGE
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.foreign_dxf import fenced, open_dxf

_IGNORED = {"TEXT", "MTEXT", "DIMENSION", "POINT", "LEADER", "MULTILEADER", "ATTDEF", "ATTRIB", "VIEWPORT"}


@dataclass(frozen=True)
class CutoutShape:
    """Closed shape about the middle of its front: x to the right, y away from the room, mm."""

    vertices: Array
    """(n, 3) x, y, bulge; anticlockwise"""
    source: str
    """By size, or the file it came from"""

    @property
    def box(self) -> tuple[float, float, float, float]:
        """(xmin, ymin, xmax, ymax)."""
        points = flatten_polyline(self.vertices, True, 0.005)
        low, high = points.min(axis=0), points.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


@fenced
def read_cutout_dxf(
    path: Path, unit: str | None = None, layer: str | None = None, expected_mm: tuple[float, float] = (80.0, 1600.0)
) -> CutoutShape:
    """Read the one closed shape of a maker's file.

    Lines, arcs, circles, polylines, splines and ellipses, in blocks too, are chained by their ends, each once however often it
    was drawn; the outermost closed shape is taken, and nothing else may lie outside it, on its layer at least. ``unit`` is used
    only where the file states none.

    Raises:
        InputError: not readable, no or several shapes, open (with the gap), no or contradicting unit, a size that no
            cut-out has (wrong unit).
    """
    name = path.name
    document = open_dxf(path)
    scale = _scale(document.header.get("$INSUNITS", 0), unit, name)
    by_layer: dict[str, list[Array]] = {}
    for entity in _exploded(document.modelspace()):
        on = str(entity.dxf.layer)
        if layer is None or on.lower() == layer.lower():
            for part in _vertices(entity, name, CURVE_MM / scale):
                part[:, :2] *= scale
                by_layer.setdefault(on, []).append(part)
    if not by_layer:
        where = f" on layer {layer!r}" if layer else ""
        raise InputError(f"Cut-out file {name} holds no lines or arcs{where}; check the file and the layer.")
    vertices = _one_shape(by_layer, name)
    _plausible(vertices, scale, name, expected_mm)
    xmin, ymin, xmax, _ = shapely.Polygon(flatten_polyline(vertices, True, 0.005)).bounds
    vertices[:, 0] -= (xmin + xmax) / 2.0
    vertices[:, 1] -= ymin
    return CutoutShape(vertices, name)


def _exploded(entities: Iterable[Any], depth: int = 0) -> Iterator[Any]:
    """Entities with blocks taken apart, however deep they are nested."""
    for entity in entities:
        if entity.dxftype() == "INSERT" and depth < DEEPEST_BLOCK:
            yield from _exploded(entity.virtual_entities(), depth + 1)
        else:
            yield entity


def _one_shape(by_layer: Mapping[str, list[Array]], name: str) -> Array:
    """The outermost closed shape of all layers together, or of the one layer that has one alone."""
    try:
        return _outermost([p for parts in by_layer.values() for p in parts], name)
    except InputError as exc:
        if len(by_layer) == 1:
            raise
        whole = exc
    found = {}
    for layer, parts in by_layer.items():
        with contextlib.suppress(InputError):
            found[layer] = _outermost(parts, name)
    if not found:
        raise whole
    if len(found) > 1:
        sizes = ", ".join(f"{layer} ({np.ptp(v[:, 0]):.0f} x {np.ptp(v[:, 1]):.0f} mm)" for layer, v in found.items())
        raise InputError(f"Cut-out file {name} holds separate shapes on several layers, {sizes}; name the one to cut as "
                         "`file_layer`.")
    return next(iter(found.values()))


def _outermost(parts: Sequence[Array], name: str) -> Array:
    """The one closed shape that holds all others, anticlockwise. Raises InputError where there is none, or several."""
    loops = _chain(_once(parts), name)
    polygons = [shapely.Polygon(flatten_polyline(v, True, 0.02)) for v in loops]
    outer = max(range(len(loops)), key=lambda k: polygons[k].area)
    for k, polygon in enumerate(polygons):
        if k != outer and not polygons[outer].buffer(GAP_MM).contains(polygon):
            raise InputError(f"Cut-out file {name} holds {len(loops)} separate shapes; name the layer of the one to cut.")
    if not polygons[outer].is_valid:
        raise InputError(f"The shape in cut-out file {name} crosses itself; ask the maker for a clean DXF.")
    return loops[outer] if polygons[outer].exterior.is_ccw else _turned_round(loops[outer])


def _once(parts: Sequence[Array]) -> list[Array]:
    """Parts without those that lie on another one, drawn twice in either direction."""
    out: list[Array] = []
    for part in parts:
        turned = _reversed_chain(part)
        if not any(len(other) == len(part) and (_same(other, part) or _same(other, turned)) for other in out):
            out.append(part)
    return out


def _same(a: Array, b: Array) -> bool:
    return bool(np.abs(a[:, :2] - b[:, :2]).max() < GAP_MM and np.abs(a[:, 2] - b[:, 2]).max() < SAME_BULGE)


def _plausible(vertices: Array, scale: float, name: str, expected_mm: tuple[float, float]) -> None:
    """Raise InputError where a shape has a size that no cut-out has, which means a wrong unit."""
    xmin, ymin, xmax, ymax = shapely.Polygon(flatten_polyline(vertices, True, 0.02)).bounds
    smallest, largest = min(xmax - xmin, ymax - ymin), max(xmax - xmin, ymax - ymin)
    if largest <= expected_mm[1] and smallest >= expected_mm[0] / 4 and largest >= expected_mm[0]:
        return
    for other, factor in (("mm", 1.0 / scale), ("inch", 25.4 / scale)):
        if expected_mm[0] <= largest * factor <= expected_mm[1] and abs(factor - 1.0) > 1e-9:
            raise InputError(
                f"Cut-out file {name} measures {xmax - xmin:.1f} x {ymax - ymin:.1f} mm in the unit it states, which "
                f"no cut-out does; it seems to be drawn in {other}: "
                f"{(xmax - xmin) * factor:.1f} x {(ymax - ymin) * factor:.1f} mm. Correct the unit in the file."
            )
    raise InputError(f"Cut-out file {name} measures {xmax - xmin:.1f} x {ymax - ymin:.1f} mm, which no cut-out does; "
                     "check the file's unit.")


def _scale(insunits: int, unit: str | None, name: str) -> float:
    if insunits in INSUNITS_MM:
        stated = INSUNITS_MM[insunits]
        if unit is not None and abs(GIVEN_MM[unit] - stated) > 1e-9:
            raise InputError(f"Cut-out file {name} states another unit ($INSUNITS {insunits}) than the job file ({unit}); "
                             "leave `file_unit` out or correct the file.")
        return stated
    if insunits:
        raise InputError(f"Cut-out file {name} states a unit ($INSUNITS {insunits}) that no cut-out is drawn in; "
                         "ask the maker for mm or inch.")
    if unit is None:
        raise InputError(f"Cut-out file {name} states no unit; give `file_unit` as \"mm\" or \"in\".")
    return GIVEN_MM[unit]


def _vertices(entity: Any, name: str, curve: float) -> list[Array]:
    """Open or closed vertex chains (n, 3) of one entity; a closed one repeats its first vertex at the end. Splines and ellipses
    become chords within ``curve``, in the unit of the file."""
    kind = entity.dxftype()
    if kind in _IGNORED:
        return []
    if kind == "LINE":
        a, b = entity.dxf.start, entity.dxf.end
        return [np.array([[a.x, a.y, 0.0], [b.x, b.y, 0.0]])]
    if kind == "CIRCLE":
        c, r = entity.dxf.center, entity.dxf.radius
        return [np.array([[c.x + r, c.y, 1.0], [c.x - r, c.y, 1.0], [c.x + r, c.y, 0.0]])]
    if kind == "ARC":
        c, r = entity.dxf.center, entity.dxf.radius
        a, b = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
        sweep = (b - a) % (2 * math.pi)
        return [np.array([[c.x + r * math.cos(a), c.y + r * math.sin(a), math.tan(sweep / 4)],
                          [c.x + r * math.cos(b), c.y + r * math.sin(b), 0.0]])]
    if kind == "LWPOLYLINE":
        rows = [[x, y, bulge] for x, y, bulge in entity.get_points("xyb")]
        closed = entity.closed
    elif kind == "POLYLINE" and entity.is_2d_polyline:
        rows = [[v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)] for v in entity.vertices]
        closed = entity.is_closed
    elif kind in ("SPLINE", "ELLIPSE"):
        from ezdxf import path as dxf_path

        points = np.array([(p.x, p.y, 0.0) for p in dxf_path.make_path(entity).flattening(curve)])
        return [points] if len(points) >= 2 else []
    else:
        raise InputError(f"Cut-out file {name} holds a {kind} entity, which is not read; "
                         "explode it to lines, arcs and polylines.")
    out = np.array(rows, dtype=np.float64).reshape(-1, 3)
    if closed and len(out):
        out = np.vstack([out, [out[0, 0], out[0, 1], 0.0]])
    return [out] if len(out) >= 2 else []


def _turned_round(v: Array) -> Array:
    """The same closed shape run the other way (no vertex repeated)."""
    out = v[::-1].copy()
    out[:, 2] = -np.roll(v[::-1, 2], -1)
    return out


def _reversed_chain(v: Array) -> Array:
    out = v[::-1].copy()
    out[:-1, 2] = -v[:-1][::-1, 2]
    out[-1, 2] = 0.0
    return out


def _chain(parts: Sequence[Array], name: str) -> list[Array]:
    """Closed loops (n, 3), no vertex repeated. Raises InputError with the gap where ends stay free."""
    rest = list(parts)
    loops: list[Array] = []
    while rest:
        chain = rest.pop(0)
        while np.hypot(*(chain[-1, :2] - chain[0, :2])) > GAP_MM or len(chain) < 3:
            best: tuple[float, int, bool] | None = None
            for k, part in enumerate(rest):
                for flip in (False, True):
                    head = part[-1 if flip else 0, :2]
                    gap = float(np.hypot(*(head - chain[-1, :2])))
                    if best is None or gap < best[0]:
                        best = (gap, k, flip)
            if best is None or best[0] > GAP_MM:
                gap = float(np.hypot(*(chain[-1, :2] - chain[0, :2])))
                if best is not None:
                    gap = min(gap, best[0])
                x, y = chain[-1, :2]
                raise InputError(f"The shape in cut-out file {name} is open: a gap of {gap:.2f} mm at "
                                 f"({x:.1f}, {y:.1f}) mm; close it to within {GAP_MM:g} mm.")
            _, k, flip = best
            part = rest.pop(k)
            part = _reversed_chain(part) if flip else part
            chain = np.vstack([chain[:-1], part])
        loops.append(chain[:-1])
    return loops
