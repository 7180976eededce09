"""Where on a rounded edge do photos see the step? From there to the outermost line in plan.

A rounding of radius r lies between the line where the top begins to bend, r inside the plan silhouette, and the line where
the face becomes upright, r below. What a photo shows as one step is a mean over the rounding, weighted by how light changes
along it; seen from several places such a mean meets in one line in space, ``inset`` inside the silhouette and ``drop`` below
the top:

* where top and rounding differ in colour (a ply edge over a finished panel) it is the inner line: inset r, drop 0;
* on one material it lies outward and lower, because the rounding is as bright as the top or brighter: inset 0, drop r;
* even shading puts it at the mean of the arc: inset and drop 0.36 r.

The drop tells which: photos from different heights measure the height of the line, and the sheets on the cabinet that of
the top. So the inset is a linear function of the drop, which is what ``intersect`` solves for, and both uncertainties go
through the solution. Light tells only in the extreme: indoors the top of one material is two to fifteen times as light as its
face; where it is thirty times as light there are two materials (:data:`ONE`, :data:`TWO`).

The numbers are those of lines seen with exact cameras on thirty roundings of seven rendered kitchens (0.5 to 0.9 mm radius, 0.3
to 2.5 px/mm, three finishes; insets -0.2 to 1.1 r, drops 0.1 to 1.5 r): least squares of inset on drop, whose slope of -0.6 is
less than that of the chord of the arc (-1), as a regression on what scatters must be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.tracing.constants import (
    ANY,
    FAR_PX,
    LEAST_LEAN,
    LEAST_LIGHT,
    NEAR_PX,
    ONE,
    SEAM,
    TWO,
    UNRESOLVED_BLURS,
)
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.step_position import StepFit, to_light
from phototemplate.model import Array, BoolArray
from phototemplate.settings import EdgeSettings


@dataclass(frozen=True)
class Rounding:
    """Where a step is seen on a rounded edge, mm. All zero: the edge is where the step is."""

    outward: float = 0.0
    """+1 where the room lies to the left of the path, -1 to the right"""
    inner_mm: float = 0.0
    """Inset of a step seen at the height of the top"""
    fall: float = 0.0
    """By how much the inset shrinks per mm of drop"""
    inset_u_mm: float = 0.0
    """Standard uncertainty of the inset for a given drop"""
    drop_mm: float = 0.0
    """Drop expected beforehand"""
    drop_u_mm: float = 0.0


def rounding(settings: EdgeSettings, outward: float, ratio: float = 1.0) -> Rounding:
    """Of an edge that is the outermost line of a cabinet's top; radius and its uncertainty are those of the settings.

    ``ratio`` is that of the light on both sides where the face is seen, nan where it is not. Between the two kinds the mean and
    the variance are those of the mixture.
    """
    two = float(np.nan_to_num(np.clip(np.log(ratio / ONE) / np.log(TWO / ONE), 0.0, 1.0)))
    shares = ((1.0 - two, ANY), (two, SEAM))
    drop = sum(w * k.drop for w, k in shares)
    inset = sum(w * (k.inner - k.fall * k.drop) for w, k in shares)
    fall = sum(w * k.fall for w, k in shares)
    drop_var = sum(w * (k.drop_u**2 + (k.drop - drop) ** 2) for w, k in shares)
    inner = inset + fall * drop
    inset_var = sum(w * (k.scatter**2 + (k.inner - k.fall * k.drop - (inner - fall * k.drop)) ** 2) for w, k in shares)
    r, u = settings.arris_mm, settings.arris_u_mm
    size = r**2 + u**2
    inset_u, drop_u = (inset_var * size + (inner * u) ** 2) ** 0.5, (drop_var * size + (drop * u) ** 2) ** 0.5
    return Rounding(outward, inner * r, fall, inset_u, drop * r, drop_u)


def shows_face(bands: Sequence[Band], outward: float) -> list[bool]:
    """Whether each photo was taken from far enough outside to show what is below the edge."""
    return [bool(np.median(band.lean) * outward > LEAST_LEAN) for band in bands]


def light_ratio(bands: Sequence[Band], fits: Sequence[StepFit], weight: Sequence[Array | BoolArray] | Array) -> float:
    """Light on the lighter side of the line over that on the other: median along the edge, then over photos.

    ``weight`` (P, N): steps with a weight of zero do not count. nan where nothing can be said.
    """
    ratios = []
    for band, fit, used in zip(bands, fits, weight, strict=True):
        rows = np.flatnonzero(used > 0)
        away = band.step_px[None, :] - fit.position_px[rows, None]
        light = to_light(band.grey[rows])
        sides = []
        for side in (-away, away):
            near = (side > NEAR_PX) & (side < FAR_PX) & ~band.covered[rows]
            mean = np.where(near, light, 0.0).sum(axis=1) / np.maximum(near.sum(axis=1), 1)
            sides.append(np.where(near.sum(axis=1) >= 2, np.maximum(mean, LEAST_LIGHT), np.nan))
        change = np.log(sides[0] / sides[1])
        change = change[np.isfinite(change)]
        if len(change) >= 5:
            ratios.append(abs(float(np.median(change))))
    return float(np.exp(np.median(ratios))) if ratios else float("nan")


def unresolved_u_mm(apart_mm: Sequence[float], bands: Sequence[Band], fits: Sequence[StepFit]) -> float:
    """Standard uncertainty of an edge whose step runs into that of a line ``apart_mm`` away.

    Steps nearer than two sigma of the blur pull at each other, and the blur found is that of both: the edge is somewhere within
    half the distance, a rectangular distribution (JCGM 100:2008, 4.3.7).
    """
    if not len(apart_mm) or not len(bands):
        return 0.0
    blur_mm = float(np.median([f.blur_px / np.median(b.scale_px_per_mm) for b, f in zip(bands, fits, strict=True)]))
    near = [abs(a) for a in apart_mm if abs(a) < UNRESOLVED_BLURS * blur_mm]
    return max(near) / 2.0 / 3.0**0.5 if near else 0.0
