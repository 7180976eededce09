"""Rules applied to a template: each gives a row with its source, and a finding where somebody should look."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from phototemplate.errors import Finding
from phototemplate.model import Array, HeightPoint
from phototemplate.template.boundary import Span, polygon_of, polygon_of_vertices
from phototemplate.template.constants import APPLIANCE_DEPTH_MM
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.level import flatness_checks
from phototemplate.template.piece_types import Check, Piece, Template
from phototemplate.template.places import frame_at
from phototemplate.template.quantities import State
from phototemplate.template.rules import (
    ADA,
    DESIGN_MANUAL,
    KILOGRAM_LIMIT,
    NEC,
    NIOSH,
    PRACTICE,
    USUAL_DEPTH_MM,
    USUAL_WIDTHS_MM,
    carriers,
    island_receptacles,
    span_limit_mm,
    unsupported_limit_mm,
    wall_receptacles,
)
from phototemplate.template.seams import extent_mm, fits_slab
from phototemplate.template.spec import TemplateSpec

Rows = tuple[list[Check], list[Finding]]


def appliance_places(state: State, spec: TemplateSpec) -> tuple[tuple[str, str, Array], ...]:
    """Where appliances under the counter stand: (id, kind, (4, 2) corners)."""
    out = []
    for a in sorted(spec.appliances, key=lambda a: a.id):
        frame = frame_at(state, a.run, a.along, None, f"Appliance {a.id!r}")
        w, d = a.width / 2.0, APPLIANCE_DEPTH_MM
        box = np.array([frame.at(x, y).xy for x, y in ((-w, 0.0), (w, 0.0), (w, d), (-w, d))])
        out.append((a.id, a.kind, box))
    return tuple(out)


def run_checks(template: Template, heights: Sequence[HeightPoint]) -> Rows:
    """Every check, in a fixed order."""
    checks: list[Check] = []
    findings: list[Finding] = []
    for piece in template.pieces:
        for rule in (_overhangs, _webs, _inside_radii, _slab, _weight, _depths, _receptacles):
            rows, doubts = rule(template, piece)
            checks += rows
            findings += doubts
    for rows, doubts in (_seams(template), _spans(template), _openings(template), _heights(heights),
                         _access(template)):
        checks += rows
        findings += doubts
    for p in template.proposals:
        findings.append(Finding("seam-proposed", p.piece_id, f"A seam of piece {p.piece_id} could go from "
                                f"({p.start[0]:.0f}, {p.start[1]:.0f}) to ({p.end[0]:.0f}, {p.end[1]:.0f}) mm: {p.reason}.",
                                f"To cut it, write under the piece's seams: {p.words}."))
    return checks, findings


def _verdict(good: bool) -> str:
    return "ok" if good else "look"


def _overhangs(template: Template, piece: Piece) -> Rows:
    thickness = template.spec.shop.material.thickness
    checks, findings = [], []
    depths = {s.name: s.quantity.value for s in piece.sizes if s.group == "depth"}
    for edge in piece.edges:
        if edge.finish != "finished" or edge.outward_mm <= 0:
            continue
        depth = depths.get(f"depth of {edge.edge_id}, middle")
        if depth is None:
            continue
        limit = unsupported_limit_mm(thickness, depth)
        good = edge.outward_mm <= limit
        checks.append(Check("unsupported overhang", f"{piece.piece_id}/{edge.edge_id}", f"{edge.outward_mm:.0f} mm",
                            f"{limit:.0f} mm at {thickness:.0f} mm, depth {depth:.0f} mm", DESIGN_MANUAL, _verdict(good)))
        if not good:
            findings.append(Finding(
                "overhang-unsupported", f"{piece.piece_id}/{edge.edge_id}",
                f"Edge {edge.edge_id} of piece {piece.piece_id} overhangs {edge.outward_mm:.0f} mm, the usual limit without "
                f"support is {limit:.0f} mm.", "Have supports designed for it, or reduce the overhang.",
            ))
    return checks, findings


def _webs(template: Template, piece: Piece) -> Rows:
    shop = template.spec.shop
    checks, findings = [], []
    for cutout in piece.cutouts:
        if cutout.across_seam or cutout.kind == "post":
            continue
        shape = polygon_of_vertices(cutout.vertices)
        for span in piece.boundary:
            if span.finish == "corner":
                continue
            line = span_line(span)
            distance = float(shape.distance(line))
            seam = span.finish == "seam"
            limit = shop.cutout_to_seam if seam else shop.cutout_to_edge
            if distance > 6 * limit:
                continue
            good = distance >= limit
            checks.append(Check(f"cut-out to {'seam' if seam else 'edge'}",
                                f"{piece.piece_id}/{cutout.cutout_id} - {span.name}",
                                f"{distance:.0f} mm", f"{limit:.0f} mm", PRACTICE, _verdict(good)))
            if not good:
                findings.append(Finding(
                    "cutout-near-seam" if seam else "cutout-near-edge", f"{piece.piece_id}/{cutout.cutout_id}",
                    f"Only {distance:.0f} mm of stone are left between cut-out {cutout.cutout_id} and {span.name} of piece "
                    f"{piece.piece_id}; shops leave {limit:.0f} mm.", "Move the cut-out or carry the strip from below.",
                ))
    return checks, findings


def span_line(span: Span) -> shapely.LineString:
    """Chorded line of a span."""
    return shapely.LineString(flatten_polyline(np.array([*span.vertices(0.05), (*span.end.xy, 0.0)]), False, 0.05))


def _inside_radii(template: Template, piece: Piece) -> Rows:
    shop = template.spec.shop
    checks = []
    for corner in piece.corners:
        if corner.inside and corner.kind != "clipped":
            good = corner.size_mm >= shop.inside_radius - 1e-9
            checks.append(Check("inside corner radius", f"{piece.piece_id}/{corner.name}", f"{corner.size_mm:.1f} mm",
                                f"{shop.inside_radius:.1f} mm", PRACTICE + " (a fabricator's shop rule: 3/8 in)",
                                _verdict(good)))
    return checks, []


def _slab(template: Template, piece: Piece) -> Rows:
    material = template.spec.shop.material
    polygon = polygon_of(piece.boundary, 0.1)
    long, short = extent_mm(polygon)
    good = fits_slab(polygon, material)
    usable = (material.slab_length - 2 * material.slab_trim, material.slab_width - 2 * material.slab_trim)
    check = Check("slab size", piece.piece_id, f"{long:.0f} x {short:.0f} mm", f"{usable[0]:.0f} x {usable[1]:.0f} mm usable",
                  "slab as given", _verdict(good))
    if good:
        return [check], []
    return [check], [Finding("piece-over-slab", piece.piece_id,
                             f"Piece {piece.piece_id} needs {long:.0f} x {short:.0f} mm, the slab gives {usable[0]:.0f} x "
                             f"{usable[1]:.0f} mm.", "Place a seam (see the proposals) or choose a larger slab.")]


def _weight(template: Template, piece: Piece) -> Rows:
    good = piece.weight_kg <= KILOGRAM_LIMIT
    how = carriers(piece.weight_kg)
    check = Check("weight", piece.piece_id, f"{piece.weight_kg:.0f} kg ({piece.weight_kg / 0.45359237:.0f} lb)",
                  f"{KILOGRAM_LIMIT:.0f} kg a person", NIOSH, _verdict(good))
    if good:
        return [check], []
    return [check], [Finding("piece-heavy", piece.piece_id, f"Piece {piece.piece_id} weighs about {piece.weight_kg:.0f} kg "
                             f"({piece.weight_kg / 0.45359237:.0f} lb): {how}.", "Plan the carry before cutting.")]


def _depths(template: Template, piece: Piece) -> Rows:
    walls = {e.edge_id for e in piece.edges if e.finish == "wall"}
    low, high = USUAL_DEPTH_MM
    checks, findings = [], []
    for s in piece.sizes:
        if s.group != "depth" or not s.name.endswith("middle") or not walls or s.quantity.value > 900.0:
            continue
        good = low <= s.quantity.value <= high
        checks.append(Check("usual depth", f"{piece.piece_id}: {s.name}", f"{s.quantity.value:.0f} mm",
                            f"{low:.0f} to {high:.0f} mm", PRACTICE, _verdict(good)))
        if not good:
            findings.append(Finding("size-unusual", piece.piece_id, f"The {s.name} of piece {piece.piece_id} is "
                                    f"{s.quantity.value:.0f} mm; kitchens usually have {low:.0f} to {high:.0f} mm.",
                                    "Make sure that the right edges were traced; the measurement stands."))
    del template
    return checks, findings


def _receptacles(template: Template, piece: Piece) -> Rows:
    edition = template.spec.shop.rules.electrical_edition
    if edition is None:
        return [], []
    source = f"{NEC}; edition {edition}"
    checks: list[Check] = []
    walls = [e for e in piece.edges if e.finish == "wall"]
    for edge in walls:
        count = wall_receptacles(edge.length.value)
        checks.append(Check("receptacles along the wall", f"{piece.piece_id}/{edge.edge_id}",
                            f"{edge.length.value:.0f} mm of wall", f"{count} at least", source, "note"))
    if not walls:
        long, short = extent_mm(polygon_of(piece.boundary, 0.1))
        count = island_receptacles(piece.area.value, long, short, edition)
        checks.append(Check("receptacles of an island", piece.piece_id, f"{piece.area.value / 1e6:.2f} m2",
                            f"{count} at least" if count else "none, but provision for one", source, "note"))
    findings = [Finding("receptacle", piece.piece_id, f"Receptacles of piece {piece.piece_id}: "
                        + "; ".join(f"{c.where} {c.limit}" for c in checks) + ".",
                        "A licensed electrician decides after the code adopted locally.")] if checks else []
    return checks, findings


def _seams(template: Template) -> Rows:
    findings = []
    checks = []
    for seam in template.seams:
        line = shapely.LineString([seam.start, seam.end])
        over = [name for name, kind, box in template.appliances
                if kind == "dishwasher" and shapely.Polygon(box).intersects(line)]
        checks.append(Check("seam over a dishwasher", seam.seam_id, ", ".join(over) or "none", "none", DESIGN_MANUAL,
                            _verdict(not over)))
        for name in over:
            findings.append(Finding("seam-over-dishwasher", seam.seam_id, f"Seam {seam.seam_id} lies over dishwasher {name}, "
                                    "where nothing carries it and steam reaches it.",
                                    "Move the seam over a cabinet."))
    return checks, findings


def _spans(template: Template) -> Rows:
    thickness = template.spec.shop.material.thickness
    limit = span_limit_mm(thickness)
    checks, findings = [], []
    for name, _, box in template.appliances:
        width = float(np.hypot(*(box[1] - box[0])))
        good = width <= limit
        checks.append(Check("span between supports", name, f"{width:.0f} mm", f"{limit:.0f} mm at {thickness:.0f} mm",
                            DESIGN_MANUAL, _verdict(good)))
        if not good:
            findings.append(Finding("span-unsupported", name, f"Over {name} the stone spans {width:.0f} mm; the usual "
                                    f"limit is {limit:.0f} mm.", "Carry it from below."))
    return checks, findings


def _openings(template: Template) -> Rows:
    checks, findings = [], []
    for opening in template.openings:
        width = opening.spec.width
        usual = USUAL_WIDTHS_MM["range"]
        good = any(low - 0.5 <= width <= high + 0.5 for low, high in usual)
        words = ", ".join(f"{low:.0f} to {high:.0f}" for low, high in usual)
        checks.append(Check("usual opening width", opening.spec.id, f"{width:.0f} mm", f"{words} mm", PRACTICE, _verdict(good)))
        if not good:
            findings.append(Finding("size-unusual", opening.spec.id, f"Opening {opening.spec.id} is {width:.1f} mm wide; "
                                    f"ranges usually ask for {words} mm.", "Take the width from the maker's sheet."))
    for s in template.opening_sizes:
        if s.group == "gap" and s.quantity.value > 0:
            findings.append(Finding("opening-tight", s.name, f"At {s.name}, the panel stands {s.quantity.value:.1f} mm (U "
                                    f"{s.quantity.U:.1f}) within the opening.",
                                    "Check that the appliance goes between the panels; see the maker's sheet."))
    return checks, findings


def _heights(heights: Sequence[HeightPoint]) -> Rows:
    checks = flatness_checks(heights)
    findings = [Finding("cabinets-not-flat", c.where, f"Between {c.where} the cabinet tops differ by {c.found}; the limit is "
                        f"{c.limit}.", "Shim after the list before stone goes on.") for c in checks if c.verdict == "look"]
    return checks, findings


def _access(template: Template) -> Rows:
    rules = template.spec.shop.rules
    if not rules.accessible:
        return [], []
    if rules.finished_height is None:
        return [], [Finding("accessibility", "height", "Accessibility was asked for, but the finished height above the "
                            "floor is not given.", "Give finished_height under the shop's rules.")]
    good = rules.finished_height <= 865.0
    check = Check("height of an accessible work surface", "top", f"{rules.finished_height:.0f} mm",
                  "865 mm (34 in) at most", ADA, _verdict(good))
    if good:
        return [check], []
    return [check], [Finding("accessibility", "height", f"The finished height of {rules.finished_height:.0f} mm is above "
                             "865 mm.", "Lower it or make the surface adjustable; the authority decides.")]
