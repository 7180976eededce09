"""Calibration of one lens from photos of boards: which description the photos speak for, and what it gives.

Everything is decided by evidence and every decision is kept in :class:`Calibration`: the lens model (with the most flexible
board, so that a bent board does not pass for a lens), then the board's shape. What each exposure did (focus, stabiliser,
readout) has variance components as in every job, so a camera that stands still is found to. The criterion is minus twice
the logarithm of the evidence (``Fit.criterion``). A less usual lens model must beat a more usual one by more than 10, which
Kass and Raftery, J. American Statistical Association 90 (1995) 773-795, call very strong; the board takes the most probable
description.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.errors import Finding, MeasureError
from phototemplate.model import Array, Camera, PhotoResiduals, Sightings, Target
from phototemplate.network.calibration.board_fit import (
    corner_px,
    exposure_excess,
    fit,
    photo_noise,
    unexplained_px,
    wrong_sightings,
)
from phototemplate.network.calibration.board_model import SHAPES, BoardPhotos, BoardShape, Fit, Form, Start, board_photos
from phototemplate.network.calibration.board_start import first_start
from phototemplate.network.calibration.constants import LEAST_PHOTOS, LEFT_OUT, NAMED, VERY_STRONG
from phototemplate.network.calibration.half_turn import numbered_alike
from phototemplate.network.calibration.image_coverage import Advice, advise, counts_of, pattern_px
from phototemplate.network.constants import HUBER_BOARD


@dataclass(frozen=True)
class CalibrationOptions:
    """What the user wants held or tried."""

    lens: tuple[str, ...] = ("brown", "rational", "fisheye")
    """Lens models to choose from"""
    board: BoardShape | None = None
    """None: by evidence"""
    exposures: bool = True
    """Photos may differ in focus and image shift, and the camera may move while rows are read; how far is estimated"""
    hold: frozenset[str] = frozenset()
    """Lens parameters kept at zero"""
    same_way_up: bool = True
    """Points keep their numbers from photo to photo; False for a chessboard that looks the same upside down, whose photos are
    then numbered alike by evidence"""


@dataclass(frozen=True)
class Candidate:
    """One description that was tried."""

    form: Form
    parameters: float
    rms_px: float
    criterion: float
    """Minus twice the logarithm of the evidence; differences count"""
    pattern_px: float
    """What is left of a pattern in the residuals over the picture"""
    f_px: float
    u_f_px: float
    exposure_sd: tuple[float, ...]
    """As ``Camera.exposure_sd``"""
    chosen: bool


@dataclass(frozen=True)
class BoardPhoto:
    """How one view fared."""

    name: str
    photo_id: str
    used: int
    rejected: int
    rms_px: float
    relative: float
    """Residuals against those of all photos"""
    tilt_deg: float
    """Between the board's normal and the optical axis"""
    turn_deg: float
    """Of the board in the stored picture"""
    distance_mm: float
    focus: float
    left_out: bool = False


@dataclass(frozen=True)
class Calibration:
    """A calibrated lens and how it came about."""

    camera: Camera
    form: Form
    fit: Fit
    photos: tuple[BoardPhoto, ...]
    candidates: tuple[Candidate, ...]
    residuals: tuple[PhotoResiduals, ...]
    counts: Array
    """(rows, columns) points in each cell of the picture"""
    advice: tuple[Advice, ...]
    """What one more photo would bring, best first"""
    rms_px: float
    corner_px: float
    """What the corners' own standard deviations allow the residuals to be, root mean square per coordinate"""
    unexplained_px: float
    """Part of the residuals that the sightings' own standard deviations do not explain"""
    board_mm: Mapping[str, Array]
    """(P, 3) by board: its points as found minus its points as designed, after the best rigid fit and one common scale"""
    distance_mm: float
    """Typical distance of the board: the lens is calibrated at this focus"""
    findings: tuple[Finding, ...]


