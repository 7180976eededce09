"""Square markers: candidate quadrilaterals in a picture, and reading their codes.

The contour search is OpenCV's ``ArucoDetector``. Its own reading step compares every candidate with every code of the
dictionary one by one, which costs more than the search when the dictionary has a thousand codes (0.35 s of 0.6 s on a
12-megapixel photo); here all candidates are read at once against a table, and several dictionaries share one search.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from phototemplate.capture import constants
from phototemplate.errors import InputError
from phototemplate.model import Array, GrayImage, IntArray


@dataclass(frozen=True)
class MarkerCodes:
    """Codes of a dictionary in all four turns."""

    size: int
    """Modules along a side, without the border"""
    ids: IntArray
    """(n,)"""
    words: NDArray[np.uint64]
    """(4, n) bits as one reads, most significant first; turned k quarter turns anticlockwise"""
    correctable: int
    """Wrong bits that may be forgiven"""

    def only(self, ids: Container[int]) -> MarkerCodes:
        """The same with fewer ids; the fewer, the rarer a false reading."""
        keep = np.array([int(i) in ids for i in self.ids], bool)
        return MarkerCodes(self.size, self.ids[keep], self.words[:, keep], self.correctable)


@dataclass(frozen=True)
class MarkerSightings:
    """Markers read in a picture, n of them."""

    ids: IntArray
    corners_px: Array
    """(n, 4, 2) top left, top right, bottom right, bottom left as printed; good to about 0.5 px"""
    errors: IntArray
    """(n,) wrong bits, border included"""
    quad: IntArray
    """(n,) index of the candidate"""


def dictionary(name: str | Path) -> Any:
    """An OpenCV marker dictionary: a name such as ``"DICT_4X4_100"``, or a YAML/XML file written by OpenCV.

    Raises:
        InputError: no such dictionary or file.
    """
    text = str(name)
    number = getattr(cv2.aruco, text, None) if text.startswith("DICT_") else None
    if number is not None:
        return cv2.aruco.getPredefinedDictionary(number)
    path = Path(name)
    if not path.is_file():
        known = sorted(n for n in dir(cv2.aruco) if n.startswith("DICT_"))
        raise InputError(f"{text}: no such marker dictionary; use one of {', '.join(known)} or an OpenCV YAML file.")
    storage = cv2.FileStorage(str(path), cv2.FILE_STORAGE_READ)
    own = cv2.aruco.Dictionary()
    if not own.readDictionary(storage.root()):
        raise InputError(f"{path.name}: this file holds no OpenCV marker dictionary; export it with writeDictionary.")
    return own


def codes_of(dictionary: Any) -> MarkerCodes:
    """Table of an OpenCV dictionary's codes."""
    size = int(dictionary.markerSize)
    bits = np.array([_bits(dictionary, k) for k in range(len(dictionary.bytesList))], bool)
    words = np.stack([_words(np.rot90(bits, k, axes=(1, 2))) for k in range(4)])
    return MarkerCodes(
        size, np.arange(len(bits), dtype=np.int64), words, int(constants.CORRECTED * dictionary.maxCorrectionBits)
    )


def _bits(dictionary: Any, k: int) -> NDArray[Any]:
    size = int(dictionary.markerSize)
    return np.asarray(cv2.aruco.Dictionary.getBitsFromByteList(dictionary.bytesList[k : k + 1], size)).reshape(size, size)


def _words(bits: NDArray[np.bool_]) -> NDArray[np.uint64]:
    """(n, s, s) bits -> (n,) integers."""
    flat = bits.reshape(len(bits), -1)
    weights = np.uint64(1) << np.arange(flat.shape[1] - 1, -1, -1, dtype=np.uint64)
    words: NDArray[np.uint64] = (flat * weights).sum(axis=1, dtype=np.uint64)
    return words


