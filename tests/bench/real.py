"""Real photographs with known distances: are they inside U, or is U withheld?

* ``one_sided_board``: photos of a phone of 2024 (OnePlus 12, stabilised, a burst from one side) of a board on a tablet's
  screen, whose pixels are square and equal: the corners of ``design.png`` are the truth up to one scale. Its corners, rules of
  withholding and the covariance of lopsided blurs were looked at with these photos, so it no longer judges.
* ``bent_board_phone``: photos of an iPhone X of a paper chessboard that bends; nothing was surveyed, but the squares of one
  print are alike along either side, and paper bends without stretching: its neighbouring corners.
* ``chessboard_30mm``: 25 pictures of 640 x 480 of a chessboard (published calibration). Its print was not surveyed (released,
  its corners lie up to some tenths of a mm off the design), so every other picture is compared with the rest.
* ``gboriginal``: one picture of 640 x 480 of 35 markers of 40 mm, 10 mm apart, as designed.
* ``surveyed_room``: two photos of a phone of a room with six markers surveyed to 1 mm; the distances that were not given.
* ``survey_network``: a metric camera has to come out as one (published: applied-geodesy/bundle-adjustment, example JAICOV). Its
  image does move by some 2.6 um (0.6 px): by the direction of gravity in the camera (the columns ``by x``, ``by y``, ``by z``
  say how much of the shift follows a direction of the world; y is the vertical), as a lens that sags in its mount would.

All corners but those of markers are free points with the longest distance given. Published beside it: SAE 2024-01-2474 (iPhones
7 to 14 Pro, whose stabiliser cannot be switched off: residuals outside what photogrammetry recommends, 95 % of points within 1
to 11 mm after a calibration); DIME-Net, arXiv 2303.11307 (the intrinsics of three phones change from photo to photo under
stabilisation; lens models per position of the lens). """

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np

from phototemplate.capture.detect import detect
from phototemplate.capture.detect_boards import chessboard_points, detect_chessboard
from phototemplate.capture.detect_plain import PlainMarkers, plain_target
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.capture.target_layout import charuco_layout
from phototemplate.model import Array, Network, PhotoMeta, Sightings, Target
from phototemplate.model.network import EXPOSURE
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import LengthEnd, Tape
from phototemplate.network.adjustment.variance_components import components, settled, usual_sd
from phototemplate.network.calibration.board_fit import fit
from phototemplate.network.calibration.board_model import Form, board_photos
from phototemplate.network.calibration.board_start import first_start
from phototemplate.network.calibration.half_turn import numbered_alike
from phototemplate.network.constants import HUBER_BOARD
from phototemplate.network.photo_camera import CENTRE
from phototemplate.numerics import rigid
from phototemplate.settings import AdjustmentSettings, DetectionSettings
from tests.bench import BenchResult
from tests.calibration import chessboard
from tests.network import survey, test_surveyed_room
from tests.network.test_adjust import _distance
from tests.network.test_survey import _point_cov

SQUARE_MM = 40.0
"""Size given to the screen's squares; only ratios are known"""
BOARD = "W01a"
Pairs = Sequence[tuple[int, int]]


def one_sided_board(folder: Path) -> tuple[list[PhotoMeta], list[Sightings], Target]:
    """Inner corners of the ChArUco board in every photo, as the product sees them, and where ``design.png`` has them."""
    made = cv2.aruco.CharucoBoard((7, 5), SQUARE_MM, 0.7 * SQUARE_MM, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250))
    layout = charuco_layout(made, BOARD)
    metas = [read_meta(path) for path in sorted(folder.glob("IMG*.jpg"))]
    settings = DetectionSettings()
    sightings = [detect(read_gray(meta), meta, settings, layout=layout) for meta in metas]
    drawn = cv2.imread(str(folder / "design.png"), cv2.IMREAD_GRAYSCALE)
    assert drawn is not None
    gray = np.asarray(drawn, np.uint8)
    found = detect(gray, replace(metas[0], size_px=(gray.shape[1], gray.shape[0])), settings, layout=layout)
    points = np.zeros((len(layout.boards[BOARD].saddles_mm), 3))
    square_px = float(np.linalg.norm(found.uv_px[-1] - found.uv_px[0])) / float(
        np.linalg.norm(layout.boards[BOARD].saddles_mm[-1] - layout.boards[BOARD].saddles_mm[0]) / SQUARE_MM
    )
    points[found.point_ids, :2] = (found.uv_px - found.uv_px.mean(axis=0)) * [1.0, -1.0] * SQUARE_MM / square_px
    return metas, sightings, Target(BOARD, "strip", points, rigid=False)


