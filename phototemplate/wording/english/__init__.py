"""English: one table for each room whose findings it words."""

from __future__ import annotations

from phototemplate.wording.english import answers, capture, edges, network, template
from phototemplate.wording.words import Language

ENGLISH = Language(
    words={**capture.WORDS, **network.WORDS, **edges.WORDS, **template.WORDS},
    checks=template.CHECKS,
    phrases=answers.PHRASES,
    units={"mm": " mm", "px": " px", "deg": " degrees", "kg": " kg", "lb": " lb", "percent": " %", "megapixels": " megapixels"},
    names={
        "upper-left": "the upper left corner", "upper-right": "the upper right corner",
        "lower-left": "the lower left corner", "lower-right": "the lower right corner",
        "middle": "the middle",
        "tilt-square": "facing the camera squarely",
        "tilt-left": "tilted by 40 degrees so that its left side is near",
        "tilt-right": "tilted by 40 degrees so that its right side is near",
        "tilt-top": "tilted by 40 degrees so that its top side is near",
        "tilt-bottom": "tilted by 40 degrees so that its bottom side is near",
        "fills-most": "filling most of the picture", "fills-half": "filling about half of the picture",
        "camera-turned": "the camera turned by 90 degrees",
        "not-round": "its clicks lie on no arc; a round edge takes three along it, a whole circle all around",
        "hint-off-plane": "its hint does not lie on the work plane in the photo", "no-photo": "no photo shows the place",
        "no-step": "there is no grey step along it in any photo", "no-such-line": "there is no line of the kind that was named",
        "unsharp": "the photos do not show it sharply enough",
        "contradictory": "the photos contradict each other along it",
        "no-contact-sheet": "none of its contact sheets was found in the photos",
        "few-strip-targets": "fewer than three targets of its strips were found",
        "outer": "outer", "inner": "inner", "better-supported": "better supported",
        "arc": "an arc", "circle": "a circle", "profile": "a profile",
        "turned": "turned by 90 degrees", "right": "from further to the right", "left": "from further to the left",
        "closer": "from closer", "from-here": "from about there",
        "above": "above", "below": "below",
        "meets": "meets", "fails": "fails", "cannot tell": "cannot tell",
        "further-out": "out", "further-in": "in",
        "place-start": "at its start", "place-middle": "in its middle", "place-end": "at its end",
        "place-first quarter": "in its first quarter", "place-third quarter": "in its third quarter",
    },
    last=" and ",
    more="{n} more",
    span="{low} to {high}",
    withheld="withheld",
)
"""The language of the program's first table"""
