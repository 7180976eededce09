"""How much the exposures of a camera differ, estimated over the job: a variance component each for focus, image shift, turn and
shift.

Whether a camera is held by a tripod or moves its lens for every photo is not asked of the user but of all photos together. With
H the information of the sightings on the exposures (everything else eliminated), s the matching gradient and D the diagonal of
the components' inverse variances, the sightings' probability with the exposures integrated out is

    -2 log p = log det(H + D) - log det D - s^T (H + D)^-1 s + const

(restricted likelihood; H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545-554; variance components in adjustments: F. R.
Helmert, W. Foerstner; K.-R. Koch, Parameter Estimation and Hypothesis Testing in Linear Models, 1999, 3.6). One component at a
time it is worked out on a grid from standing still to far beyond any phone, weighed with what is known of phones
(:data:`COMPONENTS`) or of this one (its profile), and the mean of the variance is taken. So a component that the photos do
not show keeps what phones usually do, and one that they show to be nil costs nothing: no photo is decided about by itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg

from phototemplate.errors import MeasureError
from phototemplate.model import Array, IntArray
from phototemplate.network import constants, photo_camera
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment, solve
from phototemplate.network.adjustment.bundle import Problem, Solution
from phototemplate.network.adjustment.normal_equations import SINGULAR, point_inverse, reduced
from phototemplate.network.adjustment.pseudo_observations import CENTRE, FOCUS, SHIFT, TURN, Priors
from phototemplate.settings import AdjustmentSettings


@dataclass(frozen=True)
class Component:
    """One thing that exposures do, and what is known of it before the photos are looked at."""

    group: str
    """Budget line of its prior"""
    places: slice
    """In an exposure"""
    usual: float
    """Median of its standard deviation over cameras that do it; image shifts as a share of the picture's longer side"""
    spread: float
    """Standard deviation of its logarithm over these cameras"""
    still: float
    """Share of cameras that do not"""
    largest: float
    """Largest standard deviation that is tried"""

    @property
    def grid(self) -> Array:
        """Standard deviations that are tried, in units of the usual one; the first is as good as standing still."""
        return np.geomspace(constants.STILL_SD, self.largest / self.usual, constants.GRID_POINTS)

    def weights(self, known: float) -> Array:
        """Their probabilities beforehand: some cameras stand still, the others are spread about the usual.

        ``known`` is what a profile found of this camera, in units of the usual, nan without one: then most of the probability
        lies about that, and the rest says that today the camera is held in another way."""
        moving = np.exp(-0.5 * (np.log(self.grid) / self.spread) ** 2)
        moving[0] = 0.0
        out = (1.0 - self.still) * moving / moving.sum()
        out[0] = self.still
        if np.isfinite(known):
            off = np.log(self.grid / np.clip(known, self.grid[0], self.grid[-1]))
            alike = np.exp(-0.5 * (off / constants.PROFILE_SPREAD) ** 2)
            out = constants.PROFILE_DIFFERS * out + (1.0 - constants.PROFILE_DIFFERS) * alike / alike.sum()
        return np.asarray(np.maximum(out, np.finfo(float).tiny))

    def sd(self, settings: AdjustmentSettings, size_px: tuple[float, float]) -> float:
        """The usual standard deviation in the exposure's units for pictures of one size; 0 where the settings hold it."""
        held = {FOCUS: settings.u_focus == 0.0, CENTRE: not settings.stabiliser}.get(self.group, not settings.readout)
        return 0.0 if held else self.usual * (max(size_px) if self.group == CENTRE else 1.0)


COMPONENTS = (
    Component(
        FOCUS, photo_camera.FOCUS, constants.FOCUS_SD, constants.FOCUS_SPREAD, constants.FOCUS_STILL, constants.FOCUS_LARGEST
    ),
    Component(
        CENTRE,
        photo_camera.CENTRE,
        constants.CENTRE_SD,
        constants.CENTRE_SPREAD,
        constants.CENTRE_STILL,
        constants.CENTRE_LARGEST,
    ),
    Component(TURN, photo_camera.TURN, constants.TURN_SD, constants.TURN_SPREAD, constants.TURN_STILL, constants.TURN_LARGEST),
    Component(
        SHIFT, photo_camera.SHIFT, constants.SHIFT_SD, constants.SHIFT_SPREAD, constants.SHIFT_STILL, constants.SHIFT_LARGEST
    ),
)
"""In the order of ``Priors.exposure_sd``"""


def usual_sd(settings: AdjustmentSettings, sizes: tuple[tuple[float, float], ...]) -> Array:
    """(cameras, 4) usual standard deviations; 0 where the settings hold a component."""
    return np.array([[c.sd(settings, size) for c in COMPONENTS] for size in sizes]).reshape(-1, len(COMPONENTS))


def estimated(run: Adjustment, huber: float | None = None) -> Adjustment:
    """Solved (robustly with ``huber``, as long as sightings may be wrong) with variance components that agree with the
    photos."""
    usual = usual_sd(run.settings, tuple(sensor.size_px for sensor in run.problem.sensors))
    for _ in range(constants.COMPONENT_ROUNDS):
        new = components(run.problem, run.priors, run.solved, usual, run.noise())
        if settled(new, run.priors.exposure_sd):
            break
        run = solve(replace(run, priors=replace(run.priors, exposure_sd=new)), huber=huber, tolerance=1e-2)
    return run


