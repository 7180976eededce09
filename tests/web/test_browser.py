"""The app in a real browser, as one job from the first dropped photo to the DXF, with what goes wrong on the way.

One server and one job for the whole module: the tests build on each other, in the order in which they stand here.
"""

from __future__ import annotations

import contextlib
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.web.kit import ENVIRONMENT, FLAGS, Served, browser_path, few_photos, start, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
PlaywrightTimeout = playwright.TimeoutError

PHOTOS = ("IMG_2301", "IMG_2303", "IMG_2304", "IMG_2305", "IMG_2311")
BAR_MM = 1187.4


class Bench:
    """Server, browser and page; the server can be killed and started again."""

    def __init__(self, folder: Path, photos: list[Path], browser: Any) -> None:
        self.folder, self.photos, self.browser = folder, photos, browser
        self.app: Served = start(folder)
        self.requests: list[str] = []
        self.troubles: list[str] = []
        self.context: Any = None
        self.page = self.new_page()

    def new_page(self, **options: Any) -> Any:
        context = self.browser.new_context(viewport={"width": 1280, "height": 800}, **options)
        page = context.new_page()
        page.set_default_timeout(120_000)  # a busy machine is no failure
        page.on("request", lambda r: self.requests.append(r.url))
        page.on("pageerror", lambda e: self.troubles.append(str(e)))
        page.on("console", lambda m: self.troubles.append(m.text) if "Content Security Policy" in m.text else None)
        if self.context is None:
            self.context = context
            page.goto(self.app.address)
        else:  # the start key opens once; another window of the same person has the cookie
            context.add_cookies(self.context.cookies())
            page.goto(self.app.base)
        page.locator("#nav a").first.wait_for()
        return page

    def go(self, name: str, page: Any = None) -> Any:
        page = page or self.page
        page.goto(f"{self.app.base}/#{name}")
        page.locator(f"body[data-page={name.split('/')[0]}]").wait_for()
        return page

    def ask(self, path: str, page: Any = None) -> Any:
        return (page or self.page).evaluate("p => fetch(p).then(r => r.json())", path)

    def settled(self, seconds: float = 240.0) -> dict[str, Any]:
        """The result that belongs to the job file as it is."""

        def done() -> Any:
            state = self.ask("/api/state")
            if state["work"]["state"] == "failed":
                raise AssertionError(state["trouble"])
            result = self.ask("/api/result") if state["result"] else None
            now = result and state["work"]["state"] == "idle" and result["revision"] == state["revision"]
            return result if now and not result.get("shaping") else None

        return wait_for(done, seconds, 0.25)  # type: ignore[return-value]

    def screen(self, xy: list[float], page: Any = None) -> list[float]:
        out: list[float] = (page or self.page).evaluate(
            "p => { const s = window.phototemplateStage, q = s.toScreen(p), b = s.canvas.getBoundingClientRect();"
            " return [q[0] + b.left, q[1] + b.top]; }", xy,
        )  # fmt: skip
        return out


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    path = browser_path()
    photos = few_photos(tmp_path_factory.mktemp("camera"), PHOTOS)
    folder = tmp_path_factory.mktemp("job")
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=path, args=FLAGS)
        one = Bench(folder, photos, browser)
        yield one
        browser.close()
        one.app.kill()


def test_photos_are_dropped_and_looked_at(bench: Bench) -> None:
    page = bench.go("photos")
    data = [{"name": p.name, "data": list(p.read_bytes())} for p in bench.photos[:1]]
    # a real drop for the first, the file chooser for the others
    page.evaluate(
        """files => { const t = new DataTransfer();
        for (const f of files) t.items.add(new File([new Uint8Array(f.data)], f.name, {type: 'image/jpeg'}));
        const drop = new DragEvent('drop', {dataTransfer: t, bubbles: true, cancelable: true});
        document.querySelector('.page').dispatchEvent(drop); }""",
        data,
    )
    page.locator("#photo-files").set_input_files([str(p) for p in bench.photos[1:]])
    page.locator(".photo.seen").nth(len(bench.photos) - 1).wait_for(timeout=300_000)
    assert page.locator(".photo.seen img").count() == len(bench.photos)
    assert page.locator(".thumb polygon").count() > 30
    assert {p.name for p in (bench.folder / "photos").iterdir()} == {f"{n}.jpg" for n in PHOTOS}


