"""What a scene is made of: plain data, no rendering.

Lengths in mm, angles in degrees where a name says ``_deg``. World frame: x, y plan, z up, z = 0 the plane of the cabinet tops.
"""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .camera import Camera

Array = NDArray[np.float64]


@dataclass
class Cabinet:
    """Base cabinet.

    (x, y) is the plan position of its back-left corner, seen from the front; local u runs to the right along the back, local
    v from the back to the front. ``rot_deg`` turns u anticlockwise seen from above (0: the front faces -y, 90: it faces +x).
    """

    id: str
    x: float
    y: float
    width: float
    rot_deg: float = 0.0
    depth: float = 584.0
    """To the front of the face frame, doors excluded."""
    height: float = 876.0
    top: str = "rails"
    """``rails`` (front and back stretchers) or ``open``"""
    face_frame: bool = True
    frame_thick: float = 19.0
    stile: float = 38.0
    doors: int = 1
    drawers: int = 0
    """Drawers over the whole width, one above the other, the uppermost 150 mm high; the doors take what is left below."""
    slab: bool = False
    """Plain fronts instead of framed ones."""
    inset: bool = False
    """Doors and drawers lie within the face frame, flush with it."""
    handles: bool = True
    shelves: int = 0
    """Open shelves inside, evenly spaced."""
    blind: float = 0.0
    """Width at the left without doors (blind corner cabinet)."""
    blind_right: float = 0.0
    door_thick: float = 19.0
    """How far the doors stand proud of the face frame."""
    door_top_gap: float = 12.0
    """Top of the door below the cabinet top."""
    door_gap: float = 10.0
    panel: float = 18.0
    toe_kick: float = 100.0
    mat_box: str = "melamine"
    mat_edge: str = "plywood_edge"
    mat_front: str = "wood_dark"
    dz: float = 0.0
    """The whole cabinet up or down."""
    tilt_w: float = 0.0
    """Rise over the width (left 0, right +tilt_w)."""
    tilt_d: float = 0.0
    """Rise over the depth (back 0, front +tilt_d)."""
    sag: float = 0.0
    """Dip in the middle of the width."""
    arris_mm: float = 0.0
    """Radius of the rounded top edges: front and exposed ends (0: sharp)."""

    def frame(self) -> tuple[Array, Array, Array]:
        """Origin, u and v in plan."""
        a = math.radians(self.rot_deg)
        u, v = np.array([math.cos(a), math.sin(a)]), np.array([math.sin(a), -math.cos(a)])
        return np.array([self.x, self.y]), u, v

    def lift(self, u: Any, v: Any) -> Array:
        """Height of the top over z = 0 at local (u, v)."""
        s = np.asarray(u, float) / self.width
        t = np.asarray(v, float) / self.depth
        return np.asarray(self.dz + self.tilt_w * s + self.tilt_d * t - self.sag * 4 * s * (1 - s))

    def world(self, p: Any) -> Array:
        """Local (u, v, z) -> world, with tilt and sag. The last axis holds the coordinates."""
        p = np.asarray(p, float)
        o, u, v = self.frame()
        xy = o + p[..., :1] * u + p[..., 1:2] * v
        return np.concatenate([xy, (p[..., 2] + self.lift(p[..., 0], p[..., 1]))[..., None]], -1)

    def local(self, x: float, y: float) -> tuple[float, float]:
        """World plan position -> local (u, v)."""
        o, u, v = self.frame()
        d = np.array([x, y]) - o
        return float(d @ u), float(d @ v)

    def edge(self, name: str, n: int = 9) -> Array:
        """(n, 3) points of one top edge: ``front``, ``back`` (left to right), ``left`` or ``right`` (back to front).

        On a rounded edge this is the outermost line in plan, at the height of the flat top.
        """
        w, d = self.width, self.depth
        (u0, v0), (u1, v1) = {
            "front": ((0, d), (w, d)),
            "back": ((0, 0), (w, 0)),
            "left": ((0, 0), (0, d)),
            "right": ((w, 0), (w, d)),
        }[name]
        t = np.linspace(0, 1, n)
        return self.world(np.stack([u0 + t * (u1 - u0), v0 + t * (v1 - v0), 0 * t], -1))


