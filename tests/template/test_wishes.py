"""Wishes that meet each other: alignment along chains, seams at corners, drilled holes, slivers, openings, one bad piece.

Every figure is measured on the vertices that are cut, with numpy and shapely.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely

from phototemplate.errors import InputError
from phototemplate.model import Outline
from phototemplate.settings import OutlineSettings
from phototemplate.template.boundary import polygon_of_vertices
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.template.piece_types import Piece, Template
from phototemplate.template.pieces import build_template
from phototemplate.template.shop_drawing import template_drawing
from phototemplate.template.spec import TemplateSpec
from phototemplate.wording import say
from tests.template.samples import influences, l_kitchen, rectangle, segment


def template(outline: Outline, *pieces: dict[str, Any], **rest: Any) -> Template:
    specs = [{"id": f"top{k}" if k else "top", **piece} for k, piece in enumerate(pieces)]
    return build_template(outline, TemplateSpec.model_validate({"pieces": specs, **rest}))


def heading(piece: Piece, edge_id: str) -> np.ndarray:
    """Unit direction of a finished edge between its corners."""
    edge = next(e for e in piece.edges if e.edge_id == edge_id)
    d = np.array(edge.end) - np.array(edge.start)
    return d / np.hypot(*d)


def off_line(piece: Piece, edge_id: str, line: tuple[np.ndarray, np.ndarray]) -> float:
    """Largest distance of both ends of an edge from a line through two points."""
    edge = next(e for e in piece.edges if e.edge_id == edge_id)
    a, b = line
    n = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
    return float(np.abs((np.array([edge.start, edge.end]) - a) @ n).max())


def shortest(piece: Piece) -> float:
    """Shortest segment between the vertices that are cut."""
    v = np.array(piece.vertices)[:, :2]
    return float(np.hypot(*(np.roll(v, -1, axis=0) - v).T).min())


# ------------------------------------------------------------------------------------------------ alignment


def test_alignments_follow_finished_edges() -> None:
    """left is parallel to front-short and near-end square to left: 90 degrees between the sides of the stone."""
    made = template(l_kitchen(straight=True), {"loop": "kitchen", "edges": {
        "left": {"align": {"to": "front-short"}}, "near-end": {"align": {"to": "left", "how": "square"}}}}).whole()
    (piece,) = made.pieces
    left, front, end = (heading(piece, e) for e in ("left", "front-short", "near-end"))
    assert abs(float(left[0] * front[1] - left[1] * front[0])) < 1e-9
    assert abs(float(left @ end)) < 1e-9
    rules = {e.edge_id: e.rule for e in piece.edges}
    assert rules["left"] == "parallel to front-short"
    assert rules["near-end"].startswith("square to left, holding")


def across_a_range() -> Outline:
    """Two fronts of one run on both sides of a range, a degree and 4 mm out of line."""
    a = [[0.0, 0.0], [1000.0, 3.0], [1001.0, 600.0], [0.0, 602.0]]
    b = [[1762.0, 12.0], [2900.0, -6.0], [2902.0, 601.0], [1760.0, 600.0]]
    names = ("front", "end", "back", "side")
    kinds = ("front", "panel", "wall", "end")
    segs = [segment(f"{n}-{k}", kind, p[i], p[(i + 1) % 4])  # type: ignore[arg-type]
            for k, p in (("a", a), ("b", b)) for i, (n, kind) in enumerate(zip(names, kinds, strict=True))]
    loops = [LoopEdges(k, tuple(f"{n}-{k}" for n in names)) for k in "ab"]
    return build_outline(segs, loops, influences(), OutlineSettings())


def test_in_line_with_the_squared_front_of_another_piece() -> None:
    made = template(
        across_a_range(),
        {"loop": "a", "edges": {"front-a": {"align": {"to": "side-a", "how": "square"}, "overhang": 30}}},
        {"loop": "b", "edges": {"front-b": {"align": {"to": "front-a", "how": "in-line"}}}},
    ).whole()
    a, b = made.pieces
    line = next((np.array(e.start), np.array(e.end)) for e in a.edges if e.edge_id == "front-a")
    assert off_line(b, "front-b", line) < 1e-6
    edge = next(e for e in b.edges if e.edge_id == "front-b")
    assert (edge.rule, edge.outward_mm) == ("in line with front-a of piece top", 30.0)


def test_edges_aligned_in_a_circle_are_refused_by_name() -> None:
    made = template(l_kitchen(), {"loop": "kitchen", "edges": {
        "left": {"align": {"to": "front-short"}}, "front-short": {"align": {"to": "near-end", "how": "square"}},
        "near-end": {"align": {"to": "left", "how": "square"}}}})
    with pytest.raises(InputError, match=r"in a circle, 'left' of piece 'top' to 'front-short' .* to 'near-end' .* to 'left'"):
        made.whole()


# --------------------------------------------------------------------------------- seams, slivers, bad pieces


def test_a_seam_at_a_corner_that_was_squared() -> None:
    """The seam runs along the very line of the squared front: no crossing there, and no division by nothing."""
    for how in ("front-long", "front-short", "mitre"):
        made = template(l_kitchen(), {
            "loop": "kitchen", "edges": {"front-long": {"align": {"to": "front-short", "how": "square"}}},
            "seams": [{"id": "j", "corner": "front-short/front-long", "towards": how}]}).whole()
        one, two = (polygon_of_vertices(p.vertices) for p in made.pieces)
        assert one.distance(two) == pytest.approx(made.seams[0].joint_mm, abs=1e-3)


def test_one_bad_piece_costs_that_piece() -> None:
    outline = across_a_range()
    made = template(outline, {"loop": "a"}, {"loop": "b", "edges": {"front-b": {"overhang": "2 ft"}, "nowhere": {}}})
    assert [p.piece_id for p in made.pieces] == ["top"]
    ((name, error),) = made.refused
    assert name == "top1"
    assert "nowhere" in str(error)
    assert template_drawing(made, outline).on("STONE-SHAPE")


@pytest.mark.parametrize("off", [-0.4, 0.0, 0.2, 3.0])
def test_a_mitre_runs_from_corner_to_corner(off: float) -> None:
    """An L whose outside corner lies a little off the bisector of the inside one: no stump of wall, and no splash from one."""
    p = [[0.0, 0.0], [600.0, 0.0], [600.0, 1400.0], [2200.0, 1400.0], [2200.0, 2000.0 + off], [0.0, 2000.0 + off]]
    names = ("end-a", "front-a", "front-b", "end-b", "wall-b", "wall-a")
    kinds = ("end", "front", "front", "end", "wall", "wall")
    segs = [segment(n, k, p[i], p[(i + 1) % 6]) for i, (n, k) in enumerate(zip(names, kinds, strict=True))]  # type: ignore[arg-type]
    outline = build_outline(segs, [LoopEdges("l", names)], influences(), OutlineSettings())
    made = template(outline, {"loop": "l", "seams": [{"id": "j", "corner": "front-a/front-b"}],
                              "splashes": [{"id": "a", "edge": "wall-a"}, {"id": "b", "edge": "wall-b"}]}).whole()
    for piece in made.pieces:
        assert shortest(piece) >= 0.5
        assert len({e.edge_id for e in piece.edges} & {"wall-a", "wall-b"}) == 1
    assert sorted(s.piece_id for s in made.splashes) == ["a", "b"]
    assert min(s.length.value for s in made.splashes) > 1900.0
    one, two = (polygon_of_vertices(q.vertices) for q in made.pieces)
    assert one.distance(two) == pytest.approx(25.4 / 16, abs=1e-3)


def test_the_foot_of_a_splash_is_no_piece() -> None:
    outline = l_kitchen()
    made = template(outline, {"loop": "kitchen", "splashes": [{"id": "s", "edge": "back", "follow_wall": True}]}).whole()
    drawing = template_drawing(made, outline)
    assert sorted(i.name for i in drawing.on("STONE-SHAPE")) == ["s", "top"]  # type: ignore[union-attr]
    assert [i.name for i in drawing.on("SPLASH-FOOT")] == ["s foot"]  # type: ignore[union-attr]
    assert not any(layer.cut for layer in drawing.layers if layer.name == "SPLASH-FOOT")


# ---------------------------------------------------------------------------------- holes, openings, uprights


def test_holes_near_each_other_and_near_an_edge_are_pointed_out() -> None:
    """Two 35 mm holes 12.7 mm apart, and one 1 mm from the wall."""
    holes = [{"across": 0.0, "behind": 60}, {"across": 47.7, "behind": 60}, {"across": -150, "behind": 95.5 - 17.5 - 3.0 - 1.0}]
    made = template(rectangle(2400.0, 600.0), {"loop": "run", "cutouts": [
        {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 1200}, "setback": 80 + 38.1 - 38.1, "width": 600,
         "depth": 462.6, "holes": holes}]}).whole()
    near = [f for f in made.findings if f.code == "cutouts-near"]
    assert [(f.facts["first"], f.facts["second"]) for f in near] == [("sink hole 1", "sink hole 2")]
    assert near[0].facts["web_mm"] == pytest.approx(12.7, abs=1e-2)
    assert "12.7" in say(near[0]).message or "13 mm" in say(near[0]).message
    edge = next(f for f in made.findings if f.code == "cutout-near-edge" and f.facts["cutout"] == "sink hole 3")
    polygon = polygon_of_vertices(made.pieces[0].vertices)
    hole = made.pieces[0].holes[2]
    assert edge.facts["web_mm"] == pytest.approx(
        polygon.exterior.distance(shapely.Point(hole.centre)) - hole.diameter_mm / 2, abs=1e-2)
    assert edge.facts["web_mm"] == pytest.approx(5.0, abs=5.0)


def test_holes_that_run_into_each_other_are_refused() -> None:
    """Two holes of 35 mm 20 mm apart overlap by 15 mm."""
    made = template(rectangle(2400.0, 600.0), {"loop": "run", "cutouts": [
        {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 1200}, "setback": 80, "width": 600, "depth": 400,
         "holes": [{"across": 0.0}, {"across": 20.0}]}]})
    with pytest.raises(InputError, match=r"'sink hole 1' and 'sink hole 2' .* run into each other; .* move by 16\.0 mm"):
        made.whole()


@pytest.mark.parametrize("clearance", [0.0, 3.0])
def test_the_stone_keeps_the_clearance_from_an_opening(clearance: float) -> None:
    """Sides named by their pieces, and sides that are cut: the stones stand apart by the width and twice the clearance."""
    along = {"between": ["end-a", "side-b"]}
    opening = {"id": "range", "run": "front-a", "width": "30 in", "along": along}
    sides = template(across_a_range(), {"loop": "a", "edges": {"end-a": {"side_of": "range/left"}}},
                     {"loop": "b", "edges": {"side-b": {"side_of": "range/right", "finish": "appliance"}}},
                     openings=[opening], shop={"appliance_clearance": clearance}).whole()
    cut = template(rectangle(2600.0, 600.0), {"loop": "run"}, openings=[
        {"id": "range", "run": "front", "width": "30 in", "along": {"edge": "left", "distance": 1200}}],
        shop={"appliance_clearance": clearance}).whole()
    for made in (sides, cut):
        one, two = (polygon_of_vertices(p.vertices) for p in made.pieces)
        assert one.distance(two) == pytest.approx(762.0 + 2 * clearance, abs=1e-3)
        room = [f for f in made.findings if f.code == "opening-no-room"]
        assert bool(room) == (clearance == 0.0), "30 in for a range of 30 in does not pass"


def test_an_appliance_that_asks_for_more_room_than_it_gets() -> None:
    opening = {"id": "range", "run": "front", "width": 765, "appliance": 762, "clearance": 0,
               "along": {"edge": "left", "distance": 1200}}
    plain = template(rectangle(2600.0, 600.0), {"loop": "run"}, openings=[opening]).whole()
    assert not [f for f in plain.findings if f.code == "opening-no-room"]
    tight = template(rectangle(2600.0, 600.0), {"loop": "run"}, openings=[{**opening, "appliance": 766}]).whole()
    (finding,) = (f for f in tight.findings if f.code == "opening-no-room")
    assert finding.facts["room_mm"] == pytest.approx(-0.5)


def test_upright_pieces_are_weighed_and_held_against_the_slab() -> None:
    """A waterfall of 3.2 m: 3.2 x 0.9 m of 30 mm granite at 2755 kg/m3 weighs 238 kg, and the slab is 2998 mm long."""
    made = template(rectangle(3200.0, 600.0), {"loop": "run", "splashes": [
        {"id": "fall", "edge": "front", "kind": "waterfall", "height": 900}]}).whole()
    heavy = {f.where: f.facts for f in made.findings if f.code == "piece-heavy"}
    length = made.splashes[0].length.value
    assert heavy["fall"]["weight_kg"] == pytest.approx(length * 900 * 30 * 1e-9 * 2755)
    assert "fall" in {f.where for f in made.findings if f.code == "piece-over-slab"}


def test_a_sink_over_a_dishwasher_is_pointed_out() -> None:
    made = template(rectangle(2400.0, 600.0), {"loop": "run", "cutouts": [
        {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 900}, "setback": 80, "width": 700, "depth": 400}]},
        appliances=[{"id": "dw", "run": "front", "along": {"edge": "left", "distance": 1500}, "width": "24 in"}]).whole()
    (finding,) = (f for f in made.findings if f.code == "cutout-over-dishwasher")
    assert (finding.where, finding.facts["dishwasher"]) == ("sink", ("dw",))
    assert math.isfinite(made.pieces[0].weight_kg)
