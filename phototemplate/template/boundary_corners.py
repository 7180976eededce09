"""Rounding and clipping the corners of a boundary."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from phototemplate.model import Array
from phototemplate.template.boundary import Boundary, Span, Unfit, corner_name, turning_rad
from phototemplate.template.constants import SMALLEST_COSINE
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.gradients import dual
from phototemplate.template.intersections import meet


def round_corner(boundary: Boundary, i: int, radius_mm: float) -> Boundary:
    """Round the corner where span i begins; inside corners are filled, outside corners taken off.

    Raises Unfit where the arc does not fit between the neighbouring corners.
    """
    a, b = boundary[i - 1], boundary[i]
    name = corner_name(boundary, i)
    turn = math.copysign(1.0, turning_rad(a, b))
    centre = meet(a.curve.offset(turn * radius_mm), b.curve.offset(turn * radius_mm), _centre_guess(a, b, radius_mm))
    if centre is None:
        raise Unfit(name, "the arc finds no place")
    start, end = a.curve.foot(centre), b.curve.foot(centre)
    arc = ArcCurve(centre, dual(radius_mm), turn, math.atan2(*(start.xy - centre.xy)[::-1]))
    return _replace_corner(boundary, i, Span(arc, start, end, name, "corner"))


def _centre_guess(a: Span, b: Span, radius_mm: float) -> Array:
    """Centre of the arc between the two tangents."""
    u, v = a.curve.tangent(a.end).xy, b.curve.tangent(b.start).xy
    half = abs(turning_rad(a, b)) / 2.0
    inward = v - u
    size = float(np.hypot(*inward)) or 1.0
    out: Array = a.end.xy + inward / size * radius_mm / max(math.cos(half), SMALLEST_COSINE)
    return out


def clip_corner(boundary: Boundary, i: int, clip_mm: float) -> Boundary:
    """Cut a corner off by the same length along both edges."""
    a, b = boundary[i - 1], boundary[i]
    start = a.curve.foot(a.end - a.curve.tangent(a.end) * clip_mm)
    end = b.curve.foot(b.start + b.curve.tangent(b.start) * clip_mm)
    return _replace_corner(boundary, i, Span(LineCurve(start, (end - start).unit()), start, end,
                                             corner_name(boundary, i), "corner"))


def _replace_corner(boundary: Boundary, i: int, piece: Span) -> Boundary:
    n = len(boundary)
    out = list(boundary)
    out[i - 1] = replace(boundary[i - 1], end=piece.start)
    out[i] = replace(out[i], start=piece.end)
    for k in ((i - 1) % n, i):
        if out[k].advance() < -1e-6:
            raise Unfit(piece.name, "it is longer than the edge beside it")
    if piece.advance() <= 0:
        raise Unfit(piece.name, "it finds no place")
    out.insert(i, piece)
    return tuple(out)
