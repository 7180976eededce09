"""Where a surface ends, and which of the lines of a place is the edge, on maps made by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from phototemplate.edges.line_map.constants import ACROSS_MM
from phototemplate.edges.line_map.local_map import LocalMap, MappedLine
from phototemplate.edges.line_map.space_lines import SpaceLine
from phototemplate.edges.line_map.surface_end import SurfaceTest, change_point
from phototemplate.edges.readings.choice import choose
from phototemplate.edges.readings.decide import decide
from phototemplate.edges.tracing.hint_path import Path
from phototemplate.model import Array, EdgeHint, LineName
from phototemplate.settings import EdgeSettings

STATIONS = Path.through(np.array([[0.0, 0.0], [500.0, 0.0]]), "line").stations(5.0)
PHOTOS = ("a", "b", "c", "d", "e")


def profile(end_mm: float, inside: float = -0.5, outside: float = 6.0, scatter: float = 0.5) -> Array:
    """Disagreement of photos that agree up to ``end_mm`` and part beyond it."""
    noise = scatter * np.random.default_rng(3).standard_normal(len(ACROSS_MM))
    return np.asarray(np.where(end_mm < ACROSS_MM, outside, inside) + noise)


@pytest.mark.parametrize("inside", [-3.0, 0.0, 2.0])
def test_a_surface_ends_where_photos_part_whatever_their_level(inside: float) -> None:
    here = change_point(profile(0.5, inside, inside + 5.0))
    assert here[0] > 1.0 > here[2]
    for away_mm in (-5.0, 5.0):
        ends, begins, goes_on = change_point(profile(away_mm, inside, inside + 5.0))
        assert ends < -3.0
        assert begins < -3.0
        assert goes_on > 0.0


def test_a_surface_that_begins_is_told_from_one_that_ends() -> None:
    ends, begins, _ = change_point(profile(0.0, 6.0, -0.5))
    assert begins > 1.0
    assert ends < -3.0


def test_what_was_not_seen_says_nothing() -> None:
    assert change_point(np.full(len(ACROSS_MM), np.nan)) == (0.0, 0.0, 0.0)


def line(offset_mm: float, rise_mm: float = 0.0, end_mm: float = 0.0, own: float = 1.0, **looks: float) -> MappedLine:
    """A sharp line that all photos show along all of its length, with the surface's end at ``end_mm`` beside the path."""
    flat = np.ones(len(STATIONS))
    seen = {"support": 0.98, "evidence": 0.8, "misfit": 0.4} | looks
    one = SpaceLine(
        offset_mm * flat, rise_mm * flat, rise_mm, 0.1, seen["support"], seen["evidence"], len(PHOTOS),
        dict.fromkeys(PHOTOS, 0.9), PHOTOS, seen["misfit"],
    )
    tested = profile(end_mm - offset_mm + 0.5)
    return MappedLine(one, SurfaceTest(*change_point(tested), 1.0, tested, len(PHOTOS)), own)


def mapped(*lines: MappedLine, level_u_mm: float = 0.5) -> LocalMap:
    """A map of lines with the room to the left."""
    bands = [SimpleNamespace(lean=np.full(len(STATIONS), lean)) for lean in (-0.5, 0.0, 0.4, 0.8, 1.1)]
    levels: Any = SimpleNamespace(u_mm=np.array([level_u_mm]))
    return LocalMap(STATIONS, levels, 1.0, list(lines), cast(Any, bands), [], np.zeros(2), np.zeros(len(STATIONS)))


def choice(*lines: MappedLine, level_u_mm: float = 0.5, height_limit_mm: float = 5.0) -> tuple[float, float]:
    """Offset and probability of the edge."""
    decision = decide(mapped(*lines, level_u_mm=level_u_mm), 6.0, height_limit_mm)
    assert decision is not None
    assert decision.none + sum(j.probability for j in decision.judged) == pytest.approx(1.0)
    return decision.chosen.mapped.line.middle_mm, decision.chosen.probability


def test_a_joint_behind_the_edge_is_no_doubt() -> None:
    offset, probability = choice(line(-4.0), line(0.0))
    assert offset == 0.0
    assert probability > 0.98


def test_the_rim_of_a_door_below_is_no_doubt() -> None:
    offset, probability = choice(line(0.0), line(3.0, rise_mm=-12.0))
    assert offset == 0.0
    assert probability > 0.98


