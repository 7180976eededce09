"""Pieces: offsets, corners, openings, seams, cut-outs, splashes, and their uncertainty.

References: closed forms, shapely for offsets and differences, scipy's linear programming for the best straight edge.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from pydantic import ValidationError
from scipy.optimize import linprog

from phototemplate.errors import InputError
from phototemplate.model import Outline
from phototemplate.settings import OutlineSettings
from phototemplate.template.boundary import FitError, boundary_area, polygon_of
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.places import place_opening
from phototemplate.template.quantities import State
from phototemplate.template.shop_drawing import template_drawing
from phototemplate.template.spec import TemplateSpec
from tests.template.samples import bow, influences, l_kitchen, l_kitchen_segments, rectangle, segment

BARE = {"overhang": 0, "end_overhang": 0, "wall_clearance": 0, "panel_clearance": 0}


def build(outline: Outline, piece: dict[str, Any], **rest: Any) -> Template:
    spec = TemplateSpec.model_validate({"pieces": [{"id": "top", **piece}], **rest})
    return build_template(outline, spec).whole()


def only(template: Template):
    (piece,) = template.pieces
    return piece


def sizes(template: Template) -> dict[str, Any]:
    return {f"{p.piece_id}: {s.name}": s.quantity for p in template.pieces for s in p.sizes}


# ----------------------------------------------------------------------------------------------- overhangs


def test_overhang_and_clearance_of_a_rectangle() -> None:
    piece = only(build(rectangle(2400.0, 600.0), {"loop": "run", "edges": {"right": {"overhang": "1 in"}}}))
    # 1-1/2 in over the front, 1 in over the end, 3 mm off back and left wall
    width, depth = 2400.0 + 25.4 - 3.0, 600.0 + 38.1 - 3.0
    assert piece.area.value == pytest.approx(width * depth, rel=1e-9)
    assert {e.edge_id: round(e.length.value, 6) for e in piece.edges} == {
        "front": width, "right": depth, "back": width, "left": depth}


@pytest.mark.parametrize("offset", [-20.0, 12.0, 38.1])
def test_uniform_offset_against_shapely(offset: float) -> None:
    """The offset of a bowed L with mitred corners, against shapely's buffer of a dense polygon."""
    outline = l_kitchen()
    ids = outline.loops[0].edge_ids
    edges = {e: {"overhang": offset} for e in ids}
    corners = {f"{a}/{b}": {"kind": "sharp"} for a, b in zip(ids, ids[1:] + ids[:1], strict=True)}
    piece = only(build(outline, {"loop": "kitchen", "edges": edges, "corners": corners}))
    plain = only(build(outline, {"loop": "kitchen", "edges": {e: {"overhang": 0} for e in ids}, "corners": corners}))
    expected = polygon_of(plain.boundary, 0.002).buffer(offset, join_style="mitre", mitre_limit=20)
    found = polygon_of(piece.boundary, 0.002)
    assert found.area == pytest.approx(expected.area, abs=30.0)
    assert found.symmetric_difference(expected).area < 60.0, "8.4 m of outline within 0.01 mm"
    assert piece.area.value == pytest.approx(found.area, abs=10.0)


def test_in_line_neighbours_and_a_step() -> None:
    """Two fronts in line with different overhangs get a step square to them."""
    p = [[0, 0], [1000, 0], [2000, 200], [2000, 700], [0, 700]]
    names = ("front-a", "front-b", "end", "back", "left")
    segs = [segment(n, k, p[i], p[(i + 1) % 5]) for i, (n, k) in  # type: ignore[arg-type]
            enumerate(zip(names, ("front", "front", "end", "wall", "wall"), strict=True))]
    outline = build_outline(segs, [LoopEdges("run", names)], influences(), OutlineSettings(min_corner_angle_deg=5.0))
    piece = only(build(outline, {"loop": "run", "edges": {
        "front-b": {"overhang": 20, "align": {"to": "front-a", "how": "in-line"}}, "front-a": {"overhang": 50}}}))
    step = next(e for e in piece.edges if "step" in e.edge_id)
    assert step.length.value == pytest.approx(30.0, abs=1e-6)
    moved = next(e for e in piece.edges if e.edge_id == "front-b").moved
    assert moved is not None
    # the end of front-b moved from y = 200 to y = 0: outwards
    assert moved[2].value == pytest.approx(200.0 * math.cos(math.atan2(200, 1000)), abs=5.0)
    assert moved[0].value == pytest.approx(0.0, abs=1e-6)


