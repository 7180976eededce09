"""The flow: ``measure(job)`` runs every stage in order.

::

    photos -> Sightings -> Network -> WorkPlane -> PlanePoints -> Segment -> Outline
"""

from __future__ import annotations

from collections.abc import Mapping

from phototemplate.capture.store import PhotoStore
from phototemplate.edge_cache import joined_edges, remembered_edges, remembered_segments
from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.meeting_points import meetings
from phototemplate.job import Job
from phototemplate.model import Camera, Measurement
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.workplane import fit_work_plane
from phototemplate.photo_selection import by_network, without_blurred
from phototemplate.progress import Clock, Progress, quiet
from phototemplate.stage_cache import Memo, key_of
from phototemplate.stage_inputs import (
    cabinets_of,
    detect_all,
    edge_settings_of,
    file_state,
    improbable,
    known_lengths,
    loops_of,
    paper_terms,
    read_photos,
    targets_of,
    thickness_of,
)
from phototemplate.template.outline import build_outline


def measure(
    job: Job,
    profiles: Mapping[str, Camera] | None = None,
    progress: Progress = quiet,
    memo: Memo | None = None,
    store: PhotoStore | None = None,
) -> Measurement:
    """Photos and job file in, measured outline with uncertainties out.

    ``memo`` and ``store`` of an earlier run of the same job spare what did not change.
    Raises ``MeasureError`` where the photos do not allow an answer. Photos that cannot be read are reported as findings and
    the others go on.
    """
    clock, memo = Clock(), memo or Memo()
    settings, file = job.file.settings, job.file
    edge_settings = edge_settings_of(file)
    with clock("photos"):
        photos, findings = read_photos(job, progress, memo)
        findings += improbable(file)
        store = store or PhotoStore(photos)
    with clock("targets"):
        sightings, seen_findings = detect_all(store, file, memo, progress)
        seen_key = key_of([file_state(p) for p in photos], settings.detection, file.markers)
        findings += seen_findings
    with clock("network"):
        network_key = key_of(seen_key, file.lengths, settings.adjustment, _profile_texts(profiles))
        network = memo.get("network", network_key, lambda: adjust(
            sightings, photos, targets_of(sightings, file), known_lengths(file), profiles, settings.adjustment,
            lambda _, share: progress("network", share),
        ))
    with clock("work plane"):
        hints = [edge.hint() for edge in file.edges]
        terms = [*paper_terms(file, network.bodies), *type_b_terms(hints, edge_settings)]
        plane = fit_work_plane(network, cabinets_of(file), thickness_of(file), terms, settings.work_plane)
    with clock("edges"):
        edges_key = key_of(network_key, file.paper, file.cabinets, settings.work_plane, edge_settings)
        sharp = without_blurred(network, sightings)
        edges = remembered_edges(memo, edges_key, hints, plane.influences.names, lambda wanted: joined_edges(
            measure_edges(store.gray, seen_in, plane, mine, edge_settings, progress)
            for seen_in, mine in by_network(wanted, sharp, network)
        ))
        segments = remembered_segments(
            memo, hints, edges, [pair for loop in file.loops for pair in meetings(loop.edges, loop.closed)],
            lambda points, h, corners: fit_segment(points, h, edge_settings, plane.influences, corners),
        )
    with clock("outline"):
        loops, loop_findings = loops_of(file, {s.edge_id for s in segments})
        outline = build_outline(segments, loops, plane.influences, settings.outline, not network.scale_known)
    findings += [*network.findings, *plane.findings]
    findings += [f for e in edges.values() for f in e.findings]
    findings += [f for s in segments for f in s.findings]
    findings += [*loop_findings, *outline.findings]
    return Measurement(
        job_name=job.name,
        photos=tuple(photos),
        sightings=sightings,
        network=network,
        work_plane=plane,
        traces=tuple(t for e in edges.values() for t in e.traces),
        outline=outline,
        findings=tuple(dict.fromkeys(findings)),
        settings=settings.model_copy(update={"edges": edge_settings}),
        seconds=dict(clock.seconds),
    )


def _profile_texts(profiles: Mapping[str, Camera] | None) -> list[object]:
    return [(name, c.model, c.params.tolist(), c.cov.tolist()) for name, c in sorted((profiles or {}).items())]
