"""The tracer on real photographs: borders of printed squares of known size, traced as edges by the product's own tracer.

``chessboard_30mm``: 25 pictures of 640 x 480 of a printed chessboard with squares of 30 mm (the example of the classic camera
calibration toolbox). ``one_sided_board``: 8 photos of a phone of 2024 of a ChArUco board on a tablet's screen, whose pixels are
square and equal: squares of one size, markers of 0.7 of it.

Corners of squares make the network, in which the board's longest distance is given; between them the tracer is asked for the
sides of every square, as it is for those of a cabinet, and what is compared is the distance of opposite sides, as they were
printed and with what widens black taken off: black grows by as much as white shrinks, half the difference of their mean
widths. Ink and a screen's glow widen black by the same in every photo. What differs from photo to photo is no ink but the
camera's tone curve and exposure; the tracer takes the curve to be that of sRGB (:mod:`tests.bench._black_growth`).
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from phototemplate.capture.photos import read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.shapes.evaluate import frame_of_chord
from phototemplate.errors import MeasureError
from phototemplate.model import (
    Array,
    EdgeHint,
    HeightPoint,
    IntArray,
    Network,
    PhotoMeta,
    Segment,
    Sightings,
    Target,
    WorkPlane,
)
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import LengthEnd, Tape
from phototemplate.network.projection import body_points, project
from phototemplate.network.workplane import append_type_b, to_world
from phototemplate.settings import EdgeSettings
from tests.bench import BenchResult
from tests.bench._black_growth import black_growth, growth_rows
from tests.bench.real import SQUARE_MM, one_sided_board
from tests.calibration import chessboard

ASIDE_MM, HEIGHT_U_MM = 3000.0, 0.1
"""mm. The targets' origins lie so far beside their boards, so that no part of a board is taken for a sheet's paper; standard
uncertainty of the height that the board tells"""
SEARCHED, IN_CORNER = 0.12, 0.85
"""ratio. Half width of the searched band, of a square's side; where in a square's corner its colour is looked at, of the way"""
DOUBTS = ("edge-ambiguous", "edge-line-weak", "edge-faint")
INK_SD_MM = 0.03
"""mm. Standard deviation among photos up to which what widens black at a side may be ink, which is the same in all of them"""
SETTINGS = EdgeSettings(station_mm=2.0, end_margin_mm=4.0)
"""Sides of 30 mm instead of cabinets: stations closer, shorter ends left out"""


@dataclass(frozen=True)
class Board:
    """Photos of one board and the squares on it."""

    metas: Sequence[PhotoMeta]
    sightings: Sequence[Sightings]
    points_mm: Array
    """(P, 2) of the board's corners"""
    square_mm: float
    squares: Mapping[tuple[int, int], IntArray]
    """Column and row -> the points (4,) at its corners, in order round it"""
    flat: bool
    """Known to be flat, so that its corners are where they were drawn; paper is not"""


def chessboard_of_paper(folder: Path) -> Board:
    """25 pictures of the toolbox's chessboard."""
    files = sorted((folder / "chessboard_30mm").glob("*.tif"), key=lambda p: int(p.stem.removeprefix("Image")))
    sightings, _ = chessboard.sightings(folder)
    points = chessboard.TARGETS["board"].points_mm[:, :2]
    return _board([read_meta(f) for f in files], sightings, points, chessboard.COLUMNS, chessboard.SQUARE_MM, flat=False)


def chessboard_on_screen(folder: Path) -> Board:
    """8 photos of the tablet."""
    metas, sightings, target = one_sided_board(folder / "one_sided_board")
    return _board(metas, sightings, target.points_mm[:, :2], 6, SQUARE_MM, flat=True)


def _board(
    metas: Sequence[PhotoMeta], sightings: Sequence[Sightings], points: Array, columns: int, square: float, flat: bool
) -> Board:
    rows = len(points) // columns
    grid = np.arange(len(points)).reshape(rows, columns)
    squares = {(c, r): grid[[r, r, r + 1, r + 1], [c, c + 1, c + 1, c]] for r in range(rows - 1) for c in range(columns - 1)}
    return Board(metas, sightings, points, square, squares, flat)


@dataclass(frozen=True)
class Traced:
    """What the tracer made of a board's sides."""

    asked: int
    sides: Mapping[str, Segment]
    plane: WorkPlane
    black: Mapping[tuple[int, int], bool]
    corners_mm: Array
    """(P, 3) of the board in the plane's frame"""
    network: Network


