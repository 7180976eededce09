"""Estimates: published sizes, closed forms of packing and price, recovery of a plane from clicks, refusals."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyogrio.raw import read as gdal_read
from scipy.ndimage import gaussian_filter

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Camera, PhotoMeta
from phototemplate.numerics import lens
from phototemplate.studies.clicked import clicked_outline, fit_clicked
from phototemplate.studies.clicked_lens import LENS, expected_lens
from phototemplate.studies.clicked_problem import (
    ClickedLoop,
    ClickedPhoto,
    ClickedProblem,
    KnownThing,
    StraightLine,
    TapeLength,
)
from phototemplate.studies.clicked_start import start
from phototemplate.studies.corner_words import corner_words
from phototemplate.studies.estimate import NOT_A_TEMPLATE, estimate
from phototemplate.studies.known_sizes import known_size, refine_corners
from phototemplate.studies.packing import SlabSpec, pack
from phototemplate.studies.plan import (
    Plan,
    Sketch,
    Standpoint,
    instructions,
    plan,
    plan_drawing,
    planned_standpoints,
    predict,
    write_plan,
)
from phototemplate.studies.price_list import PriceList, Shop, read_price_list
from phototemplate.studies.pricing import Choice
from phototemplate.studies.quote import Quote
from phototemplate.studies.quote_file import QuoteFile
from phototemplate.studies.quote_pages import write_quote
from phototemplate.template.constants import PAPERS_MM
from phototemplate.template.drawing import Circle
from phototemplate.template.quantities import State, area
from phototemplate.template.rules import density_kg_m3
from phototemplate.template.spec import MaterialSpec, PieceSpec, ShopSpec, TemplateSpec
from tests.bench._clicked_cameras import clicked_lengths
from tests.network.synthetic import look_at
from tests.template.samples import rectangle

EDGES = (("front", "front"), ("right", "end"), ("back", "wall"), ("left", "wall"))
LOOP = ClickedLoop("run", ("a", "b", "c", "d"), EDGES, (True,) * 4)


def test_known_sizes_are_the_published_ones() -> None:
    """ISO 216: A4 210 x 297, and each size halves the one before; ISO/IEC 7810: ID-1 is 85.60 x 53.98 mm."""
    a3, a4, a5 = (known_size(n) for n in ("A3", "a4", "A5"))
    assert (a4.short_mm, a4.long_mm) == (210.0, 297.0) == PAPERS_MM["A4"]
    assert a3.short_mm == a4.long_mm
    assert a5.long_mm == a4.short_mm
    assert a5.short_mm == math.floor(a4.long_mm / 2)
    for size in (a3, a4, a5):
        assert size.long_mm / size.short_mm == pytest.approx(math.sqrt(2.0), abs=0.006)
    card = known_size("card")
    assert (card.long_mm, card.short_mm) == (85.60, 53.98)
    assert (known_size("letter").long_mm, known_size("letter").short_mm) == (pytest.approx(279.4), pytest.approx(215.9))
    with pytest.raises(InputError, match="not known here"):
        known_size("napkin")


# ----------------------------------------------------------------------------------------------- packing


def test_packing_of_known_optimum() -> None:
    """Perfect packings: the pieces tile the slabs exactly, so their number is known."""
    bare = SlabSpec(3000.0, 1500.0, 0.0, 0.0, grain=True)
    four = {f"p{i}": (1500.0, 750.0) for i in range(4)}
    assert pack(four, bare).slabs == 1
    assert pack(four, bare).used_share == pytest.approx(1.0)
    assert pack(four | {"more": (10.0, 10.0)}, bare).slabs == 2
    guillotine = {"a": (3000.0, 500.0), "b": (1800.0, 1000.0), "c": (1200.0, 600.0), "d": (700.0, 400.0), "e": (500.0, 400.0)}
    assert pack(guillotine, bare).slabs == 1
    # with a kerf no two of them fit side by side or above each other any more: one slab each
    assert pack(four, SlabSpec(3000.0, 1500.0, 0.0, 4.0)).slabs == 4
    assert pack(four, SlabSpec(3004.0, 1504.0, 0.0, 4.0)).slabs == 1


def test_kerf_lies_between_pieces_and_pieces_keep_inside() -> None:
    spec = SlabSpec(3048.0, 1778.0, 25.0, 4.0, grain=False)
    rng = np.random.default_rng(2)
    pieces = {f"p{i}": (float(rng.uniform(300, 2400)), float(rng.uniform(100, 660))) for i in range(12)}
    made = pack(pieces, spec)
    boxes = [(p.slab, shapely.box(p.x_mm, p.y_mm, p.x_mm + p.length_mm, p.y_mm + p.width_mm)) for p in made.placed]
    assert len(boxes) == 12
    room = shapely.box(25.0, 25.0, 3048.0 - 25.0, 1778.0 - 25.0).buffer(1e-6)
    for k, (slab, box) in enumerate(boxes):
        assert room.contains(box)
        for other_slab, other in boxes[:k]:
            if slab == other_slab:
                assert box.distance(other) >= 4.0 - 1e-6
    assert made.least <= made.slabs


def test_grain_forbids_turning() -> None:
    tall = {"side": (600.0, 1600.0)}
    with pytest.raises(InputError, match="seam"):
        pack(tall, SlabSpec(3000.0, 1500.0, 0.0, 0.0, grain=True))
    turned = pack(tall, SlabSpec(3000.0, 1500.0, 0.0, 0.0, grain=False)).placed[0]
    assert turned.turned
    assert (turned.length_mm, turned.width_mm) == (1600.0, 600.0)


# ------------------------------------------------------------------------------------------------ price


def prices(**more: object) -> PriceList:
    tree: dict[str, object] = {"area": {"granite": 68.0}, "edge": {"eased": 9.0}, "fixed": {"fitting": 350.0}}
    tree["tax_percent"] = 10.0
    return PriceList.model_validate(tree | more)


def spec() -> TemplateSpec:
    shop = ShopSpec(overhang=0.0, end_overhang=0.0, wall_clearance=0.0, material=MaterialSpec(kind="granite", thickness=30.0))
    return TemplateSpec(pieces=[PieceSpec(id="top", loop="run")], shop=shop)


def test_quantities_and_price_of_a_rectangle() -> None:
    """2400 x 600 mm: 1.44 m2 = 15.500 ft2; front and one end finished; 3 cm granite weighs thickness x density."""
    made = estimate(rectangle(2400.0, 600.0), spec(), prices=prices(), choice=Choice(finish="eased"))
    assert made.area.value == pytest.approx(1.44e6, rel=1e-6)
    assert made.finished_edge.value == pytest.approx(3000.0, rel=1e-6)
    assert made.weight.value == pytest.approx(1.44 * 0.030 * density_kg_m3(MaterialSpec(kind="granite")), rel=1e-6)
    assert made.price is not None
    exact = 1.1 * (68.0 * 1.44e6 / 304.8**2 + 9.0 * 3000.0 / 304.8 + 350.0)
    assert made.price.likely == pytest.approx(exact, rel=1e-6)
    assert made.price.low < exact < made.price.high
    # area and edge grow together: the spread of the sum is not the root sum of squares of the parts
    g = sum(line.gradient for line in made.price.lines)
    u = math.sqrt(float(g @ State(made.outline).cov @ g))
    assert made.price.high - made.price.low == pytest.approx(1.1 * 4.0 * u, rel=1e-9)
    assert made.ask is None, "sizes known to tenths of a millimetre gain nothing from a customer's tape"


def test_the_next_question_is_one_a_customer_can_follow() -> None:
    """No name of the job in it: sides as seen before the front edge, kinds of edges, the photo."""
    made = estimate(
        replace(rectangle(2400.0, 600.0), unscaled=True), spec(), landmarks={("left", "front"): "see photo 2, IMG_0002.jpg"},
        printed=True,
    )  # fmt: skip
    assert made.ask is not None
    assert made.ask.area_U_after < 0.5 * made.ask.area_U_before
    assert made.ask.sentence.startswith("Please measure with a tape along the ")
    loop = made.outline.loops[0]
    words = [corner_words(made.outline, loop, k, {}) for k in range(4)]
    at = {(loop.edge_ids[k - 1], loop.edge_ids[k]): words[k] for k in range(4)}
    assert at["left", "front"].startswith("the front left corner (where the front edge meets")
    assert at["right", "back"].startswith("the back right corner")
    found = corner_words(made.outline, loop, loop.edge_ids.index("front"), {("front", "left"): "see photo 2, IMG_0002.jpg"})
    assert found.endswith("; see photo 2, IMG_0002.jpg)")


def test_weight_per_area_at_the_least_density_of_granite() -> None:
    """ASTM C615: 160 lb/ft3 (2,563 kg/m3); 2 cm weigh 10.49 lb/ft2 and 3 cm 15.73 lb/ft2 at 2,560 kg/m3."""
    for thickness, pounds in ((20.0, 10.49), (30.0, 15.73)):
        material = MaterialSpec(kind="granite", thickness=thickness, density_kg_m3=2560.0)
        shop = spec().shop.model_copy(update={"material": material})
        made = estimate(rectangle(1000.0, 1000.0), spec().model_copy(update={"shop": shop}))
        assert made.weight.value / 0.45359237 / (1e6 / 304.8**2) == pytest.approx(pounds, abs=0.006)


def test_minimum_and_missing_prices(tmp_path: Path) -> None:
    made = estimate(rectangle(600.0, 600.0), spec(), prices=prices(minimum=2000.0), choice=Choice(finish="eased"))
    assert made.price is not None
    assert made.price.minimum_applies
    assert made.price.low == made.price.likely == made.price.high == pytest.approx(2200.0)
    with pytest.raises(InputError, match=r"\[edge\] ogee"):
        estimate(rectangle(), spec(), prices=prices(), choice=Choice(finish="ogee"))
    with pytest.raises(InputError, match=r"\[area\] granite.*did you mean 'granit'"):
        estimate(rectangle(), spec(), prices=prices(area={"granit": 1.0}), choice=Choice(finish="eased"))
    (tmp_path / "p.toml").write_text('[area]\ngranite = "much"\n')
    with pytest.raises(InputError, match=r"area\.granite"):
        read_price_list(tmp_path / "p.toml")
    (tmp_path / "q.toml").write_text("[aera]\ngranite = 1\n")
    with pytest.raises(InputError, match="aera"):
        read_price_list(tmp_path / "q.toml")


def test_sheets_without_a_tape_give_a_price_of_98_to_102_per_cent() -> None:
    """Lengths within 2 %, areas within 4 %, and the price of both together: they grow with one scale."""
    loose = replace(rectangle(2400.0, 600.0), unscaled=True)
    with pytest.raises(MeasureError, match="Nothing fixes the scale"):
        estimate(loose, spec())
    made = estimate(loose, spec(), prices=prices(), choice=Choice(finish="eased"), printed=True)
    assert "98 to 102 %" in made.caution
    assert (made.finished_edge.high / made.finished_edge.value - 1) == pytest.approx(0.02, abs=1e-4)
    assert (made.area.high / made.area.value - 1) == pytest.approx(0.04, abs=1e-4)
    assert made.price is not None
    half = 0.04 * 68.0 * 1.44e6 / 304.8**2 + 0.02 * 9.0 * 3000.0 / 304.8
    assert (made.price.high - made.price.low) / 2 == pytest.approx(1.1 * half, rel=1e-3)
    assert estimate(rectangle(2400.0, 600.0), spec(), printed=True).caution == ""


def test_a_run_that_does_not_close_is_named() -> None:
    wanted = spec().model_copy(update={"pieces": [PieceSpec(id="top", loop="run"), PieceSpec(id="other", loop="island")]})
    with pytest.raises(MeasureError, match="The run island does not close"):
        estimate(rectangle(), wanted)


def test_estimate_says_what_it_is_in_every_file(tmp_path: Path) -> None:
    made = estimate(rectangle(), spec(), job="customer", prices=prices(), choice=Choice(finish="eased"))
    quote = Quote(Shop(), QuoteFile(), (("", made),), date(2026, 3, 14))
    written = write_quote(quote, tmp_path, unit="mm")
    assert "not-a-template" in written["dxf"].name
    meta, _, _, fields = gdal_read(written["dxf"], columns=["Layer", "Text"])
    layers, texts = (fields[list(meta["fields"]).index(n)] for n in ("Layer", "Text"))
    shown = " ".join(t for layer, t in zip(layers, texts, strict=True) if layer == "ESTIMATE-ONLY")
    assert "nothing may be cut" in shown
    rows = list(csv.DictReader(written["csv"].open(encoding="utf-8", newline="")))
    assert rows[-1]["quantity"] == NOT_A_TEMPLATE
    total = next(r for r in rows if r["what"] == "total with tax")
    assert made.price is not None
    assert float(total["likely"]) == pytest.approx(made.price.likely, abs=0.006)
    import pypdfium2

    pages = pypdfium2.PdfDocument(str(written["quote"]))
    text = " ".join(page.get_textpage().get_text_range() for page in pages)
    for said in (text, written["page"].read_text(encoding="utf-8"), written["data"].read_text(encoding="utf-8")):
        assert "not a template" in " ".join(said.split())


# ----------------------------------------------------------------------------------------------- clicks


def clicked_photo(
    k: int, eye: tuple[float, float, float], points: dict[str, tuple[float, float]], box: np.ndarray | None, kind: str = "A4",
    halo: float = 0.0, z: np.ndarray | None = None,
) -> ClickedPhoto:
    """Exact clicks of a pinhole camera of 26 mm film equivalent."""
    size = (4032, 3024)
    params = lens.start_params("brown", 26.0 * math.hypot(*size) / 43.2666, size)
    rotation, translation = look_at(np.array(eye), np.array([1000.0, 300.0, 0.0]))

    def at(xy: np.ndarray, z: np.ndarray | None = None) -> np.ndarray:
        cam = np.column_stack([xy, np.zeros(len(xy)) if z is None else z]) @ rotation.T + translation
        return lens.project("brown", params, cam)[0]

    meta = PhotoMeta(f"p{k}", Path(f"p{k}.jpg"), size, focal35_mm=26.0)
    known: tuple[KnownThing, ...] = ()
    if box is not None:
        corners = np.roll(at(box, z), k, axis=0)[:: (-1) ** k]
        known = (KnownThing(kind, known_size(kind), corners, np.full(4, 0.5), halo_u_px=halo),)
    return ClickedPhoto(meta, {n: at(np.array([p]))[0] for n, p in points.items()}, known)


POINTS = {"a": (0.0, 0.0), "b": (2000.0, 0.0), "c": (2000.0, 600.0), "d": (0.0, 600.0)}
SHEET = np.array([[700.0, 200.0], [997.0, 200.0], [997.0, 410.0], [700.0, 410.0]])


def test_exact_clicks_give_the_exact_area_from_a_sheet() -> None:
    """Wherever clicking begins and whichever way it goes round."""
    photos = [clicked_photo(k, eye, POINTS, SHEET) for k, eye in enumerate([(300, -1500, 1100), (1700, -1400, 1200)])]
    made = fit_clicked(photos, (), [LOOP])
    found = area(clicked_outline(made, [LOOP]), "run")
    assert found.value == pytest.approx(1.2e6, rel=1e-3)
    assert 0 < found.u < 0.05 * found.value
    assert sum(u**2 for _, u in found.budget) == pytest.approx(found.u**2, rel=1e-6)


def test_a_tape_length_alone_fixes_the_scale_and_its_uncertainty_shows() -> None:
    photo = clicked_photo(0, (900, -1500, 1200), POINTS, None)
    sure = fit_clicked([photo], [TapeLength("a", "b", 2000.0, 1.0)], [LOOP])
    vague = fit_clicked([photo], [TapeLength("a", "b", 2000.0, 60.0, True)], [LOOP])
    a, b = (area(clicked_outline(p, [LOOP]), "run") for p in (sure, vague))
    assert a.value == pytest.approx(1.2e6, rel=2e-3)
    # 3 % of a length are 6 % of an area; they come on top of all the rest
    assert b.u**2 - a.u**2 == pytest.approx((0.06 * 1.2e6) ** 2, rel=0.1)


def test_refusals() -> None:
    photo = clicked_photo(0, (900, -1500, 1200), POINTS, None)
    with pytest.raises(MeasureError, match="Nothing fixes the scale"):
        fit_clicked([photo], (), [LOOP])
    with pytest.raises(InputError, match="'z'"):
        fit_clicked([photo], [TapeLength("a", "z", 100.0, 1.0)], [LOOP])
    other = clicked_photo(1, (900, -1500, 1200), {f"x{n}": p for n, p in POINTS.items()}, None)
    with pytest.raises(MeasureError, match="same kitchen"):
        fit_clicked([photo, other], [TapeLength("a", "b", 2000.0, 1.0)], [LOOP])
    # points of another kitchen under the same names
    elsewhere = {"a": (0.0, 0.0), "b": (900.0, 50.0), "c": (2600.0, 900.0), "d": (-500.0, 300.0)}
    mixed = clicked_photo(1, (900, -1500, 1200), elsewhere, None)
    with pytest.raises(MeasureError, match="contradict"):
        fit_clicked([photo, mixed], [TapeLength("a", "b", 2000.0, 1.0)], [LOOP])


def test_corners_are_moved_onto_the_sides() -> None:
    """A bright quadrilateral on a dark ground, anti-aliased; clicks 3 px off."""
    true = np.array([[60.3, 50.8], [240.6, 70.2], [225.1, 180.7], [75.9, 165.4]])
    y, x = np.mgrid[0:240, 0:320].astype(float)
    cover = np.ones_like(x)
    for a, b in zip(true, np.roll(true, -1, axis=0), strict=True):
        t = (b - a) / np.linalg.norm(b - a)
        cover = np.minimum(cover, np.clip(0.5 + t[0] * (y - a[1]) - t[1] * (x - a[0]), 0, 1))
    rng = np.random.default_rng(1)
    light = 0.045 + 0.6 * cover
    gray = np.clip(255.0 * (1.055 * light ** (1 / 2.4) - 0.055) + rng.normal(0, 2, x.shape), 0, 255).astype(np.uint8)
    refined, u = refine_corners(gray, true + rng.normal(0, 2.0, (4, 2)))
    assert np.abs(refined - true).max() < 0.3
    assert np.all(u < 1.0)
    flat, u_flat = refine_corners(np.full((240, 320), 90, np.uint8), true)
    assert np.allclose(flat, true)  # nothing there: the clicks stay, and say how uncertain they are
    assert np.all(u_flat > 0.4)


def test_a_small_bright_card_is_not_seen_larger_than_it_is() -> None:
    """A lens blurs light, and sRGB (IEC 61966-2-1) lifts the dark half of the blurred step: a card of 40 x 25 px found in grey
    values would come out 2 % too large, and everything measured by it too small. ID-1 corners are rounded by 3.18 mm."""
    size, radius = np.array([40.0, 40.0 * 53.98 / 85.60]), 40.0 * 3.18 / 85.60
    y, x = np.mgrid[0:80, 0:100] * 1.0
    for angle in (0.0, 0.3):
        c, s = math.cos(angle), math.sin(angle)
        turn = np.array([[c, s], [-s, c]])
        true = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size / 2 @ turn + np.array([50.2, 39.7])
        q = np.abs(np.stack([x - 50.2, y - 39.7], axis=-1) @ turn.T) - (size / 2 - radius)
        away = np.linalg.norm(np.maximum(q, 0), axis=-1) + np.minimum(q.max(axis=-1), 0) - radius
        light = gaussian_filter(0.03 + 0.72 * np.clip(0.5 - away, 0, 1), 0.8)
        grey = 255.0 * (1.055 * light ** (1 / 2.4) - 0.055)
        noise = np.random.default_rng(4).normal(0, 1.5, grey.shape)
        found, u = refine_corners(np.clip(grey + noise, 0, 255).astype(np.uint8), true + 1.5)
        assert np.abs(found - true).max() < 0.2
        assert np.all(u < 0.5)
        assert shapely.Polygon(found).area == pytest.approx(shapely.Polygon(true).area, rel=0.005)


def test_a_card_is_as_thick_as_published() -> None:
    """ISO/IEC 7810: 0.76 mm. Lifted by it, and of its near side half of the face seen as part of it, a card of 54 mm looks half
    a millimetre deeper than it is; 1 % of what is measured by it in that direction."""
    card = np.array([[900.0, 250.0], [985.6, 250.0], [985.6, 303.98], [900.0, 303.98]])
    eyes = [(600.0, -1200.0, 900.0), (1400.0, -1200.0, 900.0)]
    photos = [clicked_photo(k, eye, POINTS, card, "card", z=np.array([0.38, 0.38, 0.76, 0.76])) for k, eye in enumerate(eyes)]
    thin = replace(known_size("card"), thick_mm=0.0)
    flat = [replace(p, known=(replace(p.known[0], size=thin),)) for p in photos]
    true, believed_thin = (area(clicked_outline(fit_clicked(p, (), [LOOP]), [LOOP]), "run").value for p in (photos, flat))
    assert true == pytest.approx(1.2e6, rel=2e-3)
    assert abs(believed_thin - 1.2e6) > 3.0 * abs(true - 1.2e6)


def test_a_thing_on_another_level_is_brought_down_or_refused() -> None:
    """On a counter 38 mm over the clicked cabinets it looks larger: lengths come out short. Once said, the area is right."""
    eyes = [(300.0, -1500.0, 1100.0), (1700.0, -1400.0, 1200.0), (1000.0, -900.0, 1500.0)]
    photos = [clicked_photo(k, eye, POINTS, SHEET, z=np.full(4, 38.1)) for k, eye in enumerate(eyes)]
    said = [replace(p, known=(replace(p.known[0], height_mm=38.1),)) for p in photos]
    assert area(clicked_outline(fit_clicked(said, (), [LOOP]), [LOOP]), "run").value == pytest.approx(1.2e6, rel=2e-3)
    high = [clicked_photo(k, eye, POINTS, SHEET, z=np.full(4, 250.0)) for k, eye in enumerate(eyes)]
    with pytest.raises(MeasureError, match="level with the clicked corners"):
        fit_clicked(high, (), [LOOP])


def test_derivatives_of_the_clicked_problem() -> None:
    """Against central differences, with a turned thing, a tape length and a bent lens."""
    eyes = [(300.0, -1500.0, 1100.0), (1700.0, -1400.0, 1200.0)]
    photos = [clicked_photo(k, eye, POINTS, SHEET, halo=0.0 if k else 0.1) for k, eye in enumerate(eyes)]
    line = StraightLine(np.array([[100.0, 300.0], [1900.0, 240.0], [3900.0, 410.0]]), 4.0)
    meta = replace(photos[1].meta, camera_id="no EXIF", focal35_mm=None)
    photos[1] = replace(photos[1], meta=meta, straight=(line,))
    problem = ClickedProblem(photos, [TapeLength("a", "b", 2000.0, 3.0)], [LOOP], (True,))
    begin = start(problem, 0.7, 0.0, problem.lens_of_lines())
    assert begin is not None
    x = begin + np.random.default_rng(0).normal(0, 0.01, problem.size)
    a, d = x[-2:]  # points on the line as the lens draws it: what their residuals are divided by is taken as constant
    optics, own = problem.camera(x, 1)
    rays = d * np.array([math.cos(a), math.sin(a)]) + np.outer([-0.4, 0.1, 0.5], [-math.sin(a), math.cos(a)])
    problem.straight = [(1, StraightLine(optics.project(x[own], rays)[0], 4.0))]
    step = 1e-6 * np.eye(problem.size)
    rough = np.array([(problem.residuals(x + h) - problem.residuals(x - h)) / 2e-6 for h in step]).T
    assert np.abs(problem.jacobian(x) - rough).max() < 1e-6 * np.abs(rough).max()  # the halo's direction is taken as constant


def test_a_lens_is_believed_to_bend_what_phones_bend() -> None:
    """Of the prior: the bending at the corner and inside has the stated standard deviation, whatever the polynomial."""
    meta = PhotoMeta("p", Path("p.jpg"), (4032, 3024), focal35_mm=26.0)
    optics = expected_lens(meta)
    r2 = math.hypot(4032, 3024) ** 2 / 4.0 / optics.focal_px**2
    for share in (1.0, 0.36):
        row = np.array([share * r2, (share * r2) ** 2, 0.0]) @ optics.bends
        assert np.linalg.norm(row) == pytest.approx(0.008, rel=0.02)


def test_a_lens_designed_equidistant_is_a_fish_eye() -> None:
    """Design 1 draws what OpenCV's fish-eye draws without its polynomial; and back."""
    meta = PhotoMeta("p", Path("p.jpg"), (4000, 3000))
    optics = replace(expected_lens(meta), design=(1.0, 0.0))
    rays = np.random.default_rng(3).uniform(-1.2, 1.2, (40, 2))
    seen, _, _ = optics.project(np.zeros(LENS), rays)
    same = lens.start_params("fisheye", optics.focal_px, meta.size_px)
    assert np.abs(seen - lens.project("fisheye", same, np.column_stack([rays, np.ones(40)]))[0]).max() < 1e-6
    assert np.abs(optics.rays(np.zeros(LENS), seen) - rays).max() < 1e-7


