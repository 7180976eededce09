"""From the words of the job file to the inputs of the stages."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby
from math import hypot
from pathlib import Path

import numpy as np

from phototemplate.capture import design, quality
from phototemplate.capture.detect import detect
from phototemplate.capture.detect_plain import PlainMarkers, plain_target
from phototemplate.capture.photos import read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.constants import SHOWN_LENGTHS, USUAL_U_MM, USUAL_VALUES
from phototemplate.edges.paper_thickness import UNKNOWN, Thickness
from phototemplate.errors import Finding, JobFileError, MeasureError, PhotoError
from phototemplate.job import PHOTO_SUFFIXES, Job, JobFile
from phototemplate.model import Array, PhotoMeta, Sightings, Target, TypeB
from phototemplate.network.adjustment.known_lengths import KNOWN_LENGTHS, KnownLength, LengthEnd
from phototemplate.progress import Progress, quiet
from phototemplate.settings import EdgeSettings
from phototemplate.stage_cache import Memo, file_mark, key_of
from phototemplate.template.chains import LoopEdges

STRIP_PAPER = ("strip_thickness_mm", "strip_thickness_u_mm")
"""What the job may say of its wall strips' paper in place of the edge settings"""


def read_photos(job: Job, progress: Progress = quiet, memo: Memo | None = None) -> tuple[list[PhotoMeta], list[Finding]]:
    """Open every photo of the job; the unreadable ones become findings. ``memo`` spares files that have not changed.

    Raises ``MeasureError`` where no photo is left.
    """
    metas: list[PhotoMeta] = []
    findings: list[Finding] = []
    paths, memo = job.photo_paths(), memo or Memo()
    names = photo_names(paths)
    findings += [Finding("photo-same-name", names[p], file=p.name, stem=p.stem) for p in paths if names[p] != p.stem]
    for i, path in enumerate(paths):
        try:
            key = key_of(*file_mark(path), names[path])
            meta, remarks = memo.get(f"header {path}", key, partial(_header, path, names[path]))
            metas.append(meta)
            findings += remarks
        except PhotoError as exc:
            findings.append(exc.finding)
        except OSError as exc:
            findings.append(Finding("photo-missing", path.name, reason=exc.strerror or type(exc).__name__))
        progress("photos", (i + 1) / len(paths))
    if not metas:
        reason = PhotoError(findings[0]) if findings else f"put the photos into {job.folder / 'photos'}."
        raise MeasureError(f"No photo in {job.folder} can be read: {reason}")
    return metas, findings


def photo_names(paths: Sequence[Path]) -> dict[Path, str]:
    """What each photo is called: its file's name without the ending; of several that differ in nothing else one keeps that
    name, JPEG before others, and the others are called by their whole file name."""
    order = {suffix: k for k, suffix in enumerate(PHOTO_SUFFIXES)}
    names: dict[Path, str] = {}
    for path in sorted(paths, key=lambda p: (order.get(p.suffix.lower(), len(order)), p.name)):
        names[path] = path.name if path.stem in names.values() else path.stem
    return names


def _header(path: Path, name: str) -> tuple[PhotoMeta, tuple[Finding, ...]]:
    meta = replace(read_meta(path), photo_id=name)
    return meta, quality.check_file(meta)


def improbable(file: JobFile, bare: Sequence[str] = ()) -> list[Finding]:
    """Values of the job file that may be, but are not usual, and those read as mm without a unit (``bare``): asked back, as a
    unit or a point may have slipped."""
    given: list[tuple[str, str, float | None]] = [
        ("tolerance", "tolerance", file.tolerance),
        ("paper.thickness_mm", "paper.thickness_mm", file.paper.thickness_mm),
        ("paper.strip_thickness_mm", "paper.strip_thickness_mm", file.paper.strip_thickness_mm),
    ]
    given += [("markers.size_mm", f"markers.{k}.size_mm", m.size_mm) for k, m in enumerate(file.markers, 1)]
    for k, length in enumerate(file.lengths, 1):
        given += [(length.kind, f"lengths.{k}.value", length.value)]
        given += [("lengths.temperature_c", f"lengths.{k}.temperature_c", length.temperature_c)]
    out = []
    if bare:
        shown = tuple(dict.fromkeys(bare))[:SHOWN_LENGTHS]
        out.append(Finding("lengths-without-unit", "job.toml", n_lengths=len(bare), examples=shown))
    for kind, key, value in given:
        low, high = USUAL_VALUES[kind]
        if value is not None and not low <= value <= high:
            out.append(Finding("value-improbable", "job.toml", key=key, value=f"{value:g}", low_value=low, high_value=high))
    return out


