"""``Measurement`` -> ``result.json`` (format: :mod:`phototemplate.output.schema`; back again: ``result_reader``)."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.errors import Finding
from phototemplate.model import (
    Camera,
    EdgeReport,
    Measurement,
    Network,
    Outline,
    OutlineLoop,
    Segment,
)
from phototemplate.output import schema as s
from phototemplate.output.assessment import Judgements
from phototemplate.output.result_assessment import judgements_part
from phototemplate.output.result_reader import StoredResult, read_result
from phototemplate.output.schema_base import Symmetric, numbers
from phototemplate.output.withheld import as_shown
from phototemplate.wording import say

__all__ = ["StoredResult", "read_result", "result_of", "write_result_json"]


def write_result_json(measurement: Measurement, path: str | Path, judgements: Judgements | None = None) -> Path:
    """Write a measurement as ``result.json`` (format: :mod:`phototemplate.output.schema`), with what was judged of it.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    tree = result_of(measurement, judgements).model_dump(mode="json", exclude_none=False)
    write_text_atomic(path, _readable(tree) + "\n")
    return Path(path)


def result_of(measurement: Measurement, judgements: Judgements | None = None) -> s.Result:
    """The measurement in the form of the file."""
    withheld = measurement.network.quality.withheld
    measurement = as_shown(measurement)
    judgements = None if withheld else judgements
    net, outline = measurement.network, measurement.outline
    influences = outline.influences
    return s.Result(
        program=f"phototemplate {__version__}",
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        job=measurement.job_name,
        scale_known=net.scale_known,
        withheld=withheld,
        sigma0=_finite(net.sigma0),
        redundancy=_finite(net.redundancy),
        outline=_outline_part(outline),
        work_plane=_plane_part(measurement),
        cameras=[_camera_part(c) for c in net.cameras.values()],
        photos=_photo_parts(measurement),
        sheets=_sheet_parts(net),
        points=_point_parts(net),
        lengths=[
            s.LengthPart(
                name=k.name,
                given_mm=k.given_mm,
                u_mm=k.u_mm,
                adjusted_mm=k.adjusted_mm,
                normalized_residual=_finite(k.normalized_residual),
                smallest_detectable_mm=_finite(k.smallest_detectable_mm),
                used=k.used,
            )
            for k in net.lengths
        ],
        influences=s.InfluencesPart(
            names=list(influences.names),
            covariance=Symmetric.of(influences.cov, 7),
            outline_jacobian=numbers(outline.shared_jac, 7),
        ),
        findings=_findings(tuple(dict.fromkeys((*measurement.findings, *(judgements.findings if judgements else ()))))),
        judgements=judgements_part(judgements) if judgements is not None else None,
        seconds={k: round(v, 3) for k, v in measurement.seconds.items()},
    )


def _outline_part(outline: Outline) -> s.OutlinePart:
    reports = {e.edge_id: e for e in outline.edges}
    jac = outline.shared_jac
    return s.OutlinePart(
        unscaled=outline.unscaled,
        plan_from_work=numbers(outline.plan_from_work),
        edges=[_edge_part(seg, reports.get(seg.edge_id)) for seg in outline.segments],
        loops=[_loop_part(loop) for loop in outline.loops],
        state=s.StatePart(
            noise_mm2=Symmetric.of(outline.noise_cov_mm2, 12),
            causes_mm2={g: Symmetric.of(jac @ p @ jac.T, 12) for g, p in outline.influences.parts.items()},
        ),
        findings=_findings(outline.findings),
    )


