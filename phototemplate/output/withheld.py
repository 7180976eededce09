"""What is shown where the adjustment is withheld (``Network.quality``): the lines, and no uncertainty of anything."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar, cast

import numpy as np

from phototemplate.errors import Finding

T = TypeVar("T")

_UNCERTAINTY = re.compile(r"u|u_mm|\w*U_\w+|\w*cov_mm2|budget|budgets|intervals")
"""Names of the fields that hold uncertainties"""


def without_uncertainties(thing: T) -> T:
    """The same dataclass, and all within it, with every uncertainty infinite (arrays: nan) and every budget empty.

    What has none (``nan``) keeps that; findings keep their facts.
    """
    if is_dataclass(thing) and not isinstance(thing, type | Finding):
        changed = {}
        for f in fields(thing):
            value = getattr(thing, f.name)
            new = _unstated(value) if _UNCERTAINTY.fullmatch(f.name) else without_uncertainties(value)
            if new is not value:
                changed[f.name] = new
        return cast(T, replace(thing, **changed)) if changed else thing
    if isinstance(thing, tuple) and not hasattr(thing, "_fields"):
        listed = tuple(without_uncertainties(one) for one in thing)
        return cast(T, listed) if any(a is not b for a, b in zip(listed, thing, strict=True)) else thing
    if isinstance(thing, Mapping):
        return cast(T, {k: without_uncertainties(v) for k, v in thing.items()})
    return thing


def _unstated(value: object) -> object:
    if isinstance(value, float):
        return value if math.isnan(value) else math.inf
    if isinstance(value, np.ndarray):
        return np.full(value.shape, np.nan)
    if isinstance(value, tuple):
        return tuple(math.inf for _ in value) if all(isinstance(v, float) for v in value) else ()
    return {} if isinstance(value, Mapping) else value
