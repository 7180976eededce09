"""Walls of known shape at the level of sightings: a short job as somebody who doubts one wall takes it.

Ten minutes on site: a strip along the wall, a few sheets on the cabinets, one tape length, six photos. Everything random
that has a standard uncertainty in the settings is drawn with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phototemplate.capture import design
from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.model import (
    Array,
    BodyPose,
    Camera,
    EdgeHint,
    GrayImage,
    Measurement,
    Outline,
    PhotoMeta,
    PhotoPose,
    Sightings,
    Target,
    TypeB,
)  # fmt: skip
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import LengthEnd, Tape
from phototemplate.network.projection import project
from phototemplate.network.workplane import fit_work_plane, to_world
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation, fit_rigid
from phototemplate.settings import EdgeSettings, OutlineSettings
from phototemplate.template.outline import build_outline
from tests.bench._jobs import LENSES, SIZE_PX
from tests.network.synthetic import hand_made_network, look_at, rotation_z

THICKNESS_MM, THICKNESS_U_MM = 0.3, 0.05
HEIGHT_MM = 38.5
"""Row of the strips over the cabinets"""


@dataclass(frozen=True)
class WallJob:
    """A measured wall and its truth in the measurement's plan frame."""

    measurement: Measurement
    true_height: Callable[[Array], Array]
    """Plan points (n, 2) near the wall -> how far the true wall stands into the room there (n,), from an arbitrary line"""


Profile = Callable[[Array], Array]
"""Places along the wall (n,) -> height into the room (n,), mm"""


def usual_wall(rng: np.random.Generator, length: float) -> Profile:
    """A bow of 0 to 15 mm either way, corners swollen by 0 to 8 mm, slow waves: what the prior of walls was chosen on."""
    bow = float(rng.uniform(0, 15) * rng.choice([-1, 1]) * (rng.random() < 0.85))
    swell = rng.uniform(0, 8, 2) * (rng.random(2) < 0.6)
    reach, waves = rng.uniform(120, 320, 2), rng.normal(0, [0.5, 0.3])

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        out = bow * 4 * (s / length) * (1 - s / length)
        out = out + swell[0] * np.clip(1 - s / reach[0], 0, 1) ** 2 + swell[1] * np.clip(1 - (length - s) / reach[1], 0, 1) ** 2
        for k, a in enumerate(waves):
            out = out + a * np.sin((k + 2) * np.pi * s / length)
        return out

    return height


def bumped_wall(rng: np.random.Generator, length: float) -> Profile:
    """Nearly straight, with one to three bumps or dents of 60 to 200 mm and 1 to 4 mm, one of them 140 mm wide and 3.5 mm high
    in every third wall."""
    bow = float(rng.uniform(-3, 3))
    count = int(rng.integers(1, 4))
    wide, high = rng.uniform(60, 200, count), rng.uniform(1, 4, count) * rng.choice([-1, 1], count)
    if rng.random() < 1 / 3:
        wide[0], high[0] = 140.0, 3.5
    places = rng.uniform(100, length - 100, count)

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        out = bow * 4 * (s / length) * (1 - s / length)
        for w, h, at in zip(wide, high, places, strict=True):
            t = np.clip((s - at) / (0.5 * w), -1, 1)
            out = out + 0.5 * h * (1 + np.cos(np.pi * t))
        return out

    return height


def stepped_wall(rng: np.random.Generator, length: float) -> Profile:
    """One or two sharp steps of 0.5 to 4 mm (a board's edge, the end of a panel), the parts a little bowed and tilted."""
    steps, rises = np.sort(rng.uniform(200, length - 200, 2)), rng.uniform(0.5, 4, 2) * rng.choice([-1, 1], 2)
    rises[1] *= rng.random() < 0.5
    bow, tilt = float(rng.uniform(-2, 2)), rng.normal(0, 0.001, 3)

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        part = np.searchsorted(steps, s, side="right")
        begin = np.concatenate([[0.0], steps])
        raised = np.concatenate([[0.0], np.cumsum(rises)])
        return bow * 4 * (s / length) * (1 - s / length) + raised[part] + tilt[part] * (s - begin[part])

    return height


def tiled_wall(rng: np.random.Generator, length: float) -> Profile:
    """Tiles of 150 to 400 mm, each set off by up to 0.8 mm and tilted by a few mm per metre."""
    tile = float(rng.uniform(150, 400))
    count = int(length / tile) + 3
    begin = float(rng.uniform(-tile, 0.0))
    off, tilt = rng.normal(0, 0.35, count), rng.normal(0, 0.002, count)
    bow = float(rng.uniform(-3, 3))

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        k = np.clip(((s - begin) / tile).astype(int), 0, count - 1)
        within = s - begin - (k + 0.5) * tile
        return bow * 4 * (s / length) * (1 - s / length) + off[k] + tilt[k] * within

    return height


