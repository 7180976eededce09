"""Photos whose pixels software may have turned: then the lens is the same, but not where its axis meets the picture.

A program that applies the Exif turn and drops it (messengers do) leaves pictures of one size that were turned differently:
a phone held the other way up gives the same size with the principal point on the other side. Where the photos speak for
it, each such photo gets a principal point and decentring of its own, tied to the others in principal distance and radial
distortion.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from phototemplate.model import PhotoMeta, Target
from phototemplate.network.adjustment.adjustment_state import solve
from phototemplate.network.adjustment.setup import set_up, tie
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.relative_poses import Start
from phototemplate.network.orientation.views import View
from phototemplate.settings import AdjustmentSettings

OWN = {"cx", "cy", "aspect", "p1", "p2"}
"""Lens parameters that change when a picture is turned"""


def may_be_turned(meta: PhotoMeta) -> bool:
    """Whether software may have turned the pixels: no Exif data left, or an upright picture without an Exif turn."""
    silent = not (meta.make or meta.model or meta.focal_mm)
    return meta.orientation == 1 and (silent or meta.size_px[1] > meta.size_px[0])


def own_centres(
    views: Mapping[str, Mapping[str, View]],
    metas: Mapping[str, PhotoMeta],
    camera_of: Mapping[str, str],
    start: Start,
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
    settings: AdjustmentSettings,
) -> tuple[dict[str, str], Start, list[LensStart], tuple[tuple[str, ...], ...]]:
    """Cameras by photo, start, lenses and groups of cameras that share one lens, after asking whether photos were turned.

    Everything comes back as it was, with no groups, where no photo may be turned or the photos do not speak for it: the
    robust sum of squares must drop by more than the further parameters times the logarithm of the number of sightings
    (criterion of Schwarz, Annals of Statistics 6 (1978) 461-464).
    """
    same = dict(camera_of), start, list(lenses), ()
    profiled = {s.camera_id for s in lenses if s.source == "profile"}
    groups: dict[str, list[str]] = {}
    for p in start.photos:
        if may_be_turned(metas[p]) and camera_of[p] not in profiled:
            groups.setdefault(camera_of[p], []).append(p)
    groups = {c: members for c, members in groups.items() if len(members) >= 2}
    if not groups:
        return same
    count = sum(len(v.uv) for p in start.photos for v in views[p].values())

    def cost(cameras: Mapping[str, str], begun: Start, used: Sequence[LensStart], tied: Sequence[Sequence[str]]) -> float:
        run, _ = set_up(views, cameras, begun, used, targets, settings)
        return solve(tie(run, tied), huber=3 * settings.huber, tolerance=1e-1, damping=1e-4).solved.cost

    now, cameras, begun, used = cost(camera_of, start, lenses, ()), dict(camera_of), start, list(lenses)
    ties: tuple[tuple[str, ...], ...] = ()
    for camera, members in groups.items():
        tried = _split(camera, members, cameras, begun, used)
        tied = (*ties, tuple(tried[0][p] for p in members))
        new = cost(*tried, tied)
        if 2 * (now - new) > (len(OWN) - 1) * (len(members) - 1) * np.log(2 * count):
            now, ties, (cameras, begun, used) = new, tied, tried
    return cameras, begun, used, ties


def _split(
    camera: str, members: Sequence[str], camera_of: Mapping[str, str], start: Start, lenses: Sequence[LensStart]
) -> tuple[dict[str, str], Start, list[LensStart]]:
    """Every photo of one camera becomes a camera of its own, with its axis in the middle of the picture to start with."""
    old = next(s for s in lenses if s.camera_id == camera)
    cameras = {**camera_of, **{p: f"{camera} {p}" for p in members}}
    params = start.lenses[camera].copy()
    params[2:4] = (np.array(old.size_px) - 1) / 2
    kept = {c: v for c, v in start.lenses.items() if c != camera}
    new_start = replace(start, lenses=kept | {cameras[p]: params.copy() for p in members})
    used = [s for s in lenses if s.camera_id != camera] + [replace(old, camera_id=cameras[p]) for p in members]
    return cameras, new_start, used
