"""A quote: who, until when, options side by side, the range in words, the same in every file."""

from __future__ import annotations

import html
import json
import pickle
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pypdfium2
import pytest
import shapely

from phototemplate.errors import InputError
from phototemplate.studies.estimate import Estimate, estimate
from phototemplate.studies.price_list import COMMENTED, PriceList, read_price_list
from phototemplate.studies.pricing import Choice
from phototemplate.studies.quote import Quote, compared_rows, narrowed_words, sketch
from phototemplate.studies.quote_file import QuoteFile, read_quote_file
from phototemplate.studies.quote_pages import quote_html, write_quote
from phototemplate.template.drawing import Polyline, Text, flatten_polyline
from phototemplate.template.spec import AlongSpec, CutoutSpec, PieceSpec, ShopSpec, SplashSpec, TemplateSpec
from phototemplate.wording.phrases import QUOTES, Phrase, day_words, told
from tests.template.samples import rectangle

QUOTE = """
number = "2026-117"
date = 2026-03-14
[customer]
name = "A. Customer & Sons"
[site]
removal = true
distance = 20
[[options]]
title = "Granite"
stone = "granite, 3 cm"
finish = "eased"
[[options]]
stone = "quartzite, 3 cm"
finish = "eased"
finishes = { front = "mitred" }
"""


@pytest.fixture
def prices(tmp_path: Path) -> PriceList:
    (tmp_path / "prices.toml").write_text(COMMENTED, encoding="utf-8")
    return read_price_list(tmp_path / "prices.toml")


@pytest.fixture
def quote(prices: PriceList, tmp_path: Path) -> Quote:
    (tmp_path / "quote.toml").write_text(QUOTE, encoding="utf-8")
    file = read_quote_file(tmp_path / "quote.toml")
    options = tuple((title, made(prices, choice)) for title, choice in file.choices(Choice()))
    return Quote(prices.shop, file, options, date(2026, 1, 1))


def made(prices: PriceList | None, choice: Choice, unscaled: bool = False) -> Estimate:
    sink = CutoutSpec(
        id="sink", run="front", along=AlongSpec(edge="left", distance=1200.0), setback=90.0, width=700.0, depth=400.0
    )
    piece = PieceSpec(id="top", loop="run", splashes=[SplashSpec(id="s", edge="back", height=100.0)], cutouts=[sink])
    outline = replace(rectangle(2400.0, 620.0), unscaled=unscaled)
    spec = TemplateSpec(pieces=[piece], shop=ShopSpec())
    return estimate(outline, spec, job="kitchen", prices=prices, choice=choice, printed=True)


def test_dates_number_and_options(quote: Quote) -> None:
    assert (quote.number, quote.dated, quote.valid_until) == ("2026-117", date(2026, 3, 14), date(2026, 4, 13))
    assert [quote.title(k) for k in range(2)] == ["Granite", "quartzite, 3 cm, eased"]
    plain = Quote(quote.shop, QuoteFile(), quote.options, date(2026, 1, 2))
    assert (plain.number, plain.dated) == ("20260102 kitchen", date(2026, 1, 2))
    rows = dict(compared_rows(quote))
    assert rows["slabs of quartzite, 3 cm"] == ["", "1,450"]
    assert rows["removal of the old top"] == ["150", "150"]
    assert rows["edge, mitred"][0] == ""
    assert next(iter(rows)).startswith("top, granite, 3 cm")


def test_every_file_says_the_same(quote: Quote, tmp_path: Path) -> None:
    written = write_quote(quote, tmp_path / "out")
    pdf = " ".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(str(written["quote"])))
    page = re.sub(r"<[^>]+>", " ", written["page"].read_text(encoding="utf-8")).replace("&amp;", "&")
    data = json.loads(written["data"].read_text(encoding="utf-8"))
    for k, (_, option) in enumerate(quote.options):
        assert option.price is not None
        assert data["options"][k]["likely"] == pytest.approx(option.price.likely)
        lines = sum(line["likely"] for line in data["options"][k]["lines"])
        assert option.price.likely == pytest.approx(round(lines * 1.0825), abs=1.0)
        for text in (pdf, page):
            assert f"{option.price.likely:,.0f}" in text
            assert narrowed_words(option) in " ".join(text.split())
    said = ["A. Customer & Sons", "2026-117", "14 March 2026", "13 April 2026", "Sample Stone Shop", "plumbing",
            "Half with the order", "3 cm", "not a template", "Silica"]  # fmt: skip
    for text in (pdf, page):
        assert not [s for s in said if s not in " ".join(text.split())]
    assert "<script" not in written["page"].read_text(encoding="utf-8")
    assert "http" not in page.replace("http-equiv", "")


