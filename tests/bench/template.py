"""Pieces: 2,000 random outlines and wishes, areas and offsets, undo order, the demo's kitchen in pieces.

Targets are those the project set itself; the demo's part runs where its photos are there.
"""

from __future__ import annotations

import hashlib
import json
import random
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from phototemplate.demo import DEMO_FOLDER, compare, run_demo
from phototemplate.model import HeightPoint, Outline
from phototemplate.output.dxf import dxf_bytes, write_dxf
from phototemplate.template.boundary import polygon_of, polygon_of_vertices
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.shop_drawing import template_drawing
from phototemplate.template.spec import TemplateSpec
from tests.bench import BenchResult
from tests.template.properties import CHORD_MM, PRINTED, Outcome, try_one
from tests.template.samples import l_kitchen
from tests.template.test_pieces import full_spec

RANGE_MM = 762.0
DEMO_SPEC: dict[str, Any] = {
    "pieces": [
        {"id": "left top", "loop": "left run", "edges": {"gap-left": {"side_of": "range/left"}},
         "splashes": [{"id": "back splash", "edge": "wall-back", "thickness": 20}]},
        {"id": "right top", "loop": "right run", "edges": {"gap-right": {"side_of": "range/right"}}},
    ],
    "openings": [{"id": "range", "run": "front-back", "width": "30 in", "along": {"between": ["gap-left", "gap-right"]}}],
}


def run(quick: bool) -> BenchResult:
    """Every part of the benchmark."""
    result = BenchResult("pieces")
    _random_outlines(result, 200 if quick else 2000)
    _undo_order(result)
    _kitchen(result, "sample kitchen", l_kitchen(), full_spec(), [])
    if (DEMO_FOLDER / "truth.json").is_file():
        _demo(result)
    else:
        result.rows.append({"part": "demo kitchen", "what": "skipped", "found": f"no photos in {DEMO_FOLDER.name}"})
    return result


