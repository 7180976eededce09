"""Sightings and known lengths in, network out: the whole adjustment in order.

Start without user input -> robust least squares -> tests (print scale, moved sheets, curl, wrong sightings) -> least
squares -> variance of the sightings -> known lengths weighed -> covariance and its parts.

The covariance of the sightings is scaled by what their residuals show only upwards and only where that is significant
(setting ``variance``); known lengths and priors keep their own stated uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from phototemplate.errors import Finding, MeasureError
from phototemplate.model import (
    Array,
    BodyPose,
    Camera,
    FreePoint,
    Influences,
    KnownLengthResult,
    Network,
    PhotoMeta,
    PhotoPose,
    PhotoResiduals,
    Sightings,
    Target,
)
from phototemplate.network import bundle, reliability
from phototemplate.network.bundle import Covariance, State
from phototemplate.network.conditions import Length, Place, Priors
from phototemplate.network.lensstart import LensStart, start_lenses
from phototemplate.network.observations import KnownLength, LengthEnd
from phototemplate.network.reliability import SCALE_CONVENTION, Run
from phototemplate.network.sights import Stacked, View, stack, views_of
from phototemplate.network.start import Start, find_start, triangulate
from phototemplate.numerics import lens
from phototemplate.settings import AdjustmentSettings

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done, 0-1"""

_MIN_RAY_ANGLE = np.radians(1.0)
"""A free point whose rays all meet at less than this is not adjusted"""


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
    downstream depends on that choice. Raises :class:`MeasureError` where no photo can be placed.
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
    flat_kinds = {t for t, target in targets.items() if target.kind in ("sheet", "bar_end")}
    start = find_start(views, camera_of, lenses, flat_kinds)
    findings += _not_oriented(views, start)
    if not start.photos:
        raise MeasureError("No photo could be placed; photograph the sheets closer, with several in every photo.")

    tell("Adjustment", 0.3)
    run, stacked = _set_up(views, camera_of, start, lenses, targets, settings)
    used, unused = _lengths(run, lengths, settings)
    findings += unused
    _hold(run)
    results = _rounds(run, bool(used), tell)
    tell("Covariance", 0.9)
    solution = run.solved
    cov = bundle.covariance(run.problem, solution.normal)
    reliability.moved_findings(run)
    reliability.print_scale_findings(run, bool(used))
    reliability.curl_findings(run, cov.shared)
    reliability.length_findings(run, results)
    scale_known = any(r.used for r in results)
    findings += run.findings
    if not scale_known:
        findings.append(
            Finding(
                "scale-missing",
                "network",
                "No known length could be used: the shape is right, its size rests on the nominal size of the prints.",
                "Measure a bar or a tape length between two targets and give it.",
            )
        )
    findings += [
        Finding("photo-not-oriented", p, f"{p} contradicts the other photos; it was left out.", "Take it again.")
        for p in run.lost_photos
    ]
    findings += _geometry_findings(run) + _lens_findings(run, lenses, cov) + _rejection_findings(run)
    network = _network(run, stacked, views, lenses, targets, cov, results, scale_known, tuple(findings))
    tell("Done", 1.0)
    return network


# -------------------------------------------------------------------------------------------- set-up


def _not_oriented(views: Mapping[str, Mapping[str, View]], start: Start) -> list[Finding]:
    out = []
    for p, own in views.items():
        if p in start.photos:
            continue
        flat = [t for t, v in own.items() if v.flat]
        if not flat:
            why = "it shows no target well enough"
        elif not set(flat) & set(start.bodies):
            why = f"it shares no target with the other photos (it shows {', '.join(flat)})"
        else:
            why = f"its targets {', '.join(flat)} do not fit the other photos"
        out.append(
            Finding(
                "photo-not-oriented",
                p,
                f"{p} could not be placed: {why}; it was left out.",
                "Take one more photo that shows its targets together with those of the other photos.",
            )
        )
    return out