@pytest.mark.slow
def test_straight_lines_find_the_lens() -> None:
    """One photo without EXIF through EuRoC's camera (published: k1 -0.28340811, k2 0.07395907): the lines narrow the lengths,
    which stay inside U with and without them."""
    without, with_lines = ([clicked_lengths("drone", seed, 1, straight) for seed in range(10)] for straight in (False, True))
    assert np.median([np.median(u) for _, u in with_lines]) < 0.7 * np.median([np.median(u) for _, u in without])
    for both in (without, with_lines):
        errors, U = (np.concatenate(part) for part in zip(*both, strict=True))
        assert np.mean(np.abs(errors) <= U) >= 0.85


def test_a_calibrated_lens_is_believed() -> None:
    """The same lens as Brown's and as a rational polynomial with numerator alone is one lens."""
    size = (4000, 3000)
    brown = lens.start_params("brown", 2440.0, size)
    brown[[4, 5]] = -0.28340811, 0.07395907
    cov = np.diag([5.0, 1e-4, 8.0, 8.0, 1e-3, 1e-3, 1e-4, 1e-4, 1e-3]) ** 2
    rational, wide = lens.start_params("rational", 2440.0, size), np.diag([5.0, 1e-4, 8.0, 8.0, *[1e-3] * 8]) ** 2
    rational[4:6] = brown[4:6]
    meta = PhotoMeta("p", Path("p.jpg"), size)
    rays = np.random.default_rng(3).uniform(-0.7, 0.7, (40, 2))
    for model, params, u in (("brown", brown, cov), ("rational", rational, wide)):
        optics = expected_lens(meta, Camera("c", model, size, params, u, "profile"))
        seen = optics.project(np.zeros(LENS), rays)[0]
        assert np.abs(seen - lens.project("brown", brown, np.column_stack([rays, np.ones(40)]))[0]).max() < 0.01
        assert optics.u_focal == pytest.approx(5.0 / 2440.0)


