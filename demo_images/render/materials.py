"""Mitsuba set up once, and how each material scatters light."""

from __future__ import annotations

import glob
import os
from typing import Any

import numpy as np

from .textures import PLAIN, texture

if "DRJIT_LIBLLVM_PATH" not in os.environ:  # LLVM 14 and 15 abort on AVX-512 code; 19 works
    _found = sorted(glob.glob("/usr/lib/*-linux-gnu/libLLVM.so.19*"))
    if _found:
        os.environ["DRJIT_LIBLLVM_PATH"] = _found[0]
try:
    import mitsuba as mi
except ImportError as error:  # the product itself never needs it
    raise SystemExit("rendering needs Mitsuba: install the extra with  pip install '.[render]'") from error

mi.set_variant("llvm_ad_rgb")

GLOSS: dict[str, tuple[float, float]] = {
    "wood_dark": (0.35, 0.35),
    "melamine": (0.38, 0.35),
    "painted": (0.42, 0.30),
    "tile_floor": (0.30, 0.40),
    "steel": (0.28, 0.90),
    "aluminium": (0.35, 0.80),
    "wood_mid": (0.40, 0.35),
    "wood_light": (0.42, 0.30),
    "gloss_white": (0.10, 0.50),
    "navy": (0.30, 0.40),
    "graphite": (0.14, 0.50),
    "sage": (0.45, 0.30),
    "cream": (0.40, 0.30),
    "abs_white": (0.35, 0.35),
    "abs_dark": (0.35, 0.35),
    "film_blue": (0.15, 0.50),
    "laminate": (0.30, 0.40),
    "stone_dark": (0.10, 0.55),
    "marble": (0.12, 0.50),
    "wood_floor": (0.35, 0.35),
    "glass_black": (0.12, 0.60),
    "ceramic": (0.15, 0.50),
    "paper_gloss": (0.30, 0.40),
}
"""Roughness and specular level of the materials that shine; all others are matt."""


def bitmap(array: Any, wrap: str = "repeat") -> dict[str, Any]:
    """A bilinear texture without mip-maps, so that nothing is blurred."""
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(array, np.float32)),
        "raw": True,
        "filter_type": "bilinear",
        "wrap_mode": wrap,
        "format": "fp16",
    }


def bsdf(name: str, reflectance: dict[str, Any]) -> Any:
    if name in GLOSS:
        rough, spec = GLOSS[name]
        inner = {"type": "principled", "base_color": reflectance, "roughness": rough, "specular": spec}
    else:
        inner = {"type": "diffuse", "reflectance": reflectance}
    return mi.load_dict({"type": "twosided", "b": inner})


def material(name: str) -> Any:
    """The BSDF of a named material."""
    return bsdf(name, {"type": "rgb", "value": list(PLAIN[name])} if name in PLAIN else bitmap(texture(name)))
