"""Is the whole chain to be trusted: printer, phone, photos, program? Checked at home on a straight edge and a tape.

Three things are compared with what they must be, each with its uncertainty: the face of a straight edge, which strips were
taped to (a wall whose truth is a straight line); every known length with what the photos say without it; and the distances
between sheets from every second photo with those from the other half. The score is that of comparisons between laboratories,
the difference over its expanded uncertainty, and passes up to one (ISO/IEC 17043, annex B: E_n).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from phototemplate.model import Array, Network
from phototemplate.network.constants import DETECTABLE
from phototemplate.network.projection import body_points
from phototemplate.studies.check_wall import WallCheck
from phototemplate.studies.constants import CHECKED_MM, HALVES_INSIDE, USUAL_GAP_MM

Answer = Literal["agrees", "does not agree", "says little"]
PROVES = (
    "that prints, phone, photos and program together give lengths and a straight line on this table within the U stated here, "
    "with this light and about this many photos"
)
NOT_PROVED = (
    "edges of real cabinets, which are traced and not taped (look at every traced edge in the app)",
    "walls and runs that are much longer than the straight edge",
    "that the tape is right: it is the scale of everything, so compare it with another one",
    "heights, right angles, and how thick the paper and its backing are",
)


@dataclass(frozen=True)
class Compared:
    """One comparison."""

    kind: Literal["straight", "length", "halves"]
    what: str
    off_mm: float
    """Found less what it must be; for halves and a straight edge the size of the departure"""
    U_mm: float
    """Expanded uncertainty (k = 2) of that difference, what it is compared with included"""
    agrees: bool

    @property
    def score(self) -> float:
        """E_n: passes up to 1."""
        return abs(self.off_mm) / self.U_mm if self.U_mm > 0 else math.inf

    @property
    def answer(self) -> Answer:
        """A comparison that would only notice what is larger than a usual gap says little."""
        if not self.agrees:
            return "does not agree"
        return "agrees" if self.U_mm <= USUAL_GAP_MM else "says little"


@dataclass(frozen=True)
class SelfCheck:
    """What was reached and what that proves."""

    job: str
    photos: int
    rows: tuple[Compared, ...]
    missing: tuple[str, ...]
    """What would have to be there for the whole chain to be checked"""
    span_mm: float
    """Longest distance between two sheets"""
    span_U_mm: float
    withheld: bool
    """The photos do not fit together, so that no uncertainty can be stated"""

    @property
    def answer(self) -> Answer:
        """Of all."""
        if self.withheld or any(r.answer == "does not agree" for r in self.rows):
            return "does not agree"
        return "says little" if self.missing or any(r.answer == "says little" for r in self.rows) else "agrees"


def self_check(
    job: str, whole: Network, halves: Sequence[Network], wall: WallCheck | None, straight_mm: float
) -> SelfCheck:
    """Compare. ``halves``: two networks from photos that have none in common; ``wall``: the straight edge against a straight
    line, itself straight within ``straight_mm``."""
    rows, missing = lengths_compared(whole), []
    if not rows:
        missing.append("a second known length (a tape between the marks B of two far sheets) that checks the first")
    if wall is None:
        missing.append("wall strips along a straight edge")
    else:
        U = math.hypot(wall.largest_gap.U, straight_mm)
        off = max(wall.largest_gap.value, 0.0)
        rows.append(Compared("straight", f"straight edge, {np.ptp(wall.wall.distance_mm):.0f} mm of it", off, U, off <= U))
    if len(halves) == 2:
        rows += halves_compared(*halves)
    else:
        missing.append("enough photos for two halves that each stand alone (10 or more)")
    centres = _distances(whole, without_lengths=False)
    far = max(centres, key=lambda pair: centres[pair][0], default=None)
    span, u = (0.0, math.inf) if far is None else (centres[far][0], math.sqrt(centres[far][1]))
    return SelfCheck(job, len(whole.photos), tuple(rows), tuple(missing), span, 2.0 * u, whole.quality.withheld)


def lengths_compared(network: Network) -> list[Compared]:
    """Every known length against what the rest says of it.

    What is left out of a least-squares fit is predicted by it: with the normalized residual w and the least blunder that
    would be noticed, m = 4.13 u / sqrt(r), the prediction is off by w m / 4.13, with the standard uncertainty m / 4.13
    (W. Baarda, A testing procedure for use in geodetic networks, 1968).
    """
    # where two contradict each other nobody can tell which is wrong, and the adjustment has enlarged both
    contradicted = any(f.code == "lengths-disagree" for f in network.findings)
    out = []
    for length in network.lengths:
        if not length.used:
            off, U = length.adjusted_mm - length.given_mm, 2.0 * length.u_mm
            out.append(Compared("length", f"known length {length.name}", off, U, False))
        elif 0.0 < length.smallest_detectable_mm < CHECKED_MM:
            u = length.smallest_detectable_mm / DETECTABLE
            off = -length.normalized_residual * u
            agrees = not contradicted and abs(off) <= 2.0 * u
            out.append(Compared("length", f"known length {length.name}", off, 2.0 * u, agrees))
    return out


def halves_compared(first: Network, second: Network) -> list[Compared]:
    """Distances between sheets from one half of the photos against the other, the known lengths' own uncertainty left out:
    both halves share that. One row, of the pair that differs most; the distances hang together, so nine in ten have to
    agree."""
    one, other = (_distances(n, without_lengths=True) for n in (first, second))
    both = sorted(set(one) & set(other))
    if not both:
        return []
    off = np.array([one[p][0] - other[p][0] for p in both])
    U = 2.0 * np.sqrt([one[p][1] + other[p][1] for p in both])
    inside = float(np.mean(np.abs(off) <= U))
    worst = int(np.argmax(np.abs(off) / U))
    a, b = both[worst]
    what = f"two halves of the photos, {len(both)} distances, {100 * inside:.0f} % within U; worst {a}-{b}"
    return [Compared("halves", what, float(off[worst]), float(U[worst]), inside >= HALVES_INSIDE)]


def _distances(network: Network, without_lengths: bool) -> dict[tuple[str, str], tuple[float, float]]:
    """Pairs of sheets -> distance of their middles in mm and its variance."""
    cov: Array = network.influences.cov
    if without_lengths:
        cov = cov - sum((p for g, p in network.influences.parts.items() if g.startswith("known length")), np.zeros_like(cov))
    middles = {}
    for name in network.bodies:
        if network.targets[name].kind == "sheet":
            point = body_points(network, name, network.targets[name].points_mm.mean(axis=0, keepdims=True))
            jac = np.zeros((3, len(cov)))
            jac[:, point.columns] = point.d_influences[0]
            middles[name] = point.xyz_mm[0], jac
    out = {}
    for a, b in itertools.combinations(sorted(middles), 2):
        apart = middles[b][0] - middles[a][0]
        d = float(np.linalg.norm(apart))
        row = apart / d @ (middles[b][1] - middles[a][1])
        out[a, b] = d, max(float(row @ cov @ row), 0.0)
    return out
