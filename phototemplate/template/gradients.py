"""Numbers that know their gradient over the state of the outline.

Forward-mode differentiation: a :class:`Dual` is a value with its exact first derivative with respect to every entry of
the stacked offset state (S of them). Corners, finished dimensions and areas are computed once with these numbers, and
their variance is ``grad @ state_cov @ grad`` (law of propagation, JCGM 100:2008 eq. 13), so that correlations between
edges, pieces and openings can never get lost on the way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Array

_NO_GRADIENT: Array = np.zeros(())


class Dual:
    """A value and its gradient, shape (S,), or shape () for a constant."""

    __slots__ = ("grad", "value")

    def __init__(self, value: float, grad: Array = _NO_GRADIENT) -> None:
        self.value = float(value)
        self.grad = grad

    def gradient(self, size: int) -> Array:
        """(S,) gradient, zeros for a constant."""
        return np.array(np.broadcast_to(self.grad, (size,)), dtype=np.float64)

    def __repr__(self) -> str:
        return f"Dual({self.value:.6g})"

    def __float__(self) -> float:
        return self.value

    def __neg__(self) -> Dual:
        return Dual(-self.value, -self.grad)

    def __abs__(self) -> Dual:
        return -self if self.value < 0 else self

    def __add__(self, other: Dual | float) -> Dual:
        if isinstance(other, Dual):
            return Dual(self.value + other.value, self.grad + other.grad)
        return Dual(self.value + other, self.grad)

    __radd__ = __add__

    def __sub__(self, other: Dual | float) -> Dual:
        if isinstance(other, Dual):
            return Dual(self.value - other.value, self.grad - other.grad)
        return Dual(self.value - other, self.grad)

    def __rsub__(self, other: float) -> Dual:
        return Dual(other - self.value, -self.grad)

    def __mul__(self, other: Dual | float) -> Dual:
        if isinstance(other, Dual):
            return Dual(self.value * other.value, self.value * other.grad + other.value * self.grad)
        return Dual(self.value * other, other * self.grad)

    __rmul__ = __mul__

    def __truediv__(self, other: Dual | float) -> Dual:
        if isinstance(other, Dual):
            ratio = self.value / other.value
            return Dual(ratio, (self.grad - ratio * other.grad) / other.value)
        return Dual(self.value / other, self.grad / other)

    def __rtruediv__(self, other: float) -> Dual:
        return Dual(other) / self


def dual(value: Dual | float) -> Dual:
    """A constant as a Dual; a Dual as it is."""
    return value if isinstance(value, Dual) else Dual(value)


def sqrt(a: Dual) -> Dual:
    """Square root."""
    root = math.sqrt(a.value)
    return Dual(root, a.grad / (2.0 * root))


def atan2(y: Dual, x: Dual) -> Dual:
    """Angle of (x, y)."""
    n2 = x.value**2 + y.value**2
    return Dual(math.atan2(y.value, x.value), (x.value * y.grad - y.value * x.grad) / n2)


def sin(a: Dual) -> Dual:
    """Sine."""
    return Dual(math.sin(a.value), math.cos(a.value) * a.grad)


def cos(a: Dual) -> Dual:
    """Cosine."""
    return Dual(math.cos(a.value), -math.sin(a.value) * a.grad)


@dataclass(frozen=True)
class Vec:
    """A point or vector of the plane with gradients."""

    x: Dual
    y: Dual

    @property
    def xy(self) -> Array:
        """(2,) values."""
        return np.array([self.x.value, self.y.value])

    def __add__(self, other: Vec) -> Vec:
        return Vec(self.x + other.x, self.y + other.y)

    def __sub__(self, other: Vec) -> Vec:
        return Vec(self.x - other.x, self.y - other.y)

    def __neg__(self) -> Vec:
        return Vec(-self.x, -self.y)

    def __mul__(self, k: Dual | float) -> Vec:
        return Vec(self.x * k, self.y * k)

    __rmul__ = __mul__

    def dot(self, other: Vec) -> Dual:
        """Scalar product."""
        return self.x * other.x + self.y * other.y

    def cross(self, other: Vec) -> Dual:
        """z of the cross product, positive where ``other`` lies to the left."""
        return self.x * other.y - self.y * other.x

    def left(self) -> Vec:
        """Turned by +90 degrees."""
        return Vec(-self.y, self.x)

    def norm(self) -> Dual:
        """Length."""
        return sqrt(self.x * self.x + self.y * self.y)

    def unit(self) -> Vec:
        """Divided by its length."""
        n = self.norm()
        return Vec(self.x / n, self.y / n)

    def turned(self, angle: Dual | float) -> Vec:
        """Turned anticlockwise by an angle in rad."""
        a = dual(angle)
        c, s = cos(a), sin(a)
        return Vec(self.x * c - self.y * s, self.x * s + self.y * c)

    def jacobian(self, size: int) -> Array:
        """(2, S)"""
        return np.vstack([self.x.gradient(size), self.y.gradient(size)])


def vec(xy: Sequence[float] | Array) -> Vec:
    """A constant point."""
    return Vec(Dual(float(xy[0])), Dual(float(xy[1])))
