"""Orientation from nothing: poses of photos and targets without any user input.

Every flat target gives each photo that sees it a pose, up to the two-fold ambiguity of small planes. From a seed photo,
photos and targets are added in turn, each at the pose on which most of what is already placed agrees, with a robust
bundle adjustment after every round. So neither a flipped target, nor a wrong number, nor a sheet moved between photos can
carry the whole network away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from phototemplate.model import Array
from phototemplate.network import constants
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.parameters import POSE
from phototemplate.network.adjustment.pseudo_observations import Priors
from phototemplate.network.orientation.lens_start import LensStart, planar_poses
from phototemplate.network.orientation.views import TargetView, stack
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import Pose, compose, invert


@dataclass
class Start:
    """Poses found so far."""

    photos: dict[str, Pose] = field(default_factory=dict)
    """cam_from_world"""
    bodies: dict[str, Pose] = field(default_factory=dict)
    """world_from_target"""
    lenses: dict[str, Array] = field(default_factory=dict)
    views: int = 0
    """Views that agree"""


class _Assembly:
    def __init__(
        self,
        views: Mapping[str, Mapping[str, TargetView]],
        camera_of: Mapping[str, str],
        lenses: Sequence[LensStart],
        flat_kinds: set[str],
    ) -> None:
        self.views = {p: {t: v for t, v in own.items() if v.flat} for p, own in views.items()}
        self.camera_of = camera_of
        self.starts = {s.camera_id: s for s in lenses}
        self.flat_kinds = flat_kinds
        """Targets that usually lie in one plane (sheets)"""
        self.placed = Start(lenses={s.camera_id: s.params.copy() for s in lenses})
        self.refresh()

    def refresh(self) -> None:
        """Ideal positions and candidate poses with the current lenses."""
        self.xy: dict[tuple[str, str], Array] = {}
        self.poses: dict[tuple[str, str], list[tuple[Array, Array, float]]] = {}
        for p, own in self.views.items():
            if not own:
                continue
            camera = self.camera_of[p]
            rays = lens.unproject(
                self.starts[camera].model, self.placed.lenses[camera], np.concatenate([v.uv for v in own.values()])
            )
            flat = rays[:, :2] / np.maximum(rays[:, 2:], constants.LEAST_FORWARD)
            ends = np.cumsum([len(v.uv) for v in own.values()])
            for (t, v), xy in zip(own.items(), np.split(flat, ends[:-1]), strict=True):
                self.xy[p, t] = xy
                self.poses[p, t] = planar_poses(v.local, xy)

    def misfits(self, photo: str, target: str, poses: Sequence[Pose]) -> Array:
        """(P,) of some poses cam_from_target: root mean square distance between seen and predicted points, in units of the
        principal distance, without the worst quarter of them: one wrong sighting of a bar's end must not choose between its two
        poses."""
        rotation, translation = np.array([r for r, _ in poses]), np.array([t for _, t in poses])
        cam = self.views[photo][target].local @ rotation.transpose(0, 2, 1) + translation[:, None]
        behind = np.any(cam[:, :, 2] <= 1.0, axis=1)
        cam[behind, :, 2] = 1.0
        square = np.sort(np.sum((cam[:, :, :2] / cam[:, :, 2:] - self.xy[photo, target]) ** 2, axis=2), axis=1)
        kept = square[:, : int(np.ceil(constants.FITTING_SHARE * square.shape[1]))]
        return np.where(behind, 10.0, np.sqrt(np.mean(kept, axis=1)))

    def misfit(self, photo: str, target: str) -> float:
        """That of a photo and a target as they are placed."""
        return float(self.misfits(photo, target, [compose(self.placed.photos[photo], self.placed.bodies[target])])[0])

    def seed(self, photo: str) -> None:
        """Begin with one photo and every target in it."""
        self.placed.photos[photo] = (np.eye(3), np.zeros(3))
        own = {t: c for t in self.views[photo] if (c := self.poses[photo, t])}
        normal = self._common_normal([c[0][1] for t, c in own.items() if t in self.flat_kinds])
        for t, candidates in own.items():
            self.placed.bodies[t] = self._by_normal(t, candidates, normal)

    @staticmethod
    def _common_normal(centres: Sequence[Array]) -> Array | None:
        """Normal, towards the camera, of the plane through targets' centres, None if they are too few or in line.

        The distance of a target is well known even where its tilt is not.
        """
        if len(centres) < 4:
            return None
        c = np.array(centres)
        _, s, vt = np.linalg.svd(c - c.mean(axis=0))
        if s[1] < constants.PLANE_ACROSS * s[0] or s[2] > constants.PLANE_RISE * s[1]:
            return None
        return np.asarray(-vt[2] * np.sign(vt[2] @ c.mean(axis=0)))

    def _by_normal(self, target: str, candidates: Sequence[tuple[Array, Array, float]], normal: Array | None) -> Pose:
        best = candidates[0]
        if normal is not None and target in self.flat_kinds and len(candidates) > 1 and candidates[1][2] < 5 * best[2]:
            best = max(candidates, key=lambda c: float(c[0][:, 2] @ normal))
        return best[0], best[1]

    def grow(self) -> bool:
        """Add photos, then targets; False if nothing was added."""
        shared = {
            p: [t for t in own if t in self.placed.bodies and self.poses[p, t]]
            for p, own in self.views.items()
            if p not in self.placed.photos
        }
        need = 2 if any(len(s) >= 2 for s in shared.values()) else 1
        added = False
        for p, common in sorted(shared.items(), key=lambda item: -len(item[1])):
            if len(common) >= need:
                pose = self.photo_pose(p, common)
                if pose is not None:
                    self.placed.photos[p] = pose
                    added = True
        for t in sorted({t for p in self.placed.photos for t in self.views[p]} - set(self.placed.bodies)):
            found = self.body_pose(t)
            if found is not None:
                self.placed.bodies[t] = found
                added = True
        return added

    def photo_pose(self, photo: str, common: Sequence[str]) -> Pose | None:
        """The pose on which most placed targets agree."""
        tried = [
            compose((rotation, translation), invert(self.placed.bodies[t]))
            for t in common
            for rotation, translation, _ in self.poses[photo, t]
        ]
        if not tried:
            return None
        bodies = self.placed.bodies
        misfits = np.array([self.misfits(photo, o, [compose(pose, bodies[o]) for pose in tried]) for o in common])
        best = int(np.argmin(_disagreement(misfits)))
        return tried[best] if np.sum(misfits[:, best] < constants.AGREES) >= min(2, len(common)) else None

    def body_pose(self, target: str, current: Pose | None = None) -> Pose | None:
        """The pose of a target on which most photos agree; ``current`` is kept unless another one is clearly better."""
        seen = [p for p in self.placed.photos if target in self.views[p] and self.poses[p, target]]
        if not seen:
            return None
        cameras = self.placed.photos
        tried = [
            (compose(invert(cameras[p]), (rotation, translation)), error)
            for p in seen
            for rotation, translation, error in self.poses[p, target]
        ]
        poses = [pose for pose, _ in tried] + ([] if current is None else [current])
        total = _disagreement(np.array([self.misfits(o, target, [compose(cameras[o], pose) for pose in poses]) for o in seen]))
        found = [(float(sum_) + 1e-9 * error, pose) for sum_, (pose, error) in zip(total, tried, strict=False)]
        found.sort(key=lambda entry: entry[0])
        if len(seen) == 1 and target in self.flat_kinds:
            normals = [b[0][:, 2] for t, b in self.placed.bodies.items() if t in self.flat_kinds and t != target]
            if len(normals) >= 3:
                mean = np.median(normals, axis=0)
                if current is None or len(found) > 1:
                    close = [f for f in found if f[0] < 25 * found[0][0] + constants.POSE_MARGIN]
                    return max(close, key=lambda f: float(f[1][0][:, 2] @ mean))[1]
        if current is not None and float(total[-1]) < 2 * found[0][0] + constants.KEEP_MARGIN:
            return current
        return found[0][1]

    def adjust(self, iterations: int) -> None:
        """Robust bundle adjustment of what is placed, lens free within its prior, print scale held."""
        photos = list(self.placed.photos)
        bodies = [t for t in self.placed.bodies if any(t in self.views[p] for p in photos)]
        agreeing: dict[str, dict[str, TargetView]] = {}
        for p in photos:
            agreeing[p] = {
                t: v for t, v in self.views[p].items() if t in self.placed.bodies and self.misfit(p, t) < 2 * constants.AGREES
            }
        self.placed.views = sum(len(own) for own in agreeing.values())
        used = list(dict.fromkeys(self.camera_of[p] for p in photos))
        stacked = stack(
            agreeing, photos, [(c, self.starts[c].model, self.starts[c].size_px) for c in used], self.camera_of, bodies,
            dict.fromkeys(bodies, "all"), [], extra_px=0.5,
        )  # fmt: skip
        problem = replace(stacked.problem, exposure=())
        if not len(problem.sightings):
            return
        count = np.bincount(problem.sightings.body, minlength=len(bodies))
        datum = int(np.argmax(count))
        fixed = {n for n in problem.names if n.startswith("print:") or n.endswith((":sx", ":sy"))}
        fixed |= {f"body:{bodies[datum]}:{c}" for c in POSE}
        # A target nobody agrees on keeps its place.
        fixed |= {n for b, t in enumerate(bodies) if not count[b] for n in problem.names if n.startswith(f"body:{t}:")}
        empty = set(range(len(photos))) - set(problem.sightings.photo.tolist())
        fixed |= {n for i in empty for n in problem.names if n.startswith(f"photo:{photos[i]}:")}
        problem = bundle.held(problem, frozenset(fixed))
        state = bundle.State.at_rest(
            [self.placed.lenses[c] for c in used],
            [self.placed.photos[p] for p in photos],
            [self.placed.bodies[t] for t in bodies],
            1,
        )
        priors = Priors(
            tuple(self.starts[c].params for c in used),
            tuple(self.starts[c].cov for c in used),
            np.zeros((len(used), 4)),
            np.full((1, 2), 0.01),
            np.full((len(bodies), 2), 0.01),
            np.ones(len(bodies)),
        )
        # A start need not have converged: whether it is good enough is asked of every view by its agreement.
        new = bundle.solve(
            problem, priors, state, np.ones(len(problem.sightings)),
            huber=3.0, iterations=iterations, damping=1e-4, tolerance=1e-2,
        ).state  # fmt: skip
        for c, params in zip(used, new.lenses, strict=True):
            self.placed.lenses[c] = params
        for i, p in enumerate(photos):
            self.placed.photos[p] = new.photo_rotation[i], new.photo_translation[i]
        for b, t in enumerate(bodies):
            self.placed.bodies[t] = new.body_rotation[b], new.body_translation[b]
        self.refresh()

    def settle(self) -> None:
        """With everything placed and the lens known: let every target and photo try its other candidates once."""
        changed = False
        for t in list(self.placed.bodies):
            pose = self.body_pose(t, self.placed.bodies[t])
            if pose is not None and pose is not self.placed.bodies[t]:
                self.placed.bodies[t] = pose
                changed = True
        for p in list(self.placed.photos):
            common = [t for t in self.views[p] if t in self.placed.bodies and self.poses[p, t]]
            now = np.array([self.misfit(p, t) for t in common])
            if len(common) >= 2 and float(np.median(now)) > constants.AGREES / 3:
                other = self.photo_pose(p, common)
                if other is not None:
                    self.placed.photos[p] = other
                    changed = True
        self.adjust(15 if changed else 8)


def _disagreement(misfits: Array) -> Array:
    """(P,) of each pose with the sightings of several targets or photos, from misfits (S, P)."""
    return np.asarray(np.sum(np.minimum(misfits / constants.AGREES, 1.0) ** 2, axis=0))


def find_start(
    views: Mapping[str, Mapping[str, TargetView]],
    camera_of: Mapping[str, str],
    lenses: Sequence[LensStart],
    flat_kinds: set[str],
) -> Start:
    """Place as many photos and flat targets as possible; photos missing from the answer could not be placed.

    ``flat_kinds`` are the targets that usually share a plane, used to choose between the two poses of a target seen once.
    """
    weight: dict[str, float] = {}
    photos_of: dict[str, int] = {}
    for own in views.values():
        for t, v in own.items():
            photos_of[t] = photos_of.get(t, 0) + v.flat
    for p, own in views.items():
        weight[p] = sum(len(v.uv) * max(photos_of[t] - 1, constants.SEEN_ONCE) for t, v in own.items() if v.flat)
    order = sorted((p for p in weight if weight[p] > 0), key=lambda p: -weight[p])
    best = Start(lenses={s.camera_id: s.params.copy() for s in lenses})
    tried: list[str] = []
    while len(tried) < constants.SEEDS and len(order) > len(tried):
        # Another seed only where something is missing, and one that is missing if there is any.
        missing = [p for p in order if p not in tried and p not in best.photos]
        seed = missing[0] if missing else next(p for p in order if p not in tried)
        tried.append(seed)
        assembly = _Assembly(views, camera_of, lenses, flat_kinds)
        assembly.seed(seed)
        while assembly.grow():
            assembly.adjust(6)
        assembly.adjust(15)
        assembly.settle()
        while assembly.grow():
            assembly.adjust(6)
        if (len(assembly.placed.photos), assembly.placed.views) > (len(best.photos), best.views):
            best = assembly.placed
        enough = constants.ENOUGH_VIEWS * sum(v.flat for o in views.values() for v in o.values())
        if len(best.photos) == len(order) and best.views >= enough:
            break
    return best


def triangulate(rays: Sequence[tuple[Array, Array]]) -> tuple[Array, float]:
    """Point nearest to rays (eye (3,), unit direction (3,)), and the largest angle between two of them in rad."""
    eye, direction = np.array([r[0] for r in rays]), np.array([r[1] for r in rays])
    across = np.eye(3) - direction[:, :, None] * direction[:, None, :]
    right = np.einsum("nij,nj->i", across, eye)
    angle = float(np.arccos(np.clip((direction @ direction.T).min(), -1, 1)))
    return np.asarray(np.linalg.solve(across.sum(axis=0) + 1e-12 * np.eye(3), right)), angle
