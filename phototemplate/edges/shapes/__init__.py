"""Kinds of fit. One module each; the tuple below is the only list of them."""

from __future__ import annotations

from phototemplate.edges.shapes.arc import Arc
from phototemplate.edges.shapes.contract import EdgePoints, Shape, ShapeFit
from phototemplate.edges.shapes.line import Line
from phototemplate.edges.shapes.wall_curve import Profile

SHAPES: tuple[Shape, ...] = (Line(), Arc(), Arc("circle", 3, closed=True), Profile())

__all__ = ["SHAPES", "Arc", "EdgePoints", "Line", "Profile", "Shape", "ShapeFit", "shape_named"]


def shape_named(name: str) -> Shape:
    """The kind of fit with this name (KeyError if there is none)."""
    for shape in SHAPES:
        if shape.name == name:
            return shape
    raise KeyError(name)
