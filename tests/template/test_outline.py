"""Corners, lengths, angles and areas of outlines, and their uncertainty.

References: the packages GTC and ``uncertainties`` (independent propagation), Monte Carlo after JCGM 101:2008, shapely
for areas, and closed forms.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import GTC
import numpy as np
import pytest
import shapely
import uncertainties
from uncertainties import umath

from phototemplate.errors import InputError
from phototemplate.model import EdgeKind, Outline, Segment
from phototemplate.settings import OutlineSettings
from phototemplate.template.chains import reversed_segment
from phototemplate.template.drawing import Dimension, Text, flatten_polyline
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.template.outline_drawing import loop_vertices, outline_drawing
from phototemplate.template.pieces import build_template
from phototemplate.template.quantities import (
    CornerPlace,
    EdgePlace,
    State,
    angle,
    area,
    distance,
)
from phototemplate.template.shop_drawing import template_drawing
from phototemplate.template.spec import TemplateSpec
from tests.template.samples import bow, influences, l_kitchen, l_kitchen_segments, rectangle, segment

SETTINGS = OutlineSettings()


def ends_of(seg: Segment, offsets: object) -> list[tuple[object, object]]:
    """Knots as points, for plain or uncertain offsets."""
    t = (seg.chord_mm[1] - seg.chord_mm[0]) / np.hypot(*(seg.chord_mm[1] - seg.chord_mm[0]))
    base = seg.chord_mm[0] + np.outer(seg.knots_mm, t)
    return [(b[0] - t[1] * o, b[1] + t[0] * o) for b, o in zip(base, offsets, strict=True)]  # type: ignore[call-overload]


def crossing(p, q):
    """Textbook intersection of two lines through two points each, in any arithmetic."""
    (x1, y1), (x2, y2) = p
    (x3, y3), (x4, y4) = q
    d = (x1 - x2) * (y3 - y4) - (y1 - y2) * (x3 - x4)
    a, b = x1 * y2 - y1 * x2, x3 * y4 - y3 * x4
    return (a * (x3 - x4) - (x1 - x2) * b) / d, (a * (y3 - y4) - (y1 - y2) * b) / d


def split(outline: Outline, values):
    return {s.edge_id: ends_of(s, values[outline.state_slices[s.edge_id]]) for s in outline.segments}


def rectangle_corners(outline: Outline, values):
    lines = split(outline, values)
    ids = outline.loops[0].edge_ids
    return [crossing(lines[ids[i - 1]], lines[ids[i]]) for i in range(len(ids))]


def test_rectangle_against_uncertainties_package() -> None:
    outline = rectangle(skew=25.0)
    state = State(outline)
    values = np.array(uncertainties.correlated_values(state.values, state.cov))
    corners = rectangle_corners(outline, values)
    for i, (x, y) in enumerate(corners):
        np.testing.assert_allclose(outline.loops[0].corners_mm[i], [x.n, y.n], atol=1e-9)
        expected = np.array(uncertainties.covariance_matrix([x, y]))
        np.testing.assert_allclose(outline.loops[0].corner_cov_mm2[i], expected, rtol=1e-6, atol=1e-15)
    (x0, y0), (x2, y2) = corners[0], corners[2]
    diagonal = umath.sqrt((x2 - x0) ** 2 + (y2 - y0) ** 2)
    found = distance(outline, CornerPlace("run", 0), CornerPlace("run", 2))
    assert found.value_mm == pytest.approx(diagonal.n, abs=1e-9)
    assert found.u_mm == pytest.approx(diagonal.s, rel=1e-6)
    shoelace = sum(corners[i - 1][0] * corners[i][1] - corners[i][0] * corners[i - 1][1] for i in range(4)) / 2
    assert area(outline, "run").value == pytest.approx(shoelace.n, rel=1e-12)
    assert area(outline, "run").u == pytest.approx(shoelace.s, rel=1e-6)


def test_corner_and_length_against_gtc() -> None:
    outline = rectangle(skew=-40.0)
    state = State(outline)
    u = np.sqrt(np.diag(state.cov))
    numbers = GTC.multiple_ureal(state.values, u, df=math.inf)
    for i in range(state.size):
        for j in range(i):
            GTC.set_correlation(float(state.cov[i, j] / (u[i] * u[j])), numbers[i], numbers[j])
    corners = rectangle_corners(outline, np.array(numbers, dtype=object))
    length = GTC.sqrt((corners[1][0] - corners[0][0]) ** 2 + (corners[1][1] - corners[0][1]) ** 2)
    found = distance(outline, CornerPlace("run", 0), CornerPlace("run", 1))
    assert found.value_mm == pytest.approx(GTC.value(length), abs=1e-9)
    assert found.u_mm == pytest.approx(GTC.uncertainty(length), rel=1e-6)
    report = next(r for r in outline.edges if r.edge_id == outline.loops[0].edge_ids[0])
    assert report.length_U_mm == pytest.approx(2 * GTC.uncertainty(length), rel=1e-6)


def test_monte_carlo_of_a_diagonal_and_a_width() -> None:
    """JCGM 101: propagate the distribution, not the variance; 40,000 draws give u within about 0.4 %."""
    outline = rectangle(skew=15.0)
    state = State(outline)
    rng = np.random.default_rng(7)
    draws = rng.multivariate_normal(state.values, state.cov, size=40_000).T
    corners = rectangle_corners(outline, draws)
    diagonal = np.hypot(corners[2][0] - corners[0][0], corners[2][1] - corners[0][1])
    found = distance(outline, CornerPlace("run", 0), CornerPlace("run", 2))
    assert found.u_mm == pytest.approx(diagonal.std(), rel=0.02)
    assert found.value_mm == pytest.approx(diagonal.mean(), abs=5 * diagonal.std() / 200)
    low, high = np.percentile(diagonal - found.value_mm, [2.5, 97.5])
    assert (low, high) == pytest.approx((-1.96 * found.u_mm, 1.96 * found.u_mm), rel=0.04)


def shifted(segments: list[Segment], edge_id: str, knot: int, step: float) -> list[Segment]:
    return [replace(s, offsets_mm=s.offsets_mm + step * (np.arange(len(s.offsets_mm)) == knot))
            if s.edge_id == edge_id else s for s in segments]


@pytest.mark.parametrize("edge_id", ["back", "left", "front-long", "range-left"])
def test_gradients_against_central_differences(edge_id: str) -> None:
    """The whole outline is rebuilt with one offset moved; frame-free quantities must follow their gradient."""
    segments, loops = l_kitchen_segments()
    base = build_outline(segments, loops, influences(), SETTINGS)
    where = base.state_slices[edge_id]

    def ask(outline: Outline) -> dict[str, object]:
        return {
            "diagonal": distance(outline, CornerPlace("kitchen", 1), CornerPlace("kitchen", 5)),
            "depth": distance(outline, EdgePlace("front-long", 0.3), EdgePlace("back")),
            "corner to wall": distance(outline, CornerPlace("kitchen", 4), EdgePlace("left")),
            "gap": distance(outline, EdgePlace("range-left"), EdgePlace("range-right")),
            "angle": angle(outline, "back", "left"),
            "area": area(outline, "kitchen"),
        }

    step = 0.02
    count = len(segments[[s.edge_id for s in segments].index(edge_id)].offsets_mm)
    here = ask(base)
    given = next(s for s in segments if s.edge_id == edge_id)
    same_way = np.allclose(base.segments[segments.index(given)].offsets_mm, given.offsets_mm) and np.allclose(
        base.plan_from_work[:2, :2] @ (given.chord_mm[1] - given.chord_mm[0]),
        base.segments[segments.index(given)].chord_mm[1] - base.segments[segments.index(given)].chord_mm[0], atol=1e-6,
    )
    for knot in {0, 1, count // 2, count - 1}:
        plus = ask(build_outline(shifted(segments, edge_id, knot, step), loops, influences(), SETTINGS))
        minus = ask(build_outline(shifted(segments, edge_id, knot, -step), loops, influences(), SETTINGS))
        for name, q in here.items():
            slope = (plus[name].value - minus[name].value) / (2 * step)  # type: ignore[attr-defined]
            at = where.start + (knot if same_way else count - 1 - knot)
            gradient = q.gradient[at] * (1.0 if same_way else -1.0)  # type: ignore[attr-defined]
            scale = {"area": 3000.0, "angle": 1e-3, "inside": 1e-3}.get(name, 1.0)
            assert gradient == pytest.approx(slope, abs=2e-6 * scale), (name, knot)


def test_budget_is_complete() -> None:
    outline = l_kitchen()
    for report in outline.edges:
        root = math.sqrt(sum(u * u for _, u in report.budget))
        assert root == pytest.approx(max(report.offset_U_mm) / 2, rel=1e-9)
    state = State(outline)
    np.testing.assert_allclose(sum(state.parts.values()), state.cov, rtol=1e-9, atol=1e-15)
    q = distance(outline, EdgePlace("front-long"), EdgePlace("back"))
    assert math.sqrt(sum(u * u for _, u in q.budget)) == pytest.approx(q.u, rel=1e-9)
    assert q.u == pytest.approx(math.sqrt(q.gradient @ state.cov @ q.gradient), rel=1e-9)
    assert dict(q.budget)["contact gap"] == pytest.approx(0.15, rel=0.02), "the gap moves the whole wall"


def test_shared_error_cancels_between_neighbours() -> None:
    """Two panels on one smooth error field: their distance is better known than either one's place."""
    state = State(l_kitchen())
    gap = distance(state, EdgePlace("range-left"), EdgePlace("range-right"))
    alone = [max(r.offset_U_mm) / 2 for r in state.outline.edges if r.edge_id.startswith("range")]
    assert gap.u < math.hypot(*alone) * 0.7


