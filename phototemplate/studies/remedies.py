"""What one more photo, tape length or calliper reading would do to an uncertainty, computed from the covariance.

A further observation ``l = A x + e`` changes the covariance of the influences to ``C - C A^T (A C A^T + S)^-1 A C``, whatever
its value will be; so the uncertainty after it is known before anybody takes it. Only the shared part is predicted this
way. The independent noise of an edge is left as it is unless the remedy measures the edge itself again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

from phototemplate.model import Array, Influences, Measurement, Network, PhotoPose, Segment
from phototemplate.network.projection import body_points
from phototemplate.numerics import lens
from phototemplate.numerics.reliability import updated_cov
from phototemplate.numerics.rigid import skew

RemedyKind = Literal["photo", "length", "calliper", "target", "edge"]

PHOTO_DISTANCES_MM = (900.0, 1400.0)
PHOTO_HEIGHTS_MM = (600.0, 1000.0)
PHOTO_TURNS_RAD = tuple(math.radians(a) for a in (-60, -30, 0, 30, 60))
AIM_STEP_MM = 300.0
"""Candidates aim at places on a grid so wide, so that neighbouring edges share them"""
HELPFUL = 0.9
"""Share of the present uncertainty that a remedy has to get below to be named"""
_MIN_COSINE = 0.25
_MAX_DISTANCE_MM = 3000.0
_FREE_POSE = np.array([1.0, 1.0, 1.0, 3000.0, 3000.0, 3000.0])
"""Standard deviations (rad, mm) of a pose nothing is known of"""

FEELER_U_MM = 0.05
"""Standard uncertainty of a gap read with feeler gauges"""
TYPE_B_REMEDIES: tuple[tuple[str, float, str], ...] = (
    ("gap:", FEELER_U_MM, "Measure with feeler gauges how far the contact sheets of {where} stand off, and give that gap."),
    ("strip thickness", 0.03, "Measure paper and tape of the wall strip together with a calliper, and give that thickness."),
    ("bulge:", 0.05, "Tape wall strip {where} down in its middle too, tight against the wall, and photograph it again."),
    ("thickness:sheet", 0.02, "Measure the thickness of the sheets with a calliper, and give it."),
)
"""Influence name's beginning, standard uncertainty (mm) that the reading leaves, what to do"""


@dataclass(frozen=True)
class Target:
    """The quantity whose uncertainty is to come down."""

    name: str
    shared: Array
    """(K,) gradient over the influences"""
    noise_variance: float
    """Variance of its independent noise, mm2"""
    place_work_mm: Array
    """(2,) where it is, in the work frame"""


@dataclass(frozen=True)
class Remedy:
    """One thing to do, and the expanded uncertainty (k = 2) that would follow."""

    kind: RemedyKind
    text: str
    predicted_U_mm: float


def expanded(target: Target, cov: Array, noise_variance: float | None = None) -> float:
    """U at k = 2 of the target under a covariance of the influences."""
    noise = target.noise_variance if noise_variance is None else noise_variance
    return 2.0 * math.sqrt(max(float(target.shared @ cov @ target.shared), 0.0) + noise)


# ------------------------------------------------------------------------------------------- a length


def best_length(m: Measurement, target: Target, u_mm: float) -> Remedy | None:
    """The tape length between two sheets that helps most."""
    network, cov = m.network, m.work_plane.influences.cov
    ids = [t for t in network.bodies if network.targets[t].kind == "sheet"]
    if len(ids) < 2:
        return None
    k = cov.shape[0]
    centre, jac = np.zeros((len(ids), 3)), np.zeros((len(ids), 3, k))
    for i, t in enumerate(ids):
        p = body_points(network, t, np.zeros((1, 3)))
        centre[i] = p.xyz_mm[0]
        jac[i][:, p.columns] = p.d_influences[0]
    first, second = np.triu_indices(len(ids), 1)
    between = centre[second] - centre[first]
    length = np.linalg.norm(between, axis=1)
    rows = np.einsum("pi,pik->pk", between / length[:, None], jac[second] - jac[first])
    with_target = rows @ (cov @ target.shared)
    own = np.einsum("pk,kl,pl->p", rows, cov, rows)
    gain = with_target**2 / (own + u_mm**2)
    gain[length < 300.0] = 0.0
    best = int(np.argmax(gain))
    after = max(float(target.shared @ cov @ target.shared) - float(gain[best]), 0.0)
    text = (
        f"Measure the distance between the centres of sheets {ids[first[best]]} and {ids[second[best]]} with a tape "
        f"(about {length[best]:.0f} mm) and give it as a known length."
    )
    return Remedy("length", text, 2.0 * math.sqrt(after + target.noise_variance))


