"""Straight lines in place of a bent edge: one that nowhere runs into it, and one that balances it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from phototemplate.model import Array
from phototemplate.numerics.convex import upper_hull
from phototemplate.template.constants import SAMPLES
from phototemplate.template.curves import LineCurve, line_through
from phototemplate.template.gradients import Vec, dual, vec
from phototemplate.template.intersections import AnyCurve
from phototemplate.template.quantities import chain_end


def edge_samples(found: AnyCurve, start: Array, end: Array) -> Array:
    """(SAMPLES, 2) places along the measured edge."""
    return found.points(np.linspace(found.position(start), found.position(end), SAMPLES))


def touching_line(found: AnyCurve, start: Vec, end: Vec) -> LineCurve:
    """The straight line that nowhere runs into the measured edge and leaves the smallest largest gap.

    It lies on the interior (left) side. Of all such lines the best one is a side of the thinnest parallel strip around
    the edge: it touches two places, or one place and runs parallel to two on the far side. Its gradient is that of the
    places it touches (they move only normal to the edge, to first order).
    """
    points = edge_samples(found, start.xy, end.xy)
    along = points[-1] - points[0]
    along = along / np.hypot(*along)
    s = (points - points[0]) @ along
    f = (points - points[0]) @ np.array([-along[1], along[0]])
    best: tuple[float, int, int, int] | None = None
    for sign in (1.0, -1.0):
        hull = upper_hull(s, sign * f)
        for a, b in itertools.pairwise(hull):
            slope = (f[b] - f[a]) / (s[b] - s[a])
            rest = f - slope * s
            top = a if sign > 0 else int(np.argmax(rest))
            width = float(rest[top] - rest.min())
            if best is None or width < best[0] - 1e-9:
                best = (width, a, b, top)
    assert best is not None
    _, a, b, top = best
    above = top in (a, b)
    contacts = _contacts(found, start, end, (a, b) if above else (a, b, top), (1.0, 1.0) if above else (-1.0, -1.0, 1.0))
    line = line_through(contacts[0], contacts[1])
    return line if above else LineCurve(contacts[2], line.direction)


def _contacts(
    found: AnyCurve, start: Vec, end: Vec, samples: Sequence[int], signs: Sequence[float]
) -> list[Vec]:
    """Places where a line through the first two touches the edge, refined between the samples.

    At an end of the edge the contact is the corner itself and moves with it; within, the edge is tangent to the line
    and only its movement along the normal counts.
    """
    low, high = found.position(start.xy), found.position(end.xy)
    step = (high - low) / (SAMPLES - 1)
    at = [low + k * step for k in samples]
    for half in (1.0, 1.0, 0.1, 0.1, 0.01, 0.01, 0.001):
        a, b = found.point(at[0]), found.point(at[1])
        normal = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
        for k, sign in enumerate(signs):
            near = np.clip(at[k] + np.linspace(-half, half, 21) * step, min(low, high), max(low, high))
            height = sign * ((found.points(near) - a) @ normal)
            best = int(np.argmax(height))
            if height[best] > height[10] + 1e-11:  # a straight stretch touches anywhere
                at[k] = float(near[best])
    out = []
    for position in at:
        if abs(position - low) < 1e-9:
            out.append(start)
        elif abs(position - high) < 1e-9:
            out.append(end)
        else:
            out.append(chain_end(found, found.point(position)))
    return out


def balanced_line(found: AnyCurve, start: Vec, end: Vec) -> LineCurve:
    """The least squares line through the measured edge."""
    points = edge_samples(found, start.xy, end.xy)[::4]
    along = points[-1] - points[0]
    along = along / np.hypot(*along)
    normal = vec([-along[1], along[0]])
    s = (points - points[0]) @ along
    ds = s - s.mean()
    mean, slope = dual(0.0), dual(0.0)
    for k, p in enumerate(points):
        f = normal.dot(chain_end(found, p) - vec(points[0]))
        mean = mean + f * (1.0 / len(points))
        slope = slope + f * float(ds[k] / (ds @ ds))
    middle = vec(points[0] + s.mean() * along) + normal * mean
    return LineCurve(middle, (vec(along) + normal * slope).unit())
