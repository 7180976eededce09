"""Printed targets in a photo: markers name them, saddle points measure them.

One contour search finds every square marker; each marker predicts the saddle points at the corners of its own square
(a few millimetres away, so neither lens distortion nor a bent strip matters) and those are fitted (``capture.saddle``).
Saddle points whose neighbouring markers are all hidden are then predicted from the saddle points already found. What
does not look like a saddle (covered, cut off, in the edge of a shadow) is left out, the rest of the sheet is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from phototemplate.capture.detect_plain import PlainMarkers, find_plain
from phototemplate.capture.layout import Board, Layout, printed_layout
from phototemplate.capture.markers import MarkerSightings, find_quads, read_markers, square_to_quads
from phototemplate.capture.quality import blur_ellipse, blur_finding
from phototemplate.capture.saddle import MAX_BLUR_PX, SaddleFits, fit_saddles
from phototemplate.capture.strip_ends import find_strip_ends
from phototemplate.errors import Finding
from phototemplate.model import Array, GrayImage, IntArray, PhotoMeta, Sightings
from phototemplate.settings import DetectionSettings


def detect(
    gray: GrayImage,
    meta: PhotoMeta,
    settings: DetectionSettings,
    plain: Sequence[PlainMarkers] = (),
    layout: Layout | None = None,
) -> Sightings:
    """Find targets in a photo.

    Args:
        gray: (h, w) uint8 in stored orientation, as ``photos.read_gray`` gives it at full size.
        meta: the photo.
        settings: detection settings.
        plain: plain markers that are looked for besides the project's own targets.
        layout: boards to look for; the project's own (``layout.printed_layout``) where None.

    Returns:
        Sightings sorted by target and point. A printed number that lies in two places is left out, with a finding.
    """
    layout = printed_layout() if layout is None else layout
    quads = find_quads(gray, settings.min_marker_px, settings.search_max_side_px)
    markers = read_markers(gray, quads, layout.codes, settings.max_bit_errors)
    groups, doubtful = _group(markers, layout)
    findings: list[Finding] = []
    seen: dict[str, _Seen] = {}
    used_quads: set[int] = set()
    copies = _measure(gray, [*groups, *doubtful], settings)
    for target_id in dict.fromkeys(c.board.target_id for c in copies):
        real = [c for c in copies if c.board.target_id == target_id and len(c.points)]
        used_quads.update(int(q) for c in real for q in c.quads)
        real = real[:1] + [c for c in real[1:] if c.trusted]
        if len(real) > 1:
            findings.append(_twice(target_id, real, meta))
        elif real:
            seen[target_id] = real[0]
    taken = markers.quad if not plain else np.array(sorted(used_quads), np.int64)
    sightings = _collect(meta, seen)
    if plain:
        free = np.setdiff1d(np.arange(len(quads)), taken)
        more, more_findings = find_plain(gray, meta, quads[free], plain, settings)
        findings.extend(more_findings)
        sightings = _join(meta, sightings, more)
    findings.extend(_remarks(meta, sightings, settings))
    if seen:
        normals = np.concatenate([s.fits.normals.reshape(-1, 2) for s in seen.values()])
        blur = np.concatenate([s.fits.blur_px.ravel() for s in seen.values()])
        findings.extend(blur_finding(meta, blur_ellipse(normals, blur), settings.blur_warn_px))
    return Sightings(
        meta.photo_id,
        sightings.target_ids,
        sightings.point_ids,
        sightings.uv_px,
        sightings.cov_px2,
        (*sightings.findings, *findings),
    )


@dataclass(frozen=True)
class _Copy:
    """Markers of one target that belong together in the picture."""

    board: Board
    members: IntArray
    """(m,) indices into the board's markers"""
    corners_px: Array
    """(m, 4, 2)"""
    quads: IntArray
    errors: IntArray
    """(m,) wrong modules of each marker"""