def test_overhang_that_swallows_an_edge_names_what_would_work() -> None:
    """A 30 mm set-back between two fronts: both overhang 38.1, the jog between them loses what they gain on each other."""
    p = [[0, 0], [900, 0], [900, 30], [1800, 30], [1800, 600], [0, 600]]
    names = ("front-a", "jog", "front-b", "end", "back", "left")
    kinds = ("front", "other", "front", "end", "wall", "wall")
    segs = [segment(n, k, p[i], p[(i + 1) % 6], lead_mm=3.0)  # type: ignore[arg-type]
            for i, (n, k) in enumerate(zip(names, kinds, strict=True))]
    outline = build_outline(segs, [LoopEdges("run", names)], influences(), OutlineSettings())
    with pytest.raises(FitError) as caught:
        build(outline, {"loop": "run", "edges": {"front-b": {"overhang": 75}}})
    error = caught.value
    assert error.where == "front-b"
    assert error.value_mm == pytest.approx(75.0)
    assert "75.0 mm on edge 'front-b'" in str(error)
    assert error.nearest_mm == pytest.approx(67.55, abs=0.06), "38.1 + 30 - 0.5, the smallest jog that is cut"
    good = build(outline, {"loop": "run", "edges": {"front-b": {"overhang": error.nearest_mm}}})
    assert polygon_of(only(good).boundary).is_valid


# ----------------------------------------------------------------------------------------- straight, aligned


@pytest.mark.parametrize("curve", [
    lambda s: 6.0 * np.sin(3 * s / 700.0), bow(2360.0, 7.0, 3.0), bow(2360.0, -7.0, 2.0), lambda s: 0.004 * s,
])
def test_straight_edge_against_linear_programming(curve: Any) -> None:
    """Smallest largest gap without running into the wall: min t, 0 <= a + b s - f(s) <= t, solved by scipy's HiGHS."""
    p = [[0, 0], [2400, 0], [2400, 600], [0, 600]]
    segs = [segment("front", "front", p[0], p[1]), segment("right", "end", p[1], p[2]),
            segment("back", "wall", p[2], p[3], curve, 15), segment("left", "end", p[3], p[0])]
    outline = build_outline(segs, [LoopEdges("run", ("front", "right", "back", "left"))], influences(), OutlineSettings())
    template = build(outline, {"loop": "run", "edges": {"back": {"shape": "straight"}}}, shop=BARE)
    edge = next(e for e in only(template).edges if e.edge_id == "back")
    state = State(outline)
    found, (start, end) = state.curve("back"), state.stretch("back")
    points = found.points(np.linspace(found.position(start.xy), found.position(end.xy), 241))
    along = (points[-1] - points[0]) / np.hypot(*(points[-1] - points[0]))
    s = (points - points[0]) @ along
    f = (points - points[0]) @ np.array([-along[1], along[0]])
    ones, zeros = np.ones_like(s), np.zeros_like(s)
    best = linprog([0, 0, 1], A_ub=np.vstack([np.column_stack([-ones, -s, zeros]), np.column_stack([ones, s, -ones])]),
                   b_ub=np.concatenate([-f, f]), bounds=[(None, None)] * 3)
    assert best.success
    assert edge.gap is not None
    assert edge.gap.largest_mm == pytest.approx(best.x[2], abs=2e-3)
    assert edge.gap.smallest_mm == pytest.approx(0.0, abs=2e-3), "it touches and does not run in"
    # where the largest gap is
    assert edge.moved is not None
    assert any(f_.code == "edge-moved" and f_.facts["gap_mm"] for f_ in template.findings)


def test_square_and_parallel_show_their_movement() -> None:
    outline = rectangle(2000.0, 600.0, skew=30.0)
    template = build(outline, {"loop": "run", "edges": {"right": {"align": {"to": "front", "how": "square"}}}}, shop=BARE)
    edge = next(e for e in only(template).edges if e.edge_id == "right")
    # the end leans by 30 mm over 600 mm; held in its middle both ends move by 15 (less the cosine)
    assert edge.moved is not None
    assert edge.moved[0].value == pytest.approx(15.0, abs=0.05)
    assert edge.moved[1].value == pytest.approx(0.0, abs=1e-6)
    assert edge.moved[2].value == pytest.approx(-15.0, abs=0.05)
    assert edge.moved[2].u > 0
    angle = next(c for c in only(template).corners if set(c.name.split("/")) == {"front", "right"}).angle
    assert angle.value == pytest.approx(math.pi / 2, abs=1e-12)
    assert angle.u < 1e-12, "square to the front by decision"
    with pytest.raises(InputError, match="other of parallel and square"):
        build(outline, {"loop": "run", "edges": {"right": {"align": {"to": "front", "how": "parallel"}}}})


