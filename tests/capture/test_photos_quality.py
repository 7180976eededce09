"""Photos that were edited, resized, blurred or taken twice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from phototemplate.capture.photos import read_meta
from phototemplate.capture.quality import blur_ellipse, blur_px, check_file, find_duplicates, fingerprint
from phototemplate.model import PhotoMeta


def _photo(path: Path, size: tuple[int, int], stated: tuple[int, int] | None, software: str = "") -> PhotoMeta:
    exif = Image.Exif()
    if stated:
        exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Norvik", "P4"
        sub = exif.get_ifd(ExifTags.IFD.Exif)
        sub[ExifTags.Base.ExifImageWidth], sub[ExifTags.Base.ExifImageHeight] = stated
    if software:
        exif[ExifTags.Base.Software] = software
    Image.new("RGB", size, (90, 120, 60)).save(path, exif=exif)
    return read_meta(path)


def _codes(meta: PhotoMeta) -> list[str]:
    return [f.code for f in check_file(meta)]


def test_edited_pictures_are_recognised(tmp_path: Path) -> None:
    assert _codes(_photo(tmp_path / "a.jpg", (800, 600), (800, 600), "17.2")) == []
    assert _codes(_photo(tmp_path / "b.jpg", (800, 600), (800, 600), "GIMP 2.10")) == ["photo-resaved"]
    assert _codes(_photo(tmp_path / "c.jpg", (800, 600), (4032, 3024))) == ["photo-resized"]
    assert _codes(_photo(tmp_path / "d.jpg", (800, 700), (800, 700))) == ["photo-cropped"]
    assert _codes(_photo(tmp_path / "e.jpg", (1600, 1200), None)) == ["photo-from-messenger", "photo-no-exif"]
    assert _codes(_photo(tmp_path / "Screenshot_1.png", (800, 600), None)) == ["photo-screenshot", "photo-no-exif"]
    assert _codes(_photo(tmp_path / "f.jpg", (800, 600), None)) == ["photo-no-exif"]
    assert _codes(_photo(tmp_path / "g.jpg", (600, 800), (800, 600))) == [], "portrait"


def test_real_phone_photos_are_not_accused(reference_photos: Path) -> None:
    """Originals of github.com/MikeKovarik/exifr; the -tiny one was resized."""
    folder = reference_photos / "phone_formats/exifr"
    for name in ("IMG_20180725_163423.jpg", "heic-iphone.heic", "heic-iphone7.heic"):
        assert _codes(read_meta(folder / name)) == [], name
    assert "photo-resized" in _codes(read_meta(folder / "IMG_20180725_163423-tiny.jpg"))


def test_duplicates() -> None:
    rng = np.random.default_rng(0)
    scene = cv2.GaussianBlur(rng.integers(0, 255, (700, 900)).astype(np.float32), (0, 0), 25)
    scene = cv2.normalize(scene, np.empty_like(scene), 0, 255, cv2.NORM_MINMAX).astype(np.uint8)
    shots = {
        "A": scene[:600, :800],
        "copy": cv2.resize(scene[:600, :800], (400, 300), interpolation=cv2.INTER_AREA),
        "burst": scene[2:602, 3:803],
        "later": scene[2:602, 3:803],
        "moved": scene[60:660, 80:880],
    }
    times = {"A": "2026-03-14T10:00:07", "burst": "2026-03-14T10:00:08", "later": "2026-03-14T10:03:00"}
    metas = [PhotoMeta(k, Path(k), (800, 600), taken_at=times.get(k, "")) for k in shots]
    prints = {k: fingerprint(np.ascontiguousarray(v)) for k, v in shots.items()}
    findings, left_out = find_duplicates(metas, prints)
    found = {f.where: f for f in findings}
    assert (found["copy"].code, found["copy"].facts) == ("photo-duplicate", {"twin": "A"})
    assert "burst" in left_out
    assert "moved" not in found
    assert find_duplicates([metas[0], replace(metas[4], taken_at=times["A"])], prints) == ((), frozenset())


def test_the_best_of_a_burst_stays_and_those_with_edges() -> None:
    metas = [PhotoMeta(k, Path(k), (800, 600)) for k in ("soft", "sharp", "drawn")]
    same = np.full((32, 32), 1 / 32)
    prints = dict.fromkeys(("soft", "sharp", "drawn"), same)
    worth = {"soft": 1.0, "sharp": 3.0, "drawn": 2.0}
    assert find_duplicates(metas, prints, worth)[1] == {"soft", "drawn"}
    findings, left_out = find_duplicates(metas, prints, worth, wanted={"drawn"})
    assert left_out == {"soft", "sharp"}
    findings, left_out = find_duplicates(metas, prints, worth, wanted={"drawn", "soft"})
    assert left_out == {"sharp"}
    assert any(f.code == "photo-duplicate-kept" for f in findings)


@pytest.mark.parametrize("sigma", [0.8, 1.5, 3.0])
def test_blur_without_targets(sigma: float) -> None:
    picture = np.full((400, 600), 60, np.uint8)
    for k in range(8):
        cv2.rectangle(picture, (20 + 70 * k, 40), (60 + 70 * k, 360), 200, -1)
    soft = cv2.GaussianBlur(picture, (0, 0), sigma)
    assert blur_px(np.asarray(soft, np.uint8)) == pytest.approx(sigma, rel=0.2)
    assert np.isnan(blur_px(np.full((300, 300), 80, np.uint8)))


def test_blur_ellipse_of_a_shake() -> None:
    angle = np.radians(np.arange(0, 180, 10))
    normals = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    direction = np.radians(30)
    along = np.cos(angle - direction)
    blur = blur_ellipse(normals, np.sqrt(3.0**2 * along**2 + 0.8**2 * (1 - along**2)))
    assert blur is not None
    assert blur.moved
    assert (blur.major_px, blur.minor_px) == (pytest.approx(3.0), pytest.approx(0.8))
    assert blur.direction_rad % np.pi == pytest.approx(direction)
    assert blur_ellipse(normals[:3], np.ones(3)) is None
