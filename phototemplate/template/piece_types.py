"""What comes out of the template stage: pieces, splashes, seams, checks. Frozen, no algorithms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from phototemplate.errors import Fact, Finding, InputError
from phototemplate.model import Array
from phototemplate.template.boundary import Boundary
from phototemplate.template.constants import INSIDE_RAD
from phototemplate.template.edge_lines import Gap
from phototemplate.template.places import OpeningPlace
from phototemplate.template.quantities import Quantity
from phototemplate.template.spec import TemplateSpec

Vertices = tuple[tuple[float, float, float], ...]
"""(x, y, bulge) of a closed polyline, none repeated"""


@dataclass(frozen=True)
class Size:
    """A finished dimension between two places of the plan."""

    name: str
    quantity: Quantity
    start: tuple[float, float]
    end: tuple[float, float]
    group: str
    """``edge``, ``overall``, ``depth``, ``diagonal``, ``cut-out``, ``opening``, ``gap``"""
    decided: bool = False
    """True: set by the job file, not measured; its U is 0 by definition"""


@dataclass(frozen=True)
class PieceEdge:
    """One edge of a finished piece."""

    edge_id: str
    """Measured edge, ``<opening> left`` or ``right``, or seam"""
    finish: str
    rule: str
    outward_mm: float
    """Overhang positive, clearance negative"""
    start: tuple[float, float]
    end: tuple[float, float]
    length: Quantity
    """Between the corners before they are rounded or clipped"""
    place_U_mm: float
    """U (k = 2) of the edge normal to itself, the largest of both ends and the middle"""
    gap: Gap | None = None
    moved: tuple[Quantity, Quantity, Quantity] | None = None
    profile: str = ""
    """Of a finished edge"""
    arc_radius_mm: float = 0.0
    """Of a round edge, whose length is that along the arc; 0: a straight edge or a wall's profile"""
    face_mm: float = 0.0
    """Height of a built-up face; 0: the slab's thickness"""
    mitred_to: str = ""
    """Upright piece whose joint with this edge is cut at 45 degrees on both; the line is the outer arris"""


@dataclass(frozen=True)
class PieceCorner:
    """One corner of a finished piece."""

    name: str
    at: tuple[float, float]
    angle: Quantity
    """Inside the piece, rad"""
    kind: str
    size_mm: float = 0.0
    """Radius or clip"""
    by_default: bool = False
    """True: the shop's inside radius was used, nothing was asked for"""

    @property
    def inside(self) -> bool:
        """Whether it is an inside corner."""
        return self.angle.value > INSIDE_RAD


@dataclass(frozen=True)
class Hole:
    """A drilled or round hole."""

    name: str
    centre: tuple[float, float]
    diameter_mm: float


@dataclass(frozen=True)
class Cutout:
    """A closed hole within a piece."""

    cutout_id: str
    kind: str
    source: str
    vertices: Vertices
    """Plan frame, anticlockwise"""
    centre: tuple[float, float]
    across_seam: bool = False
    """True: it is part of the pieces' outer lines"""
    reveal_mm: float | None = None
    """How far the rim of the bowl shows all round; negative: the stone reaches over it"""
    bowl: Vertices = ()
    """The bowl itself, where a reveal was asked for"""


@dataclass(frozen=True)
class Seam:
    """A joint between two pieces."""

    seam_id: str
    pieces: tuple[str, str]
    start: tuple[float, float]
    end: tuple[float, float]
    """Middle of the joint"""
    joint_mm: float
    length: Quantity


@dataclass(frozen=True)
class SeamProposal:
    """Where a seam could go, and why."""

    piece_id: str
    corner: str | None
    """Inside corner it starts from"""
    over_slab: bool
    """The piece is larger than the slab"""
    start: tuple[float, float]
    end: tuple[float, float]
    words: str
    """How to say it in the job file"""


@dataclass(frozen=True)
class Piece:
    """One finished top."""

    piece_id: str
    source_id: str
    """Piece of the job file it comes from"""
    boundary: Boundary
    vertices: Vertices
    edges: tuple[PieceEdge, ...]
    corners: tuple[PieceCorner, ...]
    cutouts: tuple[Cutout, ...]
    holes: tuple[Hole, ...]
    sizes: tuple[Size, ...]
    area: Quantity
    """Net of cut-outs and holes, mm^2"""
    weight_kg: float


@dataclass(frozen=True)
class Splash:
    """An upright piece, drawn lying flat: x along the edge as seen from the room, y up."""

    piece_id: str
    kind: str
    edge_id: str
    vertices: Vertices
    cutouts: tuple[Cutout, ...]
    length: Quantity
    height_mm: float
    thickness_mm: float
    foot: Vertices
    """Plan of its foot"""
    foot_extra_mm: float
    """How much thicker than the material the foot would have to be to follow the wall; else the largest gap behind it"""
    follows_wall: bool
    area_mm2: float
    weight_kg: float
    top_id: str = ""
    """Piece that it belongs to"""
    joint: str = ""
    """Of an apron, strip or panel with the top: ``butt``, ``mitred``, ``flat``"""
    ends: tuple[str, str] = ("square", "square")
    """Left and right as seen from the room; ``mitred`` where a mitred neighbour joins"""
    grain_runs_on: bool = False
    """Its pattern continues that of the top over the joint"""


@dataclass(frozen=True)
class Check:
    """One rule applied to one place."""

    rule: str
    """What ``wording`` calls it by"""
    where: str
    verdict: Literal["ok", "look", "note"]
    source: str
    """Published source, or ``common practice``"""
    facts: Mapping[str, Fact]
    """What was found and the limit, in units their names end with"""


@dataclass(frozen=True)
class Shim:
    """How much one place of the cabinets lies below the highest one."""

    name: str
    group: str
    xy: tuple[float, float]
    shim_mm: float
    U_mm: float


@dataclass(frozen=True)
class SitePhoto:
    """A photo of the site that belongs to a place."""

    path: Path
    place: str
    at: tuple[float, float]
    note: str


@dataclass(frozen=True)
class Template:
    """All pieces of a job."""

    spec: TemplateSpec
    pieces: tuple[Piece, ...]
    splashes: tuple[Splash, ...]
    openings: tuple[OpeningPlace, ...]
    opening_sizes: tuple[Size, ...]
    seams: tuple[Seam, ...]
    proposals: tuple[SeamProposal, ...]
    appliances: tuple[tuple[str, str, Array], ...]
    """(id, kind, (4, 2) corners of the place it takes)"""
    centres: tuple[tuple[str, tuple[float, float], tuple[float, float]], ...]
    """Centre lines of cabinets: id, a point in front of the run, one behind it"""
    checks: tuple[Check, ...]
    shims: tuple[Shim, ...]
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
    site_photos: tuple[SitePhoto, ...] = ()
    refused: tuple[tuple[str, InputError], ...] = ()
    """Pieces of the job that could not be built, and why"""

    def whole(self) -> Template:
        """The template itself. Raises the error of the first piece that could not be built."""
        for _, error in self.refused:
            raise error
        return self

    @property
    def parts(self) -> tuple[Piece | Splash, ...]:
        """Everything that is cut: tops, then upright pieces."""
        return (*self.pieces, *self.splashes)
