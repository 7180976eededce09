"""``calibrate``."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from phototemplate.network.calibration.calibrate import CalibrationOptions


def calibrate(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTOS...", help="Photos of a board, or folders of them.")],
    charuco: Annotated[str | None, typer.Option(help="Another ChArUco board: COLUMNSxROWS squares, e.g. 10x7.")] = None,
    chessboard: Annotated[str | None, typer.Option(help="A plain chessboard: COLUMNSxROWS inner corners, e.g. 9x6.")] = None,
    square: Annotated[float | None, typer.Option(help="Side of its squares in mm.")] = None,
    marker: Annotated[float | None, typer.Option(help="Side of its markers in mm (ChArUco).")] = None,
    dictionary: Annotated[str | None, typer.Option(help="Its markers, as OpenCV names them, e.g. DICT_5X5_100.")] = None,
    lens: Annotated[str, typer.Option(help="brown, rational, fisheye, or auto: by evidence.")] = "auto",
    board_shape: Annotated[
        str, typer.Option(help="flat: exactly as designed; bent; free: every point adjusted; or auto: by evidence.")
    ] = "auto",
    exposures: Annotated[
        bool, typer.Option("--exposures/--fixed", help="Focus and stabiliser may differ from photo to photo; how far is found.")
    ] = True,
    hold: Annotated[str | None, typer.Option(help="Lens parameters kept at zero, with commas, e.g. k3.")] = None,
    name: Annotated[str, typer.Option(help="What to call the camera.")] = "",
    out: Annotated[
        Path | None, typer.Option(help="Profile to write (.json), or folder for it; default: your own profiles.")
    ] = None,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of tables.")] = False,
) -> None:
    """Photos of a board in, camera profile out: lens with covariance, what it rests on, and which photo is missing.

    The project's own boards K01 and K02 are recognised by themselves. Take a dozen photos: the board tilted to all sides, in
    every corner of the picture, and the camera turned by 90 degrees in some.
    """
    from phototemplate.calibration import board_spec, calibrate_photos, save_camera
    from phototemplate.cli.show import console, print_findings, progress_bar
    from phototemplate.errors import InputError
    from phototemplate.opencv_check import require_opencv

    require_opencv()
    start = time.perf_counter()
    options = _options(lens, board_shape, exposures, hold)
    spec = board_spec(charuco, chessboard, square, marker, dictionary)
    with progress_bar(not json_ and sys.stderr.isatty()) as tell:
        cameras = calibrate_photos(photos, spec, options, name, tell)
    if out is not None and out.suffix.lower() == ".json" and len(cameras) > 1:
        raise InputError(f"The photos are of {len(cameras)} cameras or zooms; give a folder with --out, not one file.")
    written = [save_camera(c, out) for c in cameras]
    seconds = time.perf_counter() - start
    if json_:
        typer.echo(json.dumps({"cameras": [_summary(c, w) for c, w in zip(cameras, written, strict=True)],
                               "seconds": round(seconds, 3)}))  # fmt: skip
        return
    con = console()
    for camera, files in zip(cameras, written, strict=True):
        _show(con, camera)
        print_findings(con, camera.findings)
        for path in files.values():
            con.print(f"wrote {path}", markup=False, soft_wrap=True)
    con.print(f"{seconds:.1f} s", style="dim")


def _options(lens: str, board_shape: str, exposures: bool, hold: str | None) -> CalibrationOptions:
    """What the command line asks for. Raises ``InputError`` for words that mean nothing here."""
    from phototemplate.errors import InputError
    from phototemplate.network.calibration.board_model import SHAPES
    from phototemplate.network.calibration.calibrate import CalibrationOptions
    from phototemplate.numerics.lens import LENS_MODELS

    models = tuple(LENS_MODELS)
    for given, allowed, what in (
        (lens, ("auto", *models), "lens model"), (board_shape, ("auto", *SHAPES), "board shape"),
    ):  # fmt: skip
        if given not in allowed:
            raise InputError(f"There is no {what} {given!r}; choose {', '.join(allowed)}.")
    held = frozenset(h.strip() for h in (hold or "").split(",") if h.strip())
    known = {n for m in (models if lens == "auto" else (lens,)) for n in LENS_MODELS[m].names} - {"f", "cx", "cy"}
    if held - known:
        wrong, right = ", ".join(sorted(held - known)), ", ".join(sorted(known))
        raise InputError(f"The lens has no parameter {wrong} to hold; choose of {right}.")
    return CalibrationOptions(
        models if lens == "auto" else (lens,),
        None if board_shape == "auto" else board_shape,  # type: ignore[arg-type]
        exposures,
        held,
    )


def _show(con: Any, camera: Any) -> None:
    import numpy as np
    from rich.table import Table

    from phototemplate.numerics.lens import LENS_MODELS
    from phototemplate.output.calibration_page import exposure_words
    from phototemplate.wording import say

    done = camera.calibration
    used = [p for p in done.photos if not p.left_out]
    con.print(f"{camera.profile.name}: {len(used)} photos of {camera.profile.board}", style="bold", markup=False)
    con.print(say(camera.verdict).message, style="green" if camera.good else "yellow", markup=False)
    table = Table(title="Lens (U at k = 2)", title_justify="left")
    for head in ("parameter", "value", "U"):
        table.add_column(head, justify="left" if head == "parameter" else "right")
    u = 2 * np.sqrt(np.diag(done.camera.cov))
    for n, v, s in zip(LENS_MODELS[done.camera.model].names, done.camera.params, u, strict=True):
        table.add_row(n, f"{v:.3f}" if abs(v) > 10 else f"{v:.6f}", f"{s:.3f}" if abs(v) > 10 else f"{s:.6f}")
    con.print(table)
    tried = Table(title="What was tried (the smallest criterion is taken)", title_justify="left")
    for head in ("lens", "board", "exposures", "parameters", "residuals, px", "pattern, px", "criterion", "f, px", ""):
        tried.add_column(head, justify="left" if head in ("lens", "board", "exposures", "") else "right")
    least = min(k.criterion for k in done.candidates)
    for k in sorted(done.candidates, key=lambda k: k.criterion):
        tried.add_row(
            k.form.lens,
            k.form.board,
            exposure_words(k.exposure_sd),
            f"{k.parameters:.0f}",
            f"{k.rms_px:.3f}",
            f"{k.pattern_px:.3f}",
            f"{k.criterion - least:+.0f}",
            f"{k.f_px:.2f}",
            "taken" if k.chosen else "",
        )
    con.print(tried)
    for advice in done.advice[:1]:
        con.print(
            f"{say(advice.what).message} It would help most (uncertainty of the lens {advice.u_before_px:.2f} -> "
            f"{advice.u_after_px:.2f} px).",
            markup=False,
        )


def _summary(camera: Any, written: dict[str, Path]) -> dict[str, Any]:
    done = camera.calibration
    from phototemplate.wording import say

    return {
        "profile": camera.profile.model_dump(),
        "verdict": say(camera.verdict).message,
        "good": camera.good,
        "form": {"lens": done.form.lens, "board": done.form.board, "exposures": done.form.exposures},
        "candidates": [
            {
                "lens": k.form.lens, "board": k.form.board, "exposure_sd": k.exposure_sd, "parameters": k.parameters,
                "rms_px": k.rms_px, "pattern_px": k.pattern_px, "criterion": k.criterion, "f_px": k.f_px, "u_f_px": k.u_f_px,
                "taken": k.chosen,
            }
            for k in done.candidates
        ],
        "photos": [
            {"photo": p.name, "used": p.used, "rejected": p.rejected, "relative": p.relative, "left_out": p.left_out}
            for p in done.photos
        ],
        "coverage": done.counts.tolist(),
        "advice": [
            {"photo": say(a.what).message, "u_before_px": a.u_before_px, "u_after_px": a.u_after_px} for a in done.advice
        ],
        "findings": [
            {**asdict(say(f)), "facts": dict(f.facts)} for f in camera.findings
        ],
        "files": {k: str(v) for k, v in written.items()},
    }  # fmt: skip
