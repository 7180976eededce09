"""Photos of a board in, camera profile out.

Which board it is need not be said for the project's own (K01, K02: their markers tell); any other is described by
:class:`BoardSpec`. Photos of several cameras give a profile each.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np

from phototemplate.camera_profiles import CameraProfile, profile_file_name, save_profile, user_folder
from phototemplate.capture import design
from phototemplate.capture.detect import detect
from phototemplate.capture.detect_boards import chessboard_points, detect_chessboard
from phototemplate.capture.photos import PHOTO_SUFFIXES, camera_groups, read_gray, read_meta
from phototemplate.capture.quality import BLURRED
from phototemplate.capture.target_layout import Layout, charuco_layout
from phototemplate.constants import (
    LARGE_PHOTO_PX,
    PATTERN_PX,
    PATTERN_SHARE,
    RESIDUALS_FACTOR,
    SEARCHED_AT_ONCE,
    UNCERTAIN_FACTOR,
)
from phototemplate.errors import Finding, InputError, MeasureError, PhotoError
from phototemplate.model import PhotoMeta, Sightings, Target
from phototemplate.network.calibration.calibrate import Calibration, CalibrationOptions, calibrate
from phototemplate.network.calibration.constants import GOOD_ENOUGH_PX, LEAST_PHOTOS
from phototemplate.network.calibration.image_coverage import lens_u_px
from phototemplate.network.orientation.lens_start import focal_from_exif
from phototemplate.numerics.lens import LENS_MODELS
from phototemplate.output.calibration_page import write_page
from phototemplate.progress import Progress, quiet
from phototemplate.settings import DetectionSettings
from phototemplate.wording import say

FOREIGN = "board"
"""Target id of a board that is not the project's own"""


@dataclass(frozen=True)
class BoardSpec:
    """What was photographed."""

    kind: Literal["own", "charuco", "chessboard"] = "own"
    columns: int = 0
    """Squares of a ChArUco board, inner corners of a chessboard"""
    rows: int = 0
    square_mm: float = 0.0
    marker_mm: float = 0.0
    dictionary: str = ""

    def words(self, seen: Sequence[str]) -> str:
        """Description for the profile."""
        match self.kind:
            case "own":
                return ", ".join(sorted(seen))
            case "charuco":
                return f"ChArUco board {self.columns} x {self.rows}, squares {self.square_mm:g} mm, {self.dictionary}"
            case _:
                return f"chessboard {self.columns} x {self.rows} inner corners, squares {self.square_mm:g} mm"


def board_spec(
    charuco: str | None, chessboard: str | None, square_mm: float | None, marker_mm: float | None, dictionary: str | None
) -> BoardSpec:
    """A board from the words of the command line. Raises ``InputError`` for words that name no board."""
    if charuco and chessboard:
        raise InputError("A board is either a ChArUco board or a chessboard; give one of the two options.")
    text = charuco or chessboard
    if not text:
        if square_mm or marker_mm or dictionary:
            raise InputError("Square, marker and dictionary describe another board; say its kind and size as well.")
        return BoardSpec()
    match = re.fullmatch(r"(\d+)\s*[x×*]\s*(\d+)", text.strip().lower())
    if not match:
        raise InputError(f"{text!r} is not a board size; write COLUMNSxROWS, for example 10x7.")
    columns, rows = int(match[1]), int(match[2])
    if not square_mm or square_mm <= 0:
        raise InputError("How large are the board's squares? Give --square in millimetres.")
    if chessboard:
        if columns < 3 or rows < 3:
            raise InputError(f"A chessboard of {columns} x {rows} inner corners is too small; use at least 3 x 3.")
        return BoardSpec("chessboard", columns, rows, square_mm)
    if not marker_mm or not 0 < marker_mm < square_mm:
        raise InputError("How large are the board's markers? Give --marker in millimetres, smaller than the square.")
    if not dictionary or not dictionary.upper().startswith("DICT_") or not hasattr(cv2.aruco, dictionary.upper()):
        raise InputError("Which markers does the board have? Give --dictionary as OpenCV names it, for example DICT_5X5_100.")
    if columns < 3 or rows < 3:
        raise InputError(f"A ChArUco board of {columns} x {rows} squares is too small; use at least 3 x 3.")
    return BoardSpec("charuco", columns, rows, square_mm, marker_mm, dictionary.upper())


