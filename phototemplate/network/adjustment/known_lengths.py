"""Observations that are not pixels: known lengths and priors, in one form the adjustment takes.

To add a known length (a new kind of bar, tape or calliper reading): write a subclass of :class:`KnownLength` that says
where it ends and what it is made of, and list it in :data:`KNOWN_LENGTHS`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import ClassVar

import numpy as np

from phototemplate.errors import InputError
from phototemplate.model import Array, IntArray
from phototemplate.network.constants import EXPANSION_PER_K, REFERENCE_C


@dataclass(frozen=True)
class LengthEnd:
    """One end of a known length: a target's centre, one of its points, or a place in its frame."""

    target_id: str
    point_id: int | None = None
    local_mm: tuple[float, float, float] | None = None
    """Place in the target's own frame at nominal print scale (rigid targets only)"""


@dataclass(frozen=True)
class KnownLength:
    """A length somebody knows, with its standard uncertainty and temperature.

    ``value_mm`` holds at 20 degC: what is stamped on a bar, or read on a tape whose graduation is right at 20 degC. In
    the photos the length was ``value (1 + expansion (t - 20))``. Without a temperature 20 degC is assumed and the
    adjustment's ``thermometer_u_c`` taken as its uncertainty.
    """

    name: str
    start: LengthEnd
    end: LengthEnd
    value_mm: float
    u_mm: float
    temperature_c: float | None = None
    u_temperature_c: float = 1.0
    material: str = "steel"
    kind: ClassVar[str] = "length"

    def __post_init__(self) -> None:
        if not (np.isfinite(self.value_mm) and self.value_mm > 0):
            raise InputError(f"Known length {self.name!r}: {self.value_mm} mm is not a length; give it in mm, above 0.")
        if not (np.isfinite(self.u_mm) and self.u_mm > 0):
            raise InputError(f"Known length {self.name!r}: give its standard uncertainty in mm, above 0.")
        if self.material not in EXPANSION_PER_K:
            raise InputError(
                f"Known length {self.name!r}: material {self.material!r} is not known; use one of {', '.join(EXPANSION_PER_K)}."
            )
        if self.start == self.end:
            raise InputError(f"Known length {self.name!r} starts and ends at the same place, {self.start.target_id}.")

    def at_photos(self, thermometer_u_c: float) -> tuple[float, float]:
        """Length and standard uncertainty in mm at the temperature of the photos."""
        expansion = EXPANSION_PER_K[self.material]
        t = REFERENCE_C if self.temperature_c is None else self.temperature_c
        u_t = thermometer_u_c if self.temperature_c is None else self.u_temperature_c
        value = self.value_mm * (1.0 + expansion * (t - REFERENCE_C))
        # The expansion coefficient itself is known to about 10 % (published tables carry no uncertainty).
        u_expansion = self.value_mm * 0.1 * expansion * (t - REFERENCE_C)
        return value, hypot(self.u_mm, self.value_mm * expansion * u_t, u_expansion)


@dataclass(frozen=True)
class Bar(KnownLength):
    """Scale bar: from the centre of one end target to the centre of the other."""

    kind: ClassVar[str] = "bar"


@dataclass(frozen=True)
class Tape(KnownLength):
    """Tape or rule reading between two targets' centres or points."""

    kind: ClassVar[str] = "tape"


@dataclass(frozen=True)
class Caliper(KnownLength):
    """Calliper reading on one printed target: between two of its points or two places in its frame."""

    kind: ClassVar[str] = "caliper"

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.start.target_id != self.end.target_id:
            raise InputError(f"Calliper value {self.name!r} must lie on one target; use a tape between two targets.")


KNOWN_LENGTHS: tuple[type[KnownLength], ...] = (Bar, Tape, Caliper)
"""Every kind of known length."""


@dataclass(frozen=True)
class Condition:
    """Some linearised observations of the shared parameters: ``residual = observed - computed``."""

    group: str
    """Budget line it belongs to"""
    name: str
    columns: IntArray
    """(k,)"""
    jac: Array
    """(m, k) derivative of the computed values"""
    residual: Array
    """(m,)"""
    cov: Array
    """(m, m)"""
    sd: Array | None = None
    """(m,) standard deviations where every row observes one parameter alone and none is correlated with another"""

    def whitened(self) -> tuple[Array, Array]:
        """Residual and Jacobian with unit covariance."""
        if self.sd is not None:
            return self.residual / self.sd, self.jac / self.sd[:, None]
        root = np.linalg.cholesky(self.cov)
        return np.linalg.solve(root, self.residual), np.linalg.solve(root, self.jac)

    def add_to(self, information: Array, gradient: Array) -> None:
        """Sum up what it contributes to the normal equations (K, K) and (K,)."""
        if self.sd is not None:
            information[self.columns, self.columns] += self.sd**-2.0
            gradient[self.columns] += self.residual / self.sd**2
            return
        residual, jac = self.whitened()
        information[np.ix_(self.columns, self.columns)] += jac.T @ jac
        gradient[self.columns] += jac.T @ residual

    def root_of_part(self, cov: Array) -> Array:
        """(K, m) root of its part of a covariance (K, K): ``C J^T`` with the whitened Jacobian J."""
        if self.sd is not None:
            return np.asarray(cov[:, self.columns] / self.sd)
        return np.asarray(cov[:, self.columns] @ self.whitened()[1].T)
