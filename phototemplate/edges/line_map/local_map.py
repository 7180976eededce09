"""The lines in space near one path, with everything that a decision about them needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges import constants as c
from phototemplate.edges.line_map.constants import HOUGH_STEP_MM, SETTLED_BEYOND_MM
from phototemplate.edges.line_map.space_hough import HoughCells, HoughLine, hough_lines
from phototemplate.edges.line_map.space_lines import SpaceLine, settle
from phototemplate.edges.line_map.surface_end import SurfaceTest, surface_test
from phototemplate.edges.scene import Scene
from phototemplate.edges.tracing.expected_height import Levels
from phototemplate.edges.tracing.grey_profiles import Band, Steps, find_steps, sample_band
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.model import Array


@dataclass(frozen=True)
class MappedLine:
    """One line of the map."""

    line: SpaceLine
    surface: SurfaceTest
    """Does the surface at its own height end there?"""
    borrowed: bool
    """Its steps are those of other lines that more photos agree on"""


@dataclass(frozen=True)
class LocalMap:
    """What the photos show near a path."""

    stations: Stations
    levels: Levels
    """Expected height of the cabinet tops"""
    outward: float
    """+1 where the room lies to the left of the path, -1 to the right, 0 where the sheets do not tell"""
    lines: list[MappedLine]
    bands: list[Band]
    steps: list[Steps]
    nodes_mm: Array
    base_mm: Array
    """(N,) height at which the bands were sampled"""


def map_lines(scene: Scene, stations: Stations, levels: Levels, outward: float, search_mm: float, straight: bool) -> LocalMap:
    """Lines in space within ``search_mm`` of the stations that the photos' grey steps agree on, and the surface beside each."""
    settings = scene.settings
    base = levels.height_mm
    reach = search_mm + settings.search_low_mm
    bands = []
    for photo_id in scene.network.photos:
        band = sample_band(scene, photo_id, stations, base, reach, c.LEAST_BAND_PX, settings.rows_per_station // 2)
        if band is not None and np.logical_not(band.covered).any(axis=1).sum() >= max(3, c.OPEN_SHARE * len(stations)):
            bands.append(band)
    steps = [find_steps(b, c.STEP_BLUR_PX, settings.least_strength) for b in bands]
    keep = [k for k, s in enumerate(steps) if len(s.station)]
    bands, steps = [bands[k] for k in keep], [steps[k] for k in keep]
    sections = 1 if straight else max(2, round(float(np.ptp(stations.along_mm)) / c.BEND_EVERY_MM))
    nodes = np.linspace(stations.along_mm[0], stations.along_mm[-1], sections + 1)
    if not bands:
        return LocalMap(stations, levels, outward, [], [], [], nodes, base)
    cells = HoughCells(
        offsets_mm=np.arange(-search_mm, search_mm + 1e-9, HOUGH_STEP_MM),
        heights_mm=np.arange(-settings.search_low_mm, settings.search_high_mm + 1e-9, 1.0),
        nodes_mm=nodes,
        turn_mm=min(search_mm, c.MOST_TURN_MM) if straight else c.MOST_BEND_MM,
        height_u_mm=1.5 * settings.height_prior_u_mm,
    )
    lines: list[SpaceLine] = []
    for start in hough_lines(stations, bands, steps, cells, settings.candidates):
        line = settle(start, nodes, stations, bands, steps, base, settings.height_prior_u_mm)
        if line is None or abs(line.middle_mm) > search_mm + SETTLED_BEYOND_MM:
            continue
        if all(_apart(line, other) for other in lines):
            lines.append(line)
    side = outward or 1.0
    mapped = [
        MappedLine(one, surface_test(bands, one.offset_mm, one.height_mm, base, side), _borrowed(one, lines, bands, base))
        for one in lines
    ]
    return LocalMap(stations, levels, outward, mapped, bands, steps, nodes, base)


def settle_again(local: LocalMap, line: SpaceLine, levels: Levels, height_u_mm: float) -> SpaceLine | None:
    """A line of the map settled once more, about other expected heights."""
    start = HoughLine(np.interp(local.nodes_mm, local.stations.along_mm, line.offset_mm), line.rise_mm, 0.0)
    return settle(
        start, local.nodes_mm, local.stations, local.bands, local.steps, levels.height_mm, height_u_mm, local.base_mm
    )


def _apart(one: SpaceLine, other: SpaceLine) -> bool:
    """Two peaks may settle on the same line."""
    return bool(
        np.abs(one.offset_mm - other.offset_mm).max() > c.SAME_LINE_MM or abs(one.rise_mm - other.rise_mm) > c.SAME_HEIGHT_MM
    )


def _borrowed(line: SpaceLine, lines: list[SpaceLine], bands: list[Band], base_mm: Array) -> bool:
    """Whether a line is made of the steps of others.

    A door's edge, 12 mm lower, is seen somewhere in every photo; taken alone, each of these sightings could be an edge at the
    height of the cabinet top. If lines that more photos agree on run through the very pixels of all photos that show this one,
    there is nothing left to claim.
    """
    by_photo = {band.photo_id: band for band in bands}

    def shown_at(one: SpaceLine, photo_id: str) -> Array:
        band = by_photo[photo_id]
        return np.asarray((one.offset_mm - band.lean * (one.height_mm - base_mm)) * band.scale_px_per_mm)

    strong = [
        o for o in lines
        if len(o.showing) > len(line.showing) and o.support > c.OWNER_SUPPORT and o.misfit < c.OWNER_MISFIT
    ]
    return bool(line.showing) and all(
        any(
            photo in o.showing and float(np.median(np.abs(shown_at(line, photo) - shown_at(o, photo)))) < c.SAME_STEP_PX
            for o in strong
        )
        for photo in line.showing
    )
