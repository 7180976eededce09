"""Building blocks of the format of ``result.json``: numbers that may be missing, symmetric matrices."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field

from phototemplate.model import Array

Number = float | None
"""A number, or null where it is not a finite one."""
Row = list[Number]
Pair = Annotated[list[float], Field(min_length=2, max_length=2)]
Triple = Annotated[list[float], Field(min_length=3, max_length=3)]
UncertainPair = Annotated[list[Number], Field(min_length=2, max_length=2)]
UncertainTriple = Annotated[list[Number], Field(min_length=3, max_length=3)]
"""Uncertainties, null where none can be stated"""
Severity = Literal["note", "warning", "serious"]


class Part(BaseModel):
    """Base of all parts: frozen, further keys ignored, field docstrings become descriptions."""

    model_config = ConfigDict(frozen=True, extra="ignore", use_attribute_docstrings=True)


class Symmetric(Part):
    """A symmetric matrix as its lower triangle."""

    size: int
    """Number of rows"""
    lower: Row
    """Row by row up to the diagonal: (0,0) (1,0) (1,1) (2,0) ...; size (size + 1) / 2 numbers"""

    @classmethod
    def of(cls, matrix: Array, digits: int = 9) -> Symmetric:
        """From a full matrix (n, n)."""
        n = matrix.shape[0]
        return cls(size=n, lower=numbers(matrix[np.tril_indices(n)], digits))

    def full(self) -> Array:
        """(n, n)"""
        out = np.zeros((self.size, self.size))
        rows, columns = np.tril_indices(self.size)
        values = np.array(self.lower, dtype=float)
        out[rows, columns] = values
        out[columns, rows] = values
        return out


def numbers(values: ArrayLike, digits: int = 12) -> list[Any]:
    """Plain numbers with ``digits`` significant digits, nested as the array is; null where not finite."""
    array = np.asarray(values, dtype=float)
    if array.ndim > 1:
        return [numbers(row, digits) for row in array]
    return [float(f"{v:.{digits}g}") if np.isfinite(v) else None for v in array]
