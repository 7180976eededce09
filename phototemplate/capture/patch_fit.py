"""Sub-pixel position of corners whose squares are only a few pixels wide: the whole neighbourhood is fitted, markers included.

``capture.saddle`` keeps the markers out of its window. Where the white rim between them and the edges is hardly wider than the
blur, that leaves too little. But once a target is named, everything within a square of its corner is known, and the picture

    I(x) = b_0 + b_x dx + b_y dy + a T + q T (1 - T),    T = (pattern o warp) * Gaussian

has nothing in it that is not modelled: the warp (a shift, a linear part and two perspective terms, which a target in a room
holds near zero), the blur and five terms of the light are fitted together (Gauss-Newton; Gruen 1985). Grey values are turned to
light first, in which blur is linear; ``q`` takes up what tone remains. Covariance as in ``capture.saddle``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from phototemplate.capture import constants
from phototemplate.capture.constants import BILINEAR_RIM, HALF_PIXEL, LIGHT_LEVELS, PATCH_HALF, PATCH_SIDE, PATCH_TEXELS
from phototemplate.capture.saddle import SaddleFits, Single, no_fits
from phototemplate.capture.target_layout import Layout
from phototemplate.model import Array, BoolArray, GrayImage, IntArray


@lru_cache(maxsize=32)
def printed_around(layout: Layout, target_id: str) -> NDArray[np.float32]:
    """(P, PATCH_SIDE, PATCH_SIDE) reflectance 0 to 1 around every saddle point of a board.

    Columns run along the board's x, rows along its y (upwards).
    """
    board = layout.boards[target_id]
    square = board.square_mm
    low = board.saddles_mm.min(axis=0) / square - PATCH_HALF
    size = np.round((np.ptp(board.saddles_mm, axis=0) / square + 2 * PATCH_HALF) * PATCH_TEXELS).astype(int)
    dark = np.zeros((size[1], size[0]))
    for centre in board.black_mm / square - low:
        x, y = (_cover(np.array([c - 0.5, c + 0.5]), int(n)) for c, n in zip(centre, size, strict=True))
        dark += y.T @ x
    for corners, bits in zip(board.corners_mm / square - low, layout.modules(board), strict=True):
        edges = np.linspace(0.0, 1.0, len(bits) + 1)
        x = _cover(corners[0, 0] + edges * (corners[1, 0] - corners[0, 0]), int(size[0]))
        y = _cover(corners[3, 1] + edges * (corners[0, 1] - corners[3, 1]), int(size[1]))
        dark += y.T @ (1.0 - bits[::-1]) @ x
    first = np.round((board.saddles_mm / square - low - PATCH_HALF) * PATCH_TEXELS).astype(int)
    white = (1.0 - dark).astype(np.float32)
    windows: NDArray[np.float32] = np.stack([white[v : v + PATCH_SIDE, u : u + PATCH_SIDE] for u, v in first])
    return windows


def _cover(edges: Array, texels: int) -> Array:
    """(n - 1, texels) share of every texel between one edge and the next, in squares."""
    at = np.arange(texels + 1) / PATCH_TEXELS
    reached = np.clip(at, edges[:-1, None], edges[1:, None])
    covered: Array = np.diff(reached, axis=1) * PATCH_TEXELS
    return covered


def fit_patches(
    gray: GrayImage, around: NDArray[np.float32], uv_px: Array, px_from_square: Array, blur_px: float
) -> SaddleFits:
    """Fit saddle points by all that is printed around them.

    Args:
        gray: picture, (h, w) uint8.
        around: (N, PATCH_SIDE, PATCH_SIDE) patterns as ``printed_around`` gives them.
        uv_px: (N, 2) predicted places, good to a third of the white rim.
        px_from_square: (N, 2, 2) px per square along the board's x and y (upwards).
        blur_px: standard deviation of the picture's blur.
    """
    uv = np.asarray(uv_px, float).reshape(-1, 2)
    jac = np.asarray(px_from_square, float).reshape(-1, 2, 2)
    out = no_fits(uv)
    area = np.abs(np.linalg.det(jac)) * (2 * constants.PATCH_WINDOW) ** 2
    usable = np.isfinite(uv).all(axis=1) & (area > constants.PATCH_SAMPLES[0]) & (area < constants.PATCH_SAMPLES[1])
    order = np.flatnonzero(usable)[np.argsort(area[usable], kind="stable")]
    for chunk in np.array_split(order, max(1, -(-len(order) // constants.PATCHES_AT_ONCE))):
        if len(chunk):
            pixels = _Pixels.cut(gray, uv[chunk], jac[chunk])
            out.put(chunk, _fit(pixels, around[chunk], uv[chunk] - pixels.base, jac[chunk], blur_px))
    return out


@dataclass(frozen=True)
class _Pixels:
    """Pixels of n windows, padded to m each."""

    base: IntArray
    """(n, 2) whole pixel from which places count"""
    at: Single
    """(n, 2, m) places"""
    light: Single
    """(n, m)"""
    weight: Single
    """(n, m) 1, or 0 for padding"""
    inside: BoolArray
    """(n,) the window lies inside the picture"""

    @classmethod
    def cut(cls, gray: GrayImage, uv: Array, jac: Array) -> _Pixels:
        height, width = gray.shape
        base = np.round(uv).astype(np.int64)
        reach = np.ceil(constants.PATCH_WINDOW * np.abs(jac).sum(axis=2)).astype(np.int64).max(axis=0) + 1
        x, y = (a.ravel() for a in np.meshgrid(np.arange(-reach[0], reach[0] + 1), np.arange(-reach[1], reach[1] + 1)))
        local = np.linalg.inv(jac) @ (np.stack([x, y])[None] - (uv - base)[:, :, None])
        within: BoolArray = np.all(np.abs(local) < constants.PATCH_WINDOW, axis=1)
        u, v = base[:, :1] + x, base[:, 1:] + y
        outside = (u < 0) | (u >= width) | (v < 0) | (v >= height)
        inside: BoolArray = np.logical_not(np.any(outside & within, axis=1))
        m = max(int(within.sum(axis=1).max()), 1)
        pick = np.argsort(~within, axis=1, kind="stable")[:, :m]
        rows = np.arange(len(uv))[:, None]
        light = LIGHT_LEVELS[gray[np.clip(v, 0, height - 1)[rows, pick], np.clip(u, 0, width - 1)[rows, pick]]]
        at = np.stack([x[pick], y[pick]], axis=1).astype(np.float32)
        return cls(base, at, light.astype(np.float32), within[rows, pick].astype(np.float32), inside)


@dataclass
class _State:
    """What n windows are fitted by; changed from step to step."""

    centre: Array
    """(n, 2) px, from the windows' base"""
    jac: Array
    """(n, 2, 2) px per square"""
    tilt: Array
    """(n, 2) perspective terms"""
    blur: Array
    """(n,) px"""
    tone: Array
    """(n, 5) level, two slopes, gain and the even term of the light"""

    def move(self, step: Array) -> None:
        """Go a step (n, 14), each part no further than is safe."""
        shift, linear, tilt, blur = constants.PATCH_STEPS
        self.centre = self.centre + np.clip(step[:, :2], -shift, shift)
        self.jac = self.jac @ (np.eye(2) + np.clip(step[:, 2:6], -linear, linear).reshape(-1, 2, 2))
        most = constants.MOST_PERSPECTIVE
        self.tilt = np.clip(self.tilt + np.clip(step[:, 6:8], -tilt, tilt), -most, most)
        narrow, wide = constants.LEAST_PATCH_BLUR_PX, constants.MOST_PATCH_BLUR_PX
        self.blur = np.clip(self.blur + np.clip(step[:, 8], -blur, blur), narrow, wide)
        self.tone = self.tone + step[:, 9:]


