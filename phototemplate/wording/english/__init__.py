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
        "hint-off-plane": "its hint does not lie on the work plane in the photo", "no-photo": "no photo shows the place",
        "no-step": "there is no grey step along it in any photo", "unsharp": "the photos do not show it sharply enough",
        "contradictory": "the photos contradict each other along it",
        "no-contact-sheet": "none of its contact sheets was found in the photos",
        "few-strip-targets": "fewer than three targets of its strips were found",
        "outer": "outer", "inner": "inner", "better-supported": "better supported",
        "arc": "an arc", "profile": "a profile",
        "turned": "turned by 90 degrees", "right": "from further to the right", "left": "from further to the left",
        "closer": "from closer", "from-here": "from about there",
        "meets": "meets", "fails": "fails", "cannot tell": "cannot tell",
    },
    last=" and ",
    more="{n} more",
    span="{low} to {high}",
)
"""The language of the program's first table"""
