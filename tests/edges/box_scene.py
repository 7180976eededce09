"""Exact pictures of a few boxes, for testing the tracing of edges.

Every pixel is the mean over a grid of rays, each intersected with the boxes analytically; ray directions come from OpenCV's
undistortion, not from our lens model, so the pictures are an outside reference for projection and tracing alike.
World = work frame: z = 0 the cabinet tops, cabinets at y > 0 behind their front at y = 0, room at y < 0.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from scipy.interpolate import RectBivariateSpline

from phototemplate.model import (
    Array,
    Camera,
    GrayImage,
    HeightPoint,
    Influences,
    IntArray,
    Network,
    PhotoPose,
    TypeB,
    WorkPlane,
)

SIZE_PX = (880, 660)
FOCAL_PX = 1700.0
DIST = (0.06, -0.10, 0.0004, -0.0003, 0.0)
FLOOR, WALL = 95.0, 150.0
LENGTH_MM, DEPTH_MM, JOINT_MM = 420.0, 260.0, 190.0


Coat = Callable[[Array, IntArray, Array, Array], Array]
"""(n, 3) places on a box, their faces' axes (n,), the eye (3,) and the grey values (n,) there (of a clear box: of what lies
behind it) -> (n,) grey values"""


@dataclass(frozen=True)
class Box:
    """Axis-aligned box with a grey value for its top, its sides facing x and y; ``plies_mm`` stripes the top along x.

    ``coat`` paints what has no edges of its own in space: shadow, gloss, dirt. A ``clear`` box hides nothing: film. It comes
    after the boxes seen through it.
    """

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    top: float
    side: float
    front: float
    plies_mm: float = 0.0
    coat: Coat | None = None
    clear: bool = False


@dataclass(frozen=True)
class Disc:
    """Round slab about the z axis with its top at z = 0; the edge between top and side is a quarter of a torus.

    Light falls from above: between the grey values of top and side it goes with the cosine of the slope.
    """

    radius: float
    low: float
    arris: float = 0.0
    top: float = 205.0
    side: float = 90.0

    def hit(self, eye: Array, ray: Array) -> tuple[Array, Array]:
        """Distance (n,) along rays (n, 3), inf where they miss, and the grey value there."""
        inner = self.radius - self.arris
        distance, up = np.full(len(ray), np.inf), np.zeros(len(ray))
        with np.errstate(divide="ignore", invalid="ignore"):
            level = -eye[2] / ray[:, 2]
            on_top = (level > 0) & (np.hypot(*(eye[:2] + level[:, None] * ray[:, :2]).T) <= inner)
            a, b = np.sum(ray[:, :2] ** 2, axis=1), ray[:, :2] @ eye[:2]
            root = np.sqrt(b * b - a * (eye[:2] @ eye[:2] - self.radius**2))
            wall = (-b - root) / a
        z = eye[2] + wall * ray[:, 2]
        on_side = ~on_top & (z <= -self.arris) & (z >= self.low)
        distance[on_top], up[on_top] = level[on_top], 1.0
        distance[on_side] = wall[on_side]
        near = np.flatnonzero(~on_top & ~on_side & np.isfinite(wall) & (z > -self.arris)) if self.arris else np.zeros(0, int)
        t = wall[near]
        for _ in range(60):  # sphere tracing from where the ray enters the sharp cylinder
            at = eye + t[:, None] * ray[near]
            out, rise = np.hypot(at[:, 0], at[:, 1]) - inner, at[:, 2] + self.arris
            away = np.hypot(np.maximum(out, 0), np.maximum(rise, 0)) + np.minimum(np.maximum(out, rise), 0) - self.arris
            t = t + away / np.linalg.norm(ray[near], axis=1)
        at = eye + t[:, None] * ray[near]
        out, rise = np.hypot(at[:, 0], at[:, 1]) - inner, at[:, 2] + self.arris
        there = np.abs(np.hypot(np.maximum(out, 0), np.maximum(rise, 0)) - self.arris) < 1e-3
        distance[near[there]] = t[there]
        up[near[there]] = np.clip(rise[there] / self.arris, 0.0, 1.0) if self.arris else 0.0
        low, high = srgb_light(np.array([self.side, self.top]))
        return distance, srgb_grey(low + (high - low) * up)


@dataclass(frozen=True)
class View:
    """Camera at ``eye`` looking at ``target``."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]

    def pose(self) -> tuple[Array, Array]:
        """(R, t) of cam_from_world: x right, y down, z forward."""
        eye = np.array(self.eye)
        forward = np.array(self.target) - eye
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        rotation = np.stack([right, np.cross(forward, right), forward])
        return rotation, -rotation @ eye


