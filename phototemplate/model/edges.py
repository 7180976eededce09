"""Edges, from the user's hint to the fitted segment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from phototemplate.errors import Finding
from phototemplate.model.arrays import Array

LineName = Literal["box", "door", "outer", "inner"]
"""Which of the lines of a place is meant: the edge of the box as the program finds it, the door's face before and below it, or
the likeliest line further out or further in than the one that the program would take"""
EdgeKind = Literal["front", "end", "wall", "panel", "opening", "other"]
ShapeKind = Literal["line", "arc", "circle", "profile"]


@dataclass(frozen=True)
class EdgeHint:
    """Where to look for one edge, in the job file's words."""

    edge_id: str
    kind: EdgeKind
    source: Literal["trace", "contact", "strip"] = "trace"
    shape: ShapeKind = "line"
    anchor: Literal["photo", "sheet", "work"] = "photo"
    anchor_id: str = ""
    """Photo id or target id that ``path`` refers to."""
    path: Array | None = None
    """(n, 2) rough polyline: px of the photo, mm in the sheet's frame, or mm in the work frame."""
    targets: tuple[str, ...] = ()
    """Sheets or strips that carry the edge (sources ``contact`` and ``strip``)."""
    search_mm: float = 12.0
    """Half width of the searched band in the work plane."""
    height_mm: float = 0.0
    """Expected height over the work plane."""
    choose: float | None = None
    """Offset in mm of the wanted candidate from the hint where two candidates were close."""
    arris_mm: float | None = None
    """Radius of the rounding of its arris as claimed, 0: sharp; None: it is measured."""
    level: str = ""
    """Level of the tops it lies on, where somebody said so"""
    line: LineName | None = None
    """Which line is meant, where somebody said so"""


@dataclass(frozen=True)
class EdgeTrace:
    """One edge traced in one photo, N points, in original pixels."""

    photo_id: str
    edge_id: str
    uv_px: Array
    """(N, 2)"""
    cov_px2: Array
    """(N, 2, 2), large along the edge"""
    along_mm: Array
    """(N,) rough position along the hint's path, to match photos with each other"""


@dataclass(frozen=True)
class Candidate:
    """Another edge that could have been meant."""

    offset_mm: float
    """Signed distance from the chosen edge, positive to its left"""
    height_mm: float
    support: float
    """Share of the visible stretch, 0-1"""
    reading: str = ""
    """What it is taken for: a reading of :data:`phototemplate.edges.readings.constants.LOOKS`"""


@dataclass(frozen=True)
class PlanePoints:
    """Points of one edge dropped onto the work plane; nothing after this type knows of photos."""

    edge_id: str
    source: str
    xy_mm: Array
    """(N, 2) work frame"""
    height_mm: Array
    """(N,) over the work plane before dropping"""
    noise_cov_mm2: Array
    """(N, 2, 2)"""
    shared_jac: Array
    """(N, 2, K)"""
    height_u_mm: Array
    """(N,) standard uncertainty of the height"""
    n_photos: Array
    """(N,) photos behind each point"""
    candidates: tuple[Candidate, ...] = ()
    findings: tuple[Finding, ...] = ()
    correlation_mm: float = 0.0
    """Length along the edge over which noise is correlated (0: independent points)"""
    rise_mm: float = float("nan")
    """Mean height of a traced edge of a top over that expected from the sheets near it"""
    arris_mm: tuple[float, float] | None = None
    """Radius of the rounding between top and face as measured, and its standard uncertainty"""
    level: str = ""
    """Level of the tops it lies on; empty for walls, which stand on all of them"""


@dataclass(frozen=True)
class Segment:
    """A fitted edge: normal offsets from a base, at M knots along it.

    The base is the chord from ``chord_mm[0]`` to ``chord_mm[1]``, bent evenly about its middle to the curvature
    ``bend_per_mm``; left is the unit tangent turned +90 deg.
    ``line``: M = 2 knots at the chord's ends, straight between and beyond them.
    ``arc``: M = 3 knots (start, middle, end) of a bent base; a fit leaves their offsets zero.
    ``circle``: M = 3 knots at thirds of a base that closes: a whole round top.
    ``profile``: M >= 4 knots, natural cubic spline in the offset over the chord, straight beyond the end knots. The
    outermost knots lie beyond the chord, where nothing was seen and the uncertainty grows.
    Points at a given position along the base are linear in the offsets.
    """

    edge_id: str
    kind: EdgeKind
    shape: ShapeKind
    chord_mm: Array
    """(2, 2)"""
    knots_mm: Array
    """(M,) positions along the base"""
    offsets_mm: Array
    """(M,)"""
    noise_cov_mm2: Array
    """(M, M)"""
    shared_jac: Array
    """(M, K)"""
    residuals_mm: Array
    """(N,) normal distances of the points used"""
    points_mm: Array
    """(N, 2) the points used"""
    height_mm: tuple[float, float, float]
    """Mean, smallest and largest height of the points over the plane"""
    source: str = "trace"
    n_photos: int = 0
    candidates: tuple[Candidate, ...] = ()
    findings: tuple[Finding, ...] = ()
    fitted: float | None = None
    """Effective number of fitted values (trace of the hat matrix); None: as many as knots"""
    unseen_cov_mm2: Array | None = None
    """(M, M) share of ``noise_cov_mm2`` that no point speaks of: what the shape may do where nothing was seen (type B)"""
    arris_mm: tuple[float, float] | None = None
    """Radius of the rounding between top and face as measured, and its standard uncertainty"""
    bend_per_mm: float = 0.0
    """1/mm. Curvature of the base, positive where it turns left"""
    level: str = ""
    """Level of the tops it lies on; empty for walls, which stand on all of them"""
    line: str = ""
    """Which line it is where somebody named it: box, door, outer or inner"""
