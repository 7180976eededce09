"""Clicked points as one least-squares problem: parameters, imaging model, residuals by cause.

See :mod:`phototemplate.studies.clicked`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from phototemplate.model import Array, Camera, PhotoMeta
from phototemplate.numerics.rigid import skew
from phototemplate.studies.clicked_lens import LENS, ClickedLens, expected_lens
from phototemplate.studies.constants import (
    CLICK_U_SHARE,
    FACE,
    FACE_U,
    LEAST_DEPTH_M,
    SMALL_ANGLE_RAD,
    SQUARE_U_RAD,
    THING,
)
from phototemplate.studies.known_sizes import KnownSize


@dataclass(frozen=True)
class KnownThing:
    """A known rectangle as clicked in one photo."""

    name: str
    """The same name in two photos is the same thing, not moved in between"""
    size: KnownSize
    corners_px: Array
    """(4, 2) in order round it, beginning anywhere"""
    u_px: Array
    """(4,)"""
    height_mm: float = 0.0
    """Of what it lies on over the plane of the clicked corners"""
    halo_u_px: float = 0.0
    """By how much all its sides may seem to lie outside or inside of where they are, the same in all photos of a phone: what
    sharpening and tone curve do to the sides of a bright thing"""


@dataclass(frozen=True)
class ClickedPhoto:
    """What was clicked in one photo."""

    meta: PhotoMeta
    points: Mapping[str, Array]
    """Name -> (2,) px"""
    known: tuple[KnownThing, ...] = ()
    click_u_px: float = 0.0
    """0: :data:`CLICK_U_SHARE`"""
    straight: tuple[StraightLine, ...] = ()


@dataclass(frozen=True)
class StraightLine:
    """Points of the picture on a line that is straight in the world, wherever that lies."""

    points_px: Array
    """(n, 2), three or more, from one end to the other"""
    u_px: float
    """Of each, across the line"""


@dataclass(frozen=True)
class TapeLength:
    """A length the customer gave, between two clicked points."""

    start: str
    end: str
    value_mm: float
    u_mm: float
    weak: bool = False
    """A usual size, not a measurement (a 24 in appliance)"""


@dataclass(frozen=True)
class ClickedLoop:
    """Corners in order round one top."""

    loop_id: str
    corners: tuple[str, ...]
    edges: tuple[tuple[str, str], ...]
    """(name, kind) of the edge from each corner to the next"""
    square: tuple[bool, ...]
    """Of each corner: square within :data:`SQUARE_U_RAD`"""


class ClickedProblem:
    """Parameters and residuals; every residual is divided by its standard uncertainty and has a cause."""

    def __init__(
        self,
        photos: Sequence[ClickedPhoto],
        lengths: Sequence[TapeLength],
        loops: Sequence[ClickedLoop],
        turned: Sequence[bool],
        profiles: Mapping[str, Camera] = MappingProxyType({}),
    ) -> None:
        self.photos, self.lengths, self.loops = photos, lengths, loops
        self.names = tuple(dict.fromkeys(n for p in photos for n in p.points))
        self.things = {k.name: k for p in reversed(photos) for k in p.known}
        self.thing_names = tuple(self.things)
        self.turned = dict(zip(self.thing_names, turned, strict=True))
        self.rolls: dict[tuple[int, str], int] = {}
        """By how many corners a photo's clicks on a thing begin later than those of the photo that showed it first"""
        metas = {p.meta.camera_id: p.meta for p in reversed(photos)}
        self.lenses = {camera: expected_lens(metas[camera], profiles.get(camera)) for camera in sorted(metas)}
        self.n_cam, self.n_photo = LENS * len(self.lenses), 6 * len(photos)
        self.points_at = self.n_cam + self.n_photo
        self.things_at = self.points_at + 2 * len(self.names)
        self.straight = [(k, line) for k, photo in enumerate(photos) for line in photo.straight]
        self.lines_at = self.things_at + THING * len(self.thing_names)
        self.size = self.lines_at + 2 * len(self.straight)
        self._last: tuple[Array, list[tuple[str, Array, Array]]] | None = None

    def camera(self, x: Array, k: int) -> tuple[ClickedLens, slice]:
        """Lens of photo k and where its unknowns stand."""
        camera = self.photos[k].meta.camera_id
        at = LENS * list(self.lenses).index(camera)
        return self.lenses[camera], slice(at, at + LENS)

    def pose(self, x: Array, k: int) -> tuple[Array, Array]:
        """Rotation cam_from_plane (3, 3) and place of the eye in m."""
        at = self.n_cam + 6 * k
        return Rotation.from_rotvec(x[at : at + 3]).as_matrix(), x[at + 3 : at + 6]

    def points(self, x: Array) -> Array:
        """(n, 2) in m."""
        out: Array = x[self.points_at : self.things_at].reshape(-1, 2)
        return out

    def thing_corners(self, x: Array, name: str) -> tuple[Array, Array]:
        """(4, 2) in m, anticlockwise from above, and their derivative (4, 2, 11) with respect to the thing's place, angle,
        two sides, halo, faces and lifts."""
        cx, cy, angle, da, db = x[self._thing(name)][:5]
        size = self.things[name].size
        half = np.array([size.long_mm + da * size.u_mm, size.short_mm + db * size.u_mm]) / 2000.0
        axis = (1, 0) if self.turned[name] else (0, 1)
        signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        c, s = math.cos(angle), math.sin(angle)
        turn = np.array([[c, s], [-s, c]])
        box = signs * half[list(axis)]
        d = np.zeros((4, 2, THING))
        d[:, 0, 0] = d[:, 1, 1] = 1.0
        d[:, :, 2] = box @ np.array([[-s, c], [-c, -s]])
        for k in (0, 1):
            d[:, :, 3 + axis[k]] = signs[:, k, None] * turn[k] * size.u_mm / 2000.0
        out: Array = box @ turn + np.array([cx, cy])
        return out, d

    def project(self, x: Array, k: int, xy: Array, height_mm: float | Array = 0.0) -> tuple[Array, Array, Array, Array]:
        """(n, 2) px of points of the plane, or at heights over it, in photo k, and derivatives with respect to its camera
        (n, 2, 6), its pose (n, 2, 6) and the points (n, 2, 3)."""
        optics, own = self.camera(x, k)
        rotation, eye = self.pose(x, k)
        away = np.column_stack([xy, np.broadcast_to(np.asarray(height_mm) / 1000.0, len(xy))]) - eye
        cam = away @ rotation.T
        z = np.maximum(cam[:, 2], LEAST_DEPTH_M)
        ray = cam[:, :2] / z[:, None]
        uv, d_cam, d_ray = optics.project(x[own], ray)
        in_cam = np.zeros((len(xy), 2, 3))
        in_cam[:, 0, 0] = in_cam[:, 1, 1] = 1.0 / z
        in_cam[:, :, 2] = -ray / z[:, None]
        chain = d_ray @ in_cam @ rotation
        at = self.n_cam + 6 * k
        d_pose = np.concatenate([-chain @ skew(away) @ _right_jacobian(x[at : at + 3]), -chain], axis=2)
        return uv, d_cam, d_pose, chain

    def _up(self, x: Array, k: int, xy: Array) -> Array:
        """(4, 2) px per m by which the corners move in photo k when they are lifted off the plane."""
        optics, own = self.camera(x, k)
        rotation, eye = self.pose(x, k)
        cam = (np.column_stack([xy, np.zeros(len(xy))]) - eye) @ rotation.T
        f = optics.focal(x[own])
        z = np.maximum(cam[:, 2:], LEAST_DEPTH_M)
        return np.asarray(f / z * (rotation[:2, 2] - cam[:, :2] / z * rotation[2, 2]))

    def _near(self, x: Array, k: int, corners: Array) -> Array:
        """(4,) 1 for the sides whose faces the camera of photo k sees, 0 for those it does not."""
        eye = self.pose(x, k)[1][:2]
        return np.asarray(np.sum((eye - corners) * _normals(corners), axis=1) > 0, dtype=float)

    def residuals(self, x: Array) -> Array:
        """Of all groups, one after the other."""
        return np.concatenate([r for _, r, _ in self.groups(x)])

    def jacobian(self, x: Array) -> Array:
        """Derivative of :meth:`residuals`."""
        return np.concatenate([j for _, _, j in self.groups(x)])

    def groups(self, x: Array) -> list[tuple[str, Array, Array]]:
        """(cause, residuals (m,), their derivative (m, size)) in a fixed order."""
        if self._last is None or not np.array_equal(self._last[0], x):
            self._last = x.copy(), list(self._photo_groups(x)) + list(self._other_groups(x))
        return self._last[1]

    def _photo_groups(self, x: Array) -> Iterator[tuple[str, Array, Array]]:
        points = dict(zip(self.names, self.points(x), strict=True))
        for k, photo in enumerate(self.photos):
            if photo.points:
                xy = np.array([points[n] for n in photo.points])
                u = photo.click_u_px or CLICK_U_SHARE * max(photo.meta.size_px)
                uv, *d = self.project(x, k, xy)
                jac = self._seen(k, d[0], d[1])
                for i, n in enumerate(photo.points):
                    jac[i, :, self._point(n)] += d[2][i, :, :2]
                miss = (uv - np.array(list(photo.points.values()))) / u
                yield "clicks on corners", miss.ravel(), jac.reshape(-1, self.size) / u
            for thing in photo.known:
                corners, d_corners = self.thing_corners(x, thing.name)
                own = self._thing(thing.name)
                halo, faces, lifts = own.start + 5, own.start + 6, slice(own.start + 7, own.stop)
                lift = thing.size.bends_mm
                uv, *d = self.project(x, k, corners, thing.height_mm + lift * x[lifts])
                jac = self._seen(k, d[0], d[1])
                jac[:, :, own] = d[2][:, :, :2] @ d_corners
                jac[np.arange(4), :, np.arange(4) + lifts.start] = lift / 1000.0 * d[2][:, :, 2]
                normals = _normals(uv)
                if thing.halo_u_px:
                    jac[:, :, halo] = thing.halo_u_px * _moved(normals, np.ones(4))
                if thing.size.thick_mm:
                    thick = thing.size.thick_mm / 1000.0
                    up = thick * self._up(x, k, corners)
                    near = self._near(x, k, corners)
                    jac[:, :, faces] = -FACE_U * _moved(normals, near[:, None] * up)
                    uv = uv + _moved(normals, (1.0 - FACE * near)[:, None] * up)
                uv = uv + x[halo] * jac[:, :, halo] + x[faces] * jac[:, :, faces]
                roll = self.rolls.get((k, thing.name), 0)
                clicked, u_px = np.roll(thing.corners_px, -roll, axis=0), np.roll(thing.u_px, -roll)[:, None]
                yield (
                    f"known size: {thing.name}", ((uv - clicked) / u_px).ravel(),
                    (jac / u_px[:, :, None]).reshape(-1, self.size),
                )  # fmt: skip

    def _other_groups(self, x: Array) -> Iterator[tuple[str, Array, Array]]:
        points = dict(zip(self.names, self.points(x), strict=True))
        for length in self.lengths:
            apart = 1000.0 * (points[length.end] - points[length.start])
            d = max(float(np.linalg.norm(apart)), 1e-9)
            row = np.zeros((1, self.size))
            row[0, self._point(length.end)] += 1000.0 * apart / d / length.u_mm
            row[0, self._point(length.start)] -= 1000.0 * apart / d / length.u_mm
            cause = f"{'usual size' if length.weak else 'tape length'}: {length.start}-{length.end}"
            yield cause, np.array([(d - length.value_mm) / length.u_mm]), row
        for loop in self.loops:
            yield "corners taken as square", *self._square(points, loop)
        for i, (k, line) in enumerate(self.straight):
            yield "lines taken as straight", *self._off_line(x, k, line, self.lines_at + 2 * i)
        every = np.eye(self.size)
        yield "lens", x[: self.n_cam], every[: self.n_cam]
        if self.thing_names:
            first = self.things_at + THING * np.arange(len(self.thing_names))
            causes = {"tolerance of known sizes": (3, 4), "light round known things": (5,), "faces of known things": (6,),
                      "paper that does not lie flat": (7, 8, 9, 10)}  # fmt: skip
            for cause, own in causes.items():
                use = np.concatenate([first + j for j in own])
                yield cause, x[use], every[use]

    def _off_line(self, x: Array, k: int, line: StraightLine, at: int) -> tuple[Array, Array]:
        """How far points are off a line cos(a) u + sin(a) v = d of the ideal picture, in units of their uncertainty: to first
        order, the gradient being that of the line as the lens draws it."""
        optics, own = self.camera(x, k)
        rays = optics.rays(x[own], line.points_px)
        _, d_own, d_ray = optics.project(x[own], rays)
        a, d = x[at], x[at + 1]
        normal, along = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
        by_px = np.linalg.solve(d_ray.transpose(0, 2, 1), np.broadcast_to(normal[:, None], (len(rays), 2, 1)))[:, :, 0]
        u = np.linalg.norm(by_px, axis=1) * line.u_px
        jac = np.zeros((len(rays), self.size))
        jac[:, own] = -np.einsum("ni,nij->nj", by_px, d_own)
        jac[:, at], jac[:, at + 1] = rays @ along, -1.0
        return (rays @ normal - d) / u, jac / u[:, None]

    def lens_of_lines(self, focal: float = 0.0) -> Array:
        """Unknowns with the lenses and lines that the lines alone give, all else 0; a start. ``focal``: where the principal
        distances begin, which lines do not tell."""
        x = np.zeros(self.size)
        x[0 : self.n_cam : LENS] = focal
        for i, (k, line) in enumerate(self.straight):
            optics, own = self.camera(x, k)
            first, last = optics.rays(x[own], line.points_px[[0, -1]])
            a = math.atan2(last[1] - first[1], last[0] - first[0]) + math.pi / 2.0
            x[self.lines_at + 2 * i : self.lines_at + 2 * i + 2] = a, float(first @ [math.cos(a), math.sin(a)])
        if not self.straight:
            return x
        use = np.r_[: self.n_cam, self.lines_at : self.size]
        begin = x[: self.n_cam].copy()

        def rows(part: Array) -> tuple[Array, Array]:
            x[use] = part
            lines = [self._off_line(x, k, line, self.lines_at + 2 * i) for i, (k, line) in enumerate(self.straight)]
            residuals = np.concatenate([part[: self.n_cam] - begin, *(r for r, _ in lines)])
            return residuals, np.vstack([np.eye(len(use))[: self.n_cam], *(j[:, use] for _, j in lines)])

        def residuals(part: Array) -> Array:
            return rows(part)[0]

        def jacobian(part: Array) -> Array:
            return rows(part)[1]

        x[use] = least_squares(residuals, x[use].copy(), jacobian, loss="soft_l1", max_nfev=50).x
        return x

    def _point(self, name: str) -> slice:
        at = self.points_at + 2 * self.names.index(name)
        return slice(at, at + 2)

    def _thing(self, name: str) -> slice:
        at = self.things_at + THING * self.thing_names.index(name)
        return slice(at, at + THING)

    def _seen(self, k: int, d_cam: Array, d_pose: Array) -> Array:
        """(n, 2, size) with what hangs on photo k filled in."""
        out = np.zeros((len(d_cam), 2, self.size))
        out[:, :, self.camera(np.zeros(0), k)[1]] = d_cam
        out[:, :, self.n_cam + 6 * k : self.n_cam + 6 * k + 6] = d_pose
        return out

    def _square(self, points: Mapping[str, Array], loop: ClickedLoop) -> tuple[Array, Array]:
        n = len(loop.corners)
        out, rows = [], []
        for i, name in enumerate(loop.corners):
            if not loop.square[i]:
                continue
            before, after = loop.corners[i - 1], loop.corners[(i + 1) % n]
            a, b = points[before] - points[name], points[after] - points[name]
            la, lb = max(float(np.linalg.norm(a)), 1e-9), max(float(np.linalg.norm(b)), 1e-9)
            cosine = float(a @ b) / (la * lb)
            da, db = (b / lb - cosine * a / la) / la, (a / la - cosine * b / lb) / lb
            row = np.zeros(self.size)
            row[self._point(before)] += da
            row[self._point(after)] += db
            row[self._point(name)] -= da + db
            out.append(cosine / SQUARE_U_RAD)
            rows.append(row / SQUARE_U_RAD)
        return np.array(out), np.array(rows).reshape(-1, self.size)


