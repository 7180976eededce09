"""Printed targets in a photo: markers name them, saddle points measure them.

One contour search finds every square marker; each marker predicts the saddle points at the corners of its own square
(a few millimetres away, so neither lens distortion nor a bent strip matters) and those are fitted (``capture.saddle``).
Saddle points whose neighbouring markers are all hidden are then predicted from the saddle points already found. What
does not look like a saddle (covered, cut off, in the edge of a shadow) is left out, the rest of the sheet is used.

In small pictures a second look (``small_targets``) goes the other way round, from saddle points to markers, for those too
fine for the contour search. Stages: ``markers`` reads, ``target_instances`` sorts by target, ``target_points`` measures.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phototemplate.capture import constants
from phototemplate.capture.detect_plain import PlainMarkers, find_plain
from phototemplate.capture.markers import MarkerSightings, best_of_each, find_quads, read_markers
from phototemplate.capture.quality import blur_ellipse, blur_finding
from phototemplate.capture.small_targets import look_again
from phototemplate.capture.target_instances import Seen, group
from phototemplate.capture.target_layout import Layout, printed_layout
from phototemplate.capture.target_points import measure
from phototemplate.errors import Finding
from phototemplate.model import GrayImage, PhotoMeta, Sightings
from phototemplate.settings import DetectionSettings


def detect(
    gray: GrayImage,
    meta: PhotoMeta,
    settings: DetectionSettings,
    plain: Sequence[PlainMarkers] = (),
    layout: Layout | None = None,
) -> Sightings:
    """Find targets in a photo.

    Args:
        gray: (h, w) uint8 in stored orientation, as ``photos.read_gray`` gives it at full size.
        meta: the photo.
        settings: detection settings.
        plain: plain markers that are looked for besides the project's own targets.
        layout: boards to look for; the project's own (``layout.printed_layout``) where None.

    Returns:
        Sightings sorted by target and point. A printed number that lies in two places is left out, with a finding.
    """
    layout = printed_layout() if layout is None else layout
    quads = find_quads(gray, settings.min_marker_px, settings.search_max_side_px)
    markers = read_markers(gray, quads, layout.codes, settings.max_bit_errors)
    findings: list[Finding] = []
    seen: dict[str, Seen] = {}
    used_quads: set[int] = set()
    copies = measure(gray, group(markers, layout), layout, settings)
    copies = _without_misread(_looked_again(gray, markers, copies, layout, settings))
    for target_id in dict.fromkeys(c.board.target_id for c in copies):
        real = [c for c in copies if c.board.target_id == target_id and len(c.points)]
        used_quads.update(int(q) for c in real for q in c.quads)
        real = real[:1] + [c for c in real[1:] if c.trusted]
        if len(real) > 1:
            findings.append(_twice(target_id, real, meta))
        elif real:
            seen[target_id] = real[0]
    taken = markers.quad if not plain else np.array(sorted(used_quads), np.int64)
    sightings = _collect(meta, seen)
    if plain:
        free = np.setdiff1d(np.arange(len(quads)), taken)
        more, more_findings = find_plain(gray, meta, quads[free], plain, settings)
        findings.extend(more_findings)
        sightings = _join(meta, sightings, more)
    findings.extend(_remarks(meta, sightings, settings))
    if seen:
        normals = np.concatenate([s.fits.normals.reshape(-1, 2) for s in seen.values()])
        blur = np.concatenate([s.fits.blur_px.ravel() for s in seen.values()])
        findings.extend(blur_finding(meta, blur_ellipse(normals, blur), settings.blur_warn_px))
    return Sightings(
        meta.photo_id,
        sightings.target_ids,
        sightings.point_ids,
        sightings.uv_px,
        sightings.cov_px2,
        (*sightings.findings, *findings),
    )


def _looked_again(
    gray: GrayImage, markers: MarkerSightings, copies: list[Seen], layout: Layout, settings: DetectionSettings
) -> list[Seen]:
    """The copies after a second look for small targets; those it finds more markers of are measured anew."""
    known = np.concatenate([np.zeros((0, 2)), *(s.fits.uv_px for s in copies if s.trusted)])
    contrast = np.concatenate([np.zeros(0), *(s.fits.amplitude for s in copies)])
    if len(known) < settings.few_points:
        contrast = np.diff(np.percentile(gray, [5, 95])) / 2
    more = look_again(gray, layout, known, float(np.median(contrast)), _blur(copies))
    if not len(more.ids):
        return copies
    hit = dict.fromkeys(layout.index[int(m)][0] for m in more.ids)
    old = np.array([layout.index[int(m)][0] in hit for m in markers.ids], bool)
    joined = best_of_each(
        np.concatenate([markers.ids[old], more.ids]),
        np.concatenate([markers.corners_px[old], more.corners_px]),
        np.concatenate([markers.errors[old], more.errors]),
        np.concatenate([markers.quad[old], more.quad]),
    )
    again = measure(gray, group(joined, layout), layout, settings, copies)
    return [*(s for s in copies if s.board.target_id not in hit), *again]


def _without_misread(copies: list[Seen]) -> list[Seen]:
    """Without targets named by a single marker with a wrong module where a point of a surer target lies: misread from that."""
    sure = [s for s in copies if s.trusted]
    places = np.concatenate([np.zeros((0, 2)), *(s.fits.uv_px for s in sure)])

    def stands_alone(s: Seen) -> bool:
        apart = np.linalg.norm(s.fits.uv_px[:, None] - places[None], axis=2)
        return s.trusted or not (apart < constants.SAME_PLACE_PX).any()

    return [s for s in copies if stands_alone(s)]


def _blur(copies: list[Seen]) -> float:
    """Standard deviation of a picture's blur from what was measured in it."""
    blur = np.concatenate([np.zeros(0), *(s.fits.blur_px.max(axis=1) for s in copies)])
    return float(np.clip(np.median(blur), *constants.BLUR_RANGE_PX)) if len(blur) >= 8 else constants.USUAL_BLUR_PX


