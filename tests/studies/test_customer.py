"""A customer's photos read by the program: known things, the top's corners, the same corner in every photo."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest

from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.errors import InputError
from phototemplate.job import load_job
from phototemplate.job_studies import known_of_clicks
from phototemplate.order import order_job
from phototemplate.studies.clicked import clicked_outline
from phototemplate.studies.customer.found_things import find_things
from phototemplate.studies.customer.matched_plane import plane_homography
from phototemplate.studies.customer.message import message_text, wanted, write_message
from phototemplate.studies.customer.proposal import fitted, propose_clicks
from phototemplate.studies.estimate_file import EstimateFile, OldTop, read_estimate_file, write_estimate_file
from phototemplate.studies.price_list import new_price_list
from phototemplate.studies.quote_file import QuoteFile, read_quote_file
from phototemplate.template.constants import PAPERS_MM
from phototemplate.template.quantities import area
from phototemplate.template.spec import ShopSpec
from phototemplate.toml_file import write_toml
from phototemplate.units import usual_paper
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
    file = propose_clicks(photos, "A4")
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


def test_a_doubted_sheet_is_part_of_the_range(tmp_path: Path) -> None:
    """A4 has 1.034 times the area of Letter (62370 to 60323 mm2), and another shape: one photo may leave both possible."""
    customer(3, tmp_path, "A4", 1)
    file = read_estimate_file(tmp_path / "estimate.toml")
    photos = [read_meta(p) for p in sorted((tmp_path / "photos").glob("*.jpg"))]
    store = PhotoStore(photos)
    sure = known_of_clicks("job", file, photos, store)
    doubted = file.model_copy(update={"photos": [
        p.model_copy(update={"known": [k.model_copy(update={"maybe": {"A4": 0.5, "Letter": 0.5}}) for k in p.known]})
        for p in file.photos
    ]})  # fmt: skip
    unsure = known_of_clicks("job", doubted, photos, store)
    assert unsure.plan is not None
    assert sure.plan is not None
    assert "which kind of sheet or card" in unsure.plan.influences.parts
    known, wide = area(sure.outline, "run"), area(unsure.outline, "run")
    added = np.sqrt(wide.u**2 - known.u**2) / known.value
    # less than the prior says where the photos themselves prefer one of the two
    assert 0.1 * 0.034 < added < 1.5 * 0.034
    assert unsure.assumed[0][1].startswith("not sure what it is")


def test_what_is_missing_is_asked_for_and_nothing_else(tmp_path: Path) -> None:
    bare = EstimateFile(photos=[])
    need = wanted(bare, 0)
    text = message_text(need, "A4", "A. Customer", "Sample Stone Shop")
    assert need.thing
    assert "A4 paper" in text
    assert [line[:2] for line in text.splitlines() if line[:1].isdigit()] == ["1.", "2.", "3."]
    customer(1, tmp_path, "A4", 3)
    enough = read_estimate_file(tmp_path / "estimate.toml")
    assert wanted(enough, 3).nothing
    asked = wanted(enough, 3, "Please measure the front.")
    assert "sheet" not in message_text(asked, "A4")
    assert "Please measure the front." in message_text(asked, "A4")
    for paper in ("A4", "Letter"):
        page = pypdfium2.PdfDocument(str(write_message(need, tmp_path / paper, paper)["message-page"]))[0]
        assert sorted(np.array(page.get_size()) * 25.4 / 72.0) == pytest.approx(sorted(PAPERS_MM[paper]), abs=0.1)
        assert f"{paper} paper" in page.get_textpage().get_text_range().replace("\r\n", " ")


def test_paper_is_what_the_machine_is_set_up_for() -> None:
    """Unicode CLDR: Letter in the United States, Canada and Mexico, A4 in Germany and Britain."""
    said = {"en_US.UTF-8": "Letter", "fr_CA": "Letter", "es_MX": "Letter", "de_DE.UTF-8": "A4", "en_GB": "A4", "C": "Letter"}
    assert {lang: usual_paper({"LANG": lang}) for lang in said} == said
    assert usual_paper({"LC_ALL": "de_AT", "LANG": "en_US"}) == "A4"


def test_a_top_is_found_again_by_what_is_printed_in_it() -> None:
    """Two views of one textured plane, by known homographies: corners come back within two pixels."""
    rng = np.random.default_rng(5)
    grain = cv2.GaussianBlur(rng.normal(128, 90, (700, 1100)), (0, 0), 2.2)
    picture = np.clip(128 + 3.0 * (grain - 128), 0, 255).astype(np.uint8)
    box = np.array([[0, 0], [1100, 0], [1100, 700], [0, 700]], np.float32)
    views = [np.array(v, np.float32) for v in ([[210, 330], [930, 300], [1060, 700], [120, 740]],
                                              [[320, 300], [1010, 360], [980, 790], [160, 650]])]  # fmt: skip
    turns = [cv2.getPerspectiveTransform(box, v) for v in views]
    grays = [np.asarray(cv2.warpPerspective(picture, turn, (1200, 900), borderValue=90), np.uint8) for turn in turns]
    found = plane_homography(grays[0], views[0].astype(float), grays[1])
    assert found is not None
    moved = cv2.perspectiveTransform(views[0][None].astype(float), found)[0]
    assert np.linalg.norm(moved - views[1], axis=1).max() < 2.0
    assert plane_homography(grays[0], views[0].astype(float), np.full((900, 1200), 90, np.uint8)) is None


def test_an_accepted_quote_is_a_job_for_the_templater(tmp_path: Path) -> None:
    job = tmp_path / "kitchen"
    customer(1, job, "A4", 2)
    new_price_list(tmp_path / "prices.toml")
    quote = {
        "prices": "prices.toml", "customer": {"name": "A. Customer", "address": ["1 Street"]}, "site": {"distance": 3},
        "options": [{"stone": stone, "finish": "eased"} for stone in ("granite, 3 cm", "quartzite, 3 cm")],
    }  # fmt: skip
    write_toml(job / "quote.toml", QuoteFile.model_validate(quote))
    with pytest.raises(InputError, match="no option 3"):
        order_job(load_job(job), 3, plan_photos=False)
    made, files = order_job(load_job(job), 2, plan_photos=False)
    assert made.folder == tmp_path / "kitchen template"
    assert (made.file.customer, made.file.address) == ("A. Customer", "1 Street")
    assert made.file.shop.material.name == "quartzite, 3 cm"
    assert not made.file.edges
    assert not made.photo_paths()
    told = files["order"].read_text(encoding="utf-8")
    assert "quartzite, 3 cm" in told
    assert "nothing may be cut from it" in told
    assert len(list((made.folder / "sold" / "customer photos").iterdir())) == 2
    assert read_quote_file(job / "quote.toml").accepted == 2
    assert len(read_quote_file(job / "quote.toml").options) == 2
    with pytest.raises(InputError, match="exists already"):
        order_job(load_job(job), 1, plan_photos=False)
