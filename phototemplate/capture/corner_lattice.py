"""Local frames of checkerboard corners that no marker has named yet: where they are and how the squares lie about them.

A marker whose modules are one or two pixels wide runs together with the black squares beside it, and no contour search finds
it; the corner between four squares is still plain to see. Each such corner is found as a saddle of the grey values (the
determinant of the second derivatives), its squares by where the black ends along either edge, and the frame is then aligned
to what every board shows about every corner whatever its number: two black squares, two white ones with a white rim and a
marker's black border (inverse compositional alignment, Baker and Matthews 2004, with an affine warp).

Frame of a corner: unit of length one square, s and t along the edges and turned as a printed x and y (t is s turned
anticlockwise as seen), the black squares at s t > 0, the markers at (0.5, -0.5) and (-0.5, 0.5).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from phototemplate.capture import constants
from phototemplate.model import Array, GrayImage, IntArray

_LEVELS = np.array(constants.TEMPLATE_BLURS)


@dataclass(frozen=True)
class CornerFrames:
    """Frames of N corners."""

    uv_px: Array
    """(N, 2)"""
    px_from_square: Array
    """(N, 2, 2) columns: one square along s and t in px"""
    likeness: Array
    """(N,) correlation with the common template"""

    def __len__(self) -> int:
        return len(self.uv_px)

    def take(self, index: NDArray[Any]) -> CornerFrames:
        return CornerFrames(self.uv_px[index], self.px_from_square[index], self.likeness[index])


def find_frames(gray: GrayImage, known_px: Array, contrast: float, blur_px: float, rim: float) -> CornerFrames:
    """Frames of the corners in a picture, except those within 3 px of the places ``known_px`` (n, 2).

    Args:
        gray: picture.
        known_px: points that are measured already.
        contrast: half the step from black to white on paper in full light, in grey levels; what has far less is passed over.
        blur_px: standard deviation of the picture's blur.
        rim: white rim of a marker, in squares.
    """
    smooth = np.asarray(cv2.GaussianBlur(gray, (0, 0), constants.FRAME_SMOOTH_PX), np.float32)
    uv, second = _saddles(smooth, known_px, max(constants.LEAST_CURVATURE, constants.CURVATURE_SHARE * contrast))
    return _aligned(
        gray,
        _rough_frames(gray, smooth, uv, second, blur_px, rim, max(constants.LEAST_STEP, constants.STEP_SHARE * contrast)),
        blur_px,
        rim,
    )


def sample(image: NDArray[Any], uv: Array) -> NDArray[np.float32]:
    """Bilinear values at pixel places (..., 2)."""
    flat = uv.reshape(-1, 2).astype(np.float32)
    row = 256
    padded = np.concatenate([flat, np.zeros((-len(flat) % row, 2), np.float32)]).reshape(-1, row, 2)
    step = 32000  # remap takes at most 32767 rows
    parts = [
        cv2.remap(image, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for part in (padded[k : k + step] for k in range(0, len(padded), step))
    ]
    values = np.concatenate(parts).ravel()[: len(flat)] if parts else np.zeros(0)
    return np.asarray(values, np.float32).reshape(uv.shape[:-1])


# -------------------------------------------------------------------------------------------- corners


def _saddles(smooth: NDArray[np.float32], known_px: Array, curvature: float) -> tuple[Array, Array]:
    """Saddles (n, 2) of the grey values that look alike from both sides, and their second derivatives (n, 2, 2).

    ``curvature`` is the least root of the negative determinant of these, in grey levels per px^2; a third of half the step
    from black to white is usual.
    """
    kernels = ([[1, -2, 1]], [[1], [-2], [1]], [[0.25, 0, -0.25], [0, 0, 0], [-0.25, 0, 0.25]])
    xx, yy, xy = (cv2.filter2D(smooth, -1, np.array(k, np.float32)) for k in kernels)
    strength = xy * xy - xx * yy
    peak = (strength >= cv2.dilate(strength, np.ones((5, 5), np.uint8))) & (strength > curvature**2)
    peak[:6] = peak[-6:] = False
    peak[:, :6] = peak[:, -6:] = False
    v, u = np.nonzero(peak)
    second = np.stack([xx[peak], xy[peak], xy[peak], yy[peak]], axis=1).reshape(-1, 2, 2).astype(float)
    slope = np.stack([smooth[v, u + 1] - smooth[v, u - 1], smooth[v + 1, u] - smooth[v - 1, u]], axis=1) / 2.0
    off = -np.linalg.solve(second, slope[:, :, None].astype(float))[:, :, 0]
    uv = np.stack([u, v], axis=1) + off
    keep = np.abs(off).max(axis=1, initial=0.0) < constants.SADDLE_SHIFT_PX
    if len(known_px):
        taken = np.zeros(smooth.shape, np.uint8)
        for x, y in np.round(known_px).astype(int):
            cv2.circle(taken, (int(x), int(y)), 3, 1, -1)
        keep &= taken[v, u] == 0
    uv, second = uv[keep], second[keep]
    angle = np.arange(constants.RING_SAMPLES) * 2 * np.pi / constants.RING_SAMPLES
    ring = sample(smooth, uv[:, None] + constants.RING_PX * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    power = np.abs(np.fft.rfft(ring, axis=1)) ** 2
    power[:, -1] /= 2
    total = power[:, 1:].sum(axis=1) + 1e-6
    even = (power[:, 1::2].sum(axis=1) < constants.ODD_POWER * total) & (power[:, 2] > constants.TWOFOLD_POWER * total)
    return uv[even], second[even]


def _rough_frames(
    gray: GrayImage, smooth: NDArray[np.float32], uv: Array, second: Array, blur_px: float, rim: float, least_step: float
) -> CornerFrames:
    """Frames from the edges alone; ``least_step`` is the least half step across them."""
    s, t = _edge_directions(second)
    (s, step_s), (t, step_t) = _steered(smooth, uv, s, t), _steered(smooth, uv, t, s)
    step = np.minimum(step_s, step_t)
    crossed = np.abs(s[:, 0] * t[:, 1] - s[:, 1] * t[:, 0]) > constants.CROSSED_SINE
    keep = np.flatnonzero((step > least_step) & (step > constants.EVEN_STEPS * np.maximum(step_s, step_t)) & crossed)
    uv, s, t, step = uv[keep], s[keep], t[keep], step[keep]
    reach = np.stack([_black_until(smooth, uv, k * a, k * b, step) for a, b in ((s, t), (t, s)) for k in (1, -1)], axis=1)
    pairs = reach.reshape(-1, 2, 2)
    keep = np.flatnonzero(
        np.isfinite(reach).all(axis=1) & (pairs.max(axis=2) < constants.EVEN_REACH * pairs.min(axis=2)).all(axis=1)
    )
    uv, s, t, pairs = uv[keep], s[keep], t[keep], pairs[keep]
    frames = CornerFrames(uv, np.stack([s, t], axis=2) * pairs.mean(axis=2)[:, None], np.zeros(len(uv)))
    frames = frames.take(_improve(gray, frames, blur_px, rim, 0, 0.0)[0].likeness > constants.ROUGH_LIKENESS)
    jac = frames.px_from_square
    for _ in range(2):
        jac = _sheared(smooth, frames.uv_px, jac)
    return CornerFrames(frames.uv_px, jac, frames.likeness)


def _edge_directions(second: Array) -> tuple[Array, Array]:
    """Unit directions of s and t: those in which the second derivative vanishes, with a black square between them."""
    values, vectors = np.linalg.eigh(second)
    black, white = vectors[:, :, 0], vectors[:, :, 1]
    towards = np.sqrt(np.maximum(values[:, 1:], 0.0)) * black
    aside = np.sqrt(np.maximum(-values[:, :1], 0.0)) * white
    s, t = towards + aside, towards - aside
    mirrored = s[:, 0] * t[:, 1] - s[:, 1] * t[:, 0] > 0  # v runs down: t is anticlockwise of s where this is negative
    s[mirrored], t[mirrored] = t[mirrored].copy(), s[mirrored].copy()
    return tuple(a / np.maximum(np.linalg.norm(a, axis=1, keepdims=True), 1e-9) for a in (s, t))


def _steered(smooth: NDArray[np.float32], uv: Array, along: Array, other: Array) -> tuple[Array, Array]:
    """Edge directions turned to where the step across is greatest, and that step; near the corner only."""
    fan = np.radians(np.arange(-24, 25, 6.0))
    cos, sin = np.cos(fan)[:, None], np.sin(fan)[:, None]
    turned = np.stack(
        [cos * along[:, None, :1] - sin * along[:, None, 1:], sin * along[:, None, :1] + cos * along[:, None, 1:]], axis=-1
    )[:, :, 0]
    normal = np.stack([-turned[..., 1], turned[..., 0]], axis=-1)
    normal *= np.sign(np.sum(normal * other[:, None], axis=-1, keepdims=True))
    out = np.array([[1.5], [2.8], [4.1], [5.4]])
    step = np.zeros(turned.shape[:2])
    for k in (1, -1):
        at, aside = uv[:, None, None] + k * turned[:, :, None] * out, 1.2 * k * normal[:, :, None]
        step += (sample(smooth, at - aside) - sample(smooth, at + aside)).mean(axis=2) / 2
    best = _peak(step)
    angle = np.radians(-24 + 6.0 * best)[:, None]
    cos, sin = np.cos(angle), np.sin(angle)
    direction = np.hstack([cos * along[:, :1] - sin * along[:, 1:], sin * along[:, :1] + cos * along[:, 1:]])
    return direction, step.max(axis=1, initial=0.0)


def _peak(rows: Array) -> Array:
    """Place of the largest value of each row, by a parabola through it and its neighbours."""
    i = np.arange(len(rows))
    k = np.clip(rows.argmax(axis=1), 1, rows.shape[1] - 2)
    before, at, after = rows[i, k - 1], rows[i, k], rows[i, k + 1]
    return np.asarray(k + np.clip((before - after) / 2 / np.minimum(before - 2 * at + after, -1e-6), -1, 1))


def _black_until(smooth: NDArray[np.float32], uv: Array, along: Array, into_black: Array, step: Array) -> Array:
    """Length of the black square along one edge in px, NaN where it does not end."""
    out = np.arange(0.0, constants.LARGEST_SQUARE_PX, 0.5)
    level = sample(smooth, uv[:, None] + along[:, None] * out[:, None] + constants.BESIDE_EDGE_PX * into_black[:, None]).astype(
        float
    )
    risen = level > np.minimum.accumulate(level, axis=1) + constants.BLACK_ENDS * step[:, None]
    risen[:, out < constants.SHORTEST_BLACK_PX] = False
    first = np.where(risen.any(axis=1), risen.argmax(axis=1), 6)
    slope = np.gradient(level, axis=1)
    near = np.clip(first[:, None] + np.arange(-7, 4), 1, len(out) - 2)
    place = near[:, 0] + _peak(np.take_along_axis(slope, near, axis=1))
    return np.where(risen.any(axis=1), 0.5 * place, np.nan)


def _sheared(smooth: NDArray[np.float32], uv: Array, jac: Array) -> Array:
    """Edges turned to where the step across is greatest, along most of the square's length."""
    shear = np.arange(-0.6, 0.61, 0.1)
    along = np.array([0.15, 0.3, 0.45, 0.6, 0.75])
    columns = []
    for a in (0, 1):
        this, other = jac[:, None, None, :, a], jac[:, None, None, :, 1 - a]
        step = np.zeros((len(uv), len(shear)))
        for k in (1, -1):
            at = uv[:, None, None] + k * (this * along[:, None] + other * (shear[:, None, None] * along[:, None]))
            aside = 0.13 * k * other
            step += (sample(smooth, at - aside) - sample(smooth, at + aside)).mean(axis=2)
        best = shear[0] + 0.1 * _peak(step)
        columns.append(jac[:, :, a] + jac[:, :, 1 - a] * best[:, None])
    return np.stack(columns, axis=2)


