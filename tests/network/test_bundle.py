"""The least-squares engine: Jacobians against differences, and cost and covariance against Ceres with OpenCV's projection."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from phototemplate.model import Array
from phototemplate.model.network import EXPOSURE
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.network_result import influences_of
from phototemplate.network.adjustment.pseudo_observations import Length, LengthPoint, Priors
from phototemplate.network.orientation.views import stack, views_of
from tests.network.synthetic import Kitchen, kitchen


def _no_conditions(problem: bundle.Problem, state: bundle.State) -> tuple[()]:
    return ()


def _six(rotation: Array, translation: Array) -> Array:
    """Rotation vector and translation (6,)."""
    return np.concatenate([Rotation.from_matrix(rotation).as_rotvec(), translation])


def _problem(k: Kitchen, photo_ids: list[str], body_ids: list[str], strips: list[str]) -> tuple[bundle.Problem, bundle.State]:
    """A problem at the true values, datum the first body."""
    views = views_of([k.sightings[p] for p in photo_ids], k.targets)
    seen: dict[tuple[str, int], int] = {}
    for p in photo_ids:
        for t in strips:
            if t in views[p]:
                for n in views[p][t].point_ids:
                    seen[t, int(n)] = seen.get((t, int(n)), 0) + 1
    points = sorted(key for key, n in seen.items() if n >= 2)
    camera_of = {p: k.truth.photos[p].camera_id for p in photo_ids}
    cameras = [(c, "brown", k.truth.cameras[c].size_px) for c in dict.fromkeys(camera_of.values())]
    problem = stack(views, photo_ids, cameras, camera_of, body_ids, dict.fromkeys(body_ids, "sheet"), points).problem
    bodies = [k.truth.bodies[t] for t in body_ids]
    poses = [k.truth.photos[p] for p in photo_ids]
    state = bundle.State.at_rest(
        [k.truth.cameras[c].params for c, _, _ in cameras],
        [(p.rotation, p.translation_mm) for p in poses],
        [(b.rotation, b.translation_mm) for b in bodies],
        1,
        np.array([k.points_mm[key] for key in points]).reshape(-1, 3),
    )
    state = replace(
        state,
        exposure=np.array([p.exposure for p in poses]),
        body_scale=np.array([b.scale_xy for b in bodies]),
        body_curl=np.array([b.curl_per_mm for b in bodies], dtype=float),
    )
    return problem, state


@pytest.mark.parametrize("distortion_moves", [True, False])
def test_jacobian_against_differences(distortion_moves: bool) -> None:
    """All blocks, the exposures moving: focus, shifted image, turn and shift during the readout."""
    k = kitchen(5, two_cameras=True, curl={"S02": (3e-4, -1e-4, 2e-4)})
    problem, state = _problem(k, ["IMG_0001", "IMG_0002", "IMG_0004"], ["S01", "S02", "S03"], ["W01a", "W02a"])
    sensors = tuple(replace(s, distortion_moves=distortion_moves) for s in problem.sensors)
    problem = replace(problem, exposure=EXPOSURE, curl=frozenset({1}), shared_points=(0,), sensors=sensors)
    rng = np.random.default_rng(0)
    state = replace(state, exposure=rng.normal(0, [3e-3, 15, 15, 1e-3, 1e-3, 1e-3, 0.5, 0.5, 0.5], state.exposure.shape))
    linear = bundle.linearise(problem, state)
    zero = np.zeros((len(problem.schur_points), 3))
    dense = np.zeros((len(problem.sightings), 2, problem.size))
    for rows, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        dense[rows][:, :, columns] = linear.jac[rows][:, :, local]
    for column, name in enumerate(problem.names):
        h = 1e-6 if ":t" in name or ":shift" in name else 1e-7
        h = 1e-3 if name.endswith((":f", ":cx", ":cy", ":centre_x", ":centre_y")) else h
        step = np.zeros(problem.size)
        step[column] = h
        up = bundle.linearise(problem, bundle.update(problem, state, step, zero), jacobian=False).white
        down = bundle.linearise(problem, bundle.update(problem, state, -step, zero), jacobian=False).white
        numeric = -(up - down) / (2 * h)
        size = max(float(np.abs(numeric).max()), 1.0)
        assert np.allclose(dense[:, :, column], numeric, atol=2e-4 * size), name
    point = problem.sightings.point
    free = np.nonzero(point >= 0)[0]
    free = free[problem.schur_index[point[free]] >= 0]
    for axis in range(3):
        move = zero.copy()
        move[:, axis] = 1e-4
        up = bundle.linearise(problem, bundle.update(problem, state, np.zeros(problem.size), move), jacobian=False).white
        down = bundle.linearise(problem, bundle.update(problem, state, np.zeros(problem.size), -move), jacobian=False).white
        numeric = -(up - down)[free] / 2e-4
        assert np.allclose(linear.jac[free][:, :, problem.layout.point][:, :, axis], numeric, rtol=1e-4, atol=1e-2)


def test_condition_jacobians_against_differences() -> None:
    k = kitchen(5)
    problem, state = _problem(k, ["IMG_0001"], ["S01", "S02", "S03"], [])
    problem = replace(problem, curl=frozenset({1}), plane=True)
    lengths = (Length("tape", LengthPoint(0, np.array([10.0, 5, 0])), LengthPoint(1, np.array([30.0, -20, 0])), 500.0, 0.5),)
    priors = Priors(
        (state.lenses[0],), (np.eye(9),), np.array([[0.004, 10.0, 1e-3, 0.1]]),
        np.full((1, 2), 0.005), np.full((3, 2), 5e-4), np.full(3, 1e-4),
        lengths, datum_body=0, plane_bodies=(0, 1, 2),
    )  # fmt: skip
    state = replace(state, plane=np.array([0.3, 0.002, -0.003]))
    for n, condition in enumerate(priors(problem, state)):
        for i, column in enumerate(condition.columns):
            if problem.names[column].startswith("body:S01") and condition.group == "plane assumption":
                continue  # the datum body is held, so nothing depends on it
            h = 1e-3 if problem.names[column].endswith((":f", ":cx", ":cy")) else 1e-6
            step = np.zeros(problem.size)
            step[column] = h
            up = priors(problem, bundle.update(problem, state, step, np.zeros((0, 3))))[n].residual
            down = priors(problem, bundle.update(problem, state, -step, np.zeros((0, 3))))[n].residual
            assert np.allclose(condition.jac[:, i], -(up - down) / (2 * h), atol=1e-5, rtol=1e-4), condition.name


class _Ceres:
    """The same network in Ceres: rotations as rotation vectors, projection and derivatives by OpenCV."""

    def __init__(self, problem: bundle.Problem, state: bundle.State, length: Length | None) -> None:
        pyceres = pytest.importorskip("pyceres")
        self.lens = state.lenses[0][[0, 2, 3, 4, 5, 6, 7, 8]].copy()
        self.photos = [_six(r, t) for r, t in zip(state.photo_rotation, state.photo_translation, strict=True)]
        self.bodies = [_six(r, t) for r, t in zip(state.body_rotation, state.body_translation, strict=True)]
        self.points = [p.copy() for p in state.points]
        self.problem = pyceres.Problem()
        self.costs: list[Any] = []

        def matrices(params: Array) -> tuple[Array, Array]:
            f, cx, cy, *dist = params
            return np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]]), np.array(dist)

        class Sight(pyceres.CostFunction):  # type: ignore[name-defined]
            """Points of one body, or one free point, in one photo."""

            def __init__(self, uv: Array, root: Array, local: Array | None) -> None:
                super().__init__()
                self.uv, self.root, self.local = uv, root, local
                self.set_num_residuals(uv.size)
                self.set_parameter_block_sizes([8, 6, 6 if local is not None else 3])

            def Evaluate(self, parameters: Any, residuals: Any, jacobians: Any) -> bool:
                camera, photo, other = (np.asarray(p, dtype=float) for p in parameters)
                matrix, dist = matrices(camera)
                if self.local is not None:
                    r, t, drda, drdta, drdb, drdtb, dtda, dtdta, dtdb, dtdtb = cv2.composeRT(
                        other[:3], other[3:], photo[:3], photo[3:]
                    )
                    chain_other = np.block([[drda, drdta], [dtda, dtdta]])
                    chain_photo = np.block([[drdb, drdtb], [dtdb, dtdtb]])
                    uv, jac = cv2.projectPoints(self.local, r, t, matrix, dist)
                    pose = jac[:, :6]
                    by_photo, by_other = pose @ chain_photo, pose @ chain_other
                else:
                    uv, jac = cv2.projectPoints(other[None], photo[:3], photo[3:], matrix, dist)
                    by_photo = jac[:, :6]
                    by_other = jac[:, 3:6] @ cv2.Rodrigues(photo[:3])[0]
                by_camera = np.column_stack([jac[:, 6] + jac[:, 7], jac[:, 8:10], jac[:, 10:15]])
                left = np.einsum("nij,nj->ni", self.root, uv.reshape(-1, 2) - self.uv)
                residuals[:] = left.ravel()
                if jacobians is not None:
                    for block, values in zip(jacobians, (by_camera, by_photo, by_other), strict=True):
                        if block is not None:
                            wide = np.einsum("nij,njk->nik", self.root, values.reshape(len(self.uv), 2, -1))
                            block[:] = wide.reshape(block.shape)
                return True

        class Distance(pyceres.CostFunction):  # type: ignore[name-defined]
            """Distance between the origins of two bodies."""

            def __init__(self, value: float, u: float) -> None:
                super().__init__()
                self.value, self.u = value, u
                self.set_num_residuals(1)
                self.set_parameter_block_sizes([6, 6])

            def Evaluate(self, parameters: Any, residuals: Any, jacobians: Any) -> bool:
                a, b = (np.asarray(p, dtype=float)[3:] for p in parameters)
                size = float(np.linalg.norm(b - a))
                residuals[0] = (size - self.value) / self.u
                if jacobians is not None:
                    unit = np.concatenate([np.zeros(3), (b - a) / size / self.u])
                    for block, sign in zip(jacobians, (-1, 1), strict=True):
                        if block is not None:
                            block[:] = (sign * unit).reshape(block.shape)
                return True

        s = problem.sightings
        for rows, photo, key in problem.groups:
            if key >= 0:
                cost = Sight(s.uv[rows], s.root[rows], s.local[rows])
                self._add(cost, [self.lens, self.photos[photo], self.bodies[key]])
            else:
                for n in range(rows.start, rows.stop):
                    cost = Sight(s.uv[n : n + 1], s.root[n : n + 1], None)
                    self._add(cost, [self.lens, self.photos[photo], self.points[s.point[n]]])
        if length is not None:
            cost = Distance(length.value_mm, length.u_mm)
            self._add(cost, [self.bodies[length.start.body], self.bodies[length.end.body]])
        self.problem.set_parameter_block_constant(self.bodies[0])
        options = pyceres.SolverOptions()
        options.max_num_iterations = 100
        options.function_tolerance = options.gradient_tolerance = options.parameter_tolerance = 1e-14
        self.summary = pyceres.SolverSummary()
        pyceres.solve(options, self.problem, self.summary)
        self.covariance = pyceres.Covariance(pyceres.CovarianceOptions())
        blocks = [self.lens, self.bodies[1], self.bodies[-1], *self.points[:1]]
        assert self.covariance.compute([(b, b) for b in blocks], self.problem)

    def _add(self, cost: Any, blocks: list[Array]) -> None:
        self.costs.append(cost)  # Ceres does not keep Python objects alive
        self.problem.add_residual_block(cost, None, blocks)


def test_cost_and_covariance_agree_with_ceres() -> None:
    """Independent throughout: Ceres Solver minimises, OpenCV projects; rigid bodies, free points and a known length."""
    k = kitchen(8, focus_sd=0.0, sheet_scale_sd=0.0, print_scale=1.0)
    photos, bodies = [f"IMG_{i:04d}" for i in (1, 2, 3, 5, 7, 9)], [f"S{i:02d}" for i in range(1, 8)]
    problem, state = _problem(k, photos, bodies, ["W01a", "W02a"])
    state.lenses[0][1] = 0.0
    state = replace(state, body_scale=np.ones_like(state.body_scale))
    start, end = state.body_translation[0], state.body_translation[6]
    length = Length("tape", LengthPoint(0), LengthPoint(6), float(np.linalg.norm(end - start)) + 0.3, 0.4)
    fixed = {n for n in problem.names if n.startswith("print:") or n.endswith((":aspect", ":focus", ":sx", ":sy"))}
    fixed |= {f"body:S01:{c}" for c in ("wx", "wy", "wz", "tx", "ty", "tz")}
    problem = bundle.held(problem, frozenset(fixed))

    def only_length(problem: bundle.Problem, state: bundle.State) -> list[Any]:
        return [length.condition(problem, state)]

    solution = bundle.solve(problem, only_length, state, np.ones(len(problem.sightings)), tolerance=1e-12)
    assert solution.converged
    cov = bundle.covariance(problem, solution.normal)
    ceres = _Ceres(problem, state, length)
    assert solution.cost == pytest.approx(ceres.summary.final_cost, rel=1e-6)

    columns = problem.columns.lenses[0][[0, 2, 3, 4, 5, 6, 7, 8]]
    theirs = ceres.covariance.get_covariance_block(ceres.lens, ceres.lens)
    ours = cov.shared[np.ix_(columns, columns)]
    size = np.sqrt(np.outer(np.diag(theirs), np.diag(theirs)))
    assert np.allclose(ours / size, theirs / size, atol=0.01)
    assert np.allclose(solution.state.lenses[0][[0, 2, 3, 4, 5, 6, 7, 8]], ceres.lens, atol=1e-2 * np.sqrt(np.diag(theirs)))
    for b in (1, 6):
        columns = problem.columns.body[b, 3:6]
        theirs = ceres.covariance.get_covariance_block(ceres.bodies[b], ceres.bodies[b])[3:, 3:]
        assert np.allclose(np.diag(cov.shared)[columns], np.diag(theirs), rtol=0.01)
    # A free point: eliminated by us, an ordinary parameter for Ceres.
    theirs = ceres.covariance.get_covariance_block(ceres.points[0], ceres.points[0])
    assert np.allclose(cov.point_cov[0], theirs, rtol=0.01, atol=0.01 * float(np.trace(theirs)))


def test_sum_of_redundancies_is_the_degrees_of_freedom() -> None:
    """Trace of the fitted covariance equals the number of unknowns the sightings determine (Baarda)."""
    k = kitchen(8)
    problem, state = _problem(k, ["IMG_0001", "IMG_0002", "IMG_0003"], ["S01", "S02", "S03", "S04"], ["W01a"])
    fixed = {n for n in problem.names if n.startswith("print:") or n.endswith((":aspect", ":focus", ":sx", ":sy"))}
    fixed |= {f"body:S01:{c}" for c in ("wx", "wy", "wz", "tx", "ty", "tz")}
    # Nothing but sightings: what they cannot determine has to be held too.
    fixed |= {n for n in problem.names if n.startswith("lens:")}
    problem = bundle.held(problem, frozenset(fixed))
    solution = bundle.solve(problem, _no_conditions, state, np.ones(len(problem.sightings)))
    cov = bundle.covariance(problem, solution.normal)
    fitted = bundle.fitted_cov(problem, solution.linear, cov)
    unknowns = int(problem.free.sum()) + 3 * len(problem.schur_points)
    assert np.trace(fitted, axis1=1, axis2=2).sum() == pytest.approx(unknowns, rel=1e-6)


def test_parts_of_the_covariance_against_propagation_through_all_unknowns() -> None:
    """C J_g^T J_g C of a dense least squares of shared parameters and free points together, nothing eliminated; sightings and
    conditions on their own (law of propagation, GUM 5.2.2)."""
    k = kitchen(8)
    problem, state = _problem(
        k, ["IMG_0001", "IMG_0002", "IMG_0003", "IMG_0005"], ["S01", "S02", "S03", "S04"], ["W01a", "W02a"]
    )
    fixed = {n for n in problem.names if n.startswith("lens:") or n.endswith(":aspect")}
    fixed |= {f"body:S01:{c}" for c in ("wx", "wy", "wz", "tx", "ty", "tz")}
    problem = bundle.held(problem, frozenset(fixed))
    usual, many = np.array([[0.002, 3.0, 0.001, 1.0]]), len(problem.body_ids)
    length = Length("tape", LengthPoint(0), LengthPoint(3), 900.0, 0.4)
    priors = Priors(
        (state.lenses[0],), (None,), usual, np.full((1, 2), 0.002), np.full((many, 2), 2e-4), np.ones(many), (length,)
    )
    solution = bundle.solve(problem, priors, state, np.ones(len(problem.sightings)), tolerance=1e-8)
    found = influences_of(problem.names, solution.normal, bundle.covariance(problem, solution.normal))

    size, s = problem.size + 3 * len(problem.schur_points), problem.sightings
    rows = np.zeros((len(s), 2, size))
    for group, photo, key in problem.groups:
        columns, local = problem.group_columns(photo, key)
        rows[group][:, :, columns] = solution.linear.jac[group][:, :, local]
    for i in np.flatnonzero(s.body < 0):
        place = problem.size + 3 * problem.schur_index[s.point[i]]
        rows[i, :, place : place + 3] = solution.linear.jac[i, :, problem.layout.point]
    design = {"target sightings": [rows.reshape(-1, size)]}
    for condition in priors(problem, solution.state):
        row = np.zeros((len(condition.residual), size))
        row[:, condition.columns] = np.linalg.inv(np.linalg.cholesky(condition.cov)) @ condition.jac
        design.setdefault(condition.group, []).append(row)
    free = np.append(problem.free, np.ones(size - problem.size, dtype=bool))
    stacked = {group: np.vstack(of)[:, free] for group, of in design.items()}
    length_of = np.linalg.norm(np.vstack(list(stacked.values())), axis=0)
    inverse = np.linalg.pinv(np.vstack(list(stacked.values())) / length_of) / length_of[:, None]
    counts = np.cumsum([len(of) for of in stacked.values()])
    shared = np.flatnonzero(problem.free)
    sd = np.sqrt(np.diag(found.cov)[shared])
    assert set(found.parts) == set(stacked)
    for group, gain in zip(stacked, np.split(inverse[: len(shared)], counts[:-1], axis=1), strict=True):
        part = found.parts[group][np.ix_(shared, shared)]
        np.testing.assert_allclose(part / sd / sd[:, None], gain @ gain.T / sd / sd[:, None], atol=1e-6)