def bent_board(folder: Path) -> tuple[list[PhotoMeta], list[Sightings], Target]:
    """Corners of the paper chessboard, numbered alike in all photos."""
    metas = [read_meta(path) for path in sorted(folder.glob("*.jpg"))]
    points = chessboard_points(8, 6, 30.0)
    seen = []
    for meta in metas:
        found = detect_chessboard(read_gray(meta), 8, 6)
        seen.append(Sightings(meta.photo_id, (BOARD,) * len(found), found.point_ids, found.uv_px, found.cov_px2))
    views = board_photos(seen, {BOARD: Target(BOARD, "board", points)}, metas[0].size_px)
    rough = fit(views, Form("brown", "flat", False), first_start(views, "brown"), huber=HUBER_BOARD)
    alike, _ = numbered_alike(views, rough.start(), "brown", exposures=True)
    sightings = [
        replace(s, point_ids=alike.views[s.photo_id].point_ids, uv_px=alike.views[s.photo_id].uv) if s.photo_id in alike.views
        else s for s in seen
    ]  # fmt: skip
    return metas, sightings, Target(BOARD, "strip", points, rigid=False)


def neighbours(target: Target, square_mm: float) -> list[Pairs]:
    """Neighbouring points along x, and along y."""
    p, n = target.points_mm, range(len(target.points_mm))
    return [
        [(a, b) for a in n for b in n if np.allclose(p[b] - p[a], way, atol=1e-6)]
        for way in (np.array([square_mm, 0.0, 0.0]), np.array([0.0, square_mm, 0.0]))
    ]


def distances(network: Network, pairs: Iterable[tuple[int, int]]) -> tuple[Array, Array]:
    """Distances between the target's points (n,) and their U, in mm; those of points not found are left out."""
    at = {p.point_id: p for p in network.points}
    out = []
    for a, b in pairs:
        if a in at and b in at:
            d = at[b].xyz_mm - at[a].xyz_mm
            size = float(np.linalg.norm(d))
            way = d / size
            jac = way @ (at[b].shared_jac - at[a].shared_jac)
            variance = way @ (at[a].noise_cov_mm2 + at[b].noise_cov_mm2) @ way + jac @ network.influences.cov @ jac
            out.append((size, 2 * float(np.sqrt(variance))))
    table = np.array(out).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def adjusted(metas: Sequence[PhotoMeta], sightings: Sequence[Sightings], target: Target) -> tuple[Network, tuple[int, int]]:
    """The network with the longest distance given, and between which points that is."""
    def apart(pair: tuple[int, int]) -> float:
        return float(np.linalg.norm(target.points_mm[pair[1]] - target.points_mm[pair[0]]))

    far = max(combinations(range(len(target.points_mm)), 2), key=apart)
    tape = Tape("longest", LengthEnd(BOARD, far[0]), LengthEnd(BOARD, far[1]), apart(far), 0.02, 20.0, 0.5)
    return adjust(sightings, metas, {BOARD: target}, [tape]), far


