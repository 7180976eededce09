"""The wall check on walls with closed forms, on drawings made by ezdxf, and its DXF as GDAL reads it."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from pyogrio.raw import read as gdal_read

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.shapes.unseen_wall import wander_between
from phototemplate.errors import InputError, MeasureError
from phototemplate.model import EdgeHint, Influences, Outline, PlanePoints
from phototemplate.settings import EdgeSettings, OutlineSettings
from phototemplate.studies.check_wall import check_wall
from phototemplate.studies.references import of_outline, read_dxf, split_runs
from phototemplate.studies.straightness import minimum_zone
from phototemplate.studies.wall_line import wall_line
from phototemplate.studies.wall_pages import gap_rows, headline, write_wall_check
from phototemplate.template.outline import build_outline
from tests.template.samples import bow, influences, l_kitchen, segment


def wall_alone(bow_mm: float, swell_mm: float = 0.0, length: float = 2400.0) -> Outline:
    """One wall, room below (its chord runs to the left, so the room is on its left)."""
    shape = bow(length - 40.0, bow_mm, swell_mm)
    made = segment("wall", "wall", [length, 0.0], [0.0, 0.0], shape, 16, gaps=())
    return build_outline([made], [], influences(gaps=()), OutlineSettings())


def drawing(path: Path, points: list[tuple[float, float]], unit: int = 4, layer: str = "WALL", closed: bool = False) -> Path:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = unit
    document.modelspace().add_lwpolyline(points, close=closed, dxfattribs={"layer": layer})
    document.saveas(path)
    return path


def test_bow_of_a_parabola() -> None:
    check = check_wall(wall_alone(7.0))
    figures = {f.name: f for f in check.figures}
    assert figures["bow"].value == pytest.approx(7.0, abs=0.03)
    assert figures["swelling at the left end"].value == pytest.approx(0.0, abs=0.05)
    # taken over the same places the zone of a parabola is its sagitta; the bootstrap takes off what the noise adds
    assert minimum_zone(check.wall.distance_mm, check.deviation_mm).width_mm == pytest.approx(7.0, abs=0.03)
    assert check.largest_gap.value == pytest.approx(7.0, abs=2 * check.largest_gap.u)
    assert check.decision.verdict == "fails"
    assert sorted(round(p) for p in check.largest_at_mm) == [0, 2360]
    hollow = check_wall(wall_alone(-7.0))
    assert {f.name: f for f in hollow.figures}["bow"].value == pytest.approx(-7.0, abs=0.03)
    assert sorted(round(p) for p in hollow.touches_at_mm) == [0, 2360]


def test_scribe_and_gap_add_up_to_the_largest_gap() -> None:
    check = check_wall(wall_alone(5.0, 3.0))
    largest = float(check.gap_mm.max())
    assert np.allclose(check.gap_mm + check.scribe_mm, largest, atol=1e-9)
    assert check.gap_mm.min() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("bow_mm", "verdict"), [(0.0, "meets"), (1.5, "meets"), (3.2, "cannot tell"), (6.0, "fails")])
def test_verdicts(bow_mm: float, verdict: str) -> None:
    check = check_wall(wall_alone(bow_mm), limit_mm=25.4 / 8)
    assert check.decision.verdict == verdict
    assert bool(check.remedy) == (verdict == "cannot tell")
    assert verdict.split()[0] in headline(check).lower() or verdict in ("meets", "fails")


@pytest.mark.slow
def test_uncertainty_of_the_largest_gap_against_many_walls() -> None:
    """Walls of random bow and swelling, seen at noisy points and fitted as a profile: the stated intervals hold the true gap
    in 95 of 100 cases, and the value is not biased although it is a maximum of a smoothed curve."""
    rng = np.random.default_rng(4)
    x = np.linspace(30.0, 2370.0, 54)
    z = []
    for _ in range(40):
        bowed, swollen = rng.uniform(-8, 8), rng.uniform(0, 4)
        true = bowed * 4 * (x / 2400) * (1 - x / 2400) + swollen * np.clip(1 - x / 250, 0, 1) ** 2
        seen = np.column_stack([x, -(true + rng.normal(0, 0.2, x.size))])  # the room is at smaller y
        points = PlanePoints(
            "wall", "strip", seen[::-1], np.full(x.size, 40.0), np.tile(0.04 * np.eye(2), (x.size, 1, 1)),
            np.zeros((x.size, 2, 1)), np.full(x.size, 0.1), np.full(x.size, 4.0),
        )  # fmt: skip
        hint = EdgeHint("wall", "wall", "strip", "profile", targets=("W01",))
        shared = Influences(("nothing",), np.zeros((1, 1)), {"nothing": np.zeros((1, 1))})
        outline = build_outline([fit_segment(points, hint, EdgeSettings())], [], shared, OutlineSettings())
        found = check_wall(outline).largest_gap
        z.append((found.value - minimum_zone(x, true).width_mm) / found.u)
    # 40 trials: fewer than 35 inside has a chance of 1 in 100 at 95 %
    assert np.count_nonzero(np.abs(z) <= 2.0) >= 35
    assert abs(np.mean(z)) < 0.5


def test_between_two_sheets_only_the_usual_straightness_is_known() -> None:
    """An integrated random walk of spectral density q between two ties L apart: variance q L^3 / 48 in the middle, that of the
    chord's middle, 0.15^2 / 2, on top (Wahba 1978 with two data). Five points along a sheet's cut edge say nothing of it."""
    q, length = 10.0**-7.5, 1500.0
    u2 = wander_between(np.array([0.0, length]), np.array([length / 2]), q)[0, 0]
    assert u2 == pytest.approx(q * length**3 / 48 + 0.15**2 / 2, rel=1e-4)
    at = np.concatenate([np.linspace(0, 200, 5), np.linspace(1700, 1900, 5)])
    points = PlanePoints(
        "wall", "contact", np.column_stack([at[::-1], np.zeros(10)]), np.full(10, 1.0), np.tile(0.01 * np.eye(2), (10, 1, 1)),
        np.zeros((10, 2, 1)), np.full(10, 0.1), np.full(10, 4.0), correlation_mm=100.0,
    )  # fmt: skip
    hint = EdgeHint("wall", "wall", "contact", "profile", targets=("S01", "S02"))
    shared = Influences(("nothing",), np.zeros((1, 1)), {"nothing": np.zeros((1, 1))})
    check = check_wall(build_outline([fit_segment(points, hint, EdgeSettings())], [], shared, OutlineSettings()))
    x = check.wall.distance_mm
    assert np.array_equal(check.wall.seen, (x <= 200.1) | (x >= 1699.9))
    middle = check.deviation_u_mm[np.argmin(np.abs(x - 950))]
    assert middle > 0.5 * math.sqrt(q * length**3 / 192)  # tied in place and direction, less the line of best fit
    assert check.wall.by_sheets
    touched = np.sqrt(np.diag(check.wall.cov_mm2))[(x > 20.0) & (x < 180.0)]
    assert touched.max() < 0.25 < middle
    assert check.largest_gap.U > 0.5
    assert any("Between the sheets the wall was not seen" in text for text in check.findings)
    assert check.budget[0][0] == "wall not seen"


def test_square_to_another_wall() -> None:
    """The sample's left wall is turned by a known angle against its back wall."""
    outline = l_kitchen()
    check = check_wall(outline, "back", square_to="left")
    figures = {f.name: f for f in check.figures}
    back, left = wall_line(outline, "back"), wall_line(outline, "left")

    def heading(line: object) -> float:
        xy = line.points()  # type: ignore[attr-defined]
        d = np.linalg.svd(xy - xy.mean(axis=0))[2][0]  # total least squares, another way to the same direction
        return math.atan2(d[1], d[0])

    between = (heading(back) - heading(left)) % math.pi
    off = abs(math.degrees(between) - 90.0)
    assert abs(figures["angle"].value) == pytest.approx(off, abs=0.01)
    # the wall is not straight: its direction is a matter of what counts as the whole of it, and U says so
    assert "over 0 to" in figures["angle"].meaning
    inner = (back.distance_mm > 0.1 * back.distance_mm[-1]) & (back.distance_mm < 0.9 * back.distance_mm[-1])
    slopes = [np.polyfit(back.distance_mm[use], back.height_mm[use], 1)[0] for use in (inner, slice(None))]
    trimmed = abs(math.degrees(slopes[0] - slopes[1]))
    assert 0 < 2.0 / math.sqrt(3.0) * trimmed < figures["angle"].U
    span = back.distance_mm[-1]
    assert abs(figures["out of square"].value) == pytest.approx(math.tan(math.radians(off)) * span, abs=0.7)
    with pytest.raises(MeasureError, match="rather than across"):
        check_wall(outline, "back", square_to="front-long")
    with pytest.raises(InputError, match="itself"):
        check_wall(outline, "back", square_to="back")


