"""Limits of the trade, each with where it comes from, and the cautions printed with every template.

Figures marked ``common practice`` have no published source here. The stone association's figures were read in restatements
of its design manual, not in the manual itself; so were the electrical and accessibility figures. Nominal sizes warn, they
never replace a measurement. Local codes and the maker's sheet prevail over all of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from phototemplate.template.spec import MaterialSpec
from phototemplate.units import INCH_MM
from phototemplate.wording import phrase

PRACTICE = "common practice"
DESIGN_MANUAL = "Dimension Stone Design Manual (Natural Stone Institute), as restated by the trade press"
NIOSH = "NIOSH revised lifting equation, load constant 23 kg (51 lb) in ideal conditions"
NEC = "NEC 210.52(C), as restated by electricians' forums; local adoption decides"
ADA = "2010 ADA Standards 804.3.2 (public and covered facilities)"

FOOT_MM: Final = 12 * INCH_MM
"""mm. Derived: exact."""
POUND_KG: Final = 0.45359237
"""kg. Source: international avoirdupois pound, exact (NIST Handbook 44, appendix C)."""
CARRY_KG: Final = 23.0
"""kg. What one person lifts in ideal conditions. Source: NIOSH revised lifting equation, load constant."""
TEAM: Final = 4
"""count. More people than this cannot hold a slab at once. Convention: trade."""
LEAST_THICKNESS_MM: Final = 19.0
"""mm. Thinner stone has no figures. Convention: trade, slabs sold as 2 cm."""
FULL_THICKNESS_MM: Final = 29.0
"""mm. From here on the figures of 3 cm hold. Convention: trade, slabs sold as 3 cm."""
DEPTH_OF_OVERHANG: Final = 3.0
"""ratio. Depth of the counter over the largest overhang without support. Convention: trade, a third of the depth."""
FIRST_FT2: Final = 9.0
"""ft2. Of an island, served by the first receptacle. Source: ``NEC``, edition 2020."""
FURTHER_FT2: Final = 18.0
"""ft2. Served by every further one. Source: ``NEC``, edition 2020."""
ACCESSIBLE_HEIGHT_MM: Final = 34 * INCH_MM
"""mm. Highest accessible work surface. Source: 2010 ADA Standards 804.3.2, 34 in (865 mm)."""


@dataclass(frozen=True)
class Density:
    """A usual density, chosen on the heavy side, and its source."""

    kg_m3: float
    source: str


DENSITIES: dict[str, Density] = {
    "granite": Density(2755.0, "172 lb/ft3, upper end of usual granite; ASTM C615 asks for 2,560 at least"),
    "marble": Density(2800.0, "dolomite marble after ASTM C503 (from memory); calcite marble 2,590"),
    "quartzite": Density(2803.0, "175 lb/ft3, trade article"),
    "engineered quartz": Density(2500.0, "2.3 to 2.5 g/cm3 (from memory); the maker's sheet prevails"),
    "soapstone": Density(3076.0, "20 lb/ft2 at 1-1/4 in, trade article"),
    "other": Density(3000.0, "assumed on the heavy side"),
}
"""kg/m3. Usual densities by kind. Source: named beside each; those from memory and the last are assumed."""


def density_kg_m3(material: MaterialSpec) -> float:
    """The given density, or a usual one of the kind."""
    return material.density_kg_m3 or DENSITIES[material.kind].kg_m3


def unsupported_limit_mm(thickness_mm: float, depth_mm: float) -> float:
    """Largest overhang without support: 6 in at 2 cm, 10 in at 3 cm, never more than a third of the depth.

    Between 2 and 3 cm the figure of 2 cm holds; below 2 cm (19 mm) there is no figure and the limit is 0.
    """
    if thickness_mm < LEAST_THICKNESS_MM:
        return 0.0
    limit = 10 * INCH_MM if thickness_mm >= FULL_THICKNESS_MM else 6 * INCH_MM
    return min(limit, depth_mm / DEPTH_OF_OVERHANG)


def span_limit_mm(thickness_mm: float) -> float:
    """Largest span between supports: 2 ft at 2 cm, 3 ft at 3 cm; none below 19 mm."""
    if thickness_mm < LEAST_THICKNESS_MM:
        return 0.0
    return 36 * INCH_MM if thickness_mm >= FULL_THICKNESS_MM else 24 * INCH_MM


FLATNESS: Final = ((4 * FOOT_MM, INCH_MM / 16), (10 * FOOT_MM, INCH_MM / 8))
"""mm, mm. Within the first distance, heights may differ by the second. Source: DESIGN_MANUAL, 1/16 in under a 4 ft straight
edge and 1/8 in across 10 ft."""


def team_for(weight_kg: float) -> int:
    """People that a carry takes at least in ideal conditions; it never means that the carry is safe."""
    return max(math.ceil(weight_kg / CARRY_KG - 1e-9), 1)


def island_receptacles(area_mm2: float, long_mm: float, short_mm: float, edition: int) -> int:
    """Receptacles an island or peninsula must have.

    2017: one from 24 x 12 in on. 2020: one for the first 9 ft2 and one more for every further 18 ft2 or part of it.
    2023: none, but provision for a later one.
    """
    if edition == 2023:
        return 0
    if edition == 2017:
        return 1 if long_mm >= 24 * INCH_MM and short_mm >= 12 * INCH_MM else 0
    square_feet = area_mm2 / FOOT_MM**2
    return 1 + max(math.ceil((square_feet - FIRST_FT2) / FURTHER_FT2 - 1e-9), 0)


def wall_receptacles(length_mm: float) -> int:
    """Receptacles along a stretch of wall counter: from 12 in on, no point farther than 24 in from one."""
    return 0 if length_mm < 12 * INCH_MM else math.ceil(length_mm / (48 * INCH_MM) - 1e-9)


USUAL_DEPTH_MM: Final = (24 * INCH_MM, 27 * INCH_MM)
"""mm. Finished depth of a kitchen counter. Source: trade articles, 25 to 25-1/2 in usual."""
DEEP_COUNTER_MM: Final = 900.0
"""mm. A deeper top is a peninsula or a bar, for which no depth is usual. Convention: trade."""
RANGE_WIDTHS_MM: Final = tuple(w * INCH_MM for w in (20, 24, 30, 36, 48, 60))
"""mm. Nominal widths of ranges. Convention: trade; always the maker's sheet."""
USUAL_ROOM_MM: Final = INCH_MM / 4
"""mm. Openings are usually made up to this much wider than the nominal width. Convention: trade; always the maker's sheet."""
OPENING_ROOM_MM: Final = INCH_MM / 32
"""mm. Room on each side below which an opening as wide as the nominal width is pointed out. Convention: trade; always the
maker's sheet."""

CAUTION_CODES: Final = ("caution-dust", "caution-weight", "caution-gas", "caution-overhang", "caution-codes")
CAUTIONS: Final = tuple(phrase(code) for code in CAUTION_CODES)
