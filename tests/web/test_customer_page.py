"""A price from a customer's photos in a browser, from messenger pictures to the sent quote, with every action counted."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from tests.bench._customers import Customer, customer
from tests.web.kit import FLAGS, Served, browser_path, served, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

MOST_ACTIONS = 30
"""count. Presses, choices, drags and typed fields from the first dropped photo to the sent quote. Derived: six seconds each
make three minutes."""


class Person:
    """Counts what a person does."""

    def __init__(self, page: Any) -> None:
        self.page, self.actions = page, 0

    def _key(self, key: str) -> Any:
        self.actions += 1
        return self.page.locator(f"[data-key='{key}']")

    def press(self, key: str) -> None:
        self._key(key).click()

    def choose(self, key: str, value: str) -> None:
        self._key(key).select_option(value)

    def type(self, key: str, text: str) -> None:
        field = self._key(key)
        field.fill(text)
        field.blur()


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Served]:
    with served(tmp_path / "jobs" / "kitchen") as one:
        yield one


def messenger(made: Customer, to: Path) -> list[Path]:
    """What a messenger makes of three photos: smaller, without a word on the camera; one as HEIC, one turned by EXIF."""
    to.mkdir()
    out = []
    for k, path in enumerate(sorted((made.folder / "photos").glob("*.jpg"))):
        with Image.open(path) as full:
            small = full.convert("RGB").resize((1600, 1200), Image.Resampling.LANCZOS)
            exif = full.getexif()
        if k == 0:
            pillow_heif.from_pillow(small).save(to / "IMG_1.heic", quality=80)
            out.append(to / "IMG_1.heic")
        elif k == 1:
            turned = small.rotate(90, expand=True)  # held upright: stored on its side, with the tag that turns it back
            exif[0x0112] = 6
            turned.save(to / "IMG_2.jpg", quality=85, exif=exif)
            out.append(to / "IMG_2.jpg")
        else:
            small.save(to / "IMG_3.jpg", quality=70)
            out.append(to / "IMG_3.jpg")
    return out


def test_from_messenger_photos_to_the_sent_quote(app: Served, tmp_path: Path) -> None:
    made = customer(1, tmp_path / "camera", "A4", 3, leg=1500.0)
    photos = messenger(made, tmp_path / "sent")
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=browser_path(), args=FLAGS)
        page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        page.set_default_timeout(180_000)
        troubles: list[str] = []
        page.on("pageerror", lambda e: troubles.append(str(e)))
        page.goto(app.address)
        page.locator("#nav a").first.wait_for()
        me = Person(page)
        me.press("nav-beside")
        me.press("nav-customer")
        page.locator("#photo-files").wait_for(state="attached")
        me.actions += 1
        page.locator("#photo-files").set_input_files([str(path) for path in photos])
        page.locator("[data-key=area]").wait_for()
        me.press("it-is-A4")
        page.locator("[data-key=which]").wait_for(state="detached")
        for key in ("photo-IMG_1", "photo-IMG_2", "photo-IMG_3"):
            me.press(key)
            if page.locator("[data-key=all-right]").count():
                me.press("all-right")
        before = page.locator("[data-key=area]").inner_text()
        _drag_a_corner(page, me)
        wait_for(lambda: page.locator("[data-key=area]").inner_text() != before, 60)
        page.locator("[data-key=undo-drag]").click()
        wait_for(lambda: page.locator("[data-key=area]").inner_text() == before, 60)
        me.actions += 1
        me.press("add-sink")
        wait_for(lambda: "1 sink" in page.locator(".side").inner_text(), 60)
        me.press("to-price")
        me.press("new-prices")
        page.locator("[data-key=stone-0]").wait_for()
        me.choose("stone-0", "granite, 3 cm")
        me.choose("finish-0", "eased")
        me.press("add-option")
        me.choose("stone-1", "quartzite, 3 cm")
        me.choose("finish-1", "mitred")
        me.type("distance", "12")
        me.type("customer-name", "A. Customer")
        me.press("estimate-ask")
        page.locator("[data-key=dl-quote]").wait_for()
        me.actions += 1
        with page.expect_download() as got:
            page.locator("[data-key=dl-quote]").click()
        assert Path(got.value.path()).read_bytes().startswith(b"%PDF")
        me.press("sent")
        page.locator("[data-key=sent-on]").wait_for()
        browser.close()
    assert not troubles
    assert me.actions <= MOST_ACTIONS, me.actions
    data = json.loads((app.folder / "results" / "quote.json").read_text(encoding="utf-8"))
    assert [o["stone"] for o in data["options"]] == ["granite, 3 cm", "quartzite, 3 cm"]
    assert data["cutouts"] == {"sink": 1}
    # the stone stands 1.5 in beyond the fronts, which the outline of the drawn cabinets does not know
    area, spread = data["quantities"]["area"], 38.1 * np.array([0.0, 2.0]) * 2600.0
    assert area["low"] - spread[1] < made.area_mm2 < area["high"]
    kept = tomllib.loads((app.folder / "quote.toml").read_text(encoding="utf-8"))
    assert kept["sent"]
    clicks = tomllib.loads((app.folder / "estimate.toml").read_text(encoding="utf-8"))
    assert not any(q.get("proposed") for q in clicks["photos"])


def _drag_a_corner(page: Any, me: Person) -> None:
    me.press("corner-c2")
    box = page.locator("canvas.stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y + 10, steps=4)
    page.locator(".loupe:not([hidden])").wait_for()
    page.mouse.up()
    me.actions += 1
