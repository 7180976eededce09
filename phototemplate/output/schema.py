"""The format of ``result.json``: documented models, version, JSON Schema.

Lengths in mm, angles in rad, image positions in stored pixels with (0, 0) the centre of the first pixel. Fields named
``..._U_...`` are expanded uncertainties at k = 2, those named ``u_...`` standard uncertainties, covariances are of
standard uncertainties.

Version
-------
:data:`RESULT_VERSION` grows only when a reader of the old format would misread the new one. Further fields do not
change it: a reader ignores what it does not know. ``python -m phototemplate.output.schema`` rewrites
``result.schema.json``.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal

from phototemplate.model import EdgeKind, ShapeKind
from phototemplate.output.constants import RESULT_VERSION
from phototemplate.output.schema_assessment import JudgementsPart
from phototemplate.output.schema_base import (
    Number,
    Pair,
    Part,
    Row,
    Severity,
    Symmetric,
    Triple,
    UncertainPair,
    UncertainTriple,
)

RESULT_FORMAT = "phototemplate-result"
SCHEMA_PATH = Path(__file__).with_name("result.schema.json")

PlainFact = float | int | str | tuple[float | str, ...] | None
"""A number in the unit its name ends with, a name, or several"""


class ThingToDoPart(Part):
    """What a finding advises, a finding of its own."""

    code: str
    where: str
    facts: dict[str, PlainFact] = {}


class FindingPart(Part):
    """A doubt that travels with the result."""

    code: str
    severity: Severity
    where: str
    """Photo, sheet, edge or length it concerns"""
    facts: dict[str, PlainFact | ThingToDoPart] = {}
    """What was seen: numbers in the unit their name ends with, names, lists of them"""
    message: str
    """The same in words, for readers; lengths in mm"""
    remedy: str = ""
    """What to do, in words"""


class CandidatePart(Part):
    """Another edge that could have been meant."""

    offset_mm: float
    """From the chosen edge, positive to its left"""
    height_mm: float
    support: float
    """Share of the visible stretch, 0 to 1"""
    reading: str = ""
    """What it is taken for: edge, opening, joint, door, raised or chance"""


class EdgePart(Part):
    """One edge: the fitted curve and what is to be read of it.

    The curve is given by normal offsets at knots over a base: the chord, bent evenly about its middle to the curvature
    bend_per_mm without changing its length. line: straight through two knots; arc and circle: the bent chord itself, offsets
    tell how it moves and grows; profile: natural cubic spline through the offsets, straight beyond the end knots.
    """

    edge: str
    kind: EdgeKind
    shape: ShapeKind
    source: str
    """trace (photos), contact (contact sheets) or strip (wall strip)"""
    chord_mm: list[Pair]
    """Start and end of the chord before it is bent, plan frame"""
    bend_per_mm: float = 0.0
    """Curvature of the base, 1/mm, positive where it turns left"""
    knots_mm: list[float]
    """Positions along the base"""
    offsets_mm: list[float]
    """Offsets at the knots, positive to the left of the base"""
    length_mm: float | None = None
    length_U_mm: float | None = None
    """Null where an end of the edge is no corner: the length is that of the stretch that was seen, no dimension"""
    angle_rad: float | None = None
    angle_U_rad: float | None = None
    offset_U_mm: UncertainTriple | None = None
    """At start, middle and end of the trimmed stretch, normal to the edge"""
    budget: list[tuple[str, float]] = []
    """Cause and standard uncertainty in mm where the offset is least certain, largest first"""
    height_mm: Triple
    """Mean, smallest and largest height over the work plane"""
    level: str = ""
    """Level of the tops it lies on; empty for walls, which stand on all of them"""
    line: str = ""
    """Which line it is where somebody named it: box, door, outer or inner"""
    arris_mm: float | None = None
    arris_U_mm: float | None = None
    """Radius of the rounding between top and face, measured or claimed; null where the edge is no top's outermost line"""
    n_photos: int = 0
    rms_mm: Number = None
    """Of the points' distances from the fitted edge"""
    points_mm: list[Pair] = []
    """Points used, plan frame"""
    residuals_mm: Row = []
    """Their signed distances from the fitted edge"""
    candidates: list[CandidatePart] = []
    findings: list[FindingPart] = []


class CornerPart(Part):
    """Where two edges meet."""

    edges: tuple[str, str]
    """The edge that ends here and the one that begins here"""
    xy_mm: Pair
    """Plan frame"""
    covariance_mm2: UncertainTriple
    """xx, xy, yy"""
    ellipse_U_mm: UncertainPair
    """Semi-axes of the error ellipse at k = 2, larger first"""


class LoopPart(Part):
    """Edges in their order round one run of cabinets, anticlockwise seen from above."""

    loop: str
    edges: list[str]
    closed: bool
    corners: list[CornerPart]
    """Corner i is where edge i-1 meets edge i"""


class StatePart(Part):
    """Joint covariance of all edges, by cause.

    The state is the stack of ``offsets_mm`` of all edges in the order of ``outline.edges``. A length with gradient g
    over the state has variance g' (noise + sum of causes) g.
    """

    noise_mm2: Symmetric
    """Independent noise of the edge points"""
    causes_mm2: dict[str, Symmetric]
    """What the shared influences add, by cause; already mapped onto the state"""


