"""The types that flow from stage to stage. Frozen, documented, no algorithms.

Conventions, declared once for the whole project
-----------------------------------------------
* Lengths in mm, angles in rad, image positions in px; names say so (``_mm _rad _px``).
  Inches and degrees exist only at the user's edge (1 in = 25.4 mm exactly).
* Pixel (0, 0) is the centre of the first pixel, as in OpenCV; image positions are in *stored*
  sensor pixels, before any EXIF rotation.
* Transforms are named ``target_from_source``; a pose is ``(rotation (3,3), translation (3,))`` and maps
  ``x_target = R @ x_source + t``. A pose perturbation is ``(w, d)``, six numbers, rotation first:
  ``R = exp([w]x) R0``, ``t = t0 + d`` (see ``numerics.rigid``).
* Camera frame: x right, y down, z forward (OpenCV).
* Frames: *world* (datum of the adjustment), *target* (one printed sheet: x right, y up when its number
  is readable, z out of the paper), *work* (z = 0 the plane of the cabinet tops, z up, fixed to the sheets),
  *plan* (work turned and shifted within the plane so that x runs along the longest run, y away from the room).
* Uncertainties are standard uncertainties; covariance names end in ``cov``. Reports print U at k = 2.

Shared error (principle 5)
--------------------------
Every stage after the adjustment carries two things side by side: the covariance of its own independent noise,
and the sensitivity (Jacobian) to one common vector of K *influences* (camera poses, lens, sheet poses, scale,
paper thickness, contact gaps ...). The covariance of any result is ``noise_cov + J @ influences.cov @ J.T``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from phototemplate.errors import Finding

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
GrayImage = NDArray[np.uint8]


# ------------------------------------------------------------------------------------------- capture


@dataclass(frozen=True)
class PhotoMeta:
    """What a photo file says about itself; the pixels stay in the file."""

    photo_id: str
    """File stem, unique within a job."""
    path: Path
    size_px: tuple[int, int]
    """Width and height of the stored picture, before EXIF rotation."""
    orientation: int = 1
    """EXIF orientation 1-8: how a viewer turns the stored picture."""
    camera_id: str = "camera"
    """Photos with the same id share one lens (make, model, lens, zoom, stored size)."""
    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    focal35_mm: float | None = None
    digital_zoom: float | None = None
    taken_at: str = ""
    software: str = ""


@dataclass(frozen=True)
class Sightings:
    """Target points seen in one photo, N of them."""

    photo_id: str
    target_ids: tuple[str, ...]
    """Target of each point, e.g. ``"S07"`` (sheet 7), ``"W03"`` (strip 3), ``"B01"`` (bar end), ``"M12"`` (plain marker)."""
    point_ids: IntArray
    """(N,) index of the point within its target."""
    uv_px: Array
    """(N, 2)"""
    cov_px2: Array
    """(N, 2, 2) from local contrast, blur and obliquity."""
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        return len(self.target_ids)


@dataclass(frozen=True)
class Target:
    """Geometry of one printed target in its own frame, at nominal (100 %) print scale."""

    target_id: str
    kind: Literal["sheet", "strip", "bar_end", "board", "marker"]
    points_mm: Array
    """(P, 3) nominal points, z = 0 on the printed face."""
    rigid: bool = True
    """False: the points are adjusted freely (wall strips bend)."""
    size_mm: tuple[float, float] = (0.0, 0.0)
    """Width and height of the paper after cutting."""
    contact_edge_mm: Array | None = None
    """(2, 2) the cut edge that is butted against a wall or panel, left to right, or None."""
    height_axis_mm: float = 0.0
    """Strips: height of the row of points above the strip's lower cut edge."""


# ------------------------------------------------------------------------------------------- network


@dataclass(frozen=True)
class Camera:
    """One lens at one setting. ``params`` in the order of ``numerics.lens.LENS_MODELS[model].names``."""

    camera_id: str
    model: str
    size_px: tuple[int, int]
    params: Array
    cov: Array
    """(p, p); a profile's own covariance, or that after the adjustment."""
    source: str = "exif"
    """Where the start value came from: profile, exif, vanishing, adjusted, default."""


