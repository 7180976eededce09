"""Tests on an adjusted network: wrong sightings, moved, curled and oddly printed sheets, contradicting lengths, variance.

Each test looks at one :class:`Run`, changes what has to be changed (weights, priors, released parameters), adds its
findings, and says whether another least-squares run is due. Data snooping and detectability after Baarda (1968).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from phototemplate.errors import Finding
from phototemplate.model import Array, IntArray, KnownLengthResult, Target
from phototemplate.network import bundle
from phototemplate.network.bundle import Problem, Solution, State
from phototemplate.network.conditions import ALL_BATCHES, PRINT, RELEASED, Priors
from phototemplate.network.layout import POSE
from phototemplate.numerics import reliability as baarda
from phototemplate.settings import AdjustmentSettings

_MISPLACED = 0.06
"""Distance in units of the principal distance beyond which a target is not where the others say"""


@dataclass
class Run:
    """An adjustment under way."""

    problem: Problem
    priors: Priors
    state: State
    base: Array
    """(N,) 1 used, 0 rejected"""
    settings: AdjustmentSettings
    targets: dict[str, Target]
    unit_root: Array
    """(N, 2, 2) the problem's ``root`` as the sightings' own covariances give it"""
    factor: Array = field(default_factory=lambda: np.ones(0))
    """(P,) variance factor per photo applied to the sightings"""
    solution: Solution | None = None
    sigma0: float = 1.0
    redundancy: float = 0.0
    findings: list[Finding] = field(default_factory=list)
    iterations: int = 0
    moved: set[tuple[int, int]] = field(default_factory=set)
    """(body, photo) views left out because the sheet lay elsewhere"""
    held: frozenset[str] = frozenset()
    """Parameters fixed by the settings"""
    lost_photos: list[str] = field(default_factory=list)
    """Photos all of whose sightings were rejected"""

    def prune(self) -> None:
        """Take out what has too few sightings left to be determined: points, bodies, photos."""
        problem = self.problem
        while True:
            used = self.base > 0
            photos = np.bincount(problem.photo[used], minlength=len(problem.photo_ids))
            on_body = used & (problem.body >= 0)
            bodies = np.bincount(problem.body[on_body], minlength=len(problem.body_ids))
            # Few points left, all on one line: the turn about it is free.
            for b in np.nonzero((bodies > 0) & (bodies < 24))[0]:
                local = problem.local[on_body & (problem.body == b)]
                spread = np.linalg.svd(local - local.mean(axis=0), compute_uv=False)
                if spread[1] < 0.02 * spread[0] + 1e-9:
                    bodies[b] = 0
            on_point = used & (problem.point >= 0)
            points = np.bincount(problem.point[on_point], minlength=len(problem.point_ids))
            weak = photos[problem.photo] < 4
            weak |= (problem.body >= 0) & (bodies[np.maximum(problem.body, 0)] < 3) if len(bodies) else False
            weak |= (problem.point >= 0) & (points[np.maximum(problem.point, 0)] < 2) if len(points) else False
            if not np.any(weak & used):
                break
            self.base[weak] = 0.0
        lost = [f"photo:{problem.photo_ids[i]}:" for i in np.nonzero(photos == 0)[0]]
        lost += [f"body:{problem.body_ids[b]}:" for b in np.nonzero(bodies == 0)[0]]
        lost += ["point:{}:{}:".format(*problem.point_ids[m]) for m in problem.shared_points if not points[m]]
        extra = frozenset(n for n in problem.names if lost and n.startswith(tuple(lost)))
        self.lost_photos = [problem.photo_ids[i] for i in np.nonzero(photos == 0)[0]]
        fixed = self.held | self._datum(bodies, photos) | extra
        if fixed != problem.fixed:
            problem.fixed = fixed
            problem.arrange()

    def _datum(self, bodies: IntArray, photos: IntArray) -> frozenset[str]:
        """Names of the six parameters held as datum: the sheet seen best, without bodies a photo.

        ``bodies`` and ``photos`` are the numbers of used sightings. The choice is kept while its body is in use.
        """
        problem, datum = self.problem, self.priors.datum_body
        if datum < 0 or not bodies[datum]:
            kinds = np.array([1000 if self.targets[t].kind == "sheet" else 1 for t in problem.body_ids])
            datum = int(np.argmax(bodies * kinds)) if len(bodies) and bodies.any() else -1
            self.priors.datum_body = datum
        owner = f"body:{problem.body_ids[datum]}" if datum >= 0 else f"photo:{problem.photo_ids[int(np.argmax(photos))]}"
        return frozenset(f"{owner}:{c}" for c in POSE)

    def reject_misplaced(self) -> None:
        """Before anything is adjusted: leave out views of bodies that lie quite elsewhere than the others say."""
        problem = self.problem
        linear = bundle.linearise(problem, self.state, jacobian=False)
        for rows, photo, key in problem.groups:
            if key < 0:
                continue
            f = self.state.lenses[problem.photo_camera[photo]][0]
            off = np.linalg.norm(linear.residual[rows], axis=1) / f
            if np.median(off) > _MISPLACED or np.any(linear.depth[rows] <= 0):
                self.base[rows] = 0.0
                self.moved.add((key, photo))

    def solve(self, huber: float | None = None, tolerance: float = 1e-3, damping: float = 0.0) -> Solution:
        """Least squares from the current state."""
        self.prune()
        self.solution = bundle.solve(
            self.problem,
            self.state,
            self.base,
            huber=huber,
            iterations=self.settings.max_iterations,
            damping=damping,
            tolerance=tolerance,
        )
        self.state = self.solution.state
        self.iterations += self.solution.iterations
        return self.solution

    @property
    def solved(self) -> Solution:
        """The last solution."""
        assert self.solution is not None
        return self.solution

    def noise(self) -> float:
        """Robust standard deviation of unit weight of the used sightings, at least 1."""
        return _spread(self.solved.linear.white[self.base > 0])

    def noise_by_photo(self) -> Array:
        """(P,) the same per photo, at least that of all: a blurred photo must not look like moved sheets."""
        common = self.noise()
        white, photo = self.solved.linear.white, self.problem.photo
        used = self.base > 0
        own = [white[used & (photo == p)] for p in range(len(self.problem.photo_ids))]
        return np.array([max(_spread(w), common) if len(w) >= 20 else common for w in own])

    def add(self, code: str, where: str, message: str, remedy: str = "") -> None:
        """One more finding."""
        self.findings.append(Finding(code, where, message, remedy))


def _spread(white: Array) -> float:
    # The median length of a standard normal pair is sqrt(2 ln 2).
    return max(float(np.median(np.linalg.norm(white, axis=1))) / np.sqrt(2 * np.log(2)), 1.0) if len(white) else 1.0


@dataclass(frozen=True)
class ScaleConflict:
    """A print scale that contradicts its prior."""

    normalized: float
    batch: bool
    index: int


def scale_conflicts(run: Run, only_bodies: bool = False) -> list[ScaleConflict]:
    """Print scales with a normalized residual over 4 against their prior."""
    cov = bundle.covariance(run.problem, run.solved.normal)
    out = []
    for condition in run.solved.normal.conditions:
        if condition.group != PRINT:
            continue
        batch = condition.name == ALL_BATCHES
        if batch and only_bodies:
            continue
        fitted = condition.jac @ cov.shared[np.ix_(condition.columns, condition.columns)] @ condition.jac.T
        rest = np.maximum(np.diag(condition.cov - fitted), 1e-4 * np.diag(condition.cov))
        w = np.abs(condition.residual) / np.sqrt(rest)
        current = run.priors.u_print_common if batch else run.priors.u_print_body
        first = 0 if batch else run.problem.body_ids.index(condition.name)
        for index, value in enumerate(w.reshape(-1, 2).max(axis=1), start=first):
            if value > 4 and current[index].max() < RELEASED:
                out.append(ScaleConflict(float(value), batch, index))
    return out


def release_print_scale(run: Run, conflicts: list[ScaleConflict]) -> bool:
    """Free the print scales with the strongest conflicts, worst first."""
    # A single odd sheet pulls the others and the common scale: free the bodies first, then look again.
    chosen = [c for c in conflicts if not c.batch] or conflicts
    if not chosen:
        return False
    limit = 0.5 * max(c.normalized for c in chosen)
    for c in chosen:
        if c.normalized >= limit:
            (run.priors.u_print_common if c.batch else run.priors.u_print_body)[c.index, :] = RELEASED
    return True


def print_scale_findings(run: Run, scale_known: bool) -> None:
    """Say which sheets, or which whole print, came out at another scale."""
    state, problem = run.state, run.problem
    for b, target in enumerate(problem.body_ids):
        ratio = state.body_scale[b] / state.print_scale[problem.body_batch[b]]
        odd = ratio[int(np.argmax(np.abs(ratio - 1)))]
        if run.priors.u_print_body[b].max() >= RELEASED and abs(odd - 1) > 0.003:
            run.add(
                "sheet-print-scale",
                target,
                f"{target} is printed at {100 * odd:.1f} % of the other targets' size.",
                "Its own size was measured and used; print it again at 100 % before the next job.",
            )
    for q, batch in enumerate(problem.batches):
        odd = state.print_scale[q][int(np.argmax(np.abs(state.print_scale[q] - 1)))]
        if scale_known and run.priors.u_print_common[q].max() >= RELEASED and abs(odd - 1) > 0.01:
            run.add(
                "sheet-print-scale",
                f"all {batch} targets",
                f"All targets of kind {batch} measure {100 * odd:.1f} % of their nominal size: either they were printed at "
                "another scale, or the known length is misread.",
                "Check the ruler on a sheet against a steel rule, and the known length against its record.",
            )


def split_moved_sheet(run: Run, curl: dict[int, float], rival: float) -> bool:
    """Find the body that fits best as lying in two places; leave out its smaller group of photos.

    ``curl`` is the evidence that bodies are bent instead (:func:`curl_evidence`), ``rival`` the strongest evidence for
    something else; the stronger explanation wins.

    Each photo alone says by how much it wants the body shifted and turned (cameras held). If two groups of photos, each
    with its own shift, fit far better than one, and the places differ visibly in the sheet's own plane, the sheet moved.
    """
    problem, linear, noise = run.problem, run.solved.linear, run.noise_by_photo()
    systems: dict[int, list[tuple[int, Array, Array, int, float]]] = {}
    for rows, photo, key in problem.groups:
        used = run.base[rows] > 0
        if key < 0 or used.sum() < 3:
            continue
        j = _slide_jacobian(run, linear.jac[rows][used], key)
        # A weak pull to zero keeps views with few points from wandering.
        size = max(float(np.abs(problem.local[rows]).max()), 10.0)
        pull = np.diag(1 / np.array([1.0, 4 * size, 4 * size]) ** 2)
        w, j = linear.white[rows][used].ravel() / noise[photo], j / noise[photo]
        rest = float(np.median(np.linalg.norm(w.reshape(-1, 2), axis=1)))
        # A few wrong sightings are not a moved sheet: they stay wrong wherever this photo would like to have it.
        root = np.ones(len(w))
        for _ in range(4):
            h, g = (j * root[:, None]).T @ (j * root[:, None]) + pull, (j * root[:, None]).T @ (w * root)
            left = np.linalg.norm((w - j @ np.linalg.solve(h, g)).reshape(-1, 2), axis=1)
            root = np.repeat(np.sqrt(bundle.huber_weight(left, 3.0)), 2)
        # What was moved fits in its new place; what fits nowhere is no evidence of a move.
        # (Far moves are not linear: a seventh of what it was is a fit, too.)
        fitting = int(used.sum()) if np.mean(left < max(4.0, 0.15 * rest)) >= 0.75 else 0
        systems.setdefault(key, []).append((photo, h, g, fitting, rest))
    best: tuple[float, int, list[int], Array] | None = None
    for body, entries in systems.items():
        if len(entries) < 2 or max(e[4] for e in entries) < 2.5:
            continue
        hs, gs = np.array([e[1] for e in entries]), np.array([e[2] for e in entries])
        own = np.linalg.solve(hs, gs[:, :, None])[:, :, 0]
        one = _gain(hs.sum(0), gs.sum(0))
        for a in range(len(entries)):
            for b in range(a):
                places = np.array([own[a], own[b]])
                group = np.zeros(len(entries), dtype=int)
                for _ in range(10):
                    fit = np.array([[0.5 * d @ hs[i] @ d - gs[i] @ d for d in places] for i in range(len(entries))])
                    new = np.argmin(fit, axis=1)
                    if len(set(new)) < 2:
                        break
                    places = np.array([np.linalg.solve(hs[new == c].sum(0), gs[new == c].sum(0)) for c in (0, 1)])
                    if np.array_equal(new, group):
                        break
                    group = new
                if len(set(group)) < 2:
                    continue
                split = [_gain(hs[group == c].sum(0), gs[group == c].sum(0)) for c in (0, 1)]
                apart: Array = places[1] - places[0]
                size = float(np.abs(run.targets[problem.body_ids[body]].points_mm).max())
                visible = np.hypot(*apart[1:]) + abs(apart[0]) * size
                gain = 2 * (sum(split) - one)
                counts = [sum(e[3] for e, c in zip(entries, group, strict=True) if c == k) for k in (0, 1)]
                strong = gain > max(100.0, curl.get(body, 0.0), rival) and visible > 0.5 and min(counts) >= 4
                if strong and (best is None or gain > best[0]):
                    small = int(np.argmin(counts))
                    best = gain, body, [e[0] for e, c in zip(entries, group, strict=True) if c == small], apart
    if best is None:
        return False
    _, body, photos, apart = best
    for photo in photos:
        run.base[(problem.body == body) & (problem.photo == photo)] = 0.0
        run.moved.add((body, photo))
    return True


def _slide_jacobian(run: Run, jac: Array, body: int) -> Array:
    """(2n, 3) derivative of whitened sightings by a turn and a shift of a body within its own plane."""
    wide = run.problem.lens_width
    x, y, z = run.state.body_rotation[body].T
    turn = jac[:, :, wide + 7 : wide + 10] @ z
    shift = jac[:, :, wide + 10 : wide + 13] @ np.column_stack([x, y])
    return np.concatenate([turn[:, :, None], shift], axis=2).reshape(-1, 3)


def _gain(h: Array, g: Array) -> float:
    return float(0.5 * g @ np.linalg.solve(h, g))


def moved_findings(run: Run) -> None:
    """Say which sheets moved, by how much, in which photos; measured again from the photos left out."""
    problem, linear = run.problem, run.solved.linear
    for body in sorted({b for b, _ in run.moved}):
        photos = [p for b, p in run.moved if b == body]
        rows = np.isin(problem.photo, photos) & (problem.body == body)
        d = np.linalg.lstsq(_slide_jacobian(run, linear.jac[rows], body), linear.white[rows].ravel(), rcond=None)[0]
        name = problem.body_ids[body]
        where = ", ".join(problem.photo_ids[p] for p in sorted(photos))
        shift = float(np.hypot(d[1], d[2]))
        if shift < 300:
            run.add(
                "sheet-moved",
                name,
                f"{name} lies about {shift:.1f} mm ({np.degrees(abs(d[0])):.1f} degrees) elsewhere in {where} than in the "
                "other photos; it was left out there.",
                "Fix the sheets with tape and photograph again, or remove the photos from before the move.",
            )
        else:
            run.add(
                "target-id-twice",
                name,
                f"{name} lies in quite another place in {where} than in the other photos; it was left out there.",
                "Use every printed number once; look whether a number was misread in that photo.",
            )


def curl_evidence(run: Run) -> dict[int, float]:
    """Drop in chi-squared (at unit noise) that releasing each flat body's curl would bring, by a score test."""
    if run.settings.curl != "auto":
        return {}
    problem, linear, noise = run.problem, run.solved.linear, run.noise()
    cov = bundle.covariance(problem, run.solved.normal)
    wide = problem.lens_width
    weight = np.sqrt(run.solved.weight)[:, None, None]
    jac = linear.jac * weight
    white = linear.white * weight[:, :, 0]
    n = len(problem.body_ids)
    own, score, cross = np.zeros((n, 3, 3)), np.zeros((n, 3)), np.zeros((n, 3, problem.size))
    for rows, photo, key in problem.groups:
        if key < 0 or key in problem.curl:
            continue
        columns, local = problem.group_columns(photo, key)
        c = jac[rows][:, :, wide + 15 : wide + 18].reshape(-1, 3)
        own[key] += c.T @ c
        score[key] += c.T @ white[rows].ravel()
        cross[key][:, columns] += c.T @ jac[rows][:, :, local].reshape(-1, len(local))
    gains = {}
    for b in range(n):
        if b in problem.curl or not own[b].any():
            continue
        h = own[b] - cross[b] @ cov.shared @ cross[b].T + np.eye(3) / run.priors.u_curl[b] ** 2
        curl = np.linalg.solve(h, score[b])
        if _rise(run, b, curl) > 0.15:
            gains[b] = float(score[b] @ curl) / noise**2
    return gains


