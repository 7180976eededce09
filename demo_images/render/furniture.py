"""Cabinets, walls and clutter as triangles."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from .mesh import MeshBuilder, Warp, plan_warp
from .scene import Cabinet, Clutter, Scene, Wall
from .textures import tile_size_mm

HAIRLINE_MM = 0.15
"""Gap between parts: coincident faces would flicker."""


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
    if c.doors:
        _doors(mb, c, zb)


def _doors(mb: MeshBuilder, c: Cabinet, zb: float) -> None:
    n, t, d, g, rail = c.doors, c.door_thick, c.depth, HAIRLINE_MM, 57.0
    u0, u1 = c.door_gap + c.blind, c.width - c.door_gap - c.blind_right
    dw = (u1 - u0 - 3 * (n - 1)) / n
    z0, z1 = zb + 10, -c.door_top_gap

    def part(mat: str, lo: Sequence[float], hi: Sequence[float]) -> None:
        mb.box(mat, lo, hi, c.world, flip=True, seed=c.id)

    for k in range(n):
        a, b, front, v1 = u0 + k * (dw + 3), u0 + k * (dw + 3) + dw, c.mat_front, d + t
        part(front, (a, d + 1, z0), (a + rail, v1, z1))
        part(front, (b - rail, d + 1, z0), (b, v1, z1))
        part(front, (a + rail + g, d + 1, z1 - rail), (b - rail - g, v1, z1))
        part(front, (a + rail + g, d + 1, z0), (b - rail - g, v1, z0 + rail))
        part(front, (a + rail, d + 1, z0 + rail), (b - rail, v1 - 9, z1 - rail))
        kx = b - 30 if k % 2 == 0 else a + 30
        part("steel", (kx - 5, v1, z1 - 190), (kx + 5, v1 + 28, z1 - 60))


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
