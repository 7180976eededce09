"""Whole jobs, from an empty folder to the file that is handed over, by mouse, by finger and by keyboard alone.

Nothing is typed but lengths; no file is named. What the app proposes is accepted one by one, and where it says that something
is missing, that is drawn. The demo's truth judges what comes out.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from phototemplate.numerics.rigid import fit_rigid
from phototemplate.studies.price_list import new_price_list
from tests.web.hands import HANDS, Keyboard, Mouse
from tests.web.kit import DEMO, FLAGS, Served, browser_path, demo_photos, halved, start_on, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.slow
WHEN_ASKED = pytest.mark.skipif(
    not os.environ.get("PHOTOTEMPLATE_WHOLE_JOBS"),
    reason="the front that the photos leave out is not yet drawn to its end; PHOTOTEMPLATE_WHOLE_JOBS=1 runs it",
)
LONG_S = 240.0
ROUGH_MM = 5.0
"""mm. How far beside an edge somebody presses who draws it roughly. Source: the demo's job file, 3 to 8 mm"""
PLAIN_MM = 60.0
"""mm. A line that lies farther from every edge is seen to be none by anybody who looks at the picture"""
GAP_LEAST_MM = 300.0
"""mm. What the page shows of a gap at the least (edges.js)"""
SIZES = {"mouse": (1400, 900), "touch": (820, 1180), "keyboard": (1280, 800)}