@pytest.mark.parametrize(("inner_mm", "edge_mm"), [(2.0, 0.0), (0.5, 19.0)])
def test_a_door_before_the_box_is_lower_than_it_and_a_face_frame_flush_with_it(inner_mm: float, edge_mm: float) -> None:
    """Two lines 19 mm apart, both sharp and both at an end of the surface: doors without a frame are hung 2 to 3 mm below the
    box's edge, frames are flush with it; how high the top itself lies is known to 1.2 mm only."""
    local = mapped(line(0.0, rise_mm=0.0), line(19.0, rise_mm=-inner_mm, end_mm=19.0), level_u_mm=1.2)
    decision = decide(local, 100.0, 5.0, 0.5)
    assert decision is not None
    assert decision.chosen.mapped.line.middle_mm == edge_mm
    assert decision.chosen.probability > 0.9


def test_a_line_drawn_through_the_steps_of_others_is_no_doubt() -> None:
    offset, probability = choice(line(0.0), line(0.9, rise_mm=1.0, own=0.03, misfit=1.7))
    assert offset == 0.0
    assert probability > 0.98


def test_two_sharp_level_lines_at_the_end_of_the_surface_are_a_doubt_or_the_outer_one_is_taken() -> None:
    offset, probability = choice(line(-0.6, end_mm=0.0), line(0.6, end_mm=0.0))
    assert offset == 0.6 or probability < 0.98


def test_what_is_far_off_the_level_is_never_the_edge() -> None:
    offset, _ = choice(line(0.0, evidence=0.3, misfit=1.5), line(2.0, rise_mm=11.0), level_u_mm=0.5)
    assert offset == 0.0


@pytest.mark.parametrize(("name", "offset_mm", "rise_mm"), [
    (None, 0.0, 0.0), ("box", 0.0, 0.0), ("outer", 19.0, -12.0), ("door", 19.0, -12.0), ("inner", -4.0, 0.0),
])
def test_a_line_is_taken_by_its_name(name: LineName | None, offset_mm: float, rise_mm: float) -> None:
    """A box with a joint 4 mm behind its edge and a door 19 mm before it and 12 mm lower; both are named."""
    here = mapped(line(-4.0), line(0.0), line(19.0, rise_mm=-12.0))
    taken = choose(here, EdgeHint("e", "front", search_mm=12.0, line=name), EdgeSettings())
    assert taken is not None
    assert (taken.line.middle_mm, taken.line.rise_mm) == (offset_mm, rise_mm)
    assert not taken.findings
    if name is None:
        assert {(c.offset_mm, c.reading) for c in taken.candidates} == {(-4.0, "joint"), (19.0, "face")}


def test_a_line_that_is_not_there_is_not_replaced_by_another() -> None:
    assert choose(mapped(line(-4.0), line(0.0)), EdgeHint("e", "front", line="outer"), EdgeSettings()) is None
    assert choose(mapped(line(-4.0), line(0.0)), EdgeHint("e", "front", line="door"), EdgeSettings()) is None


@pytest.mark.parametrize(("offset_mm", "rise_mm"), [(-19.0, -2.2), (6.0, -12.0), (29.0, -2.2), (19.0, 3.0)])
def test_what_lies_behind_the_box_or_above_it_or_elsewhere_before_it_is_no_door(offset_mm: float, rise_mm: float) -> None:
    here = mapped(line(0.0), line(offset_mm, rise_mm=rise_mm))
    assert choose(here, EdgeHint("e", "front", search_mm=12.0, line="door"), EdgeSettings()) is None


def test_steps_of_several_lines_are_no_door() -> None:
    here = mapped(line(0.0), line(19.0, rise_mm=-12.9, support=0.95, evidence=0.66, misfit=2.48))
    assert choose(here, EdgeHint("e", "front", search_mm=12.0, line="door"), EdgeSettings()) is None


def test_of_two_lines_that_may_be_the_door_one_is_taken_with_a_doubt_that_covers_the_other() -> None:
    here = mapped(line(0.0), line(18.0, rise_mm=-2.2), line(20.5, rise_mm=-2.2))
    taken = choose(here, EdgeHint("e", "front", search_mm=12.0, line="door"), EdgeSettings())
    assert taken is not None
    assert [f.code for f in taken.findings] == ["edge-door-unclear"]
    assert 2 * taken.u_mm >= 2.5


def test_a_doubt_names_the_line_that_takes_the_other() -> None:
    """Two equal lines at the end of the surface: what ``line`` then says leads to the one that was not taken."""
    here = mapped(line(-0.6, end_mm=0.0, support=0.9), line(0.6, end_mm=0.0, support=0.9))
    first = choose(here, EdgeHint("e", "front"), EdgeSettings())
    assert first is not None
    assert first.findings
    for finding in first.findings:
        other = choose(here, EdgeHint("e", "front", line=finding.facts["line"]), EdgeSettings())  # type: ignore[arg-type]
        assert other is not None
        assert other.line.middle_mm == -first.line.middle_mm
