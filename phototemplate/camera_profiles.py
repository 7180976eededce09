"""Camera profiles: a lens calibrated once, kept as a readable JSON file, used as a prior in every later job.

The file format is described in ``calibration/README.md`` and by :class:`CameraProfile`. Profiles shipped with the project lie
in ``calibration/``; the user's own in the user's data folder. A profile holds the lens, not what one exposure did to it, and
how much the exposures differed; both are priors of later jobs and fix nothing: the lens's covariance is widened (``KEEPS_F``,
``KEEPS_CENTRE``), the spreads are estimated anew (``network.adjustment.variance_components``).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from platformdirs import user_data_path
from pydantic import ValidationError

from phototemplate.atomic import write_text_atomic
from phototemplate.constants import (
    JOB_DISTANCE_MM,
    KEEPS_CENTRE,
    KEEPS_F,
    LEAST_U,
    NEAR_FACTOR,
    SAME_ASPECT,
    SAME_FOCAL,
    SAME_SCALE,
    SAME_ZOOM,
)
from phototemplate.errors import Finding, InputError, OutputError
from phototemplate.model import Camera, PhotoMeta
from phototemplate.numerics.lens import LENS_MODELS
from phototemplate.settings import Section


class CameraProfile(Section):
    """One lens at one setting, as stored."""

    format: Literal[1] = 1
    """Version of this format."""
    name: str
    """Free text shown to the user."""
    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    """EXIF focal length in mm; together with make, model, lens and zoom it names the lens."""
    digital_zoom: float | None = None
    width_px: int
    """Stored picture, before EXIF rotation."""
    height_px: int
    lens_model: Literal["brown", "rational", "fisheye"]
    """Model equations and parameter meaning: ``phototemplate.numerics.lens``."""
    parameters: dict[str, float]
    """px for f, cx, cy (pixel (0, 0) is the centre of the first pixel); the others have no unit."""
    covariance: list[list[float]]
    """Of the parameters, in their order above, standard uncertainties squared."""
    photos: int = 0
    """Photos the calibration used."""
    rms_px: float = 0.0
    """Its residuals, root mean square per coordinate."""
    made: str = ""
    """Date, ISO 8601."""
    board: str = ""
    """What was photographed."""
    distance_mm: float | None = None
    """Typical distance of the board: a lens focused nearer draws larger (see :func:`focus_change`)."""
    focus_spread: float = 0.0
    """Standard deviation of the photos' own relative changes of the principal distance; 0, here and below: not known."""
    shift_spread_px: float = 0.0
    """The same of the image's shift by a stabiliser, each axis."""
    turn_spread_rad: float = 0.0
    """The same of the camera's turn while the rows were read, each axis."""
    way_spread_mm: float = 0.0
    """The same of its way meanwhile, each axis."""

    def camera(self, camera_id: str) -> Camera:
        """The profile as a camera, with its own covariance."""
        names = LENS_MODELS[self.lens_model].names
        order = [list(self.parameters).index(n) for n in names]
        params = np.array([self.parameters[n] for n in names])
        cov = np.array(self.covariance, float)[np.ix_(order, order)]
        spreads = (self.focus_spread, self.shift_spread_px, self.turn_spread_rad, self.way_spread_mm)
        return Camera(camera_id, self.lens_model, (self.width_px, self.height_px), params, cov, "profile", exposure_sd=spreads)


def user_folder() -> Path:
    """Where the user's own profiles live."""
    return user_data_path("phototemplate", appauthor=False) / "cameras"


def shipped_folder() -> Path:
    """``calibration/`` of the project, where the checkout is at hand."""
    return Path(__file__).resolve().parent.parent / "calibration"


def read_profile(path: Path) -> CameraProfile:
    """Read one profile. ``InputError`` says what is wrong with it."""
    try:
        profile = CameraProfile.model_validate_json(path.read_text(encoding="utf-8"))
    except OSError as exc:
        raise InputError(f"The camera profile {path} cannot be read ({exc.strerror}); check its name.") from exc
    except (ValidationError, UnicodeDecodeError) as exc:
        detail = exc.errors()[0] if isinstance(exc, ValidationError) else {"loc": (), "msg": str(exc)}
        place = ".".join(str(p) for p in detail["loc"]) or "the file"
        raise InputError(f"The camera profile {path} is damaged at {place}: {detail['msg']}; calibrate again.") from exc
    names = LENS_MODELS[profile.lens_model].names
    if set(profile.parameters) != set(names):
        raise InputError(f"The camera profile {path} needs the parameters {', '.join(names)}; calibrate again.")
    try:
        cov, values = np.array(profile.covariance, float), np.array(list(profile.parameters.values()))
    except ValueError as exc:
        raise InputError(f"The camera profile {path} has a covariance with rows of several lengths; calibrate again.") from exc
    if not (np.isfinite(cov).all() and np.isfinite(values).all()):
        raise InputError(f"The camera profile {path} has values that are no numbers; calibrate again.")
    if cov.shape != (len(names), len(names)) or not np.allclose(cov, cov.T) or np.linalg.eigvalsh(cov).min() < -1e-9:
        raise InputError(f"The camera profile {path} has a covariance that cannot be; calibrate again.")
    return profile


