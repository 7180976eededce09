"""Photos as they come: turned by software, ultra-wide beside normal, no Exif data; and what one more photo would gain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phototemplate.model import Network, Sightings
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import Bar, LengthEnd
from phototemplate.network.calibration.photo_gain import best_photo, gain_of_photo, prior_shares
from phototemplate.network.further_photo import FurtherPhotos
from phototemplate.network.projection import bend
from phototemplate.numerics import lens
from tests.network.phones import Phone
from tests.network.synthetic import Kitchen, kitchen
from tests.network.test_adjust import errors_and_cov, normalized_square


def _bar(k: Kitchen) -> list[Bar]:
    return [Bar("bar", LengthEnd("B01"), LengthEnd("B02"), k.bar_mm, 0.05, 20.0)]


def _worst(k: Kitchen, network: Network) -> float:
    """Largest error, in mm, of the distances between sheet centres."""
    ids = [t for t in network.bodies if t.startswith("S")]
    got = np.array([network.bodies[t].translation_mm for t in ids])
    true = np.array([k.truth.bodies[t].translation_mm for t in ids])
    apart = [np.linalg.norm(a[:, None] - a[None], axis=2) for a in (got, true)]
    return float(np.abs(apart[0] - apart[1]).max())


def _turn(s: Sightings, size: tuple[int, int]) -> Sightings:
    """Half a turn, as software does it to a phone held the other way up."""
    return replace(s, uv_px=np.array(size) - 1 - s.uv_px)


@pytest.mark.slow
@pytest.mark.parametrize("exif", [True, False])
def test_half_of_the_photos_turned_by_software(exif: bool) -> None:
    """The principal point is 16 px off the middle on average; taken for one lens, sheets end up 10 mm off and more."""
    k = kitchen(4, exif=exif)
    seen = {p: _turn(s, (4032, 3024)) if i % 2 else s for i, (p, s) in enumerate(k.sightings.items())}
    network = adjust(seen, k.photos, k.targets, _bar(k))
    plain = adjust(k.sightings, k.photos, k.targets, _bar(k))
    assert len(network.photos) == len(k.photos)
    assert _worst(k, network) < max(2.0 * _worst(k, plain), 1.5)
    f = [c.params[0] for c in network.cameras.values()]
    assert len(f) <= 2, "those turned are a second camera, or what their exposures do says the same"
    assert np.ptp(f) < 1.0, "one lens"
    assert len(plain.cameras) == 1, "photos nobody turned keep one principal point"


def _ultra_wide(k: Kitchen, every: int = 3) -> tuple[Kitchen, np.ndarray]:
    """Every third photo taken again with a fish-eye of 120 degrees across, from the same place."""
    size = (4032, 3024)
    params = lens.start_params("fisheye", 0.46 * size[0], size)
    params[2:] += [14.0, -9.0, -0.04, 0.006, -0.003, 0.0005]
    rng = np.random.default_rng(9)
    sightings, metas = dict(k.sightings), list(k.photos)
    for i in range(0, len(metas), every):
        photo = k.truth.photos[metas[i].photo_id]
        ids: list[str] = []
        numbers: list[int] = []
        uv = []
        for name, target in k.targets.items():
            if target.rigid:
                body = k.truth.bodies[name]
                xyz, normal = bend(body, target.points_mm) @ body.rotation.T + body.translation_mm, body.rotation[:, 2]
            else:
                xyz, normal = np.array([k.points_mm[name, n] for n in range(len(target.points_mm))]), np.array([0, -1.0, 0])
            cam = xyz @ photo.rotation.T + photo.translation_mm
            facing = -(cam @ (photo.rotation @ normal)) / np.linalg.norm(cam, axis=1)
            p = lens.project("fisheye", params, cam)[0]
            good = (cam[:, 2] > 100) & (facing > 0.25) & (p > 15).all(axis=1) & (p < np.array(size) - 16).all(axis=1)
            ids += [name] * int(good.sum())
            numbers += np.nonzero(good)[0].tolist()
            uv.append(p[good])
        places = np.concatenate(uv)
        sightings[photo.photo_id] = Sightings(
            photo.photo_id, tuple(ids), np.array(numbers), places + rng.normal(0, 0.1, places.shape),
            np.tile(0.01 * np.eye(2), (len(places), 1, 1)),
        )  # fmt: skip
        metas[i] = replace(metas[i], camera_id="ultra-wide", focal35_mm=14.0)
    return replace(k, photos=tuple(metas), sightings=sightings), params


@pytest.mark.slow
def test_ultra_wide_beside_normal_photos() -> None:
    """A lens whose picture no polynomial of Brown's follows to its corners is described by another model, and said so."""
    k, params = _ultra_wide(kitchen(6))
    network = adjust(k.sightings, k.photos, k.targets, _bar(k))
    wide = network.cameras["ultra-wide"]
    assert len(network.photos) == len(k.photos)
    assert wide.model == "fisheye"
    assert np.abs(wide.params[:4] - params[:4]).max() < 6.0
    assert _worst(k, network) < 1.5


