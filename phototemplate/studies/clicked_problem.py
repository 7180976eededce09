"""Clicked points as one least-squares problem: parameters, imaging model, residuals by cause.

See :mod:`phototemplate.studies.clicked`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from phototemplate.model import Array, PhotoMeta
from phototemplate.studies.known_sizes import KnownSize

CLICK_U_SHARE = 0.0012
"""Standard uncertainty of a click on a corner, as a share of the picture's longer side (5 px of 4000)"""
FOCAL_U, FOCAL_GUESS_U = 0.04, 0.25
"""Relative, of a principal distance from EXIF and of one that is a guess"""
K1_U, K2_U = 0.05, 0.07
"""Radial terms of an uncalibrated phone: a few tenths of a per cent to two per cent at the corners (common experience)"""
CENTRE_U_SHARE = 0.01
SQUARE_U_RAD = math.radians(1.0)
"""How well corners of cabinets and walls are square (common practice: a few mm over a run)"""


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
        self.size = self.things_at + 5 * len(self.thing_names)

    def camera(self, x: Array, camera_id: str) -> Array:
        """f, cx, cy (relative to their priors), k1, k2."""
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

    def thing_corners(self, x: Array, name: str) -> Array:
        """(4, 2) in m, anticlockwise from above."""
        k = self.things_at + 5 * self.thing_names.index(name)
        cx, cy, angle, da, db = x[k : k + 5]
        size = self.things[name].size
        a, b = size.long_mm / 2000.0 + da * size.u_mm / 2000.0, size.short_mm / 2000.0 + db * size.u_mm / 2000.0
        if self.turned[name]:
            a, b = b, a
        box = np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
        c, s = math.cos(angle), math.sin(angle)
        out: Array = box @ np.array([[c, s], [-s, c]]) + np.array([cx, cy])
        return out

    def project(self, x: Array, k: int, xy: Array) -> Array:
        """(n, 2) px of points of the plane in photo k."""
        meta = self.photos[k].meta
        f, u_f = start_focal(meta)
        own = self.camera(x, meta.camera_id)
        f *= math.exp(own[0] * u_f)
        rotation, eye = self.pose(x, k)
        cam = (np.column_stack([xy, np.zeros(len(xy))]) - eye) @ rotation.T
        ray = cam[:, :2] / np.maximum(cam[:, 2:], 0.05)
        # the radial terms of numerics.lens' "brown", without its derivatives: this is called some ten thousand times
        r2 = np.minimum(np.sum(ray**2, axis=1), 4.0)
        centre = (np.array(meta.size_px) - 1.0) / 2.0 + own[1:3] * CENTRE_U_SHARE * max(meta.size_px)
        out: Array = f * ray * (1.0 + own[3] * K1_U * r2 + own[4] * K2_U * r2**2)[:, None] + centre
        return out

    def residuals(self, x: Array) -> Array:
        return np.concatenate([r for _, r in self.groups(x)])

    def groups(self, x: Array) -> list[tuple[str, Array]]:
        """(cause, residuals) in a fixed order."""
        out: list[tuple[str, Array]] = []
        points = dict(zip(self.names, self.points(x), strict=True))
        for k, photo in enumerate(self.photos):
            if photo.points:
                xy = np.array([points[n] for n in photo.points])
                u = photo.click_u_px or CLICK_U_SHARE * max(photo.meta.size_px)
                miss = self.project(x, k, xy) - np.array(list(photo.points.values()))
                out.append(("clicks on corners", (miss / u).ravel()))
            for thing in photo.known:
                uv = self.project(x, k, self.thing_corners(x, thing.name))
                roll = self.rolls.get((k, thing.name), 0)
                clicked, u_px = np.roll(thing.corners_px, -roll, axis=0), np.roll(thing.u_px, -roll)
                out.append((f"known size: {thing.name}", ((uv - clicked) / u_px[:, None]).ravel()))
        for length in self.lengths:
            d = 1000.0 * float(np.linalg.norm(points[length.end] - points[length.start]))
            cause = f"{'usual size' if length.weak else 'tape length'}: {length.start}-{length.end}"
            out.append((cause, np.array([(d - length.value_mm) / length.u_mm])))
        for loop in self.loops:
            out.append(("corners taken as square", self._square(points, loop)))
        out.append(("lens", x[: self.n_cam]))
        sizes = [x[self.things_at + 5 * i + 3 : self.things_at + 5 * i + 5] for i in range(len(self.thing_names))]
        if sizes:
            out.append(("tolerance of known sizes", np.concatenate(sizes)))
        return out

    @staticmethod
    def _square(points: Mapping[str, Array], loop: ClickedLoop) -> Array:
        n = len(loop.corners)
        out = []
        for i, name in enumerate(loop.corners):
            if loop.square[i]:
                a = points[loop.corners[i - 1]] - points[name]
                b = points[loop.corners[(i + 1) % n]] - points[name]
                out.append(float(a @ b) / max(float(np.linalg.norm(a) * np.linalg.norm(b)), 1e-9) / SQUARE_U_RAD)
        return np.array(out)


def start_focal(meta: PhotoMeta) -> tuple[float, float]:
    """Principal distance in px and its relative uncertainty."""
    diagonal = float(np.hypot(*meta.size_px))
    if meta.focal35_mm:
        return meta.focal35_mm * diagonal / 43.2666, FOCAL_U
    return 0.75 * max(meta.size_px), FOCAL_GUESS_U
