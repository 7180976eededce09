"""The phone of the demo: one lens whose picture is a little different at every exposure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .camera import Camera


@dataclass(frozen=True)
class Phone:
    """A main camera of 12 megapixels. Make and model are invented."""

    f_px: float = 3008.0
    """Principal distance when focused at infinity, in pixels of the full-size picture."""
    aspect: float = 0.0006
    """fy = fx (1 + aspect)"""
    center_px: tuple[float, float] = (11.3, -7.8)
    """Principal point from the middle of the picture."""
    dist: tuple[float, float, float, float, float] = (0.085, -0.19, 0.0006, -0.0004, 0.10)
    """k1 k2 p1 p2 k3"""
    focal_mm: float = 4.25
    pupil_mm: float = 2.3
    shake_px: float = 0.5
    """Standard deviation of the smear along either side of the picture."""
    full_well: float = 14000.0
    """Electrons at white, after the phone's noise reduction."""
    max_bytes: int = 2_300_000
    first_number: int = 2301

    def photo(self, index: int, eye: list[float], target: list[float], roll_deg: float, rng: np.random.Generator) -> Camera:
        """One exposure, focused about where it looks; focusing moves the lens and with it the principal distance."""
        distance = float(np.linalg.norm(np.subtract(eye, target)))
        focus = distance * float(rng.uniform(0.93, 1.08))
        breathing = 1 + self.focal_mm / focus + float(rng.normal(0, 2e-4))  # thin lens, and the motor has play
        upright = {1: 6, -1: 8}.get(round(roll_deg / 90), 1)
        return Camera(
            f"IMG_{self.first_number + index:04d}",
            eye,
            target,
            roll_deg=roll_deg,
            fx=self.f_px * breathing,
            fy=self.f_px * (1 + self.aspect) * breathing,
            cx=2015.5 + self.center_px[0],
            cy=1511.5 + self.center_px[1],
            dist=list(self.dist),
            aperture_mm=self.pupil_mm,
            focus_mm=focus,
            motion_px=[float(v) for v in rng.normal(0, self.shake_px, 2)],
            exposure_ev=float(rng.normal(0.25, 0.12)),
            wb=[1.0, 0.99, 0.96],
            full_well=self.full_well,
            read_noise=14.0,
            focal_mm=self.focal_mm,
            orientation=upright,
            jpeg=92,
            max_bytes=self.max_bytes,
            taken_at=f"2026:03:14 10:{index // 2 + 2:02d}:{(index % 2) * 30 + 7:02d}",
            seed=int(rng.integers(1 << 20)),
        )
