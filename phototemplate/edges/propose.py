"""Edges nobody has drawn yet, proposed from targets and photos alone, for the user to confirm.

Three kinds of evidence, each with the source it will be measured by:

* wall strips along one wall: the wall line behind them;
* contact sheets whose cut edges line up: somebody butted them against something straight;
* straight grey steps in several photos that meet at the height of the cabinet tops, bound the side on which the sheets
  lie, and are the outermost of their bundle: fronts and free ends.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from phototemplate.edges.agree import Line
from phototemplate.edges.levels import expected_levels
from phototemplate.edges.path import Path, Stations
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.trace import find_lines
from phototemplate.model import Array, EdgeHint, EdgeKind, GrayImage, Network, WorkPlane
from phototemplate.network import projection, workplane
from phototemplate.settings import EdgeSettings

LOOK_PX = 1600
"""Photos are searched for segments at about this width"""
NEAR_SHEET_MM = 450.0
"""Edges of cabinet tops are sought this near to a sheet"""
TURN_RAD = np.radians(4.0)
"""Walls and cabinets may be this much out of square"""
BAR_MM = 70.0
"""Lines this near to the line between two bar ends are the bar's"""
BUNDLE_MM = 130.0
"""Parallel lines this near to each other belong to one cabinet top: plies, rails, face frame"""
PLIES_MM = 45.0
"""Lines this near to each other are the plies, joints and edges of one board, of which the outermost is meant"""
DEPTH_MM = 300.0
"""Two fronts do not face the same way nearer to each other than a cabinet is deep"""
SHORT_MM = 150.0
"""No shorter edge is proposed"""
SHEET_REACH_MM = 180.0
"""A sheet says on which side of a line the cabinet lies for this far to both sides of its centre"""
BEYOND_MM = 700.0
"""No sheet lies this near beyond an outline edge: a range gap is wider, and so is the way between two runs"""
OUT_MM = 24.0
"""A board's outermost line is sought this far beyond the line found first"""
SUPPORT = 0.6
EVIDENCE = 0.35


@dataclass(frozen=True)
class ProposedEdge:
    """An edge to confirm, change or drop."""

    hint: EdgeHint
    confidence: float
    """0-1"""


@dataclass(frozen=True)
class _Found:
    """A straight line of the work plane, from ``ends_mm[0]`` to ``ends_mm[1]``; the room lies to its right."""

    ends_mm: Array
    line: Line

    @property
    def length_mm(self) -> float:
        return float(np.linalg.norm(self.ends_mm[1] - self.ends_mm[0]))


def propose_edges(
    gray_of: Callable[[str], GrayImage], network: Network, plane: WorkPlane, settings: EdgeSettings
) -> tuple[ProposedEdge, ...]:
    """Proposals, walls first; hints are anchored in the work frame and named ``wall-1``, ``front-1`` ..."""
    scene = Scene(gray_of, network, plane, settings)
    strips = _strip_walls(scene)
    contacts = _contact_lines(scene)
    taken = [_ends_of_points(scene, hint) for hint, _ in strips] + [_contact_ends(scene, hint) for hint, _ in contacts]
    traced = _traced(scene, [t for t in taken if t is not None])
    count: dict[str, int] = {}
    out = []
    for hint, confidence in [*strips, *contacts, *traced]:
        count[hint.kind] = count.get(hint.kind, 0) + 1
        out.append(ProposedEdge(replace(hint, edge_id=f"{hint.kind}-{count[hint.kind]}"), confidence))
    return tuple(out)


# --------------------------------------------------------------------------------------- strips, sheets


def _strip_walls(scene: Scene) -> list[tuple[EdgeHint, float]]:
    """Strips that continue each other along one wall."""
    pieces: dict[str, Array] = {}
    for target_id in sorted({p.target_id for p in scene.network.points}):
        target = scene.network.targets.get(target_id)
        if target is None or target.kind != "strip":
            continue
        world = np.array([p.xyz_mm for p in scene.network.points if p.target_id == target_id])
        if len(world) >= 2:
            pieces[target_id] = workplane.to_work(scene.plane, world)[0][:, :2]
    walls: list[list[str]] = []
    for name in pieces:
        for wall in walls:
            if any(_continues(pieces[name], pieces[other]) for other in wall):
                wall.append(name)
                break
        else:
            walls.append([name])
    merged = True
    while merged:  # a piece may have joined two walls begun apart
        merged = False
        for one, other in itertools.combinations(walls, 2):
            if any(_continues(pieces[a], pieces[b]) for a in one for b in other):
                one += other
                walls.remove(other)
                merged = True
                break
    return [
        (EdgeHint("", "wall", "strip", "profile", "work", targets=tuple(sorted(wall))), min(0.98, 0.8 + 0.03 * len(wall)))
        for wall in walls
        if sum(len(pieces[n]) for n in wall) >= 3
    ]