# ------------------------------------------------------------------------------------------ alignment


@dataclass(frozen=True)
class _Template:
    """What all corners have in common, blurred."""

    places: Array
    """(m, 2) s and t"""
    level: Array
    """(m,) zero mean"""
    descent: Array
    """(m, 6) derivatives by shift and linear part of a warp of the template, free of level and contrast"""
    normal: Array
    """(6, 6)"""


@cache
def _template(blur_s: float, blur_t: float, rim: float, step: float = 0.1, fine: int = 8) -> _Template:
    h = step / fine
    axis = (np.arange(round(2.6 / h)) + 0.5) * h - 1.3
    s, t = np.meshgrid(axis, axis)
    inside = (np.abs(s) < 1) & (np.abs(t) < 1)
    white_square = inside & (s * t < 0)
    out = np.maximum(np.abs(np.abs(s) - constants.HALF_SQUARE), np.abs(np.abs(t) - constants.HALF_SQUARE))
    half = 0.5 - rim
    module = 2 * half / 7
    level = np.ones_like(s)
    level[inside & (s * t > 0)] = 0.0
    level[white_square & (out < half)] = 0.0
    bits = white_square & (out < half - module)
    level[bits] = 0.5
    # known: not the bits; beyond the four squares only a little white straight behind a black one
    near = (np.maximum(np.abs(s), np.abs(t)) < constants.TEMPLATE_REACH) & ~((np.abs(s) > 1) & (np.abs(t) > 1))
    known = (
        near & ~bits & (inside | (s * t > 0)) & ~(white_square & (np.maximum(np.abs(s), np.abs(t)) > constants.TEMPLATE_RIM))
    )
    blurred = gaussian_filter(level, (blur_t / h, blur_s / h))
    by_t, by_s = np.gradient(blurred, h)
    pick = np.ix_(*[np.arange(fine // 2, len(axis), fine)] * 2)
    keep = known[pick]
    s, t, level, by_s, by_t = (a[pick][keep] for a in (s, t, blurred, by_s, by_t))
    descent = np.stack([by_s, by_t, by_s * s, by_s * t, by_t * s, by_t * t], axis=1)
    light = np.stack([np.ones(len(level)), level], axis=1)
    descent -= light @ np.linalg.lstsq(light, descent, rcond=None)[0]
    return _Template(np.stack([s, t], axis=1), level - level.mean(), descent, descent.T @ descent)


def _aligned(gray: GrayImage, frames: CornerFrames, blur_px: float, rim: float) -> CornerFrames:
    """Frames moved and bent onto the common template; those that do not look like it are left out."""
    start = frames
    for rounds, damping, wanted in constants.ALIGNMENT_ROUNDS:
        frames, step = _improve(gray, frames, blur_px, rim, rounds, damping)
        moved = np.linalg.norm(frames.uv_px - start.uv_px, axis=1)
        width = np.linalg.svd(frames.px_from_square, compute_uv=False)[:, 1]
        keep = (
            (frames.likeness > wanted)
            & (moved < constants.FRAME_DRIFT_PX)
            & (step > constants.LEAST_STEP)
            & (width > constants.SMALLEST_SQUARE_PX)
        )
        start, frames = start.take(keep), frames.take(keep)
    return frames


def _improve(
    gray: GrayImage, frames: CornerFrames, blur_px: float, rim: float, rounds: int, damping: float
) -> tuple[CornerFrames, Array]:
    """Frames after some steps of alignment, and their steps from black to white (N,)."""
    uv, jac = frames.uv_px.copy(), frames.px_from_square.copy()
    likeness, contrast = np.zeros(len(uv)), np.zeros(len(uv))
    for round_ in range(rounds + 1):
        if round_ in (0, 3):
            groups = _groups(jac, blur_px)
        for blur, index in groups:
            template = _template(*blur, rim)
            norm = float(template.level @ template.level)
            at = uv[index, None] + template.places @ jac[index].transpose(0, 2, 1)
            level = sample(gray, at).astype(float)
            level -= level.mean(axis=1, keepdims=True)
            size = np.sqrt(np.sum(level * level, axis=1) / norm + 1e-9)
            contrast[index] = level @ template.level / norm
            likeness[index] = contrast[index] / size
            if round_ == rounds:
                continue
            # contrast from the scatter, not from the fit: a frame that is off would be pushed too far
            residual = level / size[:, None] - template.level
            normal = template.normal + damping * np.trace(template.normal) / 6 * np.diag([0.0, 0, 1, 1, 1, 1])
            warp = np.clip(residual @ np.linalg.solve(normal, template.descent.T).T, -constants.WARP_STEP, constants.WARP_STEP)
            jac[index] = jac[index] @ np.linalg.inv(np.eye(2) + warp[:, 2:].reshape(-1, 2, 2))
            uv[index] -= (jac[index] @ warp[:, :2, None])[:, :, 0]
    return CornerFrames(uv, jac, likeness), contrast


def _groups(jac: Array, blur_px: float) -> list[tuple[tuple[float, float], IntArray]]:
    """Frames by the template that has their blur."""
    inverse = np.linalg.pinv(jac) if len(jac) else jac
    blur = blur_px * np.linalg.norm(inverse, axis=2)
    level = np.abs(np.log(np.maximum(blur, constants.LEAST_TEMPLATE_BLUR)[:, :, None] / _LEVELS)).argmin(axis=2)
    code = level[:, 0] * len(_LEVELS) + level[:, 1]
    return [
        ((float(_LEVELS[c // len(_LEVELS)]), float(_LEVELS[c % len(_LEVELS)])), np.flatnonzero(code == c))
        for c in np.unique(code)
    ]
