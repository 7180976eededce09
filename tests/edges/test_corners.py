"""A wall's fit that knows where its corner is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.meeting_points import corners_of, meetings
from phototemplate.model import PlanePoints
from phototemplate.settings import EdgeSettings
from tests.edges.shape_data import LENGTH, Scene, hint, scene, wall

SETTINGS = EdgeSettings()


def seen_from(case: Scene, first_mm: float) -> PlanePoints:
    s = (case.points.xy_mm - case.move) @ case.turn[:, 0]
    names = ["xy_mm", "height_mm", "noise_cov_mm2", "shared_jac", "height_u_mm", "n_photos"]
    return replace(case.points, **{name: getattr(case.points, name)[s > first_mm] for name in names})


@pytest.mark.slow
@pytest.mark.parametrize("first_mm", [60.0, 250.0])
def test_known_corner_narrows_what_was_not_seen_and_still_covers(first_mm: float) -> None:
    """Walls with a bow of up to 10 mm and mud of up to 8 mm, seen from some distance before their corner onward."""
    z, narrower = [], []
    for seed in range(30):
        rng = np.random.default_rng([5, seed])
        case = scene(rng, wall(rng), step=16.0, ell=0.0, sd=0.1, shared=False, wrong=0.0)
        part = seen_from(case, first_mm)
        corners = case.true_points(np.array([0.0, LENGTH]))
        at = first_mm * np.array([0.0, 0.25, 0.6])
        error, u = case.errors(fit_segment(part, hint("profile"), SETTINGS, corners_mm=corners), at)
        _, blind_u = case.errors(fit_segment(part, hint("profile"), SETTINGS), at)
        z.append(error / u)
        narrower.append(blind_u[0] / u[0])
    assert np.median(narrower) > (1.5 if first_mm > 200.0 else 0.8)
    # prior and walls are not one and the same distribution; neither may the intervals be a matter of luck
    assert np.mean(np.abs(z) < 2) >= 0.88
    assert 0.5 < np.mean(np.square(z)) < 1.8


def test_corner_far_off_or_within_the_edge_is_not_its_own() -> None:
    rng = np.random.default_rng(3)
    case = scene(rng, wall(rng), step=16.0, ell=0.0, sd=0.1, shared=False, wrong=0.0)
    blind = fit_segment(case.points, hint("profile"), SETTINGS)
    stray = case.true_points(np.array([900.0, LENGTH + 4000.0]))
    same = fit_segment(case.points, hint("profile"), SETTINGS, corners_mm=stray)
    np.testing.assert_array_equal(same.offsets_mm, blind.offsets_mm)


def test_corners_are_where_lines_cross() -> None:
    rng = np.random.default_rng(4)
    along = scene(rng, shared=False, wrong=0.0)
    end = along.true_points(np.array([LENGTH]))[0]
    across = np.array([-along.turn[1, 0], along.turn[0, 0]])
    n = 20
    xy = end + np.linspace(60, 600, n)[:, None] * across
    other = replace(
        along.points, xy_mm=xy, height_mm=np.zeros(n), noise_cov_mm2=np.tile(np.eye(2) * 0.01, (n, 1, 1)),
        shared_jac=np.zeros((n, 2, along.points.shared_jac.shape[2])), height_u_mm=np.zeros(n), n_photos=np.ones(n, int),
    )  # fmt: skip
    in_line = replace(along.points, xy_mm=along.points.xy_mm + 2000.0 * along.turn[:, 0])
    points = {"a": along.points, "b": other, "c": in_line}
    found = corners_of(points, [*meetings(["a", "b"], closed=False), ("a", "c"), ("a", "missing")])
    assert sorted(found) == ["a", "b"]
    assert found["a"][0] == pytest.approx(end, abs=15.0)


def test_meetings_of_closed_and_open_loops() -> None:
    assert meetings(["a", "b", "c"], closed=True) == [("a", "b"), ("b", "c"), ("c", "a")]
    assert meetings(["a", "b", "c"], closed=False) == [("a", "b"), ("b", "c")]
    assert meetings(["a", "b"], closed=True) == [("a", "b")]