# --------------------------------------------------------------------------------------------- a photo


def best_photo(m: Measurement, target: Target, photos: NextPhotos | None = None) -> Remedy | None:
    """The photo that helps most, of candidates around the target on the side from which it was photographed so far.

    ``photos`` keeps what was worked out for other targets of the same measurement; neighbouring targets share candidates.
    """
    network, plane = m.network, m.work_plane
    if not network.photos:
        return None
    photos = photos or NextPhotos(m)
    aim = np.append(np.round(target.place_work_mm / AIM_STEP_MM) * AIM_STEP_MM, 0.0)
    side = photos.eyes[:, :2].mean(axis=0) - aim[:2]
    base = math.atan2(side[1], side[0])
    with_target = plane.influences.cov @ target.shared
    best: Remedy | None = None
    for distance in PHOTO_DISTANCES_MM:
        for height in PHOTO_HEIGHTS_MM:
            for turn in PHOTO_TURNS_RAD:
                eye = aim + distance * np.array([math.cos(base + turn), math.sin(base + turn), 0.0])
                eye[2] = height
                variance = photos.variance_after(eye, aim, target.shared, with_target)
                if variance is None:
                    continue
                after = 2.0 * math.sqrt(max(variance, 0.0) + target.noise_variance)
                if best is None or after < best.predicted_U_mm:
                    best = Remedy("photo", _from_where(m, eye, aim), after)
    return best


def least_with_photos(m: Measurement, target: Target) -> float:
    """The expanded uncertainty that no number of further photos can undercut: own noise and type B terms, which no photo
    touches (they stand behind the network's influences and are independent of them)."""
    k = m.network.influences.size
    own = target.shared[k:]
    return 2.0 * math.sqrt(max(float(own @ m.work_plane.influences.cov[k:, k:] @ own), 0.0) + target.noise_variance)


def sighting_sd(network: Network) -> float:
    """Standard deviation of one image coordinate in px, from the residuals of the sightings used."""
    used = [r.residual_px[r.weight > 0].ravel() for r in network.residuals]
    residuals = np.concatenate(used) if used else np.zeros(0)
    return max(float(np.sqrt(np.mean(residuals**2))), 0.03) if residuals.size else 0.1


def covariance_after_photo(m: Measurement, eye_work: Array, aim_work: Array, sigma_px: float) -> Array | None:
    """(K, K) covariance of the influences after one more photo from ``eye_work`` towards ``aim_work`` (work frame, mm),
    taken with the first camera; None where it would not see two targets."""
    cov = m.work_plane.influences.cov
    added = NextPhotos(m, sigma_px).information(eye_work, aim_work)
    if added is None:
        return None
    out = np.asarray(np.linalg.solve(np.eye(len(cov)) + cov @ added, cov), float)
    return np.asarray(0.5 * (out + out.T))


