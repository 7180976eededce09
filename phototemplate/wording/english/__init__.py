"""English: one table for each room whose findings it words."""

from __future__ import annotations

from phototemplate.wording.english import capture, edges, network, template
from phototemplate.wording.words import Language

ENGLISH = Language(
    words={**capture.WORDS, **network.WORDS, **edges.WORDS, **template.WORDS},
    checks=template.CHECKS,
    units={"mm": " mm", "px": " px", "deg": " degrees", "kg": " kg", "lb": " lb", "percent": " %", "megapixels": " megapixels"},
    names={
        "upper-left": "the upper left corner", "upper-right": "the upper right corner",
        "lower-left": "the lower left corner", "lower-right": "the lower right corner",
        "turned": "turned by 90 degrees", "right": "from further to the right", "left": "from further to the left",
        "closer": "from closer", "from-here": "from about there",
        "meets": "meets", "fails": "fails", "cannot tell": "cannot tell",
    },
    last=" and ",
    more="{n} more",
    span="{low} to {high}",
)
"""The language of the program's first table"""
