"""Phones at the level of sightings: what the stabiliser, the focus and the hand do to every exposure, worked out independently
of the package (rows found by iteration, turns by rotation matrices, projection by OpenCV)."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from phototemplate.model import Array
from phototemplate.numerics.rigid import exp_rotation


@dataclass(frozen=True)
class Phone:
    """What one phone does, as standard deviations over its exposures; pictures 4032 px wide."""

    name: str
    shift_px: float = 0.0
    """Of the image on the sensor, each axis"""
    lens_group: bool = False
    """A moved group of lenses: the distortion stays where it is"""
    turn_deg: float = 0.0
    """Turn from the first row to the last, all axes together (rms)"""
    way_mm: float = 0.0
    """Way of the camera meanwhile, each axis"""
    focus_sd: float = 0.0015
    f_of_width: float = 0.747
    distortion: tuple[float, ...] = (0.085, -0.19, 0.0006, -0.0004, 0.1)

    def exposure(self, rng: np.random.Generator) -> Exposure:
        """One exposure."""
        turn = rng.normal(0, 1, 3) * np.radians(self.turn_deg) / np.sqrt(3)
        return Exposure(
            float(rng.normal(0, self.focus_sd)), rng.normal(0, 1, 2) * self.shift_px, self.lens_group, turn,
            rng.normal(0, 1, 3) * self.way_mm,
        )  # fmt: skip


@dataclass(frozen=True)
class Exposure:
    """What happened in one photo."""

    focus: float
    shift_px: Array
    lens_group: bool
    turn_rad: Array
    way_mm: Array

    def project(self, params: Array, rotation: Array, translation: Array, height_px: int, xyz: Array) -> Array:
        """Pixels (N, 2) of world points through a Brown lens (f, aspect, cx, cy, k1, k2, p1, p2, k3), rolling shutter
        included."""
        f = params[0] * (1 + self.focus)
        matrix = np.array([[f, 0, params[2]], [0, f * (1 + params[1]), params[3]], [0, 0, 1.0]])
        slant = np.zeros(3)
        if self.lens_group:
            slant[:2] = self.shift_px / f
        else:
            matrix[:2, 2] += self.shift_px
        cam = xyz @ rotation.T + translation
        tau, uv = np.zeros(len(xyz)), np.zeros((len(xyz), 2))
        moving = bool(self.turn_rad.any() or self.way_mm.any())
        for _ in range(5 if moving else 1):
            turned = np.einsum("nij,nj->ni", exp_rotation(tau[:, None] * self.turn_rad), cam - tau[:, None] * self.way_mm)
            seen = turned + slant * turned[:, 2:]
            uv = cv2.projectPoints(seen, np.zeros(3), np.zeros(3), matrix, params[4:9])[0].reshape(-1, 2)
            tau = np.clip((uv[:, 1] + 0.5) / height_px - 0.5, -2, 2)
        return np.asarray(uv, dtype=np.float64)


WIDE = (-0.012, 0.006, 0.0004, 0.0002, -0.001)
TELE = (0.04, -0.12, 0.0003, 0.0005, 0.05)

CHOSEN_ON: dict[str, Phone] = {
    phone.name: phone
    for phone in (
        Phone("ideal"),
        Phone("sensor 6 px", 6.0),
        Phone("sensor 22 px", 22.0),
        Phone("readout 0.07", turn_deg=0.07, way_mm=0.12),
        Phone("both 22 px, 0.07", 22.0, turn_deg=0.07, way_mm=0.12),
    )
}
"""Phones on which thresholds and priors of ``phototemplate/network`` may be chosen"""

JUDGED_ON: dict[str, Phone] = {
    phone.name: phone
    for phone in (
        Phone("ideal, fixed focus", focus_sd=0.0),
        Phone("sensor 5 px", 5.0),
        Phone("sensor 10 px", 10.0),
        Phone("sensor 25 px", 25.0),
        Phone("lens 5 px", 5.0, True),
        Phone("lens 10 px", 10.0, True),
        Phone("lens 25 px", 25.0, True),
        Phone("readout 0.02", turn_deg=0.02, way_mm=0.12),
        Phone("readout 0.05", turn_deg=0.05, way_mm=0.12),
        Phone("readout 0.1", turn_deg=0.1, way_mm=0.25),
        Phone("breathing 0.5 %", focus_sd=0.005),
        Phone("both 10 px, 0.05", 10.0, turn_deg=0.05, way_mm=0.12),
        Phone("both 25 px, 0.1", 25.0, turn_deg=0.1, way_mm=0.25),
        Phone("ultra-wide 12 px", 12.0, turn_deg=0.04, way_mm=0.12, f_of_width=0.382, distortion=WIDE),
        Phone("2x 12 px", 12.0, turn_deg=0.04, way_mm=0.12, f_of_width=1.48, distortion=TELE),
    )
}
"""Phones that only judge"""
