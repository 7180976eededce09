"""Measure all edges of a job: each hint through its source, photos shared and cached."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

from phototemplate.edges.constants import WORKERS
from phototemplate.edges.levels import BY_NAME, measure_on_levels, scenes_by_level
from phototemplate.edges.scene import Scene
from phototemplate.errors import Finding
from phototemplate.model import EdgeHint, EdgeTrace, GrayImage, Network, PlanePoints, TypeB, WorkPlane
from phototemplate.progress import Progress, quiet
from phototemplate.settings import EdgeSettings


def type_b_terms(hints: Sequence[EdgeHint], settings: EdgeSettings) -> tuple[TypeB, ...]:
    """Influences no photo can show that the edges of these hints will depend on, each once."""
    terms = [term for hint in hints for term in BY_NAME[hint.source].type_b_terms(hint, settings)]
    return tuple({term.name: term for term in terms}.values())


def measure_edges(
    gray_of: Callable[[str], GrayImage],
    network: Network,
    plane: WorkPlane,
    hints: Sequence[EdgeHint],
    settings: EdgeSettings,
    progress: Progress = quiet,
) -> tuple[tuple[PlanePoints, ...], tuple[EdgeTrace, ...], tuple[Finding, ...]]:
    """Points of every edge in the work plane, with noise, sensitivities and findings.

    ``gray_of`` gives the full-size grey picture of a photo. Edges that cannot be measured are missing from the points and
    have a serious finding of a kind that is ``lost``: ``edge-not-found``, or ``edge-line-weak`` with what the best line
    lacked.
    """
    scene = Scene(gray_of, network, plane, settings)
    scenes = scenes_by_level(scene)
    points: list[PlanePoints] = []
    traces: list[EdgeTrace] = []
    findings: list[Finding] = []
    progress("edges", 0.0)
    with ThreadPoolExecutor(max_workers=min(WORKERS, os.cpu_count() or 1)) as pool:
        for k, found in enumerate(pool.map(lambda hint: measure_on_levels(scene, scenes, hint), hints)):
            if found.points is not None:
                points.append(found.points)
            traces += found.traces
            findings += found.findings
            progress("edges", (k + 1) / len(hints))
    return tuple(points), tuple(traces), tuple(findings)