def release_curl(run: Run, gains: dict[int, float]) -> bool:
    """Make the curl of bodies whose evidence is strong part of the adjustment."""
    released = {b for b, gain in gains.items() if gain > run.settings.curl_evidence}
    if not released:
        return False
    free_curl(run, released)
    return True


def free_curl(run: Run, bodies: set[int]) -> None:
    """Make the curl of some bodies part of the adjustment."""
    run.problem.curl = run.problem.curl | frozenset(bodies)
    run.problem.arrange()


def _rise(run: Run, body: int, curl: Array) -> float:
    """Largest departure in mm of a body's points from their mean plane for a given curl."""
    p = run.targets[run.problem.body_ids[body]].points_mm
    z = 0.5 * curl[0] * p[:, 0] ** 2 + curl[1] * p[:, 0] * p[:, 1] + 0.5 * curl[2] * p[:, 1] ** 2
    design = np.column_stack([p[:, :2], np.ones(len(p))])
    return float(np.abs(z - design @ np.linalg.lstsq(design, z, rcond=None)[0]).max())


def curl_findings(run: Run, cov: Array) -> None:
    """Say which sheets do not lie flat."""
    for b in sorted(run.problem.curl):
        columns = run.problem.body_columns[b, 8:11]
        curl = run.state.body_curl[b]
        rise = _rise(run, b, curl)
        strength = float(curl @ np.linalg.solve(cov[np.ix_(columns, columns)], curl))
        if rise > 0.5 and strength > 16.3:  # 0.1 % point of chi-squared with 3 degrees of freedom
            name = run.problem.body_ids[b]
            run.add(
                "sheet-curled",
                name,
                f"{name} bends by {rise:.1f} mm.",
                "Its bend was measured and used; stick sheets on something flat.",
            )