def test_straight_line_of_a_dxf_gives_what_the_wall_departs_from_it(tmp_path: Path) -> None:
    outline = wall_alone(6.0)
    path = drawing(tmp_path / "run.dxf", [(100.0, 50.0), (2500.0, 50.0), (2500.0, 650.0), (100.0, 650.0)], closed=True)
    check = check_wall(outline, reference=read_dxf(path))
    assert check.fit_rms_mm == pytest.approx(6.0 * math.sqrt(4.0 / 45.0), rel=0.02)  # rms of a parabola about its mean
    assert check.largest_gap.value == pytest.approx(6.0, abs=2 * check.largest_gap.u + 0.05)
    assert check.decision.verdict == "fails"


def test_drawn_as_the_wall_is_there_is_no_gap(tmp_path: Path) -> None:
    outline = wall_alone(6.0, 4.0)
    wall = wall_line(outline, "wall")
    # the template: the same curve, turned by 30 degrees and shifted, as polyline in inches
    c, s = math.cos(-0.5), math.sin(-0.5)
    points = wall.points() @ np.array([[c, s], [-s, c]]) + np.array([3000.0, -700.0])
    path = drawing(tmp_path / "wall.dxf", [(x / 25.4, y / 25.4) for x, y in points], unit=1)
    check = check_wall(outline, reference=read_dxf(path))
    assert check.fit_rms_mm == pytest.approx(0.0, abs=0.03)
    assert check.decision.verdict == "meets"


