"""Answers of the studies in English: whether an edge is known well enough, what a line may be, cautions."""

from __future__ import annotations

from typing import Final

PHRASES: Final[dict[str, str]] = {
    "verdict-withheld": "The photos contradict each other: nothing can be said of this edge. Do not cut from it.",
    "verdict-unscaled": "Shape only: no length was known, so nothing can be said in millimetres.",
    "verdict-short": "Known to {known} {place_word}, which is more than {tolerance}; the chance that it is inside is "
                     "{chance_percent:.0f}.",
    "verdict-look": "Known to {known}, but: {doubt}",
    "verdict-good": "Known to {known} or better, inside {tolerance}.",
    "cure-length": "Measure one more length, or the same one more carefully, and write it into the job.",
    "cure-lens": "Take one more photo with the phone turned by 90 degrees, or calibrate the camera.",
    "cure-print": "Measure the check ruler of a printed sheet with a calliper and write it into the job.",
    "cure-thickness": "Measure the thickness of the sheets with their backing.",
    "cure-gap": "Press the contact edge to the wall and photograph it again.",
    "cure-definition": "Photograph the edge from nearer, or lay a contact sheet against it.",
    "cure-photos": "Take two more photos of {edge} from nearer, with the nearest sheets in view, or lay one more sheet there.",
    "reading-edge": "the edge of the top",
    "reading-opening": "the inner edge of a rail or panel, at the opening of a cabinet",
    "reading-joint": "a line on the top (joint, glue line, tape, shadow)",
    "reading-face": "the door or drawer before the cabinet's box",
    "reading-gap": "the gap behind a door",
    "reading-frame": "the joint behind a face frame or beside a side panel",
    "reading-two-edges": "two edges with a gap of {gap_mm:.0f} between them, if the top ends at an appliance there",
    "reading-door": "a line in front and below (door, drawer, face)",
    "reading-raised": "a line above (something that lies on the top)",
    "reading-chance": "no line",
    "reading-other-line": "the line {by_mm:.1f} further {way_word} is the edge, and this is {what}",
    "wall-help": "Hold a straightedge against the wall and measure the gap with feeler gauges, or scribe on site.",
    "caution-dust": "Silica dust: cutting, grinding or drilling stone releases dust that destroys lungs. Cut wet or with "
                    "extraction, wear a fitted respirator (29 CFR 1910.1053 in the shop, 1926.1153 on site; stricter local "
                    "rules prevail).",
    "caution-weight": "Weight: slabs break like glass. Carry upright, with people or gear enough; weights here are estimates.",
    "caution-gas": "Gas and electric appliances are disconnected and connected by licensed people only.",
    "caution-overhang": "Overhangs and spans beyond the limits shown need supports designed for them.",
    "caution-codes": "Local codes and the maker's sheets prevail over every figure on this sheet.",
}