def with_best_shift(run: Adjustment, huber: float) -> Adjustment:
    """Cameras whose image shifts have the distortion with them or leave it where it is, as their photos together fit better.

    Both say the same with the same number of parameters, so that the likelihood alone decides. Robustly solved.
    """
    run = solve(run, huber=huber, tolerance=1e-2)
    for c, sensor in enumerate(run.problem.sensors):
        if run.priors.exposure_sd[c, 1] < constants.SHIFT_THAT_TELLS * max(sensor.size_px):
            continue
        sensors = list(run.problem.sensors)
        sensors[c] = replace(sensor, distortion_moves=not sensor.distortion_moves)
        problem = replace(run.problem, sensors=tuple(sensors))
        # Only the cost is asked of the trial, which need not have converged to be the better one.
        trial = bundle.solve(
            problem, run.priors, run.state, run.base, huber=huber, iterations=constants.SHIFT_TRIAL, tolerance=1e-2
        )
        if trial.cost < run.solved.cost:
            run = solve(replace(run, problem=problem, state=trial.state), huber=huber, tolerance=1e-2)
    return run


def settled(new: Array, old: Array) -> bool:
    """Whether standard deviations changed by less than the photos tell of them."""
    least = np.finfo(float).tiny
    change = np.log(np.maximum(new, least) / np.maximum(old, least))
    return bool(np.abs(change).max(initial=0.0) < constants.COMPONENT_SETTLED)


def components(problem: Problem, priors: Priors, solved: Solution, usual: Array, noise: float = 1.0) -> Array:
    """(cameras, 4) standard deviations at the linearisation ``solved``; ``usual`` (cameras, 4) for pictures of these sizes,
    ``noise`` the standard deviation of unit weight."""
    sd = priors.exposure_sd.copy()
    free = np.nonzero(problem.free)[0]
    block, _ = reduced(solved.normal, point_inverse(solved.normal, 0.0), free)
    place = np.full(problem.size, -1, dtype=np.int64)
    place[free] = np.arange(len(free))
    columns = problem.columns.exposure
    photo, part = np.nonzero((columns >= 0) & (place[columns] >= 0))
    if not len(photo):
        return sd
    own = place[columns[photo, part]]
    rest = np.setdiff1d(np.arange(len(free)), own)
    component = np.array([next(i for i, c in enumerate(COMPONENTS) if c.places.start <= k < c.places.stop) for k in part])
    camera = problem.photo_camera[photo]
    prior = sd[camera, component] ** -2.0
    cross = block[np.ix_(rest, own)]
    scale = 1.0 / np.sqrt(np.diag(block)[rest])
    try:
        factor = np.linalg.cholesky(block[np.ix_(rest, rest)] * scale[:, None] * scale)
    except np.linalg.LinAlgError:
        raise MeasureError(SINGULAR) from None
    half = scipy.linalg.solve_triangular(factor, scale[:, None] * cross, lower=True, check_finite=False)
    total = block[np.ix_(own, own)] - half.T @ half
    information = (total - np.diag(prior)) / noise**2
    gradient = total @ solved.state.exposure[photo, part] / noise**2
    for _ in range(constants.COMPONENT_SWEEPS):
        for c in np.unique(camera):
            for g, kind in enumerate(COMPONENTS):
                mine = np.nonzero((camera == c) & (component == g))[0]
                if len(mine):
                    others = sd[camera, component] ** -2.0
                    known = np.nan if priors.exposure_known is None else priors.exposure_known[c, g] / usual[c, g]
                    sd[c, g] = usual[c, g] * _one(information, gradient, others, mine, usual[c, g], kind, known)
    return sd


def _one(
    information: Array, gradient: Array, prior: Array, mine: IntArray, usual: float, kind: Component, profile: float
) -> float:
    """Standard deviation of one component in units of the usual one, the others given by ``prior`` (E,)."""
    others = np.setdiff1d(np.arange(len(prior)), mine)
    inner = information[np.ix_(others, others)] + np.diag(prior[others])
    both = np.linalg.solve(inner, np.column_stack([information[np.ix_(others, mine)], gradient[others]]))
    h = information[np.ix_(mine, mine)] - information[np.ix_(mine, others)] @ both[:, :-1]
    s = gradient[mine] - information[np.ix_(mine, others)] @ both[:, -1]
    value, vector = np.linalg.eigh(0.5 * (h + h.T))
    value, along = np.maximum(value, 0.0), (vector.T @ s) ** 2
    grid = kind.grid
    variance = (usual * grid) ** 2
    known = 1.0 + variance[:, None] * value
    log_p = -0.5 * np.log(known).sum(axis=1) + 0.5 * (variance[:, None] * along / known).sum(axis=1)
    log_p += np.log(kind.weights(profile))
    p = np.exp(log_p - log_p.max())
    return float(np.sqrt(p @ grid**2 / p.sum()))
