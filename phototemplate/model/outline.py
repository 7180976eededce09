"""The measured outline, and everything one run knows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from phototemplate.errors import Finding
from phototemplate.model.arrays import Array
from phototemplate.model.capture import PhotoMeta, Sightings
from phototemplate.model.edges import EdgeKind, EdgeTrace, Segment, ShapeKind
from phototemplate.model.network import Influences, Network, WorkPlane
from phototemplate.settings import Settings


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
    """NaN where an end of the edge is no corner: then the length is that of the stretch that was seen, no dimension"""
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
    level: str = ""
    """Level of the tops it lies on; empty for walls, which stand on all of them"""
    line: str = ""
    """Which line it is where somebody named it: box, door, outer or inner"""


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
    settings: Settings = field(default_factory=Settings)
    """What it was measured with; questions asked later are answered with the same"""
