"""Where straight lines may run near the sheets: segments of all photos dropped onto the work plane and piled up.

A Hough transform over direction and offset (Duda & Hart 1972), each segment with its length, near the two directions in which
the kitchen runs. What is not at the height of the cabinet tops is dropped to a different place by every photo and makes no
pile, or a low one; what makes a pile is a candidate, which the photos themselves then have to confirm.
"""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from scipy.ndimage import maximum_filter

from phototemplate.edges.constants import NEAR_SHEET_MM, SHORTEST_MM
from phototemplate.edges.proposals.constants import (
    DIRECTION_BINS,
    DIRECTION_SHARE,
    GAP_MM,
    LOOK_PX,
    PILE_MM,
    PILE_STEP_MM,
    SAME_CANDIDATE_MM,
    SAME_CANDIDATE_SHARE,
    SEGMENT_MM,
    SEGMENT_TURN_RAD,
    TURN_RAD,
    TURN_STEP_RAD,
)
from phototemplate.edges.scene import Scene
from phototemplate.model import Array, BoolArray
from phototemplate.network import workplane


def sheet_centres(scene: Scene) -> Array:
    """(n, 2) middles of the sheets that lie on the cabinets, in the work frame."""
    centres = [h.xy_mm for h in scene.plane.heights]
    if not centres:
        centres = [
            workplane.to_work(scene.plane, scene.network.bodies[t].translation_mm[None])[0][0, :2] for t in scene.network.bodies
        ]
    return np.array(centres).reshape(-1, 2)


def segments(scene: Scene) -> Array:
    """(M, 2, 2) straight segments of all photos, dropped onto the work plane, near sheets and not on paper."""
    sheets = sheet_centres(scene)
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    out = []
    for photo_id in scene.network.photos:
        gray = scene.gray_of(photo_id)
        shrink = max(1.0, gray.shape[1] / LOOK_PX)
        small = cv2.resize(gray, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA) if shrink > 1 else gray
        lines = detector.detect(np.asarray(small))[0]
        if lines is None:
            continue
        ends = (np.asarray(lines, dtype=np.float64).reshape(-1, 2, 2) + 0.5) * shrink - 0.5
        ends = ends[np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) > 25 * shrink]
        ends = ends[~scene.covered(photo_id, ends.mean(axis=1))]
        if not len(ends):
            continue
        plan = scene.unproject(photo_id, ends.reshape(-1, 2)).reshape(-1, 2, 2)
        length = np.linalg.norm(plan[:, 1] - plan[:, 0], axis=1)
        with np.errstate(invalid="ignore"):
            keep = np.isfinite(length) & (length > SEGMENT_MM[0]) & (length < SEGMENT_MM[1])
        plan = plan[keep]
        near = np.linalg.norm(plan.mean(axis=1)[:, None] - sheets[None], axis=2).min(axis=1) < NEAR_SHEET_MM
        out.append(plan[near])
    return np.concatenate(out) if out else np.zeros((0, 2, 2))


def candidates(lines: Array) -> list[Array]:
    """Candidate lines (2, 2), best first: piles of segments (M, 2, 2) of about one direction, split at gaps."""
    found = list(itertools.chain.from_iterable(_piles(lines, a) for a in directions(lines)))
    kept: list[Array] = []
    for _, line in sorted(found, key=lambda pile: -pile[0]):
        if not len(kept) or not _one_line(line, np.array(kept)).any():
            kept.append(line)
    return kept


def directions(lines: Array) -> list[float]:
    """Angles in which the kitchen runs: its two main ones, and any other in which much runs (a diagonal front), at most two."""
    step = lines[:, 1] - lines[:, 0]
    length = np.linalg.norm(step, axis=1)
    angle = np.arctan2(step[:, 1], step[:, 0]) % np.pi
    main = float(np.angle(np.sum(length * np.exp(4j * angle))) / 4)
    found = [main, main + np.pi / 2]
    bins = np.linspace(0.0, np.pi, DIRECTION_BINS + 1)
    pile = np.histogram(angle, bins, weights=length)[0]
    pile = pile + np.roll(pile, 1) + np.roll(pile, -1)
    for k in np.argsort(-pile)[: 3 * len(found)]:
        direction = float(bins[k] + 0.5 * (bins[1] - bins[0]))
        apart = [abs((direction - other + np.pi / 2) % np.pi - np.pi / 2) for other in found]
        if min(apart) > 2 * TURN_RAD + SEGMENT_TURN_RAD and pile[k] > DIRECTION_SHARE * pile.max() and len(found) < 4:
            found.append(direction)
    return found


