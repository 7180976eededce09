"""How things go wrong: exceptions, findings, assertions.

Three channels, never mixed:

* An **exception** means nothing true can be said. It is a :class:`PhototemplateError`; its text is one sentence that
  tells what, where and what to do, ready to be shown to a shop hand.
* A **finding** means a result is doubtful. It is data, a code with named facts, travels with the result, and is put into
  words by :mod:`phototemplate.wording` where somebody reads it.
* An **assert** is our own bug.

::

    PhototemplateError
    +-- InputError            a photo, file or value that cannot be used      (exit code 2)
    |   +-- JobFileError      the job file: unknown key, unreadable value
    |   +-- JobBusyError      the job is being measured by another program
    |   +-- PhotoError        one photo: unreadable, truncated, too large
    +-- MeasureError          the photos do not allow an answer               (exit code 3)
    +-- OutputError           a result could not be written                   (exit code 4)
    +-- InstallationError     the machine lacks something                     (exit code 5)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from numbers import Integral, Real
from typing import Any, Literal, TypeAlias

Severity = Literal["note", "warning", "serious"]
SEVERITIES: tuple[Severity, ...] = ("serious", "warning", "note")


class PhototemplateError(Exception):
    """Base of every error a user can cause."""

    exit_code = 1


class InputError(PhototemplateError, ValueError):
    """A file or value that cannot be used."""

    exit_code = 2


class JobFileError(InputError):
    """The job file says something that cannot be read."""


class JobBusyError(InputError):
    """Another program is measuring this job."""


class PhotoError(InputError):
    """One photo cannot be used, for the reason of its finding; the others go on."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding)
        self.finding = finding

    def __str__(self) -> str:
        from phototemplate.wording import say  # the words stand above the exceptions

        one = say(self.finding)
        return f"{one.where}: {one.message} {one.remedy}".rstrip()


class MeasureError(PhototemplateError):
    """The photos do not allow an answer."""

    exit_code = 3


class OutputError(PhototemplateError, OSError):
    """A result could not be written."""

    exit_code = 4


class InstallationError(PhototemplateError):
    """The machine lacks a library or program."""

    exit_code = 5


Fact: TypeAlias = "float | int | str | tuple[float | str, ...] | Finding | None"
"""A number in the unit its name ends with (``rise_mm``, ``blur_px``, ``turn_deg``), a name, several of either, something to
do (a finding of its own), or nothing"""


@dataclass(frozen=True)
class Kind:
    """What every finding of one code has in common."""

    severity: Severity
    facts: tuple[str, ...] = ()
    """Names of the facts that each of them gives"""
    retake: bool = False
    """Another photo or another length can cure it"""
    lost: bool = False
    """What it concerns could not be used at all"""


@dataclass(frozen=True, init=False)
class Finding:
    """A doubt that travels with the result: data, without a word of prose."""

    code: str
    """One of :data:`FINDINGS`"""
    where: str
    """Photo, sheet, edge or length it concerns"""
    facts: Mapping[str, Fact]
    """What was seen: exactly the facts that its kind lists"""

    def __init__(self, code: str, where: str, /, **facts: Any) -> None:
        assert code in FINDINGS, f"finding code {code!r} is not listed in errors.FINDINGS"
        wanted = FINDINGS[code].facts
        assert set(facts) == set(wanted), f"finding {code!r} wants the facts {wanted}, not {tuple(facts)}"
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "where", where)
        object.__setattr__(self, "facts", {name: _plain(value) for name, value in facts.items()})

    def __hash__(self) -> int:
        return hash((self.code, self.where))

    @property
    def severity(self) -> Severity:
        return FINDINGS[self.code].severity


def known(code: str, facts: Mapping[str, Any]) -> bool:
    """Whether a stored finding is one of this version's."""
    return code in FINDINGS and set(facts) == set(FINDINGS[code].facts)


def _plain(value: Any) -> Fact:
    """A fact without numpy types; lists become tuples."""
    if value is None or isinstance(value, (str, Finding)):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value)
    return tuple(_plain(one) for one in value)  # type: ignore[misc]


_GAIN = ("how_words", "parameters", "before_value", "after_value")
_SIZES = ("profile", "photo", "wide_px", "high_px", "own_wide_px", "own_high_px")