def _side(own: IntArray, k: int) -> str:
    """Name of a square's side, the same for the square beyond it."""
    return "-".join(str(p) for p in sorted(own[[k, (k + 1) % 4]]))


def traced(board: Board) -> Traced:
    """Sides of the squares as fitted edges."""
    name = str(board.sightings[0].target_ids[0])
    points = np.column_stack([board.points_mm + np.array([ASIDE_MM, 0.0]), np.zeros(len(board.points_mm))])
    target = Target(name, "board" if board.flat else "strip", points, rigid=board.flat)
    a, b = 0, len(board.points_mm) - 1
    size = float(np.linalg.norm(board.points_mm[b] - board.points_mm[a]))
    tape = Tape("longest", LengthEnd(name, a), LengthEnd(name, b), size, 0.02, 20.0, 0.5)
    network = adjust(board.sightings, board.metas, {name: target}, [tape])
    store = PhotoStore([m for m in board.metas if m.photo_id in network.photos])
    plane, corners = _plane(network, points)
    ends = {_side(own, k): own[[k, (k + 1) % 4]] for own in board.squares.values() for k in range(4)}
    reach = SEARCHED * board.square_mm
    hints = [EdgeHint(name, "other", anchor="work", path=corners[e, :2], search_mm=reach) for name, e in ends.items()]
    plane = replace(plane, influences=append_type_b(network.influences, type_b_terms(hints, SETTINGS)))
    plane = replace(plane, shared_jac=np.zeros((6, plane.influences.size)))
    measured, _, _ = measure_edges(store.gray, network, plane, hints, SETTINGS)
    by_id = {h.edge_id: h for h in hints}
    sides = {}
    for p in measured:
        with suppress(MeasureError):  # too few points of a short side: not found
            sides[p.edge_id] = fit_segment(p, by_id[p.edge_id], SETTINGS, plane.influences)
    photo = next(iter(network.photos))
    gray = store.gray(photo)
    grey = {}
    for at, own in board.squares.items():
        middle = corners[own].mean(axis=0)
        world = to_world(plane, middle + IN_CORNER * (corners[own] - middle))
        u, v = np.clip(project(network, photo, world).uv_px.round().astype(int).T, 0, np.array(gray.shape[::-1])[:, None] - 1)
        grey[at] = float(np.median(gray[v, u]))
    even = np.mean([g for (c, r), g in grey.items() if (c + r) % 2 == 0])
    odd = np.mean([g for (c, r), g in grey.items() if (c + r) % 2])
    return Traced(len(hints), sides, plane, {at: bool(((sum(at) % 2) == 0) == (even < odd)) for at in grey}, corners, network)


def _plane(network: Network, points_mm: Array) -> tuple[WorkPlane, Array]:
    """The plane through the board's corners, its frame that of the adjustment; the corners (P, 3) in it. A distance does not
    hang on the frame, so that may stand still. The board says how high it is, as a sheet does on a cabinet."""
    free = {p.point_id: p.xyz_mm for p in network.points}
    body = next(iter(network.bodies), None)
    xyz = np.array([free[k] for k in range(len(free))]) if body is None else body_points(network, body, points_mm).xyz_mm
    middle = xyz.mean(axis=0)
    _, _, axes = np.linalg.svd(xyz - middle)
    eye = np.mean([-p.rotation.T @ p.translation_mm for p in network.photos.values()], axis=0)
    up = axes[2] * np.sign(axes[2] @ (eye - middle))
    rotation = np.array([axes[0], np.cross(up, axes[0]), up])
    corners = (xyz - middle) @ rotation.T
    board = HeightPoint("board", np.zeros(2), 0.0, HEIGHT_U_MM, "board")
    plane = WorkPlane(rotation, -rotation @ middle, np.zeros((6, network.influences.size)), network.influences, (board,))
    return plane, corners


