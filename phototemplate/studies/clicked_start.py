"""Where the search for clicked points begins: the plane seen by a phone held in front of a kitchen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from phototemplate.model import Array, PhotoMeta
from phototemplate.studies.clicked_lens import expected_lens
from phototemplate.studies.clicked_problem import ClickedPhoto, ClickedProblem
from phototemplate.studies.constants import EYE_MM, FARTHEST_M, FOCAL_COST_PX, LEAST_DROP, THING
from phototemplate.studies.known_sizes import KnownSize


def rolls(photos: Sequence[ClickedPhoto]) -> tuple[float, ...]:
    """How the stored picture is turned: from EXIF, else level."""
    turns = {1: 0.0, 2: 0.0, 3: 180.0, 4: 180.0, 5: 90.0, 6: 90.0, 7: -90.0, 8: -90.0}
    return tuple(dict.fromkeys((turns.get(photos[0].meta.orientation, 0.0), 0.0, 90.0, -90.0)))[: 3]


def start(problem: ClickedProblem, tilt: float, roll: float, lenses: Array, by_things: bool = False) -> Array | None:
    """Points where the rays of a photo, held at an assumed height and tilt, meet the plane; common points join photos.
    ``lenses``: of :meth:`ClickedProblem.lens_of_lines`; ``by_things``: photos that show a known thing are held as its shape
    tells instead."""
    x = lenses.copy()
    placed: dict[str, Array] = {}
    corners: dict[str, Array] = {}
    for k, photo in enumerate(problem.photos):
        down, r = math.sin(tilt), math.cos(tilt)
        # camera z looks forward (plane y) and down; x to the right
        level = np.array([[1.0, 0.0, 0.0], [0.0, -down, -r], [0.0, r, -down]])
        own_roll = roll if k == 0 else roll + _roll_of(photo) - _roll_of(problem.photos[0])
        turn = Rotation.from_euler("z", own_roll).as_matrix()
        rotation = turn @ level
        eye = np.array([0.0, 0.0, EYE_MM / 1000.0])

        if by_things and photo.known:
            first = photo.known[0]
            ways = [_view(photo.meta, np.roll(first.corners_px, -r, axis=0), first.size) for r in range(2)]
            seen = min(ways, key=lambda v: v.miss)
            rotation, eye = seen.rotation, seen.eye_mm / 1000.0

        def on_plane(uv: Array, k: int = k, rotation: Array = rotation, eye: Array = eye) -> Array:
            optics, own = problem.camera(x, k)
            ray = np.column_stack([optics.rays(x[own], uv), np.ones(len(uv))]) @ rotation
            reach = np.where(ray[:, 2] < -LEAST_DROP, -eye[2] / np.minimum(ray[:, 2], -LEAST_DROP), FARTHEST_M)
            out: Array = eye[:2] + np.minimum(reach, FARTHEST_M)[:, None] * ray[:, :2]
            return out

        named = dict(zip(photo.points, on_plane(np.array(list(photo.points.values()))), strict=True)) if photo.points else {}
        boxes = {t.name: on_plane(t.corners_px) for t in photo.known}
        if k:
            common = [n for n in named if n in placed]
            for n in (n for n in boxes if n in corners):
                both = [named[c] for c in common], [placed[c] for c in common]
                problem.rolls[k, n] = _roll_of_box(boxes[n], corners[n], *both)
                boxes[n] = np.roll(boxes[n], -problem.rolls[k, n], axis=0)
            here = [named[n] for n in common] + [p for n in boxes if n in corners for p in boxes[n]]
            there = [placed[n] for n in common] + [p for n in boxes if n in corners for p in corners[n]]
            scale, angle, shift = _similar(np.array(here), np.array(there))
            c, s = math.cos(angle), math.sin(angle)
            spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
            named = {n: scale * spin[:2, :2] @ p + shift for n, p in named.items()}
            boxes = {n: scale * p @ spin[:2, :2].T + shift for n, p in boxes.items()}
            rotation, eye = rotation @ spin.T, np.append(scale * spin[:2, :2] @ eye[:2] + shift, scale * eye[2])
        at = problem.n_cam + 6 * k
        x[at : at + 3], x[at + 3 : at + 6] = Rotation.from_matrix(rotation).as_rotvec(), eye
        placed = {**named, **placed}
        corners = {**boxes, **corners}
    factor = _start_scale(problem, placed, corners)
    if not np.isfinite(factor) or factor <= 0:
        return None
    for k in range(len(problem.photos)):
        x[problem.n_cam + 6 * k + 3 : problem.n_cam + 6 * k + 6] *= factor
    x[problem.points_at : problem.things_at] = factor * np.array([placed[n] for n in problem.names]).reshape(-1)
    for i, name in enumerate(problem.thing_names):
        box = factor * corners[name]
        side = box[1] - box[0]
        at = problem.things_at + THING * i
        x[at : at + 2], x[at + 2] = box.mean(axis=0), math.atan2(side[1], side[0])
    return x


def _roll_of_box(seen: Array, known: Array, here: Sequence[Array], there: Sequence[Array]) -> int:
    """By how many corners the clicks on a thing begin later than in the photo that showed it first, as the other points tell;
    where there are less than two of them the corners are taken as :func:`in_one_order` left them."""
    if len(here) < 2:
        return 0
    scale, angle, shift = _similar(np.array(here), np.array(there))
    c, s = math.cos(angle), math.sin(angle)
    moved = scale * seen @ np.array([[c, s], [-s, c]]) + shift
    return int(np.argmin([float(np.sum((np.roll(moved, -r, axis=0) - known) ** 2)) for r in range(4)]))


def in_one_order(photos: Sequence[ClickedPhoto]) -> list[ClickedPhoto]:
    """The photos with the corners of every thing beginning at the same corner, as far as its shape and the way people stand
    tell: its long side first, and of the two ways round the one in which the photos look the same way, more or less, for
    people stand in the room and not in the wall."""
    ahead: dict[str, Array] = {}
    out = []
    for photo in photos:
        things = []
        for thing in photo.known:
            fits = [_view(photo.meta, np.roll(thing.corners_px, -k, axis=0), thing.size) for k in range(2)]
            roll = int(fits[1].miss < fits[0].miss)
            way = fits[roll].rotation[2, :2]
            if float(way @ ahead.setdefault(thing.name, way)) < 0:
                roll += 2
            corners, u = np.roll(thing.corners_px, -roll, axis=0), np.roll(thing.u_px, -roll)
            things.append(replace(thing, corners_px=corners, u_px=u))
        out.append(replace(photo, known=tuple(things)))
    return out


@dataclass(frozen=True)
class _PlaneCamera:
    """A photo as a rectangle in it tells; the rectangle lies in the plane, its middle in the origin, its long side along x."""

    miss: float
    """How badly the corners fit, px"""
    rotation: Array
    """(3, 3) camera from plane"""
    eye_mm: Array
    """(3,)"""


def _view(meta: PhotoMeta, corners_px: Array, size: KnownSize) -> _PlaneCamera:
    """The pose in which a rectangle, its long side first, looks like these corners (IPPE: T. Collins, A. Bartoli, 2014)."""
    half = np.array([size.long_mm, size.short_mm]) / 2.0
    box = np.column_stack([np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * half, np.zeros(4)])
    optics = expected_lens(meta)
    focal, u_focal = optics.focal_px, optics.u_focal
    centre = (np.array(meta.size_px) - 1.0) / 2.0
    found = []
    for step in (-1.0, 0.0, 1.0):
        f = focal * math.exp(step * u_focal)
        camera = np.array([[f, 0.0, centre[0]], [0.0, f, centre[1]], [0.0, 0.0, 1.0]])
        _, turns, shifts, errors = cv2.solvePnPGeneric(box, corners_px.reshape(4, 1, 2), camera, None, flags=cv2.SOLVEPNP_IPPE)
        for turn, shift, error in zip(turns, shifts, np.ravel(errors), strict=True):
            rotation = np.asarray(cv2.Rodrigues(turn)[0], float)
            # a wrong focal length costs a little, so that the usual one is kept where it does as well
            found.append(_PlaneCamera(float(error) + abs(step) * FOCAL_COST_PX, rotation, -rotation.T @ np.ravel(shift)))
    return min(found, key=lambda v: v.miss)


def _roll_of(photo: ClickedPhoto) -> float:
    return math.radians({6: 90.0, 5: 90.0, 8: -90.0, 7: -90.0, 3: 180.0, 4: 180.0}.get(photo.meta.orientation, 0.0))


def _start_scale(problem: ClickedProblem, placed: Mapping[str, Array], corners: Mapping[str, Array]) -> float:
    ratios = []
    for length in problem.lengths:
        d = float(np.linalg.norm(placed[length.end] - placed[length.start]))
        ratios.append(length.value_mm / 1000.0 / max(d, 1e-9))
    for name, box in corners.items():
        around = float(np.linalg.norm(np.roll(box, -1, axis=0) - box, axis=1).sum())
        size = problem.things[name].size
        ratios.append(2.0 * (size.long_mm + size.short_mm) / 1000.0 / max(around, 1e-9))
    return float(np.median(ratios))


def _similar(source: Array, target: Array) -> tuple[float, float, Array]:
    """Scale, angle and shift of the similarity that brings ``source`` onto ``target`` (n, 2)."""
    a, b = source.mean(axis=0), target.mean(axis=0)
    p, q = (source - a) @ np.array([1.0, 1j]), (target - b) @ np.array([1.0, 1j])
    z = complex(np.vdot(p, q) / max(float(np.vdot(p, p).real), 1e-12))
    c, s = z.real, z.imag
    return abs(z), math.atan2(s, c), b - np.array([[c, -s], [s, c]]) @ a