def _continues(one: Array, other: Array) -> bool:
    """Two runs of points lie along one wall: near each other, and each in the other's direction."""
    gap = np.linalg.norm(one[:, None] - other[None], axis=2).min()
    a, b = _direction(one), _direction(other)
    between = other.mean(axis=0) - one.mean(axis=0)
    between = between / max(float(np.linalg.norm(between)), 1e-9)
    return bool(gap < 900.0 and abs(a @ b) > np.cos(np.radians(12)) and abs(a @ between) > np.cos(np.radians(12)))


def _direction(xy: Array) -> Array:
    return np.asarray(np.linalg.svd(xy - xy.mean(axis=0))[2][0])


def _contact_edges(scene: Scene) -> dict[str, Array]:
    """(2, 2) contact edge of every sheet in the work plane."""
    edges = {}
    for target_id in scene.network.bodies:
        edge = scene.network.targets[target_id].contact_edge_mm
        if edge is not None:
            world = projection.body_points(scene.network, target_id, np.column_stack([edge, np.zeros(2)])).xyz_mm
            edges[target_id] = workplane.to_work(scene.plane, world)[0][:, :2]
    return edges


def _contact_lines(scene: Scene) -> list[tuple[EdgeHint, float]]:
    """Pairs and rows of sheets whose contact edges lie on one line, facing the same way."""
    edges = _contact_edges(scene)
    rows: list[set[str]] = []
    for a, b in itertools.combinations(edges, 2):
        if _line_up(edges[a], edges[b]):
            for row in rows:
                if a in row or b in row:
                    row |= {a, b}
                    break
            else:
                rows.append({a, b})
    out = []
    for row in rows:
        names = tuple(sorted(row))
        centre = np.mean([edges[n] for n in names], axis=(0, 1))
        wall = _stands_high(scene, centre, edges[names[0]])
        kind: EdgeKind = "panel" if wall else "end"
        out.append((EdgeHint("", kind, "contact", "line", "work", targets=names), 0.85))
    return out


def _line_up(one: Array, other: Array) -> bool:
    """Contact edges on one line within 2 mm and half a degree, sheets on the same side, not far apart."""
    a, b = one[1] - one[0], other[1] - other[0]
    a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
    off = np.abs((other - one[0]) @ np.array([-a[1], a[0]])).max()
    gap = np.linalg.norm(one[:, None] - other[None], axis=2).min()
    return bool(a @ b > np.cos(np.radians(0.7)) and off < 2.5 and gap < 400.0)


def _stands_high(scene: Scene, centre: Array, edge: Array) -> bool:
    """Whether something upright stands at the contact edge: no photo sees the sheet from beyond it."""
    along = edge[1] - edge[0]
    beyond = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    xyz = np.r_[centre, 0.0][None]
    from_beyond = [
        (scene.eye_mm(p)[:2] - centre) @ beyond > 150.0 for p in scene.network.photos if scene.see(p, xyz).inside[0]
    ]
    return not any(from_beyond)


def _ends_of_points(scene: Scene, hint: EdgeHint) -> Array | None:
    world = np.array([p.xyz_mm for p in scene.network.points if p.target_id in hint.targets])
    xy = workplane.to_work(scene.plane, world)[0][:, :2]
    axis = (xy - xy.mean(axis=0)) @ _direction(xy)
    return np.array([xy[int(np.argmin(axis))], xy[int(np.argmax(axis))]])


def _contact_ends(scene: Scene, hint: EdgeHint) -> Array | None:
    xy = np.vstack([_contact_edges(scene)[t] for t in hint.targets])
    axis = (xy - xy.mean(axis=0)) @ _direction(xy)
    return np.array([xy[int(np.argmin(axis))], xy[int(np.argmax(axis))]])


