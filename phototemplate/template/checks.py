"""Rules applied to a template: each gives a row with its source, and a finding where somebody should look."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely
import shapely.affinity

from phototemplate.errors import FINDINGS, Finding
from phototemplate.model import Array, HeightPoint
from phototemplate.template.boundary import Span, polygon_of, polygon_of_vertices, span_line
from phototemplate.template.constants import (
    APPLIANCE_DEPTH_MM,
    CENTRE_REACH_MM,
    CENTRED_WITHIN_MM,
    FAR_WEB,
    ON_CENTRE_MM,
    PLACE_SLACK_MM,
)
from phototemplate.template.level import flatness_checks
from phototemplate.template.piece_types import Check, Cutout, Piece, Template
from phototemplate.template.places import frame_at
from phototemplate.template.quantities import State
from phototemplate.template.rules import (
    ACCESSIBLE_HEIGHT_MM,
    ADA,
    CARRY_KG,
    DEEP_COUNTER_MM,
    DESIGN_MANUAL,
    NEC,
    NIOSH,
    OPENING_ROOM_MM,
    POUND_KG,
    PRACTICE,
    RANGE_WIDTHS_MM,
    TEAM,
    USUAL_DEPTH_MM,
    USUAL_ROOM_MM,
    island_receptacles,
    span_limit_mm,
    team_for,
    unsupported_limit_mm,
    wall_receptacles,
)
from phototemplate.template.seams import extent_mm, fits_slab, usable_slab_mm
from phototemplate.template.spec import TemplateSpec

FINDING_OF: Mapping[str, str] = {
    "overhang": "overhang-unsupported", "cutout-edge": "cutout-near-edge", "cutout-seam": "cutout-near-seam",
    "cutout-cutout": "cutouts-near", "slab": "piece-over-slab", "weight": "piece-heavy", "usual-depth": "size-unusual",
    "receptacles": "receptacle", "seam-dishwasher": "seam-over-dishwasher", "cutout-dishwasher": "cutout-over-dishwasher",
    "span": "span-unsupported", "opening-width": "size-unusual", "opening-room": "opening-no-room",
    "opening-panel": "opening-tight", "cutout-centre": "cutout-off-centre", "maker-room": "maker-room-short",
    "maker-asks": "maker-asks", "flatness": "cabinets-not-flat", "height": "accessibility",
}  # fmt: skip
"""Rule -> the finding that its check gives where it is not met (an inside corner speaks for itself when it is made)"""


def run_checks(template: Template, heights: Sequence[HeightPoint]) -> tuple[list[Check], list[Finding]]:
    """Every check, in a fixed order, and the findings of those that are not met."""
    checks: list[Check] = []
    for piece in template.pieces:
        for rule in (_overhangs, _webs, _inside_radii, _depths, _receptacles):
            checks += rule(template, piece)
    checks += [*_slabs(template), *_weights(template), *_sockets(template)]
    for of_all in (_seams, _dishwashers, _spans, _openings, _centres, _maker_sheets, _access):
        checks += of_all(template)
    checks += flatness_checks(heights)
    return checks, [_finding(c) for c in checks if c.verdict != "ok" and c.rule in FINDING_OF]


def _finding(check: Check) -> Finding:
    code = FINDING_OF[check.rule]
    return Finding(code, check.where, **{name: check.facts[name] for name in FINDINGS[code].facts})


def _check(rule: str, where: str, good: bool, source: str, **facts: Any) -> Check:
    return Check(rule, where, "ok" if good else "look", source, facts)


def appliance_places(state: State, spec: TemplateSpec) -> tuple[tuple[str, str, Array], ...]:
    """Where appliances under the counter stand: (id, kind, (4, 2) corners)."""
    out = []
    for a in sorted(spec.appliances, key=lambda a: a.id):
        frame = frame_at(state, a.run, a.along, None, f"Appliance {a.id!r}")
        w, d = a.width / 2.0, APPLIANCE_DEPTH_MM
        box = np.array([frame.at(x, y).xy for x, y in ((-w, 0.0), (w, 0.0), (w, d), (-w, d))])
        out.append((a.id, a.kind, box))
    return tuple(out)


def centre_lines(state: State, spec: TemplateSpec) -> tuple[tuple[str, tuple[float, float], tuple[float, float]], ...]:
    """Centre lines of cabinets, from before their front to behind the stone."""
    out = []
    for line in sorted(spec.centre_lines, key=lambda c: c.id):
        frame = frame_at(state, line.run, line.along, None, f"Centre line {line.id!r}")
        (ax, ay), (bx, by) = frame.at(0.0, -CENTRE_REACH_MM).xy, frame.at(0.0, APPLIANCE_DEPTH_MM + CENTRE_REACH_MM).xy
        out.append((line.id, (float(ax), float(ay)), (float(bx), float(by))))
    return tuple(out)


# --------------------------------------------------------------------------------------------- one top


def _overhangs(template: Template, piece: Piece) -> Iterator[Check]:
    thickness = template.spec.shop.material.thickness
    depths = {s.name: s.quantity.value for s in piece.sizes if s.group == "depth"}
    for edge in piece.edges:
        depth = depths.get(f"depth of {edge.edge_id}, middle")
        if edge.finish != "finished" or edge.outward_mm <= 0 or depth is None:
            continue
        limit = unsupported_limit_mm(thickness, depth)
        yield _check("overhang", f"{piece.piece_id}/{edge.edge_id}", edge.outward_mm <= limit, DESIGN_MANUAL,
                     edge=edge.edge_id, piece=piece.piece_id, overhang_mm=edge.outward_mm, limit_mm=limit,
                     thickness_mm=thickness, depth_mm=depth)


def _webs(template: Template, piece: Piece) -> Iterator[Check]:
    """Stone left between everything that is cut out of a top, and from there to its edges and seams."""
    shop = template.spec.shop
    shapes = [(c.cutout_id, polygon_of_vertices(c.vertices), shop.cutout_to_edge) for c in piece.cutouts
              if not c.across_seam and c.kind != "post"]
    shapes += [(h.name, shapely.Point(h.centre).buffer(h.diameter_mm / 2.0, 64), shop.hole_to_edge) for h in piece.holes]
    for name, shape, limit in shapes:
        for span in piece.boundary:
            if span.finish != "corner":
                yield from _web_to_span(piece, name, shape, span, shop.cutout_to_seam if span.finish == "seam" else limit)
    yield from _webs_between(piece.piece_id, shapes)


def _web_to_span(piece: Piece, name: str, shape: shapely.Polygon, span: Span, limit: float) -> Iterator[Check]:
    web = float(shape.distance(span_line(span)))
    if web > FAR_WEB * limit:
        return
    rule = "cutout-seam" if span.finish == "seam" else "cutout-edge"
    yield _check(rule, f"{piece.piece_id}/{name} - {span.name}", web >= limit, PRACTICE, cutout=name, edge=span.name,
                 piece=piece.piece_id, web_mm=web, limit_mm=limit)


def _webs_between(piece_id: str, shapes: Sequence[tuple[str, shapely.Polygon, float]]) -> Iterator[Check]:
    for (first, a, limit_a), (second, b, limit_b) in itertools.combinations(shapes, 2):
        web, limit = float(a.distance(b)), min(limit_a, limit_b)
        if web <= FAR_WEB * limit:
            yield _check("cutout-cutout", f"{piece_id}/{first} - {second}", web >= limit, PRACTICE, first=first, second=second,
                         piece=piece_id, web_mm=web, limit_mm=limit)


def _inside_radii(template: Template, piece: Piece) -> Iterator[Check]:
    limit = template.spec.shop.inside_radius
    for corner in piece.corners:
        if corner.inside and corner.kind != "clipped":
            yield _check("inside-radius", f"{piece.piece_id}/{corner.name}", corner.size_mm >= limit - 1e-9, PRACTICE,
                         radius_mm=corner.size_mm, limit_mm=limit)


def _depths(template: Template, piece: Piece) -> Iterator[Check]:
    low, high = USUAL_DEPTH_MM
    if not any(e.finish == "wall" for e in piece.edges):
        return
    for s in piece.sizes:
        if s.group == "depth" and s.name.endswith("middle") and s.quantity.value <= DEEP_COUNTER_MM:
            yield _check("usual-depth", piece.piece_id, low <= s.quantity.value <= high, PRACTICE, size=s.name,
                         size_mm=s.quantity.value, low_mm=low, high_mm=high)


def _receptacles(template: Template, piece: Piece) -> Iterator[Check]:
    edition = template.spec.shop.rules.electrical_edition
    if edition is None:
        return
    source = f"{NEC}; edition {edition}"
    walls = [e for e in piece.edges if e.finish == "wall"]
    for edge in walls:
        yield Check("receptacles", f"{piece.piece_id}/{edge.edge_id}", "note", source,
                    {"piece": piece.piece_id, "edge": edge.edge_id, "run_mm": edge.length.value,
                     "n_receptacles": wall_receptacles(edge.length.value)})
    if not walls:
        long, short = extent_mm(polygon_of(piece.boundary, 0.1))
        yield Check("receptacles", piece.piece_id, "note", source,
                    {"piece": piece.piece_id, "edge": None, "run_mm": long,
                     "n_receptacles": island_receptacles(piece.area.value, long, short, edition)})


# ------------------------------------------------------------------------------------ tops and upright pieces


def _slabs(template: Template) -> Iterator[Check]:
    material = template.spec.shop.material
    slab_long, slab_short = usable_slab_mm(material)
    for part in template.parts:
        polygon = polygon_of_vertices(part.vertices, 0.1)
        long, short = extent_mm(polygon)
        yield _check("slab", part.piece_id, fits_slab(polygon, material), "slab as given", piece=part.piece_id, long_mm=long,
                     short_mm=short, slab_long_mm=slab_long, slab_short_mm=slab_short)


def _weights(template: Template) -> Iterator[Check]:
    for part in template.parts:
        people = team_for(part.weight_kg)
        yield _check("weight", part.piece_id, part.weight_kg <= CARRY_KG, NIOSH, piece=part.piece_id, weight_kg=part.weight_kg,
                     weight_lb=part.weight_kg / POUND_KG, limit_kg=CARRY_KG, n_people=people if people <= TEAM else None)


def _sockets(template: Template) -> Iterator[Check]:
    """Stone left round the receptacle cut-outs of upright pieces."""
    limit = template.spec.shop.hole_to_edge
    for splash in template.splashes:
        rim = polygon_of_vertices(splash.vertices).exterior
        shapes = [(c.cutout_id, polygon_of_vertices(c.vertices), limit) for c in splash.cutouts]
        for name, shape, _ in shapes:
            web = float(shape.distance(rim))
            yield _check("cutout-edge", f"{splash.piece_id}/{name}", web >= limit, PRACTICE, cutout=name, edge="the rim",
                         piece=splash.piece_id, web_mm=web, limit_mm=limit)
        yield from _webs_between(splash.piece_id, shapes)


# ------------------------------------------------------------------------------------------- the whole job


def _over(template: Template, shape: shapely.Geometry) -> list[str]:
    """Dishwashers under a shape."""
    return [name for name, kind, box in template.appliances if kind == "dishwasher" and shapely.Polygon(box).intersects(shape)]


def _seams(template: Template) -> Iterator[Check]:
    for seam in template.seams:
        over = _over(template, shapely.LineString([seam.start, seam.end]))
        yield _check("seam-dishwasher", seam.seam_id, not over, DESIGN_MANUAL, dishwasher=tuple(over))


def _dishwashers(template: Template) -> Iterator[Check]:
    """Sinks and cooktops must not reach over a dishwasher; a cut-out across a seam is told once."""
    if not any(kind == "dishwasher" for _, kind, _ in template.appliances):
        return
    cutouts: dict[str, Cutout] = {c.cutout_id: c for p in template.pieces for c in p.cutouts if c.kind != "post"}
    for name, cutout in cutouts.items():
        over = _over(template, polygon_of_vertices(cutout.vertices))
        yield _check("cutout-dishwasher", name, not over, PRACTICE, cutout=name, dishwasher=tuple(over))


def _spans(template: Template) -> Iterator[Check]:
    thickness = template.spec.shop.material.thickness
    limit = span_limit_mm(thickness)
    for name, _, box in template.appliances:
        width = float(np.hypot(*(box[1] - box[0])))
        yield _check("span", name, width <= limit, DESIGN_MANUAL, span_mm=width, limit_mm=limit, thickness_mm=thickness)


def _openings(template: Template) -> Iterator[Check]:
    for opening in template.openings:
        clear, name = opening.clear_mm, opening.spec.id
        nominal = min(RANGE_WIDTHS_MM, key=lambda w: abs(w - clear))
        low, high = nominal, nominal + USUAL_ROOM_MM
        usual = low - PLACE_SLACK_MM <= clear <= high + PLACE_SLACK_MM
        yield _check("opening-width", name, usual or opening.spec.appliance is not None, PRACTICE, size="width", size_mm=clear,
                     low_mm=low, high_mm=high)
        appliance = opening.spec.appliance or (nominal if usual else None)
        if appliance is not None:
            # what the maker or the shop asks for; of an appliance known by its nominal width alone, some room at least
            asked = opening.clearance_mm or (0.0 if opening.spec.appliance is not None else OPENING_ROOM_MM)
            room = (clear - appliance) / 2.0
            yield _check("opening-room", name, room >= asked - 1e-6, PRACTICE, clear_mm=clear, appliance_mm=appliance,
                         room_mm=room, asked_mm=asked)
    for s in template.opening_sizes:
        if s.group == "gap":
            yield _check("opening-panel", s.name, s.quantity.value <= 0, PRACTICE, size=s.name, room_mm=s.quantity.value,
                         U_mm=s.quantity.U)


def _centres(template: Template) -> Iterator[Check]:
    """Whether what stands near the centre line of a cabinet stands on it."""
    for name, start, end in template.centres:
        a, d = np.array(start), np.array(end) - np.array(start)
        right = np.array([d[1], -d[0]]) / np.hypot(*d)
        for piece in template.pieces:
            for cutout in piece.cutouts:
                off = float((np.array(cutout.centre) - a) @ right)
                behind = float((np.array(cutout.centre) - a) @ d) / float(d @ d)
                if cutout.kind != "post" and abs(off) <= CENTRED_WITHIN_MM and 0.0 < behind < 1.0:
                    yield _check("cutout-centre", f"{piece.piece_id}/{cutout.cutout_id}", abs(off) <= ON_CENTRE_MM, PRACTICE,
                                 cutout=cutout.cutout_id, centre=name, off_mm=off, limit_mm=ON_CENTRE_MM)


def _maker_sheets(template: Template) -> Iterator[Check]:
    """What makers' sheets ask for: clearances from a cut-out to the walls are checked, the rest is handed on."""
    spec = template.spec
    wishes = {c.id: c for p in spec.pieces for c in p.cutouts if c.sheet}
    for piece in template.pieces:
        walls = [s for s in piece.boundary if s.finish in ("wall", "panel")]
        for cutout in piece.cutouts:
            wish = wishes.get(cutout.cutout_id)
            sheet = spec.sheet(wish.sheet) if wish is not None else None
            front = next((e for e in piece.edges if wish is not None and e.edge_id == wish.run), None)
            if sheet is None or front is None:
                continue
            across = np.array(front.end) - np.array(front.start)
            across /= np.hypot(*across)
            shape = polygon_of_vertices(cutout.vertices)
            corners = shapely.get_coordinates(shape)
            low, high = corners.min(axis=0).min(), corners.max(axis=0).max()
            for side, asked, way in (("left", sheet.left, -across), ("right", sheet.right, across),
                                     ("back", sheet.back, np.array([-across[1], across[0]]))):
                if asked <= 0:
                    continue
                # what the side sees of the walls: the shape swept that way
                reach = (high - low) + 2.0 * asked
                sweep = shapely.union_all([shape, shapely.affinity.translate(shape, *(reach * way))]).convex_hull
                rooms = [float(shape.distance(span_line(s).intersection(sweep))) for s in walls
                         if span_line(s).intersects(sweep)]
                yield _check("maker-room", f"{piece.piece_id}/{cutout.cutout_id}", min(rooms, default=asked) >= asked,
                             sheet.title or f"maker's sheet {sheet.id}", cutout=cutout.cutout_id, side=side, sheet=sheet.id,
                             room_mm=min(rooms, default=None), open_side=None if rooms else side, asked_mm=asked)
    used = {o.sheet for o in spec.openings} | {c.sheet for c in wishes.values()}
    for sheet in spec.maker_sheets:
        if sheet.id in used and (sheet.ventilation or sheet.above or sheet.below):
            yield Check("maker-asks", sheet.id, "note", sheet.title or f"maker's sheet {sheet.id}",
                        {"ventilation": sheet.ventilation or None, "above_mm": sheet.above or None,
                         "below_mm": sheet.below or None})


def _access(template: Template) -> Iterator[Check]:
    rules = template.spec.shop.rules
    if rules.accessible:
        height = rules.finished_height
        yield _check("height", "top", height is not None and height <= ACCESSIBLE_HEIGHT_MM, ADA, height_mm=height,
                     limit_mm=ACCESSIBLE_HEIGHT_MM, missing=None if height is not None else "finished_height")
