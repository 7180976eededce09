"""Pictures of printed targets with exactly known saddle points, for tests of detection.

The picture is made by projecting every pixel's sub-samples back onto the sheets (no resampled picture anywhere), then
treated as a phone would: blur, photon noise, tone curve, sharpening, JPEG. Positions are projected by ``cv2.projectPoints``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from phototemplate.capture import design

TEXELS_PER_MM = 10


@dataclass(frozen=True)
class Laid:
    """A target lying at (x, y) mm on the table z = 0, turned by ``turn_deg``, or at ``height_mm`` over it."""

    target_id: str
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0
    height_mm: float = 0.0
    curl_per_mm: float = 0.0
    """z = curl x^2 / 2 along the sheet's x"""

    def world(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        a = np.radians(self.turn_deg)
        p = np.asarray(points_mm, float)
        x = np.cos(a) * p[:, 0] - np.sin(a) * p[:, 1] + self.x_mm
        y = np.sin(a) * p[:, 0] + np.cos(a) * p[:, 1] + self.y_mm
        return np.column_stack([x, y, np.full(len(p), self.height_mm) + self.curl_per_mm * p[:, 0] ** 2 / 2])


@dataclass(frozen=True)
class Shot:
    """Camera and what the phone does to the picture."""

    eye_mm: tuple[float, float, float] = (0.0, -700.0, 900.0)
    look_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    size_px: tuple[int, int] = (1600, 1200)
    focal_px: float = 1250.0
    dist: tuple[float, float, float, float, float] = (0.08, -0.15, 0.0005, -0.0003, 0.0)
    blur_px: float = 0.6
    motion_px: tuple[float, float] = (0.0, 0.0)
    full_well: float = 6000.0
    tone: float = 0.35
    """0: sRGB curve alone; larger: more contrast"""
    sharpen: float = 0.5
    jpeg: int = 90
    seed: int = 0
    supersample: int = 4

    def camera(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """K, R (cam from world), t"""
        w, h = self.size_px
        k = np.array([[self.focal_px, 0, (w - 1) / 2 + 8.3], [0, self.focal_px, (h - 1) / 2 - 5.1], [0, 0, 1.0]])
        forward = np.subtract(self.look_mm, self.eye_mm) / np.linalg.norm(np.subtract(self.look_mm, self.eye_mm))
        right = np.cross(forward, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        r = np.stack([right, np.cross(forward, right), forward])
        return k, r, -r @ np.asarray(self.eye_mm)

    def project(self, xyz_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        k, r, t = self.camera()
        uv = cv2.projectPoints(np.asarray(xyz_mm, float), cv2.Rodrigues(r)[0], t, k, np.array(self.dist))[0]
        return np.asarray(uv, np.float64).reshape(-1, 2)


@dataclass
class Picture:
    gray: NDArray[np.uint8]
    truth_px: dict[tuple[str, int], NDArray[np.float64]] = field(default_factory=dict)


@cache
def face(target_id: str, margin_mm: float = 12.0) -> NDArray[np.float32]:
    """Reflectance of the printed face, checkerboard centred, with a white margin; exact to the texel."""
    form = design.pattern(target_id)
    w, h = (round((s + 2 * margin_mm) * TEXELS_PER_MM) for s in form.size_mm)
    picture = np.full((h, w), 0.84, np.float32)

    def box(x0: float, y0: float, x1: float, y1: float, value: float) -> None:
        c0, c1 = (round((x + w / 2 / TEXELS_PER_MM) * TEXELS_PER_MM) for x in (x0, x1))
        r0, r1 = (round((h / 2 / TEXELS_PER_MM - y) * TEXELS_PER_MM) for y in (y1, y0))
        picture[r0:r1, c0:c1] = value

    half = form.square_mm / 2
    for x, y in form.square_centres(black=True):
        box(x - half, y - half, x + half, y + half, 0.035)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, design.DICTIONARY))
    for marker in design.markers(target_id):
        bits = cv2.aruco.generateImageMarker(dictionary, marker.marker_id, 7, None, 1) > 127
        x0, y0 = marker.corners_mm[0, :2]
        for row, column in np.argwhere(~bits):
            m = form.module_mm
            x, y = x0 + column * m, y0 - row * m
            box(x, y - m, x + m, y, 0.035)
    return picture


def take(laid: Sequence[Laid], shot: Shot, table: float = 0.25) -> Picture:
    """Photograph targets on a table; later ones lie on top of earlier ones."""
    w, h = shot.size_px
    rng = np.random.default_rng(shot.seed)
    grain = cv2.GaussianBlur(rng.standard_normal((h, w)).astype(np.float32), (0, 0), 2.0) * 0.15
    linear = np.clip(table * (1 + grain), 0.02, 1.0).astype(np.float32)
    truth: dict[tuple[str, int], NDArray[np.float64]] = {}
    for one in laid:
        _lay(linear, one, shot)
        uv = shot.project(one.world(design.target(one.target_id).points_mm))
        truth.update({(one.target_id, n): p for n, p in enumerate(uv)})
    return Picture(develop(linear, shot), truth)


def _lay(linear: NDArray[np.float32], one: Laid, shot: Shot) -> None:
    k, r, t = shot.camera()
    eye = -r.T @ t
    w, h = shot.size_px
    # a little blur keeps the few sub-samples from aliasing, which would move edges that run along the pixel rows;
    # being symmetric it leaves the saddle points where they are
    middle = shot.project(one.world(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])))
    scale = float(np.linalg.svd((middle[1:] - middle[0]).T, compute_uv=False)[-1])
    texture = cv2.GaussianBlur(face(one.target_id), (0, 0), 0.22 / scale * TEXELS_PER_MM)
    half = np.array([texture.shape[1], texture.shape[0]]) / 2 / TEXELS_PER_MM
    along = np.linspace(-1, 1, 9)
    rim = np.concatenate([[(x, y, 0), (y, x, 0)] for x in along for y in (-1.0, 1.0)]) * np.append(half, 0)
    uv = shot.project(one.world(rim))
    u0, v0 = np.maximum(np.floor(uv.min(axis=0)).astype(int) - 1, 0)
    u1, v1 = np.minimum(np.ceil(uv.max(axis=0)).astype(int) + 2, (w, h))
    if u1 <= u0 or v1 <= v0:
        return
    s = shot.supersample
    offsets = (np.arange(s) + 0.5) / s - 0.5
    shape = (v1 - v0, u1 - u0)
    base_u, base_v = np.meshgrid(np.arange(u0, u1, dtype=float), np.arange(v0, v1, dtype=float))
    light, cover = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    a = np.radians(one.turn_deg)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 12, 1e-8)
    for dv in offsets:
        for du in offsets:
            at = np.stack([base_u + du, base_v + dv], -1).reshape(-1, 1, 2)
            ray = cv2.undistortPoints(at, k, np.array(shot.dist), criteria=stop).reshape(-1, 2)
            direction = np.column_stack([ray, np.ones(len(ray))]) @ r
            z = np.full(len(ray), one.height_mm)
            for _ in range(6 if one.curl_per_mm else 1):
                reach = (z - eye[2]) / direction[:, 2]
                x, y = eye[0] + reach * direction[:, 0] - one.x_mm, eye[1] + reach * direction[:, 1] - one.y_mm
                px, py = np.cos(a) * x + np.sin(a) * y, -np.sin(a) * x + np.cos(a) * y
                z = one.height_mm + one.curl_per_mm * np.clip(px, -160, 160) ** 2 / 2
            col = (px * TEXELS_PER_MM + texture.shape[1] / 2 - 0.5).reshape(shape).astype(np.float32)
            row = (texture.shape[0] / 2 - py * TEXELS_PER_MM - 0.5).reshape(shape).astype(np.float32)
            seen = cv2.remap(texture, col, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=-1.0)
            hit = seen >= 0
            light += np.where(hit, seen, 0)
            cover += hit
    patch = linear[v0:v1, u0:u1]
    patch[:] = light / s**2 + (1 - cover / s**2) * patch