def _edge_part(segment: Segment, report: EdgeReport | None) -> s.EdgePart:
    read: dict[str, Any] = {}
    if report is not None:
        read = {
            "length_mm": report.length_mm,
            "length_U_mm": _finite(report.length_U_mm),
            "angle_rad": report.angle_rad,
            "angle_U_rad": _finite(report.angle_U_rad),
            "offset_U_mm": [_finite(u) for u in report.offset_U_mm],
            "budget": [(cause, float(f"{u:.6g}")) for cause, u in report.budget],
            "rms_mm": _finite(report.rms_mm),
        }
    found = segment.findings if report is None else tuple(dict.fromkeys((*segment.findings, *report.findings)))
    return s.EdgePart(
        edge=segment.edge_id,
        kind=segment.kind,
        shape=segment.shape,
        source=segment.source,
        chord_mm=numbers(segment.chord_mm, 15),
        bend_per_mm=segment.bend_per_mm,
        knots_mm=numbers(segment.knots_mm, 15),
        offsets_mm=numbers(segment.offsets_mm, 15),
        height_mm=list(segment.height_mm),
        level=segment.level,
        line=segment.line,
        arris_mm=None if segment.arris_mm is None else segment.arris_mm[0],
        arris_U_mm=None if segment.arris_mm is None else _finite(2.0 * segment.arris_mm[1]),
        n_photos=segment.n_photos,
        points_mm=numbers(np.round(segment.points_mm, 4)),
        residuals_mm=numbers(np.round(segment.residuals_mm, 5)),
        candidates=[
            s.CandidatePart(offset_mm=c.offset_mm, height_mm=c.height_mm, support=c.support, reading=c.reading)
            for c in segment.candidates
        ],
        findings=_findings(found),
        **read,
    )


def _loop_part(loop: OutlineLoop) -> s.LoopPart:
    corners = []
    for i, (xy, cov) in enumerate(zip(loop.corners_mm, loop.corner_cov_mm2, strict=True)):
        stated = bool(np.all(np.isfinite(cov)))
        axes = 2.0 * np.sqrt(np.maximum(np.linalg.eigvalsh(cov)[::-1], 0.0)) if stated else np.full(2, np.nan)
        before, after = loop.edge_ids[i - 1], loop.edge_ids[i % len(loop.edge_ids)]
        if not loop.closed:  # an open chain has a free end before its first and after its last edge
            before = loop.edge_ids[i - 1] if i > 0 else ""
            after = loop.edge_ids[i] if i < len(loop.edge_ids) else ""
        corners.append(
            s.CornerPart(
                edges=(before, after),
                xy_mm=numbers(xy),
                covariance_mm2=numbers([cov[0, 0], cov[0, 1], cov[1, 1]], 9),
                ellipse_U_mm=numbers(axes, 6),
            )
        )
    return s.LoopPart(loop=loop.loop_id, edges=list(loop.edge_ids), closed=loop.closed, corners=corners)


def _plane_part(measurement: Measurement) -> s.WorkPlanePart:
    plane = measurement.work_plane
    return s.WorkPlanePart(
        rotation=numbers(plane.rotation),
        translation_mm=numbers(plane.translation_mm),
        covariance=Symmetric.of(plane.shared_jac @ plane.influences.cov @ plane.shared_jac.T),
        heights=[
            s.HeightPart(target=h.name, group=h.group, xy_mm=numbers(h.xy_mm), height_mm=h.height_mm, u_mm=_finite(h.u_mm),
                         level=h.level)
            for h in plane.heights
        ],
        levels=[
            s.LevelPart(level=one.name, height_mm=one.height_mm, u_mm=_finite(one.u_mm), targets=list(one.sheets))
            for one in plane.levels
        ],
        findings=_findings(plane.findings),
    )


def _camera_part(camera: Camera) -> s.CameraPart:
    from phototemplate.numerics.lens import LENS_MODELS

    return s.CameraPart(
        camera=camera.camera_id,
        lens_model=camera.model,
        size_px=camera.size_px,
        names=list(LENS_MODELS[camera.model].names),
        parameters=numbers(camera.params),
        covariance=Symmetric.of(camera.cov),
        source=camera.source,
    )


