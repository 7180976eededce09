"""Camera rays: pixel -> normalised direction, with distortion, lateral colour, lens opening, shake and rolling shutter."""

from __future__ import annotations

from typing import Any

import numpy as np

from .camera import Camera
from .materials import mi

import drjit as dr  # isort: skip  (after Mitsuba has found its LLVM)


def undistort(cam: Camera, xs: Any, ys: Any) -> tuple[Any, Any]:
    """Pixel -> (x/z, y/z) by Newton's method on the Brown-Conrady model (OpenCV's k1 k2 p1 p2 k3), less a moved lens group."""
    k1, k2, p1, p2, k3 = (float(v) for v in cam.dist)
    xd, yd = (xs - cam.cx) / cam.fx, (ys - cam.cy) / cam.fy
    x, y = mi.Float(xd), mi.Float(yd)
    if any(cam.dist):
        for _ in range(6):
            r2 = x * x + y * y
            g = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
            dg = k1 + r2 * (2 * k2 + r2 * 3 * k3)
            ex = x * g + 2 * p1 * x * y + p2 * (r2 + 2 * x * x) - xd
            ey = y * g + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y - yd
            a = g + 2 * x * x * dg + 2 * p1 * y + 6 * p2 * x
            b = 2 * x * y * dg + 2 * p1 * x + 2 * p2 * y
            d = g + 2 * y * y * dg + 6 * p1 * y + 2 * p2 * x
            det = a * d - b * b
            x, y = x - (d * ex - b * ey) / det, y - (a * ey - b * ex) / det
    return x - cam.decentre_px[0] / cam.fx, y - cam.decentre_px[1] / cam.fy


def channel_px(cam: Camera, xs: Any, ys: Any, scale: float) -> tuple[Any, Any]:
    """Pixel of a colour channel that is ``scale`` times as large as green -> the green pixel that shows the same point."""
    return (xs, ys) if scale == 1 else (cam.cx + (xs - cam.cx) / scale, cam.cy + (ys - cam.cy) / scale)


def shutter_way(cam: Camera, row: Any) -> Any:
    """Way of the camera's centre from the middle of the readout to the time ``row`` is read, in the camera frame."""
    return mi.Vector3f(*[float(v) for v in cam.rs_shift_mm]) * ((row + 0.5) / cam.height - 0.5)


def shutter_turn(cam: Camera, row: Any, *vectors: Any) -> tuple[Any, ...]:
    """Camera-frame vectors at the time ``row`` is read -> camera frame at the middle of the readout."""
    if not any(cam.rs_deg):
        return vectors
    w = np.radians(cam.rs_deg)
    angle = float(np.linalg.norm(w))
    axis = mi.Vector3f(*(w / angle).tolist())
    a = angle * (0.5 - (row + 0.5) / cam.height)
    co, si = dr.cos(a), dr.sin(a)
    return tuple(v * co + dr.cross(axis, v) * si + axis * (dr.dot(axis, v) * (1 - co)) for v in vectors)


def camera_rays(cam: Camera, xs: Any, ys: Any, row: Any, u_lens: Any, scale: float = 1.0) -> Any:
    """World rays through pixels (xs, ys) of one colour channel; ``u_lens`` picks the point of a thin lens."""
    x, y = undistort(cam, *channel_px(cam, xs, ys, scale))
    if cam.aperture_mm > 0:
        lens = mi.warp.square_to_uniform_disk_concentric(u_lens) * (cam.aperture_mm / 2)
        f = float(cam.focus_mm)
        oc, dc = mi.Vector3f(lens.x, lens.y, 0), mi.Vector3f(x * f - lens.x, y * f - lens.y, f)
    else:
        oc, dc = mi.Vector3f(0), mi.Vector3f(x, y, 1)
    oc, dc = shutter_turn(cam, row, oc, dc)
    oc += shutter_way(cam, row)
    m = mi.Matrix3f(cam.pose()[0].T.tolist())
    origin = mi.Point3f(m @ oc + mi.Vector3f(*[float(v) for v in cam.eye]))
    return mi.Ray3f(origin, dr.normalize(m @ dc))


def ray_round_trip_px(cam: Camera, step: int = 16) -> float:
    """Largest error in px, over the three colours, of: pixel grid -> the renderer's ray -> ``Camera.project`` (OpenCV)."""
    xs, ys = np.meshgrid(np.arange(0, cam.width, step, dtype=np.float32), np.arange(0, cam.height, step, dtype=np.float32))
    r, _ = cam.pose()
    worst = 0.0
    for channel, k in enumerate(cam.channel_scale()):
        px, py = mi.Float(xs.ravel()), mi.Float(ys.ravel())
        x, y = undistort(cam, *channel_px(cam, px, py, k))
        (d,) = shutter_turn(cam, py, mi.Vector3f(x, y, 1))
        way = np.array(shutter_way(cam, py)).T.astype(float)
        points = (np.array(d).T.astype(float) * 1500 + way) @ r + np.array(cam.eye)
        worst = max(worst, float(np.abs(cam.project(points, channel) - np.c_[xs.ravel(), ys.ravel()]).max()))
    return worst
