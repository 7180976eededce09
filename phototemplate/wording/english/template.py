"""English words of the findings and checks about outline and pieces."""

from __future__ import annotations

from phototemplate.wording.words import CheckWords, Words

WORDS: dict[str, Words] = {
    # outline
    "loop-open": Words(
        "edges do not close to a run",
        "Run {where} is open between edges {first} and {second}, with a gap of {gap_mm:.1f}"
        "[: edge {edge} would have to run on {extension_mm:.0f} beyond what was seen][: the lines of {apart} do not meet].",
        "Trace the edge that is missing between them, or correct the order of the edges in the run.",
    ),
    "loop-edge-missing": Words(
        "a run lacks an edge that was not found",
        "The run is open where {edges} should be, which was not found.",
        "See {edges}.",
    ),
    "loop-levels": Words(
        "a run joins edges on several levels",
        "The run {where} joins {edges}, which lie on the levels {levels} in turn; no one top has such an outline.",
        "Draw the edge of this top where it ends against the other level, or make a run for each level.",
    ),
    "corner-unseen": Words(
        "a wall was not seen up to its corner",
        "{where} was seen only up to {beyond_mm:.0f} from its corner with {neighbour}; walls often swell just there, by more "
        "than a curve can guess.",
        "Tape a strip right into the corner, photograph it from near, or try the corner with a full-size print before cutting.",
    ),
    "corner-grazing": Words(
        "two edges meet at a flat angle and their corner is uncertain",
        "Edges {first} and {second} of run {loop} meet at {angle_deg:.1f}, so their corner moves far for a small error.",
        "Join them as one edge, or mark the corner with a sheet and photograph it.",
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
    # what to do
    "do-length": Words(
        "one more known length",
        "Measure the distance between the centres of sheets {sheets} with a tape (about {about_mm:.0f}) and give it as a known "
        "length.",
    ),
    "do-photo": Words(
        "one more photo of the kitchen",
        "Take one more photo[ from {away_mm:.0f} in front of sheet {stand}, camera {above_mm:.0f} above the cabinet tops, "
        "looking at sheet {look}], with as many other sheets in it as possible.",
    ),
    "do-board-photo": Words(
        "one more photo of the board",
        "Take one more photo of the board: {tilt_word}, in {place_word}, {size_word}[, {turn_word}].",
    ),
    "do-feelers": Words(
        "how far contact sheets stand off",
        "Measure with feeler gauges how far the contact sheets of {where} stand off, and give that gap.",
    ),
    "do-strip-thickness": Words(
        "how thick a wall strip is",
        "Measure paper and tape of the wall strip together with a calliper, and give that thickness.",
    ),
    "do-strip-middle": Words(
        "a wall strip to be taped down",
        "Tape wall strip {where} down in its middle too, tight against the wall, and photograph it again.",
    ),
    "do-sheet-thickness": Words(
        "how thick the sheets are",
        "Measure the thickness of the sheets with a calliper, and give it.",
    ),
    "do-strip-corner": Words("a wall strip up to the corner", "Tape the wall strip of {where} right into the corner."),
    "do-contact-corner": Words(
        "a contact sheet near the corner", "Butt one more contact sheet against {where} close to the corner."
    ),
    "do-contact-more": Words("one more contact sheet", "Butt one more contact sheet against {where}."),
    "do-contact-instead": Words(
        "contact sheets in place of a traced edge",
        "Lay a contact sheet against each end of {where}, read with feeler gauges how far they stand off, and take the edge "
        "from the sheets.",
    ),
    "do-photo-corner": Words(
        "one more photo of an edge's corner",
        "Take a photo that shows {where} up to its corner, and draw its hint up to there.",
    ),
    "do-photo-along": Words(
        "one more photo of a whole edge",
        "Take one more photo that shows the whole of {where}, from another side.",
    ),
    "do-choose": Words(
        "which of two lines is the edge",
        "Two lines run close together at {where}: look at the photos and say which one is the edge.",
    ),
    # pieces
    "edge-moved": Words(
        "an edge was made straight, parallel, square or in line",
        "Edge {edge} of piece {piece} is cut {rule}: start, middle and end move outwards by {start_mm:+.1f}, "
        "{middle_mm:+.1f} and {end_mm:+.1f}; the largest gap it leaves is {gap_mm:.1f}, {gap_at_mm:.0f} from its start.",
    ),
    "edge-into-wall": Words(
        "a straight edge would run into the wall",
        "Edge {edge} of piece {piece}, cut {rule}, would run {depth_mm:.1f} into the {finish} {at_mm:.0f} from its start.",
        "Give it a clearance of {depth_mm:.1f} more, or let it follow the measured edge.",
    ),
    "inside-corner-tight": Words(
        "an inside corner is tighter than the tool or the shop's minimum",
        "Inside corner {corner} of piece {piece} has a radius of {radius_mm:.1f}[, below the cutter's own radius of "
        "{cutter_mm:.1f}][, below the shop's smallest of {shop_mm:.1f}]; cracks start from tight inside corners.",
        "[Give it a radius of {give_mm:.1f} or more.][Relieve it with a drilled hole behind the splash on {wall}.]",
    ),
    "overhang-unsupported": Words(
        "an overhang is larger than the usual unsupported limit",
        "Edge {edge} of piece {piece} overhangs {overhang_mm:.0f}; the usual limit without support is {limit_mm:.0f}.",
        "Have supports designed for it, or reduce the overhang.",
    ),
    "span-unsupported": Words(
        "the stone spans more than the usual limit without support",
        "Over {where} the stone spans {span_mm:.0f}; the usual limit is {limit_mm:.0f}.",
        "Carry it from below.",
    ),
    "cutout-near-edge": Words(
        "little stone is left between a cut-out or hole and an edge",
        "Only {web_mm:.0f} of stone is left between {cutout} and {edge} of piece {piece}; shops leave {limit_mm:.0f}.",
        "Move it, or carry the strip from below.",
    ),
    "cutout-near-seam": Words(
        "a cut-out or hole lies close to a seam",
        "Only {web_mm:.0f} of stone is left between {cutout} and seam {edge} of piece {piece}; shops leave {limit_mm:.0f}.",
        "Move the seam or what is cut out, or carry the strip from below.",
    ),
    "cutouts-near": Words(
        "little stone is left between two cut-outs or holes",
        "Only {web_mm:.0f} of stone is left between {first} and {second} of piece {piece}; shops leave {limit_mm:.0f}.",
        "Move one of them.",
    ),
    "cutout-over-dishwasher": Words(
        "a cut-out lies over a dishwasher",
        "Cut-out {cutout} reaches over dishwasher {dishwasher}, so that its bowl or burner box and the machine may meet and "
        "the machine finds nothing to be screwed to.",
        "Move the cut-out or the machine; compare the makers' sheets.",
    ),
    "seam-through-cutout": Words(
        "a seam runs through a cut-out",
        "Seam {seams} runs through cut-out {cutout} of piece {piece}.",
        "Make sure that the cabinet carries the stone in front of and behind the cut-out, or move the seam.",
    ),
    "seam-over-dishwasher": Words(
        "a seam lies over a dishwasher",
        "Seam {where} lies over dishwasher {dishwasher}, where nothing carries it and steam reaches it.",
        "Move the seam over a cabinet.",
    ),
    "cutout-off-centre": Words(
        "a cut-out stands beside the cabinet's centre line",
        "Cut-out {cutout} stands {off_mm:.1f} beside centre line {centre}.",
        "Look whether the bowl clears the cabinet's sides, or set it out along the centre line.",
    ),
    "maker-room-short": Words(
        "a maker's sheet asks for more room",
        "Cut-out {cutout} has {room_mm:.1f} to the wall on its {side}, where sheet {sheet} asks for {asked_mm:.1f}.",
        "Move the cut-out or choose another appliance; the maker's sheet prevails.",
    ),
    "maker-asks": Words(
        "a maker's sheet asks for what is not checked here",
        "Maker's sheet {where} asks for more than the stone shows[: ventilation, {ventilation}][; {above_mm:.0f} clear above]"
        "[; {below_mm:.0f} clear below].",
        "See to it with the maker's sheet in hand; it prevails.",
    ),
    "seam-proposed": Words(
        "a seam is proposed",
        "Piece {piece} could have a seam[ at its inside corner {corner}][, since it is larger than the slab of {material}].",
        "To cut it, write under the piece's seams: {seam}.",
        in_app="Take it up at the piece, or place one of your own.",
    ),
    "piece-over-slab": Words(
        "a piece is larger than the slab",
        "Piece {piece} needs {long_mm:.0f} by {short_mm:.0f}; the slab gives {slab_long_mm:.0f} by {slab_short_mm:.0f}.",
        "Place a seam (see the proposals) or choose a larger slab.",
    ),
    "piece-heavy": Words(
        "a piece is too heavy for one person",
        "Piece {piece} weighs about {weight_kg:.0f} ({weight_lb:.0f}), which asks for [a team of at least {n_people} people "
        "or ]lifting gear.",
        "Plan the carry before cutting.",
    ),
    "cabinets-not-flat": Words(
        "the cabinet tops are not flat enough",
        "Between {first} and {second} the cabinet tops differ by {step_mm:.1f} (U {U_mm:.1f}); the limit is {limit_mm:.1f} "
        "within {within_mm:.0f}.",
        "Shim after the list before stone goes on.",
    ),
    "size-unusual": Words(
        "a size lies outside what is usual",
        "The {size} of {where} is {size_mm:.0f}; usual is {low_mm:.0f} to {high_mm:.0f}.",
        "Make sure that the right edges were traced and compare the maker's sheet; the measurement stands.",
    ),
    "opening-tight": Words(
        "an opening leaves no room beside the appliance's place",
        "At {size}, the panel stands {room_mm:.1f} (U {U_mm:.1f}) within the opening.",
        "Check that the appliance goes between the panels; see the maker's sheet.",
    ),
    "opening-no-room": Words(
        "an opening is no wider than the appliance needs",
        "Opening {where} is {clear_mm:.1f} wide; an appliance of {appliance_mm:.1f} keeps {room_mm:.1f} on each side where "
        "{asked_mm:.1f} is asked for.",
        "Give the appliance's own width and the clearance that its maker asks for, and widen the opening.",
    ),
    "receptacle": Words(
        "receptacles along the counter",
        "Piece {piece}[ along {edge}] wants at least {n_receptacles:receptacle|receptacles} by the edition asked for.",
        "A licensed electrician decides after the code adopted locally.",
    ),
    "accessibility": Words(
        "an accessibility figure is not met",
        "An accessible work surface lies at most {limit_mm:.0f} above the floor[; this one lies at {height_mm:.0f}][; "
        "{missing} is not given].",
        "Lower it, make it adjustable, or give finished_height under the shop's rules; the authority decides.",
    ),
}

CHECKS: dict[str, CheckWords] = {
    "overhang": CheckWords(
        "unsupported overhang", "{overhang_mm:.0f}", "{limit_mm:.0f} at {thickness_mm:.0f}, depth {depth_mm:.0f}"
    ),
    "cutout-edge": CheckWords("stone between cut-out and edge", "{web_mm:.0f}", "{limit_mm:.0f}"),
    "cutout-seam": CheckWords("stone between cut-out and seam", "{web_mm:.0f}", "{limit_mm:.0f}"),
    "cutout-cutout": CheckWords("stone between cut-outs", "{web_mm:.0f}", "{limit_mm:.0f}"),
    "inside-radius": CheckWords("inside corner radius", "{radius_mm:.1f}", "{limit_mm:.1f}"),
    "slab": CheckWords("slab size", "{long_mm:.0f} x {short_mm:.0f}", "{slab_long_mm:.0f} x {slab_short_mm:.0f} usable"),
    "weight": CheckWords("weight", "{weight_kg:.0f} ({weight_lb:.0f})", "{limit_kg:.0f} for a person"),
    "usual-depth": CheckWords("usual depth", "{size}: {size_mm:.0f}", "{low_mm:.0f} to {high_mm:.0f}"),
    "receptacles": CheckWords("receptacles", "{run_mm:.0f}", "{n_receptacles:receptacle|receptacles} at least"),
    "seam-dishwasher": CheckWords("seam over a dishwasher", "[{dishwasher}]", "none"),
    "cutout-dishwasher": CheckWords("cut-out over a dishwasher", "[{dishwasher}]", "none"),
    "span": CheckWords("span between supports", "{span_mm:.0f}", "{limit_mm:.0f} at {thickness_mm:.0f}"),
    "opening-width": CheckWords("usual opening width", "{size_mm:.0f}", "{low_mm:.0f} to {high_mm:.0f}"),
    "opening-room": CheckWords("room beside the appliance", "{room_mm:.1f} a side", "{asked_mm:.1f} a side"),
    "cutout-centre": CheckWords("cut-out on its cabinet's centre line", "{off_mm:.1f} beside {centre}", "{limit_mm:.1f}"),
    "maker-room": CheckWords("room that the maker asks for", "[{side}: {room_mm:.1f}][{open_side}: no wall]", "{asked_mm:.1f}"),
    "maker-asks": CheckWords("what else the maker asks for", "[{ventilation}]",
                             "[{above_mm:.0f} above] [{below_mm:.0f} below]"),
    "opening-panel": CheckWords("panel within an opening", "{size}: {room_mm:.1f} (U {U_mm:.1f})", "0"),
    "flatness": CheckWords("cabinet flatness", "{step_mm:.1f} (U {U_mm:.1f})", "{limit_mm:.1f} within {within_mm:.0f}"),
    "height": CheckWords(
        "height of an accessible work surface", "[{height_mm:.0f}][{missing} not given]", "{limit_mm:.0f} at most"
    ),
}
"""What every check is called, what it found and against which limit"""
