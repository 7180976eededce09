"""A photographed slab in its own frame: outline, faults and scale with their uncertainty, from the network of its sheets.

Slab frame: x along the lower side of the outline, from its first corner on, y to its left, the lower left corner of its box at
(0, 0), mm.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, Measurement
from phototemplate.network.projection import body_points, rays
from phototemplate.network.workplane import to_work
from phototemplate.studies.constants import LEAST_FAULT_MM, SLAB_CLICK_PX, SLAB_FLAT_U_MM
from phototemplate.studies.slab_file import Clicked, SlabFile


@dataclass(frozen=True)
class MeasuredSlab:
    """What the photos tell of a slab."""

    outline: shapely.Polygon
    """Slab frame"""
    faults: tuple[tuple[str, Any], ...]
    """With their clearance"""
    work_from_slab: Array
    """(3, 3)"""
    scale_u: float
    """Standard uncertainty of every length as a share of it: the longest way between two sheets, adjusted"""
    click_u_mm: float
    """Standard uncertainty of a corner that was clicked, and of what stands off the plane there"""
    sheets: tuple[str, ...]

    def length_U(self, mm: float, clicked: bool = True) -> float:
        """U (k = 2) of a length on the slab; between clicked corners with that of both clicks."""
        ends = 2.0 * self.click_u_mm**2 if clicked else 0.0
        return 2.0 * math.sqrt((self.scale_u * mm) ** 2 + ends)


def measured_slab(measurement: Measurement, wish: SlabFile) -> MeasuredSlab:
    """The slab's outline, faults and scale.

    Raises ``MeasureError`` where fewer than two sheets lie on it, no length is known, or the adjustment is withheld;
    ``InputError`` where the photo was not used or what was clicked is no outline.
    """
    network = measurement.network
    sheets = tuple(sorted(name for name in network.bodies if name.startswith("S")))
    if len(sheets) < 2:
        raise MeasureError(f"{len(sheets)} target sheets were found on the slab; lay two or more far apart, photograph again.")
    if measurement.outline.unscaled:
        raise MeasureError("No known length: give the distance between two sheets in the slab's job file, or lay a bar on it.")
    if network.quality.withheld:
        raise MeasureError("The photos of the slab contradict each other, so that no scale is stated; photograph it again.")
    if wish.photo not in network.photos:
        raise InputError(f"Photo {wish.photo!r} was not used; the photos are {', '.join(network.photos)}.")
    corners, mm_per_px = _on_plane(measurement, wish.photo, wish.outline)
    rough = shapely.Polygon(corners)
    if not rough.is_valid or rough.area <= 0:
        raise InputError("The slab's outline crosses itself; click its corners in turn.")
    # clicked anticlockwise the lower side is the first, else the last
    along = (corners[1] if rough.exterior.is_ccw else corners[-1]) - corners[0]
    along = along / np.hypot(*along)
    ring = np.array(shapely.geometry.polygon.orient(rough).exterior.coords)
    turn = np.array([along, [-along[1], along[0]]])  # slab from work, without the shift
    low = (ring @ turn.T).min(axis=0)
    work_from_slab = np.eye(3)
    work_from_slab[:2, :2], work_from_slab[:2, 2] = turn.T, turn.T @ low

    def to_slab(points: Array) -> Array:
        return np.asarray(points @ turn.T - low)

    faults = []
    for fault in wish.faults:
        points = to_slab(_on_plane(measurement, wish.photo, fault.outline)[0])
        shape = {1: shapely.Point, 2: shapely.LineString}.get(len(points), shapely.Polygon)
        kept_clear = max(fault.clearance, LEAST_FAULT_MM)
        faults.append((fault.name, shape(points[0] if len(points) == 1 else points).buffer(kept_clear)))
    click = math.hypot(SLAB_CLICK_PX * mm_per_px, SLAB_FLAT_U_MM)
    outline = shapely.Polygon(to_slab(ring[:-1]))
    return MeasuredSlab(outline, tuple(faults), work_from_slab, _scale_u(measurement, sheets), click, sheets)


def _on_plane(measurement: Measurement, photo: str, clicked: Clicked) -> tuple[Array, float]:
    """(n, 2) places on the work plane of clicked px, work frame, and the coarsest mm per px among them.

    Raises InputError for a place that does not lie on the plane before the camera.
    """
    plane = measurement.work_plane

    def meet(uv: Array) -> Array:
        eyes, ways = rays(measurement.network, photo, uv)
        a = eyes @ plane.rotation.T + plane.translation_mm
        d = ways @ plane.rotation.T
        t = -a[:, 2] / d[:, 2]
        if not np.all(np.isfinite(t) & (t > 0)):
            raise InputError(f"A place clicked in {photo} does not lie on the slab's plane; click on the slab.")
        out: Array = (a + t[:, None] * d)[:, :2]
        return out

    uv = np.array(clicked, float)
    here = meet(uv)
    steps = [np.hypot(*(meet(uv + step) - here).T).max() for step in (np.array([1.0, 0.0]), np.array([0.0, 1.0]))]
    return here, float(max(steps))


def _scale_u(measurement: Measurement, sheets: tuple[str, ...]) -> float:
    """Relative standard uncertainty of the longest distance between two sheets, from the adjustment (J C J')."""
    network, plane = measurement.network, measurement.work_plane
    k = len(plane.influences.names)
    places = {}
    for sheet in sheets:
        points = body_points(network, sheet, np.zeros((1, 3)))
        jac = np.zeros((1, 3, k))
        jac[:, :, points.columns] = points.d_influences
        xyz, d = to_work(plane, points.xyz_mm, jac)
        places[sheet] = xyz[0, :2], d[0, :2]
    best = 0.0
    u = 0.0
    for a, b in itertools.combinations(sheets, 2):
        d = places[b][0] - places[a][0]
        length = float(np.hypot(*d))
        if length > best:
            g = (d / length) @ (places[b][1] - places[a][1])
            best, u = length, math.sqrt(max(float(g @ plane.influences.cov @ g), 0.0)) / length
    return u
