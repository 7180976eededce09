"""Which lens parameters a job determined by itself, and what one more photo would gain, before anybody takes it.

A photo with whitened derivatives A by what is in the network and B by its own pose and focus (prior information P) adds the
information ``A^T (I - B (B^T B + P)^-1 B^T) A``, whatever it will show; only its place has to be assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Array, Camera, Network, PhotoPose
from phototemplate.network.adjustment.parameter_names import index_of, lens_names
from phototemplate.network.adjustment.pseudo_observations import FOCUS, LENS
from phototemplate.network.calibration.image_coverage import lens_u_px
from phototemplate.network.projection import body_points
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import skew

ASSUMED, DETERMINED = 0.5, 0.1
"""Share of a parameter's variance that comes from its prior: above, it is assumed; below, determined by the photos"""
_LEAST_COSINE = 0.25
_FREE_MM = 3000.0
_TURNS_DEG = (-60.0, -30.0, 0.0, 30.0, 60.0)
_WORTH = 0.05


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

    words: str
    """From where, and how held"""
    names: tuple[str, ...]
    u_before: Array
    """(p,) standard uncertainties of the lens parameters"""
    u_after: Array
    """(p,)"""
    rms_before_px: float
    """Standard uncertainty of where the lens sends a given direction, root mean square over the picture"""
    rms_after_px: float
    n_points: int
    """Target points it would show"""

    @property
    def gain(self) -> float:
        """Share by which the uncertainty over the picture drops."""
        return 1.0 - self.rms_after_px / self.rms_before_px if self.rms_before_px > 0 else 0.0