def snoop(run: Run) -> bool:
    """Reject sightings whose normalized residual is too large; whole views first, then the worst of each view.

    Uses the full covariance of the residuals, so that a sighting which the adjustment follows closely is still seen.
    """
    problem, settings = run.problem, run.settings
    linear = run.solved.linear
    cov = bundle.covariance(problem, run.solved.normal)
    fitted = bundle.fitted_cov(problem, linear, cov)
    used = run.base > 0
    noise = run.noise_by_photo()
    sign = np.where(used, -1.0, 1.0)[:, None, None]
    q = np.eye(2) + sign * fitted
    q = 0.5 * (q + q.transpose(0, 2, 1))
    value, vector = np.linalg.eigh(q)
    # Where nothing checks a sighting (value near 0) its residual is 0 as well: do not divide noise by nothing.
    along = np.einsum("nji,nj->ni", vector, linear.white)
    square = np.where(value > 0.02, along**2 / np.maximum(value, 0.02), 0.0).sum(axis=1) / noise[problem.photo] ** 2
    # Same tail probability for the pair as for one normal value at the limit.
    limit = -2.0 * np.log(2.0 * stats.norm.sf(settings.reject))
    changed = False
    for rows, _, key in problem.groups:
        mine = np.nonzero(used[rows])[0]
        if not len(mine):
            continue
        s = square[rows][mine]
        if key >= 0 and len(mine) >= 3 and np.median(np.sqrt(s)) > settings.target_reject:
            run.base[rows] = 0.0
            changed = True
            continue
        worst = s >= max(limit, 0.3 * s.max())
        if worst.any():
            run.base[rows.start + mine[worst]] = 0.0
            changed = True
    return changed


