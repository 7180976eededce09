"""From a candidate line to an edge that the photos agree on: its height, its outermost line, and how far it reaches."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter1d

from phototemplate.edges.proposals.line_candidates import NEAR_SHEET_MM, SHORT_MM, sheet_centres
from phototemplate.edges.proposals.line_consensus import Line
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.trace import FIRST_BLUR_PX, find_lines
from phototemplate.edges.tracing.expected_height import expected_levels
from phototemplate.edges.tracing.grey_profiles import find_steps, sample_band
from phototemplate.edges.tracing.hint_path import Path, Stations
from phototemplate.model import Array, BoolArray, EdgeHint

SHEET_REACH_MM = 180.0
"""A sheet says on which side of a line the cabinet lies for this far to both sides of its centre"""
BEYOND_MM = 700.0
"""No sheet lies this near beyond an outline edge: a range gap is wider, and so is the way between two runs"""
STATION_MM = 15.0
LINES = 5
"""Lines examined in the look at a candidate"""
SEARCH_MM, AGAIN_MM = 14.0, 6.0
"""Half width of the first look at a candidate and of a look from an edge that has grown or shrunk"""
OUT_MM = 24.0
"""A board's outermost line is sought this far beyond the line found first"""
SUPPORT = 0.6
EVIDENCE = 0.35
GROW_MM = 400.0
"""An edge is followed this far beyond the stretch at which it was found, and again from there"""
ROUNDS = 3
SMOOTH_MM = 70.0
FADED = 0.5
"""Where the photos show less than this share of what they show on the edge, it has ended"""
BESIDE = 0.4
"""Of an edge at least this share has a sheet near beside it"""
BREAK_MM = 160.0
"""An edge that is gone for so long was two edges"""


@dataclass(frozen=True)
class FoundLine:
    """A straight edge in the work plane, from ``ends_mm[0]`` to ``ends_mm[1]``; the room lies to its right."""

    ends_mm: Array
    """(2, 2)"""
    line: Line

    @property
    def length_mm(self) -> float:
        return float(np.linalg.norm(self.ends_mm[1] - self.ends_mm[0]))

    @property
    def along(self) -> Array:
        """(2,) unit vector"""
        return np.asarray((self.ends_mm[1] - self.ends_mm[0]) / self.length_mm)

    @property
    def outward(self) -> Array:
        """(2,) unit vector towards the room"""
        return np.array([self.along[1], -self.along[0]])

    @property
    def worth(self) -> float:
        return worth(self.line)


    @property
    def outer_share(self) -> float:
        """What share of an inner line's worth suffices for this one, further out on the same board, to be the edge."""
        return outer_share(self.line)


def worth(line: Line) -> float:
    """How sure the photos are of a line, 0-1; photos that do not show it may look at what stands in front, or it is none."""
    count = len(line.showing)
    return line.evidence * line.support * float((1 - 0.5**count) * np.sqrt(count / max(line.open_photos, count, 1)))


def _level(line: Line) -> bool:
    """At the height of the cabinet tops. Where some photos do not show it, less is allowed: steps of the edge in some photos
    and of a door below it in others meet in a line between the two."""
    return abs(line.rise_mm) < (3.0 if _by_all(line) else 1.5)


def _by_all(line: Line) -> bool:
    return len(line.showing) >= max(3, 0.8 * line.open_photos)


def outer_share(line: Line) -> float:
    """See :class:`FoundLine`. A joint or a ply is often the sharper step; but that nearly all photos should meet at the height
    of the tops in a line further out is no accident."""
    return 0.35 if _by_all(line) else 0.6


def one_sided(scene: Scene, ends: Array) -> list[Array]:
    """The stretches of a candidate that have sheets on one side only, the room to the right.

    Past an inner corner the line of a front runs on inside the other run.
    """
    length = float(np.linalg.norm(ends[1] - ends[0]))
    position = np.arange(0.0, length + 1e-9, 10.0)
    out: list[Array] = []
    for a, b in (ends, ends[::-1]):
        want, never = _sheets_beside(scene, a, b, position)
        along = (b - a) / length
        edges = np.flatnonzero(np.diff(np.r_[False, ~never, False].astype(np.int8)))
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            if want[begin:end].any() and position[end - 1] - position[begin] >= SHORT_MM:
                out.append(a + np.array([[position[begin]], [position[end - 1]]]) * along)
    return out


