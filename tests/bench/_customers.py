"""Customer's photos, drawn: a run of cabinets with a sheet or a card on it, through three kinds of phone lens, with truth.

The picture is computed ray by ray (pinhole with radial distortion, edges blurred over a pixel in light, tone curve of sRGB,
noise, sharpening), so the corners of the known thing are really found in pixels; the corners of the run are clicked with an
error.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from phototemplate.edges.tracing.step_position import to_grey, to_light
from phototemplate.studies.known_sizes import KnownSize, known_size
from tests.bench._jobs import LENSES
from tests.network.synthetic import look_at

SIZE_PX = (2016, 1512)
NAMES = ("fl", "fr", "br", "bl")
"""Front left, front right, back right, back left"""
NAMES_L = ("in", "fr", "br", "bl", "ll", "lr")
"""Inner corner, front right, back right, back left, the leg's end left and right"""
EXIF_SPREAD = 0.03
"""The one set of real photos with surveyed truth that is at hand departs by 6 % (27 mm told, 28.7 found)"""
COARSE = 8
"""Pixels of the background in one"""


@dataclass(frozen=True)
class Customer:
    """A job folder with ``estimate.toml`` and its truth."""

    folder: Path
    area_mm2: float
    front_mm: float
    camera: tuple[float, np.ndarray, np.ndarray]
    """f px, principal point px, k1 k2 k3"""
    poses: tuple[tuple[np.ndarray, np.ndarray], ...]
    """cam_from_plane of every photo: rotation, translation in mm"""
    corners_mm: np.ndarray
    box_mm: np.ndarray | None
    """(4, 2) corners of the known thing"""


