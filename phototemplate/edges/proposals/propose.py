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

import numpy as np

from phototemplate.edges.constants import BREAK_MM, LEAST_CONFIDENCE, OUTSIDE_SEARCH_MM
from phototemplate.edges.levels import scenes_by_level
from phototemplate.edges.proposals.confirmation import FoundLine, Second, confirm, one_sided
from phototemplate.edges.proposals.constants import (
    BAR_MM,
    BESIDE_SHARE,
    BRIDGED_CONFIDENCE,
    BRIDGED_MM,
    BUNDLE_MM,
    CUT_MM,
    CUT_TURN_RAD,
    DEEPEST_MM,
    DEPTH_MM,
    FACING_SHARE,
    HOLE_MM,
    LINE_OFF_MM,
    LINE_TURN_RAD,
    LONG_MM,
    LOOKED_MM,
    MOST_CONFIDENCE,
    OUTER_SHARE,
    OVERLAP_SHARE,
    PARALLEL_COS,
    PASSAGE_MM,
    PAST_MM,
    PLIES_MM,
    PROUD_MM,
    RAIL_CONFIDENCE,
    RAIL_FAR_MM,
    RAIL_LIGHT,
    RAIL_MM,
    RUN_DEPTH_MM,
    SAME_EDGE_MM,
    SHORT_POWER,
    SQUARE_COS,
    TURN_RAD,
    USUAL_MM,
    WALL_REACH_MM,
    WITHIN_MM,
)
from phototemplate.edges.proposals.line_candidates import candidates, segments
from phototemplate.edges.proposals.target_edges import contact_lines, ends_of_contact, ends_of_strip, strip_walls
from phototemplate.edges.readings.constants import FACE_MM, LOOKS
from phototemplate.edges.scene import Scene
from phototemplate.model import Array, EdgeHint, EdgeKind, GrayImage, Network, WorkPlane
from phototemplate.network import workplane
from phototemplate.settings import EdgeSettings

READING_OF = {"strip": "the wall behind its strips", "contact": "what the sheets are butted against"}


@dataclass(frozen=True)
class ProposedEdge:
    """An edge to confirm, change or drop."""

    hint: EdgeHint
    confidence: float
    """0-1"""
    reading: str = ""
    """What it is taken for, in words"""
    second: Second | None = None
    """What it may be instead; None where it hangs on targets"""


def propose_edges(
    gray_of: Callable[[str], GrayImage], network: Network, plane: WorkPlane, settings: EdgeSettings
) -> tuple[ProposedEdge, ...]:
    """Proposals, walls first; hints are anchored in the work frame and named ``wall-1``, ``front-1`` ..."""
    scene = Scene(gray_of, network, plane, settings)
    strips = strip_walls(scene)
    contacts = contact_lines(scene)
    walls = [ends_of_strip(scene, hint) for hint, _ in strips]
    butted = [ends_of_contact(scene, hint) for hint, _ in contacts]
    levels = scenes_by_level(scene) or {"": scene}
    traced = [
        one if len(levels) < 2 else replace(one, hint=replace(one.hint, level=level))
        for level, there in levels.items()
        for one in _traced(there, walls, butted)
    ]
    given = [ProposedEdge(hint, confidence, READING_OF[hint.source]) for hint, confidence in [*strips, *contacts]]
    count: dict[str, int] = {}
    out = []
    for one in [*given, *traced]:
        kind = one.hint.kind
        count[kind] = count.get(kind, 0) + 1
        out.append(replace(one, hint=replace(one.hint, edge_id=f"{kind}-{count[kind]}")))
    return tuple(out)


