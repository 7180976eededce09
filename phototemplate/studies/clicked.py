"""Sizes from clicked corners in few photos: one plane, things of known size, tape lengths, right angles.

What a remote estimator has: perhaps one photo, no calibration, no sheets. All clicked points lie on the plane of the cabinet
tops. Unknown are the points, the poses of the photos, the lens (principal distance from EXIF, a little distortion) and where
things of known size lie. Everything is one least-squares problem in which whatever is known enters as an observation with its
uncertainty, so nothing is assumed silently; the covariance is the inverse of the normal matrix (pseudo-inverse: the frame in
the plane is free, and no size depends on it). Imaging model: pinhole with radial distortion (Brown), as in ``numerics.lens``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, Influences, Outline, PhotoMeta, Segment
from phototemplate.settings import OutlineSettings
from phototemplate.studies.known_sizes import KnownSize
from phototemplate.template.outline import LoopSpec, build_outline

CLICK_U_SHARE = 0.0012
"""Standard uncertainty of a click on a corner, as a share of the picture's longer side (5 px of 4000)"""
FOCAL_U, FOCAL_GUESS_U = 0.04, 0.25
"""Relative, of a principal distance from EXIF and of one that is a guess"""
K1_U, K2_U = 0.05, 0.07
"""Radial terms of an uncalibrated phone: a few tenths of a per cent to two per cent at the corners (common experience)"""
CENTRE_U_SHARE = 0.01
SQUARE_U_RAD = math.radians(1.0)
"""How well corners of cabinets and walls are square (common practice: a few mm over a run)"""
TRIED = 8
"""Starts followed to the end, the most promising first"""
EYE_MM = 800.0
"""A phone held in front of a kitchen, over the cabinet tops; only where the search begins"""


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


@dataclass(frozen=True)
class ClickedPlan:
    """Points of the plane with their covariance."""

    names: tuple[str, ...]
    xy_mm: Array
    """(n, 2)"""
    influences: Influences
    """Their coordinates x, y, x, y ..., by cause"""
    chi2: float
    redundancy: int
    largest: tuple[tuple[str, float], ...]
    """Observations that fit worst: what, normalized residual"""
    focal_px: Mapping[str, float] = field(default_factory=dict)


class _Problem:
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


def fit_clicked(
    photos: Sequence[ClickedPhoto], lengths: Sequence[TapeLength] = (), loops: Sequence[ClickedLoop] = ()
) -> ClickedPlan:
    """Solve for all points.

    Raises ``InputError`` for names that were not clicked, ``MeasureError`` where nothing fixes the scale or the photos, sizes
    and lengths contradict each other.
    """
    photos = [replace(p, known=tuple(_anticlockwise(t) for t in p.known)) for p in photos if p.points or p.known]
    _check(photos, lengths, loops)
    things = tuple(dict.fromkeys(k.name for p in reversed(photos) for k in p.known))
    starts: list[tuple[float, _Problem, Array]] = []
    for turned in product((False, True), repeat=len(things)):
        for tilt, roll in product((25.0, 45.0, 65.0), _rolls(photos)):
            problem = _Problem(photos, lengths, loops, turned)
            start = _start(problem, math.radians(tilt), math.radians(roll))
            if start is not None:
                starts.append((float(np.sum(np.log1p(problem.residuals(start) ** 2))), problem, start))
    best: tuple[float, _Problem, Array] | None = None
    starts.sort(key=lambda item: item[0])
    for k, (_, problem, start) in enumerate(starts[:TRIED]):
        if best is not None and k > 1 and best[0] < 2.0 * len(problem.residuals(start)):
            break  # fits already, and the other way round was tried
        robust = least_squares(problem.residuals, start, loss="soft_l1", f_scale=3.0, x_scale="jac", max_nfev=25)
        fine = least_squares(problem.residuals, robust.x, x_scale="jac", max_nfev=40)
        if best is None or fine.cost < best[0]:
            best = (float(fine.cost), problem, fine.x)
    if best is None:
        raise MeasureError("The clicked points do not give a picture of one plane; check that they lie on the cabinet tops.")
    return _solved(best[1], best[2])


def _anticlockwise(thing: KnownThing) -> KnownThing:
    """Corners anticlockwise as seen from above; the picture's y runs down."""
    x, y = thing.corners_px.T
    if float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) < 0:
        return thing
    return replace(thing, corners_px=thing.corners_px[::-1], u_px=thing.u_px[::-1])


