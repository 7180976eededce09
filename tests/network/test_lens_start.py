"""Lens starts and priors: EXIF by the diagonal, sheets alone, wrong EXIF, profiles."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from phototemplate.model import PhotoMeta
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.orientation.lens_start import focal_from_exif, focal_from_sheets
from phototemplate.network.orientation.views import views_of
from tests.network.synthetic import kitchen
from tests.network.test_adjust import bar_of, codes, errors_and_cov, normalized_square


def test_focal_length_from_exif_by_the_diagonal() -> None:
    """50 mm on 36 x 24 mm: the diagonal of the picture in px over 43.27 mm (by hand)."""
    meta = PhotoMeta("a", Path("a.jpg"), (6000, 4000), focal35_mm=50.0)
    assert focal_from_exif(meta) == pytest.approx(50 / 36 * 6000, rel=1e-6)
    phone = replace(meta, size_px=(4032, 3024), focal35_mm=26.0)
    assert focal_from_exif(phone) == pytest.approx(26 * 5040 / 43.2666, rel=1e-5)
    assert focal_from_exif(replace(meta, focal35_mm=None)) is None


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sheets_alone_give_the_focal_length(seed: int) -> None:
    k = kitchen(seed, n_photos=6)
    views = views_of(list(k.sightings.values()), k.targets)
    flat = [(v.local, v.uv) for own in views.values() for v in own.values() if v.flat]
    found = focal_from_sheets(flat, k.photos[0].size_px)
    assert found is not None
    true = k.truth.cameras["phone0"].params[0]
    assert abs(np.log(found[0] / true)) < max(3 * found[1], 0.1)


@pytest.mark.slow
def test_nonsense_in_exif_is_noticed_and_does_no_harm() -> None:
    k = kitchen(4, n_photos=8, strips=2)
    zoomed = [replace(p, focal35_mm=(p.focal35_mm or 0) * 1.8) for p in k.photos]
    network = adjust(k.sightings, zoomed, k.targets, [bar_of(k)])
    assert "focal-contradicts" in codes(network)
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.3


def test_profile_is_a_prior_and_a_wrong_one_is_said() -> None:
    k = kitchen(5, n_photos=7, strips=2)
    true = k.truth.cameras["phone0"]
    sigma = np.array([0.002 * true.params[0], 2e-5, 5, 5, 0.01, 0.03, 3e-4, 3e-4, 0.05])
    rng = np.random.default_rng(0)
    good = replace(true, params=true.params + rng.normal(0, sigma), cov=np.diag(sigma**2), source="profile")
    network = adjust(k.sightings, k.photos, k.targets, [bar_of(k)], {"phone0": good})
    assert "lens-differs" not in codes(network)
    assert np.all(np.diag(network.cameras["phone0"].cov) <= sigma**2 * 1.0001)
    wrong = replace(good, params=good.params * np.array([1.03, 1, 1, 1, 1, 1, 1, 1, 1]))
    network = adjust(k.sightings, k.photos, k.targets, [bar_of(k)], {"phone0": wrong})
    assert "lens-differs" in codes(network)


def test_two_cameras_in_one_job_keep_their_own_lenses() -> None:
    k = kitchen(6, two_cameras=True, n_photos=8, strips=2)
    network = adjust(k.sightings, k.photos, k.targets, [bar_of(k)])
    for camera_id, camera in network.cameras.items():
        true = k.truth.cameras[camera_id].params[0]
        u = float(np.sqrt(camera.cov[0, 0]))
        assert abs(camera.params[0] - true) < 4 * np.hypot(u, 0.003 * true)  # focus drift shares in f
    assert set(network.cameras) == {"phone0", "phone1"}
