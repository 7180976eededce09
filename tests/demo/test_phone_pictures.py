"""Image-level part of the benchmark of phones: what it counts, on invented outcomes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench import BenchResult, _phone_pictures
from tests.bench._phone_pictures import Outcome


def outcome(**more: object) -> Outcome:
    usual = {
        "kitchen": "levels 1", "phone": "sensor10", "judges": True, "z": (0.5, -1.0, 1.5, -0.2), "straight_mm": (0.2, 0.4),
        "wrong": (), "silent": (), "sigma0": 0.8, "withheld": False, "blamed": (),
    }  # fmt: skip
    return Outcome(**(usual | more))  # type: ignore[arg-type]


def test_rows_that_involve_a_wrong_edge() -> None:
    assert _phone_pictures._touches("gap-left", ("gap-left",))
    assert _phone_pictures._touches("front/gap-left - wall/end", ("gap-left",))
    assert not _phone_pictures._touches("front/gap-left - wall/end", ("gap", "left"))


def test_sets_are_found_by_their_names(tmp_path: Path) -> None:
    for name, whole in (("levels-1-sensor10", True), ("levels-1-usual+ultrawide", True), ("levels-2-ideal", False)):
        (tmp_path / "levels" / name / "photos").mkdir(parents=True)
        (tmp_path / "levels" / name / "truth.json").write_text("{}")
        if whole:
            (tmp_path / "levels" / name / "photos" / "a.jpg").touch()
    assert [p.name for p in _phone_pictures.sets(tmp_path)] == ["levels-1-sensor10", "levels-1-usual+ultrawide"]


def test_targets_see_what_is_outside_and_what_is_said() -> None:
    result = BenchResult("phones")
    _phone_pictures.report(result, {"sensor10": [outcome(), outcome(judges=False, z=(3.0, 4.0), straight_mm=(0.9,))]})
    met = {t["name"]: t["met"] for t in result.targets}
    assert met["pictures, verify: variance"]
    assert met["pictures, verify: 95 % of straight edges"]
    assert not met["pictures, develop: inside U"]
    assert not met["pictures, develop: 95 % of straight edges"]
    assert met["pictures: wrong lines without a word"]
    assert [r["phone"] for r in result.rows] == ["pictures: sensor10", "pictures: sensor10 *"]


def test_withheld_sets_are_counted_and_not_judged() -> None:
    result = BenchResult("phones")
    _phone_pictures.report(result, {"both": [outcome(z=(9.0,), withheld=True), outcome()]})
    assert result.rows[0]["withheld"] == 1
    assert result.rows[0]["worst z"] == 1.5


def test_blamed_sheets_and_silent_wrong_lines_are_missed_targets() -> None:
    result = BenchResult("phones")
    _phone_pictures.report(result, {"both": [outcome(blamed=("S03",), wrong=("front",), silent=("front",))]})
    assert {t["name"] for t in result.misses} >= {"pictures: sheets wrongly blamed", "pictures: wrong lines without a word"}


def test_without_pictures_the_bench_says_how_to_make_some(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(_phone_pictures.FOLDER, raising=False)
    result = BenchResult("phones")
    _phone_pictures.add(result, quick=False)
    assert any("demo_images.render" in r["phone"] for r in result.rows)
    assert not result.targets
