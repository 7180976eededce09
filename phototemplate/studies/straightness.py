"""How straight is a profile: minimum zone, least squares, and the straight piece that touches it.

Heights are those of a wall into the room. A straight piece laid against the wall from the room touches it where it stands
out most; of all pieces that touch, the one that leaves the smallest largest gap leaves exactly the width of the minimum
zone (ISO 12780-1, straightness; for a planar set it is the width of the convex hull, which an edge of the hull and the vertex
opposite to it attain).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array
from phototemplate.numerics.convex import upper_hull
from phototemplate.studies.constants import GOLDEN


@dataclass(frozen=True)
class Zone:
    """The narrowest pair of parallel lines that hold a profile between them."""

    width_mm: float
    slope: float
    """Of both lines"""
    top_mm: float
    """Height of the upper line (the straight piece) at x = 0"""
    touching: tuple[int, ...]
    """Points on the upper line: where the piece touches"""
    far: tuple[int, ...]
    """Points on the lower line: where the gap is largest"""

    def piece(self, x: Array) -> Array:
        """(n,) height of the straight piece."""
        out: Array = self.top_mm + self.slope * x
        return out

    def weights(self, x: Array) -> Array:
        """(n,) derivative of the width with respect to the heights (envelope theorem: only the three points matter)."""
        out = np.zeros(x.size)
        for side, sign in ((self.touching, 1.0), (self.far, -1.0)):
            other = self.far if side is self.touching else self.touching
            if len(side) == 1:
                out[side[0]] += sign
            else:
                a, b = side
                share = (x[other[0]] - x[a]) / (x[b] - x[a])
                out[a] += sign * (1.0 - share)
                out[b] += sign * share
        weighted: Array = out / np.sqrt(1.0 + self.slope**2)
        return weighted


def minimum_zone(x: Array, y: Array) -> Zone:
    """Exact minimum zone of points with increasing ``x``; ``width_mm`` is normal to the zone."""
    if x.size < 3:
        slope = float((y[-1] - y[0]) / (x[-1] - x[0])) if x.size == 2 else 0.0
        return Zone(0.0, slope, float(y[0] - slope * x[0]), tuple(range(x.size)), tuple(range(x.size))[:1])
    upper, lower = upper_hull(x, y), upper_hull(x, -y)
    best: Zone | None = None
    for chain, others, sign in ((upper, lower, 1.0), (lower, upper, -1.0)):
        for a, b in itertools.pairwise(chain):
            slope = float((y[b] - y[a]) / (x[b] - x[a]))
            away = sign * (y[a] + slope * (x[others] - x[a]) - y[others])
            k = int(others[int(np.argmax(away))])
            width = float(away.max()) / np.sqrt(1.0 + slope**2)
            if best is None or width < best.width_mm - 1e-12:
                on, off = (int(a), int(b)), (k,)
                touching, far = (on, off) if sign > 0 else (off, on)
                top = float(y[touching[0]] - slope * x[touching[0]])
                best = Zone(float(max(width, 0.0)), slope, top, touching, far)
    assert best is not None
    return best


def zone_widths(x: Array, y: Array) -> Array:
    """(draws,) minimum-zone widths of many profiles ``y`` (draws, n) at once, by golden section over the slope.

    The distance between the lines along y is a convex function of the slope; their tilt enters with its cosine at the end.
    """
    span = float(x[-1] - x[0])
    bound = (y.max(axis=1) - y.min(axis=1)) * 4.0 / span + 1e-9

    def width(slope: Array) -> Array:
        turned = y - slope[:, None] * x
        out: Array = turned.max(axis=1) - turned.min(axis=1)
        return out

    start = (y[:, -1] - y[:, 0]) / span
    low, high = start - bound, start + bound
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    fa, fb = width(a), width(b)
    for _ in range(25):  # the slope to 1e-5 of its bounds: the width to a thousandth of a millimetre
        left = fa < fb
        low, high = np.where(left, low, a), np.where(left, b, high)
        a_next = high - GOLDEN * (high - low)
        b_next = low + GOLDEN * (high - low)
        fa_next = np.where(left, np.nan, fb)
        fb_next = np.where(left, fa, np.nan)
        need_a, need_b = np.isnan(fa_next), np.isnan(fb_next)
        probe = width(np.where(need_a, a_next, b_next))
        a, b = a_next, b_next
        fa, fb = np.where(need_a, probe, fa_next), np.where(need_b, probe, fb_next)
    slope = 0.5 * (low + high)
    out: Array = width(slope) / np.sqrt(1.0 + slope**2)
    return out
