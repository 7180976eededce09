"""``slab.toml`` beside a job file: what a person decides about one slab, clicked in one of its photos."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from phototemplate.errors import InputError
from phototemplate.settings import Section
from phototemplate.toml_file import read_toml
from phototemplate.units import BareNumbers, Length

SLAB_FILE = "slab.toml"
Clicked = list[tuple[float, float]]
"""px of the stored photo"""


class FaultSpec(Section):
    """A crack, pit or stain that no piece may hold."""

    name: str = "fault"
    outline: Annotated[Clicked, Field(min_length=1)]
    """One point, a line or corners in turn, px of the photo"""
    clearance: Annotated[Length, Field(ge=0)] = 10.0
    """Kept all round"""


class PlaceSpec(Section):
    """Where a piece is laid by hand."""

    piece: str
    at: tuple[Length, Length]
    """Lower left corner of the box round it, from the slab's lower left corner"""
    turn_deg: float = 0.0
    """Against its direction in the plan, anticlockwise"""


class SlabFile(Section):
    """What ``slab.toml`` says; a number without a unit is refused."""

    photo: str
    """Photo in which ``outline`` and faults were clicked"""
    outline: Annotated[Clicked, Field(min_length=3)]
    """Corners of what is usable, in turn from the lower left one on, px of the photo"""
    margin: Annotated[Length, Field(ge=0)] = 25.0
    """Lost at every side"""
    kerf: Annotated[Length, Field(ge=0)] = 4.0
    """Width of the saw's cut"""
    grain: bool = True
    """Pieces keep their direction or are turned by half a turn; false: they may also be turned by a quarter"""
    match_seams: bool = True
    """Pieces that meet at a seam, and panels that take the pattern on, are laid beside each other where they fit"""
    faults: list[FaultSpec] = []
    places: list[PlaceSpec] = []


def read_slab_file(folder: Path) -> SlabFile:
    """Read the file. Raises ``InputError`` naming the place and what to do."""
    path = folder / SLAB_FILE
    if not path.is_file():
        raise InputError(f"{folder} has no {SLAB_FILE}; write one with the photo and the slab's outline clicked in it.")
    return read_toml(path, SlabFile, lambda _: BareNumbers(refused=True))