def test_straight_wall_edge_that_would_run_into_the_wall_is_serious() -> None:
    outline = l_kitchen()
    template = build(outline, {"loop": "kitchen", "edges": {"left": {"align": {"to": "back", "how": "square"}}}})
    assert not any(f.code == "edge-into-wall" for f in template.findings), "it is laid against the fullest place"


# ------------------------------------------------------------------------------------------------- corners


@pytest.mark.parametrize("radius", [10.0, 25.4, 200.0])
def test_rounded_outside_corner(radius: float) -> None:
    outline = rectangle(1500.0, 600.0)
    sharp = only(build(outline, {"loop": "run"}))
    piece = only(build(outline, {"loop": "run", "corners": {"right/front": {"kind": "rounded", "radius": radius}}}))
    assert sharp.area.value - piece.area.value == pytest.approx((1 - math.pi / 4) * radius**2, rel=1e-9)
    (bulge,) = [v[2] for v in piece.vertices if v[2]]
    assert bulge == pytest.approx(0.41421356, abs=1e-8), "90 degrees: tan(22.5 deg)"
    clipped = only(build(outline, {"loop": "run", "corners": {"right/front": {"kind": "clipped", "clip": radius}}}))
    assert sharp.area.value - clipped.area.value == pytest.approx(radius**2 / 2, rel=1e-9)


def test_corner_between_profile_and_profile_rounds_exactly() -> None:
    outline = l_kitchen()
    piece = only(build(outline, {"loop": "kitchen", "corners": {"back/left": {"kind": "rounded", "radius": 60}}}))
    i = next(k for k, s in enumerate(piece.boundary) if s.name == "back/left")
    arc, before, after = piece.boundary[i], piece.boundary[i - 1], piece.boundary[i + 1]
    for span, at in ((before, arc.start), (after, arc.end)):
        a, b = span.curve.tangent(at).xy, arc.curve.tangent(at).xy
        assert float(a @ b) == pytest.approx(1.0, abs=1e-9), "the arc is tangent to both walls"


def test_inside_corner_gets_the_shop_radius_and_says_so() -> None:
    outline = l_kitchen()
    name = "front-short/front-long"
    piece = only(build(outline, {"loop": "kitchen"}))
    corner = next(c for c in piece.corners if c.name == name)
    assert (corner.kind, corner.by_default) == ("rounded", True)
    assert corner.size_mm == pytest.approx(9.525)
    tight = build(outline, {"loop": "kitchen", "corners": {name: {"kind": "rounded", "radius": 6}}})
    assert any(f.code == "inside-corner-tight" and f.facts["shop_mm"] for f in tight.findings)
    tighter = build(outline, {"loop": "kitchen", "corners": {name: {"kind": "rounded", "radius": 3}}})
    assert any(f.code == "inside-corner-tight" and f.facts["cutter_mm"] for f in tighter.findings)
    sharp = build(outline, {"loop": "kitchen", "corners": {name: {"kind": "sharp"}}})
    assert any(f.code == "inside-corner-tight" for f in sharp.findings)


def test_radius_larger_than_fits() -> None:
    outline = rectangle(1500.0, 600.0)
    with pytest.raises(FitError) as caught:
        build(outline, {"loop": "run", "corners": {"front/right": {"kind": "rounded", "radius": 700}}}, shop=BARE)
    assert caught.value.nearest_mm == pytest.approx(599.5, abs=0.11), "what is left of the edge is 0.5 mm at least"
    assert "'front/right'" in str(caught.value)
    assert "700.0 mm" in str(caught.value)


# ------------------------------------------------------------------------------------------------ openings

RANGE = {"id": "range", "run": "front-long", "width": "30 in", "along": {"between": ["range-left", "range-right"]}}


def test_range_opening_divides_the_piece_and_is_centred() -> None:
    outline = l_kitchen()
    template = build(outline, {"loop": "kitchen"}, openings=[RANGE])
    a, b = template.pieces
    assert (a.piece_id, b.piece_id) == ("top-1", "top-2")
    assert polygon_of(a.boundary).distance(polygon_of(b.boundary)) == pytest.approx(762.0, abs=1e-6)
    rooms = {s.name: s.quantity for s in template.opening_sizes if s.group == "gap" and s.name.endswith("front")}
    left, right = rooms["range beyond range-left, front"], rooms["range beyond range-right, front"]
    assert left.value == pytest.approx(right.value, abs=0.05), "the front ends of the panels lie 1 mm behind the run"
    assert left.u > 0
    width = next(s for s in template.opening_sizes if s.name == "range width")
    assert width.decided
    assert width.quantity.u == 0.0
    whole = only(build(outline, {"loop": "kitchen"}))
    opening = place_opening(State(outline), template.spec.openings[0], template.spec.shop)
    strip = shapely.Polygon([opening.frame.at(x, y).xy for x, y in ((-381, -100), (381, -100), (381, 900), (-381, 900))])
    rest = polygon_of(whole.boundary, 0.002).difference(strip)
    assert a.area.value + b.area.value == pytest.approx(rest.area, abs=5.0)


