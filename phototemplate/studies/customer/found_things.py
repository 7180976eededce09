"""Things of known size found in a customer's photo: sheets of paper, payment cards, printed targets.

Outlines are followed at many grey levels (a sheet stays the same over a range of levels, a shadow does not); those whose hull
fills a quadrilateral are tried as pictures of every known rectangle. With the principal distance f known to some extent, the
homography H of a rectangle gives K^-1 H = (r1 r2 t), where r1 and r2 must be of equal length and perpendicular (Z. Zhang, A
flexible new technique for camera calibration, 2000, equations 3 and 4); the two discrepancies, with their covariance from the
corners, say how well a kind fits. Kinds compete with each other and with "some other rectangle".
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np

from phototemplate.capture import design
from phototemplate.capture.detect import detect
from phototemplate.capture.photos import upright_points
from phototemplate.model import Array, GrayImage, PhotoMeta, Sightings
from phototemplate.settings import DetectionSettings
from phototemplate.studies.clicked_lens import expected_lens
from phototemplate.studies.constants import UNREFINED_U_SHARE
from phototemplate.studies.customer import constants as c
from phototemplate.studies.known_sizes import KNOWN_SIZES, KnownSize, refine_corners


@dataclass(frozen=True)
class FoundThing:
    """A thing of known size in one photo."""

    size: KnownSize
    corners_px: Array
    """(4, 2) in order round it, stored picture"""
    u_px: Array
    """(4,)"""
    sure: float
    """Probability that it is this, 0 to 1"""
    kinds: tuple[tuple[str, float], ...] = ()
    """Probability of each kind that it may be, largest first"""
    target_id: str = ""
    """Of a printed target"""

    @property
    def paper_px(self) -> Array:
        """(4, 2) with the paper that a target is printed on, roughly."""
        middle = self.corners_px.mean(axis=0)
        out: Array = middle + (c.TARGET_PAPER if self.target_id else 1.0) * (self.corners_px - middle)
        return out

    @property
    def name(self) -> str:
        """What it is called: the same name in two photos is the same thing."""
        return self.target_id or self.size.name


def find_things(gray: GrayImage, meta: PhotoMeta, paper: str) -> list[FoundThing]:
    """Everything of known size in a photo (h, w) in stored orientation, the surest first; ``paper`` is A4 or Letter, whichever
    is usual where the photo comes from."""
    targets = found_targets(detect(gray, meta, DetectionSettings()))
    # the paper that a target is printed on is cut to no known size, and its squares are no cards
    printed = [t.paper_px for t in targets]
    made = []
    for rough in _quadrilaterals(gray):
        middle = rough.mean(axis=0)
        if not any(_inside(box, middle) or _inside(rough, box.mean(axis=0)) for box in printed):
            made.append(_judged(gray, meta, rough, paper))
    return [*targets, *_one_of_each(_one_of_a_kind([t for t in made if t is not None]))]


def _one_of_a_kind(things: list[FoundThing]) -> list[FoundThing]:
    """The surest first; a customer lays one sheet or card, so those that could be it share its probability."""
    odds = [t.sure / max(1.0 - t.sure, 1e-9) for t in things]
    total: dict[str, float] = {}
    for t, o in zip(things, odds, strict=True):
        total[t.size.name] = total.get(t.size.name, 0.0) + o
    shared = [replace(t, sure=o / (1.0 + total[t.size.name])) for t, o in zip(things, odds, strict=True)]
    return sorted((t for t in shared if t.sure > c.NAMED), key=lambda t: -t.sure)


def found_targets(seen: Sightings) -> list[FoundThing]:
    """Printed targets as rectangles between their outermost points; the scale is that of the print."""
    out = []
    ids = np.array(seen.target_ids)
    for target_id in dict.fromkeys(seen.target_ids):
        if not target_id.startswith("S"):
            continue
        own = ids == target_id
        xy = design.target(target_id).points_mm[seen.point_ids[own], :2]
        uv = seen.uv_px[own]
        grid = design.pattern(target_id).saddles()[:, :2]
        (x0, y0), (x1, y1) = grid.min(axis=0), grid.max(axis=0)
        box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        if len(xy) < 6 or np.linalg.matrix_rank(xy - xy.mean(axis=0), 1.0) < 2:
            continue
        to_photo, _ = cv2.findHomography(xy, uv, 0)
        if to_photo is None:
            continue
        corners = _mapped(np.asarray(to_photo, float), box)
        size = KnownSize(target_id, x1 - x0, y1 - y0, c.TARGET_PRINT_U * (x1 - x0), "printed target, not measured")
        out.append(FoundThing(size, corners, np.full(4, c.TARGET_CORNER_PX), 1.0, ((target_id, 1.0),), target_id))
    return out


def _one_of_each(things: list[FoundThing]) -> list[FoundThing]:
    """Without those that overlap a surer one."""
    out: list[FoundThing] = []
    for t in things:
        if not any(_inside(a.corners_px, b.corners_px.mean(axis=0)) for o in out for a, b in ((o, t), (t, o))):
            out.append(t)
    return out


# ---------------------------------------------------------------------------------------------------- outlines


def _quadrilaterals(gray: GrayImage) -> Iterator[Array]:
    """(4, 2) px of the full picture: outlines that stay a quadrilateral over several grey levels."""
    scale = min(1.0, c.SEARCH_SIDE_PX / max(gray.shape))
    small = np.asarray(cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else gray)
    kept: dict[tuple[int, int], list[list[Array]]] = {}
    # one pixel of blur keeps the grain of a dark counter from tearing outlines
    soft = cv2.GaussianBlur(small, (3, 3), 0)
    low, high = (float(v) for v in np.percentile(soft, c.LEVEL_RANGE))
    for level in np.unique(np.linspace(low, high, c.LEVELS).astype(int)):
        contours, _ = cv2.findContours((soft > level).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            quad = _quadrilateral(contour, small.shape)
            if quad is None:
                continue
            x, y = (int(v) for v in quad.mean(axis=0) / c.SEARCH_CELL_PX)
            near = [g for i in (-1, 0, 1) for j in (-1, 0, 1) for g in kept.get((x + i, y + j), ())]
            group = next((g for g in near if _same(g[-1], quad)), None)
            if group is None:
                kept.setdefault((x, y), []).append([quad])
            else:
                group.append(quad)
    groups = sorted((g for cell in kept.values() for g in cell if len(g) >= c.LEAST_LEVELS), key=lambda g: -len(g))
    for group in groups[: c.MOST_JUDGED]:
        yield (group[len(group) // 2] + 0.5) / scale - 0.5


def _quadrilateral(contour: Array, shape: tuple[int, ...]) -> Array | None:
    """The quadrilateral that an outline fills, clockwise in the picture; None where it fills none."""
    if len(contour) < 4 * c.LEAST_SHORT_PX:
        return None
    own = float(cv2.contourArea(contour))
    if not c.LEAST_SOLID * c.LEAST_AREA_PX <= own <= c.MOST_AREA * shape[0] * shape[1]:
        return None
    hull = cv2.convexHull(contour)
    area = float(cv2.contourArea(hull))
    if own < c.LEAST_SOLID * area:
        return None
    x, y, w, h = cv2.boundingRect(hull)
    if x <= 1 or y <= 1 or x + w >= shape[1] - 1 or y + h >= shape[0] - 1:
        return None
    if len(hull) < 4:
        return None
    quad = np.asarray(cv2.approxPolyN(hull, 4, ensure_convex=True), float).reshape(-1, 2)
    if len(quad) != 4 or float(cv2.contourArea(quad.astype(np.float32))) > c.MOST_BEYOND_HULL * area:
        return None
    if np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1).min() < c.LEAST_SHORT_PX:
        return None
    around = float(quad[:, 0] @ np.roll(quad[:, 1], -1) - quad[:, 1] @ np.roll(quad[:, 0], -1))
    return quad if around > 0 else quad[::-1]


def _same(a: Array, b: Array) -> bool:
    side = float(np.linalg.norm(np.roll(a, -1, axis=0) - a, axis=1).min())
    apart = min(float(np.linalg.norm(a - np.roll(b, k, axis=0), axis=1).max()) for k in range(4))
    return apart < c.SAME_OUTLINE * side + c.SAME_OUTLINE_PX


def _inside(quad: Array, point: Array) -> bool:
    return cv2.pointPolygonTest(quad.astype(np.float32), (float(point[0]), float(point[1])), False) > 0


def _mapped(homography: Array, xy: Array) -> Array:
    out: Array = cv2.perspectiveTransform(np.asarray(xy, float)[None], homography)[0]
    return out


# ------------------------------------------------------------------------------------------------------- kinds


def _judged(gray: GrayImage, meta: PhotoMeta, rough: Array, paper: str) -> FoundThing | None:
    seen = _as_square(meta, rough, np.full(4, c.ROUGH_CORNER_U_PX * max(1.0, max(gray.shape) / c.SEARCH_SIDE_PX)))
    if all(seen.fit(size)[0] <= 0.0 for size in KNOWN_SIZES.values()):
        return None  # spare the work of fitting its sides
    corners, u = refine_corners(gray, rough)
    if u.max() >= UNREFINED_U_SHARE * max(gray.shape):
        return None  # a side that cannot be seen belongs to no sheet or card
    seen, even = _as_square(meta, corners, np.hypot(u, c.LEAST_CORNER_U_PX)), _evenness(gray, corners)
    weights = {}
    for size in KNOWN_SIZES.values():
        prior = c.PRIOR["paper" if size.name == paper else size.name if size.name in c.PRIOR else "other paper"]
        likelihood, upward = seen.fit(size)
        weights[size.name] = likelihood * prior * (1.0 if size.name == "card" else even) * upward
    best = max(weights, key=lambda name: weights[name])
    if weights[best] <= 0.0:
        return None
    # another rectangle may have any shape, so only its right angle speaks; and most of them do not lie level
    total = sum(weights.values()) + c.NONE_OF_THEM * c.OTHERS_LEVEL * seen.any_shape()
    kinds = sorted(((name, w / total) for name, w in weights.items()), key=lambda item: -item[1])
    return FoundThing(KNOWN_SIZES[best.lower()], corners, u, kinds[0][1], tuple(k for k in kinds if k[1] > c.NAMED))


@dataclass(frozen=True)
class _AsSquare:
    """A quadrilateral as the picture of a unit square, at every principal distance tried (F of them)."""

    meta: PhotoMeta
    discrepancy: Array
    """(F, 2) cosine between the square's sides in space, logarithm of the ratio of their lengths"""
    cov: Array
    """(F, 2, 2)"""
    normal: Array
    """(F, 3) upward, towards the camera"""
    distance: Array
    """(F,) of the middle, in sides of the square (geometric mean)"""

    def fit(self, size: KnownSize) -> tuple[float, float]:
        """Density of the discrepancies for a rectangle of this size at a likely distance (0 where it fits nowhere), and how
        well it then lies on something level, 0 to 1."""
        density, upward, least = 0.0, 0.0, math.inf
        far = np.log(self.distance * math.sqrt(size.long_mm * size.short_mm) / c.USUAL_REACH_MM) / c.REACH_SPREAD
        for sign in (1.0, -1.0):
            off = self.discrepancy - [0.0, sign * math.log(size.long_mm / size.short_mm)]
            cov = self.cov + np.eye(2) * (size.u_mm / size.short_mm) ** 2
            misfit = np.einsum("fi,fij,fj->f", off, np.linalg.inv(cov), off)
            least = min(least, float(misfit.min()))
            p = np.exp(-0.5 * (misfit + far**2)) / (2.0 * math.pi * np.sqrt(np.linalg.det(cov))) * _WEIGHTS
            density += float(p.sum()) / 2.0
            upward = max(upward, _level(self.meta, self.normal[int(np.argmax(p))]))
        return (density, upward) if least < c.MOST_MISFIT else (0.0, upward)

    def any_shape(self) -> float:
        """Density for a rectangle of any shape up to 3 to 1."""
        v = self.cov[:, 0, 0]
        return float(np.sum(np.exp(-0.5 * self.discrepancy[:, 0] ** 2 / v) / np.sqrt(2.0 * math.pi * v) * _WEIGHTS)) / (
            2.0 * math.log(3.0)
        )


