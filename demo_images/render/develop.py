"""From radiance to the file a phone would write: exposure, noise, sharpening, tone curve, JPEG with EXIF."""

from __future__ import annotations

import io
import math
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from .camera import Camera
from .constants import LUMA_NR_SIGMA_PX, MIDDLE_GREY


def _blur(a: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    return np.asarray(cv2.GaussianBlur(a, (0, 0), sigma), np.float32)


def neighbourhood(luma: NDArray[np.float32]) -> NDArray[np.float32]:
    """(h, w) brightness around every pixel, as local tone mapping takes it: smooth over a fortieth of the picture."""
    h, w = luma.shape
    step = max(1, w // 512)
    small = _blur(np.ascontiguousarray(luma[step // 2 :: step, step // 2 :: step]), w / step / 40)

    def weights(count: int, cells: int) -> NDArray[np.float32]:
        at = np.clip((np.arange(count) - step // 2) / step, 0, cells - 1)
        low = np.minimum(at.astype(int), cells - 2)
        m = np.zeros((count, cells), np.float32)
        m[np.arange(count), low], m[np.arange(count), low + 1] = 1 - (at - low), at - low
        return m

    return np.asarray(weights(h, small.shape[0]) @ small @ weights(w, small.shape[1]).T, np.float32)


def _finish(luma: NDArray[np.float32], cam: Camera) -> NDArray[np.float32]:
    """Brightness as a phone hands it out: detail cored, neighbourhoods drawn towards middle grey, edges sharpened."""
    if cam.luma_nr > 0:
        smooth = _blur(luma, LUMA_NR_SIGMA_PX)
        detail = luma - smooth
        luma = smooth + detail * detail**2 / (detail**2 + np.float32(cam.luma_nr) ** 2)
    if cam.tone > 0:
        around = neighbourhood(luma)
        luma = luma + np.float32(cam.tone) * (MIDDLE_GREY - around)
    for amount, sigma_px, clip in (
        (cam.sharpen, cam.sharpen_sigma, cam.sharpen_clip),
        (cam.halo, cam.halo_sigma, cam.halo_clip),
    ):
        if amount > 0:
            luma = luma + np.clip(amount * (luma - _blur(luma, sigma_px)), -clip, clip)
    return luma


def develop(radiance: NDArray[np.float32], cam: Camera, white: float | None = None) -> NDArray[np.uint8]:
    """(h, w, 3) linear radiance -> 8-bit sRGB. ``white``: the radiance that becomes 80 % of full scale (None: automatic)."""
    rng = np.random.default_rng(cam.seed + 99)
    h, w = radiance.shape[:2]
    reference = np.percentile(radiance[::8, ::8].max(-1), 96) if white is None else white
    x = radiance * np.float32(0.8 * 2.0**cam.exposure_ev / reference)
    x *= np.asarray(cam.wb, np.float32)
    if cam.defocus_px > 0:
        x = _blur(x, cam.defocus_px)
    if cam.vignette > 0:
        dx, dy = (np.arange(w) - cam.cx) ** 2, (np.arange(h) - cam.cy) ** 2
        r2 = (dx[None] + dy[:, None]) / ((w * w + h * h) / 4)
        x *= (1 - cam.vignette * r2 * (1.15 - 0.15 * r2))[..., None].astype(np.float32)
    x = np.clip(x, 0, 1.2)
    if cam.full_well:
        sigma = np.sqrt(x / cam.full_well + (cam.read_noise / cam.full_well) ** 2)
        x = x + sigma * rng.standard_normal(x.shape, np.float32)
    x = np.clip(x, 0, 1).astype(np.float32)
    if cam.bayer:
        x = _mosaic(x)
    y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-8), 1 / 2.4) - 0.055).astype(np.float32)
    y = y + cam.contrast * (y * y * (3 - 2 * y) - y)
    ycc = cv2.cvtColor(y.astype(np.float32), cv2.COLOR_RGB2YCrCb)
    if cam.chroma_nr > 0:
        for k in (1, 2):
            ycc[..., k] = _blur(ycc[..., k], cam.chroma_nr)
    ycc[..., 0] = _finish(ycc[..., 0], cam)
    y = cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB)
    return np.asarray(np.clip(y, 0, 1) * 255 + 0.5, np.uint8)


def _mosaic(x: NDArray[np.float32]) -> NDArray[np.float32]:
    """Through a colour filter array and back."""
    m = np.empty(x.shape[:2], np.float32)
    m[0::2, 0::2], m[0::2, 1::2] = x[0::2, 0::2, 0], x[0::2, 1::2, 1]
    m[1::2, 0::2], m[1::2, 1::2] = x[1::2, 0::2, 1], x[1::2, 1::2, 2]
    return np.asarray(cv2.cvtColor((m * 65535).astype(np.uint16), cv2.COLOR_BayerRGGB2RGB) / 65535, np.float32)


def save_jpeg(picture: NDArray[np.uint8], cam: Camera, path: Path) -> int:
    """Write the JPEG with EXIF, at ``cam.jpeg`` or, if ``cam.max_bytes`` is set, at the best quality that fits. Returns it."""
    ex = Image.Exif()
    ex[271], ex[272], ex[274], ex[306] = cam.make, cam.model, cam.orientation, cam.taken_at
    sub = ex.get_ifd(0x8769)
    sub[37386] = IFDRational(round(cam.focal_mm * 1000), 1000)
    sub[41989] = round(43.2666 * cam.fx / math.hypot(cam.width, cam.height))  # focal length as on 24 x 36 mm film
    sub[33437], sub[33434], sub[34855] = IFDRational(18, 10), IFDRational(1, 60), 200
    sub[36867], sub[40962], sub[40963] = cam.taken_at, cam.width, cam.height
    image, quality = Image.fromarray(picture), cam.jpeg
    while True:
        data = io.BytesIO()
        image.save(data, "JPEG", quality=quality, subsampling=2 if quality < 93 else 0, exif=ex)
        if not cam.max_bytes or data.tell() <= cam.max_bytes or quality <= 50:
            break
        quality -= 2
    Path(path).write_bytes(data.getvalue())
    return quality
