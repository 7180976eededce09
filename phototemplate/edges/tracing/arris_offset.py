"""Where on a rounded edge do photos see the step? From there to the outermost line in plan, and how large the rounding is.

A rounding of radius r lies between the line where the top begins to bend, r inside the outermost line in plan, and the line
where the face becomes upright, r below the top. Photos see it in two ways, told apart by their lean c, mm outward per mm of
height (0 from straight above):

* from inside (c < 0), over the top, the edge is the outline of the rounding against what lies behind, where the line of sight
  touches the arc: ``r (1 - c - sqrt(1 + c^2))`` inside the outermost line at the height of the top. That is geometry;
* from outside (c > 0) top and face are both seen, and the step is a mean over the arc, weighted by how light changes along
  it. On one material light falls from that of the top, T, to that of the face, F. Under an even sky it falls with the cosine of
  the slope, and the mean of the step lies ``r (1 - pi / 4)`` inside and ``r / 2`` below; under lamps it is
  ``T sin + F cos``, brightest somewhere on the arc, and the mean moves outward and down as F grows. Between both lies what
  pictures show: :data:`INSET`, :data:`DROP`, by F / T.

Where two materials meet (the bare top of a box with a finished face) the step is the seam, r inside, from everywhere. Light
tells little of which it is: the top of one material is two to ten times as light as its face (:data:`LIGHT_OF`), so both are
kept, as parts of a mixture.

The radius shows in where photos from different sides see the edge. It is an unknown of the intersection, as are how far
the two models hold. Its prior has components, sharp, eased and large, which ``intersect`` weighs, together with one and two
materials, by how well the photos agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.tracing.constants import (
    DROP,
    FAR_PX,
    INSET,
    LARGE_MM,
    LEAST_LIGHT,
    LEAST_PART,
    LIGHT_OF,
    MOST_FACE_SHARE,
    NEAR_PX,
    OUTLINE_U,
    OVERHEAD,
    RADII,
    SEAM_INSET,
    SEAM_PRIOR,
    SEAM_U,
    SHADED_U,
    SHARP_MM,
    UNRESOLVED_BLURS,
    USUAL_FACE_SHARE,
    Radius,
)
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.step_position import StepFit, to_light
from phototemplate.model import Array, BoolArray

UNKNOWNS = 3
"""Of a rounding: its radius; by how much the step is seen elsewhere on it from outside, and from inside (mm, as a share of the
radius expected)"""


@dataclass(frozen=True)
class Part:
    """One of the things that an edge's rounding may be."""

    probability: float
    two: float
    """1 where two materials meet, 0 on one; between both a mean of them"""
    radius: Radius


@dataclass(frozen=True)
class Rounding:
    """What is known beforehand of one edge's rounding."""

    outward: float = 0.0
    """+1 where the room lies to the left of the path, -1 to the right; 0: the edge is where the step is"""
    two: float = 0.0
    """Probability that two materials meet"""
    face_share: float = 0.0
    """Light on the face over that on the top"""
    radii: tuple[Radius, ...] = (Radius(1.0, 0.0, 0.0),)

    @classmethod
    def of(cls, outward: float, ratio: float, kind: str, claimed: tuple[float, float] | None) -> Rounding:
        """Of an edge of ``kind`` that is the outermost line of a top.

        ``ratio`` is that of the light on both sides where the face is seen, nan where it is not; ``claimed`` are radius and
        standard uncertainty that somebody gave.
        """
        two = SEAM_PRIOR.get(kind, SEAM_PRIOR["end"])
        if np.isfinite(ratio):
            shares = [p * LIGHT_OF[k].density(np.log(ratio)) for k, p in (("one", 1.0 - two), ("two", two))]
            two = float(shares[1] / sum(shares))
        face = 1.0 / max(ratio, 1.0 / MOST_FACE_SHARE) if np.isfinite(ratio) else USUAL_FACE_SHARE
        return cls(outward, two, face, RADII if claimed is None else (Radius(1.0, *claimed),))

    @property
    def parts(self) -> tuple[Part, ...]:
        """The components of the mixture, probabilities 1 together."""
        if not self.outward:
            return tuple(Part(r.probability, 0.0, r) for r in self.radii)
        parts = []
        for r in self.radii:
            # a band or a finished panel is too thin for a large rounding, and where the arris is sharp it does not matter
            two = self.two if SHARP_MM < r.mm < LARGE_MM else 0.0
            lost = self.two if r.mm >= LARGE_MM else 0.0
            parts += [Part(r.probability * (1.0 - two - lost), 0.0, r), Part(r.probability * two, 1.0, r)]
        return tuple(part for part in parts if part.probability > LEAST_PART)

    @property
    def whole(self) -> Part:
        """Mean and standard deviation of all components together."""
        mean = sum(r.probability * r.mm for r in self.radii)
        var = sum(r.probability * (r.u_mm**2 + (r.mm - mean) ** 2) for r in self.radii)
        return Part(1.0, self.two, Radius(1.0, mean, float(np.sqrt(var))))

    def moves(self, lean: Array, two: float | None = None) -> Array:
        """(N, UNKNOWNS) by how much further left than the outermost line a photo with ``lean`` (N,) sees the step, for each
        unknown. ``two`` as for a part, else the mean over both."""
        two = self.two if two is None else two
        c = self.outward * lean
        outside = np.clip(0.5 + c / (2.0 * OVERHEAD), 0.0, 1.0)
        outline = -(1.0 - c - np.sqrt(1.0 + c * c))
        shaded = INSET[0] + INSET[1] * self.face_share + c * (DROP[0] + DROP[1] * self.face_share)
        one = outside * shaded + (1.0 - outside) * outline
        which = two * (1.0 - two) * (one + SEAM_INSET) ** 2
        by_shade = outside * np.sqrt((1.0 - two) * (SHADED_U[0] + SHADED_U[1] * c) ** 2 + two * SEAM_U**2 + which)
        by_outline = (1.0 - outside) * np.sqrt((1.0 - two) * OUTLINE_U**2 + two * SEAM_U**2 + which)
        seen = (1.0 - two) * one - two * SEAM_INSET
        return np.asarray(self.outward * np.column_stack([seen, by_shade, by_outline]))

    def prior(self, radius: Radius) -> tuple[Array, Array]:
        """Mean and standard deviation (UNKNOWNS,) of the unknowns for one component."""
        size = float(np.hypot(radius.mm, radius.u_mm)) if self.outward else 0.0
        return np.array([radius.mm if self.outward else 0.0, 0.0, 0.0]), np.array([radius.u_mm, size, size])


def shows_face(bands: Sequence[Band], outward: float) -> list[BoolArray]:
    """(N,) where each photo was taken from far enough outside to show what is below the edge."""
    return [np.asarray(band.lean * outward > OVERHEAD) for band in bands]


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
