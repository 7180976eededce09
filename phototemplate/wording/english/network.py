"""English words of the findings about network and work plane."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    # network
    "photo-no-view": Words(
        "a photo shows no target well enough to be placed",
        "{where} could not be placed: it shows no target well enough; it was left out.",
        "Take one more photo that shows its targets together with those of the other photos.",
        several="{n:photo|photos} show no target well enough to be placed and were left out.",
    ),
    "photo-unconnected": Words(
        "a photo shares no target with the others",
        "{where} could not be placed: it shares no target with the other photos (it shows {targets}); it was left out.",
        "Take one more photo that shows its targets together with those of the other photos.",
        several="{n:photo|photos} share no target with the others (they show {targets}) and were left out.",
    ),
    "photo-misfit": Words(
        "a photo does not fit the others",
        "{where} could not be placed: its targets {targets} do not fit the other photos; it was left out.",
        "Take one more photo that shows its targets together with those of the other photos.",
        several="{n:photo|photos} could not be placed and were left out: their targets {targets} do not fit the other photos.",
    ),
    "photo-contradicts": Words(
        "a photo contradicts the others",
        "{where} contradicts the other photos; it was left out.",
        "Take it again.",
        several="{n:photo|photos} contradict the others and were left out.",
    ),
    "adjustment-unconverged": Words(
        "the adjustment came to no end: not to be cut from",
        "The adjustment of the photos came to no end, so nothing measured here is to be cut from.",
        "Take more photos from other places, each with several sheets; leave photos out that look wrong.",
    ),
    "residuals-unexplained": Words(
        "the photos contradict each other too much: not to be cut from",
        "Targets lie {larger_ratio:.1f} times as far from where they should be as they can be seen[, most in {places}]; "
        "neither noise nor what a camera does explains it, so no uncertainty can be stated and nothing is to be cut from it.",
        "Look whether sheets lie flat and fast, leave photos out that are smeared or cropped, and take more photos.",
    ),
    "residuals-larger": Words(
        "residuals are larger than stated, U was enlarged",
        "Targets lie {larger_ratio:.1f} times as far from where they should be as they can be seen[, most in {places}]; "
        "every uncertainty was enlarged by as much.",
        "Hold the camera still and fix the sheets; sharper photos make it smaller.",
    ),
    "single-photo": Words(
        "only one photo: everything rests on the plane assumption",
        "Only one photo could be used: heights are not measured, the sheets are taken to lie in one plane.",
        "Take photos from at least three places.",
    ),
    "weak-geometry": Words(
        "the photos look from too similar places",
        "The photos see the sheets from directions only {apart_deg:.0f} apart; heights are weak.",
        "Add photos from both ends of the run and from higher up.",
    ),
    "lens-not-determined": Words(
        "the photos alone do not determine a lens parameter",
        "The photos do not determine {assumed} of the lens; usual values were assumed.[ They do determine {determined}.]",
        "[One more photo {how_words} would bring <u({parameters}) from {before_value:.2g} to {after_value:.2g}>. ]Photos "
        "turned by 90 degrees and from the other side help, and so does calibrating the camera (`phototemplate calibrate`).",
    ),
    "lens-few-views": Words(
        "the photos look from much the same places, so the lens rests on few views",
        "The photos look from much the same places, so the lens rests on few views.[ They do determine {determined}.]",
        "[One more photo {how_words} would bring <u({parameters}) from {before_value:.2g} to {after_value:.2g}>. ]Photos "
        "turned by 90 degrees and from the other side help, and so does calibrating the camera (`phototemplate calibrate`).",
    ),
    "lens-model": Words(
        "an ultra-wide lens was taken for a fish-eye",
        "This lens was taken for a fish-eye: {n_agree:target agrees|targets agree} with it, {n_pinhole} with a pinhole lens.",
        "Calibrate it (`phototemplate calibrate`), or use the main camera.",
    ),
    "focal-contradicts": Words(
        "a photo states another focal length than its sheets show",
        "The photo files state a focal length that gives {stated_px:.0f}, the sheets in them show about {seen_px:.0f}: "
        "cropped, zoomed or corrected by software?",
        "Use the photos as the camera stored them; the sheets' value was used.",
    ),
    "lens-differs": Words(
        "the lens found differs from its profile",
        "The lens found (f {found_px:.0f}) differs from its profile (f {profile_px:.0f}) by more than the profile allows.",
        "Calibrate the camera again; check that zoom and picture size are those of the profile.",
    ),
    "profile-dropped": Words(
        "a camera profile does not fit the photos and was not used",
        "The lens found (f {found_px:.0f}) differs from its profile (f {profile_px:.0f}) by more than the profile allows; "
        "the profile was not used.",
        "Calibrate the camera again; check that zoom and picture size are those of the profile.",
    ),
    "profile-turned": Words(
        "photos were turned by software after their profile",
        "Profile {profile} fits photos like {photo} nearly: their pixels were turned by software. The principal point was "
        "set to the middle with a wider uncertainty.",
        "Calibrate this lens with photos of this very kind, or add a photo turned by 90 degrees.",
    ),
    "profile-resized": Words(
        "photos have another size than their profile",
        "Profile {profile} fits photos like {photo} nearly: they have another size ({wide_px} x {high_px} instead of "
        "{own_wide_px} x {own_high_px}). Focal length and principal point were multiplied by {scale_ratio}; its "
        "uncertainties were taken {wider_ratio:g} times as large.",
        "Calibrate this lens with photos of this very kind, or add a photo turned by 90 degrees.",
    ),
    "profile-cropped": Words(
        "photos are cropped against their profile",
        "Profile {profile} fits photos like {photo} nearly: they are cropped ({wide_px} x {high_px} instead of {own_wide_px} "
        "x {own_high_px}). The crop was taken to be about the middle; its uncertainties were taken {wider_ratio:g} times as "
        "large.",
        "Calibrate this lens with photos of this very kind, or add a photo turned by 90 degrees.",
    ),
    "profile-cropped-resized": Words(
        "photos are cropped and resized against their profile",
        "Profile {profile} fits photos like {photo} nearly: they are cropped and resized ({wide_px} x {high_px} instead of "
        "{own_wide_px} x {own_high_px}). The crop was taken to be about the middle, and focal length and principal point "
        "were multiplied by {scale_ratio}; its uncertainties were taken {wider_ratio:g} times as large.",
        "Calibrate this lens with photos of this very kind, or add a photo turned by 90 degrees.",
    ),
    "profile-zoomed": Words(
        "photos have another digital zoom than their profile",
        "Profile {profile} fits photos like {photo} nearly: digital zoom {zoom_ratio} instead of {own_zoom_ratio}. The focal "
        "length was multiplied by {scale_ratio}; its uncertainties were taken {wider_ratio:g} times as large.",
        "Calibrate this lens with photos of this very kind, or add a photo turned by 90 degrees.",
    ),
    "profile-lens-name": Words(
        "the lens of photos has another name than in their profile",
        "Profile {profile} fits photos like {photo} nearly: the lens calls itself {lens} instead of {own_lens}. It was taken "
        "to be the same lens; its uncertainties were taken {wider_ratio:g} times as large.",
        "Calibrate this lens with photos of this very kind, or add a photo turned by 90 degrees.",
    ),
    "calibration-other-camera": Words(
        "a photo of the calibration is of another camera or zoom",
        "{where} is of another camera, zoom or picture size than the others; it was left out.",
        "Calibrate each lens and zoom with its own photos.",
        several="{n:photo is|photos are} of another camera, zoom or picture size than the others and left out.",
    ),
    "calibration-outlier": Words(
        "a photo of the calibration board contradicts the others",
        "{where} contradicts the other photos[ ({larger_ratio:.1f} times the usual residuals)]; it was left out.",
        "Was the zoom or the lens another one, or did the board bend? Take it again.",
        several="{n:photo|photos} contradict the others and were left out.",
    ),
    "calibration-rough": Words(
        "a photo of the calibration board fits worse than the others",
        "{where} fits worse than the other photos: {larger_ratio:.1f} times their residuals.",
        "Look whether it is blurred or the board bent; take it again if so.",
    ),
    "calibration-no-board": Words(
        "a photo does not show the calibration board",
        "{where} does not show the board well enough; it was left out.",
        "Photograph the whole board, sharp and evenly lit.",
        several="{n:photo does|photos do} not show the board well enough and were left out.",
    ),
    "calibration-pattern": Words(
        "a lens departs from every lens model",
        "Look at the lens: a pattern of {pattern_px:.2f} is left in the residuals, which no lens model explains.",
        "Take more photos, the board in every corner of the picture and tilted to all sides.",
    ),
    "calibration-residuals": Words(
        "residuals of a calibration are larger than its corners allow",
        "The residuals of {rms_px:.2f} are {larger_ratio:.0f} times what single corners allow ({allowed_px:.2f}); the lens is "
        "not well calibrated.",
        "Is the board bent, was it moved or bent between photos, does the lens move to steady the picture, or is it of another "
        "kind? Use a stiff board that holds still, and a tripod or a quick shutter.",
    ),
    "calibration-corners": Words(
        "the calibration board was never seen in part of the picture",
        "The lens is calibrated, but the board was never seen in {corner_words} of the picture; there the lens is guessed.",
        "Take more photos, the board in every corner of the picture and tilted to all sides.",
    ),
    "calibration-uncertain": Words(
        "the calibration photos leave the lens uncertain",
        "The photos leave the lens uncertain (up to {U_px:.1f} at k = 2).",
        "Take more photos, the board in every corner of the picture and tilted to all sides.",
    ),
    "calibration-good": Words(
        "a lens is well calibrated",
        "The lens is well calibrated: residuals of {rms_px:.2f}, known to {U_px:.1f} (k = 2) or better everywhere.",
    ),
    "sighting-rejected": Words(
        "a wrong sighting was left out",
        "Of the {n_sightings} sightings in {where}, {n_rejected} were left out (<{n_of} of {target}>).",
    ),
    "sheet-moved": Words(
        "a sheet moved between photos",
        "{where} lies {shift_mm:.1f} (U {U_mm:.2f})[ and {turn_deg:.1f}] elsewhere in {photos} than in the other photos; it "
        "was left out there.",
        "Fix the sheets with tape and photograph again, or remove the photos from before the move.",
    ),
    "strip-elsewhere": Words(
        "a wall strip came loose",
        "{where} lies[ up to {shift_mm:.1f}] elsewhere in {photos} than in the other photos; it was left out there.",
        "Press the strip to the wall along its whole length and photograph that wall again.",
    ),
    "photo-smeared-corners": Words(
        "a photo is smeared",
        "The corners in {where} lie {larger_ratio:.1f} times as far off as their sharpness says, most along "
        "{direction_deg:.0f}, so they count less.",
        "Hold the phone still for this photo, with both hands or leaning on something, and take it again.",
    ),
    "sheet-curled": Words(
        "a sheet does not lie flat",
        "{where} bends by {rise_mm:.1f}.",
        "Its bend was measured and used; stick sheets on something flat.",
        several="{n:sheet bends|sheets bend} by {rise_mm:.1f}.",
    ),
    "sheet-print-scale": Words(
        "a sheet is printed at another scale",
        "{where} is printed at {size_percent:.1f} of the other targets' size.",
        "Its own size was measured and used; print it again at 100 % before the next job.",
    ),
    "batch-print-scale": Words(
        "all targets of a kind measure another size than nominal",
        "All targets of kind {batch} measure {size_percent:.1f} of their nominal size: either they were printed at another "
        "scale, or the known length is misread.",
        "Check the ruler on a sheet against a steel rule, and the known length against its record.",
    ),
    "scale-missing": Words(
        "no known length: shape without scale",
        "No known length could be used: the shape is right, its size rests on the nominal size of the prints.",
        "Measure a bar or a tape length between two targets and give it.",
    ),
    "length-contradicted": Words(
        "one known length is contradicted by the others",
        "{where} is given as {given_mm:.1f}, but the other known lengths make it {found_mm:.1f}; it was left out.",
        "Measure it again and correct the value.",
    ),
    "lengths-disagree": Words(
        "known lengths contradict each other",
        "The known lengths contradict each other (<{lengths}: {given_mm:.1f} given, {found_mm:.1f} found>); all were kept "
        "and trusted {widened_ratio:.0f} times less.",
        "Measure them again; one of them is wrong.",
    ),
    "length-unused": Words(
        "a known length could not be used",
        "{where} ends at {target}, which was not found in enough photos.",
        "Take two more photos that show {target}, or give a length between other targets.",
    ),
    "length-unchecked": Words(
        "a misread known length would not be noticed",
        "Nothing checks {where}: a misreading[ of up to {unseen_mm:.0f}] would not be noticed.",
        "Add a second known length, for example a tape reading between two far sheets.",
    ),
    # work plane
    "cabinet-low": Words(
        "a cabinet top lies below the others",
        "The top at {sheets} lies {off_mm} below the other cabinets (U {U_mm}).",
        "Shim it up before the stone goes on.",
    ),
    "cabinet-high": Words(
        "a cabinet top lies above the others",
        "The top at {sheets} lies {off_mm} above the other cabinets (U {U_mm}).",
        "Lower it or shim the others up to it.",
    ),
    "level-found": Words(
        "the cabinet tops lie on several levels",
        "The tops at {sheets} lie {off_mm:.1f} {where_word} the others (U {U_mm:.1f}): they are taken for a level of their "
        "own, {where}.",
        "Check that this is so; a level gets its name, and cabinets their level, with level = in the job file.",
    ),
    "level-one-sheet": Words(
        "one sheet alone lies on another level",
        "{sheets} lies {off_mm:.1f} {where_word} the others (U {U_mm:.1f}), alone: it is taken for a level of its own, "
        "{where}, whose tilt nothing tells.",
        "Lay two sheets or more on every level; if it lies on a box or a pile, take it away and photograph again.",
    ),
    "plane-few-sheets": Words(
        "the work plane rests on too few sheets",
        "The work plane rests on {n_sheets:sheet|sheets} only; its tilt comes from the paper.",
        "Lay sheets at both ends of every run, some at the front edge and some at the back.",
    ),
    "plane-narrow": Words(
        "the sheets lie almost in one line",
        "The sheets lie almost in one line (spread {spread_mm:.0f} across it), so the tilt of the work plane is weak.",
        "Lay sheets at both ends of every run, some at the front edge and some at the back.",
    ),
    "thickness-unknown": Words(
        "nobody has said what lies under the sheets",
        "Nobody has said how thick {where} are, paper and board together, and no edge tells: anything from 0.1 to 4 mm "
        "was allowed for.",
        "Say what lies under the sheets; measure paper and board together with a calliper.",
    ),
    "thickness-found": Words(
        "the thickness of the sheets was found from the edges",
        "Nobody has said how thick {where} are, paper and board together: the heights of {n_edges} edges say {found_mm:.1f} "
        "(U {U_mm:.1f}), which was taken.",
        "Say what lies under the sheets; measure paper and board together with a calliper.",
    ),
    "thickness-contradicted": Words(
        "the edges contradict the thickness of the sheets",
        "As given, {where} are {given_mm:.1f} thick, paper and board together; the heights of the edges say {found_mm:.1f}. "
        "U covers both.",
        "Measure paper and board together with a calliper and correct the thickness, or check that the edges are those of the "
        "tops.",
    ),
}