def test_a_drawing_is_not_turned_until_a_hollow_passes_for_a_bulge(tmp_path: Path) -> None:
    """A half turn makes one of the other; only the side of the room tells them apart."""
    outline = wall_alone(6.0)
    wall = wall_line(outline, "wall")
    hollow = wall.origin_mm + np.outer(wall.distance_mm, wall.along) - np.outer(wall.height_mm, wall.into_room)
    for points in (hollow, hollow[::-1]):
        open_line = check_wall(outline, reference=read_dxf(drawing(tmp_path / "a.dxf", [tuple(p) for p in points])))
        assert open_line.largest_gap.value == pytest.approx(12.0, abs=0.5)
        depth = 600.0 * wall.into_room
        box = [*points, points[-1] + depth, points[0] + depth]
        c, s = math.cos(0.6), math.sin(0.6)
        turned = [(c * float(x) - s * float(y), s * float(x) + c * float(y)) for x, y in box]
        closed = check_wall(outline, reference=read_dxf(drawing(tmp_path / "b.dxf", turned, closed=True)))
        assert closed.largest_gap.value == pytest.approx(12.0, abs=0.5)
        assert any("long enough" in text for text in closed.findings)  # its front is as long


def test_freedoms(tmp_path: Path) -> None:
    outline = wall_alone(0.0)
    wall = wall_line(outline, "wall")
    a, b = wall.points()[[0, -1]]
    n = wall.into_room
    path = drawing(tmp_path / "off.dxf", [tuple(a - 4.0 * n), tuple(b - 9.0 * n)])  # drawn 4 and 9 mm behind the wall
    reference = read_dxf(path)
    as_drawn = check_wall(outline, reference=reference, freedom="none")
    assert as_drawn.deviation_mm[0] == pytest.approx(4.0, abs=0.01)
    assert as_drawn.deviation_mm[-1] == pytest.approx(9.0, abs=0.01)
    assert as_drawn.largest_gap.value == pytest.approx(0.0, abs=0.2)  # it would not go in, but it leaves no gap
    shifted = check_wall(outline, reference=reference, freedom="shift")
    assert shifted.largest_gap.value == pytest.approx(5.0, abs=2 * shifted.largest_gap.u + 0.05)
    turned = check_wall(outline, reference=reference, freedom="turn")
    assert turned.largest_gap.value == pytest.approx(0.0, abs=2 * turned.largest_gap.u + 0.1)
    with pytest.raises(InputError, match="none, shift or turn"):
        check_wall(outline, reference=reference, freedom="anyhow")  # type: ignore[arg-type]


