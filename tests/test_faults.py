"""Damaged and hostile files end in one sentence: the cases that once did not, and a few hundred at random."""

from __future__ import annotations

import json
import os
import re
import struct
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, JpegImagePlugin, PngImagePlugin

from phototemplate.camera_profiles import load_profiles, shipped_folder
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.errors import InputError, PhotoError
from phototemplate.job import JobFile, load_job
from phototemplate.output.result_json import write_result_json
from phototemplate.output.result_reader import read_result
from phototemplate.settings import OutlineSettings
from phototemplate.studies.estimate_file import read_estimate_file
from phototemplate.studies.price_list import new_price_list, read_price_list
from phototemplate.studies.quote_file import read_quote_file
from phototemplate.studies.references import read_dxf
from phototemplate.template import foreign_dxf
from phototemplate.template.foreign_dxf import fenced
from phototemplate.template.maker_dxf import read_cutout_dxf
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.web.journal import Journal
from phototemplate.web.serve import handed_over
from phototemplate.web.worker_tasks.result_view import plain_json, view_of
from tests.bench._fault_http import Page, page
from tests.output.samples import measurement


@pytest.mark.parametrize("size", [(1, 7000), (7000, 1), (15, 15)])
def test_a_picture_of_one_row_is_no_photo(tmp_path: Path, size: tuple[int, int]) -> None:
    Image.fromarray(np.zeros(size[::-1], np.uint8)).save(tmp_path / "a.png")
    with pytest.raises(PhotoError) as caught:
        read_meta(tmp_path / "a.png")
    assert caught.value.finding.code == "photo-too-small"


@pytest.mark.parametrize("number", ["nan", "inf", "1e300", "many"])
def test_a_dxf_with_impossible_numbers_is_refused_at_once(tmp_path: Path, number: str) -> None:
    """An arc whose radius is not a number made a reader of curves loop without end."""
    import ezdxf

    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_arc((0, 0), 100, 0, 90)
    path = tmp_path / "a.dxf"
    document.saveas(path)
    text = path.read_text()
    head, entities = text.split("ENTITIES")
    assert "\n100.0\n" in entities
    read_dxf(path)  # starts the process that reads drawings, which may take its time
    path.write_text(f"{head}ENTITIES{entities.replace(chr(10) + '100.0' + chr(10), chr(10) + number + chr(10))}")
    began = time.perf_counter()
    for reader in (read_dxf, read_cutout_dxf):
        with pytest.raises(InputError, match="for a number"):
            reader(path)
    assert time.perf_counter() - began < 5


def test_a_damaged_profile_stops_no_job(tmp_path: Path) -> None:
    good = json.loads(min(shipped_folder().glob("*.json")).read_text())
    ragged = {**good, "covariance": [row[:k] for k, row in enumerate(good["covariance"])]}
    unknown = {**good, "covariance": [[float("nan")] * len(row) for row in good["covariance"]]}
    for name, profile in (("ragged", ragged), ("nan", unknown), ("good", good)):
        (tmp_path / f"{name}.json").write_text(json.dumps(profile))
    assert len(load_profiles([tmp_path])) == 1


@pytest.mark.parametrize("number", ["inf", "-inf", "nan", "1e400"])
def test_no_price_is_infinite(tmp_path: Path, number: str) -> None:
    """Each number of a whole list in its turn; reading it as it is goes well."""
    path = new_price_list(tmp_path / "prices.toml")
    read_price_list(path)
    text = path.read_text(encoding="utf-8")
    numbers = list(re.finditer(r"(?m)^\w+ = (-?[\d.]+)\b", text))
    assert len(numbers) > 15
    for one in numbers:
        path.write_text(text[: one.start(1)] + number + text[one.end(1) :], encoding="utf-8")
        with pytest.raises(InputError, match=one.group(0).split()[0]):
            read_price_list(path)


