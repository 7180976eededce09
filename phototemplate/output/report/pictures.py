"""Pictures inside the report: reduced, JPEG, as ``data:`` addresses."""

from __future__ import annotations

import base64
import io

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

Rgb = NDArray[np.uint8]


def jpeg_address(rgb: Rgb, quality: int) -> Markup:
    """``data:image/jpeg;base64,...`` of an RGB picture (h, w, 3)."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(rgb)).save(stream, "JPEG", quality=quality, optimize=True, progressive=True)
    return Markup("data:image/jpeg;base64," + base64.b64encode(stream.getvalue()).decode("ascii"))


def reduced(rgb: Rgb, longer_side_px: int) -> Rgb:
    """The picture with its longer side at most so long."""
    from PIL import Image

    h, w = rgb.shape[:2]
    if max(h, w) <= longer_side_px:
        return rgb
    scale = longer_side_px / max(h, w)
    size = (max(round(w * scale), 1), max(round(h * scale), 1))
    return np.asarray(Image.fromarray(np.ascontiguousarray(rgb)).resize(size, Image.Resampling.BOX))
