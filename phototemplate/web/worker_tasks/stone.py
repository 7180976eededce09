"""The pieces as the page shows them: shapes in the work frame, tables with U, checks and findings beside what they concern."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np

from phototemplate.errors import InputError
from phototemplate.job import Job
from phototemplate.model import Array, Measurement
from phototemplate.results import template_of
from phototemplate.template.boundary import FitError
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.piece_types import Cutout, Piece, Size, Template
from phototemplate.template.quantities import Quantity
from phototemplate.template.rules import CAUTION_CODES
from phototemplate.units import LengthUnit
from phototemplate.web.constants import CHORD_MM
from phototemplate.web.worker_tasks.spoken import check_part, finding_parts, phrase_part


def stone_of(job: Job, m: Measurement) -> tuple[Template | None, dict[str, Any] | None]:
    """The pieces that can be built, and why one cannot (to show beside what causes it)."""
    try:
        template = template_of(job, m)
    except InputError as exc:
        return None, trouble_of(exc)
    return template, trouble_of(template.refused[0][1]) if template is not None and template.refused else None


def trouble_of(exc: InputError) -> dict[str, Any]:
    """Why a piece cannot be built, for the page."""
    if isinstance(exc, FitError):
        return {"trouble": str(exc), "where": exc.where, "value": exc.value_mm, "nearest": exc.nearest_mm}
    return {"trouble": str(exc), "where": "", "value": None, "nearest": None}


def template_part(t: Template, back: Array, unit: LengthUnit) -> dict[str, Any]:
    """The template for the page; ``back`` moves plan to work, findings speak in ``unit``."""
    def at(xy: Any) -> list[float]:
        p = back[:2, :2] @ np.asarray(xy, float) + back[:2, 2]
        return [round(float(p[0]), 3), round(float(p[1]), 3)]

    def shape(vertices: Any) -> list[list[float]]:
        points = flatten_polyline(np.asarray(vertices, float).reshape(-1, 3), True, CHORD_MM)
        return [at(p) for p in points]

    return {
        "pieces": [_piece(p, at, shape) for p in t.pieces],
        "splashes": [
            {"id": s.piece_id, "kind": s.kind, "edge": s.edge_id, "length": _q(s.length), "height": s.height_mm,
             "thickness": s.thickness_mm, "extra": s.foot_extra_mm, "follows": s.follows_wall, "area": s.area_mm2,
             "weight": s.weight_kg, "foot": shape(s.foot)}
            for s in t.splashes
        ],
        "seams": [
            {"id": s.seam_id, "pieces": list(s.pieces), "start": at(s.start), "end": at(s.end), "joint": s.joint_mm,
             "length": _q(s.length)} for s in t.seams
        ],
        "proposals": [
            {"piece": p.piece_id, "corner": p.corner, "start": at(p.start), "end": at(p.end),
             "seam": _seam_words(p.words)}
            for p in t.proposals
        ],
        "opening_sizes": [_size(s, at) for s in t.opening_sizes],
        "appliances": [{"id": i, "kind": k, "shape": [at(p) for p in corners]} for i, k, corners in t.appliances],
        "centres": [{"id": i, "start": at(a), "end": at(b)} for i, a, b in t.centres],
        "checks": [
            check_part(c.rule, c.facts, unit) | {"where": c.where, "source": c.source, "verdict": c.verdict} for c in t.checks
        ],
        "shims": [{"name": s.name, "group": s.group, "shim": s.shim_mm, "U": s.U_mm} for s in t.shims],
        "cautions": [phrase_part(code) for code in CAUTION_CODES],
        "findings": finding_parts(t.findings, unit),
    }


def _seam_words(words: str) -> dict[str, Any] | None:
    """The words of the job file as data."""
    try:
        out: dict[str, Any] = tomllib.loads(f"seam = {{{words}}}")["seam"]
        return out
    except tomllib.TOMLDecodeError:
        return None


def _q(q: Quantity) -> dict[str, Any]:
    return {"value": q.value, "U": q.U}


def _size(s: Size, at: Any) -> dict[str, Any]:
    return {"name": s.name, **_q(s.quantity), "unit": s.quantity.unit, "start": at(s.start), "end": at(s.end), "group": s.group,
            "decided": s.decided}


def _cutout(c: Cutout, at: Any, shape: Any) -> dict[str, Any]:
    return {"id": c.cutout_id, "kind": c.kind, "source": c.source, "shape": shape(c.vertices), "centre": at(c.centre),
            "across": c.across_seam}


def _piece(p: Piece, at: Any, shape: Any) -> dict[str, Any]:
    return {
        "id": p.piece_id, "source": p.source_id, "shape": shape(p.vertices),
        "edges": [
            {"id": e.edge_id, "finish": e.finish, "rule": e.rule, "outward": e.outward_mm,
             "start": at(e.start), "end": at(e.end), "length": e.length.value, "U": e.length.U, "place_U": e.place_U_mm,
             "gap": None if e.gap is None else e.gap.largest_mm,
             "moved": None if e.moved is None else [q.value for q in e.moved]}
            for e in p.edges
        ],
        "corners": [
            {"name": c.name, "at": at(c.at), "angle": c.angle.value, "angle_U": c.angle.U, "kind": c.kind, "size": c.size_mm,
             "default": c.by_default, "inside": c.inside} for c in p.corners
        ],
        "cutouts": [_cutout(c, at, shape) for c in p.cutouts],
        "holes": [{"name": h.name, "centre": at(h.centre), "diameter": h.diameter_mm} for h in p.holes],
        "sizes": [_size(s, at) for s in p.sizes],
        "area": p.area.value, "area_U": p.area.U, "weight": p.weight_kg,
    }
