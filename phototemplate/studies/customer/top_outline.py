"""The outline of a top around a known thing that lies on it: the even surface there, as a polygon with square corners.

Works where an old top or closed cabinets make one surface. Open cabinets do not: then nothing is proposed, and a person clicks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from phototemplate.model import Array, PhotoMeta
from phototemplate.studies.clicked_lens import expected_lens
from phototemplate.studies.customer import constants as c
from phototemplate.studies.known_sizes import KnownSize

Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class ProposedOutline:
    """Corners of one top in one photo, in order, anticlockwise as seen from above."""

    corners_px: Array
    """(n, 2)"""
    plan_mm: Array
    """(n, 2) roughly, from one known thing: good for telling shapes apart, not for a price"""
    whole: tuple[bool, ...]
    """Of each corner: both its edges end within the picture"""
    front: tuple[bool, ...]
    """Of the edge from each corner to the next: the camera is on its outer side"""


def propose_outline(
    rgb: Pixels, meta: PhotoMeta, size: KnownSize, corners_px: Array, covered_px: Sequence[Array]
) -> ProposedOutline | None:
    """Outline of the surface on which a thing lies whose corners (4, 2) are known; ``rgb`` (h, w, 3) in stored orientation, at
    any size. ``covered_px``: what lies there, papers with their margins (4, 2), the thing's own first."""
    scale = min(1.0, c.SURFACE_SIDE_PX / max(rgb.shape[:2]))
    small = np.asarray(cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else rgb, np.uint8)
    per_px = small.shape[1] / meta.size_px[0]
    mask = _surface(small, [(quad + 0.5) * per_px - 0.5 for quad in covered_px])
    if mask is None:
        return None
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(contours, key=cv2.contourArea).reshape(-1, 2).astype(float)
    pose = _pose(meta, size, corners_px)
    if pose is None:
        return None
    to_plane, foot = pose
    flat = _on_plane(to_plane, (ring + 0.5) / per_px - 0.5)
    at_border = np.any((ring <= 2) | (ring >= np.array([small.shape[1], small.shape[0]]) - 3), axis=1)
    if not np.all(np.isfinite(flat)) or np.abs(flat).max() > c.MOST_EXTENT_MM:
        return None
    made = _square_polygon(flat)
    if made is None:
        return None
    plan = made
    if float(plan[:, 0] @ np.roll(plan[:, 1], -1) - plan[:, 1] @ np.roll(plan[:, 0], -1)) < 0:
        plan = plan[::-1]
    back = np.linalg.inv(to_plane)
    pixels = cv2.perspectiveTransform(plan[None], back)[0]
    inside = np.all((pixels > 4) & (pixels < np.array(meta.size_px) - 5), axis=1)
    cut = flat[at_border]
    near = [len(cut) > 0 and float(np.linalg.norm(cut - p, axis=1).min()) < c.CORNER_MM for p in plan]
    after = np.roll(plan, -1, axis=0) - plan
    outward = np.column_stack([after[:, 1], -after[:, 0]])
    front = np.sum(outward * (foot - plan), axis=1) > 0
    return ProposedOutline(
        pixels, plan, tuple(bool(i and not n) for i, n in zip(inside, near, strict=True)), tuple(bool(f) for f in front)
    )


def _surface(rgb: Pixels, covered: Sequence[Array]) -> Pixels | None:
    """(h, w) 0 or 1: what looks like the surface round a thing and hangs together with it; None where it does not end."""
    height, width = rgb.shape[:2]
    lab = cv2.cvtColor(cv2.bilateralFilter(np.ascontiguousarray(rgb), 7, 30, 5), cv2.COLOR_RGB2LAB).astype(float)
    ring, thing, papers = (np.zeros((height, width), np.uint8) for _ in range(3))
    cv2.fillConvexPoly(ring, _grown(covered[0], c.RING[1]), 1)
    cv2.fillConvexPoly(thing, _grown(covered[0], c.RING[0]), 1)
    for quad in covered:
        cv2.fillConvexPoly(papers, _grown(quad, c.RING[0]), 1)
    own = (ring > 0) & (papers == 0)
    if np.count_nonzero(own) < c.LEAST_RING_PX:
        return None
    usual = np.median(lab[own], axis=0)
    spread = np.maximum(c.SPREADS * 1.4826 * np.median(np.abs(lab[own] - usual), axis=0), c.LEAST_SPREAD_LAB)
    alike = np.sum(((lab - usual) / spread) ** 2, axis=2) < 1.0
    edges = cv2.Canny(np.ascontiguousarray(cv2.GaussianBlur(rgb, (0, 0), c.EDGE_BLUR_PX)), *c.CANNY) > 0
    mask = (alike & ~edges).astype(np.uint8)
    mask[papers > 0] = 1
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, labels = cv2.connectedComponents(mask, connectivity=4)
    label = np.bincount(labels[own & (mask > 0)]).argmax() if np.any(own & (mask > 0)) else 0
    if label == 0:
        return None
    whole = ((labels == label) | (thing > 0)).astype(np.uint8)
    whole = np.asarray(cv2.morphologyEx(whole, cv2.MORPH_CLOSE, np.ones((c.CLOSE_PX, c.CLOSE_PX), np.uint8)), np.uint8)
    filled, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(whole, filled, -1, 1, cv2.FILLED)  # a sink, things standing there
    share = float(np.mean(whole))
    return whole if c.SURFACE_SHARE[0] < share < c.SURFACE_SHARE[1] else None


