"""How thick are the sheets and what lies under them? The heights of the edges tell.

The printed faces are measured, the cabinet tops lie lower by paper and board. Every edge of a top that was traced lies at the
height of the top, so its height under the printed faces near it is that thickness: one equation per edge, with the error of
the edge's own height, of how flush it is with its cabinet, and of where on its rounding it is seen. A median and its scatter
answer (robust location; Rousseeuw & Croux, J. Amer. Statist. Assoc. 88 (1993) 1273).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.edges import constants as c
from phototemplate.errors import Finding
from phototemplate.model import PlanePoints

SHEETS = "the sheets"
"""Place of the findings"""


@dataclass(frozen=True)
class Thickness:
    """Paper and board together."""

    mm: float
    u_mm: float
    edges: int = 0
    """From the heights of so many edges; 0: as given"""


UNKNOWN = Thickness(c.UNKNOWN_THICKNESS_MM, c.UNKNOWN_THICKNESS_U_MM)
"""Nobody has said what lies under the sheets"""


def found_thickness(points: Iterable[PlanePoints], assumed: Thickness) -> Thickness | None:
    """Thickness from the edges traced while ``assumed`` was taken for it; None where no edge tells.

    Edges that stand far from the others (a door taken for an edge) have no say beyond their number.
    """
    rises = np.array([p.rise_mm for p in points if np.isfinite(p.rise_mm)])
    if not len(rises):
        return None
    middle = float(np.median(rises))
    scatter = max(c.MAD_TO_SD * float(np.median(np.abs(rises - middle))), c.FLUSH_U_MM)
    # an edge below the top is the same as a board that is thicker
    u = float(np.hypot(1.2533 * scatter / np.sqrt(len(rises)), c.ROUNDING_U_MM))
    return Thickness(max(assumed.mm - middle, c.THINNEST_MM), u, len(rises))


def contradiction(given: Thickness, found: Thickness | None) -> tuple[Finding, ...]:
    """``thickness-contradicted`` where the edges lie at another height than the given thickness says."""
    if found is None or found.edges < c.LEAST_EDGES:
        return ()
    apart = abs(found.mm - given.mm)
    if apart <= max(c.CONTRADICTION_MM, c.COVERAGE * float(np.hypot(given.u_mm, found.u_mm))):
        return ()
    return (Finding("thickness-contradicted", SHEETS, given_mm=given.mm, found_mm=found.mm),)


def settled_thickness(
    given: Thickness, rough_edges: Callable[[], Iterable[PlanePoints]]
) -> tuple[Thickness, tuple[Finding, ...]]:
    """The thickness to measure with: the given one, or where nobody has given any the one that roughly traced edges tell."""
    if given != UNKNOWN:
        return given, ()
    found = found_thickness(rough_edges(), given)
    if found is None:
        return given, (Finding("thickness-unknown", SHEETS),)
    return found, (Finding("thickness-found", SHEETS, found_mm=found.mm, U_mm=c.COVERAGE * found.u_mm, n_edges=found.edges),)


def widened(given: Thickness, findings: tuple[Finding, ...]) -> Thickness:
    """The given thickness with an uncertainty that reaches as far as the one that contradicts it."""
    apart = [abs(float(str(f.facts["found_mm"])) - given.mm) for f in findings]
    return replace(given, u_mm=max([given.u_mm, *(a / c.COVERAGE for a in apart)]))
