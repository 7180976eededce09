"""The rest of the trade: drawn shapes, built-up and mitred edges, reveal, centre lines, makers' sheets, codes, revisions.

Figures are worked out by hand beside each check, or measured on what is cut with shapely.
"""

from __future__ import annotations

import copy
import json
import math
from pathlib import Path
from typing import Any

import cv2
import ezdxf
import numpy as np
import pypdfium2
import pytest
import shapely
from PIL import Image
from pydantic import ValidationError

from phototemplate.errors import InputError
from phototemplate.job import load_job, parse_job
from phototemplate.model import Outline
from phototemplate.output import Material, write_formats
from phototemplate.output.pieces_json import pieces_data
from phototemplate.output.revision import changes
from phototemplate.results import Wanted, hand_out, write_drawn
from phototemplate.template.boundary import FitError, polygon_of_vertices
from phototemplate.template.drawn import no_outline
from phototemplate.template.lengths import LengthWords
from phototemplate.template.paper_sheets import TitleBlock
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.schedule import length_words
from phototemplate.template.spec import TemplateSpec
from tests.template.everything import EVERYTHING
from tests.template.samples import l_kitchen, rectangle

SLAB_MM = 30.0


def made(wish: dict[str, Any], outline: Outline | None = None, folder: Path | None = None) -> Template:
    return build_template(outline or no_outline(), TemplateSpec.model_validate(wish), (), folder)


def island(**edges: dict[str, Any]) -> dict[str, Any]:
    return {"drawn": [{"id": "island", "width": 1800.0, "depth": 900.0}],
            "pieces": [{"id": "top", "loop": "island", "edges": {f"island {k}": v for k, v in edges.items()}}]}


def test_a_drawn_shape_is_the_stone_itself_and_has_no_uncertainty() -> None:
    (top,) = made(island()).whole().pieces
    assert top.area.value == pytest.approx(1800.0 * 900.0)
    assert top.area.u == 0.0
    assert {e.outward_mm for e in top.edges} == {0.0}
    assert {e.profile for e in top.edges} == {"eased"}
    assert LengthWords().quantity(top.edges[0].length) == "1800.0 mm (70 7/8\")"  # 1800 / 25.4 = 70.866, 70 14/16


def test_a_drawn_shape_stands_beside_what_was_measured_and_leaves_it_as_it_was() -> None:
    wish = island()
    wish["pieces"].append({"id": "run", "loop": "run"})
    both, alone = made(wish, rectangle()).whole(), made({"pieces": [{"id": "run", "loop": "run"}]}, rectangle()).whole()
    mine = next(p for p in both.pieces if p.piece_id == "run")
    assert mine.vertices == alone.pieces[0].vertices
    assert mine.area == alone.pieces[0].area
    assert mine.area.gradient.shape == alone.pieces[0].area.gradient.shape
    a, b = (polygon_of_vertices(p.vertices) for p in both.pieces)
    assert a.distance(b) > 100.0


def test_a_drawn_shape_from_a_dxf_keeps_its_arcs(tmp_path: Path) -> None:
    document = ezdxf.new(units=4)
    r = 300.0
    document.modelspace().add_lwpolyline([(0, 0, 0), (1200, 0, 1), (1200, 2 * r, 0), (0, 2 * r, 0)], format="xyb", close=True)
    document.saveas(tmp_path / "bar.dxf")
    wish = {"drawn": [{"id": "bar", "file": "bar.dxf"}], "pieces": [{"id": "bar top", "loop": "bar"}]}
    (top,) = made(wish, folder=tmp_path).whole().pieces
    assert top.area.value == pytest.approx(1200.0 * 600.0 + math.pi * r * r / 2.0, rel=1e-9)
    # half a circle of 300 mm: 942.5 mm along it, 600 between its ends, which nobody may read as its length
    assert [length_words(e, LengthWords(inches="mm")) for e in top.edges] == ["1200.0 mm", "arc 942.5 mm, R 300.0 mm",
                                                                              "1200.0 mm", "600.0 mm"]