def _piles(lines: Array, axis_angle: float) -> list[tuple[float, Array]]:
    """(weight, ends (2, 2)) of the piles of all directions near one axis, about the middle of its segments."""
    step = lines[:, 1] - lines[:, 0]
    length = np.linalg.norm(step, axis=1)
    turned = (np.arctan2(step[:, 1], step[:, 0]) - axis_angle + np.pi / 2) % np.pi - np.pi / 2
    mine = np.abs(turned) < TURN_RAD + SEGMENT_TURN_RAD
    part, length, turned = lines[mine], length[mine], turned[mine]
    if not len(part):
        return []
    middle = part.reshape(-1, 2).mean(axis=0)
    part = part - middle
    reach = float(np.linalg.norm(part, axis=2).max()) + 10.0
    turns = np.arange(-TURN_RAD, TURN_RAD + 1e-9, TURN_STEP_RAD)
    bins = np.arange(-reach, reach + PILE_STEP_MM, PILE_STEP_MM)
    pile = np.zeros((len(turns), len(bins) - 1))
    for k, turn in enumerate(turns):
        _, normal = _axes(axis_angle + turn)
        near = np.abs(turned - turn) < SEGMENT_TURN_RAD
        ends = part[near] @ normal
        # a segment that crosses several bins is spread over them by its two ends and its middle
        places = np.concatenate([ends[:, 0], ends[:, 1], ends.mean(axis=1)])
        row = np.histogram(places, bins, weights=np.tile(length[near] / 3, 3))[0]
        pile[k] = np.convolve(row, [0.5, 1.0, 1.0, 1.0, 0.5], mode="same")
    peaks = (pile == maximum_filter(pile, (5, 3))) & (pile > 2 * SHORTEST_MM)
    out = []
    for k, b in np.argwhere(peaks):
        along, normal = _axes(axis_angle + turns[k])
        place = 0.5 * (bins[b] + bins[b + 1])
        near = (np.abs(turned - turns[k]) < SEGMENT_TURN_RAD) & (np.abs(part @ normal - place).max(axis=1) < PILE_MM)
        position = np.sort(part[near] @ along, axis=1)
        for begin, end, weight in _runs(position):
            if end - begin >= SHORTEST_MM and weight > 2 * SHORTEST_MM:
                out.append((weight, middle + normal * place + np.array([[begin], [end]]) * along))
    return out


def _axes(angle: float) -> tuple[Array, Array]:
    """Unit vector at ``angle`` and its left normal."""
    along = np.array([np.cos(angle), np.sin(angle)])
    return along, np.array([-along[1], along[0]])


def _runs(position: Array) -> list[tuple[float, float, float]]:
    """(begin, end, summed length) of the unions of intervals (n, 2) with their gaps closed."""
    runs: list[tuple[float, float, float]] = []
    for begin, end in sorted(position.tolist()):
        if runs and begin <= runs[-1][1] + GAP_MM:
            first, last, weight = runs[-1]
            runs[-1] = (first, max(last, end), weight + end - begin)
        else:
            runs.append((begin, end, end - begin))
    return runs


def _one_line(one: Array, others: Array) -> BoolArray:
    """(k,) ``one`` (2, 2) runs within the stretch of each of ``others`` (k, 2, 2), nearer than the wide look reaches."""
    step = others[:, 1] - others[:, 0]
    length = np.linalg.norm(step, axis=1)
    along = step / length[:, None]
    away = one - others[:, :1]
    position = np.einsum("kij,kj->ki", away, along)
    off = away[:, :, 1] * along[:, None, 0] - away[:, :, 0] * along[:, None, 1]
    inside = np.minimum(position.max(axis=1), length) - np.maximum(position.min(axis=1), 0.0)
    return np.asarray(
        (np.abs(off).max(axis=1) < SAME_CANDIDATE_MM) & (inside > SAME_CANDIDATE_SHARE * np.ptp(position, axis=1))
    )
