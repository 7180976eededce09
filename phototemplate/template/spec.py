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
EdgeProfile = Literal[
    "square", "eased", "beveled", "quarter round", "half bullnose", "full bullnose", "ogee", "cove", "chiseled"
]  # fmt: skip
"""Profiles of finished edges as the trade calls them"""


class AlignSpec(Section):
    """Make an edge parallel or square to another, or put it in line with it; how far it moves is always shown."""

    to: Name
    """The edge that stays"""
    how: Literal["parallel", "square", "in-line"] = "parallel"
    """To the finished line of that edge"""
    hold: Literal["start", "middle", "end"] = "middle"
    """Which place of the edge stays where it is (not for in-line); start and end as the piece runs anticlockwise"""


class BuildUpSpec(Section):
    """Lets a finished edge look thicker than the slab; the strips it takes are pieces of their own."""

    kind: Literal["mitred", "stacked"] = "mitred"
    """Mitred: a strip hangs from the edge, both cut at 45 degrees. Stacked: strips are glued flat beneath the edge"""
    height: PositiveLength
    """Of the finished face, the top's own thickness included; of stacked strips a multiple of the thickness"""
    width: PositiveLength = 2 * INCH_MM
    """Of a stacked strip, from the face inwards"""


class PieceEdgeSpec(Section):
    """One edge of a piece. What is left out follows from the kind of the measured edge."""

    finish: EdgeFinish | None = None
    """Left out: front, end and other edges finished, walls to wall, panels to panel, sides of openings to appliance"""
    overhang: Length | None = None
    """Beyond the measured edge, to the outside; left out: the shop's overhang, on straight ends the shop's end overhang"""
    clearance: NotNegativeLength | None = None
    """Gap left to a wall, panel or appliance; left out: the shop's clearance for it"""
    profile: EdgeProfile | None = None
    """Of a finished edge; left out: the shop's"""
    build_up: BuildUpSpec | None = None
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
    """A place along a run: exactly one of ``between``, ``mark``, ``centre``, ``loop`` or ``edge`` with ``distance``."""

    between: tuple[Name, Name] | None = None
    """Halfway between two measured edges, such as the two panels beside a range"""
    mark: Name | None = None
    """Where a measured line (a tape mark traced as an edge) crosses the run"""
    centre: Name | None = None
    """On a centre line of the job, such as that of the sink cabinet"""
    loop: Name | None = None
    """Middle of a loop, such as the outline of a sink cabinet"""
    edge: Name | None = None
    """Counted from this edge ..."""
    distance: Length | None = None
    """... by this distance, to the side on which the piece lies"""

    @model_validator(mode="after")
    def _one_way(self) -> AlongSpec:
        given = [self.between, self.mark, self.centre, self.loop, self.edge]
        if sum(g is not None for g in given) != 1 or (self.edge is None) != (self.distance is None):
            raise ValueError("give exactly one of `between`, `mark`, `centre`, `loop`, or `edge` together with `distance`")
        return self


class CentreLineSpec(Section):
    """Centre line of a cabinet, drawn across the stone; cut-outs and appliances can be set out from it."""

    id: Name
    """Name of your choice, without a slash"""
    run: Name
    """The front edge of the cabinet"""
    along: AlongSpec
    """Where along the run"""


class MakerSheetSpec(Section):
    """What the maker's sheet of an appliance, sink or cooktop asks for; the sheet itself prevails."""

    id: Name
    """Name of your choice, without a slash"""
    title: str = ""
    """Number and date of the sheet, for whoever looks it up"""
    width: PositiveLength | None = None
    """Of the appliance or bowl"""
    depth: PositiveLength | None = None
    """Of the appliance or bowl"""
    left: NotNegativeLength = 0.0
    """Clearance on the left as seen from the room, to stone, panel or wall"""
    right: NotNegativeLength = 0.0
    """Clearance on the right"""
    back: NotNegativeLength = 0.0
    """Clearance behind"""
    above: NotNegativeLength = 0.0
    """Clearance above, to hood or wall cabinet; not checked, printed with the piece"""
    below: NotNegativeLength = 0.0
    """Clearance beneath the stone; not checked, printed with the piece"""
    cutout_width: PositiveLength | None = None
    """Of the cut-out that it asks for"""
    cutout_depth: PositiveLength | None = None
    """Of the cut-out that it asks for"""
    cutout_radius: NotNegativeLength = 0.0
    """Of that cut-out's corners"""
    ventilation: str = ""
    """What the sheet says of ventilation, in its own words; not checked, printed with the piece"""