# ------------------------------------------------------------------------------------------ traced lines


def _traced(scene: Scene, taken: list[Array]) -> list[tuple[EdgeHint, float]]:
    segments = _segments(scene)
    if not len(segments):
        return []
    found: list[_Found] = []
    bars = _bars(scene)
    for ends in itertools.chain.from_iterable(_one_sided(scene, e) for e in _bundled(segments)):
        one = _confirm(scene, ends)
        if one is None or any(_same_line(one.ends_mm, bar, BAR_MM) for bar in bars):
            continue
        if not any(_same_line(one.ends_mm, t, BUNDLE_MM) for t in taken):
            found.append(one)
    found = _outermost(found)
    eyes = np.array([scene.eye_mm(p)[:2] for p in scene.network.photos])
    out = []
    for one in sorted(found, key=lambda f: -f.length_mm):
        along = (one.ends_mm[1] - one.ends_mm[0]) / one.length_mm
        outward = np.array([along[1], -along[0]])
        facing = float(np.mean((eyes - one.ends_mm.mean(axis=0)) @ outward > 0))
        parallel = sum(abs((f.ends_mm[1] - f.ends_mm[0]) / f.length_mm @ along) > 0.9 for f in found)
        front = facing > 0.6 and (one.length_mm > 640.0 or parallel == 1)
        kind: EdgeKind = "front" if front else "end"
        confidence = round(float(min(0.95, one.line.support * (0.5 + 0.5 * one.line.evidence))), 2)
        out.append((EdgeHint("", kind, "trace", "line", "work", path=one.ends_mm), confidence))
    return out


def _segments(scene: Scene) -> Array:
    """(M, 2, 2) straight segments of all photos, dropped onto the work plane, near sheets and not on paper."""
    sheets = _sheet_centres(scene)
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    out = []
    for photo_id in scene.network.photos:
        gray = scene.gray_of(photo_id)
        shrink = max(1.0, gray.shape[1] / LOOK_PX)
        small = cv2.resize(gray, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA) if shrink > 1 else gray
        lines = detector.detect(np.asarray(small))[0]
        if lines is None:
            continue
        ends = (np.asarray(lines, dtype=np.float64).reshape(-1, 2, 2) + 0.5) * shrink - 0.5
        ends = ends[np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) > 25 * shrink]
        ends = ends[~scene.covered(photo_id, ends.mean(axis=1))]
        if not len(ends):
            continue
        plan = scene.unproject(photo_id, ends.reshape(-1, 2)).reshape(-1, 2, 2)
        length = np.linalg.norm(plan[:, 1] - plan[:, 0], axis=1)
        with np.errstate(invalid="ignore"):
            keep = np.isfinite(length) & (length > 50.0) & (length < 4000.0)
        plan = plan[keep]
        near = np.linalg.norm(plan.mean(axis=1)[:, None] - sheets[None], axis=2).min(axis=1) < NEAR_SHEET_MM
        out.append(plan[near])
    return np.concatenate(out) if out else np.zeros((0, 2, 2))


def _bars(scene: Scene) -> list[Array]:
    """(2, 2) each: where a bar lies between two of its end targets; its sides are lines, but not the kitchen's."""
    ends = {}
    for target_id, target in scene.network.targets.items():
        if target.kind == "bar_end":
            world = [p.xyz_mm for p in scene.network.points if p.target_id == target_id]
            if target_id in scene.network.bodies:
                world.append(scene.network.bodies[target_id].translation_mm)
            if world:
                ends[target_id] = workplane.to_work(scene.plane, np.mean(world, axis=0)[None])[0][0, :2]
    return [np.array([ends[a], ends[b]]) for a, b in itertools.combinations(sorted(ends), 2)]


def _sheet_centres(scene: Scene) -> Array:
    centres = [h.xy_mm for h in scene.plane.heights]
    if not centres:
        centres = [
            workplane.to_work(scene.plane, scene.network.bodies[t].translation_mm[None])[0][0, :2] for t in scene.network.bodies
        ]
    return np.array(centres)