@dataclass
class BoxScene:
    """Boxes, cameras and the network and plane that describe them without error."""

    boxes: list[Box]
    views: dict[str, View]
    heights: tuple[HeightPoint, ...]
    noise: float = 1.5
    blur_px: float = 0.7
    pose_u: tuple[float, float] = (2e-5, 0.02)
    extra: dict[str, list[Box]] = field(default_factory=dict)
    """Further boxes in single photos: things that somebody put there and took away"""
    discs: list[Disc] = field(default_factory=list)
    _pictures: dict[str, GrayImage] = field(default_factory=dict)

    def gray(self, photo_id: str) -> GrayImage:
        """The picture, rendered once."""
        if photo_id not in self._pictures:
            boxes = self.boxes + self.extra.get(photo_id, [])
            self._pictures[photo_id] = render(self.views[photo_id], boxes, self.noise, self.blur_px, self.discs)
        return self._pictures[photo_id]

    def network(self) -> Network:
        """Network with the true cameras; the influences are the six pose parameters of each photo."""
        camera = Camera("cam", "brown", SIZE_PX, lens_params(), np.zeros((9, 9)))
        names, sigma, photos = [], [], {}
        for photo_id, view in self.views.items():
            rotation, translation = view.pose()
            photos[photo_id] = PhotoPose(photo_id, "cam", rotation, translation)
            names += [f"photo:{photo_id}:{c}" for c in ("wx", "wy", "wz", "tx", "ty", "tz")]
            sigma += [self.pose_u[0]] * 3 + [self.pose_u[1]] * 3
        cov = np.diag(np.array(sigma) ** 2)
        influences = Influences(tuple(names), cov, {"target sightings": cov})
        return Network({"cam": camera}, photos, {}, (), {}, influences, (), (), True, 1.0, 100.0)

    def plane(self, network: Network, type_b: tuple[TypeB, ...]) -> WorkPlane:
        """The plane z = 0, fixed, with the type B terms appended."""
        base = network.influences
        cov = np.diag(np.r_[np.diag(base.cov), [t.u_mm**2 for t in type_b]])
        influences = Influences(base.names + tuple(t.name for t in type_b), cov, {"all": cov})
        return WorkPlane(np.eye(3), np.zeros(3), np.zeros((6, influences.size)), influences, self.heights)


def srgb_light(grey: Array) -> Array:
    """Light of grey values 0-255 (IEC 61966-2-1)."""
    y = grey / 255.0
    return np.where(y <= 0.04045, y / 12.92, ((y + 0.055) / 1.055) ** 2.4)


def srgb_grey(light: Array) -> Array:
    """Grey values of light (IEC 61966-2-1)."""
    return 255.0 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def lens_params() -> Array:
    """f, aspect, cx, cy, k1, k2, p1, p2, k3"""
    return np.array([FOCAL_PX, 0.0, SIZE_PX[0] / 2 + 3.3, SIZE_PX[1] / 2 - 2.1, *DIST])


@lru_cache(maxsize=4)
def rays(view: View, grid: int) -> tuple[Array, Array]:
    """Directions (v, u, 3) of the rays of a picture, and their inverse; the same for all scenes seen from there."""
    width, height = SIZE_PX
    f, _, cx, cy = lens_params()[:4]
    step = (np.arange(grid) + 0.5) / grid - 0.5
    u = (np.arange(width)[:, None] + step).ravel()
    v = (np.arange(height)[:, None] + step).ravel()
    # undistortion is smooth: exact on a coarse lattice, then a bicubic spline (1e-4 px)
    coarse_u, coarse_v = np.linspace(-1, width, 41), np.linspace(-1, height, 31)
    lattice = np.stack(np.meshgrid(coarse_u, coarse_v), axis=-1).reshape(-1, 1, 2)
    matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-12)
    plain = cv2.undistortPoints(lattice, matrix, np.array(DIST), None, None, None, criteria).reshape(31, 41, 2)
    ab = np.stack([RectBivariateSpline(coarse_v, coarse_u, plain[:, :, k])(v, u) for k in (0, 1)], axis=-1)
    rotation, _ = view.pose()
    ray = (ab[..., :1] * rotation[0] + ab[..., 1:] * rotation[1] + rotation[2]).astype(np.float32)
    inverse = 1.0 / np.where(np.abs(ray) > 1e-9, ray, np.float32(1e-9))
    return ray, inverse