def _normals(corners: Array) -> Array:
    """(4, 2) outward unit normals of a quadrilateral's sides, side k from corner k to the next."""
    after = np.roll(corners, -1, axis=0) - corners
    normal = np.column_stack([after[:, 1], -after[:, 0]]) / np.maximum(np.linalg.norm(after, axis=1), 1e-9)[:, None]
    outside = float(np.sum(normal * (corners - corners.mean(axis=0)))) > 0
    return np.asarray(normal if outside else -normal)


def _moved(normals: Array, sides: Array) -> Array:
    """(4, 2) how the corners move when side k moves outwards by ``sides[k]`` (4,), or as a whole by ``sides[k]`` (4, 2); all of
    this is so small that its change with the other unknowns is left out."""
    out = sides if sides.ndim == 1 else np.sum(normals * sides, axis=1)
    both = np.stack([np.roll(normals, 1, axis=0), normals], axis=1)
    return np.asarray(np.linalg.solve(both, np.column_stack([np.roll(out, 1), out])[:, :, None])[:, :, 0])


def _right_jacobian(v: Array) -> Array:
    """(3, 3) J with exp(v + dv) = exp(v) exp(J dv) (Sola et al. 2018, equation 143)."""
    angle = float(np.linalg.norm(v))
    k = skew(v)
    if angle < SMALL_ANGLE_RAD:
        return np.asarray(np.eye(3) - 0.5 * k)
    return np.asarray(np.eye(3) - (1.0 - math.cos(angle)) / angle**2 * k + (angle - math.sin(angle)) / angle**3 * k @ k)
