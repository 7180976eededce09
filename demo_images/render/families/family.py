"""What a family is: a function that draws one of its kitchens."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from ..phone import Phone, random_phone
from ..scene import Scene

Phones = tuple[Phone, ...] | None
"""Taken in turn; None: one drawn at random"""
Family = Callable[[int, Path | None, Phones], Scene]
"""(seed, folder for the prints or None for geometry alone, phones) -> a kitchen of the family"""


def chosen(phones: Phones, seed: int) -> tuple[Phone, ...]:
    """The phones of a kitchen; a drawn one leaves the kitchen's other draws alone, so that its phone can be replaced."""
    return phones or (random_phone(np.random.default_rng([seed, 9])),)


def printed(rng: np.random.Generator) -> tuple[float, float]:
    """Scales of a home printer along and across its feed."""
    feed = float(rng.normal(1.0, 0.002))
    return feed, feed + float(rng.normal(0, 5e-4))