@pytest.mark.parametrize(
    ("shape", "word"),
    [
        ({"width": 500.0, "depth": 500.0, "edges": ["a"]}, "4 sides"),
        ({"corners": [[0, 0], [0, 500], [500, 500]]}, "clockwise"),
        ({"corners": [[0, 0], [500, 0], [0, 500], [600, 700]]}, "crosses itself"),
        ({"file": "none.dxf"}, "none.dxf"),
    ],
)
def test_a_drawn_shape_that_is_none_is_refused(shape: dict[str, Any], word: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=word):
        made({"drawn": [{"id": "x", **shape}], "pieces": [{"id": "t", "loop": "x"}]}, folder=tmp_path).whole()


def test_mitred_strips_have_the_height_of_the_face_and_meet_at_the_corner() -> None:
    up = {"kind": "mitred", "height": 76.2}
    template = made(island(front={"build_up": up, "profile": "ogee"}, right={"build_up": up})).whole()
    front, right = (next(s for s in template.splashes if s.edge_id == f"island {side}") for side in ("front", "right"))
    assert (front.length.value, front.height_mm) == (1800.0, pytest.approx(76.2))
    assert (right.length.value, right.height_mm) == (900.0, pytest.approx(76.2))
    assert (front.ends, right.ends) == (("square", "mitred"), ("mitred", "square"))
    edge = next(e for e in template.pieces[0].edges if e.edge_id == "island front")
    assert (edge.mitred_to, edge.profile, edge.face_mm) == (front.piece_id, "ogee", 76.2)


def test_stacked_strips_make_up_the_multiple_of_the_thickness() -> None:
    template = made(island(back={"build_up": {"kind": "stacked", "height": 90.0, "width": 60.0}})).whole()
    strips = [s for s in template.splashes if s.edge_id == "island back"]
    assert [(s.length.value, s.height_mm, s.joint) for s in strips] == [(1800.0, 60.0, "flat")] * 2  # 30 + 30 beneath 30
    with pytest.raises(FitError, match=r"60\.0 mm would work") as caught:
        made(island(back={"build_up": {"kind": "stacked", "height": 70.0}})).whole()
    assert caught.value.nearest_mm == 60.0


def test_a_mitred_waterfall_reaches_the_floor_and_carries_the_grain_on() -> None:
    wish = island()
    wish["pieces"][0]["splashes"] = [{"id": "panel", "edge": "island left", "kind": "waterfall", "height": 870.0,
                                      "joint": "mitred"}]
    (panel,) = made(wish).whole().splashes
    assert panel.height_mm == 870.0 + SLAB_MM  # its face runs up to the top's upper arris
    assert panel.grain_runs_on
    wish["pieces"][0]["splashes"][0]["joint"] = "butt"
    (panel,) = made(wish).whole().splashes
    assert (panel.height_mm, panel.grain_runs_on) == (870.0, False)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"corners": {"island front/island left": {"kind": "rounded", "radius": 20.0}}}, "make it sharp"),
        ({"edges": {"island left": {"finish": "wall"}}}, "straight finished edge"),
        ({"edges": {"island left": {"finish": "wall", "profile": "ogee"}}, "splashes": []}, "takes no profile"),
    ],
)
def test_what_cannot_be_mitred_or_profiled_is_refused(change: dict[str, Any], word: str) -> None:
    wish = island()
    wish["pieces"][0]["splashes"] = [{"id": "panel", "edge": "island left", "kind": "waterfall", "joint": "mitred"}]
    wish["pieces"][0] |= change
    with pytest.raises(InputError, match=word):
        made(wish).whole()


