"""Families of kitchens, each with its own style: how it is built, of what, how it is lit, printed for and photographed.

Priors and thresholds may be chosen on the kitchens of ``DEVELOP``; those of ``VERIFY`` only judge, unseen. The two
differ in style, not only in the numbers drawn. ``make(name, seed, prints)`` draws one kitchen of a family.
"""

from __future__ import annotations

from pathlib import Path

from ..phone import Phone
from ..scene import Scene
from . import develop, verify, verify_rooms

DEVELOP = develop.FAMILIES
VERIFY = verify.FAMILIES | verify_rooms.FAMILIES
FAMILIES = DEVELOP | VERIFY
"""Name -> (seed, folder for the prints or None, phones or None) -> scene"""


def make(name: str, seed: int, prints: Path | None, phones: tuple[Phone, ...] | None = None) -> Scene:
    """A kitchen of a family; the same name, seed and phones give the same scene.

    ``phones``: take these in place of one drawn at random; several take turns.

    Raises:
        KeyError: there is no such family.
    """
    return FAMILIES[name](seed, prints, phones)
