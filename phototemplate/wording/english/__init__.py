"""English: one table for each room whose findings it words."""

from __future__ import annotations

from phototemplate.wording.english import capture, edges, network, template
from phototemplate.wording.words import Language

ENGLISH = Language(
    words={**capture.WORDS, **network.WORDS, **edges.WORDS, **template.WORDS},
    units={"mm": " mm", "px": " px", "deg": " degrees", "kg": " kg", "percent": " %"},
    last=" and ",
    more="{n} more",
    span="{low} to {high}",
)
"""The language of the program's first table"""