def load_profiles(folders: Iterable[Path] | None = None) -> list[CameraProfile]:
    """Every readable profile, the user's own first. Damaged files are left out: a job must not stop for them."""
    found: list[CameraProfile] = []
    for folder in folders if folders is not None else (user_folder(), shipped_folder()):
        for path in sorted(folder.glob("*.json")) if folder.is_dir() else ():
            try:
                found.append(read_profile(path))
            except InputError:
                continue
    return found


def profile_file_name(profile: CameraProfile) -> str:
    """File name made from what a profile stands for: the same lens at the same setting gives the same name."""
    words = f"{profile.make} {profile.model} {profile.lens} {profile.focal_mm or ''} {profile.width_px}x{profile.height_px}"
    return re.sub(r"[^a-z0-9x.]+", "-", words.lower()).strip("-.") + ".json"


def save_profile(profile: CameraProfile, folder: Path | None = None, file_name: str | None = None) -> Path:
    """Write a profile whole or not at all; an older one of the same lens (or of that name) is replaced.

    Raises ``OutputError`` where it cannot be written.
    """
    folder = folder or user_folder()
    path = folder / (file_name or profile_file_name(profile))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise OutputError(f"The folder {folder} for camera profiles cannot be made ({exc.strerror}); choose another.") from exc
    write_text_atomic(path, profile.model_dump_json(indent=1) + "\n")
    return path


def match_profiles(
    photos: Sequence[PhotoMeta], profiles: Sequence[CameraProfile]
) -> tuple[dict[str, Camera], list[Finding]]:
    """Best profile for every camera among the photos, as a prior in the photos' own pixels.

    An exact match has the same make, model, lens, focal length, zoom and stored size. A near match is the same model at
    another size (resized or cropped about the centre), turned by software, or with another zoom or lens name; findings say
    what differs and what was done about it, and all but a mere turn makes it count less.
    """
    cameras: dict[str, Camera] = {}
    findings: list[Finding] = []
    for photo in photos:
        if photo.camera_id in cameras or not photo.model:
            continue
        ranked = sorted((r, i) for i, p in enumerate(profiles) if (r := _rank(photo, p)) is not None)
        if not ranked:
            continue
        rank, best = ranked[0]
        profile = profiles[best]
        cameras[photo.camera_id] = _as_prior(profile, photo, NEAR_FACTOR if rank else 1.0)
        findings += _differences(photo, profile, NEAR_FACTOR if rank else 1.0)
    return cameras, findings


def _differences(photo: PhotoMeta, profile: CameraProfile, wider: float) -> list[Finding]:
    """In what photo and profile differ, each with what :func:`_as_prior` does about it."""
    out: list[Finding] = []
    size, own = photo.size_px, (profile.width_px, profile.height_px)
    common: dict[str, Any] = {"profile": profile.name, "photo": photo.photo_id}
    if (size[0] >= size[1]) != (own[0] >= own[1]):
        out.append(Finding("profile-turned", photo.camera_id, **common))
    common |= {"wider_ratio": wider}
    scale, aspect, own_aspect = _scale(size, own), max(size) / min(size), max(own) / min(own)
    sizes = {"wide_px": size[0], "high_px": size[1], "own_wide_px": own[0], "own_high_px": own[1]}
    cropped = not math.isclose(aspect, own_aspect, rel_tol=SAME_ASPECT)
    if cropped or sorted(size) != sorted(own):
        if math.isclose(scale, 1.0, rel_tol=SAME_SCALE):
            out.append(Finding("profile-cropped", photo.camera_id, **common, **sizes))
        else:
            code = "profile-cropped-resized" if cropped else "profile-resized"
            out.append(Finding(code, photo.camera_id, **common, **sizes, scale_ratio=scale))
    zoom, own_zoom = photo.digital_zoom or 1.0, profile.digital_zoom or 1.0
    if not _close(zoom, own_zoom, SAME_ZOOM):
        ratios = {"zoom_ratio": zoom, "own_zoom_ratio": own_zoom, "scale_ratio": zoom / own_zoom}
        out.append(Finding("profile-zoomed", photo.camera_id, **common, **ratios))
    if photo.lens != profile.lens:
        out.append(Finding("profile-lens-name", photo.camera_id, **common, lens=repr(photo.lens), own_lens=repr(profile.lens)))
    return out