def test_opening_for_two_loops_by_side_of() -> None:
    """Two runs traced by themselves: their ends at the range follow the opening, not the cabinets."""
    segs = [
        segment("left-front", "front", [0, 0], [900, 0]), segment("left-panel", "panel", [900, 0], [901, 600]),
        segment("left-back", "wall", [901, 600], [0, 600]), segment("left-wall", "wall", [0, 600], [0, 0]),
        segment("right-front", "front", [1664, 0], [2500, 0]), segment("right-end", "end", [2500, 0], [2500, 600]),
        segment("right-back", "wall", [2500, 600], [1664, 600]), segment("right-panel", "panel", [1664, 600], [1664, 0]),
    ]
    loops = [LoopEdges("left", ("left-front", "left-panel", "left-back", "left-wall")),
             LoopEdges("right", ("right-front", "right-end", "right-back", "right-panel"))]
    outline = build_outline(segs, loops, influences(), OutlineSettings())
    spec = TemplateSpec.model_validate({
        "pieces": [{"id": "A", "loop": "left", "edges": {"left-panel": {"side_of": "range/left"}}},
                   {"id": "B", "loop": "right", "edges": {"right-panel": {"side_of": "range/right"}}}],
        "openings": [{"id": "range", "run": "left-front", "width": "30 in",
                      "along": {"between": ["left-panel", "right-panel"]}}],
    })
    a, b = build_template(outline, spec).pieces
    assert polygon_of(a.boundary).distance(polygon_of(b.boundary)) == pytest.approx(762.0, abs=1e-6)
    edge = next(e for e in a.edges if e.edge_id == "left-panel")
    assert edge.finish == "appliance"
    wrong = spec.model_dump()
    wrong["pieces"][0]["edges"]["left-panel"]["side_of"] = "range/right"
    with pytest.raises(InputError, match=r"range/left"):
        build_template(outline, TemplateSpec.model_validate(wrong)).whole()


def test_opening_that_stops_before_the_wall() -> None:
    outline = rectangle(2400.0, 600.0)
    opening = {"id": "range", "run": "front", "width": 762, "along": {"edge": "left", "distance": 1200}, "depth": 500,
               "radius": 12}
    whole = only(build(outline, {"loop": "run"}))
    piece = only(build(outline, {"loop": "run"}, openings=[opening]))
    lost = whole.area.value - piece.area.value
    assert lost == pytest.approx(762 * 500 - 2 * (1 - math.pi / 4) * 12**2, rel=1e-9)
    assert sum(1 for c in piece.corners if c.inside) == 2
    assert polygon_of(piece.boundary).is_valid


@pytest.mark.parametrize(("opening", "says"), [
    ({"along": {"edge": "left", "distance": 100}}, "281.0 mm to the right|right"),
    ({"along": {"edge": "left", "distance": 1200}, "width": 2600}, "would work"),
    ({"along": {"edge": "left", "distance": 1200}, "depth": 700}, "depth is 700.0 mm"),
])
def test_opening_outside_the_piece(opening: dict[str, Any], says: str) -> None:
    wish = {"id": "range", "run": "front", "width": 762, **opening}
    with pytest.raises(FitError, match=says) as caught:
        build(rectangle(2400.0, 600.0), {"loop": "run"}, openings=[wish])
    assert "'front'" in str(caught.value)
    nearest = caught.value.nearest_mm
    assert nearest is not None
    fixed = dict(wish)
    if "depth" in opening:
        fixed["depth"] = nearest
    elif opening.get("width"):
        fixed["width"] = nearest
    else:
        fixed["along"] = {"edge": "left", "distance": 100 + nearest}
    build(rectangle(2400.0, 600.0), {"loop": "run"}, openings=[fixed])


# --------------------------------------------------------------------------------------------------- seams


def areas(template: Template) -> float:
    return float(sum(p.area.value for p in template.pieces))


