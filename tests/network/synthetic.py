"""Random kitchens at the level of sightings, with exact truth: for checks and for coverage studies.

``kitchen(seed)`` lays printed sheets on an L of cabinets, tapes strips along the back wall, puts two end targets on a bar,
lets a phone (unknown lens, drifting focus) look at it from both sides, and returns sightings with their truth. Faults of
the kind the adjustment has to find can be put in by arguments.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phototemplate.model import (
    Array,
    BodyPose,
    Camera,
    Influences,
    Network,
    PhotoMeta,
    PhotoPose,
    Sightings,
    Target,
)
from phototemplate.network.adjustment import parameters
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation
from tests.network.phones import Phone


@dataclass(frozen=True)
class Kitchen:
    """One synthetic job: what the adjustment gets, and the truth it does not."""

    photos: tuple[PhotoMeta, ...]
    sightings: Mapping[str, Sightings]
    targets: Mapping[str, Target]
    truth: Network
    """True cameras, poses and bodies (no covariance); free points in ``points_mm``"""
    points_mm: Mapping[tuple[str, int], Array]
    """True world position of every sighted target point"""
    bar_mm: float
    """True length between the two bar ends"""
    wrong: frozenset[tuple[str, str, int]]
    """(photo, target, point) of sightings that were spoiled on purpose"""
    cabinets: Mapping[str, tuple[str, ...]]


def sheet_target(target_id: str, nx: int = 5, ny: int = 3, pitch: float = 36.0) -> Target:
    """A printed sheet with a grid of saddle points; not the project's own design, only of its kind."""
    x, y = np.meshgrid((np.arange(nx) - (nx - 1) / 2) * pitch, (np.arange(ny) - (ny - 1) / 2) * pitch)
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(nx * ny)])
    return Target(target_id, "sheet", points, size_mm=(nx * pitch + 60, ny * pitch + 60))


def strip_target(target_id: str, n: int = 8, pitch: float = 32.0) -> Target:
    """A wall strip: two rows of points, adjusted freely."""
    x = (np.arange(n) - (n - 1) / 2) * pitch
    points = np.column_stack([np.concatenate([x, x]), np.repeat([-8.0, 8.0], n), np.zeros(2 * n)])
    return Target(target_id, "strip", points, rigid=False, size_mm=(n * pitch, 40), height_axis_mm=20.0)


def bar_end_target(target_id: str) -> Target:
    """End target of a scale bar: four points around its centre."""
    points = np.array([[-12.0, -12, 0], [12, -12, 0], [12, 12, 0], [-12, 12, 0]])
    return Target(target_id, "bar_end", points, size_mm=(50, 50))


def rotation_z(angle_rad: float) -> Array:
    """(3, 3)"""
    return exp_rotation(np.array([0.0, 0.0, angle_rad]))


def look_at(eye: Array, aim: Array, roll_rad: float = 0.0) -> tuple[Array, Array]:
    """cam_from_world of a camera at ``eye`` looking at ``aim``, x to the right for z up in the world."""
    z = aim - eye
    z = z / np.linalg.norm(z)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    rotation = rotation_z(roll_rad) @ np.array([x, np.cross(z, x), z])
    return rotation, -rotation @ eye


def hand_made_network(
    cameras: Sequence[Camera],
    photos: Sequence[PhotoPose],
    bodies: Mapping[str, BodyPose],
    targets: Mapping[str, Target],
    u_pose: float = 1e-4,
    u_mm: float = 0.05,
) -> Network:
    """A Network with plain independent uncertainties, for tests of what comes after the adjustment."""
    names: list[str] = []
    sigma: list[float] = []
    for c in cameras:
        names += parameters.lens_names(c.camera_id, lens.LENS_MODELS[c.model].names)
        sigma += list(np.sqrt(np.diag(c.cov)))
    for p in photos:
        names += parameters.pose_names(p.photo_id) + parameters.exposure_names(p.photo_id, ("focus",))
        sigma += [u_pose] * 3 + [u_mm] * 3 + [1e-4]
    for t in bodies:
        names += parameters.body_names(t)
        sigma += [u_pose] * 3 + [u_mm] * 3 + [2e-4] * 2
    cov = np.diag(np.square(sigma))
    influences = Influences(tuple(names), cov, {"target sightings": cov})
    return Network(
        {c.camera_id: c for c in cameras},
        {p.photo_id: p for p in photos},
        dict(bodies),
        (),
        dict(targets),
        influences,
        (),
        (),
        True,
        1.0,
        0.0,
    )


