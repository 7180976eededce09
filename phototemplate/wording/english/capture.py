"""English words of the findings about capture."""

from __future__ import annotations

from phototemplate.wording.words import Words

WORDS: dict[str, Words] = {
    "photo-unreadable": Words(
        "a photo could not be opened and was left out",
        "",
        "Copy the photo from the phone again, or take it again.",
    ),
    "photo-no-targets": Words(
        "no target was found in a photo",
        "",
        "Take it again with at least three sheets in view.",
    ),
    "photo-few-points": Words(
        "few target points in a photo",
        "",
        "Step back or turn so that more sheets are in view.",
    ),
    "photo-blurred": Words(
        "a photo is blurred and counts less",
        "",
        "Hold still, more light, and take it again from the same place.",
    ),
    "photo-no-exif": Words(
        "a photo says nothing of its camera",
        "",
    ),
    "photo-duplicate": Words(
        "two photos are (nearly) the same picture",
        "",
    ),
    "photo-edited": Words(
        "a photo looks resized, cropped or corrected by software",
        "",
        "Use the photo as the phone stored it, not sent through a messenger or an editor.",
    ),
    "target-id-twice": Words(
        "the same printed number lies in two places",
        "",
    ),
}