@dataclass(frozen=True)
class _Linear:
    """The fit at one state."""

    design: Single
    """(n, 14, m) derivatives by the unknowns"""
    residual: Single
    """(n, m)"""
    noise: Array
    """(n,) variance of the residuals"""
    inverse: Array
    """(n, 14, 14) of the normal matrix with what is held"""
    step: Array
    """(n, 14)"""
    place: Single
    """(n, 2, m) places in squares"""


def _fit(pixels: _Pixels, around: NDArray[np.float32], centre: Array, start: Array, blur_px: float) -> SaddleFits:
    n = len(centre)
    count = pixels.weight.sum(axis=1, dtype=np.float64)
    spectrum = scipy.fft.rfft2(around - np.float32(1.0))
    mean = np.sum(pixels.light * pixels.weight, axis=1) / count
    spread = np.sqrt(np.sum((pixels.light - mean[:, None]) ** 2 * pixels.weight, axis=1) / count)
    tone = np.stack([mean - spread, *np.zeros((2, n)), np.maximum(2 * spread, 1.0), np.zeros(n)], axis=1)
    state = _State(centre, start.copy(), np.zeros((n, 2)), np.full(n, blur_px), tone)
    for round_ in range(constants.PATCH_ROUNDS + 1):
        if round_ in constants.RENDER_AT:
            pictures = _rendered(spectrum, state.jac, state.blur)
        linear = _linearised(pixels, pictures, state, count, blur_px)
        if round_ < constants.PATCH_ROUNDS:
            state.move(linear.step)
    return _result(pixels, state, linear, count, start)


