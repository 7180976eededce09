"""``estimate.toml``: what was clicked in a customer's photos, beside the photos.

::

    [[photos]]
    file = "IMG_0001.jpg"
    points = { a = [512, 1730], b = [3620, 1688], c = [3301, 1102], d = [801, 1130] }
    straight = [[[40, 420], [1300, 310], [2600, 330], [3980, 455]]]   # along a wall cupboard, a door frame, a row of tiles
    [[photos.known]]
    kind = "A4"                    # or Letter, card (payment card), or size = ["300 mm", "200 mm"]
    corners = [[1900, 1400], [2210, 1395], [2225, 1510], [1890, 1515]]
    height = "1.5 in"              # left out where it lies level with the clicked corners

    [[lengths]]
    from = "a"
    to = "b"
    value = "96 in"

    [[runs]]                       # corners in order round one top; edge k runs from corner k to the next
    id = "run"
    corners = ["a", "b", "c", "d"]
    edges = [{ id = "front", kind = "front" }, { id = "right", kind = "end" }, { id = "back", kind = "wall" }, ...]

    [[pieces]] and [shop]          # as in job.toml; left out: one piece per run, usual values of the shop
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import Field, model_validator

from phototemplate.constants import ESTIMATE_FILE
from phototemplate.errors import InputError
from phototemplate.model import EdgeKind, GrayImage, PhotoMeta
from phototemplate.settings import Section
from phototemplate.studies.clicked_problem import ClickedLoop, ClickedPhoto, KnownThing, StraightLine, TapeLength
from phototemplate.studies.constants import (
    CLICK_U_SHARE,
    CUSTOMER_TAPE_U_MM,
    HALO_U_PX,
    LEAST_MAYBE,
    UNREFINED_U_SHARE,
    WEAK_SIZES,
)
from phototemplate.studies.known_sizes import KnownSize, known_size, refine_corners
from phototemplate.template.spec import Name, PieceSpec, PositiveLength, ShopSpec, TemplateSpec
from phototemplate.toml_file import read_toml, write_toml
from phototemplate.units import Length
from phototemplate.wording.phrases import Phrase, called

Pixel = tuple[float, float]


APPLIANCES = ("dishwasher", "range")


class KnownClicks(Section):
    """A thing of known size in one photo."""

    kind: str = ""
    name: str = ""
    """Left out: the kind; give different names to two sheets of one kind"""
    size: tuple[PositiveLength, PositiveLength] | None = None
    corners: Annotated[list[Pixel], Field(min_length=4, max_length=4)]
    """In order round it"""
    height: PositiveLength | None = None
    """Of what it lies on over the clicked corners; the same in all photos"""
    maybe: dict[str, float] = {}
    """Probability of every kind that it may be, while nobody has said what it is"""
    refine: bool = True
    """Move the clicked corners onto the sides seen in the photo"""

    def known(self) -> KnownSize:
        """Its size."""
        if self.size is not None:
            return KnownSize(self.name or "thing", max(self.size), min(self.size), 1.0, "given")
        return known_size(self.kind)


class PhotoClicks(Section):
    """Clicks in one photo, px of the stored picture."""

    file: str
    points: dict[Name, Pixel] = {}
    known: list[KnownClicks] = []
    straight: list[Annotated[list[Pixel], Field(min_length=3)]] = []
    """Clicks along things that are straight in the world, each from end to end; the further from the middle, the better"""
    proposed: list[Name] = []
    """Points that the program found and nobody has looked at"""


class GivenLength(Section):
    """A length from the customer."""

    from_: Name = Field(alias="from")
    to: Name
    value: PositiveLength | None = None
    usual: str | None = None
    """Instead of a value: dishwasher, range or counter depth"""
    u: PositiveLength | None = None

    @model_validator(mode="after")
    def _one(self) -> GivenLength:
        if (self.value is None) == (self.usual is None):
            raise ValueError("a length needs either `value` or `usual`")
        if self.usual is not None and self.usual not in WEAK_SIZES:
            raise ValueError(f"`usual` can be {', '.join(WEAK_SIZES)}, not {self.usual!r}")
        return self


class RunEdge(Section):
    """One edge of a run."""

    id: Name
    kind: EdgeKind


class RunClicks(Section):
    """One top."""

    id: Name
    corners: Annotated[list[Name], Field(min_length=3)]
    edges: list[RunEdge]
    not_square: list[Name] = []
    """Corners that are not about square"""

    @model_validator(mode="after")
    def _as_many(self) -> RunClicks:
        if len(self.edges) != len(self.corners):
            raise ValueError(f"run {self.id!r} has {len(self.corners)} corners and {len(self.edges)} edges; it needs as many")
        return self


class OldTop(Section):
    """A top that is still in place, to whose edges the clicked corners belong."""

    overhang: Length | None = None
    """Of its front beyond the cabinets; left out: the new top is made as large as the old one"""
    end_overhang: Length | None = None
    """The same at its open ends"""


class EstimateFile(Section):
    """See the module's text."""

    name: str = ""
    photos: list[PhotoClicks]
    lengths: list[GivenLength] = []
    runs: list[RunClicks] = []
    pieces: list[PieceSpec] = []
    shop: ShopSpec = ShopSpec()
    old_top: OldTop | None = None
    """The corners are those of a top that is still there"""

    def template_spec(self) -> TemplateSpec:
        """Pieces and shop; over an old top the overhang that is there already is taken off."""
        if self.old_top is None:
            return TemplateSpec(pieces=self.pieces, shop=self.shop)
        there = self.old_top
        more = 0.0 if there.overhang is None else self.shop.overhang - there.overhang
        more_end = 0.0 if there.end_overhang is None else self.shop.end_overhang - there.end_overhang
        return TemplateSpec(pieces=self.pieces, shop=self.shop.model_copy(update={"overhang": more, "end_overhang": more_end}))

    def assumed(self) -> tuple[tuple[str, str], ...]:
        """(what, value) of what nobody measured or nobody has looked at, for the quote."""
        rows: list[tuple[str, str]] = []
        if self.old_top is not None:
            rows.append((Phrase("old-top"), Phrase("as-old" if self.old_top.overhang is None else "old-measured")))
        for name, kinds in self.doubts().items():
            rows.append((name, Phrase("not-sure", kinds=[f"{n} {100.0 * p:.0f} %" for n, p in kinds.items()])))
        unseen = sum(len(p.proposed) for p in self.photos)
        if unseen:
            rows.append((Phrase("corners"), Phrase("unseen-corners", n=unseen)))
        return tuple(rows)

    def loops(self) -> list[ClickedLoop]:
        """Runs for ``clicked.fit_clicked``."""
        return [
            ClickedLoop(
                r.id, tuple(r.corners), tuple((e.id, e.kind) for e in r.edges), tuple(c not in r.not_square for c in r.corners)
            )
            for r in self.runs
        ]

    def doubts(self) -> dict[str, dict[str, float]]:
        """Things of which nobody has said what they are: name -> probability of every kind.

        Of several photos the mean of the logarithms counts: they share a lens that nobody knows, and the same prior.
        """
        logs: dict[str, list[dict[str, float]]] = {}
        for k in (k for p in self.photos for k in p.known if k.maybe):
            logs.setdefault(k.name or k.kind or "thing", []).append(k.maybe)
        out = {}
        for name, seen in logs.items():
            kinds = {kind for one in seen for kind in one}
            mean = {kind: sum(math.log(max(one.get(kind, 0.0), LEAST_MAYBE)) for one in seen) / len(seen) for kind in kinds}
            whole = sum(math.exp(v) for v in mean.values())
            likely = {kind: math.exp(v) / whole for kind, v in mean.items() if math.exp(v) > LEAST_MAYBE * whole}
            if len(likely) > 1:
                out[name] = dict(sorted(likely.items(), key=lambda item: -item[1]))
        return out

    def landmarks(self) -> dict[tuple[str, str], list[str]]:
        """What the corner between two edges is found by: an appliance beside it, the first photo it was clicked in."""
        out: dict[tuple[str, str], list[str]] = {}
        for run in self.runs:
            for k, corner in enumerate(run.corners):
                beside = [Phrase("beside", thing=called("thing", x.usual)) for x in self.lengths
                          if corner in (x.from_, x.to) and x.usual in APPLIANCES]
                shown = [Phrase("see-photo", n=n + 1, file=p.file) for n, p in enumerate(self.photos) if corner in p.points]
                out[run.edges[k - 1].id, run.edges[k].id] = [*beside[:1], *shown[:1]]
        return out

    def tape_lengths(self) -> list[TapeLength]:
        """Lengths, measured and usual."""
        out = []
        for length in self.lengths:
            if length.usual is not None:
                value, u = WEAK_SIZES[length.usual]
                out.append(TapeLength(length.from_, length.to, value, length.u or u, True))
            else:
                out.append(TapeLength(length.from_, length.to, float(length.value or 0.0), length.u or CUSTOMER_TAPE_U_MM))
        return out

    def clicked(self, photos: Mapping[str, PhotoMeta], gray: Callable[[str], GrayImage]) -> list[ClickedPhoto]:
        """Clicks with the photos they belong to; known things are refined to their sides.

        Raises ``InputError`` for a photo that is not there or a click outside of it.
        """
        by_name = {m.path.name: m for m in photos.values()} | dict(photos)
        out = []
        for p in self.photos:
            if p.file not in by_name:
                raise InputError(f"{ESTIMATE_FILE} names the photo {p.file}, which is not in the job; correct its name.")
            meta = by_name[p.file]
            clicks = [*p.points.values(), *(c for k in p.known for c in k.corners), *(c for line in p.straight for c in line)]
            if any(not (0 <= x < meta.size_px[0] and 0 <= y < meta.size_px[1]) for x, y in clicks):
                turned = " as it is stored; viewers show it turned" if meta.orientation > 1 else ""
                size = f"{meta.size_px[0]} x {meta.size_px[1]} px{turned}"
                raise InputError(f"A click in {p.file} lies outside the picture of {size}.")
            things = []
            for k in p.known:
                corners, u = np.array(k.corners, float), np.full(4, UNREFINED_U_SHARE * max(meta.size_px))
                if k.refine:
                    corners, u = refine_corners(gray(meta.photo_id), corners)
                halo = HALO_U_PX if k.refine else 0.0
                name = k.name or k.kind or "thing"
                things.append(KnownThing(name, k.known(), corners, u, float(k.height or 0.0), halo))
            points = {name: np.array(xy, float) for name, xy in p.points.items()}
            lines = tuple(StraightLine(np.array(line, float), CLICK_U_SHARE * max(meta.size_px)) for line in p.straight)
            out.append(ClickedPhoto(meta, points, tuple(things), straight=lines))
        return out


def read_estimate_file(path: Path) -> EstimateFile:
    """Read ``estimate.toml``. Raises ``InputError`` with the place of the first fault."""
    return read_toml(path, EstimateFile)


def write_estimate_file(path: Path, file: EstimateFile) -> None:
    """Write ``estimate.toml``; comments of what did not change stay. Raises ``OutputError``; the earlier file stays."""
    write_toml(path, file)