@dataclass(frozen=True)
class _Seen:
    """Saddle points found of one copy of a target."""

    board: Board
    quads: IntArray
    points: IntArray
    fits: SaddleFits
    faultless: bool
    """A marker was read without a wrong module, or several were read"""
    ends: tuple[IntArray, Array, Array] = (np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    """Ends of a strip: point ids, places, covariances"""

    @property
    def trusted(self) -> bool:
        """Surely there, and not a false reading of something else."""
        return self.faultless and len(self.points) >= min(2, len(self.board.saddles_mm))


# ------------------------------------------------------------------------------------------- grouping


def _group(markers: MarkerSightings, layout: Layout) -> tuple[list[_Copy], list[_Copy]]:
    """Markers by target; where they cannot be one sheet, the largest consistent part and the others apart."""
    by_target: dict[str, list[int]] = {}
    for k, marker in enumerate(markers.ids):
        by_target.setdefault(layout.index[int(marker)][0], []).append(k)
    main: list[_Copy] = []
    others: list[_Copy] = []
    for target_id, members in by_target.items():
        board = layout.boards[target_id]
        which = np.array([layout.index[int(markers.ids[k])][1] for k in members])
        parts = _consistent_parts(board, which, markers.corners_px[members])
        parts.sort(key=lambda part: (-len(part), int(markers.errors[np.array(members)[part]].min())))
        for rank, part in enumerate(parts):
            chosen = np.array(members)[part]
            copy = _Copy(board, which[part], markers.corners_px[chosen], markers.quad[chosen], markers.errors[chosen])
            (main if rank == 0 else others).append(copy)
    return main, others


def _consistent_parts(board: Board, which: IntArray, corners: Array) -> list[IntArray]:
    """Split markers of one target into sets that can lie on one sheet.

    Two markers agree where each one's own homography puts the other roughly where it was seen. The tolerance is wide
    (half of their distance and one marker side), for one small marker extrapolates badly; a second copy is elsewhere
    altogether, turned, or shows the same marker again.
    """
    n = len(which)
    if n == 1:
        return [np.array([0])]
    centres_px = corners.mean(axis=1)
    centres_mm = board.centres_mm
    side = np.sqrt(np.abs(_areas(corners)))
    homographies = _marker_homographies(board, which, corners)
    mapped = homographies @ np.stack([*centres_mm[which].T, np.ones(n)])
    error = np.linalg.norm(mapped[:, :2] / mapped[:, 2:] - centres_px.T, axis=1)
    apart = np.linalg.norm(centres_px[:, None] - centres_px[None], axis=2)
    agree = error < 0.5 * apart + 0.5 * (side[:, None] + side)
    agree &= (which[:, None] != which) | np.eye(n, dtype=bool)
    agree &= agree.T
    # neighbours decide: far markers of a bent strip need not agree with each other
    part = np.arange(n)
    names = [{int(marker)} for marker in which]
    for i, j in np.argwhere(np.triu(agree, 1)):
        a, b = int(part[i]), int(part[j])
        if a != b and not names[a] & names[b]:
            part[part == b] = a
            names[a] |= names[b]
    return [np.flatnonzero(part == p) for p in np.unique(part)]


def _marker_homographies(board: Board, which: IntArray, corners_px: Array) -> Array:
    """(n, 3, 3) px from mm, one for each marker."""
    square = board.corners_mm[which]
    origin, right, down = square[:, 0], square[:, 1] - square[:, 0], square[:, 3] - square[:, 0]
    mm_from_unit = np.zeros((len(which), 3, 3))
    mm_from_unit[:, :2] = np.stack([right, down, origin], axis=2)
    mm_from_unit[:, 2, 2] = 1.0
    return np.asarray(square_to_quads(corners_px) @ np.linalg.inv(mm_from_unit))


def _areas(corners: Array) -> Array:
    x, y = corners[..., 0], corners[..., 1]
    area: Array = 0.5 * np.sum(x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1), axis=1)
    return area


def _map(h: Any, xy: Array) -> Array:
    p = np.column_stack([xy, np.ones(len(xy))]) @ np.asarray(h, float).T
    return np.asarray(p[:, :2] / p[:, 2:])


def _map_with_jacobian(homography: Any, xy: Array) -> tuple[Array, Array]:
    """Positions (n, 2) and derivatives (n, 2, 2) of a homography."""
    h = np.asarray(homography, float)
    p = np.column_stack([xy, np.ones(len(xy))]) @ h.T
    uv = p[:, :2] / p[:, 2:]
    jac = (h[None, :2, :2] - uv[:, :, None] * h[None, 2:, :2]) / p[:, 2, None, None]
    return uv, jac