def _grown(quad: Array, factor: float) -> NDArray[np.int32]:
    middle = quad.mean(axis=0)
    return np.asarray(np.round(middle + factor * (quad - middle)), np.int32)


def _pose(meta: PhotoMeta, size: KnownSize, corners_px: Array) -> tuple[Array, Array] | None:
    """(homography photo px -> plane mm, foot of the camera in the plane)."""
    focal = expected_lens(meta).focal_px
    centre = (np.array(meta.size_px) - 1.0) / 2.0
    camera = np.array([[focal, 0.0, centre[0]], [0.0, focal, centre[1]], [0.0, 0.0, 1.0]])
    best = None
    for turned in (False, True):
        long_mm, short_mm = (size.short_mm, size.long_mm) if turned else (size.long_mm, size.short_mm)
        # picture y runs down: corners that run clockwise in the picture run clockwise as seen from above
        box = np.array([[0, 0, 0], [long_mm, 0, 0], [long_mm, -short_mm, 0], [0, -short_mm, 0]], float)
        _, turns, shifts, errors = cv2.solvePnPGeneric(box, corners_px.reshape(4, 1, 2), camera, None, flags=cv2.SOLVEPNP_IPPE)
        for r, t, e in zip(turns, shifts, np.ravel(errors), strict=True):
            if best is None or e < best[0]:
                best = float(e), cv2.Rodrigues(r)[0], np.ravel(t)
    if best is None:
        return None
    _, turn, shift = best
    to_photo = camera @ np.column_stack([turn[:, 0], turn[:, 1], shift])
    return np.linalg.inv(to_photo), np.asarray(-turn.T @ shift, float)[:2]


def _on_plane(to_plane: Array, uv: Array) -> Array:
    """(n, 2) mm; what lies beyond the horizon is nan."""
    h = np.column_stack([uv, np.ones(len(uv))]) @ to_plane.T
    good = np.sign(h[:, 2]) == np.sign(np.median(h[:, 2]))
    out = np.full((len(uv), 2), np.nan)
    out[good] = h[good, :2] / h[good, 2:]
    return out


def _square_polygon(ring: Array) -> Array | None:
    """Ring (n, 2) mm -> polygon with about square corners, 4, 6 or 8 of them; None where it is no such shape."""
    shape = shapely.Polygon(ring).buffer(0)
    shape = max(shape.geoms, key=lambda g: g.area) if isinstance(shape, shapely.MultiPolygon) else shape
    # narrow outgrowths (a shadow, a cable) and notches (things at the rim) go
    for grow in (-c.NARROW_MM, 2 * c.NARROW_MM, -c.NARROW_MM):
        shape = shape.buffer(grow, join_style="mitre")
    shape = max(shape.geoms, key=lambda g: g.area) if isinstance(shape, shapely.MultiPolygon) else shape
    if shape.is_empty or not isinstance(shape, shapely.Polygon):
        return None
    points = np.asarray(shape.exterior.simplify(c.SIMPLIFY_MM).coords)[:-1]
    along = np.roll(points, -1, axis=0) - points
    length, angle = np.linalg.norm(along, axis=1), np.arctan2(along[:, 1], along[:, 0])
    main = math.atan2(float(length @ np.sin(4 * angle)), float(length @ np.cos(4 * angle))) / 4.0
    way = np.round((angle - main) / (math.pi / 2)).astype(int) % 4
    # sides that run the same way, one after the other, are one; each is a line through its longest stretches
    groups: list[list[int]] = []
    for k in np.argsort(-length)[:1]:
        order = [(int(k) + i) % len(points) for i in range(len(points))]
        for i in order:
            if length[i] < c.SHORT_MM and groups:
                continue
            if groups and way[groups[-1][-1]] == way[i]:
                groups[-1].append(i)
            else:
                groups.append([i])
    if len(groups) > 1 and way[groups[0][0]] == way[groups[-1][0]]:
        groups[0] = groups.pop() + groups[0]
    if len(groups) not in c.CORNERS:
        return None
    lines = []
    for group in groups:
        ends = np.concatenate([[points[i], points[(i + 1) % len(points)]] for i in group])
        middle = ends.mean(axis=0)
        _, _, axes = np.linalg.svd(ends - middle)
        lines.append((middle, axes[0]))
    corners = []
    for (a, u), (b, v) in zip([lines[-1], *lines[:-1]], lines, strict=True):
        cross = float(u[0] * v[1] - u[1] * v[0])
        if abs(cross) < c.SQUARE_ENOUGH:
            return None
        s = float((b - a)[0] * v[1] - (b - a)[1] * v[0]) / cross
        corners.append(a + s * u)
    made = np.array(corners)
    overlap = shapely.Polygon(made)
    if not overlap.is_valid or overlap.symmetric_difference(shape).area > c.MOST_DIFFERENCE * shape.area:
        return None
    return made