def test_what_cannot_be_used_says_why(bench: Bench, tmp_path: Path) -> None:
    page = bench.page
    big = tmp_path / "film.jpg"
    with big.open("wb") as file:
        file.truncate(100_000_000)
    text = tmp_path / "notes.jpg"
    text.write_text("not a picture, though it says so " * 10)
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff\xe0" + bytes(3000))
    page.locator("#photo-files").set_input_files([str(big), str(text), str(broken), str(bench.photos[0])])
    refused = page.locator(".photo.bad")
    refused.nth(3).wait_for(timeout=120_000)
    words = " ".join(refused.all_inner_texts())
    for part in ("Larger than 80 MB", "Not a picture that can be read", "broken", "The same file as IMG_2301"):
        assert part in words
    assert len(list((bench.folder / "photos").iterdir())) == len(PHOTOS)
    while refused.count():  # the list is drawn anew at every event, so a button may vanish under the pointer
        with contextlib.suppress(PlaywrightTimeout):
            refused.first.get_by_role("button").click(timeout=2_000)


def test_a_known_length_is_given_in_words(bench: Bench) -> None:
    page = bench.go("lengths")
    value = page.locator('[data-key="lengths.new.value"]')
    for text, says in (("abc", "is no length"), (str(BAR_MM), "Which one is meant?")):
        value.fill(text)
        value.press("Tab")
        page.locator(".field-says", has_text=says).wait_for()
        assert value.input_value() == text  # nothing that was typed is lost
        assert not bench.ask("/api/state")["job"].get("lengths")
    # read in inches it would be 99 ft: both readings are offered
    page.locator(".field-says button").first.click()
    assert value.input_value() == f"{BAR_MM} mm"
    page.locator('[data-key="lengths.add"]').click()
    page.get_by_role("heading", name="bar B01 – B02").wait_for()
    assert f'value = "{BAR_MM} mm"' in (bench.folder / "job.toml").read_text()
    assert bench.settled()["unscaled"] is False


def test_what_lies_under_the_sheets_is_asked_before_edges_are_proposed(bench: Bench) -> None:
    wait_for(lambda: bench.ask("/api/state")["top"], 240)
    time.sleep(2.0)
    assert not bench.ask("/api/state")["proposals"]
    page = bench.go("edges")
    assert page.locator('[data-key="propose"]').is_disabled()
    page.locator('[data-key="next"]').click()
    page.locator("body[data-page=sheets]").wait_for()
    page.locator('[data-key="under-board"]').click()
    page.locator('[data-key="board-5"]').click()
    wait_for(lambda: 'thickness_mm = "5.1 mm"' in (bench.folder / "job.toml").read_text())
    page.locator('[data-key="under-cabinet"]').click()
    wait_for(lambda: 'lies_on = "cabinet"' in (bench.folder / "job.toml").read_text())
    assert "thickness_mm" not in (bench.folder / "job.toml").read_text()
    wait_for(lambda: bench.ask("/api/state")["proposals"], 240)


def open_proposals(bench: Bench) -> list[dict[str, Any]]:
    state = bench.ask("/api/state")
    edges = {e["id"] for e in state["job"].get("edges", [])}
    return [p for p in state["proposals"] if state["accepted"].get(p["key"]) not in edges]


def test_proposed_edges_are_looked_at_one_by_one(bench: Bench) -> None:
    page = bench.go("edges")
    page.locator(".question").wait_for(timeout=300_000)
    n = len(open_proposals(bench))
    assert n >= 2
    page.locator(".closeup figure:not([hidden])").first.wait_for(timeout=120_000)
    page.locator('[data-key="p-no"]').click()
    wait_for(lambda: len(open_proposals(bench)) == n - 1)
    for k in range(2):
        page.locator('[data-key="p-yes"]').click()
        wait_for(lambda k=k: len(open_proposals(bench)) == n - 2 - k)
    result = bench.settled()
    assert len(result["edges"]) == 2
    assert any(e["found"] for e in result["edges"])
    # taken back, the edge is asked about again
    page.keyboard.press("Control+z")
    wait_for(lambda: len(open_proposals(bench)) == n - 2)
    page.keyboard.press("Control+Shift+z")
    wait_for(lambda: len(open_proposals(bench)) == n - 3)
    bench.settled()


