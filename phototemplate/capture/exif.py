"""What a photo file says about its camera (Exif 2.32, CIPA DC-008), read from an opened Pillow image."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

from PIL import ExifTags, Image

from phototemplate.capture import constants
from phototemplate.model import PhotoMeta


def read_exif(image: Image.Image, path: Path) -> PhotoMeta:
    """Facts of an opened image, cleaned: no NUL padding, no impossible numbers.

    Fields that a damaged or missing Exif block does not give keep their defaults; ``camera_id`` is left to
    :func:`camera_id_of`.
    """
    size = (image.width, image.height)
    try:
        exif = Image.Image.getexif(image)  # the one of PNG would decode the whole picture, for Exif written behind it
        photo: dict[int, Any] = exif.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # Pillow's Exif parser meets hostile bytes with many kinds of exception
        return PhotoMeta(path.stem, path, size)
    tag = ExifTags.Base
    orientation = _whole(exif.get(tag.Orientation))
    taken = (_whole(photo.get(tag.ExifImageWidth)), _whole(photo.get(tag.ExifImageHeight)))
    return PhotoMeta(
        photo_id=path.stem,
        path=path,
        size_px=size,
        orientation=orientation if orientation in range(1, 9) else 1,
        make=_text(exif.get(tag.Make)),
        model=_text(exif.get(tag.Model)),
        lens=_text(photo.get(tag.LensModel)),
        focal_mm=_positive(photo.get(tag.FocalLength)),
        focal35_mm=_positive(photo.get(tag.FocalLengthIn35mmFilm)),
        digital_zoom=_positive(photo.get(tag.DigitalZoomRatio)),
        taken_at=_time(photo.get(tag.DateTimeOriginal) or exif.get(tag.DateTime), photo.get(tag.SubsecTimeOriginal)),
        software=_text(exif.get(tag.Software)),
        camera_size_px=taken if min(taken) > 0 else None,
    )


def camera_id_of(photo: PhotoMeta) -> str:
    """Name shared by the photos that went through one lens at one setting.

    Made of make, model, lens, focal length, 35 mm equivalent (it changes when a phone crops), digital zoom and stored width
    and height, e.g. ``"norvik-p4-4.25mm-26mm35-4032x3024"``; without Exif ``"unknown-1600x1200"``. Portrait and landscape
    shots share it as long as only the Exif turn differs; where software has turned the pixels they are lenses of their own,
    since nobody says which way they were turned, and the principal point goes with it.
    """
    model = photo.model
    if photo.make and model.lower().startswith(photo.make.lower()):
        model = model[len(photo.make) :]
    parts = [photo.make, model, _short_lens(photo)]
    if photo.focal_mm:
        parts.append(f"{photo.focal_mm:.4g}mm")
    if photo.focal35_mm:
        parts.append(f"{photo.focal35_mm:.4g}mm35")
    if photo.digital_zoom and abs(photo.digital_zoom - 1.0) > constants.ZOOM_SHOWN:
        parts.append(f"zoom{photo.digital_zoom:.4g}")
    words = [word for word in (re.sub(r"[^a-z0-9.]+", "-", p.lower()).strip("-") for p in parts) if word]
    return "-".join(words or ["unknown"]) + f"-{photo.size_px[0]}x{photo.size_px[1]}"


def _short_lens(photo: PhotoMeta) -> str:
    """The lens name without the camera's own name, which phones repeat in it."""
    lens = photo.lens
    for known in (photo.model, photo.make):
        if known:
            lens = re.sub(re.escape(known), "", lens, flags=re.IGNORECASE)
    return lens.strip()


def _text(value: object) -> str:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return "".join(c for c in str(value or "").split("\0")[0] if c.isprintable()).strip()


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _whole(value: Any) -> int:
    try:
        return int(value)
    except (TypeError, ValueError):
        return 0


def _time(value: object, fraction: object) -> str:
    match = re.match(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)", _text(value))
    if not match or match[1] == "0000":
        return ""
    digits = re.match(r"\d+", _text(fraction))
    return "{}-{}-{}T{}:{}:{}".format(*match.groups()) + (f".{digits[0]}" if digits else "")
