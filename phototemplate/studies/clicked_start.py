"""Where the search for clicked points begins: the plane seen by a phone held in front of a kitchen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from phototemplate.model import Array
from phototemplate.studies.clicked_problem import ClickedPhoto, ClickedProblem
from phototemplate.studies.constants import BOX_MISS, EYE_MM, FARTHEST_M, LEAST_DROP, THING


def rolls(photos: Sequence[ClickedPhoto]) -> tuple[float, ...]:
    """How the stored picture is turned: from EXIF, else level."""
    turns = {1: 0.0, 2: 0.0, 3: 180.0, 4: 180.0, 5: 90.0, 6: 90.0, 7: -90.0, 8: -90.0}
    return tuple(dict.fromkeys((turns.get(photos[0].meta.orientation, 0.0), 0.0, 90.0, -90.0)))[: 3]


def start(problem: ClickedProblem, tilt: float, roll: float, lenses: Array) -> Array | None:
    """Points where the rays of a photo, held at an assumed height and tilt, meet the plane; common points join photos.
    ``lenses``: of :meth:`ClickedProblem.lens_of_lines`."""
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
            rotation, eye = rotation @ spin.T, np.append(shift, scale * eye[2])
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
    """By how many corners the clicks on a thing begin later than in the photo that showed it first: as the other points tell,
    or else, where there are less than two, as its shape does. A rectangle looks the same after half a turn; then the photos
    are taken to look the same way, more or less, as people stand in the room and not in the wall."""
    off = []
    for r in range(4):
        box = np.roll(seen, -r, axis=0)
        own, other = (np.array(here), np.array(there)) if len(here) >= 2 else (box, known)
        scale, angle, shift = _similar(own, other)
        c, s = math.cos(angle), math.sin(angle)
        miss = scale * box @ np.array([[c, s], [-s, c]]) + shift - known
        off.append(float(np.sum(miss**2)) if len(here) >= 2 else _shape_miss(miss, known) + abs(angle) / math.pi)
    return int(np.argmin(off))


def _shape_miss(miss: Array, box: Array) -> float:
    """How badly two boxes agree, in units in which a quarter turn of a sheet is worse than any turn of the photo."""
    return BOX_MISS * math.sqrt(float(np.mean(miss**2))) / float(np.linalg.norm(box[2] - box[0]))


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