def muddy_wall(rng: np.random.Generator, length: float) -> Profile:
    """Butt joints feathered out over 150 to 450 mm at every board's end (1220 mm), and corners filled in other ways: straight,
    rounded or hollow."""
    first, ridge = float(rng.uniform(150, 1000)), rng.uniform(0.5, 3.0, 3)
    half = rng.uniform(150, 450, 3) / 2
    swell, reach, power = rng.uniform(0, 8, 2), rng.uniform(80, 400, 2), rng.uniform(0.8, 3.0, 2)

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        out = np.zeros_like(s)
        for k in range(3):
            out = out + ridge[k] * np.clip(1 - np.abs(s - first - 1220.0 * k) / half[k], 0, 1)
        for k, d in enumerate((s, length - s)):
            out = out + swell[k] * np.clip(1 - d / reach[k], 0, 1) ** power[k]
        return out

    return height


def bowed_wall(rng: np.random.Generator, length: float) -> Profile:
    """Long bows that are no parabolas: bent at one stud, S-shaped, or bulging at one end; 0 to 20 mm."""
    size, way = float(rng.uniform(0, 20) * rng.choice([-1, 1])), int(rng.integers(0, 3))
    stud, soft = float(rng.uniform(0.25, 0.75)) * length, float(rng.uniform(30, 200))

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        if way == 0:
            return -2.0 * size / length * np.sqrt((s - stud) ** 2 + soft**2)
        if way == 1:
            return 0.5 * size * np.sin(2 * np.pi * s / length)
        return size * np.exp(-((s / (0.35 * length)) ** 2))

    return height


def straight_wall(rng: np.random.Generator, length: float) -> Profile:
    """Within a few tenths of a millimetre of straight."""
    bow, wave, count = float(rng.normal(0, 0.15)), float(rng.normal(0, 0.1)), int(rng.integers(2, 6))

    def height(x: Array) -> Array:
        s = np.asarray(x, float)
        return bow * 4 * (s / length) * (1 - s / length) + wave * np.sin(count * np.pi * s / length)

    return height


KINDS: dict[str, Callable[[np.random.Generator, float], Profile]] = {
    "usual": usual_wall, "bumps": bumped_wall, "steps": stepped_wall, "tiles": tiled_wall, "mud": muddy_wall,
    "bows": bowed_wall, "straight": straight_wall,
}  # fmt: skip
"""Kinds of walls; only the first was looked at when the prior was chosen"""


