"""The level map: how high every sheet lies over the plane of the cabinet tops."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup

from phototemplate.model import HeightPoint, Measurement, WorkPlane
from phototemplate.output.constants import FULL_COLOUR_MM, LEAST_SHOWN_MM, NEGLIGIBLE_MM
from phototemplate.output.report.marks import fmt, label, signed, title
from phototemplate.output.report.plan import PlanView, plain_outline, scale_bar, stretches, to_plan
from phototemplate.output.report.topview import PlanPicture
from phototemplate.units import format_U


@dataclass(frozen=True)
class CabinetLevel:
    """One cabinet in the table."""

    name: str
    places: int
    low_mm: float
    high_mm: float
    U_mm: float
    """Largest of its places"""

    @property
    def sentence(self) -> str:
        """What to do with it."""
        middle = 0.5 * (self.low_mm + self.high_mm)
        tilt = self.high_mm - self.low_mm
        if max(abs(self.low_mm), abs(self.high_mm)) <= max(self.U_mm, NEGLIGIBLE_MM):
            return f"Level with the others within {max(abs(self.low_mm), abs(self.high_mm), LEAST_SHOWN_MM):.1f} mm."
        if tilt > 2 * self.U_mm and tilt > 1.0:
            return f"Out of level by {tilt:.1f} mm from place to place."
        if abs(middle) <= max(self.U_mm, NEGLIGIBLE_MM):
            return f"Even with the others on the whole, {tilt:.1f} mm from place to place."
        if middle < 0:
            return f"Low: shim by about {-middle:.1f} mm (shim list with the pieces)."
        return f"High by about {middle:.1f} mm: lower it, or shim the others."


def over_levels(plane: WorkPlane) -> tuple[HeightPoint, ...]:
    """The sheets' heights over the level that each lies on."""
    up = {one.name: one.height_mm for one in plane.levels[1:]}
    return tuple(replace(h, height_mm=h.height_mm - up.get(h.level, 0.0)) for h in plane.heights)


def level_map(measurement: Measurement) -> PlanPicture | None:
    """Discs at the sheets, coloured and marked by height over their level; None without heights."""
    heights = over_levels(measurement.work_plane)
    if not heights:
        return None
    outline = measurement.outline
    places = to_plan(outline, np.array([h.xy_mm for h in heights]))
    shown = np.vstack([places, *(s.xy_mm for s in stretches(outline, 9))])
    view = PlanView.around(shown, 160.0, 640.0)
    parts = [plain_outline(outline, view)]
    for xy, height in zip(view.at(places), heights, strict=True):
        parts.append(_disc(float(xy[0]), float(xy[1]), height))
    parts.append(scale_bar(view))
    return PlanPicture(Markup("").join(parts), view.width, view.height)


def _disc(x: float, y: float, place: HeightPoint) -> Markup:
    """Upward mark for high, downward for low, a ring where it cannot be told from level."""
    big_u = 2.0 * place.u_mm
    strength = min(abs(place.height_mm) / FULL_COLOUR_MM, 1.0)
    if abs(place.height_mm) <= big_u:
        css, shape = "level-even", f"M{fmt(x - 9)} {fmt(y)}a9 9 0 1 0 18 0a9 9 0 1 0 -18 0"
    elif place.height_mm > 0:
        css, shape = "level-high", f"M{fmt(x)} {fmt(y - 11)}l11 19h-22z"
    else:
        css, shape = "level-low", f"M{fmt(x)} {fmt(y + 11)}l11 -19h-22z"
    where = f"{place.name}{f' on {place.group}' if place.group else ''}"
    tip = title(f"{where}: {signed(place.height_mm, 2)} mm, U {format_U(big_u, 2, ' mm')}")
    return (
        Markup('<path class="{}" d="{}" fill-opacity="{}">{}</path>').format(css, shape, fmt(0.25 + 0.75 * strength, 2), tip)
        + label(x, y - 16, signed(place.height_mm), "level-text")
        + label(x, y + 24, place.name, "sheet-name")
    )


def cabinet_levels(heights: tuple[HeightPoint, ...]) -> list[CabinetLevel]:
    """Per cabinet lowest and highest place; sheets of no cabinet are left out."""
    out = []
    for name in dict.fromkeys(h.group for h in heights if h.group):
        mine = [h for h in heights if h.group == name]
        values = [h.height_mm for h in mine]
        out.append(CabinetLevel(name, len(mine), min(values), max(values), 2.0 * max(h.u_mm for h in mine)))
    return out
