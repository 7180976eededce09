"""English words of the findings about capture."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    "photo-unreadable": Words(
        "a photo could not be opened and was left out",
        "The picture cannot be read ({reason}).",
        "Copy the photo from the camera again, or take it again.",
        several="{n:photo|photos} cannot be read.",
    ),
    "photo-missing": Words(
        "a photo is not there or cannot be reached",
        "There is no such photo, or it cannot be reached ({reason}).",
        "Put it back or take it out of the job.",
        several="{n:photo is|photos are} not there or cannot be reached.",
    ),
    "photo-folder": Words(
        "a folder stands where a photo should",
        "This is a folder, not a photo.",
        "Name the photos in it.",
    ),
    "photo-empty": Words(
        "the file of a photo is empty",
        "The file is empty.",
        "Copy it from the camera again.",
        several="{n:file is|files are} empty.",
    ),
    "photo-forbidden": Words(
        "a photo must not be read",
        "Reading the file is not permitted.",
        "Change its permissions.",
        several="Reading {n:file|files} is not permitted.",
    ),
    "photo-cut-short": Words(
        "the file of a photo is incomplete",
        "The picture is cut short.",
        "Copy it from the camera again.",
        several="{n:picture is|pictures are} cut short.",
    ),
    "photo-damaged": Words(
        "the file of a photo is damaged",
        "The picture is damaged.",
        "Copy it from the camera again.",
        several="{n:picture is|pictures are} damaged.",
    ),
    "photo-too-large": Words(
        "a photo has more pixels than can be read",
        "Its {size_megapixels:.0f} are more than the {limit_megapixels:.0f} that can be read.",
        "Take the photo at a lower resolution.",
        several="{n:photo has|photos have} more than the {limit_megapixels:.0f} that can be read.",
    ),
    "photo-too-small": Words(
        "a photo has too few pixels",
        "A picture of {wide_px} x {high_px} is no photo; at least {least_px} are needed on either side.",
        "Use the photo as the camera stored it.",
    ),
    "photo-no-memory": Words(
        "a photo needs more memory than there is",
        "There is not enough memory for this picture.",
        "Close other programs.",
        several="There is not enough memory for {n:picture|pictures}.",
    ),
    "photo-film": Words(
        "a film is among the photos",
        "This is a film, not a photo.",
        "Take a still picture.",
        several="{n:file is|files are} films, not photos.",
    ),
    "photo-raw": Words(
        "camera raw files are not read",
        "Camera raw files are not read.",
        "Export the photo as JPEG, PNG, TIFF or HEIC without lens correction.",
        several="{n:camera raw file is|camera raw files are} not read.",
    ),
    "photo-unknown-kind": Words(
        "a file is no picture that can be read",
        "This is not a picture of a kind that can be read.",
        "Use JPEG, PNG, TIFF or HEIC.",
        several="{n:file is|files are} not of a kind that can be read.",
    ),
    "photo-no-targets": Words(
        "no target was found in a photo",
        "No printed target was found in {where}.",
        "Photograph so that several sheets are in the picture, sharp, and larger than a thumbnail.",
        several="No printed target was found in {n:photo|photos}.",
    ),
    "photo-few-points": Words(
        "few target points in a photo",
        "Only {n_points:target point was|target points were} found in {where}.",
        "Step back or turn the camera so that more sheets are in the picture.",
        several="Few target points were found in {n:photo|photos} ({n_points} in each).",
    ),
    "photo-smeared": Words(
        "the camera moved while a photo was taken",
        "The camera moved while {where} was taken: it is smeared by {blur_px:.1f} (1 sigma) at {direction_deg:.0f}. Its "
        "targets count less, and edges are traced in the sharp photos where most are sharp.",
        "Hold the camera still or brace it, give more light, and take the photo again.",
        several="The camera moved while {n:photo was|photos were} taken. They are smeared by {blur_px:.1f} (1 "
        "sigma) and count less.",
    ),
    "photo-out-of-focus": Words(
        "a photo is out of focus",
        "{where} is out of focus: blur {blur_px:.1f} (1 sigma). Its targets count less, and edges are traced in the sharp "
        "photos where most are sharp.",
        "Tap on a sheet to focus, clean the lens, and take the photo again.",
        several="{n:photo is|photos are} out of focus. Their blur is {blur_px:.1f} (1 sigma), and they count less.",
    ),
    "photo-no-exif": Words(
        "a photo says nothing of its camera",
        "The file does not say which camera took it; its lens is worked out from the targets alone.",
        "If there is one, use the original file, which carries the camera's data.",
        several="{n:file does|files do} not say which camera took them. Their lens is worked out from the targets "
        "alone.",
    ),
    "photo-duplicate": Words(
        "two photos are (nearly) the same picture",
        "{where} shows the same as {twin} and was left out.",
        "Nothing has to be done; another photo helps only from another place.",
        several="{n:photo was|photos were} left out: they show the same as {twin}.",
    ),
    "photo-duplicate-kept": Words(
        "two photos are (nearly) the same picture, and an edge is drawn in one",
        "{where} shows the same as {twin} and is used all the same, since an edge is drawn in it.",
        "Draw that edge in {twin}, and leave {where} out: it adds confidence that is not earned.",
    ),
    "photo-same-name": Words(
        "two photos differ only in the ending of their names",
        "Another photo is called {stem} too, so {file} is called by its whole name.",
        "If they are the same picture, nothing has to be done; else rename one of them.",
    ),
    "lengths-without-unit": Words(
        "lengths of the job file have no unit",
        "The job file gives {n_lengths} lengths without a unit, such as {examples}; they were read as mm.",
        "See that none of them was meant in inches; in a new job file such a length is refused.",
    ),
    "value-improbable": Words(
        "a value of the job file is possible but improbable",
        "The job file says {key} = {value}; usual is {low_value:g} to {high_value:g}.",
        "Look whether it was meant, and in which unit.",
    ),
    "photo-resaved": Words(
        "a photo was saved again by a program",
        "The picture may not be as the camera took it: it was saved by {software}.",
        "Use the original file: send it as a document or by cable, without cropping or lens correction.",
        several="{n:picture|pictures} may not be as the camera took them: they were saved by {software}.",
    ),
    "photo-resized": Words(
        "a photo has another size than the camera gave it",
        "The picture is not as the camera took it: the camera took {taken_wide_px} x {taken_high_px}, the file has {wide_px} "
        "x {high_px}.",
        "Use the original file: send it as a document or by cable, without cropping or lens correction.",
        several="{n:picture does|pictures do} not have the size that the camera gave them. The longer side was "
        "{taken_wide_px} and is {wide_px}, the shorter {taken_high_px} and {high_px}.",
    ),
    "photo-screenshot": Words(
        "a photo looks like a screenshot",
        "The picture looks like a screenshot.",
        "Use the original file: send it as a document or by cable, without cropping or lens correction.",
        several="{n:picture|pictures} look like screenshots.",
    ),
    "photo-from-messenger": Words(
        "a photo seems to have gone through a messenger",
        "A long side of {long_px} without camera data is what messengers make.",
        "Use the original file: send it as a document or by cable, without cropping or lens correction.",
        several="{n:picture has|pictures have} a long side of {long_px} without camera data, which is what messengers make.",
    ),
    "photo-cropped": Words(
        "a photo has sides that no sensor has",
        "The sides of the picture, {wide_px} x {high_px}, are not those of a sensor: it may be cropped.",
        "Use the original file: send it as a document or by cable, without cropping or lens correction.",
        several="{n:picture has|pictures have} sides that are not those of a sensor and may be cropped. The longer "
        "side is {wide_px}, the shorter {high_px}.",
    ),
    "target-id-twice": Words(
        "the same printed number lies in two places of a photo",
        "{where} lies in {n_places:place|places} of {photo}, near pixel <({u_px:.0f}, {v_px:.0f})>; none of them is used.",
        "Print every number once: replace all but one {where} and take the photos again.",
    ),
    "target-elsewhere": Words(
        "a target lies in quite another place in some photos",
        "{where} lies in quite another place in {photos} than in the other photos; it was left out there.",
        "Use every printed number once; look whether a number was misread in that photo.",
    ),
}
