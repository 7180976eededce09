"""Phones: one lens whose picture is a little different at every exposure.

A phone of today holds its picture steady by moving the lens or the sensor, so that the principal point is another one in every
photo; it reads the sensor row by row while the hand moves on; it breathes with its focus, and hands out pictures that are
sharpened, with halos, tone-mapped by neighbourhoods and smoothed in colour. ``IDEAL`` does none of that but breathe.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from .camera import Camera
from .constants import (
    FOCUS_PLAY,
    READOUT_DEG,
    READOUT_MM,
    READOUT_ROLL_SHARE,
    ROUGH_FOCUS,
    SHIFT_PX,
    USUAL_READOUT_DEG,
    USUAL_SHIFT_PX,
)

FULL_WIDTH_PX: Final = 4032
"""px. Width of a full-size picture. Convention: 12 megapixels at 4:3."""


@dataclass(frozen=True)
class Processing:
    """What a phone makes of a picture before anybody sees it; the fields are those of ``Camera``."""

    sharpen: float = 0.6
    sharpen_sigma: float = 1.1
    sharpen_clip: float = 0.15
    halo: float = 0.25
    halo_sigma: float = 2.5
    halo_clip: float = 0.12
    chroma_nr: float = 2.5
    luma_nr: float = 0.004
    tone: float = 0.2
    contrast: float = 0.3


PLAIN: Final = Processing(
    sharpen=0.5, sharpen_clip=0.12, halo=0.0, halo_clip=0.3, chroma_nr=1.5, luma_nr=0.0, tone=0.0, contrast=0.35
)
"""A little sharpening and one tone curve for the whole picture."""
HARSH: Final = Processing(
    sharpen=0.9, sharpen_clip=0.25, halo=0.6, halo_clip=0.25, chroma_nr=4.0, luma_nr=0.008, tone=0.4, contrast=0.4
)
"""What cheap phones and bad light give: halos along edges, smeared fine detail, flat neighbourhoods."""


@dataclass(frozen=True)
class Phone:
    """A main camera of 12 megapixels. Make and model are invented."""

    f_px: float = 3008.0
    """Principal distance when focused at infinity, in pixels of the full-size picture."""
    aspect: float = 0.0006
    """fy = fx (1 + aspect)"""
    center_px: tuple[float, float] = (11.3, -7.8)
    """Principal point from the middle of the picture; of a stabilised phone the usual one."""
    dist: tuple[float, float, float, float, float] = (0.085, -0.19, 0.0006, -0.0004, 0.10)
    """k1 k2 p1 p2 k3"""
    focal_mm: float = 4.25
    pupil_mm: float = 2.3
    shake_px: float = 0.5
    """Standard deviation of the smear along either side of the picture."""
    stabiliser: Literal["none", "sensor", "lens"] = "sensor"
    """What is moved for every photo. With the sensor (or the whole barrel before it) the centre of the distortion moves along;
    a moved group of lenses moves the principal point alone."""
    shift_px: float = USUAL_SHIFT_PX
    """Standard deviation of that movement along either side of the picture."""
    readout_deg: float = USUAL_READOUT_DEG
    """Rms turn from the first to the last row, all axes together."""
    readout_mm: float = READOUT_MM
    """Standard deviation, per axis, of the way from the first to the last row."""
    processing: Processing = Processing()
    full_well: float = 14000.0
    """Electrons at white, after the phone's noise reduction."""
    max_bytes: int = 2_300_000
    first_number: int = 2301
    make: str = "Norvik"
    model: str = "Norvik P4"

    def photo(self, index: int, eye: list[float], target: list[float], roll_deg: float, rng: np.random.Generator) -> Camera:
        """One exposure, focused about where it looks; focusing moves the lens and with it the principal distance."""
        distance = float(np.linalg.norm(np.subtract(eye, target)))
        focus = distance * float(rng.uniform(*ROUGH_FOCUS))
        breathing = 1 + self.focal_mm / focus + float(rng.normal(0, FOCUS_PLAY))  # thin lens, and the motor has play
        upright = {1: 6, -1: 8}.get(round(roll_deg / 90), 1)
        cam = Camera(
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
            make=self.make,
            model=self.model,
            taken_at=f"2026:03:14 10:{index // 2 + 2:02d}:{(index % 2) * 30 + 7:02d}",
            seed=int(rng.integers(1 << 20)),
            **vars(self.processing),
        )
        self._move(cam, rng)
        return cam

    def _move(self, cam: Camera, rng: np.random.Generator) -> None:
        """What the stabiliser and the hand do to one exposure."""
        shift = rng.normal(0, 1, 2) * self.shift_px
        turn = rng.normal(0, 1, 3) * (1, 1, READOUT_ROLL_SHARE) * self.readout_deg / math.sqrt(2 + READOUT_ROLL_SHARE**2)
        way = rng.normal(0, 1, 3) * self.readout_mm
        if self.stabiliser == "sensor":
            cam.cx, cam.cy = cam.cx + float(shift[0]), cam.cy + float(shift[1])
        elif self.stabiliser == "lens":
            cam.decentre_px = [float(v) for v in shift]
        cam.rs_deg, cam.rs_shift_mm = [float(v) for v in turn], [float(v) for v in way]