def test_area_of_profile_loop_against_shapely() -> None:
    outline = l_kitchen()
    vertices = np.array(loop_vertices(State(outline), outline.loops[0], 1e-4))
    polygon = shapely.Polygon(vertices[:, :2])
    assert polygon.is_valid
    assert polygon.exterior.is_ccw
    assert area(outline, "kitchen").value == pytest.approx(polygon.area, abs=2.0)


@pytest.mark.parametrize("sagitta", [60.0, -60.0, 300.0])
def test_arc_end_against_closed_form(sagitta: float) -> None:
    """A run with a bowed end: area = rectangle + circular segment r^2/2 (a - sin a), on the right of the edge."""
    p = [[0.0, 0.0], [1800.0, 0.0], [1800.0, 700.0], [0.0, 700.0]]
    segments = [
        segment("front", "front", p[0], p[1]),
        segment("round", "end", p[1], p[2], arc=-sagitta),
        segment("back", "wall", p[2], p[3]),
        segment("left", "end", p[3], p[0]),
    ]
    outline = build_outline(segments, [LoopEdges("run", ("front", "round", "back", "left"))], influences(), SETTINGS)
    radius = (350.0**2 + sagitta**2) / (2 * abs(sagitta))
    included = 2 * math.asin(350.0 / radius)
    expected = 1800.0 * 700.0 + math.copysign(radius**2 / 2 * (included - math.sin(included)), sagitta)
    assert area(outline, "run").value == pytest.approx(expected, rel=1e-9)
    report = next(r for r in outline.edges if r.edge_id == "round")
    assert report.length_mm == pytest.approx(radius * included, rel=1e-9)
    vertices = loop_vertices(State(outline), outline.loops[0], 0.05)
    (bulge,) = [v[2] for v in vertices if v[2]]
    # AutoCAD DXF reference: bulge = tan(included angle / 4), positive anticlockwise
    assert bulge == pytest.approx(math.copysign(math.tan(included / 4), sagitta), rel=1e-9)


