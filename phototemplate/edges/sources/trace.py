"""Source ``trace``: an edge seen in the photos themselves.

Hint -> path in the work plane -> grey profiles across it in every photo -> steps -> vote in space -> choice -> second,
narrow reading along the chosen line -> sub-pixel positions -> intersection in space -> points in the plane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges.proposals.line_consensus import Line, explain_away, settle
from phototemplate.edges.proposals.line_refinement import FIRST_BLUR_PX as FIRST_BLUR_PX
from phototemplate.edges.proposals.line_refinement import along_new, locate, read, rebased, smoothed, without_strays
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.hints import hint_path, lost
from phototemplate.edges.sources.result import Found
from phototemplate.edges.tracing.arris_offset import Rounding, rounding, shows_face
from phototemplate.edges.tracing.double_line import Neighbour, find_neighbour, neighbour_finding, unresolved_u_mm
from phototemplate.edges.tracing.edge_contrast import faint_finding, faint_u_mm, light_ratio
from phototemplate.edges.tracing.expected_height import Levels, expected_levels, find_joints
from phototemplate.edges.tracing.grey_profiles import Band, Steps, find_steps, sample_band
from phototemplate.edges.tracing.hint_path import Path, Stations
from phototemplate.edges.tracing.line_choice import OUTERMOST, choose
from phototemplate.edges.tracing.line_voting import OFFSET_STEP_MM, Ballot, Proposal, vote
from phototemplate.edges.tracing.space_intersection import Intersection, intersect, unit_position
from phototemplate.edges.tracing.step_position import StepFit
from phototemplate.errors import Finding
from phototemplate.model import Array, EdgeHint, EdgeTrace, PlanePoints, TypeB
from phototemplate.numerics.correlation import autocorrelation
from phototemplate.settings import EdgeSettings

NAME = "trace"
SECTION_MM = 120.0
"""Curved hints may bend every so often"""
GATES_PX = (1.0, 0.7)
"""Steps this near to the line are read, round by round; twice as many mm where a photo is sharper than 2 px/mm"""
ALONG_MM = 1.5
"""A point stands for its station's stretch; where along it, does not matter and is not claimed"""


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
    settings = scene.settings
    straight = hint.shape == "line"
    path = Path.through(points, straight)
    stations = path.stations(settings.station_mm, settings.end_margin_mm)
    outward = -scene.material_side(stations.xy_mm, stations.normal)
    levels = expected_levels(scene.plane, stations, hint, outward, scene.settings.height_reach_mm)

    look = find_lines(scene, hint, stations, levels.height_mm, straight)
    choice = choose(look.lines, hint, outward, settings)
    if choice is None:
        return Found(None, (), (_unseen(hint, look),))
    levels, line = _with_joints(look, choice.line, stations, levels, settings)
    fine = rebased(path, stations, line, straight, settings)
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
    for gate in GATES_PX:
        bands, fits, opened = locate(scene, fine, photos, predicted, gate, blur)
        if not bands:
            return Found(None, (), (lost(hint, "unsharp"),))
        if hint.kind in OUTERMOST and outward:
            face = shows_face(bands, outward)
            arris = rounding(settings, outward, light_ratio(bands, fits, [o & f for o, f in zip(opened, face, strict=True)]))
        solved = intersect(scene, fine, start, levels, bands, fits, opened, f"height:{hint.edge_id}", arris)
        smooth = smoothed(fine, solved)
        predicted = [(smooth - p.band.lean * (solved.height_mm - start)) * p.band.scale_px_per_mm for p in photos]
    traces = _traces(hint, fine, solved, bands, fits)
    beside = None
    if hint.kind in OUTERMOST and outward and hint.choose is None:
        places = [(smooth - b.lean * (solved.height_mm - start)) * b.scale_px_per_mm for b in bands]
        beside = find_neighbour(bands, fits, solved.weight, places, outward)
    faint_u = faint_u_mm(light_ratio(bands, fits, solved.weight), hint.kind) if hint.kind in OUTERMOST else 0.0
    solved, fine = without_strays(solved, fine)
    if len(fine) < 3:
        return Found(None, (), (lost(hint, "contradictory"),))
    rivals = [*choice.rivals_mm, *([] if beside is None else [beside.apart_mm])]
    definition_u = float(np.linalg.norm([arris.inset_u_mm, faint_u, unresolved_u_mm(rivals, bands, fits)]))
    found = _points(scene, hint, fine, solved, definition_u, arris)
    findings = _doubled(choice.findings, beside, hint) + faint_finding(hint.edge_id, faint_u)
    findings += _doubts(scene, hint, fine, solved, stations)
    points_ = replace(found, candidates=choice.candidates, findings=findings)
    return Found(points_, traces, findings)


def _doubled(findings: tuple[Finding, ...], beside: Neighbour | None, hint: EdgeHint) -> tuple[Finding, ...]:
    """Doubts about the choice: those of the lines found, else that of a line hidden beside the chosen one."""
    return findings or neighbour_finding(hint.edge_id, beside)


# ------------------------------------------------------------------------------------------ first look


@dataclass(frozen=True)
class Look:
    """The first, wide look: what the photos show near the path."""

    lines: list[Line]
    bands: list[Band]
    steps: list[Steps]
    nodes_mm: Array
    base_mm: Array
    """(N,) height at which the bands were sampled"""


