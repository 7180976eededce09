"""Proposals without hints: on exact pictures of two cabinets, and from contact sheets and strips alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phototemplate.edges.propose import propose_edges
from phototemplate.model import GrayImage, Target
from phototemplate.settings import EdgeSettings
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