def customer(
    seed: int, folder: Path, kind: str = "A4", photos: int = 3, tape: bool = False, click_px: float = 2.4, leg: float = 0.0
) -> Customer:
    """Draw one. ``kind`` is a known thing or empty; ``tape`` adds the front's length to the nearest 1/8 in; ``leg``: an L whose
    second run comes so many mm out of the wall at the left end."""
    rng = np.random.default_rng([93, seed])
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    width = SIZE_PX[0]
    share, k1, k2, k3 = LENSES[seed % 3]
    f = share * width * rng.normal(1, 0.02)
    centre = (np.array(SIZE_PX) - 1) / 2 + rng.normal(0, 0.005 * width, 2)
    k = np.array([k1, k2, k3]) * rng.normal(1, 0.1, 3)
    length, depth = float(rng.uniform(1500, 2900)), float(rng.uniform(570, 650))
    corners = np.array([[0, 0], [length, 0], [length, depth], [0, depth]]) + rng.normal(0, 4, (4, 2))
    if leg:
        corners[0, 0] += depth
        corners = np.vstack([corners, [[0.0, depth - leg], [depth, depth - leg]]])
        corners[4:] += rng.normal(0, 4, (2, 2))
    names = NAMES_L if leg else NAMES
    at = np.array([length * rng.uniform(0.35, 0.65), depth * rng.uniform(0.4, 0.6)])
    angle = float(rng.uniform(-0.4, 0.4))
    size = known_size(kind) if kind else None
    if size is not None:  # made within tolerance
        sides = np.array([size.long_mm, size.short_mm]) + rng.normal(0, 0.1 if kind == "card" else size.u_mm, 2)
        size = replace(size, long_mm=float(sides[0]), short_mm=float(sides[1]))
    # what EXIF says of the lens is its type's round number
    told = round(f * 43.2666 / float(np.hypot(*SIZE_PX)) * rng.normal(1, EXIF_SPREAD))
    sharpening, face = float(rng.uniform(0.2, 0.9)), float(rng.uniform(0.1, 0.9))
    box = None
    if size is not None:
        c, s = np.cos(angle), np.sin(angle)
        half = np.array([size.long_mm, size.short_mm]) / 2
        box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half @ np.array([[c, s], [-s, c]]) + at
    poses = []
    text = f'name = "customer {seed}"\n'
    for i in range(photos):
        far = share / 0.747 * max(length, 1700) / 2400
        aside = length * (0.5 + (i - (photos - 1) / 2) * 0.28) + rng.normal(0, 60)
        eye = np.array([aside, -1450 * far - 150 - 0.6 * leg, 1050 * far + rng.uniform(-100, 200) + 0.4 * leg])
        rotation, translation = look_at(eye, np.array([length / 2, depth * 0.5 - 0.25 * leg, 0.0]), rng.normal(0, 0.03))

        def project(xy: np.ndarray, rotation: np.ndarray = rotation, translation: np.ndarray = translation) -> np.ndarray:
            cam = np.column_stack([xy, np.zeros(len(xy))]) @ rotation.T + translation
            ray = cam[:, :2] / cam[:, 2:]
            r2 = np.sum(ray**2, axis=1)[:, None]
            return f * ray * (1 + k[0] * r2 + k[1] * r2**2 + k[2] * r2**3) + centre

        poses.append((rotation, translation))
        picture = _draw(
            rotation, translation, f, centre, k, corners, at, angle, size, None if box is None else project(box),
            sharpening, face, rng,
        )
        name = f"IMG_{i + 1:04d}.jpg"
        exif = Image.Exif()
        exif[0x010F], exif[0x0110] = "Phone", f"lens {seed % 3}"
        exif.get_ifd(0x8769)[0xA405] = told
        Image.fromarray(picture).save(folder / "photos" / name, quality=92, exif=exif)
        clicks = project(corners) + rng.normal(0, click_px, (len(corners), 2))
        inside = np.all((clicks > 5) & (clicks < np.array(SIZE_PX) - 6), axis=1)
        points = ", ".join(f"{n} = [{x:.0f}, {y:.0f}]" for n, (x, y), ok in zip(names, clicks, inside, strict=True) if ok)
        text += f'[[photos]]\nfile = "{name}"\npoints = {{ {points} }}\n'
        if box is not None:
            rough = np.roll(project(box) + rng.normal(0, 2.0, (4, 2)), int(rng.integers(4)), axis=0)
            rows = ", ".join(f"[{x:.0f}, {y:.0f}]" for x, y in rough)
            text += f'[[photos.known]]\nkind = "{kind}"\ncorners = [{rows}]\n'
    front = float(np.linalg.norm(corners[1] - corners[0]))
    if tape:
        text += f'[[lengths]]\nfrom = "fl"\nto = "fr"\nvalue = "{round((front + rng.normal(0, 2)) / 25.4 * 8) / 8} in"\n'
    edges = {"front": "front", "right": "end", "wall": "wall", "left": "wall"}
    if leg:
        edges |= {"end": "end", "side": "front"}
    kinds = ", ".join(f'{{ id = "{name}", kind = "{kind_}" }}' for name, kind_ in edges.items())
    text += f'[[runs]]\nid = "run"\ncorners = {list(names)}\nedges = [{kinds}]\n'.replace("'", '"')
    (folder / "estimate.toml").write_text(text, encoding="utf-8")
    x, y = corners.T
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    return Customer(folder, area, front, (f, centre, k), tuple(poses), corners, box)


def _convex(corners: np.ndarray) -> list[np.ndarray]:
    """The top as convex parts; an L is cut along the front of its run at the wall."""
    if len(corners) == 4:
        return [corners]
    inner, fr, br, bl, ll, lr = corners
    u, v = fr - inner, ll - bl
    s = float((bl - inner)[0] * v[1] - (bl - inner)[1] * v[0]) / float(u[0] * v[1] - u[1] * v[0])
    west = inner + s * u
    return [np.array([west, fr, br, bl]), np.array([ll, lr, inner, west])]