def _set_up(
    views: Mapping[str, Mapping[str, View]],
    camera_of: Mapping[str, str],
    start: Start,
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
    settings: AdjustmentSettings,
) -> tuple[Run, Stacked]:
    photo_ids = [p for p in views if p in start.photos]
    seen_by: dict[str, int] = {}
    for p in photo_ids:
        for t in views[p]:
            seen_by[t] = seen_by.get(t, 0) + 1
    body_ids = [t for t in targets if targets[t].rigid and t in start.bodies and seen_by.get(t)]
    point_ids, xyz = _free_points(views, photo_ids, camera_of, start, lenses, targets)
    used = [s for s in lenses if any(camera_of[p] == s.camera_id for p in photo_ids)]
    stacked = stack(
        views,
        photo_ids,
        [(s.camera_id, s.model) for s in used],
        camera_of,
        body_ids,
        {t: targets[t].kind for t in body_ids},
        point_ids,
    )
    problem = stacked.problem
    n, b, q = len(photo_ids), len(body_ids), len(problem.batches)
    state = State(
        [start.lenses[s.camera_id].copy() for s in used],
        np.array([start.photos[p][0] for p in photo_ids]),
        np.array([start.photos[p][1] for p in photo_ids]),
        np.zeros(n),
        np.array([start.bodies[t][0] for t in body_ids]).reshape(b, 3, 3),
        np.array([start.bodies[t][1] for t in body_ids]).reshape(b, 3),
        np.ones((b, 2)),
        np.zeros((b, 3)),
        np.ones((q, 2)),
        np.zeros(3),
        xyz,
    )
    half = np.array([max(float(np.linalg.norm(targets[t].points_mm, axis=1).max()), 5.0) for t in body_ids])
    priors = Priors(
        problem,
        [s.params for s in used],
        [s.cov for s in used],
        settings.u_focus,
        np.full((q, 2), settings.u_print_common),
        np.full((b, 2), settings.u_print_sheet),
        2 * settings.u_flat_mm / half**2,
        plane_sigma=(settings.plane_height_mm, settings.plane_tilt),
    )
    problem.conditions = priors
    run = Run(problem, priors, state, np.ones(len(problem.photo)), settings, dict(targets), problem.root.copy())
    if settings.curl == "always":
        reliability.free_curl(run, set(range(b)))
    return run, stacked


def _free_points(
    views: Mapping[str, Mapping[str, View]],
    photo_ids: Sequence[str],
    camera_of: Mapping[str, str],
    start: Start,
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
) -> tuple[list[tuple[str, int]], Array]:
    """Points of targets that are no rigid bodies, seen from two sides at least, and where their rays meet."""
    rays: dict[tuple[str, int], list[tuple[Array, Array]]] = {}
    models = {s.camera_id: s.model for s in lenses}
    for p in photo_ids:
        own = [v for t, v in views[p].items() if not targets[t].rigid]
        if not own:
            continue
        rotation, translation = start.photos[p]
        camera = camera_of[p]
        seen = lens.unproject(models[camera], start.lenses[camera], np.concatenate([v.uv for v in own])) @ rotation
        keys = [(v.target_id, int(k)) for v in own for k in v.point_ids]
        for key, direction in zip(keys, seen, strict=True):
            rays.setdefault(key, []).append((-rotation.T @ translation, direction))
    ids, xyz = [], []
    for key in sorted(rays):
        if len(rays[key]) >= 2:
            point, angle = triangulate(rays[key])
            front = all((point - eye) @ direction > 0 for eye, direction in rays[key])
            if angle > _MIN_RAY_ANGLE and front:
                ids.append(key)
                xyz.append(point)
    return ids, np.array(xyz).reshape(-1, 3)


def _place(run: Run, end: LengthEnd) -> Place | None:
    """Where a known length ends, None if that was not placed."""
    problem = run.problem
    if end.target_id in problem.body_ids:
        body = problem.body_ids.index(end.target_id)
        if not np.any(problem.body == body):
            return None
        points = run.targets[end.target_id].points_mm
        if end.point_id is not None:
            return Place(body, points[end.point_id]) if 0 <= end.point_id < len(points) else None
        return Place(body, np.asarray(end.local_mm or (0.0, 0.0, 0.0), dtype=np.float64))
    wanted = [
        m for m, (t, k) in enumerate(problem.point_ids) if t == end.target_id and (end.point_id is None or k == end.point_id)
    ]
    complete = (
        1 if end.point_id is not None else len(run.targets[end.target_id].points_mm) if end.target_id in run.targets else -1
    )
    if len(wanted) != complete or end.local_mm is not None:
        return None
    return Place(points=tuple(wanted))