def _check(photos: Sequence[ClickedPhoto], lengths: Sequence[TapeLength], loops: Sequence[ClickedLoop]) -> None:
    names = {n for p in photos for n in p.points}
    for asked, whose in [(n, f"Length {x.start}-{x.end}") for x in lengths for n in (x.start, x.end)] + [
        (n, f"Run {x.loop_id!r}") for x in loops for n in x.corners
    ]:
        if asked not in names:
            raise InputError(
                f"{whose} names the point {asked!r}, which was not clicked in any photo; click it or correct the name."
            )
    if not any(p.known for p in photos) and not lengths:
        raise MeasureError(
            "Nothing fixes the scale: no sheet, no thing of known size and no length was given. Ask for one tape length along "
            "the longest run, or a photo with an A4 or Letter sheet or a payment card lying on the cabinets."
        )
    linked = set(photos[0].points) | {k.name for k in photos[0].known}
    rest = list(photos[1:])
    while rest:
        for p in rest:
            own = set(p.points) | {k.name for k in p.known}
            common = [n for n in p.points if n in linked]
            if len(common) >= 3 or (common and any(k.name in linked for k in p.known)):
                linked |= own
                rest.remove(p)
                break
        else:
            raise MeasureError(
                f"Photo {rest[0].meta.photo_id} shares fewer than three points with the others (one where a known thing is in "
                "both), so it cannot be joined to them; click common corners in both, or check that both show the same kitchen."
            )


def _rolls(photos: Sequence[ClickedPhoto]) -> tuple[float, ...]:
    """How the stored picture is turned: from EXIF, else level."""
    turns = {1: 0.0, 2: 0.0, 3: 180.0, 4: 180.0, 5: 90.0, 6: 90.0, 7: -90.0, 8: -90.0}
    return tuple(dict.fromkeys((turns.get(photos[0].meta.orientation, 0.0), 0.0, 90.0, -90.0)))[: 3]


def _start(problem: _Problem, tilt: float, roll: float) -> Array | None:
    """Points where the rays of a photo, held at an assumed height and tilt, meet the plane; common points join photos."""
    x = np.zeros(problem.size)
    placed: dict[str, Array] = {}
    corners: dict[str, Array] = {}
    for k, photo in enumerate(problem.photos):
        f, _ = start_focal(photo.meta)
        centre = (np.array(photo.meta.size_px) - 1.0) / 2.0
        down, r = math.sin(tilt), math.cos(tilt)
        # camera z looks forward (plane y) and down; x to the right
        level = np.array([[1.0, 0.0, 0.0], [0.0, -down, -r], [0.0, r, -down]])
        own_roll = roll if k == 0 else roll + _roll_of(photo) - _roll_of(problem.photos[0])
        turn = Rotation.from_euler("z", own_roll).as_matrix()
        rotation = turn @ level
        eye = np.array([0.0, 0.0, EYE_MM / 1000.0])

        def on_plane(uv: Array, rotation: Array = rotation, eye: Array = eye, f: float = f, centre: Array = centre) -> Array:
            ray = np.column_stack([(uv - centre) / f, np.ones(len(uv))]) @ rotation
            reach = np.where(ray[:, 2] < -0.02, -eye[2] / np.minimum(ray[:, 2], -0.02), 12.0)
            out: Array = eye[:2] + np.minimum(reach, 12.0)[:, None] * ray[:, :2]
            return out

        named = dict(zip(photo.points, on_plane(np.array(list(photo.points.values()))), strict=True)) if photo.points else {}
        boxes = {t.name: on_plane(t.corners_px) for t in photo.known}
        if k:
            common = [n for n in named if n in placed]
            for n in (n for n in boxes if n in corners):
                if len(common) >= 2:  # where clicking began is found from the other points
                    scale, angle, shift = _similar(np.array([named[c] for c in common]), np.array([placed[c] for c in common]))
                    c, s = math.cos(angle), math.sin(angle)
                    seen = scale * boxes[n] @ np.array([[c, s], [-s, c]]) + shift
                    off = [float(np.sum((np.roll(seen, -r, axis=0) - corners[n]) ** 2)) for r in range(4)]
                    problem.rolls[k, n] = int(np.argmin(off))
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
        at = problem.things_at + 5 * i
        x[at : at + 2], x[at + 2] = box.mean(axis=0), math.atan2(side[1], side[0])
    return x


def _roll_of(photo: ClickedPhoto) -> float:
    return math.radians({6: 90.0, 5: 90.0, 8: -90.0, 7: -90.0, 3: 180.0, 4: 180.0}.get(photo.meta.orientation, 0.0))


def _start_scale(problem: _Problem, placed: Mapping[str, Array], corners: Mapping[str, Array]) -> float:
    ratios = []
    for length in problem.lengths:
        d = float(np.linalg.norm(placed[length.end] - placed[length.start]))
        ratios.append(length.value_mm / 1000.0 / max(d, 1e-6))
    for name, box in corners.items():
        around = float(np.linalg.norm(np.roll(box, -1, axis=0) - box, axis=1).sum())
        size = problem.things[name].size
        ratios.append(2.0 * (size.long_mm + size.short_mm) / 1000.0 / max(around, 1e-6))
    return float(np.median(ratios))


