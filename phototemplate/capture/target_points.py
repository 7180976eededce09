"""Measuring the saddle points of targets whose markers were read.

Each marker predicts the saddle points at the corners of its own square, and those found predict the others. Every point is
fitted with a long window, a short one where that does not do, and, where squares are small, by all that is printed around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from phototemplate.capture import constants
from phototemplate.capture.patch_fit import fit_patches, printed_around
from phototemplate.capture.saddle import SaddleFits, fit_saddles, no_fits
from phototemplate.capture.strip_ends import find_strip_ends
from phototemplate.capture.target_instances import Copy, Seen, map_points, map_with_jacobian, marker_homographies
from phototemplate.capture.target_layout import Layout
from phototemplate.model import Array, BoolArray, GrayImage, IntArray
from phototemplate.settings import DetectionSettings


def measure(
    gray: GrayImage, copies: list[Copy], layout: Layout, settings: DetectionSettings, before: Sequence[Seen] = ()
) -> list[Seen]:
    """Fit the saddle points of all copies together: first those next to a marker seen, then the others.

    Points of ``before`` are not fitted again.
    """
    results = [_so_far(copy, before) for copy in copies]
    for plan in (_beside_markers, _further):
        plans = [plan(copy, seen) for copy, seen in zip(copies, results, strict=True)]
        fitted = _fit_all(gray, copies, plans, layout, settings)
        for k, ((points, _, _), (good, fits)) in enumerate(zip(plans, fitted, strict=True)):
            if good.any():
                results[k] = _merge(results[k], points[good], fits.take(good))
    kept = [_without_strays(seen) for seen in results]
    return [
        replace(s, ends=find_strip_ends(gray, s.board, s.points, s.fits.uv_px, c.members, c.corners_px))
        for c, s in zip(copies, kept, strict=True)
    ]


def _so_far(copy: Copy, before: Sequence[Seen]) -> Seen:
    """What was found of this copy earlier: a copy with a marker in common."""
    faultless = len(copy.members) > 1 or not copy.errors.any()
    for seen in before:
        if seen.board is copy.board and np.intersect1d(seen.quads[seen.quads >= 0], copy.quads).size:
            return replace(seen, quads=copy.quads, faultless=faultless)
    return Seen(copy.board, copy.quads, np.zeros(0, np.int64), no_fits(np.zeros((0, 2))), faultless)


_Plan = tuple[IntArray, Array, Array]
"""Point ids (n,), predicted places (n, 2), px per mm (n, 2, 2)"""


def _beside_markers(copy: Copy, seen: Seen) -> _Plan:
    """Saddle points at the corners of the squares whose marker was seen, from those markers' own homographies."""
    board = copy.board
    n = len(board.saddles_mm)
    uv, jac, votes = np.zeros((n, 2)), np.zeros((n, 2, 2)), np.zeros(n)
    homographies = marker_homographies(board, copy.members, copy.corners_px)
    for k, h in zip(copy.members, homographies, strict=True):
        near = np.flatnonzero(
            np.abs(board.saddles_mm - board.centres_mm[k]).max(axis=1) < constants.OWN_SQUARE * board.square_mm
        )
        p, j = map_with_jacobian(h, board.saddles_mm[near])
        uv[near] += p
        jac[near] += j
        votes[near] += 1
    votes[seen.points] = 0
    points = np.flatnonzero(votes)
    return points, uv[points] / votes[points, None], jac[points] / votes[points, None, None]