def develop(linear: NDArray[np.float32], shot: Shot) -> NDArray[np.uint8]:
    """Reflectance to the luma of a JPEG."""
    rng = np.random.default_rng(shot.seed + 1)
    h, w = linear.shape
    x = cv2.GaussianBlur(linear, (0, 0), shot.blur_px) if shot.blur_px > 0 else linear
    length = float(np.hypot(*shot.motion_px))
    if length > 0:
        n = 2 * int(np.ceil(length)) + 1
        kernel = np.zeros((n, n), np.float32)
        for f in np.linspace(-0.5, 0.5, 64):
            u, v = n // 2 + f * shot.motion_px[0], n // 2 + f * shot.motion_px[1]
            i, j = int(np.floor(v)), int(np.floor(u))
            for di in (0, 1):
                for dj in (0, 1):
                    kernel[min(i + di, n - 1), min(j + dj, n - 1)] += (1 - abs(v - i - di)) * (1 - abs(u - j - dj))
        x = cv2.filter2D(x, -1, kernel / kernel.sum())
    gx, gy = np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h))
    x = x * (1.0 - 0.25 * (gx**2 + gy**2) / 2 + 0.1 * gx)
    x = x + np.sqrt(np.maximum(x, 0) / shot.full_well + 1e-6) * rng.standard_normal(x.shape)
    x = np.clip(x, 0, 1)
    y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-8) ** (1 / 2.4) - 0.055).astype(np.float32)
    y = y + shot.tone * (y * y * (3 - 2 * y) - y)
    if shot.sharpen:
        y = y + np.clip(shot.sharpen * (y - cv2.GaussianBlur(y, (0, 0), 1.1)), -0.12, 0.12)
    levels = (np.clip(y, 0, 1) * 255 + 0.5).astype(np.uint8)
    if not shot.jpeg:
        return levels
    return np.asarray(
        cv2.imdecode(cv2.imencode(".jpg", levels, [cv2.IMWRITE_JPEG_QUALITY, shot.jpeg])[1], cv2.IMREAD_GRAYSCALE)
    )
