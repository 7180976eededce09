"""Undo and redo without limit, and what is left of them after a crash at any moment."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phototemplate.errors import InputError
from phototemplate.job import load_job
from phototemplate.web.job_data import plain
from phototemplate.web.journal import JOURNAL_FILE, Journal, apply_changes, differences
from phototemplate.web.open_job import OpenJob
from phototemplate.web.refusals import Conflict

EDGE = {"kind": "front", "sheet": "S01", "path": [[0, 0], [100, 5]]}


def edge(name: str, **more: Any) -> dict[str, Any]:
    return {"id": name, **EDGE, **more}


def add(name: str) -> list[dict[str, Any]]:
    return [{"op": "add", "at": ["edges"], "value": edge(name)}]


def do(opened: OpenJob, operations: Any, label: str = "change") -> dict[str, Any]:
    return asyncio.run(opened.edit(opened.job.revision, {"key": label}, operations))


def step(opened: OpenJob, back: bool) -> dict[str, Any]:
    return asyncio.run(opened.step(opened.job.revision, back))


members = st.dictionaries(st.sampled_from("abcd"), st.integers(0, 3), max_size=4).map(
    lambda d: [{"id": k, "v": v} for k, v in d.items()]
)
tables = st.fixed_dictionaries(
    {},
    optional={
        "name": st.text(max_size=3),
        "edges": members.filter(bool),
        "left": st.lists(st.text(max_size=2), min_size=1, max_size=3),
    },
)


@given(tables, tables)
def test_differences_lead_there_and_back(a: dict[str, Any], b: dict[str, Any]) -> None:
    changes = differences(a, b)
    assert apply_changes(a, changes, back=False) == b
    assert apply_changes(b, changes, back=True) == a


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sampled_from(["add", "change", "remove", "undo", "redo"]), min_size=1, max_size=12), st.integers(0, 9))
def test_any_history_is_the_same_after_a_restart(tmp_path_factory: pytest.TempPathFactory, what: list[str], seed: int) -> None:
    folder = tmp_path_factory.mktemp("job")
    opened = OpenJob(folder)
    past: list[dict[str, Any]] = [plain(opened.job.file)]
    future: list[dict[str, Any]] = []
    for k, one in enumerate(what):
        names = [e.id for e in opened.job.file.edges]
        if one in ("undo", "redo"):
            source, sink = (past[:-1], future) if one == "undo" else (future, past)
            if not source:
                with pytest.raises(InputError):
                    step(opened, one == "undo")
                continue
            step(opened, one == "undo")
            if one == "undo":
                sink.append(past.pop())
            else:
                past.append(future.pop())
        else:
            if one == "add" or not names:
                do(opened, add(f"e{k}"))
            elif one == "change":
                do(
                    opened,
                    [{"op": "set", "at": ["edges", {"id": names[seed % len(names)]}, "search"], "value": f"{k + 20} mm"}],
                )
            else:
                do(opened, [{"op": "remove-edge", "id": names[seed % len(names)]}])
            past.append(plain(opened.job.file))
            future.clear()
        assert plain(opened.job.file) == past[-1]
        opened = OpenJob(folder)  # what a new process finds
        assert plain(opened.job.file) == past[-1]
        assert len(opened.journal.steps) == len(past) - 1
    while len(past) > 1:
        past.pop()
        step(opened, True)
        assert plain(opened.job.file) == past[-1]


def test_crash_between_journal_and_job_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = OpenJob(tmp_path)
    do(opened, add("front"))
    monkeypatch.setattr("phototemplate.web.job_document.save_job", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        do(opened, add("end"))
    monkeypatch.undo()
    again = OpenJob(tmp_path)
    assert [e.id for e in again.job.file.edges] == ["front"]
    assert len(again.journal.steps) == 1
    step(again, True)
    assert not again.job.file.edges


def test_crash_in_the_middle_of_a_line(tmp_path: Path) -> None:
    opened = OpenJob(tmp_path)
    do(opened, add("front"))
    path = tmp_path / JOURNAL_FILE
    whole = path.read_bytes()
    for cut in (1, 10, len(whole) - 3):
        path.write_bytes(whole + whole[:cut])
        again = OpenJob(tmp_path)
        assert len(again.journal.steps) == 1
        do(again, add("end"))
        assert [s.label["key"] for s in OpenJob(tmp_path).journal.steps] == ["change", "change"]
        step(again, True)
        assert [e.id for e in load_job(tmp_path).file.edges] == ["front"]
        path.write_bytes(whole)


def test_failed_save_is_no_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from phototemplate.errors import OutputError

    opened = OpenJob(tmp_path)

    def full(*_: object) -> None:
        raise OutputError("the disk is full")

    monkeypatch.setattr("phototemplate.web.job_document.save_job", full)
    with pytest.raises(OutputError):
        do(opened, add("front"))
    monkeypatch.undo()
    assert not opened.journal.steps
    assert not OpenJob(tmp_path).journal.steps
    do(opened, add("front"))
    assert len(OpenJob(tmp_path).journal.steps) == 1


def test_two_tabs_do_not_overwrite_each_other(tmp_path: Path) -> None:
    opened = OpenJob(tmp_path)
    revision = opened.job.revision
    asyncio.run(opened.edit(revision, {"key": "a"}, add("front")))
    with pytest.raises(Conflict):
        asyncio.run(opened.edit(revision, {"key": "b"}, add("end")))
    assert [e.id for e in load_job(tmp_path).file.edges] == ["front"]


def test_change_by_hand_is_seen_kept_and_not_undone(tmp_path: Path) -> None:
    opened = OpenJob(tmp_path)
    do(opened, add("front"))
    text = (tmp_path / "job.toml").read_text()
    (tmp_path / "job.toml").write_text("# measured twice\n" + text.replace("S01", "S02"))
    stale = opened.job.revision
    with pytest.raises(Conflict):
        asyncio.run(opened.edit(stale, {"key": "b"}, add("end")))
    do(opened, add("end"))
    after = (tmp_path / "job.toml").read_text()
    assert "# measured twice" in after
    assert "S02" in after
    step(opened, True)
    with pytest.raises(InputError, match="changed-elsewhere name=front list=edges"):
        step(opened, True)
    assert load_job(tmp_path).file.edges[0].sheet == "S02"


def test_bad_changes_change_nothing(tmp_path: Path) -> None:
    opened = OpenJob(tmp_path)
    do(opened, add("front"))
    before = (tmp_path / "job.toml").read_bytes()
    bad: Any
    for bad in (
        add("front"),
        [],
        {},
        None,
        [{"op": "destroy"}],
        [{"op": "set", "at": []}],
        [{"op": "set", "at": ["nonsense"], "value": 1}],
        [{"op": "set", "at": ["edges", {"id": "back"}, "kind"], "value": "wall"}],
        [{"op": "set", "at": ["tolerance"], "value": "3"}],
        [{"op": "set", "at": ["edges", {"id": "front"}, "kind"], "value": "roof"}],
        [{"op": "set", "at": ["edges", 7], "value": {}}],
        [{"op": "set", "at": [["x"]], "value": 1}],
        [{"op": "add", "at": ["name"], "value": 1}],
        [{"op": "rename", "kind": "edge", "id": "front", "to": "a/b"}],
    ):
        with pytest.raises(InputError):
            do(opened, bad)
    assert (tmp_path / "job.toml").read_bytes() == before
    assert len(opened.journal.steps) == 1


def test_names_are_changed_wherever_they_are_used(tmp_path: Path) -> None:
    opened = OpenJob(tmp_path)
    for name in ("front", "left", "back", "right"):
        do(opened, add(name))
    do(
        opened,
        [
            {"op": "add", "at": ["loops"], "value": {"id": "run", "edges": ["front", "right", "back", "left"]}},
            {
                "op": "add",
                "at": ["pieces"],
                "value": {
                    "id": "top",
                    "loop": "run",
                    "edges": {"front": {"overhang": "1 1/2 in"}},
                    "corners": {"front/left": {"kind": "rounded", "radius": 10}},
                    "cutouts": [
                        {
                            "id": "sink",
                            "run": "front",
                            "along": {"between": ["front", "left"]},
                            "setback": 60,
                            "width": 500,
                            "depth": 400,
                        }
                    ],
                },
            },
            {
                "op": "add",
                "at": ["openings"],
                "value": {"id": "range", "run": "front", "width": 762, "along": {"edge": "front", "distance": 10}},
            },
            {"op": "add", "at": ["centre_lines"], "value": {"id": "middle", "run": "front", "along": {"mark": "front"}}},
            {"op": "add", "at": ["site_photos"], "value": {"file": "photos/a.jpg", "at": "left/front"}},
            {
                "op": "add",
                "at": ["distances"],
                "value": {"id": "d", "a": {"loop": "run"}, "b": {"sheet": "S01", "at": [0, 0], "edge": "front"}},
            },
        ],
    )
    do(opened, [{"op": "rename", "kind": "edge", "id": "front", "to": "room side"}])
    do(opened, [{"op": "rename", "kind": "loop", "id": "run", "to": "island"}])
    text = json.dumps(plain(opened.job.file))
    assert '"front"' not in text.replace('"kind": "front"', "")
    assert "front/" not in text
    assert opened.job.file.site_photos[0].at == "left/room side"
    assert '"loop": "island"' in text
    assert opened.job.file.pieces[0].corners.keys() == {"room side/left"}
    do(opened, [{"op": "remove-edge", "id": "room side"}])
    assert opened.job.file.loops[0].edges == ["right", "back", "left"]
    assert not opened.job.file.pieces[0].edges
    step(opened, True)
    assert opened.job.file.pieces[0].edges["room side"].overhang == pytest.approx(38.1)


def test_one_value_of_a_table_is_changed_and_its_neighbours_stay(tmp_path: Path) -> None:
    """A page sends the value that was changed, not the table as it was when it was drawn."""
    opened = OpenJob(tmp_path)
    backing = ["paper", "thickness_by_sheet_mm"]
    do(opened, [{"op": "set", "at": [*backing, "S03"], "value": 2.9}])
    do(opened, [{"op": "set", "at": [*backing, "S09"], "value": 3.0}])
    assert opened.job.file.paper.thickness_by_sheet_mm == {"S03": 2.9, "S09": 3.0}
    do(opened, [{"op": "set", "at": [*backing, "S03"], "value": None}])
    assert opened.job.file.paper.thickness_by_sheet_mm == {"S09": 3.0}
    do(opened, [{"op": "set", "at": [*backing, "S09"], "value": None}])
    assert "paper" not in plain(opened.job.file)
    assert "thickness" not in (tmp_path / "job.toml").read_text(encoding="utf-8")


def test_journal_needs_no_job_file(tmp_path: Path) -> None:
    journal = Journal(tmp_path, "")
    assert journal.undoable is None
    assert journal.redoable is None