def test_seam_across_a_run_takes_its_joint_from_both_faces() -> None:
    outline = rectangle(2400.0, 600.0)
    seam = {"id": "j", "run": "front", "along": {"edge": "left", "distance": 1000}, "joint": 2.0}
    template = build(outline, {"loop": "run", "seams": [seam]})
    a, b = template.pieces
    whole = only(build(outline, {"loop": "run"}))
    assert areas(template) == pytest.approx(whole.area.value - 2.0 * (600 + 38.1 - 3), rel=1e-9)
    assert next(e for e in a.edges if e.edge_id == "front").length.value == pytest.approx(1000 - 3 - 1, abs=1e-6)
    (joint,) = template.seams
    assert joint.pieces == ("top-1", "top-2")
    assert joint.start[0] == pytest.approx(1000.0 + outline.loops[0].corners_mm[:, 0].min(), abs=1e-6)
    assert polygon_of(a.boundary).distance(polygon_of(b.boundary)) == pytest.approx(2.0, abs=1e-6)


@pytest.mark.parametrize("towards", ["front-long", "front-short", "mitre"])
def test_seam_from_an_inside_corner(towards: str) -> None:
    outline = l_kitchen()
    seam = {"id": "j", "corner": "front-long/front-short", "towards": towards, "joint": 1.5}
    template = build(outline, {"loop": "kitchen", "seams": [seam]})
    assert len(template.pieces) == 2
    sharp = build(outline, {"loop": "kitchen", "corners": {"front-long/front-short": {"kind": "sharp"}}})
    lost = areas(sharp) - areas(template)
    assert lost == pytest.approx(1.5 * template.seams[0].length.value, rel=2e-3)
    for piece in template.pieces:
        assert not any(c.inside for c in piece.corners)
        assert polygon_of(piece.boundary).is_valid


def test_seam_over_a_dishwasher_is_serious_and_never_proposed() -> None:
    outline = rectangle(3600.0, 600.0)
    dish = {"id": "dw", "run": "front", "along": {"edge": "left", "distance": 1800}}
    seam = {"id": "j", "run": "front", "along": {"edge": "left", "distance": 1700}}
    template = build(outline, {"loop": "run", "seams": [seam]}, appliances=[dish])
    assert any(f.code == "seam-over-dishwasher" and f.severity == "serious" for f in template.findings)
    template = build(outline, {"loop": "run"}, appliances=[dish])
    assert any(f.code == "piece-over-slab" for f in template.findings)
    (proposal,) = template.proposals
    box = shapely.Polygon(template.appliances[0][2])
    assert not shapely.LineString([proposal.start, proposal.end]).intersects(box)
    # what the proposal says can be written into the job file as it stands
    import tomllib

    words = tomllib.loads(f"seam = {{ id = 'p', {proposal.words} }}")["seam"]
    cut = build(outline, {"loop": "run", "seams": [words]}, appliances=[dish])
    assert len(cut.pieces) == 2
    assert not any(f.code in ("piece-over-slab", "seam-over-dishwasher") for f in cut.findings)


def test_seam_is_proposed_at_an_inside_corner() -> None:
    template = build(l_kitchen(), {"loop": "kitchen"})
    (proposal,) = template.proposals
    assert proposal.corner is not None
    import tomllib

    words = tomllib.loads(f"seam = {{ id = 'p', {proposal.words} }}")["seam"]
    assert len(build(l_kitchen(), {"loop": "kitchen", "seams": [words]}).pieces) == 2


def test_seam_outside_names_the_nearest_distance() -> None:
    seam = {"id": "j", "run": "front", "along": {"edge": "left", "distance": 2500}}
    with pytest.raises(FitError, match=r"2500\.0 mm") as caught:
        build(rectangle(2400.0, 600.0), {"loop": "run", "seams": [seam]}, shop=BARE)
    assert caught.value.nearest_mm == pytest.approx(2399.4, abs=0.3), "half a millimetre is the smallest edge"


def test_seam_through_a_sink_goes_front_and_rear_with_a_finding() -> None:
    outline = rectangle(2400.0, 600.0)
    sink = {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 1200}, "setback": 80, "width": 700,
            "depth": 400, "radius": 20}
    seam = {"id": "j", "run": "front", "along": {"edge": "left", "distance": 1250}, "joint": 2}
    template = build(outline, {"loop": "run", "cutouts": [sink], "seams": [seam]})
    assert any(f.code == "seam-through-cutout" for f in template.findings)
    whole = only(build(outline, {"loop": "run", "cutouts": [sink]}))
    solid = 600 + 38.1 - 3 - 400
    assert areas(template) == pytest.approx(whole.area.value - 2 * solid, rel=1e-9)
    for piece in template.pieces:
        assert polygon_of(piece.boundary).is_valid
        assert piece.cutouts[0].across_seam


