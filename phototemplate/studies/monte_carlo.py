"""The stated intervals beside those of a Monte Carlo propagation (JCGM 101:2008), and where the two disagree.

The law of propagation is linear; a corner of two edges that meet at a flat angle is not. So the joint distribution of all
offsets is drawn, every draw's corners are intersected anew, and the intervals of the edges' lengths are compared after
clause 8 of JCGM 101. Arcs enter with their offsets linearised.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes.evaluate import bent_base, chord_frame, normal_at, tangent_at, to_chord, weights
from phototemplate.errors import Finding
from phototemplate.model import Array, Outline, Segment
from phototemplate.numerics.montecarlo import MonteCarloResult, agrees, correlated_draws, summarised
from phototemplate.studies.constants import INTERVAL_DRAWS, INTERVAL_PROBABILITY, INTERVAL_SEED, NEWTON_MM
from phototemplate.template.quantities import state_cov


@dataclass(frozen=True)
class IntervalCheck:
    """Length of one edge, corner to corner in a straight line, propagated both ways."""

    edge_id: str
    value_mm: float
    U_mm: float
    """Law of propagation, k = 2"""
    monte_carlo: MonteCarloResult
    agrees: bool


def check_lengths(outline: Outline, draws: int = INTERVAL_DRAWS, seed: int = INTERVAL_SEED) -> tuple[IntervalCheck, ...]:
    """Compare both propagations for every edge between two corners of a closed loop."""
    segments = {s.edge_id: s for s in outline.segments}
    mean = np.concatenate([s.offsets_mm for s in outline.segments]) if outline.segments else np.zeros(0)
    cov = state_cov(outline)
    state = correlated_draws(np.random.default_rng(seed), mean, cov, draws)
    out = []
    for loop in outline.loops:
        n = len(loop.edge_ids)
        if not loop.closed or n < 3:
            continue
        corners, gradients = [], []
        for i in range(n):
            a, b = loop.edge_ids[i - 1], loop.edge_ids[i]
            slices = outline.state_slices[a], outline.state_slices[b]
            corners.append(_meet(segments[a], segments[b], state[:, slices[0]], state[:, slices[1]], loop.corners_mm[i]))
            gradients.append(_corner_gradient(segments[a], segments[b], slices, mean.size, loop.corners_mm[i]))
        for i, edge_id in enumerate(loop.edge_ids):
            j = (i + 1) % n
            between = loop.corners_mm[j] - loop.corners_mm[i]
            value = float(np.linalg.norm(between))
            g = between / value @ (gradients[j] - gradients[i])
            u = float(np.sqrt(g @ cov @ g))
            lengths = np.linalg.norm(corners[j] - corners[i], axis=1)
            result = summarised(lengths, INTERVAL_PROBABILITY)
            out.append(IntervalCheck(edge_id, value, 2.0 * u, result, agrees(value, 2.0 * u, result, digits=1)))
    return tuple(out)


def findings(checks: Sequence[IntervalCheck]) -> tuple[Finding, ...]:
    """``interval-not-normal`` where the two propagations disagree."""
    return tuple(
        Finding("interval-not-normal", c.edge_id, length_mm=c.value_mm, U_mm=c.U_mm, low_mm=low, high_mm=high)
        for c, (low, high) in ((c, c.monte_carlo.symmetric) for c in checks)
        if not c.agrees
    )


def _meet(a: Segment, b: Segment, offsets_a: Array, offsets_b: Array, near: Array) -> Array:
    """(draws, 2) corners of two edges for drawn offsets (draws, M); Newton's method over both positions along the bases."""
    n = len(offsets_a)
    s = np.full(n, to_chord(a, near)[0][0])
    t = np.full(n, to_chord(b, near)[0][0])
    point = np.zeros((n, 2))
    for _ in range(8):
        point, along_a = _point_and_direction(a, s, offsets_a)
        other, along_b = _point_and_direction(b, t, offsets_b)
        gap = other - point
        cross = along_a[:, 0] * along_b[:, 1] - along_a[:, 1] * along_b[:, 0]
        ds = (gap[:, 0] * along_b[:, 1] - gap[:, 1] * along_b[:, 0]) / cross
        dt = (gap[:, 0] * along_a[:, 1] - gap[:, 1] * along_a[:, 0]) / cross
        s, t = s + ds, t + dt
        if max(np.abs(ds).max(initial=0.0), np.abs(dt).max(initial=0.0)) < NEWTON_MM:
            break
    return point


def _point_and_direction(segment: Segment, s: Array, offsets: Array) -> tuple[Array, Array]:
    """Point (draws, 2) at a position of its own for every draw, and its derivative along the base."""
    base, tangent, normal = bent_base(chord_frame(segment), segment.bend_per_mm, s)
    offset, slope = (np.sum(weights(segment, s, d) * offsets, axis=1)[:, None] for d in (0, 1))
    return base + offset * normal, (1.0 - segment.bend_per_mm * offset) * tangent + slope * normal


def _corner_gradient(a: Segment, b: Segment, slices: tuple[slice, slice], size: int, corner: Array) -> Array:
    """(2, S) derivative of a corner with respect to the state: each edge moves along its normal and the corner slides on the
    other."""
    out = np.zeros((2, size))
    for own, other, where in ((a, b, slices[0]), (b, a, slices[1])):
        s, t = to_chord(own, corner)[0], to_chord(other, corner)[0]
        _, _, towards = bent_base(chord_frame(own), own.bend_per_mm, s)
        # normal n of the own edge: n . dp = n . (shift across its base); dp is along the other edge
        normal, along = normal_at(own, s)[0], tangent_at(other, t)[0]
        out[:, where] += np.outer(along, float(normal @ towards[0]) * weights(own, s)[0]) / float(normal @ along)
    return out
