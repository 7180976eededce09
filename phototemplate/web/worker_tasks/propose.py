"""Edges that nobody has drawn yet, for the user to accept, correct or turn down."""

from __future__ import annotations

from typing import Any

import numpy as np

from phototemplate.edges.proposals.confirmation import Second
from phototemplate.edges.proposals.propose import propose_edges
from phototemplate.edges.readings.constants import LOOKS
from phototemplate.model import Array, Measurement
from phototemplate.network import projection, workplane
from phototemplate.progress import Progress
from phototemplate.proposals import second_words
from phototemplate.stage_inputs import edge_settings_of
from phototemplate.units import LengthUnit
from phototemplate.web.constants import ALONG_MM, SAME_EDGE_MM
from phototemplate.web.worker_tasks.result_view import move, plain_json, work_from_plan
from phototemplate.web.worker_tasks.spoken import in_all, phrase_part


def propose(memory: Any, tell: Progress) -> list[dict[str, Any]]:
    """Proposals for the last measurement that are not edges of the job already, best first within each source."""
    m = memory.measured()
    tell("propose", 0.1)
    found = propose_edges(memory.store.gray, m.network, m.work_plane, edge_settings_of(memory.job.file))
    used = {t for e in memory.job.file.edges for t in e.targets}
    used |= {t[:-1] for t in used if t[-1:] in "ab"}
    out = []
    for p in found:
        h = p.hint
        line = h.path if h.path is not None else _along_targets(m, h.targets)
        if any(t in used or t[:-1] in used for t in h.targets) or line is None or (h.source == "trace" and _known(m, line)):
            continue
        out.append({
            "kind": h.kind, "source": h.source, "shape": h.shape, "targets": list(h.targets), "confidence": p.confidence,
            "path": None if h.path is None else np.round(h.path, 2), "line": np.round(line, 1), "search": h.search_mm,
            "height": h.height_mm, "level": h.level, "reading": _reading(p.reading),
            "second": _second(p.second, memory.job.file.units),
        })
    tell("propose", 1.0)
    answer: list[dict[str, Any]] = plain_json(out)
    return answer


def _reading(words: str) -> dict[str, Any] | None:
    """What a line is taken for, in every language."""
    codes = {look.words: f"reading-{reading}" for reading, look in LOOKS.items()}
    return phrase_part(codes[words]) if words in codes else {"text": words} if words else None


def _second(second: Second | None, unit: LengthUnit) -> dict[str, Any] | None:
    """What a line may be instead, in every language."""
    return None if second is None else in_all(lambda code: {"text": second_words(second, unit, code)})


def _along_targets(m: Measurement, targets: tuple[str, ...]) -> Array | None:
    """(2, 2) from end to end of the targets that carry an edge: along strips, and along the butted edges of contact sheets."""
    xyz = [p.xyz_mm for p in m.network.points if p.target_id in targets or p.target_id[:-1] in targets]
    for target in targets:
        edge = m.network.targets[target].contact_edge_mm if target in m.network.bodies else None
        if edge is not None:
            xyz += list(projection.body_points(m.network, target, np.column_stack([edge, np.zeros(2)])).xyz_mm)
    if not xyz:
        return None
    xy = workplane.to_work(m.work_plane, np.array(xyz))[0][:, :2]
    centre = xy.mean(axis=0)
    axis = np.linalg.svd(xy - centre)[2][0] if len(xy) > 1 else np.array([1.0, 0.0])
    s = (xy - centre) @ axis
    return np.asarray(centre + np.outer([s.min(), s.max()], axis))


def _known(m: Measurement, line: Array) -> bool:
    middle = np.asarray(line).mean(axis=0)
    back = work_from_plan(m)
    for segment in m.outline.segments:
        t = segment.chord_mm[1] - segment.chord_mm[0]
        length = float(np.hypot(*t)) or 1.0
        a, b = move(back, segment.chord_mm)
        u = (b - a) / length
        along, across = float((middle - a) @ u), float(u[0] * (middle - a)[1] - u[1] * (middle - a)[0])
        if abs(across) < SAME_EDGE_MM and segment.knots_mm[0] - ALONG_MM < along < segment.knots_mm[-1] + ALONG_MM:
            return True
    return False
