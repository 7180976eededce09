"""Camera profiles: stored, matched by what a photo says of itself, widened to a prior."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from phototemplate.camera_profiles import (
    CameraProfile,
    load_profiles,
    match_profiles,
    read_profile,
    save_profile,
)
from phototemplate.constants import KEEPS_F, NEAR_FACTOR
from phototemplate.errors import InputError
from phototemplate.model import PhotoMeta
from phototemplate.numerics.lens import LENS_MODELS, project

VALUES = {"f": 3000.0, "aspect": 1e-4, "cx": 2020.0, "cy": 1500.0, "k1": 0.08, "k2": -0.2, "p1": 5e-4, "p2": -4e-4, "k3": 0.1}
U = np.array([1.0, 1e-5, 1.5, 1.5, 1e-3, 3e-3, 1e-5, 1e-5, 4e-3])
PROFILE = CameraProfile(
    name="main", make="Norvik", model="Norvik P4", lens="back", focal_mm=4.25, width_px=4032, height_px=3024,
    lens_model="brown", parameters=VALUES, covariance=np.diag(U**2).tolist(),
)


def _photo(**changes: object) -> PhotoMeta:
    facts: dict[str, object] = {
        "photo_id": "a", "path": Path("a.jpg"), "size_px": (4032, 3024), "camera_id": "c", "make": "Norvik",
        "model": "Norvik P4", "lens": "back", "focal_mm": 4.25,
    }
    return PhotoMeta(**(facts | changes))  # type: ignore[arg-type]


def test_kept_and_read_back(tmp_path: Path) -> None:
    path = save_profile(PROFILE, tmp_path)
    assert read_profile(path) == PROFILE
    (tmp_path / "damaged.json").write_text("{}")
    assert load_profiles([tmp_path]) == [PROFILE]
    with pytest.raises(InputError, match="damaged"):
        read_profile(tmp_path / "damaged.json")
    bad = PROFILE.model_copy(update={"covariance": np.diag(-(U**2)).tolist()})
    (tmp_path / "bad.json").write_text(bad.model_dump_json())
    with pytest.raises(InputError, match="cannot be"):
        read_profile(tmp_path / "bad.json")


def test_exact_match_is_a_widened_prior() -> None:
    cameras, findings = match_profiles([_photo()], [PROFILE])
    camera = cameras["c"]
    assert not findings
    assert camera.params == pytest.approx(list(VALUES.values()))
    assert camera.cov[0, 0] == pytest.approx(1.0 + (KEEPS_F * 3000) ** 2)


def test_another_lens_of_the_phone_does_not_match() -> None:
    assert match_profiles([_photo(focal_mm=1.5)], [PROFILE])[0] == {}
    assert match_profiles([_photo(model="other")], [PROFILE])[0] == {}
    assert match_profiles([_photo(model="")], [PROFILE])[0] == {}


@pytest.mark.parametrize(("size", "scale"), [((2016, 1512), 0.5), ((4032, 2268), 1.0), ((3024, 3024), 1.0)])
def test_resized_and_cropped_photos_project_to_the_same_place(size: tuple[int, int], scale: float) -> None:
    """A resized picture scales about its outer corner; a crop about the centre shifts: checked by projecting points."""
    cameras, findings = match_profiles([_photo(size_px=size)], [PROFILE])
    assert [f.facts["wide_px"] for f in findings] == [size[0]]
    xyz = np.array([[0.2, 0.1, 1.0], [-0.3, 0.2, 1.2], [0.0, 0.0, 1.0]])
    old = project("brown", np.array([VALUES[n] for n in LENS_MODELS["brown"].names]), xyz)[0]
    new = project("brown", cameras["c"].params, xyz)[0]
    wide, high = 4032, 3024
    expected = (old + 0.5) * scale - 0.5 + (np.array(size) - scale * np.array([wide, high])) / 2
    assert new == pytest.approx(expected, abs=1e-9)
    exact = match_profiles([_photo()], [PROFILE])[0]["c"]
    assert cameras["c"].cov[4, 4] == pytest.approx(NEAR_FACTOR**2 * exact.cov[4, 4])


@pytest.mark.parametrize(
    ("changes", "code", "scale"),
    [
        ({"size_px": (2016, 1512)}, "profile-resized", 0.5),
        ({"size_px": (4032, 2268)}, "profile-cropped", None),
        ({"size_px": (1600, 900)}, "profile-cropped-resized", 1600 / 4032),
        ({"size_px": (3024, 3024)}, "profile-cropped", None),
        ({"digital_zoom": 2.0}, "profile-zoomed", 2.0),
        ({"lens": ""}, "profile-lens-name", None),
        ({"size_px": (3024, 4032)}, "profile-turned", None),
    ],
)
def test_a_near_match_says_what_differs_and_what_was_done(changes: dict[str, object], code: str, scale: float | None) -> None:
    (finding,) = match_profiles([_photo(**changes)], [PROFILE])[1]
    assert finding.code == code
    assert finding.facts.get("scale_ratio") == pytest.approx(scale)
    assert finding.facts.get("wider_ratio") == (None if code == "profile-turned" else NEAR_FACTOR)


def test_stored_the_other_way_up_loses_what_cannot_be_told() -> None:
    camera = match_profiles([_photo(size_px=(3024, 4032))], [PROFILE])[0]["c"]
    names = LENS_MODELS["brown"].names
    assert camera.params[names.index("cx")] == pytest.approx(1511.5)
    assert camera.params[names.index("p1")] == 0.0
    assert camera.cov[names.index("p1"), names.index("p1")] > 5e-4**2


def test_turned_by_software_swaps_the_two_principal_distances() -> None:
    """A centred lens whose pixels are one per cent off square: the picture turned by 90 degrees has the same points, turned."""
    values = VALUES | {"aspect": 0.01, "cx": 2015.5, "cy": 1511.5, "p1": 0.0, "p2": 0.0}
    cov = np.diag(U**2)
    cov[0, 1] = cov[1, 0] = 0.5 * U[0] * U[1]
    profile = PROFILE.model_copy(update={"parameters": values, "covariance": cov.tolist()})
    turned = match_profiles([_photo(size_px=(3024, 4032))], [profile])[0]["c"]
    xyz = np.array([[0.2, 0.1, 1.0], [-0.3, 0.2, 1.2], [0.05, -0.25, 1.0]])
    old = project("brown", np.array(list(values.values())), xyz)[0]
    new = project("brown", turned.params, xyz @ np.array([[0.0, 1, 0], [-1, 0, 0], [0, 0, 1]]))[0]
    assert new == pytest.approx(np.column_stack([3023 - old[:, 1], old[:, 0]]), abs=1e-9)
