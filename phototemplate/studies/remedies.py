"""What one more photo, tape length or calliper reading would do to an uncertainty, computed from the covariance.

What a further observation does to the covariance of the influences does not depend on its value (:mod:`numerics.information`),
so the uncertainty after it is known before anybody makes it. Only the shared part is predicted this way; the independent
noise of an edge stays as it is unless the remedy measures the edge itself again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

from phototemplate.errors import Finding
from phototemplate.model import Array, Influences, Measurement, PhotoPose, Segment
from phototemplate.network.further_photo import FurtherPhotos, looking
from phototemplate.network.projection import body_points
from phototemplate.numerics.information import gains, with_observations
from phototemplate.output.assessment import Remedy
from phototemplate.studies.constants import (
    AIM_STEP_MM,
    CALLIPER_PAPER_U_MM,
    CALLIPER_STRIP_U_MM,
    CONTACT_APART_MM,
    FEELER_U_MM,
    HELPFUL,
    LEAST_ASKED_MM,
    PHOTO_DISTANCES_MM,
    PHOTO_HEIGHTS_MM,
    PHOTO_TURNS_RAD,
    SEEN_BETTER,
    TAPED_MIDDLE_U_MM,
)

TYPE_B_REMEDIES: tuple[tuple[str, float, str], ...] = (
    ("gap:", FEELER_U_MM, "do-feelers"),
    ("strip thickness", CALLIPER_STRIP_U_MM, "do-strip-thickness"),
    ("bulge:", TAPED_MIDDLE_U_MM, "do-strip-middle"),
    ("thickness:sheet", CALLIPER_PAPER_U_MM, "do-sheet-thickness"),
)
"""Influence name's beginning, standard uncertainty (mm) that the reading leaves, what to do"""
TROUBLE = (
    ("do-photo",), ("do-choose", "do-photo-corner", "do-photo-along"), tuple(code for _, _, code in TYPE_B_REMEDIES),
    ("do-length",), ("do-strip-corner", "do-contact-corner", "do-contact-more", "do-contact-instead"),
)  # fmt: skip
"""What takes less trouble stands first. Convention: a photo is quick, a tape not always at hand, a sheet has to be put up."""


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
    gain = gains(cov, target.shared, rows, u_mm)
    gain[length < LEAST_ASKED_MM] = 0.0
    best = int(np.argmax(gain))
    after = max(float(target.shared @ cov @ target.shared) - float(gain[best]), 0.0)
    what = Finding("do-length", target.name, sheets=(ids[first[best]], ids[second[best]]), about_mm=length[best])
    return Remedy(what, 2.0 * math.sqrt(after + target.noise_variance))


# --------------------------------------------------------------------------------------------- a photo


def best_photo(m: Measurement, target: Target, photos: PhotoPlaces | None = None) -> Remedy | None:
    """The photo that helps most, of candidates around the target on the side from which it was photographed so far.

    ``photos`` keeps what was worked out for other targets of the same measurement; neighbouring targets share candidates.
    """
    network, plane = m.network, m.work_plane
    if not network.photos:
        return None
    photos = photos or PhotoPlaces(m)
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
                    best = Remedy(_from_where(m, target.name, eye, aim), after)
    return best


def least_with_photos(m: Measurement, target: Target) -> float:
    """The expanded uncertainty that no number of further photos can undercut: own noise and type B terms, which no photo
    touches (they stand behind the network's influences and are independent of them)."""
    k = m.network.influences.size
    own = target.shared[k:]
    return 2.0 * math.sqrt(max(float(own @ m.work_plane.influences.cov[k:, k:] @ own), 0.0) + target.noise_variance)


class PhotoPlaces:
    """What a photo from a place of the work frame would bring, each place worked out once."""

    def __init__(self, m: Measurement) -> None:
        plane = m.work_plane
        self._plane = plane
        self._photos = FurtherPhotos(m.network, plane.influences)
        eyes = np.array([plane.rotation @ (-p.rotation.T @ p.translation_mm) for p in m.network.photos.values()])
        self.eyes: Array = eyes + plane.translation_mm
        """(P, 3) where the photos were taken, work frame"""
        self._solved: dict[bytes, tuple[Array, NDArray[np.int32]] | None] = {}

    def pose(self, eye_work: Array, aim_work: Array) -> PhotoPose:
        """Of a level photo taken with the first camera."""
        plane = self._plane
        eye, aim = (plane.rotation.T @ (p - plane.translation_mm) for p in (eye_work, aim_work))
        pose = looking(self._photos.camera.camera_id, eye, aim, plane.rotation[2])
        assert pose is not None
        return pose

    def variance_after(self, eye_work: Array, aim_work: Array, shared: Array, cov_shared: Array) -> float | None:
        """Shared variance of a quantity after the photo, from its gradient (K,) and ``C @ shared``."""
        key = np.round(np.concatenate([eye_work, aim_work]), 3).tobytes()
        if key not in self._solved:
            added = self._photos.information(self.pose(eye_work, aim_work))
            self._solved[key] = None
            if added is not None:
                self._solved[key] = lu_factor(np.eye(len(added)) + self._plane.influences.cov @ added, check_finite=False)
        factors = self._solved[key]
        return None if factors is None else float(shared @ lu_solve(factors, cov_shared, check_finite=False))