def _further(copy: Copy, seen: Seen) -> _Plan:
    """Saddle points not found yet, predicted from those that were; on a strip only the next ones."""
    board = copy.board
    missing = np.setdiff1d(np.arange(len(board.saddles_mm)), seen.points)
    known = board.saddles_mm[seen.points]
    nothing: _Plan = (np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    if not len(missing) or len(known) < 3:
        return nothing
    if not board.rigid:
        apart = np.linalg.norm(board.saddles_mm[missing][:, None] - known[None], axis=2).min(axis=1)
        missing = missing[apart < constants.NEXT_SQUARE * board.square_mm]
        if not len(missing):
            return nothing
    xy = np.concatenate([known, board.corners_mm[copy.members].reshape(-1, 2)])
    uv = np.concatenate([seen.fits.uv_px, copy.corners_px.reshape(-1, 2)])
    h, _ = cv2.findHomography(xy, uv, cv2.RANSAC, 3.0)
    if h is None:
        return nothing
    p, j = map_with_jacobian(h, board.saddles_mm[missing])
    return missing, p, j


def _fit_all(
    gray: GrayImage, copies: list[Copy], plans: list[_Plan], layout: Layout, settings: DetectionSettings
) -> list[tuple[BoolArray, SaddleFits]]:
    """Fit the planned points of all copies in one go; a long window first, the short one where that does not do, and what is
    too small for either by all that is printed around it."""
    sizes = [len(p[0]) for p in plans]
    if not sum(sizes):
        empty = fit_saddles(gray, np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros(0), np.zeros(0), np.zeros(0))
        return [(np.zeros(0, bool), empty) for _ in plans]
    uv = np.concatenate([p[1] for p in plans])
    jac = np.concatenate([p[2] for p in plans])
    sign = np.concatenate([c.board.sign[p[0]] for c, p in zip(copies, plans, strict=True)])
    rim = np.repeat([c.board.rim_mm for c in copies], sizes)
    square = np.repeat([c.board.square_mm for c in copies], sizes)
    arm = np.maximum(settings.arm_of_square * square, rim)
    fits = fit_saddles(gray, uv, jac, sign, rim, arm, settings.max_arm_px)
    good = looks_like_saddle(fits, uv, jac, rim, settings)
    again = np.flatnonzero(~good)
    if len(again):
        short = fit_saddles(gray, uv[again], jac[again], sign[again], rim[again], rim[again], settings.max_arm_px)
        fine = looks_like_saddle(short, uv[again], jac[again], rim[again], settings)
        for k in again[fine]:
            good[k] = True
        fits.put(again[fine], short.take(fine))
    rim_px = rim / np.linalg.norm(np.linalg.inv(jac), axis=2).max(axis=1)
    small = np.flatnonzero(rim_px < constants.SMALL_RIM_PX)
    if len(small):
        owner, index = np.repeat(np.arange(len(copies)), sizes), np.concatenate([p[0] for p in plans])
        around = np.stack([printed_around(layout, copies[owner[k]].board.target_id)[index[k]] for k in small])
        blur = np.median(fits.blur_px[good]) if good.sum() >= 8 else constants.USUAL_BLUR_PX
        begin = np.where(good[small, None], fits.uv_px[small], uv[small])
        patches = fit_patches(gray, around, begin, jac[small] * square[small, None, None], float(blur))
        fine = looks_like_patch(patches, uv[small], (square * rim_px / rim)[small], settings)
        good[small[fine]] = True
        fits.put(small[fine], patches.take(fine))
    ends = np.cumsum(sizes)
    return [(good[end - size : end], fits.take(np.arange(end - size, end))) for end, size in zip(ends, sizes, strict=True)]


def looks_like_saddle(fits: SaddleFits, uv: Array, jac: Array, rim: Array, settings: DetectionSettings) -> BoolArray:
    """Contrast of the right sign, small and even residuals, edges where they should be, near the predicted place."""
    rim_px = rim * np.sqrt(np.abs(np.linalg.det(jac)))
    good: BoolArray = (
        _fits_well(fits, settings.max_residual, settings)
        & (np.linalg.norm(fits.uv_px - uv, axis=1) < np.clip(rim_px, *constants.SADDLE_SHIFT_RANGE_PX))
        & (fits.blur_px < np.minimum(constants.WIDEST_BLUR * constants.MAX_BLUR_PX, np.maximum(rim_px, 1.0))[:, None]).all(
            axis=1
        )
    )
    return good


def looks_like_patch(fits: SaddleFits, uv: Array, square_px: Array, settings: DetectionSettings) -> BoolArray:
    """The same for ``patch_fit``; ``square_px`` (N,) is the short side of a square."""
    good: BoolArray = (
        _fits_well(fits, settings.max_patch_residual, settings)
        & (
            np.linalg.norm(fits.uv_px - uv, axis=1)
            < np.clip(constants.PATCH_SHIFT * square_px, *constants.PATCH_SHIFT_RANGE_PX)
        )
        & (fits.blur_px.max(axis=1) < np.maximum(constants.PATCH_BLUR * square_px, 1.0))
    )
    return good


def _fits_well(fits: SaddleFits, max_residual: float, settings: DetectionSettings) -> BoolArray:
    good: BoolArray = (
        fits.valid
        & (2 * fits.amplitude > settings.min_contrast)
        & (fits.rms < max_residual * fits.amplitude)
        & (fits.lopsided < settings.max_lopsided)
        & (fits.turned_rad < constants.MOST_TURN_RAD)
    )
    return good


def _merge(seen: Seen, points: IntArray, fits: SaddleFits) -> Seen:
    order = np.argsort(np.concatenate([seen.points, points]))
    joined = SaddleFits(**{n: np.concatenate([getattr(seen.fits, n), getattr(fits, n)])[order] for n in vars(fits)})
    return replace(seen, points=np.concatenate([seen.points, points])[order], fits=joined)


def _without_strays(seen: Seen) -> Seen:
    """Drop points that no smooth picture of the target can hold: further than 2 % of its size off the homography.

    Lens distortion and curl bend a sheet by less than that; the adjustment finds the small blunders.
    """
    if not seen.board.rigid or len(seen.points) < 6:
        return seen
    uv = seen.fits.uv_px
    extent = float(np.ptp(uv, axis=0).max())
    limit = max(constants.STRAY_PX, constants.STRAY_SHARE * extent)
    h, _ = cv2.findHomography(seen.board.saddles_mm[seen.points], uv, cv2.RANSAC, limit)
    if h is None:
        return seen
    good = np.linalg.norm(map_points(h, seen.board.saddles_mm[seen.points]) - uv, axis=1) < limit
    return replace(seen, points=seen.points[good], fits=seen.fits.take(good))
