"""Which of several lines is the edge that the hint means?

The top of a cabinet ends in one edge; near it run others, straight and parallel: plies of the panel, the inner edge of a
rail, the face frame's joint, the door below, a neighbour across the gap. What sets the wanted one apart, in the order in
which it counts:

1. it lies at the height of the cabinet top, as the sheets on it tell (doors are 12 mm lower);
2. the photos agree on it along most of its length;
3. of the lines for which both hold it is the outermost in plan;
4. it is near the hint.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.proposals.line_consensus import Line
from phototemplate.errors import Finding
from phototemplate.model import Candidate, EdgeHint
from phototemplate.settings import EdgeSettings

OUTERMOST = ("front", "end", "panel", "opening")
"""Kinds whose wanted edge is the outermost of the top surface"""
RIVAL = 0.75
"""A further line outside needs at least this share of the best line's score to be taken for the edge"""
WAVY = 1.5
"""Misfit above which a line is not as straight and sharp as an edge"""
SHARP = 1.2
"""Misfit below which the steps of a line lie along it as those of a sharp edge do"""


@dataclass(frozen=True)
class Choice:
    """The chosen line and what else there was."""

    line: Line
    candidates: tuple[Candidate, ...]
    findings: tuple[Finding, ...]
    rivals_mm: tuple[float, ...] = ()
    """How far lines run that may be meant instead, to the left of the chosen one, nearest first"""


def choose(lines: list[Line], hint: EdgeHint, outward: float, settings: EdgeSettings) -> Choice | None:
    """Pick the wanted line; None where no line is fit to be it.

    ``outward`` is +1 where the room lies to the left of the hint's path, -1 to the right, 0 if unknown.
    """
    scored = [(score(line, hint, settings), line) for line in lines]
    scored = [(s, line) for s, line in scored if s > 0]
    if not scored:
        return None
    if hint.choose is not None:
        wanted = hint.choose
        chosen = min(scored, key=lambda sl: abs(_middle(sl[1]) - wanted))[1]
        return Choice(chosen, _others(chosen, scored), ())
    best_score, best = max(scored, key=lambda sl: sl[0])
    chosen, chosen_score = best, best_score
    if hint.kind in OUTERMOST and outward:
        for s, line in sorted(scored, key=lambda sl: outward * _middle(sl[1])):
            if s >= RIVAL * best_score and outward * (_middle(line) - _middle(chosen)) > 0:
                chosen, chosen_score = line, s
    rivals = _rivals(chosen, chosen_score, scored, hint, outward, settings)
    return Choice(chosen, _others(chosen, scored), _doubts(chosen, rivals, hint, outward), rivals)


def score(line: Line, hint: EdgeHint, settings: EdgeSettings) -> float:
    """Support, lowered by an unexpected height and by distance from the hint; 0 where the line cannot be the edge."""
    u_height = float(np.hypot(settings.height_prior_u_mm, min(line.height_u_mm, 5.0)))
    if abs(line.rise_mm) > settings.height_limit_mm + 2 * min(line.height_u_mm, 2.0) or line.support < 0.3:
        return 0.0
    distance = _middle(line) / ((0.5 if len(line.showing) > 1 else 0.35) * hint.search_mm)
    count = max(len(line.showing), 1)
    # what one photo shows may be anything; photos that do not show it may look at what stands in front
    photos = float(1.0 - 0.5**count) * float(np.power(count / max(line.open_photos, 1), 0.5))
    sharp = float(np.exp(-0.5 * (max(0.0, line.misfit - 0.8) / 0.9) ** 2))
    place = float(np.exp(-0.5 * (line.rise_mm / u_height) ** 2 - 0.5 * distance**2))
    return (0.2 if line.explained else 1.0) * line.evidence**2 * line.support * sharp * photos * place


def _middle(line: Line) -> float:
    return float(np.mean(line.offset_mm))


def _others(chosen: Line, scored: list[tuple[float, Line]]) -> tuple[Candidate, ...]:
    middle = _middle(chosen)
    others = [
        Candidate(
            _middle(line) - middle, float(np.mean(line.height_mm)), round(float(line.support), 3)
        )
        for _, line in scored
        if line is not chosen
    ]
    return tuple(sorted(others, key=lambda c: abs(c.offset_mm)))


def _rivals(
    chosen: Line, chosen_score: float, scored: list[tuple[float, Line]], hint: EdgeHint, outward: float, settings: EdgeSettings
) -> tuple[float, ...]:
    """Lines nearly as good where the rule of the outermost does not decide: how far from the chosen one, nearest first."""
    rivals = []
    for s, line in scored:
        apart = _middle(line) - _middle(chosen)
        if line is chosen or not 0.8 < abs(apart) <= settings.close_mm:
            continue
        inner = hint.kind in OUTERMOST and outward * apart < 0
        # inner lines (plies, rails) are expected and only count where the chosen line is much the weaker, or waves as the rim
        # of something laid over the edge does (film, paper); a shadow, a tape or a joint behind it may well be the sharper
        # step, so that an outer one counts early if nearly all photos show it
        all_ = len(line.showing) >= max(3, 0.75 * line.open_photos) and not line.explained
        sharp, under = all_ and line.misfit < SHARP, all_ and inner and chosen.misfit > WAVY
        if s >= (0.15 if under else 2.0 if inner else 0.15 if sharp else 0.35) * chosen_score:
            rivals.append(apart)
    return tuple(sorted(rivals, key=abs))


def _doubts(chosen: Line, rivals_mm: tuple[float, ...], hint: EdgeHint, outward: float) -> tuple[Finding, ...]:
    """A finding that names the nearest rival; of a wavy line, one for each of the two nearest, as neither may be left out."""
    middle = _middle(chosen)
    return tuple(
        Finding(
            "edge-ambiguous", hint.edge_id, apart_mm=abs(apart), choose_mm=middle, other_mm=middle + apart,
            taken_word="outer" if outward * apart < 0 else "inner" if outward else "better-supported",
        )
        for apart in rivals_mm[: 2 if chosen.misfit > WAVY else 1]
    )