def gain_of_photo(network: Network, camera_id: str, eye_mm: Array, aim_mm: Array, up: Array, roll_deg: float = 0.0,
                  words: str = "") -> PhotoGain | None:  # fmt: skip
    """Gain of a photo taken from ``eye_mm`` towards ``aim_mm`` (world), ``up`` upwards in the picture at roll 0.

    A positive roll turns the camera clockwise. None where it would show fewer than eight target points.
    """
    camera = network.cameras[camera_id]
    forward = np.asarray(aim_mm, dtype=np.float64) - eye_mm
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, up)
    if np.linalg.norm(right) < 1e-6:
        return None
    right /= np.linalg.norm(right)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    rotation = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]) @ np.stack([right, np.cross(forward, right), forward])
    pose = PhotoPose("imagined", camera_id, rotation, -rotation @ eye_mm)
    cov, n = _lens_cov_after(network, camera, pose)
    if cov is None:
        return None
    return PhotoGain(
        words,
        lens.LENS_MODELS[camera.model].names,
        np.sqrt(np.diag(camera.cov)),
        np.sqrt(np.diag(cov)),
        float(np.sqrt(np.mean(lens_u_px(camera, None, 8) ** 2))),
        float(np.sqrt(np.mean(lens_u_px(camera, cov, 8) ** 2))),
        n,
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
    turned = 90.0 if np.median(held) < 0.5 else 0.0
    aims = [centre, *(b.translation_mm for b in sheets)]
    best: PhotoGain | None = None
    for turn in _TURNS_DEG:
        a = np.radians(turn)
        side = np.cos(a) * level + np.sin(a) * np.cross(up, level)
        for roll in (turned, 90.0 - turned):
            for near, aim in ((1.0, centre), (0.6, min(aims, key=lambda p: float(np.linalg.norm(p - centre - side))))):
                place = "" if abs(turn) < 10 else f" from further to the {'right' if turn > 0 else 'left'}"
                how = " turned by 90 degrees" if roll == turned else ""
                closer = " and closer" if near < 1 else ""
                eye = aim + near * (side + height * up)
                gain = gain_of_photo(network, camera_id, eye, aim, up, roll, f"{how}{place}{closer}".strip())
                if gain is not None and (best is None or gain.rms_after_px < best.rms_after_px):
                    best = gain
    return best


def _lens_cov_after(network: Network, camera: Camera, pose: PhotoPose) -> tuple[Array | None, int]:
    """(p, p) covariance of the lens after one more photo, and how many target points it would show."""
    index = index_of(network.influences.names)
    names = lens.LENS_MODELS[camera.model].names
    lens_columns = np.array([index[n] for n in lens_names(camera.camera_id, names)])
    limit = lens.LENS_MODELS[camera.model].limit(camera.params[lens.N_COMMON :])
    w, h = camera.size_px
    k = network.influences.size
    rows: list[Array] = []
    own: list[Array] = []
    sigma = _sighting_sd(network, camera.camera_id)
    for target_id in network.bodies:
        points = body_points(network, target_id, network.targets[target_id].points_mm)
        turned = points.xyz_mm @ pose.rotation.T
        cam = turned + pose.translation_mm
        normal = pose.rotation @ network.bodies[target_id].rotation[:, 2]
        facing = -(cam @ normal) / np.maximum(np.linalg.norm(cam, axis=1), 1e-9)
        uv, d_cam, d_params = lens.project(camera.model, camera.params, cam)
        seen = (cam[:, 2] > 50.0) & (facing > _LEAST_COSINE) & (lens.off_axis(camera.model, cam) < limit)
        seen &= (uv > 5).all(axis=1) & (uv[:, 0] < w - 6) & (uv[:, 1] < h - 6)
        if seen.sum() < 3:
            continue
        a = np.zeros((int(seen.sum()), 2, k))
        a[:, :, lens_columns] = d_params[seen]
        a[:, :, points.columns] += (d_cam[seen] @ pose.rotation) @ points.d_influences[seen]
        b = np.concatenate([-d_cam @ skew(turned), d_cam, d_params[:, :, :1] * camera.params[0]], axis=2)[seen]
        rows.append(a.reshape(-1, k) / sigma)
        own.append(b.reshape(-1, 7) / sigma)
    n = sum(len(a) for a in rows) // 2
    if n < 8:
        return None, n
    a, b = np.concatenate(rows), np.concatenate(own)
    touched = np.nonzero(np.any(a != 0, axis=0) & (np.diag(network.influences.cov) > 0))[0]
    u_focus = _focus_sd(network)
    prior = np.diag(1 / np.array([1.0, 1.0, 1.0, _FREE_MM, _FREE_MM, _FREE_MM, max(u_focus, 1e-7)]) ** 2)
    a = a[:, touched]
    cross = b.T @ a
    information = a.T @ a - cross.T @ np.linalg.solve(b.T @ b + prior, cross)
    cov = network.influences.cov[np.ix_(touched, touched)]
    sd = np.sqrt(np.diag(cov))
    value, vector = np.linalg.eigh(cov / np.outer(sd, sd))
    root = sd[:, None] * vector * np.sqrt(np.maximum(value, 0.0))
    after = root @ np.linalg.inv(np.eye(len(value)) + root.T @ information @ root) @ root.T
    out = np.zeros((len(names), len(names)))
    place = {int(c): i for i, c in enumerate(touched)}
    there = [i for i, c in enumerate(lens_columns) if int(c) in place]
    chosen = [place[int(lens_columns[i])] for i in there]
    out[np.ix_(there, there)] = after[np.ix_(chosen, chosen)]
    return out, n


def _sighting_sd(network: Network, camera_id: str) -> float:
    """Standard deviation of a sighting of this camera, per coordinate in px."""
    own = {p for p, photo in network.photos.items() if photo.camera_id == camera_id}
    left = [r.residual_px[r.weight > 0] for r in network.residuals if r.photo_id in own]
    all_ = np.concatenate([np.zeros((0, 2)), *left])
    return max(float(np.sqrt(np.mean(all_**2))), 0.02) if len(all_) else 0.1


def _focus_sd(network: Network) -> float:
    """Prior spread of a photo's own focus, from its part of the covariance; 0 where focus is held."""
    part = network.influences.parts.get(FOCUS)
    index = index_of(network.influences.names)
    columns = [c for p in network.photos if (c := index.get(f"photo:{p}:focus")) is not None]
    if part is None or not columns:
        return 0.0
    # With C the covariance after and N = 1/u^2 the prior information: part = C N C, so u^2 >= C^2 / part.
    whole, own = np.diag(network.influences.cov)[columns], np.diag(part)[columns]
    good = own > 0
    return float(np.sqrt(np.max(whole[good] ** 2 / own[good]))) if good.any() else 0.0


# ------------------------------------------------------------------------------------------- findings


def with_lens_findings(network: Network, known: Sequence[str] = ()) -> Network:
    """The network with ``lens-not-determined`` completed: what is assumed, and what one more photo would gain.

    ``known`` are the cameras that have a profile; their priors are measurements and are not doubted.
    """
    weak_places = any(f.code == "weak-geometry" for f in network.findings)
    kept = [f for f in network.findings if f.code != "lens-not-determined"]
    for camera_id in network.cameras:
        if camera_id in known:
            continue
        shares = prior_shares(network, camera_id)
        assumed = [n for n, s in shares.items() if s > ASSUMED and n != "aspect"]
        if not assumed and not weak_places:
            continue
        determined = [n for n, s in shares.items() if s < DETERMINED]
        gain = best_photo(network, camera_id)
        text = f"The photos do not determine {', '.join(assumed)} of the lens; usual values were assumed." if assumed else (
            "The photos look from much the same places, so the lens rests on few views."
        )  # fmt: skip
        if determined:
            text += f" They do determine {', '.join(determined)}."
        remedy = "Add photos turned by 90 degrees and from the other side, or calibrate the camera (`phototemplate calibrate`)."
        if gain is not None and gain.gain > _WORTH:
            remedy = f"{_sentence(gain, assumed)} Or calibrate the camera with `phototemplate calibrate`."
        kept.append(Finding("lens-not-determined", camera_id, text, remedy))
    return replace(network, findings=tuple(kept))


def _sentence(gain: PhotoGain, assumed: Sequence[str]) -> str:
    """What to do and what it would bring, in numbers."""
    before, after = dict(zip(gain.names, gain.u_before, strict=True)), dict(zip(gain.names, gain.u_after, strict=True))
    told = [n for n in dict.fromkeys(["f", *assumed, "cx", "cy"]) if after[n] < 0.9 * before[n]][:3]
    numbers = ", ".join(f"u({n}) from {before[n]:.2g} to {after[n]:.2g}{' px' if n in ('f', 'cx', 'cy') else ''}" for n in told)
    return f"One more photo {gain.words} would bring {numbers or 'little'}.".replace("  ", " ")