def _sheets_beside(scene: Scene, a: Array, b: Array, position: Array) -> tuple[BoolArray, BoolArray]:
    """At places along the line from a to b: a sheet lies near to its left; one lies to its right, where there is none."""
    along = (b - a) / np.linalg.norm(b - a)
    centres = sheet_centres(scene) - a
    ahead, side = np.abs(position[:, None] - centres @ along), centres @ np.array([-along[1], along[0]])
    want = ((ahead < SHEET_REACH_MM) & (side > 0) & (side < NEAR_SHEET_MM)).any(axis=1)
    never = ((ahead < 1.3 * SHEET_REACH_MM) & (side < 0) & (side > -BEYOND_MM)).any(axis=1)
    return np.asarray(want), np.asarray(never)


def confirm(scene: Scene, ends: Array) -> list[FoundLine]:
    """The edges that a candidate (the room to its right) turns out to be: none, one, or several with gaps between."""
    found: list[FoundLine] = []
    todo = [(ends, ROUNDS)]
    while todo:
        wanted, rounds = todo.pop()
        one = _settled(scene, wanted, SEARCH_MM if rounds == ROUNDS else AGAIN_MM)
        if one is None:
            continue
        if rounds == ROUNDS:
            one = _further_out(scene, one)
        for reach in _reaches(scene, one):
            length = float(np.linalg.norm(reach[1] - reach[0]))
            if rounds > 1 and not 0.85 < length / one.length_mm < 1.15:
                todo.append((reach, rounds - 1))  # its height and direction rest on another stretch: once more
            else:
                found.append(FoundLine(reach, one.line))
    return found


def _settled(scene: Scene, ends: Array, search_mm: float) -> FoundLine | None:
    """The best line at the height of the cabinet tops on which the photos agree along a stretch."""
    hint = EdgeHint("", "other", path=ends, anchor="work", search_mm=search_mm)
    stations = Path.through(ends, True).stations(STATION_MM)
    lines = [
        line
        for line in _lines(scene, hint, stations, LINES)
        if line.support > SUPPORT and line.evidence > EVIDENCE and line.misfit < 1.3
        and len(line.showing) >= 2 and not line.explained
    ]
    level = [line for line in lines if _level(line) and abs(float(np.mean(line.offset_mm))) < 0.5 * search_mm]
    if not level:
        return None
    best = max(level, key=worth)
    # a door or a toe kick that happens to be seen here, and something at the right height by chance beside it
    doubtful = len(best.showing) < 0.7 * best.open_photos
    if doubtful and any(abs(line.rise_mm) > 5.0 and worth(line) > worth(best) for line in lines):
        return None
    return FoundLine(stations.shifted(best.offset_mm)[[0, -1]], best)


def _lines(scene: Scene, hint: EdgeHint, stations: Stations, count: int | None = None) -> list[Line]:
    """Lines near a path whose left is the cabinets' side; ``count`` are examined (None: as many as the settings say)."""
    levels = expected_levels(scene.plane, stations, hint, -1.0, scene.settings.height_reach_mm)
    if count is not None:
        scene = replace(scene, settings=scene.settings.model_copy(update={"candidates": count}))
    return find_lines(scene, hint, stations, levels.height_mm, True).lines


def _further_out(scene: Scene, found: FoundLine) -> FoundLine:
    """The outermost level line of the same board: a dark edge beside a bright joint makes no segments of its own."""
    hint = EdgeHint("", "other", path=found.ends_mm, anchor="work", search_mm=OUT_MM)
    stations = Path.through(found.ends_mm, True).stations(STATION_MM)
    best, out = found, 0.0
    for other in _lines(scene, hint, stations):
        offset = float(np.mean(other.offset_mm))
        good = other.support > SUPPORT and other.evidence > 0.8 * EVIDENCE and other.misfit < 1.3 and not other.explained
        if not good or not _level(other) or len(other.showing) < max(2, 0.6 * len(found.line.showing)):
            continue
        if offset < out - 0.7 and worth(other) > outer_share(other) * found.worth:
            best, out = FoundLine(stations.shifted(other.offset_mm)[[0, -1]], other), offset
    return best