def _bundled(segments: Array) -> list[Array]:
    """Candidate lines (2, 2): segments of about one direction whose offsets pile up, split at gaps."""
    step = segments[:, 1] - segments[:, 0]
    length = np.linalg.norm(step, axis=1)
    angle = np.arctan2(step[:, 1], step[:, 0]) % (np.pi / 2)
    centre = float(np.angle(np.sum(length * np.exp(4j * angle))) / 4)
    out = []
    for axis_angle in (centre, centre + np.pi / 2):
        axis = np.array([np.cos(axis_angle), np.sin(axis_angle)])
        normal = np.array([-axis[1], axis[0]])
        mine = np.abs(step @ normal) < np.sin(TURN_RAD) * length
        part = segments[mine]
        if not len(part):
            continue
        offset = part.mean(axis=1) @ normal
        low, high = np.sort(part @ axis, axis=1).T
        order = np.argsort(offset)
        offset, low, high, part = offset[order], low[order], high[order], part[order]
        bins = np.arange(offset.min() - 10, offset.max() + 10, 2.0)
        pile = np.histogram(offset, bins, weights=high - low)[0]
        pile = np.convolve(pile, [0.5, 1.0, 1.0, 1.0, 0.5], mode="same")
        peaks = np.flatnonzero((pile[1:-1] >= pile[:-2]) & (pile[1:-1] > pile[2:]) & (pile[1:-1] > 2 * SHORT_MM)) + 1
        for peak in peaks:
            place = bins[peak] + 1.0
            near = np.abs(offset - place) < 7.0
            for begin, end in _runs(low[near], high[near]):
                if end - begin >= SHORT_MM:
                    out.append(np.array([axis * begin + normal * place, axis * end + normal * place]))
    return out


def _runs(low: Array, high: Array) -> list[tuple[float, float]]:
    """Union of intervals, gaps up to 260 mm (a sheet) closed."""
    runs: list[tuple[float, float]] = []
    for begin, end in sorted(zip(low.tolist(), high.tolist(), strict=True)):
        if runs and begin <= runs[-1][1] + 260.0:
            runs[-1] = (runs[-1][0], max(runs[-1][1], end))
        else:
            runs.append((begin, end))
    return runs


def _one_sided(scene: Scene, ends: Array) -> list[Array]:
    """The stretches of a candidate that have sheets on one side only: past an inner corner the line runs on inside."""
    along = ends[1] - ends[0]
    length = float(np.linalg.norm(along))
    along = along / length
    normal = np.array([-along[1], along[0]])
    position = np.arange(0.0, length + 1e-9, 10.0)
    centres = _sheet_centres(scene) - ends[0]
    ahead, side = np.abs(position[:, None] - centres @ along), centres @ normal
    out: list[Array] = []
    for sign in (1.0, -1.0):
        want = ((ahead < SHEET_REACH_MM) & (sign * side > 0) & (sign * side < NEAR_SHEET_MM)).any(axis=1)
        never = ((ahead < 1.3 * SHEET_REACH_MM) & (sign * side < 0) & (sign * side > -BEYOND_MM)).any(axis=1)
        edges = np.flatnonzero(np.diff(np.r_[False, ~never, False].astype(np.int8)))
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            if want[begin:end].any() and position[end - 1] - position[begin] >= SHORT_MM:
                out.append(ends[0] + np.array([[position[begin]], [position[end - 1]]]) * along)
    return out


def _confirm(scene: Scene, ends: Array) -> _Found | None:
    """A candidate that the photos agree on at the height of the cabinet tops, with the sheets on one side."""
    hint = EdgeHint("", "other", path=ends, anchor="work", search_mm=14.0)
    stations = Path.through(ends, True).stations(2 * scene.settings.station_mm)
    side = _sheet_side(scene, stations)
    if side == 0.0:
        return None
    levels = expected_levels(scene.plane, stations, hint, -side)
    lines = [
        line
        for line in find_lines(scene, hint, stations, levels.height_mm, True).lines
        if line.support > SUPPORT and line.evidence > EVIDENCE and line.misfit < 1.3
        and len(line.showing) >= 2 and not line.explained
    ]
    level = [line for line in lines if abs(line.rise_mm) < 3.0 and abs(float(np.mean(line.offset_mm))) < 7.0]
    if not level:
        return None
    best = max(level, key=_worth)
    # a door or a toe kick that happens to be seen here, and something at the right height by chance beside it
    doubtful = len(best.showing) < 0.7 * best.open_photos
    if doubtful and any(abs(line.rise_mm) > 5.0 and _worth(line) > _worth(best) for line in lines):
        return None
    xy = stations.shifted(best.offset_mm)[[0, -1]]
    xy, best = _further_out(scene, xy if side > 0 else xy[::-1], best)
    return _Found(xy, best)


