"""Photos whose pixels software has turned by half a turn: the lens is the same, but its axis meets the picture on the other
side.

A program that applies the Exif turn and drops it (messengers do) leaves pictures of one size that were turned differently: a
phone held the other way up gives the same size with the principal point mirrored at the middle, and the decentring with it.
Which photos they are is not asked of each alone: what the exposures seem to do to their images falls into two groups, on either
side of the middle, and the whole job has to fit better with the smaller group turned. Its photos then are a second camera, tied
to the first as the half turn asks; that takes no further parameter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from phototemplate.model import Array, PhotoMeta, Target
from phototemplate.network import constants, photo_camera
from phototemplate.network.adjustment.adjustment_state import Adjustment, solve
from phototemplate.network.adjustment.setup import set_up, tie
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.relative_poses import Start
from phototemplate.network.orientation.views import TargetView
from phototemplate.settings import AdjustmentSettings


def may_be_turned(meta: PhotoMeta) -> bool:
    """Whether software may have turned the pixels: no Exif data left, or an upright picture without an Exif turn."""
    silent = not (meta.make or meta.model or meta.focal_mm)
    return meta.orientation == 1 and (silent or meta.size_px[1] > meta.size_px[0])


def turned_pictures(
    views: Mapping[str, Mapping[str, TargetView]],
    metas: Mapping[str, PhotoMeta],
    camera_of: Mapping[str, str],
    start: Start,
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
    settings: AdjustmentSettings,
) -> tuple[dict[str, str], Start, list[LensStart], tuple[tuple[str, str], ...]]:
    """Cameras by photo, start, lenses and pairs of cameras that are one lens before and after a half turn.

    Everything comes back as it was, with no pairs, where no photo may be turned or the photos do not speak for it.
    """
    profiled = {s.camera_id for s in lenses if s.source == "profile"}
    groups: dict[str, list[str]] = {}
    for p in start.photos:
        if may_be_turned(metas[p]) and camera_of[p] not in profiled:
            groups.setdefault(camera_of[p], []).append(p)
    groups = {c: members for c, members in groups.items() if len(members) >= 2}
    cameras, begun, used, ties = dict(camera_of), start, list(lenses), ()
    if not groups:
        return cameras, begun, used, ties

    def solved(
        cameras: Mapping[str, str], begun: Start, used: Sequence[LensStart], tied: Sequence[Sequence[str]]
    ) -> Adjustment:
        run, _ = set_up(views, cameras, begun, used, targets, settings)
        return solve(tie(run, tied), huber=3 * settings.huber, tolerance=1e-1, damping=1e-4)

    run = solved(cameras, begun, used, ties)
    pairs: list[tuple[str, str]] = []
    for camera, members in groups.items():
        offset = _offsets(run, camera, members)
        side = offset @ np.linalg.svd(offset)[2][0]
        turned = [p for p, s in zip(members, side, strict=True) if s < 0]
        if len(turned) > len(members) / 2:
            turned = [p for p in members if p not in turned]
        # Two groups, not a stabiliser's scatter: each photo about as far from the middle as the others.
        if not turned or np.abs(side).std() > constants.TURNED_SCATTER * np.abs(side).mean():
            continue
        sign = np.where(np.isin(members, turned), -1.0, 1.0)
        tried = _split(camera, turned, (sign[:, None] * offset).mean(axis=0), cameras, begun, used)
        other = solved(*tried, [*pairs, (camera, f"{camera} turned")])
        # Each photo was free to be in either group: its choice counts as one bit.
        gain = 2 * (run.solved.cost - other.solved.cost) / run.noise() ** 2
        if gain > constants.TURNED_EVIDENCE + 2 * len(members) * np.log(2):
            run, (cameras, begun, used) = other, tried
            pairs.append((camera, f"{camera} turned"))
    return cameras, begun, used, tuple(pairs)


def _offsets(run: Adjustment, camera: str, members: Sequence[str]) -> Array:
    """(n, 2) where the axis meets each picture, from its middle."""
    problem = run.problem
    c = problem.camera_ids.index(camera)
    middle = (np.array(problem.sensors[c].size_px) - 1) / 2
    rows = [problem.photo_ids.index(p) for p in members]
    return np.asarray(run.state.lenses[c][2:4] + run.state.exposure[rows][:, photo_camera.CENTRE] - middle)


def _split(
    camera: str, turned: Sequence[str], offset: Array, camera_of: Mapping[str, str], start: Start, lenses: Sequence[LensStart]
) -> tuple[dict[str, str], Start, list[LensStart]]:
    """The turned photos become a camera of their own, its axis on the other side of the middle."""
    old = next(s for s in lenses if s.camera_id == camera)
    name, middle = f"{camera} turned", (np.array(old.size_px) - 1) / 2
    first, second = start.lenses[camera].copy(), start.lenses[camera].copy()
    first[2:4], second[2:4] = middle + offset, middle - offset
    cameras = {**camera_of, **dict.fromkeys(turned, name)}
    begun = replace(start, lenses={**start.lenses, camera: first, name: second})
    return cameras, begun, [*lenses, replace(old, camera_id=name)]
