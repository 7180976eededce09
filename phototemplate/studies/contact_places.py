"""Which places of a wall its contact sheets touch; between them it was not seen (``edges.shapes.between`` says how well it is
known there)."""

from __future__ import annotations

import numpy as np

from phototemplate.edges.shapes.evaluate import to_chord
from phototemplate.model import Array, BoolArray, Segment
from phototemplate.studies.constants import CONTACT_APART_MM


def touched_by_sheets(segment: Segment, s: Array) -> BoolArray | None:
    """For places ``s`` (n,) along the chord of an edge from contact sheets whether one touches there; None for other edges."""
    if segment.source != "contact" or segment.shape == "line" or len(segment.points_mm) < 2:
        return None
    ties = np.unique(to_chord(segment, segment.points_mm)[0])
    starts = np.concatenate([[0], 1 + np.flatnonzero(np.diff(ties) > CONTACT_APART_MM)])
    sheets = [(part[0], part[-1]) for part in np.split(ties, starts[1:])]
    return np.asarray(np.any([(s >= a - 1e-9) & (s <= b + 1e-9) for a, b in sheets], axis=0), dtype=bool)