class OutlinePart(Part):
    """The outline in the plan frame: x along the longest run, y away from the room."""

    unscaled: bool
    """True: no length was known, the shape is right and its size is not"""
    plan_from_work: list[Triple]
    """3 x 3 homogeneous rigid motion"""
    edges: list[EdgePart]
    loops: list[LoopPart]
    state: StatePart
    findings: list[FindingPart] = []


class CameraPart(Part):
    """One lens at one setting."""

    camera: str
    lens_model: str
    size_px: tuple[int, int]
    names: list[str]
    """Names of the parameters, as OpenCV means them"""
    parameters: list[float]
    covariance: Symmetric
    source: str


class SightingsPart(Part):
    """Target points seen in one photo; the lists run in step."""

    target: list[str]
    point: list[int]
    uv_px: list[list[Number]]
    residual_px: list[list[Number]]
    """Measured minus adjusted; empty where the photo was not placed"""
    weight: Row
    """1 used, 0 rejected, between: down-weighted"""


class PosePart(Part):
    """A placed photo: x_camera = rotation x_world + translation."""

    rotation: list[Triple]
    translation_mm: Triple
    focus: float
    """Relative change of the principal distance"""
    names: list[str] = []
    """Order of the covariance: w rotation, t shift, both small motions"""
    covariance: Symmetric | None = None


class PhotoPart(Part):
    """One photo."""

    photo: str
    file: str
    size_px: tuple[int, int]
    orientation: int
    camera: str
    taken_at: str = ""
    pose: PosePart | None = None
    """Absent: the photo could not be placed"""
    sightings: SightingsPart | None = None


class SheetPart(Part):
    """Pose and shape of a rigid target: x_world = rotation (scale x_target, bent) + translation."""

    target: str
    kind: str
    rotation: list[Triple]
    translation_mm: Triple
    print_scale: Pair
    """Along the sheet's x and y"""
    curl_per_mm: Triple
    """cxx, cxy, cyy of z = cxx x^2/2 + cxy x y + cyy y^2/2"""
    names: list[str] = []
    """Order of the covariance"""
    covariance: Symmetric | None = None


class PointPart(Part):
    """An adjusted point that belongs to no rigid target (wall strip, plain marker)."""

    target: str
    point: int
    xyz_mm: Triple
    covariance_mm2: Symmetric
    n_photos: int


class LengthPart(Part):
    """How one known length fared."""

    name: str
    given_mm: float
    """At 20 degC"""
    u_mm: float
    adjusted_mm: float
    normalized_residual: Number
    smallest_detectable_mm: Number
    """A mistake of this size would be noticed in 80 of 100 cases"""
    used: bool


class HeightPart(Part):
    """Height of one sheet above the work plane."""

    target: str
    group: str
    """Cabinet"""
    xy_mm: Pair
    """Work frame"""
    height_mm: float
    u_mm: Number
    level: str = ""
    """Level of the tops it lies on; empty where they lie on one"""


class LevelPart(Part):
    """Tops at about one height."""

    level: str
    height_mm: float
    """Mean height of its sheets over the work plane, which lies in the main level"""
    u_mm: Number
    targets: list[str]


class WorkPlanePart(Part):
    """Plane of the cabinet tops: x_work = rotation x_world + translation."""

    rotation: list[Triple]
    translation_mm: Triple
    covariance: Symmetric
    """Of the small motion (w, d)"""
    heights: list[HeightPart]
    levels: list[LevelPart] = []
    """The main one first, then from the highest down"""
    findings: list[FindingPart] = []


class InfluencesPart(Part):
    """The shared error sources and how the outline depends on them.

    Rounded for reading and for checking; to compute with, take ``outline.state``, which is already summed up.
    """

    names: list[str]
    covariance: Symmetric
    outline_jacobian: list[Row]
    """One row per entry of the outline's state"""


class Result(Part):
    """Everything that one measurement found out."""

    format: Literal["phototemplate-result"] = "phototemplate-result"
    version: int = RESULT_VERSION
    program: str = ""
    """Program and version that wrote the file"""
    created: str = ""
    """ISO 8601"""
    job: str
    scale_known: bool
    withheld: bool = False
    """True: the photos contradict each other, so that no uncertainty can be stated (every one is null) and nothing is to be cut
    from it; the finding ``residuals-unexplained`` or ``adjustment-unconverged`` says why"""
    sigma0: Number
    """Standard deviation of unit weight after the adjustment (expected 1)"""
    redundancy: Number
    outline: OutlinePart
    work_plane: WorkPlanePart
    cameras: list[CameraPart]
    photos: list[PhotoPart]
    sheets: list[SheetPart]
    points: list[PointPart]
    lengths: list[LengthPart]
    influences: InfluencesPart | None = None
    judgements: JudgementsPart | None = None
    """Absent where nothing was judged"""
    findings: list[FindingPart]
    """Every finding of every stage, once"""
    seconds: dict[str, float] = {}


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of ``result.json``."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Result.model_json_schema()}


def schema_text() -> str:
    """The schema as ``result.schema.json`` has it."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    from phototemplate.atomic import write_text_atomic

    write_text_atomic(SCHEMA_PATH, schema_text())
