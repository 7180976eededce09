"""Printed paper in the scene: flat or curled sheets on cabinets, strips that bend along a wall.

One function says where a point of the print is in the world; the mesh, the truth file and every check use it.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .mesh import MeshBuilder
from .scene import Scene, Sheet, Strip

Array = NDArray[np.float64]


def _curl(sheet: Sheet, x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Roll the flat sheet up along one direction without stretching it; returns x, y, z."""
    ph = math.radians(sheet.curl_dir_deg)
    e = np.array([math.cos(ph), math.sin(ph)])
    far = abs(e[0]) * sheet.w / 2 + abs(e[1]) * sheet.h / 2
    s0 = sheet.curl_start * far
    s = x * e[0] + y * e[1]
    m = np.abs(s) if sheet.curl_both else s
    q = np.linspace(0, 1, 4001)  # arc-length table of the parabola z = curl q^2
    dz = 2 * sheet.curl_mm * q / (far - s0)
    mid = (dz[1:] + dz[:-1]) / 2
    run = np.concatenate([[0], np.cumsum(np.sqrt(np.clip(1 - mid**2, 0, 1)) * np.diff(q))]) * (far - s0)
    t = np.clip((m - s0) / (far - s0), 0, 1)
    ds = np.where(m > s0, s0 + np.interp(t, q, run) - m, 0) * (np.sign(s) if sheet.curl_both else 1)
    return x + ds * e[0], y + ds * e[1], sheet.curl_mm * t**2


def sheet_pose(sheet: Sheet, scene: Scene) -> tuple[Array, Array]:
    """World_from_sheet rotation (3, 3) and the point below the sheet's centre (3,), on its underside."""
    ax, ay, az = (math.radians(v) for v in (sheet.tilt_x_deg, sheet.tilt_y_deg, sheet.rot_deg))
    rx = np.array([[1, 0, 0], [0, math.cos(ax), -math.sin(ax)], [0, math.sin(ax), math.cos(ax)]])
    ry = np.array([[math.cos(ay), 0, math.sin(ay)], [0, 1, 0], [-math.sin(ay), 0, math.cos(ay)]])
    rz = np.array([[math.cos(az), -math.sin(az), 0], [math.sin(az), math.cos(az), 0], [0, 0, 1]])
    m, o = rz @ ry @ rx, np.array([sheet.x, sheet.y, sheet.z])
    if sheet.on:  # lie on that cabinet's (tilted) top
        c = scene.cabinet(sheet.on)
        uv = c.local(sheet.x, sheet.y)
        g = [(c.lift(uv[0] + du, uv[1] + dv) - c.lift(uv[0] - du, uv[1] - dv)) / 2 for du, dv in ((1, 0), (0, 1))]
        _, u, v = c.frame()
        slope = g[0] * u + g[1] * v
        n = np.array([-slope[0], -slope[1], 1.0])
        n /= np.linalg.norm(n)
        ex = np.cross([0, 1.0, 0], n)
        ex /= np.linalg.norm(ex)
        m = np.stack([ex, np.cross(n, ex), n], 1) @ m
        o[2] += float(c.lift(*uv))
    return m, o


def sheet_point(sheet: Sheet, scene: Scene, a: Any, b: Any) -> Array:
    """World (..., 3) of a point of the printed face: a mm to the right of, b mm below the image's top-left corner."""
    a, b = np.broadcast_arrays(np.asarray(a, float), np.asarray(b, float))
    x, y, z = a - sheet.w / 2, sheet.h / 2 - b, np.zeros(a.shape)
    if sheet.curl_mm:
        x, y, z = _curl(sheet, x, y)
    m, o = sheet_pose(sheet, scene)
    return np.asarray(np.stack([x, y, z + sheet.thick], -1) @ m.T + o)


def target_point(sheet: Sheet, scene: Scene, xy: Any) -> Array:
    """World (..., 3) of points given in the target's own frame (nominal mm, y up), true print scale included."""
    xy = np.asarray(xy, float)
    x0, _, _, y1 = sheet.region
    return sheet_point(sheet, scene, (xy[..., 0] - x0) * sheet.scale[0], (y1 - xy[..., 1]) * sheet.scale[1])


def build_sheet(mb: MeshBuilder, sheet: Sheet, scene: Scene) -> None:
    """Printed face plus the edge of the paper or its backing board."""
    step = 8 if sheet.curl_mm else 25
    n, m = max(2, math.ceil(sheet.h / step) + 1), max(2, math.ceil(sheet.w / step) + 1)
    a, b = np.meshgrid(np.linspace(0, sheet.w, m), np.linspace(sheet.h, 0, n))
    face = sheet_point(sheet, scene, a, b)
    mb.grid("print:" + sheet.id, face, np.stack([a / sheet.w, b / sheet.h], -1))  # v = 0 is the image's first row
    low = face - sheet_pose(sheet, scene)[0][:, 2] * max(sheet.thick, 0.05)
    rim = "grey_board" if sheet.thick > 0.5 else "white"
    for top, bottom in (
        (face[0], low[0]),
        (face[-1, ::-1], low[-1, ::-1]),
        (face[:, -1], low[:, -1]),
        (face[::-1, 0], low[::-1, 0]),
    ):
        side = np.stack([bottom, top])
        mb.grid(rim, side, np.zeros((*side.shape[:2], 2)))