def test_a_rough_line_snaps_to_the_edge(bench: Bench) -> None:
    """The demo's rough path, drawn by mouse in the top view: the traced edge appears with its U."""
    hint = next(e for e in _demo_job()["edges"] if e["id"] == "front-right")
    page = bench.go("edges")
    wait_for(lambda: page.evaluate("() => window.phototemplateStage && window.phototemplateStage.extent && true"))
    sheet = next(s for s in bench.ask("/api/result")["sheets"] if s["id"] == hint["sheet"])
    top_left, top_right, _, low_left = (np.array(c) for c in sheet["corners"])
    x = (top_right - top_left) / np.linalg.norm(top_right - top_left)
    y = (top_left - low_left) / np.linalg.norm(top_left - low_left)
    page.locator('[data-key="draw"]').click()
    page.locator(".stage-hint", has_text="Press along the edge").wait_for()
    n = len(bench.ask("/api/state")["job"]["edges"])
    for u, v in (hint["path"][0], hint["path"][-1]):
        page.mouse.click(*bench.screen(list(np.array(sheet["centre"][:2]) + u * x + v * y)))
    wait_for(lambda: len(bench.ask("/api/state")["job"]["edges"]) > n)
    result = bench.settled()
    new = result["edges"][-1]
    assert new["kind"] == "front"
    assert new["found"], result["findings"]
    assert new["n_photos"] >= 2
    # five photos of half size, one phone: U is large; larger still only where it is said that the line is in question
    asked = {f["code"] for f in result["findings"] if f["where"] == new["id"]} & {"edge-ambiguous", "edge-wavering"}
    assert 0 < max(new["U"]) < (20 if asked else 10), result["findings"]
    figure = page.locator(f'[data-key="edge-{new["id"]}"] .edge-figure')
    wait_for(lambda: "known to ±" in figure.inner_text())


def test_dragging_an_end_shows_the_photos_and_moves_the_hint(bench: Bench) -> None:
    page = bench.go("edges")
    edge = bench.ask("/api/result")["edges"][-1]
    head = page.locator(f'[data-key="edge-{edge["id"]}"]')
    if head.get_attribute("aria-expanded") != "true":
        head.click()
    a, b = bench.screen(edge["hint"][0]), bench.screen(edge["seen"][0])
    before = (bench.folder / "job.toml").read_text()
    page.mouse.move(*a)
    page.mouse.down()
    page.mouse.move(a[0] + 8, a[1] + 4, steps=5)
    page.locator(".loupe figure:not([hidden])").first.wait_for(timeout=120_000)
    page.mouse.move(*b, steps=3)  # onto the line that was found
    page.mouse.up()
    wait_for(lambda: (bench.folder / "job.toml").read_text() != before)
    moved = next(e for e in bench.settled()["edges"] if e["id"] == edge["id"])
    assert moved["found"]
    assert "sheet = " in (bench.folder / "job.toml").read_text()  # anchored to the nearest sheet
    page.keyboard.press("Control+z")
    wait_for(lambda: (bench.folder / "job.toml").read_text() == before)
    page.keyboard.press("Control+Shift+z")
    wait_for(lambda: (bench.folder / "job.toml").read_text() != before)
    bench.settled()


def test_keyboard_alone_moves_the_view_and_an_end(bench: Bench) -> None:
    page = bench.go("edges")
    canvas = page.locator("canvas.stage")
    canvas.focus()
    view = lambda: page.evaluate("() => ({...window.phototemplateStage.view})")  # noqa: E731
    first = view()
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    second = view()
    assert second["k"] > first["k"]
    assert (second["x"], second["y"]) != (first["x"], first["y"])
    page.keyboard.press("0")
    edge = bench.ask("/api/result")["edges"][-1]
    if page.locator(f'[data-key="edge-{edge["id"]}"]').get_attribute("aria-expanded") != "true":
        page.locator(f'[data-key="edge-{edge["id"]}"]').press("Enter")
    page.locator(f'[data-key="end-{edge["id"]}-0"]').press("Enter")
    before = (bench.folder / "job.toml").read_text()
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("Escape")
    assert (bench.folder / "job.toml").read_text() == before
    page.locator(f'[data-key="end-{edge["id"]}-0"]').press("Enter")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    wait_for(lambda: (bench.folder / "job.toml").read_text() != before)
    bench.settled()


