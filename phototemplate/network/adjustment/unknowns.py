"""What an adjustment adjusts, from which sightings: the unknowns' values, their columns, and who depends on what.

Unknowns are the shared parameters (lenses, photos, bodies, print scales; a few hundred, named in
:mod:`phototemplate.network.adjustment.parameter_names`) and free points, which the engine eliminates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from phototemplate.model import Array, IntArray
from phototemplate.network.adjustment import parameter_names
from phototemplate.network.adjustment.known_lengths import Condition
from phototemplate.numerics import lens


@dataclass
class State:
    """Current values of everything that is adjusted."""

    lenses: list[Array]
    """per camera (p,)"""
    photo_rotation: Array
    """(P, 3, 3) cam_from_world"""
    photo_translation: Array
    """(P, 3)"""
    focus: Array
    """(P,)"""
    body_rotation: Array
    """(B, 3, 3) world_from_target"""
    body_translation: Array
    """(B, 3)"""
    body_scale: Array
    """(B, 2)"""
    body_curl: Array
    """(B, 3)"""
    print_scale: Array
    """(Q, 2) common print scale per batch"""
    plane: Array
    """(3,) height and slopes of the common plane of the sheets (single photo only)"""
    points: Array
    """(M, 3) world, free points"""

    def copy(self) -> State:
        """A copy that can be changed."""
        return State(
            [p.copy() for p in self.lenses],
            *(
                a.copy()
                for a in (
                    self.photo_rotation,
                    self.photo_translation,
                    self.focus,
                    self.body_rotation,
                    self.body_translation,
                    self.body_scale,
                    self.body_curl,
                    self.print_scale,
                    self.plane,
                    self.points,
                )
            ),
        )


@dataclass(frozen=True)
class PointPrior:
    """Free points expected at places known beforehand, each coordinate for itself."""

    mean: Array
    """(M, 3) world"""
    sigma: Array
    """(3,) standard deviations along the world's axes, mm"""

    def whitened(self, points: Array) -> Array:
        """(M, 3) distance of points from where they are expected, in standard deviations."""
        return np.asarray((self.mean - points) / self.sigma)


@dataclass
class Problem:
    """What is adjusted and from which sightings; the values are in a :class:`State`."""

    camera_ids: list[str]
    camera_models: list[str]
    photo_ids: list[str]
    photo_camera: IntArray
    """(P,)"""
    body_ids: list[str]
    body_batch: IntArray
    """(B,) batch of the print scale"""
    batches: list[str]
    point_ids: list[tuple[str, int]]
    # sightings, sorted by photo, then body, then point
    photo: IntArray
    body: IntArray
    """(N,) or -1 for free points"""
    point: IntArray
    """(N,) or -1 for points of bodies"""
    local: Array
    """(N, 3) in the body's frame"""
    uv: Array
    """(N, 2)"""
    root: Array
    """(N, 2, 2) with root^T root = cov^-1"""
    conditions: Callable[[State], Sequence[Condition]] = lambda state: ()
    curl: frozenset[int] = frozenset()
    """Bodies whose curl is adjusted"""
    shared_points: tuple[int, ...] = ()
    """Free points that are kept among the shared parameters because a known length ends there"""
    plane: bool = False
    """The common plane of the sheets is adjusted"""
    fixed: frozenset[str] = frozenset()
    """Names of shared parameters held at their values (the datum)"""
    point_prior: PointPrior | None = None
    """Where the free points are expected; not for those that a known length ends at"""
    names: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.arrange()

    def arrange(self) -> None:
        """(Re)number the columns; call after changing ``curl``, ``shared_points``, ``plane`` or ``fixed``."""
        names: list[str] = []

        def take(new: Sequence[str]) -> IntArray:
            names.extend(new)
            return np.arange(len(names) - len(new), len(names), dtype=np.int64)

        self.lens_columns = [
            take(parameter_names.lens_names(c, lens.LENS_MODELS[m].names))
            for c, m in zip(self.camera_ids, self.camera_models, strict=True)
        ]
        self.photo_columns = np.array([take(parameter_names.photo_names(p)) for p in self.photo_ids]).reshape(-1, 7)
        self.body_columns = np.full((len(self.body_ids), 11), -1, dtype=np.int64)
        for b, t in enumerate(self.body_ids):
            columns = take(parameter_names.body_names(t, b in self.curl))
            self.body_columns[b, : len(columns)] = columns
        self.print_columns = np.array([take(parameter_names.print_names(b)) for b in self.batches]).reshape(-1, 2)
        self.plane_columns = take([f"plane:{c}" for c in parameter_names.PLANE]) if self.plane else np.zeros(0, dtype=np.int64)
        self.point_columns = np.full((len(self.point_ids), 3), -1, dtype=np.int64)
        for m in self.shared_points:
            self.point_columns[m] = take(parameter_names.point_names(*self.point_ids[m]))
        self.names = tuple(names)
        self.free = np.array([n not in self.fixed for n in names], dtype=bool)
        # Free points proper are numbered 0.. in the order of point_ids; shared ones have -1.
        self.schur_index = np.full(len(self.point_ids), -1, dtype=np.int64)
        proper = [m for m in range(len(self.point_ids)) if self.point_columns[m, 0] < 0]
        self.schur_index[proper] = np.arange(len(proper))
        self.schur_points = np.array(proper, dtype=np.int64)
        self._group()

    def _group(self) -> None:
        """Runs of sightings that depend on the same columns."""
        key = np.where(self.body >= 0, self.body, -1)
        shared = (self.point >= 0) & (self.schur_index[self.point] < 0) if len(self.point_ids) else self.point >= 0
        key = np.where(shared, -2 - self.point, key)
        change = np.nonzero((np.diff(self.photo) != 0) | (np.diff(key) != 0))[0] + 1
        starts = np.concatenate([[0], change, [len(self.photo)]]) if len(self.photo) else np.array([0])
        self.groups: list[tuple[slice, int, int]] = [
            (slice(int(a), int(b)), int(self.photo[a]), int(key[a])) for a, b in pairwise(starts)
        ]
        self._columns: dict[tuple[int, int], tuple[IntArray, IntArray]] = {
            (p, k): self._group_columns(p, k) for _, p, k in self.groups
        }

    @property
    def size(self) -> int:
        """Number of shared parameters, fixed ones included."""
        return len(self.names)

    def group_columns(self, photo: int, key: int) -> tuple[IntArray, IntArray]:
        """Columns a group of sightings depends on, and which of the local Jacobian's columns they are."""
        return self._columns[photo, key]

    def _group_columns(self, photo: int, key: int) -> tuple[IntArray, IntArray]:
        lenses = self.lens_columns[self.photo_camera[photo]]
        columns = [lenses, self.photo_columns[photo]]
        wide = self.lens_width
        local = [np.arange(len(lenses)), wide + np.arange(7)]
        if key >= 0:
            own = self.body_columns[key]
            columns.append(own[own >= 0])
            local.append(wide + 7 + np.nonzero(own >= 0)[0])
        elif key <= -2:
            columns.append(self.point_columns[-2 - key])
            local.append(wide + 7 + np.arange(3))
        return np.concatenate(columns), np.concatenate(local)

    @property
    def lens_width(self) -> int:
        """Columns the widest lens model takes."""
        return max(len(c) for c in self.lens_columns)
