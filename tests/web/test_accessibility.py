"""Every page, with every form open, against the rules of axe-core (WCAG 2.1 A and AA), on a large screen and on a phone's."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from typing import Any

import pytest

from tests.web.kit import FLAGS, browser_path, demo_job, missing, start_on, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
AXE = "axe-core@4.10.3"
PAGES = (
    "start", "prepare", "photos", "photo/IMG_2301", "lengths", "sheets", "check", "edges", "runs", "stone", "finish",
    "distance", "wall", "customer", "estimate", "slab", "job", "plan", "calibrate", "help",
)  # fmt: skip
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    npm = shutil.which("npm")
    if npm is None:
        missing("npm is not on this machine; install Node 20 or newer")
    folder = tmp_path_factory.mktemp("axe")
    command = [str(npm), "install", "--prefix", str(folder), "--no-save", "--no-audit", "--no-fund", "--ignore-scripts", AXE]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        missing(f"axe-core could not be fetched: {done.stderr[-300:]}")
    return (folder / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The demo job, measured, in a folder of jobs: a page at 1280 px and one at 390 px in the dark theme."""
    folder = tmp_path_factory.mktemp("jobs")
    demo_job(folder / "kitchen")
    app = start_on(folder)
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=browser_path(), args=FLAGS)
        large = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        small = browser.new_context(viewport={"width": 390, "height": 800}, color_scheme="dark", has_touch=True).new_page()
        for page in (large, small):
            page.set_default_timeout(60_000)
        large.goto(app.address)
        large.locator('[data-key="open-kitchen"]').wait_for()
        small.context.add_cookies(large.context.cookies())  # the start key opens once
        small.goto(app.base)
        large.locator('[data-key="open-kitchen"]').click()

        def measured() -> Any:
            state = large.evaluate("() => fetch('/api/state').then(r => r.json())")
            return state.get("result") and state.get("top")

        wait_for(measured, 240)
        yield app, (large, small)
        browser.close()
    app.kill()


@pytest.mark.slow
@pytest.mark.parametrize("name", PAGES)
def test_no_violation_with_every_form_open(pages: Any, axe: str, name: str) -> None:
    app, both = pages
    for page in both:
        page.goto(f"{app.base}/#{name}")
        page.locator(f"body[data-page={name.split('/')[0]}]").wait_for()
        page.wait_for_timeout(500)
        for _ in range(3):  # forms within forms
            page.evaluate("() => { for (const d of document.querySelectorAll('details')) d.open = true; }")
        page.evaluate(axe)
        found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)["violations"]
        told = [(v["id"], v["help"], [n["html"][:160] for n in v["nodes"][:3]]) for v in found]
        assert not told, told
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), "the page is wider than the screen"


@pytest.mark.slow
def test_the_rules_are_really_run(pages: Any, axe: str) -> None:
    app, (page, _) = pages
    page.goto(f"{app.base}/#help")
    page.locator("body[data-page=help]").wait_for()
    page.evaluate("() => { const i = document.createElement('input'); document.getElementById('main').append(i); }")
    page.evaluate(axe)
    found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)["violations"]
    assert [v["id"] for v in found] == ["label"]
    page.reload()
