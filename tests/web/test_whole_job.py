"""The demo kitchen from an empty folder to the drawing that is handed over, by mouse, by finger and by keyboard alone.

Nothing is typed but lengths. Edges are taken as the app proposes them; what it then says is good has to be right: every edge
that "meets" lies where the truth of the rendered kitchen has one, within its U.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest

from tests.web.kit import DEMO, FLAGS, browser_path, demo_photos, start_on, wait_for

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.slow
MODEL_MM = 0.3
"""The rendered edges are rounded by this much, which no photo resolves"""


class Person:
    """Somebody at the app who has a mouse, a finger, or a keyboard."""

    def __init__(self, page: Any, way: str) -> None:
        self.page, self.way = page, way

    def reach(self, key: str) -> Any:
        """The element with a key; by keyboard it is reached by Tab alone."""
        element = self.page.locator(f'[data-key="{key}"]').first
        element.wait_for()
        if self.way == "keyboard":
            self.page.evaluate("() => document.activeElement?.blur()")
            for _ in range(400):
                self.page.keyboard.press("Tab")
                if self.page.evaluate("() => document.activeElement?.dataset?.key") == key:
                    return element
            raise AssertionError(f"{key} is not reached by Tab")
        return element

    def press(self, key: str) -> None:
        element = self.reach(key)
        if self.way == "keyboard":
            self.page.keyboard.press("Enter")
        elif self.way == "touch":
            element.tap()
        else:
            element.click()

    def write(self, key: str, text: str) -> None:
        element = self.reach(key)
        if self.way == "keyboard":
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(text)
            self.page.keyboard.press("Tab")
        else:
            element.fill(text)
            element.press("Tab")

    def ask(self, path: str) -> Any:
        return self.page.evaluate("p => fetch(p).then(r => r.json())", path)

    def settled(self) -> Any:
        def done() -> Any:
            state = self.ask("/api/state")
            assert state["work"]["state"] != "failed", state["trouble"]
            if not state["result"] or state["work"]["state"] not in ("idle", "measured"):
                return None
            result = self.ask("/api/result")
            return result if result["revision"] == state["revision"] else None

        return wait_for(done, 300, 0.25)


@pytest.mark.parametrize("way", ["mouse", "touch", "keyboard"])
def test_from_an_empty_folder_to_the_drawing(tmp_path: Path, way: str) -> None:
    app = start_on(tmp_path)
    try:
        with playwright.sync_playwright() as p:
            browser = p.chromium.launch(executable_path=browser_path(), args=FLAGS)
            page = browser.new_context(viewport={"width": 1280, "height": 900}, has_touch=way == "touch").new_page()
            page.set_default_timeout(60_000)
            page.goto(app.address)
            result, drawing = template(Person(page, way), tmp_path)
            browser.close()
    finally:
        app.kill()
    assert len(result["loops"]) == 2
    assert all(loop["closed"] for loop in result["loops"])
    assert not wrong_but_good(result)
    assert sum(v["state"] == "good" for v in result["verdicts"].values()) >= 6
    with_outline = [e for e in ezdxf.readfile(drawing).modelspace() if e.dxftype() in ("LWPOLYLINE", "POLYLINE", "LINE")]
    assert len(with_outline) >= 2


def template(me: Person, folder: Path) -> tuple[Any, Path]:
    """The whole job; the last result and the drawing."""
    assert not list(folder.iterdir())
    me.press("purpose-template")
    me.press("make-job")
    me.page.locator("body[data-page=prepare]").wait_for()
    me.press("nav-photos")
    me.page.locator("#photo-files").set_input_files([str(p) for p in demo_photos()])
    me.page.locator(".photo.seen").nth(len(demo_photos()) - 1).wait_for(timeout=300_000)
    me.press("next")
    me.write("lengths.new.value", "1187.4 mm")
    me.press("lengths.add")
    me.page.get_by_role("heading", name="bar B01 – B02").wait_for()
    me.press("next")
    me.press("under-board")
    me.write("thickness", "1.5 mm")
    wait_for(lambda: me.ask("/api/state")["job"].get("paper", {}).get("lies_on") == "board")
    wait_for(lambda: me.ask("/api/state")["proposals"], 300)
    me.press("nav-edges")
    for _ in range(12):
        state = me.ask("/api/state")
        edges = {e["id"] for e in state["job"].get("edges", [])}
        if all(state["accepted"].get(q["key"]) in edges for q in state["proposals"]):
            break
        me.press("p-yes")
        wait_for(lambda edges=edges: len(me.ask("/api/state")["job"].get("edges", [])) > len(edges))
    me.settled()
    me.press("nav-runs")
    for _ in range(2):
        n = len(me.ask("/api/state")["job"].get("loops", []))
        me.press("new-run")
        wait_for(lambda n=n: len(me.ask("/api/state")["job"].get("loops", [])) > n)
    result = me.settled()
    me.press("nav-finish")
    me.press("write")
    link = me.reach("dl-dxf")
    with me.page.expect_download() as waiting:
        me.page.keyboard.press("Enter") if me.way == "keyboard" else link.click()
    path = folder / "handed-over.dxf"
    waiting.value.save_as(path)
    return result, path


def wrong_but_good(result: Any) -> list[Any]:
    """Edges that are said to be good and do not lie within U of an edge of the true kitchen."""
    truth = json.loads((DEMO.parent / "truth.json").read_text(encoding="utf-8"))
    true = {s["id"]: s["center_mm"][:2] for s in truth["sheets"]}
    seen = {s["id"]: s["centre"][:2] for s in result["sheets"] if s["id"] in true}
    a = np.array([seen[k] for k in seen])
    b = np.array([true[k] for k in seen])
    u, _, v = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    turn = u @ np.diag([1.0, float(np.sign(np.linalg.det(u @ v)))]) @ v  # best rigid motion (Kabsch 1976)
    out = []
    for edge in result["edges"]:
        if not edge["found"] or result["verdicts"][edge["id"]]["state"] != "good":
            continue
        xy = (np.array(edge["xy"]) - a.mean(0)) @ turn + b.mean(0)
        inner = xy[len(xy) // 10 : len(xy) - len(xy) // 10]
        off = min(max(distance(q, np.array(t["points_mm"])[:, :2]) for q in inner) for t in truth["edges"])
        if off > max(edge["U"]) + MODEL_MM:
            out.append((edge["id"], round(off, 2), round(max(edge["U"]), 2)))
    return out


def distance(p: Any, line: Any) -> float:
    """Of a point from a polyline that runs on straight beyond its ends."""
    best = np.inf
    for k in range(len(line) - 1):
        t = line[k + 1] - line[k]
        s = float((p - line[k]) @ t / (t @ t))
        s = np.clip(s, -np.inf if k == 0 else 0.0, np.inf if k == len(line) - 2 else 1.0)
        best = min(best, float(np.hypot(*(p - line[k] - s * t))))
    return best