def _traced(scene: Scene, walls: list[Array], contacts: list[Array]) -> list[ProposedEdge]:
    """Fronts and ends that the photos show, longest first; ``walls`` and ``contacts`` (2, 2) each are proposed already."""
    lines = segments(scene)
    if not len(lines):
        return []
    found: list[FoundLine] = []
    looked: list[Array] = []
    bars = _bars(scene)

    def none(ends: Array) -> bool:
        known = any(_same_line(ends, t, BUNDLE_MM) for t in (*walls, *contacts))
        return known or any(_same_line(ends, b, BAR_MM) for b in bars) or any(_faces(ends, wall) for wall in walls)

    for ends in itertools.chain.from_iterable(one_sided(scene, c) for c in candidates(lines)):
        if not none(ends) and not any(_within(ends, one) for one in found) and not any(_covers(o, ends) for o in looked):
            looked.append(ends)
            found += [one for one in confirm(scene, ends) if not none(one.ends_mm)]
    found = _run_on(_outermost(found))
    for before, after, ends in _cut_corners(found):
        found += [
            _between(one, before, after) for one in confirm(scene, ends)
            if not none(one.ends_mm) and one.along @ _unit(ends) > np.cos(CUT_TURN_RAD[0])
        ]
    eyes = np.array([scene.eye_mm(p)[:2] for p in scene.network.photos])
    out = []
    for one in sorted(found, key=lambda f: -f.length_mm):
        hint = EdgeHint("", _kind(one, found, walls, eyes), "trace", "line", "work", path=one.ends_mm)
        confidence = min(MOST_CONFIDENCE, round(_with_length(one), 2))
        if confidence >= LEAST_CONFIDENCE:
            out.append(ProposedEdge(hint, confidence, LOOKS["edge"].words, one.second))
    return out


def _cut_corners(found: list[FoundLine]) -> list[tuple[FoundLine, FoundLine, Array]]:
    """Two edges and (2, 2) from where one ends to where the next begins, where both turn to it alike: a corner cut off."""
    out = []
    for one, other in itertools.permutations(found, 2):
        ends = np.array([one.ends_mm[1], other.ends_mm[0]])
        if not CUT_MM[0] < np.linalg.norm(ends[1] - ends[0]) < CUT_MM[1]:
            continue
        along = _unit(ends)
        turns = [float(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)) for a, b in ((one.along, along), (along, other.along))]
        if turns[0] * turns[1] > 0 and all(CUT_TURN_RAD[0] < abs(turn) < CUT_TURN_RAD[1] for turn in turns):
            out.append((one, other, ends))
    return out


def _between(one: FoundLine, before: FoundLine, after: FoundLine) -> FoundLine:
    """``one`` run on to both neighbours, if it ends near them: sheets seldom lie right into its corners."""
    ends = one.ends_mm.copy()
    for k, neighbour in enumerate((before, after)):
        meets = np.linalg.solve(np.column_stack([one.along, -neighbour.along]), neighbour.ends_mm[0] - one.ends_mm[0])
        place = one.ends_mm[0] + meets[0] * one.along
        if np.linalg.norm(place - ends[k]) < BREAK_MM:
            ends[k] = place
    return replace(one, ends_mm=ends)


def _unit(ends: Array) -> Array:
    """(2,) direction from the first to the second end."""
    return np.asarray((ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0]))


def _run_on(found: list[FoundLine]) -> list[FoundLine]:
    """Edges that run on in one line with a joint, or an appliance under the top, between them are one."""
    todo, out = sorted(found, key=lambda f: -f.length_mm), []
    while todo:
        one = todo.pop(0)
        for k, other in enumerate(todo):
            position, off = (other.ends_mm - one.ends_mm[0]) @ one.along, (other.ends_mm - one.ends_mm[0]) @ one.outward
            gap = float(max(position.min() - one.length_mm, -position.max()))
            near = np.abs(off).max() < LINE_OFF_MM + np.tan(LINE_TURN_RAD) * max(gap, 0.0)
            doors = np.abs(off - FACE_MM[0]).max() < FACE_MM[1] + np.tan(LINE_TURN_RAD) * max(gap, 0.0)
            if gap < HOLE_MM and (near or doors) and other.along @ one.along > np.cos(LINE_TURN_RAD):
                todo = [_bridged(one, other, gap), *todo[:k], *todo[k + 1 :]]
                break
        else:
            out.append(one)
    return out


def _bridged(one: FoundLine, other: FoundLine, gap_mm: float) -> FoundLine:
    """``one`` as far as ``other``, which may be its doors, goes."""
    place = np.r_[0.0, one.length_mm, (other.ends_mm - one.ends_mm[0]) @ one.along]
    ends = one.ends_mm[0] + np.array([[place.min()], [place.max()]]) * one.along
    off = float(((other.ends_mm - one.ends_mm[0]) @ one.outward).mean())
    if abs(off) < LINE_OFF_MM:  # both say where it runs
        straight = np.vstack([one.ends_mm, other.ends_mm])
        ends = straight[[int(np.argmin(place)), int(np.argmax(place))]]
    probability, second = min(one.probability, other.probability), one.second
    if gap_mm >= BRIDGED_MM:
        probability = min(probability, BRIDGED_CONFIDENCE)
        second = replace(second, edge_mm=None, gap_mm=gap_mm)
    return replace(one, ends_mm=ends, probability=probability, second=second)