def _from_where(m: Measurement, name: str, eye: Array, aim: Array) -> Finding:
    """Where to stand, with the nearest sheets as landmarks."""
    sheets = [(h.name, h.xy_mm) for h in m.work_plane.heights]
    if not sheets:
        return Finding("do-photo", name, away_mm=None, stand=None, above_mm=None, look=None)
    stand = min(sheets, key=lambda s: float(np.linalg.norm(s[1] - eye[:2])))
    look = min(sheets, key=lambda s: float(np.linalg.norm(s[1] - aim[:2])))
    return Finding(
        "do-photo", name, away_mm=float(np.linalg.norm(stand[1] - eye[:2])), stand=stand[0], above_mm=eye[2], look=look[0]
    )


# ------------------------------------------------------------------------- readings and further targets


def type_b_readings(influences: Influences, target: Target) -> list[Remedy]:
    """Readings that replace an assumption: gap, thickness."""
    out = []
    for i, name in enumerate(influences.names):
        for start, u_mm, code in TYPE_B_REMEDIES:
            variance = float(influences.cov[i, i])
            if not name.startswith(start) or target.shared[i] == 0.0 or variance <= u_mm**2:
                continue
            row = np.zeros((1, influences.size))
            row[0, i] = 1.0
            # the reading whose combination with the assumption leaves u_mm
            reading = np.array([[1.0 / (1.0 / u_mm**2 - 1.0 / variance)]])
            cov = with_observations(influences.cov, row, reading)
            out.append(Remedy(Finding(code, name.split(":", 1)[-1]), expanded(target, cov)))
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
    def remedy(code: str, noise: float) -> Remedy:
        return Remedy(Finding(code, segment.edge_id), expanded(target, cov, rest + noise))

    if seen_noise < SEEN_BETTER * own_noise:
        codes = {"strip": "do-strip-corner", "contact": "do-contact-corner"}
        return remedy(codes.get(segment.source, "do-photo-corner"), seen_noise)
    if segment.source == "contact":
        sheets = _groups(segment)
        return remedy("do-contact-more", own_noise * sheets / (sheets + 1.0))
    if segment.source == "trace":
        n = max(segment.n_photos, 1)
        return remedy("do-photo-along", own_noise * n / (n + 1.0))
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
    noise = max(target.noise_variance - own_noise, 0.0) + (scale * math.hypot(FEELER_U_MM, m.settings.edges.cut_u_mm)) ** 2
    after = math.sqrt(max(float(shared @ influences.cov @ shared), 0.0) + noise)
    return Remedy(Finding("do-contact-instead", segment.edge_id), 2.0 * after)


def _groups(segment: Segment) -> int:
    """Number of sheets behind the points of a contact edge: runs of points without a gap."""
    along = segment.chord_mm[1] - segment.chord_mm[0]
    s = np.sort(segment.points_mm @ (along / np.linalg.norm(along)))
    return 1 + int(np.count_nonzero(np.diff(s) > CONTACT_APART_MM))


def cheapest(remedies: Sequence[Remedy], wanted_U_mm: float, now_U_mm: float) -> tuple[Remedy, ...]:
    """The first that suffices, in the order of the trouble they take; else those that help by a tenth or more, best
    first."""
    order = {code: k for k, codes in enumerate(TROUBLE) for code in codes}
    enough = [r for r in remedies if r.predicted_U_mm <= wanted_U_mm]
    enough.sort(key=lambda r: (order[r.what.code], r.predicted_U_mm))
    if enough:
        return (enough[0],)
    helpful = [r for r in remedies if r.predicted_U_mm < HELPFUL * now_U_mm]
    return tuple(sorted(helpful, key=lambda r: r.predicted_U_mm)[:2])
