"""Small pieces of inline SVG, and the project's own scale of uncertainty.

The scale has five classes by U as a share of the tolerance. Each class has a letter, a colour and a dash pattern, so that
colour is never the only signal. Colours live in the style sheet (``--class-a`` ...), once for light and once for dark.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from phototemplate.model import Array
from phototemplate.output.constants import CLASS_LIMITS, CLASS_WIDTHS

__all__ = ["CLASSES", "UClass", "class_of", "dots", "fmt", "label", "legend_line", "path", "signed", "vectors"]


@dataclass(frozen=True)
class UClass:
    """One class of the scale."""

    letter: str
    up_to: float
    """Upper limit of U as a share of the tolerance"""
    dash: str
    """SVG dash pattern, empty for a solid line"""
    width: float
    words: str


CLASSES = (
    UClass("A", CLASS_LIMITS[0], "", CLASS_WIDTHS[0], "far better than asked"),
    UClass("B", CLASS_LIMITS[1], "", CLASS_WIDTHS[1], "better than asked"),
    UClass("C", CLASS_LIMITS[2], "14 4", CLASS_WIDTHS[2], "as good as asked"),
    UClass("D", CLASS_LIMITS[3], "7 5", CLASS_WIDTHS[3], "not good enough"),
    UClass("E", math.inf, "2 5", CLASS_WIDTHS[4], "much too uncertain"),
)


def class_of(big_u: float, tolerance: float) -> UClass:
    """Class of an expanded uncertainty; not a number counts as the last."""
    for one in CLASSES[:-1]:
        if big_u <= one.up_to * tolerance * (1 + 1e-9):
            return one
    return CLASSES[-1]


def fmt(value: float, decimals: int = 1) -> str:
    """Short number for SVG attributes."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def path(points: Iterable[Sequence[float]] | Array, closed: bool = False) -> str:
    """``d`` of a polyline."""
    body = "L".join(f"{fmt(x)} {fmt(y)}" for x, y in points)
    return f"M{body}{'Z' if closed else ''}" if body else ""


def dots(points: Array) -> str:
    """``d`` of dots: zero-length strokes, drawn round by ``stroke-linecap``."""
    return "".join(f"M{fmt(x)} {fmt(y)}h0" for x, y in points)


def vectors(starts: Array, ends: Array) -> str:
    """``d`` of separate short lines."""
    return "".join(
        f"M{fmt(a[0])} {fmt(a[1])}l{fmt(b[0] - a[0])} {fmt(b[1] - a[1])}" for a, b in zip(starts, ends, strict=True)
    )


def signed(value: float, decimals: int = 1) -> str:
    """Number with its sign, and no sign where it rounds to zero."""
    text = f"{value:+.{decimals}f}"
    return text.lstrip("+-") if float(text) == 0.0 else text


def label(x: float, y: float, text: str, css: str = "", anchor: str = "middle", turn_deg: float = 0.0) -> Markup:
    """A text with a halo that keeps it readable over a picture."""
    rotate = f' transform="rotate({fmt(turn_deg)} {fmt(x)} {fmt(y)})"' if turn_deg else ""
    return Markup('<text x="{}" y="{}" class="{}" text-anchor="{}"{}>{}</text>').format(
        fmt(x), fmt(y), f"halo {css}".strip(), anchor, Markup(rotate), text
    )


def legend_line(one: UClass) -> Markup:
    """Sample of a class's line for the legend."""
    return Markup(
        f'<svg class="sample" viewBox="0 0 60 12" width="60" height="12" aria-hidden="true">'
        f'<path class="u-{one.letter.lower()}" d="M2 6H58" stroke-width="{one.width}" stroke-dasharray="{one.dash}"/></svg>'
    )


def upright_angle(direction_deg: float) -> float:
    """Text angle along a direction, never on its head."""
    return (direction_deg + 90.0 - 1e-6) % 180.0 - 90.0 + 1e-6


def title(text: str) -> Markup:
    """Tool tip and name for screen readers."""
    return Markup("<title>{}</title>").format(escape(text))


def finite(values: Array) -> Array:
    """Rows without a not-a-number."""
    return values[np.all(np.isfinite(values), axis=1)]
