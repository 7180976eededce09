"""How lengths are written on drawings and in schedules: the job's unit first, every number with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from phototemplate.template.quantities import Quantity
from phototemplate.template.rules import FOOT_MM, POUND_KG
from phototemplate.template.spec import ShopSpec
from phototemplate.units import WITHHELD, LengthUnit, format_length

JobUnit = Literal["mm", "in"]


@dataclass(frozen=True)
class LengthWords:
    """``87 1/2" (2222.5 ±0.3 mm)`` where the job is in inches, ``2222.5 ±0.3 mm (87 1/2")`` where it is in mm.

    U stands beside the mm, because a fraction of an inch is rounded more coarsely than most U.
    """

    first: JobUnit = "mm"
    inches: LengthUnit = "fraction"
    """Decimal inches, fractions, or feet; ``"mm"``: a job in mm shows no inches"""
    denominator: int = 16
    """Step of the shop's tape, 1/16 or 1/32 in"""

    @classmethod
    def of(cls, shop: ShopSpec, unit: JobUnit) -> LengthWords:
        """As a shop writes, in the unit of a job."""
        inches: LengthUnit = "in" if unit == "in" and shop.length_unit == "mm" else shop.length_unit
        return cls(unit, inches, shop.denominator)

    @property
    def unit(self) -> LengthUnit:
        """What sentences are written in."""
        return self.inches if self.first == "in" else "mm"

    def inch(self, mm: float) -> str:
        """Inches alone, with their mark or unit."""
        return format_length(mm, self.inches, self.denominator) + (" in" if self.inches == "in" else "")

    def length(self, mm: float, U_mm: float | None = None) -> str:
        """A length; with its expanded uncertainty where it was measured."""
        metric = f"{mm:.1f} mm"
        if U_mm is not None:
            metric = f"{mm:.1f} ±{U_mm:.1f} mm" if math.isfinite(U_mm) else f"{metric}, U {WITHHELD}"
        if self.inches == "mm":
            return metric
        return f"{self.inch(mm)} ({metric})" if self.first == "in" else f"{metric} ({self.inch(mm)})"

    def quantity(self, q: Quantity, decided: bool = False) -> str:
        """A finished dimension; what was decided or drawn has no uncertainty."""
        return self.length(q.value, None if decided or q.u == 0.0 else q.U)

    def short(self, mm: float) -> str:
        """A small length in the job's unit alone: offsets, radii, gaps."""
        return self.inch(mm) if self.first == "in" else f"{mm:.1f} mm"

    def area(self, mm2: float) -> str:
        """An area in square feet and square metres."""
        metric, feet = f"{mm2 / 1e6:.2f} m2", f"{mm2 / FOOT_MM**2:.1f} sq ft"
        if self.inches == "mm":
            return metric
        return f"{feet} ({metric})" if self.first == "in" else f"{metric} ({feet})"

    def weight(self, kg: float) -> str:
        """A weight in pounds and kilograms."""
        metric, pounds = f"{kg:.0f} kg", f"{kg / POUND_KG:.0f} lb"
        if self.inches == "mm":
            return metric
        return f"{pounds} ({metric})" if self.first == "in" else f"{metric} ({pounds})"

    @property
    def note(self) -> str:
        """What a drawing says of its numbers."""
        if self.inches == "mm":
            return "All numbers are in mm."
        step = "thousandths" if self.inches == "in" else f"1/{self.denominator}"
        if self.first == "in":
            return f"Numbers are in inches to the nearest {step}, mm in brackets; the mm are what was measured."
        return f"Numbers are in mm, inches to the nearest {step} in brackets."
