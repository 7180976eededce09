"""Edges for a job in which nobody has drawn any: proposed, anchored to sheets, for a person to confirm."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phototemplate.capture.store import PhotoStore
from phototemplate.edges.proposals.confirmation import Second
from phototemplate.edges.proposals.propose import ProposedEdge, propose_edges
from phototemplate.edges.sources.hints import path_on_nearest_sheet
from phototemplate.errors import MeasureError
from phototemplate.job import EdgeSpec, Job
from phototemplate.model import Measurement
from phototemplate.network.workplane import on_level
from phototemplate.pipeline import measure
from phototemplate.progress import Progress, quiet
from phototemplate.stage_inputs import edge_settings_of, read_photos
from phototemplate.units import LengthUnit
from phototemplate.wording import phrase


@dataclass(frozen=True)
class Proposal:
    """One edge as the job file would hold it."""

    edge: EdgeSpec
    confidence: float
    """0-1"""
    reading: str = ""
    """What it is taken for, in words"""
    second: Second | None = None
    """What it may be instead"""


def propose(job: Job, progress: Progress = quiet) -> list[Proposal]:
    """Orient the photos of a job and propose its long edges; edges the job has already are not looked at.

    Raises ``MeasureError`` where the photos do not allow an answer or show no edge.
    """
    bare = replace(job, file=job.file.model_copy(update={"edges": [], "loops": [], "pieces": []}))
    store = PhotoStore(read_photos(bare)[0])
    measurement = measure(bare, progress=progress, store=store)
    progress("proposals", 0.0)
    found = propose_edges(store.gray, measurement.network, measurement.work_plane, edge_settings_of(job.file))
    progress("proposals", 1.0)
    if not found:
        raise MeasureError(
            f"No edge could be proposed for {job.name}; mark the edges in the app, or write them into job.toml by hand."
        )
    return [Proposal(_spec(measurement, p), p.confidence, p.reading, p.second) for p in found]


def second_words(second: Second | None, unit: LengthUnit, language: str = "en") -> str:
    """What a proposed line may be instead, in words; empty where that is nothing."""
    if second is None:
        return ""
    if second.gap_mm is not None:
        return phrase("reading-two-edges", {"gap_mm": second.gap_mm}, unit, language)
    what = phrase(f"reading-{second.reading}", language=language)
    if second.edge_mm is None:
        return what
    by, way = abs(second.edge_mm), "further-out" if second.edge_mm > 0 else "further-in"
    return phrase("reading-other-line", {"by_mm": by, "way_word": way, "what": what}, unit, language)


def _spec(measurement: Measurement, proposed: ProposedEdge) -> EdgeSpec:
    hint = proposed.hint
    common = {"id": hint.edge_id, "kind": hint.kind, "source": hint.source, "shape": hint.shape}
    if hint.source != "trace":
        return EdgeSpec.model_validate({**common, "targets": sorted(hint.targets)})
    assert hint.path is not None, "a traced edge is proposed with its path"
    plane = measurement.work_plane
    plane = on_level(plane, hint.level) if hint.level else plane
    sheet, path = path_on_nearest_sheet(measurement.network, plane, hint.path)
    return EdgeSpec.model_validate({
        **common, "sheet": sheet, "path": np.round(path, 1).tolist(), "search": hint.search_mm, "height": hint.height_mm,
        "level": hint.level or None,
    })
