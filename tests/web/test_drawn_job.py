"""A job without photos, from an empty folder to the revision that is handed out, by the pages alone."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import pytest
from ezdxf.entities import LWPolyline

from phototemplate.job import load_job
from tests.web.kit import FLAGS, browser_path, start_on

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")


def test_an_island_by_its_numbers(tmp_path: Path) -> None:
    """Stone of 72 x 36 in without overhang: the drawing is that large, and somebody has revision A."""
    app = start_on(tmp_path)
    with playwright.sync_playwright() as p:
        page = p.chromium.launch(executable_path=browser_path(), args=FLAGS).new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(120_000)
        page.goto(app.address)

        def press(key: str) -> None:
            page.locator(f'[data-key="{key}"]').first.click()

        def write(key: str, text: str) -> None:
            field = page.locator(f'[data-key="{key}"]').first
            field.fill(text)
            field.press("Tab")

        press("purpose-template")
        press("make-job")
        press("nav-stone")
        page.locator('[data-key="drawn"] > summary').click()
        page.locator('[data-key="drawn.adder"] > summary').click()
        write("drawn.new.width", "72 in")
        write("drawn.new.depth", "36 in")
        press("drawn.add")
        press("make-island")
        page.locator('[data-key="made-island"] > summary').click()
        page.locator('[data-key="pp-island-island front"]').select_option("ogee")
        press("nav-finish")
        press("write")
        with page.expect_download() as waiting:
            press("dl-pieces dxf")
        waiting.value.save_as(tmp_path / "pieces.dxf")
        write("hand-to", "the saw")
        press("hand-out")
        page.get_by_text("Revision A", exact=True).wait_for()
        app.kill()
        app = start_on(tmp_path)  # opened again it is there
        page.goto(app.address)
        page.locator('[data-key^="open-"]').first.click()
        press("nav-finish")
        page.locator(".big-verdict").wait_for()
        assert "island" in page.locator("main").inner_text()
    app.kill()
    (folder,) = [p for p in tmp_path.iterdir() if (p / "job.toml").is_file()]
    job = load_job(folder)
    assert job.file.pieces[0].edges["island front"].profile == "ogee"
    assert (job.file.drawn[0].width, job.file.drawn[0].depth) == (pytest.approx(72 * 25.4), pytest.approx(36 * 25.4))
    kept = json.loads(job.handed_out_paths()[0].read_text(encoding="utf-8"))
    assert (kept["revision"], kept["to"]) == ("A", "the saw")
    drawing = ezdxf.readfile(tmp_path / "pieces.dxf")
    outlines = [e for e in drawing.modelspace() if isinstance(e, LWPolyline) and e.closed]
    spans = [[max(v) - min(v) for v in zip(*e.get_points("xy"), strict=True)] for e in outlines]
    assert any(sorted(s) == pytest.approx([36.0, 72.0], abs=1e-3) for s in spans), spans


def test_what_is_said_of_a_slab_is_what_the_command_line_reads(tmp_path: Path) -> None:
    from phototemplate.progress import quiet
    from phototemplate.studies.slab_file import read_slab_file
    from phototemplate.web.worker_tasks.slab import slab

    (tmp_path / "slab").mkdir()
    (tmp_path / "kitchen" / "results").mkdir(parents=True)
    (tmp_path / "kitchen" / "results" / "pieces.json").write_text("{}")
    outline = [(10.5, 20.25), (3000.0, 25.0), (2990.0, 1500.0)]
    said = {"photo": "IMG_1", "outline": outline, "margin": 30.0, "kerf": 3.2, "grain": False,
            "faults": [{"name": "crack", "outline": [(500.0, 500.0), (700.0, 650.0)], "clearance": 15.0}]}
    assert slab(None, quiet, str(tmp_path / "slab"))["file"] is None
    answer = slab(None, quiet, str(tmp_path / "slab"), said)
    assert answer["jobs"] == ["kitchen"]
    read = read_slab_file(tmp_path / "slab")
    assert [list(p) for p in read.outline] == [list(p) for p in outline]
    assert (read.margin, read.kerf, read.grain, read.faults[0].clearance) == (30.0, 3.2, False, 15.0)
    assert slab(None, quiet, str(tmp_path / "slab"))["file"] == answer["file"]