@dataclass(frozen=True)
class CalibratedCamera:
    """One profile and what it rests on."""

    profile: CameraProfile
    calibration: Calibration
    verdict: Finding
    """What a shop hand needs to know: ``calibration-good`` or why it is not"""
    findings: tuple[Finding, ...]

    @property
    def good(self) -> bool:
        return self.verdict.code == "calibration-good"


def photo_files(paths: Sequence[Path]) -> list[Path]:
    """Photo files among files and folders, each once. Raises ``InputError`` where there are none."""
    out: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            out |= dict.fromkeys(sorted(p for p in path.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES))
        elif not path.exists():
            raise InputError(f"There is no photo {path}; check the name.")
        else:
            out[path] = None
    if not out:
        raise InputError(f"No photo was given or found in {', '.join(map(str, paths)) or 'nothing'}.")
    return list(out)


def calibrate_photos(
    paths: Sequence[Path],
    board: BoardSpec | None = None,
    options: CalibrationOptions | None = None,
    name: str = "",
    progress: Progress = quiet,
) -> list[CalibratedCamera]:
    """Calibrate every camera among the photos.

    Raises ``InputError`` where no photo can be read, ``MeasureError`` where the photos do not allow a calibration.
    """
    board, options = board or BoardSpec(), options or CalibrationOptions()
    metas: list[PhotoMeta] = []
    findings: list[Finding] = []
    for path in photo_files(paths):
        try:
            meta = read_meta(path)
        except PhotoError as exc:
            findings.append(exc.finding)
            continue
        twin = sum(m.path.stem == path.stem for m in metas)
        metas.append(replace(meta, photo_id=f"{path.stem}-{twin + 1}") if twin else meta)
    if not metas:
        raise InputError(f"None of the files can be read as a photo; the first says: {PhotoError(findings[0])}")
    if board.kind == "chessboard" and (board.columns + board.rows) % 2 == 0:
        options = replace(options, same_way_up=False)
    targets, sightings = _look(metas, board, progress)
    groups = camera_groups(metas)
    large = {c: g for c, g in groups.items() if sum(len(sightings[m.photo_id]) >= 8 for m in g) >= LEAST_PHOTOS}
    if not any(len(s) for s in sightings.values()):
        raise MeasureError(_nothing_found(board, len(metas)))
    if not large:
        several = f" of each of the {len(groups)} cameras or zooms" if len(groups) > 1 else ""
        raise MeasureError(
            f"At least {LEAST_PHOTOS} photos{several} must show the board; {sum(len(s) > 0 for s in sightings.values())} of "
            f"{len(metas)} do. Take a dozen, the board tilted to all sides and in the corners of the picture."
        )
    out = []
    for k, (camera_id, group) in enumerate(groups.items()):
        if camera_id not in large:
            findings += [Finding("calibration-other-camera", m.photo_id) for m in group]
            continue
        progress("calibration", k / len(groups))
        stated = [f for f in map(focal_from_exif, group) if f]
        done = calibrate(
            [sightings[m.photo_id] for m in group], targets, group[0].size_px, options, camera_id,
            float(np.median(stated)) if stated else None,
        )  # fmt: skip
        own = [f for m in group for f in sightings[m.photo_id].findings if f.code in BLURRED]
        out.append(_camera(done, group[0], board, targets, name, (*findings, *own)))
        findings = []
    progress("calibration", 1.0)
    return out