def _photo_parts(measurement: Measurement) -> list[s.PhotoPart]:
    net = measurement.network
    residuals = {r.photo_id: r for r in net.residuals}
    out = []
    for meta in measurement.photos:
        pose, seen, left = (
            net.photos.get(meta.photo_id),
            measurement.sightings.get(meta.photo_id),
            residuals.get(meta.photo_id),
        )
        sightings = None
        if left is not None:
            sightings = s.SightingsPart(
                target=list(left.target_ids),
                point=[int(p) for p in left.point_ids],
                uv_px=numbers(np.round(left.uv_px, 4)),
                residual_px=numbers(np.round(left.residual_px, 4)),
                weight=numbers(left.weight, 4),
            )
        elif seen is not None:
            sightings = s.SightingsPart(
                target=list(seen.target_ids),
                point=[int(p) for p in seen.point_ids],
                uv_px=numbers(np.round(seen.uv_px, 4)),
                residual_px=[],
                weight=[],
            )
        placed = None
        if pose is not None:
            names, cov = _block(net, f"photo:{meta.photo_id}:")
            placed = s.PosePart(
                rotation=numbers(pose.rotation, 15),
                translation_mm=numbers(pose.translation_mm),
                focus=pose.focus,
                names=names,
                covariance=cov,
            )
        out.append(
            s.PhotoPart(
                photo=meta.photo_id,
                file=meta.path.name,
                size_px=meta.size_px,
                orientation=meta.orientation,
                camera=meta.camera_id,
                taken_at=meta.taken_at,
                pose=placed,
                sightings=sightings,
            )
        )
    return out


def _sheet_parts(net: Network) -> list[s.SheetPart]:
    out = []
    for body in net.bodies.values():
        names, cov = _block(net, f"body:{body.target_id}:")
        out.append(
            s.SheetPart(
                target=body.target_id,
                kind=net.targets[body.target_id].kind,
                rotation=numbers(body.rotation, 15),
                translation_mm=numbers(body.translation_mm),
                print_scale=numbers(body.scale_xy),
                curl_per_mm=numbers(body.curl_per_mm),
                names=names,
                covariance=cov,
            )
        )
    return out


def _point_parts(net: Network) -> list[s.PointPart]:
    return [
        s.PointPart(
            target=p.target_id,
            point=p.point_id,
            xyz_mm=numbers(p.xyz_mm),
            covariance_mm2=Symmetric.of(p.noise_cov_mm2 + p.shared_jac @ net.influences.cov @ p.shared_jac.T),
            n_photos=p.n_photos,
        )
        for p in net.points
    ]


def _block(net: Network, prefix: str) -> tuple[list[str], Symmetric | None]:
    """Names and covariance of the influences that begin with ``prefix``."""
    index = [i for i, name in enumerate(net.influences.names) if name.startswith(prefix)]
    if not index:
        return [], None
    return (
        [net.influences.names[i].removeprefix(prefix) for i in index],
        Symmetric.of(net.influences.cov[np.ix_(index, index)]),
    )


def _findings(findings: tuple[Finding, ...]) -> list[s.FindingPart]:
    return [
        s.FindingPart(
            code=f.code, severity=f.severity, where=f.where, facts=_facts(f), message=words.message, remedy=words.remedy
        )
        for f, words in ((f, say(f)) for f in findings)
    ]


def _facts(finding: Finding) -> dict[str, Any]:
    return {
        name: s.ThingToDoPart(code=fact.code, where=fact.where, facts=_facts(fact)) if isinstance(fact, Finding) else fact
        for name, fact in finding.facts.items()
    }


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _readable(tree: Any, indent: str = "") -> str:
    """JSON with one line per key and rows of numbers kept together: small, and still to be read by eye."""
    deeper = indent + " "
    if isinstance(tree, dict) and tree:
        inner = ",\n".join(f"{deeper}{json.dumps(k)}: {_readable(v, deeper)}" for k, v in tree.items())
        return f"{{\n{inner}\n{indent}}}"
    if isinstance(tree, list) and any(isinstance(v, dict) or (isinstance(v, list) and len(v) > 4) for v in tree):
        inner = ",\n".join(deeper + _readable(v, deeper) for v in tree)
        return f"[\n{inner}\n{indent}]"
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
