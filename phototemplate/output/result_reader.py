"""``result.json`` -> an ``Outline`` that later studies compute with.

The outline is rebuilt with its full state covariance and its split by cause. The influences of the rebuilt outline are
the state's own entries (one per entry, ``shared_jac`` the identity): the parts of the covariance were summed up over the
original influences before writing, so nothing is lost that depends on the outline alone.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from phototemplate.errors import Finding, InputError, known
from phototemplate.model import (
    Array,
    Camera,
    Candidate,
    EdgeReport,
    HeightPoint,
    Influences,
    KnownLengthResult,
    Outline,
    OutlineLoop,
    Segment,
)
from phototemplate.output import schema as s
from phototemplate.output.constants import ARCS_AS_BENT, RESULT_VERSION

__all__ = ["StoredResult", "read_result"]


@dataclass(frozen=True)
class StoredResult:
    """What :func:`read_result` gives back."""

    job_name: str
    created: str
    outline: Outline
    cameras: tuple[Camera, ...]
    heights: tuple[HeightPoint, ...]
    lengths: tuple[KnownLengthResult, ...]
    findings: tuple[Finding, ...]
    scale_known: bool
    file: s.Result
    """Everything else, as the file has it"""


def read_result(path: str | Path) -> StoredResult:
    """Read a ``result.json``; ``path`` is the file, or a folder that holds it (directly or under ``results``).

    Raises
    ------
    InputError
        When there is no such file, or it is not a result, or a newer program wrote it.
    """
    file = _find(Path(path))
    try:
        tree = json.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{file} cannot be read ({error.strerror}); check the name of the file.") from error
    except (ValueError, RecursionError) as error:  # bad JSON, bad UTF-8, a number of thousands of digits
        raise InputError(f"{file} is not valid JSON; measure the job again to rebuild it.") from error
    if not isinstance(tree, dict) or tree.get("format") != s.RESULT_FORMAT:
        raise InputError(f"{file} is not a measured result; give the result.json of a measured job.")
    version = tree.get("version")
    if not isinstance(version, int) or version > RESULT_VERSION:
        raise InputError(f"{file} has format {version}, this program reads up to {RESULT_VERSION}; install a newer one.")
    if version < ARCS_AS_BENT and any(e.get("shape") == "arc" for e in _edges(tree)):
        raise InputError(f"{file} holds an arc as an older program wrote it; measure the job again to rebuild it.")
    try:
        result = s.Result.model_validate(tree)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(p) for p in first["loc"])
        text = f"{file}: `{place}` cannot be understood ({first['msg'].lower()}); measure the job again to rebuild it."
        raise InputError(text) from error
    try:
        return _stored(result)
    except InputError:
        raise
    except (ValueError, IndexError, KeyError, TypeError) as error:  # each part is of its type, but they do not fit together
        raise InputError(f"{file} contradicts itself ({error}); measure the job again to rebuild it.") from error


def _edges(tree: dict[str, Any]) -> list[dict[str, Any]]:
    """Entries of the outline's edges, as far as the file has any."""
    outline = tree.get("outline")
    edges = outline.get("edges") if isinstance(outline, dict) else None
    return [e for e in edges if isinstance(e, dict)] if isinstance(edges, list) else []


def _stored(result: s.Result) -> StoredResult:
    if result.withheld:
        raise InputError(
            f"The photos of {result.job} contradict each other too much to be compared with (its report says why); take them "
            "again and measure the job anew."
        )
    return StoredResult(
        job_name=result.job,
        created=result.created,
        outline=_outline(result.outline),
        cameras=tuple(
            Camera(c.camera, c.lens_model, c.size_px, np.array(c.parameters), c.covariance.full(), c.source)
            for c in result.cameras
        ),
        heights=tuple(
            HeightPoint(h.target, np.array(h.xy_mm), h.height_mm, _nan(h.u_mm), h.group, h.level)
            for h in result.work_plane.heights
        ),
        lengths=tuple(
            KnownLengthResult(
                k.name,
                k.given_mm,
                k.u_mm,
                k.adjusted_mm,
                _nan(k.normalized_residual),
                _nan(k.smallest_detectable_mm),
                k.used,
            )
            for k in result.lengths
        ),
        findings=_read_findings(result.findings),
        scale_known=result.scale_known,
        file=result,
    )


def _find(path: Path) -> Path:
    if path.is_dir():
        for candidate in (path / "result.json", path / "results" / "result.json"):
            if candidate.is_file():
                return candidate
        raise InputError(f"There is no result.json in {path}; measure that job first.")
    if not path.exists():
        raise InputError(f"There is no file {path}; give a result.json or the folder of a measured job.")
    return path


