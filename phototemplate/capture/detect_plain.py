"""Plain square markers (ArUco, AprilTag) of any OpenCV dictionary and stated size, as further targets.

Each marker is a target ``M<id>`` of four corner points in OpenCV's order (top left, top right, bottom right, bottom left
as printed). A corner is worth less than a saddle point: there is a black square on one side of it only, so blur and the
tone curve move it along the diagonal; ``cornerSubPix`` finds it to about 0.14 px. Pixel (0, 0) is the centre of the
first pixel; the libraries that go with AprilTags, and OpenCV's refinement of that name, put it half a pixel off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from phototemplate.capture import constants
from phototemplate.capture.markers import MarkerCodes, codes_of, dictionary, read_markers
from phototemplate.errors import Finding, InputError
from phototemplate.model import Array, GrayImage, PhotoMeta, Sightings, Target
from phototemplate.settings import DetectionSettings


@dataclass(frozen=True)
class PlainMarkers:
    """Plain markers that lie in the scene."""

    dictionary: str | Path
    """Name of an OpenCV dictionary, e.g. ``"DICT_4X4_100"``, or an OpenCV YAML file"""
    size_mm: float
    """Side of the black square"""
    ids: tuple[int, ...] | None = None
    """Only these; all of the dictionary where None"""

    def __post_init__(self) -> None:
        if not self.size_mm > 0:
            raise InputError(f"The size of the plain markers must be a positive length in mm, not {self.size_mm}.")


def plain_target(marker_id: int, size_mm: float) -> Target:
    """A plain marker as a target, origin at its centre."""
    h = size_mm / 2
    points = np.array([[-h, h, 0.0], [h, h, 0.0], [h, -h, 0.0], [-h, -h, 0.0]])
    return Target(f"M{marker_id}", "marker", points, size_mm=(size_mm, size_mm))


def find_plain(
    gray: GrayImage, meta: PhotoMeta, quads: Array, plain: Sequence[PlainMarkers], settings: DetectionSettings
) -> tuple[Sightings, list[Finding]]:
    """Read the candidates ``quads`` (n, 4, 2) as plain markers and refine their corners."""
    target_ids: list[str] = []
    points: list[Array] = []
    findings: list[Finding] = []
    for kind in plain:
        found = read_markers(gray, quads, _codes(kind.dictionary, kind.ids), settings.max_bit_errors)
        for marker in np.unique(found.ids):
            copies = found.corners_px[found.ids == marker]
            name = f"M{marker}"
            if len(copies) > 1 or name in target_ids:
                u, v = copies.mean(axis=1).T
                places = {"n_places": len(copies), "u_px": u, "v_px": v}
                findings.append(Finding("target-id-twice", name, photo=meta.photo_id, **places))
                continue
            target_ids.append(name)
            points.append(copies[0])
    corners = np.array(points).reshape(-1, 4, 2)
    uv = refine_corners(gray, corners)
    side = np.repeat(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).mean(axis=1), 4)
    u = settings.plain_corner_u_px * np.maximum(1.0, np.sqrt(constants.PLAIN_SIDE_PX / np.maximum(side, 1.0)))
    return (
        Sightings(
            meta.photo_id,
            tuple(t for t in target_ids for _ in range(4)),
            np.tile(np.arange(4, dtype=np.int64), len(target_ids)),
            uv.reshape(-1, 2),
            u[:, None, None] ** 2 * np.eye(2),
        ),
        findings,
    )


def refine_corners(gray: GrayImage, corners_px: Array) -> Array:
    """Corners (n, 4, 2) to sub-pixel by ``cornerSubPix``, with a window that sees one corner only."""
    out = np.array(corners_px, float)
    for k, quad in enumerate(out):
        side = float(np.linalg.norm(quad - np.roll(quad, 1, axis=0), axis=1).min())
        half = int(np.clip(round(constants.CORNER_WINDOW * side), 2, 8))  # a bit is a sixth of the side or less
        start = quad.astype(np.float32).reshape(-1, 1, 2)
        criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-3)
        fine = cv2.cornerSubPix(gray, start, (half, half), (-1, -1), criteria).reshape(4, 2)
        near = np.linalg.norm(fine - quad, axis=1) < half + 1.0
        out[k][near] = fine[near]
    return out


@cache
def _codes(name: str | Path, ids: tuple[int, ...] | None) -> MarkerCodes:
    codes = codes_of(dictionary(name))
    return codes if ids is None else codes.only(frozenset(ids))
