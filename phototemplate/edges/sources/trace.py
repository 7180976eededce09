"""Source ``trace``: an edge seen in the photos themselves.

Hint -> path in the work plane -> grey profiles across it in every photo -> steps -> vote in space -> choice -> second,
narrow reading along the chosen line -> sub-pixel positions -> intersection in space -> points in the plane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.line_map.association import best_association
from phototemplate.edges.line_map.hidden_line import HiddenLine, find_hidden_line, hidden_line_finding
from phototemplate.edges.line_map.local_map import LocalMap, map_lines, settle_again, steps_left
from phototemplate.edges.line_map.space_lines import SpaceLine
from phototemplate.edges.line_map.surface_end import surface_test
from phototemplate.edges.readings.choice import OUTERMOST, Choice, choose, covering_u_mm
from phototemplate.edges.readings.constants import CERTAIN, SAME_PLACE_MM, Reading
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.constants import (
    AGREED,
    ALONG_MM,
    CLEAR,
    CORRELATIONS,
    DOOR_LOW_MM,
    DOOR_REACH_MM,
    GAP_MM,
    GAP_SHARE,
    GATES_PX,
    LESS_SUPPORT,
    MORE_MISFIT,
    SEEN_SHARE,
    SINGLE_SHARE,
    STRAYING_U_MM,
)
from phototemplate.edges.sources.hints import hint_path, lost
from phototemplate.edges.sources.result import Found
from phototemplate.edges.tracing.arris_offset import Rounding, light_ratio, shows_face, unresolved_u_mm
from phototemplate.edges.tracing.expected_height import Levels, expected_levels, find_joints
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.hint_path import Path, Stations
from phototemplate.edges.tracing.line_reading import along_new, locate, read, rebased, smoothed, without_strays
from phototemplate.edges.tracing.space_intersection import Intersection, intersect, unit_position
from phototemplate.edges.tracing.step_position import StepFit
from phototemplate.errors import Finding, MeasureError
from phototemplate.model import Array, Candidate, EdgeHint, EdgeTrace, PlanePoints, TypeB
from phototemplate.numerics.correlation import autocorrelation
from phototemplate.settings import EdgeSettings

NAME = "trace"


def type_b_terms(hint: EdgeHint, settings: EdgeSettings) -> tuple[TypeB, ...]:
    """Expected height of the edge; where on its rounding the photos see it, as a shift and as a turn."""
    return (
        TypeB(f"height:{hint.edge_id}", "edge height", settings.height_prior_u_mm),
        TypeB(f"definition:{hint.edge_id}", "edge definition", settings.definition_u_mm),
        TypeB(f"definition-turn:{hint.edge_id}", "edge definition", settings.definition_u_mm),
    )


def measure(scene: Scene, hint: EdgeHint) -> Found:
    """Trace one edge through all photos."""
    points = hint_path(scene, hint)
    if points is None:
        return Found(None, (), (lost(hint, "hint-off-plane"),))
    settings, straight = scene.settings, hint.shape == "line"
    try:
        path = Path.through(points, hint.shape)
    except (ValueError, MeasureError):
        return Found(None, (), (lost(hint, "not-round"),))
    stations = path.stations(settings.station_mm, settings.end_margin_mm)
    outward = -scene.material_side(stations.xy_mm, stations.normal)
    levels = expected_levels(scene.plane, stations, hint, outward, settings.height_reach_mm)
    if hint.line == "door":
        local = _map_doors(scene, hint, stations, levels, outward)
    else:
        local = map_lines(scene, stations, levels, outward, hint.search_mm, straight)
    choice = choose(local, hint, settings)
    if choice is None:
        named = hint.line not in (None, "box") and bool(local.lines)
        return Found(None, (), (lost(hint, "no-such-line") if named else _unseen(hint, local),))
    # what was chosen by name, doors and whatever is no outer edge need not lie at the level of the tops
    on_top = hint.kind in OUTERMOST and hint.choose is None and hint.line in (None, "box")
    levels, line = _settled(local, choice.line) if on_top else (local.levels, choice.line)
    rise = float(np.mean(line.height_mm - levels.height_mm))
    if hint.line not in (None, "box") or (hint.choose is not None and abs(rise) > settings.off_plane_mm):
        levels = levels.about(rise)
    traced = _trace(scene, hint, local, line, levels)
    if isinstance(traced, str):
        return Found(None, (), (lost(hint, traced),))
    if len(traced.fine) < 3:
        return Found(None, (), (lost(hint, "contradictory"),))
    hidden = [] if traced.hidden is None else [traced.hidden.apart_mm]
    unresolved = unresolved_u_mm([*choice.rivals_mm, *hidden], traced.bands, traced.fits)
    straying = STRAYING_U_MM * (1.0 - traced.agreed) if traced.agreed < AGREED else 0.0
    doubt_u = max([float(np.linalg.norm([choice.u_mm, unresolved, straying])), *(covering_u_mm(apart) for apart in hidden)])
    found = _points(scene, hint, traced.fine, traced.solved, doubt_u)
    off_path = _off_path(found.xy_mm, points, hint)
    if off_path:
        return Found(None, (), off_path)
    findings = choice.findings or hidden_line_finding(hint.edge_id, traced.hidden)
    if straying and not findings:
        findings = (Finding("edge-wavering", hint.edge_id, added_U_mm=2 * straying),)
    findings += _doubts(scene, hint, traced.fine, traced.solved, stations)
    top = hint.kind in OUTERMOST and hint.line != "door" and bool(local.outward)
    top = top and not hint.height_mm and choice.probability >= CLEAR
    over_level = float(np.mean(traced.solved.height_mm - traced.levels_mm)) if top else float("nan")
    arris = (max(float(traced.solved.arris[0]), 0.0), traced.solved.arris_u_mm) if top else None
    candidates = choice.candidates
    if hint.kind == "front" and hint.choose is None and hint.line in (None, "box"):
        candidates = _with_door(scene, hint, local, choice)
    points_ = replace(found, candidates=candidates, findings=findings, rise_mm=over_level, arris_mm=arris)
    # where one photo alone shows it, it may as well lie at another height
    placed = 0.5 * (1.0 + float(((traced.solved.weight > 0).sum(axis=0) >= 2).mean()))
    return Found(points_, traced.traces, findings, (1.0 - choice.none) * placed)


def _map_doors(scene: Scene, hint: EdgeHint, stations: Stations, levels: Levels, outward: float) -> LocalMap:
    """The lines near a path, as far out and as far down as doors stand."""
    low = max(scene.settings.search_low_mm, DOOR_LOW_MM)
    wide = replace(scene, settings=scene.settings.model_copy(update={"search_low_mm": low}))
    return map_lines(wide, stations, levels, outward, max(hint.search_mm, DOOR_REACH_MM), hint.shape == "line")


def _with_door(scene: Scene, hint: EdgeHint, local: LocalMap, box: Choice) -> tuple[Candidate, ...]:
    """What else runs beside the edge of a box, with the face of its doors where that is seen."""
    others = [one for one in box.candidates if one.reading != "face"]
    wide = _map_doors(scene, hint, local.stations, local.levels, local.outward)
    door = choose(wide, replace(hint, line="door"), scene.settings)
    if door is not None and abs(door.box_mm - box.line.middle_mm) <= SAME_PLACE_MM:
        height, support = float(np.mean(door.line.height_mm)), round(float(door.line.support), 3)
        name: Reading = "door" if door.findings else "face"
        others.append(Candidate(door.line.middle_mm - box.line.middle_mm, height, support, name))
    return tuple(sorted(others, key=lambda one: abs(one.offset_mm)))


@dataclass(frozen=True)
class _Traced:
    """The chosen line, read in all photos that show it and intersected."""

    fine: Stations
    solved: Intersection
    bands: list[Band]
    fits: list[StepFit]
    traces: tuple[EdgeTrace, ...]
    levels_mm: Array
    """(N,) expected height of the top at the stations"""
    agreed: float
    """Share of what the photos show openly along the edge that is a step of it"""
    hidden: HiddenLine | None
    """A line just outside, too near to the chosen one to be traced alone"""


def _trace(
    scene: Scene, hint: EdgeHint, local: LocalMap, line: SpaceLine, levels: Levels
) -> _Traced | str:
    """Second, narrow reading along the chosen line, sub-pixel positions, intersection; or the name of why there are none."""
    settings, stations = scene.settings, local.stations
    fine = rebased(stations, line, hint.shape, settings)
    rise = along_new(stations, line.height_mm - levels.height_mm, fine)
    levels = levels.at(fine)
    start = levels.height_mm + rise
    photos = read(scene, fine, start, line)
    levels = find_joints(
        levels, np.zeros(len(fine)), rise, [p.band for p in photos], [p.steps for p in photos], start
    )
    predicted = [-p.band.lean * (levels.height_mm + rise - start) * p.band.scale_px_per_mm for p in photos]
    blur: dict[str, float] = {}
    arris = Rounding()
    outermost = hint.kind in OUTERMOST and bool(local.outward)
    for gate in GATES_PX:
        bands, fits, opened = locate(scene, fine, photos, predicted, gate, blur)
        if not bands:
            return "unsharp"
        if outermost:
            face = shows_face(bands, local.outward)
            ratio = light_ratio(bands, fits, [o & f for o, f in zip(opened, face, strict=True)])
            arris = Rounding.of(local.outward, ratio, hint.kind, _claimed(hint, settings))
        solved = intersect(scene, fine, start, levels, bands, fits, opened, f"height:{hint.edge_id}", arris)
        smooth = smoothed(fine, solved)
        predicted = [_seen_px(p.band, smooth, solved, arris, start) for p in photos]
    traces = _traces(hint, fine, solved, bands, fits)
    hidden = None
    places = [_seen_px(band, smooth, solved, arris, start) for band in bands]
    if outermost and hint.choose is None and hint.line is None:
        hidden = find_hidden_line(bands, fits, solved.weight, places, local.outward)
        hidden = None if hidden is None or not _may_end_there(local, line, hidden.apart_mm) else hidden
    every, agreed = fine.along_mm, _agreed(bands, places, solved.weight)
    solved, fine = without_strays(solved, fine)
    expected = np.interp(fine.along_mm, every, levels.height_mm)
    return _Traced(fine, solved, bands, fits, traces, expected, agreed, hidden)


def _agreed(bands: list[Band], places_px: list[Array], weight: Array) -> float:
    """Share of the stations, over the photos, that have a step of the line at ``places_px`` where nothing covers it."""
    looks = hits = 0
    for band, place, used in zip(bands, places_px, weight, strict=True):
        cell = np.clip(np.round(place - band.step_px[0]).astype(np.int64), 0, len(band.step_px) - 1)
        open_ = ~band.covered[np.arange(len(cell)), cell]
        looks += int(open_.sum())
        hits += int((open_ & (used > 0)).sum())
    return hits / max(looks, 1)


def _claimed(hint: EdgeHint, settings: EdgeSettings) -> tuple[float, float] | None:
    """Radius of the rounding and its standard uncertainty as somebody gave them."""
    radius = settings.arris_mm if hint.arris_mm is None else hint.arris_mm
    return None if radius is None else (radius, settings.arris_u_mm)


def _seen_px(band: Band, offset_mm: Array, solved: Intersection, arris: Rounding, start_mm: Array) -> Array:
    """(N,) where a photo shows the step of an edge whose outermost line runs at ``offset_mm`` (N,)."""
    moved = sum(share * (arris.moves(band.lean, two) @ unknowns) for share, two, unknowns in solved.parts)
    seen = offset_mm + moved - band.lean * (solved.height_mm - start_mm)
    return np.asarray(seen * band.scale_px_per_mm)


def _may_end_there(local: LocalMap, line: SpaceLine, apart_mm: float) -> bool:
    """Whether the surface may as well end so far outside the chosen line as at it."""
    here, there = (
        surface_test(local.bands, line.offset_mm + local.outward * apart, line.height_mm, local.base_mm, local.outward).ends
        for apart in (0.0, apart_mm)
    )
    return bool(there - here > np.log(1.0 - CERTAIN))


def _settled(local: LocalMap, line: SpaceLine) -> tuple[Levels, SpaceLine]:
    """Where one cabinet ends and the next begins, and the chosen line through the steps that most photos agree on."""
    free = steps_left(local, line)
    levels, offset, rise = local.levels, line.offset_mm, line.height_mm - local.levels.height_mm
    for _ in range(2 if len(levels.joints_mm) else 1):
        # a tilt of the line over all cabinets may be no more than joints in the wrong places
        levels = find_joints(levels, offset, np.full(len(offset), rise.mean()), local.bands, local.steps, local.base_mm)
        offset, rise = best_association(free, offset, rise, local.base_mm, levels)
    again = settle_again(local, offset, rise, levels)
    if again is None or again.support < line.support - LESS_SUPPORT or again.misfit > line.misfit + MORE_MISFIT:
        return local.levels, line
    return levels, again


# -------------------------------------------------------------------------------------------- results


def _points(
    scene: Scene, hint: EdgeHint, fine: Stations, solved: Intersection, doubt_u_mm: float
) -> PlanePoints:
    """Drop onto the plane along its normal, and state every error."""
    settings = scene.settings
    jac = solved.shared_jac.copy()
    mean_u, turn_u = _common_modes(fine.along_mm, solved.common_mm)
    x = unit_position(fine.along_mm)
    for name, size, shape in (
        ("definition", float(np.hypot(mean_u, doubt_u_mm)), np.ones(len(fine))), ("definition-turn", turn_u, x)
    ):
        column = scene.column.get(f"{name}:{hint.edge_id}")
        if column is not None:
            jac[:, column] += size / settings.definition_u_mm * shape
    n, t = fine.normal, fine.tangent
    noise = solved.noise_mm[:, None, None] ** 2 * n[:, :, None] * n[:, None, :]
    noise = noise + ALONG_MM**2 * t[:, :, None] * t[:, None, :]
    return PlanePoints(
        edge_id=hint.edge_id,
        source=NAME,
        xy_mm=fine.shifted(solved.offset_mm),
        height_mm=solved.height_mm,
        noise_cov_mm2=noise,
        shared_jac=n[:, :, None] * jac[:, None, :],
        height_u_mm=solved.height_u_mm,
        n_photos=(solved.weight > 0).sum(axis=0).astype(np.float64),
        correlation_mm=_correlation(fine.along_mm, solved.offset_mm, settings),
    )


def _common_modes(along: Array, common: Array) -> tuple[float, float]:
    """Standard deviations of the shift of the whole edge and of its turn (at the ends) from errors common to it."""
    x = unit_position(along)
    design = np.stack([np.ones_like(x), x], axis=1)
    modes = np.linalg.lstsq(design, common, rcond=None)[0]
    return float(np.linalg.norm(modes[0])), float(np.linalg.norm(modes[1]))


def _correlation(along: Array, offset: Array, settings: EdgeSettings) -> float:
    """Correlation length of the offsets about a smooth curve, from the autocorrelation at one and two stations."""
    if len(along) < 20:
        return settings.station_mm
    smooth = np.polynomial.chebyshev.Chebyshev.fit(along, offset, min(5, len(along) // 8))(along)
    residual = offset - smooth
    spacing = float(np.median(np.diff(along)))
    lengths = []
    for k in (1, 2):
        rho = autocorrelation(residual, along, k * spacing)
        if CORRELATIONS[0] < rho < CORRELATIONS[1]:
            lengths.append(-k * spacing / float(np.log(rho)))
    return float(np.mean(lengths)) if lengths else 0.0


def _traces(
    hint: EdgeHint, fine: Stations, solved: Intersection, bands: list[Band], fits: list[StepFit]
) -> tuple[EdgeTrace, ...]:
    """The positions used, per photo, in original pixels."""
    traces = []
    for p, (band, fit) in enumerate(zip(bands, fits, strict=True)):
        rows = np.flatnonzero(solved.weight[p] > 0)
        if not len(rows):
            continue
        across = band.across[rows]
        sideways = np.stack([-across[:, 1], across[:, 0]], axis=1)
        u = np.maximum(fit.u_px[rows], solved.scatter_px[p])
        cov = u[:, None, None] ** 2 * across[:, :, None] * across[:, None, :]
        cov = cov + 25.0 * sideways[:, :, None] * sideways[:, None, :]
        uv = band.uv_px[rows] + fit.position_px[rows, None] * across
        traces.append(EdgeTrace(band.photo_id, hint.edge_id, uv, cov, fine.along_mm[rows]))
    return tuple(traces)


def _doubts(
    scene: Scene, hint: EdgeHint, fine: Stations, solved: Intersection, stations: Stations
) -> tuple[Finding, ...]:
    settings, findings = scene.settings, []
    photos = int((solved.weight > 0).any(axis=1).sum())
    many = float(((solved.weight > 0).sum(axis=0) >= 2).mean())
    if photos < 2 or many < SINGLE_SHARE:
        findings.append(
            Finding("edge-single-view", hint.edge_id, single_percent=100 * (1 - many), U_mm=2 * settings.height_prior_u_mm)
        )
    height = float(np.mean(solved.height_mm))
    if hint.line != "door" and abs(height) > settings.off_plane_mm and abs(height) > 2 * float(np.mean(solved.height_u_mm)):
        code = "edge-above-plane" if height > 0 else "edge-below-plane"
        findings.append(Finding(code, hint.edge_id, height_mm=abs(height)))
    length = float(np.ptp(stations.along_mm))
    spacing = settings.station_mm
    seen = len(fine) * spacing
    gap = float(np.max(np.diff(fine.along_mm), initial=0.0))
    if seen < SEEN_SHARE * length:
        findings.append(Finding("edge-short", hint.edge_id, seen_mm=seen, expected_mm=length))
    elif gap > max(GAP_MM, GAP_SHARE * length):
        findings.append(Finding("edge-gaps", hint.edge_id, gap_mm=gap))
    return tuple(findings)


def _off_path(found_mm: Array, path_mm: Array, hint: EdgeHint) -> tuple[Finding, ...]:
    """``edge-off-path`` where the shape through what was found leaves the hint's path by more than was searched: then it is
    something else, or another shape."""
    named = hint.choose is not None or hint.line not in (None, "box")
    if hint.shape == "profile" or named:  # no shape of its own between its points; a line that was named
        return ()
    try:
        off_mm = float(np.abs(Path.through(found_mm, hint.shape).off(path_mm)).max())
    except (ValueError, MeasureError):
        return (lost(hint, "contradictory"),)
    return (Finding("edge-off-path", hint.edge_id, off_mm=off_mm, search_mm=hint.search_mm),) if off_mm > hint.search_mm else ()


def _unseen(hint: EdgeHint, local: LocalMap) -> Finding:
    if not local.bands:
        return lost(hint, "no-photo")
    if not local.lines:
        return lost(hint, "no-step")
    near = max((m.line for m in local.lines), key=lambda line: line.support)
    return Finding("edge-line-weak", hint.edge_id, support_percent=100 * near.support, rise_mm=near.rise_mm)