def _outline(part: s.OutlinePart) -> Outline:
    slices: dict[str, slice] = {}
    at = 0
    for e in part.edges:
        slices[e.edge] = slice(at, at + len(e.knots_mm))
        at += len(e.knots_mm)
    noise = part.state.noise_mm2.full()
    parts = {cause: matrix.full() for cause, matrix in part.state.causes_mm2.items()}
    if noise.shape[0] != at or any(p.shape[0] != at for p in parts.values()):
        raise InputError("The result's covariance does not fit its edges; measure the job again to rebuild it.")
    names = tuple(f"state:{e.edge}:{i}" for e in part.edges for i in range(len(e.knots_mm)))
    total: Array = sum(parts.values(), np.zeros((at, at)))
    influences = Influences(names, total, parts)
    eye = np.eye(at)
    return Outline(
        segments=tuple(_segment(e, noise[slices[e.edge], slices[e.edge]], eye[slices[e.edge]]) for e in part.edges),
        loops=tuple(_loop(loop) for loop in part.loops),
        state_slices=slices,
        noise_cov_mm2=noise,
        shared_jac=eye,
        influences=influences,
        plan_from_work=np.array(part.plan_from_work),
        edges=tuple(_report(e) for e in part.edges if e.length_mm is not None),
        findings=_read_findings(part.findings),
        unscaled=part.unscaled,
    )


def _segment(part: s.EdgePart, noise: Array, jac: Array) -> Segment:
    return Segment(
        edge_id=part.edge,
        kind=part.kind,
        shape=part.shape,
        chord_mm=np.array(part.chord_mm),
        knots_mm=np.array(part.knots_mm),
        offsets_mm=np.array(part.offsets_mm),
        noise_cov_mm2=noise,
        shared_jac=jac,
        residuals_mm=np.array(part.residuals_mm, dtype=float),
        points_mm=np.array(part.points_mm, dtype=float).reshape(-1, 2),
        height_mm=_three(part.height_mm),
        source=part.source,
        n_photos=part.n_photos,
        candidates=tuple(Candidate(c.offset_mm, c.height_mm, c.support, c.reading) for c in part.candidates),
        findings=_read_findings(part.findings),
        arris_mm=None if part.arris_mm is None or part.arris_U_mm is None else (part.arris_mm, part.arris_U_mm / 2.0),
        bend_per_mm=part.bend_per_mm,
    )


def _report(part: s.EdgePart) -> EdgeReport:
    return EdgeReport(
        edge_id=part.edge,
        kind=part.kind,
        shape=part.shape,
        source=part.source,
        length_mm=_nan(part.length_mm),
        length_U_mm=_nan(part.length_U_mm),
        angle_rad=_nan(part.angle_rad),
        angle_U_rad=_nan(part.angle_U_rad),
        offset_U_mm=_three(part.offset_U_mm or [np.nan] * 3),
        budget=tuple((cause, u) for cause, u in part.budget),
        height_mm=_three(part.height_mm),
        n_points=len(part.points_mm),
        n_photos=part.n_photos,
        rms_mm=_nan(part.rms_mm),
        findings=_read_findings(part.findings),
    )


def _loop(part: s.LoopPart) -> OutlineLoop:
    xx_xy_yy = np.array([c.covariance_mm2 for c in part.corners]).reshape(-1, 3)
    return OutlineLoop(
        loop_id=part.loop,
        edge_ids=tuple(part.edges),
        corners_mm=np.array([c.xy_mm for c in part.corners]).reshape(-1, 2),
        corner_cov_mm2=xx_xy_yy[:, [0, 1, 1, 2]].reshape(-1, 2, 2),
        closed=part.closed,
    )


def _read_findings(parts: list[s.FindingPart]) -> tuple[Finding, ...]:
    """Findings this version knows, with their facts; others stay in ``StoredResult.file``."""
    return tuple(_read_finding(f) for f in parts if known(f.code, f.facts))


def _read_finding(part: s.FindingPart | s.ThingToDoPart) -> Finding:
    facts = {
        name: (_read_finding(fact) if known(fact.code, fact.facts) else None) if isinstance(fact, s.ThingToDoPart) else fact
        for name, fact in part.facts.items()
    }
    return Finding(part.code, part.where, **facts)


def _three(values: Sequence[float | None]) -> tuple[float, float, float]:
    return (_nan(values[0]), _nan(values[1]), _nan(values[2]))


def _nan(value: float | None) -> float:
    return float("nan") if value is None else value
