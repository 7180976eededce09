"""Budgets after the GUM, and what is collected for the writers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from phototemplate.edges.shapes.evaluate import offset_u, to_chord
from phototemplate.model import Measurement, Segment
from phototemplate.numerics.decision import guard_factor
from phototemplate.settings import Settings
from phototemplate.studies import remedies, verdict
from phototemplate.studies.assessment import judge
from phototemplate.studies.budget import edge_budget, noise_dof
from phototemplate.studies.constants import DOF_ASSUMED, DOF_STATED, FEELER_U_MM
from phototemplate.template.quantities import State
from tests.bench._jobs import random_job
from tests.output.samples import measurement as sample
from tests.studies.test_verdict import long_target, measured


@pytest.fixture(scope="module")
def m() -> Measurement:
    job = random_job(4)
    return measured(job, job.lengths[1:2])


def test_worst_place_is_found_along_the_edge(m: Measurement) -> None:
    """Against a fine search with the segment's own uncertainty."""
    state = State(m.outline)
    for edge_id, segment in state.segments.items():
        worst = verdict.worst_place(state, edge_id)
        ends, _ = to_chord(segment, np.array([p.xy for p in state.stretch(edge_id)]))
        fine = offset_u(segment, np.linspace(ends[0], ends[1], 400), m.outline.influences.cov)
        u = math.sqrt(worst.gradient @ state.cov @ worst.gradient)
        assert u == pytest.approx(fine.max(), rel=0.03)
        report = next(e for e in m.outline.edges if e.edge_id == edge_id)
        assert 2 * u >= max(report.offset_U_mm) * (1 - 1e-6)


def test_budget_adds_up_and_is_split_by_type(m: Measurement) -> None:
    state = State(m.outline)
    for edge_id in m.outline.state_slices:
        worst = verdict.worst_place(state, edge_id)
        b = edge_budget(m, state, worst)
        assert b.u_mm == pytest.approx(math.sqrt(worst.gradient @ state.cov @ worst.gradient), rel=1e-6)
        assert math.hypot(b.u_a_mm, b.u_b_mm) == pytest.approx(b.u_mm, rel=1e-6)
        types = {p.cause: p.evaluation for p in b.parts}
        assert types["target sightings"] == "A"
        assert all(t == "B" for c, t in types.items() if c not in ("target sightings", "edge noise"))
        # Welch-Satterthwaite: between the smallest of the parts and their sum (GUM G.4.1)
        assert min(p.dof for p in b.parts) <= b.dof <= sum(p.dof for p in b.parts)
        assert {p.dof for p in b.parts if p.cause.startswith("known length")} <= {DOF_STATED}


def test_strip_thickness_moves_the_wall_by_itself(m: Measurement) -> None:
    """Paper that is thicker by 1 mm moves the found wall by 1 mm: that is what the strip stands on."""
    state = State(m.outline)
    b = edge_budget(m, state, verdict.worst_place(state, "back"))
    (strip,) = (s for s in b.sensitivities if s.input == "strip thickness")
    assert abs(strip.coefficient) == pytest.approx(1.0, abs=0.02)
    assert strip.contribution_mm == pytest.approx(strip.u_mm * abs(strip.coefficient))


def test_coverage_factor_of_few_degrees_of_freedom(m: Measurement) -> None:
    """GUM table G.2: 95 % at 8 degrees of freedom is 2.31, at 50 it is 2.01."""
    state = State(m.outline)
    for edge_id in m.outline.state_slices:
        b = edge_budget(m, state, verdict.worst_place(state, edge_id))
        if b.dof >= 50:
            assert b.k95 <= 2.01
        if b.dof <= DOF_ASSUMED + 1:
            assert b.k95 >= 2.30


@pytest.mark.parametrize("ell", [0.0, 25.0])
def test_noise_counts_independent_points(m: Measurement, ell: float) -> None:
    """White residuals count fully; exponentially correlated ones as long / (2 ell) (integral of the correlation)."""
    rng = np.random.default_rng(2)
    n, spacing = 20000, 1.0
    line = next(s for s in m.outline.segments if s.shape == "line")
    rho = math.exp(-spacing / ell) if ell else 0.0
    r = rng.normal(size=n)
    for i in range(1, n):
        r[i] = rho * r[i - 1] + math.sqrt(1 - rho * rho) * r[i]
    x = spacing * np.arange(n)
    edge: Segment = replace(
        line, chord_mm=np.array([[0.0, 0.0], [x[-1], 0.0]]), residuals_mm=r, points_mm=np.column_stack([x, r])
    )
    expected = n * spacing / (2 * ell) if ell else n
    assert noise_dof(edge) == pytest.approx(expected, rel=0.2)


