"""English words of the findings about network and work plane."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    # network
    "photo-not-oriented": Words(
        "a photo could not be placed",
        "",
        "Take it again so that it shares three sheets with other photos.",
    ),
    "single-photo": Words(
        "only one photo: everything rests on the plane assumption",
        "",
        "Take at least five photos from places a step apart.",
    ),
    "weak-geometry": Words(
        "the photos look from too similar places",
        "",
        "Add photos from the other side and one with the phone turned upright.",
    ),
    "lens-not-determined": Words(
        "the photos alone do not determine a lens parameter",
        "",
        "Add one photo with the phone turned by 90 degrees.",
    ),
    "lens-model": Words(
        "an ultra-wide lens was taken for a fish-eye",
        "",
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
        "",
    ),
    "calibration-pattern": Words(
        "a lens departs from every lens model",
        "Look at the lens: a pattern of {pattern_px:.2f} is left in the residuals, which no lens model explains.",
        "Take more photos, the board in every corner of the picture and tilted to all sides.",
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
        "",
    ),
    "sheet-moved": Words(
        "a sheet moved between photos",
        "",
        "Tape the sheet down and photograph everything around it again.",
    ),
    "sheet-curled": Words(
        "a sheet does not lie flat",
        "",
    ),
    "sheet-print-scale": Words(
        "a sheet is printed at another scale",
        "",
    ),
    "scale-missing": Words(
        "no known length: shape without scale",
        "",
        "Measure one long distance between two targets and write it into the job.",
    ),
    "lengths-disagree": Words(
        "known lengths contradict each other",
        "",
    ),
    "length-unused": Words(
        "a known length could not be used",
        "",
    ),
    "length-unchecked": Words(
        "a misread known length would not be noticed",
        "",
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
    "plane-weak": Words(
        "the work plane rests on too few or too narrow sheets",
        "",
        "Lay more sheets, at the far corners of the cabinets too.",
    ),
}
