"""Reading markers whose modules are too small to tell black from white one by one.

The grey values over both markers beside a checkerboard corner are compared with what each corner of each printed board would
show there, blurred as the picture is: y = a + g K m, with m the modules of the code and K the blurred modules (linear, since
blur is). Gain and level are free for each marker; the corner with the least sum of squares is the most likely one (maximum
likelihood for white noise), and a second one that is nearly as good makes the reading void. Both markers together have fifty
bits of which no two corners share all but a few, so a false reading by chance is next to impossible.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.capture import constants
from phototemplate.capture.corner_lattice import CornerFrames, sample
from phototemplate.capture.target_layout import CornerNames
from phototemplate.model import Array, GrayImage, IntArray


@dataclass(frozen=True)
class Readings:
    """The most likely name of each of N corners."""

    name: IntArray
    """(N,) index into ``CornerNames``"""
    explained: Array
    """(N,) share of the variance over both markers that it explains"""
    margin: Array
    """(N,) sum of squares of the next best name over that of the best"""
    doubt: Array
    """(N,) sum of squares of the name over that of the best code at all, for the marker where this is larger: well over 1 where
    one marker fits and the other is not the one printed beside it"""


def read_corners(gray: GrayImage, frames: CornerFrames, names: CornerNames, size: int, blur_px: float) -> Readings:
    """Name the corners of ``frames``; ``size`` is the modules along a side of a code, without its border."""
    n = len(frames)
    name, explained, margin, doubt = np.zeros(n, np.int64), np.zeros(n), np.ones(n), np.ones(n)
    cells = size + 2
    at = (np.arange(cells * constants.MODULE_OVERSAMPLING) + 0.5) / constants.MODULE_OVERSAMPLING / cells - 0.5
    x, y = (a.ravel() for a in np.meshgrid(at, -at))
    border = np.ones((cells + 2, cells + 2), bool)
    border[1:-1, 1:-1] = False
    bits = np.zeros_like(border)
    bits[2:-2, 2:-2] = True
    for k in range(n):
        uv, jac = frames.uv_px[k], frames.px_from_square[k]
        design = _blurred_modules(jac * [1, -1] * names.marker / cells, blur_px, cells)
        rim = design[:, border.ravel()].sum(axis=1)
        rim -= rim.mean()
        free = design[:, bits.ravel()]
        free = free - free.mean(axis=0)
        gram, cross = (free.T @ free).astype(np.float32), (free.T @ rim).astype(np.float32)
        pictures = names.pictures
        energy = rim @ rim + np.sum((pictures @ gram + 2 * cross) * pictures, axis=2, dtype=np.float64)
        squares, total = np.zeros(len(names.board)), 0.0
        each = []
        for i, centre in enumerate(constants.WHITE_SQUARES):
            local = np.stack([centre[0] + names.marker * x, centre[1] + names.marker * y], axis=1)
            level = sample(gray, uv + local @ jac.T).astype(float)
            level -= level.mean()
            match = rim @ level + pictures @ (free.T @ level).astype(np.float32)
            left = level @ level - np.maximum(match, 0.0) ** 2 / np.maximum(energy, 1e-9)
            each.append(left)
            squares += left[names.turn, names.codes[:, i]]
            total += level @ level
        first, second = np.argpartition(squares, 1)[:2]
        if squares[second] < squares[first]:
            first, second = second, first
        name[k] = first
        of_name = [left[names.turn[first], names.codes[first, i]] for i, left in enumerate(each)]
        doubt[k] = max(own / max(float(left.min()), 1e-9) for own, left in zip(of_name, each, strict=True))
        explained[k] = 1 - squares[first] / max(total, 1e-9)
        margin[k] = squares[second] / max(squares[first], 1e-9)
    return Readings(name, explained, margin, doubt)


def _blurred_modules(px_from_module: Array, blur_px: float, cells: int) -> Array:
    """(samples, (cells + 2)^2) share of every module, a ring around the marker included, in every sample; rows as one reads."""
    inverse = np.linalg.inv(px_from_module)
    spread = blur_px**2 * inverse @ inverse.T + 1e-3 * np.eye(2)
    at = (np.arange(cells * constants.MODULE_OVERSAMPLING) + 0.5) / constants.MODULE_OVERSAMPLING
    apart = at[:, None] - (np.arange(-1, cells + 1) + 0.5)
    # apart is a whole number of half samples: the blur of one module is looked up in a small table
    half = 0.5 / constants.MODULE_OVERSAMPLING
    far = round(constants.MODULE_FAR / half)
    index = np.clip(np.round(apart / half).astype(int), -far, far) + far
    part = (np.arange(4) + 0.5) / 4 - 0.5
    offset = (np.arange(-far, far + 1) * half)[:, None] - part
    weights = np.linalg.inv(spread)
    dx, dy = offset[:, :, None, None], offset[None, None]
    table = np.exp(-0.5 * (weights[0, 0] * dx * dx + 2 * weights[0, 1] * dx * dy + weights[1, 1] * dy * dy)).mean(axis=(1, 3))
    table /= 2 * np.pi * np.sqrt(np.linalg.det(spread))
    table[[0, -1]] = table[:, [0, -1]] = 0.0
    return np.asarray(table[index[None, :, None, :], index[:, None, :, None]].reshape(len(at) ** 2, (cells + 2) ** 2))
