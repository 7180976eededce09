"""The home check: a straight edge passes, a bowed one and a wrong tape do not, and what is missing is named."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from phototemplate import cli, job_studies
from phototemplate.job import load_job
from phototemplate.model import Network
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import LengthEnd, Tape
from phototemplate.studies.check_wall import check_wall
from phototemplate.studies.constants import STRAIGHT_EDGE_MM
from phototemplate.studies.self_check import Compared, SelfCheck, lengths_compared, self_check
from tests.bench import _walls


def measured(monkeypatch: pytest.MonkeyPatch, bow_mm: float, blunder_mm: float = 0.0) -> SelfCheck:
    """A straight edge (or one bowed by so much) on a table, six photos, two lengths of which one may be misread."""
    shape = lambda rng, length: lambda x: 4.0 * bow_mm * (x / length) * (1.0 - x / length)  # noqa: E731
    monkeypatch.setitem(_walls.KINDS, "bent", shape)
    m = _walls.wall_job(3, "bent").measurement
    bodies = m.network.bodies

    def tape(name: str, a: str, b: str, off: float) -> Tape:
        found = float(np.linalg.norm(bodies[a].translation_mm - bodies[b].translation_mm))
        return Tape(name, LengthEnd(a), LengthEnd(b), found + off, 0.5)

    def solved(part: slice) -> Network:
        photos = m.photos[part]
        lengths = [tape("first", "S01", "S05", 0.0), tape("second", "S02", "S04", blunder_mm)]
        return adjust([m.sightings[p.photo_id] for p in photos], photos, m.network.targets, lengths)

    whole = solved(slice(None))
    wall = check_wall(m.outline, job="check", measurement=replace(m, network=whole))
    return self_check("check", whole, [solved(slice(0, None, 2)), solved(slice(1, None, 2))], wall, STRAIGHT_EDGE_MM)


def test_a_straight_edge_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    done = measured(monkeypatch, 0.0)
    assert done.answer == "agrees", done.rows
    assert [r.kind for r in done.rows] == ["length", "length", "straight", "halves"]
    assert done.missing == ()
    assert 0 < done.span_U_mm < 3.0


def test_a_bowed_edge_and_a_misread_tape_do_not(monkeypatch: pytest.MonkeyPatch) -> None:
    bowed = {r.kind: r.answer for r in measured(monkeypatch, 6.0).rows}
    assert bowed["straight"] == "does not agree"
    misread = measured(monkeypatch, 0.0, blunder_mm=25.4)
    assert misread.answer == "does not agree"
    assert any(r.kind == "length" and r.answer == "does not agree" for r in misread.rows)


def test_what_a_length_is_predicted_as_without_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """The closed form of what is left out of a least-squares fit, against leaving it out."""
    monkeypatch.setitem(_walls.KINDS, "bent", lambda rng, length: np.zeros_like)
    m = _walls.wall_job(3, "bent").measurement
    bodies = m.network.bodies
    pairs = (("S01", "S05"), ("S02", "S04"))
    apart = [float(np.linalg.norm(bodies[a].translation_mm - bodies[b].translation_mm)) for a, b in pairs]
    first = Tape("first", LengthEnd("S01"), LengthEnd("S05"), apart[0], 0.5)
    second = Tape("second", LengthEnd("S02"), LengthEnd("S04"), apart[1] + 0.6, 0.5)
    sightings = [m.sightings[p.photo_id] for p in m.photos]
    both = adjust(sightings, m.photos, m.network.targets, [first, second])
    alone = adjust(sightings, m.photos, m.network.targets, [first, replace(second, u_mm=1e4)])
    found = next(r for r in lengths_compared(both) if r.what.endswith("second"))
    expected = alone.lengths[1].adjusted_mm - (apart[1] + 0.6)
    assert found.off_mm == pytest.approx(expected, abs=0.03)


def test_nothing_to_compare_says_little() -> None:
    row = Compared("length", "known length bar", 0.4, 8.0, True)
    done = SelfCheck("check", 4, (row,), ("wall strips along a straight edge",), 900.0, 2.0, False)
    assert (row.answer, done.answer) == ("says little", "says little")
    assert replace(done, withheld=True).answer == "does not agree"


def test_the_command_says_what_it_proves(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    done = SelfCheck("table", 12, (Compared("straight", "straight edge", 0.2, 0.6, True),), (), 1400.0, 0.9, False)
    monkeypatch.setattr(job_studies, "self_check_of", lambda *_: done)
    told = json.loads(CliRunner().invoke(cli.app, ["check-yourself", str(tmp_path), "--json"]).stdout)
    assert told["answer"] == "agrees"
    assert told["rows"][0]["score"] == pytest.approx(1 / 3)
    text = " ".join(CliRunner().invoke(cli.app, ["check-yourself", str(tmp_path)]).stdout.split())
    assert text.count("Not proved") >= 3
    assert "1400 mm" in text


@pytest.mark.slow
def test_the_demo_kitchen_has_right_lengths_and_no_straight_wall() -> None:
    done = job_studies.self_check_of(load_job(Path("demo_images/kitchen")))
    answers = {r.kind: r.answer for r in done.rows}
    assert answers["halves"] == "agrees"
    assert answers["length"] != "does not agree"
    assert answers["straight"] == "does not agree"