def widths(board: Board, found: Traced) -> Array:
    """(n, 5) of every square whose opposite sides were both found: distance in mm, that of the corners in mm, U in mm, whether
    it is black, whether a side carries a finding that it is in doubt."""
    cov = found.plane.influences.cov
    out = []
    for (c, r), black in found.black.items():
        for k in (0, 1):
            both = [found.sides.get(_side(board.squares[c, r], side)) for side in (k, k + 2)]
            if any(s is None for s in both):
                continue
            segments = [s for s in both if s is not None]
            centre = np.mean([s.points_mm.mean(axis=0) for s in segments], axis=0)
            d, variance, shared = 0.0, 0.0, np.zeros(len(cov))
            for segment in segments:
                frame = frame_of_chord(segment.chord_mm)
                s = float((centre - frame.origin_mm) @ frame.tangent)
                share = (s - segment.knots_mm[0]) / (segment.knots_mm[1] - segment.knots_mm[0])
                w = np.array([1.0 - share, share])
                away = float((centre - frame.origin_mm) @ frame.normal - w @ segment.offsets_mm)
                d += abs(away)
                variance += float(w @ segment.noise_cov_mm2 @ w)
                shared += np.sign(away) * (w @ segment.shared_jac)
            variance += float(shared @ cov @ shared)
            doubt = any(f.code in DOUBTS for s in segments for f in s.findings)
            ends = found.corners_mm[board.squares[c, r]]
            middles = 0.5 * (ends + np.roll(ends, -1, axis=0))
            apart = float(np.linalg.norm(middles[k] - middles[k + 2]))
            out.append((d, apart, 2.0 * np.sqrt(variance), black, doubt))
    return np.array(out)


def compared(board: Board, found: Traced, corners: bool) -> dict[str, object]:
    """One line of the table; against the distances of the corners in the same photos, or against the size told."""
    table = widths(board, found)
    error, U, black = table[:, 0] - (table[:, 1] if corners else board.square_mm), table[:, 2], table[:, 3] > 0
    spread = 0.5 * (error[black].mean() - error[~black].mean())
    rest = error - np.where(black, spread, -spread)
    return {
        "lines asked": found.asked, "found": len(found.sides), "widths": len(table),
        "black wider by mm": round(float(spread), 4),
        "mean mm": round(float(rest.mean()), 4), "rms mm": round(float(np.sqrt(np.mean(rest**2))), 4),
        "largest mm": round(float(np.abs(rest).max()), 3), "U (median) mm": round(float(np.median(U)), 3),
        "inside U": round(float(np.mean(np.abs(rest) <= U)), 4), "as printed": round(float(np.mean(np.abs(error) <= U)), 4),
        "variance": round(float(np.mean((2.0 * rest / U) ** 2)), 3), "in doubt": int(table[:, 4].sum()),
    }  # fmt: skip


def run(quick: bool) -> BenchResult:
    """``quick``: the screen alone."""
    result = BenchResult("Lines on real photographs")
    folder = Path(os.environ["PHOTOTEMPLATE_REFERENCE_PHOTOS"])
    boards = {"screen, 4096 x 3072": chessboard_on_screen}
    if not quick:
        boards["paper, 640 x 480"] = chessboard_of_paper
    lines = 0
    for name, make in boards.items():
        board = make(folder)
        found = traced(board)
        lines += len(found.sides)
        result.rows.append({"case": f"{name}, against the size told", **compared(board, found, corners=False)})
        row = compared(board, found, corners=True)
        result.rows.append({"case": f"{name}, against its corners", **row})
        share, withheld = float(str(row["inside U"])), found.network.quality.withheld
        said = f"{100 * share:.1f} %{', withheld' * withheld}"
        wanted = ">= 95 %, or U withheld"
        result.target(f"{name}: distances of opposite sides inside U", wanted, said, share >= 0.95 or withheld)
        printed = float(str(row["as printed"]))
        said = f"{100 * printed:.1f} %{', withheld' * withheld}"
        result.target(f"{name}: the same as printed", wanted, said, printed >= 0.95 or withheld)
        store = PhotoStore(board.metas)
        shown = ((s, store.gray(s.photo_id)) for s in board.sightings)
        growth = black_growth(shown, list(board.squares.values()), len(board.points_mm), board.square_mm)
        rows, spread = growth_rows(name, growth)
        result.rows += rows
        result.target(f"{name}: what widens black is the same in every photo", f"sd <= {INK_SD_MM} mm", f"{spread:.3f} mm",
                      spread <= INK_SD_MM)  # fmt: skip
        asked = found.asked
        result.target(f"{name}: every line found", str(asked), str(len(found.sides)), asked == len(found.sides))
    if not quick:
        result.target("lines", ">= 200", str(lines), lines >= 200)
    return result
