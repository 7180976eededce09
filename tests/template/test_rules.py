"""Limits of the trade and what they are worth. Published figures are named beside each check."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from phototemplate.model import HeightPoint
from phototemplate.template.level import flatness_checks, shim_list
from phototemplate.template.pieces import build_template
from phototemplate.template.rules import (
    CAUTIONS,
    DENSITIES,
    density_kg_m3,
    island_receptacles,
    span_limit_mm,
    team_for,
    unsupported_limit_mm,
    wall_receptacles,
)
from phototemplate.template.spec import MaterialSpec, TemplateSpec
from phototemplate.wording import say
from tests.template.samples import rectangle

INCH = 25.4


@pytest.mark.parametrize(("thickness", "depth_in", "limit_in"), [
    # Dimension Stone Design Manual as restated: 6 in at 2 cm, 10 in at 3 cm, never more than a third of the depth
    (30, 25.5, 8.5), (30, 36, 10), (20, 25.5, 6), (20, 15, 5), (12, 25.5, 0), (31.75, 60, 10), (25, 60, 6),
])
def test_unsupported_overhang(thickness: float, depth_in: float, limit_in: float) -> None:
    assert unsupported_limit_mm(thickness, depth_in * INCH) == pytest.approx(limit_in * INCH)


def test_span_between_supports() -> None:
    """Same source: 2 ft at 2 cm, 3 ft at 3 cm."""
    assert span_limit_mm(20) == pytest.approx(24 * INCH)
    assert span_limit_mm(30) == pytest.approx(36 * INCH)


def test_weight_of_a_worked_example() -> None:
    """3 cm granite of 2,700 kg/m3, 3048 x 648 mm: 1.975 m2, 160.0 kg = 352.7 lb (arithmetic)."""
    spec = TemplateSpec.model_validate({
        "pieces": [{"id": "top", "loop": "run", "edges": {e: {"overhang": 0} for e in ("front", "right", "back", "left")}}],
        "shop": {"material": {"density_kg_m3": 2700}},
    })
    (piece,) = build_template(rectangle(3048.0, 648.0), spec).pieces
    assert piece.area.value * 1e-6 == pytest.approx(1.975, abs=5e-4)
    assert piece.weight_kg == pytest.approx(160.0, abs=0.05)
    assert piece.weight_kg / 0.45359237 == pytest.approx(352.7, abs=0.1)


def test_densities_are_on_the_heavy_side() -> None:
    """ASTM C615 granite at least 2,560 kg/m3; ASTM C503 marble (calcite) at least 2,590."""
    assert DENSITIES["granite"].kg_m3 >= 2560
    assert DENSITIES["marble"].kg_m3 >= 2590
    assert density_kg_m3(MaterialSpec(density_kg_m3=2345)) == 2345
    # 2 cm at the minimum of C615: 51.2 kg/m2
    assert pytest.approx(51.2) == 2560 * 0.02


def test_no_carry_is_called_safe() -> None:
    """NIOSH load constant: 23 kg (51 lb) in ideal conditions."""
    assert [team_for(w) for w in (10.0, 23.0, 30.0, 92.0, 100.0)] == [1, 1, 2, 4, 5]
    (finding,) = (f for f in template({}).findings if f.code == "piece-heavy")
    assert finding.facts["n_people"] is None, "126 kg are beyond a team"
    assert "safe" not in say(finding).message + say(finding).remedy


def test_receptacles() -> None:
    """NEC 210.52(C) as restated: island of 30 ft2 under 2020: 1 + ceil(21/18) = 3; walls from 12 in, every 48 in."""
    foot = 12 * INCH
    assert island_receptacles(30 * foot**2, 10 * foot, 3 * foot, 2020) == 3
    assert island_receptacles(9 * foot**2, 3 * foot, 3 * foot, 2020) == 1
    assert island_receptacles(27 * foot**2, 9 * foot, 3 * foot, 2020) == 2
    assert island_receptacles(30 * foot**2, 10 * foot, 3 * foot, 2023) == 0
    assert island_receptacles(2 * foot**2, 2 * foot, 1 * foot, 2017) == 1
    assert island_receptacles(1.8 * foot**2, 1.8 * foot, 1 * foot, 2017) == 0
    assert [wall_receptacles(w * INCH) for w in (11.9, 12, 48, 48.1, 96, 97)] == [0, 1, 1, 2, 2, 3]


def heights(*rows: tuple[str, float, float, float, float]) -> list[HeightPoint]:
    return [HeightPoint(n, np.array([x, y]), h, u, n[0]) for n, x, y, h, u in rows]


def test_shims_and_flatness() -> None:
    """Finished top flat and level within 1/8 in across 10 ft, 1/16 in under a 4 ft straight edge (association text)."""
    points = heights(("A1", 0, 0, 0.3, 0.2), ("A2", 800, 0, 0.0, 0.2), ("B1", 1500, 0, -2.2, 0.3), ("C1", 4000, 0, 9.0, 0.3))
    shims = {s.name: s for s in shim_list(points, np.eye(3))}
    assert shims["C1"].shim_mm == 0.0
    assert shims["B1"].shim_mm == pytest.approx(11.2)
    assert shims["B1"].U_mm == pytest.approx(2 * np.hypot(0.3, 0.3))
    four, ten = flatness_checks(points)
    assert (four.where, four.verdict) == ("A2 - B1", "look")
    assert (ten.where, ten.verdict) == ("B1 - C1", "look")
    flat = flatness_checks(points[:2])
    assert [c.verdict for c in flat] == ["ok", "ok"]
    assert shim_list([], np.eye(3)) == ()


def template(piece: dict[str, Any], depth: float = 600.0, **rest: Any) -> Any:
    spec = TemplateSpec.model_validate({"pieces": [{"id": "top", "loop": "run", **piece}], **rest})
    return build_template(rectangle(2400.0, depth), spec, heights(("A", 0, 0, 0, 0.3), ("B", 900, 0, -2.5, 0.3)))


def test_checks_find_what_they_should() -> None:
    t = template({"edges": {"front": {"overhang": "12 in"}}, "cutouts": [
        {"id": "sink", "run": "front", "along": {"edge": "left", "distance": 700}, "setback": 30, "width": 600, "depth": 400}]},
        appliances=[{"id": "wide", "run": "front", "along": {"edge": "right", "distance": 500}, "width": 950, "kind": "other"}],
        shop={"rules": {"electrical_edition": 2020, "accessible": True, "finished_height": 915}})
    codes = {f.code for f in t.findings}
    assert {"overhang-unsupported", "cutout-near-edge", "span-unsupported", "piece-heavy", "cabinets-not-flat",
            "receptacle", "accessibility"} <= codes
    assert any(f.code == "size-unusual" for f in template({}, depth=520.0).findings)
    for check in t.checks:
        assert check.source
        assert check.verdict in ("ok", "look", "note")
    by_rule = {c.rule: c for c in t.checks}
    assert by_rule["cutout-edge"].source == "common practice"
    assert "Design Manual" in by_rule["overhang"].source
    assert "2010 ADA" in by_rule["height"].source
    assert len(t.shims) == 2


def test_cautions_name_what_hurts() -> None:
    text = " ".join(CAUTIONS)
    for word in ("Silica", "1910.1053", "break like glass", "Gas and electric", "licensed", "Local codes", "maker's sheets"):
        assert word in text


def test_nothing_is_checked_that_was_not_asked_for() -> None:
    t = template({})
    assert not any(f.code in ("receptacle", "accessibility", "overhang-unsupported") for f in t.findings)
