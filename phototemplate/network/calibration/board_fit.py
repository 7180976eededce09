"""One lens fitted to photos of calibration boards, under one description of lens, board and exposures.

Every photo has its own pose and exposure, all share the lens; the board holds still in the world. What the board may be is
part of the description (:class:`Form`): exactly as designed, bent and stretched evenly, or every point where the photos see
it. In the last case the points are adjusted freely with a prior whose spread is estimated along with them (EM; Dempster,
Laird, Rubin, J. Royal Statistical Society B 39 (1977) 1-38), so the datum is the mean place of the points. Engine:
``network.bundle``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats

from phototemplate.model import Array, IntArray
from phototemplate.model.network import EXPOSURE
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.bundle import Covariance, PointPrior, Problem, State
from phototemplate.network.adjustment.parameters import POSE
from phototemplate.network.adjustment.pseudo_observations import CENTRE, Priors
from phototemplate.network.adjustment.variance_components import COMPONENTS, components, settled, usual_sd
from phototemplate.network.calibration.board_model import BoardPhotos, Fit, Form, Start
from phototemplate.network.calibration.constants import (
    CHECKED,
    LEAST_SIGMA_MM,
    REJECT,
    REJECTED_TOGETHER,
    SIGMA_SETTLED,
    SPREAD_ROUNDS,
    START_SIGMA_MM,
    U_ASPECT,
    U_CENTRE,
    U_F,
    U_FLAT_MM,
    U_PRINT,
    U_STRETCH,
)
from phototemplate.network.orientation.views import stack
from phototemplate.numerics import lens
from phototemplate.settings import AdjustmentSettings


def fit(
    photos: BoardPhotos,
    form: Form,
    start: Start,
    base: Array | None = None,
    extra_px: float = 0.0,
    huber: float | None = None,
) -> Fit:
    """Least squares under ``form``. Views without a pose in ``start`` are left out; ``base`` (N,) switches sightings.

    ``extra_px`` is added in quadrature to the sightings' standard deviations: what neither board nor lens model explains.
    Raises :class:`MeasureError` where the photos do not determine the lens.
    """
    names = [n for n in photos.views if n in start.poses]
    problem, priors, state, log_prior = _set_up(photos, form, start, names, extra_px)
    base = np.ones(len(problem.sightings)) if base is None else base
    solution = bundle.solve(problem, priors, state, base, huber=huber, tolerance=1e-4, damping=1e-3, iterations=60)
    cov = bundle.covariance(problem, solution.normal)
    usual = usual_sd(AdjustmentSettings(), (photos.size_px,))
    for _ in range(SPREAD_ROUNDS if form.board == "free" or form.exposures else 0):
        still = True
        if problem.point_prior is not None:
            new = _spread(problem, solution.state, cov)
            still = bool(np.all(np.abs(np.log(new / problem.point_prior.sigma)) < SIGMA_SETTLED))
            problem = replace(problem, point_prior=PointPrior(problem.point_prior.mean, new))
        if form.exposures:
            sd = components(problem, priors, solution, usual)
            still &= settled(sd, priors.exposure_sd)
            priors = replace(priors, exposure_sd=sd)
        solution = bundle.solve(problem, priors, solution.state, base, huber=huber, tolerance=1e-4)
        cov = bundle.covariance(problem, solution.normal)
        if still:
            break
    fitted = bundle.fitted_cov(problem, solution.linear, cov)
    sigma = problem.point_prior.sigma if problem.point_prior is not None else np.zeros(3)
    return Fit(
        form, tuple(names), problem, solution, cov, base, fitted, sigma, priors.exposure_sd, extra_px, photos.targets, log_prior
    )  # fmt: skip


def _spread(problem: Problem, state: State, cov: Covariance) -> Array:
    """(3,) spread of the points about their nominal places, counting how well each is known."""
    assert problem.point_prior is not None
    off = state.points - problem.point_prior.mean
    known = np.einsum("mii->mi", cov.point_cov)
    # x and y share one spread: a print is no better along than across.
    square = (off**2 + known).mean(axis=0)
    square[:2] = square[:2].mean()
    return np.asarray(np.maximum(np.sqrt(square), LEAST_SIGMA_MM))


def _set_up(
    photos: BoardPhotos, form: Form, start: Start, names: list[str], extra_px: float
) -> tuple[Problem, Priors, State, float]:
    seen = list(dict.fromkeys(photos.views[n].target_id for n in names))
    free = form.board == "free"
    body_ids = [] if free else seen
    points = [(t, int(k)) for t in seen for k in range(len(photos.targets[t].points_mm))] if free else []
    if free:  # only points that are seen
        there = {(photos.views[n].target_id, int(k)) for n in names for k in photos.views[n].point_ids}
        points = [p for p in points if p in there]
    stacked = stack(
        {n: {photos.views[n].target_id: photos.views[n]} for n in names},
        names, [("lens", form.lens, photos.size_px)], dict.fromkeys(names, "lens"), body_ids,
        dict.fromkeys(body_ids, "board"), points, extra_px,
    )  # fmt: skip
    problem = replace(stacked.problem, exposure=EXPOSURE if form.exposures else ())
    b, q = len(body_ids), len(problem.batches)
    nominal = np.array([photos.targets[t].points_mm[k] for t, k in points]).reshape(-1, 3)
    model = lens.LENS_MODELS[form.lens]
    params = start.params.copy()
    held = [i for i, n in enumerate(model.names) if n in photos.hold]
    params[held] = 0.0
    known = free and start.points is not None and len(start.points) == len(nominal)
    state = State.at_rest(
        [params],
        [start.poses[n] for n in names],
        [(np.eye(3), np.zeros(3))] * b,
        q,
        start.points if known else nominal,
    )
    fixed = {f"lens:lens:{model.names[i]}" for i in held}
    fixed |= {f"body:{t}:{c}" for t in body_ids for c in (*POSE, "sx")}
    fixed |= {n for n in problem.names if n.startswith("print:")}
    if form.board == "flat":
        fixed |= {f"body:{t}:sy" for t in body_ids}
    elif form.board == "bent":
        problem = replace(problem, curl=frozenset(range(b)))
    problem = replace(problem, fixed=frozenset(fixed))
    if free:
        sigma = start.sigma_mm if start.sigma_mm is not None else START_SIGMA_MM
        problem = replace(problem, point_prior=PointPrior(nominal, sigma))
    half = np.array([np.linalg.norm(photos.targets[t].points_mm, axis=1).max() for t in body_ids])
    mean = lens.start_params(form.lens, start.params[0], photos.size_px)
    loose = lens.loose_cov(form.lens, float(max(photos.size_px)), photos.size_px, U_F, U_CENTRE, U_ASPECT)
    log_prior = float(np.log(np.delete(np.diag(loose), held)).sum())
    u_curl = 2 * U_FLAT_MM / half**2
    if form.board == "bent":
        log_prior += float(2 * b * np.log(U_STRETCH) + 6 * np.log(u_curl).sum())
    sd = np.zeros((1, len(COMPONENTS)))
    if form.exposures:
        sd = usual_sd(AdjustmentSettings(), (photos.size_px,)) if start.exposure_sd is None else start.exposure_sd
    priors = Priors(
        (mean,),
        (loose,),
        sd,
        np.full((q, 2), U_PRINT),
        np.full((b, 2), U_STRETCH),
        u_curl,
    )
    return problem, priors, state, log_prior


def wrong_sightings(one: Fit) -> IntArray:
    """Used sightings whose residual is too large for its own standard deviation and that of its photo."""
    white, photo, used = one.solution.linear.white, one.problem.sightings.photo, one.used
    q = np.eye(2) - one.fitted
    value, vector = np.linalg.eigh(0.5 * (q + q.transpose(0, 2, 1)))
    along = np.einsum("nji,nj->ni", vector, white)
    square = np.where(value > CHECKED, along**2 / np.maximum(value, CHECKED), 0.0).sum(axis=1)
    noise = np.ones(len(one.names))
    for i in range(len(noise)):
        mine = square[used & (photo == i)]
        noise[i] = max(float(np.median(mine)) / (2 * np.log(2)), 1.0) if len(mine) else 1.0
    limit = -2.0 * np.log(2.0 * stats.norm.sf(REJECT))
    square = np.where(used, square / noise[photo], 0.0)
    return np.nonzero(square > max(limit, REJECTED_TOGETHER * square.max(initial=0.0)))[0]


def photo_noise(one: Fit) -> Array:
    """(P,) spread of the whitened residuals of each view, by their median: a wrong sighting is not a wrong photo."""
    white, photo, used = one.solution.linear.white, one.problem.sightings.photo, one.used
    out = np.full(len(one.names), np.nan)
    for i in range(len(out)):
        mine = white[used & (photo == i)]
        if len(mine):
            out[i] = np.median(np.linalg.norm(mine, axis=1)) / np.sqrt(2 * np.log(2))
    return out


def exposure_excess(one: Fit) -> Array:
    """(P,) how far each photo's exposure went, over the largest standard deviation that any camera has: a photo that was zoomed
    or cropped is no exposure of this lens, however well an exposure of its own follows it."""
    size = max(one.problem.sensors[0].size_px)
    most = np.ones(one.state.exposure.shape[1])
    for kind in COMPONENTS:
        most[kind.places] = kind.largest * (size if kind.group == CENTRE else 1.0)
    return np.asarray(np.abs(one.state.exposure / most).max(axis=1))


def _own_variance(one: Fit) -> Array:
    """(n,) px2 that each used sighting states for itself, mean of both coordinates."""
    root = one.problem.sightings.root[one.used]
    cov = np.linalg.inv(root.transpose(0, 2, 1) @ root)
    return np.asarray(np.trace(cov, axis1=1, axis2=2) / 2 - one.extra_px**2)


def corner_px(one: Fit) -> float:
    """What the sightings' own standard deviations allow residuals to be, root mean square per coordinate."""
    return float(np.sqrt(np.mean(_own_variance(one)) * max(one.count - one.parameters, 1.0) / one.count))


def unexplained_px(one: Fit) -> float:
    """What to add in quadrature to the sightings' own standard deviations for residuals as large as they should be."""
    used, own = one.used, _own_variance(one)
    square = np.sum(one.solution.linear.residual[used] ** 2, axis=1) / 2
    inflate = one.count / max(one.count - one.parameters, 1.0)

    def excess(extra: float) -> float:
        return float(np.sum(square * inflate / (own + extra**2)) - len(own))

    if excess(0.0) <= 0:
        return 0.0
    low, high = 0.0, float(np.sqrt(square.max())) + 1.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    return high