def readmit(run: Run) -> bool:
    """Take back rejected sightings that fit the clean network after all (not those of moved sheets)."""
    problem, linear = run.problem, run.solved.linear
    out = run.base == 0
    if not out.any():
        return False
    cov = bundle.covariance(problem, run.solved.normal)
    q = np.eye(2) + bundle.fitted_cov(problem, linear, cov)
    square = np.einsum("ni,nij,nj->n", linear.white, np.linalg.inv(q), linear.white)
    square = square / run.noise_by_photo()[problem.photo] ** 2
    limit = -2.0 * np.log(2.0 * stats.norm.sf(run.settings.reject))
    back = out & (square < limit)
    for body, photo in sorted(run.moved):
        view = (problem.body == body) & (problem.photo == photo)
        # Left out early as moved, but in the clean network it lies where the others say.
        if view.any() and np.median(square[view]) < 6.0:
            run.moved.discard((body, photo))
        else:
            back &= ~view
    run.base[back] = 1.0
    return bool(back.any())


def restore_print_scale(run: Run) -> bool:
    """Bind print scales again that were freed early and came out like the others after all."""
    problem, state = run.problem, run.state
    changed = False
    for b in range(len(problem.body_ids)):
        ratio = state.body_scale[b] / state.print_scale[problem.body_batch[b]]
        if run.priors.u_print_body[b].max() >= RELEASED and np.abs(ratio - 1).max() < 3 * run.settings.u_print_sheet:
            run.priors.u_print_body[b] = run.settings.u_print_sheet
            changed = True
    return changed


