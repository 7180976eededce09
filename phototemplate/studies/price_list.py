"""A shop's price list: TOML, every price the user's own.

:data:`COMMENTED` is a whole list with a comment on every line; ``phototemplate prices new`` writes it and ``prices check``
reads a list and says what it makes of a sample job. Nothing is guessed: a price that is missing is asked for by name, and what
could mean two things is refused.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from phototemplate.atomic import write_text_atomic
from phototemplate.errors import InputError
from phototemplate.settings import Section
from phototemplate.studies.constants import AREA_MM2, LENGTH_MM
from phototemplate.toml_file import read_toml

Money = Annotated[float, Field(ge=0)]
Percent = Annotated[float, Field(ge=0, le=100)]

COMMENTED = """\
# Price list. Change every number: these are invented. Lines with # are comments. Check it with: phototemplate prices check FILE
currency = "USD"
area_unit = "ft2"        # or "m2": what [area] and [removal] per_area count
length_unit = "ft"       # or "m": what [edge] and [splash] count
distance_unit = "mi"     # or "km": what [delivery] counts

discount_percent = 0     # off everything below, before the minimum
minimum = 900            # the least a job costs, after the discount and before tax
tax_percent = 8.25
round_to = 1             # the total is rounded to a multiple of this; 0 leaves it as it is

[area]                   # stones charged by area; a stone stands here or in [slab], never in both
"granite, 3 cm" = 68

[waste_percent]          # so much more area is charged for a stone of [area]; left out: none
"granite, 3 cm" = 12

[slab]                   # stones charged by whole slabs
"quartzite, 3 cm" = 1450

[slab_size]              # length x width; left out: as the material in the job file
"quartzite, 3 cm" = "120 x 70 in"

[edge]                   # finished edges, by length; with more than one finish a job has to say which
eased = 9
mitred = 95

[splash]                 # uprights, by length: splash, side splash, apron, waterfall; each counts for those not named
each = 14
waterfall = 120

[cutout]                 # by kind: sink, cooktop, other
sink = 275
cooktop = 225
other = 90

[seam]
each = 120

[removal]                # of an old top, where a job asks for it: each is flat, per_area counts its area
each = 150
per_area = 4

[delivery]               # a job then has to say its distance; floors are counted above the ground
each = 80
free_distance = 15
per_distance = 2.5
per_floor = 40

[fixed]                  # charged with every job, under your own names
"template and fitting" = 350

[shop]                   # what stands on a quote
name = "Sample Stone Shop"
address = ["1 Sample Street", "Sampletown"]
contact = ["555 0100", "shop@example.com"]
language = "en"          # of the quotes: "en" or "de"; your own words below stay as they are
colour = "#1f4e79"
valid_days = 30
included = ["stone, cut and finished", "template on site, delivery and fitting"]
not_included = ["plumbing, gas and electric work", "levelling or mending of cabinets"]
terms = ["Half with the order, the rest after fitting.", "The price is confirmed after the template on site."]
"""


class Shop(Section):
    """What stands on a quote."""

    name: str = ""
    address: list[str] = []
    contact: list[str] = []
    language: Literal["en", "de"] = "en"
    """Of its quotes"""
    colour: Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")] = "#303030"
    valid_days: Annotated[int, Field(gt=0)] = 30
    included: list[str] = []
    not_included: list[str] = []
    terms: list[str] = []


class Removal(Section):
    """Taking an old top away."""

    each: Money = 0.0
    per_area: Money = 0.0


class Delivery(Section):
    """Bringing the stone."""

    each: Money = 0.0
    free_distance: Money = 0.0
    per_distance: Money = 0.0
    per_floor: Money = 0.0


class PriceList(Section):
    """Prices by name; :data:`COMMENTED` says what each table means."""

    currency: Annotated[str, Field(min_length=1)] = "USD"
    area_unit: Literal["ft2", "m2"] = "ft2"
    length_unit: Literal["ft", "m"] = "ft"
    distance_unit: Literal["mi", "km"] = "mi"
    discount_percent: Percent = 0.0
    minimum: Money = 0.0
    tax_percent: Percent = 0.0
    round_to: Money = 0.0
    area: dict[str, Money] = {}
    waste_percent: dict[str, Percent] = {}
    slab: dict[str, Money] = {}
    slab_size: dict[str, str] = {}
    edge: dict[str, Money] = {}
    splash: dict[str, Money] = {}
    cutout: dict[str, Money] = {}
    seam: dict[str, Money] = {}
    removal: Removal | None = None
    delivery: Delivery | None = None
    fixed: dict[str, Money] = {}
    shop: Shop = Shop()

    @model_validator(mode="after")
    def _one_meaning(self) -> PriceList:
        for name in self.area:
            if name in self.slab:
                raise ValueError(f"{name!r} stands in [area] and in [slab]; it is charged by area or by slab: take one out")
        for table, others in (("waste_percent", "area"), ("slab_size", "slab")):
            for name in getattr(self, table):
                if name not in getattr(self, others):
                    raise ValueError(f"[{table}] names {name!r}, which is not in [{others}]; correct the name or take it out")
        return self

    @property
    def stones(self) -> tuple[str, ...]:
        """Every stone, by area or by slab."""
        return (*self.area, *self.slab)

    def price(self, table: str, name: str) -> float:
        """One price. Raises ``InputError`` naming what is missing; no price is ever guessed."""
        prices: Mapping[str, float] = getattr(self, table)
        if name not in prices:
            near = difflib.get_close_matches(name, prices, 1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; it has {', '.join(prices)}." if prices else "."
            raise InputError(f"The price list has no [{table}] {name}, which this job needs{hint} Add it and run again.")
        return prices[name]

    def only(self, table: str, what: tuple[str, str], option: str) -> str:
        """The one name in a table. Raises ``InputError`` where there are several, or none: then somebody has to say which."""
        names = list(getattr(self, table)) if table != "stone" else list(self.stones)
        if len(names) == 1:
            return names[0]
        if not names:
            raise InputError(f"The price list names no {what[0]}; add one to it and run again.")
        raise InputError(f"The price list names several {what[1]} ({', '.join(names)}); say which with {option}.")

    @property
    def per_mm2(self) -> float:
        """Area unit -> 1 / mm2."""
        return 1.0 / AREA_MM2[self.area_unit]

    @property
    def per_mm(self) -> float:
        """Length unit -> 1 / mm."""
        return 1.0 / LENGTH_MM[self.length_unit]


def read_price_list(path: Path) -> PriceList:
    """Read a price list. Raises ``InputError`` with the place of the first fault."""
    return read_toml(path, PriceList)


def new_price_list(path: Path) -> Path:
    """Write :data:`COMMENTED`. Raises ``InputError`` where there is such a file: no list of a shop is written over."""
    if path.exists():
        raise InputError(f"{path} exists already; choose another name, or change that list by hand.")
    write_text_atomic(path, COMMENTED)
    return path


def price_lists(folder: Path) -> dict[str, Path]:
    """Price lists (TOML) in a job's folder and in the folder of jobs, by name."""
    found = [*folder.resolve().parent.glob("*price*.toml"), *folder.glob("*price*.toml")]
    return {p.name: p for p in sorted(found)}
