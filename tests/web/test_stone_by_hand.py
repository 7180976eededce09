"""Stone placed by pressing and dragging in the top view of the demo job, by mouse, finger and keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.web.kit import FLAGS, browser_path, demo_job, start_on, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.slow


class Kitchen:
    """The demo job on the page of stone."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def state(self) -> Any:
        return self.page.evaluate("() => fetch('/api/state').then(r => r.json())")

    def settled(self) -> Any:
        def done() -> Any:
            state = self.state()
            if not state.get("result") or state["work"]["state"] not in ("idle", "measured"):
                return None
            result = self.page.evaluate("() => fetch('/api/result').then(r => r.json())")
            return result if result["revision"] == state["revision"] and not result.get("shaping") else None

        return wait_for(done, 240, 0.25)

    def cutouts(self) -> Any:
        return [c for p in self.state()["job"]["pieces"] for c in p.get("cutouts", [])]

    def screen(self, xy: list[float]) -> Any:
        return self.page.evaluate(
            "p => { const s = window.phototemplateStage, q = s.toScreen(p), b = s.canvas.getBoundingClientRect();"
            " return [q[0] + b.left, q[1] + b.top]; }", xy,
        )  # fmt: skip


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kitchen]:
    folder = tmp_path_factory.mktemp("jobs") / "kitchen"
    demo_job(folder, full_size=True)
    app = start_on(folder)
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=browser_path(), args=FLAGS)
        page = browser.new_context(viewport={"width": 1280, "height": 800}, has_touch=True).new_page()
        page.set_default_timeout(60_000)
        page.goto(app.address)
        page.locator("#nav a").first.wait_for()
        one = Kitchen(page)
        one.settled()
        page.goto(f"{app.base}/#stone")
        page.locator('[data-key="place-sink"]').wait_for()
        page.locator('[data-key="zoom.fit"]').click()
        yield one
        browser.close()
    app.kill()


def test_a_sink_is_placed_by_pressing_its_front(kitchen: Kitchen) -> None:
    page = kitchen.page
    before = kitchen.cutouts()
    front = next(e for e in kitchen.settled()["edges"] if e["id"] == "front-right")
    page.locator('[data-key="place-cooktop"]').click()
    middle = front["xy"][len(front["xy"]) // 2]
    x, y = kitchen.screen(middle)
    page.touchscreen.tap(x, y)
    wait_for(lambda: len(kitchen.cutouts()) == len(before) + 1)
    new = next(c for c in kitchen.cutouts() if c not in before)
    assert new["run"] == "front-right"
    assert new["along"]["edge"] in ("gap-right", "panel-right")
    # dragging it away and back would need its handle, which stands where the stone could be shaped
    page.locator("#undo, [data-key=undo]").first.click()
    wait_for(lambda: kitchen.cutouts() == before)


def test_a_seam_is_dragged_with_its_number_beside_the_finger(kitchen: Kitchen) -> None:
    page = kitchen.page
    result = kitchen.settled()
    front = max((e for e in result["edges"] if e["found"] and e["kind"] == "front"), key=lambda e: e["length"])
    page.locator('[data-key="place-seam"]').click()
    a, b = front["xy"][0], front["xy"][-1]
    page.mouse.click(*kitchen.screen([a[0] + 0.35 * (b[0] - a[0]), a[1] + 0.35 * (b[1] - a[1])]))

    def seams() -> Any:
        return [s for p in kitchen.state()["job"]["pieces"] for s in p.get("seams", []) if s.get("run") == front["id"]]

    wait_for(seams)
    first = seams()[-1]
    result = kitchen.settled()
    made = [s for s in result["stone"].get("seams", []) if s["id"] == first["id"]]
    assert made, result["stone"].get("trouble")
    foot = min((made[0]["start"], made[0]["end"]), key=lambda q: (q[0] - a[0]) ** 2 + (q[1] - a[1]) ** 2)
    # the handle stands on the found front, where the seam's line meets it
    t = ((foot[0] - a[0]) * (b[0] - a[0]) + (foot[1] - a[1]) * (b[1] - a[1])) / ((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2)
    handle = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
    x, y = kitchen.screen(handle)
    to = kitchen.screen([handle[0] + 0.1 * (b[0] - a[0]), handle[1] + 0.1 * (b[1] - a[1])])
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(*to, steps=6)
    page.mouse.up()
    wait_for(lambda: seams()[-1]["along"] != first["along"])
    moved = seams()[-1]["along"]["distance"]
    assert moved % 3.175 == pytest.approx(0, abs=0.01) or moved % 3.175 == pytest.approx(3.175, abs=0.01)  # 1/8 in
    page.keyboard.press("Control+z")
    wait_for(lambda: seams()[-1]["along"] == first["along"])  # one act, one step back


PLACED = [("dishwasher", "appliances", "appliances"), ("centre", "centre_lines", "centres")]


@pytest.mark.parametrize(("what", "listing", "made"), PLACED)
def test_what_lies_along_a_front_is_placed_and_dragged(kitchen: Kitchen, what: str, listing: str, made: str) -> None:
    page = kitchen.page
    front = next(e for e in kitchen.settled()["edges"] if e["id"] == "front-right")
    a, b = front["xy"][0], front["xy"][-1]
    before = kitchen.state()["job"].get(listing, [])

    def along(s: float) -> list[float]:
        return [a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])]

    def there() -> Any:
        return [x for x in kitchen.state()["job"].get(listing, []) if x not in before]

    page.locator(f'[data-key="place-{what}"]').click()
    page.mouse.click(*kitchen.screen(along(0.4)))
    first = wait_for(there)[0]  # type: ignore[index]
    assert first["run"] == "front-right"
    shown = next(x for x in kitchen.settled()["stone"][made] if x["id"] == first["id"])
    points = shown.get("shape") or [shown["start"], shown["end"]]
    middle = [sum(p[i] for p in points) / len(points) for i in range(2)]
    square = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2
    s = ((middle[0] - a[0]) * (b[0] - a[0]) + (middle[1] - a[1]) * (b[1] - a[1])) / square
    assert s == pytest.approx(0.4, abs=0.03)  # where it was pressed, to the step of the tape
    page.mouse.move(*kitchen.screen(along(s)))
    page.mouse.down()
    page.mouse.move(*kitchen.screen(along(s + 0.1)), steps=6)
    page.mouse.up()
    wait_for(lambda: there()[0]["along"] != first["along"])
    moved = abs(there()[0]["along"]["distance"] - first["along"]["distance"])
    assert moved == pytest.approx(0.1 * square**0.5, abs=4.0)
    for _ in range(2):
        n = len(kitchen.state()["job"].get(listing, [])), there() and there()[0]["along"]
        page.locator("[data-key=undo]").first.click()
        wait_for(lambda n=n: (len(kitchen.state()["job"].get(listing, [])), there() and there()[0]["along"]) != n)
    assert kitchen.state()["job"].get(listing, []) == before