FINDINGS: dict[str, Kind] = {
    # capture
    "photo-unreadable": Kind("warning", ("reason",), retake=True, lost=True),
    "photo-missing": Kind("warning", ("reason",), retake=True, lost=True),
    "photo-folder": Kind("warning", retake=True, lost=True),
    "photo-empty": Kind("warning", retake=True, lost=True),
    "photo-forbidden": Kind("warning", retake=True, lost=True),
    "photo-cut-short": Kind("warning", retake=True, lost=True),
    "photo-damaged": Kind("warning", retake=True, lost=True),
    "photo-too-large": Kind("warning", ("size_megapixels", "limit_megapixels"), retake=True, lost=True),
    "photo-too-small": Kind("warning", ("wide_px", "high_px", "least_px"), retake=True, lost=True),
    "photo-no-memory": Kind("warning", lost=True),
    "photo-film": Kind("warning", retake=True, lost=True),
    "photo-raw": Kind("warning", retake=True, lost=True),
    "photo-unknown-kind": Kind("warning", retake=True, lost=True),
    "photo-no-targets": Kind("warning", retake=True),
    "photo-few-points": Kind("note", ("n_points",), retake=True),
    "photo-smeared": Kind("warning", ("blur_px", "direction_deg"), retake=True),
    "photo-out-of-focus": Kind("warning", ("blur_px",), retake=True),
    "photo-no-exif": Kind("note"),
    "photo-duplicate": Kind("note", ("twin",)),
    "photo-duplicate-kept": Kind("note", ("twin",)),
    "photo-same-name": Kind("note", ("file", "stem")),
    "lengths-without-unit": Kind("note", ("n_lengths", "examples")),
    "value-improbable": Kind("warning", ("key", "value", "low_value", "high_value")),
    "photo-resaved": Kind("warning", ("software",), retake=True),
    "photo-resized": Kind("warning", ("taken_wide_px", "taken_high_px", "wide_px", "high_px"), retake=True),
    "photo-screenshot": Kind("warning", retake=True),
    "photo-from-messenger": Kind("warning", ("long_px",), retake=True),
    "photo-cropped": Kind("warning", ("wide_px", "high_px"), retake=True),
    "target-id-twice": Kind("serious", ("photo", "n_places", "u_px", "v_px")),
    "target-elsewhere": Kind("serious", ("photos",)),
    "photo-no-view": Kind("warning", retake=True, lost=True),
    "photo-unconnected": Kind("warning", ("targets",), retake=True, lost=True),
    "photo-misfit": Kind("warning", ("targets",), retake=True, lost=True),
    "photo-contradicts": Kind("warning", retake=True, lost=True),
    # network
    "adjustment-unconverged": Kind("serious", retake=True),
    "residuals-unexplained": Kind("serious", ("larger_ratio", "places"), retake=True),
    "residuals-larger": Kind("warning", ("larger_ratio", "places")),
    "single-photo": Kind("warning", retake=True),
    "weak-geometry": Kind("warning", ("apart_deg",), retake=True),
    "lens-not-determined": Kind("note", ("assumed", "determined", *_GAIN), retake=True),
    "lens-few-views": Kind("note", ("determined", *_GAIN), retake=True),
    "lens-model": Kind("note", ("n_agree", "n_pinhole")),
    "focal-contradicts": Kind("warning", ("stated_px", "seen_px"), retake=True),
    "lens-differs": Kind("warning", ("found_px", "profile_px")),
    "profile-dropped": Kind("warning", ("found_px", "profile_px")),
    "profile-turned": Kind("note", ("profile", "photo")),
    "profile-resized": Kind("note", (*_SIZES, "scale_ratio", "wider_ratio")),
    "profile-cropped": Kind("note", (*_SIZES, "wider_ratio")),
    "profile-cropped-resized": Kind("note", (*_SIZES, "scale_ratio", "wider_ratio")),
    "profile-zoomed": Kind("note", ("profile", "photo", "zoom_ratio", "own_zoom_ratio", "scale_ratio", "wider_ratio")),
    "profile-lens-name": Kind("note", ("profile", "photo", "lens", "own_lens", "wider_ratio")),
    "calibration-other-camera": Kind("warning"),
    "calibration-outlier": Kind("warning", ("larger_ratio",)),
    "calibration-rough": Kind("warning", ("larger_ratio",)),
    "calibration-no-board": Kind("warning"),
    "calibration-pattern": Kind("warning", ("pattern_px",)),
    "calibration-residuals": Kind("warning", ("rms_px", "allowed_px", "larger_ratio")),
    "calibration-corners": Kind("warning", ("corner_words",)),
    "calibration-uncertain": Kind("warning", ("U_px",)),
    "calibration-good": Kind("note", ("rms_px", "U_px")),
    "sighting-rejected": Kind("note", ("n_rejected", "n_sightings", "n_of", "target")),
    "sheet-moved": Kind("serious", ("shift_mm", "U_mm", "turn_deg", "photos"), retake=True),
    "strip-elsewhere": Kind("serious", ("shift_mm", "photos"), retake=True),
    "photo-smeared-corners": Kind("warning", ("larger_ratio", "direction_deg"), retake=True),
    "sheet-curled": Kind("warning", ("rise_mm",)),
    "sheet-print-scale": Kind("serious", ("size_percent",)),
    "batch-print-scale": Kind("serious", ("batch", "size_percent")),
    "scale-missing": Kind("serious", retake=True),
    "length-contradicted": Kind("serious", ("given_mm", "found_mm")),
    "lengths-disagree": Kind("serious", ("lengths", "given_mm", "found_mm", "widened_ratio")),
    "length-unused": Kind("warning", ("target",)),
    "length-unchecked": Kind("note", ("unseen_mm",)),
    # work plane
    "cabinet-low": Kind("warning", ("sheets", "off_mm", "U_mm")),
    "cabinet-high": Kind("warning", ("sheets", "off_mm", "U_mm")),
    "level-found": Kind("note", ("sheets", "off_mm", "where_word", "U_mm")),
    "level-one-sheet": Kind("warning", ("sheets", "off_mm", "where_word", "U_mm")),
    "plane-few-sheets": Kind("warning", ("n_sheets",), retake=True),
    "plane-narrow": Kind("warning", ("spread_mm",), retake=True),
    "thickness-unknown": Kind("serious", ()),
    "thickness-found": Kind("warning", ("found_mm", "U_mm", "n_edges")),
    "thickness-contradicted": Kind("serious", ("given_mm", "found_mm")),
    # edges
    "edge-not-found": Kind("serious", ("reason_word",), retake=True, lost=True),
    "edge-line-weak": Kind("serious", ("support_percent", "rise_mm"), retake=True, lost=True),
    "edge-off-path": Kind("serious", ("off_mm", "search_mm"), retake=True, lost=True),
    "edge-level-unknown": Kind("serious", ("level", "levels"), lost=True),
    "edge-level-unclear": Kind("serious", ("level", "other"), retake=True, lost=True),
    "edge-single-view": Kind("warning", ("single_percent", "U_mm"), retake=True),
    "edge-above-plane": Kind("warning", ("height_mm",)),
    "edge-below-plane": Kind("warning", ("height_mm",)),
    "edge-ambiguous": Kind("warning", ("apart_mm", "taken_word", "line"), retake=True),
    "edge-double-line": Kind("warning", ("apart_mm",), retake=True),
    "edge-door-unclear": Kind("warning", ("out_mm", "below_mm"), retake=True),
    "edge-wavering": Kind("warning", ("added_U_mm",), retake=True),
    "edge-gaps": Kind("note", ("gap_mm",), retake=True),
    "contact-sheet-unplaced": Kind("note", ("sheet",), retake=True, lost=True),
    "contact-sheet-no-edge": Kind("note", ("sheet",), lost=True),
    "strip-missing": Kind("note", ("strip",), retake=True, lost=True),
    "edge-not-straight": Kind("warning", ("off_mm", "U_mm", "at_mm")),
    "contact-sheets-uneven": Kind("warning", ("off_mm",)),
    "strip-loose": Kind("warning", ("strip", "off_mm")),
    "edge-short": Kind("note", ("seen_mm", "expected_mm"), retake=True),
    "edge-few-points": Kind("note", ("n_points", "shape_word")),
    "edge-outliers": Kind("warning", ("n_left_out", "n_points")),
    # outline
    "loop-open": Kind("serious", ("first", "second", "gap_mm", "edge", "extension_mm", "apart")),
    "loop-edge-missing": Kind("serious", ("edges",)),
    "loop-levels": Kind("serious", ("edges", "levels")),
    "corner-unseen": Kind("serious", ("neighbour", "beyond_mm")),
    "corner-grazing": Kind("warning", ("first", "second", "loop", "angle_deg")),
    "interval-not-normal": Kind("note", ("length_mm", "U_mm", "low_mm", "high_mm")),
    "tolerance": Kind("note", ("verdict_word", "tolerance_mm", "U_mm", "place", "remedy", "remedy_U_mm")),
    # what to do
    "do-length": Kind("note", ("sheets", "about_mm")),
    "do-photo": Kind("note", ("away_mm", "stand", "above_mm", "look")),
    "do-board-photo": Kind("note", ("tilt_word", "place_word", "size_word", "turn_word")),
    "do-feelers": Kind("note"),
    "do-strip-thickness": Kind("note"),
    "do-strip-middle": Kind("note"),
    "do-sheet-thickness": Kind("note"),
    "do-strip-corner": Kind("note"),
    "do-contact-corner": Kind("note"),
    "do-contact-more": Kind("note"),
    "do-contact-instead": Kind("note"),
    "do-photo-corner": Kind("note"),
    "do-photo-along": Kind("note"),
    "do-choose": Kind("note"),
    # pieces
    "edge-moved": Kind("note", ("edge", "piece", "rule", "start_mm", "middle_mm", "end_mm", "gap_mm", "gap_at_mm")),
    "edge-into-wall": Kind("serious", ("edge", "piece", "rule", "finish", "depth_mm", "at_mm")),
    "inside-corner-tight": Kind("warning", ("corner", "piece", "radius_mm", "cutter_mm", "shop_mm", "give_mm", "wall")),
    "overhang-unsupported": Kind("warning", ("edge", "piece", "overhang_mm", "limit_mm")),
    "span-unsupported": Kind("warning", ("span_mm", "limit_mm")),
    "cutout-near-edge": Kind("warning", ("cutout", "edge", "piece", "web_mm", "limit_mm")),
    "cutout-near-seam": Kind("warning", ("cutout", "edge", "piece", "web_mm", "limit_mm")),
    "cutouts-near": Kind("warning", ("first", "second", "piece", "web_mm", "limit_mm")),
    "cutout-over-dishwasher": Kind("warning", ("cutout", "dishwasher")),
    "seam-through-cutout": Kind("warning", ("seams", "cutout", "piece")),
    "seam-over-dishwasher": Kind("serious", ("dishwasher",)),
    "cutout-off-centre": Kind("warning", ("cutout", "centre", "off_mm")),
    "maker-room-short": Kind("warning", ("cutout", "side", "sheet", "room_mm", "asked_mm")),
    "maker-asks": Kind("note", ("ventilation", "above_mm", "below_mm")),
    "seam-proposed": Kind("note", ("piece", "corner", "material", "seam")),
    "piece-over-slab": Kind("warning", ("piece", "long_mm", "short_mm", "slab_long_mm", "slab_short_mm")),
    "piece-heavy": Kind("warning", ("piece", "weight_kg", "weight_lb", "n_people")),
    "cabinets-not-flat": Kind("warning", ("first", "second", "step_mm", "U_mm", "limit_mm", "within_mm")),
    "size-unusual": Kind("note", ("size", "size_mm", "low_mm", "high_mm")),
    "opening-tight": Kind("warning", ("size", "room_mm", "U_mm")),
    "opening-no-room": Kind("warning", ("clear_mm", "appliance_mm", "room_mm", "asked_mm")),
    "receptacle": Kind("note", ("piece", "edge", "n_receptacles")),
    "accessibility": Kind("warning", ("height_mm", "limit_mm", "missing")),
}
"""Every finding code, how serious it is and which facts it gives. Its words stand in :mod:`phototemplate.wording`."""