def estimate_variance(run: Run) -> bool:
    """Variance factor of the sightings from their residuals and redundancy, overall and for photos that stand out.

    ``up``: applied only where the residuals are significantly larger than stated (1 % level); ``always``: also smaller.
    Known lengths and priors keep their own uncertainties. Sets ``sigma0`` (against the stated covariances).
    """
    problem, settings = run.problem, run.settings
    if not len(run.factor):
        run.factor = np.ones(len(problem.photo_ids))
    linear = run.solved.linear
    cov = bundle.covariance(problem, run.solved.normal)
    fitted = bundle.fitted_cov(problem, linear, cov)
    used = run.base > 0
    square = np.where(used, np.sum(linear.white**2, axis=1), 0.0) * run.factor[problem.photo]
    free = np.where(used, 2.0 - np.trace(fitted, axis1=1, axis2=2), 0.0)
    n = len(problem.photo_ids)
    squares, frees = np.bincount(problem.photo, square, n), np.bincount(problem.photo, free, n)
    run.redundancy = float(frees.sum())
    if run.redundancy < 3:
        run.sigma0 = 1.0
        return False
    overall = float(squares.sum() / frees.sum())
    run.sigma0 = float(np.sqrt(overall))
    if settings.variance == "never":
        return False
    significant = overall > stats.chi2.ppf(0.99, run.redundancy) / run.redundancy
    common = overall if settings.variance == "always" or significant else 1.0
    factor = np.full(n, common)
    median = float(np.median((squares / np.maximum(frees, 1e-9))[frees > 3])) if np.any(frees > 3) else common
    level = max(median, 1.0) if settings.variance == "up" else median
    for p in range(n):
        if frees[p] > 8:
            own = squares[p] / frees[p]
            if own > 1.3 * level and own > level * stats.chi2.ppf(1 - 0.01 / n, frees[p]) / frees[p]:
                factor[p] = max(own, common)
    calm = factor == common
    if not calm.all() and calm.any() and frees[calm].sum() > 3:
        rest = float(squares[calm].sum() / frees[calm].sum())
        bound = stats.chi2.ppf(0.99, frees[calm].sum()) / frees[calm].sum()
        factor[calm] = rest if settings.variance == "always" or rest > bound else 1.0
    changed = bool(np.any(np.abs(np.log(factor / run.factor)) > 0.02))
    if changed:
        run.factor = factor
        problem.root = run.unit_root / np.sqrt(factor)[problem.photo][:, None, None]
    return changed


