"""Photos of two arrangements of the same sheets are refused in one sentence, and nothing else is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from phototemplate.errors import MeasureError
from phototemplate.model import Sightings
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.orientation.lens_start import start_lenses
from phototemplate.network.orientation.separate_scenes import groups_of
from phototemplate.network.orientation.views import views_of
from phototemplate.settings import AdjustmentSettings
from tests.network.synthetic import Kitchen, kitchen

SHEETS = [f"S{i + 1:02d}" for i in range(13)]


def elsewhere(seed: int, names: Sequence[str] = SHEETS) -> dict[str, tuple[float, float, float]]:
    """Shifts that lay the sheets anew."""
    rng = np.random.default_rng(seed)
    return {n: (float(rng.uniform(-700, 700)), float(rng.uniform(-500, 500)), float(rng.uniform(-2, 2))) for n in names}


def groups(made: Kitchen, photos: Sequence[str] | None = None) -> tuple[tuple[str, ...], ...]:
    chosen = [p for p in made.photos if photos is None or p.photo_id in photos]
    sightings: list[Sightings] = [made.sightings[p.photo_id] for p in chosen]
    views = views_of(sightings, made.targets)
    camera_of = {p.photo_id: p.camera_id for p in chosen}
    seen: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {}
    for p, own in views.items():
        seen.setdefault(camera_of[p], []).extend((v.local, v.uv) for v in own.values() if v.flat)
    lenses, _ = start_lenses(chosen, seen, {}, AdjustmentSettings())
    return groups_of(views, camera_of, lenses)


def test_two_halves_of_a_job_show_two_places() -> None:
    """Never photos of both in one set; now and then too few sheets are shared to tell, and the sheets are judged one by one."""
    found = 0
    for seed in range(8):
        made = kitchen(seed, moved=elsewhere(seed))
        names = [p.photo_id for p in made.photos]
        sets = groups(made)
        found += len(sets) == 2
        if len(sets) > 1:
            assert all(set(one) <= set(names[:6]) or set(one) <= set(names[6:]) for one in sets)
            assert set(sets[0]) & set(names[:6]) or set(sets[1]) & set(names[:6])
    assert found >= 7


def test_the_sentence_names_both_sets() -> None:
    made = kitchen(1, n_photos=10, moved=elsewhere(1))
    with pytest.raises(MeasureError, match=r"two places.*IMG_0001.* and another in .*IMG_0010.*leave one of these") as refused:
        adjust(made.sightings, made.photos, made.targets)
    assert str(refused.value).count(".") == 1


def test_few_photos_of_another_place() -> None:
    made = kitchen(2, n_photos=16, moved=elsewhere(2))
    names = [p.photo_id for p in made.photos]
    found = groups(made, names[:8] + names[9:13])
    assert len(found) == 2
    assert set(found[1]) <= set(names[9:13])
    assert set(found[0]) <= set(names[:8])


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"moved": elsewhere(3, ["S05"])},
        {"moved": elsewhere(4, ["S02", "S11"])},
        {"low": {"A": 25.0, "D": -15.0}},
        {"exif": False},
        {"two_cameras": True, "exif": False},
        {"n_photos": 2},
        {"n_photos": 4, "moved": {"S03": (30.0, 10.0, 0.1)}},
        {"wrong_share": 0.1, "sigma_px": 0.8},
    ],
)
@pytest.mark.parametrize("seed", range(3))
def test_one_place_is_one(options: Mapping[str, object], seed: int) -> None:
    assert len(groups(kitchen(40 + seed, **options))) == 1  # type: ignore[arg-type]
