"""The top view against a chequered floor painted into synthetic photos."""

from __future__ import annotations

import warnings
from collections.abc import Mapping

import numpy as np
import pytest

from phototemplate.errors import MeasureError
from phototemplate.model import Array, Network, WorkPlane
from phototemplate.network import rectify, workplane
from phototemplate.network.projection import rays
from tests.network.synthetic import Kitchen, kitchen

_FIELD_MM = 100.0

Scene = tuple[Kitchen, WorkPlane, Mapping[str, rectify.RgbImage]]


@pytest.fixture(scope="module")
def scene() -> Scene:
    """A kitchen, its plane, and its photos as they show the painted floor (painted once: the slow part)."""
    k = kitchen(9, size_px=(400, 300), n_photos=6)
    plane = workplane.fit_work_plane(k.truth, k.cabinets, 0.3)
    return k, plane, {p: _paint(k.truth, plane, p) for p in k.truth.photos}


def _paint(network: Network, plane: WorkPlane, photo_id: str) -> rectify.RgbImage:
    """A photo of the work plane painted with 100 mm fields: red by x, green by y."""
    columns, rows = network.cameras[network.photos[photo_id].camera_id].size_px
    uv = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2).astype(float)
    eyes, way = rays(network, photo_id, uv)
    eye_work = plane.rotation @ eyes[0] + plane.translation_mm
    way_work = way @ plane.rotation.T
    reach = -eye_work[2] / np.minimum(way_work[:, 2], -1e-6)
    xy = eye_work[:2] + reach[:, None] * way_work[:, :2]
    rgb = np.zeros((len(uv), 3), dtype=np.uint8)
    rgb[:, :2] = _colour(xy)
    rgb[way_work[:, 2] > -1e-3] = 0
    return rgb.reshape(rows, columns, 3)


def _colour(xy: Array) -> Array:
    return np.clip(128 + 100 * np.sin(2 * np.pi * xy / (4 * _FIELD_MM)), 0, 255)


def test_every_pixel_shows_its_place(scene: Scene) -> None:
    k, plane, photos = scene
    asked: list[str] = []

    def rgb_of(photo_id: str) -> rectify.RgbImage:
        asked.append(photo_id)
        return photos[photo_id]

    view = rectify.rectify(k.truth, plane, rgb_of, px_per_mm=0.25)
    rows, columns = np.nonzero(view.seen)
    assert view.seen.mean() > 0.5
    xy = np.column_stack([view.origin_mm[0] + columns / view.px_per_mm, view.origin_mm[1] - rows / view.px_per_mm])
    error = np.abs(view.rgb[rows, columns, :2] - _colour(xy))
    assert np.median(error) < 3
    assert np.quantile(error, 0.95) < 12
    assert len(asked) == len(set(asked)), "each photo is read once"
    assert sum(view.best_photo.values()) == pytest.approx(1.0)


def test_reduced_pictures_give_the_same_view(scene: Scene) -> None:
    k, plane, photos = scene
    full = rectify.rectify(k.truth, plane, photos.__getitem__, px_per_mm=0.1)
    small = {p: rgb.reshape(150, 2, 200, 2, 3).mean(axis=(1, 3)).astype(np.uint8) for p, rgb in photos.items()}
    half = rectify.rectify(k.truth, plane, small.__getitem__, px_per_mm=0.1)
    both = full.seen & half.seen
    assert np.median(np.abs(full.rgb[both].astype(int) - half.rgb[both])) <= 2


def test_bounds_nobody_sees_are_an_error(scene: Scene) -> None:
    k, plane, photos = scene
    with pytest.raises(MeasureError, match="bounds"):
        rectify.rectify(k.truth, plane, photos.__getitem__, (90000.0, 90000.0, 90500.0, 90500.0))


def test_places_beside_and_behind_a_camera_are_not_asked(scene: Scene) -> None:
    """On the plane through the eye a projection has no bounds (central projection, any textbook): no warning, no score."""
    k, plane, _ = scene
    name, photo = next(iter(k.truth.photos.items()))
    axis, up = photo.rotation[2], plane.rotation[2]
    eye, origin = -photo.rotation.T @ photo.translation_mm, -plane.rotation.T @ plane.translation_mm
    along = np.cross(axis, up)
    depths = (-500.0, -1e-9, 0.0, 1e-200, 1e-9, 1e-3)
    across = [np.linalg.solve([axis, up, along], [axis @ eye + d, up @ origin, along @ eye]) for d in depths]
    world = np.concatenate([p + np.linspace(-4000, 4000, 9)[:, None] * along for p in across])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert not rectify._score(k.truth, plane, name, world)[0].any()
