"""From a candidate line to an edge of a cabinet top: read as any hinted edge is, and followed as far as the photos show it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from phototemplate.edges import constants as c
from phototemplate.edges.line_map.local_map import map_lines
from phototemplate.edges.line_map.space_lines import SpaceLine
from phototemplate.edges.proposals.constants import (
    BARRED_REACH,
    INWARD,
    KNOWN_STATIONS,
    LEAST_REST_MM,
    SAME_LENGTH,
    SHOWN_GATE_MM,
    SHOWN_GATE_PX,
    SHOWN_OPEN_PX,
)
from phototemplate.edges.proposals.line_candidates import sheet_centres
from phototemplate.edges.readings.constants import NONE_PRIOR_UNASKED, Reading
from phototemplate.edges.readings.decide import Decision, Judged, decide
from phototemplate.edges.scene import Scene
from phototemplate.edges.tracing.expected_height import expected_levels
from phototemplate.edges.tracing.grey_profiles import find_steps, sample_band
from phototemplate.edges.tracing.hint_path import Path, Stations
from phototemplate.model import Array, BoolArray, EdgeHint


@dataclass(frozen=True)
class Second:
    """What a proposed line may be instead of the edge."""

    reading: Reading
    edge_mm: float | None = None
    """Where the edge would be another line: how far it runs further out; below 0, further in"""
    gap_mm: float | None = None
    """Where it would be two edges: how wide the gap between them, at which the top ends"""


@dataclass(frozen=True)
class FoundLine:
    """A straight edge in the work plane, from ``ends_mm[0]`` to ``ends_mm[1]``; the room lies to its right."""

    ends_mm: Array
    """(2, 2)"""
    judged: Judged
    probability: float
    """That it is the edge of a top"""
    second: Second

    @property
    def line(self) -> SpaceLine:
        return self.judged.mapped.line

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
            if want[begin:end].any() and position[end - 1] - position[begin] >= c.SHORTEST_MM:
                out.append(a + np.array([[position[begin]], [position[end - 1]]]) * along)
    return out


def _sheets_beside(scene: Scene, a: Array, b: Array, position: Array) -> tuple[BoolArray, BoolArray]:
    """At places along the line from a to b: a sheet lies near to its left; one lies to its right, where there is none."""
    along = (b - a) / np.linalg.norm(b - a)
    centres = sheet_centres(scene) - a
    ahead, side = np.abs(position[:, None] - centres @ along), centres @ np.array([-along[1], along[0]])
    want = ((ahead < c.SHEET_REACH_MM) & (side > 0) & (side < c.NEAR_SHEET_MM)).any(axis=1)
    never = ((ahead < BARRED_REACH * c.SHEET_REACH_MM) & (side < 0) & (side > -c.NO_SHEET_BEYOND_MM)).any(axis=1)
    return np.asarray(want), np.asarray(never)


def confirm(scene: Scene, ends: Array) -> list[FoundLine]:
    """The edges that a candidate (the room to its right) turns out to be: none, one, or several with gaps between."""
    found: list[FoundLine] = []
    todo = [(ends, c.FOLLOW_ROUNDS, 1.0)]
    whole = True
    while todo:
        wanted, rounds, most = todo.pop()
        one = _read(scene, wanted, c.FIRST_SEARCH_MM if rounds == c.FOLLOW_ROUNDS else c.NEXT_SEARCH_MM)
        if one is None:
            continue
        if rounds == c.FOLLOW_ROUNDS:  # once more about the line found, so that what runs outside it is mapped as well
            one = _read(scene, one.ends_mm, c.OUTSIDE_SEARCH_MM)
            if one is None:
                continue
        most = min(most, one.probability)  # a narrower look does not know what runs further out
        reaches = _reaches(scene, one)
        if whole:  # the next cabinet may stand higher or lower: what is left of the candidate is read by itself
            todo += [(rest, c.FOLLOW_ROUNDS, 1.0) for rest in _rests(wanted, reaches)]
            whole = False
        for reach in reaches:
            length = float(np.linalg.norm(reach[1] - reach[0]))
            if rounds > 1 and not SAME_LENGTH[0] < length / one.length_mm < SAME_LENGTH[1]:
                todo.append((reach, rounds - 1, most))  # its height and direction rest on another stretch: once more
            else:
                found.append(FoundLine(reach, one.judged, most, one.second))
    return found


def _rests(ends: Array, reaches: list[Array]) -> list[Array]:
    """(2, 2) each: the long stretches of a candidate that none of its ``reaches`` covers."""
    length = float(np.linalg.norm(ends[1] - ends[0]))
    along = (ends[1] - ends[0]) / length
    covered = sorted(tuple(np.clip((r - ends[0]) @ along, 0.0, length).tolist()) for r in reaches)
    out, begin = [], 0.0
    for first, last in [*covered, (length, length)]:
        if covered and first - begin >= LEAST_REST_MM:
            out.append(ends[0] + np.array([[begin], [first]]) * along)
        begin = max(begin, last)
    return out


def _read(scene: Scene, ends: Array, search_mm: float) -> FoundLine | None:
    """The line within ``search_mm`` that is most probably the edge of a top; None where there is more likely none."""
    stations = Path.through(ends, "line").stations(c.PROPOSAL_STATION_MM)
    hint = EdgeHint("", "other", path=ends, anchor="work", search_mm=search_mm)
    levels = expected_levels(scene.plane, stations, hint, INWARD, scene.settings.height_reach_mm)
    limit = scene.settings.height_limit_mm
    decision = decide(map_lines(scene, stations, levels, INWARD, search_mm, True), c.ANYWHERE_MM, limit, NONE_PRIOR_UNASKED)
    if decision is None or decision.chosen.probability < c.LEAST_CONFIDENCE or len(decision.chosen.mapped.line.showing) < 2:
        return None
    chosen = decision.chosen
    return FoundLine(stations.shifted(chosen.mapped.line.offset_mm)[[0, -1]], chosen, chosen.probability, _second(decision))


def _second(decision: Decision) -> Second:
    """The second-best reading of the place."""
    chosen = decision.chosen
    others = [j for j in decision.judged[1:] if j.probability > decision.none]
    if not others:
        return Second(chosen.otherwise)
    apart = others[0].mapped.line.middle_mm - chosen.mapped.line.middle_mm
    return Second(chosen.otherwise, INWARD * apart)


def _reaches(scene: Scene, found: FoundLine) -> list[Array]:
    """(2, 2) each: the stretches along which the photos show the line, from a little before it to a little beyond it.

    At every station: what share of the photos that could show the line there has a step of it, weighed by surprise. Stations
    that no photo can show (under a sheet) say nothing either way.
    """
    along = found.along
    ends = found.ends_mm + np.array([[-c.FOLLOW_MM], [c.FOLLOW_MM]]) * along
    stations = Path.through(ends, "line").stations(c.PROPOSAL_STATION_MM)
    place = stations.along_mm - c.FOLLOW_MM
    shown, looks = _shown(scene, found.line, stations)
    window = max(3, 2 * int(c.FADING_MM / 2 / float(np.median(np.diff(stations.along_mm)))) + 1)
    seen = uniform_filter1d((looks > 0).astype(float), window, mode="constant")
    share = uniform_filter1d(np.where(looks > 0, shown / np.maximum(looks, 1.0), 0.0), window, mode="constant")
    share = share / np.maximum(seen, 1e-9)
    inside = (place >= 0) & (place <= found.length_mm)
    usual = float(np.median(share[inside & (looks > 0)])) if (inside & (looks > 0)).any() else np.inf
    known = seen > KNOWN_STATIONS / window
    holds = known & (share >= c.FADED * usual)
    never = _sheets_beside(scene, found.ends_mm[0], found.ends_mm[1], place)[1]
    out = []
    for run in _unbroken(place, holds, known, never):
        if place[run[-1]] - place[run[0]] >= c.SHORTEST_MM and (place[run[-1]] > 0) and (place[run[0]] < found.length_mm):
            want = _sheets_beside(scene, found.ends_mm[0], found.ends_mm[1], place[run[0] : run[-1] + 1])[0]
            if want.mean() > c.SHEETS_BESIDE:
                out.append(found.ends_mm[0] + np.array([[place[run[0]]], [place[run[-1]]]]) * along)
    return out


def _shown(scene: Scene, line: SpaceLine, stations: Stations) -> tuple[Array, Array]:
    """(N,) summed surprise of the steps at the line's place, and (N,) how many photos could show it there."""
    hint = EdgeHint("", "other", path=stations.xy_mm[[0, -1]], anchor="work")
    height = expected_levels(scene.plane, stations, hint, INWARD, scene.settings.height_reach_mm).height_mm + line.rise_mm
    shown, looks = np.zeros(len(stations)), np.zeros(len(stations))
    for photo_id in scene.network.photos:
        if photo_id in line.photo_support and photo_id not in line.showing:
            continue  # something stands in front of it there
        band = sample_band(scene, photo_id, stations, height, 3.0, c.LEAST_BAND_PX, scene.settings.rows_per_station // 2)
        if band is None:
            continue
        steps = find_steps(band, c.STEP_BLUR_PX, scene.settings.least_strength)
        gate = np.maximum(SHOWN_GATE_PX, SHOWN_GATE_MM * band.scale_px_per_mm[steps.station])
        hit = np.abs(steps.position_px) < gate
        best = np.zeros(len(stations))
        np.maximum.at(best, steps.station[hit], steps.surprise[hit])
        shown += best
        looks += ~band.covered[:, np.abs(band.step_px) < SHOWN_OPEN_PX].any(axis=1)
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
            if runs and gone < c.BREAK_MM:
                runs[-1] = (runs[-1][0], k)
            else:
                runs.append((k, k))
            gone = 0.0
        elif known[k]:
            gone += step
    return runs