def test_plan_frame() -> None:
    """x along the longest straight front or wall as seen from the room, y away from it, nothing negative."""
    outline = l_kitchen()
    by_id = {r.edge_id: r for r in outline.edges}
    assert by_id["front-long"].angle_rad == pytest.approx(0.0, abs=1e-12)
    assert outline.loops[0].corners_mm.min() >= -1e-9
    assert by_id["back"].angle_rad == pytest.approx(math.pi, abs=1e-2), "the wall behind runs back to the left"
    # the wall lies further from the room than the front
    state = State(outline)
    assert state.stretch("back")[0].y.value > state.stretch("front-long")[0].y.value
    r = outline.plan_from_work[:2, :2]
    np.testing.assert_allclose(r @ r.T, np.eye(2), atol=1e-12)
    assert np.linalg.det(r) == pytest.approx(1.0)


def test_order_and_sense_do_not_matter() -> None:
    segments, (loop,) = l_kitchen_segments()
    base = {r.edge_id: r for r in build_outline(segments, [loop], influences(), SETTINGS).edges}
    again = build_outline(
        [reversed_segment(s) if i % 2 else s for i, s in enumerate(segments)],
        [LoopEdges("kitchen", (*loop.edge_ids[2:], *loop.edge_ids[:2])[::-1])],
        influences(), SETTINGS,
    )
    for report in again.edges:
        if report.edge_id in loop.edge_ids:
            b = base[report.edge_id]
            assert report.length_mm == pytest.approx(b.length_mm, abs=1e-7)
            assert report.length_U_mm == pytest.approx(b.length_U_mm, rel=1e-7)
            assert report.offset_U_mm == pytest.approx(b.offset_U_mm, rel=1e-7)
            assert report.angle_rad == pytest.approx(b.angle_rad, abs=1e-9)