def _lengths(run: Run, lengths: Sequence[KnownLength], settings: AdjustmentSettings) -> tuple[list[Length], list[Finding]]:
    """Turn known lengths into observations; those whose ends were not placed become findings."""
    findings = []
    for known in lengths:
        start, end = _place(run, known.start), _place(run, known.end)
        if start is None or end is None:
            missing = known.start.target_id if start is None else known.end.target_id
            findings.append(
                Finding(
                    "length-unused",
                    known.name,
                    f"{known.name} ends at {missing}, which was not found in enough photos.",
                    f"Take two more photos that show {missing}, or give a length between other targets.",
                )
            )
            continue
        value, u = known.at_photos(settings.thermometer_u_c)
        run.priors.lengths.append(Length(known.name, start, end, value, u))
    used = list(run.priors.lengths)
    problem = run.problem
    if not used and not problem.body_ids and len(problem.point_ids) >= 2:
        # Free points alone have no size: keep the distance of the two farthest at its start value.
        xyz = run.state.points
        a = int(np.argmax(np.linalg.norm(xyz - xyz.mean(axis=0), axis=1)))
        b = int(np.argmax(np.linalg.norm(xyz - xyz[a], axis=1)))
        size = float(np.linalg.norm(xyz[b] - xyz[a]))
        run.priors.lengths.append(Length(SCALE_CONVENTION, Place(points=(a,)), Place(points=(b,)), size, 1e-5 * size))
    ends = {m for length in run.priors.lengths for place in (length.start, length.end) for m in place.points}
    problem.shared_points = tuple(sorted(ends))
    problem.arrange()
    return used, findings


def _hold(run: Run) -> None:
    """Hold what the settings hold; for a single photo add the common plane of the sheets."""
    problem, settings = run.problem, run.settings
    fixed: set[str] = set()
    if len(problem.photo_ids) == 1:
        sheets = [b for b, t in enumerate(problem.body_ids) if run.targets[t].kind == "sheet"]
        run.priors.plane_bodies = tuple(sheets)
        problem.plane = len(sheets) >= 2
    if settings.u_focus <= 0:
        fixed |= {f"photo:{p}:focus" for p in problem.photo_ids}
    if len(problem.photo_ids) == 1:
        run.add(
            "single-photo",
            problem.photo_ids[0],
            "Only one photo could be used: heights are not measured, the sheets are taken to lie in one plane.",
            "Take photos from at least three places.",
        )
    run.held = frozenset(fixed)
    problem.arrange()


# -------------------------------------------------------------------------------------------- rounds


def _rounds(run: Run, scale_known: bool, tell: Progress) -> list[KnownLengthResult]:
    """Robust least squares, tests, clean least squares; leaves the final solution in ``run``."""
    settings = run.settings
    # Sightings are tested without the known lengths: a misread bar must not make its own end targets look wrong.
    # (Free points alone have no size without them.)
    lengths = {length.name for length in run.priors.lengths if run.problem.body_ids} - {SCALE_CONVENTION}
    run.priors.unused |= lengths
    run.reject_misplaced()
    run.solve(huber=3 * settings.huber, tolerance=1e-2, damping=1e-4)
    tell("Testing sheets and sightings", 0.5)
    for _ in range(20):
        run.solve(huber=settings.huber * run.noise(), tolerance=1e-2)
        curl, scales = reliability.curl_evidence(run), reliability.scale_conflicts(run, only_bodies=True)
        rival = max((c.normalized**2 for c in scales), default=0.0)
        if reliability.split_moved_sheet(run, curl, rival):
            continue
        if reliability.release_print_scale(run, scales):
            continue
        if reliability.release_curl(run, curl):
            continue
        break
    for _ in range(25):
        if not reliability.snoop(run):
            break
        run.solve(tolerance=1e-2)
    run.solve(tolerance=1e-2)
    tell("Variances", 0.75)
    for _ in range(3):
        changed = reliability.snoop(run)
        changed |= reliability.estimate_variance(run)
        if not changed:
            break
        run.solve(tolerance=1e-2)
    if reliability.readmit(run) | reliability.restore_print_scale(run):
        run.solve(tolerance=1e-2)
        while reliability.snoop(run):
            run.solve(tolerance=1e-2)
    scales, curl = reliability.scale_conflicts(run, only_bodies=True), reliability.curl_evidence(run)
    if reliability.release_print_scale(run, scales) | reliability.release_curl(run, curl):
        run.solve(tolerance=1e-2)
    run.priors.unused -= lengths
    run.solve(tolerance=1e-8)
    for _ in range(4):
        changed = reliability.weigh_lengths(run, reliability.length_results(run))
        if not changed and scale_known:
            # Single sheets were compared with each other before; against a length only the whole print can be wrong.
            batches = [c for c in reliability.scale_conflicts(run) if c.batch]
            changed = reliability.release_print_scale(run, batches)
        if not changed:
            break
        run.solve(tolerance=1e-8)
    if reliability.estimate_variance(run):
        run.solve(tolerance=1e-8)
    return reliability.length_results(run)


