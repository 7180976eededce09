"""What a wall may do between two contact sheets, where nothing was seen of it.

A strip bends with the wall. A sheet's cut edge does not: that it is straight says nothing of the wall along it, and nothing at
all of the wall between two sheets. There only the usual straightness of walls is known: the wall is a random function whose
second derivative is white noise of the spectral density that a profile takes as usual, tied down where sheets touch it
(G. Wahba, J. R. Statist. Soc. B 40 (1978) 364). Of such a wall the middle between two ties L apart is known to
``sqrt(q L^3 / 48)`` and less where they tie its direction too: 1.5 mm over 1.5 m.
"""

from __future__ import annotations

import numpy as np

from phototemplate.edges.shapes.constants import TOUCH_U_MM
from phototemplate.model import Array


def wander_between(ties: Array, s: Array, density: float) -> Array:
    """Covariance (n, n, mm2) at places ``s`` (n,) of an integrated random walk that was seen at ``ties`` (m,); its straight
    line is free. ``density`` is that of its second derivative (1/mm)."""
    low, high = min(float(ties.min()), float(s.min())), max(float(ties.max()), float(s.max()))
    every = (np.concatenate([ties, s]) - low) / max(high - low, 1.0)
    t, m = np.minimum(every[:, None], every), np.maximum(every[:, None], every)
    walk = density * (high - low) ** 3 * t**2 * (3.0 * m - t) / 6.0
    line = np.column_stack([np.ones_like(every), every])
    n = ties.size
    seen = walk[:n, :n] + TOUCH_U_MM**2 * np.eye(n)
    gain = np.linalg.solve(seen, np.column_stack([walk[:n, n:], line[:n]]))
    by_walk, by_line = gain[:, :-2], gain[:, -2:]
    rest = line[n:] - by_walk.T @ line[:n]
    # the touching's own uncertainty is in the edge's noise already; here it only keeps the ties from being exact
    out = walk[n:, n:] - walk[n:, :n] @ by_walk + rest @ np.linalg.solve(line[:n].T @ by_line, rest.T)
    return np.asarray(0.5 * (out + out.T))
