"""What the job file says about pieces: everything a person decides between the measured edges and the stone.

Lengths are mm, or a text with its unit (``"1 1/2 in"``). Unknown keys are refused. Names of edges are those of the
measured outline; a corner is named by its two edges, ``"front/left"``, in either order.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from phototemplate.settings import Section
from phototemplate.units import INCH_MM, Length

PositiveLength = Annotated[Length, Field(gt=0)]
NotNegativeLength = Annotated[Length, Field(ge=0)]
Name = Annotated[str, Field(pattern=r"^[^/\s][^/]*$", max_length=40)]
"""An id: no slash, which joins the names of two edges at a corner"""

EdgeFinish = Literal["finished", "wall", "appliance", "seam", "panel"]


class AlignSpec(Section):
    """Make an edge parallel or square to another, or put it in line with it; how far it moves is always shown."""

    to: Name
    """The edge that stays"""
    how: Literal["parallel", "square", "in-line"] = "parallel"
    """To the finished line of that edge"""
    hold: Literal["start", "middle", "end"] = "middle"
    """Which place of the edge stays where it is (not for in-line); start and end as the piece runs anticlockwise"""


class PieceEdgeSpec(Section):
    """One edge of a piece. What is left out follows from the kind of the measured edge."""

    finish: EdgeFinish | None = None
    """Left out: front, end and other edges finished, walls to wall, panels to panel, sides of openings to appliance"""
    overhang: Length | None = None
    """Beyond the measured edge, to the outside; left out: the shop's overhang, on straight ends the shop's end overhang"""
    clearance: NotNegativeLength | None = None
    """Gap left to a wall, panel or appliance; left out: the shop's clearance for it"""
    shape: Literal["as-found", "straight"] = "as-found"
    """As found follows the measured profile; straight leaves gaps, the largest of which is shown"""
    align: AlignSpec | None = None
    side_of: Annotated[str, Field(pattern=r"^[^/]+/(left|right)$")] | None = None
    """Let the edge be one side of an opening, ``"range/left"``: the stone that lies left of the opening ends there"""

    @model_validator(mode="after")
    def _one_rule(self) -> PieceEdgeSpec:
        if self.overhang is not None and self.clearance is not None:
            raise ValueError("an edge has either an overhang (outwards) or a clearance (inwards), not both")
        if self.side_of is not None and (self.align is not None or self.shape == "straight"):
            raise ValueError("an edge that is the side of an opening is placed by the opening; leave align and shape out")
        return self


class CornerSpec(Section):
    """One corner of a piece."""

    kind: Literal["sharp", "rounded", "clipped"] = "sharp"
    """What is done to the corner"""
    radius: PositiveLength | None = None
    """Of a rounded corner"""
    clip: PositiveLength | None = None
    """Length cut off along both edges of a clipped corner"""

    @model_validator(mode="after")
    def _sizes(self) -> CornerSpec:
        if (self.radius is not None) != (self.kind == "rounded") or (self.clip is not None) != (self.kind == "clipped"):
            raise ValueError("a rounded corner needs `radius`, a clipped one `clip`, a sharp one neither")
        return self


class AlongSpec(Section):
    """A place along a run: exactly one of ``between``, ``mark``, ``loop`` or ``edge`` with ``distance``."""

    between: tuple[Name, Name] | None = None
    """Halfway between two measured edges, such as the two panels beside a range"""
    mark: Name | None = None
    """Where a measured line (a tape mark traced as an edge) crosses the run"""
    loop: Name | None = None
    """Middle of a loop, such as the outline of a sink cabinet"""
    edge: Name | None = None
    """Counted from this edge ..."""
    distance: Length | None = None
    """... by this distance, to the side on which the piece lies"""

    @model_validator(mode="after")
    def _one_way(self) -> AlongSpec:
        given = [self.between, self.mark, self.loop, self.edge]
        if sum(g is not None for g in given) != 1 or (self.edge is None) != (self.distance is None):
            raise ValueError("give exactly one of `between`, `mark`, `loop`, or `edge` together with `distance`")
        return self