class OpeningSpec(Section):
    """A gap in the run for an appliance that stands on the floor, such as a range."""

    id: Name
    """Name of your choice, without a slash"""
    run: Name
    """The front edge along which the opening lies"""
    width: PositiveLength | None = None
    """Width of the place the appliance takes; the stones keep the clearance from it on both sides. Left out: width and
    clearances of the maker's sheet"""
    sheet: Name | None = None
    """The maker's sheet"""
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

    @model_validator(mode="after")
    def _width_from_somewhere(self) -> OpeningSpec:
        if self.width is None and self.sheet is None:
            raise ValueError("an opening needs its `width`, or the maker's `sheet` that has one")
        return self


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
    sheet: Name | None = None
    """The maker's sheet, which then gives the size of the cut-out"""
    reveal: Length | None = None
    """Sizes are those of the bowl: its rim shows by so much all round; zero: flush; negative: the stone reaches over it"""
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
        given = [self.width is not None and self.depth is not None, self.file is not None, self.sheet is not None]
        if sum(given) != 1 or (self.width is None) != (self.depth is None):
            raise ValueError("a cut-out needs either `width` and `depth`, or the maker's `file` or `sheet`")
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
    """From the left end of the splashes along the edge, seen from the room, to the middle of the cut-out"""
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
    kind: Literal["splash", "side splash", "apron", "waterfall", "strip"] = "splash"
    """What it is; a side splash ends at the face of the splash beside it, a strip is glued flat beneath the edge"""
    height: PositiveLength = 4 * INCH_MM
    """Above the counter; of an apron or waterfall below the underside of the top; of a strip its width"""
    thickness: PositiveLength | None = None
    """Left out: that of the material"""
    joint: Literal["butt", "mitred"] = "butt"
    """Of an apron or waterfall with the top: under it, or both cut at 45 degrees, so that no joint shows on either face"""
    grain_runs_on: bool | None = None
    """The pattern of the top runs on over the joint; left out: on a mitred waterfall"""
    follow_wall: bool = False
    """The foot follows the measured wall profile (scribed); otherwise straight, with the largest gap shown"""
    receptacles: list[ReceptacleSpec] = []


class DrawnSpec(Section):
    """A shape without photos, by numbers or from a drawing: an island's top, a sample, a repair. It is the stone itself: its
    edges have no overhang or clearance unless given. A piece names it as its ``loop``."""

    id: Name
    """Name of your choice, without a slash; the sides of a rectangle are called ID front, ID right, ID back, ID left"""
    width: PositiveLength | None = None
    """Of a rectangle, along its front ..."""
    depth: PositiveLength | None = None
    """... and away from the room"""
    corners: list[tuple[Length, Length]] | None = None
    """Or its corners in turn: to the right of the first front's left end, and away from the room"""
    file: str | None = None
    """Or a DXF with one closed shape of lines and arcs, path relative to the job folder"""
    file_unit: Literal["mm", "in"] | None = None
    """Only where the file states none"""
    file_layer: str | None = None
    """Only what lies on this layer of the file"""
    edges: list[Name] | None = None
    """Names of the sides, anticlockwise from the first corner on"""
    kinds: list[Literal["front", "end", "wall", "panel", "other"]] | None = None
    """What the sides are, in the same order; left out: fronts"""

    @model_validator(mode="after")
    def _one_way(self) -> DrawnSpec:
        given = (self.width, self.corners, self.file)
        if sum(x is not None for x in given) != 1 or (self.width is None) != (self.depth is None):
            raise ValueError("a drawn shape needs either `width` and `depth`, or `corners`, or a `file`")
        if self.corners is not None and len(self.corners) < 3:
            raise ValueError("a drawn shape needs three `corners` or more")
        return self