def test_no_photo_beats_the_bound(m: Measurement) -> None:
    target = long_target(m)
    photo = remedies.best_photo(m, target)
    assert photo is not None
    assert remedies.least_with_photos(m, target) <= photo.predicted_U_mm <= remedies.expanded(
        target, m.work_plane.influences.cov
    )  # fmt: skip


def test_candidates_are_shared_between_targets(m: Measurement) -> None:
    """The same answer with and without what was kept of other targets."""
    target = long_target(m)
    photos = remedies.PhotoPlaces(m)
    other = replace(target, shared=2.0 * target.shared, noise_variance=4.0 * target.noise_variance)
    first, again = remedies.best_photo(m, target, photos), remedies.best_photo(m, other, photos)
    assert first is not None
    assert again is not None
    assert first.what == again.what
    assert again.predicted_U_mm == pytest.approx(2.0 * first.predicted_U_mm)


def test_contact_sheets_replace_what_is_not_sharp() -> None:
    """However badly the edge itself is defined, contact sheets bring it to the same, and not below their own cut."""
    m = sample()
    state = State(m.outline)
    names = m.outline.influences.names
    edge = next(s for s in m.outline.segments if f"definition:{s.edge_id}" in names and s.source == "trace")
    worst = verdict.worst_place(state, edge.edge_id)
    own = float(worst.gradient @ m.outline.noise_cov_mm2 @ worst.gradient)
    shared = worst.gradient @ m.outline.shared_jac
    target = remedies.Target(edge.edge_id, shared, own, np.zeros(2))
    worse = np.where(np.array(names) == f"definition:{edge.edge_id}", 9.0, 1.0)
    doubled = replace(target, shared=worse * shared)
    (a, b) = (remedies.contact_instead(m, t, edge, own) for t in (target, doubled))
    assert a is not None
    assert b is not None
    assert a.predicted_U_mm == pytest.approx(b.predicted_U_mm)
    reading_and_cut = math.hypot(FEELER_U_MM, m.settings.edges.cut_u_mm)
    assert 2.0 * reading_and_cut < b.predicted_U_mm < remedies.expanded(doubled, m.work_plane.influences.cov)
    ragged = replace(m, settings=Settings(edges=m.settings.edges.model_copy(update={"cut_u_mm": 0.8})))
    c = remedies.contact_instead(ragged, target, edge, own)
    assert c is not None
    assert c.predicted_U_mm > 1.6
    strip = next(s for s in m.outline.segments if s.source != "trace")
    assert remedies.contact_instead(m, target, strip, own) is None


def test_everything_is_collected(m: Measurement) -> None:
    j = judge(m, None, 0.45)
    assert list(j.edges) == list(j.budgets) == list(m.outline.state_slices)
    for name, one in j.edges.items():
        budget = j.budgets[name]
        assert one.U_mm == pytest.approx(guard_factor("U", budget.dof) * budget.u_mm, rel=1e-6)
        assert one.U_mm >= 2 * budget.u_mm * (1 - 1e-9)
    good, total = j.summary
    assert total == 4
    assert good == sum(one.U_mm <= 0.45 for one in j.edges.values())
    assert {n.kind for n in j.noticed} == {"length", "sheet"}
    assert {c.edge_id for c in j.intervals} == set(m.outline.state_slices)
    for c in j.intervals:
        assert c.low_mm < c.value_mm < c.high_mm
    assert {f.where for f in j.findings if f.code == "tolerance"} == {e for e, o in j.edges.items() if o.verdict != "meets"}


def test_nothing_is_said_without_scale(m: Measurement) -> None:
    j = judge(replace(m, outline=replace(m.outline, unscaled=True)))
    assert (j.edges, j.budgets, j.noticed, j.intervals, j.summary) == ({}, {}, (), (), (0, 0))
