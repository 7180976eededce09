"""Photo files against real ones (sources in each test) and against Pillow's own writing of every kind."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import ExifTags, Image

from phototemplate.capture import constants, heif, photos
from phototemplate.capture.photos import read_gray, read_meta, read_rgb, upright, upright_points
from phototemplate.errors import PhotoError


@pytest.fixture
def ramp() -> np.ndarray:
    """A smooth colour picture, 64 x 48, different along every axis."""
    y, x = np.mgrid[0:48, 0:64]
    return np.stack([40 + 2 * x, 60 + 3 * y, 200 - x - y], axis=-1).astype(np.uint8)


def _luma(rgb: np.ndarray) -> np.ndarray:
    """ITU-R BT.601 luma, as in JFIF."""
    return rgb @ np.array([0.299, 0.587, 0.114])


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif", "a.heic"])
def test_every_format_reads(tmp_path: Path, ramp: np.ndarray, name: str) -> None:
    path = tmp_path / name
    Image.fromarray(ramp).save(path, quality=95)
    meta = read_meta(path)
    assert meta.size_px == (64, 48)
    assert meta.camera_id == "unknown-64x48"
    gray, rgb = read_gray(meta), read_rgb(meta)
    assert gray.shape == (48, 64)
    assert gray.dtype == np.uint8
    assert rgb.shape == (48, 64, 3)
    assert np.abs(gray - _luma(ramp)).mean() < 2.0
    assert np.abs(rgb.astype(int) - ramp).mean() < 4.0


@pytest.mark.parametrize("mode", ["L", "LA", "RGBA", "P", "CMYK", "1", "I;16"])
def test_every_pixel_kind_reads(tmp_path: Path, ramp: np.ndarray, mode: str) -> None:
    path = tmp_path / "a.tif"
    gray = np.round(_luma(ramp)).astype(np.uint8)
    if mode == "I;16":
        Image.fromarray(gray.astype(np.uint16) * 257).save(path)
    elif mode in ("L", "LA", "1"):
        Image.fromarray(gray).convert(mode).save(path if mode != "LA" else (path := tmp_path / "a.png"))
    else:
        path = path if mode != "P" else tmp_path / "a.png"
        Image.fromarray(ramp).convert(mode).save(path)
    meta = read_meta(path)
    error = read_gray(meta).astype(float) - gray
    assert np.abs(error).mean() < (140 if mode == "1" else 12 if mode == "P" else 2)
    assert read_rgb(meta).shape == (48, 64, 3)


def test_sixteen_bits_of_colour_and_twelve_bits_of_gray(tmp_path: Path, ramp: np.ndarray) -> None:
    cv2.imwrite(str(tmp_path / "c.png"), ramp[..., ::-1].astype(np.uint16) * 257)
    assert np.abs(read_gray(read_meta(tmp_path / "c.png")) - _luma(ramp)).max() <= 1.01
    Image.fromarray((_luma(ramp) * 16).astype(np.uint16)).save(tmp_path / "g.tif")
    assert np.abs(read_gray(read_meta(tmp_path / "g.tif")) - _luma(ramp)).max() <= 1.01


def test_exif_and_camera_id(tmp_path: Path, ramp: np.ndarray) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Norvik\0", "Norvik P4"
    exif[ExifTags.Base.Orientation] = 6
    sub = exif.get_ifd(ExifTags.IFD.Exif)
    sub[ExifTags.Base.FocalLength], sub[ExifTags.Base.FocalLengthIn35mmFilm] = 4.25, 26
    sub[ExifTags.Base.DateTimeOriginal], sub[ExifTags.Base.DigitalZoomRatio] = "2026:03:14 10:00:07", 1.0
    path = tmp_path / "IMG_1.jpg"
    Image.fromarray(ramp).save(path, exif=exif)
    meta = read_meta(path)
    assert (meta.photo_id, meta.size_px, meta.orientation) == ("IMG_1", (64, 48), 6)
    assert (meta.make, meta.model, meta.focal_mm, meta.focal35_mm) == ("Norvik", "Norvik P4", 4.25, 26)
    assert meta.taken_at == "2026-03-14T10:00:07"
    assert meta.camera_id == "norvik-p4-4.25mm-26mm35-64x48"
    assert read_gray(meta).shape == (48, 64), "stored orientation, never turned"
    assert upright(read_gray(meta), 6).shape == (64, 48)
    turned = tmp_path / "IMG_2.jpg"  # by software: the principal point turned with it, nobody knows which way
    Image.fromarray(np.rot90(ramp)).save(turned, exif=exif)
    exif[ExifTags.Base.Orientation] = 1
    upright_shot = tmp_path / "IMG_4.jpg"
    Image.fromarray(ramp).save(upright_shot, exif=exif)
    sub[ExifTags.Base.FocalLength] = 2.2
    wide = tmp_path / "IMG_3.jpg"
    Image.fromarray(ramp).save(wide, exif=exif)
    groups = photos.camera_groups([meta, read_meta(turned), read_meta(wide), read_meta(upright_shot)])
    assert [[m.photo_id for m in g] for g in groups.values()] == [["IMG_1", "IMG_4"], ["IMG_2"], ["IMG_3"]]


def test_reduced_reading_keeps_the_picture(tmp_path: Path) -> None:
    y, x = np.mgrid[0:900, 0:1200]
    picture = (127 + 100 * np.sin(x / 60) * np.cos(y / 45)).astype(np.uint8)
    for name in ("a.jpg", "a.png"):
        Image.fromarray(picture).save(tmp_path / name, quality=95)
        meta = read_meta(tmp_path / name)
        small = read_gray(meta, max_side=300)
        assert small.shape == (225, 300)
        wanted = cv2.resize(picture, (300, 225), interpolation=cv2.INTER_AREA)
        assert np.abs(small.astype(int) - wanted).mean() < 1.5
        assert read_rgb(meta, max_side=300).shape == (225, 300, 3)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright_agrees_with_pillow(tmp_path: Path, ramp: np.ndarray, orientation: int) -> None:
    from PIL import ImageOps

    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    path = tmp_path / "a.png"
    Image.fromarray(ramp).save(path, exif=exif)
    with Image.open(path) as image:
        wanted = np.asarray(ImageOps.exif_transpose(image))
    meta = read_meta(path)
    shown = upright(read_rgb(meta), meta.orientation)
    np.testing.assert_array_equal(shown, wanted)
    u, v = upright_points(np.array([[11.0, 30.0]]), meta.size_px, orientation)[0]
    np.testing.assert_array_equal(shown[int(v), int(u)], ramp[30, 11])


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("mirror", [(), (("imir", 0),), (("imir", 1),)])
def test_heif_turns_are_taken_back(turn: int, mirror: tuple[heif.Transform, ...]) -> None:
    sensor = np.arange(6).reshape(2, 3)
    transforms = (("irot", turn), *mirror)
    np.testing.assert_array_equal(heif.stored(heif.apply(sensor, transforms), transforms), sensor)


@pytest.mark.parametrize("twelve_bits", [False, True])
def test_monochrome_heif_of_more_than_eight_bits(twelve_bits: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A ramp of grey, written by libheif (lossless) and read back to the upper eight bits."""
    levels = np.linspace(0, 65535, 64 * 48).reshape(48, 64).astype(np.uint16)
    monkeypatch.setattr(pillow_heif.options, "SAVE_HDR_TO_12_BIT", twelve_bits)
    path = tmp_path / "ramp.heif"
    pillow_heif.from_bytes(mode="I;16", size=(64, 48), data=levels.tobytes()).save(path, quality=-1)
    meta = read_meta(path)
    np.testing.assert_allclose(read_gray(meta).astype(int), levels >> 8, atol=1)
    assert read_rgb(meta).shape == (48, 64, 3)


