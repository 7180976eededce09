"""Findings as they are shown."""

from __future__ import annotations

from phototemplate.errors import Finding, said_once


def test_what_is_said_alike_of_many_photos_is_said_once() -> None:
    photos = [Finding("photo-edited", f"IMG_{k}", "It was cropped.", "Use the original.") for k in range(12)]
    other = Finding("photo-edited", "IMG_3", "It was saved by an editor.", "Use the original.")
    note = Finding("photo-no-exif", "IMG_0", "It says nothing.")
    bad = Finding("scale-missing", "network", "No known length.")
    shown = said_once([note, *photos, other, bad])
    assert [f.code for f in shown] == ["scale-missing", "photo-edited", "photo-edited", "photo-no-exif"]
    assert shown[1].where == "IMG_0, IMG_1, IMG_2 and 9 more"
    assert shown[2].where == "IMG_3"
    assert shown[2].message == other.message


def test_few_places_are_all_named_and_none_twice() -> None:
    findings = [Finding("photo-blurred", where, "It is blurred.") for where in ("A", "B", "A", "C", "D")]
    assert [f.where for f in said_once(findings)] == ["A, B, C, D"]