@dataclass(frozen=True)
class PhotoPose:
    """Orientation of one photo in the network."""

    photo_id: str
    camera_id: str
    rotation: Array
    """(3, 3) of cam_from_world"""
    translation_mm: Array
    """(3,) of cam_from_world"""
    focus: float = 0.0
    """Relative change of the principal distance of this photo: f_i = f (1 + focus)."""


@dataclass(frozen=True)
class BodyPose:
    """Pose and shape of one rigid target in the network: x_world = R diag(sx, sy, 1) bend(x_target) + t."""

    target_id: str
    rotation: Array
    """(3, 3) of world_from_target"""
    translation_mm: Array
    """(3,) of world_from_target"""
    scale_xy: tuple[float, float] = (1.0, 1.0)
    """Print scale along the sheet's x and y."""
    curl_per_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Second-order bend (cxx, cxy, cyy): z = cxx x^2/2 + cxy x y + cyy y^2/2; zeros unless released."""


@dataclass(frozen=True)
class FreePoint:
    """An adjusted point that belongs to no rigid body (wall strip, plain marker corner)."""

    target_id: str
    point_id: int
    xyz_mm: Array
    """(3,) world"""
    noise_cov_mm2: Array
    """(3, 3) independent part, from this point's own image noise"""
    shared_jac: Array
    """(3, K) sensitivity to the influences"""
    n_photos: int


@dataclass(frozen=True)
class Influences:
    """The shared error sources of one measurement and their joint covariance."""

    names: tuple[str, ...]
    """(K,) e.g. ``"lens:main:f"``, ``"photo:IMG_0003:wx"``, ``"body:S07:tz"``, ``"gap:S04"``."""
    cov: Array
    """(K, K)"""
    parts: Mapping[str, Array]
    """What causes the covariance: group -> (K, K), and the parts sum to ``cov``. Groups are observation groups
    (``"target sightings"``, ``"known length: bar"``, ``"lens prior"``, ``"sheet print scale"``) and type B terms
    (``"paper thickness"``, ``"contact gap"``, ``"edge definition"``)."""

    @property
    def size(self) -> int:
        return len(self.names)


@dataclass(frozen=True)
class TypeB:
    """One further influence that no photo can show, after the GUM's type B evaluation."""

    name: str
    """e.g. ``"gap:back"``, ``"thickness:sheet"``, ``"definition:front-1"``"""
    group: str
    """Budget line: ``"paper thickness"``, ``"contact gap"``, ``"strip thickness"``, ``"edge definition"``"""
    u_mm: float


@dataclass(frozen=True)
class KnownLengthResult:
    """How one known length fared in the adjustment."""

    name: str
    given_mm: float
    """At the temperature of the photos: what was given at 20 degC, expanded to the temperature stated with it"""
    u_mm: float
    adjusted_mm: float
    normalized_residual: float
    smallest_detectable_mm: float
    """Blunder that the network would notice with 80 % power at 0.1 % level (Baarda)."""
    used: bool = True


@dataclass(frozen=True)
class Network:
    """Result of the adjustment: every camera, photo and target in one world frame, with joint covariance."""

    cameras: Mapping[str, Camera]
    photos: Mapping[str, PhotoPose]
    bodies: Mapping[str, BodyPose]
    points: tuple[FreePoint, ...]
    targets: Mapping[str, Target]
    influences: Influences
    """Influences of the network alone; names index lens, photo and body parameters (see ``network.layout``)."""
    residuals: tuple[PhotoResiduals, ...]
    lengths: tuple[KnownLengthResult, ...]
    scale_known: bool
    sigma0: float
    """Standard deviation of unit weight after the adjustment (expected 1)."""
    redundancy: float
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class PhotoResiduals:
    """Sightings of one photo with what the adjustment made of them."""

    photo_id: str
    target_ids: tuple[str, ...]
    point_ids: IntArray
    uv_px: Array
    """(N, 2) measured"""
    residual_px: Array
    """(N, 2) measured minus adjusted"""
    weight: Array
    """(N,) 1 used, 0 rejected as a wrong sighting, between: down-weighted"""


@dataclass(frozen=True)
class HeightPoint:
    """Height of one sheet or one place of a cabinet above the work plane."""

    name: str
    xy_mm: Array
    """(2,) work frame"""
    height_mm: float
    u_mm: float
    group: str = ""
    """Cabinet it stands for."""


