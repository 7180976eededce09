"""The line that is measured for a hint, what else it may be, and the part of U that comes from that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.line_map.local_map import LocalMap
from phototemplate.edges.line_map.space_lines import SpaceLine
from phototemplate.edges.readings import constants as c
from phototemplate.edges.readings.decide import Decision, Judged, decide
from phototemplate.errors import Finding
from phototemplate.model import Candidate, EdgeHint, LineName
from phototemplate.settings import EdgeSettings

OUTERMOST = ("front", "end", "panel", "opening")
"""Kinds whose edge is where the top ends; beside the others (walls, anything else) the surface may go on"""


@dataclass(frozen=True)
class Choice:
    """The line to measure, and the doubt about it."""

    line: SpaceLine
    probability: float
    candidates: tuple[Candidate, ...]
    rivals_mm: tuple[float, ...]
    """How far lines run that may be meant instead, to the left of the chosen one, the most probable first"""
    u_mm: float
    """Standard uncertainty from not knowing which: twice it reaches as far as the farthest rival"""
    findings: tuple[Finding, ...]
    none: float = 0.0
    """Probability that no line of the place is the edge"""
    box_mm: float = float("nan")
    """Where the edge of the box runs, to the left of the path, if the line is the face of its doors"""


def choose(local: LocalMap, hint: EdgeHint, settings: EdgeSettings) -> Choice | None:
    """Decide which mapped line is the hint's edge; None where none is fit to be it."""
    off_path = c.OFF_PATH_SHARE if len(local.bands) > 1 else c.OFF_PATH_SHARE_SINGLE
    decision = decide(local, off_path * hint.search_mm, settings.height_limit_mm)
    if decision is None:
        return None
    if hint.choose is not None:
        wanted = hint.choose
        chosen = min(decision.judged, key=lambda j: abs(j.mapped.line.middle_mm - wanted))
        return Choice(chosen.mapped.line, 1.0, _others(chosen, decision), (), 0.0, (), decision.none)
    if hint.line == "door":
        return _door(decision, hint, settings)
    if hint.line:
        named = _named(decision, hint.line, local.outward or 1.0)
        return None if named is None else Choice(named.mapped.line, 1.0, _others(named, decision), (), 0.0, (), decision.none)
    chosen = decision.chosen
    if decision.none > max(chosen.probability, c.MOST_NONE):
        return None
    rivals = _rivals(chosen, decision, settings)
    wavy = chosen.mapped.line.misfit if chosen.mapped.line.misfit > c.WAVY_MISFIT else 1.0
    u = max([c.WAVY_U_MM * (wavy - 1.0), *(covering_u_mm(r) for r in rivals)])
    if rivals and decision.none > 1.0 - c.CERTAIN:
        u = float(np.hypot(u, c.UNSEEN_U_MM))
    findings = _doubts(chosen, rivals, hint, local.outward)
    if wavy > 1.0 and not findings:
        findings = (Finding("edge-wavering", hint.edge_id, added_U_mm=2 * u),)
    return Choice(chosen.mapped.line, chosen.probability, _others(chosen, decision), rivals, u, findings, decision.none)


def _named(decision: Decision, name: LineName, outward: float) -> Judged | None:
    """The line that somebody named, the most probable one of its kind; None where there is none."""
    box = decision.chosen
    if name == "box":
        return None if decision.none > max(box.probability, c.MOST_NONE) else box
    middle = box.mapped.line.middle_mm
    for one in decision.judged:
        out = outward * (one.mapped.line.middle_mm - middle)
        if (name == "outer" and out > c.SAME_PLACE_MM) or (name == "inner" and out < -c.SAME_PLACE_MM):
            return one
    return None


def _door(decision: Decision, hint: EdgeHint, settings: EdgeSettings) -> Choice | None:
    """The face of the doors before the box, and the doubt about it; None where the box or the doors are not seen."""
    box, one = decision.chosen, max(decision.judged, key=lambda j: j.face)
    sure = one.face * (1.0 - decision.none)
    if sure <= c.MOST_NONE or one.mapped.line.misfit > c.WAVY_MISFIT:  # or steps of more than one line
        return None
    doubtful = min(sure, box.probability) < c.CERTAIN
    middle = one.mapped.line.middle_mm
    rivals = [
        j.mapped.line.middle_mm - middle for j in decision.judged
        if doubtful and j is not one and max(j.face, j.probability if j is not box else 0.0) >= c.LEAST_RIVAL
    ]
    rivals = [r for r in rivals if abs(r) <= settings.close_mm]
    u = max([covering_u_mm(r) for r in rivals], default=c.UNSEEN_U_MM if doubtful else 0.0)
    findings = (Finding(
        "edge-door-unclear", hint.edge_id, out_mm=abs(middle - box.mapped.line.middle_mm),
        below_mm=box.mapped.line.rise_mm - one.mapped.line.rise_mm,
    ),) if doubtful else ()
    return Choice(
        one.mapped.line, sure, _others(one, decision), tuple(rivals), u, findings, decision.none, box.mapped.line.middle_mm
    )


def covering_u_mm(apart_mm: float) -> float:
    """Standard uncertainty whose double reaches to a line so far away, and a little beyond."""
    return (abs(apart_mm) + c.RIVAL_U_MM) / 2.0


def _rivals(chosen: Judged, decision: Decision, settings: EdgeSettings) -> tuple[float, ...]:
    """Offsets from the chosen line of those that together are more probable than may be risked, the most probable first."""
    middle = chosen.mapped.line.middle_mm
    rivals: list[float] = []
    left = 1.0 - chosen.probability - decision.none
    enough = 1.0 - (c.CERTAIN if left <= 1.0 - c.CERTAIN else c.NAMED)
    for other in decision.judged:
        if other is chosen or left <= enough or (rivals and other.probability < c.LEAST_RIVAL):
            continue
        rivals.append(other.mapped.line.middle_mm - middle)
        left -= other.probability
    return tuple(r for r in rivals if abs(r) <= settings.close_mm)


def _others(chosen: Judged, decision: Decision) -> tuple[Candidate, ...]:
    middle = chosen.mapped.line.middle_mm
    others = [
        Candidate(
            j.mapped.line.middle_mm - middle, float(np.mean(j.mapped.line.height_mm)), round(float(j.mapped.line.support), 3),
            j.otherwise,
        )
        for j in decision.judged
        if j is not chosen
    ]
    return tuple(sorted(others, key=lambda one: abs(one.offset_mm)))


def _doubts(chosen: Judged, rivals_mm: tuple[float, ...], hint: EdgeHint, outward: float) -> tuple[Finding, ...]:
    """A finding for each rival: what a shop hand has to look at."""
    return tuple(
        Finding(
            "edge-ambiguous", hint.edge_id, apart_mm=abs(apart), line="outer" if (outward or 1.0) * apart > 0 else "inner",
            taken_word="outer" if outward * apart < 0 else "inner" if outward else "better-supported",
        )
        for apart in rivals_mm[: c.MOST_RIVALS]
    )
