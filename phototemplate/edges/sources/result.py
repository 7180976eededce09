"""What every source of edge points returns."""

from __future__ import annotations

from dataclasses import dataclass

from phototemplate.errors import Finding
from phototemplate.model import EdgeTrace, PlanePoints


@dataclass(frozen=True)
class Found:
    """Points of one edge, or None where there are none; every finding about it is in ``findings``."""

    points: PlanePoints | None
    traces: tuple[EdgeTrace, ...] = ()
    findings: tuple[Finding, ...] = ()
    probability: float = 0.0
    """That there is such an edge at all at this level of the tops; a half at most where the photos do not tell its height"""