def test_every_sentence_stands_in_every_language_with_facts_that_exist() -> None:
    english = QUOTES["en"]
    for language, sentences in QUOTES.items():
        assert sentences.keys() == english.keys(), language
        assert all(sentences[key] or not english[key] for key in english)
    said = Phrase("option", title="A, B", words=Phrase("price-between", low=1450.0, high=12610.4))
    assert said == "A, B: From what the photos show, the price lies between 1,450 and 12,610."
    assert told(said, "de") == "A, B: Nach dem, was die Fotos zeigen, liegt der Preis zwischen 1.450 und 12.610."
    assert told(pickle.loads(pickle.dumps(said)), "de") == told(said, "de")
    assert [day_words(date(2026, 3, 4), language) for language in ("en", "de")] == ["04 March 2026", "4. März 2026"]


def test_a_quote_in_german_says_the_same_and_nothing_in_english(prices: PriceList, tmp_path: Path) -> None:
    text = QUOTE.replace("[customer]", 'language = "de"\n[customer]').replace('title = "Granite"\n', "")
    (tmp_path / "quote.toml").write_text(text, encoding="utf-8")
    file = read_quote_file(tmp_path / "quote.toml")
    named = {"area": {"Granit": 65.0}, "waste_percent": {"Granit": 10.0}, "slab": {}, "slab_size": {}, "fixed": {},
             "edge": {"gefast": 9.0}, "shop": {"name": "Muster"}}
    shop = PriceList.model_validate({**prices.model_dump(exclude_none=True), **named})
    quote = Quote(shop.shop, file, (("", made(shop, Choice("Granit", "gefast", removal=True, distance=20.0), True)),),
                  date(2026, 1, 1))
    written = write_quote(quote, tmp_path / "out")
    pdf = " ".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(str(written["quote"])))
    page = html.unescape(re.sub(r"<[^>]+>", " ", written["page"].read_text(encoding="utf-8").partition("</style>")[2]))
    price = quote.first.price
    assert price is not None
    for shown in (" ".join(pdf.split()), " ".join(page.split())):
        for wanted in ("14. März 2026", "Angebot 2026-117", "Platte, Granit, mit 10 % Verschnitt", "Ausschnitt, Spüle",
                       "Fläche", "Ausbau der alten Platte", "Bitte messen Sie", "Quarzstaub", "kein Aufmaß",
                       f"{price.likely:,.0f}".replace(",", "."), f"{quote.first.area.value / 1e6:.2f} m²".replace(".", ",")):
            assert wanted in shown, wanted
        english = {"the", "and", "with", "of", "from", "area", "edge", "weight", "slabs", "no", "price", "size"}
        left = set(re.findall(r"[a-z]+", shown.lower())) & english
        assert not left, shown
    assert "Rohplatte 1: " in pdf


def test_what_customers_write_stays_text(quote: Quote) -> None:
    file = quote.file.model_copy(update={"note": "<b>5 < 6</b> & more"})
    assert "&lt;b&gt;5 &lt; 6&lt;/b&gt; &amp; more" in quote_html(replace(quote, file=file))


def test_a_tape_length_is_said_to_narrow_the_price(prices: PriceList) -> None:
    loose = made(prices, Choice("granite, 3 cm", "eased", distance=0.0), unscaled=True)
    assert loose.price is not None
    assert loose.ask is not None
    words = narrowed_words(loose)
    low, high, then_low, then_high = (float(n.replace(",", "")) for n in re.findall(r"[\d,]*\d", words))
    assert low < then_low < loose.price.likely < then_high < high
    sure = made(prices, Choice("granite, 3 cm", "eased", distance=0.0))
    assert sure.price is not None
    assert (then_high - then_low) > sure.price.high - sure.price.low
    dear = prices.model_copy(update={"minimum": 9e4})
    assert "minimum charge" in narrowed_words(made(dear, Choice("granite, 3 cm", "eased", distance=0.0)))
    assert narrowed_words(made(None, Choice())) == ""


def test_the_drawing_shows_pieces_sink_and_splash_and_no_tolerances(quote: Quote) -> None:
    drawing = sketch(quote.first)
    shapes = {i.layer: i for i in drawing.items if isinstance(i, Polyline)}
    assert set(shapes) == {"STONE-SHAPE", "STONE-CUTOUT", "SPLASH-FOOT"}
    top, sink = (shapely.Polygon(flatten_polyline(shapes[name].array, True)) for name in ("STONE-SHAPE", "STONE-CUTOUT"))
    assert top.contains(sink)
    texts = [i for i in drawing.items if isinstance(i, Text)]
    assert all("±" not in t.text and "U " not in t.text for t in texts)
    for t in texts:
        if t.layer == "STONE-NAMES":
            assert top.difference(sink).contains(shapely.Point(t.position))


def test_faults_of_the_file_are_named(tmp_path: Path) -> None:
    path = tmp_path / "quote.toml"
    assert read_quote_file(path) == QuoteFile()
    path.write_text("[custmer]\nname = 'x'\n", encoding="utf-8")
    with pytest.raises(InputError, match="custmer"):
        read_quote_file(path)
    path.write_text("[[options]]\ntitle = 3\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"options\.1\.title"):
        read_quote_file(path)