def _linearised(
    pixels: _Pixels, pictures: NDArray[np.float32], state: _State, count: Array, blur_px: float
) -> _Linear:
    """Derivatives, residuals and the step of all windows at once."""
    n, unknowns, weight = len(count), constants.PATCH_UNKNOWNS, pixels.weight
    diagonal = np.arange(unknowns)
    inverse_jac = np.linalg.inv(state.jac).astype(np.float32)
    away = pixels.at - state.centre.astype(np.float32)[:, :, None]
    p = inverse_jac @ away
    p = p / (1 - np.sum(state.tilt.astype(np.float32)[:, :, None] * p, axis=1))[:, None]
    t, by_x, by_y, by_blur = _look_up(pictures, p)
    light_of = state.tone.astype(np.float32)
    gain = (light_of[:, 3:4] + light_of[:, 4:] * (1 - 2 * t)) * weight
    slope = gain[:, None] * np.stack([by_x, by_y], axis=1)
    design = np.empty((n, unknowns, weight.shape[1]), np.float32)
    design[:, :2] = -inverse_jac.transpose(0, 2, 1) @ slope
    design[:, 2:6] = -(slope[:, :, None] * p[:, None]).reshape(n, 4, -1)
    design[:, 6:8] = np.sum(slope * p, axis=1)[:, None] * p
    design[:, 8] = gain * by_blur
    design[:, 9] = weight
    design[:, 10:12] = 0.1 * away * weight[:, None]
    design[:, 12] = t * weight
    design[:, 13] = design[:, 12] * (1 - t)
    residual = pixels.light * weight - (light_of[:, None] @ design[:, 9:])[:, 0]
    noise = np.sum(residual * residual, axis=1, dtype=np.float64) / np.maximum(count - unknowns, 1.0)
    held, pull = np.zeros((n, unknowns)), np.zeros((n, unknowns))
    held[:, 6:8], held[:, 8] = (noise / constants.U_PERSPECTIVE**2)[:, None], noise / (constants.U_BLUR * blur_px) ** 2
    pull[:, 6:8], pull[:, 8] = -held[:, 6:8] * state.tilt, held[:, 8] * (blur_px - state.blur)
    normal = (design @ design.transpose(0, 2, 1)).astype(np.float64)
    normal[:, diagonal, diagonal] += held
    scale = np.sqrt(np.maximum(normal[:, diagonal, diagonal], 1e-12))
    normal = normal / (scale[:, :, None] * scale[:, None])
    normal[:, diagonal, diagonal] += 1e-9
    inverse = np.linalg.inv(normal) / (scale[:, :, None] * scale[:, None])
    step = (inverse @ ((design @ residual[:, :, None])[:, :, 0] + pull)[:, :, None])[:, :, 0]
    return _Linear(design, residual, noise, inverse, step, p)