@pytest.mark.parametrize("reveal", [-5.0, 0.0, 5.0])
def test_the_reveal_sets_the_bowl_off_all_round(reveal: float) -> None:
    cut = {"id": "sink", "run": "island front", "setback": 100.0, "width": 500.0, "depth": 400.0, "radius": 20.0,
           "along": {"edge": "island left", "distance": 900.0}, "reveal": reveal}
    wish = island()
    wish["pieces"][0]["cutouts"] = [cut]
    (cutout,) = made(wish).whole().pieces[0].cutouts
    bowl, hole = polygon_of_vertices(cutout.bowl, 1e-3), polygon_of_vertices(cutout.vertices, 1e-3)
    assert bowl.area == pytest.approx(500.0 * 400.0 - (4 - math.pi) * 20.0**2, rel=1e-5)
    assert hole.symmetric_difference(bowl.buffer(reveal, 256)).area == pytest.approx(0.0, abs=1.0)
    y = shapely.get_coordinates(hole)[:, 1].min() - min(e.start[1] for e in made(wish).pieces[0].edges)
    assert y == pytest.approx(100.0), "the setback is that of the cut-out"


def test_a_reveal_that_closes_a_corner_says_which_would_work() -> None:
    wish = island()
    wish["pieces"][0]["cutouts"] = [{"id": "sink", "run": "island front", "setback": 100.0, "width": 500.0, "depth": 400.0,
                                     "radius": 6.0, "along": {"edge": "island left", "distance": 900.0}, "reveal": -8.0}]
    with pytest.raises(FitError, match=r"-5\.5 mm would work"):
        made(wish).whole()


def everything(folder: Path | None = None) -> Template:
    wish = copy.deepcopy(EVERYTHING)
    if folder is not None:
        Image.new("RGB", (400, 300), (120, 160, 120)).save(folder / "pipe.jpg")
        wish["site_photos"] = [{"file": "pipe.jpg", "at": "left", "note": "pipe"}, {"file": "lost.jpg", "at": "left"}]
    return build_template(l_kitchen(), TemplateSpec.model_validate(wish), (), folder)


def test_sizes_of_makers_sheets_and_centre_lines_are_used_and_checked() -> None:
    template = everything().whole()
    tops = {c.cutout_id: (p, c) for p in template.pieces for c in p.cutouts}
    hob = polygon_of_vertices(tops["cooktop"][1].vertices, 1e-3)
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(hob))
    sides = sorted(math.dist(box[k], box[k + 1]) for k in range(2))
    assert sides == pytest.approx([14 * 25.4, 18 * 25.4], abs=1e-3)
    assert template.openings[0].clear_mm == pytest.approx(30 * 25.4)
    verdicts = {(c.rule, c.where): c for c in template.checks}
    sink = verdicts["cutout-centre", "kitchen top-1/sink"]
    assert sink.verdict == "ok"
    assert abs(float(sink.facts["off_mm"])) < 1.0  # type: ignore[arg-type]
    room = [c for c in template.checks if c.rule == "maker-room"]
    assert {c.facts["side"] for c in room} == {"back", "right"}
    assert [c.verdict for c in template.checks if c.rule == "maker-asks"] == ["note", "note"]
    wish = copy.deepcopy(EVERYTHING)
    wish["maker_sheets"][1]["back"] = "16 in"
    short = build_template(l_kitchen(), TemplateSpec.model_validate(wish))
    assert [f.code for f in short.findings if f.where == "kitchen top-3/cooktop"] == ["maker-room-short"]


@pytest.mark.parametrize(
    ("table", "word"),
    [
        ({"openings": [{"id": "o", "run": "front", "along": {"mark": "x"}}]}, "`width`, or the maker's `sheet`"),
        ({"openings": [{"id": "o", "run": "front", "along": {"mark": "x"}, "sheet": "none"}]}, "does not exist"),
        ({"openings": [{"id": "o", "run": "front", "along": {"centre": "none"}, "width": 600}]}, "centre line 'none'"),
        ({"openings": [{"id": "o", "run": "front", "along": {"mark": "x"}, "sheet": "s"}], "maker_sheets": [{"id": "s"}]},
         "has no `width`"),
    ],
)
def test_sheets_and_lines_that_do_not_exist_are_refused(table: dict[str, Any], word: str) -> None:
    with pytest.raises(ValidationError, match=word):
        TemplateSpec.model_validate(table)


def test_receptacles_are_counted_along_the_edge_and_cut_once() -> None:
    splashes = [s for s in everything().splashes if s.edge_id == "back"]
    assert sum(len(s.cutouts) for s in splashes) == 1
    assert [bool(s.cutouts) for s in splashes] == [True, False, False], "400 mm from the left end, as seen from the room"


