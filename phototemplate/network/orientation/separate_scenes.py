"""Photos of two places in one job: the same numbered sheets, lying in another order.

Before anything is adjusted. Sheets on one set of cabinets lie nearly in one plane, so between two photos of them one plane
homography takes all shared sheets from one to the other (R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed., 13.1), but
for the height of a cabinet and what the lens still bends; a sheet that moved departs alone. Where more
depart by far, the two photos show another arrangement. Photos are joined by the pairs that agree; two sets of photos that
nothing joins and that contradict each other are two places, and no adjustment can be right for both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.cluster.hierarchy import DisjointSet

from phototemplate.errors import MeasureError
from phototemplate.model import Array, IntArray
from phototemplate.network.constants import ALIKE_MM, LEAST_FORWARD_OF_PLACE, LEAST_GROUP, LEAST_SHARED, OTHER_MM
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.views import TargetView
from phototemplate.numerics import lens


@dataclass(frozen=True)
class _Sheet:
    """A sheet as one photo shows it."""

    point_ids: IntArray
    local_mm: Array
    """(n, 2) nominal"""
    ideal: Array
    """(n, 2) picture coordinates without the lens"""


def refuse_two_places(
    views: Mapping[str, Mapping[str, TargetView]], camera_of: Mapping[str, str], lenses: Sequence[LensStart]
) -> None:
    """Raise :class:`MeasureError` where the photos show two arrangements of the same sheets."""
    groups = groups_of(views, camera_of, lenses)
    if len(groups) > 1:
        sets = " and another in ".join(", ".join(group) for group in groups)
        raise MeasureError(
            f"The photos show {'two' if len(groups) == 2 else len(groups)} places, or one before and after its sheets were "
            f"laid anew: they lie in one order in {sets}; leave one of these sets out and measure each alone."
        )


def groups_of(
    views: Mapping[str, Mapping[str, TargetView]], camera_of: Mapping[str, str], lenses: Sequence[LensStart]
) -> tuple[tuple[str, ...], ...]:
    """Photos by place, the largest group first; a single group where nothing speaks for two places. Photos of which it
    cannot be told where they belong are in none of several."""
    start = {one.camera_id: one for one in lenses}
    sheets = {
        photo: {
            t: _Sheet(v.point_ids, v.local[:, :2], _ideal(start[camera_of[photo]], v.uv))
            for t, v in own.items()
            if v.flat and t.startswith("S")
        }
        for photo, own in views.items()
    }
    names = list(sheets)
    joined, apart_pairs = DisjointSet(range(len(names))), []
    for a, b in _pairs([sheets[name] for name in names]):
        # What two photos of one place say of each other changes nothing.
        if not joined.connected(a, b):
            verdict = _alike(sheets[names[a]], sheets[names[b]])
            if verdict:
                joined.merge(a, b)
            elif verdict is False:
                apart_pairs.append((a, b))
    label = np.array([joined[k] for k in range(len(names))])
    apart = {frozenset((label[a], label[b])) for a, b in apart_pairs}
    members = {k: tuple(sorted(names[i] for i in np.flatnonzero(label == k))) for k in np.unique(label)}
    places: list[int] = []
    for one in sorted(members, key=lambda k: (-len(members[k]), members[k])):
        if len(members[one]) >= LEAST_GROUP and all(frozenset((one, place)) in apart for place in places):
            places.append(one)
    return tuple(members[place] for place in places) if len(places) > 1 else (tuple(names),)


def _pairs(sheets: Sequence[Mapping[str, _Sheet]]) -> list[tuple[int, int]]:
    """Pairs of photos that share enough sheets to be compared, those that share most first: they join most photos."""
    ids = sorted(set().union(*sheets))
    shows = np.array([[t in own for t in ids] for own in sheets], dtype=np.int64).reshape(len(sheets), -1)
    shared = np.triu(shows @ shows.T, 1)
    first, second = np.nonzero(shared >= LEAST_SHARED)
    order = np.argsort(-shared[first, second], kind="stable")
    return [(int(a), int(b)) for a, b in zip(first[order], second[order], strict=True)]


def _ideal(start: LensStart, uv: Array) -> Array:
    """(n, 2) picture coordinates on a plane in front of the camera."""
    rays = lens.unproject(start.model, start.params, uv)
    return np.asarray(rays[:, :2] / np.maximum(rays[:, 2:], LEAST_FORWARD_OF_PLACE))


def _alike(a: Mapping[str, _Sheet], b: Mapping[str, _Sheet]) -> bool | None:
    """Whether the sheets that two photos share lie in the same order; None where it cannot be told."""
    shared = []
    for t in a:
        if t in b:
            _, first, second = np.intersect1d(a[t].point_ids, b[t].point_ids, return_indices=True)
            if len(first) >= 4:
                shared.append((a[t].local_mm[first], a[t].ideal[first], b[t].ideal[second]))
    if len(shared) < LEAST_SHARED:
        return None
    first_off = _departures_mm(shared, shared, cv2.LMEDS)
    near = [one for one, o in zip(shared, first_off, strict=True) if o < OTHER_MM]
    off = _departures_mm(shared, near if len(near) >= LEAST_SHARED else shared)
    # a homography brings any two sheets to where they are and three by chance; of five or more, one may have moved
    if np.count_nonzero(off < ALIKE_MM) >= max(len(off) - 1, LEAST_SHARED):
        return True
    return False if np.count_nonzero(off > OTHER_MM) >= 2 else None


_Shared = tuple[Array, Array, Array]
"""A sheet's nominal points (n, 2), where they are in one photo and in the other"""


def _departures_mm(shared: Sequence[_Shared], fitted: Sequence[_Shared], method: int = 0) -> Array:
    """(S,) by how much the sheets miss under the homography of some of them; infinite where there is none."""
    matrix, _ = cv2.findHomography(np.vstack([s for _, _, s in fitted]), np.vstack([d for _, d, _ in fitted]), method)
    if matrix is None:
        return np.full(len(shared), np.inf)
    return np.array([_departure_mm(np.asarray(matrix, dtype=np.float64), *one) for one in shared])


def _departure_mm(matrix: Array, local_mm: Array, there: Array, source: Array) -> float:
    """By how much a sheet misses where it should be, in mm of its own size."""
    moved = np.column_stack([source, np.ones(len(source))]) @ matrix.T
    behind = moved[:, 2] * np.sign(np.median(moved[:, 2])) < 1e-9
    if behind.any():
        return float("inf")
    design = np.column_stack([local_mm, np.ones(len(local_mm))])
    scale = np.sqrt(abs(np.linalg.det(np.linalg.lstsq(design, there, rcond=None)[0][:2])))
    miss = np.median(np.linalg.norm(moved[:, :2] / moved[:, 2:] - there, axis=1))
    return float(miss / max(scale, 1e-12))
