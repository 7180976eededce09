"""Detection on pictures with exact truth, and on real photographs (sources in each test)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from phototemplate.capture import design
from phototemplate.capture.detect import detect
from phototemplate.capture.detect_boards import chessboard_points, detect_chessboard
from phototemplate.capture.detect_plain import PlainMarkers, plain_target
from phototemplate.capture.markers import codes_of, dictionary, find_quads, read_markers
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.capture.target_layout import charuco_layout
from phototemplate.errors import InputError
from phototemplate.model import PhotoMeta, Sightings
from phototemplate.settings import DetectionSettings
from tests.capture.scene import Laid, Picture, Shot, take

SETTINGS = DetectionSettings()
LAID = (
    Laid("S01", -230, 110, 3),
    Laid("S02", 130, 150, -5),
    Laid("S14", -120, -170, 40),
    Laid("W03b", 180, -60, 10),
    Laid("B02", 150, -200, 30),
)
SHOT = Shot(eye_mm=(20.0, -620.0, 760.0), size_px=(1280, 960), focal_px=1050.0)


@pytest.fixture(scope="module")
def picture() -> Picture:
    return take(LAID, SHOT)


def _detect(gray: np.ndarray, **more: object) -> Sightings:
    meta = PhotoMeta("P1", Path("P1.jpg"), (gray.shape[1], gray.shape[0]))
    return detect(gray, meta, SETTINGS, **more)  # type: ignore[arg-type]


def _errors(seen: Sightings, picture: Picture) -> tuple[np.ndarray, np.ndarray]:
    truth = np.array([picture.truth_px[t, int(p)] for t, p in zip(seen.target_ids, seen.point_ids, strict=True)])
    e = seen.uv_px - truth
    return e, np.einsum("ni,nij,nj->n", e, np.linalg.inv(seen.cov_px2), e) / 2


def _is_strip_end(seen: Sightings) -> np.ndarray:
    return np.array([t.startswith("W") and p >= 6 for t, p in zip(seen.target_ids, seen.point_ids, strict=True)])


def test_every_point_to_a_fiftieth_of_a_pixel(picture: Picture) -> None:
    seen = _detect(picture.gray)
    assert len(picture.truth_px) == 3 * 15 + 6 + 2 + 1
    assert not seen.findings
    errors, chi2 = _errors(seen, picture)
    ends = _is_strip_end(seen)
    assert len(seen) - ends.sum() == 3 * 15 + 6 + 1
    assert ends.any()
    assert np.abs(errors[ends]).max() < 0.3
    errors, chi2 = errors[~ends], chi2[~ends]
    assert np.sqrt(np.mean(errors**2)) < 0.02
    assert np.abs(errors).max() < 0.1
    assert 0.2 < chi2.mean() < 1.3
    assert (np.linalg.eigvalsh(seen.cov_px2) > 0).all()
    assert list(seen.target_ids) == sorted(seen.target_ids)


def test_covariance_grows_with_noise_and_obliquity() -> None:
    laid = LAID[:2]
    clean = replace(SHOT, size_px=(800, 600), focal_px=650.0, supersample=3)
    low = replace(clean, eye_mm=(20.0, -830.0, 330.0))
    noisy = replace(clean, full_well=80.0, jpeg=75)
    chi2, size = {}, {}
    for name, shot in (("clean", clean), ("noisy", noisy), ("low", low)):
        shown = take(laid, shot)
        seen = _detect(shown.gray)
        assert len(seen) >= 25
        chi2[name] = _errors(seen, shown)[1].mean()
        size[name] = np.sqrt(np.median(np.linalg.eigvalsh(seen.cov_px2), axis=0))
    assert all(0.15 < c < 1.6 for c in chi2.values())
    assert size["noisy"].mean() > 1.7 * size["clean"].mean()
    assert size["low"].mean() > 1.3 * size["clean"].mean()


def test_hidden_and_cut_off_sheets_are_used_in_part(picture: Picture) -> None:
    gray = picture.gray.copy()
    hidden = np.array([picture.truth_px["S02", n] for n in (7, 8, 9, 12, 13, 14)])
    x0, y0 = (hidden.min(axis=0) - 14).astype(int)
    x1, y1 = (hidden.max(axis=0) + 14).astype(int)
    gray[y0:y1, x0:x1] = 45  # a book over a corner of the sheet
    gray[::7, x0:x1] = np.maximum(gray[::7, x0:x1], 60)
    seen = _detect(gray)
    of_sheet = [int(p) for t, p in zip(seen.target_ids, seen.point_ids, strict=True) if t == "S02"]
    assert 4 <= len(of_sheet) <= 9
    assert not set(of_sheet) & {7, 8, 9, 12, 13, 14}
    errors, _ = _errors(seen, picture)
    assert np.abs(errors[~_is_strip_end(seen)]).max() < 0.15
    cut = int(picture.truth_px["S01", 7][0])
    part = _detect(np.ascontiguousarray(picture.gray[:, cut + 8 :]))
    right = [int(p) for t, p in zip(part.target_ids, part.point_ids, strict=True) if t == "S01"]
    assert right
    assert set(right) <= {3, 4, 8, 9, 13, 14}


def test_bent_strip_and_curled_sheet() -> None:
    laid = (Laid("W05a", -60, 90, 5, curl_per_mm=1 / 350.0), Laid("S33", 40, -90, -8, curl_per_mm=1 / 1500.0))
    shown = take(laid, SHOT)
    seen = _detect(shown.gray)
    ends = _is_strip_end(seen)
    assert len(seen) - ends.sum() == 6 + 15
    errors, _ = _errors(seen, shown)
    assert np.abs(errors[~ends]).max() < 0.15
    assert np.abs(errors[ends]).max(initial=0.0) < 0.5


def test_the_same_number_twice(picture: Picture) -> None:
    shown = take((*LAID, Laid("S02", -60, 330, 25)), replace(SHOT, size_px=(960, 720), focal_px=790.0, supersample=2))
    seen = _detect(shown.gray)
    assert "S02" not in seen.target_ids
    assert {"S01", "S14", "W03b", "B02"} <= set(seen.target_ids)
    (finding,) = seen.findings
    assert (finding.code, finding.where) == ("target-id-twice", "S02")


def test_a_photo_without_targets_and_a_blurred_one(picture: Picture) -> None:
    empty = _detect(np.full((600, 800), 128, np.uint8))
    assert len(empty) == 0
    assert [f.code for f in empty.findings] == ["photo-no-targets"]
    shown = take(LAID[:3], replace(SHOT, size_px=(1920, 1440), focal_px=1600.0, motion_px=(7.0, 0.0), supersample=2))
    moved = _detect(shown.gray)
    assert [f.code for f in moved.findings] == ["photo-smeared"]
    _, chi2 = _errors(moved, shown)
    sharp = _detect(picture.gray)
    assert np.median(moved.cov_px2[:, 0, 0]) > 2 * np.median(sharp.cov_px2[:, 0, 0]), "counts less"
    assert chi2.mean() < 2


def test_plain_markers_beside_sheets() -> None:
    shown = take(LAID[:2], replace(SHOT, supersample=2))
    gray = shown.gray.copy()
    tag = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), 17, 400)
    board = np.full((520, 520), 255, np.uint8)
    board[60:460, 60:460] = tag
    source = np.array([[60, 60], [460, 60], [460, 460], [60, 460]], np.float32) - 0.5  # outer corners of the black square
    wanted = np.array([[560.3, 640.6], [690.8, 652.1], [676.4, 781.7], [545.9, 760.2]], np.float32)
    fine = (1280 * 4, 960 * 4)
    h = cv2.getPerspectiveTransform(source, (wanted + 0.5) * 4 - 0.5)
    card, cover = (cv2.warpPerspective(b, h, fine) for b in (board, np.full_like(board, 255)))
    inside, mask = (cv2.resize(b, (1280, 960), interpolation=cv2.INTER_AREA) for b in (card, cover))
    mask = mask > 250
    gray[mask] = (40 + inside[mask] * 0.7).astype(np.uint8)
    seen = _detect(gray, plain=[PlainMarkers("DICT_APRILTAG_36h11", 80.0)])
    assert set(seen.target_ids) == {"S01", "S02", "M17"}
    tagged = np.array([t == "M17" for t in seen.target_ids])
    assert np.abs(seen.uv_px[tagged] - wanted).max() < 0.35, "no half-pixel shift of the AprilTag convention"
    assert np.sqrt(seen.cov_px2[tagged, 0, 0]).min() >= 0.1
    with pytest.raises(InputError, match="DICT_4X4_50"):
        _detect(gray, plain=[PlainMarkers("DICT_NONSENSE", 80.0)])
    assert plain_target(17, 80.0).points_mm[0].tolist() == [-40.0, 40.0, 0.0]


def test_markers_agree_with_opencv(picture: Picture) -> None:
    """Ids and corner order of cv2.aruco.ArucoDetector, the reference implementation of these dictionaries."""
    own = dictionary(design.DICTIONARY)
    corners, ids, _ = cv2.aruco.ArucoDetector(own, cv2.aruco.DetectorParameters()).detectMarkers(picture.gray)
    found = read_markers(picture.gray, find_quads(picture.gray), codes_of(own))
    ours = dict(zip(found.ids.tolist(), found.corners_px, strict=True))
    assert set(np.ravel(ids).tolist()) <= set(ours)
    for marker, quad in zip(np.ravel(ids), corners, strict=True):
        assert np.abs(ours[int(marker)] - quad.reshape(4, 2)).max() < 3.0


# ---------------------------------------------------------------------------------------- real photos


def _real(folder: Path, name: str, plain: PlainMarkers) -> Sightings:
    meta = read_meta(folder / name)
    return detect(read_gray(meta), meta, SETTINGS, plain=[plain])


def test_real_markers(reference_photos: Path) -> None:
    """Photos of the OpenCV tutorials (Debian opencv-doc 4.6.0): 6 single markers, 17 of a ChArUco board, a grid of 35 of a
    custom dictionary."""
    folder = reference_photos / "aruco_photos"
    single = _real(folder, "singlemarkersoriginal.jpg", PlainMarkers("DICT_6X6_250", 40.0))
    assert set(single.target_ids) == {"M23", "M40", "M62", "M98", "M124", "M203"}
    board = _real(folder, "choriginal.jpg", PlainMarkers("DICT_6X6_250", 20.0))
    assert set(board.target_ids) == {f"M{n}" for n in range(17)}
    grid = _real(folder, "gboriginal.png", PlainMarkers(folder / "tutorial_dict.yml", 40.0))
    assert set(grid.target_ids) == {f"M{n}" for n in range(35)}
    plane = np.array([plain_target(n, 40.0).points_mm[:, :2] + [50.0 * (n % 5), -50.0 * (n // 5)] for n in range(35)])
    index = [int(t[1:]) for t in grid.target_ids]
    xy = plane[index, grid.point_ids]
    h, _ = cv2.findHomography(xy, grid.uv_px)
    mapped = cv2.perspectiveTransform(xy[:, None], h)[:, 0]
    assert np.sqrt(np.mean((mapped - grid.uv_px) ** 2)) < 1.0, "nominal layout 40 mm and 10 mm gap; the lens is not corrected"


def test_real_charuco(reference_photos: Path) -> None:
    """choriginal.jpg of the OpenCV tutorials: all 24 corners, which OpenCV's own detector fits worse."""
    folder = reference_photos / "aruco_photos"
    gray = read_gray(read_meta(folder / "choriginal.jpg"))
    board = cv2.aruco.CharucoBoard((5, 7), 40.0, 20.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250))
    found = _detect(gray, layout=charuco_layout(board))
    assert found.point_ids.tolist() == list(range(24))
    storage = cv2.FileStorage(str(folder / "tutorial_camera_charuco.yml"), cv2.FILE_STORAGE_READ)
    k, dist = storage.getNode("camera_matrix").mat(), storage.getNode("distortion_coefficients").mat()
    theirs, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(gray)

    def rms(points: np.ndarray, uv: np.ndarray) -> float:
        _, r, t = cv2.solvePnP(points, uv.astype(float), k, dist)
        return float(np.sqrt(np.mean((cv2.projectPoints(points, r, t, k, dist)[0][:, 0] - uv) ** 2)))

    corners = np.array(board.getChessboardCorners())
    assert rms(corners[found.point_ids], found.uv_px) < 0.8 * rms(corners[np.ravel(ids)], theirs.reshape(-1, 2))


