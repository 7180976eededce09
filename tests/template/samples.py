"""Synthetic edges and outlines with a plausible joint covariance: invented data, no photos behind it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from phototemplate.edges.shapes.evaluate import bent_base, frame_of_chord
from phototemplate.model import Array, EdgeKind, Influences, Outline, Segment, ShapeKind
from phototemplate.numerics.natural_spline import NaturalSpline
from phototemplate.settings import OutlineSettings
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.template.wall_curves import WallCurve

FIELD_TERMS = 8
"""Smooth displacement fields standing for scale, shear and bending of a network"""


def influences(seed: int = 1, gaps: Sequence[str] = ("back",)) -> Influences:
    """A joint covariance C = (sum N_g)^-1 of two observation groups, with type B gaps appended."""
    rng = np.random.default_rng(seed)
    k = FIELD_TERMS
    a = rng.normal(size=(40, k)) * 6.0
    sightings = a.T @ a
    bar = np.zeros((k, k))
    bar[0, 0] = 1.0 / 0.2**2
    c = np.linalg.inv(sightings + bar)
    parts = {"target sightings": c @ sightings @ c, "known length: bar": c @ bar @ c}
    total = k + len(gaps)

    def grow(m: Array) -> Array:
        out = np.zeros((total, total))
        out[:k, :k] = m
        return out

    parts = {name: grow(m) for name, m in parts.items()}
    gap = np.zeros((total, total))
    gap[k:, k:] = np.eye(len(gaps)) * 0.15**2
    parts["contact gap"] = gap
    names = (*(f"field:{i}" for i in range(k)), *(f"gap:{g}" for g in gaps))
    return Influences(names, sum(parts.values(), np.zeros((total, total))), parts)


def field(xy: Array) -> Array:
    """(n, 2, FIELD_TERMS) displacement in mm per unit of each term, of the order of 1 over 3 m."""
    x, y = xy[:, 0] / 3000.0, xy[:, 1] / 3000.0
    o = np.zeros_like(x)
    dx = [x, o, y, np.sin(3 * x), x * y, o, np.cos(2 * y), o]
    dy = [y, x, o, o, o, np.sin(3 * y), o, np.cos(2 * x)]
    return np.stack([np.stack(dx, -1), np.stack(dy, -1)], axis=1)


def segment(
    edge_id: str,
    kind: EdgeKind,
    start: Sequence[float],
    end: Sequence[float],
    shape: Callable[[Array], Array] | None = None,
    knots: int = 0,
    arc: float = 0.0,
    gaps: Sequence[str] = ("back",),
    sigma_mm: float = 0.08,
    lead_mm: float = 20.0,
    n_points: int = 60,
) -> Segment:
    """An edge from start to end: a line, a profile of ``knots`` knots with offsets ``shape(s)``, or an arc.

    ``arc`` is its sagitta to the left. Lines and profiles begin and end ``lead_mm`` short of the corners, as an edge
    does that was really seen.
    """
    a, b = np.array(start, float), np.array(end, float)
    t = (b - a) / np.hypot(*(b - a))
    a, b = (a, b) if arc else (a + lead_mm * t, b - lead_mm * t)
    n = np.array([-t[1], t[0]])
    length = float(np.hypot(*(b - a)))
    kind_of_shape: ShapeKind
    if arc:
        kind_of_shape, f = "arc", np.zeros(3)
    elif shape is not None:
        kind_of_shape, s = "profile", np.linspace(0.0, length, knots or 9)
        f = shape(s)
    else:
        kind_of_shape, s, f = "line", np.array([0.0, length]), np.zeros(2)
    bend = 0.0
    if arc:
        (a, b), bend = bent_chord(a, b, arc)
        length = float(np.hypot(*(b - a)))
        s = length * np.array([0.0, 0.5, 1.0])
    points, _, across = bent_base(frame_of_chord(np.array([a, b])), bend, s)
    points = points + f[:, None] * across
    jac = np.einsum("nik,ni->nk", field(points), across)
    gap = np.zeros((len(s), len(gaps)))
    if edge_id in gaps:
        gap[:, list(gaps).index(edge_id)] = 1.0
    rng = np.random.default_rng(sum(map(ord, edge_id)))
    u = np.linspace(0.0, length, n_points)
    if kind_of_shape == "profile":
        seen = WallCurve(a, t, NaturalSpline(s, f), 0, len(s)).curve_points(u)
    else:
        seen = bent_base(frame_of_chord(np.array([a, b])), bend, u)[0]
    residuals = rng.normal(scale=sigma_mm, size=n_points)
    m = len(s)
    noise = sigma_mm**2 * (0.3 * np.eye(m) + 0.05 * np.ones((m, m)))
    return Segment(
        edge_id=edge_id, kind=kind, shape=kind_of_shape, chord_mm=np.array([a, b]), knots_mm=s, offsets_mm=f,
        noise_cov_mm2=noise, shared_jac=np.hstack([jac, gap]), residuals_mm=residuals,
        points_mm=seen + np.outer(residuals, n), height_mm=(0.1, -0.4, 0.5), n_photos=4, bend_per_mm=bend,
    )


def bent_chord(a: Array, b: Array, sagitta_mm: float) -> tuple[Array, float]:
    """The chord (2, 2) that bends to the arc from a to b with a sagitta to the left, and its curvature: c and h give
    r = (c^2 / 4 + h^2) / (2 h) and the central angle 4 atan(2 h / c) (any handbook)."""
    chord = float(np.hypot(*(b - a)))
    t = (b - a) / chord
    radius = (chord**2 / 4 + sagitta_mm**2) / (2 * sagitta_mm)
    half = 2 * radius * np.arctan(2 * sagitta_mm / chord)
    middle = (a + b) / 2 + sagitta_mm * np.array([-t[1], t[0]])
    return np.array([middle - half * t, middle + half * t]), -1.0 / radius


def bow(length: float, mm: float = 7.0, swell_mm: float = 3.0) -> Callable[[Array], Array]:
    """A wall bowed by ``mm`` in the middle, swollen near both corners."""

    def shape(s: Array) -> Array:
        x = s / length
        return mm * 4 * x * (1 - x) + swell_mm * (np.exp(-((x / 0.06) ** 2)) + np.exp(-(((1 - x) / 0.06) ** 2)))

    return shape


def turn(xy: Sequence[Sequence[float]] | Array, angle_rad: float = 0.35, shift: Sequence[float] = (-400.0, 900.0)) -> Array:
    """Sample coordinates are written in a plain frame and turned away from it, so that the plan frame must be found."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.asarray(xy, float) @ np.array([[c, s], [-s, c]]) + np.asarray(shift)


