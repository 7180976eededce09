"""Cabinets, walls and clutter as triangles."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from .constants import FRONT_GAP_MM, HAIRLINE_MM, TOP_DRAWER_MM
from .mesh import MeshBuilder, Warp, plan_warp
from .scene import Array, Cabinet, Clutter, Prism, Scene, Wall
from .textures import tile_size_mm


def exposed_ends(c: Cabinet, cabinets: Sequence[Cabinet]) -> list[str]:
    """Ends (``left``, ``right``) of a cabinet without a neighbour."""
    ends = []
    for name, u in (("left", -8.0), ("right", c.width + 8.0)):
        m = c.world(np.array([u, c.depth * 0.5, 0.0]))
        at = [(o, *o.local(float(m[0]), float(m[1]))) for o in cabinets if o is not c]
        if not any(0 <= a <= o.width and 0 <= b <= o.depth for o, a, b in at):
            ends.append(name)
    return ends


def build_cabinet(mb: MeshBuilder, c: Cabinet, ends: Sequence[str] = ()) -> None:
    """Carcass, rails, face frame and framed doors. The top edge is rounded at the front and at the exposed ``ends``."""
    w, d, h, p, g = c.width, c.depth, c.height, c.panel, HAIRLINE_MM
    f = c.frame_thick if c.face_frame else 0.0
    carcass = {"top": c.mat_edge, "side": c.mat_box}
    left, right = ["x0"] * ("left" in ends), ["x1"] * ("right" in ends)
    bare = [] if f else ["y1"]

    def part(mats: str | dict[str, str], lo: Sequence[float], hi: Sequence[float], edges: Sequence[str] = ()) -> None:
        # (u, v, z) is a left-handed frame
        mb.box(mats, lo, hi, c.world, flip=True, seed=c.id, arris=c.arris_mm, edges=edges)

    zb = -h + c.toe_kick
    for u0 in (0.0, w - p):
        outer = left if u0 == 0 else right
        skin = {"top": c.mat_edge, "side": c.mat_front} if outer else carcass  # a finished end panel where one sees it
        part(skin, (u0, 0, zb), (u0 + p, d - f, 0), outer + bare)
        part(skin, (u0, 0, -h), (u0 + p, d - 80 - p, zb))
    part(carcass, (p + g, 0, zb), (w - p - g, p, 0))
    part({"top": c.mat_box, "side": c.mat_edge}, (p + g, p + g, zb), (w - p - g, d - f - g, zb + p))
    if c.top == "rails":
        m = {"top": "plywood_face" if c.mat_edge == "plywood_edge" else c.mat_edge, "side": c.mat_edge}
        part(m, (p + g, p + g, -p), (w - p - g, 100, 0))
        part(m, (p + g, d - f - 100, -p), (w - p - g, d - f - g, 0), bare)
    else:
        part(carcass, (p + g, d - f - p, -100), (w - p - g, d - f - g, 0), bare)
    part("toe_kick", (g, d - 80 - p, -h), (w - g, d - 80, zb - g))
    if f:
        m_front = c.mat_front
        part(m_front, (0, d - f + g, zb), (c.stile, d, 0), [*left, "y1"])
        part(m_front, (w - c.stile, d - f + g, zb), (w, d, 0), [*right, "y1"])
        part(m_front, (c.stile + g, d - f + g, -c.stile), (w - c.stile - g, d, 0), ["y1"])
        part(m_front, (c.stile + g, d - f + g, zb), (w - c.stile - g, d, zb + c.stile))
        if c.blind or c.blind_right:  # a closed panel where a neighbour stands
            a, b = (c.stile, c.blind) if c.blind else (w - c.blind_right, w - c.stile)
            part(m_front, (a + g, d - f + g, zb + c.stile + g), (b - g, d, -c.stile - g))
    for k in range(c.shelves):
        z = zb + (k + 1) / (c.shelves + 1) * (0 - zb)
        part({"top": c.mat_box, "side": c.mat_edge}, (p + g, p + g, z), (w - p - g, d - f - 20, z + p))
    _fronts(mb, c, zb)


def front_box(c: Cabinet) -> tuple[float, float, float, float, float]:
    """u0, u1, v0, v1, z1 of what doors and drawers together take up."""
    if c.inset:
        margin = c.stile + 2.0
        return margin + c.blind, c.width - margin - c.blind_right, c.depth - c.door_thick, c.depth, -margin
    u0, u1 = c.door_gap + c.blind, c.width - c.door_gap - c.blind_right
    return u0, u1, c.depth + 1, c.depth + c.door_thick, -c.door_top_gap


def _fronts(mb: MeshBuilder, c: Cabinet, zb: float) -> None:
    """Drawers from the top down, then doors side by side."""
    u0, u1, v0, v1, z1 = front_box(c)
    z0 = zb + (c.stile + 2.0 if c.inset else 10)
    for k in range(c.drawers):
        last = k == c.drawers - 1 and not c.doors
        height = TOP_DRAWER_MM if k == 0 and not last else (z1 - z0 - FRONT_GAP_MM * (c.drawers - 1 - k)) / (c.drawers - k)
        low = z0 if last else z1 - height
        _front(mb, c, (u0, v0, low), (u1, v1, z1))
        if c.handles:
            middle, z = (u0 + u1) / 2, (z1 + low) / 2
            mb.box("steel", (middle - 70, v1, z - 5), (middle + 70, v1 + 28, z + 5), c.world, flip=True)
        z1 = low - FRONT_GAP_MM
    n = c.doors
    for k in range(n):
        dw = (u1 - u0 - FRONT_GAP_MM * (n - 1)) / n
        a = u0 + k * (dw + FRONT_GAP_MM)
        _front(mb, c, (a, v0, z0), (a + dw, v1, z1))
        if c.handles:
            kx = a + dw - 30 if k % 2 == 0 else a + 30
            mb.box("steel", (kx - 5, v1, z1 - 190), (kx + 5, v1 + 28, z1 - 60), c.world, flip=True)


def _front(mb: MeshBuilder, c: Cabinet, lo: tuple[float, float, float], hi: tuple[float, float, float]) -> None:
    """One door or drawer front: a slab, or a frame of rails around a panel that lies 9 mm back."""
    (a, v0, z0), (b, v1, z1), g, rail = lo, hi, HAIRLINE_MM, 57.0

    def part(low: Sequence[float], high: Sequence[float]) -> None:
        mb.box(c.mat_front, low, high, c.world, flip=True, seed=c.id)

    if c.slab or z1 - z0 < 3 * rail:
        part(lo, hi)
        return
    part((a, v0, z0), (a + rail, v1, z1))
    part((b - rail, v0, z0), (b, v1, z1))
    part((a + rail + g, v0, z1 - rail), (b - rail - g, v1, z1))
    part((a + rail + g, v0, z0), (b - rail - g, v1, z0 + rail))
    part((a + rail, v0, z0 + rail), (b - rail, v1 - 9, z1 - rail))


def door_line(c: Cabinet, n: int = 5) -> list[list[float]]:
    """Upper outer edge of a cabinet's doors or drawers, (n, 3)."""
    u0, u1, _, v1, z1 = front_box(c)
    u = np.linspace(u0, u1, n)
    return [[float(x) for x in p] for p in c.world(np.column_stack([u, np.full(n, v1), np.full(n, z1)]))]