_STEPS = np.array(c.FOCAL_STEPS)
_WEIGHTS = np.exp(-0.5 * _STEPS**2) / np.sum(np.exp(-0.5 * _STEPS**2))


def _as_square(meta: PhotoMeta, corners: Array, u: Array) -> _AsSquare:
    optics = expected_lens(meta)
    focal, u_focal = optics.focal_px, optics.u_focal
    q = corners - (np.array(meta.size_px) - 1.0) / 2.0
    step = np.full(8, 0.5)
    moved = [q, *(q + (step[k] * (np.arange(8) == k)).reshape(4, 2) for k in range(8))]
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]], np.float32)
    h = np.array([cv2.getPerspectiveTransform(square, m.astype(np.float32)) for m in moved])  # (9, 3, 3)
    f = focal * np.exp(_STEPS * u_focal)
    columns = h[None] * np.stack([1.0 / f, 1.0 / f, np.ones_like(f)], axis=1)[:, None, :, None]  # K^-1 H, (F, 9, 3, 3)
    r1, r2 = columns[..., 0], columns[..., 1]
    n1, n2 = np.linalg.norm(r1, axis=-1), np.linalg.norm(r2, axis=-1)
    off = np.stack([np.sum(r1 * r2, axis=-1) / (n1 * n2), np.log(n1 / n2)], axis=-1)  # (F, 9, 2)
    jac = np.swapaxes(off[:, 1:] - off[:, :1], 1, 2) / step
    normal = np.cross(r1[:, 0], r2[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]
    middle = columns[:, 0] @ np.array([0.5, 0.5, 1.0])
    normal *= -np.sign(np.sum(normal * middle, axis=1))[:, None]
    distance = np.linalg.norm(middle, axis=1) / np.sqrt(n1[:, 0] * n2[:, 0])
    cov = (jac * np.repeat(u, 2) ** 2) @ np.swapaxes(jac, 1, 2)
    return _AsSquare(meta, off[:, 0], cov, normal, distance)


def _level(meta: PhotoMeta, normal: Array) -> float:
    """How likely a plane with this normal, towards the camera, is level: its normal is upright in the picture as shown."""
    ends = upright_points(np.array([[0.0, 0.0], normal[:2]]) + np.array(meta.size_px) / 2.0, meta.size_px, meta.orientation)
    x, y = ends[1] - ends[0]
    low, full = c.LEAST_LOOK_DOWN
    return math.exp(-0.5 * (x / c.LEVEL_ROLL_U) ** 2) * float(np.clip((-y - low) / (full - low), 0.0, 1.0))


def _evenness(gray: GrayImage, corners: Array) -> float:
    """How much of a quadrilateral looks like empty paper, 0 to 1."""
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + 1
    part = gray[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(part.shape, np.uint8)
    middle = corners.mean(axis=0)
    inner = middle + 0.8 * (corners - middle) - low
    cv2.fillConvexPoly(mask, np.round(inner).astype(np.int32), 1)
    values = part[mask > 0].astype(float)
    if values.size < 9:
        return 1.0
    middle_grey = float(np.median(values))
    share = float(np.mean(np.abs(values - middle_grey) < c.EVEN_GREY * middle_grey))
    begins, full = c.PAPER_EVEN
    return float(np.clip((share - begins) / (full - begins), 0.0, 1.0))