def test_paper_that_curls_is_a_cause_of_its_own() -> None:
    """Corners of a sheet lifted by 1.5 mm, one after the other: the area stays inside U, of which the budget says so much; a
    payment card does not curl."""
    eyes = [(300.0, -1500.0, 1100.0), (1700.0, -1400.0, 1200.0)]
    for corner in range(4):
        lifted = np.where(np.arange(4) == corner, 1.5, 0.0)
        photos = [clicked_photo(k, eye, POINTS, SHEET, z=lifted) for k, eye in enumerate(eyes)]
        found = area(clicked_outline(fit_clicked(photos, (), [LOOP]), [LOOP]), "run")
        assert abs(found.value - 1.2e6) < 2.0 * found.u
        assert dict(found.budget)["paper that does not lie flat"] > 0.002 * found.value
    assert known_size("card").bends_mm == 0.0


# ------------------------------------------------------------------------------------------------- plan


def test_a_camera_that_does_not_say_what_it_is_may_be_a_wide_one() -> None:
    """Three photos of a camera that bends lines (k1 -0.3) and has no EXIF: the clicks find its lens, or the ranges say so."""
    both = [clicked_lengths("wide", seed, 3) for seed in range(4)]
    errors, U = (np.concatenate(part) for part in zip(*both, strict=True))
    assert np.mean(np.abs(errors) <= U) >= 0.9
    assert np.median(U) < 0.06


