"""The lines in space near one path, with everything that a decision about them needs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges import constants as c
from phototemplate.edges.line_map.constants import HOUGH_STEP_MM, SETTLED_BEYOND_MM, TILT_MM
from phototemplate.edges.line_map.joint_steps import JointSteps, stacked
from phototemplate.edges.line_map.space_hough import HoughCells, HoughLine, differ, hough_lines
from phototemplate.edges.line_map.space_lines import SpaceLine, settle
from phototemplate.edges.line_map.surface_end import SurfaceTest, surface_test
from phototemplate.edges.scene import Scene
from phototemplate.edges.tracing.expected_height import Levels
from phototemplate.edges.tracing.grey_profiles import Band, Steps, find_steps, sample_band
from phototemplate.edges.tracing.hint_path import Stations
from phototemplate.model import Array, BoolArray, IntArray
from phototemplate.settings import EdgeSettings


@dataclass(frozen=True)
class MappedLine:
    """One line of the map."""

    line: SpaceLine
    surface: SurfaceTest
    """Does the surface at its own height end there?"""
    own: float
    """Share of what its steps say that no line says better, 0-1: a door's edge, 12 mm lower, is seen somewhere in every photo,
    and what is drawn through such sightings at another height is no line of its own"""


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
    joint = JointSteps.of(stations, bands, steps)
    found = _Search(joint, nodes, base, settings, search_mm)
    found.add(cells, settings.candidates)
    # a weak line beside a strong one is no maximum before that one's steps are gone
    level = np.abs(cells.heights_mm) <= c.BESIDE_LEVEL_MM
    found.add(replace(cells, heights_mm=cells.heights_mm[level]), settings.candidates // 2)
    lines = found.lines
    side = outward or 1.0
    mapped = [
        MappedLine(one, surface_test(bands, one.offset_mm, one.height_mm, base, side), own)
        for one, own in zip(lines, _own_shares(lines, joint, base), strict=True)
        if own >= c.LEAST_OWN_SETTLED
    ]
    return LocalMap(stations, levels, outward, mapped, bands, steps, nodes, base)


def settle_again(local: LocalMap, offset_mm: Array, rise_mm: Array, levels: Levels) -> SpaceLine | None:
    """The line that starts at offsets and heights over the levels (N,), settled about these levels."""
    ends = (float(rise_mm[0]), float(rise_mm[-1]))
    start = HoughLine(np.interp(local.nodes_mm, local.stations.along_mm, offset_mm), float(np.mean(rise_mm)), 0.0)
    joint, level_u = JointSteps.of(local.stations, local.bands, local.steps), float(np.median(levels.u_mm))
    return settle(start, local.nodes_mm, joint, levels.height_mm, level_u, levels.tilt_u_mm, local.base_mm, ends_mm=ends)


def steps_left(local: LocalMap, line: SpaceLine) -> JointSteps:
    """The photos' steps without those that sharp lines of the map explain and ``line`` does not."""
    joint = JointSteps.of(local.stations, local.bands, local.steps)
    left = np.ones(len(joint), dtype=bool)
    for other in local.lines:
        if other.line is not line and other.line.support > c.OWNER_SUPPORT and other.line.misfit < c.OWNER_MISFIT:
            left[_steps_of(other.line, joint, local.base_mm)[0]] = False
    left[_steps_of(line, joint, local.base_mm)[0]] = True
    return joint.part(left)


def _apart(one: SpaceLine, other: SpaceLine) -> bool:
    """Two peaks may settle on the same line."""
    return bool(
        np.abs(one.offset_mm - other.offset_mm).max() > c.SAME_LINE_MM or abs(one.rise_mm - other.rise_mm) > c.SAME_HEIGHT_MM
    )