class NextPhotos:
    """What one more photo would add, with everything that does not depend on where it is taken worked out once.

    A photo's sightings have the normal matrix ``N = A^T W A`` over influences, pose and focus. Pose and focus are free and
    are eliminated; what remains, N', is its information on the influences, and ``C' = (I + C N')^-1 C``. The sum over the
    points of a sheet touches that sheet's columns only, which is what makes a candidate cheap.
    """

    def __init__(self, m: Measurement, sigma_px: float | None = None) -> None:
        self.m = m
        self.network, self.influences = m.network, m.work_plane.influences
        self.sigma_px = sighting_sd(m.network) if sigma_px is None else sigma_px
        network, k = m.network, m.work_plane.influences.size
        free = network.points
        self.bodies = [body_points(network, t, network.targets[t].points_mm) for t in network.bodies]
        sizes = [len(p.xyz_mm) for p in self.bodies] + [len(free)]
        stops = np.cumsum(sizes)
        self.body_slices = [slice(int(stop) - n, int(stop)) for n, stop in zip(sizes, stops, strict=True)]
        """Per body its rows of ``xyz``; the points of no body come last"""
        self.body = np.repeat(np.arange(len(sizes)), sizes)
        self.xyz = np.vstack([*(p.xyz_mm for p in self.bodies), np.array([p.xyz_mm for p in free]).reshape(-1, 3)])
        facing = [np.tile(b.rotation[:, 2], (n, 1)) for b, n in zip(network.bodies.values(), sizes, strict=False)]
        self.facing = np.vstack([*facing, np.zeros((len(free), 3))])
        self.on_body = np.where(self.body < len(self.bodies), 1.0, -np.inf)  # other points are seen from everywhere
        self.free_noise = np.array([p.noise_cov_mm2 for p in free]).reshape(-1, 3, 3)
        self.free_jac = np.zeros((len(free), 3, k))
        if free:
            self.free_jac[:, :, : network.influences.size] = [p.shared_jac for p in free]
        self.camera = network.cameras[next(iter(network.photos.values())).camera_id]
        names = {name: c for c, name in enumerate(self.influences.names)}
        parameters = lens.LENS_MODELS[self.camera.model].names
        columns = [names.get(f"lens:{self.camera.camera_id}:{p}") for p in parameters]
        self.lens_used = [i for i, c in enumerate(columns) if c is not None]
        self.lens_columns = np.array([c for c in columns if c is not None], dtype=np.int64)
        self.pose_columns = np.arange(k, k + 7)
        self._solved: dict[bytes, tuple[Array, NDArray[np.int32]] | None] = {}

    @cached_property
    def eyes(self) -> Array:
        """(P, 3) where the photos were taken, work frame."""
        plane = self.m.work_plane
        eyes = np.array([plane.rotation @ (-p.rotation.T @ p.translation_mm) for p in self.network.photos.values()])
        out: Array = eyes + plane.translation_mm
        return out

    def information(self, eye_work: Array, aim_work: Array) -> Array | None:
        """(K, K) information of the photo on the influences; None where it would not see two targets."""
        network, k = self.network, self.influences.size
        pose = _looking(self.m, eye_work, aim_work)
        eye_world = -pose.rotation.T @ pose.translation_mm
        view = eye_world - self.xyz
        far = np.linalg.norm(view, axis=1)
        ok = (far < _MAX_DISTANCE_MM) & (np.sum(view * self.facing, axis=1) > _MIN_COSINE * far * self.on_body)
        ok[ok] = _in_picture(network, pose, self.xyz[ok])
        counts = np.bincount(self.body[ok], minlength=len(self.bodies) + 1)[: len(self.bodies)]
        seen = np.flatnonzero(counts >= 4)
        if len(seen) < 2:
            return None
        d_xyz, rows = self._rows(pose, self.xyz)
        normal = np.zeros((k + 7, k + 7))
        for i in seen:
            here, p = self.body_slices[i], self.bodies[i]
            use = ok[here]
            own = np.einsum("nij,njk->nik", d_xyz[here][use], p.d_influences[use])
            design = np.concatenate([own, rows[here][use]], axis=2)
            design = design.reshape(-1, design.shape[2]) / self.sigma_px
            columns = np.concatenate([p.columns, self.lens_columns, self.pose_columns])
            normal[np.ix_(columns, columns)] += design.T @ design
        here = self.body_slices[-1]
        use = ok[here]
        if use.any():
            d, jac, noise = d_xyz[here][use], self.free_jac[use], self.free_noise[use]
            design = np.zeros((len(d), 2, k + 7))
            design[:, :, :k] = np.einsum("nij,njk->nik", d, jac)
            design[:, :, np.concatenate([self.lens_columns, self.pose_columns])] += rows[here][use]
            spread = self.sigma_px**2 * np.eye(2) + np.einsum("nij,njk,nlk->nil", d, noise, d)
            white = np.linalg.solve(np.linalg.cholesky(spread), design).reshape(-1, k + 7)
            normal += white.T @ white
        free = normal[k:, k:] + np.diag(np.append(_FREE_POSE, _focus_sd(self.influences)) ** -2.0)
        out: Array = normal[:k, :k] - normal[:k, k:] @ np.linalg.solve(free, normal[k:, :k])
        return out

    def variance_after(self, eye_work: Array, aim_work: Array, shared: Array, cov_shared: Array) -> float | None:
        """Shared variance of a quantity after the photo, from its gradient (K,) and ``C @ shared``."""
        key = np.round(np.concatenate([eye_work, aim_work]), 3).tobytes()
        if key not in self._solved:
            added = self.information(eye_work, aim_work)
            self._solved[key] = None
            if added is not None:
                self._solved[key] = lu_factor(np.eye(len(added)) + self.influences.cov @ added, check_finite=False)
        factors = self._solved[key]
        return None if factors is None else float(shared @ lu_solve(factors, cov_shared, check_finite=False))

    def _rows(self, pose: PhotoPose, xyz: Array) -> tuple[Array, Array]:
        """Derivatives of the pixels by the world point (n, 2, 3), and by lens, pose and focus (n, 2, L + 7)."""
        d_xyz, d_pose, d_lens = _projection(self.camera.model, self.camera.params, pose, xyz)
        focus = d_lens[:, :, :1] * self.camera.params[0]
        return d_xyz, np.concatenate([d_lens[:, :, self.lens_used], d_pose, focus], axis=2)


