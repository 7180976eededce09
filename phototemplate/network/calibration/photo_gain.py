"""Which lens parameters a job determined by itself, and what one more photo would gain, before anybody takes it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, Network
from phototemplate.network.adjustment.parameters import index_of, lens_names
from phototemplate.network.adjustment.pseudo_observations import LENS
from phototemplate.network.calibration.constants import TOLD_DROP, TURNS_DEG, UPRIGHT, WORTH
from phototemplate.network.calibration.image_coverage import lens_u_px
from phototemplate.network.further_photo import FurtherPhotos, looking
from phototemplate.numerics import lens
from phototemplate.numerics.information import with_information

ASSUMED, DETERMINED = 0.5, 0.1
"""Share of a parameter's variance that comes from its prior: above, it is assumed; below, determined by the photos"""


def prior_shares(network: Network, camera_id: str) -> dict[str, float]:
    """Share of the variance of each lens parameter that its prior (profile, EXIF, usual values) causes, 0 to 1."""
    camera = network.cameras[camera_id]
    part = network.influences.parts.get(LENS)
    names = lens.LENS_MODELS[camera.model].names
    index = index_of(network.influences.names)
    if part is None or not all(n in index for n in lens_names(camera_id, names)):
        return dict.fromkeys(names, 0.0)
    columns = [index[n] for n in lens_names(camera_id, names)]
    whole = np.diag(network.influences.cov)[columns]
    share = np.where(whole > 0, np.diag(part)[columns] / np.where(whole > 0, whole, 1.0), 1.0)
    return dict(zip(names, np.clip(share, 0.0, 1.0).tolist(), strict=True))


@dataclass(frozen=True)
class PhotoGain:
    """What one more photo would do to a lens."""

    how: tuple[str, ...]
    """From where, and how held: ``turned``, ``right``, ``left``, ``closer``"""
    names: tuple[str, ...]
    u_before: Array
    """(p,) standard uncertainties of the lens parameters"""
    u_after: Array
    """(p,)"""
    rms_before_px: float
    """Standard uncertainty of where the lens sends a given direction, root mean square over the picture"""
    rms_after_px: float

    @property
    def gain(self) -> float:
        """Share by which the uncertainty over the picture drops."""
        return 1.0 - self.rms_after_px / self.rms_before_px if self.rms_before_px > 0 else 0.0


def gain_of_photo(photos: FurtherPhotos, eye_mm: Array, aim_mm: Array, up: Array, roll_deg: float = 0.0,
                  how: tuple[str, ...] = ()) -> PhotoGain | None:  # fmt: skip
    """Gain of a photo taken from ``eye_mm`` towards ``aim_mm`` (world), ``up`` upwards in the picture at roll 0.

    A positive roll turns the camera clockwise. None where it would show too little.
    """
    camera = photos.camera
    pose = looking(camera.camera_id, eye_mm, aim_mm, up, float(np.radians(roll_deg)))
    added = None if pose is None else photos.information(pose)
    if pose is None or added is None:
        return None
    columns = photos.lens_columns
    cov = with_information(photos.influences.cov, added)[np.ix_(columns, columns)]
    return PhotoGain(
        how,
        lens.LENS_MODELS[camera.model].names,
        np.sqrt(np.diag(camera.cov)),
        np.sqrt(np.diag(cov)),
        float(np.sqrt(np.mean(lens_u_px(camera, None, 8) ** 2))),
        float(np.sqrt(np.mean(lens_u_px(camera, cov, 8) ** 2))),
    )


def best_photo(network: Network, camera_id: str) -> PhotoGain | None:
    """The photo that tells most of a lens, of candidates around the sheets: further left or right, upright or turned."""
    sheets = [b for t, b in network.bodies.items() if network.targets[t].kind == "sheet"] or list(network.bodies.values())
    own = [p for p in network.photos.values() if p.camera_id == camera_id]
    if not sheets or not own:
        return None
    centre = np.mean([b.translation_mm for b in sheets], axis=0)
    up = np.mean([b.rotation[:, 2] for b in sheets], axis=0)
    up /= np.linalg.norm(up)
    eyes = np.array([-p.rotation.T @ p.translation_mm for p in own])
    away = eyes.mean(axis=0) - centre
    height = float(away @ up)
    level = away - height * up
    if np.linalg.norm(level) < 1.0:
        level = own[0].rotation[1] * 300.0
    # Most photos are held one way; the other way is what tells centre and distortion apart.
    held = [abs(float(p.rotation[0] @ up)) for p in own]
    turned = 90.0 if np.median(held) < UPRIGHT else 0.0
    aims = [centre, *(b.translation_mm for b in sheets)]
    photos = FurtherPhotos(network, camera_id=camera_id)
    best: PhotoGain | None = None
    for turn in TURNS_DEG:
        a = np.radians(turn)
        side = np.cos(a) * level + np.sin(a) * np.cross(up, level)
        for roll in (turned, 90.0 - turned):
            for near, aim in ((1.0, centre), (0.6, min(aims, key=lambda p: float(np.linalg.norm(p - centre - side))))):
                how = ["turned"] if roll == turned else []
                how += [] if abs(turn) < 10 else ["right" if turn > 0 else "left"]
                how += ["closer"] if near < 1 else []
                eye = aim + near * (side + height * up)
                gain = gain_of_photo(photos, eye, aim, up, roll, tuple(how))
                if gain is not None and (best is None or gain.rms_after_px < best.rms_after_px):
                    best = gain
    return best


# ------------------------------------------------------------------------------------------- findings


def with_lens_findings(network: Network, known: Sequence[str] = ()) -> Network:
    """The network with ``lens-not-determined`` completed: what is assumed, and what one more photo would gain.

    ``known`` are the cameras that have a profile; their priors are measurements and are not doubted.
    """
    weak_places = any(f.code == "weak-geometry" for f in network.findings)
    kept = [f for f in network.findings if f.code not in ("lens-not-determined", "lens-few-views")]
    for camera_id in network.cameras:
        if camera_id in known:
            continue
        shares = prior_shares(network, camera_id)
        assumed = [n for n, s in shares.items() if s > ASSUMED and n != "aspect"]
        if not assumed and not weak_places:
            continue
        determined = [n for n, s in shares.items() if s < DETERMINED]
        gain = best_photo(network, camera_id)
        told = _told(gain, assumed) if gain is not None and gain.gain > WORTH else dict.fromkeys(_TOLD)
        if assumed:
            kept.append(Finding("lens-not-determined", camera_id, assumed=assumed, determined=determined, **told))
        else:
            kept.append(Finding("lens-few-views", camera_id, determined=determined, **told))
    return replace(network, findings=tuple(kept))


_TOLD = ("how_words", "parameters", "before_value", "after_value")


def _told(gain: PhotoGain, assumed: Sequence[str]) -> dict[str, Any]:
    """What one more photo would bring, as facts: how it is taken, and the parameters that it would tell better."""
    before, after = dict(zip(gain.names, gain.u_before, strict=True)), dict(zip(gain.names, gain.u_after, strict=True))
    names = [n for n in dict.fromkeys(["f", *assumed, "cx", "cy"]) if after[n] < TOLD_DROP * before[n]][:3]
    values = (gain.how or ("from-here",), names, [before[n] for n in names], [after[n] for n in names])
    return dict(zip(_TOLD, values, strict=True))