class _Search:
    """Lines found one after the other; sharp ones take the steps that they explain."""

    def __init__(self, steps: JointSteps, nodes_mm: Array, base_mm: Array, settings: EdgeSettings, search_mm: float) -> None:
        self.steps, self.nodes_mm, self.base_mm = steps, nodes_mm, base_mm
        self.height_u_mm, self.furthest_mm = 2.0 * settings.height_prior_u_mm, search_mm + SETTLED_BEYOND_MM
        self.lean = float(np.median(stacked(steps.bands, "lean")))
        self.lines: list[SpaceLine] = []
        self.taken = np.zeros(len(steps), dtype=bool)

    def add(self, cells: HoughCells, count: int) -> None:
        """At most ``count`` more lines, from the maxima of the steps that no sharp line explains yet."""
        steps = self.steps.part(~self.taken)
        starts: list[HoughLine] = []
        for start in hough_lines(steps, cells)[: c.PEAKS_PER_LINE * count]:
            if not all(differ(start, other, self.lean) for other in starts):
                continue
            offset = np.interp(self.steps.stations.along_mm, self.nodes_mm, start.offsets_mm)
            if _own_share(_steps_near(offset, start.height_mm, self.steps), self.taken) < c.LEAST_OWN:
                continue
            starts.append(start)
            self._settle(start, steps)
            if len(starts) == count:
                break

    def _settle(self, start: HoughLine, steps: JointSteps) -> None:
        """Add the line to which ``steps`` near a maximum lead, unless there is none or it is known."""
        line = settle(start, self.nodes_mm, steps, self.base_mm, self.height_u_mm, TILT_MM, seen=self.steps)
        if line is None or abs(line.middle_mm) > self.furthest_mm or not all(_apart(line, o) for o in self.lines):
            return
        self.lines.append(line)
        if line.support > c.OWNER_SUPPORT and line.misfit < c.OWNER_MISFIT:
            self.taken[_steps_of(line, self.steps, self.base_mm)[0]] = True


Near = tuple[IntArray, Array]
"""Which steps lie near a line, and how much each counts for it"""


def _steps_near(offset_mm: Array, over_base_mm: Array | float, steps: JointSteps) -> Near:
    """Steps within a blur of a line at offsets (N,); they count by their surprise and by how near they lie."""
    over = np.broadcast_to(over_base_mm, offset_mm.shape)
    place = (offset_mm[steps.station] - steps.lean * over[steps.station]) * steps.scale
    away = np.abs(steps.position_px - place)
    at = np.flatnonzero(away < c.SAME_STEP_PX)
    return at, steps.surprise[at] * np.exp(-0.5 * (away[at] / c.OWN_STEP_PX) ** 2)


def _steps_of(line: SpaceLine, steps: JointSteps, base_mm: Array) -> Near:
    """The same for a settled line, in the photos that show it."""
    at, gain = _steps_near(line.offset_mm, line.height_mm - base_mm, steps)
    shows = np.array([b.photo_id in line.showing for b in steps.bands])[steps.photo[at]]
    return at[shows], gain[shows]


def _own_share(near: Near, taken: BoolArray) -> float:
    at, gain = near
    return float(gain[~taken[at]].sum()) / max(float(gain.sum()), 1e-9)


def _own_shares(lines: list[SpaceLine], steps: JointSteps, base_mm: Array) -> list[float]:
    """What of each line's steps is left to it when the lines take theirs in turn, the one that explains most first (matching
    pursuit; S. G. Mallat, Z. Zhang, IEEE Trans. Signal Processing 41 (1993) 3397)."""
    near = [_steps_of(line, steps, base_mm) for line in lines]
    taken = np.zeros(len(steps), dtype=bool)
    whole = [float(gain.sum()) for _, gain in near]
    own, todo = [0.0] * len(lines), set(range(len(lines)))
    while todo:
        left = {k: _own_share(near[k], taken) for k in todo}
        best = max(todo, key=lambda k: left[k] * whole[k])
        own[best] = left[best]
        taken[near[best][0]] = True
        todo.remove(best)
    return own
