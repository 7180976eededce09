"""Corners of a top in words that a customer can follow, who never heard what an edge is called in the job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from phototemplate.model import Array, Outline, OutlineLoop
from phototemplate.wording.phrases import Phrase

_PARTS = ("front", "end", "wall", "panel", "opening")


def tape_words(outline: Outline, loop_id: str, i: int, j: int, landmarks: Mapping[tuple[str, str], Sequence[str]]) -> Phrase:
    """Between which two corners of a loop the tape goes, along what; ``landmarks``: (edge before, edge after) of a corner ->
    what it is found by."""
    loop = next(x for x in outline.loops if x.loop_id == loop_id)
    kinds = {s.edge_id: s.kind for s in outline.segments}
    n = len(loop.edge_ids)
    start, end = (corner_words(outline, loop, k, landmarks) for k in (i, j))
    along = next((loop.edge_ids[a] for a, b in ((i, j), (j, i)) if (a + 1) % n == b), None)
    how = {"front": "along-front", "wall": "along-wall"}.get(kinds.get(along or "", ""), "along-nothing")
    return Phrase("tape", how=Phrase(how), start=start, end=end)


def corner_words(outline: Outline, loop: OutlineLoop, k: int, landmarks: Mapping[tuple[str, str], Sequence[str]]) -> Phrase:
    """As seen by somebody who stands before the front edge and looks at the wall."""
    kinds = {s.edge_id: s.kind for s in outline.segments}
    names = (loop.edge_ids[k - 1], loop.edge_ids[k])
    parts = [Phrase(f"part-{kind if (kind := kinds.get(name, '')) in _PARTS else 'other'}") for name in names]
    where = Phrase(_side(loop, kinds, k))
    # the front edge is named first, whichever way the loop runs
    parts.sort(key=lambda part: (part.key != "part-front", part))
    same = parts[0] == parts[1]
    meet = Phrase("meet-same", part=parts[0]) if same else Phrase("meet", part=parts[0], other=parts[1])
    found = landmarks.get(names) or landmarks.get((names[1], names[0]))
    return Phrase("corner-found", where=where, meet=meet, found=found) if found else Phrase("corner", where=where, meet=meet)


def _side(loop: OutlineLoop, kinds: Mapping[str, str], k: int) -> str:
    corners: Array = loop.corners_mm
    n = len(corners)
    fronts = [i for i, name in enumerate(loop.edge_ids) if kinds.get(name) == "front"]
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    first = max(fronts, key=lambda i: float(lengths[i])) if fronts else int(np.argmax(lengths))
    # loops run anticlockwise with the inside on the left, so the front runs from left to right
    right = (corners[(first + 1) % n] - corners[first]) / lengths[first]
    back = np.array([-right[1], right[0]])
    x, y = (corners - corners[first]) @ right, (corners - corners[first]) @ back
    before, after = corners[k] - corners[k - 1], corners[(k + 1) % n] - corners[k]
    if float(before[0] * after[1] - before[1] * after[0]) < 0:
        return "inner"
    deep = "back" if 2 * y[k] > y.min() + y.max() else "front"
    return f"{deep}-{'left' if 2 * x[k] < x.min() + x.max() else 'right'}"
