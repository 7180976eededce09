"""What can be wrong with a photo before anything is measured: blurred, edited, resized, taken twice.

Blur is measured where it matters, at the saddle points (``blur_ellipse``); their covariance grows with it, so a blurred
photo counts less by itself and the finding only names it. ``blur_px`` does without targets.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from phototemplate.capture import constants
from phototemplate.errors import Finding
from phototemplate.model import Array, GrayImage, PhotoMeta

BLURRED = ("photo-smeared", "photo-out-of-focus")
"""Codes of the findings that call a photo blurred"""
EDITORS = (
    "photoshop", "lightroom", "gimp", "snapseed", "picsart", "canva", "imagemagick", "affinity", "darktable",
    "rawtherapee", "capture one", "pixelmator", "paint", "irfanview", "xnview", "picasa", "camera raw", "vsco", "dxo",
)  # fmt: skip
"""Picture editors, as they sign in the Software tag"""


@dataclass(frozen=True)
class BlurEllipse:
    """Blur of a photo as a Gaussian: standard deviations along its two axes."""

    major_px: float
    minor_px: float
    direction_rad: float
    """Of the major axis in the stored picture, x right, y down"""

    @property
    def moved(self) -> bool:
        """Blurred in one direction: the camera moved."""
        return self.major_px > max(constants.MOVED_PX, constants.MOVED_RATIO * self.minor_px)


def blur_ellipse(normals: Array, blur_px: Array) -> BlurEllipse | None:
    """Blur (n,) measured across edges with unit normals (n, 2), by ``s^2 = n^T B n``; None below 6 edges."""
    keep = np.isfinite(blur_px)
    if keep.sum() < constants.LEAST_BLUR_EDGES:
        return None
    x, y = normals[keep].T
    design = np.stack([x * x, 2 * x * y, y * y], axis=1)
    squares = np.minimum(blur_px[keep], constants.BLUR_OUTLIER * np.median(blur_px[keep])) ** 2
    xx, xy, yy = np.linalg.lstsq(design, squares, rcond=None)[0]
    values, vectors = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]))
    major, minor = np.sqrt(np.maximum(values[::-1], constants.LEAST_BLUR_VARIANCE_PX2))
    return BlurEllipse(float(major), float(minor), float(np.arctan2(vectors[1, 1], vectors[0, 1])))


def blur_finding(meta: PhotoMeta, blur: BlurEllipse | None, limit_px: float) -> tuple[Finding, ...]:
    """One of :data:`BLURRED` where the blur exceeds ``limit_px`` for a picture 4000 px wide (smaller ones in proportion)."""
    if blur is None or blur.major_px <= limit_px * np.clip(
        max(meta.size_px) / constants.BLUR_WIDTH_PX, *constants.BLUR_WIDTH_RANGE
    ):
        return ()
    if blur.moved:
        angle = float(np.degrees(blur.direction_rad)) % 180.0
        return (Finding("photo-smeared", meta.photo_id, blur_px=blur.major_px, direction_deg=angle),)
    return (Finding("photo-out-of-focus", meta.photo_id, blur_px=blur.major_px),)


def blur_px(gray: GrayImage) -> float:
    """Typical blur (1 sigma) of the strongest edges, by blurring once more and comparing gradients.

    For a step edge of blur s the gradient falls by ``sqrt(1 + s0^2 / s^2)`` when blurred by s0 (Zhuo and Sim 2011).
    NaN for a picture without edges.
    """
    image = gray.astype(np.float32)
    s0, smooth = constants.REBLUR_PX, constants.PRESMOOTH_PX

    def gradient(a: Any) -> Any:
        return np.hypot(cv2.Sobel(a, cv2.CV_32F, 1, 0), cv2.Sobel(a, cv2.CV_32F, 0, 1))

    sharp = gradient(cv2.GaussianBlur(image, (0, 0), smooth))
    soft = gradient(cv2.GaussianBlur(image, (0, 0), float(np.hypot(smooth, s0))))
    peak = sharp >= cv2.dilate(sharp, np.ones((3, 3), np.uint8)) - 1e-6
    strong = peak & (sharp > max(constants.STRONG_GRADIENT, float(np.percentile(sharp[::4, ::4], 99)) * constants.STRONG_SHARE))
    if strong.sum() < constants.LEAST_STRONG:
        return float("nan")
    ratio = np.maximum(sharp[strong] / np.maximum(soft[strong], 1e-9), 1.0 + constants.SHARPEST_RATIO)
    squares = s0**2 / (ratio**2 - 1.0) - smooth**2 - 1.0 / 3.0  # less what this smoothing and the Sobel filter add
    return float(np.sqrt(max(float(np.median(squares)), constants.LEAST_BLUR_PX2)))


# --------------------------------------------------------------------------------------------- editing


def check_file(meta: PhotoMeta) -> tuple[Finding, ...]:
    """Signs in the file that the picture is not as the camera took it."""
    findings: list[Finding] = []
    photo, (wide, high) = meta.photo_id, meta.size_px
    long, short = max(wide, high), min(wide, high)
    silent = not (meta.make or meta.model or meta.focal_mm)
    name = Path(meta.path).name.lower()
    if any(e in meta.software.lower() for e in EDITORS):
        findings.append(Finding("photo-resaved", photo, software=meta.software))
    stated = meta.camera_size_px
    if stated and sorted(stated) != [short, long]:
        sizes = {"taken_wide_px": stated[0], "taken_high_px": stated[1], "wide_px": wide, "high_px": high}
        findings.append(Finding("photo-resized", photo, **sizes))
    if "screenshot" in name or (silent and name.endswith(".png") and long / short > constants.SCREENSHOT_ASPECT):
        findings.append(Finding("photo-screenshot", photo))
    elif silent and long in constants.MESSENGER_SIDES:
        findings.append(Finding("photo-from-messenger", photo, long_px=long))
    if not any(abs(long / short - a) < constants.ASPECT_SLACK * a for a in constants.SENSOR_ASPECTS):
        findings.append(Finding("photo-cropped", photo, wide_px=wide, high_px=high))
    if silent:
        findings.append(Finding("photo-no-exif", photo))
    return tuple(findings)


# ------------------------------------------------------------------------------------------ duplicates


def fingerprint(gray: GrayImage) -> Array:
    """A small normalised copy of a picture (32 x 32, zero mean, unit norm), to compare pictures with."""
    step = max(1, min(gray.shape) // 256)
    small = cv2.resize(np.ascontiguousarray(gray[::step, ::step]), (32, 32), interpolation=cv2.INTER_AREA).astype(float)
    small -= small.mean()
    norm = float(np.linalg.norm(small))
    return np.asarray(small / norm if norm > 0 else small)


def find_duplicates(
    photos: Sequence[PhotoMeta],
    prints: Mapping[str, Array],
    worth: Mapping[str, float] | None = None,
    wanted: Collection[str] = (),
) -> tuple[tuple[Finding, ...], frozenset[str]]:
    """Photos that show the same picture (copies of one file, or shots of one burst), and those of them to leave out.

    Copies correlate at 0.9995 and more whatever their size; within a burst 0.985 is enough. The adjustment would
    take the same picture twice for independent evidence, and edges would be intersected between photos from one place, so one
    of them is enough: the one of most ``worth``, else the first. Those ``wanted`` for another reason stay.
    """
    worth = worth or {}
    findings: list[Finding] = []
    kept: list[PhotoMeta] = []
    for one in sorted(photos, key=lambda p: (p.photo_id not in wanted, -worth.get(p.photo_id, 0.0))):
        twin = next((k for k in kept if _same_picture(one, k, prints)), None)
        if twin is None or one.photo_id in wanted:
            kept.append(one)
        if twin is None:
            continue
        code = "photo-duplicate-kept" if one.photo_id in wanted else "photo-duplicate"
        findings.append(Finding(code, one.photo_id, twin=twin.photo_id))
    return tuple(findings), frozenset(p.photo_id for p in photos) - {p.photo_id for p in kept}


def _same_picture(one: PhotoMeta, other: PhotoMeta, prints: Mapping[str, Array]) -> bool:
    if one.photo_id not in prints or other.photo_id not in prints:
        return False
    alike = float(np.sum(prints[one.photo_id] * prints[other.photo_id]))
    apart = _seconds_apart(one, other)
    burst = apart is not None and apart <= constants.BURST_SECONDS
    return alike > (constants.SAME_BURST_LIKENESS if burst else constants.SAME_FILE_LIKENESS)


def _seconds_apart(a: PhotoMeta, b: PhotoMeta) -> float | None:
    try:
        return abs((datetime.fromisoformat(a.taken_at) - datetime.fromisoformat(b.taken_at)).total_seconds())
    except ValueError:
        return None
