"""Random measuring jobs at the level of sightings, with exact truth: what the attack on the uncertainties is made of.

Every job is another kitchen: length of run, depth, walls out of square and bowed with mud in their corners, cabinets not
quite level, one of them low at times; sheets butted against side walls and front, strips along the back wall, sheets
lying free; a bar and tapes; one or two phones of different lenses with drifting focus, photos from where somebody would
stand, targets hidden at random, wrong sightings, a sheet that moves, a length that is misread.

Everything that is random in the world and has a standard uncertainty in the settings is drawn with exactly that
uncertainty; so the stated intervals must cover.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from phototemplate.model import BodyPose, Camera, EdgeHint, PhotoMeta, PhotoPose, Sightings, Target, TypeB
from phototemplate.network.adjustment.known_lengths import Bar, KnownLength, LengthEnd, Tape
from phototemplate.network.projection import bend, project
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation
from phototemplate.settings import EdgeSettings
from tests.network.synthetic import bar_end_target, hand_made_network, look_at, rotation_z, sheet_target, strip_target

THICKNESS_MM, THICKNESS_U_MM = 0.3, 0.05
SIZE_PX = (4032, 3024)
LENSES = (
    # focal length over picture width, k1, k2, k3 of three kinds of phone camera (usual sizes)
    (0.747, 0.085, -0.19, 0.10),
    (0.56, -0.02, 0.012, -0.004),
    (1.15, 0.04, -0.10, 0.03),
)


@dataclass(frozen=True)
class Job:
    """What the product gets, and the truth it does not."""

    photos: tuple[PhotoMeta, ...]
    sightings: Mapping[str, Sightings]
    targets: Mapping[str, Target]
    lengths: tuple[KnownLength, ...]
    true_lengths_mm: tuple[float, ...]
    """Errorless readings of ``lengths``"""
    cabinets: Mapping[str, tuple[str, ...]]
    hints: tuple[EdgeHint, ...]
    type_b: tuple[TypeB, ...]
    truth: object
    """Network of true cameras, poses and bodies"""
    true_thickness_mm: float
    walls: Mapping[str, Callable[[np.ndarray], np.ndarray]]
    """Edge -> function from a parameter (n,) to true points (n, 2) in the world's plan; see ``spans``"""
    spans: Mapping[str, tuple[float, float]]
    """Range of the parameter over which the edge was seen"""
    wrong: Mapping[tuple[str, str, int], float]
    """(photo, target, point) of spoiled sightings -> size in standard deviations"""
    moved: frozenset[str]
    misread: frozenset[str]
    sigma_px: float


@dataclass(frozen=True)
class Faults:
    """What is put in on purpose."""

    wrong_share: float = 0.0
    moved: bool = False
    misread_mm: Mapping[str, float] | None = None
    """Known length -> blunder added to its reading"""