def inward(outline: Array, by: float) -> Array:
    """(n, 2) an anticlockwise outline moved inwards, mitred."""
    t = np.roll(outline, -1, 0) - outline
    t /= np.linalg.norm(t, axis=1, keepdims=True)
    n = np.column_stack([-t[:, 1], t[:, 0]])
    before = np.roll(n, 1, 0)
    return np.asarray(outline + by * (n + before) / (1 + (n * before).sum(1, keepdims=True)))


def build_prism(mb: MeshBuilder, p: Prism, facets: int = 4) -> None:
    """Sides, rounded top edge, and either a closed top or the rim and the inside of an open box."""
    corners = np.array(p.outline, float)
    stretches, joined = [], []
    for i, a in enumerate(corners):
        b = corners[(i + 1) % len(corners)]
        k = max(1, math.ceil(float(np.linalg.norm(b - a)) / 60))
        stretches.append(a + (b - a) * np.linspace(0, 1, k, endpoint=False)[:, None])
        joined += [i in p.joined] * k
    ring = np.concatenate(stretches)
    su, sv = tile_size_mm(p.mat_top)
    arris = 0.0 if p.joined else p.arris_mm  # parts that are joined meet in sharp corners
    rings = [(arris * (1 - math.cos(a)), p.z1 - arris * (1 - math.sin(a))) for a in np.linspace(0, math.pi / 2, facets + 1)]
    heights = [(0.0, z) for z in np.linspace(p.z0, p.z1 - arris, max(2, math.ceil((p.z1 - p.z0) / 60) + 1))]
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0, append=ring[:1]), axis=1))])
    tu, tv = tile_size_mm(p.mat_side)
    for (e0, z_low), (e1, z_high) in itertools.pairwise([*heights, *(rings[1:] if arris else [])]):
        low, high = (np.vstack([q, q[:1]]) for q in (inward(ring, e0), inward(ring, e1)))
        for i in range(len(ring)):
            if not joined[i]:
                pts = np.array([[[*q[i], z], [*q[i + 1], z]] for q, z in ((low, z_low), (high, z_high))])
                uv = np.array([[[length[i] / tu, z / tv], [length[i + 1] / tu, z / tv]] for z in (z_low, z_high)])
                mb.grid(p.mat_side, pts, uv)
    top = inward(ring, arris)
    if not p.panel:
        _cap(mb, p.mat_top, top, p.z1, (su, sv))
        return
    inner, floor = inward(ring, p.panel), p.z1 - 250
    for lower, upper, z_low, z_high in ((top, inner, p.z1, p.z1), (inner, inner, p.z1, floor)):
        a, b = (np.vstack([q, q[:1]]) for q in (lower, upper))
        pts = np.stack([np.column_stack([a, np.full(len(a), z_low)]), np.column_stack([b, np.full(len(b), z_high)])])
        uv = np.stack([np.column_stack([length / su, np.full(len(a), v)]) for v in (0.0, p.panel / sv)])
        mb.grid(p.mat_top if z_low == z_high else "melamine", pts, uv)
    _cap(mb, "melamine", inner, floor, tile_size_mm("melamine"))


