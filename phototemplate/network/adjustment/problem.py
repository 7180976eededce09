"""What an adjustment adjusts, from which sightings: the unknowns' values, their columns, and who depends on what.

Unknowns are the shared parameters (lenses, photos, bodies, print scales; a few hundred, named in
:mod:`phototemplate.network.adjustment.parameters`) and free points, which are eliminated from the normal equations. A problem
and a state never change; ``dataclasses.replace`` makes new ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from phototemplate.model import Array, BoolArray, IntArray
from phototemplate.model.network import EXPOSURE
from phototemplate.network.adjustment import parameters as names_of
from phototemplate.network.adjustment.parameters import CURL, POSE, SCALE, Layout
from phototemplate.network.photo_camera import Sensor
from phototemplate.numerics import lens


@dataclass(frozen=True)
class State:
    """Values of everything that is adjusted."""

    lenses: tuple[Array, ...]
    """per camera (p,)"""
    photo_rotation: Array
    """(P, 3, 3) cam_from_world"""
    photo_translation: Array
    """(P, 3)"""
    exposure: Array
    """(P, 9) in the order of ``model.network.EXPOSURE``"""
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

    @classmethod
    def at_rest(
        cls,
        lenses: Sequence[Array],
        photos: Sequence[tuple[Array, Array]],
        bodies: Sequence[tuple[Array, Array]],
        batches: int,
        points: Array | None = None,
    ) -> State:
        """Poses as given (cam_from_world, world_from_target), prints at their nominal size and flat, exposures that do
        nothing."""
        p, b = len(photos), len(bodies)
        return cls(
            tuple(one.copy() for one in lenses),
            np.array([r for r, _ in photos]).reshape(p, 3, 3),
            np.array([t for _, t in photos]).reshape(p, 3),
            np.zeros((p, len(EXPOSURE))),
            np.array([r for r, _ in bodies]).reshape(b, 3, 3),
            np.array([t for _, t in bodies]).reshape(b, 3),
            np.ones((b, len(SCALE))),
            np.zeros((b, len(CURL))),
            np.ones((batches, 2)),
            np.zeros(3),
            np.zeros((0, 3)) if points is None else points.copy(),
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


@dataclass(frozen=True)
class SightingTable:
    """The sightings of an adjustment, sorted by photo, then body, then point; N of them."""

    photo: IntArray
    """(N,)"""
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

    def __len__(self) -> int:
        return len(self.photo)

    def select(self, rows: BoolArray) -> SightingTable:
        """Some of them."""
        return SightingTable(
            self.photo[rows], self.body[rows], self.point[rows], self.local[rows], self.uv[rows], self.root[rows]
        )


@dataclass(frozen=True)
class Problem:
    """What is adjusted and from which sightings; the values are in a :class:`State`."""

    camera_ids: tuple[str, ...]
    camera_models: tuple[str, ...]
    sensors: tuple[Sensor, ...]
    """per camera"""
    photo_ids: tuple[str, ...]
    photo_camera: IntArray
    """(P,)"""
    body_ids: tuple[str, ...]
    body_batch: IntArray
    """(B,) batch of the print scale"""
    batches: tuple[str, ...]
    point_ids: tuple[tuple[str, int], ...]
    sightings: SightingTable
    exposure: tuple[str, ...] = ("focus",)
    """Components of the exposures that are adjusted, of ``model.network.EXPOSURE``"""
    curl: frozenset[int] = frozenset()
    """Bodies whose curl is adjusted"""
    shared_points: tuple[int, ...] = ()
    """Free points that are kept among the shared parameters because a known length ends there"""
    plane: bool = False
    """The common plane of the sheets is adjusted"""
    fixed: frozenset[str] = frozenset()
    """Names of shared parameters held at their values (the datum, and what is held by choice)"""
    point_prior: PointPrior | None = field(default=None, compare=False)
    """Where the free points are expected; not for those that a known length ends at"""

    @cached_property
    def layout(self) -> Layout:
        """Places of the blocks in a sighting's Jacobian."""
        return Layout(max(len(lens.LENS_MODELS[m].names) for m in self.camera_models))

    @cached_property
    def columns(self) -> Columns:
        """Columns of every block."""
        return Columns.of(self)

    @property
    def names(self) -> tuple[str, ...]:
        """(K,) of the shared parameters, fixed ones included."""
        return self.columns.names

    @property
    def size(self) -> int:
        """Number of shared parameters, fixed ones included."""
        return len(self.names)

    @cached_property
    def free(self) -> BoolArray:
        """(K,) whether each shared parameter is adjusted"""
        return np.array([n not in self.fixed for n in self.names], dtype=bool)

    @cached_property
    def schur_points(self) -> IntArray:
        """Free points proper, which are eliminated"""
        return np.nonzero(self.columns.point[:, 0] < 0)[0]

    @cached_property
    def schur_index(self) -> IntArray:
        """(M,) number of each free point among those eliminated, -1 for shared ones"""
        out = np.full(len(self.point_ids), -1, dtype=np.int64)
        out[self.schur_points] = np.arange(len(self.schur_points))
        return out

    @cached_property
    def point_blocks(self) -> tuple[tuple[IntArray, IntArray], ...]:
        """The free points that are eliminated, target by target: the columns that their sightings depend on, and their numbers
        among those eliminated."""
        target = np.unique([self.point_ids[m][0] for m in self.schur_points], return_inverse=True)[1]
        columns: list[list[IntArray]] = [[np.zeros(0, dtype=np.int64)] for _ in range(int(target.max(initial=-1)) + 1)]
        for rows, photo, key in self.groups:
            if key == -1:
                for t in np.unique(target[self.schur_index[self.sightings.point[rows]]]):
                    columns[t].append(self.group_columns(photo, key)[0])
        return tuple((np.unique(np.concatenate(own)), np.flatnonzero(target == t)) for t, own in enumerate(columns))

    @cached_property
    def groups(self) -> tuple[tuple[slice, int, int], ...]:
        """Runs of sightings that depend on the same columns: rows, photo, key.

        The key is the body, -1 for free points proper, -2 - m for the shared point m.
        """
        s = self.sightings
        if not len(s):
            return ()
        key = np.where(s.body >= 0, s.body, -1)
        if len(self.point_ids):
            key = np.where((s.point >= 0) & (self.schur_index[s.point] < 0), -2 - s.point, key)
        change = np.nonzero((np.diff(s.photo) != 0) | (np.diff(key) != 0))[0] + 1
        starts = np.concatenate([[0], change, [len(s)]])
        return tuple((slice(int(a), int(b)), int(s.photo[a]), int(key[a])) for a, b in pairwise(starts))

    @cached_property
    def _group_columns(self) -> dict[tuple[int, int], tuple[IntArray, IntArray]]:
        return {(p, k): self.columns.of_group(self, p, k) for _, p, k in self.groups}

    def group_columns(self, photo: int, key: int) -> tuple[IntArray, IntArray]:
        """Columns a group of sightings depends on, and which of the local Jacobian's columns they are."""
        return self._group_columns[photo, key]

    def weighted(self, root: Array) -> Problem:
        """The same problem with other roots (N, 2, 2) of the sightings' weights."""
        new = replace(self, sightings=replace(self.sightings, root=root))
        new.__dict__.update({k: v for k, v in self.__dict__.items() if k not in new.__dict__})
        return new


