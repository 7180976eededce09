"""What is shown where the adjustment is withheld (``Network.quality``): the lines, and no uncertainty of anything.

Every output asks here, files, tables and the app alike: what is found stays, what is said of how well it is known does not."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar, cast

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model import Measurement

T = TypeVar("T")

_UNCERTAINTY = re.compile(r"u|u_mm|\w*U_\w+|cov|\w*cov_mm2|parts|budget|budgets|intervals")
"""Names of the fields that hold uncertainties"""
_JUDGES = ("tolerance",)
"""Findings that say nothing but how well something is known"""


def as_shown(m: Measurement) -> Measurement:
    """The measurement as it may be shown: itself, or where it is withheld without any uncertainty that follows from it.

    What was given (the U of a known length) stays.
    """
    if not m.network.quality.withheld:
        return m
    given = m.network.lengths
    bare = without_uncertainties(m)
    lengths = tuple(replace(k, normalized_residual=math.nan, smallest_detectable_mm=math.nan) for k in given)
    return replace(bare, network=replace(bare.network, lengths=lengths))


def without_uncertainties(thing: T) -> T:
    """The same dataclass, and all within it, with every uncertainty infinite (arrays: nan) and every budget empty.

    What has none (``nan``) keeps that. Findings that only judge are left out, of the others the uncertainties are.
    """
    if isinstance(thing, Finding):
        facts = without_uncertainties(thing.facts)
        return thing if facts == thing.facts else cast(T, Finding(thing.code, thing.where, **facts))
    if is_dataclass(thing) and not isinstance(thing, type):
        changed = {}
        for f in fields(thing):
            value = getattr(thing, f.name)
            new = _unstated(value) if _UNCERTAINTY.fullmatch(f.name) else without_uncertainties(value)
            if new is not value:
                changed[f.name] = new
        return cast(T, replace(thing, **changed)) if changed else thing
    if isinstance(thing, tuple) and not hasattr(thing, "_fields"):
        listed = tuple(without_uncertainties(one) for one in thing if not (isinstance(one, Finding) and one.code in _JUDGES))
        same = len(listed) == len(thing) and all(a is b for a, b in zip(listed, thing, strict=True))
        return thing if same else cast(T, listed)
    if isinstance(thing, Mapping):
        return cast(T, {k: None if "U" in str(k).split("_") else without_uncertainties(v) for k, v in thing.items()})
    return thing


def _unstated(value: object) -> object:
    if isinstance(value, float):
        return value if math.isnan(value) else math.inf
    if isinstance(value, np.ndarray):
        return np.full(value.shape, np.nan)
    if isinstance(value, tuple):
        return tuple(math.inf for _ in value) if all(isinstance(v, float) for v in value) else ()
    return {} if isinstance(value, Mapping) else value