def _look(
    metas: Sequence[PhotoMeta], board: BoardSpec, progress: Progress
) -> tuple[dict[str, Target], dict[str, Sightings]]:
    """Find the board in every photo, one picture per core in memory."""
    settings = DetectionSettings()
    if board.kind == "chessboard":
        points = chessboard_points(board.columns, board.rows, board.square_mm)
        targets = {FOREIGN: Target(FOREIGN, "board", points)}

        def see(meta: PhotoMeta) -> Sightings:
            found = detect_chessboard(read_gray(meta), board.columns, board.rows, settings)
            return Sightings(meta.photo_id, (FOREIGN,) * len(found), found.point_ids, found.uv_px, found.cov_px2)

        return targets, _every(metas, see, progress)
    if board.kind == "own":
        targets = {k: design.target(k) for k in design.board_ids()}

        def see_own(meta: PhotoMeta) -> Sightings:
            return _only(detect(read_gray(meta), meta, settings), targets)

        return targets, _every(metas, see_own, progress)
    for legacy in (False, True):  # boards printed by OpenCV before 4.6 begin with a marker where rows are even
        layout = _charuco(board, legacy)
        saddles = layout.boards[FOREIGN].saddles_mm
        middle = (saddles.min(axis=0) + saddles.max(axis=0)) / 2
        targets = {FOREIGN: Target(FOREIGN, "board", np.column_stack([saddles - middle, np.zeros(len(saddles))]))}
        seen = _every(metas, lambda m, lay=layout: detect(read_gray(m), m, settings, layout=lay), progress)
        if any(len(s) for s in seen.values()) or board.rows % 2:
            break
    return targets, seen


def _charuco(board: BoardSpec, legacy: bool) -> Layout:
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, board.dictionary))
    if board.columns * board.rows // 2 > len(dictionary.bytesList):
        raise InputError(f"{board.dictionary} has too few markers for a board of {board.columns} x {board.rows} squares.")
    made: Any = cv2.aruco.CharucoBoard((board.columns, board.rows), board.square_mm, board.marker_mm, dictionary)
    if legacy:
        made.setLegacyPattern(True)
    return charuco_layout(made, FOREIGN)


def _every(metas: Sequence[PhotoMeta], see: Any, progress: Progress) -> dict[str, Sightings]:
    done = 0

    def one(meta: PhotoMeta) -> Sightings:
        nonlocal done
        try:
            found: Sightings = see(meta)
        except PhotoError as exc:
            finding = Finding(exc.finding.code, meta.photo_id, **exc.finding.facts)
            found = Sightings(meta.photo_id, (), np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)), (finding,))
        done += 1
        progress("targets", done / len(metas))
        return found

    most = SEARCHED_AT_ONCE[max(m.size_px[0] * m.size_px[1] for m in metas) > LARGE_PHOTO_PX]
    with ThreadPoolExecutor(min(os.cpu_count() or 1, most)) as pool:
        return {s.photo_id: s for s in pool.map(one, metas)}


def _only(sightings: Sightings, targets: dict[str, Target]) -> Sightings:
    keep = np.array([t in targets for t in sightings.target_ids], dtype=bool)
    return Sightings(
        sightings.photo_id,
        tuple(t for t in sightings.target_ids if t in targets),
        sightings.point_ids[keep],
        sightings.uv_px[keep],
        sightings.cov_px2[keep],
        sightings.findings,
    )


def _nothing_found(board: BoardSpec, count: int) -> str:
    if board.kind == "own":
        return (
            f"None of the {count} photos shows a calibration board {' or '.join(design.board_ids())}; print one with "
            "`phototemplate sheets`, or describe another board with --charuco or --chessboard."
        )
    what = board.words([])
    return f"None of the {count} photos shows a {what}; check the numbers, and that the whole board is sharp in the picture."


