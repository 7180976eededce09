"""The lean of a wall that leans by a known amount."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phototemplate.capture import design
from phototemplate.edges.fit import fit_segment
from phototemplate.model import EdgeHint, FreePoint, Influences, Measurement, Network, PlanePoints, WorkPlane
from phototemplate.settings import EdgeSettings, OutlineSettings, Settings
from phototemplate.studies.plumb import lean
from phototemplate.template.outline import build_outline

NOTHING = Influences((), np.zeros((0, 0)), {})
LEAN_MM_PER_M = 6.0
PLACES_MM = {"W01a": (300.0, 40.0), "W01b": (1500.0, 40.0), "W02a": (300.0, 440.0), "W02b": (1500.0, 440.0)}
"""Piece of strip -> its middle along the wall and its height over the cabinets"""


def leaning_wall() -> Measurement:
    """A straight wall along x with the room at -y, two rows of strips 400 mm apart."""
    targets = {name: design.target(name) for name in PLACES_MM}
    points = []
    for name, (x, z) in PLACES_MM.items():
        for k, p in enumerate(targets[name].points_mm):
            at = np.array([x + p[0], -LEAN_MM_PER_M * (z + p[1]) / 1000.0, z + p[1]])
            points.append(FreePoint(name, k, at, np.eye(3) * 0.05**2, np.zeros((3, 0)), 4))
    network = Network({}, {}, {}, tuple(points), targets, NOTHING, (), (), True, 1.0, 1.0)
    plane = WorkPlane(np.eye(3), np.zeros(3), np.zeros((6, 0)), NOTHING, ())
    low = np.array([p.xyz_mm for p in points if p.target_id.startswith("W01")])
    n = len(low)
    noise = np.tile(np.eye(2) * 0.05**2, (n, 1, 1))
    seen = PlanePoints(
        "wall", "strip", low[:, :2], low[:, 2], noise, np.zeros((n, 2, 0)), np.full(n, 0.1), np.full(n, 4)
    )
    hint = EdgeHint("wall", "wall", "strip", "profile", targets=("W01a", "W01b"))
    outline = build_outline([fit_segment(seen, hint, EdgeSettings(), NOTHING)], [], NOTHING, OutlineSettings())
    return Measurement("leaning wall", (), {}, network, plane, (), outline, ())


def test_lean_is_found_and_knows_how_strips_stand_off() -> None:
    m = leaning_wall()
    found = lean(m, "wall")
    assert found is not None
    assert abs(found.mm_per_m) == pytest.approx(LEAN_MM_PER_M, abs=0.3)
    # Two rows 0.4 m apart, two pieces in each, every piece off by u: the difference of the rows' means is known to u.
    loose = m.settings.edges.model_copy(update={"strip_standoff_u_mm": 1.0, "strip_bulge_u_mm": 0.0})
    wide = lean(replace(m, settings=Settings(edges=loose)), "wall")
    assert wide is not None
    assert wide.u_mm_per_m == pytest.approx(1.0 / 0.4, rel=0.05)
    assert found.u_mm_per_m < 0.4 * wide.u_mm_per_m


def test_one_row_says_nothing_of_a_lean() -> None:
    assert lean(leaning_wall(), "wall", ("W01a", "W01b")) is None