class PieceSpec(Section):
    """One top, from one loop of the outline; openings and seams may divide it further."""

    id: Name
    """Name of your choice, without a slash"""
    loop: Name
    """The loop of measured edges, or the drawn shape, it is cut from"""
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


class SitePhotoSpec(Section):
    """A photo of the site that belongs to a place, such as a pipe, a socket or damage; it is printed with the drawings."""

    file: str
    """The picture, path relative to the job folder"""
    at: str
    """Edge, corner \"front/left\" or piece it belongs to"""
    note: str = ""
    """What there is to see"""


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
    profile: EdgeProfile = "eased"
    """Of finished edges"""
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
    drawn: list[DrawnSpec] = []
    centre_lines: list[CentreLineSpec] = []
    openings: list[OpeningSpec] = []
    appliances: list[ApplianceSpec] = []
    maker_sheets: list[MakerSheetSpec] = []
    site_photos: list[SitePhotoSpec] = []
    shop: ShopSpec = ShopSpec()

    @model_validator(mode="after")
    def _unique(self) -> TemplateSpec:
        ids = [x.id for x in self.pieces] + [x.id for x in self.openings] + [x.id for x in self.appliances]
        ids += [x.id for x in self.centre_lines]
        ids += [f"shape {x.id}" for x in self.drawn] + [f"sheet {x.id}" for x in self.maker_sheets]
        for twice in sorted({i for i in ids if ids.count(i) > 1}):
            raise ValueError(f"two pieces, openings, appliances or centre lines are called {twice!r}; give each its own id")
        lines, sheets = {x.id for x in self.centre_lines}, {x.id for x in self.maker_sheets}
        placed: list[OpeningSpec | ApplianceSpec | CutoutSpec] = [*self.openings, *self.appliances]
        placed += [c for p in self.pieces for c in p.cutouts]
        for one in placed:
            if one.along.centre is not None and one.along.centre not in lines:
                raise ValueError(f"{one.id!r} stands on centre line {one.along.centre!r}, which does not exist")
            if not isinstance(one, ApplianceSpec) and one.sheet is not None and one.sheet not in sheets:
                raise ValueError(f"{one.id!r} names maker's sheet {one.sheet!r}, which does not exist")
        for line in self.centre_lines:
            if line.along.centre is not None:
                raise ValueError(f"centre line {line.id!r} cannot stand on a centre line; say where along the run it is")
        self.resolved()
        return self

    def resolved(self) -> TemplateSpec:
        """The same with the sizes that makers' sheets give written where they are used.

        Raises ValueError where a sheet lacks the size that it is named for.
        """
        openings, pieces = [], []
        for o in self.openings:
            sheet = self.sheet(o.sheet)
            if sheet is not None:
                if o.width is None and sheet.width is None:
                    raise ValueError(f"maker's sheet {sheet.id!r} of opening {o.id!r} has no `width`")
                room = max(sheet.left, sheet.right) if o.clearance is None else o.clearance
                o = o.model_copy(update={"width": o.width or sheet.width, "clearance": room,
                                         "appliance": o.appliance or sheet.width})
            openings.append(o)
        for p in self.pieces:
            cutouts = []
            for c in p.cutouts:
                sheet = self.sheet(c.sheet)
                if sheet is not None:
                    if sheet.cutout_width is None or sheet.cutout_depth is None:
                        raise ValueError(f"maker's sheet {sheet.id!r} of cut-out {c.id!r} has no `cutout_width` or no "
                                         "`cutout_depth`")
                    c = c.model_copy(update={"width": sheet.cutout_width, "depth": sheet.cutout_depth,
                                             "radius": c.radius or sheet.cutout_radius})
                cutouts.append(c)
            pieces.append(p.model_copy(update={"cutouts": cutouts}))
        return self.model_copy(update={"openings": openings, "pieces": pieces})

    def sheet(self, name: str | None) -> MakerSheetSpec | None:
        """The maker's sheet of that name."""
        return next((s for s in self.maker_sheets if s.id == name), None)