def test_a_profile_whose_lens_has_no_numbers_is_no_prior(tmp_path: Path) -> None:
    good = json.loads(min(shipped_folder().glob("*.json")).read_text())
    for number in (float("nan"), float("inf")):
        for name in good["parameters"]:
            bad = {**good, "parameters": {**good["parameters"], name: number}}
            (tmp_path / f"{name} {number}.json").write_text(json.dumps(bad))
        bad = {**good, "covariance": [[number, *good["covariance"][0][1:]], *good["covariance"][1:]]}
        (tmp_path / f"covariance {number}.json").write_text(json.dumps(bad))
    assert load_profiles([tmp_path]) == []


def test_a_result_that_contradicts_itself_is_refused(tmp_path: Path) -> None:
    path = write_result_json(measurement(), tmp_path / "result.json")
    tree = json.loads(path.read_text())
    tree["outline"]["state"]["noise_mm2"]["lower"] = tree["outline"]["state"]["noise_mm2"]["lower"][:-3]
    path.write_text(json.dumps(tree))
    with pytest.raises(InputError):
        read_result(path)


@pytest.mark.parametrize(
    "line",
    ["[]", "7", '{"n": 1e999, "kind": "do"}', '{"n": 1, "kind": "do", "label": {}, "changes": [["k", null, 1, 2, [1]]]}',
     '{"n": 1, "kind": "do", "label": {}, "changes": [[["k"], null, 1, 2, null]]}', "\\xff", "[" * 5000],
)  # fmt: skip
def test_a_damaged_history_does_not_stop_the_app(tmp_path: Path, line: str) -> None:
    (tmp_path / "history.jsonl").write_text(line + "\n")
    assert Journal(tmp_path, "x").undoable is None


def test_a_job_of_many_edges_is_read_in_time() -> None:
    """Names are looked up, not searched: 20 000 edges took minutes."""
    edges = [{"id": f"e{k}", "kind": "front", "photo": "p", "path": [[1, 2], [3, 4]]} for k in range(20_000)]
    began = time.perf_counter()
    file = JobFile.model_validate({"edges": edges, "loops": [{"id": "l", "edges": [e["id"] for e in edges]}]})
    assert len(file.edges) == 20_000
    assert time.perf_counter() - began < 10


@pytest.mark.parametrize("read", [read_price_list, read_quote_file, read_estimate_file])
@pytest.mark.parametrize(
    ("text", "says"),
    [("x = " + "[" * 3000, "deep"), ("x = " + "{a=" * 3000, "deep"), ("x = " + "9" * 5000, "not valid TOML"),
     ("x.y = 1\n" * 3 + "\xff", "not valid TOML"), (".".join("a" * 100_000) + " = 1", "deeper")],
)  # fmt: skip
def test_every_file_that_people_write_is_read_the_same_way(
    tmp_path: Path, read: Callable[[Path], object], text: str, says: str
) -> None:
    (tmp_path / "a.toml").write_text(text, encoding="latin-1")
    with pytest.raises(InputError, match=says):
        read(tmp_path / "a.toml")
    (tmp_path / "a.toml").write_text("\n".join(f"[a{k}]" for k in range(3000)))
    with pytest.raises(InputError, match=r"29\d\d more like these"):  # 20 of them are told
        read(tmp_path / "a.toml")