def test_profile_meets_profile_in_a_swollen_corner() -> None:
    outline = l_kitchen()
    state = State(outline)
    corner = state.corner("kitchen", 1)
    for edge_id in ("back", "left"):
        assert state.curve(edge_id).side(corner).value == pytest.approx(0.0, abs=1e-9)


def test_open_loop_says_where() -> None:
    segments, _ = l_kitchen_segments()
    loop = LoopEdges("kitchen", ("back", "right-end", "front-long", "near-end", "left"))
    outline = build_outline(segments, [loop], influences(), SETTINGS)
    (finding,) = [f for f in outline.findings if f.code == "loop-open"]
    assert (finding.facts["first"], finding.facts["second"]) == ("front-long", "near-end")
    assert finding.facts["gap_mm"] == pytest.approx(1575.0, abs=75.0)
    assert not outline.loops[0].closed
    assert len(outline.loops[0].corners_mm) == len(outline.loops[0].edge_ids) + 1
    with pytest.raises(InputError, match="open"):
        area(outline, outline.loops[0].loop_id)


def test_an_edge_of_an_open_run_is_as_long_as_it_was_seen() -> None:
    """Named out of order, both neighbours of an edge may face the same end of it; it keeps its length all the same."""
    a, b, c = [0.0, 0.0], [1500.0, 0.0], [1500.0, 600.0]
    far = segment("far", "front", [4000.0, 20.0], [5200.0, 20.0])
    segments = [segment("end", "end", b, c), segment("front", "front", a, b), far]
    for order in itertools.permutations(("end", "front", "far")):
        for closed in (True, False):
            outline = build_outline(segments, [LoopEdges("run", order, closed)], influences(), OutlineSettings())
            for loop in outline.loops:
                assert not loop.closed
            lengths = {e.edge_id: e.length_mm for e in outline.edges}
            # 20 mm at each end are not seen
            # and an end that is no corner is no place to measure a length from
            known = {e.edge_id for e in outline.edges if np.isfinite(e.length_U_mm)}
            assert known <= {"front"}, (order, closed)
            assert lengths == pytest.approx({"end": 580.0, "front": 1480.0, "far": 1180.0}, abs=21.0), (order, closed)


def test_two_lines_that_cross_once_close_no_run() -> None:
    """Their two corners are one place, and either edge would have no length between them."""
    segments = [segment("end", "end", [0.0, 0.0], [0.0, 600.0]), segment("wall", "wall", [0.0, 600.0], [2000.0, 600.0])]
    outline = build_outline(segments, [LoopEdges("run", ("end", "wall"))], influences(), SETTINGS)
    assert [f.code for f in outline.findings] == ["loop-open"]
    assert not outline.loops[0].closed
    assert np.linalg.norm(np.diff(outline.loops[0].corners_mm, axis=0), axis=1).min() > 500