IDEAL: Final = Phone(stabiliser="none", shift_px=0.0, readout_deg=0.0, readout_mm=0.0, processing=PLAIN)
"""One lens centre for all photos, read out at once: what a shared lens model asks for."""

_STILL = replace(IDEAL, processing=Processing())
_WIDE = Phone(f_px=1540.0, dist=(-0.012, 0.006, 0.0004, 0.0002, -0.001), focal_mm=2.22, pupil_mm=1.0, full_well=9000.0)
_TELE = Phone(f_px=5950.0, dist=(0.04, -0.12, 0.0003, 0.0005, 0.05), focal_mm=6.9, pupil_mm=3.4, full_well=7000.0)

PHONES: Final[dict[str, Phone]] = {
    "ideal": IDEAL,
    "usual": Phone(),
    **{f"sensor{px}": replace(_STILL, stabiliser="sensor", shift_px=float(px)) for px in (5, 6, 10, 22, 25)},
    **{f"lens{px}": replace(_STILL, stabiliser="lens", shift_px=float(px)) for px in (5, 6, 10, 22, 25)},
    **{
        f"readout{round(1000 * deg):03d}": replace(_STILL, readout_deg=deg, readout_mm=READOUT_MM)
        for deg in (0.02, 0.05, 0.07, 0.1)
    },
    "both": Phone(shift_px=22.0, readout_deg=0.07, processing=HARSH),
    "harsh": replace(IDEAL, processing=HARSH),
    "ultrawide": replace(_WIDE, model="Norvik P4 W"),
    "tele": replace(_TELE, model="Norvik P4 T"),
}
"""Name -> phone, for scenes and benchmarks that go through them one by one. The lens is the same but for the last two."""


def random_phone(rng: np.random.Generator) -> Phone:
    """A main camera as phones have them: 24 to 28 mm film equivalent, distortion of a few per cent.

    One in five is not stabilised; of the others two in three move the sensor or the whole barrel. How far, how slowly they are
    read out and how much they make of their pictures is drawn over the whole spread.
    """
    k1 = float(rng.normal(0.06, 0.06))
    lens = Phone(
        f_px=float(rng.uniform(2790, 3260)),
        aspect=float(rng.normal(0, 4e-4)),
        center_px=(float(rng.normal(0, 15)), float(rng.normal(0, 15))),
        dist=(k1, float(-2.0 * k1 + rng.normal(0, 0.03)), *(float(v) for v in rng.normal(0, 5e-4, 2)), float(1.1 * k1)),
        shake_px=float(rng.uniform(0.2, 0.9)),
        full_well=float(rng.uniform(6000, 16000)),
    )
    kind = rng.choice(5)
    return replace(
        lens,
        stabiliser=("none", "sensor", "sensor", "sensor", "lens")[kind],
        shift_px=_log_uniform(rng, SHIFT_PX) if kind else 0.0,
        readout_deg=_log_uniform(rng, READOUT_DEG),
        processing=(PLAIN, Processing(), HARSH)[rng.choice(3)],
    )


def _log_uniform(rng: np.random.Generator, limits: tuple[float, float]) -> float:
    return float(math.exp(rng.uniform(math.log(limits[0]), math.log(limits[1]))))
