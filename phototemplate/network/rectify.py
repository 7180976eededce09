"""Top view of the work plane from all photos: a picture for eyes and first guesses, never for measuring.

Every place takes its colour from the photo that shows it best (many pixels per mm, seen steeply), with soft seams. Photos
are read one at a time; what is kept is one accumulator of the size of the view.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from phototemplate.errors import MeasureError
from phototemplate.model import Array, Network, WorkPlane
from phototemplate.network.constants import (
    BORDER_PX,
    FADE,
    FAR_PX,
    LEAST_BLEND,
    LEAST_BLUR,
    LEAST_NODE_PX,
    MOST_NODES,
    MOST_PIXELS,
    NODE_MM,
    ROUNDING,
)
from phototemplate.network.projection import project
from phototemplate.network.workplane import to_world

RgbImage = NDArray[np.uint8]


@dataclass(frozen=True)
class TopView:
    """A picture of the work plane; row 0 is the far side (largest y), so that it reads like a plan."""

    rgb: RgbImage
    """(rows, columns, 3); black where no photo sees the plane"""
    seen: NDArray[np.bool_]
    """(rows, columns)"""
    px_per_mm: float
    origin_mm: tuple[float, float]
    """Work-plane position of the centre of the pixel in the first row and first column"""
    best_photo: dict[str, float]
    """Photo -> share of the seen area taken from it"""


def default_bounds(network: Network, plane: WorkPlane, margin_mm: float = 350.0) -> tuple[float, float, float, float]:
    """Box (x min, y min, x max, y max) in the work frame around the sheets, with a margin."""
    xy = np.array([h.xy_mm for h in plane.heights])
    low, high = xy.min(axis=0) - margin_mm, xy.max(axis=0) + margin_mm
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def rectify(
    network: Network,
    plane: WorkPlane,
    rgb_of: Callable[[str], RgbImage],
    bounds_mm: tuple[float, float, float, float] | None = None,
    px_per_mm: float = 1.0,
    feather_mm: float = 40.0,
    progress: Callable[[str, float], None] | None = None,
) -> TopView:
    """Make the top view.

    ``rgb_of`` gives the picture of a photo id, in stored orientation; a picture reduced in size is allowed (the scale is
    taken from its width). ``bounds_mm`` defaults to :func:`default_bounds`. Raises :class:`MeasureError` where no photo
    shows any of it.
    """
    x0, y0, x1, y1 = bounds_mm or default_bounds(network, plane)
    step = 1.0 / px_per_mm
    columns, rows = max(int(np.ceil((x1 - x0) / step)) + 1, 2), max(int(np.ceil((y1 - y0) / step)) + 1, 2)
    if columns * rows > MOST_PIXELS:
        shrink = float(np.sqrt(MOST_PIXELS / (columns * rows)))
        return rectify(network, plane, rgb_of, (x0, y0, x1, y1), px_per_mm * shrink, feather_mm, progress)
    node_px = max(NODE_MM * px_per_mm, LEAST_NODE_PX, float(np.sqrt(columns * rows / MOST_NODES)))
    node_c, node_r = int(np.ceil(columns / node_px)) + 1, int(np.ceil(rows / node_px)) + 1
    gx = x0 + np.arange(node_c) * node_px * step
    gy = y1 - np.arange(node_r) * node_px * step
    grid = np.column_stack([np.tile(gx, node_r), np.repeat(gy, node_c), np.zeros(node_c * node_r)])
    world = to_world(plane, grid)
    photos = list(network.photos)
    scores, places = zip(*(_score(network, plane, p, world) for p in photos), strict=True)
    score = np.array(scores).reshape(len(photos), node_r, node_c)
    best = np.argmax(score, axis=0)
    valid = score.max(axis=0) > 0
    if not valid.any():
        raise MeasureError("No photo shows the work plane within the bounds asked for; check the bounds.")
    weight = _soft_weights(best, valid, score, feather_mm / (node_px * step))
    area = {p: float(np.mean((best == i)[valid])) for i, p in enumerate(photos)}

    total = np.zeros((rows, columns, 3), dtype=np.float32)
    share = np.zeros((rows, columns), dtype=np.float32)
    to_node = [np.arange(columns, dtype=np.float32) / node_px, np.arange(rows, dtype=np.float32) / node_px]
    for i, photo in enumerate(photos):
        if progress:
            progress(f"Top view: {photo}", i / len(photos))
        if not weight[i].any():
            continue
        picture = rgb_of(photo)
        size = network.cameras[network.photos[photo].camera_id].size_px
        # Positions between the nodes by interpolation: the mapping is smooth, the error far below a pixel of the view.
        uv = places[i]
        uv[np.any(np.abs(uv) > FAR_PX, axis=1)] = np.nan
        zoom = picture.shape[1] / size[0]
        uv = ((uv + 0.5) * zoom - 0.5).reshape(node_r, node_c, 2).astype(np.float32)
        touched = np.nonzero(weight[i].max(axis=1))[0], np.nonzero(weight[i].max(axis=0))[0]
        r0, r1 = (int(max(touched[0][0] - 1, 0) * node_px), int(min((touched[0][-1] + 1) * node_px + 1, rows)))
        c0, c1 = (int(max(touched[1][0] - 1, 0) * node_px), int(min((touched[1][-1] + 1) * node_px + 1, columns)))
        nodes = np.meshgrid(to_node[0][c0:c1], to_node[1][r0:r1])
        at = cv2.remap(uv, nodes[0], nodes[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        w = cv2.remap(weight[i], nodes[0], nodes[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        inside = np.isfinite(at).all(axis=2)
        inside &= (at[:, :, 0] >= 0) & (at[:, :, 0] <= picture.shape[1] - 1)
        inside &= (at[:, :, 1] >= 0) & (at[:, :, 1] <= picture.shape[0] - 1)
        w = np.where(inside, w, 0).astype(np.float32)
        # remap takes at most 32767 columns or rows of the picture; larger ones are reduced first.
        if max(picture.shape[:2]) > 32000:
            half = 32000 / max(picture.shape[:2])
            picture = np.asarray(cv2.resize(picture, None, fx=half, fy=half, interpolation=cv2.INTER_AREA), dtype=np.uint8)
            at = (at + 0.5) * half - 0.5
        at = np.nan_to_num(at, nan=-1.0).astype(np.float32)
        colour = cv2.remap(picture, at[:, :, 0], at[:, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        total[r0:r1, c0:c1] += colour * w[:, :, None]
        share[r0:r1, c0:c1] += w
        del picture
    seen = share > LEAST_BLEND
    np.divide(total, np.maximum(share, LEAST_BLEND)[:, :, None], out=total)
    total[~seen] = 0
    rgb = np.clip(total + ROUNDING, 0, 255).astype(np.uint8)
    return TopView(rgb, seen, px_per_mm, (x0, y1), area)


def _score(network: Network, plane: WorkPlane, photo: str, world: Array) -> tuple[Array, Array]:
    """(n,) quality of a photo at points of the plane: pixels per mm in the worse direction, falling to 0 at the border; and
    (n, 2) where it shows them, px."""
    seen = project(network, photo, world)
    size = network.cameras[network.photos[photo].camera_id].size_px
    uv = seen.uv_px
    edge = np.minimum(np.minimum(uv[:, 0], size[0] - 1 - uv[:, 0]), np.minimum(uv[:, 1], size[1] - 1 - uv[:, 1]))
    # Derivatives of what lies near the plane through the eye or behind it are beyond all bounds: such points are not asked.
    inside = (seen.depth_mm > 0) & (np.nan_to_num(edge, nan=-1.0) > BORDER_PX)
    along = seen.d_xyz[inside] @ plane.rotation[:2].T  # (m, 2, 2) px per mm along the plane's x and y
    fade = np.clip((edge[inside] - BORDER_PX) / (FADE * max(size)), 0.0, 1.0)
    score = np.zeros(len(uv))
    score[inside] = np.linalg.svd(along, compute_uv=False)[:, 1] * (0.2 + 0.8 * fade)
    return score, uv


def _soft_weights(best: Array, valid: Array, score: Array, feather_nodes: float) -> NDArray[np.float32]:
    """(photos, rows, columns) float32 blending weights: blurred choice maps, only where the photo sees the plane."""
    out = np.zeros(score.shape, dtype=np.float32)
    for i in range(len(score)):
        chosen = ((best == i) & valid).astype(np.float32)
        if not chosen.any():
            continue
        soft = cv2.GaussianBlur(chosen, (0, 0), max(feather_nodes / 2, LEAST_BLUR), borderType=cv2.BORDER_REPLICATE)
        out[i] = np.where(score[i] > 0, soft, 0.0)
    return out