def file_state(meta: PhotoMeta) -> tuple[str, int, int]:
    """Changes when the photo's file changes."""
    return meta.photo_id, *file_mark(meta.path)


@dataclass(frozen=True)
class Seen:
    """What one photo shows, and a small copy of it to tell duplicates by."""

    sightings: Sightings
    small: Array


def detect_all(
    store: PhotoStore, file: JobFile, memo: Memo, progress: Progress = quiet
) -> tuple[dict[str, Sightings], list[Finding]]:
    """Find the targets in every photo, in as many threads as cores and memory allow; doubts about the photos themselves.

    Of photos that show the same picture the best stays, besides those in which an edge is drawn.
    Raises ``MeasureError`` where no photo shows a target.
    """
    plain = tuple(PlainMarkers(m.dictionary, m.size_mm, None if m.ids is None else tuple(m.ids)) for m in file.markers)
    done = 0

    def look(meta: PhotoMeta) -> Seen:
        try:
            gray = store.gray(meta.photo_id)
            return Seen(detect(gray, meta, file.settings.detection, plain), quality.fingerprint(gray))
        except PhotoError as exc:  # the header was fine, the picture data is not
            finding = Finding(exc.finding.code, meta.photo_id, **exc.finding.facts)
            nothing = Sightings(meta.photo_id, (), np.zeros(0, int), np.zeros((0, 2)), np.zeros((0, 2, 2)), (finding,))
            return Seen(nothing, np.zeros((32, 32)))

    def one(meta: PhotoMeta) -> Seen:
        nonlocal done
        key = key_of(file_state(meta), file.settings.detection, file.markers)
        found: Seen = memo.get(f"sightings {meta.photo_id}", key, lambda: look(meta))
        done += 1
        progress("targets", done / len(store.photos))
        return found

    # A picture takes twice its pixels in bytes while it is decoded: 200 MP ones come one at a time.
    largest = max(p.size_px[0] * p.size_px[1] for p in store.photos.values())
    with ThreadPoolExecutor(max(1, min(os.cpu_count() or 1, 400_000_000 // largest))) as pool:
        seen = {s.sightings.photo_id: s for s in pool.map(one, store.photos.values())}
    sightings = {photo: s.sightings for photo, s in seen.items()}
    if not any(len(s) for s in sightings.values()):
        raise MeasureError(
            f"No printed target was found in any of {len(sightings)} photos; print sheets with `phototemplate sheets`, lay "
            "them on the cabinets and photograph them so that the markers are at least 30 pixels wide."
        )
    findings = [f for s in sightings.values() for f in s.findings]
    doubles, left_out = quality.find_duplicates(
        list(store.photos.values()),
        {photo: s.small for photo, s in seen.items()},
        {photo: float((1 / np.trace(s.cov_px2, axis1=1, axis2=2)).sum()) for photo, s in sightings.items()},
        {edge.photo for edge in file.edges if edge.photo},
    )
    return {photo: s for photo, s in sightings.items() if photo not in left_out}, [*findings, *doubles]


def targets_of(sightings: Mapping[str, Sightings], file: JobFile) -> dict[str, Target]:
    """Geometry of every target seen, at the print scale the job states."""
    seen = sorted({t for s in sightings.values() for t in s.target_ids})
    catalog = design.catalog()
    targets = {t: catalog[t] for t in seen if t in catalog}
    for spec in file.markers:
        for t in (t for t in seen if t not in targets):
            if t.startswith("M") and (spec.ids is None or int(t[1:]) in spec.ids):
                targets[t] = replace(plain_target(int(t[1:]), spec.size_mm), rigid=spec.rigid)
    return targets


def _end(text: str) -> LengthEnd:
    """``"S03:7"`` is point 7 of sheet 3, ``"S03:A"`` its tape mark A, ``"B01"`` the centre of a bar end."""
    target_id, _, name = text.partition(":")
    if not name:
        return LengthEnd(target_id)
    if name.isdigit():
        return LengthEnd(target_id, int(name))
    try:
        return LengthEnd(target_id, design.tape_marks(target_id)[name])
    except KeyError as exc:
        raise JobFileError(f"Target {target_id} has no tape mark {name!r}; its marks are lettered on the print.") from exc


def known_lengths(file: JobFile) -> list[KnownLength]:
    """Known lengths of the job file, each with its own uncertainty."""
    classes = {c.kind: c for c in KNOWN_LENGTHS}
    return [
        classes[spec.kind](
            name=f"{spec.kind} {spec.from_}-{spec.to}",
            start=_end(spec.from_),
            end=_end(spec.to),
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


def levels_of(file: JobFile) -> dict[str, str]:
    """Cabinet -> level of the tops, where somebody said it."""
    return {c.id: c.level for c in file.cabinets if c.level}


def given_thickness(file: JobFile) -> Thickness:
    """What the job says of paper and board under the sheets; unknown where nobody has said anything."""
    paper = file.paper
    if paper.lies_on is None and "thickness_mm" not in paper.model_fields_set:
        return UNKNOWN
    return Thickness(paper.thickness_mm, paper.thickness_u_mm)


def thickness_of(file: JobFile, common: Thickness) -> dict[str, float]:
    """Sheet -> thickness of paper and backing in mm, for every sheet of the design."""
    named = file.paper.thickness_by_sheet_mm
    return {s: named.get(s, common.mm) for s in design.sheet_ids()}


def paper_terms(file: JobFile, sheets: Collection[str], common: Thickness) -> list[TypeB]:
    """Type B influences of the paper: a thickness common to all sheets, and each sheet's own."""
    paper = file.paper
    other = paper.thickness_by_sheet_mm
    own = [
        TypeB(f"thickness:{s}", "paper thickness", hypot(paper.flatness_u_mm, paper.thickness_u_mm if s in other else 0.0))
        for s in sorted(sheets)
    ]
    return [TypeB("thickness:sheet", "paper thickness", common.u_mm), *own]


def edge_settings_of(file: JobFile) -> EdgeSettings:
    """Edge settings with what the job says of its paper."""
    said = {name: value for name in STRIP_PAPER if (value := getattr(file.paper, name)) is not None}
    return file.settings.edges.model_copy(update=said)


def loops_of(file: JobFile, measured: Collection[str]) -> tuple[list[LoopEdges], list[Finding]]:
    """Loops of the job file in the words of the outline stage.

    A loop with an edge that was not found is handed on as the open chains between such edges, and said so.
    """
    loops: list[LoopEdges] = []
    findings: list[Finding] = []
    for spec in file.loops:
        missing = [e for e in spec.edges if e not in measured]
        if not missing:
            loops.append(LoopEdges(spec.id, tuple(spec.edges), spec.closed))
            continue
        findings.append(Finding("loop-edge-missing", spec.id, edges=missing))
        edges = list(spec.edges)
        if spec.closed:  # begin behind a missing edge, so that no chain is cut in two by the loop's arbitrary start
            k = edges.index(missing[0])
            edges = edges[k:] + edges[:k]
        runs = [list(run) for found, run in groupby(edges, lambda e: e in measured) if found]
        loops += [LoopEdges(f"{spec.id} {i + 1}", tuple(run), False) for i, run in enumerate(runs)]
    return loops, findings