def test_pinch_zooms_about_the_fingers(bench: Bench) -> None:
    page = bench.new_page(has_touch=True)
    bench.go("edges", page)
    wait_for(lambda: page.evaluate("() => window.phototemplateStage && window.phototemplateStage.extent && true"))
    box = page.locator("canvas.stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    middle = page.evaluate("([x, y]) => window.phototemplateStage.toWorld([x, y])", [box["width"] / 2, box["height"] / 2])
    before = page.evaluate("() => window.phototemplateStage.view.k")
    cdp = page.context.new_cdp_session(page)

    def touch(kind: str, gap: float) -> None:
        points = [] if kind == "touchEnd" else [{"x": x - gap, "y": y, "id": 0}, {"x": x + gap, "y": y, "id": 1}]
        cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 40)
    for gap in (50, 60, 70, 80):
        touch("touchMove", gap)
    touch("touchEnd", 0)
    after = page.evaluate("() => window.phototemplateStage.view.k")
    assert after / before == pytest.approx(2.0, rel=0.05)
    again = page.evaluate("([x, y]) => window.phototemplateStage.toWorld([x, y])", [box["width"] / 2, box["height"] / 2])
    assert again == pytest.approx(middle, abs=2.0 / after)
    page.context.close()


def test_a_second_window_follows_and_does_not_overwrite(bench: Bench) -> None:
    other = bench.new_page()
    bench.go("job", other)
    revision = bench.ask("/api/state")["revision"]
    bench.go("job")
    field = bench.page.locator('[data-key="name"]')
    field.fill("first window")
    field.press("Tab")
    wait_for(lambda: other.locator("#job-name").inner_text() == "first window", 10)
    # what is being typed outlives a change from elsewhere, and is taken when the field is left
    bench.page.locator('[data-key="customer"]').click()
    bench.page.keyboard.type("Somebody")
    other.locator('[data-key="address"]').fill("1 Test Street")
    other.locator('[data-key="address"]').press("Tab")
    wait_for(lambda: bench.page.locator('[data-key="address"]').input_value() == "1 Test Street", 20)
    bench.page.keyboard.press("Tab")
    wait_for(lambda: 'customer = "Somebody"' in (bench.folder / "job.toml").read_text(), 20)
    # a change based on what was there before is refused and nothing is overwritten
    answer = other.evaluate(
        "r => fetch('/api/edit', {method: 'POST', body: JSON.stringify({revision: r, label: {key: 'x'}, operations: "
        "[{op: 'set', at: ['name'], value: 'second window'}]})}).then(async a => [a.status, await a.json()])", revision,
    )  # fmt: skip
    assert answer[0] == 409
    assert answer[1]["error"] == "conflict"
    assert 'name = "first window"' in (bench.folder / "job.toml").read_text()
    other.context.close()


def test_kill_minus_nine_loses_nothing(bench: Bench) -> None:
    before = (bench.folder / "job.toml").read_bytes()
    undo = bench.ask("/api/state")["undo"]
    bench.page.evaluate("() => fetch('/api/measure', {method: 'POST', body: '{}'})")
    bench.app.kill()
    bench.page.get_by_text("does not answer").first.wait_for(timeout=60_000)
    assert (bench.folder / "job.toml").read_bytes() == before
    bench.app = start(bench.folder)
    # the page that was open finds the app again by itself
    wait_for(lambda: bench.page.locator("#alert").is_hidden(), 60)
    state = bench.ask("/api/state")
    assert state["undo"] == undo
    assert state["result"], "the last result is there at once"
    bench.page.locator("h1").click()  # out of the field
    bench.page.keyboard.press("Control+z")
    wait_for(lambda: b"Somebody" not in (bench.folder / "job.toml").read_bytes())
    bench.page.keyboard.press("Control+y")
    wait_for(lambda: b"Somebody" in (bench.folder / "job.toml").read_bytes())


def test_reload_in_the_middle_and_stop(bench: Bench) -> None:
    page = bench.go("edges")
    wait_for(lambda: bench.ask("/api/state")["work"]["state"] == "measuring", 60)
    page.reload()
    page.locator("#nav a").first.wait_for()
    assert page.evaluate("() => fetch('/api/cancel', {method: 'POST', body: '{}'}).then(r => r.json())")["stopped"] is True
    page.get_by_text("Measuring was stopped").first.wait_for(timeout=60_000)
    page.locator('[data-key="again"]').click()
    assert bench.settled(180)["edges"]


