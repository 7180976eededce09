"""What contact sheets say of a wall, and what they do not: between two sheets nothing was seen of it.

A strip bends with the wall. A sheet's cut edge does not: that it is straight says nothing of the wall along it, and nothing at
all of the wall between two sheets. There only the usual straightness of walls is known: the wall is a random function whose
second derivative is white noise of the spectral density that ``edges.shapes.profile`` takes as usual, tied down where sheets
touch it (G. Wahba, J. R. Statist. Soc. B 40 (1978) 364). Of such a wall the middle between two ties L apart is known to
``sqrt(q L^3 / 48)`` and less where they tie its direction too: 1.5 mm over 1.5 m.
"""

from __future__ import annotations

import numpy as np

from phototemplate.edges.shapes.evaluate import to_chord
from phototemplate.edges.shapes.profile import CENTER_LOG10
from phototemplate.model import Array, BoolArray, Segment

APART_MM = 100.0
"""Points of one sheet's edge are closer together than this"""
TOUCH_U_MM = 0.15
"""How well one place of a sheet's edge tells where the wall is: the sheet touches where the wall stands out"""


def between_sheets(segment: Segment, s: Array) -> tuple[Array, BoolArray] | None:
    """For places ``s`` (n,) along the chord of an edge from contact sheets: covariance (n, n) of what nobody saw of the wall,
    and which places a sheet touches; None for other edges."""
    if segment.source != "contact" or segment.shape == "line" or len(segment.points_mm) < 2:
        return None
    ties = np.unique(to_chord(segment, segment.points_mm)[0])
    starts = np.concatenate([[0], 1 + np.flatnonzero(np.diff(ties) > APART_MM)])
    sheets = [(part[0], part[-1]) for part in np.split(ties, starts[1:])]
    touched = np.any([(s >= a - 1e-6) & (s <= b + 1e-6) for a, b in sheets], axis=0)
    return _conditional(ties, s), np.asarray(touched, dtype=bool)


def _conditional(ties: Array, s: Array) -> Array:
    """Covariance (n, n) at ``s`` of an integrated random walk that was seen at ``ties``; its straight line is free."""
    low, high = min(float(ties.min()), float(s.min())), max(float(ties.max()), float(s.max()))
    every = (np.concatenate([ties, s]) - low) / max(high - low, 1.0)
    t, m = np.minimum(every[:, None], every), np.maximum(every[:, None], every)
    walk = 10.0**CENTER_LOG10 * (high - low) ** 3 * t**2 * (3.0 * m - t) / 6.0
    line = np.column_stack([np.ones_like(every), every])
    n = ties.size
    seen = walk[:n, :n] + TOUCH_U_MM**2 * np.eye(n)
    gain = np.linalg.solve(seen, np.column_stack([walk[:n, n:], line[:n]]))
    by_walk, by_line = gain[:, :-2], gain[:, -2:]
    rest = line[n:] - by_walk.T @ line[:n]
    # the touching's own uncertainty is in the edge's noise already; here it only keeps the ties from being exact
    out = walk[n:, n:] - walk[n:, :n] @ by_walk + rest @ np.linalg.solve(line[:n].T @ by_line, rest.T)
    return np.asarray(0.5 * (out + out.T))