# ---------------------------------------------------------------------------------------- what is said


def _geometry_findings(run: Run) -> list[Finding]:
    """Say when all photos look from about the same place."""
    problem, state = run.problem, run.state
    if len(problem.photo_ids) < 2:
        return []
    eyes = -np.einsum("pji,pj->pi", state.photo_rotation, state.photo_translation)
    widest = []
    for b in range(len(problem.body_ids)):
        photos = np.unique(problem.photo[(problem.body == b) & (run.base > 0)])
        if len(photos) >= 2:
            d = eyes[photos] - state.body_translation[b]
            d /= np.linalg.norm(d, axis=1, keepdims=True)
            widest.append(float(np.degrees(np.arccos(np.clip((d @ d.T).min(), -1, 1)))))
    if widest and np.median(widest) < 20:
        return [
            Finding(
                "weak-geometry",
                "photos",
                f"The photos see the sheets from directions only {np.median(widest):.0f} degrees apart; heights are weak.",
                "Add photos from both ends of the run and from higher up.",
            )
        ]
    return []


def _lens_findings(run: Run, lenses: Sequence[LensStart], cov: Covariance) -> list[Finding]:
    """Which lens parameters rest on their prior, and whether a profile still fits."""
    out = []
    starts = {s.camera_id: s for s in lenses}
    for c, camera_id in enumerate(run.problem.camera_ids):
        start = starts[camera_id]
        columns = run.problem.lens_columns[c]
        after = cov.shared[np.ix_(columns, columns)]
        names = lens.LENS_MODELS[start.model].names
        prior = np.sqrt(np.diag(start.cov))
        if start.source != "profile":
            share = np.sqrt(np.diag(after)) / prior
            weak = [n for n, s in zip(names, share, strict=True) if s > 0.7 and n != "aspect"]
            if weak:
                out.append(
                    Finding(
                        "lens-not-determined",
                        camera_id,
                        f"The photos do not determine {', '.join(weak)} of the lens; usual values were assumed.",
                        "Add photos turned by 90 degrees and from the other side, or calibrate the camera.",
                    )
                )
        else:
            change = run.state.lenses[c] - start.params
            rest = start.cov - after
            value, vector = np.linalg.eigh((rest + rest.T) / 2 / np.outer(prior, prior))
            along = vector.T @ (change / prior)
            good = value > 1e-3
            if float(np.sum(along[good] ** 2 / value[good])) > 2.5 * max(int(good.sum()), 1) + 20:
                out.append(
                    Finding(
                        "lens-differs",
                        camera_id,
                        f"The lens found (f {run.state.lenses[c][0]:.0f} px) differs from its profile "
                        f"(f {start.params[0]:.0f} px) by more than the profile allows.",
                        "Calibrate the camera again; check that zoom and picture size are those of the profile.",
                    )
                )
    return out