def _camera(
    done: Calibration, meta: PhotoMeta, board: BoardSpec, targets: dict[str, Target], name: str, findings: tuple[Finding, ...]
) -> CalibratedCamera:
    camera = done.camera
    names = LENS_MODELS[camera.model].names
    identity = " ".join(dict.fromkeys(f"{meta.make} {meta.model} {meta.lens}".split()))
    profile = CameraProfile(
        name=name or identity or f"camera of {camera.size_px[0]} x {camera.size_px[1]} pixels",
        make=meta.make,
        model=meta.model,
        lens=meta.lens,
        focal_mm=meta.focal_mm,
        digital_zoom=meta.digital_zoom,
        width_px=camera.size_px[0],
        height_px=camera.size_px[1],
        lens_model=camera.model,  # type: ignore[arg-type]
        parameters={n: float(v) for n, v in zip(names, camera.params, strict=True)},
        covariance=camera.cov.tolist(),
        photos=sum(not p.left_out for p in done.photos),
        rms_px=round(done.rms_px, 4),
        made=date.today().isoformat(),
        board=board.words(list(done.board_mm)),
        distance_mm=round(done.distance_mm),
        focus_spread=camera.exposure_sd[0],
        shift_spread_px=camera.exposure_sd[1],
        turn_spread_rad=camera.exposure_sd[2],
        way_spread_mm=camera.exposure_sd[3],
    )
    verdict = _verdict(done)
    weak = [] if verdict.code == "calibration-good" else [verdict]
    return CalibratedCamera(profile, done, verdict, (*findings, *done.findings, *weak))


def _verdict(done: Calibration) -> Finding:
    """What a shop hand needs to know."""
    camera = done.camera
    camera_id = camera.camera_id
    side = max(camera.size_px)
    u = lens_u_px(camera)
    missing = _corners_without(done)
    pattern = next(k.pattern_px for k in done.candidates if k.chosen)
    if pattern > PATTERN_PX * side / 1000 and pattern > PATTERN_SHARE * done.rms_px:
        return Finding("calibration-pattern", camera_id, pattern_px=pattern)
    if done.rms_px > RESIDUALS_FACTOR * done.corner_px:
        ratio = done.rms_px / done.corner_px
        return Finding(
            "calibration-residuals", camera_id, rms_px=done.rms_px, allowed_px=done.corner_px, larger_ratio=ratio
        )
    if missing:
        return Finding("calibration-corners", camera_id, corner_words=missing)
    if float(np.sqrt(np.mean(u**2))) > UNCERTAIN_FACTOR * GOOD_ENOUGH_PX * side / 1000:
        return Finding("calibration-uncertain", camera_id, U_px=2 * u.max())
    return Finding("calibration-good", camera_id, rms_px=done.rms_px, U_px=2 * u.max())


def _corners_without(done: Calibration) -> list[str]:
    """Corners of the picture, a quarter of each side long, in which the board was never seen."""
    rows, columns = done.counts.shape
    r, c = max(rows // 4, 1), max(columns // 4, 1)
    corners = {
        "upper-left": done.counts[:r, :c], "upper-right": done.counts[:r, -c:],
        "lower-left": done.counts[-r:, :c], "lower-right": done.counts[-r:, -c:],
    }  # fmt: skip
    return [name for name, cells in corners.items() if not cells.any()]


def save_camera(camera: CalibratedCamera, out: Path | None = None) -> dict[str, Path]:
    """Write profile and page; ``out`` is a ``.json`` file or a folder, else the user's own folder of profiles.

    Raises ``OutputError`` where a file cannot be written; the earlier one then stays.
    """
    if out is not None and out.suffix.lower() == ".json":
        path = save_profile(camera.profile, out.parent, out.name)
    else:
        path = save_profile(camera.profile, out or user_folder(), profile_file_name(camera.profile))
    page = path.with_suffix(".html")
    write_page(page, camera.calibration, camera.profile.name, say(camera.verdict).message, camera.good)
    return {"profile": path, "page": page}
