"""Photo files: what they say about themselves, and their pixels in stored orientation.

*Stored* means the axes of the sensor: the pixel array of the file before any Exif turn, and for HEIC before the
container's own turn (see ``capture.heif``). Portrait and landscape shots of one phone then share one lens. Use
``upright`` to show a picture to somebody. Pixel (0, 0) is the centre of the first pixel; in a picture reduced by
``max_side`` the position ``u`` belongs to ``(u + 0.5) * full_width / reduced_width - 0.5`` of the full one.

One picture is in memory at a time: a grey picture costs 1 byte a pixel, twice that while it is decoded; HEIC costs 4.5.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import cv2
import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from phototemplate.capture import constants, heif
from phototemplate.capture.exif import camera_id_of, read_exif
from phototemplate.errors import Finding, PhotoError
from phototemplate.model import GrayImage, PhotoMeta

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".hif")

_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1")
_JPEG_MARKER = re.compile(rb"\xff[\xc0-\xcf\xd9-\xfe]")
"""Markers that a length follows, and the end; within coded data 0xFF is followed by 0 or a restart (ITU-T T.81, B.1.1)"""
_JPEG_SCAN, _JPEG_END = 0xDA, 0xD9
_Pixel = TypeVar("_Pixel", bound=np.generic)

# Pillow's limit warns at 89 MP and raises at 179 MP; ours is checked in _check_size for every file.
Image.MAX_IMAGE_PIXELS = None
pillow_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)


def read_meta(path: Path) -> PhotoMeta:
    """Size, orientation and camera of a photo file, from its header. Raises :class:`PhotoError`."""
    path = Path(path)
    with _open(path) as image:
        _check_size(path, image)
        meta = read_exif(image, path)
        if image.format == "HEIF":
            meta = _before_the_turn(meta)
    return replace(meta, camera_id=camera_id_of(meta))


def read_gray(meta: PhotoMeta, max_side: int | None = None) -> GrayImage:
    """Luma of a photo, (h, w) uint8, stored orientation; reduced so that neither side exceeds ``max_side``.

    JPEG gives its luma channel alone, undecoded in colour; other formats the Rec. 601 mix of red, green and blue.
    Raises :class:`PhotoError` for a file that is damaged, cut short or larger than its kind may be.
    """
    return _read(meta, max_side, gray=True)


def read_rgb(meta: PhotoMeta, max_side: int | None = None) -> NDArray[np.uint8]:
    """Colours of a photo, (h, w, 3) uint8 RGB, stored orientation; reduced so that neither side exceeds ``max_side``.

    Raises :class:`PhotoError` as :func:`read_gray` does.
    """
    return _read(meta, max_side, gray=False)


def upright(image: NDArray[_Pixel], orientation: int) -> NDArray[_Pixel]:
    """Turn a stored picture (h, w[, c]) the way a viewer shows it, after Exif orientation 1-8. A view, no copy."""
    if orientation >= 5:
        image = image.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        image = image[::-1]
    if orientation in (2, 3, 6, 7):
        image = image[:, ::-1]
    return image


def upright_points(uv_px: NDArray[np.float64], size_px: tuple[int, int], orientation: int) -> NDArray[np.float64]:
    """Positions (N, 2) in a stored picture of ``size_px`` (width, height) -> positions in its upright view."""
    u, v = np.asarray(uv_px, float).T
    w, h = size_px
    if orientation >= 5:
        u, v, w, h = v, u, h, w
    if orientation in (3, 4, 7, 8):
        v = h - 1 - v
    if orientation in (2, 3, 6, 7):
        u = w - 1 - u
    return np.column_stack([u, v])


def camera_groups(photos: Iterable[PhotoMeta]) -> dict[str, tuple[PhotoMeta, ...]]:
    """Photos by ``camera_id``, in order of appearance."""
    groups: dict[str, list[PhotoMeta]] = {}
    for photo in photos:
        groups.setdefault(photo.camera_id, []).append(photo)
    return {camera: tuple(members) for camera, members in groups.items()}


# ------------------------------------------------------------------------------------------- opening


def _open(path: Path) -> Image.Image:
    """Open the header; every way in which that fails becomes one sentence."""
    try:
        size = path.stat().st_size
    except OSError as error:
        raise PhotoError(Finding("photo-missing", path.name, reason=error.strerror or type(error).__name__)) from None
    if path.is_dir():
        raise PhotoError(Finding("photo-folder", path.name))
    if size == 0:
        raise PhotoError(Finding("photo-empty", path.name))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return Image.open(path)
    except UnidentifiedImageError:
        raise PhotoError(_unknown_kind(path)) from None
    except PermissionError:
        raise PhotoError(Finding("photo-forbidden", path.name)) from None
    except Exception as error:
        raise _damaged(path, error) from error


def _unknown_kind(path: Path) -> Finding:
    """Why Pillow knows no picture in there, by the first bytes."""
    with path.open("rb") as file:
        head = file.read(16)
    if head[4:8] == b"ftyp":
        if head[8:12] in _HEIF_BRANDS:
            return Finding("photo-damaged", path.name)
        return Finding("photo-film", path.name)
    if head[:3] == b"\xff\xd8\xff" or head[:4] == b"\x89PNG" or head[:4] in (b"II*\0", b"MM\0*"):
        return Finding("photo-damaged", path.name)
    if path.suffix.lower() in (".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2"):
        return Finding("photo-raw", path.name)
    return Finding("photo-unknown-kind", path.name)


def _damaged(path: Path, error: Exception) -> PhotoError:
    if isinstance(error, MemoryError):
        return PhotoError(Finding("photo-no-memory", path.name))
    reason = str(error).splitlines()[0].strip().rstrip(".") if str(error) else type(error).__name__
    if "truncat" in reason.lower() or "end of file" in reason.lower():
        return PhotoError(Finding("photo-cut-short", path.name))
    return PhotoError(Finding("photo-unreadable", path.name, reason=reason))


def _check_size(path: Path, image: Image.Image) -> None:
    size = image.size
    if min(size) < constants.LEAST_SIDE_PX:
        sides = {"wide_px": size[0], "high_px": size[1], "least_px": constants.LEAST_SIDE_PX}
        raise PhotoError(Finding("photo-too-small", path.name, **sides))
    limit = constants.PIXEL_LIMIT if image.format in ("JPEG", "MPO", "HEIF") else constants.PLAIN_PIXEL_LIMIT
    if size[0] * size[1] > limit:
        mega = size[0] * size[1] / 1e6, limit / 1e6
        raise PhotoError(Finding("photo-too-large", path.name, size_megapixels=mega[0], limit_megapixels=mega[1]))


def _check_scans(path: Path) -> None:
    """A scan of a progressive JPEG may take fifty bytes and change nothing, and yet costs a pass over the whole picture."""
    data, at, scans = path.read_bytes(), 2, 0
    while (found := _JPEG_MARKER.search(data, at)) and scans <= constants.MOST_SCANS:
        kind, at = data[found.end() - 1], found.end()
        if kind == _JPEG_END:
            return
        scans += kind == _JPEG_SCAN
        at += int.from_bytes(data[at : at + 2], "big")
    if scans > constants.MOST_SCANS:
        reason = f"it has more than {constants.MOST_SCANS} scans, which no camera writes"
        raise PhotoError(Finding("photo-unreadable", path.name, reason=reason))


# ------------------------------------------------------------------------------------------ decoding


def _read(meta: PhotoMeta, max_side: int | None, gray: bool) -> NDArray[np.uint8]:
    path = Path(meta.path)
    with _open(path) as image:
        _check_size(path, image)
        if image.info.get("progressive"):
            _check_scans(path)
        try:
            if image.format == "HEIF":
                pixels = heif.stored(_decode_heif(path, gray), heif.transforms_of(path))
            else:
                pixels = _decode_pillow(image, path, max_side, gray)
        except PhotoError:
            raise
        except Exception as error:  # decoders raise OSError, SyntaxError, ValueError, struct.error, zlib.error ...
            raise _damaged(path, error) from error
    height, width = pixels.shape[:2]
    if max_side and max(height, width) > max_side:
        scale = max_side / max(height, width)
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        pixels = np.asarray(cv2.resize(np.ascontiguousarray(pixels), size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.ascontiguousarray(pixels)


def _decode_pillow(image: Image.Image, path: Path, max_side: int | None, gray: bool) -> NDArray[np.uint8]:
    if image.format in ("JPEG", "MPO"):
        size = image.size
        if max_side and max(size) > max_side:
            scale = max_side / max(size)
            size = (max(1, int(size[0] * scale)), max(1, int(size[1] * scale)))
        if not gray and image.size[0] * image.size[1] > constants.RGB_PILLOW_LIMIT and size == image.size:
            return _decode_large_jpeg(image, path)
        if image.mode in ("RGB", "L"):
            image.draft("L" if gray else "RGB", size)
    if image.mode.startswith("I;16") or image.mode in ("I", "F"):
        levels = _eight_bits(np.asarray(image))
        return levels if gray else np.repeat(levels[..., None], 3, axis=2)
    if image.mode not in ("L", "RGB"):
        if image.mode in ("1", "LA", "La") and gray:
            return np.asarray(image.convert("L"))
        image = image.convert("RGB")
    if gray:
        return np.asarray(image if image.mode == "L" else image.convert("L"))
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))


def _decode_large_jpeg(image: Image.Image, path: Path) -> NDArray[np.uint8]:
    """Colours of a huge JPEG in 3 bytes a pixel; Pillow would need 4 and a copy."""
    image.draft("L", (max(1, image.width // 8), max(1, image.height // 8)))
    image.load()  # the whole file is read: raises where it is cut short, which OpenCV passes over in silence
    data = np.fromfile(path, np.uint8)
    pixels = cv2.imdecode(data, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    if pixels is None:
        raise OSError("the JPEG data cannot be decoded")
    return np.asarray(pixels, np.uint8)


def _eight_bits(levels: NDArray[Any]) -> NDArray[np.uint8]:
    """16-bit or float levels to 8 bits. 12-bit data in 16-bit files is recognised by its largest value."""
    if levels.dtype.kind == "f":
        top = float(np.nanmax(levels, initial=0.0))
        white = constants.WHITE_8_BIT
        full = 1.0 if top <= 1.0 else white if top <= white else constants.WHITE_16_BIT
        return np.asarray(np.clip(np.nan_to_num(levels) * (white / full) + constants.ROUNDED, 0, white), np.uint8)
    top = int(levels.max(initial=0))
    shift = 8 if top > constants.HIGHEST_12_BIT else 4 if top > 255 else 0
    return np.asarray(np.clip(levels >> shift, 0, 255), np.uint8)


def _decode_heif(path: Path, gray: bool) -> NDArray[np.uint8]:
    """The primary picture as decoded (turned by the container), without Pillow's own copy of it."""
    file = pillow_heif.open_heif(path, convert_hdr_to_8bit=True, remove_stride=False)
    picture = file[file.primary_index]
    data = picture.data
    width, height = picture.size
    if picture.mode == "I;16":  # 10 and 12 bits of grey come scaled to 16, whatever conversion is asked for
        levels = np.frombuffer(data, np.uint16)[: picture.stride // 2 * height].reshape(height, picture.stride // 2)
        grey = (levels[:, :width] >> 8).astype(np.uint8)
        return grey if gray else np.repeat(grey[..., None], 3, axis=2)
    channels = {"L": 1, "LA": 2, "La": 2, "RGB": 3, "RGBA": 4, "RGBa": 4}[picture.mode]
    rows = np.frombuffer(data, np.uint8)[: picture.stride * height].reshape(height, picture.stride)
    pixels = rows[:, : width * channels].reshape(height, width, channels)
    if channels <= 2:
        luma = pixels[..., 0]
        return luma if gray else np.repeat(luma[..., None], 3, axis=2)
    if not gray:
        return pixels[..., :3]
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY if channels == 3 else cv2.COLOR_RGBA2GRAY), np.uint8)


def _before_the_turn(meta: PhotoMeta) -> PhotoMeta:
    """Orientation and size of a HEIC before the container's own turn."""
    try:
        transforms = heif.transforms_of(meta.path)
    except (ValueError, OSError) as error:
        raise _damaged(meta.path, error) from error
    mark = np.arange(6).reshape(2, 3)
    shown = heif.apply(mark, transforms)
    orientation = next(k for k in range(1, 9) if np.array_equal(upright(mark, k), shown))
    size = meta.size_px if orientation < 5 else (meta.size_px[1], meta.size_px[0])
    return replace(meta, orientation=orientation, size_px=size)
