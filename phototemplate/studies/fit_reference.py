"""Lay a reference onto a measured wall by least squares, with the freedom the user allows.

The wall is given by heights h over distances x (its own frame). A reference run, turned so that it runs along x, is a
function r(x). With shift and turn the residual h - r(x - a) - b - c x is linear in (b, c) for a given place a along the wall;
a single wall hardly determines a, so a is searched over all places at which the run covers the wall, and where several fit
equally well the run's corner is laid onto the wall's corner.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array
from phototemplate.studies.constants import (
    ALONG_WALL,
    COVERED_SHARE,
    END_SLACK_MM,
    LONGEST_WALL_MM,
    MISFIT_MM,
    MUCH_BETTER,
    SAME_FIT_MM,
    SAME_LENGTH,
    UNIT_WORDS,
    WALL_STEP_MM,
)
from phototemplate.studies.references import Reference, Run
from phototemplate.studies.wall_line import WallLine

Freedom = Literal["none", "shift", "turn"]
FREEDOM_WORDS: dict[Freedom, str] = {"none": "as it lies", "shift": "shifted", "turn": "shifted and turned"}


@dataclass(frozen=True)
class Fit:
    """One reference laid onto the wall."""

    deviation_mm: Array
    """(n,) measured height minus reference, positive into the room"""
    project: Array
    """(n, n) what the fit leaves of the heights: deviation = project @ (heights - reference)"""
    reference_mm: Array
    """(n,) height of the reference after the fit"""
    reference_cov_mm2: Array | None
    rms_mm: float
    shift_mm: float
    """Normal to the wall, that was taken out"""
    turn_rad: float
    covered: Array
    """(n,) bool: the reference reaches here"""
    run: int = 0
    """Which run of the reference, counted from the longest"""
    rivals: int = 0
    """Other runs that would have fitted too"""
    side_assumed: bool = False
    """Nothing in the drawing told on which side of the run the room lies"""


def fit(wall: WallLine, reference: Reference, freedom: Freedom) -> Fit:
    """Best fit over all runs of the reference.

    Raises ``InputError`` where no run is long enough, ``MeasureError`` where the residuals say that it is drawn in another
    unit or shows another room.
    """
    if freedom not in FREEDOM_WORDS:
        raise InputError(f"The freedom of a comparison is none, shift or turn, not {freedom!r}.")
    best = _best(wall, reference.runs, freedom)
    length = max((r.length_mm for r in reference.runs), default=0.0)
    if best is None and length > LONGEST_WALL_MM:
        raise MeasureError(
            f"{reference.name} does not fit {wall.edge_id}: drawn in {UNIT_WORDS.get(reference.unit_mm, 'its unit')} its line "
            f"is {length / 1000:.0f} m long, and no kitchen wall is; its unit is probably wrong, correct it in the file."
        )
    if best is None or best.rms_mm > MISFIT_MM:
        raise MeasureError(_misfit(wall, reference, freedom, best))
    return best


def _best(wall: WallLine, runs: tuple[Run, ...], freedom: Freedom) -> Fit | None:
    fits: list[tuple[bool, float, Fit]] = []
    for k, run in enumerate(runs):
        if run.length_mm > LONGEST_WALL_MM:
            continue
        laid = _as_it_lies(wall, run) if freedom == "none" else _laid_on(wall, run, freedom)
        fits += [(turned, away, replace(made, run=k)) for turned, away, made in laid]
    if not fits:
        return None
    # a plan shows walls above and fronts below: a run as it is drawn goes before one that has to be turned round for it
    upright = [f for f in fits if not f[0] and f[2].rms_mm <= MISFIT_MM]
    wanted = upright or fits
    least = min(f[2].rms_mm for f in wanted)
    # of the fits that are as good, the one whose corner lies nearest to the wall's
    best = min((f for f in wanted if f[2].rms_mm <= least + SAME_FIT_MM), key=lambda f: f[1])[2]
    rivals = {f[2].run for f in fits if f[2].rms_mm <= MISFIT_MM} - {best.run}
    return replace(best, rivals=len(rivals))


def _in_wall_frame(wall: WallLine, points: Array) -> Array:
    d = points - wall.origin_mm
    return np.column_stack([d @ wall.along, d @ wall.into_room])


def _as_it_lies(wall: WallLine, run: Run) -> list[tuple[bool, float, Fit]]:
    local = _in_wall_frame(wall, run.points_mm)
    if abs(local[-1, 0] - local[0, 0]) < ALONG_WALL * run.length_mm:
        return []  # runs across this wall
    flip = bool(local[-1, 0] < local[0, 0])
    made = _fit_at(wall, run, local[::-1] if flip else local, flip, 0.0, "none")
    return [] if made is None else [(False, 0.0, made)]


def _laid_on(wall: WallLine, run: Run, freedom: Freedom) -> list[tuple[bool, float, Fit]]:
    """Every place along the wall; a drawing that may be turned is laid with the room on its own side."""
    span = float(wall.distance_mm[-1])
    out: list[tuple[bool, float, Fit]] = []
    shapes: list[tuple[Array, bool, bool]] = []
    if freedom == "shift":
        local = _in_wall_frame(wall, run.points_mm)
        if abs(local[-1, 0] - local[0, 0]) < ALONG_WALL * run.length_mm:
            return []
        flip = bool(local[-1, 0] < local[0, 0])
        shapes.append((local[::-1] if flip else local, flip, False))
    else:
        side = run.room or _room_as_drawn(run.points_mm)
        # only loops tell how a plan lies; without one the wall is thought above and the room below, as plans are drawn
        ahead = wall.along if wall.state.outline.loops else np.array([1.0 if wall.corner == "left" else -1.0, 0.0])
        for flip in (False, True):
            points = run.points_mm[::-1] if flip else run.points_mm
            t = points[-1] - points[0]
            t = t / max(float(np.hypot(*t)), 1e-9)
            d = points - points[0]
            # left of the run's direction is into the room or out of it as along and into_room are handed
            hand = float(wall.along[0] * wall.into_room[1] - wall.along[1] * wall.into_room[0])
            # turned by half a turn a hollow wall would pass for one that bulges: the room has to be on its own side
            room = -side if flip else side
            if room * hand < 0:
                continue
            shapes.append((np.column_stack([d @ t, hand * (d @ np.array([-t[1], t[0]]))]), flip, 2 * float(t @ ahead) < 1))
    for local, flip, turned in shapes:
        local = local - np.array([local[0, 0], 0.0])
        length = float(local[-1, 0])
        if length + 2 * END_SLACK_MM < span:
            continue
        low, high = sorted((0.0, span - length))
        # beyond both ends by the slack, and in steps no coarser than swellings at corners change
        steps = np.arange(low - END_SLACK_MM, high + END_SLACK_MM + 1.0, WALL_STEP_MM)
        places = np.unique(np.concatenate([steps, [0.0, span - length]]))
        for a in places:
            made = _fit_at(wall, run, local, flip, float(a), freedom)
            if made is not None:
                out.append((turned, abs(float(a)), replace(made, side_assumed=freedom == "turn" and run.room == 0)))
    return out


def _room_as_drawn(points: Array) -> float:
    """+1 with the room on the left of a run that stands alone: a plan is drawn with the wall above and the room below it, and
    a wall that runs up the sheet is taken as the one on the left."""
    t = points[-1] - points[0]
    if 2 * abs(t[0]) > abs(t[1]):
        return -1.0 if t[0] > 0 else 1.0
    return -1.0 if t[1] > 0 else 1.0


def _fit_at(wall: WallLine, run: Run, local: Array, flip: bool, a: float, freedom: Freedom) -> Fit | None:
    """``local`` (m, 2) is the run along the wall, rising; ``flip``: against the order of its covariance."""
    x = wall.distance_mm
    at = np.maximum.accumulate(local[:, 0] + a)
    covered = (x >= at[0] - 1e-9) & (x <= at[-1] + 1e-9)
    if np.count_nonzero(covered) < max(COVERED_SHARE * x.size, 6):
        return None
    ref = np.interp(x, at, local[:, 1])
    columns = {"none": 0, "shift": 1, "turn": 2}[freedom]
    design = np.column_stack([np.ones_like(x), x])[:, :columns]
    use = design * covered[:, None]
    solve = np.linalg.pinv(use) if columns else np.zeros((0, x.size))
    parameters = solve @ ((wall.height_mm - ref) * covered)
    moved = ref + design @ parameters
    deviation = wall.height_mm - moved
    cov = None
    if run.normal_cov_mm2 is not None:
        own = run.normal_cov_mm2[::-1, ::-1] if flip else run.normal_cov_mm2
        weights = _interp_rows(x, at)
        cov = weights @ own @ weights.T
    project = np.eye(x.size) - (design @ solve) * covered if columns else np.eye(x.size)
    rms = float(np.sqrt(np.mean(deviation[covered] ** 2)))
    shift = float(parameters[0]) if columns else 0.0
    turn = float(np.arctan(parameters[1])) if columns == 2 else 0.0
    return Fit(deviation, project, moved, cov, rms, shift, turn, covered)


def _interp_rows(x: Array, at: Array) -> Array:
    """(n, m) weights of linear interpolation at ``x`` between increasing ``at``, constant beyond the ends."""
    k = np.clip(np.searchsorted(at, x) - 1, 0, at.size - 2)
    share = np.clip((x - at[k]) / np.maximum(at[k + 1] - at[k], 1e-12), 0.0, 1.0)
    out = np.zeros((x.size, at.size))
    rows = np.arange(x.size)
    out[rows, k] = 1.0 - share
    out[rows, k + 1] += share
    return out


def _misfit(wall: WallLine, reference: Reference, freedom: Freedom, best: Fit | None) -> str:
    """Why the reference is not this wall, in one sentence."""
    span = float(wall.distance_mm[-1])
    longest = max((r.length_mm for r in reference.runs), default=0.0)
    found = f"its longest straight run is {longest:.0f} mm and {span:.0f} mm of the wall were measured"
    if best is not None:
        found = f"the best fit {FREEDOM_WORDS[freedom]} leaves {best.rms_mm:.1f} mm (root mean square) between them"
    for unit, words in UNIT_WORDS.items():
        factor = unit / reference.unit_mm
        if abs(factor - 1.0) < 1e-9 or (best is not None and freedom == "none"):
            continue
        scaled = tuple(Run(r.points_mm * factor, r.normal_cov_mm2, r.room) for r in reference.runs)
        near = tuple(r for r in scaled if SAME_LENGTH[0] * span < r.length_mm < SAME_LENGTH[1] * span)
        other = _best(wall, near, freedom)
        if other is not None and other.rms_mm < MISFIT_MM and (best is None or other.rms_mm < MUCH_BETTER * best.rms_mm):
            return (
                f"{reference.name} does not fit {wall.edge_id}: {found}; drawn in {words} it would (a run of "
                f"{near[other.run].length_mm:.0f} mm), so its unit is probably wrong; correct it in the file."
            )
    return (
        f"{reference.name} does not fit {wall.edge_id}: {found}, so it shows another wall or another room, or is drawn in "
        "another unit; check the file, its layer (--layer) and --freedom."
    )
