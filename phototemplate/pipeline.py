"""The flow: ``measure(job)`` runs every stage in order.

::

    photos -> Sightings -> Network -> WorkPlane -> PlanePoints -> Segment -> Outline
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from phototemplate.capture.store import PhotoStore
from phototemplate.edge_cache import EdgeResults, joined_edges, remembered_edges, remembered_segments
from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.meeting_points import meetings
from phototemplate.edges.paper_thickness import Thickness, contradiction, found_thickness, settled_thickness, widened
from phototemplate.job import Job
from phototemplate.model import Camera, EdgeHint, Measurement, WorkPlane
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
    given_thickness,
    improbable,
    known_lengths,
    levels_of,
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
        findings += improbable(file, job.bare)
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
        hints = file.hints()
        sharp = without_blurred(network, sightings)

        def plane_for(paper: Thickness, place: str) -> WorkPlane:
            terms = [*paper_terms(file, network.bodies, paper), *type_b_terms(hints, edge_settings)]
            key = key_of(network_key, file.paper, file.cabinets, paper, terms, settings.work_plane)
            return memo.get(f"work plane {place}", key, lambda: fit_work_plane(
                network, cabinets_of(file), thickness_of(file, paper), terms, settings.work_plane, levels_of(file)
            ))

        def trace(wanted: Sequence[EdgeHint], on: WorkPlane) -> EdgeResults:
            return joined_edges(
                measure_edges(store.gray, seen_in, on, mine, edge_settings, progress)
                for seen_in, mine in by_network(wanted, sharp, network)
            )

        given = given_thickness(file)
        plane = plane_for(given, "given")
    with clock("edges"):
        base_key = key_of(network_key, file.paper, file.cabinets, settings.work_plane, edge_settings)
        paper, paper_findings = settled_thickness(
            given, lambda: memo.get("rough edges", key_of(base_key, file.edges), lambda: trace(hints, plane)[0])
        )
        plane = plane if paper == given else plane_for(paper, "settled")
        edges_key = key_of(base_key, paper)
        edges = remembered_edges(memo, edges_key, hints, plane.influences.names, lambda wanted: trace(wanted, plane))
        if paper == given:
            paper_findings = contradiction(given, found_thickness((e.points for e in edges.values() if e.points), given))
            plane = plane_for(widened(given, paper_findings), "widened") if paper_findings else plane
        segments = remembered_segments(
            memo, hints, edges, [pair for loop in file.loops for pair in meetings(loop.edges, loop.closed)],
            lambda points, h, corners: fit_segment(points, h, edge_settings, plane.influences, corners)
        )
    with clock("outline"):
        loops, loop_findings = loops_of(file, {s.edge_id for s in segments})
        outline = build_outline(segments, loops, plane.influences, settings.outline, not network.scale_known)
    findings += [*network.findings, *plane.findings, *paper_findings]
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
