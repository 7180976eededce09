"""Procedural, tileable albedo textures in linear light, and printed pictures as paper shows them."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]

PLAIN: dict[str, tuple[float, float, float]] = {
    "glass_black": (0.012, 0.012, 0.014),
    "ceramic": (0.70, 0.72, 0.74),
    "red": (0.42, 0.05, 0.04),
    "blue": (0.05, 0.12, 0.36),
    "yellow": (0.62, 0.42, 0.04),
    "black": (0.02, 0.02, 0.02),
    "white": (0.75, 0.75, 0.74),
    "grey_board": (0.40, 0.39, 0.37),
    "grey": (0.22, 0.22, 0.23),
    "aluminium": (0.55, 0.56, 0.57),
    "ceiling": (0.80, 0.79, 0.77),
    "room": (0.62, 0.60, 0.56),
    "toe_kick": (0.10, 0.11, 0.12),
    "gloss_white": (0.78, 0.79, 0.79),
    "cream": (0.70, 0.66, 0.55),
    "sage": (0.24, 0.30, 0.22),
    "navy": (0.025, 0.04, 0.085),
    "graphite": (0.045, 0.047, 0.05),
    "abs_white": (0.74, 0.74, 0.73),
    "abs_dark": (0.07, 0.065, 0.06),
    "film_blue": (0.22, 0.38, 0.62),
    "tape_green": (0.12, 0.36, 0.20),
}
"""Materials of one colour: linear RGB albedo."""


def srgb_to_linear(a: Any) -> Image:
    a = np.asarray(a, np.float32)
    return np.asarray(np.where(a <= 0.04045, a / 12.92, ((a + 0.055) / 1.055) ** 2.4), np.float32)


def fft_noise(h: int, w: int, beta: float = 1.0, seed: int = 0, stretch: tuple[float, float] = (1.0, 1.0)) -> Image:
    """Periodic noise with amplitude spectrum 1/f^beta, zero mean, unit deviation; ``stretch`` is (y, x) elongation."""
    rng = np.random.default_rng(seed)
    fy = np.fft.fftfreq(h)[:, None] * h * stretch[0]
    fx = np.fft.rfftfreq(w)[None] * w * stretch[1]
    f = np.hypot(fy, fx)
    f[0, 0] = 1.0
    s = np.fft.rfft2(rng.standard_normal((h, w))) / f**beta
    s[0, 0] = 0
    n = np.fft.irfft2(s, (h, w))
    return np.asarray(n / n.std(), np.float32)


def _blur(a: Image, sigma: float) -> Image:
    return np.asarray(cv2.GaussianBlur(a, (0, 0), sigma), np.float32)


def _tint(v: Any, rgb: tuple[float, float, float]) -> Image:
    return np.asarray(np.clip(np.asarray(v)[..., None] * np.asarray(rgb, np.float32), 0.005, 0.95), np.float32)


def _drywall() -> Image:
    """Painted plaster: roller stipple and broad unevenness."""
    n = 2048
    return _tint(0.72 + 0.010 * fft_noise(n, n, 1.2, 1) + 0.06 * _blur(fft_noise(n, n, 0.0, 2), 2.4), (1.0, 0.97, 0.91))


def _melamine() -> Image:
    n = 1024
    return _tint(0.80 + 0.004 * fft_noise(n, n, 0.4, 5) + 0.006 * fft_noise(n, n, 1.5, 6), (1.0, 0.995, 0.97))


def _painted() -> Image:
    """Off-white paint with faint brush marks."""
    n = 1024
    return _tint(0.62 + 0.006 * fft_noise(n, n, 1.0, 31, (1, 12)) + 0.004 * fft_noise(n, n, 0.3, 32), (1.0, 0.985, 0.94))


def _plywood_edge() -> Image:
    """18 mm in 9 plies across v; u along the panel."""
    h, w = 360, 4096
    y = (np.arange(h) + 0.5) / h * 9
    ply = (np.floor(y).astype(int) % 2)[:, None]
    glue = np.exp(-(((y - np.round(y)) / 0.07) ** 2))[:, None]
    v = np.where(ply, 0.34, 0.50) + 0.05 * fft_noise(h, w, 0.7, 7, (1, 0.15)) + 0.03 * fft_noise(h, w, 0.2, 8)
    return _tint(v * (1 - 0.45 * glue), (1.0, 0.77, 0.50))


def _plywood_face() -> Image:
    h, w = 1024, 2048
    g = fft_noise(h, w, 1.1, 9, (1, 14)) + 0.5 * np.sin(10 * fft_noise(h, w, 1.8, 10, (1, 8)))
    return _tint(0.50 + 0.045 * g, (1.0, 0.79, 0.54))


def _wood_dark() -> Image:
    """Dark stain: low contrast with pores."""
    h, w = 1024, 2048
    g = fft_noise(h, w, 1.0, 12, (1, 16)) + 0.6 * np.sin(9 * fft_noise(h, w, 1.8, 13, (1, 9)))
    pores = (cv2.GaussianBlur(fft_noise(h, w, 0.0, 14), (31, 1), 8, sigmaY=0.1) > 0.35) * 0.3
    return _tint(0.040 * (1 + 0.18 * g - pores), (1.0, 0.58, 0.40))


def _wood_mid() -> Image:
    h, w = 1024, 2048
    g = fft_noise(h, w, 1.0, 15, (1, 14)) + 0.7 * np.sin(8 * fft_noise(h, w, 1.8, 16, (1, 8)))
    return _tint(0.26 * (1 + 0.13 * g), (1.0, 0.62, 0.33))


def _tile_floor() -> Image:
    """2 x 2 tiles of 300 mm with 4 mm grout."""
    n = 2048
    p = (np.arange(n) + 0.5) / n * 600 % 300
    d = np.minimum(p, 300 - p)
    grout = np.minimum(d[:, None], d[None]) < 2
    v = 0.36 + 0.035 * fft_noise(n, n, 1.3, 17) + 0.01 * fft_noise(n, n, 0.2, 18)
    v[: n // 2, : n // 2] *= 0.95
    v[n // 2 :, n // 2 :] *= 1.05
    return _tint(np.where(grout, 0.18 + 0.01 * fft_noise(n, n, 0.3, 19), v), (1.0, 0.93, 0.84))


def _cardboard() -> Image:
    n = 1024
    return _tint(0.36 + 0.02 * fft_noise(n, n, 1.0, 20, (1, 4)) + 0.008 * fft_noise(n, n, 0.0, 21), (1.0, 0.74, 0.48))


def _steel() -> Image:
    return _tint(0.42 + 0.03 * fft_noise(512, 1024, 0.6, 22, (1, 40)), (1, 1, 1))


def _wood_light() -> Image:
    """Pale wood with broad grain."""
    h, w = 1024, 2048
    g = fft_noise(h, w, 1.2, 41, (1, 10)) + 0.8 * np.sin(6 * fft_noise(h, w, 1.9, 42, (1, 6)))
    return _tint(0.47 * (1 + 0.09 * g), (1.0, 0.78, 0.52))


def _chipboard_edge() -> Image:
    """Chipboard: the edge of a cheap panel, without plies."""
    n = 1024
    return _tint(0.34 + 0.06 * fft_noise(n, n, 0.5, 43, (1, 3)), (1.0, 0.80, 0.56))


def _laminate() -> Image:
    """A speckled old top."""
    n = 2048
    speck = _blur(fft_noise(n, n, 0.0, 44), 2.0)
    v = 0.42 + 0.03 * fft_noise(n, n, 1.4, 45) - 0.12 * (speck > 0.22) + 0.10 * (speck < -0.24)
    return _tint(v, (1.0, 0.94, 0.85))


def _stone_dark() -> Image:
    """A polished dark stone with light grains."""
    n = 2048
    speck = _blur(fft_noise(n, n, 0.0, 46), 1.6)
    return _tint(0.05 + 0.012 * fft_noise(n, n, 1.0, 47) + 0.14 * (speck > 0.30), (0.95, 1.0, 1.02))


def _marble() -> Image:
    """White with grey veins."""
    n = 2048
    veins = np.exp(-np.abs(fft_noise(n, n, 1.7, 48)) * 9)
    return _tint(0.70 + 0.02 * fft_noise(n, n, 1.2, 49) - 0.28 * veins, (1.0, 0.99, 0.97))


def _wood_floor() -> Image:
    """Boards of 150 mm."""
    h, w = 1024, 2048
    y = (np.arange(h) + 0.5) / h * 600 % 150
    joint = (np.minimum(y, 150 - y) < 0.8)[:, None]
    tone = np.repeat(np.array([1.0, 0.86, 1.08, 0.95]), h // 4)[:, None]
    g = fft_noise(h, w, 1.1, 50, (1, 14))
    return _tint(np.where(joint, 0.06, 0.22 * tone * (1 + 0.12 * g)), (1.0, 0.68, 0.42))


TEXTURES = {
    "drywall": (_drywall, (1024.0, 1024.0)),
    "melamine": (_melamine, (600.0, 600.0)),
    "painted": (_painted, (700.0, 700.0)),
    "plywood_edge": (_plywood_edge, (1024.0, 18.0)),
    "plywood_face": (_plywood_face, (900.0, 450.0)),
    "wood_dark": (_wood_dark, (800.0, 400.0)),
    "wood_mid": (_wood_mid, (800.0, 400.0)),
    "tile_floor": (_tile_floor, (600.0, 600.0)),
    "cardboard": (_cardboard, (500.0, 500.0)),
    "steel": (_steel, (400.0, 200.0)),
    "wood_light": (_wood_light, (900.0, 450.0)),
    "chipboard_edge": (_chipboard_edge, (300.0, 300.0)),
    "laminate": (_laminate, (600.0, 600.0)),
    "stone_dark": (_stone_dark, (500.0, 500.0)),
    "marble": (_marble, (1400.0, 1400.0)),
    "wood_floor": (_wood_floor, (1200.0, 600.0)),
}
"""Name -> (maker, size of one tile in mm along u and v). u runs along the longer side of every face."""


@functools.cache
def texture(name: str) -> Image:
    """(h, w, 3) linear albedo of a textured material."""
    return TEXTURES[name][0]()


def tile_size_mm(name: str) -> tuple[float, float]:
    """Size of one repetition; plain colours count as 100 mm."""
    return (100.0, 100.0) if name in PLAIN else TEXTURES[name][1]


def load_print(path: str | Path, ink: float = 0.035, paper: float = 0.84) -> Image:
    """(h, w, 1 or 3) linear albedo of a printed picture: black becomes ink, white paper. Grey pictures keep one channel."""
    im = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if im is None:
        raise FileNotFoundError(path)
    a = im.astype(np.float32) / (65535.0 if im.dtype == np.uint16 else 255.0)
    if a.ndim == 3:
        a = a[..., 2::-1]
        if np.allclose(a[..., 0], a[..., 1], atol=1e-3) and np.allclose(a[..., 0], a[..., 2], atol=1e-3):
            a = a[..., 0]
    a = ink + (paper - ink) * srgb_to_linear(a)
    return np.asarray(a if a.ndim == 3 else a[..., None], np.float32)
