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
    "profile-near": Words(
        "a camera profile is of a similar, not the same lens or setting",
        "",
    ),
    "calibration-outlier": Words(
        "a photo of the calibration board contradicts the others",
        "",
    ),
    "calibration-weak": Words(
        "the photos of the calibration board leave part of the lens open",
        "",
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
