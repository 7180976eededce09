"""Clicked points as one least-squares problem: parameters, imaging model, residuals by cause.

See :mod:`phototemplate.studies.clicked`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from phototemplate.model import Array, PhotoMeta
from phototemplate.numerics.rigid import skew
from phototemplate.studies.constants import (
    CLICK_U_SHARE,
    CLICKED_CENTRE_U_SHARE,
    FACE,
    FACE_U,
    FOCAL_GUESS_SHARE,
    FOCAL_GUESS_U,
    FOCAL_U,
    FULL_FRAME_DIAGONAL_MM,
    INNER,
    LEAST_DEPTH_M,
    MOST_R2,
    RADIAL_GUESS_U,
    RADIAL_R,
    RADIAL_RANGE,
    RADIAL_U,
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
    ) -> None:
        self.photos, self.lengths, self.loops = photos, lengths, loops
        self.names = tuple(dict.fromkeys(n for p in photos for n in p.points))
        self.things = {k.name: k for p in reversed(photos) for k in p.known}
        self.thing_names = tuple(self.things)
        self.turned = dict(zip(self.thing_names, turned, strict=True))
        self.rolls: dict[tuple[int, str], int] = {}
        """By how many corners a photo's clicks on a thing begin later than those of the photo that showed it first"""
        self.cameras = tuple(dict.fromkeys(p.meta.camera_id for p in photos))
        self.n_cam, self.n_photo = 5 * len(self.cameras), 6 * len(photos)
        self.points_at = self.n_cam + self.n_photo
        self.things_at = self.points_at + 2 * len(self.names)
        self.size = self.things_at + THING * len(self.thing_names)
        self._last: tuple[Array, list[tuple[str, Array, Array]]] | None = None

    def camera(self, x: Array, camera_id: str) -> Array:
        """f, cx, cy, bending at the corner and inside; each relative to its prior."""
        k = 5 * self.cameras.index(camera_id)
        return x[k : k + 5]

    def pose(self, x: Array, k: int) -> tuple[Array, Array]:
        """Rotation cam_from_plane (3, 3) and place of the eye in m."""
        at = self.n_cam + 6 * k
        return Rotation.from_rotvec(x[at : at + 3]).as_matrix(), x[at + 3 : at + 6]

    def points(self, x: Array) -> Array:
        """(n, 2) in m."""
        out: Array = x[self.points_at : self.things_at].reshape(-1, 2)
        return out

    def thing_corners(self, x: Array, name: str) -> tuple[Array, Array]:
        """(4, 2) in m, anticlockwise from above, and their derivative (4, 2, 7) with respect to the thing's place, angle,
        two sides, halo and faces."""
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

    def project(self, x: Array, k: int, xy: Array, height_mm: float = 0.0) -> tuple[Array, Array, Array, Array]:
        """(n, 2) px of points of the plane, or of one parallel to it, in photo k, and derivatives with respect to its camera
        (n, 2, 5), its pose (n, 2, 6) and the points (n, 2, 2)."""
        meta = self.photos[k].meta
        f, u_f = start_focal(meta)
        own = self.camera(x, meta.camera_id)
        terms = radial_terms(meta)
        k1, k2 = terms @ own[3:5]
        f *= math.exp(own[0] * u_f)
        rotation, eye = self.pose(x, k)
        away = np.column_stack([xy, np.full(len(xy), height_mm / 1000.0)]) - eye
        cam = away @ rotation.T
        z = np.maximum(cam[:, 2], LEAST_DEPTH_M)
        ray = cam[:, :2] / z[:, None]
        # the radial terms of numerics.lens' "brown"
        r2 = np.minimum(np.sum(ray**2, axis=1), MOST_R2)
        centre_u = CLICKED_CENTRE_U_SHARE * max(meta.size_px)
        radial = (1.0 + k1 * r2 + k2 * r2**2)[:, None]
        off = f * ray * radial
        uv: Array = off + (np.array(meta.size_px) - 1.0) / 2.0 + own[1:3] * centre_u
        d_cam = np.zeros((len(xy), 2, 5))
        d_cam[:, :, 0] = off * u_f
        d_cam[:, 0, 1] = d_cam[:, 1, 2] = centre_u
        d_cam[:, :, 3:] = f * ray[:, :, None] * (np.column_stack([r2, r2**2]) @ terms)[:, None, :]
        bend = 2.0 * (k1 + 2.0 * k2 * r2)
        d_ray = f * (radial[:, :, None] * np.eye(2) + bend[:, None, None] * ray[:, :, None] * ray[:, None, :])
        in_cam = np.zeros((len(xy), 2, 3))
        in_cam[:, 0, 0] = in_cam[:, 1, 1] = 1.0 / z
        in_cam[:, :, 2] = -ray / z[:, None]
        chain = d_ray @ in_cam @ rotation
        at = self.n_cam + 6 * k
        d_pose = np.concatenate([-chain @ skew(away) @ _right_jacobian(x[at : at + 3]), -chain], axis=2)
        return uv, d_cam, d_pose, chain[:, :, :2]

    def _up(self, x: Array, k: int, xy: Array) -> Array:
        """(4, 2) px per m by which the corners move in photo k when they are lifted off the plane."""
        photo = self.photos[k].meta
        rotation, eye = self.pose(x, k)
        cam = (np.column_stack([xy, np.zeros(len(xy))]) - eye) @ rotation.T
        f = start_focal(photo)[0] * math.exp(self.camera(x, photo.camera_id)[0] * start_focal(photo)[1])
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
                    jac[i, :, self._point(n)] += d[2][i]
                miss = (uv - np.array(list(photo.points.values()))) / u
                yield "clicks on corners", miss.ravel(), jac.reshape(-1, self.size) / u
            for thing in photo.known:
                corners, d_corners = self.thing_corners(x, thing.name)
                uv, *d = self.project(x, k, corners, thing.height_mm)
                jac = self._seen(k, d[0], d[1])
                own = self._thing(thing.name)
                jac[:, :, own] = d[2] @ d_corners
                halo, faces = own.stop - 2, own.stop - 1
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
        every = np.eye(self.size)
        yield "lens", x[: self.n_cam], every[: self.n_cam]
        if self.thing_names:
            first = self.things_at + THING * np.arange(len(self.thing_names))
            causes = {"tolerance of known sizes": (3, 4), "light round known things": (5,), "faces of known things": (6,)}
            for cause, own in causes.items():
                use = np.concatenate([first + j for j in own])
                yield cause, x[use], every[use]

    def _point(self, name: str) -> slice:
        at = self.points_at + 2 * self.names.index(name)
        return slice(at, at + 2)

    def _thing(self, name: str) -> slice:
        at = self.things_at + THING * self.thing_names.index(name)
        return slice(at, at + THING)

    def _seen(self, k: int, d_cam: Array, d_pose: Array) -> Array:
        """(n, 2, size) with what hangs on photo k filled in."""
        out = np.zeros((len(d_cam), 2, self.size))
        c = 5 * self.cameras.index(self.photos[k].meta.camera_id)
        out[:, :, c : c + 5] = d_cam
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