@dataclass(frozen=True)
class Columns:
    """Columns of the blocks among the shared parameters; -1 where a component is not adjusted."""

    names: tuple[str, ...]
    lenses: tuple[IntArray, ...]
    """per camera (p,)"""
    pose: IntArray
    """(P, 6)"""
    exposure: IntArray
    """(P, 9)"""
    body: IntArray
    """(B, 6) pose"""
    scale: IntArray
    """(B, 2)"""
    curl: IntArray
    """(B, 3)"""
    prints: IntArray
    """(Q, 2)"""
    plane: IntArray
    """(3,) or (0,)"""
    point: IntArray
    """(M, 3)"""

    @classmethod
    def of(cls, problem: Problem) -> Columns:
        """Number the columns of a problem."""
        names: list[str] = []

        def take(new: Sequence[str]) -> IntArray:
            names.extend(new)
            return np.arange(len(names) - len(new), len(names), dtype=np.int64)

        lenses = tuple(
            take(names_of.lens_names(c, lens.LENS_MODELS[m].names))
            for c, m in zip(problem.camera_ids, problem.camera_models, strict=True)
        )
        n, b = len(problem.photo_ids), len(problem.body_ids)
        pose, exposure = np.zeros((n, len(POSE)), dtype=np.int64), np.full((n, len(EXPOSURE)), -1, dtype=np.int64)
        used = [EXPOSURE.index(c) for c in problem.exposure]
        for i, p in enumerate(problem.photo_ids):
            pose[i] = take(names_of.pose_names(p))
            exposure[i, used] = take(names_of.exposure_names(p, problem.exposure))
        body, scale = np.zeros((b, len(POSE)), dtype=np.int64), np.zeros((b, len(SCALE)), dtype=np.int64)
        curl = np.full((b, len(CURL)), -1, dtype=np.int64)
        for i, t in enumerate(problem.body_ids):
            both = take(names_of.body_names(t))
            body[i], scale[i] = both[: len(POSE)], both[len(POSE) :]
            if i in problem.curl:
                curl[i] = take(names_of.curl_names(t))
        prints = np.array([take(names_of.print_names(q)) for q in problem.batches], dtype=np.int64).reshape(-1, 2)
        plane = take(names_of.plane_names()) if problem.plane else np.zeros(0, dtype=np.int64)
        point = np.full((len(problem.point_ids), 3), -1, dtype=np.int64)
        for m in problem.shared_points:
            point[m] = take(names_of.point_names(*problem.point_ids[m]))
        return cls(tuple(names), lenses, pose, exposure, body, scale, curl, prints, plane, point)

    def of_group(self, problem: Problem, photo: int, key: int) -> tuple[IntArray, IntArray]:
        """Columns of a group of sightings, and their places in the local Jacobian."""
        layout, lenses = problem.layout, self.lenses[problem.photo_camera[photo]]
        blocks = [
            (lenses, np.arange(len(lenses))),
            (self.pose[photo], _places(layout.pose)),
            (self.exposure[photo], _places(layout.exposure)),
        ]
        if key >= 0:
            blocks += [
                (self.body[key], _places(layout.body)),
                (self.scale[key], _places(layout.scale)),
                (self.curl[key], _places(layout.curl)),
            ]
        elif key <= -2:
            blocks.append((self.point[-2 - key], _places(layout.point)))
        columns, local = (np.concatenate(both) for both in zip(*blocks, strict=True))
        return columns[columns >= 0], local[columns >= 0]


def _places(block: slice) -> IntArray:
    return np.arange(block.start, block.stop, dtype=np.int64)