def test_wrong_unit_and_wrong_room_are_said(tmp_path: Path) -> None:
    outline = wall_alone(3.0)
    inches_called_mm = drawing(tmp_path / "a.dxf", [(0.0, 0.0), (96.0, 0.0), (96.0, 25.0)], unit=4)
    with pytest.raises(MeasureError, match="drawn in inches"):
        check_wall(outline, reference=read_dxf(inches_called_mm))
    other_room = drawing(tmp_path / "b.dxf", [(x, 120.0 * math.sin(x / 400.0)) for x in np.linspace(0, 3000, 80)], unit=4)
    with pytest.raises(MeasureError, match="another room"):
        check_wall(outline, reference=read_dxf(other_room))
    short = drawing(tmp_path / "c.dxf", [(0.0, 0.0), (610.0, 0.0)], unit=4)
    with pytest.raises(MeasureError, match="does not fit"):
        check_wall(outline, reference=read_dxf(short))


def test_a_line_that_stands_alone_is_read_as_a_plan_is_drawn(tmp_path: Path) -> None:
    """Wall above, room below, whatever way the measured plan happens to lie; and it is said that this was assumed."""
    outline = wall_alone(6.0)
    wall = wall_line(outline, "wall")
    left = wall.distance_mm if wall.corner == "left" else wall.distance_mm[-1] - wall.distance_mm
    as_read = np.column_stack([left, -wall.height_mm])  # from the left, into the room is down the sheet
    for turn in (0.0, 2.0 * math.pi / 9.0):
        c, s = math.cos(turn), math.sin(turn)
        points = [(c * x - s * y, s * x + c * y) for x, y in as_read]
        check = check_wall(outline, reference=read_dxf(drawing(tmp_path / "a.dxf", points)))
        assert check.fit_rms_mm == pytest.approx(0.0, abs=0.03)
        assert any("below the line" in text for text in check.findings)
    upside_down = [(x, -y) for x, y in as_read]
    check = check_wall(outline, reference=read_dxf(drawing(tmp_path / "b.dxf", upside_down)))
    assert check.largest_gap.value == pytest.approx(12.0, abs=0.5)


def test_a_drawing_far_too_large_is_in_another_unit(tmp_path: Path) -> None:
    """2400 mm called inches: a line of 61 m, of which any stretch would fit."""
    path = drawing(tmp_path / "a.dxf", [(0.0, 0.0), (2400.0, 0.0)], unit=1)
    with pytest.raises(MeasureError, match="61 m long"):
        check_wall(wall_alone(3.0), reference=read_dxf(path))


def test_a_wall_claimed_to_be_straight_is_not_judged_straight() -> None:
    """A fitted line has no gap by construction; to report one would be a number about nothing."""
    outline = wall_alone(6.0)
    line = segment("wall", "wall", [2400.0, 0.0], [0.0, 0.0], gaps=())
    with pytest.raises(MeasureError, match="profile"):
        check_wall(build_outline([line], [], outline.influences, OutlineSettings()))