def as_designed(
    metas: Sequence[PhotoMeta], sightings: Sequence[Sightings], target: Target
) -> tuple[Network, Array, Array, Pairs]:
    """Network, errors and U of all distances but the one given, and between which points they are."""
    network, far = adjusted(metas, sightings, target)
    at = {p.point_id for p in network.points}
    pairs = [pair for pair in combinations(sorted(at), 2) if pair != far]
    true = np.array([np.linalg.norm(target.points_mm[b] - target.points_mm[a]) for a, b in pairs])
    size, u = distances(network, pairs)
    return network, size - true, u, pairs


def _add(result: BenchResult, name: str, network: Network, error: Array, u: Array) -> None:
    camera = next(iter(network.cameras.values()))
    share, withheld = float(np.mean(np.abs(error) < u)), network.quality.withheld
    result.rows.append(
        {
            "case": name, "photos": len(network.photos), "distances": len(error), "rms mm": float(np.sqrt(np.mean(error**2))),
            "U (median) mm": float(np.median(u)), "inside U": share, "U withheld": withheld, "sigma0": network.sigma0,
            "shift px": camera.exposure_sd[1], "turn deg": float(np.degrees(camera.exposure_sd[2])),
            "said": ", ".join(sorted({f.code for f in network.findings})),
        }
    )  # fmt: skip
    shown = f"{100 * share:.0f} %{', withheld' if withheld else ''}"
    result.target(name, "90 % inside U, or U withheld", shown, share >= 0.9 or withheld)