def test_real_chessboards(reference_photos: Path) -> None:
    """Camera calibration toolbox example, 12 x 13 inner corners, three photos: less residual than cornerSubPix."""
    points = chessboard_points(12, 13, 30.0).astype(np.float32)
    ours, theirs = [], []
    for number in (1, 9, 16):
        gray = read_gray(read_meta(reference_photos / "chessboard_30mm" / f"Image{number}.tif"))
        found = detect_chessboard(gray, 12, 13)
        assert len(found) == 156
        ours.append(found.uv_px.astype(np.float32))
        theirs.append(cv2.cornerSubPix(gray, ours[-1].reshape(-1, 1, 2).copy(), (5, 5), (-1, -1), (3, 60, 1e-4)).reshape(-1, 2))
    rms = [cv2.calibrateCamera([points] * 3, uv, (640, 480), None, None, flags=cv2.CALIB_FIX_K3)[0] for uv in (ours, theirs)]
    assert rms[0] < 0.9 * rms[1]


def test_a_chessboard_is_read_the_right_way_round() -> None:
    squares = np.kron((np.add.outer(np.arange(6), np.arange(7)) % 2), np.ones((40, 40))).astype(np.uint8) * 200 + 20
    framed = cv2.copyMakeBorder(squares, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=235)
    board = np.asarray(cv2.GaussianBlur(framed, (0, 0), 0.8), np.uint8)
    upright = detect_chessboard(board, 6, 5)
    assert len(upright) == 30
    first = upright.uv_px[upright.point_ids == 0][0]
    np.testing.assert_allclose(first, [99.5, 99.5], atol=0.02)  # black at the upper left
    turned = detect_chessboard(np.ascontiguousarray(board[::-1, ::-1]), 6, 5)
    last = board.shape[1] - 1 - turned.uv_px[turned.point_ids == 0][0][0]
    assert last == pytest.approx(99.5, abs=0.02)
    assert not len(detect_chessboard(np.full((200, 200), 90, np.uint8), 6, 5))
    with pytest.raises(InputError):
        detect_chessboard(board, 2, 5)
