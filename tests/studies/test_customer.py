"""A customer's photos read by the program: known things, the top's corners, the same corner in every photo."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.studies.clicked import clicked_outline
from phototemplate.studies.customer.found_things import find_things
from phototemplate.studies.customer.proposal import fitted, propose_clicks
from phototemplate.studies.estimate_file import EstimateFile, OldTop, read_estimate_file, write_estimate_file
from phototemplate.template.quantities import area
from phototemplate.template.spec import ShopSpec
from tests.bench._customers import Customer, customer


def seen(made: Customer, photo: int, xy: np.ndarray) -> np.ndarray:
    """Points of the plane (n, 2) mm as the drawn photo shows them, px."""
    (rotation, translation), (f, centre, k) = made.poses[photo], made.camera
    cam = np.column_stack([xy, np.zeros(len(xy))]) @ rotation.T + translation
    ray = cam[:, :2] / cam[:, 2:]
    r2 = np.sum(ray**2, axis=1)[:, None]
    return np.asarray(f * ray * (1 + k[0] * r2 + k[1] * r2**2 + k[2] * r2**3) + centre)


@pytest.mark.parametrize("kind", ["A4", "card"])
def test_the_known_thing_is_found_and_named(kind: str, tmp_path: Path) -> None:
    made = customer(3, tmp_path, kind, 1)
    assert made.box_mm is not None
    meta = read_meta(tmp_path / "photos" / "IMG_0001.jpg")
    found = find_things(read_gray(meta), meta, "A4")
    assert [t.size.name for t in found if t.sure > 0.5] == [kind]
    true = seen(made, 0, made.box_mm)
    ways = (found[0].corners_px, found[0].corners_px[::-1])
    assert min(float(np.abs(np.roll(c, k, axis=0) - true).max()) for c in ways for k in range(4)) < 1.5


def test_the_paper_of_the_country_decides_where_the_picture_cannot(tmp_path: Path) -> None:
    """A4 and Letter differ by 9 % in shape; one photo with a focal length from EXIF leaves both possible, and says so."""
    customer(3, tmp_path, "Letter", 1)
    meta = read_meta(tmp_path / "photos" / "IMG_0001.jpg")
    first = {paper: find_things(read_gray(meta), meta, paper)[0] for paper in ("A4", "Letter")}
    assert first["Letter"].size.name == "Letter"
    assert {"A4", "Letter"} <= {name for name, _ in first["A4"].kinds}


def test_an_area_from_nothing_but_photos(tmp_path: Path) -> None:
    """Nobody clicks: corners are proposed in one photo, carried over to the others, and the area lies in its range."""
    made = customer(2, tmp_path, "A4", 3)
    photos = [read_meta(p) for p in sorted((tmp_path / "photos").glob("*.jpg"))]
    file = propose_clicks(photos, "A4").file
    assert [k.kind for p in file.photos for k in p.known] == ["A4"] * 3
    assert sum(len(p.points) for p in file.photos) >= 10
    assert all(set(p.proposed) == set(p.points) for p in file.photos)
    assert "not looked at" in dict(file.assumed())["corners"]
    for k, p in enumerate(file.photos):
        true = seen(made, k, made.corners_mm)
        for uv in p.points.values():  # the drawn background is in blocks of 8 px
            assert np.linalg.norm(true - np.array(uv), axis=1).min() < 9.0
    found = area(clicked_outline(fitted(file, photos, PhotoStore(photos)), file.loops()), "top")
    assert abs(found.value - made.area_mm2) < 2.0 * found.u


def test_clicks_are_kept_as_they_are(tmp_path: Path) -> None:
    customer(1, tmp_path, "A4", 1)
    path = tmp_path / "estimate.toml"
    path.write_text("# by hand\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    file = read_estimate_file(path)
    write_estimate_file(path, file.model_copy(update={"name": "other"}))
    again = read_estimate_file(path)
    assert again == file.model_copy(update={"name": "other"})


def test_an_old_tops_overhang_is_taken_off() -> None:
    """The stone stands 1.5 in beyond the cabinets; an old top that stood 1 in beyond them leaves half an inch to add."""
    shop = ShopSpec(overhang=38.1)
    known = EstimateFile(photos=[], shop=shop, old_top=OldTop(overhang=25.4))
    assert known.template_spec().shop.overhang == pytest.approx(12.7)
    assert EstimateFile(photos=[], shop=shop, old_top=OldTop()).template_spec().shop.overhang == 0.0