@dataclass
class Prism:
    """A top, or a cabinet of any plan outline: horizontal top, vertical sides.

    The outline runs anticlockwise seen from above and is convex; what is not is put together from several, whose common sides
    are ``joined``.
    """

    id: str
    outline: list[list[float]]
    z0: float
    z1: float
    mat_top: str = "laminate"
    mat_side: str = "laminate"
    arris_mm: float = 0.0
    """Radius of the rounded top edge (0: sharp)."""
    joined: list[int] = field(default_factory=list)
    """Sides i (from point i to i + 1) that continue in a neighbour: no face, no rounding."""
    panel: float = 0.0
    """0: closed top. Else an open box whose sides are so thick, with its floor 250 mm below the top."""

    def side(self, i: int, n: int = 9) -> Array:
        """(n, 3) points along the top edge of side i."""
        a, b = np.array(self.outline[i], float), np.array(self.outline[(i + 1) % len(self.outline)], float)
        t = np.linspace(0, 1, n)[:, None]
        return np.column_stack([a + t * (b - a), np.full(n, self.z1)])


@dataclass
class Wall:
    """Plan polyline ``[[x, y], ...]``; the straight line between two points is exact (see :func:`bowed_line`)."""

    id: str
    points: list[list[float]]
    side: str = "right"
    """Where the room is when walking along the points."""
    z0: float | None = None
    z1: float | None = None
    mat: str = "drywall"
    lean_mm_per_m: float = 0.0
    """Towards the room per metre of height above z = 0."""

    def line(self) -> tuple[Array, Array]:
        """(n, 2) points and, at each, the unit normal into the room along which the wall leans."""
        pts = np.array(self.points, float)
        t = np.gradient(pts, axis=0)
        nrm = np.stack([t[:, 1], -t[:, 0]], 1) * (1 if self.side == "right" else -1)
        return pts, nrm / np.linalg.norm(nrm, axis=1, keepdims=True)


@dataclass
class Sheet:
    """A printed piece of paper lying on the cabinets (or on a bar); (x, y) is its centre, image top towards local +y."""

    id: str
    image: str
    w: float
    h: float
    x: float
    y: float
    rot_deg: float = 0.0
    kind: str = "target"
    z: float = 0.0
    """Height of the underside where ``on`` is not given."""
    on: str | None = None
    """Cabinet id: follow its (tilted) top instead of z."""
    thick: float = 0.3
    """Paper and backing board together, up to the printed face."""
    tilt_x_deg: float = 0.0
    tilt_y_deg: float = 0.0
    curl_mm: float = 0.0
    """Lift at the far end(s) of a cylindrical, isometric curl."""
    curl_dir_deg: float = 0.0
    curl_start: float = 0.0
    """0: from the centre ... 1: only at the very end."""
    curl_both: bool = True
    gloss: bool = False
    region: list[float] = field(default_factory=list)
    """``[x0, y0, x1, y1]`` of the image in the target's own frame (nominal mm, y up)."""
    scale: list[float] = field(default_factory=lambda: [1.0, 1.0])
    """True print scale along the target's x and y."""
    contact: list[list[float]] = field(default_factory=list)
    """The butted edge in the target's frame, two points, or empty."""
    info: dict[str, Any] = field(default_factory=dict)


@dataclass
class Strip:
    """Narrow printed strip standing on edge along a wall, image upright and readable from the room.

    It takes the wall's arc length from ``s0`` to about ``s0 + length``; seen from the room its left end is image column 0, so
    along a wall with side ``left`` the image runs against the wall's arc length. Paper does not stretch: image columns are arc
    length of the paper itself.
    """

    id: str
    image: str
    length: float
    height: float
    wall: str
    s0: float = 0.0
    z: float = 2.0
    """Lower edge above the plane."""
    gap: float = 0.3
    """Face off the wall: paper and tape."""
    loose: float = 0.0
    """Further bulge into the room in the middle."""
    gloss: bool = False
    region: list[float] = field(default_factory=list)
    scale: list[float] = field(default_factory=lambda: [1.0, 1.0])
    info: dict[str, Any] = field(default_factory=dict)


@dataclass
class Clutter:
    """kind: box | cup | cylinder | hammer | pencil | tape | level. ``z`` is the underside."""

    kind: str
    x: float
    y: float
    rot_deg: float = 0.0
    size: list[float] = field(default_factory=lambda: [100.0, 100.0, 100.0])
    z: float = 0.0
    mat: str = "cardboard"


@dataclass
class Light:
    """Rectangular area light; the normal points the way it shines."""

    center: list[float]
    normal: list[float]
    size: list[float]
    radiance: list[float]


@dataclass
class TrueEdge:
    """One edge of the outline as it truly is."""

    id: str
    kind: str
    """An ``EdgeKind`` of ``phototemplate.model``"""
    points: list[list[float]]
    """World polyline; of a rounded edge the outermost line in plan at the height of the flat top."""
    shape: str = "line"
    source: str = "trace"
    targets: list[str] = field(default_factory=list)
    """Sheets or strips that carry it."""
    drawn_on: str = ""
    """Sheet in whose frame the user gave the path; else it was clicked in a photo."""
    arris_mm: float = 0.0
    """Radius of its rounding (0: sharp)."""