# ------------------------------------------------------------------------------------------------ cut-outs

SINK = {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 1000}, "setback": "3 in", "width": 700,
        "depth": 420, "radius": 25, "holes": [{"diameter": 35, "behind": 55}]}


def test_cutout_by_size() -> None:
    outline = rectangle(2400.0, 600.0)
    template = build(outline, {"loop": "run", "cutouts": [SINK]})
    piece = only(template)
    whole = only(build(outline, {"loop": "run"}))
    hole = 700 * 420 - (4 - math.pi) * 25**2 + math.pi * 17.5**2
    assert whole.area.value - piece.area.value == pytest.approx(hole, rel=1e-9)
    q = {s.name: s.quantity for s in piece.sizes if s.group == "cut-out"}
    assert q["sink to the left (left)"].value == pytest.approx(1000 - 350 - 3, abs=1e-6)
    assert q["sink to what lies behind (back)"].value == pytest.approx(600 + 38.1 - 3 - 76.2 - 420, abs=1e-6)
    assert q["sink to what lies behind (back)"].u > 0.1, "the contact gap of the wall"
    assert dict(q["sink to what lies behind (back)"].budget)["contact gap"] == pytest.approx(0.15, rel=1e-3)
    assert q["sink to front"].value == pytest.approx(76.2)


@pytest.mark.parametrize(("change", "says"), [
    ({"setback": 300}, "setback is 300.0 mm"),
    ({"along": {"edge": "left", "distance": 200}}, "to the right"),
    ({"depth": 700}, "at the same proportions"),
    ({"radius": 250}, "radius of 250.0 mm"),
])
def test_cutout_outside_says_what_would_work(change: dict[str, Any], says: str) -> None:
    with pytest.raises(FitError, match=says) as caught:
        build(rectangle(2400.0, 600.0), {"loop": "run", "cutouts": [{**SINK, **change, "holes": []}]})
    assert caught.value.nearest_mm is not None


def test_hole_in_the_wrong_place_and_overlapping_cutouts() -> None:
    outline = rectangle(2400.0, 600.0)
    with pytest.raises(FitError, match="hole 1"):
        build(outline, {"loop": "run", "cutouts": [{**SINK, "holes": [{"behind": 200}]}]})
    with pytest.raises(FitError, match="overlap"):
        build(outline, {"loop": "run", "cutouts": [SINK, {**SINK, "id": "cooktop", "holes": []}]})


def test_posts() -> None:
    segs = [segment("front", "front", [0, 0], [2000, 0]), segment("right", "end", [2000, 0], [2000, 600]),
            segment("back", "wall", [2000, 600], [0, 600]), segment("left", "end", [0, 600], [0, 0]),
            segment("p1", "other", [900, 200], [1000, 200]), segment("p2", "other", [1000, 200], [1000, 300]),
            segment("p3", "other", [1000, 300], [900, 300]), segment("p4", "other", [900, 300], [900, 200])]
    outline = build_outline(segs, [LoopEdges("run", ("front", "right", "back", "left")),
                                   LoopEdges("post", ("p1", "p2", "p3", "p4"))], influences(), OutlineSettings())
    whole = only(build(outline, {"loop": "run"}))
    piece = only(build(outline, {"loop": "run", "posts": [
        {"id": "column", "loop": "post", "clearance": 4},
        {"id": "pipe", "run": "front", "along": {"edge": "left", "distance": 400}, "setback": 400, "diameter": 50}]}))
    assert whole.area.value - piece.area.value == pytest.approx(108**2 + math.pi * 28**2, rel=1e-9)


# ------------------------------------------------------------------------------------------------ splashes


def test_splashes_follow_their_edges() -> None:
    outline = l_kitchen()
    template = build(outline, {"loop": "kitchen", "splashes": [
        {"id": "s", "edge": "back", "thickness": 20, "receptacles": [{"distance": 800, "height": 50, "high": 70}]},
        {"id": "side", "edge": "left", "kind": "side splash", "thickness": 20, "follow_wall": True},
        {"id": "fall", "edge": "right-end", "kind": "waterfall", "height": "34 1/2 in"}]},
        openings=[{**RANGE, "depth": 600}])
    by_id = {s.piece_id: s for s in template.splashes}
    edges = {e.edge_id: e for e in only(template).edges}
    assert by_id["s"].length.value == pytest.approx(edges["back"].length.value)
    assert by_id["side"].length.value == pytest.approx(edges["left"].length.value - 20.0), "it ends at the back splash"
    assert by_id["side"].length.u == pytest.approx(edges["left"].length.u)
    assert by_id["side"].follows_wall
    assert 1.0 < by_id["side"].foot_extra_mm < 10.0
    assert by_id["fall"].height_mm == pytest.approx(876.3)
    foot = shapely.Polygon(np.array(by_id["side"].foot)[:, :2])
    assert foot.is_valid
    assert foot.area > by_id["side"].length.value * 20.0, "following the wall needs more than the plain strip"
    with pytest.raises(FitError, match=r"distance is 10\.0 mm"):
        build(outline, {"loop": "kitchen", "splashes": [
            {"id": "s", "edge": "back", "receptacles": [{"distance": 10, "height": 50, "high": 70}]}]})


