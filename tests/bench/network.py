"""Bundle adjustment: the published survey network, and synthetic kitchens with known truth."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from phototemplate.network.adjustment import bundle
from phototemplate.numerics import rigid
from tests.bench import BenchResult
from tests.network import survey
from tests.network.synthetic import kitchen
from tests.network.test_adjust import bar_of, errors_and_cov, normalized_square
from tests.network.test_adjust import run as adjust_kitchen
from tests.network.test_survey import _point_cov, _s0


def _survey(result: BenchResult, folder: Path) -> None:
    network = survey.load(folder)
    rng = np.random.default_rng(0)
    state = network.state
    points = state.points + rng.normal(0, 2, state.points.shape)
    translation = state.photo_translation.copy()
    translation[1:] += rng.normal(0, 5, translation[1:].shape)
    state = replace(state, points=points, photo_translation=translation)
    wall, cpu = time.perf_counter(), time.process_time()
    solution = bundle.solve(network.problem, network.priors, state, np.ones(len(network.problem.sightings)), tolerance=1e-8)
    wall, cpu = (time.perf_counter() - wall) / solution.iterations, (time.process_time() - cpu) / solution.iterations
    cov = bundle.covariance(network.problem, solution.normal)
    redundancy, s0 = _s0(network, solution)
    pose = rigid.fit_rigid(solution.state.points, network.xyz_mm)
    rms = float(np.sqrt(np.mean((rigid.transform(pose, solution.state.points) - network.xyz_mm) ** 2)))
    free = survey.inner_constraint_cov(solution.state.points, _point_cov(network, cov))
    ratio = s0 * np.sqrt(np.diag(free)).reshape(-1, 3) / network.u_mm
    result.rows.append(
        {
            "case": "survey network", "iterations": solution.iterations, "s per iteration": wall,
            "processor s per iteration": cpu, "s0 mm": s0 * survey.SIGMA_MM, "redundancy": redundancy, "rms mm": rms,
            "u ratio (median)": float(np.median(ratio)),
        }
    )  # fmt: skip
    result.target("survey: coordinates", "rms below 0.005 mm", rms, rms < 0.005)
    result.target("survey: s0", "0.000405 mm within 3 %", s0 * survey.SIGMA_MM, abs(s0 * survey.SIGMA_MM / 0.000405 - 1) < 0.03)
    share = float(np.mean(np.abs(ratio - 1) < 0.1))
    result.target("survey: standard deviations", "within 10 %", f"{100 * share:.1f} % of them", share > 0.99)
    result.target("survey: time", "at most 0.2 s per iteration (processor)", cpu, cpu <= 0.2)


def run(quick: bool) -> BenchResult:
    """Survey network (where the reference photographs are at hand) and kitchens."""
    result = BenchResult("Network adjustment")
    folder = os.environ.get("PHOTOTEMPLATE_REFERENCE_PHOTOS")
    if folder:
        _survey(result, Path(folder) / "survey_network")
    cases = {
        "12 photos": {},
        "no EXIF, 2 % wrong, 8 photos": {"exif": False, "wrong_share": 0.02, "n_photos": 8},
        "two cameras, 6 photos": {"two_cameras": True, "n_photos": 6, "sigma_px": 0.2},
    }
    for name, case in cases.items():
        squares, degrees, seconds, worst, inside = 0.0, 0, [], 0.0, []
        for seed in range(3 if quick else 12):
            k = kitchen(500 + seed, **case)  # type: ignore[arg-type]
            start = time.process_time()
            network = adjust_kitchen(k, bar_of(k, float(np.random.default_rng(seed).normal(0, 0.1))))
            seconds.append(time.process_time() - start)
            error, cov = errors_and_cov(network, k)
            square, n = normalized_square(error, cov)
            squares, degrees = squares + square, degrees + n
            worst = max(worst, float(np.abs(error).max()))
            inside.append(float(np.mean(np.abs(error) < 2 * np.sqrt(np.diag(cov)))))
        variance = squares / degrees
        result.rows.append(
            {
                "case": f"kitchens, {name}", "processor s": float(np.mean(seconds)), "worst error mm": worst,
                "variance of normalized errors": variance, "inside U": float(np.mean(inside)),
            }
        )  # fmt: skip
        result.target(f"kitchens, {name}", "variance of normalized errors 0.9-1.1", variance, 0.9 < variance < 1.1)
    return result