class Person:
    """Somebody before the app, with one kind of hand."""

    def __init__(self, app: Served, page: Any, hand: Mouse) -> None:
        self.app, self.page, self.hand = app, page, hand

    def state(self) -> Any:
        return self.page.evaluate("() => fetch('/api/state').then(r => r.json())")

    def settled(self) -> Any:
        """The result that belongs to the job as it is, with everything that follows from it."""

        def done() -> Any:
            state = self.state()
            assert state["work"]["state"] != "failed", state["trouble"]
            if not state.get("result") or state["work"]["state"] not in ("idle", "measured"):
                return None
            result = self.page.evaluate("() => fetch('/api/result').then(r => r.json())")
            return result if result["revision"] == state["revision"] and not result.get("shaping") else None

        return wait_for(done, LONG_S, 0.25)

    def on(self, page: str) -> None:
        self.page.locator(f"body[data-page={page}]").wait_for()

    def next(self, page: str) -> None:
        """What the app says is next leads to this page; a page that is open already stays."""

        self.page.locator(f'.next[data-next="{page}"]').first.wait_for(timeout=LONG_S * 1000)
        if self.page.locator("body").get_attribute("data-page") != page:
            self.hand.press("next")
        self.on(page)

    def beside(self, page: str) -> None:
        """A page that is not on the way of a job."""
        self.hand.press("nav-beside")
        self.hand.press(f"nav-{page}")
        self.on(page)

    def begin(self, purpose: str, photos: list[Path]) -> None:
        """A new job with its photos."""
        self.hand.press(f"purpose-{purpose}")
        self.hand.press("make-job")
        self.page.locator('[data-key="nav-photos"]').wait_for()
        self.hand.press("nav-photos")
        self.on("photos")
        self.hand.hand_over(photos)
        self.page.locator(".photo.seen").nth(len(photos) - 1).wait_for(timeout=LONG_S * 1000)

    def give_length(self, text: str) -> None:
        self.next("lengths")
        self.hand.write("lengths.new.value", text)
        self.hand.press("lengths.add")
        wait_for(lambda: self.state()["job"].get("lengths"))

    def accept_one_by_one(self, turn_down: str = "") -> list[str]:
        """Look at each proposal and say yes, unless it lies where no edge is to be seen; the kind that is turned down once
        comes back in what is missing."""
        self.page.locator(".question").wait_for(timeout=LONG_S * 1000)
        while self.page.locator(".question").count():
            n = len(self.open_proposals())
            first = self.open_proposals()[0]
            traced = first["source"] == "trace"
            no = (traced and first["kind"] == turn_down and not self.refused) or self.is_elsewhere(first["line"])
            if no:
                self.refused.append(first["key"])
            self.hand.press("p-no" if no else "p-yes")
            wait_for(lambda n=n: len(self.open_proposals()) == n - 1)
        return self.kinds()

    refused: list[str] = []

    def kinds(self) -> list[str]:
        return [e["kind"] for e in self.state()["job"].get("edges", [])]

    def open_proposals(self) -> Any:
        return self.page.evaluate("() => import('/static/store.js').then(m => m.openProposals())")

    def offers(self) -> Any:
        return self.page.evaluate("() => import('/static/offers.js').then(m => m.offers())")

    def draw_what_is_missing(self) -> int:
        """As long as a run is open: go where the app leads and draw a line from edge to edge."""
        drawn = 0
        while open_ := [r["open"] for r in self.offers() if r["open"]]:
            assert drawn < 6, open_
            self.next("runs")
            self.page.locator('[data-key^="draw-missing-"]').first.wait_for()
            self.hand.press(self.page.locator('[data-key^="draw-missing-"]').first.get_attribute("data-key"))
            self.on("edges")
            self.page.locator('[data-key="draw-kind"]').wait_for()
            p, q = self.as_it_is_seen(np.array(open_[0]["gap"]))
            n = len(self.kinds())
            aside = np.array([p[1] - q[1], q[0] - p[0]]) / np.linalg.norm(q - p) * ROUGH_MM
            for k in (0.04, 0.96):
                self.hand.point((p + k * (q - p) + aside).tolist())
            wait_for(lambda n=n: len(self.kinds()) > n)
            drawn += 1
            self.settled()
        return drawn

    def is_elsewhere(self, line: Any) -> bool:
        """Does a line lie on the floor or across a cabinet, as anybody sees who looks?"""
        middle = np.array(line).mean(axis=0)
        return min(_distance(middle, a, b) for a, b in self.true_edges()) > PLAIN_MM

    def as_it_is_seen(self, gap: Any) -> Any:
        """The edge of the kitchen that lies in a gap, as eyes find it in the picture, and as far as it is on the screen."""
        middle, reach = gap.mean(axis=0), 0.7 * max(float(np.linalg.norm(gap[1] - gap[0])), GAP_LEAST_MM)
        p, q = min(self.true_edges(), key=lambda line: _distance(middle, *line))
        along = (q - p) / np.linalg.norm(q - p)
        s = np.clip((middle - p) @ along + np.array([-reach, reach]), 0.0, float(np.linalg.norm(q - p)))
        return p + s[0] * along, p + s[1] * along

    def true_edges(self) -> list[Any]:
        """(2, 2) each: ends of every edge of the kitchen, in the frame of the top view."""
        truth = json.loads((DEMO.parent / "truth.json").read_text())
        sheets = self.page.evaluate("() => import('/static/store.js').then(m => m.store.result.sheets)")
        seen = {s["id"]: s["centre"] for s in sheets if s["kind"] == "sheet"}
        true = {s["id"]: s["center_mm"] for s in truth["sheets"] if s["id"] in seen}
        rotation, shift = fit_rigid(np.array(list(true.values())), np.array([seen[s] for s in true]))
        return [(np.array(e["points_mm"])[[0, -1]] @ rotation.T + shift)[:, :2] for e in truth["edges"]]

    def close_runs(self) -> Any:
        while [r for r in self.offers() if not r["open"]]:
            self.next("runs")
            n = len(self.state()["job"].get("loops", []))
            self.hand.press("new-run")
            wait_for(lambda n=n: len(self.state()["job"].get("loops", [])) > n)
            self.settled()
        return self.settled()["loops"]

    def make_pieces(self) -> Any:
        for loop in self.state()["job"]["loops"]:
            self.next("stone")
            self.hand.press(f"make-{loop['id']}")
            wait_for(lambda loop=loop: any(p["loop"] == loop["id"] for p in self.state()["job"].get("pieces", [])))
            self.settled()
        return self.settled()["stone"]["pieces"]

    def take(self, name: str, to: Path) -> Path:
        """Download a file that was written."""
        link = f"dl-{name}"
        self.page.locator(f'[data-key="{link}"]').wait_for(timeout=LONG_S * 1000)
        with self.page.expect_download() as waiting:
            self.hand.press(link)
        path = to / waiting.value.suggested_filename
        waiting.value.save_as(path)
        return path


