"""A published close-range network, adjusted again: applied-geodesy/bundle-adjustment, example JAICOV (real measurements).

Published summary: 19,945 observations, 1,147 unknowns with 6 datum conditions, redundancy 18,804, s0 0.000405 mm.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from phototemplate.model import Array
from phototemplate.network.adjustment import bundle
from phototemplate.numerics import rigid
from tests.network import survey


@pytest.fixture(scope="module")
def network(reference_photos: Path) -> survey.Survey:
    return survey.load(reference_photos / "survey_network")


@pytest.fixture(scope="module")
def solved(network: survey.Survey) -> tuple[bundle.Solution, bundle.Covariance]:
    """From a start millimetres off."""
    rng = np.random.default_rng(0)
    state = network.state
    points = state.points + rng.normal(0, 2, state.points.shape)
    translation = state.photo_translation.copy()
    translation[1:] += rng.normal(0, 5, translation[1:].shape)
    state = replace(state, points=points, photo_translation=translation)
    solution = bundle.solve(network.problem, network.priors, state, np.ones(len(network.problem.sightings)), tolerance=1e-8)
    assert solution.converged
    return solution, bundle.covariance(network.problem, solution.normal)


def _s0(network: survey.Survey, solution: bundle.Solution) -> tuple[int, float]:
    problem = network.problem
    unknowns = int(problem.free.sum()) + 3 * len(problem.schur_points)
    redundancy = 2 * len(problem.sightings) + 1 - unknowns
    return redundancy, float(np.sqrt(2 * solution.cost / redundancy))


def test_published_parameters_give_the_published_residuals(network: survey.Survey) -> None:
    """rms of the published residuals of the used images: 0.000394 mm (from the file's columns vx, vy)."""
    residual = bundle.linearise(network.problem, network.state, jacobian=False).residual
    assert float(np.sqrt(np.mean(residual**2))) == pytest.approx(0.000394, abs=2e-6)


def test_sigma0_and_redundancy(network: survey.Survey, solved: tuple[bundle.Solution, bundle.Covariance]) -> None:
    redundancy, s0 = _s0(network, solved[0])
    assert redundancy == 18804
    assert s0 * survey.SIGMA_MM == pytest.approx(survey.PUBLISHED_S0, rel=0.03)


def test_coordinates(network: survey.Survey, solved: tuple[bundle.Solution, bundle.Covariance]) -> None:
    found = solved[0].state.points
    pose = rigid.fit_rigid(found, network.xyz_mm)
    assert float(np.sqrt(np.mean((rigid.transform(pose, found) - network.xyz_mm) ** 2))) < 0.005


def _point_cov(network: survey.Survey, cov: bundle.Covariance) -> Array:
    """Joint covariance of all points: eliminated ones and those among the shared parameters."""
    problem = network.problem
    m = len(problem.point_ids)
    jac = np.zeros((m, 3, problem.size))
    noise = np.zeros((3 * m, 3 * m))
    for i in range(m):
        s = problem.schur_index[i]
        if s >= 0:
            jac[i] = -cov.gain[:, s].T
            noise[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = cov.point_noise[s]
        else:
            jac[i][np.arange(3), problem.columns.point[i]] = 1.0
    flat = jac.reshape(3 * m, -1)
    return np.asarray(noise + flat @ cov.shared @ flat.T)


def test_standard_deviations(network: survey.Survey, solved: tuple[bundle.Solution, bundle.Covariance]) -> None:
    """Free network: datum by inner constraints, scaled by s0 as published."""
    _, s0 = _s0(network, solved[0])
    free = survey.inner_constraint_cov(solved[0].state.points, _point_cov(network, solved[1]))
    ratio = s0 * np.sqrt(np.diag(free)).reshape(-1, 3) / network.u_mm
    assert np.allclose(np.median(ratio, axis=0), 1.0, atol=0.01)
    assert float(np.mean(np.abs(ratio - 1) < 0.1)) > 0.99  # published to 0.0001 mm, so 2-4 % each
    lens = s0 * np.sqrt(np.diag(solved[1].shared))[network.problem.columns.lenses[0]]
    published = {
        0: 2.51e-4, 2: 3.44e-4, 3: 3.26e-4, 4: 2.98e-8 * survey.CK**2, 5: 7.66e-11 * survey.CK**4,
        6: 1.19e-7 * survey.CK, 7: 1.04e-7 * survey.CK,
    }  # fmt: skip
    for k, value in published.items():
        assert lens[k] == pytest.approx(value, rel=0.1)


def test_exact_split_of_free_points(network: survey.Survey, solved: tuple[bundle.Solution, bundle.Covariance]) -> None:
    """noise + J C J^T is the covariance the full system gives."""
    _, cov = solved
    full = _point_cov(network, cov)
    m = int(network.problem.schur_points[5])
    assert np.allclose(full[3 * m : 3 * m + 3, 3 * m : 3 * m + 3], cov.point_cov[5], rtol=1e-9)
