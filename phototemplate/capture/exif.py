"""What a photo file says about its camera (Exif 2.32, CIPA DC-008), read from an opened Pillow image."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import ExifTags, Image


@dataclass(frozen=True)
class ExifFacts:
    """The few tags this project uses, cleaned: no NUL padding, no impossible numbers."""

    orientation: int = 1
    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    focal35_mm: float | None = None
    digital_zoom: float | None = None
    taken_at: str = ""
    """``YYYY-MM-DDThh:mm:ss[.fff]``, empty where unknown"""
    software: str = ""


def read_exif(image: Image.Image) -> ExifFacts:
    """Exif facts of an opened image; fields a damaged or missing Exif block does not give keep their defaults."""
    try:
        exif = image.getexif()
        photo: dict[int, Any] = exif.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # Pillow's Exif parser meets hostile bytes with many kinds of exception
        return ExifFacts()
    tag = ExifTags.Base
    orientation = _whole(exif.get(tag.Orientation))
    return ExifFacts(
        orientation=orientation if orientation in range(1, 9) else 1,
        make=_text(exif.get(tag.Make)),
        model=_text(exif.get(tag.Model)),
        lens=_text(photo.get(tag.LensModel)),
        focal_mm=_positive(photo.get(tag.FocalLength)),
        focal35_mm=_positive(photo.get(tag.FocalLengthIn35mmFilm)),
        digital_zoom=_positive(photo.get(tag.DigitalZoomRatio)),
        taken_at=_time(photo.get(tag.DateTimeOriginal) or exif.get(tag.DateTime), photo.get(tag.SubsecTimeOriginal)),
        software=_text(exif.get(tag.Software)),
    )


def camera_id_of(facts: ExifFacts, size_px: tuple[int, int]) -> str:
    """Name shared by the photos that went through one lens at one setting.

    Made of make, model, lens, focal length, 35 mm equivalent (it changes when a phone crops), digital zoom and stored width
    and height, e.g. ``"norvik-p4-4.25mm-26mm35-4032x3024"``; without Exif ``"unknown-1600x1200"``. Portrait and landscape
    shots share it as long as only the Exif turn differs; where software has turned the pixels they are lenses of their own,
    since nobody says which way they were turned, and the principal point goes with it.
    """
    model = facts.model
    if facts.make and model.lower().startswith(facts.make.lower()):
        model = model[len(facts.make) :]
    parts = [facts.make, model, _short_lens(facts)]
    if facts.focal_mm:
        parts.append(f"{facts.focal_mm:.4g}mm")
    if facts.focal35_mm:
        parts.append(f"{facts.focal35_mm:.4g}mm35")
    if facts.digital_zoom and abs(facts.digital_zoom - 1.0) > 1e-3:
        parts.append(f"zoom{facts.digital_zoom:.4g}")
    words = [word for word in (re.sub(r"[^a-z0-9.]+", "-", p.lower()).strip("-") for p in parts) if word]
    return "-".join(words or ["unknown"]) + f"-{size_px[0]}x{size_px[1]}"


def _short_lens(facts: ExifFacts) -> str:
    """The lens name without the camera's own name, which phones repeat in it."""
    lens = facts.lens
    for known in (facts.model, facts.make):
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


def read_stored_size(path: Path) -> tuple[int, int] | None:
    """Picture size that the camera wrote into the Exif block, or None; another size in the file means it was changed."""
    try:
        with Image.open(path) as image:
            photo = image.getexif().get_ifd(ExifTags.IFD.Exif)
    except Exception:
        return None
    size = (_whole(photo.get(ExifTags.Base.ExifImageWidth)), _whole(photo.get(ExifTags.Base.ExifImageHeight)))
    return size if min(size) > 0 else None