def _result(pixels: _Pixels, state: _State, linear: _Linear, count: Array, start: Array) -> SaddleFits:
    """The fits with their covariance, and what tells whether to believe them."""
    residual, tone, unknowns = linear.residual, state.tone, constants.PATCH_UNKNOWNS
    influence = linear.inverse[:, :2].astype(np.float32) @ linear.design * residual[:, None]
    cov = (influence @ influence.transpose(0, 2, 1)).astype(np.float64) * constants.PATCH_CORRELATION
    cov = cov * (count / np.maximum(count - unknowns, 1.0))[:, None, None] + constants.FLOOR_PX**2 * np.eye(2)
    black, white = (np.interp(level, LIGHT_LEVELS, np.arange(256.0)) for level in (tone[:, 0], tone[:, 0] + tone[:, 3]))
    half = 0.5 * (white - black)
    normals, before = _normals(state.jac), _normals(start)
    quarter = (linear.place[:, 0] > 0) * 2 + (linear.place[:, 1] > 0)
    power = np.zeros((len(count), 4))
    for q in range(4):
        here = pixels.weight * (quarter == q)
        power[:, q] = np.sum(residual * residual * here, axis=1) / np.maximum(here.sum(axis=1), 1.0)
    valid = (
        pixels.inside
        & (np.abs(linear.step[:, :2]).max(axis=1) < constants.PATCH_SETTLED_PX)
        & np.isfinite(cov).all(axis=(1, 2))
        & (tone[:, 3] > 0)
    )
    return SaddleFits(
        uv_px=pixels.base + state.centre,
        cov_px2=cov,
        blur_px=np.stack([state.blur, state.blur], axis=1),
        normals=normals,
        amplitude=half,
        rms=np.sqrt(linear.noise) / np.maximum(np.abs(tone[:, 3]) / 2, 1e-9) * np.abs(half),
        third=np.zeros((len(count), 2)),
        third_u=np.zeros((len(count), 2)),
        lopsided=np.sqrt(power.max(axis=1) / np.maximum(np.sum(residual * residual, axis=1) / count, 1e-9)),
        turned_rad=np.arccos(np.clip(np.sum(normals * before, axis=2), -1, 1)).max(axis=1),
        valid=valid,
    )


def _normals(jac: Array) -> Array:
    inverse = np.linalg.inv(jac)
    return np.asarray(inverse / np.linalg.norm(inverse, axis=2, keepdims=True))


def _rendered(spectrum: NDArray[np.complex64], jac: Array, blur_px: Array) -> NDArray[np.float32]:
    """(n, PATCH_SIDE, PATCH_SIDE, 4) patterns blurred as the picture is, derivatives by x and y (per square) and blur (px)."""
    fy = np.fft.fftfreq(PATCH_SIDE, 1 / PATCH_TEXELS).astype(np.float32)[:, None] * np.float32(2 * np.pi)
    fx = np.fft.rfftfreq(PATCH_SIDE, 1 / PATCH_TEXELS).astype(np.float32)[None] * np.float32(2 * np.pi)
    inverse = np.linalg.inv(jac)
    shape = (inverse @ inverse.transpose(0, 2, 1)).astype(np.float32)[:, :, :, None, None]
    square = shape[:, 0, 0] * (fx * fx) + shape[:, 0, 1] * (2 * fx * fy) + shape[:, 1, 1] * (fy * fy)
    sigma = blur_px.astype(np.float32)[:, None, None]
    blurred = spectrum * np.exp(np.float32(-0.5) * sigma**2 * square)
    turned = np.complex64(1j) * blurred
    out = np.empty((len(jac), PATCH_SIDE, PATCH_SIDE, 4), np.float32)
    for k, part in enumerate((blurred, fx * turned, fy * turned, -sigma * square * blurred)):
        out[..., k] = scipy.fft.irfft2(part, s=(PATCH_SIDE, PATCH_SIDE))
    out[..., 0] += 1
    return out


def _look_up(pictures: NDArray[np.float32], p: Single) -> tuple[Single, ...]:
    """Four (n, m) of bilinear values at places (n, 2, m) in squares; ``pictures`` as ``_rendered`` gives them."""
    at = np.clip((p + PATCH_HALF) * PATCH_TEXELS - HALF_PIXEL, 0, PATCH_SIDE - BILINEAR_RIM)
    below = np.arange(len(p))[:, None] * PATCH_SIDE  # the pictures lie below each other
    u, v = at[:, 0].astype(np.float32), (at[:, 1] + below).astype(np.float32)
    value = cv2.remap(pictures.reshape(-1, PATCH_SIDE, 4), u, v, cv2.INTER_LINEAR)
    return tuple(np.ascontiguousarray(np.moveaxis(np.asarray(value, np.float32), 2, 0)))
