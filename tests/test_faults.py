"""Damaged and hostile files end in one sentence: the cases that once did not, and a few hundred at random."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from phototemplate.camera_profiles import load_profiles, shipped_folder
from phototemplate.capture.photos import read_meta
from phototemplate.errors import InputError, PhotoError
from phototemplate.job import JobFile
from phototemplate.output.result_json import write_result_json
from phototemplate.output.result_reader import read_result
from phototemplate.studies.references import read_dxf
from phototemplate.template.maker_dxf import read_cutout_dxf
from phototemplate.web.journal import Journal
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


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and alarms")
def test_some_hundred_damaged_files_and_kills(tmp_path: Path) -> None:
    from tests.bench.faults import killed_writers, read_damaged

    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    rows = read_damaged(270, 7, tmp_path / "a")
    assert [r for r in rows if r["failed"]] == []
    assert killed_writers(15, 7, tmp_path / "b")["failed"] == 0