def _distance(p: Any, a: Any, b: Any) -> float:
    """From a place to a stretch."""
    s = float(np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0))
    return float(np.linalg.norm(p - a - s * (b - a)))


@contextmanager
def somebody(folder: Path, hand: type[Mouse]) -> Iterator[Person]:
    app = start_on(folder)
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=browser_path(), args=FLAGS)
        w, h = SIZES[hand.name]
        page = browser.new_context(viewport={"width": w, "height": h}, has_touch=hand.touch, accept_downloads=True).new_page()
        page.set_default_timeout(120_000)
        page.goto(app.address)
        page.locator('[data-key="purpose-template"]').wait_for()
        person = Person(app, page, hand(page))
        person.refused = []
        try:
            yield person
        except BaseException:
            page.screenshot(path=str(folder / "failed.png"))
            print("as it stood:", folder / "failed.png", page.url, page.locator("#notices").inner_text())
            print(page.locator(".side, main").first.inner_text()[:1500])
            raise
        finally:
            browser.close()
            app.kill()


def small(folder: Path, names: tuple[str, ...] = ()) -> list[Path]:
    """Demo photos at half size; all of them unless named."""
    folder.mkdir(parents=True)
    return [halved(p, folder / p.name) for p in demo_photos() if not names or p.stem in names]


def wrong_edges(job_folder: Path, result: Any) -> list[str]:
    """Edges with a tick that lie outside the tolerance that it speaks of, or outside U at k = 3, against the demo's truth,
    at the worst place of all that was seen of them. U itself (k = 2) holds at 95 of 100 places; a bench counts those.
    """
    from phototemplate.job import load_job
    from phototemplate.pipeline import measure
    from tests.bench.proposals import places, work_from_truth
    from tests.bench.which_line import _miss

    truth = json.loads((DEMO.parent / "truth.json").read_text())
    measured = measure(load_job(job_folder))
    motion = work_from_truth(measured.network, measured.work_plane, truth)
    true = [places(motion(np.array(e["points_mm"]))) for e in truth["edges"]]
    out = []
    for segment in measured.outline.segments:
        misses = [_miss(segment, line, measured) for line in true]
        miss, U = min((m for m in misses if len(m[0])), key=lambda m: float(np.abs(m[0]).max()))
        most = np.minimum(1.5 * U, result["tolerance"])
        worst = int(np.argmax(np.abs(miss) - most))
        if abs(miss[worst]) > most[worst] and result["verdicts"][segment.edge_id]["state"] == "good":
            out.append(f"{segment.edge_id}: {miss[worst]:.2f} of {U[worst]:.2f}")
    return out


@pytest.mark.parametrize("hand", HANDS, ids=lambda h: h.name)
def test_a_small_shop_templates_a_kitchen(tmp_path: Path, hand: type[Mouse]) -> None:
    """By mouse at the photos' full size; the other two at half size, where less is proposed and more is asked."""
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    photos = demo_photos() if hand is Mouse else small(tmp_path / "camera")
    with somebody(jobs, hand) as one:
        one.begin("template", photos)
        one.give_length("1187.4 mm")
        one.next("sheets")
        one.hand.press("under-board")
        one.hand.write("thickness", "1.5 mm")
        wait_for(lambda: one.state()["job"]["paper"].get("thickness_mm") == 1.5)
        if hand is not Keyboard:  # two sheets of the demo lie on something else
            one.settled()
            one.hand.press("backing")
            for sheet, mm in (("S03", "2.9 mm"), ("S09", "3.0 mm")):
                one.hand.choose("backing-add", sheet)
                one.hand.write(f"bk-{sheet}", mm)
            wait_for(lambda: len(one.state()["job"]["paper"].get("thickness_by_sheet_mm", {})) == 2)
        one.settled()
        one.next("edges")
        one.accept_one_by_one("end" if hand is Mouse else "")
        one.settled()
        drawn = one.draw_what_is_missing()
        if hand is Mouse:
            assert drawn == 1  # what was turned down is led to and drawn
        loops = one.close_runs()
        assert len(loops) == 2
        assert all(loop["closed"] for loop in loops)
        pieces = one.make_pieces()
        assert len(pieces) >= 2
        one.next("finish")
        result = one.settled()
        one.hand.press("write")
        drawing = one.take("pieces dxf", tmp_path)
        assert drawing.stat().st_size > 5000
        (folder,) = [p for p in jobs.iterdir() if (p / "job.toml").is_file()]
        assert not wrong_edges(folder, result)
        # what is not known well enough is a question beside the files, not a tick
        mood = one.page.locator(".big-verdict").first.get_attribute("class")
        asked = [k for k, v in result["verdicts"].items() if v["state"] != "good"]
        assert ("good" in mood) == (not asked and not [f for f in result["findings"] if f["severity"] != "note"])


