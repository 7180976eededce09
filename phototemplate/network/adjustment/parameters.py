"""The blocks of unknowns of an adjustment: one table of what they are called and how many numbers each has.

Their names are the names of the influences that travel with every result:

==============================  =======================================================================
``lens:<camera>:<parameter>``   lens parameters, in the model's order
``photo:<photo>:<c>``           pose c = wx wy wz tx ty tz (perturbation of cam_from_world)
``photo:<photo>:<c>``           exposure, see :data:`EXPOSURE`; only the components in use
``body:<target>:<c>``           pose c = wx wy wz tx ty tz (perturbation of world_from_target)
``body:<target>:<c>``           print scale c = sx sy
``body:<target>:<c>``           curl c = cxx cxy cyy, where released
``print:<batch>:<c>``           c = sx sy: common print scale of one kind of target
``plane:<c>``                   c = h nx ny: common plane of the sheets, only where a single photo needs it
``point:<target>:<n>:<c>``      c = x y z: free points that a known length ends at
==============================  =======================================================================
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from phototemplate.model import IntArray
from phototemplate.model.network import EXPOSURE

POSE = ("wx", "wy", "wz", "tx", "ty", "tz")
SCALE = ("sx", "sy")
CURL = ("cxx", "cxy", "cyy")
PRINT = ("sx", "sy")
PLANE = ("h", "nx", "ny")
POINT = ("x", "y", "z")


@dataclass(frozen=True)
class Layout:
    """Places of the blocks in the Jacobian of one sighting, whose target is a rigid body or a free point."""

    lens_width: int
    """Parameters of the widest lens model of the problem"""

    @property
    def lens(self) -> slice:
        return slice(0, self.lens_width)

    @property
    def pose(self) -> slice:
        return self._after(self.lens, len(POSE))

    @property
    def exposure(self) -> slice:
        return self._after(self.pose, len(EXPOSURE))

    @property
    def body(self) -> slice:
        """Pose of the body"""
        return self._after(self.exposure, len(POSE))

    @property
    def scale(self) -> slice:
        return self._after(self.body, len(SCALE))

    @property
    def curl(self) -> slice:
        return self._after(self.scale, len(CURL))

    @property
    def point(self) -> slice:
        """In place of the body's pose"""
        return self._after(self.exposure, len(POINT))

    @property
    def width(self) -> int:
        return int(self.curl.stop)

    @staticmethod
    def _after(block: slice, size: int) -> slice:
        return slice(block.stop, block.stop + size)


def lens_names(camera_id: str, parameters: Sequence[str]) -> list[str]:
    """Influence names of one camera's lens."""
    return [f"lens:{camera_id}:{p}" for p in parameters]


def pose_names(photo_id: str) -> list[str]:
    """Influence names of one photo's pose."""
    return [f"photo:{photo_id}:{c}" for c in POSE]


def exposure_names(photo_id: str, components: Sequence[str] = EXPOSURE) -> list[str]:
    """Influence names of what one exposure did."""
    return [f"photo:{photo_id}:{c}" for c in components]


def body_names(target_id: str) -> list[str]:
    """Influence names of one rigid target: pose and print scale."""
    return [f"body:{target_id}:{c}" for c in POSE + SCALE]


def curl_names(target_id: str) -> list[str]:
    """Influence names of one rigid target's curl."""
    return [f"body:{target_id}:{c}" for c in CURL]


def print_names(batch: str) -> list[str]:
    """Influence names of the common print scale of one batch."""
    return [f"print:{batch}:{c}" for c in PRINT]


def plane_names() -> list[str]:
    """Influence names of the common plane of the sheets."""
    return [f"plane:{c}" for c in PLANE]


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
