"""HEIC/HEIF pictures as their sensor wrote them.

Decoders apply the container's own turn and mirror (``irot`` and ``imir``, ISO/IEC 23008-12:2022 6.5.10 and 6.5.12)
before anybody sees a pixel, so a phone held upright yields a picture whose axes are swapped against those of a phone
held sideways. Lens parameters belong to the sensor. ``transforms_of`` reads the two properties of the primary picture
and ``stored`` takes them back; the turn is reported as the Exif orientation that a JPEG of the same shot would carry.
An Exif orientation inside a HEIC is ignored, as the standard asks.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Transform = tuple[str, int]
"""``("irot", quarter turns anticlockwise)`` or ``("imir", axis)``; axis 0 swaps left and right, 1 top and bottom."""
_Pixel = TypeVar("_Pixel", bound=np.generic)


def transforms_of(path: Path) -> tuple[Transform, ...]:
    """Turns and mirrors of the primary picture in the order of application; ``ValueError`` on a broken file."""
    try:
        meta = _meta_box(path)
        boxes = dict(_boxes(meta, 4))
        pitm = boxes[b"pitm"]
        primary = struct.unpack_from(">H" if pitm[0] == 0 else ">I", pitm, 4)[0]
        iprp = list(_boxes(boxes.get(b"iprp", b""), 0))
        properties = [box for kind, body in iprp if kind == b"ipco" for box in _boxes(body, 0)]
        found: list[Transform] = []
        for kind, body in iprp:
            if kind != b"ipma":
                continue
            for index in _associations(body, primary):
                name, value = properties[index - 1]
                if name == b"irot":
                    found.append(("irot", value[0] & 3))
                elif name == b"imir":
                    found.append(("imir", value[0] & 1))
        return tuple(t for t in found if t != ("irot", 0))
    except (KeyError, IndexError, struct.error) as error:
        raise ValueError(f"damaged HEIF container ({error})") from error


def apply(image: NDArray[_Pixel], transforms: tuple[Transform, ...]) -> NDArray[_Pixel]:
    """What a decoder does: turns and mirrors in order. A view, no copy."""
    for name, value in transforms:
        image = np.rot90(image, value) if name == "irot" else np.flip(image, 1 - value)
    return image


def stored(image: NDArray[_Pixel], transforms: tuple[Transform, ...]) -> NDArray[_Pixel]:
    """The inverse of ``apply``: a decoded picture (h, w[, c]) back to the sensor's own axes. A view, no copy."""
    for name, value in reversed(transforms):
        image = np.rot90(image, -value) if name == "irot" else np.flip(image, 1 - value)
    return image


def _meta_box(path: Path) -> bytes:
    """Body of the top-level ``meta`` box; only box headers and that box are read."""
    with path.open("rb") as file:
        end = file.seek(0, 2)
        at = 0
        while at + 8 <= end:
            file.seek(at)
            size, kind = struct.unpack(">I4s", file.read(8))
            head = 8
            if size == 1:
                size, head = struct.unpack(">Q", file.read(8))[0], 16
            elif size == 0:
                size = end - at
            if size < head:
                break
            if kind == b"meta":
                return file.read(min(size - head, 16_000_000))
            at += size
    raise KeyError("no meta box")


def _boxes(data: bytes, at: int) -> Iterator[tuple[bytes, bytes]]:
    while at + 8 <= len(data):
        size, kind = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", data, at + 8)[0], 16
        elif size == 0:
            size = len(data) - at
        if size < head:
            return
        yield kind, data[at + head : at + size]
        at += size


def _associations(body: bytes, item: int) -> list[int]:
    """Property indices (from 1) of one item in an ``ipma`` box."""
    version, wide = body[0], body[3] & 1
    count = struct.unpack_from(">I", body, 4)[0]
    at = 8
    for _ in range(count):
        ident, n = struct.unpack_from(">HB" if version < 1 else ">IB", body, at)
        at += 3 if version < 1 else 5
        step: Any = 2 if wide else 1
        if ident == item:
            if wide:
                return [struct.unpack_from(">H", body, at + 2 * k)[0] & 0x7FFF for k in range(n)]
            return [body[at + k] & 0x7F for k in range(n)]
        at += n * step
    return []