def test_distance_has_its_uncertainty_in_fractions(bench: Bench) -> None:
    page = bench.go("distance")
    wait_for(lambda: page.evaluate("() => window.phototemplateStage && window.phototemplateStage.extent && true"))
    page.locator('[data-key="zoom.fit"]').click()
    time.sleep(0.2)
    sheets = bench.ask("/api/result")["sheets"]
    a, b = sheets[0]["centre"], max(sheets, key=lambda s: abs(s["centre"][0] - sheets[0]["centre"][0]))["centre"]
    for place in (a, b):
        page.mouse.click(*bench.screen(place))
        time.sleep(0.2)
    card = page.locator(".distance .big").first
    card.wait_for()
    bench.settled()
    page.reload()
    card.wait_for()  # it is kept with the job
    assert "[[distances]]" in (bench.folder / "job.toml").read_text()
    text = card.inner_text()
    shown = float(re.search(r"([\d.]+) mm", text).group(1))
    assert re.search(r"\d+( \d+/\d+)? in", text)
    assert shown == pytest.approx(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5, abs=30)
    assert "known to ±" in page.locator(".distance .big-u").first.inner_text()


def test_the_drawing_is_that_of_the_command_line(bench: Bench, tmp_path: Path) -> None:
    page = bench.go("finish")
    page.locator('[data-key="write"]').click()
    link = page.locator('[data-key="dl-dxf"]')
    link.wait_for(timeout=120_000)
    with page.expect_download() as waiting:
        link.click()
    mine = tmp_path / "app.dxf"
    waiting.value.save_as(mine)
    # the same job elsewhere, from its archive, by the command line
    page.locator('[data-key="pack"]').click()
    page.locator('[data-key="dl-archive"]').wait_for(timeout=120_000)
    with page.expect_download() as waiting:
        page.locator('[data-key="dl-archive"]').click()
    archive = tmp_path / "job.zip"
    waiting.value.save_as(archive)
    elsewhere = tmp_path / "elsewhere"
    shutil.unpack_archive(archive, elsewhere)
    shutil.rmtree(elsewhere / "results")
    # the same number of threads: sums over threads differ in their last digits
    done = subprocess.run(
        [sys.executable, "-m", "phototemplate", "measure", str(elsewhere), "--json"],
        capture_output=True, text=True, check=False, env=ENVIRONMENT,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    theirs = elsewhere / "results" / "outline.dxf"
    assert same_drawing(mine.read_text(errors="replace"), theirs.read_text(errors="replace"))


def same_drawing(a: str, b: str) -> bool:
    """Equal line by line, but for the moment of writing, the identity that DXF gives every file, and the order of its classes.

    Numbers may differ by a millionth of the unit: edges that were measured one after the other, and all at once, are added
    up in another order.
    """

    def plain(text: str) -> list[str]:
        text = re.sub(r"  2\nCLASSES\n.*?\nENDSEC\n", "", text, flags=re.DOTALL)
        text = re.sub(r"(\$TD\w+\s+40\s+)[\d.E+-]+", r"\1", text)
        text = re.sub(r"(\$(?:FINGERPRINTGUID|VERSIONGUID)\s+2\s+)\S+", r"\1", text)
        return re.sub(r"\d{4}-\d\d-\d\d[T ][\d:.+-]*", "", text).splitlines()

    def same(x: str, y: str) -> bool:
        if x == y:
            return True
        try:
            return "." in x and abs(float(x) - float(y)) < 1e-6
        except ValueError:
            return False

    one, other = plain(a), plain(b)
    return len(one) == len(other) and all(map(same, one, other))


def test_nothing_left_this_machine_and_nothing_was_blocked(bench: Bench) -> None:
    foreign = [u for u in bench.requests if not u.startswith(("http://127.0.0.1:", "blob:", "data:"))]
    assert not foreign
    assert not bench.troubles
    assert len(bench.requests) > 50


def _demo_job() -> dict[str, Any]:
    import tomllib

    from tests.web.kit import DEMO

    return tomllib.loads((DEMO.parent / "job.toml").read_text())