def _refusal(path: Path) -> str:
    with pytest.raises(PhotoError) as caught:
        read_gray(read_meta(path))
    text = str(caught.value)
    assert text.startswith(path.name + ": ")
    assert text.endswith(".")
    assert "\n" not in text
    return caught.value.finding.code


def test_bad_files_are_refused_for_what_is_wrong_with_them(tmp_path: Path, ramp: np.ndarray) -> None:
    (tmp_path / "empty.jpg").touch()
    assert _refusal(tmp_path / "empty.jpg") == "photo-empty"
    (tmp_path / "text.jpg").write_text("no picture")
    assert _refusal(tmp_path / "text.jpg") == "photo-unknown-kind"
    (tmp_path / "folder.jpg").mkdir()
    assert _refusal(tmp_path / "folder.jpg") == "photo-folder"
    assert _refusal(tmp_path / "missing.jpg") == "photo-missing"
    (tmp_path / "film.mov").write_bytes(b"\0\0\0\x14ftypqt  \0\0\0\0qt  ")
    assert _refusal(tmp_path / "film.mov") == "photo-film"
    for name in ("cut.jpg", "cut.png", "cut.tif", "cut.heic"):
        whole = tmp_path / ("whole" + name[3:])
        Image.fromarray(np.tile(ramp, (8, 8, 1))).save(whole, quality=95)
        (tmp_path / name).write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
        assert _refusal(tmp_path / name) in ("photo-cut-short", "photo-damaged", "photo-unreadable"), name