def _further_out(scene: Scene, ends: Array, line: Line) -> tuple[Array, Line]:
    """The outermost level line of the same board: a dark edge beside a bright joint makes no segments of its own."""
    hint = EdgeHint("", "other", path=ends, anchor="work", search_mm=OUT_MM)
    stations = Path.through(ends, True).stations(2 * scene.settings.station_mm)
    levels = expected_levels(scene.plane, stations, hint, -1.0)
    best, best_ends = line, ends
    for other in find_lines(scene, hint, stations, levels.height_mm, True).lines:
        offset = float(np.mean(other.offset_mm))
        good = other.support > SUPPORT and other.evidence > 0.8 * EVIDENCE and other.misfit < 1.3 and not other.explained
        if not good or abs(other.rise_mm) > 2.5 or len(other.showing) < max(2, 0.6 * len(line.showing)):
            continue
        if offset < float(np.mean((best_ends - ends) @ stations.normal[0])) - 0.7 and _worth(other) > 0.5 * _worth(line):
            best, best_ends = other, stations.shifted(other.offset_mm)[[0, -1]]
    return best_ends, best


def _worth(line: Line) -> float:
    return line.evidence * line.support * float(1 - 0.5 ** len(line.showing))


def _sheet_side(scene: Scene, stations: Stations) -> float:
    """+1 or -1: the side on which sheets lie near the stretch, 0 if on both or on none."""
    left = right = 0
    length = float(np.ptp(stations.along_mm))
    for centre in _sheet_centres(scene):
        away = centre - stations.xy_mm[0]
        along, side = float(away @ stations.tangent[0]), float(away @ stations.normal[0])
        if -20.0 < along < length + 20.0 and abs(side) < NEAR_SHEET_MM:
            left += side > 0
            right += side < 0
    return float(left > 0) - float(right > 0) if (left > 0) != (right > 0) else 0.0


def _same_line(one: Array, other: Array, within_mm: float) -> bool:
    """``one`` runs along ``other`` within a few centimetres (the back rail before a wall, a rail under a contact sheet)."""
    along = other[1] - other[0]
    length = float(np.linalg.norm(along))
    along = along / max(length, 1e-9)
    normal = np.array([-along[1], along[0]])
    position, off = (one - other[0]) @ along, (one - other[0]) @ normal
    overlap = min(position.max(), length + 300.0) - max(position.min(), -300.0)
    return bool(np.abs(off).max() < within_mm and overlap > 0.5 * np.ptp(position))


def _outermost(found: list[_Found]) -> list[_Found]:
    """Of parallel lines that overlap within a cabinet top's bundle the outermost; the room is to the right of each."""
    kept: list[_Found] = []
    for one in found:
        along = (one.ends_mm[1] - one.ends_mm[0]) / one.length_mm
        outward = np.array([along[1], -along[0]])
        beaten = False
        for other in found:
            if other is one:
                continue
            turned = (other.ends_mm[1] - other.ends_mm[0]) / other.length_mm
            position = (other.ends_mm - one.ends_mm[0]) @ along
            overlap = min(position.max(), one.length_mm) - max(position.min(), 0.0)
            if turned @ along < np.cos(TURN_RAD) or overlap < 0.4 * min(one.length_mm, other.length_mm):
                continue
            gain = float((other.ends_mm.mean(axis=0) - one.ends_mm[0]) @ outward)
            worth, mine = _worth(other.line), _worth(one.line)
            if abs(gain) > PLIES_MM:  # not the same board: whichever is the better and longer line
                worth, mine = worth * other.length_mm, mine * one.length_mm
                lost = abs(gain) < DEPTH_MM and worth > mine
            else:
                lost = (gain > 0.7 and worth > 0.6 * mine) or (abs(gain) <= 0.7 and worth > mine)
            if lost:
                beaten = True
                break
        if not beaten:
            kept.append(one)
    return kept