def l_kitchen_segments(straight: bool = False) -> tuple[list[Segment], list[LoopEdges]]:
    """An L of 3000 x 2200 mm, 610 mm deep, bowed back wall, left wall 0.6 degrees off square, range between panels."""
    p = turn([
        [0.0, 2200.0], [3004.0, 2196.0], [3001.0, 1588.0], [612.0, 1590.0], [616.0, 0.0], [-6.0, 3.0],
    ])
    back = None if straight else bow(2990.0)
    left = None if straight else bow(2180.0, -4.0, 2.0)
    segments = [
        segment("back", "wall", p[0], p[1], back, 16),
        segment("right-end", "end", p[1], p[2]),
        segment("front-long", "front", p[2], p[3]),
        segment("front-short", "front", p[4], p[3]),
        segment("near-end", "end", p[4], p[5]),
        segment("left", "wall", p[5], p[0], left, 10),
    ]
    q = turn([[1500.0, 1589.0], [1498.0, 2190.0], [2268.0, 1589.0], [2270.0, 2190.0]])
    segments += [
        segment("range-left", "panel", q[0], q[1], lead_mm=30.0),
        segment("range-right", "panel", q[2], q[3], lead_mm=30.0),
    ]
    loop = LoopEdges("kitchen", ("back", "right-end", "front-long", "front-short", "near-end", "left"))
    return segments, [loop]


def l_kitchen(straight: bool = False) -> Outline:
    """The L as an outline."""
    segments, loops = l_kitchen_segments(straight)
    return build_outline(segments, loops, influences(), OutlineSettings())


def rectangle(width: float = 2400.0, depth: float = 600.0, skew: float = 0.0) -> Outline:
    """A straight run: front, right, back, left; plain lines."""
    p = [[0.0, 0.0], [width, 0.0], [width + skew, depth], [0.0, depth]]
    segments = [
        segment("front", "front", p[0], p[1]),
        segment("right", "end", p[1], p[2]),
        segment("back", "wall", p[2], p[3]),
        segment("left", "wall", p[3], p[0]),
    ]
    return build_outline(segments, [LoopEdges("run", ("front", "right", "back", "left"))], influences(),
                         OutlineSettings())


def random_outline(rng: np.random.Generator) -> tuple[Outline, str]:
    """A straight run, an L, a U or an island with jittered corners; walls straight, bowed or swollen.

    Returns the outline and the name of its loop. Edges run anticlockwise and are called ``e0``, ``e1``, ...
    """
    shape = str(rng.choice(["run", "L", "U", "island"]))
    depth = float(rng.uniform(520.0, 700.0))
    a, b = (float(v) for v in rng.uniform(1100.0, 3400.0, size=2))
    if shape in ("run", "island"):
        p = [[0, 0], [a, 0], [a, depth], [0, depth]]
        kinds = ["front", "end", "wall", "wall"] if shape == "run" else ["front", "end", "front", "end"]
    elif shape == "L":
        p = [[0, 0], [depth, 0], [depth, b], [depth + a, b], [depth + a, b + depth], [0, b + depth]]
        kinds = ["end", "front", "front", "end", "wall", "wall"]
    else:
        p = [[0, 0], [depth, 0], [depth, b], [depth + a, b], [depth + a, 0], [2 * depth + a, 0],
             [2 * depth + a, b + depth], [0, b + depth]]
        kinds = ["end", "front", "front", "front", "end", "wall", "wall", "wall"]
    points = np.array(p, float) + rng.uniform(-14.0, 14.0, size=(len(p), 2))
    points = turn(points, float(rng.uniform(-3.0, 3.0)))
    segments = []
    for i, kind in enumerate(kinds):
        start, end = points[i], points[(i + 1) % len(points)]
        length = float(np.hypot(*(end - start)))
        profile = kind == "wall" and rng.random() < 0.6
        shape_of = bow(length, float(rng.uniform(-9, 9)), float(rng.uniform(-4, 4))) if profile else None
        segments.append(segment(f"e{i}", kind, start, end, shape_of, int(rng.integers(6, 18))))  # type: ignore[arg-type]
    if shape == "island" and rng.random() < 0.4:
        segments[1] = segment("e1", "end", points[1], points[2], arc=-float(rng.uniform(20.0, 200.0)))
    spec = LoopEdges("loop", tuple(s.edge_id for s in segments))
    return build_outline(segments, [spec], influences(), OutlineSettings()), "loop"
