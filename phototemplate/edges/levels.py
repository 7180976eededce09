"""Which level of the tops does an edge lie on? Where tops lie on several, each edge is looked for on every one it may lie on.

On a level the work plane is moved to it, and everything is as in a kitchen with one: the path that was drawn is dropped onto
the level, its own sheets say at which height the edge is to be expected and on which side the cabinets lie. On a wrong level a
path that was clicked in a photo runs elsewhere, where no surface ends. The edge lies where the photos show one.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from phototemplate.edges.readings.constants import CERTAIN
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources import SOURCES
from phototemplate.edges.sources.hints import hint_path
from phototemplate.edges.sources.result import Found
from phototemplate.errors import Finding
from phototemplate.model import EdgeHint
from phototemplate.network.workplane import on_level

BY_NAME = {source.NAME: source for source in SOURCES}


def scenes_by_level(scene: Scene) -> dict[str, Scene]:
    """Level -> the scene with z = 0 there, the main level first; papers are masked once for all."""
    names = [one.name for one in scene.plane.levels]
    return {name: replace(scene, plane=on_level(scene.plane, name)) for name in names}


def measure_on_levels(scene: Scene, scenes: Mapping[str, Scene], hint: EdgeHint) -> Found:
    """Points of one edge on the level it lies on, their heights over the work plane.

    A level that somebody named is taken. Else the edge is looked for on every level of which a sheet lies near it; where more
    than one may have it, it is lost with a finding that names them.
    """
    source = BY_NAME[hint.source]
    if hint.level and hint.level not in scenes:
        return Found(None, (), (Finding("edge-level-unknown", hint.edge_id, level=hint.level, levels=tuple(scenes)),))
    if hint.source != "trace" or hint.height_mm or len(scenes) < 2:
        found = source.measure(scene, hint)
        return _named(found, _level_of(scene, hint, found), 0.0) if len(scenes) > 1 else found
    tried = {}
    for name in [hint.level] if hint.level else _near(scenes, hint):
        up = scene.plane.translation_mm[2] - scenes[name].plane.translation_mm[2]
        tried[name] = _named(source.measure(scenes[name], hint), name, float(up))
    seen = sorted((n for n, found in tried.items() if found.points is not None), key=lambda n: -tried[n].probability)
    if not tried:  # no sheet is near it on any level
        nowhere: Found = source.measure(scene, hint)
        return nowhere
    if len(seen) < 2:
        return tried[seen[0]] if seen else next(iter(tried.values()))
    first, second = (min(tried[n].probability, 1.0 - 1e-9) for n in seen[:2])
    odds = first * (1.0 - second) / max(second * (1.0 - first), 1e-12)
    if odds < CERTAIN / (1.0 - CERTAIN):
        return Found(None, (), (Finding("edge-level-unclear", hint.edge_id, level=seen[0], other=seen[1]),))
    return tried[seen[0]]


def _named(found: Found, level: str, up_mm: float) -> Found:
    if found.points is None or found.points.source == "strip":
        return found
    return replace(found, points=replace(found.points, level=level, height_mm=found.points.height_mm + up_mm))


def _level_of(scene: Scene, hint: EdgeHint, found: Found) -> str:
    """The level said, or that nearest in height to an edge that was measured in the work plane's own frame."""
    if hint.level or found.points is None:
        return hint.level
    height = float(np.mean(found.points.height_mm))
    return min(scene.plane.levels, key=lambda one: abs(one.height_mm - height)).name


def _near(scenes: Mapping[str, Scene], hint: EdgeHint) -> list[str]:
    """Levels that a hint may lie on: that of the sheet it is anchored to, or those with a sheet near its path."""
    if hint.anchor == "sheet":
        mine = [n for n, s in scenes.items() if any(h.name == hint.anchor_id for h in s.plane.heights)]
        if mine:
            return mine
    near = []
    for name, scene in scenes.items():
        path = hint_path(scene, hint)
        if path is None:
            continue
        parts = np.linspace(0.0, 1.0, 9)[:, None]
        along = np.vstack([a + parts * (b - a) for a, b in itertools.pairwise(path)])
        sheets = np.array([h.xy_mm for h in scene.plane.heights])
        if np.linalg.norm(along[:, None] - sheets[None], axis=2).min() < scene.settings.height_reach_mm:
            near.append(name)
    return near
