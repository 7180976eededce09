"""Both propagations of an edge's length, where they must agree and where they must not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from phototemplate.model import EdgeKind, Influences, Segment, ShapeKind
from phototemplate.settings import OutlineSettings
from phototemplate.studies.monte_carlo import IntervalCheck, check_lengths, findings
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.template.quantities import State


def edge(name: str, a: tuple[float, float], b: tuple[float, float], u: float, shape: ShapeKind = "line") -> Segment:
    chord = np.array([a, b], float)
    length = float(np.linalg.norm(chord[1] - chord[0]))
    knots = length * (np.array([0.0, 1.0]) if shape == "line" else np.array([0.0, 0.3, 0.6, 1.0]))
    m = knots.size
    kind: EdgeKind = "front"
    return Segment(
        name, kind, shape, chord, knots, np.zeros(m), u**2 * np.eye(m), 0.2 * np.ones((m, 1)), np.zeros(2), chord,
        (0.0, 0.0, 0.0),
    )  # fmt: skip


def check(segments: list[Segment]) -> dict[str, IntervalCheck]:
    influences = Influences(("shift",), np.eye(1), {"shift": np.eye(1)})
    outline = build_outline(segments, [LoopEdges("l", tuple(s.edge_id for s in segments))], influences, OutlineSettings())
    state = State(outline)
    found = {c.edge_id: c for c in check_lengths(outline)}
    for c in found.values():
        start, end = state.stretch(c.edge_id)
        length = (end - start).norm()
        assert c.value_mm == pytest.approx(length.value, abs=1e-6)
        # the outline's own gradients (dual numbers) against the implicit ones here
        assert c.U_mm == pytest.approx(2 * state.u_of(length), rel=1e-6)
    return found


def test_square_corners_are_linear() -> None:
    sides = [
        edge("south", (0, 0), (2000, 0), 0.3), edge("east", (2000, 0), (2000, 600), 0.3),
        edge("north", (2000, 600), (0, 600), 0.3, "profile"), edge("west", (0, 600), (0, 0), 0.3),
    ]  # fmt: skip
    found = check(sides)
    assert len(found) == 4
    for c in found.values():
        assert c.agrees
        assert c.monte_carlo.u == pytest.approx(c.U_mm / 2, rel=0.03)
    assert findings(tuple(found.values())) == ()


def test_flat_and_badly_known_corner_is_not() -> None:
    """Two edges that meet at 17 degrees and are known to 3: the corner runs away to one side."""
    t = math.tan(math.radians(17.0))
    sides = [
        edge("base", (0, 0), (300, 0), 14.0), edge("flat", (1000, -700 * t), (300, 0), 14.0),
        edge("back", (1000, -700 * t), (1000, 900), 0.3), edge("top", (1000, 900), (0, 900), 0.3),
        edge("side", (0, 900), (0, 0), 0.3),
    ]  # fmt: skip
    found = check(sides)
    assert not found["base"].agrees
    assert {f.code for f in findings(tuple(found.values()))} == {"interval-not-normal"}
