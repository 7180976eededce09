"""English words of the findings about edges."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    "edge-not-found": Words(
        "an edge was not found",
        "{where} was not found: {reason_word}.",
        "Draw its hint again in another photo, closer to the edge, or use a contact sheet or wall strip.",
    ),
    "edge-line-weak": Words(
        "no line near a hint is plain enough to be the edge",
        "{where} was not found: the plainest line there shows along {support_percent:.0f} of it and lies {rise_mm:+.1f} from "
        "the height of the cabinet tops, which is not enough to call it the edge.",
        "Draw its hint again in another photo, closer to the edge, or use a contact sheet or wall strip.",
    ),
    "edge-off-path": Words(
        "what was found leaves the path that was drawn",
        "{where} was not measured: what was found leaves its path by {off_mm:.0f}, more than the {search_mm:.0f} searched to "
        "each side.",
        "Draw its path again with clicks on the edge itself, three or more along a round one, or allow more to each side.",
    ),
    "edge-level-unknown": Words(
        "an edge is said to lie on a level that there is not",
        "{where} is said to lie on the level {level}, but the tops lie on {levels}.",
        "Correct level = at this edge in the job file, or name the level at the cabinets that lie on it.",
        in_app="Say at the edge on which level it lies.",
    ),
    "edge-level-unclear": Words(
        "an edge may lie on either of two levels",
        "{where} was not measured: it may lie on the level {level} as well as on {other}.",
        "Say which with level = at this edge in the job file, or draw its hint again in a photo that shows the edge plainly.",
        in_app="Say at the edge on which level it lies.",
    ),
    "edge-single-view": Words(
        "an edge was seen in one photo only",
        "{where} is seen in one photo only over {single_percent:.0f} of its length; its height is assumed (U {U_mm:.0f}).",
        "Photograph it once more from another place.",
    ),
    "edge-above-plane": Words(
        "an edge lies above the work plane",
        "{where} lies {height_mm:.1f} above the work plane.",
        "Check that this is the edge of the cabinet top, and shim the cabinet if it is.",
    ),
    "edge-below-plane": Words(
        "an edge lies below the work plane",
        "{where} lies {height_mm:.1f} below the work plane.",
        "Check that this is the edge of the cabinet top, and shim the cabinet if it is.",
    ),
    "edge-ambiguous": Words(
        "two edges lie close together",
        "Two edges run {apart_mm:.1f} apart near {where}; the one taken is the {taken_word} one.",
        'Look at it in the photos. In the job file, line = "{line}" at this edge takes the other, line = "box" confirms this '
        "one.",
        in_app="Look at it in the photos, and say at the edge which line is meant.",
    ),
    "edge-double-line": Words(
        "a second line runs too close to an edge to be traced alone",
        "Two edges run {apart_mm:.1f} apart near {where}; the one taken is the stronger, inner one, and the outer one is too "
        "near to it to be traced alone.",
        "Look at it from near; if the outer one is the edge, take off what lies behind it (tape, a hard shadow) or "
        "photograph it from half the distance.",
    ),
    "edge-door-unclear": Words(
        "it is not certain which line is the face of the doors",
        "At {where} the line {out_mm:.1f} before the edge of the box and {below_mm:.1f} below it was taken for the face of the "
        "doors, but that is not certain.",
        "Look at it in the photos, measure the distance from box to door with a rule, and photograph the doors' upper edges "
        "obliquely from above.",
    ),
    "edge-wavering": Words(
        "an edge wavers between lines that run close together",
        "What the photos show along {where} wavers between lines that run close together; {added_U_mm:.1f} were added to "
        "its U.",
        "Look at it from near, lay a dark tape along the face just below the edge, or butt a contact sheet against it.",
    ),
    "edge-gaps": Words(
        "part of an edge is hidden",
        "Of {where}, {gap_mm:.0f} are hidden in all photos.",
        "Fine where the edge is straight; otherwise clear it and take one more photo of the hidden part.",
    ),
    "contact-sheet-unplaced": Words(
        "a contact sheet could not be placed",
        "Contact sheet {sheet} of {where} was not used: no photo shows it well enough to place it.",
        "Photograph it in two or more photos, or take its name off the edge.",
    ),
    "contact-sheet-no-edge": Words(
        "a target given as contact sheet has no contact edge",
        "Contact sheet {sheet} of {where} was not used: it has no contact edge.",
        "Take its name off the edge, or use a sheet with a cut edge.",
    ),
    "strip-missing": Words(
        "a wall strip was not found",
        "Strip {strip} of {where} was not found in two or more photos.",
        "Photograph it again, or take its name off the edge.",
    ),
    "edge-not-straight": Words(
        "an edge is not as straight as a line fit claims",
        "{where} is not straight: it departs from the fitted line by {off_mm:.1f} (U {U_mm:.1f}), {at_mm:.0f} from its start.",
        "Claim it as a profile (shape = \"profile\"), or check that the right edge was traced.",
        in_app="Let its shape follow every bow, or check that the right edge was traced.",
    ),
    "contact-sheets-uneven": Words(
        "contact sheets of an edge do not lie on one line",
        "The contact sheets of {where} are up to {off_mm:.1f} off one straight line.",
        "If the wall is not straight, choose the shape profile or use a wall strip; otherwise one sheet did not touch.",
    ),
    "strip-loose": Words(
        "part of a wall strip does not lie on the wall",
        "Targets of strip {strip} of {where} stand {off_mm:.1f} off their neighbours and were left out.",
        "Press the strip against the wall, or check for something in front of it.",
    ),
    "edge-short": Words(
        "little of an edge was seen",
        "Only {seen_mm:.0f}[ of {expected_mm:.0f}] of {where} were seen, so its direction is uncertain.",
        "Clear what stands in front of it, and take one more photo that shows the whole edge.",
    ),
    "edge-few-points": Words(
        "too few points show the shape that an edge claims",
        "{where} has {n_points:point|points}, which cannot show {shape_word}; a straight line was taken.",
        "Lay more sheets or strips along the edge, or claim a line.",
    ),
    "edge-outliers": Words(
        "many points of an edge disagree with its fit",
        "Of {where}, {n_left_out} of {n_points} points disagree with the rest and were left out.",
        "Look at the trace in the report: part of it may follow another edge or a shadow.",
    ),
}