def test_parallel_neighbours_are_open_and_grazing_ones_doubted() -> None:
    p = [[0.0, 0.0], [1000.0, 0.0], [2000.0, 160.0], [2000.0, 700.0], [0.0, 700.0]]
    names = ("front-a", "front-b", "end", "back", "left")
    kinds: tuple[EdgeKind, ...] = ("front", "front", "end", "wall", "wall")
    segments = [segment(n, k, p[i], p[(i + 1) % 5]) for i, (n, k) in enumerate(zip(names, kinds, strict=True))]
    outline = build_outline(segments, [LoopEdges("run", names)], influences(), SETTINGS)
    (finding,) = outline.findings
    assert finding.code == "corner-grazing"
    assert finding.facts["angle_deg"] == pytest.approx(9.1, abs=0.05)
    assert finding in next(r for r in outline.edges if r.edge_id == "front-a").findings
    stepped = [segment("front-b", "front", [1000.0, 60.0], [2000.0, 60.0]) if s.edge_id == "front-b" else s
               for s in segments]
    outline = build_outline(stepped, [LoopEdges("run", names)], influences(), SETTINGS)
    pairs = [{f.facts["first"], f.facts["second"]} for f in outline.findings if f.code == "loop-open"]
    assert {"front-a", "front-b"} in pairs


@pytest.mark.parametrize(("loops", "text"), [
    ([LoopEdges("a", ("back", "nowhere"))], "nowhere"),
    ([LoopEdges("a", ("back", "back"))], "twice"),
    ([LoopEdges("a", ("back",)), LoopEdges("a", ("left",))], "twice"),
    ([LoopEdges("a", ())], "names no edges"),
])
def test_wrong_loops_are_named(loops: list[LoopEdges], text: str) -> None:
    segments, _ = l_kitchen_segments()
    with pytest.raises(InputError, match=text):
        build_outline(segments, loops, influences(), SETTINGS)


def test_wall_profile_reaches_the_stated_bow() -> None:
    """The distance of the wall's middle from its corner-to-corner chord is the bow that was put in."""
    p = [[0.0, 0.0], [3000.0, 0.0], [3000.0, 600.0], [0.0, 600.0]]
    segments = [
        segment("front", "front", p[0], p[1]), segment("right", "end", p[1], p[2]),
        segment("back", "wall", p[2], p[3], bow(2960.0, 8.0, 0.0), 14), segment("left", "end", p[3], p[0]),
    ]
    outline = build_outline(segments, [LoopEdges("run", ("front", "right", "back", "left"))], influences(), SETTINGS)
    middle = distance(outline, EdgePlace("front", 0.5), EdgePlace("back"))
    assert middle.value_mm == pytest.approx(600.0 - 8.0, abs=0.02)


