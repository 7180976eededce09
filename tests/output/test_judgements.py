"""Verdicts, budgets, reliability and intervals in report, ``result.json``, drawing and command line."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from phototemplate.cli.show import edge_table, verdict_line
from phototemplate.edges.shapes.evaluate import offset_u, to_chord
from phototemplate.errors import Finding
from phototemplate.numerics.uncertainty import coverage
from phototemplate.output.assessment import EdgeBudget, Judgements
from phototemplate.output.report import words
from phototemplate.output.report.build import render_report
from phototemplate.output.report.plan import stretches
from phototemplate.output.result_json import read_result, write_result_json
from phototemplate.output.schema import Result
from phototemplate.settings import OutputSettings
from phototemplate.studies.assessment import judge
from phototemplate.template.drawing import Polyline
from phototemplate.template.outline_drawing import OutlineStyle, outline_drawing
from tests.output.samples import measurement


class _Text(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.text = ""
        self.feed(html)

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def said() -> Judgements:
    return judge(measurement(), None, 0.9)


@pytest.fixture(scope="module")
def page(said: Judgements) -> str:
    html = render_report(measurement(), settings=OutputSettings(), tolerance_mm=0.9, judgements=said)
    return _Text(html).text


def test_both_verdicts_occur(said: Judgements) -> None:
    assert {j.verdict for j in said.edges.values()} == {"meets", "cannot tell"}


def test_report_says_all_of_it(page: str, said: Judgements) -> None:
    assert said.rule in page
    for j in said.edges.values():
        assert (f"more than {words.tolerance_words(0.9)}; the chance" in page) or j.verdict == "meets"
        if j.remedies:
            assert j.remedy_text("in") in page
            assert f"would bring U to {j.remedies[0].predicted_U_mm / 25.4:.3f} in." in j.remedy_text("in")
    for b in said.budgets.values():
        assert f"{b.u_a_mm:.3f}" in page
        assert f"{b.u_b_mm:.3f}" in page
        assert f"{b.k95 * b.u_mm:.2f}" in page
    for n in said.noticed:
        assert n.kind == "sheet" or n.sentence in page
    assert "If a sheet were moved by" in page
    for c in said.intervals:
        assert f"{c.low_mm:.2f} to {c.high_mm:.2f}" in page
    for sentence in said.assumed:
        assert sentence in page


def test_report_without_judgements_leaves_the_sections_out() -> None:
    text = _Text(render_report(measurement(), settings=OutputSettings())).text
    assert "Uncertainty budget" not in text
    assert "cannot tell" in text


def test_a_judged_edge_is_judged_where_it_is_worst(said: Judgements) -> None:
    edge = next(e for e in measurement().outline.edges if said.edges[e.edge_id].verdict == "meets")
    inside = replace(said.edges[edge.edge_id], where="third quarter", U_mm=5.0, verdict="cannot tell", remedies=())
    v = words.edge_verdict(edge, 0.9, judged=inside)
    assert (v.state, v.words) == ("short", "cannot tell")
    assert "in its third quarter" in v.sentence
    assert v.remedy, "the usual cure for the largest cause where no remedy was computed"


def test_result_has_the_same_fields(tmp_path: Path, said: Judgements) -> None:
    path = write_result_json(measurement(), tmp_path / "result.json", said)
    tree = json.loads(path.read_text(encoding="utf-8"))
    part = Result.model_validate(tree).judgements
    assert part is not None
    assert [e.name for e in part.edges] == list(said.edges)
    assert [e.verdict for e in part.edges] == [j.verdict for j in said.edges.values()]
    for b in part.budgets:
        assert math.hypot(b.u_type_a_mm, b.u_type_b_mm) == pytest.approx(b.u_mm, rel=1e-6)
        assert math.sqrt(sum(c.u_mm**2 for c in b.contributions)) == pytest.approx(b.u_mm, rel=1e-6)
    assert [r.sentence for r in part.reliability] == [n.sentence for n in said.noticed]
    assert [tuple(c.symmetric_mm) for c in part.intervals] == [(c.low_mm, c.high_mm) for c in said.intervals]
    assert {f["where"] for f in tree["findings"] if f["code"] == "tolerance"} == {
        j.name for j in said.edges.values() if j.verdict != "meets"
    }
    assert read_result(path).outline.segments, "the outline reads as before"


def test_unbounded_values_are_null(said: Judgements, tmp_path: Path) -> None:
    unchecked = replace(said.noticed[0], detectable_mm=math.inf, effect_mm=math.inf)
    path = write_result_json(measurement(), tmp_path / "r.json", replace(said, noticed=(unchecked,)))
    part = Result.model_validate_json(path.read_text(encoding="utf-8")).judgements
    assert part is not None
    assert part.reliability[0].detectable_mm is None


def test_last_line_of_the_command_line(said: Judgements) -> None:
    good, total = said.summary
    line = verdict_line(said)
    assert line.startswith(f"{good} of {total} edges meet 0.90 mm (0.035 in).")
    for j in said.edges.values():
        assert (j.name in line) == (j.verdict != "meets")
    all_good = replace(said, tolerance_mm=25.4 / 16, edges={k: replace(j, verdict="meets") for k, j in said.edges.items()})
    assert verdict_line(all_good) == f"{total} of {total} edges meet 1/16 in (1.6 mm)."
    lost = Finding("edge-line-weak", "front", support_percent=40.0, rise_mm=0.2)
    assert verdict_line(all_good, [lost]) == f"{total} of {total + 1} edges meet 1/16 in (1.6 mm). Not found: front."
    table = edge_table(measurement(), "mm", said)
    assert [c.header for c in table.columns][-1] == "verdict"
    assert [c.header for c in edge_table(measurement(), "mm").columns][-1] != "verdict"


def test_sheets_in_words(said: Judgements) -> None:
    sheets = [n for n in said.noticed if n.kind == "sheet"]
    two = [replace(sheets[0], name="S01", detectable_mm=0.3), replace(sheets[0], name="S02", detectable_mm=1.0)]
    text = words.sheets_words(two)
    assert text.startswith("If a sheet were moved by 1.0 mm half way through the photos you would be told")
    assert "S02 is watched least" in text
    assert "by 0.4 mm you might not" in text
    assert words.sheets_words([]) == ""


def test_band_follows_the_uncertainty_along_a_wall() -> None:
    """Every vertex of the band stands off the edge by the U of its own place, not by one between the ends'."""
    outline = measurement().outline
    scale = 50.0
    drawing = outline_drawing(outline, style=OutlineStyle(band_scale=scale))
    wall = next(s for s in outline.segments if s.shape == "profile")
    bands = [i for i in drawing.items if isinstance(i, Polyline) and i.layer == "FOUND-BAND" and i.name == wall.edge_id]
    assert len(bands) == 2
    low, high = (np.array(b.vertices)[:, :2] for b in bands)
    middle = 0.5 * (low + high)
    half = 0.5 * np.linalg.norm(high - low, axis=1)
    s, _ = to_chord(wall, middle)
    np.testing.assert_allclose(half, scale * 2.0 * offset_u(wall, s, outline.influences.cov), rtol=1e-6)
    assert len(half) >= 20
    three = np.interp(s, s[[0, len(s) // 2, -1]], half[[0, len(s) // 2, -1]])
    assert np.abs(half - three).max() > 0.05 * half.max(), "straight between three places it would be another band"


def test_loose_profiles_are_drawn_where_they_were_seen() -> None:
    outline = measurement().outline
    loose = replace(outline, loops=())
    for stretch in stretches(loose):
        length = np.linalg.norm(stretch.segment.chord_mm[1] - stretch.segment.chord_mm[0])
        s, _ = to_chord(stretch.segment, stretch.xy_mm)
        assert s.min() >= -1e-6
        assert s.max() <= length + 1e-6


STUDENT = [(4, 2.87, 0.9545), (5, 2.57, 0.95), (16, 2.17, 0.9545), (math.inf, 2.0, 0.9545)]


@pytest.mark.parametrize(("dof", "k", "share"), STUDENT)
def test_coverage_is_that_of_student(dof: float, k: float, share: float) -> None:
    """GUM table G.2: factors for 95.45 % (95 % for five degrees of freedom)."""
    assert coverage(k, dof) == pytest.approx(share, abs=0.0012)


def test_the_report_says_how_often_u_covers() -> None:
    """At k = 2 four degrees of freedom cover 88 of 100 (2 F(2) - 1 of Student's t), many 95; 95 of 100 lie within k95 u."""
    few = EdgeBudget("e", "middle", 0.2, 0.2, 0.0, 4.7, 2.776, ())
    assert round(100 * few.inside) == 88
    assert round(100 * EdgeBudget("e", "middle", 0.2, 0.2, 0.0, math.inf, 1.96, ()).inside) == 95
