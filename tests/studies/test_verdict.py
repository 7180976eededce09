"""Verdicts, and whether the predicted uncertainties come true: every remedy is carried out and adjusted again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.model import Measurement, PhotoMeta, PhotoPose, Sightings
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import KnownLength, LengthEnd, Tape
from phototemplate.network.further_photo import in_picture, sighting_sd
from phototemplate.network.projection import body_points, project
from phototemplate.network.workplane import fit_work_plane, to_work
from phototemplate.numerics.decision import decide
from phototemplate.settings import AdjustmentSettings, EdgeSettings, OutlineSettings
from phototemplate.studies import reliability, remedies, verdict
from phototemplate.template.outline import LoopEdges, build_outline
from phototemplate.template.quantities import State
from phototemplate.wording import say
from tests.bench._jobs import THICKNESS_MM, Job, random_job
from tests.finding_examples import example

SETTINGS = AdjustmentSettings(variance="never")


def measured(job: Job, lengths: tuple[KnownLength, ...], extra: tuple[PhotoMeta, Sightings] | None = None) -> Measurement:
    photos, sightings = list(job.photos), dict(job.sightings)
    if extra:
        photos.append(extra[0])
        sightings[extra[0].photo_id] = extra[1]
    network = adjust(sightings, photos, job.targets, lengths, settings=SETTINGS)
    edges = EdgeSettings()
    plane = fit_work_plane(network, job.cabinets, THICKNESS_MM, (*job.type_b, *type_b_terms(job.hints, edges)))
    points, _, _ = measure_edges(lambda _: np.zeros((1, 1), np.uint8), network, plane, job.hints, edges)
    hints = {h.edge_id: h for h in job.hints}
    segments = [fit_segment(p, hints[p.edge_id], edges, plane.influences) for p in points]
    outline = build_outline(
        segments, [LoopEdges("loop", ("back", "left", "front", "right"))], plane.influences, OutlineSettings()
    )
    return Measurement("job", tuple(photos), sightings, network, plane, (), outline, ())


@pytest.fixture(scope="module")
def job() -> Job:
    return random_job(4)


@pytest.fixture(scope="module")
def tape_only(job: Job) -> Measurement:
    """Scale from one tape reading of 0.7 mm: scale dominates the long dimensions."""
    return measured(job, job.lengths[1:2])


def long_target(m: Measurement) -> remedies.Target:
    """Length of the front edge from corner to corner."""
    state = State(m.outline)
    start, end = state.stretch("front")
    g = (end - start).norm().gradient(state.size)
    work = m.outline.plan_from_work[:2, :2].T @ (start.xy - m.outline.plan_from_work[:2, 2])
    return remedies.Target("front", g @ m.outline.shared_jac, float(g @ m.outline.noise_cov_mm2 @ g), work)


def test_one_more_length_does_what_was_predicted(job: Job, tape_only: Measurement) -> None:
    target = long_target(tape_only)
    before = remedies.expanded(target, tape_only.work_plane.influences.cov)
    remedy = remedies.best_length(tape_only, target, 0.7)
    assert remedy is not None
    assert remedy.predicted_U_mm < 0.9 * before
    sheets = remedy.what.facts["sheets"]
    assert isinstance(sheets, tuple)
    a, b = map(str, sheets)
    network = tape_only.network
    between = network.bodies[a].translation_mm - network.bodies[b].translation_mm
    new = Tape("new", LengthEnd(a), LengthEnd(b), float(np.linalg.norm(between)), 0.7, temperature_c=20.0, u_temperature_c=0.1)
    after = measured(job, (*job.lengths[1:2], new))
    found = remedies.expanded(long_target(after), after.work_plane.influences.cov)
    assert found == pytest.approx(remedy.predicted_U_mm, rel=0.03)


@pytest.mark.slow
def test_one_more_photo_does_what_was_predicted(job: Job) -> None:
    """The predicted covariance against an adjustment that has the photo: heights of all sheets over the work plane."""
    few = replace(job, photos=job.photos[::2], sightings={p.photo_id: job.sightings[p.photo_id] for p in job.photos[::2]})
    m = measured(few, job.lengths)
    worst = max(m.work_plane.heights, key=lambda h: h.u_mm)
    eye, aim = np.append(worst.xy_mm + np.array([500.0, -900.0]), 900.0), np.array([*worst.xy_mm, 0.0])
    sigma = sighting_sd(m.network)
    places = remedies.PhotoPlaces(m)
    after = measured(few, job.lengths, new_photo(m, places.pose(eye, aim), sigma))

    def heights(result: Measurement, photo: bool = False) -> dict[str, float]:
        out = {}
        cov = result.work_plane.influences.cov
        for h in result.work_plane.heights:
            p = body_points(result.network, h.name, np.zeros((1, 3)))
            own = np.zeros((1, 3, len(cov)))
            own[:, :, p.columns] = p.d_influences
            row = to_work(result.work_plane, p.xyz_mm, own)[1][0, 2]
            variance = places.variance_after(eye, aim, row, cov @ row) if photo else float(row @ cov @ row)
            assert variance is not None
            out[h.name] = math.sqrt(variance)
        return out

    now, then, found = heights(m), heights(m, True), heights(after)
    assert then[worst.name] < 0.95 * now[worst.name]
    for name in then:
        assert found[name] == pytest.approx(then[name], rel=0.06)


def new_photo(m: Measurement, pose: PhotoPose, sigma: float) -> tuple[PhotoMeta, Sightings]:
    """The sightings that the candidate photo would have, from the adjusted network."""
    camera = m.network.cameras[pose.camera_id]
    network = replace(m.network, photos={**m.network.photos, "new": pose})
    world_eye = -pose.rotation.T @ pose.translation_mm
    ids, numbers, uvs = [], [], []
    for t in network.bodies:
        points = body_points(network, t, network.targets[t].points_mm).xyz_mm
        view = world_eye - points
        far = np.linalg.norm(view, axis=1)
        ok = in_picture(camera, pose.rotation, pose.translation_mm, points) & (far < 3000)
        ok &= view @ network.bodies[t].rotation[:, 2] > 0.25 * far
        if np.count_nonzero(ok) < 4:
            continue
        for j in np.flatnonzero(ok):
            ids.append(t)
            numbers.append(int(j))
            uvs.append(project(network, "new", points[j : j + 1]).uv_px[0])
    for p in network.points:
        near = np.linalg.norm(p.xyz_mm - world_eye) < 3000
        if near and in_picture(camera, pose.rotation, pose.translation_mm, p.xyz_mm[None])[0]:
            ids.append(p.target_id)
            numbers.append(p.point_id)
            uvs.append(project(network, "new", p.xyz_mm[None]).uv_px[0])
    meta = replace(m.photos[0], photo_id="new", camera_id=pose.camera_id)
    n = len(ids)
    return meta, Sightings("new", tuple(ids), np.array(numbers), np.array(uvs), np.tile(sigma**2 * np.eye(2), (n, 1, 1)))


def test_measured_thickness_takes_its_place(tape_only: Measurement) -> None:
    """Closed form: the influence's variance becomes that of the reading, all else stays."""
    state = State(tape_only.outline)
    i = tape_only.outline.influences.names.index("strip thickness")
    g = verdict.worst_place(state, "back").gradient
    target = remedies.Target(
        "back", g @ tape_only.outline.shared_jac, float(g @ tape_only.outline.noise_cov_mm2 @ g), np.zeros(2)
    )
    influences = tape_only.outline.influences
    found = [r for r in remedies.type_b_readings(influences, target) if r.what.code == "do-strip-thickness"]
    assert len(found) == 1
    before = 0.25 * remedies.expanded(target, influences.cov) ** 2
    expected = before - target.shared[i] ** 2 * (influences.cov[i, i] - 0.03**2)
    assert found[0].predicted_U_mm == pytest.approx(2 * math.sqrt(expected), rel=1e-6)