@pytest.mark.parametrize("off", [0.0, 0.4, -0.4])
def test_a_rounded_end_runs_on_into_the_fronts(off: float) -> None:
    """A semicircular end touches the fronts without a corner: area = rectangle + half a circle, whatever the last 0.4 mm."""
    p = [[0.0, 0.0], [1500.0, 0.0], [1500.0, 600.0], [0.0, 600.0]]
    segments = [
        segment("front", "front", p[0], p[1]), segment("round", "end", [1500.0, off], [1500.0, 600.0 - off], arc=-300.0 + off),
        segment("back", "front", p[2], p[3]), segment("left", "wall", p[3], p[0]),
    ]
    outline = build_outline(segments, [LoopEdges("bar", ("front", "round", "back", "left"))], influences(), SETTINGS)
    assert not outline.findings
    # within the slack over the length of the arc; and exactly what is drawn, by shapely
    arc = math.pi * 300
    assert area(outline, "bar").value == pytest.approx(1500 * 600 + math.pi * (300 - off) ** 2 / 2, abs=abs(off) * (arc + 1))
    drawn = flatten_polyline(np.array(loop_vertices(State(outline), outline.loops[0], 1e-4)), True, 1e-4)
    assert area(outline, "bar").value == pytest.approx(shapely.Polygon(drawn).area, abs=1e-4 * arc)
    report = next(r for r in outline.edges if r.edge_id == "round")
    assert report.length_mm == pytest.approx(math.pi * 300, abs=3.2 * abs(off) + 1e-6)
    assert 0 < report.length_U_mm < 1.0


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_a_whole_round_top_is_one_closed_edge(sense: float) -> None:
    """Length 2 pi r and area pi r^2 with their uncertainties 2 pi u(r) and 2 pi r u(r); the overhang all around."""
    radius, u = 450.0, 0.2
    length = 2 * math.pi * radius
    top = Segment(
        "top", "front", "circle", np.array([[100.0, 50.0], [100.0 + length, 50.0]]), length * np.array([0.0, 1 / 3, 2 / 3]),
        np.zeros(3), u**2 * np.ones((3, 3)), np.zeros((3, influences().size)), np.zeros(1), np.zeros((1, 2)),
        (0.0, 0.0, 0.0), bend_per_mm=sense / radius,
    )  # fmt: skip
    outline = build_outline([top], [LoopEdges("table", ("top",))], influences(), SETTINGS)
    assert not outline.findings
    assert outline.loops[0].closed
    size = area(outline, "table")
    assert (size.value, size.u) == (pytest.approx(math.pi * radius**2, rel=1e-9), pytest.approx(length * u, rel=1e-6))
    (report,) = outline.edges
    assert report.length_mm == pytest.approx(length, rel=1e-9)
    assert report.length_U_mm == pytest.approx(2 * 2 * math.pi * u, rel=1e-6)
    assert report.offset_U_mm == pytest.approx((0.4, 0.4, 0.4), rel=1e-6)
    drawn = flatten_polyline(np.array(loop_vertices(State(outline), outline.loops[0], 1e-3)), True, 1e-3)
    assert shapely.Polygon(drawn).area == pytest.approx(size.value, abs=length * 1e-3)
    assert np.min(drawn) == pytest.approx(0.0, abs=1e-3), "nothing negative"
    wishes = {"shop": {"overhang": 25.0}, "pieces": [{"id": "P", "loop": "table"}]}
    template = build_template(outline, TemplateSpec.model_validate(wishes))
    (piece,) = template.pieces
    assert piece.area.value == pytest.approx(math.pi * (radius + 25.0) ** 2, rel=1e-9)
    assert not piece.corners
    assert template_drawing(template, outline).items
    texts = " ".join(str(i.text) for i in outline_drawing(outline).items if isinstance(i, (Dimension, Text)))
    assert "top" in texts
    assert "R 450" in texts


def test_two_edges_make_a_loop() -> None:
    """A circular segment: r^2/2 (t - sin t)."""
    segments = [segment("s", "front", [0.0, 0.0], [1000.0, 0.0]), segment("r", "end", [0.0, 0.0], [1000.0, 0.0], arc=400.0)]
    outline = build_outline(segments, [LoopEdges("d", ("r", "s"))], influences(), SETTINGS)
    r = (500.0**2 + 400.0**2) / 800.0
    t = 2 * math.asin(500.0 / r)
    assert area(outline, "d").value == pytest.approx(r * r / 2 * (t - math.sin(t)), rel=1e-9)


def test_one_wall_shared_by_two_loops() -> None:
    """Runs on both sides of a gap share the measured wall; the plan follows it although each run is shorter."""
    segments = [
        segment("left-front", "front", [0, 0], [900, 0]), segment("gap-left", "end", [900, 0], [901, 600]),
        segment("gap-right", "end", [1664, 600], [1664, 0]), segment("right-front", "front", [1664, 0], [2500, 0]),
        segment("right-end", "end", [2500, 0], [2500, 600]), segment("left-end", "end", [0, 600], [0, 0]),
        segment("back", "wall", [2500, 600], [0, 600], bow(2460.0, 6.0), 14),
        segment("return", "front", [-700, -1200], [-700, 0]),
    ]
    loops = [LoopEdges("left", ("left-front", "gap-left", "back", "left-end")),
             LoopEdges("right", ("right-front", "right-end", "back", "gap-right"))]
    outline = build_outline(segments, loops, influences(), SETTINGS)
    assert all(loop.closed for loop in outline.loops)
    by_id = {r.edge_id: r for r in outline.edges}
    assert by_id["left-front"].angle_rad == pytest.approx(0.0, abs=1e-9), "x along the run, not along the longer return"
    total = area(outline, "left").value + area(outline, "right").value
    plain = 900.5 * 600 + 836 * 600
    assert total == pytest.approx(plain, abs=6.0 * 1740)
    state = State(outline)
    covariance = state.corners("left")[2].y.gradient(state.size) @ state.cov @ state.corners("right")[2].y.gradient(state.size)
    assert abs(covariance) > 0.01, "the contact gap of the one wall moves corners of both loops"
