"""English words of the findings about outline and pieces."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    # outline
    "loop-open": Words(
        "edges do not close to a loop",
        "",
    ),
    "loop-edge-missing": Words(
        "a loop lacks an edge that was not found",
        "The loop is open where {edges} should be, which was not found.",
        "See {edges}.",
    ),
    "corner-unseen": Words(
        "a wall was not seen up to its corner",
        "",
    ),
    "corner-grazing": Words(
        "two edges meet at a flat angle and their corner is uncertain",
        "",
    ),
    "interval-not-normal": Words(
        "an uncertainty interval is not symmetric enough for U alone",
        "The length of {where} is {length_mm:.1f} with U {U_mm:.2f} by the usual propagation, but lies between {low_mm:.2f} "
        "and {high_mm:.2f} by Monte Carlo.",
        "Trust the wider one; a corner at a flat angle needs its edges seen closer to it.",
    ),
    "tolerance": Words(
        "verdict of an edge against the tolerance",
        "{where}: {verdict_word} within {tolerance_mm:.2f} (U {U_mm:.2f}[ at the {place}]).",
        "[{remedy} That would bring U to {remedy_U_mm:.2f}.]",
    ),
    # pieces
    "edge-moved": Words(
        "an edge was made straight, parallel, square or in line",
        "",
    ),
    "edge-into-wall": Words(
        "a straight edge would run into the wall",
        "",
    ),
    "inside-corner-tight": Words(
        "an inside corner is tighter than the tool or the shop's minimum",
        "",
    ),
    "overhang-unsupported": Words(
        "an overhang is larger than the usual unsupported limit",
        "",
    ),
    "span-unsupported": Words(
        "the stone spans more than the usual limit without support",
        "",
    ),
    "cutout-near-edge": Words(
        "little stone is left between a cut-out and an edge",
        "",
    ),
    "cutout-near-seam": Words(
        "a cut-out lies close to a seam",
        "",
    ),
    "seam-through-cutout": Words(
        "a seam runs through a cut-out",
        "",
    ),
    "seam-over-dishwasher": Words(
        "a seam lies over a dishwasher",
        "",
    ),
    "seam-proposed": Words(
        "a seam is proposed",
        "",
    ),
    "piece-over-slab": Words(
        "a piece is larger than the slab",
        "",
    ),
    "piece-heavy": Words(
        "a piece is too heavy for one person",
        "",
    ),
    "cabinets-not-flat": Words(
        "the cabinet tops are not flat enough",
        "",
    ),
    "size-unusual": Words(
        "a size lies outside what is usual",
        "",
    ),
    "opening-tight": Words(
        "an opening leaves no room beside the appliance's place",
        "",
    ),
    "receptacle": Words(
        "receptacles along the counter",
        "",
    ),
    "accessibility": Words(
        "an accessibility figure is not met",
        "",
    ),
}