RIGHT_RUN = ("IMG_2301", "IMG_2303", "IMG_2304", "IMG_2305", "IMG_2306", "IMG_2311")


def lays_out(one: Person, purpose: str, photos: list[Path]) -> None:
    """What every job begins with: photos, a length, and that paper lies on the cabinets themselves."""
    one.begin(purpose, photos)
    one.give_length("1187.4 mm")
    one.next("sheets")
    one.hand.press("under-cabinet")
    wait_for(lambda: one.state()["job"].get("paper", {}).get("lies_on") == "cabinet")
    one.settled()


@pytest.mark.parametrize("hand", HANDS, ids=lambda h: h.name)
def test_a_templater_checks_a_wall(tmp_path: Path, hand: type[Mouse]) -> None:
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    with somebody(jobs, hand) as one:
        lays_out(one, "wall", small(tmp_path / "camera", RIGHT_RUN))
        one.beside("wall")
        one.hand.press("wall-ask")
        one.page.locator(".big-verdict").wait_for(timeout=LONG_S * 1000)
        # a place of the curve is read, by pressing it or by the arrow keys
        if hand is Keyboard:
            one.hand.press("wall-chart")
            one.page.keyboard.press("ArrowRight")
        else:
            one.hand.press("wall-chart")
        one.page.locator(".big", has_text="scribe").wait_for()
        first = one.page.locator(".downloads a").first.get_attribute("data-key")
        assert one.take(first.removeprefix("dl-"), tmp_path).stat().st_size > 1000


@WHEN_ASKED
@pytest.mark.parametrize("hand", HANDS, ids=lambda h: h.name)
def test_an_estimator_comes_to_a_quote(tmp_path: Path, hand: type[Mouse]) -> None:
    """From a customer's photos with printed sheets to prices by the shop's list, which lies in the folder of jobs."""
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    new_price_list(jobs / "our-prices.toml")
    with somebody(jobs, hand) as one:
        lays_out(one, "estimate", small(tmp_path / "camera", RIGHT_RUN))
        one.next("edges")
        one.accept_one_by_one()
        one.settled()
        if not any(loop["closed"] for loop in one.close_runs()):  # one top is all that these photos show
            one.draw_what_is_missing()
            assert any(loop["closed"] for loop in one.close_runs())
        one.beside("estimate")
        one.page.locator('[data-key="prices"] option').nth(1).wait_for(state="attached")
        one.hand.choose("prices", "our-prices.toml")
        one.hand.choose("stone-0", "granite, 3 cm")
        one.hand.choose("finish-0", "eased")
        one.hand.write("distance", "12")  # this list charges by the way to the customer
        one.hand.press("estimate-ask")
        one.page.locator(".downloads a").first.wait_for(timeout=LONG_S * 1000)
        first = one.page.locator(".downloads a").first.get_attribute("data-key")
        assert one.take(first.removeprefix("dl-"), tmp_path).stat().st_size > 1000
        assert one.page.locator("main .big").first.inner_text()  # a price, with its range