def _with_length(one: FoundLine) -> float:
    """Probability of an edge that is as long as this: short lines are seldom edges of tops.

    Where the cabinets' side is dark and the other bright, the photos do not tell an edge from a rail's inner one.
    """
    probability, ratio = one.probability, one.judged.mapped.surface.light_ratio
    if one.judged.otherwise == "opening" and ratio < RAIL_LIGHT:
        probability = min(probability, RAIL_CONFIDENCE)
    odds = probability / max(1.0 - probability, 1e-6) * min(1.0, (one.length_mm / USUAL_MM) ** SHORT_POWER)
    return odds / (1.0 + odds)


def _kind(one: FoundLine, found: list[FoundLine], walls: list[Array], eyes: Array) -> EdgeKind:
    """A front runs along the wall behind its cabinets; where no strip tells of a wall: the long edges that the photos face."""
    squarely = 0
    for wall in walls:
        along, position, overlap = _beside(one.ends_mm, wall, WALL_REACH_MM)
        turn = abs(float(along @ one.along))
        behind = float((wall.mean(axis=0) - one.ends_mm.mean(axis=0)) @ -one.outward)
        along_it = turn > np.cos(3 * TURN_RAD) and overlap > OVERLAP_SHARE * one.length_mm
        if along_it and RUN_DEPTH_MM[0] < behind < RUN_DEPTH_MM[1]:
            return "front"
        # a wall into which the edge's own line runs within a cabinet's depth: the edge is an end of the run along that wall
        off = np.abs((one.ends_mm - wall[0]) @ np.array([-along[1], along[0]])).min()
        length = float(np.linalg.norm(wall[1] - wall[0]))
        reached = off < WALL_REACH_MM and -WALL_REACH_MM < position.mean() < length + WALL_REACH_MM
        squarely += turn < np.sin(3 * TURN_RAD) and reached
    if squarely:
        return "end"
    facing = float(np.mean((eyes - one.ends_mm.mean(axis=0)) @ one.outward > 0))
    parallel = sum(abs(f.along @ one.along) > PARALLEL_COS for f in found)
    return "front" if facing > FACING_SHARE and (one.length_mm > LONG_MM or parallel == 1) else "end"


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


def _beside(ends: Array, line: Array, beyond_mm: float) -> tuple[Array, Array, float]:
    """Direction (2,) of ``line`` (2, 2), where along it ``ends`` (2, 2) lie, and their overlap with it run on at both ends."""
    along = line[1] - line[0]
    length = float(np.linalg.norm(along))
    along = along / max(length, 1e-9)
    position = (ends - line[0]) @ along
    return along, position, float(min(position.max(), length + beyond_mm) - max(position.min(), -beyond_mm))


def _same_line(one: Array, other: Array, within_mm: float) -> bool:
    """``one`` runs along ``other`` within a few centimetres (the back rail before a wall, a rail under a contact sheet)."""
    along, position, overlap = _beside(one, other, 300.0)
    off = (one - other[0]) @ np.array([-along[1], along[0]])
    return bool(np.abs(off).max() < within_mm and overlap > OVERLAP_SHARE * np.ptp(position))


def _faces(ends: Array, wall: Array) -> bool:
    """Nobody could stand between this line, the room to its right, and the wall: a back rail, a shadow, a thing left there."""
    along, position, overlap = _beside(ends, wall, WALL_REACH_MM)
    step = ends[1] - ends[0]
    outward = np.array([step[1], -step[0]]) / np.linalg.norm(step)
    before = float((wall.mean(axis=0) - ends.mean(axis=0)) @ outward)
    beside = overlap > OVERLAP_SHARE * np.ptp(position)
    return bool(abs(outward @ along) < np.sin(3 * TURN_RAD) and 0 < before < PASSAGE_MM and beside)


def _covers(looked: Array, ends: Array) -> bool:
    """The wide look at ``looked`` (2, 2), the room to the same side, had all of ``ends`` in it."""
    length = float(np.linalg.norm(looked[1] - looked[0]))
    along = (looked[1] - looked[0]) / length
    position, off = (ends - looked[0]) @ along, (ends - looked[0]) @ np.array([along[1], -along[0]])
    inside = position.min() > -WITHIN_MM and position.max() < length + WITHIN_MM
    return bool(inside and position[1] > position[0] and np.abs(off).max() < LOOKED_MM)