def _one_picture(folder: Path) -> tuple[Network, Array, Array]:
    """Distances between the centres of a grid of markers, errors and U; the longest is given."""
    meta = read_meta(folder / "gboriginal.png")
    plain = PlainMarkers(folder / "tutorial_dict.yml", 40.0)
    sightings = detect(read_gray(meta), meta, DetectionSettings(), [plain])
    seen = sorted({int(t[1:]) for t in sightings.target_ids})
    place = {i: 50.0 * np.array([i % 5, -(i // 5), 0.0]) for i in seen}
    far = (seen[0], seen[-1])
    size = float(np.linalg.norm(place[far[1]] - place[far[0]]))
    tape = Tape("longest", LengthEnd(f"M{far[0]}"), LengthEnd(f"M{far[1]}"), size, 0.1, 20.0, 0.5)
    network = adjust([sightings], [meta], {f"M{i}": plain_target(i, 40.0) for i in seen}, [tape])
    pairs = [(a, b) for a, b in combinations(seen, 2) if (a, b) != far and {f"M{a}", f"M{b}"} <= set(network.bodies)]
    found = np.array([_distance(network, f"M{a}", f"M{b}") for a, b in pairs])
    true = np.array([np.linalg.norm(place[b] - place[a]) for a, b in pairs])
    return network, found[:, 0] - true, 2 * found[:, 1]


def _explained(shift: Array, direction: Array) -> float:
    """Share of the variance of image shifts (P, 2) that a linear function of a direction (P, 2) seen in the photos explains."""
    design = np.column_stack([direction, np.ones(len(direction))])
    left = shift - design @ np.linalg.lstsq(design, shift, rcond=None)[0]
    return 1.0 - float(np.sum(left**2) / np.sum((shift - shift.mean(axis=0)) ** 2))


def _metric_camera(result: BenchResult, folder: Path) -> None:
    """What exposures do, estimated of a camera that does next to nothing of the kind, and what that costs its coordinates."""
    network = survey.load(folder)
    usual = usual_sd(AdjustmentSettings(), tuple(sensor.size_px for sensor in network.problem.sensors))
    problem = replace(network.problem, exposure=EXPOSURE)
    priors, base = replace(network.priors, exposure_sd=usual), np.ones(len(problem.sightings))
    solved = bundle.solve(problem, priors, network.state, base, tolerance=1e-4)
    for _ in range(12):
        sd = components(problem, priors, solved, usual)
        done = settled(sd, priors.exposure_sd)
        priors = replace(priors, exposure_sd=sd)
        solved = bundle.solve(problem, priors, solved.state, base, tolerance=1e-4)
        if done:
            break
    pose = rigid.fit_rigid(solved.state.points, network.xyz_mm)
    rms = float(np.sqrt(np.mean((rigid.transform(pose, solved.state.points) - network.xyz_mm) ** 2)))
    cov = _point_cov(replace(network, problem=problem), bundle.covariance(problem, solved.normal))
    free = survey.inner_constraint_cov(solved.state.points, cov)
    ratio = float(np.median(survey.PUBLISHED_S0 / survey.SIGMA_MM * np.sqrt(np.diag(free)).reshape(-1, 3) / network.u_mm))
    focus, centre, turn, _ = priors.exposure_sd[0]
    radius = 0.25 * float(np.hypot(*survey.SENSOR_MM))
    moved = {"focus": focus * radius, "image shift": centre, "readout": turn * abs(survey.CK)}
    row = {f"{k} um": 1e3 * float(v) for k, v in moved.items()}
    shift = solved.state.exposure[:, CENTRE]
    row |= {f"by {w}": _explained(shift, solved.state.photo_rotation[:, :2, k]) for k, w in enumerate("xyz")}
    result.rows.append({"case": "survey network with exposures", "rms mm": rms, "u ratio (median)": ratio, **row})
    result.target("survey network with exposures: coordinates", "rms below 0.005 mm", rms, rms < 0.005)
    result.target("survey network with exposures: a metric camera keeps its small u", "at most 1.5 times", ratio, ratio <= 1.5)


def run(quick: bool) -> BenchResult:
    """All sets at hand; ``quick`` without the metric camera."""
    result = BenchResult("Real photographs")
    folder = Path(os.environ["PHOTOTEMPLATE_REFERENCE_PHOTOS"])
    metas, sightings, target = one_sided_board(folder / "one_sided_board")
    cases = {"one-sided board": slice(None), "its first half": slice(0, 4), "its second half": slice(4, None)}
    for name, part in cases.items():
        _add(result, f"{name} (looked at)", *as_designed(metas[part], sightings[part], target)[:3])
    metas, sightings, target = bent_board(folder / "bent_board_phone")
    network, _ = adjusted(metas, sightings, target)
    sides = [distances(network, pairs) for pairs in neighbours(target, 30.0)]
    off, u = (np.concatenate(v) for v in zip(*((size - size.mean(), u) for size, u in sides), strict=True))
    _add(result, "bent board, neighbouring corners", network, off, u)
    seen = chessboard.sightings(folder)[0]
    photos = [read_meta(folder / "chessboard_30mm" / f"{s.photo_id}.tif") for s in seen]
    board = Target(BOARD, "strip", chessboard.TARGETS["board"].points_mm, rigid=False)
    renamed = [replace(s, target_ids=(BOARD,) * len(s)) for s in seen]
    halves = [as_designed(photos[k::2], renamed[k::2], board) for k in (0, 1)]
    common = [{pair: (e, u) for pair, e, u in zip(pairs, error, big_u, strict=True)} for _, error, big_u, pairs in halves]
    both = np.array([[*common[0][pair], *common[1][pair]] for pair in common[0] if pair in common[1]])
    _add(result, "chessboard, every other picture", halves[0][0], both[:, 2] - both[:, 0], np.hypot(both[:, 1], both[:, 3]))
    _add(result, "35 markers in one picture, as designed", *_one_picture(folder / "aruco_photos"))
    network, surveyed = test_surveyed_room.adjusted(folder / "surveyed_room")
    held = [
        (a, b) for a, b in combinations(sorted(surveyed), 2)
        if (a, b) not in test_surveyed_room.KNOWN and {f"M{a}", f"M{b}"} <= set(network.bodies)
    ]  # fmt: skip
    found = np.array([_distance(network, f"M{a}", f"M{b}") for a, b in held])
    true = np.array([np.linalg.norm(surveyed[a] - surveyed[b]) for a, b in held])
    _add(result, "surveyed room, distances held out", network, found[:, 0] - true, 2 * found[:, 1])
    if not quick:
        _metric_camera(result, folder / "survey_network")
    return result
