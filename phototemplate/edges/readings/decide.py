"""Which of the lines of one place is the edge of the top? The posterior over the lines of the map.

Exactly one line is the edge, or none of them. For each line in turn taken as the edge, every other line has to be read as
something else that may lie where it lies: joints, glue lines and tape on the cabinets' side, doors and faces outside and below.
So a line that looks like an edge but leaves a sharp level line outside it unexplained loses to that one, without a rule that
the
outermost wins (exhaustive hypotheses with a common prior; naive Bayes within each line).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phototemplate.edges.line_map.local_map import LocalMap, MappedLine
from phototemplate.edges.readings import constants as c
from phototemplate.edges.readings.constants import LOOKS, PRIOR, Reading
from phototemplate.edges.readings.likelihood import READINGS, level_given_edge, log_heights, log_likelihoods
from phototemplate.model import Array

EDGE = READINGS.index("edge")
LEAST = 1e-12
"""ratio. No prior is smaller, so that it has a logarithm. Convention."""


@dataclass(frozen=True)
class Judged:
    """One line of the map with what it may be."""

    mapped: MappedLine
    probability: float
    """That it is the edge"""
    otherwise: Reading
    """What it is if it is not"""
    face: float = 0.0
    """That it is the face of the doors, if the most probable edge is the edge"""

    @property
    def words(self) -> str:
        return LOOKS[self.otherwise].words


@dataclass(frozen=True)
class Decision:
    """The lines of a place, the most probable edge first."""

    judged: tuple[Judged, ...]
    none: float
    """Probability that none of them is the edge"""

    @property
    def chosen(self) -> Judged:
        return self.judged[0]


def decide(
    local: LocalMap, off_path_u_mm: float, height_limit_mm: float, none_prior: float = c.NONE_PRIOR
) -> Decision | None:
    """Posterior over the lines of a map; None where it has no line.

    ``off_path_u_mm``: standard deviation of the edge's distance from the path. An edge further than ``height_limit_mm`` from
    where the sheets put it, and than they can tell, is not possible.
    """
    if not local.lines:
        return None
    looks = log_likelihoods(local.lines)
    level_u = float(np.median(local.levels.u_mm)) if len(local.levels.u_mm) else 0.0
    at_level = log_heights(local.lines, 0.0, level_u)
    kept = _distinct(local, looks + at_level)
    lines, looks, at_level = [local.lines[k] for k in kept], looks[kept], at_level[kept]
    offset = np.array([m.line.middle_mm for m in lines])
    as_edge = looks[:, EDGE] + at_level[:, EDGE] - 0.5 * (offset / off_path_u_mm) ** 2
    rise = np.array([m.line.rise_mm for m in lines])
    leeway = np.array([min(m.line.height_u_mm, c.HEIGHT_LEEWAY_MM) for m in lines])
    as_edge[np.abs(rise) > height_limit_mm + 2.0 * np.hypot(leeway, level_u)] = -np.inf
    log_post = np.empty(len(offset) + 1)
    for k in range(len(offset)):
        # what lies on the top lies at the edge's own height, and a door below that
        heights = log_heights(lines, *level_given_edge(lines[k], level_u), lines[k].line.rise_mm)
        others = np.logaddexp.reduce(_by_reading(looks + heights, (offset - offset[k]) * local.outward), axis=1)
        others[k] = 0.0
        log_post[k] = np.log((1.0 - none_prior) / len(offset)) + as_edge[k] + others.sum()
    by_reading = looks + at_level
    log_post[-1] = np.log(none_prior) + np.logaddexp.reduce(_by_reading(by_reading, None), axis=1).sum()
    share = np.exp(log_post - log_post.max())
    share /= share.sum()
    best = int(np.argmax(share[:-1]))
    heights = log_heights(lines, *level_given_edge(lines[best], level_u), lines[best].line.rise_mm)
    total = _by_reading(looks + heights, (offset - offset[best]) * local.outward)
    total[best] = _by_reading(by_reading, None)[best]
    face = _faces(total, best, (offset - offset[best]) * local.outward)
    judged = [
        Judged(m, float(p), READINGS[int(r)], float(f))
        for m, p, r, f in zip(lines, share[:-1], np.argmax(total, axis=1), face, strict=True)
    ]
    return Decision(tuple(sorted(judged, key=lambda j: -j.probability)), float(share[-1]))


def _faces(by_reading: Array, edge: int, out_mm: Array) -> Array:
    """(n,) probability of each line that it is the face of the doors before line ``edge``, of which there is one or none.

    A line in front and below that lies as far out as doors stand is their face, seen badly or in part.
    """
    face, door = READINGS.index("face"), READINGS.index("door")
    there = _place("face", out_mm) / (1.0 + _place("face", out_mm))
    yes = np.logaddexp(by_reading[:, face], by_reading[:, door] + np.log(np.maximum(there, LEAST)))
    no = np.delete(by_reading, face, axis=1)
    no[:, door - (door > face)] += np.log(1.0 - there)
    odds = yes - np.logaddexp.reduce(no, axis=1)
    odds[edge] = -np.inf
    return np.asarray(np.exp(odds - np.logaddexp(0.0, np.logaddexp.reduce(odds))))


def _distinct(local: LocalMap, by_reading: Array) -> list[int]:
    """Of lines that photos show at about one place the one that is most like a line of any kind.

    Along a mean line of sight place and height trade against each other, so what counts is where the lines appear.
    """
    kept: list[int] = []
    leans = np.array([float(np.median(b.lean)) for b in local.bands])
    real = [r for r in range(len(READINGS)) if READINGS[r] != "chance"]
    for k in np.argsort(-by_reading[:, real].max(axis=1)):
        one = local.lines[k].line
        for o in kept:
            other = local.lines[o].line
            apart, rise = one.middle_mm - other.middle_mm, one.rise_mm - other.rise_mm
            seen = float(np.mean(np.abs(apart - leans * rise)))
            if abs(rise) <= c.SAME_HEIGHT_MM and (abs(apart) <= c.SAME_PLACE_MM or seen <= c.SEEN_ALIKE_MM):
                break
        else:
            kept.append(int(k))
    return kept


def _by_reading(by_reading: Array, out_mm: Array | None) -> Array:
    """(n, R) log likelihood times prior of each line as anything but the edge, ``out_mm`` (n,) outside the one that is; None:
    none is."""
    count = len(by_reading)
    total = np.full((count, len(READINGS)), -np.inf)
    for r, name in enumerate(READINGS):
        if name != "edge":
            alone = c.PAIR_ALONE if LOOKS[name].from_edge else 1.0
            place = np.full(count, alone) if out_mm is None else _place(name, out_mm)
            total[:, r] = np.log(np.maximum(place * PRIOR[name] / (1.0 - PRIOR["edge"]), LEAST)) + by_reading[:, r]
    gap = READINGS.index("gap")
    rest = np.delete(total, gap, axis=1)
    face = total[:, READINGS.index("face")] - np.logaddexp.reduce(rest, axis=1)
    total[:, gap] += face.max()  # there is a gap where there is a door
    return total


def _place(name: Reading, out_mm: Array) -> Array:
    """(n,) how much more often lines of a reading lie ``out_mm`` outside the edge than just anywhere."""
    if name == "face":
        return c.ANYWHERE_SPAN_MM * _bell(out_mm, *c.FACE_MM)
    if name == "gap":
        return c.ANYWHERE_SPAN_MM * _bell(out_mm, *c.GAP_MM)
    if name == "frame":
        return c.ANYWHERE_SPAN_MM * _bell(-out_mm, *c.FRAME_MM)
    if name in ("joint", "opening"):
        return np.where(out_mm > c.SAME_PLACE_MM / 2, c.OUTSIDE_JOINT, 1.0)
    if name == "door":
        return np.where(out_mm < -c.SAME_PLACE_MM / 2, c.INSIDE_DOOR, 1.0)
    return np.ones(len(out_mm))


def _bell(x: Array, mean: float, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi)))