def _focus_sd(influences: Influences) -> float:
    """Spread of the photos' own focus terms, a new photo's included."""
    variances = [influences.cov[i, i] for i, name in enumerate(influences.names) if name.endswith(":focus")]
    return max(math.sqrt(max(variances, default=0.0)), 0.004)


def _looking(m: Measurement, eye_work: Array, aim_work: Array) -> PhotoPose:
    """Pose of a level photo from one place of the work frame towards another."""
    plane = m.work_plane
    z = aim_work - eye_work
    z = z / np.linalg.norm(z)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x = x / np.linalg.norm(x)
    rotation = np.array([x, np.cross(z, x), z]) @ plane.rotation
    eye = plane.rotation.T @ (eye_work - plane.translation_mm)
    first = next(iter(m.network.photos.values()))
    return PhotoPose("new", first.camera_id, rotation, -rotation @ eye)


def _in_picture(network: Network, pose: PhotoPose, xyz: Array) -> Array:
    camera = network.cameras[pose.camera_id]
    cam = xyz @ pose.rotation.T + pose.translation_mm
    front = cam[:, 2] > 1.0
    model = lens.LENS_MODELS[camera.model]
    front &= lens.off_axis(camera.model, cam) < model.limit(camera.params[lens.N_COMMON :])
    uv = lens.project(camera.model, camera.params, np.where(front[:, None], cam, [0.0, 0.0, 1.0]))[0]
    return np.asarray(front & np.all((uv > 10) & (uv < np.array(camera.size_px) - 11), axis=1))


def _projection(model: str, params: Array, pose: PhotoPose, xyz: Array) -> tuple[Array, Array, Array]:
    """Derivatives of the pixels by the world point (N, 2, 3), by the pose (N, 2, 6) and by the lens (N, 2, p)."""
    turned = xyz @ pose.rotation.T
    _, d_cam, d_lens = lens.project(model, params, turned + pose.translation_mm)
    return d_cam @ pose.rotation, np.concatenate([-d_cam @ skew(turned), d_cam], axis=2), d_lens


def _from_where(m: Measurement, eye: Array, aim: Array) -> str:
    """Where to stand, in words, with the nearest sheets as landmarks."""
    sheets = [(h.name, h.xy_mm) for h in m.work_plane.heights]
    text = "Take one more photo"
    if sheets:
        stand = min(sheets, key=lambda s: float(np.linalg.norm(s[1] - eye[:2])))
        look = min(sheets, key=lambda s: float(np.linalg.norm(s[1] - aim[:2])))
        away = float(np.linalg.norm(stand[1] - eye[:2]))
        text += f" from {away / 1000:.1f} m in front of sheet {stand[0]}"
        text += f", camera {eye[2] / 1000:.1f} m above the cabinet tops, looking at sheet {look[0]}"
    return text + ", with as many other sheets in it as possible."


# ------------------------------------------------------------------------- readings and further targets