def _similar(source: Array, target: Array) -> tuple[float, float, Array]:
    """Scale, angle and shift of the similarity that brings ``source`` onto ``target`` (n, 2)."""
    a, b = source.mean(axis=0), target.mean(axis=0)
    p, q = (source - a) @ np.array([1.0, 1j]), (target - b) @ np.array([1.0, 1j])
    z = complex(np.vdot(p, q) / max(float(np.vdot(p, p).real), 1e-12))
    c, s = z.real, z.imag
    return abs(z), math.atan2(s, c), b - np.array([[c, -s], [s, c]]) @ a


def _solved(problem: _Problem, x: Array) -> ClickedPlan:
    groups = problem.groups(x)
    rows = _jacobian(problem, x)
    r = np.concatenate([g for _, g in groups])
    # everything in the unit of its own spread, so that the pseudo-inverse can tell the free frame from what is only weak
    scale = np.sqrt(np.maximum(np.sum(rows**2, axis=0), 1e-12))
    information = (rows / scale).T @ (rows / scale)
    values, vectors = np.linalg.eigh(information)
    keep = values > 1e-9 * values.max()
    cov_scaled = (vectors[:, keep] / values[keep]) @ vectors[:, keep].T
    chi2 = float(r @ r)
    redundancy = r.size - int(np.count_nonzero(keep))
    worst = sorted(((c, float(np.abs(g).max(initial=0.0))) for c, g in groups), key=lambda item: -item[1])
    if redundancy > 0 and chi2 > 9.0 * redundancy + 25.0:
        raise MeasureError(
            f"The clicks, sizes and lengths contradict each other (worst: {worst[0][0]}, {worst[0][1]:.0f} times its "
            "uncertainty); check that clicks with the same name are the same corner, that sizes and lengths are right, and "
            "that all photos show one kitchen."
        )
    inflate = max(1.0, chi2 / redundancy) if redundancy > 0 else 1.0
    use = slice(problem.points_at, problem.things_at)
    parts: dict[str, Array] = {}
    at = 0
    for cause, g in groups:
        own = (rows[at : at + g.size] / scale).T @ (rows[at : at + g.size] / scale)
        at += g.size
        part = cov_scaled @ own @ cov_scaled / np.outer(scale, scale)
        parts[cause] = parts.get(cause, np.zeros((use.stop - use.start,) * 2)) + inflate * 1e6 * part[use, use]
    cov = sum(parts.values(), np.zeros((use.stop - use.start,) * 2))
    names = tuple(f"point:{n}:{axis}" for n in problem.names for axis in "xy")
    focal = {
        p.meta.camera_id: start_focal(p.meta)[0] * math.exp(problem.camera(x, p.meta.camera_id)[0] * start_focal(p.meta)[1])
        for p in problem.photos
    }
    return ClickedPlan(
        problem.names, 1000.0 * problem.points(x), Influences(names, cov, parts), chi2, redundancy, tuple(worst[:3]), focal
    )


def _jacobian(problem: _Problem, x: Array) -> Array:
    """Central differences; a few dozen parameters."""
    out = np.zeros((problem.residuals(x).size, x.size))
    for k in range(x.size):
        step = np.zeros(x.size)
        step[k] = 1e-5
        out[:, k] = (problem.residuals(x + step) - problem.residuals(x - step)) / 2e-5
    return out


def clicked_outline(plan: ClickedPlan, loops: Sequence[ClickedLoop]) -> Outline:
    """The loops as an outline whose covariance is that of the points."""
    where = {n: k for k, n in enumerate(plan.names)}
    k_size = plan.influences.size
    segments: dict[str, Segment] = {}
    specs = []
    for loop in loops:
        n = len(loop.corners)
        for i, (edge_id, kind) in enumerate(loop.edges):
            if edge_id in segments:
                raise InputError(f"Two edges are called {edge_id!r}; give every edge its own name.")
            ends = [where[loop.corners[i]], where[loop.corners[(i + 1) % n]]]
            chord = plan.xy_mm[ends]
            t = chord[1] - chord[0]
            length = float(np.hypot(*t))
            if length < 30.0:
                raise InputError(f"Edge {edge_id!r} is only {length:.0f} mm long; check its corners.")
            normal = np.array([-t[1], t[0]]) / length
            jac = np.zeros((2, k_size))
            for row, end in enumerate(ends):
                jac[row, 2 * end : 2 * end + 2] = normal
            segments[edge_id] = Segment(
                edge_id, kind, "line", chord, np.array([0.0, length]), np.zeros(2), np.zeros((2, 2)), jac,  # type: ignore[arg-type]
                np.zeros(2), chord, (0.0, 0.0, 0.0), "clicked", 1,
            )  # fmt: skip
        specs.append(LoopSpec(loop.loop_id, tuple(e for e, _ in loop.edges)))
    return build_outline(list(segments.values()), specs, plan.influences, OutlineSettings())
