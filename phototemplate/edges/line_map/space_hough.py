"""Which line in space do the photos agree on? Votes of grey steps over offset, slope and height.

A step seen at offset o in a photo could be an edge at the height of the path, offset o; or a lower one further out. One
photo cannot tell: it constrains ``o = d - c z`` with its own lean c. Steps of the same edge in several photos meet in
one (d, z); a shadow, a door or the gap behind meets elsewhere or nowhere. So every photo votes for all the (d, z) its
steps allow, once per station and place, and the votes are summed along the path for every slope: a Hough transform
(Duda & Hart 1972) whose parameter is the edge in space. A step's vote weighs as much as it would surprise by chance
(``Steps.surprise``), so that a strong lone step says more than one of many on a textured board.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.line_map.constants import (
    BEND_COST,
    DIFFERENT_APART_MM,
    DIFFERENT_MM,
    DIFFERENT_RISE_MM,
    HOUGH_STEP_MM,
    OPEN_WITHIN_PX,
    POOL_MM,
    VOTE_SPREAD_PX,
    VOTE_TAPER,
)
from phototemplate.edges.line_map.joint_steps import JointSteps
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.model import Array, IntArray


@dataclass(frozen=True)
class HoughCells:
    """Cells of the accumulator."""

    offsets_mm: Array
    """(D,)"""
    heights_mm: Array
    """(Z,) over the expected height"""
    nodes_mm: Array
    """(J+1,) arc lengths between which the edge may bend; two nodes: straight"""
    turn_mm: float
    """How far the offset may change between two nodes"""
    height_u_mm: float
    """Standard uncertainty of the expected height, by which lines are ranked (not excluded)"""


@dataclass(frozen=True)
class HoughLine:
    """One peak of the accumulator: a line in space that many steps agree on."""

    offsets_mm: Array
    """(J+1,) offset at the nodes"""
    height_mm: float
    """over the expected height"""
    score: float
    """Mean weight of the votes over all looks, stations times photos"""


def hough_lines(steps: JointSteps, cells: HoughCells) -> list[HoughLine]:
    """Lines at all maxima of the accumulator, best first."""
    stations = steps.stations
    pooled = max(1, round(POOL_MM / float(np.median(np.diff(stations.along_mm)))))
    first = np.arange(0, len(stations), pooled)
    size = np.diff(np.r_[first, len(stations)]).astype(np.float64)
    along = np.add.reduceat(stations.along_mm, first) / size
    tally = np.zeros((len(first), len(cells.offsets_mm), len(cells.heights_mm)))
    looks = 0.0
    of = np.searchsorted(steps.photo, np.arange(len(steps.bands) + 1))
    for band, begin, end in zip(steps.bands, of[:-1], of[1:], strict=True):
        tally += _votes(band, steps, slice(int(begin), int(end)), cells, first, size)
        looks += float((1.0 - band.covered[:, np.abs(band.step_px) < OPEN_WITHIN_PX].mean(axis=1)).sum()) / pooled
    found = _paths(tally / max(looks, 1.0), along, cells)

    def rank(one: HoughLine) -> float:
        return -one.score * (0.4 + 0.6 * float(np.exp(-0.5 * (one.height_mm / cells.height_u_mm) ** 2)))

    return sorted(found, key=rank)


def differ(one: HoughLine, other: HoughLine, lean: float) -> bool:
    """Two lines differ if they lie apart in the pictures; along a line of sight only a large height counts."""
    apart = one.offsets_mm - other.offsets_mm
    rise = one.height_mm - other.height_mm
    seen = np.abs(apart - lean * rise)
    return bool(seen.max() > DIFFERENT_MM or (abs(rise) > DIFFERENT_RISE_MM and np.abs(apart).max() > DIFFERENT_APART_MM))


def _votes(band: Band, steps: JointSteps, mine: slice, cells: HoughCells, first: IntArray, size: Array) -> Array:
    """(G, D, Z) votes of one photo, by its steps ``mine``, at the pooled stations."""
    width = len(band.step_px)
    grid = np.zeros((len(band.lean), width))
    column = np.round(steps.position_px[mine] - band.step_px[0]).astype(np.int64)
    grid[steps.station[mine], np.clip(column, 0, width - 1)] = steps.surprise[mine]
    spread = max(VOTE_SPREAD_PX, HOUGH_STEP_MM * float(np.median(band.scale_px_per_mm)))
    wide = grid.copy()
    for shift in range(1, int(2 * spread) + 1):
        taper = float(np.clip(VOTE_TAPER - shift / spread, 0.0, 1.0))
        wide[:, shift:] = np.maximum(wide[:, shift:], taper * grid[:, :-shift])
        wide[:, :-shift] = np.maximum(wide[:, :-shift], taper * grid[:, shift:])
    pooled = np.add.reduceat(wide, first, axis=0) / size[:, None]
    lean = np.add.reduceat(band.lean, first) / size
    scale = np.add.reduceat(band.scale_px_per_mm, first) / size
    offset = cells.offsets_mm[None, :, None] - lean[:, None, None] * cells.heights_mm[None, None, :]
    cell = np.round(offset * scale[:, None, None] - band.step_px[0]).astype(np.int64)
    valid = (cell >= 0) & (cell < width)
    row = np.arange(len(first))[:, None, None]
    return np.where(valid, pooled[row, np.clip(cell, 0, width - 1)], 0.0)


def _paths(share: Array, along: Array, cells: HoughCells) -> list[HoughLine]:
    """Best paths through the votes (G, D, Z), every height at once.

    Exhaustive over start and slope between two nodes, dynamic programming from node to node.
    """
    nodes, offsets, heights = cells.nodes_mm, cells.offsets_mm, cells.heights_mm
    size = len(offsets)
    turn = min(round(cells.turn_mm / HOUGH_STEP_MM), size - 1)
    turns = np.arange(-turn, turn + 1)
    best = np.zeros((size, len(heights)))
    back: list[IntArray] = []
    ceiling = float(share.max(axis=(1, 2)).sum())
    for begin, end in itertools.pairwise(nodes.tolist()):
        rows = np.flatnonzero((along >= begin) & ((along < end) | (end == nodes[-1])))
        gain = np.full((len(turns), size, len(heights)), -np.inf)  # by turn and the offset at the section's end
        for k, total in enumerate(turns.tolist()):
            low, high = max(0, -total), size - max(0, total)
            line = best[low:high].copy()
            for row in rows:
                move = round(total * (along[row] - begin) / (end - begin))
                line += share[row, low + move : high + move]
            gain[k, low + total : high + total] = line
        if len(nodes) > 2:
            gain -= BEND_COST * ceiling / (len(nodes) - 1) * np.abs(turns)[:, None, None]
        back.append(turns[np.argmax(gain, axis=0)])
        best = gain.max(axis=0)
    found = []
    # local maxima over the end offset suffice: neighbours on the flank are the same line
    padded = np.pad(best, ((2, 2), (0, 0)), constant_values=-np.inf)
    window = np.lib.stride_tricks.sliding_window_view(padded, 5, axis=0)
    for end_cell, z in np.argwhere((best >= window.max(axis=2)) & (best > 0)):
        path = [int(end_cell)]
        for choice in reversed(back):
            path.append(path[-1] - int(choice[path[-1], z]))
        found.append(HoughLine(offsets[np.asarray(path[::-1])], float(heights[z]), float(best[end_cell, z])))
    return found
