"""How things go wrong: exceptions, findings, assertions.

Three channels, never mixed:

* An **exception** means nothing true can be said. It is a :class:`PhototemplateError`; its text is one sentence that
  tells what, where and what to do, ready to be shown to a shop hand.
* A **finding** means a result is doubtful. It is data, travels with the result and is printed in the report.
* An **assert** is our own bug.

::

    PhototemplateError
    +-- InputError            a photo, file or value that cannot be used      (exit code 2)
    |   +-- JobFileError      the job file: unknown key, unreadable value
    |   +-- PhotoError        one photo: unreadable, truncated, too large
    +-- MeasureError          the photos do not allow an answer               (exit code 3)
    +-- OutputError           a result could not be written                   (exit code 4)
    +-- InstallationError     the machine lacks something                     (exit code 5)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

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


class PhotoError(InputError):
    """One photo cannot be used; the others go on."""


class MeasureError(PhototemplateError):
    """The photos do not allow an answer."""

    exit_code = 3


class OutputError(PhototemplateError, OSError):
    """A result could not be written."""

    exit_code = 4


class InstallationError(PhototemplateError):
    """The machine lacks a library or program."""

    exit_code = 5


@dataclass(frozen=True)
class Finding:
    """A doubt that travels with the result."""

    code: str
    """One of :data:`FINDINGS`"""
    where: str
    """Photo, sheet, edge or length it concerns"""
    message: str
    """One sentence: what was seen"""
    remedy: str = ""
    """One sentence: what to do, empty if nothing"""

    def __post_init__(self) -> None:
        assert self.code in FINDINGS, f"finding code {self.code!r} is not listed in errors.FINDINGS"

    @property
    def severity(self) -> Severity:
        return FINDINGS[self.code][0]


def said_once(findings: Iterable[Finding]) -> list[Finding]:
    """For showing: the serious ones first, and what is said alike of several photos or edges said once of all of them."""
    together: dict[tuple[str, str, str], list[str]] = {}
    for f in findings:
        together.setdefault((f.code, f.message, f.remedy), []).append(f.where)
    merged = [Finding(code, _listed(places), message, remedy) for (code, message, remedy), places in together.items()]
    return sorted(merged, key=lambda f: SEVERITIES.index(f.severity))


def _listed(names: Iterable[str]) -> str:
    names = list(dict.fromkeys(names))
    if len(names) > 4:
        return f"{', '.join(names[:3])} and {len(names) - 3} more"
    return ", ".join(names)


FINDINGS: dict[str, tuple[Severity, str]] = {
    # capture
    "photo-unreadable": ("warning", "a photo could not be opened and was left out"),
    "photo-no-targets": ("warning", "no target was found in a photo"),
    "photo-few-points": ("note", "few target points in a photo"),
    "photo-blurred": ("warning", "a photo is blurred and counts less"),
    "photo-no-exif": ("note", "a photo says nothing of its camera"),
    "photo-duplicate": ("note", "two photos are (nearly) the same picture"),
    "photo-edited": ("warning", "a photo looks resized, cropped or corrected by software"),
    "target-id-twice": ("serious", "the same printed number lies in two places"),
    # network
    "photo-not-oriented": ("warning", "a photo could not be placed"),
    "single-photo": ("warning", "only one photo: everything rests on the plane assumption"),
    "weak-geometry": ("warning", "the photos look from too similar places"),
    "lens-not-determined": ("note", "the photos alone do not determine a lens parameter"),
    "lens-model": ("note", "an ultra-wide lens was taken for a fish-eye"),
    "lens-differs": ("warning", "the lens found differs from its profile"),
    "profile-near": ("note", "a camera profile is of a similar, not the same lens or setting"),
    "calibration-outlier": ("warning", "a photo of the calibration board contradicts the others"),
    "calibration-weak": ("warning", "the photos of the calibration board leave part of the lens open"),
    "sighting-rejected": ("note", "a wrong sighting was left out"),
    "sheet-moved": ("serious", "a sheet moved between photos"),
    "sheet-curled": ("warning", "a sheet does not lie flat"),
    "sheet-print-scale": ("serious", "a sheet is printed at another scale"),
    "scale-missing": ("serious", "no known length: shape without scale"),
    "lengths-disagree": ("serious", "known lengths contradict each other"),
    "length-unused": ("warning", "a known length could not be used"),
    "length-unchecked": ("note", "a misread known length would not be noticed"),
    # work plane
    "cabinet-low": ("warning", "a cabinet top lies below the others"),
    "cabinet-high": ("warning", "a cabinet top lies above the others"),
    "plane-weak": ("warning", "the work plane rests on too few or too narrow sheets"),
    # edges
    "edge-not-found": ("serious", "no edge where the hint points"),
    "edge-single-view": ("warning", "an edge was seen in one photo only"),
    "edge-off-plane": ("warning", "an edge lies off the work plane"),
    "edge-ambiguous": ("warning", "two edges lie close together"),
    "edge-faint": ("warning", "both sides of an edge are equally light"),
    "edge-gaps": ("note", "part of an edge is hidden"),
    "edge-rough": ("warning", "an edge is not as straight as a line fit claims"),
    "strip-loose": ("warning", "part of a wall strip does not lie on the wall"),
    "edge-short": ("note", "little of an edge was seen"),
    "edge-outliers": ("warning", "many points of an edge disagree with its fit"),
    # outline
    "loop-open": ("serious", "edges do not close to a loop"),
    "corner-unseen": ("serious", "a wall was not seen up to its corner"),
    "corner-grazing": ("warning", "two edges meet at a flat angle and their corner is uncertain"),
    "interval-not-normal": ("note", "an uncertainty interval is not symmetric enough for U alone"),
    "tolerance": ("note", "verdict of an edge against the tolerance"),
    # pieces
    "edge-moved": ("note", "an edge was made straight, parallel, square or in line"),
    "edge-into-wall": ("serious", "a straight edge would run into the wall"),
    "inside-corner-tight": ("warning", "an inside corner is tighter than the tool or the shop's minimum"),
    "overhang-unsupported": ("warning", "an overhang is larger than the usual unsupported limit"),
    "span-unsupported": ("warning", "the stone spans more than the usual limit without support"),
    "cutout-near-edge": ("warning", "little stone is left between a cut-out and an edge"),
    "cutout-near-seam": ("warning", "a cut-out lies close to a seam"),
    "seam-through-cutout": ("warning", "a seam runs through a cut-out"),
    "seam-over-dishwasher": ("serious", "a seam lies over a dishwasher"),
    "seam-proposed": ("note", "a seam is proposed"),
    "piece-over-slab": ("warning", "a piece is larger than the slab"),
    "piece-heavy": ("warning", "a piece is too heavy for one person"),
    "cabinets-not-flat": ("warning", "the cabinet tops are not flat enough"),
    "size-unusual": ("note", "a size lies outside what is usual"),
    "opening-tight": ("warning", "an opening leaves no room beside the appliance's place"),
    "receptacle": ("note", "receptacles along the counter"),
    "accessibility": ("warning", "an accessibility figure is not met"),
}
"""Every finding code: severity and what it means in general. Add new codes here, nowhere else."""
