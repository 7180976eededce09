"""A shop's price list and what it makes of quantities: TOML, every price the user's own.

::

    currency = "USD"
    area_unit = "ft2"      # or "m2"
    length_unit = "ft"     # or "m"
    minimum = 900          # before tax
    tax_percent = 8.25

    [area]                 # by material
    granite = 68
    [edge]                 # by finish
    eased = 9
    [splash]               # per length
    each = 14
    [cutout]               # by kind
    sink = 275
    [seam]
    each = 120
    [slab]                 # where slabs are charged whole
    granite = 1450
    [fixed]
    "fitting" = 350
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from phototemplate.errors import InputError
from phototemplate.settings import Section
from phototemplate.studies.constants import AREA_MM2, LENGTH_MM

Money = Annotated[float, Field(ge=0)]


class PriceList(Section):
    """See the module's text."""

    currency: str = "USD"
    area_unit: Literal["ft2", "m2"] = "ft2"
    length_unit: Literal["ft", "m"] = "ft"
    minimum: Money = 0.0
    tax_percent: Money = 0.0
    area: dict[str, Money] = {}
    edge: dict[str, Money] = {}
    splash: dict[str, Money] = {}
    cutout: dict[str, Money] = {}
    seam: dict[str, Money] = {}
    slab: dict[str, Money] = {}
    fixed: dict[str, Money] = {}

    def price(self, table: str, name: str) -> float:
        """One price. Raises ``InputError`` naming what is missing; no price is ever guessed."""
        prices: Mapping[str, float] = getattr(self, table)
        if name not in prices:
            near = difflib.get_close_matches(name, prices, 1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; it has {', '.join(prices)}." if prices else "."
            raise InputError(f"The price list has no [{table}] {name}, which this job needs{hint} Add it and run again.")
        return prices[name]

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
    try:
        tree = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as exc:
        raise InputError(f"The price list {path} cannot be read ({exc.strerror}); check its name.") from exc
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as exc:
        raise InputError(f"{path} is not valid TOML: {exc}; mend that line.") from exc
    try:
        return PriceList.model_validate(tree)
    except ValidationError as exc:
        first = exc.errors()[0]
        place = ".".join(str(p) for p in first["loc"])
        what = "is not known here" if first["type"] == "extra_forbidden" else first["msg"].lower()
        raise InputError(f"{path}: `{place}` {what}; the tables are area, edge, splash, cutout, seam, slab and fixed.") from exc