def pages(path: Path, scale: float) -> list[np.ndarray]:
    document = pypdfium2.PdfDocument(path)
    return [np.asarray(document[i].render(scale=scale).to_pil().convert("L")) for i in range(len(document))]


def test_square_codes_on_labels_and_drawings_are_read_by_a_camera(tmp_path: Path) -> None:
    template = everything(tmp_path)
    assert [name for name, _ in template.refused] == ["lost.jpg"]
    files = write_formats(Material(None, template=template, title=TitleBlock("Job 7")), tmp_path, ["labels", "pdf", "pieces"])
    codes = json.loads(files["pieces"].read_text(encoding="utf-8"))["codes"]
    wanted = {f"Job 7 / {name} / {code}" for name, code in codes.items()}
    read: set[str] = set()
    for page in pages(files["labels"], 3.0):
        _, texts, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(page)
        read |= {t for t in texts if t}
    assert len(read & wanted) >= len(wanted) - 1, "the reader, not the code, may lose one of a page of many"
    assert read <= wanted
    one = pages(files["pieces pdf"], 3.0)[1]
    assert cv2.QRCodeDetector().detectAndDecode(one)[0] in wanted


def test_a_code_changes_with_what_is_cut_and_with_nothing_else() -> None:
    first, again = (pieces_data(made(island()), "j")["codes"]["top"] for _ in range(2))
    wish = island(front={"overhang": 1.0})
    assert first == again != pieces_data(made(wish), "j")["codes"]["top"]


def test_a_revision_says_what_changed_and_nothing_else() -> None:
    words = LengthWords("mm", "mm")
    before = pieces_data(everything(), "j")
    assert changes(before, pieces_data(everything(), "j"), words) == []
    wish = copy.deepcopy(EVERYTHING)
    wish["pieces"][0]["cutouts"][0]["setback"] = "4 in"
    wish["pieces"][1]["edges"]["island left"] = {"overhang": 10.0, "profile": "ogee"}
    wish["pieces"].pop()
    after = pieces_data(build_template(l_kitchen(), TemplateSpec.model_validate(wish)), "j")
    said = changes(before, after, words)
    assert ("kitchen top-1", "sink moved by 12.7 mm") in said
    assert ("island top", "island left offset 0.0 mm -> 10.0 mm") in said
    assert ("island top", "island left profile eased -> ogee") in said
    assert ("island top", "island front length 1828.8 mm -> 1838.8 mm") in said
    assert ("sample", "no longer there") in said
    assert {piece for piece, _ in said} == {"kitchen top-1", "island top", "sample", "island front strip", "island back strip"}


JOB = """
[[drawn]]
id = "island"
width = "72 in"
depth = "36 in"
[[pieces]]
id = "top"
loop = "island"
"""


def test_a_job_without_photos_is_drawn_handed_out_and_revised(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB)
    with pytest.raises(InputError, match="measure it first"):
        hand_out(load_job(tmp_path))
    _, files = write_drawn(load_job(tmp_path), Wanted(("cut", "pieces", "dxf", "pdf", "csv", "svg", "full-size", "labels")))
    assert all(path.is_file() for path in files.values())
    assert hand_out(load_job(tmp_path), "the shop").revision == "A"
    with pytest.raises(InputError, match="Nothing changed since revision A"):
        hand_out(load_job(tmp_path))
    (tmp_path / "job.toml").write_text(JOB.replace("72 in", "73 in"))
    with pytest.raises(InputError, match="measure it first"):
        hand_out(load_job(tmp_path))
    write_drawn(load_job(tmp_path), Wanted(("pieces", "pdf")))
    text = "".join(p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(tmp_path / "results" / "pieces.pdf"))
    assert "revision B" in text
    assert "island front length" in text
    assert hand_out(load_job(tmp_path)).revision == "B"


def test_the_keys_are_those_of_the_job_file() -> None:
    assert parse_job(JOB.encode()).drawn[0].width == 72 * 25.4
