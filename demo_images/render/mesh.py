"""Triangles: grids, quads, boxes with rounded edges and cylinders, collected per material."""

from __future__ import annotations

import itertools
import math
import zlib
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .textures import tile_size_mm

Array = NDArray[np.float64]
Warp = Callable[[Array], Array]


class MeshBuilder:
    """Collects tessellated faces per material; keeps one normal per vertex for the light baking."""

    def __init__(self) -> None:
        self.parts: dict[str, list[tuple[Array, Array, Array, NDArray[np.int64]]]] = {}

    def grid(self, mat: str, points: Array, uv: Array) -> None:
        """(n, m, 3) world points, anticlockwise seen from outside when going along m, then n."""
        n, m = points.shape[:2]
        nrm = np.cross(np.gradient(points, axis=1), np.gradient(points, axis=0))
        nrm /= np.linalg.norm(nrm, axis=-1, keepdims=True) + 1e-30
        i = np.arange(n * m).reshape(n, m)
        a, b, c, d = i[:-1, :-1].ravel(), i[:-1, 1:].ravel(), i[1:, 1:].ravel(), i[1:, :-1].ravel()
        faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
        self.parts.setdefault(mat, []).append((points.reshape(-1, 3), nrm.reshape(-1, 3), uv.reshape(-1, 2), faces))

    def quad(
        self,
        mat: str,
        p0: Any,
        p1: Any,
        p2: Any,
        p3: Any,
        tess: float = 40.0,
        warp: Warp | None = None,
        off: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        """Corners anticlockwise from outside; the texture's u runs along the longer side."""
        p = [np.asarray(q, float) for q in (p0, p1, p2, p3)]
        length, height = float(np.linalg.norm(p[1] - p[0])), float(np.linalg.norm(p[3] - p[0]))
        m, n = max(2, math.ceil(length / tess) + 1), max(2, math.ceil(height / tess) + 1)
        ga, gb = np.meshgrid(np.linspace(0, 1, m), np.linspace(0, 1, n))
        a, b = ga[..., None], gb[..., None]
        pts = (1 - a) * (1 - b) * p[0] + a * (1 - b) * p[1] + a * b * p[2] + (1 - a) * b * p[3]
        uv = np.concatenate([a * length, b * height], -1)
        if height > length:
            uv = uv[..., ::-1]
        uv = (uv + np.asarray(off)) / tile_size_mm(mat)
        self.grid(mat, warp(pts) if warp else pts, uv)

    def box(
        self,
        mats: str | dict[str, str],
        lo: Sequence[float],
        hi: Sequence[float],
        warp: Warp | None = None,
        *,
        flip: bool = False,
        tess: float = 40.0,
        seed: str = "",
        arris: float = 0.0,
        edges: Sequence[str] = (),
        facets: int = 4,
    ) -> None:
        """Axis-aligned box in the warp's local frame.

        ``mats`` is a name or ``{"top", "side"}``; ``flip`` marks a left-handed frame. ``edges``: the top edges (``x0``, ``x1``,
        ``y0``, ``y1``) that are rounded with radius ``arris``, as flat facets whose corners lie on the arc.
        """
        t, s = (mats, mats) if isinstance(mats, str) else (mats["top"], mats["side"])
        x0, y0, z0 = lo
        x1, y1, z1 = hi
        rng = np.random.default_rng(zlib.crc32(repr((tuple(lo), tuple(hi), seed)).encode()))
        z_side, top_off = z1, 0.0
        top = [(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)]
        rings: list[list[tuple[float, float, float]]] = []
        if arris and edges:
            for k in range(facets + 1):  # outline after k of the facets, anticlockwise from above
                a = k / facets * math.pi / 2
                i = {e: arris * (1 - math.cos(a)) if e in edges else 0.0 for e in ("x0", "x1", "y0", "y1")}
                z = z1 - arris * (1 - math.sin(a))
                rings.append([
                    (x0 + i["x0"], y0 + i["y0"], z), (x1 - i["x1"], y0 + i["y0"], z),
                    (x1 - i["x1"], y1 - i["y1"], z), (x0 + i["x0"], y1 - i["y1"], z),
                ])  # fmt: skip
            z_side, top = z1 - arris, rings[-1]
            if (("x1" if flip else "x0") if y1 - y0 > x1 - x0 else "y0") in edges:
                top_off = arris  # keeps the plies in register
        faces: list[tuple[str, Any, Any, Any, Any]] = [
            (t, *top),
            (s, (x0, y1, z0), (x1, y1, z0), (x1, y0, z0), (x0, y0, z0)),
            (s, (x0, y0, z0), (x1, y0, z0), (x1, y0, z_side), (x0, y0, z_side)),
            (s, (x1, y1, z0), (x0, y1, z0), (x0, y1, z_side), (x1, y1, z_side)),
            (s, (x1, y0, z0), (x1, y1, z0), (x1, y1, z_side), (x1, y0, z_side)),
            (s, (x0, y1, z0), (x0, y0, z0), (x0, y0, z_side), (x0, y1, z_side)),
        ]
        for low, high in itertools.pairwise(rings):
            faces += [(s, low[j], low[(j + 1) % 4], high[(j + 1) % 4], high[j]) for j in range(4)]
        for i_face, (mat, *q) in enumerate(faces):
            if flip:
                q = [q[1], q[0], q[3], q[2]]
            along = float(rng.random() * 700)  # shift along the grain only: the plies stay in register
            self.quad(mat, *q, tess=tess, warp=warp, off=(along, top_off if i_face == 0 else 0.0))

    def cylinder(
        self,
        mat: str,
        r: float,
        z0: float,
        z1: float,
        warp: Warp,
        *,
        r_top: float | None = None,
        cap: bool = True,
        inner: bool = False,
        n: int = 48,
        tess: float = 30.0,
    ) -> None:
        """Upright cylinder or cone; ``inner``: seen from inside, closed at the bottom."""
        r1 = r if r_top is None else r_top
        a = np.linspace(0, 2 * math.pi, n + 1)
        k = max(2, math.ceil((z1 - z0) / tess) + 1)
        zz = np.linspace(z0, z1, k)
        rr = np.linspace(r, r1, k)[:, None]
        pts = np.stack([rr * np.cos(a), rr * np.sin(a), np.broadcast_to(zz[:, None], (k, n + 1))], -1)
        uv = np.stack(np.meshgrid(a, zz / 100.0), -1)
        self.grid(mat, warp(pts[:, ::-1] if inner else pts), uv)
        if cap:
            z, radius = (z0, r) if inner else (z1, r1)
            q = np.linspace(0, radius, 4)[::-1, None]
            pts = np.stack([q * np.cos(a), q * np.sin(a), np.full((4, n + 1), z)], -1)
            self.grid(mat, warp(pts), np.stack([pts[..., 0] / 100, pts[..., 1] / 100], -1))


def plan_warp(x: float, y: float, rot_deg: float, z: float = 0.0) -> Warp:
    """Turn about z, then shift."""
    a = math.radians(rot_deg)
    m = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    shift = np.array([x, y, z])
    return lambda p: p @ m.T + shift
