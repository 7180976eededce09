"""Sightings and known lengths in, network out: the whole adjustment in order.

Start without user input -> robust least squares -> tests (print scale, moved sheets, curl, wrong sightings) -> least
squares -> variance of the sightings -> known lengths weighed -> covariance and its parts.

One question, one module: :mod:`~phototemplate.network.adjustment` sets up and solves,
:mod:`~phototemplate.network.stability` tests.

The covariance of the sightings is scaled by what their residuals show only upwards and only where that is significant
(setting ``variance``); known lengths and priors keep their own stated uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from phototemplate.errors import Finding, MeasureError
from phototemplate.model import Array, Camera, Network, PhotoMeta, Sightings, Target
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjustment_state import Adjustment, solve
from phototemplate.network.adjustment.findings import (
    geometry_findings,
    lens_findings,
    quality_findings,
    rejection_findings,
    start_findings,
)
from phototemplate.network.adjustment.known_lengths import KnownLength
from phototemplate.network.adjustment.length_weights import (
    SCALE_CONVENTION,
    length_findings,
    length_results,
    place_lengths,
    weigh_lengths,
    with_lengths,
)
from phototemplate.network.adjustment.network_result import assemble
from phototemplate.network.adjustment.setup import set_up, single_photo, tie
from phototemplate.network.adjustment.variance_components import estimated, with_best_shift
from phototemplate.network.calibration.photo_gain import with_lens_findings
from phototemplate.network.orientation.fisheye import start_with_models
from phototemplate.network.orientation.lens_start import LensStart, start_lenses
from phototemplate.network.orientation.picture_turns import turned_pictures
from phototemplate.network.orientation.relative_poses import Start
from phototemplate.network.orientation.separate_scenes import refuse_two_places
from phototemplate.network.orientation.views import Stacked, TargetView, views_of
from phototemplate.network.stability.data_snooping import estimate_variance, readmit, snoop
from phototemplate.network.stability.fit_tests import enlarged
from phototemplate.network.stability.hypotheses import best_explained
from phototemplate.network.stability.loose_strips import strip_findings
from phototemplate.network.stability.moved_targets import moved_findings, reject_misplaced
from phototemplate.network.stability.print_scale import (
    print_scale_findings,
    release_print_scale,
    restore_print_scale,
    scale_conflicts,
)
from phototemplate.network.stability.sheet_curl import curl_evidence, curl_findings, release_curl
from phototemplate.settings import AdjustmentSettings

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done, 0-1"""


def adjust(
    sightings: Sequence[Sightings] | Mapping[str, Sightings],
    photos: Sequence[PhotoMeta],
    targets: Mapping[str, Target],
    lengths: Sequence[KnownLength] = (),
    profiles: Mapping[str, Camera] | None = None,
    settings: AdjustmentSettings | None = None,
    progress: Progress | None = None,
) -> Network:
    """Adjust all photos and targets of one job together.

    ``sightings`` of the photos, ``targets`` by id (sightings of other ids are ignored), ``profiles`` camera profiles by
    camera id (their covariance is the prior of the lens). Returns the network in the frame of one of its sheets; nothing
    downstream depends on that choice. Raises :class:`MeasureError` where no photo can be placed, or where they show two places.
    """
    settings = settings or AdjustmentSettings()
    tell = progress or (lambda text, share: None)
    listed = list(sightings.values()) if isinstance(sightings, Mapping) else list(sightings)
    metas = {p.photo_id: p for p in photos}
    extra = {t: settings.u_marker_px for t, target in targets.items() if target.kind == "marker"}
    views = views_of([s for s in listed if s.photo_id in metas], targets, extra)
    if not any(v.flat for own in views.values() for v in own.values()):
        raise MeasureError("No photo shows enough of a target to be placed; photograph the sheets closer, sharper and whole.")
    camera_of = {p: metas[p].camera_id for p in views}
    tell("Start values", 0.0)
    seen: dict[str, list[tuple[Array, Array]]] = {}
    for p, own in views.items():
        seen.setdefault(camera_of[p], []).extend((v.local, v.uv) for v in own.values() if v.flat)
    lenses, findings = start_lenses([metas[p] for p in views], seen, profiles or {}, settings)
    refuse_two_places(views, camera_of, lenses)
    flat_kinds = {t for t, target in targets.items() if target.kind in ("sheet", "bar_end")}
    start, lenses, model_findings = start_with_models(views, camera_of, lenses, flat_kinds, settings)
    findings += model_findings + start_findings(views, start)
    if not start.photos:
        raise MeasureError("No photo could be placed; photograph the sheets closer, with several in every photo.")

    tell("Adjustment", 0.3)
    begun = start, lenses, camera_of
    run, stacked = _begun(views, begun, targets, lengths, settings)
    used = frozenset(length.name for length in run.priors.lengths) - {SCALE_CONVENTION}
    run = _tested(run, used, tell)
    still = {p: {t: v for t, v in own.items() if (t, p) not in run.moved_views} for p, own in views.items()}
    camera_of, start, lenses, ties = turned_pictures(still, metas, camera_of, start, lenses, targets, settings)
    if ties:
        run, stacked = _begun(views, (start, lenses, camera_of), targets, lengths, settings, ties)
        run = _tested(run, used, tell)
    run, quality = enlarged(_cleaned(run, used, tell))
    run = solve(run, tolerance=1e-8)
    quality = replace(quality, converged=run.solved.converged, withheld=quality.withheld or not run.solved.converged)
    tell("Covariance", 0.9)
    results = length_results(run)
    cov = bundle.covariance(run.problem, run.solved.normal)
    run = strip_findings(moved_findings(run, cov.shared))
    run = curl_findings(print_scale_findings(run, bool(used)), cov.shared)
    run = length_findings(run, results)
    scale_known = any(r.used for r in results)
    findings += run.findings
    if not scale_known:
        findings.append(Finding("scale-missing", "network"))
    findings += [Finding("photo-contradicts", p) for p in run.lost_photos]
    findings += geometry_findings(run, quality) + lens_findings(run, lenses, cov) + rejection_findings(run)
    findings += quality_findings(quality)
    network = assemble(run, stacked, views, lenses, targets, cov, results, scale_known, tuple(findings), quality)
    network = with_lens_findings(network, tuple(profiles or {}))
    tell("Done", 1.0)
    return network