class OpeningSpec(Section):
    """A gap in the run for an appliance that stands on the floor, such as a range."""

    id: Name
    """Name of your choice, without a slash"""
    run: Name
    """The front edge along which the opening lies"""
    width: PositiveLength
    """Width of the place the appliance takes, from the maker's sheet; the stones keep the clearance from it on both sides"""
    along: AlongSpec
    """Where along the run"""
    appliance: PositiveLength | None = None
    """Width of the appliance itself, from the maker's sheet, to check that it goes in"""
    clearance: NotNegativeLength | None = None
    """On each side, from the maker's sheet; left out: the shop's appliance clearance"""
    square_to: Name | None = None
    """Edge to which its sides are square; left out: the run"""
    depth: PositiveLength | None = None
    """How deep it reaches behind the finished front; left out: through to the wall"""
    radius: PositiveLength | None = None
    """Inside corners of an opening that stops before the wall; left out: the shop's inside radius"""
    pieces: list[Name] | None = None
    """Pieces it cuts; left out: every piece it meets"""


class ApplianceSpec(Section):
    """An appliance below the counter that seams must keep away from and that leaves the stone unsupported."""

    id: Name
    """Name of your choice, without a slash"""
    kind: Literal["dishwasher", "other"] = "dishwasher"
    """What it is"""
    run: Name
    """The front edge under which it stands"""
    along: AlongSpec
    """Where along the run"""
    width: PositiveLength = 24 * INCH_MM
    """Of the place it takes"""


class HoleSpec(Section):
    """A drilled hole beside a cut-out: faucet, soap, air gap."""

    diameter: PositiveLength = 35.0
    """Of the hole"""
    across: Length = 0.0
    """From the middle of the cut-out, to the right as seen from the room"""
    behind: Length = 60.0
    """Behind the rear of the cut-out, to the hole's centre"""


class CutoutSpec(Section):
    """A hole within a piece for a sink, a cooktop or anything else, by size or from the maker's DXF."""

    id: Name
    """Name of your choice, without a slash"""
    kind: Literal["sink", "cooktop", "other"] = "sink"
    """What goes in"""
    run: Name
    """The front edge it is set back from"""
    along: AlongSpec
    """Where along the run"""
    setback: PositiveLength
    """From the finished front of the stone to the front of the cut-out"""
    width: PositiveLength | None = None
    """Along the run"""
    depth: PositiveLength | None = None
    """Away from the room"""
    radius: NotNegativeLength = 0.0
    """Of its corners"""
    file: str | None = None
    """The maker's DXF, path relative to the job folder, drawn as seen from above with its front towards -y"""
    file_unit: Literal["mm", "in"] | None = None
    """Only where the file states none"""
    file_layer: str | None = None
    """Only what lies on this layer of the file"""
    square_to: Name | None = None
    """Edge it is square to; left out: the run"""
    holes: list[HoleSpec] = []

    @model_validator(mode="after")
    def _size_or_file(self) -> CutoutSpec:
        sized = self.width is not None and self.depth is not None
        if sized == (self.file is not None) or (self.width is None) != (self.depth is None):
            raise ValueError("a cut-out needs either `width` and `depth`, or the maker's `file`")
        if self.file is None and (self.file_unit is not None or self.file_layer is not None):
            raise ValueError("`file_unit` and `file_layer` say how a `file` is read; there is none")
        return self