def strip_truth(strip: Strip, scene: Scene, step: float = 5.0) -> dict[str, Any]:
    """Where the strip's paper is.

    ``vertices_u_x_y`` is the face's lower edge at height z, piecewise linear and isometric; the mesh is made of the very same
    vertices, swept along the unit vector ``up``. :func:`strip_point` maps image points.

    Raises ``ValueError`` where the wall is too short.
    """
    wall = scene.wall(strip.wall)
    sign = 1 if wall.side == "right" else -1
    pts, nrm = wall.line()
    arc = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(pts, axis=0), axis=1))])
    pts = pts + nrm * (wall.lean_mm_per_m * strip.z / 1000)  # the wall at the strip's lower edge
    d = np.diff(pts, axis=0)
    d /= np.linalg.norm(d, axis=1, keepdims=True)
    n = np.stack([d[:, 1], -d[:, 0]], 1) * sign
    mitre = np.vstack([n[:1], (n[1:] + n[:-1]) / (1 + (n[1:] * n[:-1]).sum(1, keepdims=True)), n[-1:]])
    end, more = arc[-1], strip.length + 100  # straight on beyond the end while the strip's end is sought
    arc, pts = np.r_[arc, end + more], np.vstack([pts, pts[-1] + more * d[-1]])
    mitre, nrm = np.vstack([mitre, n[-1:]]), np.vstack([nrm, nrm[-1:]])

    def at(s: Array, values: Array) -> Array:
        return np.stack([np.interp(s, arc, values[:, 0]), np.interp(s, arc, values[:, 1])], 1)

    count, s1 = math.ceil(strip.length / step) + 1, strip.s0 + strip.length
    s = off = u = np.zeros(0)
    xy = np.zeros((0, 2))
    for _ in range(30):  # where the strip ends on the wall: its own length is given
        s = np.linspace(strip.s0, s1, count)
        own = arc[(arc > strip.s0 + 0.1) & (arc < s1 - 0.1)]  # bends of the wall become vertices
        s = np.sort(np.concatenate([s[np.abs(s[:, None] - own).min(1, initial=9) > 0.1], own]))
        off = strip.gap + strip.loose * np.sin(math.pi * (s - strip.s0) / (s1 - strip.s0)) ** 2
        xy = at(s, pts) + at(s, mitre) * off[:, None]
        u = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(xy, axis=0), axis=1))])
        s1 += strip.length - u[-1]
    if strip.s0 < 0 or s[-1] > end + 1e-6:
        raise ValueError(f"strip {strip.id} needs {strip.wall} from {strip.s0} to {s[-1]:.1f} mm; it is {end:.1f} mm long")
    u *= strip.length / u[-1]
    if wall.side != "right":
        u, s, off, xy = strip.length - u[::-1], s[::-1], off[::-1], xy[::-1]
    lean = at(s, nrm).mean(0) * wall.lean_mm_per_m / 1000
    up = np.array([*lean, 1.0]) / math.sqrt(1 + lean @ lean)
    entry = dict(
        dataclasses.asdict(strip),
        vertices_u_x_y=np.c_[u, xy].tolist(),
        up=up.tolist(),
        wall_s_mm=s.tolist(),
        off_wall_mm=off.tolist(),
    )
    return entry


def strip_point(entry: dict[str, Any], u: Any, v: Any) -> Array:
    """World (..., 3) of an image point u mm to the right of, v mm below the strip's top-left corner."""
    u, v = np.broadcast_arrays(np.asarray(u, float), np.asarray(v, float))
    t = np.array(entry["vertices_u_x_y"])
    foot = np.stack([np.interp(u, t[:, 0], t[:, 1]), np.interp(u, t[:, 0], t[:, 2]), np.full(u.shape, float(entry["z"]))], -1)
    return np.asarray(foot + (entry["height"] - v)[..., None] * np.array(entry["up"]))


def strip_target_point(entry: dict[str, Any], xy: Any) -> Array:
    """World (..., 3) of points given in the strip's target frame (nominal mm, y up), true print scale included."""
    xy = np.asarray(xy, float)
    x0, _, _, y1 = entry["region"]
    sx, sy = entry["scale"]
    return strip_point(entry, (xy[..., 0] - x0) * sx, (y1 - xy[..., 1]) * sy)


def build_strip(mb: MeshBuilder, strip: Strip, scene: Scene) -> None:
    """Printed face plus the paper's upper edge."""
    e = strip_truth(strip, scene)
    t = np.array(e["vertices_u_x_y"])
    a, b = np.meshgrid(t[:, 0], np.linspace(strip.height, 0, max(2, math.ceil(strip.height / 25) + 1)))
    face = strip_point(e, a, b)
    mb.grid("print:" + strip.id, face, np.stack([a / strip.length, b / strip.height], -1))
    d = np.gradient(t[:, 1:], t[:, 0], axis=0)
    back = face[-1] - np.c_[d[:, 1], -d[:, 0], 0 * d[:, 0]] * min(0.15, strip.gap)
    mb.grid("white", np.stack([face[-1], back]), np.zeros((2, len(t), 2)))
