"""The parts of tracing, each against something outside: Cramer-Rao bound, closed forms, finite differences."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from scipy.special import ndtr

from phototemplate.edges.line_map.association import best_association
from phototemplate.edges.line_map.joint_steps import JointSteps
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.hints import hint_path
from phototemplate.edges.tracing.arris_offset import Rounding
from phototemplate.edges.tracing.expected_height import Levels, expected_levels
from phototemplate.edges.tracing.grey_profiles import Band, Steps
from phototemplate.edges.tracing.hint_path import Path, Stations
from phototemplate.edges.tracing.space_intersection import intersect
from phototemplate.edges.tracing.step_position import StepFit, fit_steps
from phototemplate.model import Array, EdgeHint, HeightPoint
from phototemplate.numerics.rigid import exp_rotation
from phototemplate.settings import EdgeSettings
from tests.edges.box_scene import kitchen, srgb_grey, srgb_light


@pytest.mark.parametrize("blur", [0.6, 0.8, 1.1])
def test_step_position_reaches_the_cramer_rao_bound(blur: float) -> None:
    """Bound for one unknown position in white noise, for pixels that sample the blurred step (S. M. Kay, Fundamentals of
    Statistical Signal Processing I, 1993, eq. 3.14): 1 / sum((dy/dx0)^2) noise^2. Ours estimates both levels too."""
    rng = np.random.default_rng(3)
    count, noise, contrast = 4000, 1.5, 60.0
    x = np.arange(-10.0, 11.0)
    true = rng.uniform(-0.5, 0.5, count)
    clean = blurred_step(x - true[:, None], blur, 80.0, 80.0 + contrast)
    grey = clean + rng.normal(0, noise, clean.shape)
    fit = fit_steps(grey, x, np.zeros(count), noise, 2.5, blur)
    assert fit.good.mean() > 0.999
    error = fit.position_px - true
    slope = (blurred_step(x - true[:, None] + 0.01, blur, 80.0, 80.0 + contrast) - clean) / 0.01
    bound = noise / np.sqrt((slope**2).sum(axis=1).mean())
    assert abs(error.mean()) < 4 * error.std() / np.sqrt(count)
    assert error.std() < 1.5 * bound
    assert 0.85 < np.sqrt(np.mean((error / fit.u_px) ** 2)) < 1.15


def blurred_step(x_px: Array, blur_px: float, dark: float, bright: float) -> Array:
    """Grey values of a step that a lens blurred before the camera applied its tone curve (IEC 61966-2-1)."""
    low, high = srgb_light(np.array([dark, bright]))
    return srgb_grey(low + (high - low) * ndtr(x_px / blur_px))


def test_step_of_strong_contrast_is_not_drawn_into_its_dark_side() -> None:
    """A step in light of 16 : 1. Half way between its grey values lies where the light is 0.32 of the step (sRGB of 1/16 and 1
    by IEC 61966-2-1), that is 0.46 blurs inside the dark side; so does a step fitted to grey values, ours does not."""
    rng = np.random.default_rng(5)
    x = np.arange(-10.0, 11.0)
    true = rng.uniform(-0.5, 0.5, 500)
    dark = float(srgb_grey(np.array(0.9 / 16)))
    bright = float(srgb_grey(np.array(0.9)))
    grey = blurred_step(x - true[:, None], 0.8, dark, bright) + rng.normal(0, 1.0, (500, len(x)))
    fit = fit_steps(grey, x, np.zeros(500), 1.0, 2.5, 0.8)
    assert np.mean(fit.position_px - true) == pytest.approx(0.0, abs=0.01)
    middle = [np.interp(0.5 * (dark + bright), row, x) for row in blurred_step(x - true[:, None], 0.8, dark, bright)]
    assert np.mean(np.array(middle) - true) < -0.2


@pytest.mark.parametrize("blur", [0.5, 1.1])
@pytest.mark.parametrize("levels", [(40.0, 130.0), (225.0, 190.0)])
def test_blur_is_found_from_the_profiles(blur: float, levels: tuple[float, float]) -> None:
    rng = np.random.default_rng(4)
    x = np.arange(-10.0, 11.0)
    true = rng.uniform(-0.5, 0.5, 200)
    grey = blurred_step(x - true[:, None], blur, *levels) + rng.normal(0, 1.0, (200, len(x)))
    fit = fit_steps(grey, x, np.zeros(200), 1.0, 2.5)
    assert fit.blur_px == pytest.approx(blur, abs=0.2)


@pytest.mark.parametrize("blur", [None, 0.8])
def test_a_step_beside_does_not_pull(blur: float | None) -> None:
    """Two steps of known places three pixels apart, summed in light as a lens sums them: the place of the weaker one and the
    blur come out as if it were alone, and do not where the other one is left out of the model."""
    rng = np.random.default_rng(6)
    x = np.arange(-10.0, 11.0)
    true = rng.uniform(-0.5, 0.5, 300)
    light = 0.1 + 0.15 * ndtr((x - true[:, None]) / 0.8) + 0.5 * ndtr((x - true[:, None] - 3.0) / 0.8)
    grey = srgb_grey(light) + rng.normal(0, 1.0, light.shape)
    beside = np.stack([np.full(300, np.nan), true + 3.0], axis=1)
    fit = fit_steps(grey, x, np.zeros(300), 1.0, 2.5, blur, beside)
    assert fit.blur_px == pytest.approx(0.8, abs=0.16)
    assert np.mean(fit.position_px - true) == pytest.approx(0.0, abs=0.03)
    assert 0.8 < np.sqrt(np.mean(((fit.position_px - true) / fit.u_px) ** 2)) < 1.25
    alone = fit_steps(grey, x, np.zeros(300), 1.0, 2.5, blur)
    assert np.std(alone.position_px - true) > 4.0 * np.std(fit.position_px - true)


def test_photos_that_show_a_glue_line_are_not_joined_with_those_that_show_the_edge() -> None:
    """An edge at the level of the sheets, and a glue line 1.2 mm inside it that shows more clearly where the photo looks from
    inside. A line one millimetre below passes through the edge in two photos and through the glue line in the others; that of
    the edge passes through steps of all."""
    along = np.arange(0.0, 480.0, 5.0)
    count = len(along)
    stations = Stations(along, np.column_stack([along, np.zeros(count)]), np.tile([1.0, 0.0], (count, 1)))
    level = Levels(along, np.zeros((1, count)), np.array([0.5]), np.array([0.001]), np.zeros((0, 2)), np.zeros(0))
    bands, steps = [], []
    for lean in (0.8, 0.55, -0.45, -0.65):
        place = [0.0, -1.2]  # outward; at level 0 a line appears where it lies
        bands.append(Band(
            "", np.zeros((count, 2)), np.zeros((count, 2)), np.full(count, 2.0), np.full(count, lean), np.zeros(1),
            np.zeros((count, 1)), np.zeros((count, 1), dtype=bool), 1.0,
        ))
        station = np.repeat(np.arange(count), 2)
        surprise = np.tile([0.9, 0.3] if lean > 0 else [0.8, 0.9], count)
        steps.append(Steps(station, 2.0 * np.tile(place, count), np.ones(2 * count), surprise))
    joint = JointSteps.of(stations, bands, steps)
    start = np.full(count, -0.66), np.full(count, -0.98)
    offset, rise = best_association(joint, *start, np.zeros(count), level)
    np.testing.assert_allclose(offset, 0.0, atol=0.25)
    np.testing.assert_allclose(rise, 0.0, atol=0.35)


def test_what_a_rounding_may_be_is_one_distribution() -> None:
    """Probabilities of the parts are those of all that may be, whatever the light says; a claimed radius is the only one, and
    by light of 1000 : 1 two materials meet."""
    for ratio in (float("nan"), 1.0, 2.5, 20.0, 1000.0):
        for kind in ("front", "end"):
            parts = Rounding.of(1.0, ratio, kind, None).parts
            assert 0.87 < sum(p.probability for p in parts) <= 1.0 + 1e-9  # a large rounding is of one material
            assert all(p.two == 0.0 for p in parts if p.radius.mm > 1.5)
    assert Rounding.of(1.0, 1000.0, "end", None).two > 0.99
    claimed = Rounding.of(-1.0, 2.5, "front", (2.0, 0.1)).parts
    assert {p.radius.mm for p in claimed} == {2.0}


def test_path_stations_on_a_line_and_on_a_circle() -> None:
    line = Path.through(np.array([[0.0, 0.0], [300.0, 400.0]]), shape="line").stations(5.0, 6.0)
    assert line.tangent == pytest.approx(np.tile([0.6, 0.8], (len(line), 1)))
    assert line.along_mm[0] == pytest.approx(6.0 + 2.5, abs=0.1)
    angle = np.linspace(0, np.pi / 2, 9)
    circle = Path.through(300 * np.stack([np.cos(angle), np.sin(angle)], axis=1), shape="profile").stations(5.0)
    assert np.linalg.norm(circle.xy_mm, axis=1) == pytest.approx(300.0, abs=0.2)
    # anticlockwise, so the left normal points to the centre
    assert np.einsum("ni,ni->n", circle.normal, circle.xy_mm) / 300 == pytest.approx(-1.0, abs=0.01)
    assert len(circle) == pytest.approx(150 * np.pi / 5, abs=1)


def test_path_of_rough_clicks_on_a_straight_edge_is_their_line() -> None:
    clicks = np.array([[0.0, 1.0], [500.0, -1.0], [1000.0, 1.0]])
    path = Path.through(clicks, shape="line").stations(10.0)
    assert path.tangent[0] == pytest.approx([1.0, 0.0], abs=1e-3)
    with pytest.raises(ValueError, match="two different"):
        Path.through(np.array([[1.0, 1.0], [1.0, 1.0]]), shape="line")


def test_hint_in_a_photo_comes_back_to_the_work_plane() -> None:
    scene = kitchen()
    network = scene.network()
    look = Scene(scene.gray, network, scene.plane(network, ()), EdgeSettings())
    places = np.array([[30.0, 10.0, -3.0], [390.0, -4.0, -3.0]])
    pixels = look.see("P2", places).uv_px
    hint = EdgeHint("e", "front", anchor="photo", anchor_id="P2", path=pixels, height_mm=-3.0)
    assert hint_path(look, hint) == pytest.approx(places[:, :2], abs=1e-6)
    assert hint_path(look, replace(hint, anchor_id="none")) is None
    sky = replace(hint, path=np.array([[100.0, -4000.0], [200.0, -4000.0]]))
    assert hint_path(look, sky) is None


def test_sensitivity_of_a_fixed_point_by_differences() -> None:
    """d(uv)/d(influence) for a point held fixed in the work frame, camera and work plane both moving."""
    scene = kitchen()
    network = scene.network()
    plane = scene.plane(network, ())
    rng = np.random.default_rng(1)
    plane = replace(plane, shared_jac=rng.normal(0, 1e-3, plane.shared_jac.shape), translation_mm=np.array([3.0, -2.0, 1.0]))
    look = Scene(scene.gray, network, plane, EdgeSettings())
    xyz = np.array([[120.0, 30.0, 0.0], [300.0, 200.0, -4.0]])
    row = np.array([[0.6, 0.8], [-0.8, 0.6]])
    analytic = look.sensitivity("P1", xyz, row)
    for name in ("photo:P1:wy", "photo:P1:tz", "photo:P3:tx"):
        k = network.influences.names.index(name)
        values = []
        for step in (-1e-3, 1e-3):
            photo_id, part = name.split(":")[1:]
            pose, delta = network.photos[photo_id], np.zeros(6)
            delta[["wx", "wy", "wz", "tx", "ty", "tz"].index(part)] = step
            pose = replace(
                pose, rotation=exp_rotation(delta[:3]) @ pose.rotation, translation_mm=pose.translation_mm + delta[3:]
            )
            move = plane.shared_jac[:, k] * step
            there = replace(
                plane, rotation=exp_rotation(move[:3]) @ plane.rotation, translation_mm=plane.translation_mm + move[3:]
            )
            other = Scene(scene.gray, replace(network, photos={**network.photos, photo_id: pose}), there, EdgeSettings())
            values.append((row * other.see("P1", xyz).uv_px).sum(axis=1))
        assert analytic[:, k] == pytest.approx((values[1] - values[0]) / 2e-3, rel=1e-3, abs=1e-4)


def test_levels_follow_the_cabinets() -> None:
    scene = kitchen(low_mm=4.0)
    network = scene.network()
    stations = Path.through(np.array([[0.0, 0.0], [420.0, 0.0]]), shape="line").stations(5.0)
    hint = EdgeHint("front", "front")
    levels = expected_levels(scene.plane(network, ()), stations, hint, -1.0, 750.0)
    assert len(levels.joints_mm) == 1
    assert 140.0 <= levels.joints_mm[0] <= 240.0
    assert levels.height_mm[0] == pytest.approx(0.0, abs=0.3)
    assert levels.height_mm[-1] == pytest.approx(-4.0, abs=0.4)
    # a height in the hint overrules the sheets; without sheets the plane itself is the guess, and a poor one
    given = expected_levels(scene.plane(network, ()), stations, replace(hint, height_mm=-7.0), -1.0, 750.0)
    assert given.height_mm == pytest.approx(-7.0)
    bare = expected_levels(replace(scene.plane(network, ()), heights=()), stations, hint, -1.0, 750.0)
    assert bare.height_mm == pytest.approx(0.0)
    assert bare.u_mm[0] > levels.u_mm[0]


def test_tilted_cabinet_is_continued_to_its_edge() -> None:
    places = [(50.0, 60.0), (350.0, 60.0), (200.0, 200.0)]
    sheets = tuple(HeightPoint(f"S{k}", np.array(p), 0.004 * p[0], 0.05, "one") for k, p in enumerate(places))
    scene = kitchen()
    plane = replace(scene.plane(scene.network(), ()), heights=sheets)
    stations = Path.through(np.array([[0.0, 0.0], [420.0, 0.0]]), shape="line").stations(5.0)
    levels = expected_levels(plane, stations, EdgeHint("front", "front"), -1.0, 750.0)
    assert levels.height_mm == pytest.approx(0.004 * stations.xy_mm[:, 0], abs=0.3)


def test_progress_and_order_of_results() -> None:
    scene = kitchen()
    network = scene.network()
    hints = [EdgeHint("lost", "wall", source="strip"), EdgeHint("gone", "end", source="contact", targets=("S01",))]
    settings = EdgeSettings()
    seen: list[float] = []
    plane = scene.plane(network, type_b_terms(hints, settings))
    points, traces, findings = measure_edges(scene.gray, network, plane, hints, settings, lambda _, share: seen.append(share))
    assert points == ()
    assert traces == ()
    assert [f.where for f in findings if f.code == "edge-not-found"] == ["lost", "gone"]
    assert seen[0] == 0.0
    assert seen[-1] == 1.0
    assert seen == sorted(seen)


def test_a_photo_that_shows_few_stations_measures_no_influence_that_moves_all_photos_alike() -> None:
    """Whatever moves all pictures as a move of the edge would (the frame of a network that stands free) can be told from it by
    no photo: the edge goes with it by 1 mm per mm, and its place does not hang on how large that may be."""
    rng = np.random.default_rng(5)
    x = np.linspace(-1.0, 1.0, 10)
    along = np.arange(10.0) * 2.0
    stations = Stations(along, np.column_stack([along, np.zeros(10)]), np.tile([1.0, 0.0], (10, 1)))
    levels = Levels(along, np.zeros((1, 10)), np.array([0.3]), np.array([0.002]), np.zeros((0, 2)), np.zeros(0))
    nothing = np.zeros((10, 2))
    bands, fits, open_ = [], [], []
    for photo, lean in enumerate(np.linspace(-0.9, 0.9, 12)):
        scale = (0.8 + 0.03 * photo) / (1.0 + 0.02 * lean * x)
        own = rng.normal(0.0, 0.1) + rng.normal(0.0, 0.05) * x
        position = scale * 0.4 + own + rng.normal(0.0, 0.02, 10)
        bands.append(Band(str(photo), nothing, nothing, scale, np.full(10, lean), np.arange(-5.0, 6.0), np.zeros((10, 11)),
                          np.zeros((10, 11), dtype=bool), 1.0))  # fmt: skip
        fits.append(StepFit(position, np.full(10, 0.05), np.full(10, 100.0), 0.6, np.ones(10, dtype=bool)))
        open_.append(np.isin(np.arange(10), [3, 4, 6]) if photo == 4 else np.ones(10, dtype=bool))
    scales = {b.photo_id: b.scale_px_per_mm for b in bands}
    offsets = []
    for frame_u_mm in (0.1, 3.0):
        plane = SimpleNamespace(influences=SimpleNamespace(size=1, cov=np.array([[frame_u_mm**2]])))

        def sensitivity(photo_id: str, xyz: Array, _: Array) -> Array:
            return scales[photo_id][np.round(xyz[:, 0] / 2.0).astype(int), None]

        scene = SimpleNamespace(settings=EdgeSettings(), plane=plane, sensitivity=sensitivity, column={})
        solved = intersect(cast(Scene, scene), stations, np.zeros(10), levels, bands, fits, open_, "", Rounding())
        assert np.abs(solved.shared_jac + 1.0).max() < 1e-3
        offsets.append(solved.offset_mm)
    assert np.abs(offsets[1] - offsets[0]).max() < 0.005
    assert abs(offsets[1].mean() - 0.4) < 0.15
