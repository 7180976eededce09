"""Where on a rounded edge do photos see the step? From there to the outermost line in plan."""

from __future__ import annotations

from phototemplate.settings import EdgeSettings

INSET = 0.29
"""Inset of the seen line from the plan silhouette in units of the rounding's radius: 1 - cos 45 deg"""
INSET_U = 0.15


def correction(settings: EdgeSettings) -> tuple[float, float]:
    """Outward shift of a traced edge and its standard uncertainty, mm."""
    shift = INSET * settings.arris_mm
    return shift, float(((INSET * settings.arris_u_mm) ** 2 + (INSET_U * settings.arris_mm) ** 2) ** 0.5)
