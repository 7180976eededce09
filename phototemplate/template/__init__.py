"""Segments -> Outline -> pieces (overhang, radius, opening, cut-out, seam) -> Drawing."""