def radial_terms(meta: PhotoMeta) -> Array:
    """(2, 2): k1 and k2 from how far the lens moves a point at the corner and at :data:`INNER` of the way to it, in units of
    what is usual for such a lens (:data:`RADIAL_U`).

    What is known of a phone's lens is how far it bends lines, not its polynomial: k1 and k2 of such lenses are large and of
    opposite sign, and given priors of their own they would allow several times the bending that any phone shows. A camera that
    does not say what it is may be a wide one, which bends lines that anybody can see."""
    f, _ = start_focal(meta)
    corner = 0.25 * float(meta.size_px[0] ** 2 + meta.size_px[1] ** 2) / f**2
    r2 = np.array([corner, INNER**2 * corner])
    if meta.focal35_mm:
        usual = np.full(2, RADIAL_U * float(np.clip(corner / RADIAL_R**2, *RADIAL_RANGE)))
    else:
        usual = np.array(RADIAL_GUESS_U)
    return np.asarray(np.linalg.inv(np.column_stack([r2, r2**2])) * usual)


def start_focal(meta: PhotoMeta) -> tuple[float, float]:
    """Principal distance in px and its relative uncertainty."""
    diagonal = float(np.hypot(*meta.size_px))
    if meta.focal35_mm:
        return meta.focal35_mm * diagonal / FULL_FRAME_DIAGONAL_MM, FOCAL_U
    return FOCAL_GUESS_SHARE * max(meta.size_px), FOCAL_GUESS_U
