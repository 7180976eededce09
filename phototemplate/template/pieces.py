"""Outline and wishes -> template: pieces, splashes, seams, checks. ``build_template`` is the stage's entry."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely

from phototemplate.errors import Finding, InputError
from phototemplate.model import HeightPoint, Outline
from phototemplate.template.boundary import (
    Boundary,
    FitError,
    Unfit,
    boundary_area,
    boundary_vertices,
    check,
    corner_name,
    inside_angle,
    polygon_of,
    same_corner,
    turning_rad,
)
from phototemplate.template.checks import appliance_places, centre_lines, run_checks
from phototemplate.template.constants import STRAIGHT_ON_RAD
from phototemplate.template.corners import treat_corners, unknown_corners
from phototemplate.template.curves import ArcCurve
from phototemplate.template.cutouts import PlacedCutout, PlacedHole, assign, place_cutout, place_post
from phototemplate.template.drawn import with_drawn
from phototemplate.template.edge_lines import FinishedEdges
from phototemplate.template.gradients import dual
from phototemplate.template.level import shim_list
from phototemplate.template.opening_cuts import cut_opening, opening_corners
from phototemplate.template.piece_types import (
    Cutout,
    Hole,
    Piece,
    PieceCorner,
    PieceEdge,
    Seam,
    SeamProposal,
    SitePhoto,
    Splash,
    Template,
)
from phototemplate.template.places import OpeningPlace, place_opening
from phototemplate.template.quantities import State
from phototemplate.template.rules import CAUTIONS, density_kg_m3
from phototemplate.template.seam_cuts import SeamCut, cut_seam
from phototemplate.template.seams import propose_seams
from phototemplate.template.shaping import Base, base_of
from phototemplate.template.sizes import (
    cutout_sizes,
    depth_sizes,
    diagonal_sizes,
    edge_sizes,
    opening_sizes,
    overall_sizes,
    place_u,
    point2,
)
from phototemplate.template.spec import CornerSpec, CutoutSpec, PieceEdgeSpec, PieceSpec, PostSpec, ShopSpec, TemplateSpec
from phototemplate.template.splash import build_splashes, uprights


@dataclass
class _Part:
    """One part of a piece on its way."""

    boundary: Boundary
    corners: dict[str, CornerSpec]
    before_corners: Boundary
    by_default: set[str]
    """Corners rounded without having been asked for"""
    cutouts: list[tuple[PlacedCutout, bool]]
    holes: list[PlacedHole]


def build_template(
    outline: Outline,
    spec: TemplateSpec,
    heights: Sequence[HeightPoint] = (),
    folder: Path | None = None,
) -> Template:
    """Build every piece of a job; one that cannot be built costs that piece alone (``Template.refused``).

    ``heights`` are those of the cabinet tops (work frame), ``folder`` is where makers' files are looked for. The same
    outline and spec give the same template, whatever the order in which openings, seams and corners were declared.

    Raises:
        InputError: an opening or appliance whose place does not exist. What is wrong with one piece is not raised but kept
            with it: ``InputError`` for a name that does not exist or a maker's file that cannot be used, ``FitError`` for a
            wish that the measured shape does not allow, with edge, value and the nearest value that works.
    """
    spec = spec.resolved()
    state = State(with_drawn(outline, spec.drawn, folder), spec.centre_lines)
    openings = {o.id: place_opening(state, o, spec.shop) for o in sorted(spec.openings, key=lambda o: o.id)}
    _every_opening_used(state, spec)
    finished = FinishedEdges(state, spec, openings)
    findings: list[Finding] = []
    pieces: list[Piece] = []
    seams: list[Seam] = []
    splashes: list[Splash] = []
    refused: list[tuple[str, InputError]] = []
    for piece_spec in spec.pieces:
        try:
            base = base_of(finished, piece_spec)
            made, joints, doubts = _build_piece(state, base, spec, openings, folder, {p.piece_id for p in pieces})
            upright = build_splashes(base, made, spec.shop)
        except InputError as exc:
            refused.append((piece_spec.id, exc))
            continue
        except Exception as exc:  # a fault of ours must not cost the pieces that can be cut
            text = (f"Piece {piece_spec.id!r} cannot be built ({type(exc).__name__}: {exc}), which is a fault of this program; "
                    "change its last wish, and report it with the job folder.")
            refused.append((piece_spec.id, FitError(text, piece_spec.id)))
            continue
        pieces += made
        seams += joints
        findings += doubts
        splashes += upright
    appliances = appliance_places(state, spec)
    template = Template(
        spec=spec,
        pieces=tuple(pieces),
        splashes=tuple(splashes),
        openings=tuple(openings.values()),
        opening_sizes=tuple(s for o in openings.values() for s in opening_sizes(state, o)),
        seams=tuple(seams),
        proposals=(),
        appliances=appliances,
        centres=centre_lines(state, spec),
        checks=(),
        shims=shim_list(heights, outline.plan_from_work),
        cautions=CAUTIONS,
        findings=tuple(findings),
        site_photos=_site_photos(spec, pieces, folder, refused),
        refused=tuple(refused),
    )
    template = replace(template, proposals=propose_seams(state, template))
    checks, doubts = run_checks(template, heights)
    doubts += [_proposed(p, spec.shop.material.name) for p in template.proposals]
    return replace(template, checks=tuple(checks), findings=(*template.findings, *doubts))


def _site_photos(
    spec: TemplateSpec, pieces: Sequence[Piece], folder: Path | None, refused: list[tuple[str, InputError]]
) -> tuple[SitePhoto, ...]:
    """Photos of the site with their places; one whose file or place does not exist is refused by itself."""
    places: dict[str, tuple[float, float]] = {}
    for p in pieces:
        centre = polygon_of(p.boundary, 1.0).representative_point()
        places |= {p.piece_id: (float(centre.x), float(centre.y)), **{c.name: c.at for c in p.corners}}
        for e in p.edges:
            places[e.edge_id] = ((e.start[0] + e.end[0]) / 2.0, (e.start[1] + e.end[1]) / 2.0)
    out = []
    for photo in spec.site_photos:
        path = Path(photo.file) if folder is None else folder / photo.file
        at = places.get(photo.at) or places.get("/".join(reversed(photo.at.split("/"))))
        if at is None or not path.is_file():
            why = f"there is no edge, corner or piece {photo.at!r}" if at is None else "there is no such file"
            refused.append((photo.file, InputError(f"Site photo {photo.file!r} is left out: {why}; mend it in the job file.")))
        else:
            out.append(SitePhoto(path, photo.at, at, photo.note))
    return tuple(out)


def _proposed(proposal: SeamProposal, material: str) -> Finding:
    return Finding("seam-proposed", proposal.piece_id, piece=proposal.piece_id, corner=proposal.corner,
                   material=material if proposal.over_slab else None, seam=proposal.words)


def _every_opening_used(state: State, spec: TemplateSpec) -> None:
    """Raise InputError for an opening that no piece has to do with."""
    ids = [p.id for p in spec.pieces]
    for opening in spec.openings:
        for piece_id in opening.pieces or []:
            if piece_id not in ids:
                raise InputError(f"Opening {opening.id!r} names piece {piece_id!r}, which does not exist; "
                                 f"the pieces are {', '.join(ids) or 'none'}.")
        sides = any(e.side_of is not None and e.side_of.split("/")[0] == opening.id
                    for p in spec.pieces for e in p.edges.values())
        loops = {loop.loop_id: loop.edge_ids for loop in state.outline.loops}
        if ids and not sides and not any(opening.run in loops.get(p.loop, ()) for p in spec.pieces):
            raise InputError(f"Opening {opening.id!r} lies on run {opening.run!r}, which is no edge of any piece.")


def _build_piece(
    state: State, base: Base, spec: TemplateSpec, openings: dict[str, OpeningPlace], folder: Path | None, taken: set[str]
) -> tuple[list[Piece], list[Seam], list[Finding]]:
    """Openings, then seams, then corners, then cut-outs; each in the order of ids."""
    wish, shop = base.spec, spec.shop
    findings = [f for line in base.lines.values() for f in line.findings]
    boundaries: list[Boundary] = [base.boundary]
    wishes: dict[str, CornerSpec] = dict(wish.corners)
    for name in sorted(openings):
        opening = openings[name]
        named = opening.spec.pieces
        if named is None or wish.id in named:
            boundaries = cut_opening(base, boundaries, opening, required=named is not None)
            wishes = {**opening_corners(opening, shop), **wishes}
    cuts: list[SeamCut] = []
    for seam in sorted(wish.seams, key=lambda s: s.id):
        boundaries, cut = cut_seam(state, base, boundaries, seam, shop)
        cuts.append(cut)
    unknown_corners(wish, boundaries)
    boundaries.sort(key=_from_left)
    parts: list[_Part] = []
    names = _part_names(wish.id, len(boundaries), taken | {p.id for p in spec.pieces})
    for name, boundary in zip(names, boundaries, strict=True):
        treated, done, doubts = treat_corners(boundary, wishes, shop, name)
        findings += doubts
        asked = [*wish.corners, *(c for o in openings.values() if o.spec.radius for c in opening_corners(o, shop))]
        silent = {c for c in done if done[c].kind != "sharp" and not any(same_corner(c, a) for a in asked)}
        parts.append(_Part(treated, done, boundary, silent, [], []))
    _take_cutouts(state, base, parts, folder, findings)
    pieces = []
    for name, part in zip(names, parts, strict=True):
        try:
            check(part.boundary)
        except Unfit as unfit:
            raise FitError(f"Piece {name!r} cannot be cut: {unfit}; check its corners and cut-outs.", unfit.where) from None
        pieces.append(_finish(state, base, name, part, spec))
    return pieces, [_seam(state, cut, pieces) for cut in cuts], findings


def _from_left(boundary: Boundary) -> tuple[float, float]:
    centre = polygon_of(boundary, 1.0).centroid
    return round(float(centre.x), 3), round(float(centre.y), 3)


def _part_names(piece_id: str, n: int, taken: set[str]) -> list[str]:
    """Names of the parts that openings and seams make of a piece; none is the name of another piece or its part."""
    if n == 1:
        return [piece_id]
    for stem in itertools.chain([piece_id], (f"{piece_id}-part{'-' * k}" for k in itertools.count())):
        names = [f"{stem}-{k + 1}" for k in range(n)]
        if taken.isdisjoint(names):
            break
    return names


def _take_cutouts(state: State, base: Base, parts: list[_Part], folder: Path | None, findings: list[Finding]) -> None:
    wish = base.spec
    placed: list[PlacedCutout] = []
    for spec in sorted(wish.cutouts, key=lambda c: c.id):
        placed.append(_take(parts, place_cutout(state, base, spec, folder), wish, spec, findings))
    for post in sorted(wish.posts, key=lambda p: p.id):
        placed.append(_take(parts, place_post(state, base, post), wish, post, findings))
    for k, a in enumerate(placed):
        for b in placed[k + 1 :]:
            if a.polygon().intersects(b.polygon()):
                raise FitError(f"Cut-outs {a.cutout_id!r} and {b.cutout_id!r} of piece {wish.id!r} overlap; move one of them.",
                               a.cutout_id)


def _take(
    parts: list[_Part], cutout: PlacedCutout, wish: PieceSpec, spec: CutoutSpec | PostSpec,
    findings: list[Finding],
) -> PlacedCutout:
    boundaries, touched, across = assign([p.boundary for p in parts], cutout, wish.id, spec)
    for part, boundary in zip(parts, boundaries, strict=True):
        part.boundary = boundary
    for k in touched:
        parts[k].cutouts.append((cutout, across))
    for hole in cutout.holes:
        _drill(parts, hole, wish.id)
    if across:
        seams = sorted({s.name for k in touched for s in parts[k].boundary if s.finish == "seam"})
        findings.append(Finding(
            "seam-through-cutout", f"{wish.id}/{cutout.cutout_id}", seams=tuple(seams), cutout=cutout.cutout_id, piece=wish.id,
        ))
    return cutout


def _drill(parts: list[_Part], hole: PlacedHole, piece_id: str) -> None:
    x, y = hole.centre.xy
    for part in parts:
        polygon = polygon_of(part.boundary)
        point = shapely.Point(x, y)
        if polygon.contains(point):
            room = float(polygon.exterior.distance(point)) - hole.diameter_mm / 2.0
            if room <= 0:
                raise FitError(f"Hole {hole.name!r} of piece {piece_id!r} reaches the edge; it would have to move by "
                               f"{-room + 1.0:.1f} mm or have a diameter below {2 * (room + hole.diameter_mm / 2):.1f} mm.",
                               hole.name, hole.diameter_mm, 2 * (room + hole.diameter_mm / 2))
            for other, _ in part.cutouts:
                inside = other.polygon().distance(point) - hole.diameter_mm / 2.0
                if inside <= 0:
                    raise FitError(f"Hole {hole.name!r} of piece {piece_id!r} reaches into cut-out {other.cutout_id!r}; it "
                                   f"would have to move by {-inside + 1.0:.1f} mm.", hole.name)
            for drilled in part.holes:
                apart = float(np.hypot(*(drilled.centre.xy - hole.centre.xy)))
                short = (drilled.diameter_mm + hole.diameter_mm) / 2.0 - apart
                if short >= 0:
                    raise FitError(f"Holes {drilled.name!r} and {hole.name!r} of piece {piece_id!r} run into each other; one "
                                   f"of them would have to move by {short + 1.0:.1f} mm.", hole.name)
            part.holes.append(hole)
            return
    raise FitError(f"Hole {hole.name!r} lies outside piece {piece_id!r}; move it.", hole.name)


def _finish(state: State, base: Base, name: str, part: _Part, spec: TemplateSpec) -> Piece:
    """Measure a finished part."""
    shop = spec.shop
    plain = part.before_corners
    area = boundary_area(part.boundary)
    cutouts: list[Cutout] = []
    for cutout, across in part.cutouts:
        if not across:
            area = area + boundary_area(cutout.spans)  # runs clockwise: negative
        vertices = boundary_vertices(_turned(cutout.spans), shop.profile_tolerance)
        cutouts.append(Cutout(cutout.cutout_id, cutout.kind, cutout.source, vertices, point2(cutout.centre), across,
                              cutout.reveal_mm, cutout.bowl))
    for hole in part.holes:
        area = area - dual(math.pi * hole.diameter_mm**2 / 4.0)
    net = state.quantity(area, "mm2")
    sizes = [*edge_sizes(state, plain), *overall_sizes(state, plain), *depth_sizes(state, plain),
             *diagonal_sizes(state, plain)]
    for cutout, _ in part.cutouts:
        sizes += cutout_sizes(state, plain, cutout)
    weight = net.value * 1e-6 * shop.material.thickness * 1e-3 * density_kg_m3(shop.material)
    return Piece(
        piece_id=name,
        source_id=base.spec.id,
        boundary=part.boundary,
        vertices=boundary_vertices(part.boundary, shop.profile_tolerance),
        edges=_edges(state, base, plain, shop),
        corners=_corners(state, plain, part),
        cutouts=tuple(cutouts),
        holes=tuple(Hole(h.name, point2(h.centre), h.diameter_mm) for h in part.holes),
        sizes=tuple(sizes),
        area=net,
        weight_kg=weight,
    )


def _turned(spans: Boundary) -> Boundary:
    """A boundary run the other way."""
    return tuple(replace(s, curve=s.curve.reversed(), start=s.end, end=s.start) for s in spans[::-1])


def _edges(state: State, base: Base, plain: Boundary, shop: ShopSpec) -> tuple[PieceEdge, ...]:
    out = []
    mitred = {wish.edge: wish for wish in uprights(base, shop) if wish.joint == "mitred"}
    for span in plain:
        line = base.lines.get(span.name)
        wish = base.spec.edges.get(span.name, PieceEdgeSpec())
        if wish.profile is not None and span.finish != "finished":
            raise InputError(f"Edge {span.name!r} of piece {base.spec.id!r} is not finished ({span.finish}) and takes no "
                             "profile; leave `profile` out, or let its `finish` be finished.")
        profile = (wish.profile or shop.profile) if span.finish == "finished" else ""
        out.append(PieceEdge(
            edge_id=span.name, finish=span.finish,
            rule=line.rule if line else ("seam" if span.finish == "seam" else "side of opening"),
            outward_mm=line.outward_mm if line else 0.0, start=point2(span.start), end=point2(span.end),
            length=state.quantity(span.length()), place_U_mm=place_u(state, span),
            gap=line.gap if line else None, moved=line.moved if line else None,
            profile=profile, arc_radius_mm=span.curve.radius.value if isinstance(span.curve, ArcCurve) else 0.0,
            face_mm=wish.build_up.height if wish.build_up is not None else 0.0,
            mitred_to=mitred[span.name].id if span.name in mitred else "",
        ))
    return tuple(out)


def _corners(state: State, plain: Boundary, part: _Part) -> tuple[PieceCorner, ...]:
    out = []
    for i in range(len(plain)):
        if abs(turning_rad(plain[i - 1], plain[i])) < STRAIGHT_ON_RAD:
            continue
        name = corner_name(plain, i)
        done = part.corners.get(name, CornerSpec())
        out.append(PieceCorner(name, point2(plain[i].start), state.quantity(inside_angle(plain[i - 1], plain[i]), "rad"),
                               done.kind, done.radius or done.clip or 0.0, name in part.by_default))
    return tuple(out)


def _seam(state: State, cut: SeamCut, pieces: Sequence[Piece]) -> Seam:
    sides = [p.piece_id for p in pieces if any(s.name == cut.spec.id for s in p.boundary)]
    pair = (sides[0] if sides else "", sides[1] if len(sides) > 1 else "")
    return Seam(cut.spec.id, pair, point2(cut.start), point2(cut.end), cut.joint_mm,
                state.quantity((cut.end - cut.start).norm()))