def test_too_many_pixels_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "huge.png"
    Image.new("1", (20000, 14000)).save(path)
    assert _refusal(path) == "photo-too-large"


def test_a_large_jpeg_cut_short_is_refused_in_colour_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(constants, "RGB_PILLOW_LIMIT", 1000)
    rng = np.random.default_rng(1)
    picture = rng.integers(0, 255, (300, 400, 3), np.uint8)
    path = tmp_path / "a.jpg"
    Image.fromarray(picture).save(path, quality=95)
    meta = read_meta(path)
    with Image.open(path) as image:
        assert np.abs(read_rgb(meta).astype(int) - np.asarray(image)).max() <= 2
    path.write_bytes(path.read_bytes()[:-20000])
    with pytest.raises(PhotoError, match="cut short"):
        read_rgb(meta)


# ------------------------------------------------------------------------------------------ real files


def test_real_orientations(reference_photos: Path) -> None:
    """18 of 18 upright: github.com/recurser/exif-orientation-examples, two scenes with tags 0 to 8."""
    for scene, shape in (("Landscape", (1200, 1800)), ("Portrait", (1800, 1200))):
        reference = None
        for tag in range(9):
            meta = read_meta(reference_photos / "exif_orientation" / f"{scene}_{tag}.jpg")
            shown = upright(read_gray(meta), meta.orientation)
            assert shown.shape == shape
            small = cv2.resize(np.ascontiguousarray(shown), (90, 90), interpolation=cv2.INTER_AREA).ravel()
            reference = small if reference is None else reference
            assert np.corrcoef(reference, small)[0, 1] > 0.95  # each picture has its number printed into it


def test_real_phone_files(reference_photos: Path) -> None:
    """github.com/bigcat88/pillow_heif and github.com/MikeKovarik/exifr test files: all open or are refused well."""
    folder = reference_photos / "phone_formats"
    files = [f for f in sorted(folder.rglob("*")) if f.is_file()]
    refused = []
    for file in files:
        if file.name == "200MP.heic":
            continue
        try:
            meta = read_meta(file)
            gray = read_gray(meta)
            assert (gray.shape[1], gray.shape[0]) == meta.size_px
        except PhotoError as error:
            refused.append(str(error).split(": ")[0])
    broken = {"corrupted.heic", "corrupted.hif", "empty.heic"}
    no_pictures = {f.name for f in files if f.suffix == ".txt" or f.name == "LICENSE"}
    assert set(refused) == broken | no_pictures


def test_heic_in_stored_orientation(reference_photos: Path) -> None:
    """arrow.heic carries irot 270 (= Exif 6); Exif of the file: a 4032 x 3024 sensor, 3.99 mm lens (28 mm)."""
    meta = read_meta(reference_photos / "phone_formats/heif_other/arrow.heic")
    assert (meta.size_px, meta.orientation) == ((4032, 3024), 6)
    assert (meta.focal_mm, meta.focal35_mm) == (3.99, 28)
    gray = read_gray(meta, max_side=400)
    assert gray.shape == (300, 400)
    with Image.open(meta.path) as image:  # libheif turns it upright itself
        shown = np.asarray(image.convert("L").resize((300, 400), Image.Resampling.BOX))
    assert np.abs(upright(gray, 6).astype(int) - shown).mean() < 2.0


@pytest.mark.slow
def test_200_megapixels_within_memory(reference_photos: Path) -> None:
    """The 200 MP file of the pillow_heif test set in less than 1.5 GB."""
    import subprocess
    import sys

    path = reference_photos / "phone_formats/heif_special/200MP.heic"
    code = (
        "import sys, resource; from pathlib import Path\n"
        "from phototemplate.capture.photos import read_gray, read_meta\n"
        "meta = read_meta(Path(sys.argv[1])); gray = read_gray(meta)\n"
        "assert meta.size_px == (16320, 12240) and gray.shape == (12240, 16320)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert float(done.stdout) < 1.5


def test_stored_meta_survives_replace(tmp_path: Path, ramp: np.ndarray) -> None:
    """A photo that vanishes after its header was read is named as well."""
    path = tmp_path / "a.jpg"
    Image.fromarray(ramp).save(path)
    meta = replace(read_meta(path), path=tmp_path / "b.jpg")
    with pytest.raises(PhotoError, match=r"b\.jpg"):
        read_gray(meta)