def _rank(photo: PhotoMeta, profile: CameraProfile) -> int | None:
    """0 exact, above: near, None: another camera."""
    same_model = (photo.make.lower(), photo.model.lower()) == (profile.make.lower(), profile.model.lower())
    if not same_model:
        return None
    focal = _close(photo.focal_mm, profile.focal_mm, SAME_FOCAL)
    if focal is False:
        return None  # another of the phone's lenses
    rank = 0
    rank += 0 if photo.lens == profile.lens else 1
    rank += 0 if _close(photo.digital_zoom or 1.0, profile.digital_zoom or 1.0, SAME_ZOOM) else 4
    rank += 0 if sorted(photo.size_px) == sorted((profile.width_px, profile.height_px)) else 2
    return rank


def _scale(size_px: tuple[int, int], own_px: tuple[int, int]) -> float:
    """Factor from the profile's pixels to the photo's, the crop being as small as the two sizes allow.

    A crop about the centre keeps the pixels, a resized picture keeps the angle of view. The side that was not cropped tells
    the scale: the longer one where 4:3 became 16:9, the shorter one where it became a square.
    """
    return max(max(size_px) / max(own_px), min(size_px) / min(own_px))


def _close(a: float | None, b: float | None, share: float) -> bool | None:
    return None if a is None or b is None else math.isclose(a, b, rel_tol=share)


def focus_change(focal_mm: float | None, from_mm: float | None, to_mm: float = JOB_DISTANCE_MM) -> float:
    """Relative change of the principal distance of a thin lens focused at ``to_mm`` instead of ``from_mm``; 0 where unsaid.

    Image distance of a thin lens of focal length F at object distance d: about ``F (1 + F / d)``.
    """
    if not focal_mm or not from_mm:
        return 0.0
    return (1 + focal_mm / to_mm) / (1 + focal_mm / from_mm) - 1


def _as_prior(profile: CameraProfile, photo: PhotoMeta, factor: float) -> Camera:
    """The profile in the photo's pixels with the covariance a prior deserves."""
    camera = profile.camera(photo.camera_id)
    params, cov = camera.params.copy(), camera.cov.copy()
    width, height = camera.size_px
    names = LENS_MODELS[camera.model].names
    i_f, i_aspect, i_cx, i_cy = (names.index(n) for n in ("f", "aspect", "cx", "cy"))
    long_side = max(photo.size_px)
    zoom = (photo.digital_zoom or 1.0) / (profile.digital_zoom or 1.0)
    scale = _scale(photo.size_px, camera.size_px) * zoom
    if (photo.size_px[0] >= photo.size_px[1]) != (width >= height):
        # Stored the other way up: some programs turn the pixels. Which way cannot be told, so the centre's offset and the
        # tangential terms go to their uncertainty.
        offset = max(abs(params[i_cx] - (width - 1) / 2), abs(params[i_cy] - (height - 1) / 2))
        params[i_cx], params[i_cy] = (height - 1) / 2, (width - 1) / 2
        width, height = height, width
        # What was the principal distance along y is now that along x.
        f, aspect = params[i_f], params[i_aspect]
        params[i_f], params[i_aspect] = f * (1 + aspect), 1 / (1 + aspect) - 1
        swap = np.eye(len(params))
        swap[i_f, i_f], swap[i_f, i_aspect], swap[i_aspect, i_aspect] = 1 + aspect, f, -1 / (1 + aspect) ** 2
        cov = swap @ cov @ swap.T
        cov[i_cx, i_cx] += offset**2
        cov[i_cy, i_cy] += offset**2
        for name in ("p1", "p2"):
            if name in names:
                k = names.index(name)
                cov[k, k] += params[k] ** 2
                params[k] = 0.0
    jac = np.ones(len(params))
    jac[[i_f, i_cx, i_cy]] = scale
    params[i_f] *= scale
    # Some phones crop so that focusing does not show, so half of the correction is its uncertainty.
    change = focus_change(profile.focal_mm, profile.distance_mm)
    params[i_f] *= 1 + change
    for k, side, old in ((i_cx, photo.size_px[0], width), (i_cy, photo.size_px[1], height)):
        params[k] = (side - 1) / 2 + scale * (params[k] - (old - 1) / 2)
    cov = cov * np.outer(jac, jac)
    # What the calibration held at zero is not known exactly either.
    cov[np.diag_indices(len(cov))] += LEAST_U**2
    cov[i_f, i_f] += (np.hypot(KEEPS_F, change / 2) * params[i_f]) ** 2
    for k in (i_cx, i_cy):
        cov[k, k] += (KEEPS_CENTRE * long_side) ** 2
    focus, shift, turn, way = camera.exposure_sd
    return replace(
        camera, size_px=photo.size_px, params=params, cov=cov * factor**2, exposure_sd=(focus, shift * scale, turn, way)
    )