# ------------------------------------------------------------------------------------------ measuring


def _measure(gray: GrayImage, copies: list[_Copy], settings: DetectionSettings) -> list[_Seen]:
    """Fit the saddle points of all copies together: first those next to a marker seen, then the others."""
    plans = [_beside_markers(c) for c in copies]
    first = _fit_all(gray, copies, plans, settings)
    results = []
    for copy, (points, _, _), (good, fits) in zip(copies, plans, first, strict=True):
        faultless = len(copy.members) > 1 or not copy.errors.any()
        results.append(_Seen(copy.board, copy.quads, points[good], fits.take(good), faultless))
    plans = [_further(copy, seen) for copy, seen in zip(copies, results, strict=True)]
    if any(len(p[0]) for p in plans):
        second = _fit_all(gray, copies, plans, settings)
        for k, ((points, _, _), (good, fits)) in enumerate(zip(plans, second, strict=True)):
            if good.any():
                results[k] = _merge(results[k], points[good], fits.take(good))
    kept = [_without_strays(seen) for seen in results]
    return [
        replace(s, ends=find_strip_ends(gray, s.board, s.points, s.fits.uv_px, c.members, c.corners_px))
        for c, s in zip(copies, kept, strict=True)
    ]


_Plan = tuple[IntArray, Array, Array]
"""Point ids (n,), predicted places (n, 2), px per mm (n, 2, 2)"""


def _beside_markers(copy: _Copy) -> _Plan:
    """Saddle points at the corners of the squares whose marker was seen, from those markers' own homographies."""
    board = copy.board
    n = len(board.saddles_mm)
    uv, jac, votes = np.zeros((n, 2)), np.zeros((n, 2, 2)), np.zeros(n)
    homographies = _marker_homographies(board, copy.members, copy.corners_px)
    for k, h in zip(copy.members, homographies, strict=True):
        near = np.flatnonzero(np.abs(board.saddles_mm - board.centres_mm[k]).max(axis=1) < 0.6 * board.square_mm)
        p, j = _map_with_jacobian(h, board.saddles_mm[near])
        uv[near] += p
        jac[near] += j
        votes[near] += 1
    points = np.flatnonzero(votes)
    return points, uv[points] / votes[points, None], jac[points] / votes[points, None, None]