def render(
    view: View, boxes: list[Box], noise: float, blur_px: float, discs: Sequence[Disc] = (), grid: int = 2
) -> GrayImage:
    """Box-filtered picture of boxes and discs on a grey floor before a light wall, blurred and with noise."""
    width, height = SIZE_PX
    f, _, cx, cy = lens_params()[:4]
    matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    rotation, translation = view.pose()
    ray, inverse = rays(view, grid)
    eye = np.array(view.eye, dtype=np.float32)
    down = ray[:, :, 2] < 0
    value = np.where(down, FLOOR, WALL).astype(np.float32)
    distance = np.where(down, (-876.0 - eye[2]) * inverse[:, :, 2], np.inf).astype(np.float32)
    wall = (700.0 - eye[1]) * inverse[:, :, 1]
    hit = (wall > 0) & (wall < distance)
    value[hit], distance[hit] = WALL, wall[hit]
    for disc in discs:
        reach, grey = disc.hit(eye.astype(np.float64), ray.reshape(-1, 3).astype(np.float64))
        ahead = reach < distance.ravel()
        value.ravel()[ahead], distance.ravel()[ahead] = grey[ahead], reach[ahead]
    for box in boxes:
        corner = np.array(np.meshgrid(*zip(box.low, box.high, strict=True))).reshape(3, -1).T
        pixel = cv2.projectPoints(corner, cv2.Rodrigues(rotation)[0], translation, matrix, np.array(DIST))[0].reshape(-1, 2)
        low = np.clip(np.floor((pixel.min(axis=0) - 3) * grid), 0, None).astype(int)
        high = np.ceil((pixel.max(axis=0) + 4) * grid).astype(int)
        window = (slice(low[1], high[1]), slice(low[0], high[0]))
        there, best = value[window], distance[window]
        if not there.size:
            continue
        one = (np.array(box.low, dtype=np.float32) - eye) * inverse[window]
        two = (np.array(box.high, dtype=np.float32) - eye) * inverse[window]
        near, leave = np.minimum(one, two), np.maximum(one, two).min(axis=2)
        enter = near.max(axis=2)
        hit = (enter < leave) & (enter > 0) & (enter < best)
        axis = near[hit].argmax(axis=1)
        shade = np.choose(axis, [box.side, box.front, box.top]).astype(np.float32)
        if box.plies_mm:
            x = eye[0] + enter[hit] * ray[window][hit][:, 0]
            shade += np.where((axis == 2) & (np.floor(x / box.plies_mm) % 2 == 1), -35.0, 0.0).astype(np.float32)
        if box.coat is not None:
            places = (eye + enter[hit][:, None] * ray[window][hit]).astype(np.float64)
            shade = box.coat(places, axis, eye.astype(np.float64), there[hit] if box.clear else shade).astype(np.float32)
        there[hit] = shade
        if not box.clear:
            best[hit] = enter[hit]
    # pixels and lens mix light, not grey values; the camera's tone curve comes after them
    light = srgb_light(value.astype(np.float64)).reshape(height, grid, width, grid).mean(axis=(1, 3))
    picture = srgb_grey(cv2.GaussianBlur(light, (0, 0), blur_px))
    rng = np.random.default_rng(round(abs(view.eye[0])))
    return np.clip(picture + rng.normal(0, noise, picture.shape) + 0.5, 0, 255).astype(np.uint8)


def kitchen(low_mm: float = 0.0) -> BoxScene:
    """Two narrow cabinets with dark face frames and proud, lower doors; the right one lower by ``low_mm``.

    Front edge of the face frames: y = 0. Left end: x = 0, a panel of plies 3 mm thick.
    """
    boxes = []
    for x0, x1, z in ((0.0, JOINT_MM, 0.0), (JOINT_MM, LENGTH_MM, -low_mm)):
        boxes += [
            Box((x0, 19.0, -800.0), (x1, DEPTH_MM, z), 205.0, 225.0, 120.0),
            Box((x0, 0.0, -800.0), (x1, 19.0, z), 62.0, 70.0, 44.0),
            Box((x0 + 10, -19.0, -780.0), (x1 - 10, -1.0, z - 12.0), 75.0, 60.0, 50.0),
        ]
    boxes.append(Box((0.0, 19.0, -799.0), (18.0, DEPTH_MM, 0.02), 200.0, 225.0, 120.0, plies_mm=3.0))
    views = {
        "P1": View((80.0, -800.0, 900.0), (200.0, 60.0, 0.0)),
        "P2": View((380.0, -750.0, 700.0), (220.0, 60.0, 0.0)),
        "P3": View((200.0, -330.0, 1100.0), (210.0, 50.0, 0.0)),
        "P4": View((-550.0, -450.0, 850.0), (150.0, 80.0, 0.0)),
    }
    places = [(60.0, 60.0, 0.0), (140.0, 60.0, 0.0), (100.0, 200.0, 0.0), (240.0, 60.0, -low_mm), (360.0, 90.0, -low_mm)]
    heights = tuple(
        HeightPoint(f"S{k:02d}", np.array([x, y]), z, 0.15, "left" if x < JOINT_MM else "right")
        for k, (x, y, z) in enumerate(places)
    )
    return BoxScene(boxes, views, heights)


def bow(x_mm: Array, depth_mm: float) -> Array:
    """Front of the bowed cabinet: 0 at both ends, ``depth_mm`` into the room in the middle."""
    return -depth_mm * (1 - (2 * np.asarray(x_mm) / LENGTH_MM - 1) ** 2)


def bowed(depth_mm: float = 6.0) -> BoxScene:
    """A cabinet whose front bows into the room, out of slices 4 mm wide."""
    flat = kitchen()
    boxes = []
    for x in np.arange(0.0, LENGTH_MM, 4.0):
        y = float(bow(np.array(x + 2.0), depth_mm))
        boxes.append(Box((x, y, -60.0), (x + 4.0, DEPTH_MM, 0.0), 205.0, 190.0, 90.0))
    views = {name: flat.views[name] for name in ("P1", "P2", "P3")}
    return BoxScene(boxes, views, flat.heights)