def _begun(
    views: Mapping[str, Mapping[str, TargetView]],
    begun: tuple[Start, Sequence[LensStart], Mapping[str, str]],
    targets: Mapping[str, Target],
    lengths: Sequence[KnownLength],
    settings: AdjustmentSettings,
    ties: Sequence[tuple[str, str]] = (),
) -> tuple[Adjustment, Stacked]:
    """An adjustment with everything that is known, not yet solved; ``begun`` are start, lenses and cameras by photo."""
    start, lenses, camera_of = begun
    run, stacked = set_up(views, camera_of, start, lenses, targets, settings)
    return single_photo(place_lengths(tie(run, ties), lengths)), stacked


def _tested(run: Adjustment, lengths: frozenset[str], tell: Progress) -> Adjustment:
    """Robust least squares and tests of the sheets."""
    settings = run.settings
    # Sightings are tested without the known lengths: a misread bar must not make its own end targets look wrong.
    # (Free points alone have no size without them.)
    run = reject_misplaced(with_lengths(run, lengths if run.problem.body_ids else frozenset(), used=False))
    run = solve(run, huber=3 * settings.huber, tolerance=1e-2, damping=1e-4)
    # Which part of the lens a stabiliser moves is a question to the camera: no strip is blamed for the answer.
    run = with_best_shift(run, settings.huber * run.noise())
    tell("Testing sheets and sightings", 0.5)
    for _ in range(20):
        run = solve(run, huber=settings.huber * run.noise(), tolerance=1e-2)
        before, run = run, best_explained(run)
        if run is before:
            break
    return run


def _cleaned(run: Adjustment, lengths: frozenset[str], tell: Progress) -> Adjustment:
    """Least squares without wrong sightings, with the known lengths; ends with the final solution."""
    settings = run.settings
    huber = settings.huber * run.noise()
    run = with_best_shift(estimated(run, huber), huber)
    run = estimated(solve(_snooped(run), tolerance=1e-2))
    tell("Variances", 0.75)
    for _ in range(3):
        before, run = run, estimate_variance(snoop(run))
        if _alike(before, run):
            break
        run = estimated(solve(run, tolerance=1e-2))
    after = restore_print_scale(readmit(run))
    if after is not run:
        run = _snooped(solve(after, tolerance=1e-2))
    scales, curl = scale_conflicts(run, only_bodies=True), curl_evidence(run)
    after = release_curl(release_print_scale(run, scales), curl)
    if after is not run:
        run = solve(after, tolerance=1e-2)
    run = solve(with_lengths(run, lengths, used=True), tolerance=1e-8)
    for _ in range(4):
        after = weigh_lengths(run)
        if after is run and lengths:
            # Single sheets were compared with each other before; against a length only the whole print can be wrong.
            after = release_print_scale(run, [c for c in scale_conflicts(run) if c.batch])
        if after is run:
            break
        run = solve(after, tolerance=1e-8)
    before, run = run, estimate_variance(run)
    return run if _alike(before, run) else solve(run, tolerance=1e-8)


def _snooped(run: Adjustment) -> Adjustment:
    """Solved without the sightings that are wrong."""
    for _ in range(25):
        after = snoop(run)
        if after is run:
            break
        run = solve(after, tolerance=1e-2)
    return run


def _alike(a: Adjustment, b: Adjustment) -> bool:
    """Whether the same sightings are adjusted with the same weights."""
    return a.base is b.base and a.problem is b.problem
