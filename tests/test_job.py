"""The job folder: what a user may write, what is refused and how, and that nothing is lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from phototemplate import job as jobs
from phototemplate.errors import InputError, JobFileError, OutputError
from phototemplate.job import JobFile, create_job, load_job, parse_job, save_job
from phototemplate.stage_inputs import improbable, photo_names, read_photos

FULL = """
# kept comment
format = 1
name = "kitchen"
units = "mm"
tolerance = "1/16 in"

[paper]
thickness_mm = 1.5   # also kept
thickness_by_sheet_mm = { S03 = 3.1 }

[[lengths]]
kind = "bar"
from = "B01"
to = "B02"
value = "39 3/8 in"
u = "0.3 mm"

[[edges]]
id = "front"
kind = "front"
photo = "IMG_1"
path = [[10, 20], [300, 40]]

[[edges]]
id = "back"
kind = "wall"
source = "strip"
shape = "profile"
targets = ["W01", "W02b"]

[[loops]]
id = "run"
edges = ["front", "back"]
"""


def test_reads_what_a_user_writes() -> None:
    file = parse_job(FULL.encode())
    assert file.tolerance == pytest.approx(25.4 / 16)
    assert file.lengths[0].value == pytest.approx(39.375 * 25.4)  # 1 in = 25.4 mm exactly
    assert file.paper.thickness_by_sheet_mm == {"S03": 3.1}
    assert file.edges[0].hint().anchor_id == "IMG_1"
    assert file.edges[1].hint().targets == ("W01", "W02b")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("nmae = 'x'", ["unknown key `nmae`", "did you mean `name`?"]),
        ("[paper]\nthicknes_mm = 1", ["`paper.thicknes_mm`", "thickness_mm"]),
        ("[[edges]]\nid='a'\nkind='front'\nphto='b'", ["unknown key `edges.1.phto`", "photo"]),
        ("[[edges]]\nid='a'\nkind='frnt'\nphoto='b'\npath=[[1,2],[3,4]]", ["edges.1.kind", "front"]),
        ("[[edges]]\nid='a'\nkind='front'\nphoto='b'", ["edges.1", "path"]),
        ("[[loops]]\nid='l'\nedges=['frnt']", ["loop 'l' names edge 'frnt'"]),
        ("[[lengths]]\nkind='bar'\nfrom='B01'\nto='B02'\nvalue='39 38'", ["lengths.1.value"]),
        ("[[lengths]]\nkind='bar'\nfrom='B01'\nto='B02'\nvalue='-3 mm'", ["lengths.1.value", "-3 mm is too small"]),
        ("[settings.edges]\nstaton_mm = 3", ["settings.edges.staton_mm", "station_mm"]),
        ("name = ", ["not valid TOML"]),
    ],
)
def test_refuses_in_a_sentence_that_names_the_place(text: str, words: list[str]) -> None:
    with pytest.raises(JobFileError) as caught:
        parse_job(text.encode(), "job.toml")
    for word in words:
        assert word in str(caught.value)
    assert "job.toml" in str(caught.value)


def test_saving_keeps_comments_and_refuses_to_overwrite_another_hand(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(FULL)
    first, second = load_job(tmp_path), load_job(tmp_path)
    changed = save_job(first, first.file.model_copy(update={"name": "other"}))
    text = (tmp_path / "job.toml").read_text()
    assert "kept comment" in text
    assert "also kept" in text
    assert load_job(tmp_path) == changed
    with pytest.raises(JobFileError, match="changed elsewhere"):
        save_job(second, second.file.model_copy(update={"name": "third"}))
    assert (tmp_path / "job.toml").read_text() == text


def test_a_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "job.toml").write_text(FULL)
    job = load_job(tmp_path)

    def full(path: Path, text: str) -> None:
        raise OutputError(f"{path} could not be written: the disk is full; free some space and run again.")

    monkeypatch.setattr(jobs, "write_text_atomic", full)
    with pytest.raises(OutputError, match="disk is full"):
        save_job(job, job.file.model_copy(update={"name": "x"}))
    assert (tmp_path / "job.toml").read_text() == FULL


def test_everything_written_is_read_back_the_same(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("")
    job = load_job(tmp_path)
    file = parse_job(FULL.encode())
    assert save_job(job, file).file == load_job(tmp_path).file == file
    assert isinstance(load_job(tmp_path).file, JobFile)


def test_new_job_folder(tmp_path: Path) -> None:
    photo = tmp_path / "a.jpg"
    photo.write_bytes(b"x")
    job = create_job(tmp_path / "kitchen", [photo], "1000.2 mm")
    assert job.file.lengths[0].value == 1000.2
    assert [p.name for p in job.photo_paths()] == ["a.jpg"]
    with pytest.raises(InputError, match="already holds a job"):
        create_job(tmp_path / "kitchen", [], None)
    with pytest.raises(InputError, match="no photo"):
        create_job(tmp_path / "other", [tmp_path / "missing.jpg"], None)
    with pytest.raises(InputError, match="no folder"):
        load_job(tmp_path / "nowhere")


def test_photos_left_out(tmp_path: Path) -> None:
    for name in ("b.JPG", "a.heic", "notes.txt", "c.png"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "job.toml").write_text('leave_out = ["c.png"]')
    assert [p.name for p in load_job(tmp_path).photo_paths()] == ["a.heic", "b.JPG"]


LENGTH = "[[lengths]]\nkind='bar'\nfrom='B01'\nto='B02'\n"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("tolerance = true", "tolerance"), ("tolerance = inf", "tolerance"), ("tolerance = nan", "tolerance"),
        ("tolerance = -1", "tolerance"), ("tolerance = 0", "tolerance"), ("tolerance = 1e300", "tolerance"),
        ("tolerance = " + "9" * 400, "tolerance"), (f"tolerance = '{'9' * 400} mm'", "tolerance"),
        ("tolerance = " + "9" * 5000, "not valid TOML"), ("tolerance = '1e300 mm'", "tolerance"),
        ("[paper]\nthickness_mm = -0.1", "paper.thickness_mm"), ("[paper]\nthickness_u_mm = -0.1", "paper.thickness_u_mm"),
        ("[paper]\nflatness_u_mm = nan", "paper.flatness_u_mm"), ("[paper]\nstrip_thickness_mm = true", "strip_thickness_mm"),
        ("[paper.thickness_by_sheet_mm]\nS01 = -2", "thickness_by_sheet_mm"),
        (LENGTH + "value = true", "lengths.1"), (LENGTH + "value = 1e300", "lengths.1.value"),
        (LENGTH + "value = 1e-300", "lengths.1.value"), (LENGTH + "value = 1000\nu = 0", "lengths.1.u"),
        (LENGTH + "value = 1000\nu = -1", "lengths.1.u"), (LENGTH + "value = 1000\ntemperature_c = 75", "temperature_c"),
        (LENGTH + "value = 1000\ntemperature_c = true", "temperature_c"),
        ("[[markers]]\ndictionary = 'DICT_4X4_50'\nsize_mm = inf", "markers.1.size_mm"),
        ("[settings.edges]\nstation_mm = -5", "settings.edges"), ("[settings.edges]\nstation_mm = nan", "station_mm"),
        ("[settings.adjustment]\nu_focal = true", "settings.adjustment"), ("units = true", "units"),
        ("[[edges]]\nid='a'\nkind='front'\nphoto='p'\npath=[[1,2],[nan,4]]", "edges.1.path"),
        ("[[edges]]\nid='a'\nkind='front'\nphoto='p'\npath=[[1,2],[3,4]]\nsearch = 1e6", "edges.1.search"),
        ("x = " + "[" * 3000 + "]" * 3000, "deep"), (".".join("a" * 1 for _ in range(100_000)) + " = 1", "deeper"),
    ],
    ids=lambda v: v[:40],
)  # fmt: skip
def test_impossible_values_are_refused_where_they_stand(text: str, place: str) -> None:
    with pytest.raises(JobFileError) as caught:
        parse_job(text.encode(), "job.toml", all_mm=True)
    assert place in str(caught.value)
    assert len(str(caught.value)) < 1000


def test_values_at_the_ends_of_their_ranges_pass() -> None:
    file = parse_job((LENGTH + "value = '100 m'\nu = '0.001 mm'\ntemperature_c = -40\n[paper]\nthickness_mm = 0").encode())
    assert file.lengths[0].value == 100_000
    assert parse_job(b"\xef\xbb\xbfname = 'with a mark of Windows editors'").name.startswith("with")


def test_what_is_possible_but_improbable_is_asked_back() -> None:
    """A thickness in the wrong unit, a bar of 30 m, a bar in the sun; the usual ones need no question."""
    file = parse_job((LENGTH + "value = '30 m'\ntemperature_c = 50\n[paper]\nthickness_mm = 30").encode())
    assert {f.facts["key"] for f in improbable(file)} == {"lengths.1.value", "lengths.1.temperature_c", "paper.thickness_mm"}
    assert improbable(parse_job(FULL.encode())) == []


def test_photos_that_differ_only_in_their_ending_are_two() -> None:
    paths = [Path(f"photos/IMG_2312.{ending}") for ending in ("heic", "jpg", "png")]
    assert photo_names(paths) == {paths[0]: "IMG_2312.heic", paths[1]: "IMG_2312", paths[2]: "IMG_2312.png"}
    assert set(photo_names([paths[0]]).values()) == {"IMG_2312"}


def test_two_photos_of_one_stem_are_both_measured(tmp_path: Path) -> None:
    for ending in ("jpg", "png"):
        Image.fromarray(np.full((40, 60, 3), 90, np.uint8)).save(tmp_path / f"IMG_1.{ending}")
    metas, findings = read_photos(load_job(tmp_path))
    assert sorted(m.photo_id for m in metas) == ["IMG_1", "IMG_1.png"]
    assert [f.where for f in findings if f.code == "photo-same-name"] == ["IMG_1.png"]


BARE = "[[lengths]]\nkind='bar'\nfrom='B01'\nto='B02'\nvalue = 39.5\n[shop]\noverhang = 1.5\n"


@pytest.mark.parametrize("head", ["", "units = 'in'\n", "format = 2\n"])
def test_a_length_without_a_unit_is_refused_where_nothing_says_which(head: str) -> None:
    with pytest.raises(JobFileError) as caught:
        parse_job((head + BARE).encode())
    for text in ("`lengths.1.value`: 39.5 has no unit", "`shop.overhang`: 1.5 has no unit", 'write "1.5 mm" or "1.5 in"'):
        assert text in str(caught.value)


def test_a_length_without_a_unit_is_mm_where_the_file_says_so(tmp_path: Path) -> None:
    file = parse_job(("units = 'mm'\n" + BARE).encode())
    assert (file.lengths[0].value, file.shop.overhang) == (39.5, 1.5)
    assert parse_job(b"[paper]\nthickness_mm = 1.9\n[shop]\nend_overhang = 0\n").paper.thickness_mm == 1.9
    (tmp_path / "job.toml").write_text("format = 1\n" + BARE)
    old = load_job(tmp_path)
    assert old.file.shop.overhang == 1.5
    assert "lengths-without-unit" in [f.code for f in improbable(old.file, old.bare)]
    assert set(old.bare) == {"value = 39.5", "overhang = 1.5"}


def test_a_job_that_changes_to_inches_keeps_its_lengths(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("units = 'mm'\n" + BARE)
    job = load_job(tmp_path)
    save_job(job, job.file.model_copy(update={"units": "in"}))
    after = load_job(tmp_path)
    assert (after.file.lengths, after.file.shop, after.bare) == (job.file.lengths, job.file.shop, ())


def test_what_fronts_are_measured_at_is_said_for_the_job_and_otherwise_at_an_edge() -> None:
    kinds = (("a", "front", ""), ("b", "front", 'line = "box"'), ("c", "end", ""), ("d", "front", "choose = 3.0"))
    edges = "".join(
        f'[[edges]]\nid = "{name}"\nkind = "{kind}"\nphoto = "IMG_1"\npath = [[10, 20], [300, 40]]\n{more}\n'
        for name, kind, more in kinds
    )
    wanted = [h.line for h in parse_job(f'units = "mm"\nline = "door"\n{edges}'.encode()).hints()]
    assert wanted == ["door", "box", None, None]
    assert [h.line for h in parse_job(f'units = "mm"\n{edges}'.encode()).hints()] == [None, "box", None, None]