# --------------------------------------------------------------------------------------------- uncertainty


def full_spec() -> TemplateSpec:
    return TemplateSpec.model_validate({
        "pieces": [{
            "id": "top", "loop": "kitchen",
            "edges": {"left": {"shape": "straight"}, "near-end": {"align": {"to": "front-short", "how": "square"}}},
            "corners": {"front-short/near-end": {"kind": "rounded", "radius": 40}},
            "cutouts": [{"id": "sink", "run": "front-short", "along": {"edge": "near-end", "distance": 800},
                         "setback": 80, "width": 600, "depth": 400, "radius": 20}],
            "seams": [{"id": "j", "corner": "front-short/front-long", "towards": "front-long"}],
            "splashes": [{"id": "s", "edge": "back"}],
        }],
        "openings": [{**RANGE, "square_to": "back"}],
        "shop": {"end_overhang": "1/2 in"},
    })


@pytest.mark.parametrize(("edge_id", "knot"), [("left", 0), ("left", 5), ("back", 7), ("front-short", 1), ("range-left", 0)])
def test_gradients_of_finished_sizes_against_central_differences(edge_id: str, knot: int) -> None:
    """Everything is rebuilt with one measured offset moved: corners, straightening, opening, seam and cut-out follow."""
    segments, loops = l_kitchen_segments()
    base = build_outline(segments, loops, influences(), OutlineSettings())
    spec = full_spec()
    step = 0.001

    def at(delta: float) -> Template:
        moved = [replace(s, offsets_mm=s.offsets_mm + delta * (np.arange(len(s.offsets_mm)) == knot))
                 if s.edge_id == edge_id else s for s in base.segments]
        # in the plan frame already, and kept there: the frame is a convention
        outline = build_outline(moved, [LoopEdges("kitchen", base.loops[0].edge_ids)], influences(), OutlineSettings())
        return build_template(outline, spec).whole()

    here, plus, minus = build_template(base, spec), at(step), at(-step)
    index = base.state_slices[edge_id].start + knot
    values = {k: q for k, q in sizes(here).items() if "overall" not in k}
    more, less = sizes(plus), sizes(minus)
    assert set(values) <= set(more)
    for name, q in values.items():
        slope = (more[name].value - less[name].value) / (2 * step)
        assert q.gradient[index] == pytest.approx(slope, abs=5e-5), name
    for a, b, c in zip(here.pieces, plus.pieces, minus.pieces, strict=True):
        slope = (b.area.value - c.area.value) / (2 * step)
        assert a.area.gradient[index] == pytest.approx(slope, abs=0.6), "mm^2 per mm on 2200 mm of edge"


def test_every_measured_size_has_a_budget_that_sums_up() -> None:
    template = build_template(l_kitchen(), full_spec())
    for piece in template.pieces:
        for s in piece.sizes:
            root = math.sqrt(sum(u * u for _, u in s.quantity.budget))
            assert root == pytest.approx(s.quantity.u, rel=1e-9, abs=1e-12)
            assert (s.quantity.u > 1e-9) != s.decided


# ---------------------------------------------------------------------------------------------- the rest


def test_order_of_declarations_does_not_matter() -> None:
    """The same wishes declared in another order draw the same drawing, item for item."""
    outline = l_kitchen()
    spec = full_spec().model_dump()
    spec["pieces"][0]["cutouts"].append({"id": "a", "run": "front-long", "along": {"edge": "right-end", "distance": 350},
                                         "setback": 90, "width": 300, "depth": 300})
    spec["openings"].append({"id": "gap", "run": "front-short", "width": 300, "along": {"edge": "near-end", "distance": 250},
                             "depth": 200})
    spec["pieces"][0]["cutouts"][0]["along"]["distance"] = 1000
    turned = {**spec, "openings": spec["openings"][::-1],
              "pieces": [{**spec["pieces"][0], "cutouts": spec["pieces"][0]["cutouts"][::-1],
                          "edges": dict(reversed(spec["pieces"][0]["edges"].items()))}]}
    first = template_drawing(build_template(outline, TemplateSpec.model_validate(spec)), outline)
    second = template_drawing(build_template(outline, TemplateSpec.model_validate(turned)), outline)
    assert first == second