def test_verdicts_follow_the_rule(tape_only: Measurement) -> None:
    # wide enough for a wall run on to a corner that no strip reached, which may swell unseen
    wide = verdict.judge_edges(tape_only, tolerance_mm=12.0)
    assert [j.name for j in wide] == list(tape_only.outline.state_slices)
    assert all(j.verdict == "meets" for j in wide)
    assert verdict.findings(wide) == ()
    narrow = verdict.judge_edges(tape_only, tolerance_mm=0.45)
    undecided = [j for j in narrow if j.verdict == "cannot tell"]
    assert undecided
    for j in narrow:
        assert j.verdict == decide(0.0, j.U_mm / 2, -0.45, 0.45).verdict
        for r in j.remedies:
            assert r.predicted_U_mm < j.U_mm
            assert say(r.what).message in j.remedy_text() or r is not j.remedies[0]
    assert {f.code for f in verdict.findings(narrow)} == {"tolerance"}


def test_nobody_can_tell_which_of_two_lines_is_the_edge(tape_only: Measurement) -> None:
    """However small its U: the edge itself, and what hangs on it, but not what does not."""
    doubt = example("edge-ambiguous", "front")
    m = replace(tape_only, findings=(*tape_only.findings, doubt))
    before = {j.name: j for j in verdict.judge_edges(tape_only, tolerance_mm=50.0, remedies=False)}
    after = {j.name: j for j in verdict.judge_edges(m, tolerance_mm=50.0)}
    assert {j.verdict for j in before.values()} == {"meets"}
    assert {n for n, j in after.items() if j.verdict == "cannot tell"} == {"front"}
    assert after["front"].remedies[0].what.code == "do-choose"
    state = State(m.outline)
    start, end = state.stretch("left")  # its length hangs on the edge at its other end
    length = (end - start).norm()
    judged = verdict.judge_quantity(m, "left", length, length.value, tolerance_mm=50.0, near_edge="left")
    assert judged.verdict == "cannot tell"
    start, end = state.stretch("back")
    length = (end - start).norm()
    assert verdict.judge_quantity(m, "back", length, length.value, 50.0, near_edge="back").verdict == "meets"


