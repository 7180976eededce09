"""Proposals without hints: on exact pictures of two cabinets, and from contact sheets and strips alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from phototemplate.edges.proposals.confirmation import FoundLine, Second
from phototemplate.edges.proposals.line_candidates import candidates
from phototemplate.edges.proposals.propose import ProposedEdge, _run_on, propose_edges
from phototemplate.model import EdgeHint, GrayImage, Target
from phototemplate.settings import EdgeSettings
from tests.bench.proposals import judge
from tests.edges.box_scene import LENGTH_MM, SIZE_PX, kitchen
from tests.edges.test_sources import sheets, strip
from tests.edges.test_trace import flat


def blank(photo_id: str) -> GrayImage:
    """A photo that shows nothing."""
    return np.full((SIZE_PX[1], SIZE_PX[0]), 128, dtype=np.uint8)


def test_front_is_proposed_door_and_joint_are_not() -> None:
    scene = flat()
    network = scene.network()
    proposals = propose_edges(scene.gray, network, scene.plane(network, ()), EdgeSettings())
    lines = [np.asarray(p.hint.path) for p in proposals]
    fronts = [x for x in lines if abs(x[1, 1] - x[0, 1]) < 20]
    assert any(np.abs(x[:, 1]).max() < 1.5 and np.ptp(x[:, 0]) > 0.7 * LENGTH_MM for x in fronts)
    assert not any(np.abs(x[:, 1] - 19.0).max() < 4 or np.abs(x[:, 1] + 19.0).max() < 12 for x in fronts)
    assert all(p.hint.edge_id and 0 < p.confidence <= 1 for p in proposals)
    assert len({p.hint.edge_id for p in proposals}) == len(proposals)


def found_line(x0: float, x1: float, y: float = 0.0) -> FoundLine:
    judged: Any = None
    return FoundLine(np.array([[x0, y], [x1, y]]), judged, 0.97, Second("joint"))


def test_a_front_runs_on_over_a_dishwasher_and_ends_at_a_range() -> None:
    """24 in (610 mm) are those of appliances under the top, 30 in (762 mm) those of ranges at which it ends."""
    over, = _run_on([found_line(0.0, 900.0), found_line(1510.0, 1900.0, 1.0)])
    assert over.length_mm == pytest.approx(1900.0, abs=1.0)
    assert over.probability < 0.9
    assert over.second.gap_mm == pytest.approx(610.0, abs=1.0)
    assert len(_run_on([found_line(0.0, 900.0), found_line(1662.0, 2100.0, 1.0)])) == 2


def test_the_doors_of_the_next_cabinet_say_how_far_a_front_goes_and_not_where() -> None:
    one, = _run_on([found_line(0.0, 900.0), found_line(905.0, 1300.0, -19.0)])
    assert one.length_mm == pytest.approx(1300.0)
    assert np.abs(one.ends_mm[:, 1]).max() == 0.0


def test_contact_sheets_in_a_row_are_one_edge() -> None:
    network = sheets((0.0, 0.0, 0.0))
    proposals = propose_edges(blank, network, kitchen().plane(network, ()), EdgeSettings())
    contact = [p.hint for p in proposals if p.hint.source == "contact"]
    assert [h.targets for h in contact] == [("S01", "S02", "S03")]


def test_strips_of_one_wall_are_one_profile() -> None:
    network = strip()
    names = sorted({p.target_id for p in network.points})
    network = replace(network, targets={n: Target(n, "strip", np.zeros((6, 3)), False) for n in names})
    proposals = propose_edges(blank, network, kitchen().plane(network, ()), EdgeSettings())
    walls = [p.hint for p in proposals if p.hint.source == "strip"]
    assert len(walls) == 1
    assert walls[0].shape == "profile"
    assert set(walls[0].targets) == set(names)


def test_candidates_of_lines_a_few_degrees_apart_are_each_a_pile_of_their_own() -> None:
    """Segments of two fronts that are 3 degrees out of parallel, and as many strewn at random."""
    rng = np.random.default_rng(4)
    true, lines = [], []
    for turn, at in ((0.0, (0.0, 0.0)), (np.radians(3.0), (200.0, 900.0))):
        along = np.array([np.cos(turn), np.sin(turn)])
        true.append(np.array([at, at + 1200.0 * along]))
        for _ in range(12):
            begin, length = rng.uniform(0.0, 900.0), rng.uniform(100.0, 300.0)
            lines.append(at + np.array([[begin], [begin + length]]) * along + rng.normal(0, 0.7, (2, 2)))
    for _ in range(24):
        place, turn = rng.uniform(-500, 1700, 2), rng.uniform(0, np.pi)
        lines.append(place + np.array([[0.0], [150.0]]) * np.array([np.cos(turn), np.sin(turn)]))
    found = candidates(np.array(lines))
    for line in true:
        step = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
        off = [np.abs((c - line[0]) @ np.array([-step[1], step[0]])).max() for c in found]
        reach = [np.ptp((c - line[0]) @ step) for c in found]
        assert any(o < 6.0 and r > 800.0 for o, r in zip(off, reach, strict=True))
    assert len(found) < 12


def test_bench_judges_found_false_double_and_short() -> None:
    """The front proposed once is found, twice is a double, in part short; a line 20 mm behind it is false."""
    network = sheets((0.0, 0.0, 0.0))
    plane = kitchen().plane(network, ())
    centres = {t: network.bodies[t].translation_mm.tolist() for t in network.bodies}
    truth = {
        "name": "one front", "sheets": [{"id": t, "center_mm": c} for t, c in centres.items()],
        "edges": [{"id": "front", "kind": "front", "points_mm": [[0.0, 0.0, 0.0], [800.0, 0.0, 0.0]]}],
    }

    def at(x0: float, x1: float, y: float) -> ProposedEdge:
        return ProposedEdge(EdgeHint("e", "end", path=np.array([[x0, y], [x1, y]])), 0.9)

    network = replace(network, scale_known=True)
    outcome = judge((at(10, 790, 1.0), at(50, 780, -1.0), at(20, 780, 20.0)), network, plane, truth)
    assert list(outcome.found) == ["front"]
    assert (len(outcome.doubles), len(outcome.false), len(outcome.short)) == (1, 1, 0)
    assert outcome.other_kind == ["front (end)"]
    outcome = judge((at(100, 400, 0.0), at(500, 1600, 0.0)), network, plane, truth)
    assert (outcome.missed, len(outcome.short), len(outcome.false)) == (["front"], 1, 1)