@pytest.mark.parametrize(("piece", "says"), [
    ({"loop": "nowhere"}, "loop"),
    ({"loop": "kitchen", "edges": {"nowhere": {}}}, "'nowhere'"),
    ({"loop": "kitchen", "corners": {"back/front-long": {}}}, "corner"),
    ({"loop": "kitchen", "splashes": [{"id": "s", "edge": "nowhere"}]}, "'nowhere'"),
    ({"loop": "kitchen", "edges": {"left": {"align": {"to": "nowhere"}}}}, "'nowhere'"),
    ({"loop": "kitchen", "edges": {"left": {"side_of": "nowhere/left"}}}, "'nowhere'"),
    ({"loop": "kitchen", "seams": [{"id": "j", "corner": "back/front-long"}]}, "corner"),
    ({"loop": "kitchen", "seams": [{"id": "j", "corner": "back/left"}]}, "no inside corner"),
    ({"loop": "kitchen", "cutouts": [{**SINK, "run": "nowhere"}]}, "'nowhere'"),
])
def test_names_that_do_not_exist(piece: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        build(l_kitchen(), piece)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("wrong", [
    {"id": "top", "loop": "k", "colour": "red"},
    {"id": "top", "loop": "k", "edges": {"front": {"overhang": 20, "clearance": 3}}},
    {"id": "top", "loop": "k", "edges": {"front": {"overhang": "1.5"}}},
    {"id": "top", "loop": "k", "corners": {"front": {}}},
    {"id": "top", "loop": "k", "corners": {"a/b": {"kind": "rounded"}}},
    {"id": "top", "loop": "k", "cutouts": [{"id": "s", "run": "f", "along": {}, "setback": 5, "width": 1, "depth": 1}]},
    {"id": "top", "loop": "k", "cutouts": [{"id": "s", "run": "f", "along": {"mark": "m"}, "setback": 5}]},
    {"id": "top", "loop": "k", "seams": [{"id": "j"}]},
    {"id": "top", "loop": "k", "posts": [{"id": "p", "loop": "x", "diameter": 30}]},
    {"id": "a/b", "loop": "k"},
])
def test_unknown_keys_and_contradictions_are_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        TemplateSpec.model_validate({"pieces": [wrong]})


def test_area_of_a_boundary_is_analytic() -> None:
    template = build_template(l_kitchen(), full_spec())
    for piece in template.pieces:
        chorded = polygon_of(piece.boundary, 0.0005).area
        assert float(boundary_area(piece.boundary)) == pytest.approx(chorded, abs=3.0)


def test_offsets_that_only_together_are_too_much_say_how_much_less_would_work() -> None:
    """An end arc of little radius between two fronts: its line no longer reaches theirs, whichever single one is reduced."""
    p = [[0, 0], [1500, 0], [1500, 600], [0, 600]]
    segs = [segment("front", "front", p[0], p[1]), segment("round", "end", p[1], p[2], arc=-200.0),
            segment("back", "front", p[2], p[3]), segment("left", "end", p[3], p[0])]
    outline = build_outline(segs, [LoopEdges("bar", ("front", "round", "back", "left"))], influences(), OutlineSettings())
    wish = {"front": {"overhang": 150}, "back": {"overhang": 150}, "round": {"overhang": 0}}
    with pytest.raises(FitError) as caught:
        build(outline, {"loop": "bar", "edges": wish})
    error = caught.value
    assert error.nearest_mm is not None
    assert error.value_mm is not None
    share = error.nearest_mm / error.value_mm
    assert 0.0 < share < 1.0
    assert f"{100 * share:.0f} %" in str(error)
    build(outline, {"loop": "bar", "edges": {e: {"overhang": w["overhang"] * share} for e, w in wish.items()}})


def test_no_two_pieces_are_called_alike() -> None:
    """A run split by a seam beside a run called as its second part would be."""
    outline = rectangle()
    seam = {"id": "joint", "run": "front", "along": {"edge": "left", "distance": "40 in"}}
    spec = TemplateSpec.model_validate({"pieces": [
        {"id": "run", "loop": "run", "seams": [seam]}, {"id": "run-2", "loop": "run"}, {"id": "run-part-1", "loop": "run"},
    ]})
    names = [p.piece_id for p in build_template(outline, spec).pieces]
    assert len(names) == 4
    assert len(set(names)) == 4
