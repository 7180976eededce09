"""From the words of the job file to the inputs of the stages."""

from __future__ import annotations

import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from phototemplate.capture import design
from phototemplate.capture.detect import PlainMarkers, detect
from phototemplate.capture.photos import read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.errors import Finding, JobFileError, MeasureError, PhotoError
from phototemplate.job import Job, JobFile
from phototemplate.model import PhotoMeta, Sightings, Target
from phototemplate.network.observations import KnownLength
from phototemplate.progress import Progress, quiet

USUAL_U_MM = {"bar": 0.3, "tape": 0.8, "caliper": 0.05}
"""Standard uncertainty of a length whose user gave none (common practice: half the smallest graduation read with care)."""


def read_photos(job: Job, progress: Progress = quiet) -> tuple[list[PhotoMeta], list[Finding]]:
    """Open every photo of the job; the unreadable ones become findings.

    Raises ``MeasureError`` where no photo is left.
    """
    metas: list[PhotoMeta] = []
    findings: list[Finding] = []
    paths = job.photo_paths()
    for i, path in enumerate(paths):
        try:
            metas.append(read_meta(path))
        except PhotoError as exc:
            findings.append(Finding("photo-unreadable", path.name, str(exc)))
        progress("photos", (i + 1) / len(paths))
    if not metas:
        reason = findings[0].message if findings else f"put the photos into {job.folder / 'photos'}."
        raise MeasureError(f"No photo in {job.folder} can be read: {reason}")
    return metas, findings


def detect_all(store: PhotoStore, file: JobFile, progress: Progress = quiet) -> dict[str, Sightings]:
    """Find the targets in every photo, in as many threads as there are cores.

    Raises ``MeasureError`` where no photo shows a target.
    """
    plain = tuple(PlainMarkers(m.dictionary, m.size_mm, None if m.ids is None else tuple(m.ids)) for m in file.markers)
    done = 0

    def one(meta: PhotoMeta) -> Sightings:
        nonlocal done
        try:
            found = detect(store.gray(meta.photo_id), meta, file.settings.detection, plain)
        except PhotoError as exc:  # the header was fine, the picture data is not
            finding = Finding("photo-unreadable", meta.photo_id, str(exc))
            found = Sightings(meta.photo_id, (), np.zeros(0, int), np.zeros((0, 2)), np.zeros((0, 2, 2)), (finding,))
        done += 1
        progress("targets", done / len(store.photos))
        return found

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        sightings = {s.photo_id: s for s in pool.map(one, store.photos.values())}
    if not any(len(s) for s in sightings.values()):
        raise MeasureError(
            f"No printed target was found in any of {len(sightings)} photos; print sheets with `phototemplate sheets`, lay "
            "them on the cabinets and photograph them so that the markers are at least 30 pixels wide."
        )
    return sightings


def targets_of(sightings: Mapping[str, Sightings], file: JobFile) -> dict[str, Target]:
    """Geometry of every target seen, at the print scale the job states."""
    seen = {t for s in sightings.values() for t in s.target_ids}
    catalog = design.catalog()
    targets = {t: catalog[t] for t in seen if t in catalog}
    for spec in file.markers:
        half = spec.size_mm / 2
        corners = np.array([[-half, half, 0], [half, half, 0], [half, -half, 0], [-half, -half, 0]])
        for t in seen - targets.keys():
            if t.startswith("M") and (spec.ids is None or int(t[1:]) in spec.ids):
                targets[t] = Target(t, "marker", corners, rigid=spec.rigid, size_mm=(spec.size_mm, spec.size_mm))
    return targets


def _point(text: str) -> tuple[str, int]:
    """``"S03:7"`` -> ("S03", 7); tape marks have letters; a bar end is its only point."""
    target_id, _, name = text.partition(":")
    if not name:
        return target_id, 0
    if name.isdigit():
        return target_id, int(name)
    try:
        return target_id, design.tape_mark(target_id, name)
    except KeyError as exc:
        raise JobFileError(f"Sheet {target_id} has no tape mark {name!r}; its marks are lettered on the print.") from exc


def known_lengths(file: JobFile) -> list[KnownLength]:
    """Known lengths of the job file, each with its own uncertainty."""
    return [
        KnownLength(
            name=f"{spec.kind} {spec.from_}-{spec.to}",
            kind=spec.kind,
            start=_point(spec.from_),
            end=_point(spec.to),
            value_mm=spec.value,
            u_mm=spec.u or USUAL_U_MM[spec.kind],
            temperature_c=spec.temperature_c,
            material=spec.material,
        )
        for spec in file.lengths
    ]


def cabinets_of(file: JobFile) -> dict[str, tuple[str, ...]]:
    """Cabinet -> sheets on it."""
    return {c.id: tuple(c.sheets) for c in file.cabinets}


def thickness_of(file: JobFile) -> dict[str, tuple[float, float]]:
    """Sheet -> (thickness, its standard uncertainty) in mm; the key ``""`` holds for every other sheet."""
    paper = file.paper
    named = {s: (t, paper.thickness_u_mm) for s, t in paper.thickness_by_sheet_mm.items()}
    return {"": (paper.thickness_mm, paper.thickness_u_mm), **named}