@dataclass
class OtherLine:
    """A line that is not the edge but can be taken for it."""

    reading: str
    """What it is: ``door``, the upper outer edge of a door or drawer front; ``overhang``, that of an old top"""
    of: str
    """Edge of the outline that it runs along"""
    points: list[list[float]]


@dataclass
class KnownLength:
    """A length somebody measured: the true distance of two target centres and what was read."""

    name: str
    kind: str
    """``bar`` or ``tape``"""
    ends: list[str]
    given_mm: float
    u_mm: float


@dataclass
class Scene:
    """All of it. ``lights`` empty: two ceiling panels and a window."""

    name: str
    cabinets: list[Cabinet] = field(default_factory=list)
    walls: list[Wall] = field(default_factory=list)
    sheets: list[Sheet] = field(default_factory=list)
    strips: list[Strip] = field(default_factory=list)
    clutter: list[Clutter] = field(default_factory=list)
    lights: list[Light] = field(default_factory=list)
    cameras: list[Camera] = field(default_factory=list)
    prisms: list[Prism] = field(default_factory=list)
    outline: list[TrueEdge] = field(default_factory=list)
    other_lines: list[OtherLine] = field(default_factory=list)
    loops: dict[str, list[str]] = field(default_factory=dict)
    lengths: list[KnownLength] = field(default_factory=list)
    room: list[float] = field(default_factory=lambda: [-2500.0, -3500.0, 4500.0, 1500.0])
    """x0 y0 x1 y1 of the enclosing box"""
    floor_z: float = -876.0
    ceiling_z: float = 1550.0
    mat_floor: str = "tile_floor"
    seed: int = 0

    def cabinet(self, cabinet_id: str) -> Cabinet:
        return next(c for c in self.cabinets if c.id == cabinet_id)

    def wall(self, wall_id: str) -> Wall:
        return next(w for w in self.walls if w.id == wall_id)

    def scaled(self, factor: float) -> Scene:
        """The same scene with smaller pictures."""
        return dataclasses.replace(self, cameras=[c.scaled(factor) for c in self.cameras])

    def save(self, path: Path) -> None:
        Path(path).write_text(json.dumps(dataclasses.asdict(self), indent=1))

    @staticmethod
    def load(path: Path) -> Scene:
        """Read a saved scene; images are relative to its file."""
        d = json.loads(Path(path).read_text())
        parts: dict[str, type[Any]] = {
            "cabinets": Cabinet, "walls": Wall, "sheets": Sheet, "strips": Strip, "clutter": Clutter,
            "lights": Light, "cameras": Camera, "prisms": Prism, "outline": TrueEdge, "other_lines": OtherLine,
            "lengths": KnownLength,
        }  # fmt: skip
        for key, cls in parts.items():
            d[key] = [cls(**e) for e in d.get(key, [])]
        scene = Scene(**d)
        for paper in [*scene.sheets, *scene.strips]:
            if not Path(paper.image).is_absolute():
                paper.image = str(Path(path).parent / paper.image)
        return scene


def bowed_line(
    p0: tuple[float, float],
    p1: tuple[float, float],
    *,
    bow_mm: float = 0.0,
    mud0: float = 0.0,
    mud1: float = 0.0,
    mud_len: float = 150.0,
    wave_mm: float = 0.0,
    seed: int = 0,
    into: str = "right",
    n: int = 24,
) -> list[list[float]]:
    """Wall points from p0 to p1: parabolic bow into the room, joint-compound build-up at the ends, slow waviness."""
    a, b = np.array(p0, float), np.array(p1, float)
    length = float(np.linalg.norm(b - a))
    t = (b - a) / length
    nrm = np.array([t[1], -t[0]]) * (1 if into == "right" else -1)
    ends = np.linspace(0, mud_len, 9)
    s = np.unique(np.concatenate([np.linspace(0, length, n), ends, length - ends]))
    off = bow_mm * 4 * (s / length) * (1 - s / length)
    off += mud0 * np.clip(1 - s / mud_len, 0, 1) ** 2 + mud1 * np.clip(1 - (length - s) / mud_len, 0, 1) ** 2
    rng = np.random.default_rng(seed)
    for k in range(1, 5):
        off += wave_mm / k * rng.normal() * np.sin(k * math.pi * s / length)
    return [[float(x), float(y)] for x, y in a + s[:, None] * t + off[:, None] * nrm]