class PostSpec(Section):
    """A post, pipe or column that passes through the stone: round or rectangular, by place or as a measured loop."""

    id: Name
    """Name of your choice, without a slash"""
    loop: Name | None = None
    """Measured outline of the post"""
    run: Name | None = None
    """The front edge it is set back from"""
    along: AlongSpec | None = None
    """Where along the run"""
    setback: Length | None = None
    """From the finished front to the centre of the post"""
    diameter: PositiveLength | None = None
    """Of a round post"""
    width: PositiveLength | None = None
    """Of a rectangular post, along the run"""
    depth: PositiveLength | None = None
    """Of a rectangular post, away from the room"""
    clearance: NotNegativeLength = 3.0
    """Gap all round"""

    @model_validator(mode="after")
    def _place(self) -> PostSpec:
        if self.loop is not None:
            if any(v is not None for v in (self.run, self.along, self.setback, self.diameter, self.width, self.depth)):
                raise ValueError("a post measured as a loop needs no other place or size")
            return self
        if self.run is None or self.along is None or self.setback is None:
            raise ValueError("a post needs `loop`, or `run`, `along` and `setback`")
        if (self.diameter is not None) == (self.width is not None) or (self.width is None) != (self.depth is None):
            raise ValueError("a post needs either `diameter`, or `width` and `depth`")
        return self


class SeamSpec(Section):
    """A joint that cuts a piece in two: across a run at a place, or from an inside corner."""

    id: Name
    """Name of your choice, without a slash"""
    run: Name | None = None
    """Edge it starts from and to which it is square ..."""
    along: AlongSpec | None = None
    """... at this place"""
    corner: Annotated[str, Field(pattern=r"^[^/]+/[^/]+$")] | None = None
    """Or from this inside corner ..."""
    towards: Literal["mitre"] | Name = "mitre"
    """... halving the angle, or square to the named edge"""
    joint: NotNegativeLength | None = None
    """Width of the joint; left out: the shop's"""

    @model_validator(mode="after")
    def _one_way(self) -> SeamSpec:
        if (self.corner is None) == (self.run is None) or (self.run is None) != (self.along is None):
            raise ValueError("a seam needs either `run` with `along`, or `corner`")
        return self


class ReceptacleSpec(Section):
    """A receptacle cut-out in a splash."""

    distance: NotNegativeLength
    """From the splash's left end, seen from the room, to the middle of the cut-out"""
    height: NotNegativeLength
    """From the counter's top to the middle of the cut-out"""
    wide: PositiveLength = 2.25 * INCH_MM
    """Width of the cut-out"""
    high: PositiveLength = 3.75 * INCH_MM
    """Height of the cut-out"""


class SplashSpec(Section):
    """An upright piece along an edge: splash, side splash, apron or waterfall panel."""

    id: Name
    """Name of your choice, without a slash"""
    edge: Name
    """Edge of the piece that it stands on"""
    kind: Literal["splash", "side splash", "apron", "waterfall"] = "splash"
    """What it is; a side splash ends at the face of the splash beside it"""
    height: PositiveLength = 4 * INCH_MM
    """Above the counter, of an apron or waterfall below it"""
    thickness: PositiveLength | None = None
    """Left out: that of the material"""
    follow_wall: bool = False
    """The foot follows the measured wall profile (scribed); otherwise straight, with the largest gap shown"""
    receptacles: list[ReceptacleSpec] = []


class PieceSpec(Section):
    """One top, from one loop of the outline; openings and seams may divide it further."""

    id: Name
    """Name of your choice, without a slash"""
    loop: Name
    """The loop of measured edges it is cut from"""
    edges: dict[Name, PieceEdgeSpec] = {}
    corners: dict[str, CornerSpec] = {}
    cutouts: list[CutoutSpec] = []
    posts: list[PostSpec] = []
    seams: list[SeamSpec] = []
    splashes: list[SplashSpec] = []

    @model_validator(mode="after")
    def _unique(self) -> PieceSpec:
        ids = [x.id for x in self.cutouts] + [x.id for x in self.posts]
        ids += [x.id for x in self.seams] + [x.id for x in self.splashes]
        for twice in sorted({i for i in ids if ids.count(i) > 1}):
            raise ValueError(f"two things of piece {self.id!r} are called {twice!r}; give each its own id")
        for name in self.corners:
            if name.count("/") != 1:
                raise ValueError(f"corner {name!r} is not named by its two edges, as in 'front/left'")
        return self


