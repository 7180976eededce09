"""Kinds of fit. One module each; the tuple below is the only list of them."""

from __future__ import annotations

from phototemplate.edges.shapes.arc import ArcShape
from phototemplate.edges.shapes.contract import EdgePoints, Shape, ShapeFit
from phototemplate.edges.shapes.line import LineShape
from phototemplate.edges.shapes.wall_curve import ProfileShape

SHAPES: tuple[Shape, ...] = (LineShape(), ArcShape(), ArcShape("circle", 3, closed=True), ProfileShape())

__all__ = ["SHAPES", "ArcShape", "EdgePoints", "LineShape", "ProfileShape", "Shape", "ShapeFit", "shape_named"]


def shape_named(name: str) -> Shape:
    """The kind of fit with this name (KeyError if there is none)."""
    for shape in SHAPES:
        if shape.name == name:
            return shape
    raise KeyError(name)