def _within(ends: Array, one: FoundLine) -> bool:
    """A candidate that runs along an edge found already, or behind it on the same board."""
    position, off = (ends - one.ends_mm[0]) @ one.along, (ends - one.ends_mm[0]) @ one.outward
    inside = position.min() > -WITHIN_MM and position.max() < one.length_mm + WITHIN_MM
    facing = float((ends[1] - ends[0]) @ one.along) > 0
    return bool(inside and facing and off.max() < PROUD_MM and off.min() > -PLIES_MM)


def _outermost(found: list[FoundLine]) -> list[FoundLine]:
    """Of parallel lines that overlap within a cabinet's depth the outermost that is well founded; the room is to the right."""
    kept = [one for one in found if not any(_beats(other, one) for other in found if other is not one)]
    inner = [
        one for one in kept
        if any(t(other, one) for other in kept if other is not one for t in (_across_a_hole, _behind_a_front, _rail_of))
    ]
    return [one for one in kept if not any(one is i for i in inner)]


def _beats(other: FoundLine, one: FoundLine) -> bool:
    """``other`` is the edge and ``one`` beside it is not."""
    position = (other.ends_mm - one.ends_mm[0]) @ one.along
    overlap = min(position.max(), one.length_mm) - max(position.min(), 0.0)
    if other.along @ one.along < np.cos(2 * TURN_RAD) or overlap < BESIDE_SHARE * min(one.length_mm, other.length_mm):
        return False
    worth, mine = other.probability * other.length_mm, one.probability * one.length_mm
    # how far outside the other lies, at both ends of the stretch they share
    shared = np.clip(np.array([max(position.min(), 0.0), min(position.max(), one.length_mm)]), position.min(), position.max())
    order = np.argsort(position)
    apart = np.interp(shared, position[order], ((other.ends_mm - one.ends_mm[0]) @ one.outward)[order])
    if apart.min() < SAME_EDGE_MM and apart.max() > -SAME_EDGE_MM:  # they cross or coincide
        return worth > mine
    gain = float(apart.mean())
    if abs(gain) > DEPTH_MM:
        return False
    if abs(gain) < OUTSIDE_SEARCH_MM:  # the map of each had the other in it
        return worth > mine
    return worth > OUTER_SHARE * mine if gain > 0 else OUTER_SHARE * worth > mine


def _across_a_hole(other: FoundLine, one: FoundLine) -> bool:
    """The two face each other across the opening of a cabinet: rails and side panels, no edges of the top.

    The gap for a range is wider than a cabinet is deep, or as deep as the run; an opening is framed all round.
    """
    position = (other.ends_mm - one.ends_mm[0]) @ one.along
    overlap = min(position.max(), one.length_mm) - max(position.min(), 0.0)
    apart = (other.ends_mm - one.ends_mm[0]) @ one.outward
    facing = other.along @ one.along < -np.cos(2 * TURN_RAD) and apart.min() > 0
    return bool(facing and overlap > OVERLAP_SHARE * one.length_mm and apart.max() < HOLE_MM)


def _rail_of(other: FoundLine, one: FoundLine) -> bool:
    """``one`` may be the inner edge of the rail whose outer edge the longer ``other`` would be, if it ran on."""
    if one.judged.otherwise != "opening" or other.along @ one.along < np.cos(2 * TURN_RAD) or other.length_mm < one.length_mm:
        return False
    position, off = (one.ends_mm - other.ends_mm[0]) @ other.along, (one.ends_mm - other.ends_mm[0]) @ other.outward
    apart = max(float(position.min()) - other.length_mm, -float(position.max()))
    return bool(apart < RAIL_FAR_MM and RAIL_MM[0] < -off.max() and -off.min() < RAIL_MM[1])


def _behind_a_front(other: FoundLine, one: FoundLine) -> bool:
    """``one`` runs up to ``other`` from behind, and ``other`` goes on past it on both sides: a side panel between two cabinets.

    An end of the top ends its front as well.
    """
    if abs(other.along @ one.along) > SQUARE_COS or other.length_mm < one.length_mm:
        return False
    middle = one.ends_mm.mean(axis=0) - other.ends_mm[0]
    behind = -float(middle @ other.outward)
    place = float(middle @ other.along)
    onward = (other.length_mm - place) if one.outward @ other.along > 0 else place
    back = other.length_mm - onward
    return bool(0.0 < behind < DEEPEST_MM and onward > PAST_MM and back > PAST_MM)
