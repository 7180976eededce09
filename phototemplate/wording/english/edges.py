"""English words of the findings about edges."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    "edge-not-found": Words(
        "no edge where the hint points",
        "",
        "Draw the rough line again closer to the edge, or photograph the edge from nearer.",
    ),
    "edge-single-view": Words(
        "an edge was seen in one photo only",
        "",
        "Take one more photo of this edge from another side.",
    ),
    "edge-off-plane": Words(
        "an edge lies off the work plane",
        "",
    ),
    "edge-ambiguous": Words(
        "two edges lie close together",
        "",
        "Choose one of the two lines in the job file, or photograph the place from nearer.",
    ),
    "edge-faint": Words(
        "both sides of an edge are equally light",
        "",
    ),
    "edge-gaps": Words(
        "part of an edge is hidden",
        "",
        "Clear the edge and take one more photo of the hidden part.",
    ),
    "edge-rough": Words(
        "an edge is not as straight as a line fit claims",
        "",
    ),
    "strip-loose": Words(
        "part of a wall strip does not lie on the wall",
        "",
    ),
    "edge-short": Words(
        "little of an edge was seen",
        "",
        "Take one more photo that shows the whole edge.",
    ),
    "edge-outliers": Words(
        "many points of an edge disagree with its fit",
        "",
    ),
}