def type_b_readings(influences: Influences, target: Target) -> list[Remedy]:
    """Readings that replace an assumption: gap, thickness."""
    out = []
    for i, name in enumerate(influences.names):
        for start, u_mm, text in TYPE_B_REMEDIES:
            variance = float(influences.cov[i, i])
            if not name.startswith(start) or target.shared[i] == 0.0 or variance <= u_mm**2:
                continue
            row = np.zeros((1, influences.size))
            row[0, i] = 1.0
            # the reading whose combination with the assumption leaves u_mm
            reading = np.array([[1.0 / (1.0 / u_mm**2 - 1.0 / variance)]])
            cov = updated_cov(influences.cov, row, reading)
            where = name.split(":", 1)[-1]
            out.append(Remedy("calliper", text.format(where=where), expanded(target, cov)))
    return out


def measure_edge_again(
    m: Measurement, target: Target, segment: Segment, seen_noise: float, own_noise: float
) -> Remedy | None:
    """Where the edge's own noise dominates: more of what it was measured by.

    ``own_noise`` is the edge's share of the target's noise variance, ``seen_noise`` what it would be at the nearest place where
    the edge was seen.
    """
    cov = m.work_plane.influences.cov
    rest = max(target.noise_variance - own_noise, 0.0)
    if seen_noise < 0.5 * own_noise:
        text = {
            "strip": f"Tape the wall strip of {segment.edge_id} right into the corner.",
            "contact": f"Butt one more contact sheet against {segment.edge_id} close to the corner.",
        }.get(segment.source, f"Take a photo that shows {segment.edge_id} up to its corner, and draw its hint up to there.")
        return Remedy("target" if segment.source != "trace" else "edge", text, expanded(target, cov, rest + seen_noise))
    if segment.source == "contact":
        sheets = _groups(segment)
        text = f"Butt one more contact sheet against {segment.edge_id}."
        return Remedy("target", text, expanded(target, cov, rest + own_noise * sheets / (sheets + 1.0)))
    if segment.source == "trace":
        n = max(segment.n_photos, 1)
        text = f"Take one more photo that shows the whole of {segment.edge_id}, from another side."
        return Remedy("edge", text, expanded(target, cov, rest + own_noise * n / (n + 1.0)))
    return None


def contact_instead(
    m: Measurement, target: Target, segment: Segment, own_noise: float, scale: float = 1.0
) -> Remedy | None:
    """Where it is not sharp what the edge is (rounded, taped, seen against the light): take it from contact sheets.

    The edge's own definition and height terms and its share ``own_noise`` of the noise variance go, cut and gap of the sheets
    come in their place; ``scale`` is how far the target moves when the edge moves by 1 mm.
    """
    influences = m.work_plane.influences
    own = [f"{term}:{segment.edge_id}" for term in ("definition", "definition-turn", "height")]
    gone = [i for i, name in enumerate(influences.names) if name in own]
    if segment.source != "trace" or not gone:
        return None
    shared = target.shared.copy()
    shared[gone] = 0.0
    text = (
        f"Lay a contact sheet against each end of {segment.edge_id}, read with feeler gauges how far they stand off, and take "
        "the edge from the sheets."
    )
    noise = max(target.noise_variance - own_noise, 0.0) + (scale * math.hypot(FEELER_U_MM, m.settings.edges.cut_u_mm)) ** 2
    return Remedy("target", text, 2.0 * math.sqrt(max(float(shared @ influences.cov @ shared), 0.0) + noise))


def _groups(segment: Segment, gap_mm: float = 80.0) -> int:
    """Number of sheets behind the points of a contact edge: runs of points without a gap."""
    along = segment.chord_mm[1] - segment.chord_mm[0]
    s = np.sort(segment.points_mm @ (along / np.linalg.norm(along)))
    return 1 + int(np.count_nonzero(np.diff(s) > gap_mm))


def cheapest(remedies: Sequence[Remedy], wanted_U_mm: float, now_U_mm: float) -> tuple[Remedy, ...]:
    """The first that suffices, in the order of the trouble they take; else those that help by a tenth or more, best
    first."""
    order: dict[RemedyKind, int] = {"photo": 0, "edge": 0, "calliper": 1, "length": 2, "target": 3}
    enough = sorted((r for r in remedies if r.predicted_U_mm <= wanted_U_mm), key=lambda r: (order[r.kind], r.predicted_U_mm))
    if enough:
        return (enough[0],)
    helpful = [r for r in remedies if r.predicted_U_mm < HELPFUL * now_U_mm]
    return tuple(sorted(helpful, key=lambda r: r.predicted_U_mm)[:2])