# ---------------------------------------------------------------------------------------- collecting


def _collect(meta: PhotoMeta, seen: dict[str, Seen]) -> Sightings:
    ids = sorted(seen)
    parts = [seen[i] for i in ids]
    if not parts:
        return Sightings(meta.photo_id, (), np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    return Sightings(
        meta.photo_id,
        tuple(s.board.target_id for s in parts for _ in (*s.points, *s.ends[0])),
        np.concatenate([a for s in parts for a in (s.points, s.ends[0])]).astype(np.int64),
        np.concatenate([a for s in parts for a in (s.fits.uv_px, s.ends[1])]),
        np.concatenate([a for s in parts for a in (s.fits.cov_px2, s.ends[2])]),
    )


def _join(meta: PhotoMeta, a: Sightings, b: Sightings) -> Sightings:
    return Sightings(
        meta.photo_id,
        (*a.target_ids, *b.target_ids),
        np.concatenate([a.point_ids, b.point_ids]),
        np.concatenate([a.uv_px, b.uv_px]),
        np.concatenate([a.cov_px2, b.cov_px2]),
        (*a.findings, *b.findings),
    )


def _twice(target_id: str, copies: list[Seen], meta: PhotoMeta) -> Finding:
    u, v = np.array([c.fits.uv_px.mean(axis=0) for c in copies]).T
    return Finding("target-id-twice", target_id, photo=meta.photo_id, n_places=len(copies), u_px=u, v_px=v)


def _remarks(meta: PhotoMeta, sightings: Sightings, settings: DetectionSettings) -> list[Finding]:
    n = len(sightings)
    if not n:
        return [Finding("photo-no-targets", meta.photo_id)]
    if n < settings.few_points:
        return [Finding("photo-few-points", meta.photo_id, n_points=n)]
    return []