def kitchen(
    seed: int = 0,
    *,
    n_photos: int = 12,
    sigma_px: float = 0.1,
    wrong_share: float = 0.0,
    strips: int = 5,
    bow_mm: float = 6.0,
    focus_sd: float = 0.003,
    print_scale: float = 1.002,
    sheet_scale_sd: float = 0.0003,
    odd_scale: Mapping[str, float] | None = None,
    moved: Mapping[str, tuple[float, float, float]] | None = None,
    curl: Mapping[str, tuple[float, float, float]] | None = None,
    low: Mapping[str, float] | None = None,
    loose: Mapping[str, tuple[float, float]] | None = None,
    smeared: Mapping[int, tuple[float, float]] | None = None,
    exif: bool = True,
    two_cameras: bool = False,
    size_px: tuple[int, int] = (4032, 3024),
    phones: Sequence[Phone] = (),
) -> Kitchen:
    """Make one kitchen.

    ``odd_scale`` prints single sheets at another scale; ``moved`` shifts sheets by (dx, dy, turn in rad) in the second half
    of the photos; ``curl`` bends sheets (cxx, cxy, cyy per mm); ``low`` lowers cabinets "A" (back run) .. "D" by mm; ``loose``
    lets the two ends of strips hang down by mm in the second half of the photos; ``smeared`` multiplies the noise of photos, by
    number, along a direction in rad. ``phones``
    take the photos in turn (``focus_sd`` and ``two_cameras`` are then theirs): their exposures are projected by themselves, and
    the truth's poses say nothing of them. """
    rng = np.random.default_rng(seed)
    targets: dict[str, Target] = {}
    bodies: dict[str, BodyPose] = {}
    cabinets: dict[str, list[str]] = {"A": [], "B": [], "C": [], "D": []}
    places = [
        (250, -120),
        (700, -480),
        (1150, -130),
        (1500, -450),
        (1750, -110),
        (2250, -470),
        (2600, -130),
        (2950, -420),
    ]
    places += [(150, -800), (480, -1150), (140, -1500), (470, -1850), (200, -2050)]
    for i, (x, y) in enumerate(places):
        name = f"S{i + 1:02d}"
        cabinet = "D" if y < -700 else ("A" if x < 1000 else "B" if x < 2000 else "C")
        cabinets[cabinet].append(name)
        targets[name] = sheet_target(name)
        z = 0.3 - (low or {}).get(cabinet, 0.0)
        common = np.array([print_scale, print_scale - 0.0005])
        scale = (odd_scale or {}).get(name, 1.0) * common + rng.normal(0, sheet_scale_sd, 2)
        turn = rotation_z(rng.uniform(-0.4, 0.4) + (np.pi / 2 if y < -700 else 0.0))
        tilt = exp_rotation(np.append(rng.normal(0, 0.002, 2), 0.0))
        place = np.array([x + rng.normal(0, 20), y + rng.normal(0, 20), z + rng.normal(0, 0.15)])
        bodies[name] = BodyPose(
            name, tilt @ turn, place, (float(scale[0]), float(scale[1])), (curl or {}).get(name, (0.0,) * 3)
        )
    bar = 1000.0 + rng.normal(0, 3)
    along = rotation_z(0.05)
    for name, s in (("B01", -0.5), ("B02", 0.5)):
        targets[name] = bar_end_target(name)
        bodies[name] = BodyPose(
            name, along, np.array([1000.0, -300.0, 25.0]) + s * bar * along[:, 0], (print_scale, print_scale)
        )
    points: dict[tuple[str, int], Array] = {}
    wall = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])  # strip frame: x along the wall, y up, z into the room
    for i in range(strips):
        name = f"W{i + 1:02d}a"
        targets[name] = strip_target(name)
        for k, p in enumerate(targets[name].points_mm):
            x = 300 + 600 * i + p[0]
            depth = bow_mm * np.sin(np.pi * x / 3200)
            points[name, k] = np.array([x, depth, 30.0]) + wall @ np.array([0.0, p[1], 0.0])
    f = 0.747 * size_px[0] * rng.normal(1, 0.02)
    cameras = []
    for c in range(len(phones) or (2 if two_cameras else 1)):
        own = f * phones[c].f_of_width / 0.747 if phones else f * (1 if c == 0 else 1.25)
        params = lens.start_params("brown", own, size_px)
        params[1:4] += rng.normal(0, [3e-5, 0.004 * size_px[0], 0.004 * size_px[0]])
        usual = phones[c].distortion if phones else (0.085, -0.19, 0.0006, -0.0004, 0.1)
        params[4:9] = np.array(usual) * rng.normal(1, 0.1, 5)
        cameras.append(Camera(f"phone{c}", "brown", size_px, params, np.zeros((9, 9)), "truth"))
    photos, metas, sightings, exposures = [], [], {}, {}
    wrong: set[tuple[str, str, int]] = set()
    for i in range(n_photos):
        camera = cameras[i % len(cameras)]
        t = i / max(n_photos - 1, 1)
        if i % 3 == 2:  # from the other leg, looking along the back run
            eye = np.array([900.0 + 1200 * t, -1500.0 - 400 * t, 750.0])
            aim = np.array([250.0, -1100.0 - 500 * t, 0.0])
        else:
            eye = np.array([700.0 + 2000 * t, -1750.0, 850.0 + 250 * (i % 2)])
            aim = np.array([900.0 + 1100 * t + 500 * (i % 2), -250.0, 0.0])
        eye, aim = eye + rng.normal(0, 80, 3), aim + rng.normal(0, 80, 3)
        if phones:  # people fill the picture: nearer with a wide lens, further with a long one
            eye = aim + (eye - aim) * float(np.clip(camera.params[0] / (0.747 * size_px[0]), 0.6, 1.5))
            exposures[f"IMG_{i + 1:04d}"] = phones[i % len(phones)].exposure(rng)
        rotation, translation = look_at(eye, aim, rng.normal(0, 0.06) + (np.pi / 2 if i % 4 == 3 else 0.0))
        name = f"IMG_{i + 1:04d}"
        focus = 0.0 if phones else float(rng.normal(0, focus_sd))
        photos.append(PhotoPose(name, camera.camera_id, rotation, translation, focus))
        diagonal = float(np.hypot(*size_px))
        focal35 = round(camera.params[0] * 43.2666 / diagonal * (1 + rng.normal(0, 0.01)), 1) if exif else None
        maker = "Norvik" if exif else ""
        metas.append(PhotoMeta(name, Path(f"{name}.jpg"), size_px, 1, camera.camera_id, maker, focal35_mm=focal35))
    truth = hand_made_network(cameras, photos, bodies, targets)
    shifted = dict(bodies)
    for name, (dx, dy, turn) in (moved or {}).items():
        b = bodies[name]
        shifted[name] = BodyPose(
            name, rotation_z(turn) @ b.rotation, b.translation_mm + np.array([dx, dy, 0.0]), b.scale_xy, b.curl_per_mm
        )
    from phototemplate.network.projection import bend, project

    for i, photo in enumerate(photos):
        ids: list[str] = []
        numbers: list[int] = []
        uvs, covs = [], []
        eye = -photo.rotation.T @ photo.translation_mm
        for name, target in targets.items():
            if target.rigid:
                body = (shifted if i >= n_photos // 2 else bodies)[name]
                xyz = bend(body, target.points_mm) @ body.rotation.T + body.translation_mm
                face = body.rotation[:, 2]
                if i < n_photos // 2 or name not in (moved or {}):
                    points.update({(name, k): x for k, x in enumerate(xyz)})
            else:
                xyz = np.array([points[name, k] for k in range(len(target.points_mm))])
                if i >= n_photos // 2 and name in (loose or {}):
                    share = 0.5 + 0.5 * target.points_mm[:, 0] / np.abs(target.points_mm[:, 0]).max()
                    left, right = (loose or {})[name]
                    xyz = xyz - np.outer(left + (right - left) * share, [0.0, 0.0, 1.0])
                face = -np.array([0.0, 1.0, 0.0])
            view = eye - xyz
            distance = np.linalg.norm(view, axis=1)
            cosine = view @ face / distance
            uv = project(truth, photo.photo_id, xyz).uv_px
            if photo.photo_id in exposures:
                camera = truth.cameras[photo.camera_id]
                shot = exposures[photo.photo_id].project(
                    camera.params, photo.rotation, photo.translation_mm, size_px[1], xyz
                )
                uv = np.where(np.isfinite(uv), shot, np.nan)
            with np.errstate(invalid="ignore"):
                inside = np.all((uv > 15) & (uv < np.array(size_px) - 16), axis=1)
            for k in np.nonzero(inside & (cosine > 0.25) & (distance < 3200))[0]:
                sigma = sigma_px * np.sqrt(1.0 / max(cosine[k], 0.3))
                noise = rng.normal(0, sigma, 2)
                if i in (smeared or {}):
                    ratio, angle = (smeared or {})[i]
                    way = np.array([np.cos(angle), np.sin(angle)])
                    noise = noise + (ratio - 1) * (noise @ way) * way
                if rng.random() < wrong_share:
                    noise = noise + rng.choice([-1, 1], 2) * rng.uniform(1.5, 30, 2)
                    wrong.add((photo.photo_id, name, int(k)))
                ids.append(name)
                numbers.append(int(k))
                uvs.append(uv[k] + noise)
                covs.append(np.eye(2) * sigma**2)
        sightings[photo.photo_id] = Sightings(
            photo.photo_id,
            tuple(ids),
            np.array(numbers, dtype=np.int64),
            np.array(uvs).reshape(-1, 2),
            np.array(covs).reshape(-1, 2, 2),
        )
    return Kitchen(
        tuple(metas),
        sightings,
        targets,
        truth,
        points,
        float(bar),
        frozenset(wrong),
        {c: tuple(m) for c, m in cabinets.items()},
    )