def _rejection_findings(run: Run) -> list[Finding]:
    problem = run.problem
    out = []
    for i, photo_id in enumerate(problem.photo_ids):
        rows = problem.photo == i
        moved = np.zeros(len(rows), dtype=bool)
        for body, photo in run.moved:
            moved |= (problem.body == body) & (problem.photo == photo)
        bad = np.nonzero(rows & (run.base == 0) & ~moved)[0]
        if len(bad):
            names = [
                problem.body_ids[problem.body[k]] if problem.body[k] >= 0 else problem.point_ids[problem.point[k]][0]
                for k in bad
            ]
            counts = ", ".join(f"{names.count(t)} of {t}" for t in dict.fromkeys(names))
            out.append(
                Finding(
                    "sighting-rejected",
                    photo_id,
                    f"{len(bad)} of {int(rows.sum())} sightings in {photo_id} were left out ({counts}).",
                )
            )
    return out


# -------------------------------------------------------------------------------------------- result


def influences_of(names: tuple[str, ...], normal: bundle.Normal, cov: Covariance) -> Influences:
    """Joint covariance and its exact parts: with N_g the information of group g, part_g = C N_g C."""
    c = cov.shared
    parts = {"target sightings": c @ cov.sightings_information @ c}
    for group, information in normal.parts.items():
        parts[group] = c @ information @ c
    return Influences(names, c, {g: 0.5 * (p + p.T) for g, p in parts.items()})


def _network(
    run: Run,
    stacked: Stacked,
    views: Mapping[str, Mapping[str, View]],
    lenses: Sequence[LensStart],
    targets: Mapping[str, Target],
    cov: Covariance,
    results: list[KnownLengthResult],
    scale_known: bool,
    findings: tuple[Finding, ...],
) -> Network:
    problem, state, solution = run.problem, run.state, run.solved
    starts = {s.camera_id: s for s in lenses}
    cameras = {}
    for c, camera_id in enumerate(problem.camera_ids):
        columns = problem.lens_columns[c]
        cameras[camera_id] = Camera(
            camera_id,
            problem.camera_models[c],
            starts[camera_id].size_px,
            state.lenses[c],
            cov.shared[np.ix_(columns, columns)],
            "adjusted",
        )
    photos = {
        p: PhotoPose(
            p,
            problem.camera_ids[problem.photo_camera[i]],
            state.photo_rotation[i],
            state.photo_translation[i],
            float(state.focus[i]),
        )
        for i, p in enumerate(problem.photo_ids)
        if p not in run.lost_photos
    }
    bodies = {
        t: BodyPose(
            t,
            state.body_rotation[b],
            state.body_translation[b],
            (float(state.body_scale[b, 0]), float(state.body_scale[b, 1])),
            (float(state.body_curl[b, 0]), float(state.body_curl[b, 1]), float(state.body_curl[b, 2])),
        )
        for b, t in enumerate(problem.body_ids)
        if np.any((problem.body == b) & (run.base > 0))
    }
    points = []
    used = run.base > 0
    for m, (t, k) in enumerate(problem.point_ids):
        n = int(np.count_nonzero(used & (problem.point == m)))
        if n < 2:
            continue
        s = problem.schur_index[m]
        if s >= 0:
            noise, jac = cov.point_noise[s], -cov.gain[:, s].T
        else:
            noise, jac = np.zeros((3, 3)), np.zeros((3, problem.size))
            jac[np.arange(3), problem.point_columns[m]] = 1.0
        points.append(FreePoint(t, k, state.points[m], noise, np.ascontiguousarray(jac), n))
    residuals = []
    for i, p in enumerate(problem.photo_ids):
        rows = np.nonzero(problem.photo == i)[0]
        body, point = problem.body[rows], problem.point[rows]
        ids = tuple(problem.body_ids[b] if b >= 0 else problem.point_ids[m][0] for b, m in zip(body, point, strict=True))
        number = {(t, int(row)): int(k) for t, v in views[p].items() for row, k in zip(v.rows, v.point_ids, strict=True)}
        numbers = np.array([number[t, int(r)] for t, r in zip(ids, stacked.row[rows], strict=True)], dtype=np.int64)
        residuals.append(
            PhotoResiduals(p, ids, numbers, problem.uv[rows], solution.linear.residual[rows], run.base[rows].copy())
        )
    return Network(
        cameras,
        photos,
        bodies,
        tuple(points),
        {t: targets[t] for t in dict.fromkeys([*bodies, *(p.target_id for p in points)])},
        influences_of(problem.names, solution.normal, cov),
        tuple(residuals),
        tuple(results),
        scale_known,
        run.sigma0,
        run.redundancy,
        findings,
    )