def length_results(run: Run) -> list[KnownLengthResult]:
    """How every known length fared; normalized residuals and detectability after Baarda."""
    cov = bundle.covariance(run.problem, run.solved.normal).shared
    out = []
    for length in run.priors.lengths:
        if length.name == SCALE_CONVENTION:
            continue
        size, columns, gradient = length.measured(run.problem, run.state)
        fitted = float(gradient @ cov[np.ix_(columns, columns)] @ gradient)
        used = length.name not in run.priors.unused
        u = length.u_mm * run.priors.inflate.get(length.name, 1.0)
        if used:
            rest = max(u**2 - fitted, 0.0)
            redundancy = rest / u**2
            w = float(baarda.normalized_residuals([length.value_mm - size], [u], [redundancy])[0])
            detectable = float(baarda.minimal_detectable_bias([u], [redundancy])[0])
        else:
            w = (length.value_mm - size) / float(np.sqrt(u**2 + fitted))
            detectable = 4.13 * float(np.sqrt(u**2 + fitted))
        out.append(KnownLengthResult(length.name, length.value_mm, u, size, w, detectable, used))
    return out


SCALE_CONVENTION = "scale convention"
"""Name of the pseudo length that fixes the size of a network without any"""


def weigh_lengths(run: Run, results: list[KnownLengthResult]) -> bool:
    """Contradicting known lengths: with three or more leave out the one that alone explains it, else widen all."""
    used = [r for r in results if r.used]
    if len(used) < 2:
        return False
    worst = max(used, key=lambda r: abs(r.normalized_residual))
    if abs(worst.normalized_residual) < 3.29:
        return False
    gaps = "; ".join(f"{r.name}: {r.given_mm:.1f} given, {r.adjusted_mm:.1f} found" for r in used)
    if len(used) >= 3:
        run.priors.unused.add(worst.name)
        run.solve()
        rest = [r for r in length_results(run) if r.used]
        if max(abs(r.normalized_residual) for r in rest) < 3.29:
            alone = next(r for r in length_results(run) if r.name == worst.name)
            run.add(
                "lengths-disagree",
                worst.name,
                f"{worst.name} is given as {alone.given_mm:.1f} mm, but the other known lengths make it "
                f"{alone.adjusted_mm:.1f} mm; it was left out.",
                "Measure it again and correct the value.",
            )
            return True
        run.priors.unused.discard(worst.name)
    factor = abs(worst.normalized_residual)
    for r in used:
        run.priors.inflate[r.name] = run.priors.inflate.get(r.name, 1.0) * factor
    run.add(
        "lengths-disagree",
        worst.name,
        f"The known lengths contradict each other ({gaps}, in mm); all were kept and trusted {factor:.0f} times less.",
        "Measure them again; one of them is wrong.",
    )
    return True


def length_findings(run: Run, results: list[KnownLengthResult]) -> None:
    """Say where a misread length would go unnoticed."""
    for r in results:
        if r.used and r.smallest_detectable_mm > max(0.002 * r.given_mm, 1.0):
            size = "any misreading" if not np.isfinite(r.smallest_detectable_mm) else f"{r.smallest_detectable_mm:.0f} mm"
            run.add(
                "length-unchecked",
                r.name,
                f"Nothing checks {r.name}: a misreading of up to {size} would not be noticed.",
                "Add a second known length, for example a tape reading between two far sheets.",
            )
