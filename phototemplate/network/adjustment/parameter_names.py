"""Names and places of the adjustment's shared parameters (the *influences*).

==============================  =======================================================================
``lens:<camera>:<parameter>``   lens parameters, in the model's order
``photo:<photo>:<c>``           c = wx wy wz tx ty tz (perturbation of cam_from_world), focus
``body:<target>:<c>``           c = wx wy wz tx ty tz (perturbation of world_from_target), sx sy, and cxx cxy
                                cyy where curl is released
``print:<batch>:<c>``           c = sx sy: common print scale of one kind of target
``plane:<c>``                   c = h nx ny: common plane of the sheets, only where a single photo needs it
``point:<target>:<n>:<c>``      c = x y z: free points that a known length ends at
==============================  =======================================================================
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from phototemplate.model import IntArray

POSE = ("wx", "wy", "wz", "tx", "ty", "tz")
PHOTO = (*POSE, "focus")
BODY = (*POSE, "sx", "sy")
CURL = ("cxx", "cxy", "cyy")
PRINT = ("sx", "sy")
PLANE = ("h", "nx", "ny")
POINT = ("x", "y", "z")


def lens_names(camera_id: str, parameters: Sequence[str]) -> list[str]:
    """Influence names of one camera."""
    return [f"lens:{camera_id}:{p}" for p in parameters]


def photo_names(photo_id: str) -> list[str]:
    """Influence names of one photo: pose perturbation and focus."""
    return [f"photo:{photo_id}:{c}" for c in PHOTO]


def body_names(target_id: str, curl: bool = True) -> list[str]:
    """Influence names of one rigid target: pose perturbation, print scale and, if asked, curl."""
    return [f"body:{target_id}:{c}" for c in (BODY + CURL if curl else BODY)]


def print_names(batch: str) -> list[str]:
    """Influence names of the common print scale of one batch."""
    return [f"print:{batch}:{c}" for c in PRINT]


def point_names(target_id: str, point_id: int) -> list[str]:
    """Influence names of one free point that a known length ends at."""
    return [f"point:{target_id}:{point_id}:{c}" for c in POINT]


@lru_cache(maxsize=64)
def index_of(names: tuple[str, ...]) -> Mapping[str, int]:
    """Column of each influence name."""
    return {name: k for k, name in enumerate(names)}


def present(names: tuple[str, ...], wanted: Sequence[str]) -> tuple[IntArray, IntArray]:
    """Which of the wanted names exist: their places in ``wanted`` and their columns in ``names``."""
    index = index_of(names)
    pairs = [(k, index[name]) for k, name in enumerate(wanted) if name in index]
    both = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return both[:, 0], both[:, 1]