def _random_outlines(result: BenchResult, count: int) -> None:
    outcomes: list[Outcome] = []
    broken: list[str] = []

    @settings(max_examples=count, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(st.integers(0, 2**32 - 1))
    def each(seed: int) -> None:
        try:
            outcomes.append(try_one(seed))
        except Exception as error:
            broken.append(f"{seed}: {type(error).__name__} {error}")

    begun = time.perf_counter()
    each()
    seconds = time.perf_counter() - begun
    kinds = Counter(o.kind for o in outcomes)
    area = max((o.area_error_mm2 for o in outcomes), default=0.0)
    offset = max((o.offset_error_mm2 for o in outcomes), default=0.0)
    errors = [o for o in outcomes if o.kind == "error"]
    result.rows += [
        {"part": "random outlines", "what": "tried", "found": len(outcomes) + len(broken)},
        {"part": "random outlines", "what": "cut", "found": kinds["cut"]},
        {"part": "random outlines", "what": "refused with an error", "found": kinds["error"]},
        {"part": "random outlines", "what": "... that says what would work", "found": sum(o.nearest for o in errors)},
        {"part": "random outlines", "what": "s each", "found": round(seconds / max(count, 1), 3)},
        *({"part": "random outlines", "what": "broken", "found": text[:200]} for text in broken[:10]),
    ]
    result.target("no self-crossing or unclosed piece without an error", "0 of all", len(broken), not broken)
    cut = [o for o in outcomes if o.kind == "cut"]
    shortest = min((o.shortest_mm for o in cut), default=0.0)
    off = max((o.off_rule for o in cut), default=0.0)
    overlaps = sum(o.label_overlaps for o in cut)
    recomputed = max((o.recomputed_mm for o in cut), default=0.0)
    result.target("no side of a piece shorter than a machine is given", "0.5 mm", f"{shortest:.3f} mm", shortest >= 0.5)
    result.target("sides are parallel and square as their rule says", "1e-9 rad", f"{off:.2g} rad", off < 1e-9)
    result.target("labels of the drawings over each other or crossed by a line", "0", overlaps, not overlaps)
    result.target("printed lengths are those between the ends that are cut", "1e-6 mm", f"{recomputed:.2g} mm",
                  recomputed < 1e-6)
    for kind in PRINTED:
        what, unit = kind.rsplit(", ", 1)
        count, beyond = sum(o.printed[kind][0] for o in cut), max((o.printed[kind][1] for o in cut), default=0.0)
        result.target(f"printed {what} are what the DXF alone gives", "within their digits",
                      f"{max(beyond, 0.0):.2g} {unit} beyond, of {count}", beyond <= 1e-6 and count > 0)
    apart = sum(o.readers_apart for o in cut)
    result.target("GDAL, LibreCAD and ezdxf read the same cutting file", "all", f"{apart} of {len(cut)} differ", not apart)
    result.target("areas agree with shapely within the chord tolerance", f"{CHORD_MM} mm", f"{max(area, 0.0):.4f} mm2 beyond",
                  area <= 0.0)
    result.target("offsets agree with shapely within the chord tolerance", f"{CHORD_MM} mm", f"{offset:.5f} mm mean",
                  offset <= CHORD_MM)


def _undo_order(result: BenchResult) -> None:
    """Fifty shuffles of the same declarations give the same file, byte for byte."""
    outline = l_kitchen()
    spec = full_spec().model_dump()
    spec["openings"].append({"id": "gap", "run": "front-short", "width": 300, "along": {"edge": "near-end", "distance": 250},
                             "depth": 200})
    spec["pieces"][0]["cutouts"][0]["along"]["distance"] = 1000
    spec["pieces"][0]["cutouts"].append({"id": "a", "run": "front-long", "along": {"edge": "right-end", "distance": 350},
                                         "setback": 90, "width": 300, "depth": 300})
    rng = random.Random(3)
    digests = set()
    for _ in range(50):
        rng.shuffle(spec["openings"])
        rng.shuffle(spec["pieces"][0]["cutouts"])
        for key in ("edges", "corners"):
            items = list(spec["pieces"][0][key].items())
            rng.shuffle(items)
            spec["pieces"][0][key] = dict(items)
        drawing = template_drawing(build_template(outline, TemplateSpec.model_validate(spec)), outline)
        digests.add(hashlib.sha256(_without_dates(dxf_bytes(drawing))).hexdigest())
    result.target("undo order does not matter: byte-identical DXF apart from dates", "1 file", len(digests), len(digests) == 1)


def _without_dates(data: bytes) -> bytes:
    """DXF without the values of its date and id variables."""
    lines = data.split(b"\n")
    out = []
    skip = 0
    for line in lines:
        if line.strip() in (b"$TDCREATE", b"$TDUCREATE", b"$TDUPDATE", b"$TDUUPDATE", b"$FINGERPRINTGUID", b"$VERSIONGUID"):
            skip = 3
        if skip:
            skip -= 1
            continue
        # ezdxf notes when it created and wrote the file: "1.4.5 @ 2026-..."
        out.append(line.split(b" @ ")[0])
    return b"\n".join(out)


def _kitchen(
    result: BenchResult, name: str, outline: Outline, spec: TemplateSpec, heights: list[HeightPoint]
) -> Template:
    begun = time.perf_counter()
    template = build_template(outline, spec, heights)
    drawing = template_drawing(template, outline)
    seconds = time.perf_counter() - begun
    a, b = (polygon_of(p.boundary) for p in template.pieces[-2:])
    result.rows += [
        {"part": name, "what": "pieces", "found": ", ".join(p.piece_id for p in template.pieces)},
        {"part": name, "what": "splashes", "found": ", ".join(s.piece_id for s in template.splashes)},
        {"part": name, "what": "stone to stone across the opening, mm", "found": round(a.distance(b), 4)},
        {"part": name, "what": "largest U of a finished dimension, mm",
         "found": round(max(s.quantity.U for p in template.pieces for s in p.sizes), 2)},
    ]
    result.target(f"{name}: pieces and drawing after measuring", "under 2 s", f"{seconds:.2f} s", seconds < 2.0)
    result.target(f"{name}: range opening", f"{RANGE_MM} mm", f"{a.distance(b):.4f} mm", abs(a.distance(b) - RANGE_MM) < 1e-3)
    _files(result, name, template, outline, drawing)
    return template


def _files(result: BenchResult, name: str, template: Template, outline: Outline, drawing: Any) -> None:
    """DXF audited by ezdxf and read by GDAL with the same areas."""
    wanted = sorted([polygon_of_vertices(p.vertices, 1e-3).area for p in template.pieces]
                    + [polygon_of_vertices(s.vertices, 1e-3).area for s in template.splashes])
    with tempfile.TemporaryDirectory() as folder:
        for version in ("R2010", "R12"):
            path = Path(folder) / f"{version}.dxf"
            write_dxf(drawing, path, version=version)
            audit = ezdxf.readfile(path).audit()
            meta, _, shapes, fields = pyogrio.raw.read(path)
            layer = fields[list(meta["fields"]).index("Layer")]
            rings = [shapely.from_wkb(g) for g, n in zip(shapes, layer, strict=True) if n == "STONE-SHAPE"]
            found = sorted(shapely.Polygon(r).area for r in rings if r.is_ring)
            same = len(found) == len(wanted) and bool(np.allclose(found, wanted, rtol=2e-4))
            result.target(f"{name}: {version} audited clean, read by GDAL with the same areas", "0 faults, equal",
                          f"{len(audit.errors)} faults, {len(found)} of {len(wanted)} shapes", not audit.errors and same)
    del outline


def _demo(result: BenchResult, source: Path = DEMO_FOLDER) -> None:
    """The demo kitchen measured from its photos, then made into pieces; its truth judges the opening."""
    with tempfile.TemporaryDirectory() as folder:
        measurement = run_demo(Path(folder), source=source).measurement
    truth = json.loads((source / "truth.json").read_text(encoding="utf-8"))
    _, alignment = compare(measurement, truth)
    spec = TemplateSpec.model_validate(DEMO_SPEC)
    template = _kitchen(result, "demo kitchen", measurement.outline, spec, list(measurement.work_plane.heights))
    result.target("demo kitchen: two pieces plus splash", "2 + 1", f"{len(template.pieces)} + {len(template.splashes)}",
                  len(template.pieces) == 2 and len(template.splashes) == 1)
    frame = template.openings[0].frame
    sides = []
    for edge in truth["edges"]:
        if edge["id"] in ("gap-left", "gap-right"):
            sides.append(alignment(np.array(edge["points_mm"]))[:, :2])
    # where the true panels stand at the front, across the opening's own frame
    offsets = []
    for side in sides:
        at_front = side[int(np.argmin(side @ frame.inward.xy))]
        offsets.append(float(frame.across.xy @ (at_front - frame.origin.xy)))
    off = float(np.mean(offsets)) if len(offsets) == 2 else float("nan")
    u = max(s.quantity.U for s in template.opening_sizes if s.group == "gap")
    result.rows.append({"part": "demo kitchen", "what": "U of the opening's room to a panel, mm", "found": round(u, 2)})
    result.target("demo kitchen: range opening centred", "within 0.8 mm", f"{off:+.2f} mm", abs(off) <= 0.8)