def test_a_plan_says_when_more_photos_no_longer_help(monkeypatch: pytest.MonkeyPatch) -> None:
    """Invented uncertainties: they fall to 2 mm and stay there; only a longer bar would bring 1 mm."""
    reached = {4: 4.0, 6: 2.1, 8: 2.06, 10: 2.04, 12: 2.03, 16: 2.02, 20: 2.01}

    def predicted(sketch: Sketch, count: int) -> Plan:
        U = 1.0 if sketch.bar_mm else reached[count]
        return Plan(sketch, (Standpoint(np.zeros(3), np.ones(3), False),) * count, np.zeros((8, 2)), (U,))

    monkeypatch.setattr("phototemplate.studies.plan.predict", predicted)
    best, tried = plan(Sketch((2000.0,)), 1.5)
    assert [len(p.standpoints) for p in tried] == [4, 6, 8, 10]
    assert len(best.standpoints) == 6
    assert [U for _, U in best.better] == [1.0]
    assert "bar" in best.better[0][0]
    assert "more photos no longer help" in instructions(best, 1.5)[-1]
    enough, _ = plan(Sketch((2000.0,)), 2.5)
    assert (len(enough.standpoints), enough.better) == (6, ())


def test_the_numbers_of_a_plan_do_not_lie_on_each_other() -> None:
    """An L with 14 photos: the rings of the numbers keep apart and off the places where one stands."""
    sketch = Sketch((2438.0, 1829.0))
    made = Plan(sketch, planned_standpoints(sketch, 14), np.zeros((0, 2)), ())
    circles = [item for item in plan_drawing(made).items if isinstance(item, Circle)]
    widest = max(c.radius_mm for c in circles)
    rings = [c for c in circles if c.radius_mm == widest]
    dots = [c for c in circles if c.radius_mm < 0.5 * widest]
    assert len(rings) == len(dots) == 14
    for k, a in enumerate(rings):
        others = list(rings[:k]) + [d for i, d in enumerate(dots) if i != k]
        assert all(math.dist(a.centre, b.centre) > a.radius_mm for b in others)


def test_plan_predicts_more_for_more_photos_and_a_better_length(tmp_path: Path) -> None:
    few, many = (predict(Sketch((2000.0,)), n) for n in (4, 10))
    assert many.worst_U_mm < few.worst_U_mm
    with_bar = predict(Sketch((2000.0,), bar_mm=1200.0), 10)
    assert with_bar.worst_U_mm < many.worst_U_mm
    # two lengths of 2000 mm cannot be known better than the tape between the sheets tells
    assert many.worst_U_mm > 2 * 0.8
    assert write_plan(many, [few, many], 2.0, tmp_path / "plan.pdf").stat().st_size > 1000
    for bad in (Sketch(()), Sketch((20.0,)), Sketch((2000.0,), sheets=2)):
        with pytest.raises(InputError):
            plan(bad, 2.0)
