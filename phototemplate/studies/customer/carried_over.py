"""Corners of the top where they should be in photos in which nobody has clicked them, moved onto what is seen there.

The fitted plane and cameras say where a corner lies in every photo. That alone says nothing new: it counts as a click only
once the two edges that meet in it are seen near there, and moved it to where they cross.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.tracing.step_position import to_light
from phototemplate.model import Array, GrayImage
from phototemplate.studies.clicked import ClickedPlan
from phototemplate.studies.clicked_problem import ClickedLoop
from phototemplate.studies.customer import constants as c
from phototemplate.studies.known_sizes import side_line


@dataclass(frozen=True)
class CarriedOver:
    """A corner in a photo in which it was not clicked."""

    name: str
    uv_px: Array
    """(2,)"""
    seen: bool
    """Two edges were found that cross there; else it is only where the fit expects it"""


def expected(plan: ClickedPlan, photo_id: str) -> dict[str, Array]:
    """Where every clicked point lies in a photo of the fit, (2,) px; points outside of the picture are left out."""
    problem, x = plan.problem, plan.solution
    k = next(i for i, p in enumerate(problem.photos) if p.meta.photo_id == photo_id)
    uv, *_ = problem.project(x, k, problem.points(x))
    rotation, eye = problem.pose(x, k)
    ahead = (np.column_stack([problem.points(x), np.zeros(len(uv))]) - eye) @ rotation[2]
    size = np.array(problem.photos[k].meta.size_px)
    shown = (ahead > c.LEAST_AHEAD_M) & np.all((uv > 0) & (uv < size - 1), axis=1)
    return {name: uv[i] for i, name in enumerate(problem.names) if shown[i]}


def carried_over(
    plan: ClickedPlan, photo_id: str, loops: Sequence[ClickedLoop], gray: Callable[[], GrayImage]
) -> list[CarriedOver]:
    """Corners that were not clicked in a photo; ``gray`` gives its picture (h, w) when there is something to look for."""
    problem = plan.problem
    photo = next(p for p in problem.photos if p.meta.photo_id == photo_id)
    where = expected(plan, photo_id)
    picture: GrayImage | None = None
    out = []
    for name, uv in where.items():
        if name in photo.points:
            continue
        ends = _neighbours(name, loops, where | {n: p for n, p in photo.points.items() if n in where})
        found = None
        if len(ends) == 2:
            picture = gray() if picture is None else picture
            found = snapped(picture, uv, ends)
        out.append(CarriedOver(name, uv if found is None else found, found is not None))
    return out


def _neighbours(name: str, loops: Sequence[ClickedLoop], where: Mapping[str, Array]) -> list[Array]:
    for loop in loops:
        if name in loop.corners:
            k = loop.corners.index(name)
            both = loop.corners[k - 1], loop.corners[(k + 1) % len(loop.corners)]
            return [where[n] for n in both if n in where]
    return []


def snapped(gray: GrayImage, uv: Array, ends: Sequence[Array]) -> Array | None:
    """A corner (2,) px moved to where the two edges towards ``ends`` cross; None where they are not seen or cross elsewhere."""
    reach = c.SNAP_REACH * max(gray.shape)
    most = c.SNAP_ALONG * max(gray.shape)
    low = np.maximum(np.floor(uv - c.SNAP_WINDOW * most - 2 * reach).astype(int), 0)
    high = np.ceil(uv + c.SNAP_WINDOW * most + 2 * reach).astype(int)
    light = to_light(gray[low[1] : high[1], low[0] : high[0]].astype(float))
    at = uv.copy()
    for shrink in (1.0, 0.5):  # the second time from a better place, within less
        lines = []
        for end in ends:
            along = end - at
            length = float(np.linalg.norm(along))
            if length < c.SNAP_LEAST_PX:
                return None
            stretch = along / length * min(most, c.SNAP_SHARE * length)
            line = side_line(light, at + 0.1 * stretch - low, at + stretch - low, shrink * reach)
            if line is None:
                return None
            lines.append(line)
        normals = np.array([line[0] for line in lines])
        if abs(float(np.linalg.det(normals))) < c.SNAP_CROSSING:
            return None
        at = np.linalg.solve(normals, np.array([line[1] for line in lines])) + low
        if np.linalg.norm(at - uv) > c.SNAP_MOST * reach:
            return None
    return np.asarray(at)
