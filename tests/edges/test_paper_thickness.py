"""What lies under the sheets: found from the heights of edges on a known board, contradicted where it was given wrong."""

from __future__ import annotations

import numpy as np
import pytest

from phototemplate.edges.paper_thickness import UNKNOWN, Thickness, contradiction, found_thickness, settled_thickness, widened
from phototemplate.job import parse_job
from phototemplate.model import PlanePoints
from phototemplate.stage_inputs import given_thickness, paper_terms, thickness_of


def edges(assumed_mm: float, true_mm: float, seed: int, count: int = 5) -> list[PlanePoints]:
    """Edges flush within 0.35 mm and seen up to 0.35 mm below their tops, traced on the plane of a wrong thickness."""
    rng = np.random.default_rng(seed)
    below = rng.uniform(0.0, 0.35)
    none = np.zeros((0, 2))
    return [
        PlanePoints("e", "trace", none, np.zeros(0), np.zeros((0, 2, 2)), np.zeros((0, 2, 0)), np.zeros(0), np.zeros(0),
                    rise_mm=float(assumed_mm - true_mm - below + rng.normal(0.0, 0.35)))
        for _ in range(count)
    ]  # fmt: skip


def test_found_thickness_covers_the_true_one() -> None:
    """Rectangular from 0.1 to 4 mm, as the prior says: at least 93 % of 400 draws inside U, and U of use (below 1.2 mm)."""
    rng = np.random.default_rng(5)
    inside, widths = [], []
    for seed in range(400):
        true = rng.uniform(0.1, 4.0)
        found = found_thickness(edges(UNKNOWN.mm, true, seed), UNKNOWN)
        assert found is not None
        inside.append(abs(found.mm - true) <= 2.0 * found.u_mm)
        widths.append(2.0 * found.u_mm)
    assert np.mean(inside) > 0.93
    assert np.median(widths) < 1.2


def test_one_door_among_the_edges_does_not_carry_the_thickness_away() -> None:
    some = edges(UNKNOWN.mm, 1.5, 3)
    door = edges(UNKNOWN.mm, 13.5, 4, 1)
    found = found_thickness([*some, *door], UNKNOWN)
    assert found is not None
    assert found.mm == pytest.approx(1.5, abs=2.0 * found.u_mm)


def test_a_wrong_thickness_is_contradicted_with_both_values_and_u_reaches_the_other() -> None:
    given = Thickness(0.1, 0.05)
    (finding,) = contradiction(given, found_thickness(edges(0.1, 1.5, 1), given))
    assert finding.facts["given_mm"] == 0.1
    assert finding.facts["found_mm"] == pytest.approx(1.5, abs=0.5)
    wide = widened(given, (finding,))
    assert given.mm + 2.0 * wide.u_mm >= float(str(finding.facts["found_mm"])) - 1e-9
    assert not contradiction(Thickness(1.5, 0.05), found_thickness(edges(1.5, 1.5, 1), Thickness(1.5, 0.05)))


def test_unsaid_means_unknown_and_wide() -> None:
    unsaid, cabinet = parse_job(b"format = 1\n"), parse_job(b'format = 1\n[paper]\nlies_on = "cabinet"\n')
    assert given_thickness(unsaid) == UNKNOWN
    assert given_thickness(cabinet).mm == 0.1
    assert given_thickness(parse_job(b"format = 1\n[paper]\nthickness_mm = 1.9\n")).mm == 1.9
    assert paper_terms(unsaid, ["S01"], UNKNOWN)[0].u_mm > 1.0
    assert thickness_of(unsaid, UNKNOWN)["S01"] == UNKNOWN.mm
    kept, (finding,) = settled_thickness(UNKNOWN, lambda: [])
    assert kept == UNKNOWN
    assert finding.code == "thickness-unknown"
