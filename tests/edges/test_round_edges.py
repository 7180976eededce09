"""Round tops and rounded arrises in exact pictures: three clicks, the fit, and the radius between top and face.

Every pixel is the mean of rays intersected with a round slab whose upper edge is a quarter of a torus, so that the pictures are
an outside reference for tracing, intersection and fit alike.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.shapes.evaluate import circle_of, frame_of_chord, offset_u
from phototemplate.model import EdgeHint, HeightPoint, PlanePoints, Segment, ShapeKind
from phototemplate.settings import EdgeSettings
from tests.edges.box_scene import BoxScene, Disc, View

SETTINGS = EdgeSettings()
RADIUS = 170.0
ALL_AROUND = {
    f"P{k}": View((560.0 * np.cos(a), 560.0 * np.sin(a), 620.0), (40.0 * np.cos(a), 40.0 * np.sin(a), 0.0))
    for k, a in enumerate(np.radians([-100.0, -20.0, 70.0, 160.0]))
}
CENTRE = (HeightPoint("S01", np.array([0.0, 0.0]), 0.0, 0.15, ""), HeightPoint("S02", np.array([-30.0, 40.0]), 0.0, 0.15, ""))


@lru_cache
def round_top(arris_mm: float) -> BoxScene:
    return BoxScene([], ALL_AROUND, CENTRE, discs=[Disc(RADIUS, -30.0, arris_mm)])


def measured(scene: BoxScene, hint: EdgeHint) -> tuple[PlanePoints, Segment, float]:
    """Points, fit and the largest U along it."""
    network = scene.network()
    plane = scene.plane(network, type_b_terms([hint], SETTINGS))
    points, _, findings = measure_edges(scene.gray, network, plane, [hint], SETTINGS)
    assert points, [f.code for f in findings]
    segment = fit_segment(points[0], hint, SETTINGS, plane.influences)
    s = np.linspace(0.0, frame_of_chord(segment.chord_mm).length_mm, 25)
    return points[0], segment, 2.0 * float(offset_u(segment, s, plane.influences.cov).max())


def clicks(degrees: list[float], off_mm: list[float]) -> np.ndarray:
    a = np.radians(degrees)
    return (RADIUS + np.array(off_mm))[:, None] * np.column_stack([np.cos(a), np.sin(a)])


@pytest.mark.parametrize(
    ("shape", "degrees"),
    [("circle", [10.0, 130.0, 250.0]), ("arc", [-170.0, -95.0, -10.0]), ("arc", [40.0, -100.0, -200.0])],
    ids=["whole", "half", "more than half"],
)
def test_three_clicks_on_a_round_top(shape: ShapeKind, degrees: list[float]) -> None:
    """Clicks 4 to 7 mm beside it: radius and centre to 0.2 mm, within what is stated."""
    hint = EdgeHint("top", "front", shape=shape, anchor="work", path=clicks(degrees, [5.0, -4.0, 7.0]))
    _, segment, _ = measured(round_top(0.0), hint)
    circle = circle_of(segment)
    assert circle.radius_mm == pytest.approx(RADIUS, abs=0.2)
    np.testing.assert_allclose(circle.center_mm, 0.0, atol=0.25)


@pytest.mark.parametrize("arris_mm", [0.0, 1.2])
def test_the_rounding_shows_in_photos_from_different_sides(arris_mm: float) -> None:
    """The outermost line to 0.4 mm and inside U whatever the rounding, and the rounding's radius inside its own U."""
    hint = EdgeHint("top", "front", shape="circle", anchor="work", path=clicks([10.0, 130.0, 250.0], [3.0, -3.0, 4.0]))
    points, segment, largest_u = measured(round_top(arris_mm), hint)
    assert circle_of(segment).radius_mm == pytest.approx(RADIUS, abs=min(0.4, largest_u))
    assert points.arris_mm is not None
    radius, u = points.arris_mm
    assert abs(radius - arris_mm) < 2.0 * u + 0.1