def test_files_that_cannot_be_compared_with(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file"):
        read_dxf(tmp_path / "none.dxf")
    (tmp_path / "bad.dxf").write_text("not a drawing")
    with pytest.raises(InputError, match="cannot be read"):
        read_dxf(tmp_path / "bad.dxf")
    unitless = drawing(tmp_path / "unit.dxf", [(0, 0), (1, 0)], unit=0)
    with pytest.raises(InputError, match="--unit"):
        read_dxf(unitless)
    with pytest.raises(InputError, match="no lines"):
        read_dxf(drawing(tmp_path / "layer.dxf", [(0, 0), (900, 0)]), layer="ELSE")
    with pytest.raises(InputError, match="says that it is drawn in"):
        read_dxf(drawing(tmp_path / "two.dxf", [(0, 0), (900, 0)]), unit="in")


def test_exploded_lines_are_chained_and_split_at_corners() -> None:
    """A rectangle of single lines in any order and sense: four runs."""
    p = [np.array([[0.0, 0], [900, 0]]), np.array([[900.0, 600], [900, 0]]), np.array([[0.0, 600], [900, 600]])]
    p += [np.array([[0.0, 0], [0, 300]]), np.array([[0.0, 600], [0, 300]])]
    runs = split_runs(p)
    assert [round(r.length_mm) for r in runs] == [900, 900, 600, 600]
    assert len({r.room for r in runs}) == 1


def test_earlier_job_brings_its_own_uncertainty() -> None:
    outline = wall_alone(4.0, 2.0)
    same = check_wall(outline, reference=of_outline(outline, "wall", "last week"))
    assert same.fit_rms_mm == pytest.approx(0.0, abs=0.02)
    assert any("last week" in cause for cause, _ in same.budget)
    alone = check_wall(outline)
    assert float(np.median(same.deviation_u_mm)) > float(np.median(alone.deviation_u_mm))
    with pytest.raises(InputError, match="no edge"):
        of_outline(outline, "front", "last week")


def test_stretch_and_names() -> None:
    outline = wall_alone(8.0)
    part = check_wall(outline, stretch_mm=(900.0, 1500.0))
    assert part.largest_gap.value == pytest.approx(8.0 * (600.0 / 2360.0) ** 2, abs=0.15)  # sagitta goes with the square
    with pytest.raises(InputError, match="hardly anything"):
        check_wall(outline, stretch_mm=(5000.0, 6000.0))
    with pytest.raises(InputError, match="several walls"):
        check_wall(l_kitchen())
    with pytest.raises(InputError, match="no edge"):
        check_wall(outline, "wal")


def test_files(tmp_path: Path) -> None:
    """GDAL finds the wall at true size on its layer; the table is what a person with a pencil needs."""
    outline = wall_alone(6.0)
    check = check_wall(outline, job="doubt")
    written = write_wall_check(check, tmp_path, unit="mm")
    meta, _, geometry, fields = gdal_read(written["dxf"])
    layers = fields[list(meta["fields"]).index("Layer")]
    lines = [shapely.from_wkb(g) for g, layer in zip(geometry, layers, strict=True) if layer == "FOUND-EDGES"]
    xy = np.asarray(lines[0].coords)[:, :2]
    assert len(lines) == 1
    assert np.ptp(xy[:, 0]) == pytest.approx(check.wall.distance_mm[-1], abs=1e-6)
    assert minimum_zone(xy[:, 0], xy[:, 1]).width_mm == pytest.approx(6.0, abs=0.03)
    rows = list(csv.DictReader(written["csv"].open(encoding="utf-8", newline="")))
    assert float(rows[0]["from_corner_mm"]) == 0.0
    assert max(float(r["gap_mm"]) for r in rows) == pytest.approx(float(check.gap_mm.max()), abs=0.01)
    for row in rows:
        assert float(row["gap_mm"]) + float(row["scribe_mm"]) == pytest.approx(float(check.gap_mm.max()), abs=0.011)
    page = written["page"].read_text(encoding="utf-8")
    assert "times enlarged" in page
    assert headline(check).split(":")[0] in page
    assert [r[3] for r in gap_rows(check, "in")][1] == "50.8"
