"""Calibration: the published chessboard, lenses known exactly, and the time for twelve photos of 12 megapixels."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from phototemplate.network.calibration.calibrate import Calibration, CalibrationOptions, calibrate
from tests.bench import BenchResult
from tests.calibration import chessboard
from tests.calibration.simulated import BROWN, SIZE, Simulation, take

_PUBLISHED_MODEL = CalibrationOptions(lens=("brown",), board="flat", exposures=False, hold=frozenset({"k3"}))


def run(quick: bool) -> BenchResult:
    """Quick: fewer seeds, no pictures of 12 megapixels."""
    result = BenchResult("calibration")
    folder = os.environ.get("PHOTOTEMPLATE_REFERENCE_PHOTOS")
    if folder and Path(folder).is_dir():
        _chessboard(result, Path(folder))
    else:
        result.target("chessboard_30mm", "published values", "reference photographs not at hand", False)
    _seeds(result, 10 if quick else 50)
    if not quick:
        _time(result)
    return result


def _row(result: BenchResult, name: str, c: Calibration) -> tuple[dict[str, float], dict[str, float]]:
    p, u = c.camera.params, np.sqrt(np.diag(c.camera.cov))
    value = {"fx": p[0], "fy": p[0] * (1 + p[1]), "cx": p[2], "cy": p[3]}
    sd = {"fx": u[0], "fy": float(np.hypot(u[0] * (1 + p[1]), p[0] * u[1])), "cx": u[2], "cy": u[3]}
    form = f"{c.form.board}, {'exposures of their own' if c.form.exposures else 'one exposure'}"
    result.rows.append(
        {"what": name, "board": form, "rms_px": round(c.rms_px, 4), **{n: f"{value[n]:.2f} ± {3 * sd[n]:.2f}" for n in value}}
    )
    return value, sd


def _chessboard(result: BenchResult, folder: Path) -> None:
    own, opencv = chessboard.sightings(folder)
    value, sd = _row(result, "cornerSubPix corners, published model (3 u)",
                     calibrate(opencv, chessboard.TARGETS, chessboard.SIZE, _PUBLISHED_MODEL))  # fmt: skip
    flat_run = calibrate(own, chessboard.TARGETS, chessboard.SIZE, _PUBLISHED_MODEL)
    ours, _ = _row(result, "our corners, published model", flat_run)
    free = calibrate(own, chessboard.TARGETS, chessboard.SIZE)
    released = CalibrationOptions(lens=("brown",), board="free", exposures=False, hold=frozenset({"k3"}))
    for name, photos in (("our corners", own), ("cornerSubPix corners", opencv)):
        _row(result, f"{name}, every point of the board released, no k3",
             calibrate(photos, chessboard.TARGETS, chessboard.SIZE, released))  # fmt: skip
    _row(result, f"our corners, by evidence ({free.camera.model})", free)
    off = {n: (value[n] - v) / three for n, (v, three) in chessboard.PUBLISHED.items()}
    result.target("published values, corners as published", "within the published uncertainty",
                  ", ".join(f"{n} {o:+.2f}" for n, o in off.items()), max(map(abs, off.values())) <= 1)  # fmt: skip
    off = {n: (ours[n] - v) / three for n, (v, three) in chessboard.PUBLISHED.items()}
    result.target("published values, our own corners", "within the published uncertainty",
                  ", ".join(f"{n} {o:+.2f}" for n, o in off.items()), max(map(abs, off.values())) <= 1)  # fmt: skip
    published = np.array([v for v, _ in chessboard.PUBLISHED.values()])
    for name, photos in (("our corners", own), ("cornerSubPix corners", opencv)):
        found, u = chessboard.with_the_board(photos)
        three = np.array([t for _, t in chessboard.PUBLISHED.values()])
        result.rows.append({"what": f"u over the published u with the board's points drawn by lot, {name}",
                            **{n: f"{r:.2f}" for n, r in zip(value, u / (three / 3), strict=True)}})  # fmt: skip
        far = (found - published) / u
        result.target(f"published values, the board not taken as flat, {name}", "within U at k = 2",
                      ", ".join(f"{n} {o / 2:+.2f}" for n, o in zip(value, far, strict=True)), bool(np.all(np.abs(far) <= 2)))
    windows = {half: chessboard.window_shift(folder, own, half) for half in (3, 5, 7, 9)}
    result.rows.append({"what": "cornerSubPix away from our corners by its half window, px rms",
                        **{f"{half} px": round(d, 3) for half, d in windows.items()}})  # fmt: skip
    ratio = {n: sd[n] / (three / 3) for n, (_, three) in chessboard.PUBLISHED.items()}
    result.target("our u over the published u", "within a factor 1.5", ", ".join(f"{n} {r:.2f}" for n, r in ratio.items()),
                  all(1 / 1.5 < r < 1.5 for r in ratio.values()))  # fmt: skip
    points = chessboard.TARGETS["board"].points_mm
    with_lens = chessboard.far_corner_errors(own, free.camera, points + free.board_mm["board"])
    flat = chessboard.far_corner_errors(own, free.camera, points)
    without = chessboard.far_corner_errors(own, None, points)
    for name, e in (("with lens and board as found", with_lens), ("with lens, board as designed", flat), ("without", without)):
        result.rows.append({"what": f"488 mm from a quarter of the board, {name}", "photos": len(e),
                            "median_mm": round(float(np.median(np.abs(e))), 2), "worst_mm": round(float(np.abs(e).max()), 2),
                            "mean_mm": round(float(e.mean()), 2)})  # fmt: skip
    inside = float(np.mean(np.abs(with_lens) <= 1.0))
    result.target("488 mm from a quarter of the board", "within 1 mm in every photo",
                  f"{inside:.0%} of {len(with_lens)} photos, worst {np.abs(with_lens).max():.2f} mm", inside == 1)  # fmt: skip


def _seeds(result: BenchResult, count: int) -> None:
    errors = []
    for seed in range(count):
        photos, targets = take(Simulation(seed=seed))
        done = calibrate(photos, targets, SIZE, CalibrationOptions(lens=("brown",)))
        errors.append((done.camera.params - list(BROWN.values())) / np.sqrt(np.diag(done.camera.cov)))
    e = np.array(errors)
    for name, own in zip(BROWN, e.T, strict=True):
        result.rows.append({"what": f"normalised error of {name}", "seeds": count, "mean": round(float(own.mean()), 2),
                            "sd": round(float(own.std()), 2), "inside_U": f"{np.mean(np.abs(own) <= 2):.0%}"})  # fmt: skip
    variance = float(np.mean(e**2))
    result.target(f"normalised errors over {count} seeds", "variance 0.8 to 1.25", round(variance, 3), 0.8 < variance < 1.25)
    inside = float(np.mean(np.abs(e) <= 2))
    result.target("parameters inside U at k = 2", "95 % (92 % to 98 %)", f"{inside:.1%}", 0.92 <= inside <= 0.985)


def _time(result: BenchResult) -> None:
    """Twelve photos of 4032 x 3024: three pictures of K02, each written four times."""
    from phototemplate.calibration import calibrate_photos
    from tests.capture.scene import Laid, Shot
    from tests.capture.scene import take as photograph

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for i, eye in enumerate(((0.0, -60.0, 520.0), (330.0, -260.0, 430.0), (-300.0, -330.0, 420.0))):
            shot = Shot(eye_mm=eye, size_px=SIZE, focal_px=3000.0, blur_px=1.0, supersample=2, seed=i)
            gray = photograph([Laid("K02", 0.0, 0.0)], shot).gray
            for k in range(4):
                cv2.imwrite(str(folder / f"IMG_{4 * i + k}.jpg"), gray, [cv2.IMWRITE_JPEG_QUALITY, 92 - k])
        start, cpu = time.perf_counter(), time.process_time()
        done = calibrate_photos([folder])
        seconds, busy = time.perf_counter() - start, time.process_time() - cpu
    result.rows.append({"what": "twelve photos of 12 MP", "seconds": round(seconds, 1), "cpu_s": round(busy, 1),
                        "photos": len(done[0].calibration.photos)})  # fmt: skip
    result.target("twelve photos of 12 MP", "20 s", f"{seconds:.1f} s ({busy:.1f} s of processor)", seconds <= 20)
