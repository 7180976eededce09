"""The flow: ``measure(job)`` runs every stage in order.

::

    photos -> Sightings -> Network -> WorkPlane -> PlanePoints -> Segment -> Outline
"""

from __future__ import annotations

from collections.abc import Sequence

from phototemplate.capture.quality import compare_photos
from phototemplate.capture.store import PhotoStore
from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.inputs import cabinets_of, detect_all, known_lengths, read_photos, targets_of, thickness_of
from phototemplate.job import Job
from phototemplate.model import Camera, Measurement
from phototemplate.network.adjust import adjust
from phototemplate.network.workplane import fit_work_plane
from phototemplate.progress import Clock, Progress, quiet
from phototemplate.template.outline import build_outline

def measure(job: Job, profiles: Sequence[Camera] = (), progress: Progress = quiet) -> Measurement:
    """Photos and job file in, measured outline with uncertainties out.

    Raises ``MeasureError`` where the photos do not allow an answer. Photos that cannot be read are reported as findings and
    the others go on.
    """
    clock = Clock()
    settings, file = job.file.settings, job.file
    with clock("photos"):
        photos, findings = read_photos(job, progress)
        store = PhotoStore(photos)
    with clock("targets"):
        sightings = detect_all(store, file, progress)
        findings += [f for s in sightings.values() for f in s.findings]
        findings += compare_photos(photos, sightings)
    with clock("network"):
        network = adjust(
            list(sightings.values()), store.photos, targets_of(sightings, file), known_lengths(file), profiles,
            settings.adjustment, progress,
        )
    with clock("work plane"):
        hints = [edge.hint() for edge in file.edges]
        plane = fit_work_plane(
            network, cabinets_of(file), thickness_of(file), type_b_terms(hints, settings.edges), settings.work_plane
        )
    with clock("edges"):
        points, traces, edge_findings = measure_edges(store.gray, network, plane, hints, settings.edges, progress)
        hint_of = {h.edge_id: h for h in hints}
        segments = [fit_segment(p, hint_of[p.edge_id], settings.edges) for p in points]
    with clock("outline"):
        outline = build_outline(
            segments, file.loops, plane.influences, settings.outline, unscaled=not network.scale_known
        )
    findings += [*network.findings, *plane.findings, *edge_findings, *outline.findings]
    findings += [f for s in segments for f in s.findings]
    return Measurement(
        job_name=job.name,
        photos=tuple(photos),
        sightings=sightings,
        network=network,
        work_plane=plane,
        traces=traces,
        outline=outline,
        findings=tuple(dict.fromkeys(findings)),
        seconds=dict(clock.seconds),
    )