def random_job(seed: int, faults: Faults | None = None) -> Job:
    """One job; the same seed gives the same world, whatever the faults."""
    rng = np.random.default_rng([77, seed])
    edges = EdgeSettings()
    faults = faults or Faults()
    length = rng.uniform(1500, 3300)
    depth = rng.uniform(560, 680)
    skew = rng.normal(0, 0.012, 2)
    bow, waves = rng.uniform(-8, 8), rng.normal(0, 0.6)
    mud = rng.uniform(0, 6, 2) * (rng.random(2) < 0.6)
    reach = rng.uniform(70, 150, 2)

    def back(x: np.ndarray) -> np.ndarray:
        x = np.asarray(x, float)
        y = bow * np.sin(np.pi * x / length) + waves * np.sin(3 * np.pi * x / length)
        y = y - mud[0] * np.exp(-x / reach[0]) - mud[1] * np.exp(-(length - x) / reach[1])
        return np.stack([x, y], axis=1)

    def side(at: float, slope: float) -> Callable[[np.ndarray], np.ndarray]:
        return lambda t: np.stack([at + slope * np.asarray(t), -np.asarray(t, float)], axis=1)

    tilt_front = rng.normal(0, 0.004)
    walls: dict[str, Callable[[np.ndarray], np.ndarray]] = {
        "back": back,
        "left": side(0.0, skew[0]),
        "right": side(length, skew[1]),
        "front": lambda t: np.stack([np.asarray(t, float), -depth + tilt_front * np.asarray(t)], axis=1),
    }
    spans = {"back": (60.0, length - 60.0), "left": (60.0, depth), "right": (60.0, depth), "front": (40.0, length - 40.0)}

    # ---- sheets
    thickness = THICKNESS_MM + rng.normal(0, THICKNESS_U_MM)
    low = {"B": 5.0} if rng.random() < 0.2 else {}
    targets: dict[str, Target] = {}
    bodies: dict[str, BodyPose] = {}
    cabinets: dict[str, list[str]] = {"A": [], "B": [], "C": []}
    on_edge: dict[str, list[str]] = {"left": [], "right": [], "front": []}
    common = np.array([1.0, 1.0]) + rng.normal(0, 0.003, 2)

    def lay(x: float, y: float, turn: float) -> str:
        name = f"S{len([t for t in targets if t.startswith('S')]) + 1:02d}"
        cabinet = "ABC"[min(int(3 * x / length), 2)] if low else "A"
        cabinets[cabinet].append(name)
        targets[name] = replace(sheet_target(name), contact_edge_mm=np.array([[-102.0, 66.0], [102.0, 66.0]]))
        z = thickness - low.get(cabinet, 0.0) + rng.normal(0, 0.15)
        turned = exp_rotation(np.append(rng.normal(0, 0.0015, 2), 0.0)) @ rotation_z(turn)
        scale = common + rng.normal(0, 0.0005, 2)
        bodies[name] = BodyPose(name, turned, np.array([x, y, z]), (float(scale[0]), float(scale[1])))
        return name

    gap = {e: edges.contact_gap_mm + edges.contact_gap_u_mm * rng.normal() for e in on_edge}
    cut_at = np.linspace(-102, 102, 5)
    cut_cov = edges.cut_u_mm**2 * np.exp(-np.abs(cut_at[:, None] - cut_at) / 100.0)

    def butt(edge: str, where: float) -> None:
        """Lay a sheet with its contact edge against an edge at parameter ``where``."""
        at = walls[edge](np.array([where, where + 1.0]))
        direction = (at[1] - at[0]) / np.linalg.norm(at[1] - at[0])
        middle = np.array([0.5 * length, -0.5 * depth])
        outward = np.array([-direction[1], direction[0]])
        outward = outward if (at[0] - middle) @ outward > 0 else -outward
        # the sheet's y axis points outward; its cut is off by a shift and a turn, as a straight part of the cut's error
        cut = rng.multivariate_normal(np.zeros(5), cut_cov)
        turn_cut, shift_cut = np.polyfit(cut_at, cut, 1)
        turn = np.arctan2(outward[1], outward[0]) - np.pi / 2
        name = lay(0.0, 0.0, float(turn - turn_cut))
        body = bodies[name]
        half = 66.0 * body.scale_xy[1]
        rotation = body.rotation
        centre_plan = at[0] - outward * (gap[edge] + shift_cut) - rotation[:2, 1] * half
        cabinet = "ABC"[min(max(int(3 * centre_plan[0] / length), 0), 2)] if low else "A"
        for members in cabinets.values():
            if name in members:
                members.remove(name)
        cabinets[cabinet].append(name)
        z = thickness - low.get(cabinet, 0.0) + rng.normal(0, 0.15)
        bodies[name] = replace(body, translation_mm=np.array([*centre_plan, z]))
        on_edge[edge].append(name)

    for edge, count in (("left", 2), ("right", 2), ("front", int(rng.integers(3, 5)))):
        a, b = spans[edge]
        margin = 150.0 if edge == "front" else 110.0
        if edge == "front":
            a, b = 330.0, length - 330.0
        for where in np.linspace(a + margin, b - margin - (60.0 if edge != "front" else 0.0), count):
            butt(edge, float(where + rng.normal(0, 10)))
    for _ in range(int(rng.integers(1, 4))):
        lay(rng.uniform(300, length - 300), -rng.uniform(140, 260), rng.uniform(-0.5, 0.5))
    for name, target in list(targets.items()):
        if all(name not in members for members in on_edge.values()):
            targets[name] = replace(target, contact_edge_mm=None)

    # ---- bar, strips
    bar = 1000.0 + rng.normal(0, 3)
    along = rotation_z(rng.normal(0, 0.1))
    for name, s in (("B01", -0.5), ("B02", 0.5)):
        targets[name] = bar_end_target(name)
        centre = np.array([0.5 * length, -0.45 * depth, 25.0]) + s * bar * along[:, 0]
        bodies[name] = BodyPose(name, along, centre, (float(common[0]), float(common[1])))
    points: dict[tuple[str, int], np.ndarray] = {}
    stand_off = edges.strip_thickness_mm + edges.strip_thickness_u_mm * rng.normal()
    taped = np.random.default_rng([85, seed])  # each piece stands off by itself, and bulges between its taped ends
    start, k = 60.0 + 112.0, 0
    strips = []
    while start < length - 60.0 - 110.0:
        k += 1
        name = f"W{k:02d}a"
        strips.append(name)
        targets[name] = strip_target(name)
        whole, bulge = taped.normal(0.0, [edges.strip_standoff_u_mm, edges.strip_bulge_u_mm])
        for i, p in enumerate(targets[name].points_mm):
            x = np.array([start + p[0] - 0.5, start + p[0] + 0.5])
            two = back(x)
            direction = (two[1] - two[0]) / np.linalg.norm(two[1] - two[0])
            off = stand_off + whole + bulge * np.cos(np.pi * p[0] / targets[name].size_mm[0]) ** 2
            plan = two.mean(axis=0) + off * np.array([direction[1], -direction[0]])
            points[name, i] = np.array([*plan, 30.0 + p[1]])
        start += 256.0 + rng.uniform(0, 260)

    # ---- cameras and photos
    n_cameras = 2 if rng.random() < 0.25 else 1
    cameras = []
    for c in range(n_cameras):
        share, k1, k2, k3 = LENSES[0] if c == 0 and rng.random() < 0.6 else LENSES[int(rng.integers(0, 3))]
        params = lens.start_params("brown", share * SIZE_PX[0] * rng.normal(1, 0.02), SIZE_PX)
        params[1:4] += rng.normal(0, [3e-5, 0.006 * SIZE_PX[0], 0.006 * SIZE_PX[0]])
        params[4:9] = np.array([k1, k2, rng.normal(0, 5e-4), rng.normal(0, 5e-4), k3]) * rng.normal(1, 0.1, 5)
        cameras.append(Camera(f"phone{c}", "brown", SIZE_PX, params, np.zeros((9, 9)), "truth"))
    focus_sd = float(rng.choice([0.001, 0.004]))
    photos, metas = [], []
    n_photos = int(rng.integers(8, 14))
    for i in range(n_photos):
        camera = cameras[i % n_cameras]
        t = (i + rng.uniform(0, 1)) / n_photos
        far = camera.params[0] / (0.747 * SIZE_PX[0])
        eye = np.array([length * (1.3 * t - 0.15), -depth - rng.uniform(500, 1100) * far, rng.uniform(550, 1150) * far])
        aim = np.array([length * (0.15 + 0.7 * rng.uniform(0.6 * t, 1 - 0.6 * (1 - t))), -0.35 * depth, 0.0])
        rotation, translation = look_at(eye, aim, rng.normal(0, 0.06) + (np.pi / 2 if i % 4 == 3 else 0.0))
        name = f"IMG_{i + 1:04d}"
        photos.append(PhotoPose(name, camera.camera_id, rotation, translation, float(rng.normal(0, focus_sd))))
        focal35 = round(camera.params[0] * 43.2666 / float(np.hypot(*SIZE_PX)) * (1 + rng.normal(0, 0.01)), 1)
        metas.append(PhotoMeta(name, Path(f"{name}.jpg"), SIZE_PX, camera_id=camera.camera_id, focal35_mm=focal35))
    truth = hand_made_network(cameras, photos, bodies, targets)

    # ---- sightings; a stream of its own, so that faults do not change the world
    sight = np.random.default_rng([78, seed])
    fault = np.random.default_rng([79, seed])
    sigma_px = float(sight.uniform(0.05, 0.2))
    moved: set[str] = set()
    moved_bodies = dict(bodies)
    if faults.moved:
        free = [t for t in bodies if t.startswith("S") and all(t not in m for m in on_edge.values())]
        name = free[0]
        moved.add(name)
        angle = fault.uniform(0, 2 * np.pi)
        shift = fault.uniform(6, 30) * np.array([np.cos(angle), np.sin(angle), 0.0])
        moved_bodies[name] = replace(bodies[name], translation_mm=bodies[name].translation_mm + shift)
    wrong: dict[tuple[str, str, int], float] = {}
    sightings = {}
    for i, photo in enumerate(photos):
        eye = -photo.rotation.T @ photo.translation_mm
        ids: list[str] = []
        numbers: list[int] = []
        uvs, covs = [], []
        for name, target in targets.items():
            hidden = sight.random() < 0.08
            partly = sight.random() < 0.1
            if target.rigid:
                body = (moved_bodies if i >= n_photos // 2 else bodies)[name]
                xyz = bend(body, target.points_mm) @ body.rotation.T + body.translation_mm
                face = body.rotation[:, 2]
            else:
                xyz = np.array([points[name, j] for j in range(len(target.points_mm))])
                face = np.array([0.0, -1.0, 0.0])
            view = eye - xyz
            distance = np.linalg.norm(view, axis=1)
            cosine = view @ face / distance
            uv = project(truth, photo.photo_id, xyz).uv_px
            with np.errstate(invalid="ignore"):
                inside = np.all((uv > 15) & (uv < np.array(SIZE_PX) - 16), axis=1)
            ok = inside & (cosine > 0.25) & (distance < 3200) & ~np.full(len(xyz), hidden)
            if partly:
                ok &= np.arange(len(xyz)) % 5 > 1
            noise = sight.normal(size=(len(xyz), 2))
            for j in np.nonzero(ok)[0]:
                sigma = sigma_px * float(np.sqrt(1.0 / max(cosine[j], 0.3)))
                error = sigma * noise[j]
                if fault.random() < faults.wrong_share:
                    angle, size = fault.uniform(0, 2 * np.pi), fault.uniform(4.0, 150.0) * sigma
                    error = error + size * np.array([np.cos(angle), np.sin(angle)])
                    wrong[photo.photo_id, name, int(j)] = size / sigma
                ids.append(name)
                numbers.append(int(j))
                uvs.append(uv[j] + error)
                covs.append(np.eye(2) * sigma**2)
        sightings[photo.photo_id] = Sightings(
            photo.photo_id, tuple(ids), np.array(numbers, dtype=np.int64), np.array(uvs).reshape(-1, 2),
            np.array(covs).reshape(-1, 2, 2),
        )  # fmt: skip

    # ---- known lengths: one bar, one or two tapes between sheets far apart
    read = np.random.default_rng([80, seed])
    warm = 20.0 + read.normal(0, 4)
    sheets = sorted((t for t in bodies if t.startswith("S") and t not in moved), key=lambda t: bodies[t].translation_mm[0])
    pairs = [("B01", "B02", "bar", 0.1), (sheets[0], sheets[-1], "tape 1", 0.7)]
    if read.random() < 0.5:
        pairs.append((sheets[1], sheets[-2], "tape 2", 0.7))
    lengths: list[KnownLength] = []
    exact = []
    for a, b, name, u in pairs:
        true = float(np.linalg.norm(bodies[a].translation_mm - bodies[b].translation_mm)) / (1 + 11.5e-6 * (warm - 20))
        exact.append(true)
        value = true + read.normal(0, u) + (faults.misread_mm or {}).get(name, 0.0)
        kind = Bar if name == "bar" else Tape
        lengths.append(
            kind(name, LengthEnd(a), LengthEnd(b), value, u, temperature_c=warm + read.normal(0, 1), u_temperature_c=1.0)
        )
    hints = [EdgeHint("back", "wall", "strip", "profile", targets=tuple(strips))]
    hints += [EdgeHint(e, "panel", "contact", "line", targets=tuple(on_edge[e])) for e in ("left", "front", "right")]
    return Job(
        tuple(metas), sightings, targets, tuple(lengths), tuple(exact), {c: tuple(m) for c, m in cabinets.items() if m},
        tuple(hints), (TypeB("thickness:sheet", "paper thickness", THICKNESS_U_MM),), truth, thickness, walls, spans,
        wrong, frozenset(moved), frozenset(faults.misread_mm or {}), sigma_px,
    )  # fmt: skip
