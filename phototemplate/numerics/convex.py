"""Convex hull of a profile."""

from __future__ import annotations

from phototemplate.model import Array


def upper_hull(x: Array, y: Array) -> list[int]:
    """Indices of the upper hull of points with increasing ``x`` (n,), left to right (A. M. Andrew, Inf. Process. Lett. 9 (1979)
    216)."""
    out: list[int] = []
    for k in range(x.size):
        while len(out) >= 2:
            a, b = out[-2], out[-1]
            if (x[b] - x[a]) * (y[k] - y[a]) - (y[b] - y[a]) * (x[k] - x[a]) >= 0.0:
                out.pop()
            else:
                break
        out.append(k)
    return out