def wall_job(seed: int, kind: str = "usual") -> WallJob:
    """One wall of a kind, measured from six photos."""
    rng = np.random.default_rng([91, seed])
    edges = EdgeSettings()
    length = float(rng.uniform(1500, 3000))
    height = KINDS[kind](rng, length)
    targets: dict[str, Target] = {}
    bodies: dict[str, BodyPose] = {}
    thickness = THICKNESS_MM + rng.normal(0, THICKNESS_U_MM)
    common = 1.0 + rng.normal(0, 0.003, 2)
    for i, (x, y) in enumerate(zip(np.linspace(250, length - 250, 5), (-170, -430, -180, -440, -160), strict=True)):
        name = f"S{i + 1:02d}"
        targets[name] = design.target(name)
        turn = exp_rotation(np.append(rng.normal(0, 0.0015, 2), 0.0)) @ rotation_z(rng.normal(0, 0.3))
        scale = common + rng.normal(0, 0.0005, 2)
        at = np.array([x + rng.normal(0, 20), y + rng.normal(0, 15), thickness + rng.normal(0, 0.15)])
        bodies[name] = BodyPose(name, turn, at, (float(scale[0]), float(scale[1])))
    points: dict[tuple[str, int], Array] = {}
    stand_off = edges.strip_thickness_mm + edges.strip_thickness_u_mm * rng.normal()
    count = max(int((length - 60) // 272), 1)
    starts = np.linspace(20 + 134, length - 20 - 134, count)
    strips = [f"W{1 + k // 2:02d}{'ab'[k % 2]}" for k in range(count)]
    for name, start in zip(strips, starts, strict=True):
        targets[name] = design.target(name)
        whole, bulge = rng.normal(0, [edges.strip_standoff_u_mm, edges.strip_bulge_u_mm])
        for i, p in enumerate(targets[name].points_mm):
            x = np.array([start + p[0]])
            slope = float((height(x + 0.5) - height(x - 0.5))[0])
            normal = np.array([slope, -1.0]) / np.hypot(slope, 1.0)  # into the room, which is at -y
            off = stand_off + whole + bulge * np.cos(np.pi * p[0] / targets[name].size_mm[0]) ** 2
            plan = np.array([x[0], -float(height(x)[0])]) + off * normal
            points[name, i] = np.array([*plan, HEIGHT_MM + p[1]])
    share, k1, k2, k3 = LENSES[int(rng.integers(0, 3))]
    params = lens.start_params("brown", share * SIZE_PX[0] * rng.normal(1, 0.02), SIZE_PX)
    params[1:4] += rng.normal(0, [3e-5, 0.006 * SIZE_PX[0], 0.006 * SIZE_PX[0]])
    params[4:9] = np.array([k1, k2, rng.normal(0, 5e-4), rng.normal(0, 5e-4), k3]) * rng.normal(1, 0.1, 5)
    camera = Camera("phone", "brown", SIZE_PX, params, np.zeros((9, 9)), "truth")
    far = share / 0.747
    photos, metas = [], []
    for i, t in enumerate((0.05, 0.25, 0.45, 0.6, 0.8, 0.97)):
        eye = np.array([length * t, -1450 * far, (1000 + 250 * (i % 2)) * far]) + rng.normal(0, 70, 3)
        aim = np.array([length * (0.5 + 0.5 * (t - 0.5)), -200.0, 0.0])
        rotation, translation = look_at(eye, aim, rng.normal(0, 0.05) + (np.pi / 2 if i == 2 else 0.0))
        photo = f"IMG_{i + 1:04d}"
        photos.append(PhotoPose(photo, "phone", rotation, translation, float(rng.normal(0, 0.002))))
        focal35 = round(params[0] * 43.2666 / float(np.hypot(*SIZE_PX)) * (1 + rng.normal(0, 0.01)), 1)
        metas.append(PhotoMeta(photo, Path(f"{photo}.jpg"), SIZE_PX, camera_id="phone", focal35_mm=focal35))
    truth = hand_made_network([camera], photos, bodies, targets)
    sigma_px = float(rng.uniform(0.06, 0.15))
    sightings = {p.photo_id: _seen(truth, p, targets, bodies, points, sigma_px, rng) for p in photos}
    distance = float(np.linalg.norm(bodies["S01"].translation_mm - bodies["S05"].translation_mm))
    tape = Tape("tape", LengthEnd("S01"), LengthEnd("S05"), distance + rng.normal(0, 0.8), 0.8)
    network = adjust(sightings, metas, targets, [tape])
    hint = EdgeHint("wall", "wall", "strip", "profile", targets=tuple(strips))
    terms = [TypeB("thickness:sheet", "paper thickness", THICKNESS_U_MM), *type_b_terms([hint], edges)]
    plane = fit_work_plane(network, {"run": tuple(t for t in bodies)}, THICKNESS_MM, terms)
    found, _, _ = measure_edges(_no_picture, network, plane, [hint], edges)
    segment = fit_segment(found[0], hint, edges, plane.influences)
    outline = build_outline([segment], [], plane.influences, OutlineSettings())
    measurement = Measurement("wall", tuple(metas), sightings, network, plane, (), outline, network.findings)
    names = [t for t in bodies if t in network.bodies]
    turn, shift = fit_rigid(
        np.array([network.bodies[t].translation_mm for t in names]), np.array([bodies[t].translation_mm for t in names])
    )

    def true_height(plan: Array) -> Array:
        motion = outline.plan_from_work
        work = (plan - motion[:2, 2]) @ motion[:2, :2]
        world = to_world(plane, np.column_stack([work, np.zeros(len(work))])) @ turn.T + shift
        return height(world[:, 0])

    return WallJob(measurement, true_height)


def _seen(
    truth: object, photo: PhotoPose, targets: Mapping[str, Target], bodies: Mapping[str, BodyPose],
    points: Mapping[tuple[str, int], Array], sigma_px: float, rng: np.random.Generator,
) -> Sightings:  # fmt: skip
    eye = -photo.rotation.T @ photo.translation_mm
    ids: list[str] = []
    numbers: list[int] = []
    uvs, covs = [], []
    for name, target in targets.items():
        if rng.random() < 0.05:
            continue
        if target.rigid:
            body = bodies[name]
            xyz = target.points_mm * np.array([*body.scale_xy, 1.0]) @ body.rotation.T + body.translation_mm
            face = body.rotation[:, 2]
        else:
            xyz = np.array([points[name, i] for i in range(len(target.points_mm))])
            face = np.array([0.0, -1.0, 0.0])
        view = eye - xyz
        away = np.linalg.norm(view, axis=1)
        cosine = view @ face / away
        uv = project(truth, photo.photo_id, xyz).uv_px  # type: ignore[arg-type]
        with np.errstate(invalid="ignore"):
            inside = np.all((uv > 15) & (uv < np.array(SIZE_PX) - 16), axis=1) & (cosine > 0.2) & (away < 4500)
        for j in np.flatnonzero(inside):
            sigma = sigma_px * float(np.sqrt(1.0 / max(cosine[j], 0.3)))
            ids.append(name)
            numbers.append(int(j))
            uvs.append(uv[j] + rng.normal(0, sigma, 2))
            covs.append(np.eye(2) * sigma**2)
    return Sightings(
        photo.photo_id, tuple(ids), np.array(numbers, dtype=np.int64), np.array(uvs).reshape(-1, 2),
        np.array(covs).reshape(-1, 2, 2),
    )  # fmt: skip


def _no_picture(photo_id: str) -> GrayImage:
    raise AssertionError("strips need no picture")


def outline_of(job: WallJob) -> Outline:
    """The measured outline."""
    return job.measurement.outline