class MaterialSpec(Section):
    """The slab."""

    name: str = "stone"
    """As the shop calls it"""
    kind: Literal["granite", "marble", "quartzite", "engineered quartz", "soapstone", "other"] = "granite"
    """For its weight and its limits"""
    thickness: PositiveLength = 30.0
    """Of the slab"""
    density_kg_m3: Annotated[float, Field(gt=0)] | None = None
    """Left out: a usual value for the kind, on the safe side"""
    slab_length: PositiveLength = 3048.0
    """Of the whole slab"""
    slab_width: PositiveLength = 1778.0
    """Of the whole slab"""
    slab_trim: NotNegativeLength = 25.0
    """Lost at every side of the slab"""


class RulesSpec(Section):
    """Which rules of others apply here; local codes and the maker's sheet prevail over all of them."""

    electrical_edition: Literal[2017, 2020, 2023] | None = None
    """Edition of the electrical code for receptacles; left out: not checked"""
    accessible: bool = False
    """The work surface has to meet accessibility rules"""
    finished_height: PositiveLength | None = None
    """Height of the finished top above the floor, needed for the accessibility figures"""


class ShopSpec(Section):
    """Usual values of the shop, used wherever a piece does not say otherwise."""

    overhang: Length = 1.5 * INCH_MM
    """Of a finished front over the face frame"""
    end_overhang: Length = 0.0
    """Of a finished end over the cabinet's side"""
    wall_clearance: NotNegativeLength = 3.0
    """Between stone and wall (common practice 1/8 in, give or take 1/16)"""
    panel_clearance: NotNegativeLength = 2.0
    """Between stone and panel"""
    appliance_clearance: NotNegativeLength = 0.0
    """Between the side of an appliance's place, measured or set out as an opening, and the stone"""
    joint: NotNegativeLength = INCH_MM / 16
    """Width of a seam"""
    inside_radius: PositiveLength = 3 / 8 * INCH_MM
    """Smallest radius of an inside corner; also used where none is given"""
    tool_radius: NotNegativeLength = 5.0
    """Of the cutter: no inside corner can be tighter"""
    cutout_to_edge: NotNegativeLength = 2 * INCH_MM
    """Stone to be left between a cut-out and an edge"""
    cutout_to_seam: NotNegativeLength = 3 * INCH_MM
    """Stone to be left between a cut-out or hole and a seam"""
    hole_to_edge: NotNegativeLength = INCH_MM
    """Stone to be left between a drilled hole and an edge, a cut-out or another hole"""
    material: MaterialSpec = MaterialSpec()
    rules: RulesSpec = RulesSpec()
    length_unit: Literal["mm", "in", "fraction", "feet"] = "fraction"
    """How inches are written; mm: a job in mm shows none"""
    denominator: Literal[16, 32] = 16
    """Step of the shop's tape: 16 for 1/16 in"""
    profile_tolerance: PositiveLength = 0.1
    """Largest distance of a cut polyline from the measured profile"""


class TemplateSpec(Section):
    """Everything about pieces in one place, as the job file holds it."""

    pieces: list[PieceSpec] = []
    openings: list[OpeningSpec] = []
    appliances: list[ApplianceSpec] = []
    shop: ShopSpec = ShopSpec()

    @model_validator(mode="after")
    def _unique(self) -> TemplateSpec:
        ids = [x.id for x in self.pieces] + [x.id for x in self.openings] + [x.id for x in self.appliances]
        for twice in sorted({i for i in ids if ids.count(i) > 1}):
            raise ValueError(f"two pieces, openings or appliances are called {twice!r}; give each its own id")
        return self
