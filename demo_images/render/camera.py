"""A phone camera: where it is, how its lens projects, and how it spoils the picture.

The lens is OpenCV's (Brown-Conrady: k1 k2 p1 p2 k3); :meth:`Camera.project` goes through ``cv2.projectPoints``, so truth does
not depend on our own lens code.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass
class Camera:
    """One exposure. The camera looks from ``eye`` at ``target``; a positive roll turns it clockwise."""

    id: str
    eye: list[float]
    target: list[float]
    up: list[float] = field(default_factory=lambda: [0.0, 0.0, 1.0])
    roll_deg: float = 0.0
    width: int = 4032
    height: int = 3024
    fx: float = 3000.0
    fy: float = 3000.0
    cx: float = 2015.5
    cy: float = 1511.5
    """(cx, cy) is the centre of the distortion and, unless ``decentre_px`` says otherwise, the principal point."""
    dist: list[float] = field(default_factory=lambda: [0.0] * 5)
    """k1 k2 p1 p2 k3"""
    decentre_px: list[float] = field(default_factory=lambda: [0.0, 0.0])
    """A lens group that was moved for this photo: the picture is shifted by so much before the lens distorts it, so that the
    principal point moves and the distortion's centre stays."""
    aperture_mm: float = 0.0
    """Entrance pupil diameter; about 2.4 for a phone's main camera."""
    focus_mm: float = 1500.0
    """Distance of the sharp plane along the optical axis."""
    motion_px: list[float] = field(default_factory=lambda: [0.0, 0.0])
    """Shake over the exposure, centred."""
    exposure_ev: float = 0.0
    wb: list[float] = field(default_factory=lambda: [1.0, 1.0, 1.0])
    vignette: float = 0.35
    """Light lost in the corner."""
    full_well: float = 6000.0
    """Electrons at white: photon noise."""
    read_noise: float = 6.0
    defocus_px: float = 0.45
    """Sigma of lens and sensor blur, in pixels of the full-size picture."""
    bayer: bool = False
    chroma_nr: float = 1.5
    sharpen: float = 0.5
    sharpen_sigma: float = 1.1
    sharpen_clip: float = 0.12
    halo: float = 0.0
    """A second, wider unsharp mask: visible lines along edges (0.6: strong)."""
    halo_sigma: float = 2.5
    halo_clip: float = 0.3
    ca: list[float] = field(default_factory=lambda: [0.0, 0.0])
    """Lateral colour: red and blue are 1 + ca times the size of green."""
    rs_deg: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    """Rolling shutter: turn about the camera's x, y, z from the first to the last row."""
    rs_shift_mm: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    """Rolling shutter: way of the camera's centre along its x, y, z from the first to the last row."""
    contrast: float = 0.35
    """0: plain sRGB curve"""
    tone: float = 0.0
    """Local tone mapping: how much of the difference between a neighbourhood's brightness and middle grey is taken away."""
    luma_nr: float = 0.0
    """Noise reduction: brightness detail of this amplitude (share of full scale) is halved, weaker detail fades further."""
    jpeg: int = 92
    max_bytes: int = 0
    """Lower the JPEG quality until the file is no larger (0: no limit)."""
    make: str = "Norvik"
    model: str = "Norvik P4"
    focal_mm: float = 4.25
    orientation: int = 1
    """EXIF: how a viewer turns the stored picture (6 for roll +90, 8 for roll -90)."""
    taken_at: str = "2026:03:14 10:00:00"
    seed: int = 0

    def matrix(self) -> Array:
        """(3, 3) camera matrix."""
        return np.array([[self.fx, 0, self.cx], [0, self.fy, self.cy], [0, 0, 1.0]])

    def pose(self) -> tuple[Array, Array]:
        """Rotation (3, 3) and translation (3,) of camera_from_world (camera: x right, y down, z forward)."""
        eye, z = np.array(self.eye, float), np.array(self.target, float) - np.array(self.eye, float)
        z /= np.linalg.norm(z)
        x = np.cross(z, np.array(self.up, float))
        x /= np.linalg.norm(x)
        r = np.stack([x, np.cross(z, x), z])
        c, s = math.cos(math.radians(self.roll_deg)), math.sin(math.radians(self.roll_deg))
        r = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) @ r
        return r, -r @ eye

    def channel_scale(self) -> list[float]:
        return [1 + self.ca[0], 1.0, 1 + self.ca[1]]

    def project(self, points: Any, channel: int = 1) -> Array:
        """World (N, 3) -> pixel (N, 2) as photographed in colour channel 0 red, 1 green, 2 blue, rolling shutter included."""
        r, t = self.pose()
        pts = np.asarray(points, float).reshape(-1, 3)
        k, dist = self.matrix(), np.array(self.dist, float)
        c, size = np.array([self.cx, self.cy]), self.channel_scale()[channel]
        shear = np.array([self.decentre_px[0] / self.fx, self.decentre_px[1] / self.fy, 0.0])
        moving = any(self.rs_deg) or any(self.rs_shift_mm)
        pc, w, way = pts @ r.T + t, np.radians(self.rs_deg), np.array(self.rs_shift_mm, float)
        angle = float(np.linalg.norm(w))
        axis = w / angle if angle else np.array([0.0, 0.0, 1.0])
        q, tau = np.zeros((len(pts), 2)), np.zeros((len(pts), 1))
        for _ in range(6 if moving else 1):  # the row decides the pose, which decides the row
            at, co, si = pc - way * tau, np.cos(angle * tau), np.sin(angle * tau)
            turned = at * co + np.cross(axis, at) * si + (at @ axis)[:, None] * axis * (1 - co)
            seen = turned + shear * turned[:, 2:]
            q = c + size * (cv2.projectPoints(seen, np.zeros(3), np.zeros(3), k, dist)[0].reshape(-1, 2) - c)
            tau = np.clip((q[:, 1:] + 0.5) / self.height - 0.5, -2, 2)
        return np.asarray(q)

    def scaled(self, s: float) -> Camera:
        """The same exposure with s times the pixels along each side; blur and file size go along."""
        if s == 1.0:
            return self
        return dataclasses.replace(
            self,
            width=round(self.width * s),
            height=round(self.height * s),
            fx=self.fx * s,
            fy=self.fy * s,
            cx=(self.cx + 0.5) * s - 0.5,
            cy=(self.cy + 0.5) * s - 0.5,
            decentre_px=[v * s for v in self.decentre_px],
            motion_px=[m * s for m in self.motion_px],
            max_bytes=0,
        )