def _further(copy: _Copy, seen: _Seen) -> _Plan:
    """Saddle points not found yet, predicted from those that were; on a strip only the next ones."""
    board = copy.board
    missing = np.setdiff1d(np.arange(len(board.saddles_mm)), seen.points)
    known = board.saddles_mm[seen.points]
    nothing: _Plan = (np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    if not len(missing) or len(known) < 3:
        return nothing
    if not board.rigid:
        apart = np.linalg.norm(board.saddles_mm[missing][:, None] - known[None], axis=2).min(axis=1)
        missing = missing[apart < 1.5 * board.square_mm]
        if not len(missing):
            return nothing
    xy = np.concatenate([known, board.corners_mm[copy.members].reshape(-1, 2)])
    uv = np.concatenate([seen.fits.uv_px, copy.corners_px.reshape(-1, 2)])
    h, _ = cv2.findHomography(xy, uv, cv2.RANSAC, 3.0)
    if h is None:
        return nothing
    p, j = _map_with_jacobian(h, board.saddles_mm[missing])
    return missing, p, j


def _fit_all(
    gray: GrayImage, copies: list[_Copy], plans: list[_Plan], settings: DetectionSettings
) -> list[tuple[NDArray[np.bool_], SaddleFits]]:
    """Fit the planned points of all copies in one go; a long window first, the short one where that does not do."""
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
        for name in vars(fits):
            getattr(fits, name)[again[fine]] = getattr(short, name)[fine]
    ends = np.cumsum(sizes)
    return [(good[end - size : end], fits.take(np.arange(end - size, end))) for end, size in zip(ends, sizes, strict=True)]


def looks_like_saddle(fits: SaddleFits, uv: Array, jac: Array, rim: Array, settings: DetectionSettings) -> NDArray[np.bool_]:
    """Contrast of the right sign, small and even residuals, edges where they should be, near the predicted place."""
    rim_px = rim * np.sqrt(np.abs(np.linalg.det(jac)))
    shift = np.linalg.norm(fits.uv_px - uv, axis=1)
    good: NDArray[np.bool_] = (
        fits.valid
        & (2 * fits.amplitude > settings.min_contrast)
        & (fits.rms < settings.max_residual * fits.amplitude)
        & (fits.lopsided < settings.max_lopsided)
        & (fits.turned_rad < 0.2)
        & (shift < np.clip(rim_px, 2.0, 6.0))
        & (fits.blur_px < np.minimum(0.95 * MAX_BLUR_PX, np.maximum(rim_px, 1.0))[:, None]).all(axis=1)
    )
    return good


def _merge(seen: _Seen, points: IntArray, fits: SaddleFits) -> _Seen:
    order = np.argsort(np.concatenate([seen.points, points]))
    joined = SaddleFits(**{n: np.concatenate([getattr(seen.fits, n), getattr(fits, n)])[order] for n in vars(fits)})
    return replace(seen, points=np.concatenate([seen.points, points])[order], fits=joined)


def _without_strays(seen: _Seen) -> _Seen:
    """Drop points that no smooth picture of the target can hold: further than 2 % of its size off the homography.

    Lens distortion and curl bend a sheet by less than that; the adjustment finds the small blunders.
    """
    if not seen.board.rigid or len(seen.points) < 6:
        return seen
    uv = seen.fits.uv_px
    extent = float(np.ptp(uv, axis=0).max())
    limit = max(2.0, 0.02 * extent)
    h, _ = cv2.findHomography(seen.board.saddles_mm[seen.points], uv, cv2.RANSAC, limit)
    if h is None:
        return seen
    good = np.linalg.norm(_map(h, seen.board.saddles_mm[seen.points]) - uv, axis=1) < limit
    return replace(seen, points=seen.points[good], fits=seen.fits.take(good))


# ---------------------------------------------------------------------------------------- collecting


def _collect(meta: PhotoMeta, seen: dict[str, _Seen]) -> Sightings:
    ids = sorted(seen)
    parts = [seen[i] for i in ids]
    if not parts:
        return Sightings(meta.photo_id, (), np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    return Sightings(
        meta.photo_id,
        tuple(s.board.target_id for s in parts for _ in (*s.points, *s.ends[0])),
        np.concatenate([a for s in parts for a in (s.points, s.ends[0])]).astype(np.int64),
        np.concatenate([a for s in parts for a in (s.fits.uv_px, s.ends[1])]),
        np.concatenate([a for s in parts for a in (s.fits.cov_px2, s.ends[2])]),
    )


def _join(meta: PhotoMeta, a: Sightings, b: Sightings) -> Sightings:
    return Sightings(
        meta.photo_id,
        (*a.target_ids, *b.target_ids),
        np.concatenate([a.point_ids, b.point_ids]),
        np.concatenate([a.uv_px, b.uv_px]),
        np.concatenate([a.cov_px2, b.cov_px2]),
        (*a.findings, *b.findings),
    )


def _twice(target_id: str, copies: list[_Seen], meta: PhotoMeta) -> Finding:
    places = " and ".join("({:.0f}, {:.0f})".format(*c.fits.uv_px.mean(axis=0)) for c in copies)
    return Finding(
        "target-id-twice",
        target_id,
        f"{target_id} lies in {len(copies)} places of {meta.photo_id}, near pixel {places}; none of them is used.",
        f"Print every number once: replace all but one {target_id} and take the photos again.",
    )


def _remarks(meta: PhotoMeta, sightings: Sightings, settings: DetectionSettings) -> list[Finding]:
    n = len(sightings)
    if not n:
        return [
            Finding(
                "photo-no-targets",
                meta.photo_id,
                f"No printed target was found in {meta.photo_id}.",
                "Photograph so that several sheets are in the picture, sharp, and larger than a thumbnail.",
            )
        ]
    if n < settings.few_points:
        return [
            Finding(
                "photo-few-points",
                meta.photo_id,
                f"Only {n} target points were found in {meta.photo_id}.",
                "Step back or turn the camera so that more sheets are in the picture.",
            )
        ]
    return []