def _draw(
    rotation: np.ndarray, translation: np.ndarray, f: float, centre: np.ndarray, k: np.ndarray, corners: np.ndarray,
    at: np.ndarray, angle: float, size: KnownSize | None, seen: np.ndarray | None,
    sharpening: float, face: float, rng: np.random.Generator,
) -> np.ndarray:  # fmt: skip
    """Grey picture; every :data:`COARSE`-th ray, and every ray round the known thing, whose corners are at ``seen`` px."""
    width, height = SIZE_PX

    def light(u: np.ndarray, v: np.ndarray, grain: np.ndarray) -> np.ndarray:
        """Radiance where the rays through the pixels meet the plane."""
        d = (np.stack([u, v], axis=-1) - centre) / f
        ray = d.copy()
        for _ in range(8):
            r2 = np.sum(ray**2, axis=-1, keepdims=True)
            ray = d / (1 + k[0] * r2 + k[1] * r2**2 + k[2] * r2**3)
        direction = np.concatenate([ray, np.ones((*u.shape, 1))], axis=-1) @ rotation
        eye = -rotation.T @ translation
        down = direction[..., 2] < -0.02
        reach = np.where(down, -eye[2] / np.where(down, direction[..., 2], -1.0), 1e5)
        xy = eye[:2] + reach[..., None] * direction[..., :2]
        foot = np.maximum(reach / f / np.maximum(-direction[..., 2], 0.15), 0.05)  # mm per pixel, roughly
        value = np.where(down, to_light(95.0 + 4 * grain), to_light(np.array(150.0)))
        cover = np.zeros(u.shape)
        for part in _convex(corners):
            one = np.ones(u.shape)
            for a, b in zip(part, np.roll(part, -1, axis=0), strict=True):
                t = (b - a) / np.linalg.norm(b - a)
                one = np.minimum(one, np.clip(0.5 + ((xy[..., 1] - a[1]) * t[0] - (xy[..., 0] - a[0]) * t[1]) / foot, 0, 1))
            cover = np.maximum(cover, one)
        value = value + cover * (to_light(np.array(60.0)) - value)
        if size is not None:
            c, s = np.cos(angle), np.sin(angle)
            half = np.array([size.long_mm, size.short_mm]) / 2
            radius, thick = (3.18, 0.76) if size.name == "card" else (0.0, 0.1)  # ISO/IEC 7810: corners and thickness
            raised = np.where(down, (thick - eye[2]) / np.where(down, direction[..., 2], -1.0), 1e5)
            # its foot first, of which the near side's face is seen, then its top over it
            for where, bright in ((xy, face), (eye[:2] + raised[..., None] * direction[..., :2], 1.0)):
                q = np.abs((where - at) @ np.array([[c, -s], [s, c]])) - (half - radius)
                outside = np.linalg.norm(np.maximum(q, 0), axis=-1) + np.minimum(np.max(q, axis=-1), 0) - radius
                value = value + np.clip(0.5 - outside / foot, 0, 1) * (bright * to_light(np.array(225.0)) - value)
        return np.asarray(value)

    grain = rng.normal(0, 1, (height // COARSE, width // COARSE))
    v, u = np.mgrid[0:height:COARSE, 0:width:COARSE].astype(float)
    value = light(u + (COARSE - 1) / 2, v + (COARSE - 1) / 2, grain).repeat(COARSE, 0).repeat(COARSE, 1)
    if seen is not None:
        low = np.clip(np.floor(seen.min(axis=0)).astype(int) - 60, 0, np.array(SIZE_PX) - 2)
        high = np.clip(np.ceil(seen.max(axis=0)).astype(int) + 60, 1, np.array(SIZE_PX))
        v, u = np.mgrid[low[1] : high[1], low[0] : high[0]].astype(float)
        fine = grain.repeat(COARSE, 0).repeat(COARSE, 1)[low[1] : high[1], low[0] : high[0]]
        value[low[1] : high[1], low[0] : high[0]] = light(u, v, fine)
    # the lens blurs light, and only then the phone bends it to grey values
    grey = to_grey(gaussian_filter(value, 0.7)) + rng.normal(0, 1.5, (height, width))
    grey += sharpening * (grey - gaussian_filter(grey, 1.2))
    out: np.ndarray = np.clip(np.round(grey), 0, 255).astype(np.uint8)
    return out
