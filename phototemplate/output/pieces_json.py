"""``pieces.json``: the geometry of every finished piece, hole and edge with its uncertainty, for programs.

All lengths are mm, angles degrees, areas mm2, weights kg. ``outline`` holds vertices ``[x, y, bulge]`` of a closed polyline in
the plan frame, anticlockwise, the bulge being tan(included angle / 4) of the span that begins there; of an upright piece they
are in the frame of the piece lying flat, x along its edge as seen from the room, y up. ``U`` is the expanded uncertainty,
k = 2; what was decided has ``"decided": true`` and a U of 0.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from phototemplate.atomic import write_text_atomic
from phototemplate.output.constants import PIECES_VERSION
from phototemplate.template.cutting import smallest_segment_mm
from phototemplate.template.piece_types import Cutout, Piece, Splash, Template
from phototemplate.template.quantities import Quantity
from phototemplate.template.square_code import piece_code

PIECES_FORMAT = "phototemplate-pieces"


def write_pieces_json(template: Template, job: str, path: str | Path, revision: str = "") -> Path:
    """Write the file.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    write_text_atomic(path, json.dumps(pieces_data(template, job, revision), indent=1, allow_nan=False) + "\n")
    return Path(path)


def pieces_data(template: Template, job: str, revision: str = "") -> dict[str, Any]:
    """What stands in the file."""
    material = template.spec.shop.material
    return {
        "format": PIECES_FORMAT, "version": PIECES_VERSION, "job": job, "unit": "mm", "k": 2,
        "revision": revision, "codes": {p.piece_id: piece_code(template, p, revision) for p in template.parts},
        "material": {"name": material.name, "kind": material.kind, "thickness_mm": material.thickness},
        "pieces": [_top(p) for p in template.pieces],
        "upright": [_upright(s) for s in template.splashes],
        "seams": [{"id": s.seam_id, "between": list(s.pieces), "start": list(s.start), "end": list(s.end),
                   "joint_mm": s.joint_mm, "length": _quantity(s.length)} for s in template.seams],
        "not_built": [{"piece": name, "why": str(error)} for name, error in template.refused],
    }  # fmt: skip


def _top(p: Piece) -> dict[str, Any]:
    return {
        "id": p.piece_id, "from": p.source_id, "outline": [list(v) for v in p.vertices],
        "smallest_segment_mm": smallest_segment_mm(p), "area_mm2": _quantity(p.area), "weight_kg": p.weight_kg,
        "edges": [
            {"id": e.edge_id, "finish": e.finish, "profile": e.profile, "face_mm": e.face_mm,
             "mitred_to": e.mitred_to, "rule": e.rule, "outward_mm": e.outward_mm, "start": list(e.start), "end": list(e.end),
             "length": _quantity(e.length), "place_U_mm": e.place_U_mm}
            for e in p.edges
        ],
        "corners": [
            {"between": c.name.split("/"), "at": list(c.at), "inside_angle_deg": math.degrees(c.angle.value),
             "U_deg": math.degrees(c.angle.U), "made": c.kind, "size_mm": c.size_mm}
            for c in p.corners
        ],
        "cutouts": [_cutout(c) for c in p.cutouts],
        "holes": [{"id": h.name, "centre": list(h.centre), "diameter_mm": h.diameter_mm} for h in p.holes],
        "sizes": [
            {"name": s.name, "kind": s.group, "start": list(s.start), "end": list(s.end), **_quantity(s.quantity),
             "decided": s.decided}
            for s in p.sizes
        ],
    }  # fmt: skip


def _upright(s: Splash) -> dict[str, Any]:
    return {
        "id": s.piece_id, "kind": s.kind, "edge": s.edge_id, "outline": [list(v) for v in s.vertices],
        "smallest_segment_mm": smallest_segment_mm(s), "length": _quantity(s.length), "height_mm": s.height_mm,
        "thickness_mm": s.thickness_mm, "area_mm2": s.area_mm2, "weight_kg": s.weight_kg,
        "top": s.top_id, "joint": s.joint, "ends": list(s.ends), "grain_runs_on": s.grain_runs_on,
        "cutouts": [_cutout(c) for c in s.cutouts],
    }  # fmt: skip


def _cutout(c: Cutout) -> dict[str, Any]:
    return {"id": c.cutout_id, "kind": c.kind, "source": c.source, "outline": [list(v) for v in c.vertices],
            "centre": list(c.centre), "across_seam": c.across_seam, "reveal_mm": c.reveal_mm,
            "bowl": [list(v) for v in c.bowl]}


def _quantity(q: Quantity) -> dict[str, float]:
    return {"value": q.value, "U": q.U}