def find_quads(gray: GrayImage, min_side_px: float = 12.0, max_side_px: int = 6000) -> Array:
    """Dark quadrilaterals that could be markers, (n, 4, 2) clockwise as seen, good to about 0.5 px.

    Pictures larger than ``max_side_px`` are searched at half size (or a quarter ...), small ones one and a half times
    enlarged: the modules of a marker of 12 px are too fine for the search otherwise.
    """
    scale = 1.0
    image = gray
    if max(gray.shape) < constants.SMALL_SIDE_PX:
        scale = 1 / 1.5
        image = np.asarray(cv2.resize(gray, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC), np.uint8)
    while max(image.shape) > max_side_px:
        half = (image.shape[1] // 2, image.shape[0] // 2)
        image = cv2.resize(image[: half[1] * 2, : half[0] * 2], half, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
        scale *= 2.0
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = max(4 * min_side_px / scale / max(image.shape), constants.SMALLEST_PERIMETER)
    parameters.maxMarkerPerimeterRate = constants.LARGEST_PERIMETER
    # the detector keeps one of several nested outlines, and without reading it takes the outer one: the white card
    # around a marker; so nothing but copies of one outline is merged here
    parameters.minMarkerDistanceRate = 0.02
    parameters.minGroupDistance = 0.02
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    found, _, rejected = cv2.aruco.ArucoDetector(_unreadable(), parameters).detectMarkers(image)
    quads = [np.asarray(q, float).reshape(4, 2) for q in (*found, *rejected)]
    if not quads:
        return np.zeros((0, 4, 2))
    return (np.array(quads) + 0.5) * scale - 0.5


@cache
def _unreadable() -> Any:
    """A dictionary of a single code, so that the detector's own reading costs nothing."""
    full = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    return cv2.aruco.Dictionary(full.bytesList[:1], 5, 0)


def read_markers(
    gray: GrayImage, quads: Array, codes: MarkerCodes, max_errors: int = 1, max_border: float = 0.15
) -> MarkerSightings:
    """Read the code inside every candidate; those that are no marker of the dictionary are left out.

    ``max_errors`` wrong bits are forgiven (never more than the dictionary can correct), and a share ``max_border`` of
    border modules that are not black. Of several candidates for one marker in one place the best read is kept.
    """
    if not len(quads) or not len(codes.ids):
        return _none()
    values, spread = _modules(gray, quads, codes.size + 2)
    n = codes.size
    inner = values[:, 1:-1, 1:-1]
    edge = np.ones((n + 2, n + 2), bool)
    edge[1:-1, 1:-1] = False
    border = values[:, edge]
    black = np.median(border, axis=1)
    white = np.percentile(inner.reshape(len(quads), -1), 90, axis=1)
    threshold = (black + white) / 2
    wrong_border = (border > threshold[:, None]).sum(axis=1)
    words = _words(inner > threshold[:, None, None])
    distance = np.bitwise_count(words[:, None, None] ^ codes.words[None])  # (quads, 4, ids)
    best = distance.reshape(len(quads), -1).argmin(axis=1)
    turn, which = np.divmod(best, len(codes.ids))
    errors = distance.reshape(len(quads), -1)[np.arange(len(quads)), best].astype(np.int64)
    good = (
        (errors <= min(max_errors, codes.correctable))
        & (wrong_border <= max_border * edge.sum())
        & (white - black > np.maximum(constants.LEAST_MARKER_STEP, constants.LEAST_STEP_OF_NOISE * spread))
    )
    keep = np.flatnonzero(good)
    corners = np.array([np.roll(quads[k], turn[k], axis=0) for k in keep]).reshape(-1, 4, 2)
    total = errors[keep] + wrong_border[keep]
    return best_of_each(codes.ids[which[keep]], corners, total, keep)


def _none() -> MarkerSightings:
    empty = np.zeros(0, np.int64)
    return MarkerSightings(empty, np.zeros((0, 4, 2)), empty, empty)


def _modules(gray: GrayImage, quads: Array, cells: int) -> tuple[Array, Array]:
    """Mean grey value of every module (n, cells, cells), and the scatter inside the modules (n,)."""
    at = ((np.arange(cells)[:, None] + np.array(constants.MODULE_SAMPLES)) / cells).ravel()
    x, y = np.meshgrid(at, at)
    grid = np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    mapped = square_to_quads(quads) @ grid
    uv = (mapped[:, :2] / mapped[:, 2:]).astype(np.float32)
    sampled = np.empty(uv[:, 0].shape, np.float32)
    step = max(1, 32000 // uv.shape[2])  # remap takes at most 32767 rows
    for k in range(0, len(quads), step):
        part = uv[k : k + step]
        sampled[k : k + step] = cv2.remap(gray, part[:, 0], part[:, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    s = len(constants.MODULE_SAMPLES)
    split = sampled.reshape(len(quads), cells, s, cells, s).astype(float)
    return split.mean(axis=(2, 4)), np.median(split.std(axis=(2, 4)).reshape(len(quads), -1), axis=1)


def square_to_quads(quads: Array) -> Array:
    """(n, 3, 3) homographies from the unit square (y down) to the quadrilaterals, in closed form (Heckbert 1989)."""
    (x0, x1, x2, x3), (y0, y1, y2, y3) = quads[..., 0].T, quads[..., 1].T
    sx, sy = x0 - x1 + x2 - x3, y0 - y1 + y2 - y3
    dx1, dx2, dy1, dy2 = x1 - x2, x3 - x2, y1 - y2, y3 - y2
    det = dx1 * dy2 - dx2 * dy1
    det = np.where(np.abs(det) < 1e-9, 1e-9, det)
    g, h = (sx * dy2 - dx2 * sy) / det, (dx1 * sy - sx * dy1) / det
    rows = [x1 - x0 + g * x1, x3 - x0 + h * x3, x0, y1 - y0 + g * y1, y3 - y0 + h * y3, y0, g, h, np.ones_like(g)]
    return np.stack(rows, axis=1).reshape(-1, 3, 3)


def best_of_each(ids: IntArray, corners: Array, errors: IntArray, quad: IntArray) -> MarkerSightings:
    """Markers without repeats of one in one place; arguments as the fields of ``MarkerSightings``."""
    kept: list[int] = []
    centres = corners.mean(axis=1)
    sides = np.linalg.norm(corners[:, 0] - corners[:, 2], axis=1)
    for k in np.lexsort((-sides, errors)):
        twin = any(
            ids[j] == ids[k] and np.linalg.norm(centres[j] - centres[k]) < constants.SAME_MARKER * sides[j] for j in kept
        )
        if not twin:
            kept.append(int(k))
    index = np.array(sorted(kept), np.int64)
    return MarkerSightings(ids[index], corners[index], errors[index], quad[index])
