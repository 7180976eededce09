"""The plan frame on paper: y up becomes y down, mm become SVG units, and what every plan picture shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from phototemplate.edges.shapes.evaluate import between, offset_u, point_at
from phototemplate.model import Array, Measurement, Outline, Segment
from phototemplate.network.projection import bend
from phototemplate.output.report.marks import fmt, label, path


@dataclass(frozen=True)
class Stretch:
    """One edge between its corners, sampled."""

    edge_id: str
    loop_id: str
    """Empty for an edge of no loop"""
    xy_mm: Array
    """(n, 2) plan frame"""
    U_mm: Array
    """(n,) expanded uncertainty (k = 2) normal to the edge"""
    segment: Segment


@dataclass(frozen=True)
class PlanView:
    """Mapping from plan mm to SVG units."""

    low: tuple[float, float]
    """Plan position of the lower left corner"""
    size_mm: tuple[float, float]
    scale: float
    """SVG units per mm"""

    @classmethod
    def around(cls, points: Array, margin_mm: float, width: float = 1000.0) -> PlanView:
        """View of all points (n, 2) with a margin, so many units wide (or high, where higher than wide)."""
        low, high = points.min(axis=0) - margin_mm, points.max(axis=0) + margin_mm
        size = high - low
        return cls((float(low[0]), float(low[1])), (float(size[0]), float(size[1])), width / float(max(size[0], size[1])))

    @property
    def width(self) -> float:
        return self.size_mm[0] * self.scale

    @property
    def height(self) -> float:
        return self.size_mm[1] * self.scale

    def at(self, xy: Array) -> Array:
        """(n, 2) SVG positions of plan points."""
        xy = np.atleast_2d(xy)
        return np.column_stack([(xy[:, 0] - self.low[0]) * self.scale,
                                self.height - (xy[:, 1] - self.low[1]) * self.scale])  # fmt: skip


def stretches(outline: Outline, samples: int = 25) -> list[Stretch]:
    """Every edge of every loop between its corners, then the edges of no loop where they were seen."""
    segments = {s.edge_id: s for s in outline.segments}
    out, used = [], set()
    for loop in outline.loops:
        n = len(loop.edge_ids)
        for i, edge_id in enumerate(loop.edge_ids):
            used.add(edge_id)
            j = (i + 1) % n if loop.closed else i + 1
            s = between(segments[edge_id], loop.corners_mm[i], loop.corners_mm[j], samples)
            out.append(_sampled(outline, segments[edge_id], loop.loop_id, s))
    for segment in outline.segments:
        if segment.edge_id not in used:
            # between the chord's ends: the outer knots of a profile lie where nothing was seen
            length = float(np.linalg.norm(segment.chord_mm[1] - segment.chord_mm[0]))
            out.append(_sampled(outline, segment, "", np.linspace(0.0, length, samples)))
    return out


def _sampled(outline: Outline, segment: Segment, loop_id: str, s: Array) -> Stretch:
    u = offset_u(segment, s, outline.influences.cov)
    return Stretch(segment.edge_id, loop_id, point_at(segment, s), 2.0 * u, segment)


def sheet_corners(measurement: Measurement) -> dict[str, Array]:
    """(4, 2) corners of every rigid sheet in the plan frame."""
    net, plane = measurement.network, measurement.work_plane
    turn = measurement.outline.plan_from_work
    out = {}
    for target_id, body in net.bodies.items():
        w, h = net.targets[target_id].size_mm
        if not w or not h:
            continue
        local = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]) / 2.0
        world = bend(body, local) @ body.rotation.T + body.translation_mm
        work = world @ plane.rotation.T + plane.translation_mm
        out[target_id] = work[:, :2] @ turn[:2, :2].T + turn[:2, 2]
    return out


def to_plan(outline: Outline, xy_work: Array) -> Array:
    """(n, 2) plan positions of work positions."""
    t = outline.plan_from_work
    out: Array = np.atleast_2d(xy_work) @ t[:2, :2].T + t[:2, 2]
    return out


def outside_point(stretch: Stretch, view: PlanView, away: float) -> tuple[float, float, float]:
    """(x, y, angle in degrees) for a text beside the middle of a stretch, outside an anticlockwise loop."""
    points = view.at(stretch.xy_mm)
    k = len(points) // 2
    a, b = points[max(k - 1, 0)], points[min(k + 1, len(points) - 1)]
    t = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    # the loop runs anticlockwise, so outside is to the right; with y down that is (-ty, tx)
    return (float(points[k, 0] - away * t[1]), float(points[k, 1] + away * t[0]), math.degrees(math.atan2(t[1], t[0])))


def plain_outline(outline: Outline, view: PlanView, css: str = "plain-outline") -> Markup:
    """The outline as thin lines."""
    return Markup("").join(
        Markup('<path class="{}" d="{}"/>').format(css, path(view.at(s.xy_mm))) for s in stretches(outline, 13)
    )


def sheets(measurement: Measurement, view: PlanView, names: bool = True) -> Markup:
    """Outlines of the sheets with their numbers."""
    parts = []
    for name, corners in sheet_corners(measurement).items():
        shape = view.at(corners)
        parts.append(Markup('<path class="sheet" d="{}"/>').format(path(shape, closed=True)))
        if names:
            x, y = shape.mean(axis=0)
            parts.append(label(float(x), float(y) + 4, name, "sheet-name"))
    return Markup("").join(parts)


def scale_bar(view: PlanView) -> Markup:
    """A ruler at the lower left: half a metre, or 20 inches where the picture is small."""
    length = 500.0
    x, y = 14.0, view.height - 14.0
    d = f"M{fmt(x)} {fmt(y - 5)}v10M{fmt(x)} {fmt(y)}h{fmt(length * view.scale)}m0 -5v10"
    text = f"{length:.0f} mm ({length / 25.4:.1f} in)"
    return Markup('<path class="ruler" d="{}"/>').format(d) + label(
        x + length * view.scale + 8, y + 4, text, "ruler-text", "start"
    )