def find_lines(scene: Scene, hint: EdgeHint, stations: Stations, expected_mm: Array, straight: bool) -> Look:
    """Lines in space near the stations that the photos' grey steps agree on."""
    settings = scene.settings
    reach = hint.search_mm + settings.search_low_mm
    bands = []
    for photo_id in scene.network.photos:
        band = sample_band(scene, photo_id, stations, expected_mm, reach, 8.0, settings.rows_per_station // 2)
        if band is not None and np.logical_not(band.covered).any(axis=1).sum() >= max(3, 0.08 * len(stations)):
            bands.append(band)
    steps = [find_steps(b, FIRST_BLUR_PX, settings.least_strength) for b in bands]
    keep = [k for k, s in enumerate(steps) if len(s.station)]
    bands, steps = [bands[k] for k in keep], [steps[k] for k in keep]
    sections = 1 if straight else max(2, round(float(np.ptp(stations.along_mm)) / SECTION_MM))
    nodes = np.linspace(stations.along_mm[0], stations.along_mm[-1], sections + 1)
    if not bands:
        return Look([], [], [], nodes, expected_mm)
    ballot = Ballot(
        offsets_mm=np.arange(-hint.search_mm, hint.search_mm + 1e-9, OFFSET_STEP_MM),
        heights_mm=np.arange(-settings.search_low_mm, settings.search_high_mm + 1e-9, 1.0),
        nodes_mm=nodes,
        turn_mm=min(hint.search_mm, 10.0) if straight else 4.0,
        height_u_mm=1.5 * settings.height_prior_u_mm,
    )
    lines: list[Line] = []
    for proposal in vote(stations, bands, steps, ballot, settings.candidates):
        line = settle(proposal, nodes, stations, bands, steps, expected_mm, settings.height_prior_u_mm)
        if line is None or abs(float(np.mean(line.offset_mm))) > hint.search_mm + 2.0:
            continue
        if all(_apart(line, other) for other in lines):
            lines.append(line)
    return Look(explain_away(lines, bands, expected_mm), bands, steps, nodes, expected_mm)


def _with_joints(
    look: Look, line: Line, stations: Stations, levels: Levels, settings: EdgeSettings
) -> tuple[Levels, Line]:
    """Find where one cabinet ends and the next begins, and settle the chosen line once more with that."""
    if not len(levels.joints_mm):
        return levels, line
    rise = line.height_mm - levels.height_mm
    better = find_joints(levels, line.offset_mm, rise, look.bands, look.steps, look.base_mm)
    start = Proposal(np.interp(look.nodes_mm, stations.along_mm, line.offset_mm), line.rise_mm, 0.0)
    again = settle(
        start, look.nodes_mm, stations, look.bands, look.steps, better.height_mm, settings.height_prior_u_mm, look.base_mm
    )
    if again is None or again.support < line.support - 0.05:
        return levels, line
    return better, again


def _apart(one: Line, other: Line) -> bool:
    """Two proposals may settle on the same line."""
    return bool(
        np.abs(one.offset_mm - other.offset_mm).max() > 0.6 or abs(one.rise_mm - other.rise_mm) > 2.0
    )


# -------------------------------------------------------------------------------------------- results


def _points(
    scene: Scene, hint: EdgeHint, fine: Stations, solved: Intersection, inset_u_mm: float, arris: Rounding
) -> PlanePoints:
    """Drop onto the plane along its normal, and state every error."""
    settings = scene.settings
    jac = solved.shared_jac.copy()
    mean_u, turn_u = _common_modes(fine.along_mm, solved.common_mm)
    x = unit_position(fine.along_mm)
    for name, size, shape in (
        ("definition", float(np.hypot(mean_u, inset_u_mm)), np.ones(len(fine))), ("definition-turn", turn_u, x)
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
        height_mm=solved.height_mm + arris.drop_mm,
        noise_cov_mm2=noise,
        shared_jac=n[:, :, None] * jac[:, None, :],
        height_u_mm=np.hypot(solved.height_u_mm, arris.drop_u_mm),
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
        if 0.02 < rho < 0.98:
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
    if photos < 2 or many < 0.5:
        findings.append(
            Finding("edge-single-view", hint.edge_id, single_percent=100 * (1 - many), U_mm=2 * settings.height_prior_u_mm)
        )
    height = float(np.mean(solved.height_mm))
    if abs(height) > settings.off_plane_mm and abs(height) > 2 * float(np.mean(solved.height_u_mm)):
        code = "edge-above-plane" if height > 0 else "edge-below-plane"
        findings.append(Finding(code, hint.edge_id, height_mm=abs(height)))
    length = float(np.ptp(stations.along_mm))
    spacing = settings.station_mm
    seen = len(fine) * spacing
    gap = float(np.max(np.diff(fine.along_mm), initial=0.0))
    if seen < 0.4 * length:
        findings.append(Finding("edge-short", hint.edge_id, seen_mm=seen, expected_mm=length))
    elif gap > max(60.0, 0.15 * length):
        findings.append(Finding("edge-gaps", hint.edge_id, gap_mm=gap))
    return tuple(findings)


def _unseen(hint: EdgeHint, look: Look) -> Finding:
    if not look.bands:
        return lost(hint, "no-photo")
    if not look.lines:
        return lost(hint, "no-step")
    near = max(look.lines, key=lambda line: line.support)
    return Finding("edge-line-weak", hint.edge_id, support_percent=100 * near.support, rise_mm=near.rise_mm)