@dataclass(frozen=True)
class WorkPlane:
    """The plane of the cabinet tops and the frame fixed to it."""

    rotation: Array
    """(3, 3) of work_from_world"""
    translation_mm: Array
    """(3,) of work_from_world"""
    shared_jac: Array
    """(6, K) perturbation (w, d) of work_from_world per influence; rows as in ``numerics.rigid``."""
    influences: Influences
    """The network's influences, followed by the type B terms of thickness, gaps and edge definition."""
    heights: tuple[HeightPoint, ...]
    findings: tuple[Finding, ...] = ()


# --------------------------------------------------------------------------------------------- edges

EdgeKind = Literal["front", "end", "wall", "panel", "opening", "other"]
ShapeKind = Literal["line", "arc", "profile"]


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


@dataclass(frozen=True)
class Segment:
    """A fitted edge: normal offsets from a chord, at M knots along it.

    The chord runs from ``chord_mm[0]`` to ``chord_mm[1]``; its left normal is the unit tangent turned +90 deg.
    ``line``: M = 2 knots at the chord's ends, straight between and beyond them.
    ``arc``: M = 3 knots (start, middle, end), the circle through the three points.
    ``profile``: M >= 4 knots, natural cubic spline in the offset over the chord, straight beyond the end knots. The
    first and last three knots lie beyond the chord, where nothing was seen and the uncertainty grows.
    Points at a given chord position are linear in the offsets for line and profile.
    """

    edge_id: str
    kind: EdgeKind
    shape: ShapeKind
    chord_mm: Array
    """(2, 2)"""
    knots_mm: Array
    """(M,) positions along the chord"""
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


# ------------------------------------------------------------------------------------------ template


@dataclass(frozen=True)
class OutlineLoop:
    """One closed loop (or open chain) of edges, anticlockwise seen from above."""

    loop_id: str
    edge_ids: tuple[str, ...]
    corners_mm: Array
    """(n, 2) plan frame; corner i is where edge i-1 meets edge i"""
    corner_cov_mm2: Array
    """(n, 2, 2)"""
    closed: bool = True


@dataclass(frozen=True)
class EdgeReport:
    """What the user reads of one edge; U values are k = 2."""

    edge_id: str
    kind: EdgeKind
    shape: ShapeKind
    source: str
    length_mm: float
    length_U_mm: float
    angle_rad: float
    angle_U_rad: float
    offset_U_mm: tuple[float, float, float]
    """Offset normal to the edge at start, middle and end of its trimmed stretch"""
    budget: tuple[tuple[str, float], ...]
    """(cause, standard uncertainty of the largest offset in mm), largest first; root sum of squares is U/2"""
    height_mm: tuple[float, float, float]
    n_points: int
    n_photos: int
    rms_mm: float
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Outline:
    """Fitted edges joined to loops, in the plan frame, with one joint covariance.

    The *state* is the stack of all segments' ``offsets_mm`` in the order of ``segments`` (``state_slices``);
    any derived length has variance ``g @ state_cov @ g`` with its gradient g over the state.
    """

    segments: tuple[Segment, ...]
    """Plan frame"""
    loops: tuple[OutlineLoop, ...]
    state_slices: Mapping[str, slice]
    noise_cov_mm2: Array
    """(S, S) block diagonal"""
    shared_jac: Array
    """(S, K)"""
    influences: Influences
    plan_from_work: Array
    """(3, 3) homogeneous rigid motion in the plane; a convention, carries no uncertainty"""
    edges: tuple[EdgeReport, ...] = ()
    findings: tuple[Finding, ...] = ()
    unscaled: bool = False


# ----------------------------------------------------------------------------------------- the result


@dataclass(frozen=True)
class Measurement:
    """All that ``pipeline.measure`` found out, for the writers and the studies."""

    job_name: str
    photos: tuple[PhotoMeta, ...]
    sightings: Mapping[str, Sightings]
    network: Network
    work_plane: WorkPlane
    traces: tuple[EdgeTrace, ...]
    outline: Outline
    findings: tuple[Finding, ...]
    """Every finding of every stage, once"""
    seconds: Mapping[str, float] = field(default_factory=dict)
    """Wall time per stage"""