@pytest.mark.slow
def test_share_of_the_prior_tells_what_was_assumed() -> None:
    """Three photos held the same way leave the aspect to its prior; twelve from both sides determine all the rest."""
    k = kitchen(2)
    network = adjust(k.sightings, k.photos, k.targets, _bar(k))
    shares = prior_shares(network, "phone0")
    assert max(v for n, v in shares.items() if n != "aspect") < 0.1
    few = [p for p in k.photos if p.photo_id in {"IMG_0001", "IMG_0002", "IMG_0005"}]
    network = adjust({p.photo_id: k.sightings[p.photo_id] for p in few}, few, k.targets, _bar(k))
    assert prior_shares(network, "phone0")["aspect"] > 0.5


def test_gain_of_a_photo_is_what_taking_it_brings() -> None:
    """Predicted from four photos; then a fifth is really taken from there. Standard uncertainties agree within a third."""
    k = kitchen(2, focus_sd=0.002)
    names = ["IMG_0001", "IMG_0002", "IMG_0005", "IMG_0007"]
    few = [p for p in k.photos if p.photo_id in names]
    network = adjust({p: k.sightings[p] for p in names}, few, k.targets, _bar(k))
    extra = "IMG_0008"  # turned by 90 degrees
    more = adjust({p: k.sightings[p] for p in [*names, extra]}, [p for p in k.photos if p.photo_id in {*names, extra}],
                  k.targets, _bar(k))  # fmt: skip
    pose = more.photos[extra]
    eye, forward, right = -pose.rotation.T @ pose.translation_mm, pose.rotation[2], pose.rotation[0]
    # world frames differ (another datum sheet): carry the pose over by the sheets
    a = np.array([network.bodies[t].translation_mm for t in network.bodies if t in more.bodies])
    b = np.array([more.bodies[t].translation_mm for t in network.bodies if t in more.bodies])
    u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    r = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    eye, forward, right = r @ (eye - b.mean(0)) + a.mean(0), r @ forward, r @ right
    up = np.cross(right, forward)
    gain = gain_of_photo(FurtherPhotos(network, camera_id="phone0"), eye, eye + 1000 * forward, up)
    assert gain is not None
    now = np.sqrt(np.diag(more.cameras["phone0"].cov))
    for name in ("f", "cx", "cy"):
        i = gain.names.index(name)
        assert gain.u_after[i] <= gain.u_before[i] * (1 + 1e-9)
        assert now[i] == pytest.approx(gain.u_after[i], rel=0.33), name
    best = best_photo(network, "phone0")
    assert best is not None
    assert best.rms_after_px < best.rms_before_px


def test_same_view_photos_say_what_one_more_would_gain() -> None:
    k = kitchen(2)
    few = [p for p in k.photos if p.photo_id in {"IMG_0001", "IMG_0002"}]
    network = adjust({p.photo_id: k.sightings[p.photo_id] for p in few}, few, k.targets, _bar(k))
    said = [f for f in network.findings if f.code in ("lens-not-determined", "lens-few-views")]
    assert said
    before, after = said[0].facts["before_value"], said[0].facts["after_value"]
    assert said[0].facts["how_words"]
    assert isinstance(before, tuple)
    assert isinstance(after, tuple)
    assert all(float(b) > float(a) for b, a in zip(before, after, strict=True))


HANDS = {"hand": Phone("hand", 10.0, turn_deg=0.05, way_mm=0.12), "tripod": Phone("tripod", focus_sd=0.0)}
FOUND = {"hand": (0.0015, 10.0, 5e-4, 0.12), "tripod": (3e-6, 0.02, 1e-6, 3e-4)}


@pytest.mark.parametrize("held", HANDS)
def test_a_profile_s_components_are_priors_and_no_more(held: str) -> None:
    """Four photos tell little of what exposures do: the right profile's components leave less open than none, and those of a
    camera held in another way do no harm that U does not cover."""
    u, square = {}, {}
    for found, sd in {"nothing": (0.0,) * 4, **FOUND}.items():
        normal = []
        for seed in (8100, 8101):
            k = kitchen(seed, phones=(HANDS[held],), n_photos=4, strips=2)
            true, own = k.truth.cameras["phone0"], np.array([3.0, 3e-5, 3.0, 3.0, 0.003, 0.02, 1e-4, 1e-4, 0.03])
            off = own * np.random.default_rng(seed).normal(0, 1, 9)
            camera = replace(true, params=true.params + off, cov=np.diag(own**2), source="profile", exposure_sd=sd)
            network = adjust(k.sightings, k.photos, k.targets, _bar(k), {"phone0": camera})
            error, cov = errors_and_cov(network, k)
            a, n = normalized_square(error, cov)
            normal.append(a / n)
            u[found, seed] = float(np.median(np.sqrt(np.diag(cov))))
        square[found] = float(np.mean(normal))
    assert max(square.values()) < 1.5
    if held == "tripod":
        assert all(u["tripod", seed] < 0.95 * u["nothing", seed] for seed in (8100, 8101))
        assert all(u["nothing", seed] < u["hand", seed] for seed in (8100, 8101))