def calibrate(
    sightings: Sequence[Sightings],
    targets: Mapping[str, Target],
    size_px: tuple[int, int],
    options: CalibrationOptions | None = None,
    camera_id: str = "camera",
    f_px: float | None = None,
) -> Calibration:
    """Calibrate one lens from ``sightings`` of boards; ``targets`` gives their points as designed.

    ``size_px`` is the stored picture, ``f_px`` a principal distance to start from (EXIF). Raises :class:`MeasureError`
    where fewer than three photos show a board, or the photos do not determine the lens.
    """
    options = options or CalibrationOptions()
    findings: list[Finding] = []
    photos = replace(board_photos(sightings, targets, size_px), hold=options.hold)
    shown = {v.photo_id for v in photos.views.values()}
    findings += [Finding("calibration-no-board", s.photo_id) for s in sightings if s.photo_id not in shown]
    _enough(photos)
    shapes: tuple[BoardShape, ...] = (options.board,) if options.board else SHAPES
    if not options.same_way_up:
        first = first_start(photos, options.lens[0], f_px)
        rough = fit(photos, Form(options.lens[0], "flat", False), first, huber=HUBER_BOARD)
        photos, told = numbered_alike(photos, rough.start(), options.lens[0], options.exposures)
        if not told:  # a paraboloid looks the same after half a turn, a free shape does not
            shapes = tuple(s for s in shapes if s != "free") or ("bent",)
    starts, base, photos, bad = _clean(photos, options, shapes[-1], f_px)
    names = set(photos.views)
    left_out = {n: r for n, r in bad.items() if n not in names}

    fits: dict[Form, Fit] = {}
    extra = min(f.extra_px for f in starts.values())

    def attempt(form: Form, start: Start) -> Fit | None:
        if form not in fits:
            try:
                fits[form] = fit(photos, form, start, base, extra)
            except (MeasureError, np.linalg.LinAlgError):
                return None
        return fits[form]

    richest = {m: attempt(Form(m, shapes[-1], options.exposures), s.start()) for m, s in starts.items()}
    tried = [f for f in richest.values() if f is not None and np.isfinite(f.criterion)]
    if not tried:
        raise MeasureError("The photos do not determine the lens; add photos with the board tilted and in the corners.")
    best = _most_usual(tried, options.lens)
    model = best.form.lens
    for shape in shapes:
        attempt(Form(model, shape, options.exposures), best.start())
    chosen = min((f for f in fits.values() if f.form.lens == model), key=lambda f: f.criterion)
    final = fit(photos, chosen.form, chosen.start(), base, unexplained_px(chosen))
    final = fit(photos, chosen.form, final.start(), base, unexplained_px(final))
    findings += _photo_findings(final, left_out)
    focus, centre, turn, shift = final.exposure_sd[0].tolist()
    camera = Camera(
        camera_id, model, size_px, final.params, final.lens_cov * max(final.sigma0, 1.0) ** 2, "profile",
        exposure_sd=(focus, centre, turn, shift),
    )  # fmt: skip
    return Calibration(
        camera,
        final.form,
        final,
        _photos(photos, final, bad, left_out),
        tuple(_candidate(f, f.form == final.form, size_px) for f in fits.values()),
        _residuals(photos, final),
        counts_of(final.problem.sightings.uv[final.used], size_px),
        advise(final, camera),
        final.rms_px,
        corner_px(final),
        final.extra_px,
        {t: _shape_of(p, targets[t].points_mm) for t, p in final.board_points().items()},
        float(1 / np.mean([1 / r[1][2] for r in final.poses().values()])),
        tuple(findings),
    )


def _enough(photos: BoardPhotos) -> None:
    if len(photos.views) < LEAST_PHOTOS:
        raise MeasureError(
            f"{len(photos.views)} photos show the board well enough; a calibration needs {LEAST_PHOTOS}, better a dozen, with "
            "the board tilted to all sides, in the corners of the picture, and the camera turned by 90 degrees in some."
        )


def _clean(
    photos: BoardPhotos, options: CalibrationOptions, shape: BoardShape, f_px: float | None
) -> tuple[dict[str, Fit], Array, BoardPhotos, dict[str, float]]:
    """Start values for every lens model; wrong sightings and outlying photos found with the best of them.

    Returns fits by lens model, the switch of each sighting, the photos that are left, and how noisy each photo was.
    """
    noise: dict[str, float] = {}
    for _ in range(4):
        starts: dict[str, Fit] = {}
        for model in options.lens:
            try:
                first = _first(photos, model, options, starts, f_px)
                rough = fit(photos, Form(model, "flat", False), first, huber=HUBER_BOARD)
                form = Form(model, shape, options.exposures)
                starts[model] = fit(photos, form, rough.start(), None, unexplained_px(rough), huber=HUBER_BOARD)
            except (MeasureError, np.linalg.LinAlgError):
                continue
        if not starts:
            raise MeasureError("The photos do not determine the lens; add photos with the board tilted and in the corners.")
        best = min(starts.values(), key=lambda f: f.rms_px)
        relative = np.fmax(photo_noise(best) / np.nanmedian(photo_noise(best)), exposure_excess(best))
        noise |= dict(zip(best.names, relative.tolist(), strict=True))
        noise |= {n: np.inf for n in photos.views if n not in best.names}
        gone = [n for n in photos.views if noise[n] > LEFT_OUT]
        if not gone or len(photos.views) - len(gone) < LEAST_PHOTOS:
            break
        photos = photos.without(gone)
    base = np.ones(len(best.problem.sightings))
    clean = fit(photos, best.form, best.start(), base, unexplained_px(best))
    for _ in range(6):
        wrong = wrong_sightings(clean)
        if not len(wrong):
            break
        base[wrong] = 0.0
        clean = fit(photos, best.form, clean.start(), base, unexplained_px(clean))
    starts[best.form.lens] = fit(photos, best.form, clean.start(), base, unexplained_px(clean))
    kept = {m: f for m, f in starts.items() if f.names == best.names}
    return kept, base, photos, noise