def test_dimension_against_a_nominal(tape_only: Measurement) -> None:
    state = State(tape_only.outline)
    start, end = state.stretch("front")
    length = (end - start).norm()
    u = state.u_of(length)
    ok = verdict.judge_quantity(tape_only, "run", length, length.value - 0.1, tolerance_mm=0.2 + 2 * u)
    bad = verdict.judge_quantity(tape_only, "run", length, length.value - 10.0, tolerance_mm=9.0 - 2 * u)
    assert (ok.verdict, bad.verdict) == ("meets", "fails")


@pytest.mark.slow
def test_a_hidden_misreading_does_what_is_said(job: Job) -> None:
    """The stated effect of an unnoticed blunder against the same job adjusted with it."""
    m = measured(job, job.lengths)
    said = {r.name: r for r in reliability.of_lengths(m)}["tape 1"]
    assert "you would be told" in said.sentence
    blunder = 0.3 * said.detectable_mm
    wrong = tuple(replace(x, value_mm=x.value_mm + blunder) if x.name == "tape 1" else x for x in job.lengths)
    other = measured(job, wrong)

    def length(result: Measurement) -> float:
        start, end = State(result.outline).stretch(said.effect_on)
        return float(np.linalg.norm(end.xy - start.xy))

    assert length(other) - length(m) == pytest.approx(0.3 * said.effect_mm, rel=0.1)


def test_sheets_say_what_movement_shows(tape_only: Measurement) -> None:
    found = reliability.of_sheets(tape_only)
    assert found
    assert all(0.05 < r.detectable_mm < 10 for r in found)