def _reaches(scene: Scene, found: FoundLine) -> list[Array]:
    """(2, 2) each: the stretches along which the photos show the line, from a little before it to a little beyond it.

    At every station: what share of the photos that could show the line there has a step of it, weighed by surprise. Stations
    that no photo can show (under a sheet) say nothing either way.
    """
    along = found.along
    ends = found.ends_mm + np.array([[-GROW_MM], [GROW_MM]]) * along
    stations = Path.through(ends, True).stations(STATION_MM)
    place = stations.along_mm - GROW_MM
    shown, looks = _shown(scene, found.line, stations)
    window = max(3, 2 * int(0.5 * SMOOTH_MM / float(np.median(np.diff(stations.along_mm)))) + 1)
    seen = uniform_filter1d((looks > 0).astype(float), window, mode="constant")
    share = uniform_filter1d(np.where(looks > 0, shown / np.maximum(looks, 1.0), 0.0), window, mode="constant")
    share = share / np.maximum(seen, 1e-9)
    inside = (place >= 0) & (place <= found.length_mm)
    usual = float(np.median(share[inside & (looks > 0)])) if (inside & (looks > 0)).any() else np.inf
    known = seen > 0.4 / window
    holds = known & (share >= FADED * usual)
    never = _sheets_beside(scene, found.ends_mm[0], found.ends_mm[1], place)[1]
    out = []
    for run in _unbroken(place, holds, known, never):
        if place[run[-1]] - place[run[0]] >= SHORT_MM and (place[run[-1]] > 0) and (place[run[0]] < found.length_mm):
            want = _sheets_beside(scene, found.ends_mm[0], found.ends_mm[1], place[run[0] : run[-1] + 1])[0]
            if want.mean() > BESIDE:
                out.append(found.ends_mm[0] + np.array([[place[run[0]]], [place[run[-1]]]]) * along)
    return out


def _shown(scene: Scene, line: Line, stations: Stations) -> tuple[Array, Array]:
    """(N,) summed surprise of the steps at the line's place, and (N,) how many photos could show it there."""
    hint = EdgeHint("", "other", path=stations.xy_mm[[0, -1]], anchor="work")
    height = expected_levels(scene.plane, stations, hint, -1.0, scene.settings.height_reach_mm).height_mm + line.rise_mm
    shown, looks = np.zeros(len(stations)), np.zeros(len(stations))
    for photo_id in scene.network.photos:
        if photo_id in line.photo_support and photo_id not in line.showing:
            continue  # something stands in front of it there
        band = sample_band(scene, photo_id, stations, height, 3.0, 8.0, scene.settings.rows_per_station // 2)
        if band is None:
            continue
        steps = find_steps(band, FIRST_BLUR_PX, scene.settings.least_strength)
        gate = np.maximum(1.2, 0.8 * band.scale_px_per_mm[steps.station])
        hit = np.abs(steps.position_px) < gate
        best = np.zeros(len(stations))
        np.maximum.at(best, steps.station[hit], steps.surprise[hit])
        shown += best
        looks += ~band.covered[:, np.abs(band.step_px) < 1.5].any(axis=1)
    return shown, looks


def _unbroken(place: Array, holds: BoolArray, known: BoolArray, never: BoolArray) -> list[tuple[int, int]]:
    """(first, last) stations of the runs that hold, bridging what is unknown and short breaks, never a place that is barred."""
    runs: list[tuple[int, int]] = []
    gone = 0.0
    step = float(np.median(np.diff(place)))
    for k in range(len(place)):
        if never[k]:
            gone = np.inf
        elif holds[k]:
            if runs and gone < BREAK_MM:
                runs[-1] = (runs[-1][0], k)
            else:
                runs.append((k, k))
            gone = 0.0
        elif known[k]:
            gone += step
    return runs