def _cap(mb: MeshBuilder, mat: str, ring: Array, z: float, tile: tuple[float, float]) -> None:
    """A convex outline (n, 2), filled at height z."""
    middle = ring.mean(axis=0)
    closed = np.vstack([ring, ring[:1]])
    k = max(3, math.ceil(float(np.linalg.norm(ring - middle, axis=1).max()) / 60))
    q = np.linspace(1, 0, k)[:, None, None]
    xy = middle + q * (closed - middle)
    mb.grid(mat, np.concatenate([xy, np.full((*xy.shape[:2], 1), z)], -1), xy / tile)


def build_wall(mb: MeshBuilder, wall: Wall, scene: Scene) -> None:
    """The wall's polyline swept upwards; subdivided for the light baking, staying on the straight segments."""
    pts, nrm = wall.line()
    z0 = scene.floor_z if wall.z0 is None else wall.z0
    z1 = scene.ceiling_z if wall.z1 is None else wall.z1
    line, normals = [pts[0]], [nrm[0]]
    for i in range(len(pts) - 1):
        k = max(1, math.ceil(float(np.linalg.norm(pts[i + 1] - pts[i])) / 60))
        for j in range(1, k + 1):
            line.append(pts[i] + (pts[i + 1] - pts[i]) * j / k)
            normals.append(nrm[i] + (nrm[i + 1] - nrm[i]) * j / k)
    dense, dn = np.array(line), np.array(normals)
    zz = np.unique(np.concatenate([np.linspace(z0, 0, 15), np.linspace(0, z1, 26)]))
    off = wall.lean_mm_per_m / 1000.0 * zz[:, None, None]
    up = np.broadcast_to(zz[:, None, None], (len(zz), len(dense), 1))
    face = np.concatenate([dense[None] + dn[None] * off, up], -1)
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    su, sv = tile_size_mm(wall.mat)
    uv = np.stack(np.meshgrid(s / su, zz / sv), -1)
    if wall.side != "right":
        face, uv = face[:, ::-1], uv[:, ::-1]
    mb.grid(wall.mat, face, uv)


def build_clutter(mb: MeshBuilder, c: Clutter) -> None:
    """What lies about on a site. Raises ``ValueError`` for an unknown kind."""
    warp = plan_warp(c.x, c.y, c.rot_deg, c.z)
    length, depth, height = c.size
    if c.kind == "box":
        mb.box(c.mat, (-length / 2, -depth / 2, 0), (length / 2, depth / 2, height), warp)
    elif c.kind == "cylinder":
        mb.cylinder(c.mat, length / 2, 0, height, warp)
    elif c.kind == "cup":
        _cup(mb, c, warp)
    elif c.kind == "hammer":
        mb.box("wood_mid", (-140, -14, 6), (140, 14, 28), warp)
        mb.box("steel", (140, -55, 2), (172, 55, 34), warp)
    elif c.kind == "pencil":
        mb.box("yellow", (-85, -3.5, 0), (80, 3.5, 7), warp)
        mb.box("black", (80, -1.5, 2), (90, 1.5, 5), warp)
    elif c.kind == "tape":
        mb.box("yellow", (-36, -36, 0), (36, 36, 40), warp)
        mb.box("black", (-22, -22, 40.1), (22, 22, 41), warp)
        mb.box("steel", (36, -12, 3), (48, 12, 16), warp)
    elif c.kind == "level":  # spirit level
        mb.box("red", (-length / 2, -depth / 2, 0), (length / 2, depth / 2, height), warp)
        mb.box("yellow", (-25, -depth / 2 - 0.4, height * 0.3), (25, depth / 2 + 0.4, height * 0.8), warp)
    else:
        raise ValueError(f"unknown clutter {c.kind!r}")


def _cup(mb: MeshBuilder, c: Clutter, warp: Warp) -> None:
    r, height = c.size[0] / 2, c.size[2]
    mb.cylinder(c.mat, r * 0.85, 0, height, warp, r_top=r, cap=False)
    mb.cylinder(c.mat, r * 0.80, 4, height, warp, r_top=r - 4, inner=True)
    a = np.linspace(0, 2 * math.pi, 49)
    rim = np.stack([np.stack([(r - e) * np.cos(a), (r - e) * np.sin(a), 0 * a + height], -1) for e in (0, 4)])
    mb.grid(c.mat, warp(rim), np.zeros((2, 49, 2)))
    p, q = np.meshgrid(np.linspace(-1.9, 1.9, 24), np.linspace(0, 2 * math.pi, 13))
    big, small = height * 0.28, 6.0
    ring = big + small * np.cos(q)
    handle = np.stack([r * 0.88 + ring * np.cos(p), small * np.sin(q), height * 0.5 + ring * np.sin(p)], -1)
    mb.grid(c.mat, warp(handle), np.zeros((*p.shape, 2)))