def test_a_picture_of_one_column_is_not_decoded_to_say_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """1 x 250 million pixels are 250 kB of PNG, and took 4.9 GB; what follows the header is not looked at."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    monkeypatch.setattr(PngImagePlugin.PngImageFile, "load", lambda *_: pytest.fail("decoded"))
    for size, code in (((1, 250_000_000), "photo-too-small"), ((16, 15_600_000), "photo-too-large"), ((40, 30), None)):
        header = struct.pack(">IIBBBBB", *size, 8, 0, 0, 0, 0)  # PNG specification (ISO/IEC 15948), 11.2.2: 8 bits of grey
        data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(31 * 40)))
        (tmp_path / "a.png").write_bytes(data + chunk(b"IEND", b""))
        if code is None:
            assert read_meta(tmp_path / "a.png").size_px == size
            continue
        with pytest.raises(PhotoError) as caught:
            read_meta(tmp_path / "a.png")
        assert caught.value.finding.code == code


def test_a_jpeg_of_a_thousand_passes_is_refused_before_it_is_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """1 MB of scans that change nothing, over 260 megapixels, took 25 minutes."""
    path = tmp_path / "a.jpg"
    Image.fromarray(np.full((256, 256), 128, np.uint8)).save(path, progressive=True, comment=b"\xff\xda\xff\xd9" * 200)
    assert read_gray(read_meta(path)).shape == (256, 256)  # what a comment says counts for nothing
    data = path.read_bytes()[:-2]
    again = data[data.rfind(b"\xff\xc4", 0, data.rfind(b"\xff\xda")) :]  # the last scan with its table of codes
    hidden = b"\xff\xfe\x00\x04\xff\xd9"  # a comment that holds an end
    monkeypatch.setattr(JpegImagePlugin.JpegImageFile, "load", lambda *_: pytest.fail("decoded"))
    path.write_bytes(data + hidden + again * 1000 + b"\xff\xd9")
    with pytest.raises(PhotoError, match="scans"):
        read_gray(read_meta(path))


def test_loops_in_the_wrong_order_make_a_result_that_can_be_read(tmp_path: Path) -> None:
    """Edges that are no neighbours do not meet; what has no number is null in JSON, which knows no NaN (RFC 8259)."""
    m = measurement()
    names = [s.edge_id for s in m.outline.segments]
    for order in (names[::2] + names[1::2], names[::-1], [*names[3:], *names[:3]]):
        outline = build_outline(m.outline.segments, [LoopEdges("run", tuple(order))], m.outline.influences, OutlineSettings())
        text = write_result_json(replace(m, outline=outline), tmp_path / "result.json").read_text()
        assert {e["edge"] for e in json.loads(text, parse_constant=pytest.fail)["outline"]["edges"]} == set(names)
        job = load_job(tmp_path)
        view = plain_json(view_of(job, replace(m, outline=outline)))
        assert json.dumps(view, allow_nan=False)


# ------------------------------------------------------------------------------------------ drawings of others


@fenced
def read_badly(path: Path, how: str) -> object:
    """A reader of drawings as compiled code can be."""
    if how == "hangs":
        while True:
            pass
    if how == "eats memory":
        return [bytearray(100_000_000) for _ in range(1000)]
    if how == "breaks off":
        os._exit(11)
    if how == "raises":
        raise KeyError("x")
    return path.read_text()


@pytest.mark.parametrize(
    ("how", "says"),
    [("hangs", "takes over 1 s"), ("eats memory", "GB of memory"), ("breaks off", "broke off"), ("raises", "cannot be read")],
)
def test_readers_of_drawings_are_ended_and_the_next_one_is_read(
    tmp_path: Path, how: str, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.dxf").write_text("a")
    assert read_badly(tmp_path / "a.dxf", "well") == "a"
    monkeypatch.setattr(foreign_dxf, "FOREIGN_S", 1.0 if how == "hangs" else 30.0)
    with pytest.raises(InputError, match=says):
        read_badly(tmp_path / "a.dxf", how)
    (tmp_path / "a.dxf").write_text("another")
    monkeypatch.setattr(foreign_dxf, "FOREIGN_S", 30.0)
    assert read_badly(tmp_path / "a.dxf", "well") == "another"


# ----------------------------------------------------------------------------------------------------- the app


@pytest.fixture
def asked(tmp_path: Path) -> Iterator[Page]:
    with page(tmp_path) as made:
        yield made


def test_what_the_page_never_sends_is_refused(asked: Page) -> None:
    """Each of these ended in a traceback once."""
    numbers = {"op": "set", "at": ["pieces"], "value": [1, 2]}
    rename = {"op": "rename", "kind": "edge", "id": "front", "to": "f"}
    before = (asked.workspace.opened.folder / "job.toml").read_bytes()
    bad: list[tuple[str, dict[str, object], int, str]] = [
        ("/api/edit", {"operations": [numbers, rename]}, 422, "bad-change"),
        ("/api/edit", {"operations": [{"op": ["set"]}]}, 422, "bad-change"),
        ("/api/edit", {"operations": [{"op": "set", "at": ["name"], "value": "\ud800"}]}, 422, "bad-question"),
        ("/api/edit", {"operations": [{"op": "set", "at": ["tolerance"], "value": float("nan")}]}, 422, "bad-question"),
        ("/api/ask/distance", {"a": {"loop": "run"}, "b": {}}, 422, "bad-place"),
        ("/api/ask/distance", {"a": {"xy": [1, "2"]}, "b": {"xy": [1, 2]}}, 422, "bad-question"),
        ("/api/ask/anchor", {"path": [[1], [2, 3]]}, 422, "bad-question"),
        ("/api/ask/photos-showing", {"xy": {}}, 422, "bad-question"),
        ("/api/make/plan", {"runs": "long"}, 422, "bad-question"),
        ("/api/make/wall", {"against": 3}, 422, "bad-question"),
    ]
    for path, body, status, code in bad:
        assert (path, *asked.ask(path, **body))[:2] == (path, status)
        assert asked.ask(path, **body)[1]["error"] == code
    assert asked.ask("/api/accept", made={"a": "b"})[0] == 200  # before anything was measured
    assert asked.ask("/api/ask/anchor", path=[[300.0, -300.0]])[0] == 200  # one place, as the page of distances asks
    assert (asked.workspace.opened.folder / "job.toml").read_bytes() == before


def test_finish_before_measuring_says_why(asked: Page) -> None:
    status, answer = asked.ask("/api/finish")
    assert status == 422
    assert "put the photos into" in answer["detail"]


def test_names_of_wishes_are_not_names_of_arguments(asked: Page) -> None:
    """Both were wishes of the page that no server method could take."""
    assert asked.ask("/api/make/sheets", what=["guide"], paper="A4")[0] == 200
    assert asked.ask("/api/make/calibrate", name="mine")[0] == 422  # there are no photos of a board yet


def test_a_file_in_place_of_the_results_is_said(asked: Page) -> None:
    (asked.workspace.opened.folder / "results").write_text("a file")
    assert asked.ask("/api/archive")[1]["error"] == "disk"
    assert asked.ask("/api/turn-down", key="a")[0] == 200


def test_a_page_that_led_to_an_app_that_was_killed_does_not_stay(tmp_path: Path) -> None:
    old, new = tmp_path / ".open-0000.html", tmp_path / ".open-1111.html"
    for path in (old, new):
        path.write_text("x")
    os.utime(old, (1, 1))
    with handed_over(tmp_path, "http://127.0.0.1:1/open?key=x") as made:
        assert made is not None
        assert set(tmp_path.iterdir()) == {new, made}  # that of another app that starts right now stays


# ------------------------------------------------------------------------------------------------------- a few of all


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and alarms")
def test_some_hundred_damaged_files_and_requests(tmp_path: Path) -> None:
    from tests.bench._fault_http import requests
    from tests.bench._fault_inputs import read_damaged

    rows = [*read_damaged(300, 7, tmp_path / "a"), requests(150, 7, tmp_path / "b")]
    assert [r for r in rows if r.failed] == []
    assert all(r.tried > 19 for r in rows)


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and alarms")
def test_a_few_kills_disks_and_clocks(tmp_path: Path) -> None:
    from tests.bench import _fault_kills as kills

    ends = [
        kills.killed_writers(15, 7, tmp_path / "a"), kills.killed_servers(5, 7, tmp_path / "b"),
        kills.two_at_once(2, tmp_path / "c"), kills.two_batches(8, tmp_path / "d"), kills.clock_set_back(tmp_path / "e"),
    ]  # fmt: skip
    assert [e for e in ends if e.failed] == []


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and alarms")
def test_disks_that_refuse_at_every_change(tmp_path: Path) -> None:
    from tests.bench import _fault_kills as kills

    assert kills.refusing_disks(tmp_path / "a").failed == 0
    assert kills.killed_commands(5, 7, tmp_path / "b").failed == 0
    assert kills.killed_workers(2, 7).failed == 0


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="needs Linux's list of children")
def test_the_app_killed_under_a_stream_of_edits(tmp_path: Path) -> None:
    from tests.bench._fault_servers import killed_apps

    end = killed_apps(4, 7, tmp_path / "a")
    assert (end.failed, end.first) == (0, "")
    assert " 0 edits" not in end.kind