def _first(
    photos: BoardPhotos, model: str, options: CalibrationOptions, starts: Mapping[str, Fit], f_px: float | None
) -> Start:
    """Start of one lens model: from scratch, or from Brown's where that is a special case of it."""
    if model == "rational" and "brown" in starts:
        brown = starts["brown"]
        return Start(np.concatenate([brown.params, np.zeros(3)]), brown.poses())
    return first_start(photos, model, f_px)


def _most_usual(fits: Sequence[Fit], models: Sequence[str]) -> Fit:
    """The first of the lens models that none beats by very strong evidence."""
    least = min(f.criterion for f in fits)
    return min((f for f in fits if f.criterion <= least + VERY_STRONG), key=lambda f: models.index(f.form.lens))


def _candidate(one: Fit, chosen: bool, size_px: tuple[int, int]) -> Candidate:
    residual = one.solution.linear.residual[one.used]
    return Candidate(
        one.form,
        one.parameters,
        one.rms_px,
        one.criterion,
        pattern_px(one.problem.sightings.uv[one.used], residual, size_px),
        float(one.params[0]),
        float(np.sqrt(one.lens_cov[0, 0]) * max(one.sigma0, 1.0)),
        tuple(one.exposure_sd[0].tolist()),
        chosen,
    )


def _photos(
    photos: BoardPhotos, final: Fit, noise: Mapping[str, float], left_out: Mapping[str, float]
) -> tuple[BoardPhoto, ...]:
    out = []
    relative = photo_noise(final) / np.nanmedian(photo_noise(final))
    for i, name in enumerate(final.names):
        mine = final.problem.sightings.photo == i
        used = mine & final.used
        rotation, translation = final.state.photo_rotation[i], final.state.photo_translation[i]
        residual = final.solution.linear.residual[used]
        out.append(
            BoardPhoto(
                name,
                photos.views[name].photo_id,
                int(used.sum()),
                int(mine.sum() - used.sum()),
                float(np.sqrt(np.mean(residual**2))) if len(residual) else float("nan"),
                float(relative[i]),
                float(np.degrees(np.arccos(min(abs(rotation[2, 2]), 1.0)))),
                float(np.degrees(np.arctan2(rotation[1, 0], rotation[0, 0]))),
                float(translation[2]),
                float(final.state.exposure[i, 0]),
            )
        )
    nan = float("nan")
    out += [BoardPhoto(n, n.split(" ")[0], 0, 0, nan, r, nan, nan, nan, 0.0, True) for n, r in left_out.items()]
    return tuple(out)


def _residuals(photos: BoardPhotos, final: Fit) -> tuple[PhotoResiduals, ...]:
    out = []
    for i, name in enumerate(final.names):
        rows = final.problem.sightings.photo == i
        view = photos.views[name]
        out.append(
            PhotoResiduals(
                name, (view.target_id,) * int(rows.sum()), view.point_ids, final.problem.sightings.uv[rows],
                final.solution.linear.residual[rows], final.base[rows],
            )
        )  # fmt: skip
    return tuple(out)


def _photo_findings(final: Fit, left_out: Mapping[str, float]) -> list[Finding]:
    relative = photo_noise(final) / np.nanmedian(photo_noise(final))
    out = [Finding("calibration-outlier", name, larger_ratio=r if np.isfinite(r) else None) for name, r in left_out.items()]
    out += [
        Finding("calibration-rough", name, larger_ratio=r) for name, r in zip(final.names, relative, strict=True) if r > NAMED
    ]
    return out


def _shape_of(points: Array, nominal: Array) -> Array:
    """Points found minus nominal, after the best rigid motion and common scale of the nominal ones (Umeyama 1991)."""
    seen = np.isfinite(points).all(axis=1)
    a, b = nominal[seen], points[seen]
    ca, cb = a.mean(axis=0), b.mean(axis=0)
    u, s, vt = np.linalg.svd((b - cb).T @ (a - ca))
    turn = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = u @ turn @ vt
    scale = float(np.trace(np.diag(s) @ turn) / np.sum((a - ca) ** 2))
    out = np.full(nominal.shape, np.nan)
    out[seen] = (b - cb) @ rotation / scale - (a - ca)
    return out
